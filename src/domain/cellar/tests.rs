//! Where bottles should go, and how they are found again.

use super::*;

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn stand(place: i64, drink: &str, code: &str, bottles: i64) -> Stand {
    Stand {
        bottling: BottlingId(1),
        lot: LotId(1),
        code: code.to_owned(),
        drink: drink.to_owned(),
        bottled_on: day("2025-06-01"),
        place: PlaceId(place),
        path: format!("Wheel pit, Bay {place}"),
        bottles,
        cost: Money::ZERO,
    }
}

fn spot(place: i64, capacity: Option<i64>, held: i64, air: Option<(f64, bool)>) -> Spot {
    let stands = if held > 0 { vec![stand(place, "Perry", "12-1", held)] } else { Vec::new() };
    Spot { place: PlaceId(place), path: format!("Bay {place}"), capacity, stands, air }
}

fn put(spots: &[Spot], bottles: i64, drink: &str) -> (Vec<(i64, i64)>, i64) {
    let (found, left) = propose(spots, &Wanted { bottles, drink: Some(drink.to_owned()) });
    (found.iter().map(|one| (one.place.0, one.bottles)).collect(), left)
}

#[test]
fn a_filling_stays_together_where_it_finds_room() {
    let spots = [spot(1, Some(60), 30, None), spot(2, Some(60), 0, None), spot(3, Some(50), 0, None)];
    // Both empty ones take all; the one with less room over is taken.
    assert_eq!(put(&spots, 48, "Mead"), (vec![(3, 48)], 0));
    assert_eq!(put(&spots, 55, "Mead"), (vec![(2, 55)], 0));
    // None takes 100: the roomiest first, then where the rest fits best.
    assert_eq!(put(&spots, 100, "Mead"), (vec![(2, 60), (3, 40)], 0));
    assert_eq!(put(&spots, 150, "Mead"), (vec![(2, 60), (3, 50), (1, 30)], 10));
    assert_eq!(put(&[spot(1, None, 0, None)], 5, "Mead"), (vec![], 5), "nobody said what it takes");
}

#[test]
fn cool_and_steady_goes_before_unread_and_that_before_warm() {
    let warm = spot(1, Some(60), 0, Some((22.0, false)));
    let unread = spot(2, Some(60), 0, None);
    let cool = spot(3, Some(60), 0, Some((13.0, false)));
    let troubled = spot(4, Some(60), 0, Some((13.0, true)));
    let first = |spots: &[Spot]| put(spots, 10, "Mead").0[0].0;
    assert_eq!(first(&[warm.clone(), unread.clone(), cool.clone(), troubled.clone()]), 3);
    assert_eq!(first(&[warm, unread, troubled.clone()]), 2);
    let (found, _) = propose(&[troubled], &Wanted { bottles: 5, drink: None });
    assert_eq!(
        found[0].reasons,
        [
            "all of them find room: 60 of 60 are free",
            "but it was too warm, frosty or changing there, 13.0 °C this month"
        ]
    );
    let beside = [spot(1, Some(60), 0, None), spot(2, Some(60), 20, None)];
    assert_eq!(put(&beside, 10, "Perry").0, [(2, 10)], "the same drink stands there");
}

#[test]
fn no_more_than_a_place_takes() {
    assert!(room_for(&spot(1, Some(60), 50, None), 10).is_ok());
    assert!(room_for(&spot(1, None, 50, None), 1000).is_ok());
    let refused = room_for(&spot(1, Some(60), 50, None), 11).unwrap_err();
    assert!(refused.to_string().contains("takes 60 bottles and holds 50: 10 more find room"), "{refused}");
}

#[test]
fn bottles_are_found_by_code_drink_place_and_age() {
    let one = stand(3, "Heather Mead", "31-1", 12);
    let today = day("2026-06-01");
    let finds = |words: &str| Sought { words: words.to_owned(), ..Sought::default() }.finds(&one, today);
    assert!(finds("31-1") && finds("heather") && finds("MEAD bay 3") && finds(""));
    assert!(!finds("perry") && !finds("mead bay 4"));
    let aged = |from: i64, until: i64| {
        Sought { from_age: Some(from), until_age: Some(until), ..Sought::default() }.finds(&one, today)
    };
    assert!(aged(365, 365) && !aged(366, 400) && !aged(0, 364));
    let at = |place| Sought { places: Some(vec![PlaceId(place)]), ..Sought::default() }.finds(&one, today);
    assert!(at(3) && !at(4));
}

#[test]
fn ages_fall_into_years() {
    assert_eq!([0, 364, 365, 730, 1094, 1095, 9999].map(age_class), [0, 0, 1, 2, 2, 3, 3]);
}

#[test]
fn the_stock_is_told_by_drink_and_by_age() {
    let old = Stand { bottled_on: day("2023-01-01"), bottling: BottlingId(2), ..stand(2, "Perry", "7-1", 5) };
    let all = [stand(1, "Mead", "9-1", 4), old, stand(3, "Perry", "12-1", 20)];
    let found = drinks(&all);
    let told: Vec<_> = found.iter().map(|one| (one.drink.as_str(), one.bottles, one.places.len())).collect();
    assert_eq!(told, [("Perry", 25, 2), ("Mead", 4, 1)]);
    assert_eq!((found[0].oldest, found[0].youngest), (day("2023-01-01"), day("2025-06-01")));
    assert_eq!(profile(&all, day("2026-05-31")), [24, 0, 0, 5]);
}

#[test]
fn what_comes_of_age_is_told_with_its_first_and_last_age() {
    let other = Stand { bottling: BottlingId(2), ..stand(1, "Mead", "9-1", 6) };
    let all = [stand(1, "Perry", "12-1", 20), stand(2, "Perry", "12-1", 5), other];
    let planned = |id: BottlingId| match id.0 {
        1 => vec![(730, day("2027-06-01")), (180, day("2025-11-28")), (365, day("2026-06-01"))],
        _ => vec![(90, day("2026-02-01"))],
    };
    let found = coming(&all, planned, (day("2026-01-01"), day("2026-12-31")));
    let told: Vec<_> = found.iter().map(|one| (one.code.as_str(), one.bottles, one.ages.len())).collect();
    assert_eq!(told, [("9-1", 6, 1), ("12-1", 25, 1)]);
    assert!(found[0].ages[0].first && found[0].ages[0].last);
    assert!(!found[1].ages[0].first && !found[1].ages[0].last, "365 lies between 180 and 730");
}
