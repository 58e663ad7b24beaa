//! What came of choosing one glass: how many named the right one, and in words what that shows and what it does not.

use super::panel::{chance, too_few};
use super::{Method, Table};
use crate::science::sensory::choice::{Outcome, Test};
use crate::science::sensory::{ENOUGH_FOR_DIFFERENCE, TOO_FEW};
use crate::units::ids::MemberId;

/// What was chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// Which test it is.
    pub test: Test,
    /// What the numbers show.
    pub outcome: Outcome,
    /// Who chose which code, and whether that is right; none where a pair has no right answer.
    pub who: Vec<(MemberId, String, u16, Option<bool>)>,
    /// How often each sample was chosen, in the order of the samples.
    pub by_sample: Vec<u32>,
}

impl Chosen {
    /// From the codes that were chosen.
    pub(super) fn of(table: &Table, chosen: &[(MemberId, String, u16)]) -> Self {
        let test = match (table.tasting.method, table.tasting.expected) {
            (Method::Triangle, _) => Test::Triangle,
            (Method::DuoTrio, _) => Test::DuoTrio,
            (_, Some(_)) => Test::PairedDirected,
            (_, None) => Test::PairedOpen,
        };
        let sample_of = |code: u16| {
            let glass = table.glass(code)?;
            table.samples.iter().position(|sample| sample.id == glass.sample)
        };
        let mut by_sample = vec![0; table.samples.len()];
        let mut who = Vec::new();
        for (member, name, code) in chosen {
            let sample = sample_of(*code);
            if let Some(count) = sample.and_then(|sample| by_sample.get_mut(sample)) {
                *count += 1;
            }
            let right = match test {
                Test::Triangle => Some(is_odd(table, *member, *code)),
                Test::DuoTrio => Some(sample == Some(0)),
                Test::PairedDirected => {
                    Some(sample.and_then(|at| u32::try_from(at + 1).ok()) == table.tasting.expected)
                }
                Test::PairedOpen => None,
            };
            who.push((*member, name.clone(), *code, right));
        }
        let of = u32::try_from(who.len()).unwrap_or(u32::MAX);
        let named = match test {
            Test::PairedOpen => by_sample.iter().copied().max().unwrap_or_default(),
            _ => u32::try_from(who.iter().filter(|one| one.3 == Some(true)).count()).unwrap_or(u32::MAX),
        };
        Self { test, outcome: test.outcome(named, of), who, by_sample }
    }

    /// What it shows, sentence by sentence.
    pub(super) fn says(&self, table: &Table) -> Vec<String> {
        let Outcome { chosen, of, p, needed, discriminators } = self.outcome;
        if of < TOO_FEW {
            return vec![too_few(of)];
        }
        let what = self.what(table);
        let expected = f64::from(of) * self.test.chance();
        let mut says = vec![match self.test {
            Test::PairedOpen => format!(
                "{chosen} of {of} {what}. If nobody had a preference, a split so uneven or more would come about {}.",
                chance(p)
            ),
            _ => format!(
                "{chosen} of {of} {what}. By guessing alone it would be about {expected:.0}; so many or more \
                 would come about {} (exact binomial test).",
                chance(p)
            ),
        }];
        let (one, other) = (table.samples[0].name(), table.samples[1].name());
        if p <= 0.05 {
            says.push(match self.test {
                Test::Triangle | Test::DuoTrio => {
                    format!("So {one} and {other} can be told apart. It does not say which is better, nor in what.")
                }
                Test::PairedDirected => format!(
                    "So the panel names {} beyond chance.",
                    if table.tasting.expected == Some(1) { &one } else { &other }
                ),
                Test::PairedOpen => format!(
                    "So this panel prefers {} when it is asked: “{}”",
                    if self.by_sample[0] > self.by_sample[1] { &one } else { &other },
                    table.tasting.question
                ),
            });
        } else {
            let needed = needed.map_or_else(
                || format!("With {of} tasters not even all of them would be enough"),
                |needed| format!("{needed} of {of} would be enough"),
            );
            says.push(format!(
                "{needed} to say that it is more than chance. {one} and {other} were not told apart; that is not the \
                 same as alike."
            ));
        }
        if self.test != Test::PairedOpen {
            let (share, interval) = discriminators;
            says.push(format!(
                "About {:.0} % of such tasters really tell them apart and the rest guess; the share may be anything \
                 from {:.0} to {:.0} % (95 % interval).",
                share * 100.0,
                interval.low * 100.0,
                interval.high * 100.0
            ));
        }
        if of < ENOUGH_FOR_DIFFERENCE {
            says.push(format!(
                "About {ENOUGH_FOR_DIFFERENCE} to 30 tasters are asked for in such a test (from memory of the \
                 standards): with {of} a difference that many could taste may go unnoticed."
            ));
        }
        says
    }

    /// "named the odd glass".
    fn what(&self, table: &Table) -> String {
        match self.test {
            Test::Triangle => "named the odd glass".to_owned(),
            Test::DuoTrio => "named the glass that is like the known one".to_owned(),
            Test::PairedDirected => {
                let at = usize::from(table.tasting.expected == Some(2));
                format!("named {}", table.samples[at].name())
            }
            Test::PairedOpen => {
                let at = usize::from(self.by_sample[1] > self.by_sample[0]);
                format!("named {}", table.samples[at].name())
            }
        }
    }
}

/// Whether a glass holds what no other glass before this taster holds.
fn is_odd(table: &Table, member: MemberId, code: u16) -> bool {
    let holds = |code: u16| table.glass(code).map(|glass| glass.sample);
    let Some(seat) = table.seat(member) else { return false };
    seat.serving.iter().filter(|other| holds(**other) == holds(code)).count() == 1
}

#[cfg(test)]
mod tests {
    use super::super::tests::begun;
    use super::*;

    /// So many of the tasters choose one code, the others another.
    fn chosen(table: &Table, right: usize, codes: [u16; 2]) -> Chosen {
        let said: Vec<_> = table
            .seats
            .iter()
            .enumerate()
            .map(|(at, seat)| (seat.member, seat.name.clone(), codes[usize::from(at >= right)]))
            .collect();
        Chosen::of(table, &said)
    }

    #[test]
    fn a_triangle_is_right_where_the_odd_glass_was_named() {
        // 8 of 12 by guessing: p 0.0188, least number 8 (ISO 4120, science).
        let mut table = begun(Method::Triangle, 2, 12);
        table.seats[0].serving = vec![203, 201, 204];
        let told = chosen(&table, 8, [203, 201]);
        assert_eq!(told.outcome.chosen, 7, "before the first taster 201 is the odd one");
        table.seats[0].serving = vec![201, 202, 203];
        let told = chosen(&table, 8, [203, 201]);
        assert_eq!((told.outcome.chosen, told.outcome.of), (8, 12));
        let says = told.says(&table);
        assert!(
            says[0].starts_with("8 of 12 named the odd glass. By guessing alone it would be about 4;"),
            "{says:?}"
        );
        assert!(says[0].contains("in about 2 of 100 such tastings"), "{says:?}");
        assert!(says[1].contains("can be told apart. It does not say which is better"), "{says:?}");
        assert!(says[2].starts_with("About 50 % of such tasters"), "{says:?}");
        assert!(says[3].contains("with 12 a difference"), "{says:?}");
    }

    #[test]
    fn what_was_not_told_apart_is_never_called_alike() {
        let table = begun(Method::Triangle, 2, 12);
        let says = chosen(&table, 7, [203, 201]).says(&table);
        assert!(says[1].starts_with("8 of 12 would be enough"), "{says:?}");
        assert!(says[1].contains("were not told apart; that is not the same as alike"), "{says:?}");
    }

    #[test]
    fn four_answers_show_nothing_even_if_all_are_right() {
        let table = begun(Method::DuoTrio, 2, 4);
        let says = chosen(&table, 4, [201, 202]).says(&table);
        assert!(says.len() == 1 && says[0].starts_with("4 sheets: fewer than 5"), "{says:?}");
    }

    #[test]
    fn a_pair_has_a_right_answer_only_where_one_was_expected() {
        let mut table = begun(Method::Paired, 2, 30);
        let open = chosen(&table, 21, [202, 201]);
        // 21 of 30: two-sided 0.0427739, one-sided 0.0213870 (science).
        assert!((open.outcome.p - 0.042_773_9).abs() < 1e-6 && open.who[0].3.is_none());
        assert!(
            open.says(&table)[0].starts_with("21 of 30 named Moor Mead, 2-1. If nobody had a preference")
        );
        table.tasting.expected = Some(2);
        let directed = chosen(&table, 21, [202, 201]);
        assert!((directed.outcome.p - 0.021_387_0).abs() < 1e-6 && directed.who[0].3 == Some(true));
        assert!(directed.says(&table)[1].contains("names Moor Mead, 2-1 beyond chance"));
    }
}
