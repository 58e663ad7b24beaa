//! Items, places and lots, and what stands where.

pub use items::{add_item, change_item, item, item_named, items, items_after, items_of};
pub(super) use list::InStock;
pub use list::{
    Stands, StockFilter, Stocked, expiring, lots_in_stock, low, standing, stock, stock_on, stocked_items,
    value_by_kind, within,
};
pub use lots::{
    Lot, NewLot, Shelved, Units, add_lot, add_received, filled_up_on, lot, lot_coded, shelf_on, shelves,
    shelves_on, suppliers, units,
};
pub use lots::{Supplier, suppliers_of};
pub use places::{add_place, change_place, place, places, set_capacity};
pub use receipts::{Bringing, Brought, Earlier, brought, latest_receipts, receipt_again};

pub use crate::domain::stock::places::{Place, WITHIN};

mod items;
mod list;
mod lots;
mod places;
mod receipts;
