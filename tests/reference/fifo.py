"""Books receipts and issues of one item first in, first out, with the plain-text accounting package beancount.

Reads lines `receipt DAY LOT UNITS COST-OF-ONE` and `issue DAY NUMBER UNITS`, in the order of their days.
Writes, for each issue, lines `NUMBER LOT UNITS COST`: from which lots it was taken, and what that cost.
"""

import sys

from beancount import loader
from beancount.core import data

HEAD = """
1970-01-01 open Assets:Cellar BOTTLE "FIFO"
1970-01-01 open Assets:Purse
1970-01-01 open Expenses:Used
"""


def transaction(line: str) -> str:
    kind, day, name, units, *cost = line.split()
    if kind == "receipt":
        return f'{day} * "{name}"\n  Assets:Cellar  {units} BOTTLE {{{cost[0]} EUR, "{name}"}}\n  Assets:Purse\n'
    return f'{day} * "{name}"\n  Assets:Cellar  -{units} BOTTLE {{}}\n  Expenses:Used\n'


def main() -> None:
    text = HEAD + "\n".join(transaction(line) for line in sys.stdin)
    entries, errors, _ = loader.load_string(text)
    if errors:
        sys.exit("\n".join(str(error) for error in errors))
    for entry in data.filter_txns(entries):
        for posting in entry.postings:
            if posting.account == "Assets:Cellar" and posting.units.number < 0:
                units = -posting.units.number
                print(entry.narration, posting.cost.label, units, units * posting.cost.number)


main()
