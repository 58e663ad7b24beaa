//! How strong a drink is, and how that is known.
//!
//! The drop of the gravity tells the strength only as long as nothing but the yeast changes the gravity. So readings
//! count from the last day on which something came into the must before its yeast; what comes in afterwards ends that
//! line:
//!
//! - Drink that rests, with drink that rests or with something without alcohol: computed from the parts, by mass and
//!   with the contraction of alcohol and water, where the strength of each is known. It is marked as computed, and no
//!   longer claimed when the gravity has dropped since, for then it has fermented again.
//! - Anything that comes into drink that works, or drink that works and comes into another: not known.
//! - Whey is never judged by its gravity: it holds salts and sugars that do not ferment.
//!
//! What leaves a batch does not change the strength of the rest. Supplies that bring less than 2 g of sugar to a
//! litre and less than a hundredth of the volume count as nothing: they are worth a tenth of a per cent at most.

use super::{Story, Used};
use crate::domain::batches::{Came, Progress, Stage};
use crate::domain::stock::{Item, ItemKind};
use crate::science::blend::{Part, blend};
use crate::science::{alcohol, dairy};
use crate::units::days::Day;
use crate::units::measure::Measured;
use crate::units::quantity::{BaseUnit, Milli};

/// How strong a drink is and how that is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Strength {
    /// % vol at 20 °C.
    pub vol_percent: f64,
    /// From what it was computed.
    pub basis: Basis,
    /// A warning to show with it.
    pub warning: Option<String>,
}

/// From what a strength was computed.
#[derive(Debug, Clone, PartialEq)]
pub enum Basis {
    /// The first and the last gravity: what is in it now, to ± 0.3 % vol.
    Gravities {
        /// Original gravity.
        first: f64,
        /// The last one read.
        last: f64,
    },
    /// The sugar of whey and what was added: what it reaches when it has fermented out.
    Whey {
        /// Litres of whey: milk less curd.
        whey_litres: f64,
        /// An enzyme split the lactose.
        split: bool,
        /// Grams of glucose from the lactose.
        natural_g: f64,
        /// Grams of hexose added.
        added_g: f64,
        /// Litres that hold them.
        litres: f64,
    },
    /// The sugar that was drawn into it: what it reaches when all of it has fermented.
    Sugars {
        /// Grams of hexose.
        added_g: f64,
        /// Litres that hold them.
        litres: f64,
    },
    /// What was put together last: litres and % vol. One part alone is drink as it came from another batch.
    Parts(Vec<(f64, f64)>),
}

impl Basis {
    /// As in the database and the API.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Gravities { .. } => "gravities",
            Self::Whey { .. } | Self::Sugars { .. } => "sugars",
            Self::Parts(_) => "parts",
        }
    }
}

/// Why the strength of a drink is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unknown {
    /// Two gravities have not been read, or they tell nothing.
    Readings,
    /// It was blended while something worked, or with drink of which the strength was not known.
    Blended,
    /// Supplies came into it after its yeast, while it worked or when its strength was not known.
    Added,
    /// Its gravity has dropped since it was blended or something was added.
    Again,
    /// Whey from another batch is in it.
    Whey,
}

impl Unknown {
    /// All reasons.
    pub const ALL: [Unknown; 5] = [Self::Readings, Self::Blended, Self::Added, Self::Again, Self::Whey];

    /// As in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Readings => "",
            Self::Blended => "blended",
            Self::Added => "added",
            Self::Again => "again",
            Self::Whey => "whey",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reason| reason.code() == code)
    }

    /// For people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Readings => {
                "Not known: it takes two gravities, one when the yeast was pitched and one when it was done."
            }
            Self::Blended => {
                "Not known: blended. The strength of a blend follows from its parts where they rested and the strength \
                 of each was known when they were put together."
            }
            Self::Added => {
                "Not known: something that changes the gravity came into it after its yeast, so the gravities before \
                 and after do not belong together."
            }
            Self::Again => {
                "Not known: its gravity has dropped since it was blended or something was added, so it has fermented \
                 again."
            }
            Self::Whey => {
                "Not known: whey from another batch is in it, and whey holds salts and sugars that do not ferment, so \
                 that gravity would mislead."
            }
        }
    }
}

/// Something that happened to a batch on the way to its strength.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    /// On which day.
    pub day: Day,
    /// What the batch held before.
    pub before: Milli,
    /// What happened.
    pub what: What,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum What {
    /// Yeast was pitched.
    Pitched,
    /// It was racked, or some of it bottled.
    Settled,
    /// Supplies without alcohol that change its gravity came in: so much volume.
    Added(Milli),
    /// Bottles of a drink were emptied into it.
    Poured,
    /// Drink came from another batch.
    Came(Milli, Came),
}

/// What supplies add to a drink of this volume, where they change its gravity: those that hold sugar, or have a
/// volume.
#[allow(clippy::cast_precision_loss, reason = "shares of a kilogram")]
pub fn added(supplies: &[(&Item, Milli)], before: Milli) -> Option<Milli> {
    let volume_of = |(item, quantity): &(&Item, Milli)| match (item.kind, item.unit) {
        (ItemKind::ByProduct, BaseUnit::Millilitre) => *quantity,
        _ => item.adds_volume(*quantity),
    };
    let volume: Milli = supplies.iter().map(volume_of).sum();
    let sugar_g: f64 = supplies
        .iter()
        .filter_map(|(item, quantity)| {
            let holds = item.sugar_mg_per_kg.unwrap_or(0) + item.lactose_mg_per_kg.unwrap_or(0);
            Some(item.grams(*quantity)?.0 * holds as f64 / 1e6)
        })
        .sum();
    let litres = before.base() / 1000.0;
    (sugar_g >= litres * SUGAR_THAT_COUNTS_G_L && sugar_g > 0.0 || volume.get() * 100 >= before.get().max(1))
        .then_some(volume)
}

/// Less sugar than this makes at most 0.12 % vol at the 16.83 g/L for 1 % vol that the European Union counts with.
const SUGAR_THAT_COUNTS_G_L: f64 = 2.0;

/// The first and the last of several gravities.
fn ends(read: &[f64]) -> Option<(f64, f64)> {
    if read.len() < 2 { None } else { Some((read[0], read[read.len() - 1])) }
}

/// A drop of the gravity since something came in that is more than readings differ (common practice, no source).
const FERMENTED_AGAIN_SG: f64 = 0.002;

/// What is known of the strength at a point of the story.
#[derive(Debug, Clone, PartialEq)]
enum Known {
    /// Nothing but the yeast changes the gravity, from this day on. Drink that was split off brings along the gravity
    /// it began with, and how strong it was.
    Line { from: Day, first: Option<f64>, strength: Option<f64> },
    /// Computed, on this day.
    Computed { since: Day, vol_percent: f64, parts: Vec<(f64, f64)> },
    /// Not known.
    Not(Unknown),
}

/// What has happened so far.
struct So {
    known: Known,
    filled: bool,
    pitched: bool,
    works: bool,
    /// The first and the last gravity of the line, when it ended.
    line: Option<(f64, f64)>,
}

impl Story {
    /// How strong the drink is, or will be, or why that is not known.
    pub fn strength(&self) -> Result<Strength, Unknown> {
        let came = self.turns.iter().any(|turn| matches!(turn.what, What::Came(..)));
        if self.dairy() && !came {
            return self.dairy_strength().ok_or(Unknown::Readings);
        }
        let so = self.told();
        match so.known {
            Known::Line { .. } | Known::Not(_) if self.dairy() => Err(Unknown::Whey),
            Known::Line { from, first, strength } => self.by_line(from, first, strength),
            Known::Computed { since, vol_percent, parts } => {
                let mut later =
                    self.gravities.iter().filter(|reading| reading.0 > since).map(|reading| reading.1);
                if let (Some(first), Some(last)) = (later.next(), later.next_back())
                    && first - last > FERMENTED_AGAIN_SG
                {
                    return Err(Unknown::Again);
                }
                let warning = Some("Computed, not measured.".to_owned());
                Ok(Strength { vol_percent, basis: Basis::Parts(parts), warning })
            }
            Known::Not(why) => Err(why),
        }
    }

    /// How strong it gets when all the sugar that was drawn into it has fermented, and the supplies that state no
    /// sugar, of which none is counted. Nothing where drink from elsewhere came in or it has no yeast yet. The volume
    /// is that of the must, with pomace or whey where they were in it.
    pub fn expected(&self) -> Option<(Strength, Vec<String>)> {
        let poured = self.turns.iter().any(|turn| matches!(turn.what, What::Came(..) | What::Poured));
        if poured || self.must <= Milli::ZERO {
            return None;
        }
        if self.dairy() {
            return self.dairy_strength().map(|strength| (strength, Vec::new()));
        }
        let (added_g, litres) = (self.grams_of(|item| item.sugar_mg_per_kg), self.must.base() / 1000.0);
        if added_g <= 0.0 {
            return None;
        }
        let found =
            alcohol::potential_vol_percent(added_g / litres, alcohol::DEFAULT_HEXOSE_PER_VOL_G_L).ok()?;
        let silent =
            |used: &&Used| used.item.kind == ItemKind::Ingredient && used.item.sugar_mg_per_kg.is_none();
        let silent = self.supplies.iter().filter(silent).map(|used| used.item.name.clone()).collect();
        let basis = Basis::Sugars { added_g, litres };
        Some((Strength { vol_percent: found.value, basis, warning: found.warning }, silent))
    }

    /// The galactose that split milk sugar left, g/L of the must: as much as of glucose; wine yeast takes little of
    /// it.
    pub fn galactose_g_l(&self) -> Option<f64> {
        match self.dairy_strength()?.basis {
            Basis::Whey { split: true, natural_g, litres, .. } if self.dairy() => Some(natural_g / litres),
            _ => None,
        }
    }

    /// What goes along with drink that is moved to another batch. The sugar of whey that still works has not become
    /// the alcohol it is counted for.
    pub fn passed_on(&self, progress: Progress) -> Came {
        let first = match self.told().known {
            Known::Line { from, first, .. } if !self.dairy() => {
                self.between(from, Day::MAX, first).first().copied()
            }
            _ => None,
        };
        let known = self.strength().ok().filter(|_| !self.dairy() || progress.stage >= Stage::Resting);
        Came {
            progress,
            first_gravity: first.and_then(Measured::from_number),
            strength: known.and_then(|known| Measured::from_number(known.vol_percent)),
        }
    }

    /// The first and the last gravity between which nothing but its yeast changed it.
    pub fn line(&self) -> Option<(f64, f64)> {
        let so = self.told();
        match so.known {
            Known::Line { from, first, .. } => ends(&self.between(from, Day::MAX, first)),
            _ => so.line,
        }
    }

    /// The readings of the days from one to another; where the first gravity came along, it is put before them.
    fn between(&self, from: Day, until: Day, first: Option<f64>) -> Vec<f64> {
        let counts = |reading: &&(Day, f64)| reading.0 >= from && reading.0 <= until;
        let own = self.gravities.iter().filter(counts).map(|reading| reading.1);
        first.into_iter().chain(own).collect()
    }

    fn by_line(&self, from: Day, first: Option<f64>, strength: Option<f64>) -> Result<Strength, Unknown> {
        let Some((first, last)) = ends(&self.between(from, Day::MAX, first)) else {
            let vol_percent = strength.ok_or(Unknown::Readings)?;
            let litres = self.moved_in.base() / 1000.0;
            return Ok(Strength {
                vol_percent,
                basis: Basis::Parts(vec![(litres, vol_percent)]),
                warning: None,
            });
        };
        let found = alcohol::strength_from_gravities(first, last).map_err(|_| Unknown::Readings)?;
        Ok(Strength {
            vol_percent: found.value.vol_percent,
            basis: Basis::Gravities { first, last },
            warning: found.warning,
        })
    }

    /// The story up to now.
    fn told(&self) -> So {
        let begin = Known::Line { from: Day::MIN, first: None, strength: None };
        let mut so = So { known: begin, filled: false, pitched: false, works: false, line: None };
        for turn in &self.turns {
            self.tell(&mut so, turn);
        }
        so
    }

    fn tell(&self, so: &mut So, turn: &Turn) {
        let (day, before) = (turn.day, turn.before);
        match turn.what {
            What::Pitched => {
                if matches!(so.known, Known::Computed { .. }) {
                    so.known = Known::Not(Unknown::Again);
                }
                (so.pitched, so.works) = (true, true);
            }
            What::Settled => so.works = false,
            What::Poured => (so.known, so.filled) = (Known::Not(Unknown::Blended), true),
            What::Added(volume) => {
                match so.known {
                    Known::Line { .. } if !so.pitched => {
                        so.known = Known::Line { from: day, first: None, strength: None };
                    }
                    _ => self.mix(so, day, (before, volume), Some(0.0), Unknown::Added),
                }
                so.filled = true;
            }
            What::Came(volume, drink) => {
                let fermented = drink.progress.pitched_on.is_some();
                let strength = drink.strength.map(Measured::number);
                let works = drink.progress.stage == Stage::Working;
                if !so.filled || before <= Milli::ZERO {
                    so.known = match (drink.first_gravity, strength) {
                        (Some(first), strength) => {
                            Known::Line { from: day, first: Some(first.number()), strength }
                        }
                        (None, Some(vol_percent)) => Known::Computed {
                            since: day,
                            vol_percent,
                            parts: vec![(volume.base() / 1000.0, vol_percent)],
                        },
                        (None, None) if fermented => Known::Not(Unknown::Blended),
                        (None, None) => Known::Line { from: day, first: None, strength: None },
                    };
                    (so.pitched, so.works) = (fermented, works);
                } else if !so.pitched && !fermented {
                    so.known = Known::Line { from: day, first: None, strength: None };
                } else {
                    so.works |= works;
                    let strength = if fermented { strength } else { Some(0.0) };
                    self.mix(so, day, (before, volume), strength, Unknown::Blended);
                    so.pitched |= fermented;
                }
                so.filled = true;
            }
        }
    }

    /// Something with so much alcohol comes into a drink.
    fn mix(&self, so: &mut So, day: Day, volumes: (Milli, Milli), strength: Option<f64>, otherwise: Unknown) {
        let own = match &so.known {
            _ if !so.pitched => Some(0.0),
            Known::Line { .. } if self.dairy() => None,
            Known::Line { from, first, strength } => {
                so.line = ends(&self.between(*from, day, *first));
                match so.line {
                    Some((first, last)) => alcohol::strength_from_gravities(first, last)
                        .ok()
                        .map(|found| found.value.vol_percent),
                    None => *strength,
                }
            }
            Known::Computed { vol_percent, .. } => Some(*vol_percent),
            Known::Not(_) => None,
        };
        let parts = own
            .zip(strength)
            .filter(|_| !so.works)
            .map(|(own, other)| vec![(volumes.0.base() / 1000.0, own), (volumes.1.base() / 1000.0, other)]);
        let blended = parts.and_then(|parts| {
            let part = |&(volume_l, vol_percent): &(f64, f64)| Part { volume_l, vol_percent };
            let found = blend(&parts.iter().map(part).collect::<Vec<_>>()).ok()?;
            Some((found.vol_percent, parts))
        });
        so.known = match (blended, &so.known) {
            (Some((vol_percent, parts)), _) => Known::Computed { since: day, vol_percent, parts },
            (None, Known::Not(why)) => Known::Not(*why),
            (None, _) => Known::Not(otherwise),
        };
    }

    /// The lactose route: whey is the milk less the curd; its lactose counts only if an enzyme split it, and then
    /// only its glucose; sugar that was added counts in full.
    fn dairy_strength(&self) -> Option<Strength> {
        let litres = if self.must > Milli::ZERO { self.must } else { self.left }.base() / 1000.0;
        if litres <= 0.0 {
            return None;
        }
        let whey_litres = self.whey_kg() / dairy::WHEY_KG_L;
        let split = self.supplies.iter().any(|used| used.item.splits_lactose);
        let hydrolysed = if split { dairy::DEFAULT_HYDROLYSED_FRACTION } else { 0.0 };
        let natural = dairy::natural_strength(
            dairy::DEFAULT_WHEY_LACTOSE_G_L,
            hydrolysed,
            dairy::GALACTOSE_FRACTION_FOR_STRENGTH,
            alcohol::DEFAULT_HEXOSE_PER_VOL_G_L,
        )
        .ok()?
        .value;
        let natural_g = natural.fermentable_g_l * whey_litres;
        let added_g = self.grams_of(|item| item.sugar_mg_per_kg);
        let found = alcohol::potential_vol_percent(
            (natural_g + added_g) / litres,
            alcohol::DEFAULT_HEXOSE_PER_VOL_G_L,
        )
        .ok()?;
        Some(Strength {
            vol_percent: found.value,
            basis: Basis::Whey { whey_litres, split, natural_g, added_g, litres },
            warning: found.warning,
        })
    }
}

#[cfg(test)]
mod tests;
