//! Where every part of a flow stands. All lengths are whole tenths of a pixel.

use super::super::shape::share;
use super::{Bar, Flow, Label, Node, Ribbon};

/// The height of the larger side, without gaps.
pub(super) const SPAN: i64 = 2600;
/// Where the first part may begin, under the heads.
const TOP: i64 = 240;
/// A part as high as this has its words inside; a lower one has them beneath.
const ROOMY: i64 = 400;
/// The gap between two parts, and the room for words beneath a low one.
const GAP: i64 = 60;
const WORDS: i64 = 360;
/// Parts lower than this are put together, and so are all but the largest few.
const LOWEST: i64 = 80;
const MOST: usize = 5;

/// Everything in its place.
pub(super) struct Layout {
    /// What the larger side adds up to; zero where nothing has moved.
    pub(super) total: i64,
    pub(super) height: i64,
    pub(super) ribbons: Vec<Ribbon>,
    pub(super) bars: Vec<Bar>,
    pub(super) labels: Vec<Label>,
}

/// A part with the place it has on the scale of its column, gaps left out.
struct Part {
    node: Node,
    from: i64,
    tall: i64,
}

/// The parts of a column, and how high they are together with gaps and words.
struct Column {
    parts: Vec<Part>,
    height: i64,
}

impl Layout {
    pub(super) fn of(flow: &Flow) -> Self {
        // Without an output to join, what goes straight has only come in.
        let (drink, others) = match flow.outputs.split_last() {
            Some((drink, others)) if drink.value > 0 => (Some(drink), others),
            Some((_, others)) => (None, others),
            None => (None, flow.outputs),
        };
        let (came, straight) = match drink {
            Some(_) => (flow.inputs.to_vec(), flow.straight),
            None => ([flow.inputs, flow.straight].concat(), &[][..]),
        };
        let went = sum(flow.outputs);
        let total = sum(&came).saturating_add(sum(straight)).max(went);
        let mut layout = Self { total, height: 0, ribbons: Vec::new(), bars: Vec::new(), labels: Vec::new() };

        let inputs = layout.column(shown(&came, total));
        let straight = layout.column(shown(straight, total));
        let from_batch = drink.map(|drink| Node::new(&drink.name, (drink.value - straight.sum()).max(0)));
        let mut outputs = shown(others, total);
        outputs.extend(from_batch);
        let outputs = layout.column(outputs);
        let batch = share(sum(&came).max(outputs.sum()), total, SPAN);

        // The columns stand in the middle of the highest, so that ribbons bend as little as they can.
        let highest = inputs.height.max(outputs.height).max(batch);
        let middle = |height: i64| TOP + (highest - height) / 2;
        let batch_top = middle(batch);
        let right_top = if straight.parts.is_empty() { middle(outputs.height) } else { TOP };
        layout.bars.push(Bar { class: "k-line", x: 50, from: batch_top, to: batch_top + batch });
        layout.inputs(&inputs, middle(inputs.height), batch_top);
        let right = layout.by_products(&outputs, right_top, batch_top, drink.is_some());
        layout.height = TOP + highest;
        if let (Some(drink), Some(part)) = (drink, outputs.parts.last()) {
            let lowest = if straight.parts.is_empty() { right } else { TOP + highest + GAP - part.tall };
            layout.drink(drink, part, (right.max(lowest), batch_top), &straight);
        }
        layout.height += 20;
        layout
    }

    /// What came in, down the left side.
    fn inputs(&mut self, inputs: &Column, top: i64, batch_top: i64) {
        let mut y = top;
        for part in &inputs.parts {
            let to = (50, batch_top + part.from);
            self.ribbons.push(Ribbon { class: "r-oak", from: (0, y), to, tall: part.tall });
            y = self.stand("k-oak", &part.node, 0, y, part.tall);
        }
    }

    /// What came out, down the right side, all but the drink. Gives the place under it.
    fn by_products(&mut self, outputs: &Column, top: i64, batch_top: i64, drink: bool) -> i64 {
        let mut y = top;
        let others = outputs.parts.len() - usize::from(drink);
        for part in &outputs.parts[..others] {
            let from = (50, batch_top + part.from);
            self.ribbons.push(Ribbon { class: "r-line", from, to: (100, y), tall: part.tall });
            y = self.stand("k-line", &part.node, 100, y, part.tall);
        }
        y
    }

    /// The drink, last on the right, with what joins it from the left, below the batch.
    fn drink(&mut self, drink: &Node, part: &Part, (y, batch_top): (i64, i64), straight: &Column) {
        let from = (50, batch_top + part.from);
        self.ribbons.push(Ribbon { class: "r-glass", from, to: (100, y), tall: part.tall });
        let level = y + part.tall;
        let (mut left, mut right) = (level, level);
        for part in &straight.parts {
            let (from, to) = ((0, left), (100, right));
            self.ribbons.push(Ribbon { class: "r-glass", from, to, tall: part.tall });
            left = self.stand("k-glass", &part.node, 0, left, part.tall);
            right += part.tall;
        }
        let end = self.stand("k-glass", drink, 100, y, right - y);
        self.height = self.height.max(left - GAP).max(end - GAP);
    }

    /// A part's upright and words. Gives the place where the next part may begin.
    fn stand(&mut self, class: &'static str, node: &Node, x: i64, y: i64, tall: i64) -> i64 {
        self.bars.push(Bar { class, x, from: y, to: y + tall });
        let inside = tall >= ROOMY;
        let words = if inside { y + 170 } else { y + tall + 150 };
        self.labels.push(Label { node: node.clone(), right: x == 100, y: words, inside });
        y + slot(tall)
    }

    /// The parts one after the other, on the scale of this flow.
    fn column(&self, nodes: Vec<Node>) -> Column {
        let at = |value| share(value, self.total, SPAN);
        let mut before = 0_i64;
        let place = |node: Node| {
            let from = at(before);
            before = before.saturating_add(node.value);
            Part { node, from, tall: at(before) - from }
        };
        let parts: Vec<Part> = nodes.into_iter().map(place).collect();
        let height = parts.iter().map(|part| slot(part.tall)).sum::<i64>() - GAP;
        Column { parts, height: height.max(0) }
    }
}

impl Column {
    fn sum(&self) -> i64 {
        self.parts.iter().map(|part| part.node.value).fold(0, i64::saturating_add)
    }
}

/// How high a part is with its words and the gap under it.
fn slot(tall: i64) -> i64 {
    tall + GAP + if tall >= ROOMY { 0 } else { WORDS }
}

fn sum(nodes: &[Node]) -> i64 {
    nodes.iter().map(|node| node.value.max(0)).fold(0, i64::saturating_add)
}

/// The parts that are drawn: the largest in their order, then the others together.
fn shown(nodes: &[Node], total: i64) -> Vec<Node> {
    let mut places: Vec<usize> = (0..nodes.len()).filter(|&at| nodes[at].value > 0).collect();
    places.sort_by_key(|&at| std::cmp::Reverse(nodes[at].value));
    let fits = |&at: &usize| share(nodes[at].value, total, SPAN) >= LOWEST;
    let alone = places.iter().take(MOST).take_while(|at| fits(at)).count();
    let (large, small) = places.split_at_mut(alone);
    large.sort_unstable();
    small.sort_unstable();
    let drawn = large.iter().map(|&at| nodes[at].clone());
    drawn.chain(together(small.iter().map(|&at| &nodes[at]))).collect()
}

/// Several small parts as one; their names are in the table.
fn together<'a>(nodes: impl ExactSizeIterator<Item = &'a Node> + Clone) -> Option<Node> {
    let value = nodes.clone().map(|node| node.value).fold(0, i64::saturating_add);
    match nodes.len() {
        0 | 1 => nodes.last().cloned(),
        count => Some(Node::new(format!("{count} others"), value)),
    }
}
