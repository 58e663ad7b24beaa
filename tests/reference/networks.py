"""Follows networks of lots and batches with the graph package networkx.

Reads lines `edge FROM TO` and `asked NODE`; names of lots begin with L, those of batches with B.
Writes, for each node asked, a line with its name and all lots that are reached from it.
"""

import sys

import networkx


def main() -> None:
    graph, asked = networkx.DiGraph(), []
    for line in sys.stdin:
        kind, *names = line.split()
        if kind == "edge":
            graph.add_edge(*names)
        else:
            graph.add_node(names[0])
            asked.append(names[0])
    for name in asked:
        print(name, *sorted(node for node in networkx.descendants(graph, name) if node.startswith("L")))


main()
