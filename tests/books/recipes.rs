//! Recipes in the books of a club: revisions that stay, batches made by them, and recipes made of batches.

use diesel::connection::SimpleConnection;
use undercroft::actions::recipes::{self as actions, Making, NewRevision, Revising};
use undercroft::actions::{Done, batches, plans};
use undercroft::db::{Database, recipes as rows, steps};
use undercroft::domain::batches::Source;
use undercroft::domain::plans::PlanSupply;
use undercroft::domain::recipes::{Revision, differences, scaled};
use undercroft::domain::refusal::Why;
use undercroft::units::quantity::Milli;
use undercroft::web::recipes::write::as_made;

use crate::ground::cellar::{Cellar, curds_off, draw, whey};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    a_revision_stays_and_saving_makes_the_next,
    a_batch_follows_its_revision_and_becomes_a_recipe_again,
    what_is_put_aside_is_not_made
);

#[track_caller]
fn refused<T: std::fmt::Debug>(done: Done<T>, why: Why, says: &str) {
    match done {
        Err(undercroft::actions::Error::Refused(refusal)) => {
            assert_eq!(refusal.why, why, "{refusal}");
            assert!(refusal.to_string().contains(says), "“{says}” is not in “{refusal}”");
        }
        other => panic!("it should be refused: {other:?}"),
    }
}

async fn says(db: &Database, cellar: &Cellar, number: i64) -> Revision {
    let (club, recipe) = (cellar.club.hand.club, cellar.recipe);
    let read = db.read(move |conn| rows::revision(conn, club, recipe, number)).await;
    read.expect("the revision is read").revision
}

fn items(cellar: &Cellar) -> [undercroft::units::ids::ItemId; 3] {
    [cellar.milk, cellar.yeast, cellar.curds]
}

async fn a_revision_stays_and_saving_makes_the_next(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, recipe) = (&cellar.club.hand, cellar.recipe);
    let next = |from, revision, note: &str| Revising {
        recipe,
        from,
        new: NewRevision { revision, note: note.to_owned() },
    };
    let second = says(&db, &cellar, 2).await;
    assert_eq!(second, whey(items(&cellar), 15_000), "what was written is what is read");
    let same = actions::revise(&db, hand, None, next(None, second.clone(), "again")).await;
    refused(same, Why::Conflict, "Nothing differs from revision 2");
    let third = whey(items(&cellar), 18_000);
    let silent = actions::revise(&db, hand, None, next(None, third.clone(), "")).await;
    refused(silent, Why::Unfit, "what you changed and why");
    let late = actions::revise(&db, hand, None, next(Some(1), third.clone(), "more")).await;
    refused(late, Why::Conflict, "made revision 2 while you wrote");
    let made = actions::revise(&db, hand, None, next(Some(2), third.clone(), "more")).await;
    assert_eq!(made.expect("it is saved").number, 3);
    assert_eq!(says(&db, &cellar, 2).await, second, "the one before is as it was");
    assert_eq!(differences(&says(&db, &cellar, 2).await, &says(&db, &cellar, 3).await).len(), 1);
    let wrong = Revision {
        supplies: vec![PlanSupply { item: cellar.curds, amount: Milli::new(1) }],
        by_products: vec![PlanSupply { item: cellar.yeast, amount: Milli::new(1) }],
        ..third
    };
    let wrong = actions::revise(&db, hand, None, next(None, wrong, "odd")).await;
    refused(wrong, Why::Unfit, "is not a by-product");
    for table in ["recipe_revisions", "recipe_supplies", "recipe_by_products", "recipe_steps"] {
        let conn = &mut ground.connection();
        for change in [format!("UPDATE {table} SET club_id = club_id"), format!("DELETE FROM {table}")] {
            let error = conn.batch_execute(&change).expect_err("a revision is never changed").to_string();
            assert!(error.contains("never"), "{change}: {error}");
        }
    }
}

/// A batch by a recipe, made as its recipe says, is a recipe that differs in nothing.
async fn a_batch_follows_its_revision_and_becomes_a_recipe_again(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let amount = Milli::new(6_000_000);
    let order = Making { recipe: cellar.recipe, number: Some(2), amount, name: None, day: day("2026-03-01") };
    let made = actions::make(&db, hand, None, order).await.expect("a batch on paper");
    let (club, id) = (hand.club, made.id);
    let wanted = scaled(&says(&db, &cellar, 2).await, amount).expect("a tenth of it");
    let kept = db.read(move |conn| steps::steps(conn, club, id)).await.expect("its steps");
    assert_eq!(kept.iter().map(|step| step.plan.clone()).collect::<Vec<_>>(), wanted.steps);
    let supplies =
        db.read(move |conn| undercroft::db::plans::supplies(conn, club, id)).await.expect("supplies");
    let planned: Vec<_> = supplies.iter().map(|one| (one.wanted.item, one.wanted.planned.get())).collect();
    assert_eq!(planned, [(cellar.milk, 6_000_000), (cellar.yeast, 1_500)]);
    let by = db.read(move |conn| rows::followed_by(conn, club, id)).await.expect("its recipe");
    let by = by.expect("it was made by one");
    assert_eq!((by.recipe, by.number, by.drink.as_str()), (cellar.recipe, 2, "Tide White"));
    let reader = hand.clone();
    let before = db.read(move |conn| as_made(conn, &reader, id, None)).await.expect("it is read");
    assert_eq!(before, None, "nothing was drawn yet");

    let milk = draw(id, day("2026-03-02"), Source::Item(cellar.milk), 6_000_000);
    batches::draw(&db, hand, None, milk).await.expect("milk is drawn");
    let off = undercroft::domain::batches::ByProduct {
        quantity: Milli::new(1_600_000),
        ..curds_off(id, cellar.curds, cellar.place)
    };
    batches::by_product(&db, hand, None, off).await.expect("curds are weighed off");
    let yeast = draw(id, day("2026-03-03"), Source::Item(cellar.yeast), 1_500);
    let yeast = undercroft::domain::batches::Draw { pitch: true, ..yeast };
    let slip = batches::draw(&db, hand, None, yeast.clone()).await.expect("yeast is pitched");
    let back = undercroft::actions::reversals::TakeBack { entry: slip.entry, reason: "a slip".to_owned() };
    undercroft::actions::reversals::record_reversal(&db, hand, None, back).await.expect("it is reversed");
    batches::draw(&db, hand, None, yeast).await.expect("yeast is pitched again");
    let reader = hand.clone();
    let again = db.read(move |conn| as_made(conn, &reader, id, None)).await.expect("it is read");
    let again = again.expect("something was drawn");
    assert_eq!(again.steps, [], "no step was recorded as done");
    let again = Revision { steps: wanted.steps.clone(), ..again };
    let expected = Revision {
        base: wanted.base,
        supplies: wanted.supplies,
        by_products: wanted.by_products,
        steps: wanted.steps,
        ..says(&db, &cellar, 2).await
    };
    assert_eq!(differences(&expected, &again), [], "what was taken back does not count");
    assert_eq!(findings(&db).off, Vec::<String>::new());
    let wanted = db.read(move |conn| undercroft::db::plans::wanted(conn, club)).await.expect("all plans");
    assert!(wanted.iter().all(|one| one.0 != id), "all of it was drawn and pitched");
    let own = plans::WholePlan {
        batch: batches::Plan { name: "Perry".to_owned(), base_volume: None, day: day("2026-03-01") },
        steps: Vec::new(),
        supplies: Vec::new(),
    };
    let own = plans::plan(&db, hand, None, own).await.expect("a batch without a recipe").id;
    let none = db.read(move |conn| rows::followed_by(conn, club, own)).await.expect("it is read");
    assert_eq!(none, None);
}

async fn what_is_put_aside_is_not_made(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, recipe) = (&cellar.club.hand, cellar.recipe);
    let order = || Making {
        recipe,
        number: None,
        amount: Milli::new(6_000_000),
        name: Some("Tide Grey".to_owned()),
        day: day("2026-03-01"),
    };
    actions::put_aside(&db, hand, None, recipe, true).await.expect("it is put aside");
    refused(actions::put_aside(&db, hand, None, recipe, true).await, Why::Conflict, "put aside already");
    refused(actions::make(&db, hand, None, order()).await, Why::Conflict, "take it back first");
    let club = hand.club;
    let listed = |aside| db.read(move |conn| rows::list(conn, club, aside, None, 9));
    assert_eq!(listed(false).await.expect("a list").len(), 0);
    assert_eq!(listed(true).await.expect("a list")[0].number, 2);
    actions::put_aside(&db, hand, None, recipe, false).await.expect("it is offered again");
    refused(actions::put_aside(&db, hand, None, recipe, false).await, Why::Conflict, "offered already");
    actions::make(&db, hand, None, order()).await.expect("a batch on paper");
    let list = listed(false).await.expect("a list");
    assert_eq!(
        (list[0].drink.as_str(), list[0].base.as_str(), list[0].batches),
        ("Tide White", "Whole milk", 1)
    );
}
