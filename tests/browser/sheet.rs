//! A sheet without a signal: what is marked while the network is off is kept on the phone, may be corrected, and is
//! sent once when the signal is back.

use std::time::Duration;

use serde_json::json;
use undercroft::actions::members::doer_by_email;
use undercroft::actions::tastings::{Beginning, Reply, answer_allergens, begin_tasting, plan_tasting};
use undercroft::db::{bottles, holds, tastings};
use undercroft::domain::members::{Cellarhand, Doer, Taster};
use undercroft::domain::tastings::sheet::Answer;
use undercroft::domain::tastings::{Method, Plan};
use undercroft::units::ids::TastingId;
use undercroft::units::quantity::Milli;
use undercroft::web::extract::now;

use super::hands::Hands;
use super::{House, Walked, words};

/// Glasses of the tasting.
const GLASSES: usize = 3;

/// A tasting is begun, and a taster marks it on a phone that loses the signal after the first glass.
pub async fn without_a_signal(hands: &Hands<'_>, house: &House) -> Walked<()> {
    let (host, guest) = (member(house, "marit").await?, member(house, "gijs").await?);
    let tasting = begun(house, &host, &guest).await?;
    hands.go("/").await?;
    hands.fill("email", "gijs@tidemill.example").await?;
    hands.fill("password", "tidemill-demo-cellar").await?;
    hands.send().await?;
    // Not looked over: the bar with the button lies over what is below the fold, and the engine calls that too small.
    hands.browser.goto(format!("{}/tastings/{tasting}/sheet", hands.at)).await.map_err(words)?;
    let first = hands.here().await?;
    mark(hands, 4).await?;
    hands.press(&hands.find("main form button.do").await?).await?;
    leaves(hands, &first).await?;
    let saved = answers(house, &host, tasting, &guest).await?;
    expect(&saved, &[Some(4.0), None, None], "with a signal")?;
    has_the_screens(hands).await?;

    network(hands, false).await?;
    mark(hands, 5).await?;
    press_on(hands, "kept on this device").await?;
    mark(hands, 6).await?;
    press_on(hands, "It is kept on this device").await?;
    expect(&answers(house, &host, tasting, &guest).await?, &[Some(4.0), None, None], "nothing is sent")?;
    let third = hands.here().await?;
    hands.press(&hands.find(".tray li:nth-child(2) a").await?).await?;
    leaves(hands, &third).await?;
    let second = hands.here().await?;
    mark(hands, 8).await?;
    // It goes on to the third glass, which is still as it was left.
    hands.press(&hands.find("main form button.do").await?).await?;
    leaves(hands, &second).await?;
    hands.says("is still here").await?;

    network(hands, true).await?;
    for _ in 0..240 {
        let saved = answers(house, &host, tasting, &guest).await?;
        if expect(&saved, &[Some(4.0), Some(8.0), Some(6.0)], "").is_ok() {
            tokio::time::sleep(Duration::from_millis(500)).await;
            let left: String = hands.eyes.ask("return document.documentElement.dataset.outbox").await?;
            return if left == "0" { Ok(()) } else { Err(format!("{left} would be sent again")) };
        }
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    expect(
        &answers(house, &host, tasting, &guest).await?,
        &[Some(4.0), Some(8.0), Some(6.0)],
        "after it is back",
    )
}

async fn member(house: &House, name: &str) -> Walked<Doer> {
    let email = format!("{name}@tidemill.example");
    doer_by_email(&house.db, "Tidemill Cellar Club", &email, now()).await.map_err(words)
}

/// Three bottlings, poured for the guest today.
async fn begun(house: &House, host: &Doer, guest: &Doer) -> Walked<TastingId> {
    let club = host.club;
    let left = house.db.read(move |conn| {
        // What is on hold is not poured.
        let held: Vec<_> = holds::all(conn, club)?.into_iter().map(|hold| hold.lot).collect();
        let mut left = bottles::with_bottles_left(conn, club)?;
        left.retain(|left| !held.contains(&left.bottling.lot));
        Ok::<_, undercroft::db::Failure>(left)
    });
    let left = left.await.map_err(words)?;
    let plan = Plan {
        title: "In the lower cellar".to_owned(),
        host: host.member,
        day: host.today(),
        place: String::new(),
        blind: false,
        method: Method::Scored,
        question: String::new(),
        expected: None,
        samples: left.iter().rev().take(GLASSES).map(|left| left.bottling.id).collect(),
        pour_volume: Milli::new(30_000),
        tasters: vec![guest.member],
        pourer: None,
    };
    let by = Cellarhand::from_doer(host.clone()).ok_or("the host is a cellarhand")?;
    let tasting = plan_tasting(&house.db, &by, None, plan).await.map_err(words)?.id;
    let taster = Taster::from_doer(guest.clone()).ok_or("the guest is a taster")?;
    answer_allergens(&house.db, &taster, None, Reply { tasting, may_taste: true }).await.map_err(words)?;
    begin_tasting(&house.db, &by, None, Beginning { tasting, of_age: true }).await.map_err(words)
}

/// The whole marks of the guest, in the order in which the glasses are served.
async fn answers(house: &House, host: &Doer, id: TastingId, guest: &Doer) -> Walked<Vec<Option<f64>>> {
    let (club, guest) = (host.club, guest.member);
    let read = move |conn: &mut undercroft::db::AnyConn| {
        let table = tastings::table(conn, club, id)?;
        let seat = table.seats.into_iter().find(|seat| seat.member == guest);
        let answers = seat.as_ref().map(|seat| tastings::answers(conn, seat.sheet)).transpose()?;
        Ok::<_, undercroft::db::Failure>((
            seat.map(|seat| seat.serving).unwrap_or_default(),
            answers.unwrap_or_default(),
        ))
    };
    let (serving, answers): (Vec<u16>, Vec<Answer>) = house.db.read(read).await.map_err(words)?;
    let of =
        |code: &u16| answers.iter().find(|answer| answer.code == *code).and_then(|answer| answer.mark(0));
    Ok(serving.iter().map(of).collect())
}

fn expect(found: &[Option<f64>], wanted: &[Option<f64>], when: &str) -> Walked<()> {
    if found == wanted { Ok(()) } else { Err(format!("{when}: the sheet holds {found:?}")) }
}

/// Every line of this glass.
async fn mark(hands: &Hands<'_>, mark: u8) -> Walked<()> {
    let marked: usize = hands
        .eyes
        .ask(&format!(
            "const all = [...document.querySelectorAll('.scale input[type=radio][value=\"{mark}\"]')]; \
             all.forEach(one => one.click()); return all.length"
        ))
        .await?;
    if marked > 0 { Ok(()) } else { Err(format!("{} has no lines to mark", hands.here().await?)) }
}

/// Waits until the screens of all glasses are fetched, as they are while there is a signal.
async fn has_the_screens(hands: &Hands<'_>) -> Walked<()> {
    let mut fetched = String::new();
    for _ in 0..400 {
        fetched = hands.eyes.ask("return document.documentElement.dataset.screens ?? '0'").await?;
        if fetched == GLASSES.to_string() {
            return Ok(());
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    Err(format!("{} has the screens of {fetched} glasses", hands.here().await?))
}

/// Waits for the next glass.
async fn leaves(hands: &Hands<'_>, page: &str) -> Walked<()> {
    for _ in 0..400 {
        if hands.here().await? != page {
            return Ok(());
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    Err(format!("{page} stays"))
}

/// Presses the button of the sheet, and waits for what the page says.
async fn press_on(hands: &Hands<'_>, part: &str) -> Walked<()> {
    hands.press(&hands.find("main form button.do").await?).await?;
    let mut said = String::new();
    for _ in 0..200 {
        said = hands.eyes.ask("return document.querySelector('[data-kept]')?.textContent ?? ''").await?;
        if said.contains(part) {
            return Ok(());
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    Err(format!("{} does not say “{part}” but “{said}”", hands.here().await?))
}

async fn network(hands: &Hands<'_>, there: bool) -> Walked<()> {
    let tools = hands.browser.cdp();
    tools.send_raw("Network.enable", json!({})).await.map_err(words)?;
    let how = json!({"offline": !there, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1});
    tools.send_raw("Network.emulateNetworkConditions", how).await.map(drop).map_err(words)
}
