//! Pages of the stores: what is there and what it is worth, supplies that arrive, items, places, and the
//! lots.
//!
//! What is sent is read in [`read`], for the pages and for the API; each page is in the file of its
//! name. Here is what they share.

use super::forms::Choice;
use super::site::Site;
use super::words;
use crate::db::stock::{Place, Stocked, WITHIN};
use crate::domain::counts::covered::Covered;
use crate::domain::members::Doer;
use crate::domain::stock::{Item, ItemKind};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};

pub mod export;
pub mod items;
pub mod lots;
pub mod overview;
pub mod places;
pub mod read;
pub mod receipts;
mod sift;
pub mod tasks;

/// The way back to the stores.
fn up(site: &Site) -> (String, String) {
    (site.at("/stores"), "Stores".to_owned())
}

/// All places to choose from, after `first`, which chooses none.
fn place_choices<'p>(paths: &Paths, places: impl IntoIterator<Item = &'p Place>, first: &str) -> Vec<Choice> {
    let each = places.into_iter().map(|place| Choice::new(place.id.to_string(), paths.short(&place.path)));
    std::iter::once(Choice::new("", first)).chain(each).collect()
}

/// What one kg, L, piece or bottle cost: "1.65", "€ a kg"; what is below one has three places.
fn price(doer: &Doer, cost: Money, quantity: Milli, item: &Item) -> (String, String) {
    let (name, holds) = item.unit.priced();
    let name = if item.kind == ItemKind::Drink { "bottle" } else { name };
    let each = cost.share(holds * 1000, quantity.get());
    let figure = if each < Money::from_micros(1_000_000) { words::fine(each) } else { words::figure(each) };
    (figure, format!("{} a {name}", words::sign(&doer.currency).trim()))
}

/// A quantity to the last digit, as it can be typed again: "2.345678 kg", "42".
fn exact(quantity: Milli, unit: BaseUnit) -> String {
    let large = quantity.get() >= 1_000_000;
    match unit {
        BaseUnit::Piece => quantity.plain(),
        BaseUnit::Gram if large => format!("{} kg", number::plain(quantity.get(), 6)),
        BaseUnit::Gram => format!("{} g", quantity.plain()),
        BaseUnit::Millilitre if large => format!("{} L", number::plain(quantity.get(), 6)),
        BaseUnit::Millilitre => format!("{} mL", quantity.plain()),
    }
}

/// How much, in words: "2.5 kg"; drinks come in bottles.
pub fn much(quantity: Milli, unit: BaseUnit, kind: ItemKind) -> String {
    match kind {
        ItemKind::Drink => words::count(quantity.get() / 1000, "bottle", "bottles"),
        _ if quantity == Milli::ZERO => format!("0 {}", unit.priced().0),
        _ => quantity.shown(unit),
    }
}

/// Number and unit of a lot at a place, as far as the member may see it.
fn seen_figure(line: &Stocked, covered: &Covered) -> (String, String) {
    if covered.hides(line.lot, line.place) {
        return (String::new(), words::COVERED.to_owned());
    }
    figure_and_unit(line.quantity, line.unit, line.kind)
}

/// Number and unit apart, for a column of figures: "2.5" and "kg".
fn figure_and_unit(quantity: Milli, unit: BaseUnit, kind: ItemKind) -> (String, String) {
    let shown = much(quantity, unit, kind);
    let (figure, unit) = shown.rsplit_once(' ').unwrap_or((&shown, ""));
    (figure.to_owned(), unit.to_owned())
}

/// The names of places without the one around all of them, where there is one: it tells nothing.
struct Paths(Option<String>);

impl Paths {
    fn of(places: &[Place]) -> Self {
        let mut outermost = places.iter().filter(|place| place.within.is_none());
        let only = outermost.next().filter(|_| outermost.next().is_none());
        Self(only.map(|place| format!("{}{WITHIN}", place.path)))
    }

    fn short<'p>(&self, path: &'p str) -> &'p str {
        self.0.as_deref().and_then(|around| path.strip_prefix(around)).unwrap_or(path)
    }
}

/// Two or three things in a row of words: "a", "a and b", "a, b and c".
fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::ids::PlaceId;

    #[test]
    fn what_is_offered_to_be_typed_again_is_read_as_the_same() {
        for (thousandths, unit) in [
            (2_345_678, BaseUnit::Gram),
            (999_999, BaseUnit::Gram),
            (24_000_000, BaseUnit::Millilitre),
            (1, BaseUnit::Millilitre),
            (42_000, BaseUnit::Piece),
        ] {
            let quantity = Milli::new(thousandths);
            assert_eq!(Milli::read(&exact(quantity, unit), unit), Ok(quantity));
        }
    }

    #[test]
    fn a_figure_stands_apart_from_its_unit() {
        let shown = |thousandths, unit, kind| figure_and_unit(Milli::new(thousandths), unit, kind);
        let pair = |figure: &str, unit: &str| (figure.to_owned(), unit.to_owned());
        assert_eq!(shown(2_500_000, BaseUnit::Gram, ItemKind::Aid), pair("2.5", "kg"));
        assert_eq!(shown(0, BaseUnit::Millilitre, ItemKind::Ingredient), pair("0", "L"));
        assert_eq!(shown(1_000, BaseUnit::Piece, ItemKind::Drink), pair("1", "bottle"));
        assert_eq!(shown(0, BaseUnit::Piece, ItemKind::Drink), pair("0", "bottles"));
    }

    #[test]
    fn the_place_around_all_others_is_not_said_again() {
        let place = |path: &str, within| Place {
            id: PlaceId::fresh(),
            within,
            name: path.to_owned(),
            path: path.to_owned(),
            capacity: None,
        };
        let mill = place("Mill", None);
        let fridge = place("Mill, Fridge", Some(mill.id));
        let places = [mill.clone(), fridge];
        let paths = Paths::of(&places);
        assert_eq!(paths.short("Mill, Fridge"), "Fridge");
        assert_eq!(paths.short("Mill"), "Mill");
        assert_eq!(Paths::of(&[mill, place("Barn", None)]).short("Mill, Fridge"), "Mill, Fridge");
    }

    #[test]
    fn things_in_a_row_are_said_as_people_do() {
        let said = |parts: &[&str]| listed(&parts.iter().map(|part| (*part).to_owned()).collect::<Vec<_>>());
        assert_eq!(said(&["L-1"]), "L-1");
        assert_eq!(said(&["L-1", "L-2"]), "L-1 and L-2");
        assert_eq!(said(&["L-1", "L-2", "L-3"]), "L-1, L-2 and L-3");
    }
}
