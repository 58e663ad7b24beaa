//! What a person gets who founds, joins, signs in, leaves; on a database file of each test's own.

use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};

use chrono::Duration;

use super::*;
use crate::actions::Error;
use crate::db::connection::Address;
use crate::domain::members::{Password, Scope};

/// A club with one steward, in a database that goes with it.
struct Club {
    db: Database,
    file: PathBuf,
    id: ClubId,
    now: Instant,
}

impl Drop for Club {
    fn drop(&mut self) {
        for ending in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(format!("{}{ending}", self.file.display()));
        }
    }
}

const STEWARD: &str = "marit@tidemill.example";
const PASSWORD: &str = "wheel pit at low tide";
const ILSES: &str = "a gannet over the weir";

fn file() -> PathBuf {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let name = format!("members-{}-{}.db", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
    std::env::temp_dir().join(name)
}

fn noon() -> Instant {
    "2026-06-23T12:00:00".parse().unwrap()
}

fn person(name: &str, email: &str, password: &str) -> NewPerson {
    NewPerson::read(name, email, password).unwrap()
}

fn tidemill() -> NewClub {
    let steward = NewPerson::read("Marit Oldewelt", STEWARD, PASSWORD);
    NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward).unwrap()
}

fn refused<T: std::fmt::Debug>(done: Done<T>) -> (Why, String, String) {
    match done {
        Err(Error::Refused(refusal)) => {
            let fault = refusal.faults[0].clone();
            (refusal.why, fault.field, fault.message)
        }
        other => panic!("{other:?} is no refusal"),
    }
}

impl Club {
    async fn founded() -> Self {
        let file = file();
        let db = Database::open(&Address::Sqlite(file.clone())).unwrap();
        let (id, _) = found_club(&db, tidemill(), noon()).await.unwrap();
        Self { db, file, id, now: noon() }
    }

    fn visitor(&self) -> Visitor {
        Visitor { device: "Firefox".to_owned(), address: "192.0.2.7".to_owned(), now: self.now }
    }

    async fn sign_in(&self, email: &str, password: &str) -> Done<Entrance> {
        sign_in(&self.db, email, &Password::new(password), &self.visitor()).await
    }

    async fn doer(&self, secret: &Secret) -> Option<Doer> {
        doer_of_session(&self.db, secret.reveal(), "192.0.2.7", self.now).await.unwrap()
    }

    async fn steward(&self) -> Steward {
        let doer = doer_by_email(&self.db, "Tidemill Cellar Club", STEWARD, self.now).await.unwrap();
        Steward::from_doer(doer).unwrap()
    }

    async fn add(&self, email: &str, role: Role) -> MemberId {
        let new = NewMember {
            person: person("Ilse Quaak", email, ILSES),
            hash: hash(&Password::new(ILSES)).await.unwrap(),
            role,
            joined_on: self.now.date(),
        };
        add_member(&self.db, self.id, new, self.now).await.unwrap()
    }

    async fn onlooker(&self, member: MemberId) -> Onlooker {
        Onlooker::from_doer(doer_of_member(&self.db, member, self.now).await.unwrap()).unwrap()
    }

    async fn log(&self) -> Vec<String> {
        let id = self.id;
        let lines = self.db.read(move |conn| audit::lines(conn, id, None, 50)).await.unwrap();
        lines.into_iter().map(|line| line.what).collect()
    }
}

#[tokio::test]
async fn who_shows_the_password_is_let_in_until_signing_out() {
    let club = Club::founded().await;
    let (secret, member) = club.sign_in("Marit@Tidemill.example ", PASSWORD).await.unwrap();
    let doer = club.doer(&secret).await.unwrap();
    assert_eq!(
        (doer.member, doer.role, doer.club_name.as_str()),
        (member, Role::Steward, "Tidemill Cellar Club")
    );
    assert_eq!(doer.address, "192.0.2.7");
    sign_out(&club.db, secret.reveal()).await.unwrap();
    assert!(club.doer(&secret).await.is_none());
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_name_get_the_same_answer_and_leave_a_trace() {
    let club = Club::founded().await;
    let wrong = refused(club.sign_in(STEWARD, "wheel pit at high tide").await);
    assert_eq!(wrong.2, "The e-mail address and the password do not fit together");
    for unknown in ["nobody@tidemill.example", "no address at all"] {
        assert_eq!(refused(club.sign_in(unknown, PASSWORD).await), wrong);
    }
    assert_eq!(club.log().await, ["sign-in refused", "founded the club"]);
}

#[tokio::test]
async fn a_session_ends_after_14_idle_days_and_after_90_days_in_any_case() {
    let mut club = Club::founded().await;
    let (secret, _) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    club.now += Duration::days(14);
    assert!(club.doer(&secret).await.is_none());

    club.now = noon();
    for _ in 0..8 {
        club.now += Duration::days(11);
        assert!(club.doer(&secret).await.is_some(), "used every 11 days, on {}", club.now);
    }
    club.now += Duration::days(2);
    assert!(club.doer(&secret).await.is_none(), "the 90th day");
}

#[tokio::test]
async fn when_a_session_was_used_is_written_at_most_every_ten_minutes() {
    let mut club = Club::founded().await;
    let (secret, member) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    let onlooker = club.onlooker(member).await;
    let mut seen = Vec::new();
    for _ in 0..2 {
        club.now += Duration::minutes(6);
        club.doer(&secret).await.unwrap();
        let sessions = sessions_of(&club.db, &onlooker, secret.reveal()).await.unwrap();
        assert!(sessions[0].here && sessions[0].device == "Firefox");
        seen.push((sessions[0].seen_at - noon()).num_minutes());
    }
    assert_eq!(seen, [0, 12]);
}

#[tokio::test]
async fn all_sessions_end_when_the_password_changes_but_for_a_new_one_here() {
    let club = Club::founded().await;
    let (phone, member) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    let (desk, _) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    let by = club.onlooker(member).await;
    let new = Password::new("sluice gate in october");

    let wrong = change_password(&club.db, &by, &Password::new("not it"), &new, "Firefox").await;
    assert_eq!(refused(wrong).1, "current_password");
    let weak =
        change_password(&club.db, &by, &Password::new(PASSWORD), &Password::new("short"), "Firefox").await;
    assert_eq!(refused(weak).1, "new_password");
    assert!(club.doer(&phone).await.is_some(), "nothing has changed yet");

    let here = change_password(&club.db, &by, &Password::new(PASSWORD), &new, "Firefox").await.unwrap();
    assert!(club.doer(&phone).await.is_none() && club.doer(&desk).await.is_none());
    assert!(club.doer(&here).await.is_some());
    assert!(club.sign_in(STEWARD, PASSWORD).await.is_err());
    assert!(club.sign_in(STEWARD, "sluice gate in october").await.is_ok());
}

#[tokio::test]
async fn who_is_invited_joins_once_with_the_role_that_was_offered() {
    let club = Club::founded().await;
    let invitation = Invitation::read("Ilse", Role::Taster).unwrap();
    let (_, link) = invite(&club.db, &club.steward().await, None, invitation).await.unwrap();
    let offer = offered(&club.db, link.reveal(), club.now).await.unwrap().unwrap();
    assert_eq!((offer.name.as_str(), offer.role), ("Ilse", Role::Taster));

    let weak = person("Ilse Quaak", "ilse@tidemill.example", "ilse ilse ilse");
    let weak = accept_invitation(&club.db, link.reveal(), weak, &club.visitor()).await;
    assert_eq!(refused(weak).1, "password");

    let ilse = person("Ilse Quaak", "ilse@tidemill.example", ILSES);
    let (secret, _) =
        accept_invitation(&club.db, link.reveal(), ilse.clone(), &club.visitor()).await.unwrap();
    let doer = club.doer(&secret).await.unwrap();
    assert_eq!((doer.name.as_str(), doer.role), ("Ilse Quaak", Role::Taster));
    let again = accept_invitation(&club.db, link.reveal(), ilse, &club.visitor()).await;
    assert_eq!(refused(again).0, Why::Missing);
}

#[tokio::test]
async fn an_invitation_ends_when_withdrawn_or_a_week_old() {
    let mut club = Club::founded().await;
    let steward = club.steward().await;
    let invitation = || Invitation::read("Ilse", Role::Taster).unwrap();
    let (withdrawn, link) = invite(&club.db, &steward, None, invitation()).await.unwrap();
    withdraw_invitation(&club.db, &steward, withdrawn).await.unwrap();
    assert_eq!(offered(&club.db, link.reveal(), club.now).await.unwrap(), None);
    assert!(withdraw_invitation(&club.db, &steward, withdrawn).await.is_err());

    let (_, link) = invite(&club.db, &steward, None, invitation()).await.unwrap();
    club.now += Duration::days(7);
    assert_eq!(offered(&club.db, link.reveal(), club.now).await.unwrap(), None);
}

#[tokio::test]
async fn inviting_twice_with_one_key_makes_one_invitation_whose_last_link_works() {
    let club = Club::founded().await;
    let steward = club.steward().await;
    let key = || Some(RequestKey::read("key-of-the-form").unwrap());
    let invitation = || Invitation::read("Ilse", Role::Taster).unwrap();
    let (one, lost) = invite(&club.db, &steward, key(), invitation()).await.unwrap();
    let (other, shown) = invite(&club.db, &steward, key(), invitation()).await.unwrap();
    assert_eq!(one, other);
    assert_eq!(offered(&club.db, lost.reveal(), club.now).await.unwrap(), None);
    assert!(offered(&club.db, shown.reveal(), club.now).await.unwrap().is_some());
}

#[tokio::test]
async fn a_known_person_joins_another_club_with_their_own_password_and_changes_between_the_two() {
    let club = Club::founded().await;
    let steward = NewPerson::read("Marit", STEWARD, "some other password");
    let second = NewClub::read("Weir Street Cellar", "EUR", "Europe/Amsterdam", steward).unwrap();
    let wrong = refused(found_club(&club.db, second, club.now).await);
    assert_eq!(wrong.1, "steward_email");

    let steward = NewPerson::read("Marit", STEWARD, PASSWORD);
    let second = NewClub::read("Weir Street Cellar", "EUR", "Europe/Amsterdam", steward).unwrap();
    found_club(&club.db, second, club.now).await.unwrap();
    let (secret, member) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    assert_eq!(club.doer(&secret).await.unwrap().club_name, "Weir Street Cellar");
    let by = club.onlooker(member).await;
    change_club(&club.db, &by, secret.reveal(), club.id).await.unwrap();
    assert_eq!(club.doer(&secret).await.unwrap().club, club.id);

    let ilse = club.add("ilse@tidemill.example", Role::Taster).await;
    let stranger = club.onlooker(ilse).await;
    let other = club.doer(&club.sign_in(STEWARD, PASSWORD).await.unwrap().0).await.unwrap().club;
    assert_eq!(refused(change_club(&club.db, &stranger, secret.reveal(), other).await).0, Why::Missing);
}

#[tokio::test]
async fn the_first_club_is_set_up_once_at_an_address_that_holds_a_day() {
    let file = file();
    let db = Database::open(&Address::Sqlite(file.clone())).unwrap();
    let first = begin_set_up(&db, noon()).await.unwrap().unwrap();
    let second = begin_set_up(&db, noon()).await.unwrap().unwrap();
    assert!(!set_up_is_open(&db, first.reveal(), noon()).await.unwrap(), "the newest alone");
    assert!(!set_up_is_open(&db, second.reveal(), noon() + Duration::hours(24)).await.unwrap());

    let visitor = Visitor { device: String::new(), address: String::new(), now: noon() };
    let (session, _) = set_up(&db, second.reveal(), tidemill(), &visitor).await.unwrap();
    let doer = doer_of_session(&db, session.reveal(), "", noon()).await.unwrap().unwrap();
    assert_eq!(doer.role, Role::Steward);
    let club = Club { id: doer.club, db, file, now: noon() };
    assert_eq!(refused(set_up(&club.db, second.reveal(), tidemill(), &visitor).await).0, Why::Missing);
    assert_eq!(begin_set_up(&club.db, noon()).await.unwrap(), None);
}

#[tokio::test]
async fn a_club_keeps_a_steward() {
    let club = Club::founded().await;
    let steward = club.steward().await;
    let down = ChangeRole { member: steward.member, role: Role::Taster };
    assert_eq!(refused(change_role(&club.db, &steward, None, down.clone()).await).0, Why::Conflict);
    let me = club.onlooker(steward.member).await;
    assert_eq!(refused(leave(&club.db, &me, None).await).0, Why::Conflict);

    let ilse = club.add("ilse@tidemill.example", Role::Taster).await;
    change_role(&club.db, &steward, None, ChangeRole { member: ilse, role: Role::Steward }).await.unwrap();
    change_role(&club.db, &steward, None, down).await.unwrap();
    assert_eq!(club.onlooker(steward.member).await.role, Role::Taster);
    assert_eq!(
        club.log().await[..2],
        ["made Marit Oldewelt taster (was steward)", "made Ilse Quaak steward (was taster)"]
    );
}

#[tokio::test]
async fn who_has_left_is_let_in_no_more_by_any_way() {
    let club = Club::founded().await;
    let steward = club.steward().await;
    let ilse = club.add("ilse@tidemill.example", Role::Steward).await;
    let (session, _) = club.sign_in("ilse@tidemill.example", ILSES).await.unwrap();
    let by = club.onlooker(ilse).await;
    let new = NewToken::read("shelf sensor", Scope::Write, 30).unwrap();
    let (_, token) = new_token(&club.db, &by, None, new).await.unwrap();
    let as_steward = Steward::from_doer(Doer::clone(&by)).unwrap();
    let friend = Invitation::read("A friend", Role::Steward).unwrap();
    let (_, link) = invite(&club.db, &as_steward, None, friend).await.unwrap();

    remove_member(&club.db, &steward, None, ilse).await.unwrap();
    assert!(club.doer(&session).await.is_none());
    assert!(doer_of_token(&club.db, token.reveal(), "", club.now).await.unwrap().is_none());
    assert_eq!(offered(&club.db, link.reveal(), club.now).await.unwrap(), None);
    let shut = refused(club.sign_in("ilse@tidemill.example", ILSES).await);
    assert!(shut.2.contains("ask a steward"));
    assert_eq!(refused(remove_member(&club.db, &steward, None, ilse).await).0, Why::Conflict);

    let back = Invitation::read("Ilse", Role::Taster).unwrap();
    let (_, link) = invite(&club.db, &steward, None, back).await.unwrap();
    let person = person("Ilse Quaak", "ilse@tidemill.example", ILSES);
    let (_, member) = accept_invitation(&club.db, link.reveal(), person, &club.visitor()).await.unwrap();
    assert_eq!(member, ilse, "the same member again, with what they recorded");
}

#[tokio::test]
async fn a_token_acts_for_its_member_until_it_ends_or_is_revoked() {
    let mut club = Club::founded().await;
    let by = Onlooker::from_doer(Doer::clone(&*club.steward().await)).unwrap();
    let new = NewToken::read("shelf sensor", Scope::Read, 30).unwrap();
    let (id, token) = new_token(&club.db, &by, None, new.clone()).await.unwrap();
    assert!(token.reveal().starts_with("uc_"));
    let acts = async |club: &Club, token: &Secret| {
        let found = doer_of_token(&club.db, token.reveal(), "192.0.2.9", club.now).await.unwrap();
        found.map(|(doer, scope)| (doer.member, scope))
    };
    for _ in 0..3 {
        assert_eq!(acts(&club, &token).await, Some((by.member, Scope::Read)));
        club.now += Duration::minutes(20);
    }
    assert_eq!(
        club.log().await,
        ["used the token “shelf sensor”", "made the token “shelf sensor” (read)", "founded the club"],
        "its use is noted once a day"
    );
    revoke_token(&club.db, &by, id).await.unwrap();
    assert_eq!(acts(&club, &token).await, None);
    assert!(revoke_token(&club.db, &by, id).await.is_err());

    let (_, token) = new_token(&club.db, &by, None, new).await.unwrap();
    club.now = noon() + Duration::days(30);
    assert_eq!(acts(&club, &token).await, None);
    assert!(NewToken::read("for ever", Scope::Read, 367).is_err());
}

#[tokio::test]
async fn somebody_elses_session_or_token_is_not_there() {
    let club = Club::founded().await;
    let steward = Onlooker::from_doer(Doer::clone(&*club.steward().await)).unwrap();
    let (secret, _) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    let session = sessions_of(&club.db, &steward, secret.reveal()).await.unwrap()[0].id;
    let new = NewToken::read("shelf sensor", Scope::Read, 30).unwrap();
    let (token, _) = new_token(&club.db, &steward, None, new).await.unwrap();

    let ilse = club.onlooker(club.add("ilse@tidemill.example", Role::Steward).await).await;
    assert_eq!(refused(end_session(&club.db, &ilse, session).await).0, Why::Missing);
    assert_eq!(refused(revoke_token(&club.db, &ilse, token).await).0, Why::Missing);
    assert!(club.doer(&secret).await.is_some());
    end_session(&club.db, &steward, session).await.unwrap();
    assert!(club.doer(&secret).await.is_none());
}

#[tokio::test]
async fn a_forgotten_password_is_set_anew_by_who_runs_the_program() {
    let club = Club::founded().await;
    let (secret, _) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    let new = Password::new("sluice gate in october");
    set_password(&club.db, STEWARD, &new, club.now).await.unwrap();
    assert!(club.doer(&secret).await.is_none());
    assert!(club.sign_in(STEWARD, "sluice gate in october").await.is_ok());
    assert_eq!(refused(set_password(&club.db, "nobody@tidemill.example", &new, club.now).await).1, "email");
}

#[tokio::test]
async fn nothing_that_lets_in_is_readable_in_the_file() {
    let club = Club::founded().await;
    let steward = club.steward().await;
    let by = Onlooker::from_doer(Doer::clone(&steward)).unwrap();
    let (session, _) = club.sign_in(STEWARD, PASSWORD).await.unwrap();
    let key = || Some(RequestKey::read("key-of-the-form").unwrap());
    let new = NewToken::read("shelf sensor", Scope::Read, 30).unwrap();
    let (_, token) = new_token(&club.db, &by, key(), new).await.unwrap();
    let key = Some(RequestKey::read("key-of-another").unwrap());
    let (_, link) =
        invite(&club.db, &steward, key, Invitation::read("Ilse", Role::Taster).unwrap()).await.unwrap();

    let mut bytes = std::fs::read(&club.file).unwrap();
    bytes.extend(std::fs::read(format!("{}-wal", club.file.display())).unwrap());
    let holds = |text: &str| bytes.windows(text.len()).any(|part| part == text.as_bytes());
    assert!(holds(STEWARD), "the search would find it");
    for secret in [session.reveal(), token.reveal(), link.reveal(), PASSWORD] {
        assert!(!holds(secret));
    }
}
