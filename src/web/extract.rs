//! Who asks, and what they ask for: the arguments of a handler, read off the request.
//!
//! Asking for a rank is the permission check. Under the API a rank takes a bearer token and nothing
//! else, so that no other site can make a browser act there; everywhere else it takes the session of a
//! browser and nothing else.

use std::fmt;
use std::future::{Future, Ready, ready};
use std::net::IpAddr;
use std::pin::Pin;

use actix_web::http::{Method, header};
use actix_web::{FromRequest, HttpMessage, HttpRequest, dev};
use chrono::{SubsecRound, Utc};
use serde::de::DeserializeOwned;
use utoipa::ToSchema;

use super::api::Page;
use super::api::describe::{self, Operation};
use super::input::Draft;
use super::problem::{Kind, Problem};
use super::site::{State, state_of};
use super::table::{Part, Rank};
use crate::actions::members::{self, Visitor};
use crate::actions::once::RequestKey;
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role, Scope, Steward, Taster};
use crate::units::Misread;
use crate::units::days::{self, Day, Instant};

/// An extraction that waits for something.
pub(super) type Later<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

/// The time it is, in whole microseconds, as both databases keep it. Nothing else in the program reads
/// the clock for what is recorded.
pub fn now() -> Instant {
    Utc::now().naive_utc().trunc_subsecs(6)
}

/// Whoever asks, signed in or not.
#[derive(Debug, Clone, Copy)]
pub struct Anyone {
    /// When the request came.
    pub now: Instant,
}

impl FromRequest for Anyone {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(_: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        ready(Ok(Self { now: now() }))
    }
}

impl Rank for Anyone {
    const LEAST: Option<Role> = None;
}

macro_rules! ranks {
    ($($rank:ident),*) => {$(
        impl FromRequest for $rank {
            type Error = Problem;
            type Future = Later<Self>;

            fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
                let request = request.clone();
                Box::pin(async move {
                    let doer = doer(&request).await?;
                    let role = doer.role;
                    $rank::from_doer(doer).ok_or_else(|| Problem::forbidden(role, Role::$rank))
                })
            }
        }

        impl Rank for $rank {
            const LEAST: Option<Role> = Some(Role::$rank);
        }
    )*};
}

ranks! { Onlooker, Taster, Cellarhand, Steward }

/// Who asks. Kept with the request, so that a problem is shown in the surroundings of the member who met
/// it.
pub(super) async fn doer(request: &HttpRequest) -> Result<Doer, Problem> {
    let state = state_of(request);
    let doer = if state.in_api(request.path()) {
        by_token(request, &state).await?
    } else {
        let secret = session_secret(request, &state).ok_or_else(Problem::signed_out)?;
        let address = address(request, &state);
        members::doer_of_session(&state.db, &secret, &address, now())
            .await?
            .ok_or_else(Problem::signed_out)?
    };
    request.extensions_mut().insert(doer.clone());
    Ok(doer)
}

async fn by_token(request: &HttpRequest, state: &State) -> Result<Doer, Problem> {
    let refused = |detail: &str| Problem::new(Kind::SignedOut, detail);
    let sent = text(request, "authorization").and_then(|value| value.split_once(' '));
    let (_, token) = sent.filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer")).ok_or_else(|| {
        refused("Send a token: Authorization: Bearer …; a member makes one on their own page.")
    })?;
    let (doer, scope) = members::doer_of_token(&state.db, token.trim(), &address(request, state), now())
        .await?
        .ok_or_else(|| refused("This token is not known, was revoked, or has ended; make a new one."))?;
    let reads = matches!(*request.method(), Method::GET | Method::HEAD) || state.only_asks(request.path());
    if scope == Scope::Readings && !sends_readings(request, state) {
        return Err(Problem::new(
            Kind::Forbidden,
            "This token only sends readings: POST /batches/{id}/readings or /places/{id}/climate; for anything else, \
             make another.",
        ));
    }
    if scope == Scope::Read && !reads {
        return Err(Problem::new(
            Kind::Forbidden,
            "This token only reads; to record, make one with the scope write.",
        ));
    }
    Ok(doer)
}

/// Whether readings of a batch or a place are sent: all that the least scope may do.
fn sends_readings(request: &HttpRequest, state: &State) -> bool {
    let path = request.path().strip_prefix(&state.settings.base).unwrap_or_default();
    let batch = path.strip_prefix("/api/v1/batches/").and_then(|rest| rest.strip_suffix("/readings"));
    let place = path.strip_prefix("/api/v1/places/").and_then(|rest| rest.strip_suffix("/climate"));
    *request.method() == Method::POST && batch.or(place).is_some_and(|id| !id.contains('/'))
}

/// The secret of the browser's session, as its cookie holds it.
pub(super) fn session_secret(request: &HttpRequest, state: &State) -> Option<String> {
    let name = state.settings.cookie_name();
    let cookies = request.headers().get_all(header::COOKIE).filter_map(|value| value.to_str().ok());
    cookies
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(found, secret)| *found == name && !secret.is_empty())
        .map(|(_, secret)| secret.to_owned())
}

/// The secret of the session itself, for what ends sessions or starts others.
#[derive(Debug, Clone)]
pub struct Session(pub String);

impl FromRequest for Session {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let state = state_of(request);
        ready(session_secret(request, &state).map(Self).ok_or_else(Problem::signed_out))
    }
}

impl Part for Session {}

impl FromRequest for Visitor {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let agent = text(request, "user-agent").unwrap_or_default();
        let device = agent.chars().filter(|c| !c.is_control()).take(120).collect();
        ready(Ok(Self { device, address: address(request, &state_of(request)), now: now() }))
    }
}

fn text<'r>(request: &'r HttpRequest, name: &str) -> Option<&'r str> {
    request.headers().get(name).and_then(|value| value.to_str().ok())
}

/// The network address; behind a proxy of ours, the one that the proxy saw.
fn address(request: &HttpRequest, state: &State) -> String {
    // The last address is the one that our own proxy wrote; those before it are hearsay.
    let seen = text(request, "x-forwarded-for").filter(|_| state.settings.behind_proxy);
    let seen = seen.and_then(|list| list.rsplit(',').next()?.trim().parse().ok());
    let address: Option<IpAddr> = seen.or_else(|| request.peer_addr().map(|peer| peer.ip()));
    address.map(|address| address.to_canonical().to_string()).unwrap_or_default()
}

/// From where and with what somebody comes who is not signed in: for limits on tries and for the audit
/// log.
impl Part for Visitor {}

/// The variables of the path: one id, or a tuple. What is not an id is an address with nothing there.
#[derive(Debug, Clone, Copy)]
pub struct Path<T>(pub T);

impl<T: DeserializeOwned> FromRequest for Path<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let found = actix_web::web::Path::<T>::from_request(request, payload).into_inner();
        ready(found.map(|path| Self(path.into_inner())).map_err(|_| Problem::missing("thing")))
    }
}

impl<T: DeserializeOwned> Part for Path<T> {}

/// What stands behind the question mark: `T` has a text for each name, `Option<String>` where it may be
/// left out.
#[derive(Debug, Clone)]
pub struct Query<T> {
    /// The texts as they are.
    pub value: T,
    /// The same, to read days, ids and other values from with [`Draft::read`].
    pub draft: Draft,
}

impl<T: DeserializeOwned + ToSchema> FromRequest for Query<T> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let read = |mut draft: Draft| {
            draft.take("after");
            draft.take("limit");
            if state_of(request).in_api(request.path()) {
                describe::check_names::<T>(&draft)?;
            }
            let value = draft.texts().ok_or_else(|| {
                Problem::new(
                    Kind::Unreadable,
                    "What stands behind the question mark of this address cannot be read.",
                )
            })?;
            Ok(Self { value, draft })
        };
        ready(query(request).and_then(read))
    }
}

impl<T: DeserializeOwned + ToSchema> Part for Query<T> {
    fn describe(operation: &mut Operation) {
        operation.takes_query::<T>();
    }
}

/// What stands behind the question mark, for a page whose questions are a table and no struct.
#[derive(Debug, Clone)]
pub struct Asked(pub Draft);

impl FromRequest for Asked {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        ready(query(request).map(Self))
    }
}

impl Part for Asked {}

/// What stands behind the question mark.
pub(super) fn query(request: &HttpRequest) -> Result<Draft, Problem> {
    let pairs = form_urlencoded::parse(request.query_string().as_bytes());
    Ok(Draft::from_form(pairs.map(|(name, text)| (name.into_owned(), text.into_owned())))?)
}

/// Which part of a long list: those after an id, and how many.
#[derive(Debug, Clone, Copy)]
pub struct Paging<I> {
    /// The last one of the part before.
    pub after: Option<I>,
    limit: usize,
}

/// Where a list that is in the order of days goes on: a day, and which of that day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ByDay<I>(pub Day, pub I);

impl<I: fmt::Display> fmt::Display for ByDay<I> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", days::iso(self.0), self.1)
    }
}

impl<I: std::str::FromStr<Err = Misread>> std::str::FromStr for ByDay<I> {
    type Err = Misread;
    fn from_str(text: &str) -> Result<Self, Misread> {
        let unknown = || Misread::new("There is no such place in the list");
        let (day, id) = text.split_once('.').ok_or_else(unknown)?;
        Ok(Self(day.parse().map_err(|_| unknown())?, id.parse()?))
    }
}

/// The most things of a list in one answer, and how many where nobody says.
const MOST_AT_ONCE: u32 = 200;
const USUAL_AT_ONCE: u32 = 50;

impl<I: std::str::FromStr<Err = Misread>> FromRequest for Paging<I> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let read = |draft: Draft| {
            let found = draft.read_unsigned(now(), |r| Self {
                after: r.optional("after", |text| {
                    text.parse().map_err(|_| Misread::new("Send what the list before gave as next"))
                }),
                limit: r.optional_whole("limit", 1..=MOST_AT_ONCE).unwrap_or(USUAL_AT_ONCE) as usize,
            });
            found.map_err(Problem::from)
        };
        ready(query(request).and_then(read))
    }
}

impl<I: std::str::FromStr<Err = Misread>> Part for Paging<I> {
    fn describe(operation: &mut Operation) {
        operation.takes_paging();
    }
}

impl<I> Paging<I> {
    /// The first part, as long as it is where nobody says.
    pub fn first() -> Self {
        Self { after: None, limit: USUAL_AT_ONCE as usize }
    }
}

impl<I: std::fmt::Display> Paging<I> {
    /// How many rows to read: one more than is given, to see whether there are others.
    pub fn rows(&self) -> i64 {
        i64::try_from(self.limit).unwrap_or(i64::MAX - 1) + 1
    }

    /// The part of the list, from the rows that were read.
    pub fn page<R, T>(&self, mut rows: Vec<R>, id: impl Fn(&R) -> I, show: impl FnMut(R) -> T) -> Page<T> {
        let more = rows.len() > self.limit;
        rows.truncate(self.limit);
        let next = rows.last().filter(|_| more).map(|last| id(last).to_string());
        Page { items: rows.into_iter().map(show).collect(), next }
    }
}

/// The key that a program gave its request; none where it gave none.
#[derive(Debug, Clone)]
pub struct Key(pub Option<RequestKey>);

impl FromRequest for Key {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        let unreadable =
            |misread: Misread| Problem::new(Kind::Unreadable, format!("Idempotency-Key: {misread}."));
        let key = request.headers().get("idempotency-key").map(|value| {
            let text = value.to_str().unwrap_or_default();
            // A quoted string, or the bare key.
            RequestKey::read(text.strip_prefix('"').and_then(|text| text.strip_suffix('"')).unwrap_or(text))
        });
        ready(key.transpose().map(Self).map_err(unreadable))
    }
}

impl Part for Key {
    fn describe(operation: &mut Operation) {
        operation.takes_key();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::ids::LotId;

    #[test]
    fn a_list_says_where_it_goes_on_only_if_it_does() {
        let paging = Paging { after: None, limit: 2 };
        let lots: Vec<_> = (0..3).map(|_| LotId::fresh()).collect();
        let page = paging.page(lots.clone(), |lot| *lot, |lot| lot.to_string());
        assert_eq!(page.items.len(), 2);
        assert_eq!(page.next, Some(lots[1].to_string()));
        let page = paging.page(lots[..2].to_vec(), |lot| *lot, |lot| lot.to_string());
        assert_eq!((page.items.len(), page.next), (2, None));
    }

    #[test]
    fn an_instant_has_no_more_than_microseconds() {
        assert_eq!(now().and_utc().timestamp_subsec_nanos() % 1000, 0);
    }

    #[test]
    fn a_place_in_the_list_comes_back_from_the_address() {
        let place = ByDay("2026-06-23".parse().unwrap(), LotId::fresh());
        assert_eq!(place.to_string().parse(), Ok(place));
        assert!("2026-06-23".parse::<ByDay<LotId>>().is_err());
        assert!("soon.0000000000000".parse::<ByDay<LotId>>().is_err());
    }
}
