//! What a question gives: figures with their uncertainty, what to know about them, and the cautions.

use super::{Given, Input};
use crate::domain::refusal::Refusal;
use crate::science::{Guide, OutOfRange};

/// Why a question cannot be answered.
#[derive(Debug, Clone, PartialEq)]
pub enum Unfit {
    /// A field, and what to do.
    Field(String, String),
    /// A formula refused a value.
    Range(OutOfRange),
}

impl Unfit {
    /// A field that cannot be meant as it is.
    pub fn field(name: impl Into<String>, message: impl Into<String>) -> Self {
        Self::Field(name.into(), message.into())
    }

    /// What has to be put right, at the field it came from.
    pub fn beside(self, given: &Given, inputs: &[Input]) -> Refusal {
        match self {
            Self::Field(field, message) => Refusal::unfit(field, message),
            Self::Range(refused) => {
                let words = refused.to_string();
                Refusal::unfit(given.field_of(inputs, &refused), words.trim_end_matches('.'))
            }
        }
    }
}

impl From<OutOfRange> for Unfit {
    fn from(refused: OutOfRange) -> Self {
        Self::Range(refused)
    }
}

/// A figure's value.
#[derive(Debug, Clone, PartialEq)]
pub enum Held {
    /// A number, in the unit that the question says.
    Number(f64),
    /// Words.
    Words(String),
}

/// One figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Its code, as the question declares it.
    pub code: &'static str,
    /// Its value.
    pub value: Held,
    /// Half the width of what it may be off by, where that is known.
    pub give_or_take: Option<f64>,
    /// Figures on the way, in words.
    pub via: String,
}

/// What can hurt somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caution {
    /// What it is about.
    pub title: &'static str,
    /// What to do and what to leave.
    pub points: &'static [&'static str],
}

/// Figures in rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// What it shows.
    pub caption: &'static str,
    /// The heads of its columns; all but the first hold numbers.
    pub heads: Vec<&'static str>,
    /// Its rows.
    pub rows: Vec<Vec<String>>,
}

/// The answer to a question.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sheet {
    /// The answer in a sentence.
    pub says: String,
    /// The figures, the answer first.
    pub figures: Vec<Figure>,
    /// What must be known with it.
    pub warnings: Vec<String>,
    /// What can hurt somebody.
    pub cautions: Vec<Caution>,
    /// Figures in rows.
    pub tables: Vec<Table>,
    /// A curve over days, to be drawn: the readings.
    pub points: Vec<(f64, f64)>,
}

impl Sheet {
    /// A sheet with nothing on it yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// The answer in a sentence.
    pub fn says(&mut self, words: impl Into<String>) {
        self.says = words.into();
    }

    /// One more figure.
    pub fn put(&mut self, code: &'static str, value: f64) {
        self.figures.push(Figure {
            code,
            value: Held::Number(value),
            give_or_take: None,
            via: String::new(),
        });
    }

    /// One more figure, with what it may be off by.
    pub fn put_within(&mut self, code: &'static str, value: f64, give_or_take: f64) {
        self.put(code, value);
        if let Some(figure) = self.figures.last_mut() {
            figure.give_or_take = Some(give_or_take);
        }
    }

    /// An answer in words.
    pub fn tell(&mut self, code: &'static str, words: impl Into<String>) {
        let value = Held::Words(words.into());
        self.figures.push(Figure { code, value, give_or_take: None, via: String::new() });
    }

    /// Figures on the way to the one that was put last.
    pub fn via(&mut self, words: impl Into<String>) {
        if let Some(figure) = self.figures.last_mut() {
            figure.via = words.into();
        }
    }

    /// The value of a guide; its warning goes on the sheet.
    pub fn take<T>(&mut self, guide: Guide<T>) -> T {
        if let Some(warning) = guide.warning {
            self.warn(warning);
        }
        guide.value
    }

    /// One more thing to know, unless it stands there already.
    pub fn warn(&mut self, words: impl Into<String>) {
        let words = words.into();
        if !self.warnings.contains(&words) {
            self.warnings.push(words);
        }
    }

    /// One more caution.
    pub fn caution(&mut self, caution: Caution) {
        if !self.cautions.contains(&caution) {
            self.cautions.push(caution);
        }
    }

    /// A number on the sheet.
    pub fn number(&self, code: &str) -> Option<f64> {
        self.figures.iter().find(|figure| figure.code == code).and_then(|figure| match figure.value {
            Held::Number(number) => Some(number),
            Held::Words(_) => None,
        })
    }
}

/// A number with so many decimals, a proper minus, and no "−0".
pub fn shown(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(size) if size.bytes().all(|byte| b"0.".contains(&byte)) => size.to_owned(),
        Some(size) => format!("−{size}"),
        None => text,
    }
}

impl super::Gives {
    /// A number as this figure is shown.
    pub fn shown(&self, value: f64) -> String {
        let size = value.abs();
        let places = match self.places {
            _ if self.amount && size >= 1000.0 => 0,
            places if self.amount && size >= 100.0 => places.min(1),
            places if self.amount && size >= 10.0 => places.min(2),
            places => places,
        };
        shown(value, usize::from(places))
    }

    /// What it may be off by, with two digits and no more decimals than the figure.
    pub fn width_shown(&self, width: f64) -> String {
        let places = match width.abs() {
            w if w >= 10.0 => 0,
            w if w >= 1.0 => 1,
            w if w >= 0.1 => 2,
            _ => 3,
        };
        shown(width, usize::from(self.places.min(places)))
    }
}

/// Boiling liquids.
pub const BOILING: Caution = Caution {
    title: "Caution: boiling liquid",
    points: &[
        "Whey foams and boils over, syrup sticks to the skin: fill the pan two thirds at most, lift the lid away \
            from you.",
        "Nobody carries a hot pot alone; children and pets stay out. Open a window for the steam.",
    ],
};

/// Hot liquid and glass.
pub const GLASS: Caution = Caution {
    title: "Caution: glass and heat",
    points: &[
        "Glass can break below any limit. Hot liquid never goes into glass that is not made for it, nor cold into \
            hot.",
        "Cover your hands, stand the glass on wood or cloth, and throw away what a broken vessel held.",
    ],
};

/// Pressure in bottles.
pub const PRESSURE: Caution = Caution {
    title: "Caution: bottles under pressure burst",
    points: &[
        "Every sugar counts that any microbe could take. Never bottle from one reading.",
        "Eye protection and a closed box; chill before you open; never move a swollen bottle while it is warm.",
    ],
};

/// Carbon dioxide.
pub const GAS: Caution = Caution {
    title: "Caution: gas in a closed room",
    points: &[
        "Carbon dioxide has no smell and gathers at the floor and in pits. Air the room, fit an alarm, never go \
            down alone.",
        "A working vessel needs an airlock or a blow-off hose that cannot clog, never a stopper.",
    ],
};

/// Milk.
pub const MILK: Caution = Caution {
    title: "Caution: milk",
    points: &[
        "Raw milk and fresh curds can carry Listeria and Salmonella: take pasteurised milk; pregnant, old or ill \
            people \
         leave raw-milk curds alone. Curds belong below 5 °C.",
        "Warm whey is a growth medium: below 8 °C, or pasteurised first and two hours at most. Milk stays an \
            allergen \
         when its lactose is split.",
    ],
};

/// Sulphite.
pub const SULPHITE: Caution = Caution {
    title: "Caution: sulphite",
    points: &[
        "Its fumes set off asthma: gloves, an open window, never with acid in a closed room, never with bleach.",
        "From 10 mg/L on, the label must say so.",
    ],
};
