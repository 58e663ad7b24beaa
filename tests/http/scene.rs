//! A cellar with one of each thing that a write route names, a browser of its steward's, and a token.

use undercroft::actions::batches::{self, Plan};
use undercroft::actions::members::{self, Invitation, NewToken, Visitor};
use undercroft::actions::{
    bottles, climate, counts, holds, recipes, reminders, steps, stock, tastings, vessels,
};
use undercroft::db::Database;
use undercroft::domain::batches::Source;
use undercroft::domain::cautions::Reasons;
use undercroft::domain::climate::Sample;
use undercroft::domain::members::{Cellarhand, Doer, NewPerson, Onlooker, Role, Scope, Steward, Taster};
use undercroft::domain::stock::{ItemKind, Receipt};
use undercroft::domain::tastings::sheet::{Answer, WHOLE};
use undercroft::units::ids::{
    BatchId, BottlingId, CountId, InvitationId, ItemId, LotId, MemberId, RecipeId, ReminderId, StepRecordId,
    TastingId, TokenId, VesselId,
};
use undercroft::units::measure::Measured;
use undercroft::units::quantity::{BaseUnit, Milli};
use undercroft::web::extract::now;

use crate::ground::cellar::{Cellar, bottling, bought, brought_in, draw, found, item, steel, tasting, whey};
use crate::ground::day;

/// What a write route can name.
pub struct Scene {
    pub cellar: Cellar,
    /// A batch on paper.
    pub spare: BatchId,
    /// Corks, by the piece: 500 of them.
    pub corks: ItemId,
    /// Milk that was good until 10 March: 5 L.
    pub stale_lot: LotId,
    /// The steward who asks.
    pub member: MemberId,
    /// Another member.
    pub taster: MemberId,
    /// A reminder that is done.
    pub settled: ReminderId,
    /// An invitation that is open.
    pub invitation: InvitationId,
    /// A token that nobody uses.
    pub spare_token: TokenId,
    /// The secret of the steward's browser.
    pub session: String,
    /// A token of the steward's.
    pub token: String,
    /// A tasting to come, to which the steward and another member have said that they may taste.
    pub tasting: TastingId,
    /// One at the table: the sheet of the other member is in, that of the steward is filled.
    pub table: TastingId,
    /// The code of its glass.
    pub glass: u16,
    /// A recipe that was put aside.
    pub aside: RecipeId,
    /// A batch on paper by a recipe, of which the first step is done.
    pub making: BatchId,
    /// The record of that step.
    pub record: StepRecordId,
    /// Corks that are on hold.
    pub held_lot: LotId,
    /// A vessel in which nothing is.
    pub free: VesselId,
    /// A vessel out of use.
    pub lent: VesselId,
    /// A count of the corks: the taster has found one less, and its differences are looked at.
    pub review: CountId,
    /// A member who was brought in with a table and cannot sign in yet.
    pub guest: MemberId,
}

impl Scene {
    /// A club of this name with such a cellar.
    pub async fn new(db: &Database, name: &str) -> Self {
        let cellar = Cellar::new(db, name).await;
        let hand = &cellar.club.hand;
        let plan = Plan { name: "Perry".to_owned(), base_volume: None, day: day("2026-03-01") };
        let spare = batches::plan(db, hand, None, plan).await.expect("a batch is planned").id;
        let corks = item("Corks", ItemKind::Packaging, BaseUnit::Piece);
        let corks = stock::add_item(db, hand, None, corks).await.expect("a new item");
        read_shelf(db, &cellar).await;
        let mut stale = bought(cellar.milk, 5_000_000, 5_000_000, cellar.shelf);
        stale.best_before = Some(day("2026-03-10"));
        let lines = vec![bought(corks, 500_000, 50_000_000, cellar.place), stale];
        let receipt = Receipt { day: day("2026-03-02"), paid_by: None, lines, remark: String::new() };
        let received = stock::record_receipt(db, hand, None, receipt).await.expect("corks come");
        let (session, by) = enter(db, &cellar.club.steward, name).await;
        let invitation = Invitation::read("Ida", Role::Taster).expect("an invitation");
        let (invitation, _) = members::invite(db, &by, None, invitation).await.expect("an invitation");
        let (_, token) = token_of(db, &by).await;
        let (spare_token, _) = token_of(db, &by).await;
        let settled = settled(db, &cellar).await;
        let juice = bottled_juice(db, &cellar).await;
        let tasting = to_taste(db, &cellar, &by, juice).await;
        let table = to_taste(db, &cellar, &by, juice).await;
        let glass = sit_down(db, &cellar, &by, table).await;
        let (making, record) = begun(db, &cellar).await;
        let held = spoilt_corks(db, &cellar, corks).await;
        let free = vessels::add_vessel(db, hand, None, steel("T2", cellar.place)).await.expect("a vessel");
        let lent = vessels::add_vessel(db, hand, None, steel("T3", cellar.place)).await.expect("a vessel");
        let deed = vessels::Deed::OutOfUse("lent to a member".to_owned());
        vessels::tend(db, hand, None, lent, day("2026-06-02"), deed).await.expect("it is lent");
        Self {
            spare,
            corks,
            stale_lot: received.lots[1].0,
            member: by.member,
            taster: cellar.club.taster.member,
            settled,
            invitation,
            spare_token,
            session,
            token,
            tasting,
            table,
            glass,
            aside: aside(db, &cellar).await,
            making,
            record,
            held_lot: held,
            free,
            lent,
            review: counted_corks(db, &cellar, corks).await,
            guest: brought_in(db, &cellar.club).await[0],
            cellar,
        }
    }
}

/// Another steward of the club, who signs in with a browser: the secret of its session, and who asks.
async fn enter(db: &Database, host: &Steward, name: &str) -> (String, Steward) {
    let host = Steward::from_doer(Doer { now: now(), ..(**host).clone() }).expect("a steward");
    let invitation = Invitation::read("Maren", Role::Steward).expect("an invitation");
    let (_, link) = members::invite(db, &host, None, invitation).await.expect("an invitation");
    let address = format!("maren@{}.example", name.to_lowercase().replace(' ', "-"));
    let person = NewPerson::read("Maren Holt", &address, PASSWORD).expect("a person");
    let visitor = Visitor { device: String::new(), address: "127.0.0.1".to_owned(), now: now() };
    let (secret, _) =
        members::accept_invitation(db, link.reveal(), person, &visitor).await.expect("she comes in");
    let found = members::doer_of_session(db, secret.reveal(), "127.0.0.1", now()).await;
    let doer = found.expect("the session is read").expect("the session holds");
    (secret.reveal().to_owned(), Steward::from_doer(doer).expect("a steward"))
}

/// What the steward signs in with.
pub const PASSWORD: &str = "low tide at the sluice";

async fn token_of(db: &Database, by: &Steward) -> (TokenId, String) {
    let by = Onlooker::from_doer((**by).clone()).expect("a steward is an onlooker");
    let new = NewToken::read("test", Scope::Write, 300).expect("a token");
    let (id, secret) = members::new_token(db, &by, None, new).await.expect("a token is made");
    (id, secret.reveal().to_owned())
}

/// The reminder of the lot that is past its day, done.
async fn settled(db: &Database, cellar: &Cellar) -> ReminderId {
    let (of, open) = (cellar.club.hand.club, cellar.reminder);
    reminders::reconcile(db, of, cellar.club.hand.zone, now()).await.expect("reminders are made");
    let due = db.read(move |conn| undercroft::db::reminders::open(conn, of, day("2027-12-31"), 9)).await;
    let due = due.expect("reminders are read");
    let other = due.iter().find(|reminder| reminder.id != open).expect("there are two").id;
    let by = &cellar.club.taster;
    reminders::settle(db, by, None, other, reminders::Become::Done).await.expect("it is done");
    other
}

/// A batch on paper by the recipe: its first step was done, on its own.
async fn begun(db: &Database, cellar: &Cellar) -> (BatchId, StepRecordId) {
    let hand = &cellar.club.hand;
    let making = recipes::Making {
        recipe: cellar.recipe,
        number: None,
        amount: Milli::new(6_000_000),
        name: None,
        day: day("2026-03-01"),
    };
    let batch = recipes::make(db, hand, None, making).await.expect("a batch on paper").id;
    let first = steps::Doing {
        step: steps::Which { batch, line: 1 },
        begun_at: None,
        at: None,
        temperature_c: None,
        amount: None,
        readings: Vec::new(),
        entry: None,
        remark: String::new(),
        out_of_order: false,
        reasons: Reasons::default(),
    };
    (batch, steps::done(db, hand, None, first).await.expect("a step is done"))
}

/// A recipe that is not offered any more.
async fn aside(db: &Database, cellar: &Cellar) -> RecipeId {
    let hand = &cellar.club.hand;
    let revision = whey([cellar.milk, cellar.yeast, cellar.curds], 9_000);
    let new = recipes::NewRevision { revision, note: String::new() };
    let made = recipes::write(db, hand, None, new).await.expect("a recipe is written");
    recipes::put_aside(db, hand, None, made.recipe, true).await.expect("it is put aside")
}

/// Corks that somebody holds back.
async fn spoilt_corks(db: &Database, cellar: &Cellar, corks: ItemId) -> LotId {
    let hand = &cellar.club.hand;
    let lines = vec![bought(corks, 5_000, 5_000_000, cellar.shelf)];
    let receipt = Receipt { day: day("2026-03-02"), paid_by: None, lines, remark: String::new() };
    let lot = stock::record_receipt(db, hand, None, receipt).await.expect("corks come").lots[0].0;
    let order = holds::HoldBack { lot, reason: "they crumble".to_owned(), all: false };
    holds::hold(db, hand, None, order).await.expect("they are held");
    lot
}

/// The shelf, on which no bottles stand, was read on two days.
async fn read_shelf(db: &Database, cellar: &Cellar) {
    let sample = |day: &str| Sample {
        at: format!("2026-03-{day}T10:00:00").parse().expect("an instant"),
        temperature: Measured::from_number(14.0).expect("a temperature"),
        humidity: None,
    };
    let samples = vec![sample("01"), sample("03")];
    let order = climate::Measurements { place: cellar.shelf, source: "probe".to_owned(), samples };
    climate::measure(db, &cellar.club.hand, None, order).await.expect("it is read");
}

/// All corks are counted by the taster, one too few of the first lot.
async fn counted_corks(db: &Database, cellar: &Cellar, corks: ItemId) -> CountId {
    let hand =
        Cellarhand::from_doer(Doer { now: now(), ..(*cellar.club.hand).clone() }).expect("a cellarhand");
    let taster = Taster::from_doer(Doer { now: now(), ..(*cellar.club.taster).clone() }).expect("a taster");
    let start =
        counts::Start { title: String::new(), places: Vec::new(), kinds: Vec::new(), items: vec![corks] };
    let count = counts::start(db, &hand, None, start).await.expect("a count begins").id;
    let club = hand.club;
    let lines = db.read(move |conn| undercroft::db::counts::lines(conn, club, count, None)).await;
    for line in lines.expect("its lines are read") {
        let counted = if line.place.0 == cellar.place { 499_000 } else { 5_000 };
        let tallied = counts::Tallied { count, number: line.number, found: found(counted) };
        counts::tally(db, &taster, None, tallied).await.expect("it is counted");
    }
    counts::end(db, &hand, None, count).await.expect("the counting ends");
    count
}

/// Four bottles of another batch, so that nothing rests on those of the cellar.
async fn bottled_juice(db: &Database, cellar: &Cellar) -> BottlingId {
    let hand = &cellar.club.hand;
    let juice = item("Juice", ItemKind::Ingredient, BaseUnit::Millilitre);
    let juice = stock::add_item(db, hand, None, juice).await.expect("a new item");
    let lines = vec![bought(juice, 5_000_000, 5_000_000, cellar.place)];
    let receipt = Receipt { day: day("2026-03-02"), paid_by: None, lines, remark: String::new() };
    stock::record_receipt(db, hand, None, receipt).await.expect("juice comes");
    let plan = Plan { name: "Cider".to_owned(), base_volume: None, day: day("2026-03-01") };
    let batch = batches::plan(db, hand, None, plan).await.expect("a batch is planned").id;
    let drawn = draw(batch, day("2026-03-03"), Source::Item(juice), 4_000_000);
    batches::draw(db, hand, None, drawn).await.expect("juice is drawn");
    let filled = bottling(batch, cellar.place, 4);
    bottles::record_bottling(db, hand, None, filled).await.expect("it is bottled").bottling
}

/// A tasting on 30 June to which the steward and the taster have said yes; the cellarhand pours.
async fn to_taste(db: &Database, cellar: &Cellar, by: &Steward, poured: BottlingId) -> TastingId {
    let plan = tasting(&cellar.club, vec![poured]);
    let plan = tastings::Plan {
        host: by.member,
        tasters: vec![by.member, cellar.club.taster.member],
        pourer: Some(cellar.club.hand.member),
        day: day("2026-06-30"),
        ..plan
    };
    let hand = Cellarhand::from_doer((**by).clone()).expect("a steward records everything");
    let id = tastings::plan_tasting(db, &hand, None, plan).await.expect("it is planned").id;
    for doer in [&**by, &*cellar.club.taster] {
        let taster = Taster::from_doer(doer.clone()).expect("they taste");
        let reply = tastings::Reply { tasting: id, may_taste: true };
        tastings::answer_allergens(db, &taster, None, reply).await.expect("they may taste");
    }
    id
}

/// It begins, and both fill their sheet; the taster hands theirs in. The code of the glass.
async fn sit_down(db: &Database, cellar: &Cellar, by: &Steward, id: TastingId) -> u16 {
    let hand = Cellarhand::from_doer((**by).clone()).expect("a steward records everything");
    let order = tastings::Beginning { tasting: id, of_age: true };
    tastings::begin_tasting(db, &hand, None, order).await.expect("it begins");
    let club = by.club;
    let table = db.read(move |conn| undercroft::db::tastings::table(conn, club, id)).await;
    let code = table.expect("the table is read").glasses[0].code;
    for (doer, hand_in) in [(&**by, false), (&*cellar.club.taster, true)] {
        let taster = Taster::from_doer(doer.clone()).expect("they taste");
        let answers = vec![Answer { code, marks: vec![(WHOLE, 60)], place: None, words: String::new() }];
        let part = tastings::Part { tasting: id, answers, hand_in };
        tastings::save_sheet(db, &taster, None, part).await.expect("it is saved");
    }
    code
}
