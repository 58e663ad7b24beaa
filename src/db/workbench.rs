//! What the club's stores hold for a way: chosen by a person, or recognised until somebody chooses.

use super::connection::AnyConn;
use super::failure::Failure;
use super::stock::{self, Shelved};
use crate::domain::plans::good;
use crate::domain::stock::Item;
use crate::domain::workbench::routes::{Base, Role, Stocked, Stores};
use crate::units::days::Day;
use crate::units::ids::{ClubId, ItemId};

/// What was found, and all items to choose from.
pub struct Found {
    /// What stands for each role.
    pub stores: Stores,
    /// All items with their names.
    pub items: Vec<(ItemId, Item)>,
}

/// Loads what is there; `chosen` comes before what is recognised. Of several that are recognised the one of which
/// most is
/// there is taken.
pub fn load(
    conn: &mut AnyConn,
    club: ClubId,
    today: Day,
    (base, bottle_l): (Base, f64),
    chosen: &[(Role, ItemId)],
) -> Result<Found, Failure> {
    let items = stock::items(conn, club)?;
    let mut stores = Stores::default();
    for role in Role::ALL {
        let picked = chosen.iter().find(|one| one.0 == role).map(|one| one.1);
        let candidates = items.iter().filter(|(id, item)| match picked {
            Some(picked) => picked == *id,
            None => role.may_be(item, base, bottle_l),
        });
        let mut best: Option<Stocked> = None;
        for (id, item) in candidates {
            let shelves = stock::shelves(conn, club, Shelved::Item(*id))?;
            let more = best.as_ref().is_none_or(|best| good(&shelves, today) > good(&best.shelves, today));
            if more {
                best = Some(Stocked { id: *id, item: item.clone(), shelves });
            }
        }
        stores.0.extend(best.map(|best| (role, best)));
    }
    Ok(Found { stores, items })
}
