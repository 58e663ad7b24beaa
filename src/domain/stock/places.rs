//! Places one within another: what they are called in all, and how deep they go.

use crate::domain::refusal::Refusal;
use crate::units::ids::PlaceId;

/// A place with the names of those around it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Which.
    pub id: PlaceId,
    /// The place around it.
    pub within: Option<PlaceId>,
    /// Its own name.
    pub name: String,
    /// All names, from the outside in.
    pub path: String,
    /// How many bottles it takes, where somebody said.
    pub capacity: Option<i64>,
}

/// What stands between the names of a path.
pub const WITHIN: &str = ", ";

/// Places are this deep at most.
const DEEPEST: usize = 8;

/// All names of a place that stands in `around`.
pub fn path(around: Option<&str>, name: &str) -> Result<String, Refusal> {
    let path = around.map_or_else(|| name.to_owned(), |around| format!("{around}{WITHIN}{name}"));
    if path.matches(WITHIN).count() >= DEEPEST {
        return Err(Refusal::unfit("within", "Places are at most eight deep; choose an outer one"));
    }
    Ok(path)
}

/// What the names of a place and of all within it are, the outer before the inner, once it is called `name` and
/// stands in `within`. A place cannot come to stand in itself.
pub fn changed(
    all: &[Place],
    id: PlaceId,
    name: &str,
    within: Option<PlaceId>,
) -> Result<Vec<(PlaceId, String)>, Refusal> {
    let around = within.and_then(|within| all.iter().find(|place| place.id == within));
    let mut found = vec![(id, path(around.map(|around| around.path.as_str()), name)?)];
    let mut at = 0;
    while at < found.len() {
        let (outer, above) = found[at].clone();
        for inner in all.iter().filter(|place| place.within == Some(outer) && place.id != id) {
            found.push((inner.id, path(Some(&above), &inner.name)?));
        }
        at += 1;
    }
    if within.is_some_and(|within| found.iter().any(|place| place.0 == within)) {
        return Err(Refusal::unfit(
            "within",
            "A place cannot stand in itself, nor in one that stands in it; choose another",
        ));
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cellar › Rack › Bay, and a loft.
    fn cellar() -> [Place; 4] {
        let [cellar, rack, bay, loft] = [1, 2, 3, 4].map(PlaceId);
        let place = |id, within, name: &str, path: &str| Place {
            id,
            within,
            name: name.to_owned(),
            path: path.to_owned(),
            capacity: None,
        };
        [
            place(cellar, None, "Cellar", "Cellar"),
            place(rack, Some(cellar), "Rack", "Cellar, Rack"),
            place(bay, Some(rack), "Bay", "Cellar, Rack, Bay"),
            place(loft, None, "Loft", "Loft"),
        ]
    }

    #[test]
    fn what_stands_in_a_place_goes_along_with_it() {
        let all = cellar();
        let names = |id: i64, name: &str, within: Option<i64>| {
            changed(&all, PlaceId(id), name, within.map(PlaceId))
                .map(|found| found.into_iter().map(|place| place.1).collect::<Vec<_>>())
        };
        assert_eq!(
            names(2, "North rack", Some(1)).unwrap(),
            ["Cellar, North rack", "Cellar, North rack, Bay"]
        );
        assert_eq!(names(2, "Rack", Some(4)).unwrap(), ["Loft, Rack", "Loft, Rack, Bay"]);
        assert_eq!(names(2, "Rack", None).unwrap(), ["Rack", "Rack, Bay"]);
        for within in [1, 2, 3] {
            let refusal = names(1, "Cellar", Some(within)).unwrap_err();
            assert!(refusal.to_string().contains("cannot stand in itself"), "{refusal}");
        }
    }

    #[test]
    fn places_go_eight_deep_also_when_they_are_moved() {
        let deep = "1, 2, 3, 4, 5, 6, 7";
        assert_eq!(path(Some(deep), "8").unwrap(), "1, 2, 3, 4, 5, 6, 7, 8");
        assert!(path(Some("1, 2, 3, 4, 5, 6, 7, 8"), "9").is_err());
        let mut all = cellar().to_vec();
        all.push(Place {
            id: PlaceId(5),
            within: None,
            name: "7".to_owned(),
            path: deep.to_owned(),
            capacity: None,
        });
        let refusal = changed(&all, PlaceId(2), "Rack", Some(PlaceId(5))).unwrap_err();
        assert!(refusal.to_string().contains("eight deep"), "{refusal}");
    }
}
