//! Every formula under wild input: whatever it is given, it answers with finite numbers or refuses in
//! words. It never panics.

use super::checks::Draw;
use super::*;
use std::collections::BTreeMap;
use std::fmt::{Debug, Display};

/// Numbers as a careless caller sends them: mostly plausible, often not, sometimes no numbers at all.
struct Wild(Draw);

impl Wild {
    fn number(&mut self) -> f64 {
        const ODD: [f64; 12] = [
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::MAX,
            f64::MIN,
            f64::MIN_POSITIVE,
            -f64::MIN_POSITIVE,
            f64::EPSILON,
            -0.0,
            0.0,
            1.0,
            1e-300,
        ];
        match self.0.index(16) {
            0 => ODD[self.0.index(12) as usize],
            1 => self.0.between(-1.0, 1.0) * 10.0_f64.powf(self.0.between(-12.0, 300.0)),
            2 => self.0.between(-100.0, 0.0),
            3 => self.0.between(0.0, 1000.0),
            4 => self.0.between(0.0, 100.0).round(),
            5 | 6 => self.0.between(0.0, 4.5),
            7..=10 => self.0.between(0.98, 1.12),
            11..=13 => self.0.between(0.0, 40.0),
            _ => self.0.between(0.0, 1.0),
        }
    }

    fn numbers<const N: usize>(&mut self) -> [f64; N] {
        std::array::from_fn(|_| self.number())
    }

    fn list<T>(&mut self, make: impl Fn(&mut Self) -> T) -> Vec<T> {
        (0..self.0.index(9)).map(|_| make(self)).collect()
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        let at = self.0.index(u32::try_from(of.len()).expect("short lists only"));
        of[at as usize]
    }
}

/// How often each formula answered and refused.
#[derive(Default)]
struct Tally(BTreeMap<&'static str, (u32, u32)>);

impl Tally {
    #[track_caller]
    fn note<T: Debug, E: Display>(&mut self, name: &'static str, result: Result<T, E>) {
        let counts = self.0.entry(name).or_default();
        match result {
            Ok(value) => {
                let text = format!("{value:?}");
                let odd = ["NaN", " inf", "(inf", "-inf"].iter().any(|odd| text.contains(odd));
                assert!(!odd && text != "inf", "{name} answers {text}");
                counts.0 += 1;
            }
            Err(refused) => {
                assert!(refused.to_string().len() > 20, "{name} refuses without a reason");
                counts.1 += 1;
            }
        }
    }
}

/// Notes what each formula makes of as many wild numbers as it takes.
macro_rules! try_all {
    ($tally:ident, $wild:ident: $($path:path[$($n:ident)*]),* $(,)?) => {$({
        let [$($n),*] = $wild.numbers();
        $tally.note(stringify!($path), $path($($n),*));
    })*};
}

fn sugar_and_alcohol(tally: &mut Tally, wild: &mut Wild) {
    try_all!(tally, wild:
        sugar::density_kg_m3[a], sugar::sg_from_brix[a], sugar::brix_from_sg[a],
        sugar::sugar_g_l_from_brix[a], sugar::brix_from_sugar_g_l[a], sugar::sugar_g_l_from_sg[a],
        sugar::sg_from_sugar_g_l[a], sugar::must_sugar_g_l[a b], sugar::water_density_kg_m3[a],
        sugar::hydrometer_at[a b c], sugar::hydrometer_brix_at[a b c], sugar::refractive_index[a],
        sugar::brix_from_refractive_index[a], sugar::refractometer_at[a b],
        alcohol::mixture_density_kg_m3[a b], alcohol::vol_from_mass_percent[a],
        alcohol::vol_from_mass_percent_at[a b], alcohol::mass_from_vol_percent[a],
        alcohol::ethanol_g_l[a], alcohol::strength_from_gravities[a b],
        alcohol::co2_from_gravities_g_l[a b], alcohol::balling_vol_percent[a b],
        alcohol::tabarie_extract_g_l[a b], alcohol::hexose_g[a], alcohol::disaccharide_g[a],
    );
    let ([a], factor) = (wild.numbers(), wild.0.between(14.0, 19.0));
    tally.note("potential", alcohol::potential_vol_percent(a, factor));
    tally.note("hexose for", alcohol::hexose_for_g_l(a, factor));
}

fn milk(tally: &mut Tally, wild: &mut Wild) {
    try_all!(tally, wild:
        dairy::hydrolysed[a b], dairy::evaporated_kg[a b c], dairy::concentrated_g_l[a b c],
        dairy::curd_kg_per_100_kg[a b c], dairy::curd_and_whey[a b c d e], dairy::clotting_minutes[a b c],
        dairy::lactase_rate_to_31_c[a],
    );
    let ([a, b, c], factor) = (wild.numbers(), wild.0.between(14.0, 19.0));
    tally.note("natural strength", dairy::natural_strength(a, b, c, factor));
    tally.note("lactose for strength", dairy::lactose_for_strength_g_l(a, b, c, factor));
    let [a, b, c] = wild.numbers();
    tally.note("rennet", dairy::rennet_ml(a, wild.0.between(0.0, 250.0), b.abs() * 100.0, c));
    let kind = wild.one(&[dairy::LactaseKind::Neutral, dairy::LactaseKind::Acid]);
    let [dose, hours, temperature_c, a, b, c] = wild.numbers();
    let fraction = wild.0.between(-0.1, 1.1);
    let label = dairy::Lactase { kind, dose, hours, temperature_c, fraction };
    let ph = wild.0.between(3.0, 8.0);
    tally.note("lactase hours", dairy::lactase_hours(&label, a, b, ph, c));
    tally.note("lactase share", dairy::lactase_fraction(&label, a, b, ph, c));
}

fn warmth(tally: &mut Tally, wild: &mut Wild) {
    try_all!(tally, wild:
        heat::boiling_point_c[a], heat::latent_heat_kj_kg[a], heat::water_heat_kj_kg[a b],
        heat::warming_kj[a b c d], pasteur::pasteurisation_units[a b],
    );
    let [a, b, power] = wild.numbers();
    tally.note("hours", heat::heating_hours(a, power * 100.0, b));
    let [water, protein, fat, lactose, ash, t] = wild.numbers();
    let food = dairy::Composition { water, protein, fat, lactose, ash };
    tally.note("specific heat", heat::specific_heat_kj_kg_k(&food, t));
    let [from_l, to_share, from_c, efficiency, specific_heat_kj_kg_k] = wild.numbers();
    tally.note(
        "boil down",
        heat::boil_down(&heat::BoilDown {
            from_l,
            from_kg_l: wild.0.between(0.8, 1.2),
            to_l: from_l * to_share,
            to_kg_l: wild.0.between(0.8, 1.6),
            from_c,
            boiling_c: wild.0.between(80.0, 112.0),
            specific_heat_kj_kg_k,
            power_w: wild.0.between(0.0, 4000.0),
            efficiency,
        }),
    );
    let log = wild
        .list(|wild| pasteur::Held { minutes: wild.number(), temperature_c: wild.0.between(40.0, 112.0) });
    tally.note("milk minimum", pasteur::milk_minimum_met(&log, wild.0.index(2) == 0));
    tally.note("units of log", pasteur::pasteurisation_units_of(&log));
    let [a, b] = wild.numbers();
    let kind = wild.one(&[glass::Glass::Ordinary, glass::Glass::Borosilicate, glass::Glass::Damaged]);
    tally.note("glass", glass::filling(a, b, kind));
}

fn blends(tally: &mut Tally, wild: &mut Wild) {
    try_all!(tally, wild: blend::pearson[a b c], blend::dissolve[a b c], blend::sweeten_finished[a b c]);
    let parts = wild.list(|wild| blend::Part { volume_l: wild.number(), vol_percent: wild.number() });
    tally.note("blend", blend::blend(&parts));
    let [volume_l, vol_percent, with, target] = wild.numbers();
    tally.note("to strength", blend::to_strength(blend::Part { volume_l, vol_percent }, with, target));
    let pairs = wild.list(|wild| (wild.number(), wild.number()));
    tally.note("mix", blend::mix(&pairs));
    tally.note("mix gravities", blend::mix_gravities(&pairs));
    let ([a, b, c], factor) = (wild.numbers(), wild.0.between(14.0, 19.0));
    tally.note("sugar for strength", blend::sugar_for_strength(a, b, c, factor));
    tally.note("sugar for volume", blend::sugar_for_final_volume(a, b, c, factor));
}

fn additions(tally: &mut Tally, wild: &mut Wild) {
    try_all!(tally, wild:
        nitrogen::nitrogen_wanted_mg_l[a], nitrogen::diammonium_phosphate_g[a b],
        sulphite::molecular_fraction[a b c], sulphite::molecular_mg_l[a b c d],
        sulphite::free_for_molecular_mg_l[a b c d],
    );
    let [a, b, c] = wild.numbers();
    let salt = wild.one(&[sulphite::Metabisulphite::Potassium, sulphite::Metabisulphite::Sodium]);
    tally.note("metabisulphite", sulphite::metabisulphite_g(a, b, salt, c));
    tally.note("acidity", acid::acidity_as(a, acid::Acid::Lactic, acid::Acid::Tartaric));
    tally.note("meq", acid::acidity_meq_l(b, acid::Acid::Citric));
}

fn gas(tally: &mut Tally, wild: &mut Wild) {
    try_all!(tally, wild:
        pressure::co2_made_g[a], pressure::hexose_fermented_g[a], pressure::gas_l[a b],
        pressure::room_percent[a b c], pressure::water_solubility_g_l_bar[a],
        pressure::solubility_g_l_bar[a b c],
    );
    let [drink_ml, headspace_ml, vol_percent, residual_g_l, dissolved_g_l, t, bar] = wild.numbers();
    let bottle = pressure::Bottle { drink_ml, headspace_ml, vol_percent, residual_g_l, dissolved_g_l };
    tally.note("bottle", bottle.pressure_bar(t));
    tally.note("residual", bottle.most_residual_g_l(bar, t));
    tally.note("vessel", bottle.in_vessel(pressure::Vessel::Rated { bar }, t));
}

fn time(tally: &mut Tally, wild: &mut Wild) {
    let [a, b] = wild.numbers();
    let q10 = wild.0.between(1.5, 4.5);
    tally.note("ageing", ageing::ageing_factor(a, q10, b));
    let stays = wild.list(|wild| ageing::Stay { days: wild.number(), temperature_c: wild.number() });
    tally.note("weighted age", ageing::weighted_age_days(&stays, q10, 15.0));
    tally.note("headspace", ageing::headspace_fraction(a, b));
    let readings = wild.list(|wild| fermentation::Reading {
        day: wild.number(),
        sg: wild.0.between(0.96, 1.21),
        temperature_c: (wild.0.index(2) == 0).then(|| wild.number()),
    });
    tally.note("progress", fermentation::progress(&readings, a));
    tally.note("forecast of anything", fermentation::forecast(&readings, b));
    let mut falling: Vec<fermentation::Reading> = wild.list(|wild| fermentation::Reading {
        day: wild.0.between(0.0, 20.0),
        sg: wild.0.between(0.99, 1.1),
        temperature_c: None,
    });
    let mut gravities: Vec<f64> = falling.iter().map(|reading| reading.sg).collect();
    gravities.sort_by(|a, b| b.total_cmp(a));
    falling.sort_by(|a, b| a.day.total_cmp(&b.day));
    falling.iter_mut().zip(gravities).for_each(|(reading, sg)| reading.sg = sg);
    tally.note("forecast", fermentation::forecast(&falling, 0.998));
}

#[test]
fn no_formula_panics_or_answers_nonsense() {
    let mut tally = Tally::default();
    for seed in 0..1500 {
        let mut wild = Wild(Draw::new(seed));
        sugar_and_alcohol(&mut tally, &mut wild);
        milk(&mut tally, &mut wild);
        warmth(&mut tally, &mut wild);
        blends(&mut tally, &mut wild);
        additions(&mut tally, &mut wild);
        gas(&mut tally, &mut wild);
        time(&mut tally, &mut wild);
    }
    tally.0.remove("forecast of anything");
    for (name, (answered, refused)) in tally.0 {
        assert!(answered > 0 && refused > 0, "{name}: {answered} answers and {refused} refusals");
    }
}

#[test]
fn roots_are_found_or_refused_in_any_bracket() {
    let mut wild = Wild(Draw::new(7));
    let mut tally = Tally::default();
    for _ in 0..20_000 {
        let [low, high, a, b, c] = wild.numbers();
        let f = |x: f64| ((a * x + b) * x + c) * x - a * b;
        let found = root::find(low, high, f);
        if let Ok(x) = found {
            assert!((low.min(high)..=low.max(high)).contains(&x), "{x} outside {low} to {high}");
        }
        tally.note("root", found);
    }
    assert!(tally.0["root"].0 > 100);
}
