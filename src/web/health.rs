//! Whether the server is alive, whether it can work, and what it counts of itself.

use std::fmt::Write as _;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse};

use super::extract::Anyone;
use super::problem::{Kind, Problem};
use super::respond::Reply;
use super::site::Site;
use crate::db::members;

/// What kind of route was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Pages.
    Pages,
    /// The API.
    Api,
    /// Style sheets and the like.
    Static,
    /// This.
    Health,
}

const GROUPS: [(Group, &str); 4] =
    [(Group::Pages, "pages"), (Group::Api, "api"), (Group::Static, "static"), (Group::Health, "health")];
const CLASSES: [&str; 5] = ["1xx", "2xx", "3xx", "4xx", "5xx"];
/// The upper ends of the classes of time, in milliseconds.
const ENDS_MS: [u64; 7] = [5, 20, 50, 100, 250, 1000, 5000];

/// Counts since the start.
#[derive(Debug, Default)]
pub struct Metrics {
    groups: [Counts; 4],
    busy: AtomicU64,
}

#[derive(Debug, Default)]
struct Counts {
    classes: [AtomicU64; 5],
    within: [AtomicU64; 8],
    micros: AtomicU64,
}

impl Metrics {
    /// One answer.
    pub fn count(&self, group: Group, status: StatusCode, took: Duration) {
        let counts = &self.groups[group as usize];
        let class = usize::from(status.as_u16() / 100).clamp(1, 5) - 1;
        let bucket =
            ENDS_MS.iter().position(|end| took <= Duration::from_millis(*end)).unwrap_or(ENDS_MS.len());
        counts.classes[class].fetch_add(1, Ordering::Relaxed);
        counts.within[bucket].fetch_add(1, Ordering::Relaxed);
        counts.micros.fetch_add(u64::try_from(took.as_micros()).unwrap_or(u64::MAX), Ordering::Relaxed);
    }

    /// One request that was turned away because too much waits to be written.
    pub fn count_busy(&self) {
        self.busy.fetch_add(1, Ordering::Relaxed);
    }

    /// In the text format of Prometheus, version 0.0.4.
    pub fn text(&self) -> String {
        let mut text = String::new();
        // Writing to a String does not fail.
        let _ = self.write(&mut text);
        text
    }

    fn write(&self, text: &mut String) -> std::fmt::Result {
        writeln!(text, "# TYPE undercroft_requests_total counter")?;
        for ((_, group), counts) in GROUPS.iter().zip(&self.groups) {
            for (class, count) in CLASSES.iter().zip(&counts.classes) {
                let count = count.load(Ordering::Relaxed);
                writeln!(text, "undercroft_requests_total{{group=\"{group}\",status=\"{class}\"}} {count}")?;
            }
        }
        writeln!(text, "# TYPE undercroft_request_seconds histogram")?;
        for ((_, group), counts) in GROUPS.iter().zip(&self.groups) {
            counts.write(group, text)?;
        }
        writeln!(text, "# TYPE undercroft_busy_total counter")?;
        writeln!(text, "undercroft_busy_total {}", self.busy.load(Ordering::Relaxed))
    }
}

impl Counts {
    fn write(&self, group: &str, text: &mut String) -> std::fmt::Result {
        let mut sum = 0;
        for (at, count) in self.within.iter().enumerate() {
            sum += count.load(Ordering::Relaxed);
            let seconds = |ms: &u64| Duration::from_millis(*ms).as_secs_f64().to_string();
            let end = ENDS_MS.get(at).map_or("+Inf".to_owned(), seconds);
            writeln!(text, "undercroft_request_seconds_bucket{{group=\"{group}\",le=\"{end}\"}} {sum}")?;
        }
        let seconds = Duration::from_micros(self.micros.load(Ordering::Relaxed)).as_secs_f64();
        writeln!(text, "undercroft_request_seconds_sum{{group=\"{group}\"}} {seconds}")?;
        writeln!(text, "undercroft_request_seconds_count{{group=\"{group}\"}} {sum}")
    }
}

/// The program answers.
pub async fn alive(_: Anyone) -> &'static str {
    "alive\n"
}

/// The database can be read.
pub async fn ready(_: Anyone, site: Site) -> Reply {
    site.db.read(members::any_club).await?;
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("ready\n"))
}

/// The counts. They tell what the club does and when, so only a neighbour is answered: a caller from a
/// private address who did not come through the proxy.
pub async fn counts(_: Anyone, site: Site, request: HttpRequest) -> Reply {
    let neighbour = request.peer_addr().is_some_and(|peer| is_private(peer.ip()));
    if !neighbour || request.headers().contains_key("x-forwarded-for") {
        return Err(Problem::new(Kind::Missing, "There is no such page here."));
    }
    Ok(HttpResponse::Ok().content_type("text/plain; version=0.0.4; charset=utf-8").body(site.metrics.text()))
}

fn is_private(address: std::net::IpAddr) -> bool {
    match address.to_canonical() {
        std::net::IpAddr::V4(four) => four.is_loopback() || four.is_private(),
        std::net::IpAddr::V6(six) => six.is_loopback() || six.is_unique_local(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_answer_is_counted_once_in_its_group_class_and_time() {
        let metrics = Metrics::default();
        metrics.count(Group::Api, StatusCode::CREATED, Duration::from_millis(7));
        metrics.count(Group::Api, StatusCode::NOT_FOUND, Duration::from_secs(9));
        let text = metrics.text();
        for line in [
            "undercroft_requests_total{group=\"api\",status=\"2xx\"} 1",
            "undercroft_requests_total{group=\"api\",status=\"4xx\"} 1",
            "undercroft_requests_total{group=\"pages\",status=\"2xx\"} 0",
            "undercroft_request_seconds_bucket{group=\"api\",le=\"0.005\"} 0",
            "undercroft_request_seconds_bucket{group=\"api\",le=\"0.02\"} 1",
            "undercroft_request_seconds_bucket{group=\"api\",le=\"5\"} 1",
            "undercroft_request_seconds_bucket{group=\"api\",le=\"+Inf\"} 2",
            "undercroft_request_seconds_sum{group=\"api\"} 9.007",
            "undercroft_request_seconds_count{group=\"api\"} 2",
        ] {
            assert!(text.lines().any(|found| found == line), "{line}\n{text}");
        }
    }

    #[test]
    fn only_neighbours_see_the_counts() {
        for near in ["127.0.0.1", "::1", "10.0.0.7", "192.168.1.2", "fd00::1", "::ffff:127.0.0.1"] {
            assert!(is_private(near.parse().unwrap()), "{near}");
        }
        for far in ["203.0.113.7", "2001:db8::1", "::ffff:203.0.113.7"] {
            assert!(!is_private(far.parse().unwrap()), "{far}");
        }
    }
}
