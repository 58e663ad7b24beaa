//! How often something may be tried that guessers try: for one account from one address, for the account
//! from anywhere, and from the address for any account. Kept in memory; forgotten with the server.

use std::hash::{BuildHasher, RandomState};
use std::net::{IpAddr, Ipv6Addr};
use std::num::NonZeroU32;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};

use super::problem::Problem;

/// Tries are forgotten in rounds, after so many.
const ROUND: u32 = 1024;

/// The limits of a server.
pub struct Limits {
    account_here: DefaultKeyedRateLimiter<u64>,
    account: DefaultKeyedRateLimiter<u64>,
    address: DefaultKeyedRateLimiter<u64>,
    hasher: RandomState,
    tries: AtomicU32,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            account_here: limiter(20, Duration::from_mins(3)),
            account: limiter(60, Duration::from_mins(1)),
            address: limiter(60, Duration::from_secs(10)),
            hasher: RandomState::new(),
            tries: AtomicU32::new(0),
        }
    }
}

/// So many at once, and then one each `period`.
fn limiter(at_once: u32, period: Duration) -> DefaultKeyedRateLimiter<u64> {
    let at_once = NonZeroU32::new(at_once).unwrap_or(NonZeroU32::MIN);
    let quota = Quota::with_period(period).unwrap_or(Quota::per_second(NonZeroU32::MIN));
    RateLimiter::keyed(quota.allow_burst(at_once))
}

impl Limits {
    /// Count a try at `what` from an address: for whom, where somebody is named. Refused when there were
    /// too many.
    pub fn count(&self, what: &str, account: Option<&str>, address: &str) -> Result<(), Problem> {
        self.forget_now_and_then();
        let network = network(address);
        let key =
            |account: Option<&str>, network: Option<&str>| self.hasher.hash_one((what, account, network));
        within(&self.address, key(None, Some(&network)))?;
        let Some(account) = account.map(|account| account.trim().to_lowercase()) else { return Ok(()) };
        within(&self.account_here, key(Some(&account), Some(&network)))?;
        within(&self.account, key(Some(&account), None))
    }

    fn forget_now_and_then(&self) {
        if self.tries.fetch_add(1, Ordering::Relaxed) % ROUND == ROUND - 1 {
            for limiter in [&self.account_here, &self.account, &self.address] {
                limiter.retain_recent();
                limiter.shrink_to_fit();
            }
        }
    }
}

fn within(limiter: &DefaultKeyedRateLimiter<u64>, key: u64) -> Result<(), Problem> {
    limiter.check_key(&key).map_err(|until| {
        let wait = until.wait_time_from(DefaultClock::default().now());
        Problem::too_many(wait.as_secs() + 1)
    })
}

/// The address itself; of IPv6 the network, since whoever has one address has all 2⁶⁴ of it (RFC 4291,
/// 2.5.1).
fn network(address: &str) -> String {
    match address.parse() {
        Ok(IpAddr::V6(address)) => Ipv6Addr::from_bits(address.to_bits() >> 64 << 64).to_string(),
        _ => address.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::problem::Kind;

    #[test]
    fn an_account_is_tried_twenty_times_from_one_place_and_still_opens_elsewhere() {
        let limits = Limits::default();
        let try_it = |account, address| limits.count("sign-in", Some(account), address);
        assert!((0..20).all(|_| try_it("marit@tidemill.example", "192.0.2.7").is_ok()));
        let refused = try_it("Marit@tidemill.example ", "192.0.2.7").unwrap_err();
        assert_eq!(refused.kind, Kind::TooMany);
        assert!(try_it("ilse@tidemill.example", "192.0.2.7").is_ok());
        assert!(try_it("marit@tidemill.example", "192.0.2.8").is_ok());
    }

    #[test]
    fn an_account_tried_from_many_places_is_closed_to_all_for_a_while() {
        let limits = Limits::default();
        let tries =
            (0..80).map(|n| limits.count("sign-in", Some("marit@tidemill.example"), &format!("192.0.2.{n}")));
        assert_eq!(tries.flatten().count(), 60);
    }

    #[test]
    fn an_address_that_tries_many_accounts_is_refused_with_the_whole_network_of_a_household() {
        let limits = Limits::default();
        let tries = (0..80).map(|n| {
            limits.count("sign-in", Some(&format!("{n}@tidemill.example")), &format!("2001:db8:0:7::{n:x}"))
        });
        assert_eq!(tries.flatten().count(), 60);
        assert!(limits.count("sign-in", None, "2001:db8:0:8::1").is_ok());
        assert!(limits.count("invitation", None, "2001:db8:0:7::1").is_ok());
    }
}
