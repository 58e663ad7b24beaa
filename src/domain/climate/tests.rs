//! Days, troubles and weighted ages against figures worked out by hand from the published rule.

use super::*;

fn day(number: u64) -> Day {
    Day::from_ymd_opt(2026, 1, 1).unwrap() + chrono::Days::new(number)
}

fn at(number: u64, hour: u32) -> Instant {
    day(number).and_hms_opt(hour, 0, 0).unwrap()
}

fn sample(number: u64, hour: u32, c: f64) -> Sample {
    Sample { at: at(number, hour), temperature: Measured::from_number(c).unwrap(), humidity: None }
}

fn steady(from: u64, until: u64, c: f64) -> BTreeMap<Day, f64> {
    (from..until).map(|number| (day(number), worth(c))).collect()
}

#[test]
fn a_day_counts_by_its_warmth() {
    // Q10 2.5 to 15 °C: 10 °C 0.632, 20 °C 1.581 (computed by the published rule, to the digits printed).
    let found = day_of(day(0), &[sample(0, 6, 10.0), sample(0, 18, 20.0)]).unwrap();
    assert_eq!((found.readings, found.lowest_c, found.highest_c, found.mean_c), (2, 10.0, 20.0, 15.0));
    assert!((found.worth - f64::midpoint(0.632, 1.581)).abs() < 0.001, "{}", found.worth);
    assert_eq!(found.humidity, None);
    assert_eq!(day_of(day(0), &[]), None);
}

#[test]
fn a_year_with_a_warm_summer_is_the_published_age() {
    // 90 days at 12 °C, 180 at 18 and 95 at 24 are 522.02 days at 15 °C with a Q10 of 2.5.
    let shelf = PlaceId(1);
    let mut there = steady(0, 90, 12.0);
    there.extend(steady(90, 270, 18.0));
    there.extend(steady(270, 365, 24.0));
    let climate = Climate::from([(shelf, there)]);
    let carried = [Carried { day: day(0), place: shelf, bottles: 12_000 }];
    let found = weighted(&stays(&carried, day(365)), &climate, &BTreeMap::from([(shelf, shelf)]));
    assert!((found.days - 522.02).abs() < 0.005, "{found:?}");
    assert!((found.measured - 1.0).abs() < 1e-9);
}

#[test]
fn bottles_age_where_they_stand() {
    let (cold, warm) = (PlaceId(1), PlaceId(2));
    let climate = Climate::from([(cold, steady(0, 100, 5.0)), (warm, steady(0, 100, 25.0))]);
    let by = BTreeMap::from([(cold, cold), (warm, warm)]);
    let moved = |bottles: i64| {
        let first = Carried { day: day(0), place: cold, bottles: 10_000 };
        let out = Carried { day: day(40), place: cold, bottles: -bottles };
        let carried = [first, out, Carried { place: warm, bottles, ..out }];
        weighted(&stays(&carried, day(100)), &climate, &by).days
    };
    // 5 °C 0.400, 25 °C 2.5: forty days in the cold, then sixty in the warm, or half of the bottles there.
    assert!((moved(10_000) - (40.0 * 0.4 + 60.0 * 2.5)).abs() < 0.01, "{}", moved(10_000));
    assert!((moved(5000) - (40.0 * 0.4 + 60.0 * f64::midpoint(0.4, 2.5))).abs() < 0.01, "{}", moved(5000));
    // Bottles that were taken count no more.
    let gone = [
        Carried { day: day(0), place: cold, bottles: 10_000 },
        Carried { day: day(10), place: cold, bottles: -10_000 },
    ];
    assert_eq!(stays(&gone, day(100)).len(), 1);
}

#[test]
fn days_that_were_not_measured_count_as_the_others_do() {
    let shelf = PlaceId(1);
    let carried = [Carried { day: day(0), place: shelf, bottles: 1000 }];
    let by = BTreeMap::from([(shelf, shelf)]);
    let half = Climate::from([(shelf, steady(0, 50, 25.0))]);
    let found = weighted(&stays(&carried, day(100)), &half, &by);
    assert!((found.days - 250.0).abs() < 1e-6 && (found.measured - 0.5).abs() < 1e-9, "{found:?}");
    let none = weighted(&stays(&carried, day(100)), &Climate::new(), &by);
    assert_eq!(none, Weighted { days: 100.0, measured: 0.0, per_day: 1.0 });
}

#[test]
fn a_shelf_is_measured_by_the_nearest_place_around_it() {
    let place = |id, within: Option<i64>| Place {
        id: PlaceId(id),
        within: within.map(PlaceId),
        name: String::new(),
        path: String::new(),
        capacity: None,
    };
    let all = [place(1, None), place(2, Some(1)), place(3, Some(2)), place(4, None)];
    let by = measured_by(&all, &[PlaceId(1), PlaceId(3)]);
    assert_eq!(by.get(&PlaceId(3)), Some(&PlaceId(3)));
    assert_eq!(by.get(&PlaceId(2)), Some(&PlaceId(1)));
    assert_eq!(by.get(&PlaceId(4)), None);
}

#[test]
fn troubles_begin_last_and_end() {
    let there = |number, low: f64, high: f64| {
        day_of(day(number), &[sample(number, 5, low), sample(number, 15, high)]).unwrap()
    };
    let warm = |days: &[DayThere], today| {
        let found = troubles(days, day(today));
        found.into_iter().find(|one| one.trouble == Trouble::Warm).map(|one| (one.since, one.worst_c))
    };
    let days = [there(1, 20.0, 24.9), there(2, 21.0, 25.0), there(4, 22.0, 27.5), there(5, 20.0, 24.0)];
    assert_eq!(warm(&days[..1], 1), None);
    assert_eq!(warm(&days[..2], 2), Some((day(2), 25.0)));
    // A day between does not end it, and three days without do.
    assert_eq!(warm(&days, 7), Some((day(2), 27.5)));
    assert_eq!(warm(&days, 8), None);
    let kinds = |low, high| -> Vec<Trouble> {
        troubles(&[there(1, low, high)], day(1)).into_iter().map(|one| one.trouble).collect()
    };
    assert_eq!(kinds(0.0, 4.0), [Trouble::Frost]);
    assert_eq!(kinds(0.1, 6.0), []);
    assert_eq!(kinds(10.0, 16.5), [Trouble::Swing]);
    assert_eq!(kinds(-1.0, 26.0), [Trouble::Warm, Trouble::Frost, Trouble::Swing]);
}

#[test]
fn values_are_read_as_people_write_them() {
    assert_eq!(read_temperature("14,5 °C").unwrap().plain(), "14.5");
    assert!(read_temperature("145").is_err() && read_temperature("warm").is_err());
    assert_eq!(read_humidity("68 %").unwrap().plain(), "68");
    assert!(read_humidity("101").is_err() && read_humidity("-1").is_err());
}

#[test]
fn an_age_by_warmth_falls_by_what_a_day_counts_for_now() {
    let shelf = PlaceId(1);
    let carried = [Carried { day: day(0), place: shelf, bottles: 1000 }];
    let by = BTreeMap::from([(shelf, shelf)]);
    // 100 days at 25 °C are 250; the 100 that are missing to 350 take 40 more.
    let warm = weighted(&stays(&carried, day(100)), &Climate::from([(shelf, steady(0, 100, 25.0))]), &by);
    assert!((warm.per_day - 2.5).abs() < 1e-9);
    assert_eq!(falls_on(&warm, 350, day(100)), day(140));
    assert_eq!(falls_on(&warm, 250, day(100)), day(100), "it has it");
    // Nothing was read: a day is a day.
    let unread = weighted(&stays(&carried, day(100)), &Climate::new(), &by);
    assert_eq!(falls_on(&unread, 350, day(100)), day(350));
}
