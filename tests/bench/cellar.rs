//! Two cellars that hold the same today and have the same year behind them; one has decades before that.

use std::path::Path;

use chrono::Duration;
use undercroft::actions::reminders::reconcile;
use undercroft::db::connection::{Address, write_now};
use undercroft::db::{AnyConn, Database, Failure, members, stock};
use undercroft::domain::members::{Doer, Role};
use undercroft::domain::stock::{Item, ItemKind};
use undercroft::units::days::{Day, Instant};
use undercroft::units::ids::{BatchId, ItemId, MemberId, PlaceId};
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use super::Tried;
use super::history::{Maker, Until};

/// What the measurements need to know of it.
pub struct Cellar {
    /// The file.
    pub path: String,
    /// A session's secret.
    pub cookie: String,
    /// An API token.
    pub token: String,
    /// The member's id.
    pub member: String,
    /// A batch that is working: its page is measured.
    pub batch: String,
    /// A bottling of which half is left.
    pub bottling: String,
    /// A batch that is drawn into, and from what.
    pub vat: String,
    /// An item with plenty of stock.
    pub item: String,
    /// How many postings there are.
    pub postings: u64,
}

impl Cellar {
    /// An address with the ids of this cellar.
    pub fn fill(&self, path: &str) -> String {
        path.replace("{batch}", &self.batch).replace("{bottling}", &self.bottling)
    }

    /// Its name in the output.
    pub fn name(&self) -> String {
        format!("{} postings", self.postings)
    }

    /// Member, batch, vat and item, for the bare loops.
    pub fn who(&self) -> String {
        format!("{},{},{},{}", self.member, self.batch, self.vat, self.item)
    }
}

/// Batches of the year behind: made, drunk and closed.
const OF_THE_YEAR: usize = 200;
/// Bottlings of which half is left, and batches that are working.
const LAID_DOWN: usize = 30;
const WORKING: usize = 10;
/// Items in stock; the stock page shows them all.
const ITEMS: usize = 40;
const MEMBERS: usize = 12;
const PLACES: usize = 12;
/// Batches written in one transaction.
const TOGETHER: usize = 500;
/// Postings of one batch from its receipt to its last bottle, about.
const EACH: u64 = 40;

/// What every transaction begins with.
struct Ground {
    doer: Doer,
    members: Vec<MemberId>,
    items: Vec<(ItemId, Item)>,
    curds: (ItemId, Item),
    drink: ItemId,
    places: Vec<PlaceId>,
}

impl Ground {
    fn maker<'c>(&self, conn: &'c mut AnyConn, made: usize) -> Maker<'c> {
        Maker {
            conn,
            doer: self.doer.clone(),
            members: self.members.clone(),
            items: self.items.clone(),
            curds: self.curds.clone(),
            drink: self.drink,
            places: self.places.clone(),
            postings: 0,
            made,
        }
    }
}

/// Make a cellar with about this many postings over so many years.
pub fn make(path: &Path, postings: u64, years: i64) -> Tried<Cellar> {
    let address = Address::read(&path.to_string_lossy());
    let db = Database::open(&address)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let now = chrono::Utc::now().naive_utc();
    let (doer, cookie, token) = runtime.block_on(super::bare::founder(&db, now))?;
    let mut conn = db.connection()?;
    let ground = write_now(&mut conn, |conn| ground(conn, &doer, now))?;
    let present = (OF_THE_YEAR + LAID_DOWN) as u64 * EACH;
    let past = usize::try_from(postings.saturating_sub(present) / EACH)?;
    let today = doer.today();
    let (year_ago, begin) = (today - Duration::days(365), today - Duration::days(365 * years));
    // The last of them are drunk before the year begins that both have.
    let long_ago = year_ago - Duration::days(200);
    let mut made = batches(&mut conn, &ground, 0, past, &spread(begin, long_ago), Until::Closed)?;
    let spring = today - Duration::days(140);
    made += batches(&mut conn, &ground, past, OF_THE_YEAR, &spread(year_ago, spring), Until::Closed)?;
    let at = past + OF_THE_YEAR;
    let summer = today - Duration::days(70);
    made += batches(&mut conn, &ground, at, LAID_DOWN, &spread(spring, summer), Until::LaidDown)?;
    let at = at + LAID_DOWN;
    made += batches(&mut conn, &ground, at, WORKING, &|_, _| today - Duration::days(17), Until::Working)?;
    let (last, shown) = write_now(&mut conn, |conn| present_stock(conn, &ground, today))?;
    let bottling = write_now(&mut conn, |conn| {
        let left = undercroft::db::bottles::with_bottles_left(conn, ground.doer.club)?;
        left.first().map(|left| left.bottling.id).ok_or(Failure::Gone)
    })?;
    runtime.block_on(reconcile(&db, doer.club, doer.zone, now))?;
    Ok(Cellar {
        path: path.to_string_lossy().into_owned(),
        cookie,
        token,
        member: doer.member.to_string(),
        batch: shown.0.to_string(),
        bottling: bottling.to_string(),
        vat: shown.1.to_string(),
        item: ground.items[ITEMS - 1].0.to_string(),
        postings: made + last,
    })
}

/// The day of one of `count` batches that are spread over a span.
fn spread(from: Day, to: Day) -> impl Fn(usize, usize) -> Day {
    let days = (to - from).num_days();
    move |at, count| {
        let share = days * i64::try_from(at).unwrap_or(0) / i64::try_from(count).unwrap_or(1).max(1);
        from + Duration::days(share)
    }
}

/// So many batches, some hundred in a transaction; how many postings they took.
fn batches(
    conn: &mut AnyConn,
    ground: &Ground,
    from: usize,
    count: usize,
    day: &impl Fn(usize, usize) -> Day,
    until: Until,
) -> Result<u64, Failure> {
    let mut postings = 0;
    for begin in (0..count).step_by(TOGETHER) {
        let end = (begin + TOGETHER).min(count);
        postings += write_now(conn, |conn| {
            let mut maker = ground.maker(conn, from + begin);
            for at in begin..end {
                maker.batch(day(at, count), until)?;
            }
            Ok::<_, Failure>(maker.postings)
        })?;
    }
    Ok(postings)
}

/// What is in stock today, and two batches: one that is working, one that is drawn into.
fn present_stock(
    conn: &mut AnyConn,
    ground: &Ground,
    today: Day,
) -> Result<(u64, (BatchId, BatchId)), Failure> {
    let mut maker = ground.maker(conn, 0);
    let came = today - Duration::days(30);
    // Five are past their day or nearly so; the last is plenty.
    let best_before =
        |at: usize| (at < 5).then(|| today + Duration::days(3 * i64::try_from(at).unwrap_or(0) - 4));
    let lines = (0..ITEMS)
        .map(|at| {
            let quantity = if at == ITEMS - 1 { 9_000_000_000_000 } else { 8_000_000 };
            maker.line((at, quantity, 10_000_000), best_before(at))
        })
        .collect();
    let lots = maker.receipt(came, lines)?;
    let working = maker.batch(today - Duration::days(18), Until::Working)?;
    let vat = maker.planned(came)?;
    maker.draw(vat, came, &[(lots[ITEMS - 1], (ITEMS - 1, 1000, 0))], false)?;
    undercroft::db::batches::restage(maker.conn, vat)?;
    Ok((maker.postings, (working, vat)))
}

fn ground(conn: &mut AnyConn, doer: &Doer, now: Instant) -> Result<Ground, Failure> {
    let club = doer.club;
    let mut members = vec![doer.member];
    for at in 1..MEMBERS {
        let (name, email) = (format!("Member {at}"), format!("member-{at}@tidemill.example"));
        let person = members::add_person(conn, &name, &email, "", now)?;
        members.push(members::add_member(conn, club, person, &name, Role::Cellarhand, doer.today())?);
    }
    let mut places = Vec::new();
    for at in 0..PLACES {
        let (id, name) = (PlaceId::fresh(), format!("Bay {at:02}"));
        stock::add_place(conn, club, id, None, &name, &name, None)?;
        places.push(id);
    }
    let mut items = Vec::new();
    for at in 0..ITEMS {
        items.push(kept(conn, doer, &supply(at))?);
    }
    let mut curds = item("Curds", ItemKind::ByProduct, BaseUnit::Gram);
    curds.value_per_unit = Some(Money::from_micros(2_000));
    let curds = kept(conn, doer, &curds)?;
    let drink = kept(conn, doer, &item("Tide White, 750 mL", ItemKind::Drink, BaseUnit::Piece))?.0;
    Ok(Ground { doer: doer.clone(), members, items, curds, drink, places })
}

/// The supplies: milk, sugar, rennet, enzyme, yeast, bottles, corks, and others of which three are low.
fn supply(at: usize) -> Item {
    use ItemKind::{Aid, Ingredient, Packaging};
    let mut item = match at {
        0 => item("Whole sheep’s milk", Ingredient, BaseUnit::Millilitre),
        1 => item("Cane sugar", Ingredient, BaseUnit::Gram),
        2 => item("Rennet", Aid, BaseUnit::Millilitre),
        3 => item("Lactase", Aid, BaseUnit::Millilitre),
        4 => item("Yeast", Aid, BaseUnit::Gram),
        5 => item("Bottle 75 cl", Packaging, BaseUnit::Piece),
        6 => item("Cork 38 mm", Packaging, BaseUnit::Piece),
        other => item(&format!("Supply {other:02}"), Ingredient, BaseUnit::Gram),
    };
    match at {
        0 => {
            item.density_micro = Some(1_036_000);
            item.lactose_mg_per_kg = Some(48_000);
            item.allergens = vec!["milk".to_owned()];
        }
        1 => {
            item.density_micro = Some(1_617_000);
            item.sugar_mg_per_kg = Some(1_052_600);
        }
        3 => item.splits_lactose = true,
        20..=22 => item.low_at = Some(Milli::new(9_000_000)),
        _ => {}
    }
    item
}

fn item(name: &str, kind: ItemKind, unit: BaseUnit) -> Item {
    Item {
        name: name.to_owned(),
        kind,
        unit,
        density_micro: None,
        allergens: Vec::new(),
        value_per_unit: None,
        low_at: None,
        made_for_mbar: None,
        sugar_mg_per_kg: None,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    }
}

fn kept(conn: &mut AnyConn, doer: &Doer, item: &Item) -> Result<(ItemId, Item), Failure> {
    let id = ItemId::fresh();
    stock::add_item(conn, doer.club, id, item)?;
    Ok((id, item.clone()))
}

/// The member in whose name it is made.
pub async fn doer(db: &Database, member: &str, now: Instant) -> Tried<Doer> {
    let member = member.parse()?;
    let doer: Doer = db.read(move |conn| members::doer_of_member(conn, member, now)).await?;
    assert!(doer.role == Role::Steward, "the founder is a steward");
    Ok(doer)
}
