//! What every handler needs besides who asks: the database, the addresses of this server, the
//! surroundings of a page.

use std::fmt::Write as _;
use std::ops::Deref;
use std::sync::OnceLock;

use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, HttpResponse, dev, web};
use sha2::{Digest, Sha256};

use super::forms::FormView;
use super::frame::{Frame, Section};
use super::health::Metrics;
use super::limits::Limits;
use super::problem::Problem;
use super::server::Settings;
use super::table::Part;
use super::{api, assets, extract};
use crate::db::reminders::Facts;
use crate::db::{AnyConn, Database, Failure, reminders};
use crate::domain::members::Doer;
use crate::units::days::{self, Day};

/// What all requests share.
pub struct State {
    /// The database.
    pub db: Database,
    /// How this server is reached.
    pub settings: Settings,
    /// What it counts of itself.
    pub metrics: Metrics,
    /// How often something may be tried.
    pub limits: Limits,
    /// The description of the API as JSON, once somebody has asked for it.
    pub description: OnceLock<String>,
}

/// The sections of the house, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Room {
    /// What is due.
    Today,
    /// Items, places, lots.
    Stores,
    /// What is being made.
    Batches,
    /// What was bottled.
    Bottles,
    /// What was judged, and what that showed.
    Tastings,
    /// What stands there, and what the books say.
    Counts,
    /// What it all adds up to.
    Reports,
    /// What is worked out before anything is recorded.
    Workbench,
    /// Members, and how the club is run.
    Club,
    /// Outside of all: one's own page, problems.
    Elsewhere,
}

impl State {
    /// Under the path prefix: `/stores` is `/cellar/stores` where the prefix is `/cellar`.
    pub fn at(&self, path: &str) -> String {
        format!("{}{path}", self.settings.base)
    }

    /// A whole address, for mails and printed codes; never built from what a request says of its host.
    pub fn address(&self, path: &str) -> String {
        format!("{}{}{path}", self.settings.origin(), self.settings.base)
    }

    /// The address of the API; whole where the public address is known.
    pub(super) fn api_address(&self) -> String {
        let origin = self.settings.public.as_deref().unwrap_or_default();
        format!("{origin}{}{}", self.settings.base, api::UNDER)
    }

    /// Whether a path is one of the API.
    pub(super) fn in_api(&self, path: &str) -> bool {
        let within = path.strip_prefix(&self.settings.base).and_then(|path| path.strip_prefix(api::UNDER));
        within.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    }

    /// Whether a path of the API only asks the workbench and records nothing, so that a token that reads is enough.
    pub(super) fn only_asks(&self, path: &str) -> bool {
        let asks = path.strip_prefix(&self.settings.base).and_then(|path| path.strip_prefix(api::ASKS));
        asks.is_some_and(|question| !question.is_empty() && !question.contains('/'))
    }

    /// The surroundings of a member's page.
    pub(super) fn frame(
        &self,
        doer: &Doer,
        here: Room,
        title: &str,
        form_token: String,
        facts: Facts,
    ) -> Frame {
        let mut frame = self.frame_without_facts(doer, here, title, form_token);
        let due = if facts.due == 0 { "nothing due".to_owned() } else { format!("{} due", facts.due) };
        let live = [
            due,
            counted(facts.lots, "lot"),
            format!("{} working", facts.working),
            counted(facts.bottles, "bottle"),
            tasting(facts.tasting, doer),
            if facts.counts == 0 { "none open".to_owned() } else { format!("{} open", facts.counts) },
            "worth, cost".to_owned(),
            "work it out".to_owned(),
            counted(facts.members, "member"),
        ];
        for (section, fact) in frame.sections.iter_mut().zip(live) {
            section.fact = fact;
        }
        frame
    }

    /// The same where the database is not asked.
    pub(super) fn frame_without_facts(
        &self,
        doer: &Doer,
        here: Room,
        title: &str,
        form_token: String,
    ) -> Frame {
        let section =
            |(room, name, href, near)| Section { name, href, fact: String::new(), here: room == here, near };
        Frame {
            base: self.settings.base.clone(),
            title: title.to_owned(),
            club: doer.club_name.clone(),
            member: doer.name.clone(),
            sections: SECTIONS.map(section).into(),
            form_token,
            assets: assets::version(),
        }
    }

    /// The surroundings of a page for somebody who is not signed in.
    pub fn stranger_frame(&self, title: &str) -> Frame {
        Frame {
            base: self.settings.base.clone(),
            title: title.to_owned(),
            assets: assets::version(),
            ..Frame::default()
        }
    }

    /// The token that forms carry; empty where nobody is signed in.
    pub(super) fn form_token_of(&self, request: &HttpRequest) -> String {
        extract::session_secret(request, self).map(|secret| form_token(&secret)).unwrap_or_default()
    }
}

const SECTIONS: [(Room, &str, &str, bool); 9] = [
    (Room::Today, "Today", "/", true),
    (Room::Stores, "Stores", "/stores", true),
    (Room::Batches, "Batches", "/batches", true),
    (Room::Bottles, "Bottles", "/bottles", true),
    (Room::Tastings, "Tastings", "/tastings", false),
    (Room::Counts, "Counts", "/counts", false),
    (Room::Reports, "Reports", "/reports", false),
    (Room::Workbench, "Workbench", "/workbench", false),
    (Room::Club, "Club", "/club", false),
];

/// "Fri 3 July", for the tasting that comes next.
fn tasting(next: Option<Day>, doer: &Doer) -> String {
    match next {
        None => "none planned".to_owned(),
        Some(day) if day <= doer.today() => "at the table".to_owned(),
        Some(day) => days::short(day, doer.today()),
    }
}

fn counted(count: i64, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// A token for a session's forms: it follows from the session's secret and does not give it away. It
/// begins with random characters and is another on every page, so that its length in a compressed page
/// tells nothing.
pub(super) fn form_token(secret: &str) -> String {
    let salt = hex(&getrandom::u64().unwrap_or_default().to_be_bytes());
    salted(secret, &salt)
}

fn salted(secret: &str, salt: &str) -> String {
    let hash = Sha256::new().chain_update(secret).chain_update("\0form\0").chain_update(salt).finalize();
    format!("{salt}{}", hex(&hash))
}

/// Whether a token is one of its browser’s, in a time that does not tell where the difference is.
pub(super) fn is_form_token(token: &str, secret: &str) -> bool {
    let Some(salt) = token.get(..16) else { return false };
    let right = salted(secret, salt);
    let differ = right.bytes().zip(token.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b));
    right.len() == token.len() && differ == 0
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The state, and the token for the forms of whoever asks.
pub struct Site {
    state: web::Data<State>,
    form_token: String,
}

impl Deref for Site {
    type Target = State;
    fn deref(&self) -> &State {
        &self.state
    }
}

impl FromRequest for Site {
    type Error = Problem;
    type Future = std::future::Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let state = state_of(request);
        let form_token = state.form_token_of(request);
        std::future::ready(Ok(Self::new(state, form_token)))
    }
}

impl Part for Site {}

/// The state of the server that a request came to.
///
/// # Panics
/// Where the app was built without one; [`super::server::app`] is the only place that builds it.
pub(super) fn state_of(request: &HttpRequest) -> web::Data<State> {
    request.app_data::<web::Data<State>>().cloned().expect("the app is built with its state")
}

impl Site {
    /// For whoever brought this token; without one, for pages that are rendered without a request.
    pub fn new(state: web::Data<State>, form_token: String) -> Self {
        Self { state, form_token }
    }

    /// Read in one snapshot what the page shows, and the live facts of its surroundings.
    pub async fn read<T: Send + 'static>(
        &self,
        doer: &Doer,
        work: impl FnOnce(&mut AnyConn, &Doer) -> Result<T, Failure> + Send + 'static,
    ) -> Result<(Facts, T), Problem> {
        let doer = doer.clone();
        let read = self.db.read(move |conn| {
            let facts = reminders::facts(conn, doer.club, doer.today())?;
            Ok::<_, Failure>((facts, work(conn, &doer)?))
        });
        Ok(read.await?)
    }

    /// The surroundings of a member's page.
    pub fn frame(&self, doer: &Doer, here: Room, title: &str, facts: Facts) -> Frame {
        self.state.frame(doer, here, title, self.form_token.clone(), facts)
    }

    /// The token that forms carry.
    pub fn form_token(&self) -> &str {
        &self.form_token
    }

    /// A form that is sent to `path`, with a new request key and the token of the session.
    pub fn form(&self, path: &str, heading: &str, submit: &str) -> FormView {
        FormView::new(self.at(path), heading, submit).keys(fresh_key(), &*self.form_token)
    }

    /// Go on to the page that shows what was done.
    pub fn see_other(&self, path: &str) -> HttpResponse {
        HttpResponse::SeeOther().insert_header((header::LOCATION, self.at(path))).finish()
    }

    /// The header that makes a browser keep a session for `seconds`.
    pub fn session_cookie(&self, secret: &str, seconds: i64) -> (header::HeaderName, String) {
        let name = self.settings.cookie_name();
        let secure = if self.settings.over_tls() { "; Secure" } else { "" };
        let cookie = format!("{name}={secret}; Path=/; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}");
        (header::SET_COOKIE, cookie)
    }

    /// The header that makes a browser forget its session.
    pub fn no_cookie(&self) -> (header::HeaderName, String) {
        self.session_cookie("", 0)
    }
}

/// Where to go after signing in: what was asked for, if that is a path of ours and not another server's.
pub fn onward(next: &str) -> &str {
    let ours = next.starts_with('/') && !next.starts_with("//") && !next.contains(['\\', '\r', '\n', '\t']);
    if ours { next } else { "/" }
}

/// A new key for a form: the same form sent twice is known by it.
pub fn fresh_key() -> String {
    let mut bytes = [0; 16];
    // Without random bytes the key is one that was used before: the sender is told so and nothing is
    // recorded twice.
    if getrandom::fill(&mut bytes).is_err() {
        tracing::error!("the system gives no random bytes");
    }
    hex(&bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_token_fits_its_session_and_no_other() {
        let (one, other) = (form_token("secret"), form_token("secret"));
        assert_ne!(one, other);
        assert!(is_form_token(&one, "secret") && is_form_token(&other, "secret"));
        for bad in ["", "short", "éééééééééééé", &one[1..], &format!("{one}0"), &"0".repeat(80)] {
            assert!(!is_form_token(bad, "secret"), "{bad}");
        }
        assert!(!is_form_token(&one, "another secret"));
    }

    #[test]
    fn nobody_is_sent_to_another_server() {
        assert_eq!(onward("/batches?stage=working"), "/batches?stage=working");
        for bad in [
            "",
            "https://elsewhere.example",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "/\t/elsewhere.example",
        ] {
            assert_eq!(onward(bad), "/", "{bad}");
        }
    }
}
