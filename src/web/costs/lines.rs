//! The lines of a table of costs.

use crate::db::bottles::Bottling;
use crate::domain::books::EntryKind;
use crate::domain::costs::CostLine;
use crate::domain::members::Doer;
use crate::units::days::{self, Day};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::site::Site;
use crate::web::words;

/// One line of the table.
#[derive(Default)]
pub(super) struct Line {
    /// `part` or `sum` for a line that adds up, or nothing.
    pub(super) class: &'static str,
    pub(super) what: String,
    /// What it cost the batch.
    pub(super) cost: String,
    /// How much of that is in the bottles.
    pub(super) share: String,
    /// What a bottle bears of it.
    pub(super) each: String,
    pub(super) much: String,
    /// The receipt, lot, batch or entry it is about.
    pub(super) from: Option<(String, String)>,
    pub(super) day: String,
}

/// Writes lines, for so many bottles or for a batch.
pub(super) struct Writer<'s> {
    site: &'s Site,
    today: Day,
    bottles: Option<i64>,
    /// The bottlings of the batch, to be named where they took their share.
    bottlings: &'s [Bottling],
}

impl<'s> Writer<'s> {
    pub(super) fn new(site: &'s Site, doer: &Doer, bottles: Option<i64>, bottlings: &'s [Bottling]) -> Self {
        Self { site, today: doer.today(), bottles, bottlings }
    }

    fn each(&self, share: Option<Money>) -> String {
        match (self.bottles, share) {
            (Some(bottles), Some(share)) if bottles > 0 => {
                words::fine(Money::from_micros(share.micros() / bottles))
            }
            _ => String::new(),
        }
    }

    fn figures(&self, cost: Money, share: Option<Money>) -> Line {
        Line {
            cost: words::figure(cost),
            share: share.map(words::figure).unwrap_or_default(),
            each: self.each(share),
            ..Line::default()
        }
    }

    /// A supply, a by-product, drink from another batch, or packaging.
    pub(super) fn supply(&self, line: &CostLine, share: Option<Money>) -> Line {
        let deducted = if line.kind == EntryKind::ByProduct { ", deducted" } else { "" };
        let what = match &line.other_batch {
            Some((_, _, name)) => format!("{name}, from another batch"),
            None => format!("{}{deducted}", line.what),
        };
        let quantity = if line.quantity < Milli::ZERO { line.quantity.negated() } else { line.quantity };
        Line {
            what,
            much: quantity.shown(line.unit),
            from: Some(self.from(line)),
            day: days::tiny(line.day, self.today),
            ..self.figures(line.cost, share)
        }
    }

    /// Whether a line that left the batch tells something: racking without a measure does not.
    pub(super) fn tells(line: &CostLine) -> bool {
        line.cost != Money::ZERO || line.kind == EntryKind::Loss
    }

    /// What left the batch for elsewhere.
    pub(super) fn elsewhere(&self, line: &CostLine) -> Line {
        let what = match (&line.other_batch, line.kind) {
            (Some((_, _, name)), _) => format!("To another batch: {name}"),
            (None, EntryKind::Bottling) => "Bottled".to_owned(),
            (None, EntryKind::Loss) if line.cost == Money::ZERO => "Lost, a normal loss".to_owned(),
            (None, EntryKind::Loss) => "Lost, not a normal loss".to_owned(),
            (None, kind) => kind.label().to_owned(),
        };
        Line {
            what,
            much: line.quantity.negated().shown(BaseUnit::Millilitre),
            from: Some(self.from(line)),
            day: days::tiny(line.day, self.today),
            ..self.figures(line.cost, None)
        }
    }

    /// A line that adds up.
    pub(super) fn part(&self, what: &str, cost: Money, share: Option<Money>) -> Line {
        Line { class: "part", what: what.to_owned(), ..self.figures(cost, share) }
    }

    /// The last line.
    pub(super) fn sum(&self, much: &str, total: Money) -> Line {
        Line {
            class: "sum",
            what: "Bottled".to_owned(),
            much: much.to_owned(),
            ..self.figures(total, Some(total))
        }
    }

    fn from(&self, line: &CostLine) -> (String, String) {
        if let Some(bottling) =
            self.bottlings.iter().find(|one| one.entry == line.entry && line.lot.is_none())
        {
            return (self.site.at(&format!("/bottles/{}/cost", bottling.id)), bottling.code.clone());
        }
        match (&line.other_batch, &line.receipt, &line.lot) {
            (Some((batch, code, _)), _, _) => {
                (self.site.at(&format!("/batches/{batch}/cost")), format!("Batch {code}"))
            }
            (None, Some((entry, Some(code))), _) => {
                (self.site.at(&format!("/entries/{entry}")), code.clone())
            }
            (None, _, Some((lot, code))) => (self.site.at(&format!("/stores/lots/{lot}")), code.clone()),
            (None, _, None) => (self.site.at(&format!("/entries/{}", line.entry)), "Entry".to_owned()),
        }
    }
}
