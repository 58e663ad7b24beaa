//! What several judges make of the same samples: who stands before whom, whether the judges agree on it, and in words
//! what that shows and what it does not.

use crate::science::sensory::ranks::{Ranking, rank};
use crate::science::sensory::{NotEnough, TOO_FEW};

/// An order of samples that a panel gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Rank sums, agreement, and how likely it is by chance.
    pub ranking: Ranking,
    /// Pairs of samples that are told apart, the better first.
    pub apart: Vec<(usize, usize)>,
    /// Pairs that are not, the better first.
    pub together: Vec<(usize, usize)>,
}

impl Order {
    /// From one row a judge; small is first.
    pub fn of(rows: &[Vec<f64>]) -> Result<Self, NotEnough> {
        let ranking = rank(rows)?;
        let sums = &ranking.rank_sums;
        let mut by_rank: Vec<usize> = (0..sums.len()).collect();
        by_rank.sort_by(|one, other| sums[*one].total_cmp(&sums[*other]));
        let (mut apart, mut together) = (Vec::new(), Vec::new());
        for (at, better) in by_rank.iter().enumerate() {
            for worse in &by_rank[at + 1..] {
                let told = ranking.judges >= TOO_FEW && ranking.tells_apart(*better, *worse);
                if told { &mut apart } else { &mut together }.push((*better, *worse));
            }
        }
        Ok(Self { ranking, apart, together })
    }

    /// What it shows, sentence by sentence; `names` are those of the samples.
    pub fn says(&self, names: &[String]) -> Vec<String> {
        let Ranking { agreement, p, judges, .. } = self.ranking;
        if judges < TOO_FEW {
            return vec![too_few(judges)];
        }
        let agree = format!(
            "The tasters agree {} on the order (Kendall’s W {agreement:.2}, from 0 for no agreement to 1 for the same \
             order from everybody). If nobody saw a difference, so much agreement would come about {} (Friedman’s \
             test, ties counted).",
            how_well(agreement),
            chance(p)
        );
        if p > 0.05 {
            let not = format!(
                "These {judges} tasters did not tell any two of them apart: such differences come about by chance. Not \
                 told apart is not the same as alike; a larger panel may well find a difference."
            );
            return vec![not, agree];
        }
        let mut says = Vec::new();
        if self.apart.is_empty() {
            says.push(
                "The tasters lean to one order, but no two of them are far enough apart to be sure."
                    .to_owned(),
            );
        } else {
            let pairs =
                self.apart.iter().map(|(one, other)| format!("{} before {}", names[*one], names[*other]));
            says.push(format!("Told apart: {}.", pairs.collect::<Vec<_>>().join("; ")));
        }
        if !self.together.is_empty() {
            let pairs =
                self.together.iter().map(|(one, other)| format!("{} and {}", names[*one], names[*other]));
            let pairs = pairs.collect::<Vec<_>>().join("; ");
            says.push(format!("Not told apart: {pairs}. That is not the same as alike."));
        }
        says.push(agree);
        says
    }
}

/// "hardly", "a little", "fairly", "well", "strongly" (common practice, no source).
fn how_well(agreement: f64) -> &'static str {
    match agreement {
        w if w < 0.1 => "hardly",
        w if w < 0.3 => "a little",
        w if w < 0.5 => "fairly",
        w if w < 0.7 => "well",
        _ => "strongly",
    }
}

/// How often something comes about by chance, as people count: "in about 7 of 100 such tastings".
pub(super) fn chance(p: f64) -> String {
    match p {
        p if p < 0.001 => "in fewer than 1 of 1000 such tastings".to_owned(),
        p if p < 0.0095 => format!("in about {:.0} of 1000 such tastings", p * 1000.0),
        p if p > 0.995 => "in almost every such tasting".to_owned(),
        p => format!("in about {:.0} of 100 such tastings", p * 100.0),
    }
}

/// Fewer judges than that say nothing beyond their sheets.
pub(super) fn too_few(judges: u32) -> String {
    let sheets = if judges == 1 { "1 sheet".to_owned() } else { format!("{judges} sheets") };
    format!("{sheets}: fewer than {TOO_FEW} tasters are too few to say more than what each of them wrote.")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Vec<String> {
        ["Ash", "Birch", "Cedar", "Dogwood"].map(str::to_owned).into()
    }

    fn rows(text: &str) -> Vec<Vec<f64>> {
        text.split(',').map(|row| row.split(' ').map(|rank| rank.parse().unwrap()).collect()).collect()
    }

    #[test]
    fn an_order_that_the_panel_agrees_on_is_told_with_what_is_apart() {
        // Ten judges of which W 0.636, p 0.000263 and a least difference of 11.316 are known (science, ranks).
        let sheets = rows("1 2 4 3,2 1 4 3,1 3 4 2,1 2 3 4,2 1 4 3,1 3 4 2,1 2 4 3,2 3 4 1,1 2 4 3,1 4 3 2");
        let order = Order::of(&sheets).unwrap();
        assert_eq!(order.apart, [(0, 3), (0, 2), (1, 2), (3, 2)]);
        assert_eq!(order.together, [(0, 1), (1, 3)]);
        let says = order.says(&names());
        assert!(says[0].starts_with("Told apart: Ash before Dogwood; Ash before Cedar"), "{says:?}");
        assert!(says[1].contains("Ash and Birch") && says[1].contains("not the same as alike"), "{says:?}");
        assert!(says[2].contains("agree well on the order (Kendall’s W 0.64"), "{says:?}");
        assert!(says[2].contains("in fewer than 1 of 1000 such tastings"), "{says:?}");
    }

    #[test]
    fn a_panel_that_does_not_agree_tells_nothing_apart_and_does_not_say_alike() {
        let order = Order::of(&rows("1 2 3,3 2 1,2 3 1,1 3 2,3 1 2,2 1 3")).unwrap();
        assert!(order.apart.is_empty());
        let says = order.says(&names());
        assert!(says[0].contains("Not told apart is not the same as alike"), "{says:?}");
        assert!(says[1].contains("agree hardly") && says[1].contains("in almost every"), "{says:?}");
    }

    #[test]
    fn four_tasters_are_too_few_whatever_they_say() {
        let order = Order::of(&rows("1 2,1 2,1 2,1 2")).unwrap();
        assert!(order.apart.is_empty());
        let says = order.says(&names());
        assert!(
            says.len() == 1 && says[0].starts_with("4 sheets: fewer than 5 tasters are too few"),
            "{says:?}"
        );
    }

    #[test]
    fn chances_are_said_as_people_count() {
        assert_eq!(chance(0.0004), "in fewer than 1 of 1000 such tastings");
        assert_eq!(chance(0.0043), "in about 4 of 1000 such tastings");
        assert_eq!(chance(0.066), "in about 7 of 100 such tastings");
        assert_eq!(chance(1.0), "in almost every such tasting");
    }
}
