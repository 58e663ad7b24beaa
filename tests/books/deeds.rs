//! What can be recorded, in plain numbers: the words that the model of the books and the program's own actions share in
//! the tests. Lots, places, batches, bottlings and members are numbered in the order in which they came.

/// Days since the first of January.
pub type Day = i64;
/// Thousandths of a unit, or millionths of the currency.
pub type Amount = i128;

/// Where something can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Spot {
    Shelf { lot: usize, place: usize },
    Batch(usize),
    Member(usize),
    Payer(usize),
    Purse,
    Lost,
    Tasted,
    Given,
    Difference,
}

impl Spot {
    /// A shelf or a batch: it cannot hold less than nothing.
    pub fn is_real(self) -> bool {
        matches!(self, Self::Shelf { .. } | Self::Batch(_))
    }
}

/// How much is there and what it cost.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Held {
    pub quantity: Amount,
    pub cost: Amount,
}

/// What an item does to a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Item {
    pub unit: &'static str,
    /// Millionths of g/mL.
    pub density: Option<i128>,
    /// Whether it becomes part of the drink, and so of its volume.
    pub adds: bool,
    /// What one unit of it takes off the cost of the drink.
    pub worth: Amount,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lot {
    /// None for bottles: each bottling has a drink of its own here.
    pub item: Option<usize>,
    pub best_before: Option<Day>,
    pub came_on: Day,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    Receipt,
    Move,
    Draw,
    Pitch,
    ByProduct,
    Loss,
    Racking,
    Transfer,
    Bottling,
    Withdrawal,
    Count,
    Closing,
    Abandonment,
    Reversal,
}

/// One thing that was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    pub what: What,
    pub day: Day,
    pub changes: Vec<(Spot, Held)>,
    pub taken_back: bool,
    /// How far the drink was that was moved to another batch, and when its yeast had been pitched.
    pub moved_as: Option<(Stage, Option<Day>)>,
}

impl Event {
    pub fn touches(&self, spot: Spot) -> bool {
        self.changes.iter().any(|(at, _)| *at == spot)
    }

    /// It was not taken back, and takes nothing back.
    pub fn stands(&self) -> bool {
        self.what != What::Reversal && !self.taken_back
    }

    /// Spots into which it brought something.
    pub fn filled(&self) -> impl Iterator<Item = Spot> {
        let brought = |held: &Held| held.quantity > 0 || held.cost > 0;
        self.changes.iter().filter(move |(at, held)| at.is_real() && brought(held)).map(|(at, _)| *at)
    }

    /// Whether it is drink that came to this batch from another.
    pub fn brought(&self, spot: Spot) -> bool {
        self.what == What::Transfer && self.filled().any(|at| at == spot)
    }

    pub fn took_from(&self, spot: Spot) -> bool {
        self.changes.iter().any(|(at, held)| *at == spot && (held.quantity < 0 || held.cost < 0))
    }
}

#[derive(Debug, Clone)]
pub struct Take {
    pub from: Source,
    pub quantity: Amount,
    /// Whether a reason is given for using it after its day.
    pub although_expired: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    Lot(usize),
    Item(usize),
}

#[derive(Debug, Clone)]
pub struct Bought {
    pub item: usize,
    pub quantity: Amount,
    pub cost: Amount,
    pub place: usize,
    pub best_before: Option<Day>,
}

/// How far a batch is, in the order of a life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    Planned,
    Preparing,
    Working,
    Resting,
    LaidDown,
    Closed,
    Abandoned,
}

/// Something that a member wants to record.
#[derive(Debug, Clone)]
pub enum Deed {
    Plan,
    Receive {
        day: Day,
        payer: Option<usize>,
        lines: Vec<Bought>,
    },
    Draw {
        batch: usize,
        day: Day,
        pitch: bool,
        lines: Vec<Take>,
        volume_after: Option<Amount>,
    },
    WeighOff {
        batch: usize,
        day: Day,
        item: usize,
        quantity: Amount,
        place: usize,
        after: Option<Amount>,
    },
    Lose {
        batch: usize,
        day: Day,
        volume: Amount,
        normal: bool,
    },
    Rack {
        batch: usize,
        day: Day,
        volume_after: Option<Amount>,
    },
    Transfer {
        batch: usize,
        day: Day,
        volume: Amount,
        into: Option<usize>,
    },
    Bottle {
        batch: usize,
        day: Day,
        bottles: u32,
        size: Amount,
        lost: Amount,
        packaging: Vec<Take>,
        place: usize,
    },
    Withdraw {
        bottling: usize,
        day: Day,
        bottles: u32,
        to: Spot,
        place: Option<usize>,
    },
    Move {
        lot: usize,
        day: Day,
        quantity: Amount,
        from: usize,
        to: usize,
    },
    Count {
        lot: usize,
        place: usize,
        day: Day,
        found: Amount,
    },
    End {
        batch: usize,
        day: Day,
        abandoned: bool,
    },
    Reverse {
        event: usize,
    },
}

/// The day on which everything is reversed.
pub const TODAY: Day = 364;

/// Where, how much, at what cost.
pub type Line = (Spot, Amount, Amount);

/// An event whose lines of the same spot are added up.
pub fn event(what: What, day: Day, lines: impl IntoIterator<Item = Line>) -> Event {
    let mut sums: Vec<(Spot, Held)> = Vec::new();
    for (spot, quantity, cost) in lines {
        match sums.iter_mut().find(|(at, _)| *at == spot) {
            Some((_, held)) => *held = Held { quantity: held.quantity + quantity, cost: held.cost + cost },
            None => sums.push((spot, Held { quantity, cost })),
        }
    }
    Event { what, day, changes: sums, taken_back: false, moved_as: None }
}
