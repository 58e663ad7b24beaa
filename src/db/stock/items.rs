//! Items: the kinds of things kept.

use std::collections::HashMap;

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::items;
use crate::domain::stock::{Item, ItemKind};
use crate::units::ids::{ClubId, ItemId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::folded;

/// A row of `items`, converted to and from [`Item`] and to nothing else.
#[derive(Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = items, treat_none_as_null = true)]
pub(super) struct ItemRow {
    name: String,
    folded: String,
    kind: ItemKind,
    unit: BaseUnit,
    density_micro: Option<i64>,
    allergens: String,
    value_per_unit: Option<Money>,
    low_at: Option<Milli>,
    made_for_mbar: Option<i64>,
    sugar_mg_per_kg: Option<i64>,
    lactose_mg_per_kg: Option<i64>,
    fat_mg_per_kg: Option<i64>,
    casein_mg_per_kg: Option<i64>,
    splits_lactose: bool,
}

impl From<&Item> for ItemRow {
    fn from(item: &Item) -> Self {
        Self {
            name: item.name.clone(),
            folded: folded(&item.name),
            kind: item.kind,
            unit: item.unit,
            density_micro: item.density_micro,
            allergens: item.allergens.join(","),
            value_per_unit: item.value_per_unit,
            low_at: item.low_at,
            made_for_mbar: item.made_for_mbar,
            sugar_mg_per_kg: item.sugar_mg_per_kg,
            lactose_mg_per_kg: item.lactose_mg_per_kg,
            fat_mg_per_kg: item.fat_mg_per_kg,
            casein_mg_per_kg: item.casein_mg_per_kg,
            splits_lactose: item.splits_lactose,
        }
    }
}

impl From<ItemRow> for Item {
    fn from(row: ItemRow) -> Self {
        Self {
            name: row.name,
            kind: row.kind,
            unit: row.unit,
            density_micro: row.density_micro,
            allergens: row.allergens.split(',').filter(|word| !word.is_empty()).map(str::to_owned).collect(),
            value_per_unit: row.value_per_unit,
            low_at: row.low_at,
            made_for_mbar: row.made_for_mbar,
            sugar_mg_per_kg: row.sugar_mg_per_kg,
            lactose_mg_per_kg: row.lactose_mg_per_kg,
            fat_mg_per_kg: row.fat_mg_per_kg,
            casein_mg_per_kg: row.casein_mg_per_kg,
            splits_lactose: row.splits_lactose,
        }
    }
}

/// Keep a new item.
pub fn add_item(conn: &mut AnyConn, club: ClubId, id: ItemId, item: &Item) -> Result<(), Failure> {
    let row = (items::id.eq(id), items::club_id.eq(club), ItemRow::from(item));
    Ok(diesel::insert_into(items::table).values(row).prepared().run(conn)?)
}

/// Change an item; what it is counted in stays.
pub fn change_item(conn: &mut AnyConn, club: ClubId, id: ItemId, item: &Item) -> Result<(), Failure> {
    let changed = diesel::update(items::table.filter(items::id.eq(id).and(items::club_id.eq(club))))
        .set(ItemRow::from(item))
        .execute(conn)?;
    if changed == 0 { Err(Failure::Gone) } else { Ok(()) }
}

/// One item.
pub fn item(conn: &mut AnyConn, club: ClubId, id: ItemId) -> Result<Item, Failure> {
    let row: ItemRow = items::table
        .filter(items::id.eq(id).and(items::club_id.eq(club)))
        .select(ItemRow::as_select())
        .first(conn)?;
    Ok(row.into())
}

/// These items, those of another club left out.
pub fn items_of(conn: &mut AnyConn, club: ClubId, ids: &[ItemId]) -> Result<HashMap<ItemId, Item>, Failure> {
    let mut found = HashMap::new();
    for some in ids.chunks(500) {
        let rows: Vec<(ItemId, ItemRow)> = items::table
            .filter(items::club_id.eq(club).and(items::id.eq_any(padded(some))))
            .select((items::id, ItemRow::as_select()))
            .prepared()
            .load(conn)?;
        found.extend(rows.into_iter().map(|(id, row)| (id, row.into())));
    }
    Ok(found)
}

/// All items by name.
pub fn items(conn: &mut AnyConn, club: ClubId) -> Result<Vec<(ItemId, Item)>, Failure> {
    let rows: Vec<(ItemId, ItemRow)> = items::table
        .filter(items::club_id.eq(club))
        .order(items::folded)
        .select((items::id, ItemRow::as_select()))
        .load(conn)?;
    Ok(rows.into_iter().map(|(id, row)| (id, row.into())).collect())
}

/// Items in the order in which they were first kept, after `after`, at most `limit`.
pub fn items_after(
    conn: &mut AnyConn,
    club: ClubId,
    after: Option<ItemId>,
    limit: i64,
) -> Result<Vec<(ItemId, Item)>, Failure> {
    let rows: Vec<(ItemId, ItemRow)> = items::table
        .filter(items::club_id.eq(club).and(items::id.gt(after.unwrap_or(ItemId(0)))))
        .order(items::id)
        .limit(limit)
        .select((items::id, ItemRow::as_select()))
        .load(conn)?;
    Ok(rows.into_iter().map(|(id, row)| (id, row.into())).collect())
}

/// The item of a bottled drink of this name, if there is one.
pub fn item_named(
    conn: &mut AnyConn,
    club: ClubId,
    name: &str,
) -> Result<Option<(ItemId, ItemKind)>, Failure> {
    Ok(items::table
        .filter(items::club_id.eq(club).and(items::folded.eq(folded(name))))
        .select((items::id, items::kind))
        .first(conn)
        .optional()?)
}
