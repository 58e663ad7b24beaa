//! Places are renamed and put elsewhere: what stands in them goes along, and no place comes to stand in itself.

use undercroft::actions::stock::{NewPlace, add_place, change_place};
use undercroft::actions::{Done, Error};
use undercroft::db::Database;
use undercroft::db::stock::{StockFilter, places, stock};
use undercroft::domain::members::Cellarhand;
use undercroft::domain::refusal::Why;
use undercroft::units::ids::PlaceId;

use super::world::told;
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, on_both};

on_both!(what_stands_in_a_place_goes_along_and_what_cannot_be_changes_nothing);

async fn paths(db: &Database, by: &Cellarhand) -> Vec<String> {
    let club = by.club;
    let found = db.read(move |conn| places(conn, club)).await.expect("the places are read");
    found.into_iter().map(|place| place.path).collect()
}

fn refused(done: Done<PlaceId>) -> (Why, String, String) {
    match done {
        Err(Error::Refused(refusal)) => {
            let field = refusal.faults[0].field.clone();
            (refusal.why, field, refusal.to_string())
        }
        other => panic!("this was to be refused: {other:?}"),
    }
}

async fn what_stands_in_a_place_goes_along_and_what_cannot_be_changes_nothing(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let named = |name: &str, within| NewPlace { name: name.to_owned(), within, capacity: None };
    let rack = add_place(&db, hand, None, named("Rack", Some(cellar.place))).await.expect("a rack");
    let bay = add_place(&db, hand, None, named("Bay", Some(rack))).await.expect("a bay");
    let change = async |id, name: &str, within| change_place(&db, hand, None, id, named(name, within)).await;
    assert_eq!(paths(&db, hand).await, ["Cellar", "Cellar, Rack", "Cellar, Rack, Bay", "Shelf"]);

    change(cellar.place, "Wheel pit", Some(cellar.shelf)).await.expect("the cellar is put into the shelf");
    assert_eq!(
        paths(&db, hand).await,
        ["Shelf", "Shelf, Wheel pit", "Shelf, Wheel pit, Rack", "Shelf, Wheel pit, Rack, Bay"]
    );
    let club = hand.club;
    let lines = db.read(move |conn| stock(conn, club, &StockFilter::default())).await.expect("the stock");
    assert!(lines.iter().all(|line| line.path == "Shelf, Wheel pit"), "what stands there went along");

    // A name that another has until just now.
    change(rack, "Bay", Some(cellar.place)).await.expect("the rack is called bay");
    change(bay, "Bay", Some(rack)).await.expect("as a bay in a bay");
    assert_eq!(paths(&db, hand).await[2..], ["Shelf, Wheel pit, Bay", "Shelf, Wheel pit, Bay, Bay"]);

    let before = told(&mut ground.connection());
    for within in [cellar.place, rack, bay] {
        let (why, field, says) = refused(change(cellar.place, "Wheel pit", Some(within)).await);
        assert_eq!((why, field.as_str()), (Why::Unfit, "within"));
        assert!(says.contains("cannot stand in itself"), "{says}");
    }
    let (why, field, says) = refused(change(bay, "bay", Some(cellar.place)).await);
    assert_eq!((why, field.as_str()), (Why::Conflict, "name"));
    assert!(says.contains("already"), "{says}");
    assert_eq!(told(&mut ground.connection()), before);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}
