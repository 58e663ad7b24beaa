//! The list of bottlings, of which bottles are left and of which none are.

use askama::Template;

use super::{drawn, size};
use crate::db::bottles::{self as rows, Bottling, Left};
use crate::db::{AnyConn, Failure, costs, counts, holds};
use crate::domain::bottles::{TastingAge, cost_per_bottle, next_tasting};
use crate::domain::members::{Doer, Onlooker};
use crate::units::days::{self, Day};
use crate::units::ids::{BottlingId, EntryId, LotId};
use crate::units::money::Money;
use crate::units::text::folded;
use crate::web::extract::{Paging, Query};
use crate::web::frame::Frame;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// Which bottlings are listed, and in what order.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ListQuery {
    /// `left` (the default) or `gone`.
    pub view: Option<String>,
    /// `age`, the oldest first (the default), or `name`.
    pub sort: Option<String>,
}

/// The views of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum View {
    ByAge,
    ByName,
    Gone,
}

impl View {
    const ALL: [View; 3] = [Self::ByAge, Self::ByName, Self::Gone];

    const fn address(self) -> (&'static str, &'static str) {
        match self {
            Self::ByAge => ("/bottles?sort=age", "By age"),
            Self::ByName => ("/bottles?sort=name", "By name"),
            Self::Gone => ("/bottles?view=gone", "None left"),
        }
    }
}

#[derive(Template)]
#[template(path = "bottles/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    views: Vec<(String, &'static str, bool)>,
    gone: bool,
    rows: Vec<ListRow>,
    more: Option<String>,
}

struct ListRow {
    href: String,
    age: String,
    day: String,
    drink: String,
    about: String,
    tasting: Option<String>,
    left: String,
    of: String,
    tally: String,
    held: bool,
    each: String,
}

/// A bottling with all that its row shows.
struct Listed {
    held: bool,
    /// How many are left is covered for whoever looks, who counts them.
    hidden: bool,
    left: Left,
    booked: Money,
    tastings: Vec<TastingAge>,
}

/// Bottlings with bottles left, in the order of the view, after one of them; and those of which none is left. And what
/// is covered.
fn listed(
    conn: &mut AnyConn,
    doer: &Doer,
    view: View,
    after: Option<BottlingId>,
    limit: i64,
) -> Result<(Vec<Listed>, Option<String>), Failure> {
    let club = doer.club;
    let left = if view == View::Gone {
        let gone = rows::bottlings(conn, club, true, after, limit)?;
        gone.into_iter().map(|bottling| Left { bottling, left: 0, cost: Money::ZERO }).collect()
    } else {
        let before = match after.map(|after| rows::bottling(conn, club, after)) {
            None | Some(Err(Failure::Gone)) => None,
            Some(found) => Some(order(view, &found?)),
        };
        let mut left = rows::with_bottles_left(conn, club)?;
        left.sort_by_key(|left| order(view, &left.bottling));
        left.retain(|left| before.as_ref().is_none_or(|before| order(view, &left.bottling) > *before));
        left.truncate(usize::try_from(limit).unwrap_or(usize::MAX));
        left
    };
    let ids: Vec<BottlingId> = left.iter().map(|left| left.bottling.id).collect();
    let entries: Vec<EntryId> = left.iter().map(|left| left.bottling.entry).collect();
    let booked = costs::booked(conn, &entries)?;
    let mut tastings = rows::tastings(conn, club, &ids)?;
    let lots: Vec<LotId> = left.iter().map(|left| left.bottling.lot).collect();
    let held = holds::of_lots(conn, club, &lots)?;
    let covered = counts::covered(conn, doer)?;
    let each = |left: Left| Listed {
        hidden: covered.hides_lot(left.bottling.lot),
        held: held.iter().any(|hold| hold.lot == left.bottling.lot),
        booked: booked.get(&left.bottling.entry).copied().unwrap_or_default(),
        tastings: tastings.remove(&left.bottling.id).unwrap_or_default(),
        left,
    };
    Ok((left.into_iter().map(each).collect(), covered.words_of(lots)))
}

/// Where a bottling stands in the order of a view.
fn order(view: View, bottling: &Bottling) -> (String, Day, BottlingId) {
    let name = if view == View::ByName { folded(&bottling.name) } else { String::new() };
    (name, bottling.bottled_on, bottling.id)
}

/// Shows the list.
pub async fn show(who: Onlooker, site: Site, query: Query<ListQuery>, paging: Paging<BottlingId>) -> Reply {
    let typed = |field| query.draft.typed(field).unwrap_or_default();
    let view = match (typed("view").as_str(), typed("sort").as_str()) {
        ("gone", _) => View::Gone,
        (_, "name") => View::ByName,
        _ => View::ByAge,
    };
    let (after, limit) = (paging.after, paging.rows());
    let read = site.read(&who, move |conn, doer| listed(conn, doer, view, after, limit));
    let (facts, (found, covered)) = read.await?;
    let part = paging.page(found, |listed| listed.left.bottling.id, |listed| list_row(&site, &who, &listed));
    let page = ListPage {
        lead: match (covered, facts.bottles) {
            (Some(covered), _) => covered,
            (None, 0) => "No bottles are laid down just now.".to_owned(),
            (None, bottles) => format!("{} laid down.", words::count(bottles, "bottle is", "bottles are")),
        },
        views: View::ALL.map(|one| (site.at(one.address().0), one.address().1, one == view)).into(),
        gone: view == View::Gone,
        rows: part.items,
        more: part.next.map(|next| site.at(&format!("{}&after={next}", view.address().0))),
        frame: site.frame(&who, Room::Bottles, "Bottles", facts),
    };
    respond::page(&page)
}

fn list_row(site: &Site, doer: &Doer, listed: &Listed) -> ListRow {
    let Listed { left: Left { bottling, left, .. }, booked, tastings, held, hidden } = listed;
    let today = doer.today();
    let tasting = next_tasting(tastings, today).filter(|_| *left > 0);
    let each = cost_per_bottle(*booked, bottling.bottles);
    ListRow {
        href: site.at(&format!("/bottles/{}", bottling.id)),
        age: days::age((today - bottling.bottled_on).num_days()),
        day: days::short(bottling.bottled_on, today),
        drink: bottling.name.clone(),
        about: format!("Bottling {}, {}", bottling.code, size(bottling)),
        tasting: tasting.map(|(age, day)| tasting_words(&age, day, today)),
        left: if *hidden { words::COVERED.to_owned() } else { left.to_string() },
        of: format!("of {}", words::count(bottling.bottles, "bottle", "bottles")),
        tally: if *hidden { String::new() } else { drawn(*left, bottling.bottles - left) },
        held: *held,
        each: format!("{} a bottle", words::money(&doer.currency, each)),
    }
}

/// "Taste now, at 12 months"; "next tasting in 14 weeks, at 12 months".
fn tasting_words(age: &TastingAge, day: Day, today: Day) -> String {
    let at = days::age(age.age_days);
    match (day - today).num_days() {
        i64::MIN..=0 => format!("Now is the time to taste it, at {at}"),
        wait => format!("Next tasting in {}, at {at}", days::age(wait)),
    }
}
