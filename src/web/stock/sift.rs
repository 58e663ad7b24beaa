//! Which part of the stock is looked at, and when: it lives in the address, so that a view can be sent
//! to someone.

use utoipa::ToSchema;

use crate::db::stock::{self, StockFilter, Stocked};
use crate::db::{AnyConn, Failure};
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::stock::ItemKind;
use crate::units::days::{self, Day};
use crate::units::ids::{ClubId, PlaceId};
use crate::units::text::folded;
use crate::web::input::Draft;

/// Which part of the stock, and when.
#[derive(serde::Deserialize, ToSchema)]
pub struct StoresQuery {
    /// Only this kind.
    pub kind: Option<String>,
    /// Only items with this in their name.
    pub name: Option<String>,
    /// Only at this place or within it.
    pub place: Option<String>,
    /// As it stood at the end of this day.
    pub on: Option<String>,
    /// The entry of a receipt that was just recorded.
    pub received: Option<String>,
}

/// What of the stores is looked at.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Sift {
    pub(super) kind: Option<ItemKind>,
    pub(super) name: String,
    pub(super) place: Option<PlaceId>,
    pub(super) on: Option<Day>,
}

impl Sift {
    pub(super) fn read(draft: &Draft, doer: &Doer) -> Result<Self, Refusal> {
        draft.read(doer, |r| {
            let today = r.today();
            Self {
                kind: r.optional_choice("kind", &ItemKind::ALL, ItemKind::code),
                name: r.optional_line("name", 80, "part of a name"),
                place: r.optional_id("place", "place"),
                on: r.optional("on", |text| days::read_past(text, today)),
            }
        })
    }

    /// As a person typed it: a day that cannot be read is given back with what is wrong, and the rest is shown as it
    /// stands now.
    pub(super) fn read_by_hand(
        draft: &Draft,
        doer: &Doer,
    ) -> Result<(Self, Option<(String, Refusal)>), Refusal> {
        let refusal = match Self::read(draft, doer) {
            Ok(sift) => return Ok((sift, None)),
            Err(refusal) => refusal,
        };
        let rest = draft.fields().into_iter().filter(|(name, _)| name != "on");
        let sift = Self::read(&Draft::from_form(rest)?, doer)?;
        Ok((sift, Some((draft.typed("on").unwrap_or_default(), refusal))))
    }

    /// Whether all of it is shown.
    pub(super) fn is_open(&self) -> bool {
        self.kind.is_none() && self.name.is_empty() && self.place.is_none()
    }

    pub(super) fn filter(&self) -> StockFilter {
        StockFilter {
            kinds: self.kind.into_iter().collect(),
            name: folded(&self.name),
            place: self.place,
            items: Vec::new(),
        }
    }

    /// Fails where the place is not of this club.
    pub(super) fn check(&self, conn: &mut AnyConn, club: ClubId) -> Result<(), Failure> {
        self.place.map_or(Ok(()), |place| stock::place(conn, club, place).map(drop))
    }

    /// The address of this view, from the item `after` on.
    pub(super) fn address(&self, path: &str, after: Option<&str>) -> String {
        let place = self.place.map(|place| place.to_string());
        let on = self.on.map(days::iso);
        let all = [
            ("kind", self.kind.map(ItemKind::code)),
            ("name", Some(self.name.as_str()).filter(|name| !name.is_empty())),
            ("place", place.as_deref()),
            ("on", on.as_deref()),
            ("after", after),
        ];
        let mut query = form_urlencoded::Serializer::new(String::new());
        query.extend_pairs(all.iter().filter_map(|(name, value)| value.map(|value| (name, value))));
        let query = query.finish();
        if query.is_empty() { path.to_owned() } else { format!("{path}?{query}") }
    }

    /// The lines of a past day that this view shows.
    pub(super) fn keep(&self, lines: &mut Vec<Stocked>, within: Option<&[PlaceId]>) {
        let name = folded(&self.name);
        lines.retain(|line| {
            self.kind.is_none_or(|kind| line.kind == kind)
                && folded(&line.name).contains(&name)
                && within.is_none_or(|places| places.contains(&line.place))
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_view_is_its_address() {
        let sift = Sift {
            kind: Some(ItemKind::ByProduct),
            name: "curds & whey".to_owned(),
            on: Some("2025-12-31".parse().unwrap()),
            ..Sift::default()
        };
        assert_eq!(
            sift.address("/stores", Some("x")),
            "/stores?kind=by-product&name=curds+%26+whey&on=2025-12-31&after=x"
        );
        assert_eq!(Sift::default().address("/stores", None), "/stores");
    }
}
