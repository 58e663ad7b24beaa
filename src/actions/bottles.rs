//! Bottling a batch, and taking bottles.

use serde::{Deserialize, Serialize};

use super::batches::{restage, supplies};
use super::once::{RequestKey, once};
use super::reminders::foresee;
use super::{Done, Error, cautions, or_missing};
use crate::db::bottles as rows;
use crate::db::cautions as known;
use crate::db::stock::{self, Shelved};
use crate::db::{AnyConn, Database, batches, books};
use crate::domain::batches::Supply;
use crate::domain::bottles::{
    Bottling, Purpose, STATED, Withdrawal, bottle, cost_per_bottle, to_fill, withdraw,
};
use crate::domain::cautions::{Doing, cautions as rules};
use crate::domain::members::{Cellarhand, Doer, Role, Taster};
use crate::domain::refusal::{Refusal, Why};
use crate::domain::stock::{Item, ItemKind};
use crate::domain::yields::Unknown;
use crate::units::ids::{BottlingId, EntryId, ItemId, LotId};
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::BaseUnit;

/// What a bottling made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Bottled {
    /// The entry.
    pub entry: EntryId,
    /// The bottling.
    pub bottling: BottlingId,
    /// Its code.
    pub code: String,
    /// The lot of its bottles.
    pub lot: LotId,
    /// What one bottle costs.
    pub cost_per_bottle: Money,
}

/// Fill bottles of several sizes from a batch in one go, each a bottling of its own; all of them or none.
pub async fn record_bottlings(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    orders: Vec<Bottling>,
) -> Done<Vec<Bottled>> {
    once(db, by, key, "bottlings", orders, |conn, doer, orders| {
        let each = orders.iter().enumerate();
        each.map(|(at, order)| bottled(conn, doer, order).map_err(|error| of_size(error, at))).collect()
    })
    .await
}

/// What is wrong with the second size and those after it stands beside it.
fn of_size(error: Error, at: usize) -> Error {
    let mut refusal = match error {
        Error::Refused(refusal) if at > 0 => refusal,
        other => return other,
    };
    for fault in &mut refusal.faults {
        let of_one = ["bottles", "broken", "bottle_volume", "place"].contains(&fault.field.as_str());
        if of_one || fault.field.starts_with("packaging") {
            fault.field = format!("also.{}.{}", at - 1, fault.field);
        }
    }
    Error::Refused(refusal)
}

/// Fill bottles from a batch and lay them down.
pub async fn record_bottling(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Bottling,
) -> Done<Bottled> {
    once(db, by, key, "bottling", order, bottled).await
}

fn bottled(conn: &mut AnyConn, doer: &Doer, order: &Bottling) -> Done<Bottled> {
    let strength = |conn: &mut AnyConn| strength(conn, doer, order);
    fill(conn, doer, order, strength, |conn, entry, packaging| {
        let mut facts = known::facts(conn, doer, order.batch)?;
        known::before_bottling(conn, doer, order.batch, &mut facts)?;
        facts.bottles = vec![to_fill(order.bottle_volume, packaging.iter().map(|supply| &supply.item))];
        let warned = rules(&facts, Doing::Bottle);
        cautions::go_on(conn, doer, (order.batch, Some(entry)), &warned, &order.reasons)
    })
}

/// Bottles that were filled before they came into these books: there is nothing to warn of any more. Their strength is
/// as somebody says.
pub(super) fn filled_before(
    conn: &mut AnyConn,
    doer: &Doer,
    order: &Bottling,
    strength: Option<Measured>,
) -> Done<Bottled> {
    let basis = if strength.is_some() { STATED } else { Unknown::Readings.code() };
    fill(conn, doer, order, |_| Ok((strength, basis.to_owned())), |_, _, _| Ok(()))
}

fn fill(
    conn: &mut AnyConn,
    doer: &Doer,
    order: &Bottling,
    strength: impl FnOnce(&mut AnyConn) -> Done<(Option<Measured>, String)>,
    warn: impl FnOnce(&mut AnyConn, EntryId, &[Supply]) -> Done<()>,
) -> Done<Bottled> {
    let standing = or_missing(batches::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
    or_missing(stock::place(conn, doer.club, order.place), "place", "place")?;
    let mut packaging = supplies(conn, doer, &order.packaging, order.day, "packaging")?;
    let lot = LotId::fresh();
    let mut entry = bottle(&standing, order, &mut packaging, lot)?;
    let (id, bottling) = (EntryId::fresh(), BottlingId::fresh());
    entry.bottling = Some(bottling);
    let number = rows::count_of_batch(conn, order.batch)? + 1;
    let code = format!("{}-{number}", standing.code);
    let (strength, strength_basis) = strength(conn)?;
    let item = drink(conn, doer, order)?;
    books::begin_entry(conn, doer, id, None, &entry)?;
    warn(conn, id, &packaging)?;
    let new = stock::NewLot {
        code: &code,
        item,
        entry: id,
        batch: Some(order.batch),
        day: order.day,
        best_before: None,
        supplier: "",
        supplier_mark: "",
    };
    stock::add_lot(conn, doer.club, lot, &new)?;
    let row = rows::Bottling {
        id: bottling,
        code: code.clone(),
        batch: order.batch,
        name: String::new(),
        lot,
        entry: id,
        bottled_on: order.day,
        bottles: i64::from(order.bottles),
        broken: i64::from(order.broken),
        bottle_volume: order.bottle_volume,
        lost_volume: order.lost(),
        strength,
        strength_basis,
    };
    rows::add(conn, doer.club, &row)?;
    for age in &order.tasting_ages_days {
        let by_days = order.day + chrono::Duration::days(i64::from(*age));
        // By warmth it may be younger than its days; that is foreseen below.
        let falls_on = if order.ages_by_warmth { by_days.max(doer.today()) } else { by_days };
        rows::add_age(conn, doer.club, bottling, (i64::from(*age), order.ages_by_warmth), falls_on)?;
    }
    books::post(conn, doer.club, id, &entry)?;
    restage(conn, doer, id, &entry)?;
    if order.ages_by_warmth {
        foresee(conn, doer.club, doer.today())?;
    }
    let cost = entry.postings.last().map_or(Money::ZERO, |posting| posting.cost);
    let cost_per_bottle = cost_per_bottle(cost, i64::from(order.bottles));
    Ok(Bottled { entry: id, bottling, code, lot, cost_per_bottle })
}

/// The strength of the drink as its batch's record gives it on this day, and the code for how it is known or why not.
fn strength(conn: &mut AnyConn, doer: &Doer, order: &Bottling) -> Done<(Option<Measured>, String)> {
    let story = batches::story(conn, doer.club, order.batch)?;
    Ok(match story.strength() {
        Ok(found) => (Measured::from_number(found.vol_percent), found.basis.code().to_owned()),
        Err(why) => (None, why.code().to_owned()),
    })
}

/// The item that bottles of this drink and size are; made the first time. It states no allergens by itself: each
/// bottling has those of what went into it (`db::trace::allergens`).
fn drink(conn: &mut AnyConn, doer: &Doer, order: &Bottling) -> Done<ItemId> {
    let (_, drink) = batches::named(conn, doer.club, order.batch)?;
    let name = format!("{drink}, {}", order.bottle_volume.shown(BaseUnit::Millilitre));
    match stock::item_named(conn, doer.club, &name)? {
        Some((id, ItemKind::Drink)) => return Ok(id),
        Some(_) => {
            return Err(
                Refusal::conflict("", format!("“{name}” is the name of another item; rename that")).into()
            );
        }
        None => {}
    }
    let item = Item {
        name,
        kind: ItemKind::Drink,
        unit: BaseUnit::Piece,
        density_micro: None,
        allergens: Vec::new(),
        value_per_unit: None,
        low_at: None,
        made_for_mbar: None,
        sugar_mg_per_kg: None,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    };
    let id = ItemId::fresh();
    stock::add_item(conn, doer.club, id, &item)?;
    Ok(id)
}

/// Take bottles out of the cellar. A taster takes them home for themselves or opens them; the rest is a
/// cellarhand's.
pub async fn record_withdrawal(
    db: &Database,
    by: &Taster,
    key: Option<RequestKey>,
    order: Withdrawal,
) -> Done<EntryId> {
    once(db, by, key, "withdrawal", order, |conn, doer, order| {
        if let Some(member) = order.member {
            super::stock::known_member(conn, doer, member, "member")?;
            if doer.role < Role::Cellarhand && member != doer.member {
                return Err(Refusal::new(
                    Why::Forbidden,
                    "member",
                    "A taster takes bottles in their own name; ask a cellarhand to record it for another",
                )
                .into());
            }
        }
        if doer.role < Role::Cellarhand && order.purpose != Purpose::Taken {
            return Err(Refusal::new(
                Why::Forbidden,
                "reason",
                "A taster records bottles taken home; ask a cellarhand to record the rest",
            )
            .into());
        }
        withdrawn(conn, doer, order)
    })
    .await
}

/// Takes the bottles out of the books.
pub(super) fn withdrawn(conn: &mut AnyConn, doer: &Doer, order: &Withdrawal) -> Done<EntryId> {
    let bottling = or_missing(rows::bottling(conn, doer.club, order.bottling), "", "bottling")?;
    let of = match order.place {
        Some(place) => {
            or_missing(stock::place(conn, doer.club, place), "place", "place")?;
            Shelved::At(bottling.lot, place)
        }
        None => Shelved::Lot(bottling.lot),
    };
    let there = stock::shelves_on(conn, doer.club, of, order.day)?;
    let (mut shelves, _) = super::holds::spared(conn, doer, there)?;
    let entry = withdraw(order, bottling.batch, &mut shelves)?;
    super::stock::record(conn, doer, &entry)
}
