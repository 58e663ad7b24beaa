//! A small cellar with one of each thing, made through the actions: milk bought and drawn, yeast pitched, curds
//! weighed off, half of the batch bottled, a gravity read, reminders made.

use undercroft::actions::batches::{NewReading, Plan};
use undercroft::actions::bills::NewBills;
use undercroft::actions::bottles::Bottled;
use undercroft::actions::recipes::{NewRevision, Revising};
use undercroft::actions::{
    batches, bills, bottles, counts, efforts, instruments, intake, recipes, reminders, stock, tastings,
    vessels,
};
use undercroft::db::Database;
use undercroft::domain::batches::{ByProduct, Draw, DrawLine, Source};
use undercroft::domain::bills::BillFile;
use undercroft::domain::bottles::Bottling;
use undercroft::domain::cautions::{Reasons, Rule};
use undercroft::domain::counts::Tolerance;
use undercroft::domain::efforts::{EffortKind, NewEffort};
use undercroft::domain::instruments::{Instrument, InstrumentKind};
use undercroft::domain::intake::Kind;
use undercroft::domain::members::Cellarhand;
use undercroft::domain::plans::{PlanStep, PlanSupply, StepKind};
use undercroft::domain::recipes::{Goals, Revision};
use undercroft::domain::stock::{Item, ItemKind, Receipt, ReceiptLine};
use undercroft::domain::tastings::{Method, Plan as TastingPlan};
use undercroft::domain::vessels::{Closure, Filling, Material, Vessel};
use undercroft::units::days::Day;
use undercroft::units::ids::{
    BatchId, BillId, BottlingId, CountId, EffortId, EntryId, FillingId, ImportId, InstrumentId, IntakeId,
    ItemId, LotId, MemberId, PlaceId, ReadingId, RecipeId, ReminderId, TastingId, VesselId,
};
use undercroft::units::measure::{Measured, ReadingKind};
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use super::{Club, club, day, now};

/// What the tests find in it.
pub struct Cellar {
    /// The club and its members.
    pub club: Club,
    /// Where everything stands.
    pub place: PlaceId,
    /// Where nothing stands yet.
    pub shelf: PlaceId,
    /// Whole milk, by volume: 40 L bought for 40.00.
    pub milk: ItemId,
    /// Dry yeast, by mass.
    pub yeast: ItemId,
    /// Curds, by mass.
    pub curds: ItemId,
    /// The milk bought, of which 10 L are left.
    pub milk_lot: LotId,
    /// The entry that brought milk and yeast.
    pub receipt: EntryId,
    /// Two PDFs of its bill.
    pub bills: [BillId; 2],
    /// Milk drawn on 2 March: 30 L.
    pub batch: BatchId,
    /// The entry that drew it.
    pub draw: EntryId,
    /// The entry that pitched the yeast on 3 March.
    pub pitch: EntryId,
    /// Curds weighed off on 2 March: 5 kg.
    pub curds_entry: EntryId,
    /// Twenty bottles of 75 cl filled on 1 June; 10 L stay in the batch.
    pub bottled: Bottled,
    /// A gravity read on 5 March.
    pub reading: ReadingId,
    /// A hydrometer that shows 0.002 too little.
    pub instrument: InstrumentId,
    /// A logger’s file with two temperatures of 6 and 7 March.
    pub import: ImportId,
    /// Two hours of work on the batch.
    pub effort: EffortId,
    /// To taste the bottles.
    pub reminder: ReminderId,
    /// A blind tasting of the bottles, on 30 June; the whole club is invited, the cellarhand is host.
    pub tasting: TastingId,
    /// A table of one place that was sent and waits.
    pub sent: IntakeId,
    /// A recipe from 60 L of milk, with two revisions.
    pub recipe: RecipeId,
    /// A steel vessel of 25 L with 5 L of the batch in it since 1 June.
    pub vessel: VesselId,
    /// What is in it.
    pub filling: FillingId,
    /// A count of the yeast, in which the taster has counted.
    pub count: CountId,
}

impl Cellar {
    /// A club of this name with such a cellar.
    pub async fn new(db: &Database, name: &str) -> Self {
        let club = club(db, name).await;
        let hand = &club.hand;
        let [milk, yeast, curds] = items(db, &club).await;
        let [place, shelf] = places(db, &club).await;
        let lines =
            vec![bought(milk, 40_000_000, 40_000_000, place), bought(yeast, 100_000, 2_000_000, place)];
        let receipt = Receipt { day: day("2026-03-01"), paid_by: None, lines, remark: String::new() };
        let received = stock::record_receipt(db, hand, None, receipt).await.expect("milk comes");
        let files = vec![pdf("first page"), pdf("second page")];
        let order = NewBills { entry: received.entry, files };
        let kept = bills::add_bills(db, hand, None, order).await.expect("its bill is kept");
        let plan = Plan { name: "Whey wine".to_owned(), base_volume: None, day: day("2026-03-01") };
        let batch = batches::plan(db, hand, None, plan).await.expect("a batch is planned").id;
        let order = draw(batch, day("2026-03-02"), Source::Item(milk), 30_000_000);
        let drawn = batches::draw(db, hand, None, order).await.expect("milk is drawn").entry;
        let order = curds_off(batch, curds, place);
        let weighed = batches::by_product(db, hand, None, order).await.expect("curds are weighed off");
        let order = Draw { pitch: true, ..draw(batch, day("2026-03-03"), Source::Item(yeast), 10_000) };
        let pitch = batches::draw(db, hand, None, order).await.expect("yeast is pitched").entry;
        let order = gravity(batch);
        let reading = batches::record_reading(db, hand, None, order).await.expect("a gravity is read").id;
        let instrument = instruments::add_instrument(db, hand, None, hydrometer("Hydrometer 2")).await;
        let instrument = instrument.expect("an instrument is kept");
        let logged = batches::bring_in(db, hand, None, logged(batch)).await.expect("a file comes in");
        let effort = efforts::record_effort(db, hand, None, work(batch, 2_000)).await.expect("work is noted");
        let order = bottling(batch, place, 20);
        let bottled = bottles::record_bottling(db, hand, None, order).await.expect("it is bottled");
        reminders::reconcile(db, hand.club, hand.zone, now()).await.expect("reminders are made");
        let of = hand.club;
        let due = db.read(move |conn| undercroft::db::reminders::open(conn, of, day("2027-12-31"), 9)).await;
        let reminder = due.expect("reminders are read").first().expect("a tasting is due").id;
        let plan = tasting(&club, vec![bottled.bottling]);
        let tasting = tastings::plan_tasting(db, hand, None, plan).await.expect("a tasting is planned").id;
        let recipe = recipe(db, hand, [milk, yeast, curds]).await;
        let vessel = vessels::add_vessel(db, hand, None, steel("T1", place)).await.expect("a vessel");
        let count = counted(db, &club, yeast, [place, shelf]).await;
        let filling =
            vessels::fill_vessel(db, hand, None, fill(vessel, batch, 5)).await.expect("it is filled");
        let table = intake::Sending {
            kind: Kind::Places,
            file_name: "places.csv".to_owned(),
            rows: "Name\nBarge deck\n".to_owned(),
            columns: Vec::new(),
            order: None,
        };
        let sent = intake::send(db, hand, None, table).await.expect("a table is sent");
        Self {
            sent,
            recipe,
            vessel,
            filling,
            count,
            place,
            shelf,
            milk,
            yeast,
            curds,
            milk_lot: received.lots[0].0,
            receipt: received.entry,
            bills: kept.try_into().expect("two of them"),
            batch,
            draw: drawn,
            pitch,
            curds_entry: weighed.entry,
            bottled,
            reading,
            instrument,
            import: logged.import.expect("it was new"),
            effort,
            reminder,
            tasting,
            club,
        }
    }
}

/// A PDF, as far as anybody looks at it.
pub fn pdf(says: &str) -> BillFile {
    BillFile::read("bill.pdf", format!("%PDF-1.4 {says}").into_bytes()).expect("it begins like a PDF")
}

/// A count of the yeast, in which the taster has counted 90 g; and how the club counts.
async fn counted(db: &Database, club: &Club, yeast: ItemId, [place, shelf]: [PlaceId; 2]) -> CountId {
    let hand = &club.hand;
    let tolerance = Tolerance { permille: 20, pieces: 2 };
    let ways = counts::Ways { tolerance, order: vec![(shelf, 1), (place, 2)] };
    counts::set_ways(db, hand, None, ways).await.expect("the club says how it counts");
    let start =
        counts::Start { title: String::new(), places: Vec::new(), kinds: Vec::new(), items: vec![yeast] };
    let count = counts::start(db, hand, None, start).await.expect("a count begins").id;
    let tallied = counts::Tallied { count, number: 1, found: found(90_000) };
    counts::tally(db, &club.taster, None, tallied).await.expect("the yeast is counted");
    count
}

/// Two members who were brought in with a table and cannot sign in yet.
pub async fn brought_in(db: &Database, club: &Club) -> [MemberId; 2] {
    let steward = Cellarhand::from_doer((*club.steward).clone()).expect("a steward records");
    let table = intake::Sending {
        kind: Kind::Members,
        file_name: String::new(),
        rows: "Name;Role\nAnneke Vos;taster\nJorrit Vale;cellarhand\n".to_owned(),
        columns: Vec::new(),
        order: None,
    };
    let sent = intake::send(db, &steward, None, table).await.expect("a table is sent");
    let order = intake::Bringing { intake: sent, good: false, progress: intake::Progress::default() };
    intake::bring(db, &steward, None, order).await.expect("it is brought in");
    let of_club = steward.club;
    let all =
        db.read(move |conn| undercroft::db::members::members(conn, of_club)).await.expect("members are read");
    let of = |name: &str| all.iter().find(|member| member.name == name).expect("a member").id;
    [of("Anneke Vos"), of("Jorrit Vale")]
}

/// So many thousandths were counted.
pub fn found(counted: i64) -> counts::Found {
    counts::Found {
        counted: Some(Milli::new(counted)),
        weighed: None,
        opened: false,
        remark: String::new(),
        at: None,
    }
}

/// Two revisions of a recipe from 60 L of milk: 15 g of yeast, 16 kg of curds, three steps.
async fn recipe(db: &Database, hand: &Cellarhand, items: [ItemId; 3]) -> RecipeId {
    let new = |yeast| NewRevision { revision: whey(items, yeast), note: "more yeast".to_owned() };
    let made = recipes::write(db, hand, None, new(12_000)).await.expect("a recipe is written");
    let next = Revising { recipe: made.recipe, from: Some(1), new: new(15_000) };
    recipes::revise(db, hand, None, next).await.expect("and revised").recipe
}

/// 60 L of milk with so much yeast.
pub fn whey([milk, yeast, curds]: [ItemId; 3], much: i64) -> Revision {
    let line = |item, amount| PlanSupply { item, amount: Milli::new(amount) };
    let step = |kind, what: &str, item| PlanStep {
        kind,
        what: what.to_owned(),
        amount: None,
        item,
        target_c: None,
        minutes: None,
        caution: String::new(),
    };
    let warm = step(StepKind::HeatTo, "Warm the milk", Some(milk));
    let hold = PlanStep { minutes: Some(30), ..step(StepKind::Hold, "Keep it warm", None) };
    let target_c = Measured::from_number(63.0);
    Revision {
        drink: "Tide White".to_owned(),
        base: line(milk, 60_000_000),
        supplies: vec![line(yeast, much)],
        by_products: vec![line(curds, 16_000_000)],
        steps: vec![
            PlanStep { target_c, ..warm },
            PlanStep { target_c, ..hold },
            step(StepKind::Strain, "Strain the curds off", Some(curds)),
            step(StepKind::Sample, "Read its gravity", None),
            step(StepKind::Pitch, "Pitch", Some(yeast)),
        ],
        goals: Goals { strength: Measured::from_number(11.0), ..Goals::default() },
    }
}

async fn items(db: &Database, club: &Club) -> [ItemId; 3] {
    let mut made = Vec::new();
    for (name, kind, unit) in [
        ("Whole milk", ItemKind::Ingredient, BaseUnit::Millilitre),
        ("Dry yeast", ItemKind::Aid, BaseUnit::Gram),
        ("Curds", ItemKind::ByProduct, BaseUnit::Gram),
    ] {
        made.push(stock::add_item(db, &club.hand, None, item(name, kind, unit)).await.expect("a new item"));
    }
    made.try_into().expect("three items")
}

async fn places(db: &Database, club: &Club) -> [PlaceId; 2] {
    let mut made = Vec::new();
    for name in ["Cellar", "Shelf"] {
        let place = stock::NewPlace { name: name.to_owned(), within: None, capacity: None };
        made.push(stock::add_place(db, &club.hand, None, place).await.expect("a new place"));
    }
    made.try_into().expect("two places")
}

/// An item of which nothing but name, kind and unit is known.
pub fn item(name: &str, kind: ItemKind, unit: BaseUnit) -> Item {
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

/// A line of a receipt: thousandths of the unit for millionths of the currency.
pub fn bought(item: ItemId, quantity: i64, cost: i64, place: PlaceId) -> ReceiptLine {
    ReceiptLine {
        item,
        quantity: Milli::new(quantity),
        cost: Money::from_micros(cost),
        place,
        best_before: None,
        supplier: "Weir Farm".to_owned(),
        supplier_mark: String::new(),
    }
}

/// One line drawn into a batch.
pub fn draw(batch: BatchId, day: Day, source: Source, quantity: i64) -> Draw {
    let lines = vec![DrawLine { source, quantity: Milli::new(quantity), expired_because: None }];
    Draw { batch, day, pitch: false, lines, volume_after: None, remark: String::new() }
}

/// Five kilograms of curds.
pub fn curds_off(batch: BatchId, item: ItemId, place: PlaceId) -> ByProduct {
    ByProduct {
        batch,
        day: day("2026-03-02"),
        item,
        quantity: Milli::new(5_000_000),
        place,
        best_before: None,
        value_per_unit: Some(Money::from_micros(2_000)),
        volume_after: None,
        remark: String::new(),
    }
}

/// A gravity of 1.0450, read on 5 March.
pub fn gravity(batch: BatchId) -> NewReading {
    NewReading {
        batch,
        at: day("2026-03-05").and_hms_opt(18, 0, 0).expect("six in the evening"),
        kind: ReadingKind::Gravity,
        value: ReadingKind::Gravity.read("1.0450").expect("a gravity"),
        sample_c: None,
        instrument: None,
        as_read: true,
        remark: String::new(),
    }
}

/// A hydrometer of this name that shows 0.002 too little.
pub fn hydrometer(name: &str) -> Instrument {
    Instrument {
        name: name.to_owned(),
        kind: InstrumentKind::Hydrometer,
        made_for_c: None,
        offset: Measured::from_micros(2_000),
        checked_on: day("2026-03-01"),
    }
}

/// Two temperatures of a logger.
pub fn logged(batch: BatchId) -> batches::NewImport {
    let at = |text: &str| day(text).and_hms_opt(6, 0, 0).expect("six in the morning");
    let value = |text| ReadingKind::Temperature.read(text).expect("a temperature");
    let rows = vec![
        (at("2026-03-06"), ReadingKind::Temperature, value("17.5")),
        (at("2026-03-07"), ReadingKind::Temperature, value("18")),
    ];
    batches::NewImport { batch, file_name: "vat.csv".to_owned(), left_out: 1, rows }
}

/// Work on a batch, in thousandths of an hour, for 24.00.
pub fn work(batch: BatchId, amount: i64) -> NewEffort {
    NewEffort {
        batch,
        day: day("2026-03-02"),
        kind: EffortKind::Work,
        amount: Some(Milli::new(amount)),
        sum: Some(Money::from_micros(24_000_000)),
        remark: "curdling and straining".to_owned(),
    }
}

/// So many bottles of 75 cl, to be tasted after 180 days.
pub fn bottling(batch: BatchId, place: PlaceId, bottles: u32) -> Bottling {
    Bottling {
        batch,
        day: day("2026-06-01"),
        bottles,
        bottle_volume: Milli::new(750_000),
        broken: 0,
        lost_volume: Milli::ZERO,
        packaging: Vec::new(),
        place,
        tasting_ages_days: vec![180],
        ages_by_warmth: false,
        reasons: Reasons::default().with(Rule::Unfinished, "read by a second hydrometer: 0.998"),
        remark: String::new(),
    }
}

/// A steel vessel of 25 L.
pub fn steel(code: &str, place: PlaceId) -> Vessel {
    Vessel {
        code: code.to_owned(),
        material: Material::Steel,
        capacity: Milli::new(25_000_000),
        safe_filling: Milli::new(22_500_000),
        place,
        closure: Closure::Airlock,
        worn: false,
        marks: String::new(),
    }
}

/// So many litres of a batch into a vessel, on 1 June.
pub fn fill(vessel: VesselId, batch: BatchId, litres: i64) -> Filling {
    Filling {
        vessel,
        batch,
        day: day("2026-06-01"),
        volume: Milli::new(litres * 1_000_000),
        liquid_c: None,
        closure: None,
        reasons: Reasons::default(),
    }
}

/// A blind tasting of these bottlings, marked on lines, to which the whole club is invited; the steward pours.
pub fn tasting(club: &Club, samples: Vec<BottlingId>) -> TastingPlan {
    TastingPlan {
        title: "Whey wine at half a year".to_owned(),
        host: club.hand.member,
        day: day("2026-06-30"),
        place: "Mill loft".to_owned(),
        blind: true,
        method: Method::Scored,
        question: String::new(),
        expected: None,
        samples,
        pour_volume: Milli::new(30_000),
        tasters: vec![club.steward.member, club.hand.member, club.taster.member],
        pourer: Some(club.steward.member),
    }
}
