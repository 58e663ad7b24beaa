//! A cellar with one of each thing that a write route names, a browser of its steward's, and a token.

use undercroft::actions::batches::{self, Plan};
use undercroft::actions::members::{self, Invitation, NewToken, Visitor};
use undercroft::actions::{reminders, stock};
use undercroft::db::Database;
use undercroft::domain::members::{Doer, NewPerson, Onlooker, Role, Scope, Steward};
use undercroft::domain::stock::{ItemKind, Receipt};
use undercroft::units::ids::{BatchId, InvitationId, ItemId, LotId, MemberId, ReminderId, TokenId};
use undercroft::units::quantity::BaseUnit;
use undercroft::web::extract::now;

use crate::ground::cellar::{Cellar, bought, item};
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
