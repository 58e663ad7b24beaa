//! What a tasting shows, in the order in which `sensory.py` gives it.

use undercroft::science::sensory::choice::Test;
use undercroft::science::sensory::ranks::{follows, rank};
use undercroft::science::sensory::scores::{Trend, difference, mean, trend, trend_within};

use super::{Answer, pairs};

pub fn answer(formula: &str, x: &[f64]) -> Answer {
    Ok(match formula {
        "ranking" => {
            let found = rank(&rows(x, -1.0))?;
            let told = [found.corrected, found.p, found.agreement, found.least_difference];
            // The script ranks from the least mark up, the panel from the best down.
            let highest = f64::from(found.judges) * 6.0;
            told.into_iter().chain(found.rank_sums.iter().map(|sum| highest - sum)).collect()
        }
        "page" => {
            let (l, p) = follows(&rows(x, 1.0), &[0, 1, 2, 3, 4])?;
            vec![l, p]
        }
        "choice" => {
            let test = if x[0] < 0.5 {
                Test::Triangle
            } else if x[0] < 1.5 {
                Test::DuoTrio
            } else if x[0] < 2.5 {
                Test::PairedDirected
            } else {
                Test::PairedOpen
            };
            let found = test.outcome(whole(x[1]), whole(x[2]));
            let (share, interval) = found.discriminators;
            vec![found.p, f64::from(found.needed.unwrap_or(0)), share, interval.low, interval.high]
        }
        "means" => {
            let one = mean(&x[..8])?;
            let both: Vec<(f64, f64)> = x[..8].iter().copied().zip(x[8..].iter().copied()).collect();
            let apart = difference(&both)?;
            let (own, between) =
                (one.interval.expect("eight marks"), apart.mean.interval.expect("eight pairs"));
            let deviation = one.deviation.expect("eight marks");
            vec![one.mean, deviation, own.low, own.high, apart.t, apart.p, between.low, between.high]
        }
        "trend" => line(&trend(&pairs(x).collect::<Vec<_>>())?),
        "trend_within" => {
            let points: Vec<(f64, f64)> = pairs(x).collect();
            line(&trend_within(&points.chunks(3).map(<[_]>::to_vec).collect::<Vec<_>>())?)
        }
        _ => panic!("the script asks for {formula}, which is not known here"),
    })
}

/// The first number says how many judges; the best mark is ranked first if the marks are turned round.
fn rows(x: &[f64], sign: f64) -> Vec<Vec<f64>> {
    x[1..].chunks(5).map(|row| row.iter().map(|mark| sign * mark).collect()).collect()
}

fn line(found: &Trend) -> Vec<f64> {
    let (slope, interval) = found.slope;
    vec![slope, interval.low, interval.high, found.start, found.p]
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small whole numbers of the script"
)]
fn whole(x: f64) -> u32 {
    x as u32
}
