//! What there is, as a liquid: milk becomes whey, fruit is pressed, honey is dissolved.

use super::super::milk::milk;
use super::super::{Given, Unfit};
use super::{must_kg_l, whey_kg_l, with_sugar};
use crate::science::alcohol::{self, HEXOSE_PER_DISACCHARIDE};
use crate::science::dairy::{self, Milk};
use crate::science::range::VOLUME_L;
use crate::science::{OutOfRange, Range, root, sugar};
use crate::units::dimension::Amount;

/// What a drink is made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Base {
    /// Milk, of which the whey is used.
    Milk(Milk),
    /// Honey, dissolved in water.
    Honey,
    /// Juice.
    Juice,
    /// Fruit, to be pressed.
    Fruit,
    /// Water, for plain sugar.
    Water,
}

impl Base {
    /// From its code in a form.
    pub fn from_code(code: &str) -> Self {
        match code {
            "honey" => Self::Honey,
            "juice" => Self::Juice,
            "fruit" => Self::Fruit,
            "sugar" => Self::Water,
            of => Self::Milk(milk(of)),
        }
    }

    /// Whether it is milk.
    pub const fn is_milk(self) -> bool {
        matches!(self, Self::Milk(_))
    }
}

/// What was asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// What it is made from.
    pub base: Base,
    /// How much of it.
    pub amount: Amount,
    /// Water that honey or fruit goes into, L.
    pub water_l: Option<f64>,
    /// Strength wanted, % vol.
    pub goal_vol_percent: f64,
    /// Of the missing strength, the share that boiling brings in the mix.
    pub share_boiled: f64,
    /// Sugar of juice, as g/L of sucrose.
    pub juice_g_l: f64,
    /// Sugar of fruit or honey that ferments, as hexose, g/kg.
    pub sugar_g_kg: f64,
    /// Juice from a kilogram of fruit, L.
    pub juice_l_kg: f64,
    /// Lactose of the whey, g/L.
    pub lactose_g_l: f64,
    /// Share of it that is split.
    pub split: f64,
    /// Share of galactose that ferments.
    pub galactose: f64,
    /// Moisture of the curd.
    pub moisture: f64,
    /// Sugar for one per cent of alcohol, as hexose.
    pub hexose_per_vol_g_l: f64,
    /// Height above the sea.
    pub altitude_m: f64,
    /// Power of the stove.
    pub power_w: f64,
    /// The share of it that arrives.
    pub efficiency: f64,
    /// Temperature before boiling.
    pub from_c: f64,
    /// What a bottle holds, L.
    pub bottle_l: f64,
    /// Share lost to lees and racking.
    pub loss: f64,
    /// Strength of the rennet, IMCU/mL.
    pub rennet_imcu_ml: f64,
    /// Lactase for each litre of whey, mL.
    pub lactase_ml_l: f64,
}

const SHARE: Range = Range::new("share", "%", 0.0, 100.0);
const GOAL: Range = Range::new("strength wanted", "% vol", 0.5, 20.0)
    .advice("Few yeasts go beyond 16 to 18 % vol; a drink begins at 0.5.");
const BOTTLE: Range = Range::new("what a bottle holds", "mL", 50.0, 60_000.0);
const LOSS: Range = Range::new("loss to lees and racking", "%", 0.0, 50.0);
const LACTASE: Range = Range::new("dose of lactase", "mL/L", 0.0, 100.0);
const RENNET: Range = Range::new("strength of the rennet", "IMCU/mL", 10.0, 5000.0);
const SUGAR_G_KG: Range = Range::new("sugar", "g/kg", 0.0, 1000.0);
const JUICE: Range = Range::new("juice from fruit", "%", 20.0, 95.0);

/// Where lactase works without the whey spoiling, and the pH of sweet whey.
pub const LACTASE_C: f64 = 5.0;
const LACTASE_PH: f64 = 6.5;
/// Density of honey, kg/L, and of pressed fruit's juice where nothing better is known (from memory).
const HONEY_KG_L: f64 = 1.42;
/// Dry matter of honey, of which not all is sugar (from memory: 17 to 20 % is water).
const HONEY_DRY: f64 = 0.82;

impl Ask {
    /// From what was given.
    pub fn of(given: &Given) -> Result<Self, Unfit> {
        let base = Base::from_code(given.choice("base"));
        let amount = given
            .amount("amount")
            .ok_or_else(|| Unfit::field("amount", "Write how much there is, such as 60 L, or 20 kg"))?;
        let (Amount::Litres(size) | Amount::Kilograms(size)) = amount;
        Range::new("amount", "L or kg", 0.01, 100_000.0).check(size)?;
        let share = |name: &str| Ok::<f64, OutOfRange>(SHARE.check(given.number(name))? / 100.0);
        let usual_sugar = match base {
            Base::Honey => 785.0,
            _ => 100.0,
        };
        let lactose = match base {
            Base::Milk(milk) => milk.whey_lactose_g_l(),
            _ => 0.0,
        };
        let juice_g_l = match (base, given.has("sugar")) {
            (Base::Juice, true) => given.sugar("sugar").g_l()?.value,
            (Base::Juice, false) => {
                return Err(Unfit::field("sugar", "Write what the juice shows, such as 1.050, or 12.4 °Bx"));
            }
            _ => 0.0,
        };
        Ok(Self {
            base,
            amount,
            water_l: given.optional("water").map(|water| VOLUME_L.check(water)).transpose()?,
            goal_vol_percent: GOAL.check(given.number("goal"))?,
            share_boiled: share("share_boiled")?,
            juice_g_l: Range::new("sugar of the juice", "g/L", 0.0, 600.0).check(juice_g_l)?,
            sugar_g_kg: SUGAR_G_KG.check(given.optional("sugar_per_kg").unwrap_or(usual_sugar))?,
            juice_l_kg: JUICE.check(given.number("juice_yield"))? / 100.0,
            lactose_g_l: dairy::LACTOSE_G_L.check(given.optional("lactose").unwrap_or(lactose))?,
            split: share("split")?,
            galactose: share("galactose")?,
            moisture: given.number("moisture") / 100.0,
            hexose_per_vol_g_l: alcohol::HEXOSE_PER_VOL_G_L.check(given.number("sugar_per_vol"))?,
            altitude_m: crate::science::heat::ALTITUDE_M.check(given.number("altitude"))?,
            power_w: crate::science::heat::POWER_W.check(given.number("power"))?,
            efficiency: crate::science::heat::EFFICIENCY.check(given.number("efficiency") / 100.0)?,
            from_c: Range::new("temperature now", "°C", 0.0, 70.0).check(given.number("from"))?,
            bottle_l: BOTTLE.check(given.number("bottle"))? / 1000.0,
            loss: LOSS.check(given.number("loss"))? / 100.0,
            rennet_imcu_ml: RENNET.check(given.number("rennet_strength"))?,
            lactase_ml_l: LACTASE.check(given.number("lactase_dose"))?,
        })
    }

    fn litres(&self, kg_l: f64) -> f64 {
        match self.amount {
            Amount::Litres(litres) => litres,
            Amount::Kilograms(kg) => kg / kg_l,
        }
    }

    fn kilograms(&self, kg_l: f64) -> f64 {
        match self.amount {
            Amount::Litres(litres) => litres * kg_l,
            Amount::Kilograms(kg) => kg,
        }
    }

    /// Milk in litres; of anything else, nothing.
    pub fn milk_l(&self) -> f64 {
        match self.base {
            Base::Milk(milk) => self.litres(milk.kg_l()),
            _ => 0.0,
        }
    }

    /// Rennet for the milk, mL, at the usual dose.
    pub fn rennet_ml(&self) -> f64 {
        dairy::DEFAULT_RENNET_IMCU_L * self.milk_l() / self.rennet_imcu_ml
    }

    /// Hours that the lactase needs in the cold, at least; none where it does not get there.
    pub fn lactase_hours(&self) -> Option<f64> {
        let wanted = self.split.min(0.999);
        let label = dairy::DEFAULT_LACTASE;
        dairy::lactase_hours(&label, self.lactase_ml_l, LACTASE_C, LACTASE_PH, wanted)
            .ok()
            .map(|hours| hours.value)
    }

    /// Curd and whey of the milk.
    pub fn curd(&self) -> Result<Option<dairy::Curd>, OutOfRange> {
        let Base::Milk(milk) = self.base else { return Ok(None) };
        let food = milk.composition();
        let curd =
            dairy::curd_and_whey(self.milk_l(), milk.kg_l(), food.fat, milk.casein_percent(), self.moisture)?;
        Ok(Some(curd.value))
    }

    /// The base, ready to be made into a must.
    pub fn liquid(&self) -> Result<Liquid, Unfit> {
        Ok(match self.base {
            Base::Milk(_) => {
                let whey = self.curd()?.map_or(0.0, |curd| curd.whey_l);
                let sugars = dairy::hydrolysed(self.lactose_g_l, self.split)?;
                Liquid {
                    litres: whey,
                    kg_l: dairy::WHEY_KG_L,
                    hexose_g_l: sugars.glucose + sugars.galactose * self.galactose,
                    left_g_l: sugars.lactose + sugars.galactose * (1.0 - self.galactose),
                    times: 1.0,
                    dairy: true,
                    known_to: 0.15,
                }
            }
            Base::Juice => {
                let none = JUICE_NOT_SUGAR_G_L.min(self.juice_g_l);
                Liquid {
                    litres: self.litres(must_kg_l(self.juice_g_l)?),
                    kg_l: must_kg_l(self.juice_g_l)?,
                    hexose_g_l: (self.juice_g_l - none) * HEXOSE_PER_DISACCHARIDE,
                    left_g_l: 0.0,
                    times: 1.0,
                    dairy: false,
                    known_to: 0.05,
                }
            }
            Base::Fruit => {
                let kg = self.kilograms(1.0);
                let juice = kg * self.juice_l_kg;
                let sugar = kg * self.sugar_g_kg * self.juice_l_kg;
                Liquid::must(juice + self.water_l.unwrap_or(0.0), sugar, 0.10)?
            }
            Base::Honey => {
                let kg = self.kilograms(HONEY_KG_L);
                let (own, dry) = (kg * (1.0 - HONEY_DRY), kg * HONEY_DRY);
                let water = match self.water_l {
                    Some(water) => water,
                    None => self.water_for_honey(kg)?,
                };
                if water < 0.4 * kg {
                    return Err(Unfit::field(
                        "water",
                        "So little water makes no must: take at least half a litre for each kg of honey",
                    ));
                }
                let (litres, kg_l) = with_sugar(own + water, 0.9982, dry)?;
                Liquid {
                    litres,
                    kg_l,
                    hexose_g_l: kg * self.sugar_g_kg / litres,
                    left_g_l: 0.0,
                    times: 1.0,
                    dairy: false,
                    known_to: 0.03,
                }
            }
            Base::Water => Liquid {
                litres: self.litres(0.9982),
                kg_l: 0.9982,
                hexose_g_l: 0.0,
                left_g_l: 0.0,
                times: 1.0,
                dairy: false,
                known_to: 0.0,
            },
        })
    }

    /// Water that honey or fruit goes into, L.
    pub fn water(&self) -> Option<f64> {
        match self.base {
            Base::Honey => self.water_l.or_else(|| self.water_for_honey(self.kilograms(HONEY_KG_L)).ok()),
            _ => self.water_l,
        }
    }

    /// Water for honey where nobody says: what the goal needs.
    fn water_for_honey(&self, kg: f64) -> Result<f64, Unfit> {
        let wanted_l = kg * self.sugar_g_kg / (self.goal_vol_percent * self.hexose_per_vol_g_l);
        let (own, dry) = (kg * (1.0 - HONEY_DRY), kg * HONEY_DRY);
        let litres = |water: f64| with_sugar(own + water, 0.9982, dry).map_or(f64::NAN, |then| then.0);
        root::find(0.5 * kg, 0.5 * kg + wanted_l, |water| litres(water) - wanted_l).map_err(|_| {
            Unfit::field("goal", "This honey does not reach such a strength: choose a weaker goal")
        })
    }
}

/// What of a juice's extract is no sugar (an old rule for grape and fruit must, from memory).
const JUICE_NOT_SUGAR_G_L: f64 = 25.0;

/// A liquid on its way to a must.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Liquid {
    /// Volume.
    pub litres: f64,
    /// Density, kg/L.
    pub kg_l: f64,
    /// Sugar that ferments, as hexose, g/L.
    pub hexose_g_l: f64,
    /// Sugar that stays, g/L.
    pub left_g_l: f64,
    /// How many times it was boiled down.
    pub times: f64,
    /// It comes from milk.
    pub dairy: bool,
    /// How well its sugar is known: half the width, as a share (common practice, no source).
    pub known_to: f64,
}

impl Liquid {
    fn must(litres: f64, hexose_g: f64, known_to: f64) -> Result<Self, OutOfRange> {
        let hexose_g_l = if litres > 0.0 { hexose_g / litres } else { 0.0 };
        let kg_l = must_kg_l(hexose_g_l / HEXOSE_PER_DISACCHARIDE)?;
        Ok(Self { litres, kg_l, hexose_g_l, left_g_l: 0.0, times: 1.0, dairy: false, known_to })
    }

    /// Its gravity.
    pub fn sg(&self) -> f64 {
        self.kg_l * 1000.0 / sugar::WATER_20_KG_M3
    }

    /// The same with so much cane sugar dissolved in it.
    pub fn sweetened(self, sugar_kg: f64) -> Result<Self, OutOfRange> {
        let (litres, kg_l) = with_sugar(self.litres, self.kg_l, sugar_kg)?;
        let added_g = 1000.0 * sugar_kg * HEXOSE_PER_DISACCHARIDE;
        Ok(Self {
            litres,
            kg_l,
            hexose_g_l: (self.hexose_g_l * self.litres + added_g) / litres,
            left_g_l: self.left_g_l * self.litres / litres,
            ..self
        })
    }

    /// The same with so much water in it.
    pub fn watered(self, water_l: f64) -> Result<Self, OutOfRange> {
        let kg = self.litres * self.kg_l + VOLUME_L.check(water_l)? * 0.9982;
        // What is dissolved takes the same room as before: volumes of watery liquids add up to a part in a thousand.
        let litres = self.litres + water_l;
        let thinner = self.litres / litres;
        Ok(Self {
            litres,
            kg_l: kg / litres,
            hexose_g_l: self.hexose_g_l * thinner,
            left_g_l: self.left_g_l * thinner,
            ..self
        })
    }

    /// The same boiled down so many times.
    pub fn boiled_down(self, times: f64) -> Result<Self, OutOfRange> {
        let litres = self.litres / dairy::FOLD.check(times)?;
        let kg_l = if self.dairy {
            whey_kg_l(self.times * times)?
        } else {
            let sucrose = (self.hexose_g_l + self.left_g_l) / HEXOSE_PER_DISACCHARIDE;
            let other = sugar::sugar_g_l_from_sg(self.sg())?.value - sucrose;
            must_kg_l((sucrose + other.max(0.0)) * times)?
        };
        Ok(Self {
            litres,
            kg_l,
            hexose_g_l: self.hexose_g_l * times,
            left_g_l: self.left_g_l * times,
            times: self.times * times,
            ..self
        })
    }

    /// The volume it becomes once its sugar has fermented to a strength: less the mass of the gas, at the density of
    /// what is left with its alcohol (Tabarié's rule, OIML R 22), so with the contraction of alcohol and water.
    pub fn drink_litres(&self, vol_percent: f64) -> Result<f64, OutOfRange> {
        let ethanol_kg = alcohol::ethanol_g_l(vol_percent.min(100.0))? * self.litres / 1000.0;
        let gas_kg = ethanol_kg * alcohol::CO2_PER_HEXOSE / alcohol::ETHANOL_PER_HEXOSE;
        let kg = self.litres * self.kg_l - gas_kg;
        let dissolved_g = (sugar::sugar_g_l_from_sg(self.sg())?.value * self.litres
            - self.hexose_g_l * self.litres / HEXOSE_PER_DISACCHARIDE)
            .max(0.0);
        let mut litres = self.litres;
        for _ in 0..4 {
            let extract = sugar::sg_from_sugar_g_l((dissolved_g / litres).min(1000.0))?.value;
            let strength = (vol_percent * self.litres / litres).min(100.0);
            let mass = alcohol::mass_from_vol_percent(strength)?;
            let spirit = alcohol::mixture_density_kg_m3(mass, 20.0)? / sugar::WATER_20_KG_M3;
            litres = kg / ((extract + spirit - 1.0) * sugar::WATER_20_KG_M3 / 1000.0);
        }
        Ok(litres)
    }
}
