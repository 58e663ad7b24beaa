//! Entries as a trail, newest first: what happened, said in words, and how each can be taken back.

use askama::Template;

use super::words;
use crate::db::books::{Told, ToldLine};
use crate::domain::books::{Account, EntryKind};
use crate::domain::members::Doer;
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// The trail of a batch, a bottling or a lot.
#[derive(Debug, Clone, Template)]
#[template(path = "parts/trail.html")]
pub struct Trail {
    /// Path prefix.
    pub base: String,
    /// The token of forms.
    pub form_token: String,
    /// A key for each form.
    pub keys: Vec<String>,
    /// The entries.
    pub rows: Vec<Row>,
    /// Where the earlier ones are, if there are more.
    pub more: Option<String>,
}

/// One entry of the trail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Its identity in addresses.
    pub id: String,
    /// "Tue 23 June, 18:40 · Maren Holt".
    pub when: String,
    /// What happened.
    pub title: String,
    /// What that did.
    pub detail: String,
    /// What was written.
    pub remark: String,
    /// The cautions in spite of which it was recorded, with the reasons.
    pub reasons: Vec<(String, String)>,
    /// Who took it back, when and why.
    pub back: Option<String>,
    /// It can be taken back here by this member.
    pub may_reverse: bool,
}

/// An entry in words.
pub fn row(told: &Told, doer: &Doer) -> Row {
    let local = crate::units::days::local(told.recorded_at, doer.zone);
    let mut when = words::when(told.recorded_at, doer);
    if local.date() != told.day {
        when = format!("{}, written down {when}", crate::units::days::short(told.day, doer.today()));
    }
    let back = told.reversed.as_ref().map(|back| {
        let reason = if back.reason.is_empty() { String::new() } else { format!(": {}", back.reason) };
        format!("by {} on {}{reason}", back.by, words::when(back.at, doer))
    });
    Row {
        id: told.id.to_string(),
        when: format!("{when} · {}", told.by),
        title: title(told),
        detail: detail(told, &doer.currency),
        remark: told.remark.clone(),
        reasons: told.reasons.clone(),
        may_reverse: back.is_none()
            && told.kind != EntryKind::Reversal
            && doer.role >= told.kind.taken_back_by(),
        back,
    }
}

fn size(quantity: Milli) -> Milli {
    if quantity < Milli::ZERO { quantity.negated() } else { quantity }
}

fn amount(line: &ToldLine) -> String {
    size(line.quantity).shown(line.unit.unwrap_or(BaseUnit::Millilitre))
}

fn stock(told: &Told, came: bool) -> impl Iterator<Item = &ToldLine> {
    told.lines.iter().filter(move |line| line.lot.is_some() && (line.quantity > Milli::ZERO) == came)
}

/// What these lines moved, item by item: "Cane sugar, 7.0 kg; Tartaric acid, 70 g".
fn named(lines: &mut dyn Iterator<Item = &ToldLine>) -> String {
    let mut sums: Vec<(&str, BaseUnit, Milli)> = Vec::new();
    for line in lines {
        let Some((_, item)) = &line.lot else { continue };
        let unit = line.unit.unwrap_or(BaseUnit::Millilitre);
        match sums.iter_mut().find(|sum| (sum.0, sum.1) == (item, unit)) {
            Some(sum) => sum.2 = sum.2 + line.quantity,
            None => sums.push((item, unit, line.quantity)),
        }
    }
    let words: Vec<String> = sums
        .into_iter()
        .map(|(item, unit, sum)| format!("{item}, {}", size(sum).shown(unit).replace(' ', "\u{a0}")))
        .collect();
    match words.len() {
        0..=4 => words.join("; "),
        more => format!("{}; and {} more", words[..3].join("; "), more - 3),
    }
}

fn batch_line(told: &Told, came: bool) -> Option<&ToldLine> {
    told.lines
        .iter()
        .find(|line| matches!(line.account, Account::Batch(_)) && (line.quantity > Milli::ZERO) == came)
}

fn title(told: &Told) -> String {
    let label = told.kind.label();
    let volume = |came| batch_line(told, came).map(amount).unwrap_or_default();
    match told.kind {
        EntryKind::Receipt | EntryKind::ByProduct => format!("{label}: {}", named(&mut stock(told, true))),
        EntryKind::Bottling => {
            let bottles = stock(told, true).map(|line| line.quantity.get() / 1000).sum();
            let drink = stock(told, true).find_map(|line| line.lot.as_ref()).map(|lot| lot.1.as_str());
            format!("{label}: {}, {}", drink.unwrap_or_default(), words::count(bottles, "bottle", "bottles"))
        }
        EntryKind::Draw | EntryKind::Pitch => format!("{label}: {}", named(&mut stock(told, false))),
        EntryKind::Move => {
            let to = stock(told, true).next().and_then(|line| line.place.clone()).unwrap_or_default();
            format!("{label}: {} to {to}", named(&mut stock(told, false)))
        }
        EntryKind::Loss => format!("{label} of {}", volume(false)),
        EntryKind::Withdrawal => {
            let taken = stock(told, false).map(|line| line.quantity.get() / -1000).sum();
            format!("{} {}", words::count(taken, "bottle", "bottles"), purpose(told))
        }
        EntryKind::Split | EntryKind::Blend => {
            let name = |came| batch_line(told, came).and_then(|line| line.name.clone()).unwrap_or_default();
            format!("{label}: {} from batch {} into batch {}", volume(true), name(false), name(true))
        }
        EntryKind::Difference => {
            let more = stock(told, true).next().is_some();
            let differ = if more { "more" } else { "less" };
            format!("{label}: {} {differ} than the books said", named(&mut stock(told, more)))
        }
        EntryKind::Racking => match (batch_line(told, true), batch_line(told, false)) {
            (Some(line), _) => format!("{label}: {} more than the books said", amount(line)),
            (None, Some(line)) if line.quantity < Milli::ZERO => {
                format!("{label}: {} left on the lees", amount(line))
            }
            _ => label.to_owned(),
        },
        EntryKind::Reversal => match told.reverses {
            Some((_, kind)) => format!("{label}: {}", kind.label().to_lowercase()),
            None => label.to_owned(),
        },
        EntryKind::Payment => payment(told),
        EntryKind::Closing | EntryKind::Abandonment => label.to_owned(),
    }
}

fn payment(told: &Told) -> String {
    match told.lines.iter().find(|line| matches!(line.account, Account::Settled(_))) {
        Some(line) if line.cost < Money::ZERO => {
            format!("{} paid the club", line.name.clone().unwrap_or_default())
        }
        Some(line) => format!("The club paid {}", line.name.clone().unwrap_or_default()),
        None => told.kind.label().to_owned(),
    }
}

fn purpose(told: &Told) -> String {
    told.lines
        .iter()
        .find_map(|line| match line.account {
            Account::Member(_) => Some(format!("taken by {}", line.name.clone().unwrap_or_default())),
            Account::Tasted => Some("opened for a tasting".to_owned()),
            Account::Given => Some("given away".to_owned()),
            Account::Lost => Some("broken or spoilt".to_owned()),
            _ => None,
        })
        .unwrap_or_default()
}

fn detail(told: &Told, currency: &str) -> String {
    let cost_of = |lines: &mut dyn Iterator<Item = &ToldLine>| -> Money { lines.map(|line| line.cost).sum() };
    let said = |amount: Money| words::money(currency, amount);
    match told.kind {
        EntryKind::Receipt => {
            let payer = told.lines.iter().find_map(|line| match line.account {
                Account::Payer(_) => line.name.clone(),
                _ => None,
            });
            let number = told.code.clone().unwrap_or_default();
            let payer = payer.unwrap_or_else(|| "the club".to_owned());
            format!("Receipt {number}, {} paid by {payer}.", said(cost_of(&mut stock(told, true))))
        }
        EntryKind::Draw | EntryKind::Pitch => {
            let lots: Vec<_> =
                stock(told, false).filter_map(|line| line.lot.as_ref().map(|lot| lot.0.as_str())).collect();
            let lots = lots.join(", ");
            format!("From {lots}: {}.", said(cost_of(&mut stock(told, false)).negated()))
        }
        EntryKind::ByProduct => match stock(told, true).next() {
            Some(line) => {
                let lot = line.lot.as_ref().map(|lot| lot.0.clone()).unwrap_or_default();
                let place = line.place.clone().unwrap_or_default();
                format!("Became lot {lot}, {place}. {} taken off the cost of this batch.", said(line.cost))
            }
            None => String::new(),
        },
        EntryKind::Bottling => format!("{} in the bottles.", said(cost_of(&mut stock(told, true)))),
        EntryKind::Withdrawal => format!("{} at cost.", said(cost_of(&mut stock(told, false)).negated())),
        EntryKind::Payment => {
            let purse = told.lines.iter().find(|line| line.account == Account::Purse);
            let cost = purse.map(|line| line.cost).unwrap_or_default();
            let size = if cost < Money::ZERO { cost.negated() } else { cost };
            format!("{}.", said(size))
        }
        EntryKind::Loss | EntryKind::Abandonment => {
            let lost: Money =
                told.lines.iter().filter(|line| line.account == Account::Lost).map(|line| line.cost).sum();
            if lost == Money::ZERO {
                "A normal loss: its cost stays in the drink.".to_owned()
            } else {
                format!("{} went with it.", said(lost))
            }
        }
        EntryKind::Split | EntryKind::Blend => batch_line(told, true)
            .map(|line| format!("{} went with it.", said(line.cost)))
            .unwrap_or_default(),
        _ => String::new(),
    }
}
