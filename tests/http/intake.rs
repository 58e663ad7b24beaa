//! Tables that a club brings in, over HTTP: looked at, brought in, found in the books, and undone as one act.

use serde_json::{Value, json};
use undercroft::actions::members::{self, Visitor};
use undercroft::domain::members::NewPerson;
use undercroft::web::extract::now;

use super::House;
use super::scene::Scene;
use crate::ground::{Ground, findings, on_both};

on_both!(
    a_club_brings_in_what_it_kept_elsewhere_and_undoes_it,
    what_is_used_is_not_undone,
    members_come_in_and_get_a_link_of_their_own,
);

/// A house whose steward asks.
async fn opened(ground: &Ground) -> (House, Scene) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token.clone_from(&scene.token);
    (house, scene)
}

fn send(house: &House, kind: &str, rows: &str) -> Value {
    house.post("/tables", &json!({"kind": kind, "rows": rows, "file_name": format!("{kind}.csv")})).json
}

fn id_of(told: &Value) -> &str {
    told["id"].as_str().expect("an id")
}

/// Brings a table in of which every row is good: its id.
fn brought(house: &House, kind: &str, rows: &str) -> String {
    let told = send(house, kind, rows);
    let looked = &told["looked_at"];
    assert_eq!((&looked["bad_in_all"], &looked["missing"]), (&json!(0), &json!([])), "{told}");
    let done = house.post(&format!("/tables/{}/bringing", id_of(&told)), &json!({"keep": "all"})).json;
    assert_eq!(done["kept"], looked["good"], "{done}");
    id_of(&told).to_owned()
}

fn items(house: &House, path: &str) -> Vec<Value> {
    house.get(path).json["items"].as_array().expect("a list").clone()
}

fn undo(house: &House, table: &str) -> super::Heard {
    let body = json!({"reason": "the wrong year"}).to_string();
    house.send(&house.token, "POST", &format!("/tables/{table}/undoing"), None, &body)
}

async fn a_club_brings_in_what_it_kept_elsewhere_and_undoes_it(ground: &Ground) {
    let (house, scene) = opened(ground).await;
    let worth = |house: &House| house.get("/stock").json["total_value"].as_str().expect("money").to_owned();
    let before = worth(&house);

    // Of four rows two are bad: all or nothing brings in nothing, the good ones come in.
    let rows = "Name;Kind;Counted in;Allergens\nHeather honey;ingredient;g;\nHeather honey;ingredient;g;\n\
                Bee pollen;spice;g;\nIsinglass;aid;g;fish\n";
    let told = send(&house, "items", rows);
    let bad = told["looked_at"]["bad"].as_array().expect("rows").clone();
    let (line, why) = (|at: usize| &bad[at]["line"], |at: usize| bad[at]["why"].as_str().expect("words"));
    assert_eq!((line(0), why(0)), (&json!(3), "“Heather honey” stands in line 2 already"));
    assert!(line(1) == &json!(4) && why(1).contains("“spice” is none of these"), "{bad:?}");
    let path = format!("/tables/{}/bringing", id_of(&told));
    let all = house.send(&house.token, "POST", &path, None, &json!({"keep": "all"}).to_string());
    assert_eq!(all.status, 409, "{}", all.body);
    assert!(all.body.contains("2 of 4 rows cannot be brought in"), "{}", all.body);
    let done = house.post(&path, &json!({"keep": "good"})).json;
    assert_eq!((&done["kept"], &done["left_out"]), (&json!(2), &json!(2)));
    let again = house.send(&house.token, "POST", &path, None, &json!({"keep": "good"}).to_string());
    assert_eq!(again.status, 409, "{}", again.body);

    let places = brought(&house, "places", "Name\tBottles it takes\nUndercroft, Arch 3\t200\n");
    let honey = "Heather honey,\"12,5\",\"98,40\",\"Undercroft, Arch 3\",2031-01-31\n";
    let lots = brought(&house, "lots", &format!("Item,How much (kg),Cost,Place,Best before\n{honey}"));
    let mead = "Heather mead;01.03.2026;18 L;44,10;resting;13.03.2026;Arch 3;none\n";
    let heads = "Drink;Begun on;Volume;Cost;Stage;Pitched on;Place;Allergens";
    let rows = format!("{heads}\n{mead}Pear must;2026-05-30;;;;;;\n");
    let batches = brought(&house, "batches", &rows);
    let mead = items(&house, "/batches").into_iter().find(|batch| batch["name"] == "Heather mead");
    let mead = mead.expect("the mead is there");
    assert_eq!(mead["stage"], json!("resting"), "{mead}");
    let number = mead["code"].as_str().expect("a number").to_owned();
    let rows = format!("{number};14.03.2026;18:00;1,0910;3,9\n{number};30.03.2026;18:00;1,0020;\n");
    let readings = brought(&house, "readings", &format!("Batch;Date;Time;Gravity;pH\n{rows}"));
    let mead = house.get(&format!("/batches/{}", id_of(&mead))).json;
    assert_eq!(mead["readings"].as_array().map(Vec::len), Some(3), "{mead}");
    // What was there before stays as it was, and the table says so.
    let again = brought(&house, "readings", &format!("Batch;Date;Time;Gravity;pH\n{rows}"));
    assert_eq!(house.get(&format!("/tables/{again}")).json["known"], 3);
    let bottles = brought(
        &house,
        "bottles",
        "Batch,Drink,Bottled on,Bottles,Size,Cost of a bottle,Place,Allergens,Strength,Tasting ages\n\
         Old 12,Whey wine,2025-06-01,30,75 cl,1.315,Arch 3,milk,9.5,365 730\n\
         Old 12,Whey wine,2025-06-01,12,37.5 cl,0.70,Arch 3,milk,9.5,365 730\n",
    );
    let laid: Vec<Value> =
        items(&house, "/bottlings").into_iter().filter(|one| one["bottled_on"] == "2025-06-01").collect();
    assert_eq!(laid.len(), 2);
    let one = house.get(&format!("/bottlings/{}", id_of(&laid[0]))).json;
    assert!(["0.7", "1.315"].contains(&one["cost_per_bottle"].as_str().unwrap_or_default()), "{one}");
    assert!(one["strength"].to_string().contains("9.5"), "{one}");
    assert!(one.to_string().contains("milk"), "what must be named is known: {one}");
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    assert_ne!(worth(&house), before);

    for table in [&bottles, &readings, &batches, &lots] {
        let heard = undo(&house, table);
        assert_eq!(heard.status, 201, "{}", heard.body);
        assert_eq!(undo(&house, table).status, 409, "once is enough");
    }
    assert_eq!(undo(&house, &places).status, 409, "the books name the place");
    let heard = undo(&house, id_of(&told));
    assert_eq!(heard.status, 409, "lots of the honey were there: {}", heard.body);
    assert!(heard.body.contains("“Heather honey” is named by what was recorded since"), "{}", heard.body);
    assert_eq!(worth(&house), before, "as if nothing had come in");
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    let page = house.page(&scene.session, &format!("/club/tables/{bottles}"));
    assert!(page.body.contains("undone on") && page.body.contains("the wrong year"), "{}", page.body);
    house.close().await;
}

async fn what_is_used_is_not_undone(ground: &Ground) {
    let (house, scene) = opened(ground).await;
    let places = brought(&house, "places", "Name\nArch 9\nArch 10\n");
    let rows = "Item;How much;Cost;Place\nWhole milk;5 L;4;Arch 9\nWhole milk;6 L;5;Arch 9\n";
    let lots = brought(&house, "lots", rows);
    let stock = house.get("/stock").json;
    let lot = stock["lots"]
        .as_array()
        .expect("lots")
        .iter()
        .find(|lot| lot.to_string().contains("Arch 9"))
        .expect("milk stands there");
    let lot = lot["lot"]["id"].as_str().expect("a lot");
    let body = json!({"lines": [{"lot": lot, "quantity": {"amount": "1", "unit": "L"}}]});
    house.post(&format!("/batches/{}/draws", scene.cellar.batch), &body);
    for table in [&lots, &places] {
        let heard = undo(&house, table);
        assert_eq!(heard.status, 409, "{}", heard.body);
    }
    let told = house.get(&format!("/tables/{lots}")).json;
    assert_eq!(told["undone_at"], Value::Null, "nothing of it was undone: {told}");
    assert_eq!(findings(&house.db).off, Vec::<String>::new());

    // The same file again holds nothing new; of strange columns it is asked what they hold, and that is remembered.
    let again = send(&house, "places", "Name\nArch 9\nArch 10\n");
    assert_eq!((&again["looked_at"]["good"], &again["looked_at"]["bad_in_all"]), (&json!(0), &json!(2)));
    let strange = send(&house, "lots", "Thing;How many;Price;Board\nWhole milk;1 L;1;Arch 9\n");
    let missing = strange["looked_at"]["missing"][0].as_str().expect("words").to_owned();
    assert!(missing.contains("“Item” and “How much”") && missing.contains("“Place”"), "{missing}");
    let of = |heading: &str, field: &str| json!({"heading": heading, "field": field});
    let columns =
        [of("Thing", "item"), of("How many", "quantity"), of("Price", "cost"), of("Board", "place")];
    let said = house.post(&format!("/tables/{}/columns", id_of(&strange)), &json!({"columns": columns})).json;
    assert_eq!(said["looked_at"]["good"], json!(1), "{said}");
    let twice = json!({"columns": [of("Thing", "item"), of("Board", "item")]}).to_string();
    let path = format!("/tables/{}/columns", id_of(&strange));
    let heard = house.send(&house.token, "POST", &path, None, &twice);
    assert!(heard.status == 422 && heard.body.contains("“Item” is said of two columns"), "{}", heard.body);
    let remembered = send(&house, "lots", "Thing;How many;Price;Board\nWhole milk;2 L;1;Arch 10\n");
    assert_eq!(remembered["looked_at"]["good"], json!(1), "{remembered}");
    let page = house.page(&scene.session, &format!("/club/tables/{}", id_of(&remembered)));
    for words in ["All of it can be brought in: 1 lot.", "“Board” holds", "Cells separated by semicolons."]
    {
        assert!(page.body.contains(words), "{words}: {}", page.body);
    }
    house.close().await;
}

async fn members_come_in_and_get_a_link_of_their_own(ground: &Ground) {
    let (house, scene) = opened(ground).await;
    let table = brought(&house, "members", "Name;Role;Since\nHessel Vale;cellarhand;2024-05-01\n");
    let members = items(&house, "/members");
    let jorrit = members.iter().find(|member| member["name"] == "Hessel Vale").expect("he is there");
    assert_eq!((&jorrit["role"], &jorrit["joined_on"]), (&json!("cellarhand"), &json!("2024-05-01")));
    let (me, taster) = (scene.member.to_string(), id_of(jorrit).to_owned());
    let page = house.page(&scene.session, &format!("/club/members/{taster}")).body;
    assert!(page.contains("has no way to sign in yet") && !page.contains("members.invalid"), "{page}");
    let heard = house.send(&house.token, "POST", &format!("/members/{me}/link"), None, "{}");
    assert!(heard.status == 409 && heard.body.contains("signs in already"), "{}", heard.body);

    // Undone, they are gone; by a link they become the member that was brought in, and stay.
    assert_eq!(undo(&house, &table).status, 201);
    assert!(!items(&house, "/members").iter().any(|member| member["name"] == "Hessel Vale"));
    let table = brought(&house, "members", "Name;Role;Since\nHessel Vale;cellarhand;2024-05-01\n");
    let of = |house: &House| {
        items(house, "/members")
            .into_iter()
            .find(|member| member["name"] == "Hessel Vale")
            .expect("he is there")
    };
    let jorrit = of(&house);
    let link = house.post(&format!("/members/{}/link", id_of(&jorrit)), &json!({})).text("link");
    let secret = link.rsplit('/').next().expect("a secret");
    let person =
        NewPerson::read("Jorrit", "jorrit@tidemill.example", "a heron on the weir").expect("a person");
    let visitor = Visitor { device: String::new(), address: "127.0.0.1".to_owned(), now: now() };
    let joined = members::accept_invitation(&house.db, secret, person, &visitor).await.expect("he joins");
    assert_eq!(joined.1.to_string(), id_of(&jorrit));
    let page = house.page(&scene.session, &format!("/club/members/{}", id_of(&of(&house)))).body;
    assert!(page.contains("jorrit@tidemill.example") && !page.contains("no way to sign in"), "{page}");
    let heard = undo(&house, &table);
    assert!(
        heard.status == 409 && heard.body.contains("“Hessel Vale” is named by what was recorded since"),
        "{}",
        heard.body
    );
    house.close().await;
}
