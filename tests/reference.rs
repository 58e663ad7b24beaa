//! The formulas against other people's software: scipy, `CoolProp`, iapws, pint and chemicals, at ten
//! thousand points each, always the same. Prints the largest deviation of each.
//!
//! `python -m pip install -r tests/reference/requirements.txt`, then
//! `cargo test --release --test suite reference -- --ignored --nocapture`; the interpreter is
//! `UNDERCROFT_PYTHON`, or `python3`.

mod panels;
mod sensory;
mod speed;

use std::fmt::Write;
use std::path::Path;
use std::process::Command;
use undercroft::science::acid::{Acid, acidity_as};
use undercroft::science::ageing::{Stay, weighted_age_days};
use undercroft::science::alcohol::DEFAULT_HEXOSE_PER_VOL_G_L;
use undercroft::science::blend::{Part, blend, sugar_for_strength};
use undercroft::science::fermentation::{Reading, forecast};
use undercroft::science::heat::{BoilDown, boil_down};
use undercroft::science::pasteur::{Held, pasteurisation_units_of};
use undercroft::science::pressure::Bottle;
use undercroft::science::sulphite::Metabisulphite;
use undercroft::science::{alcohol, heat, nitrogen, pressure, sugar, sulphite};

type Answer = Result<Vec<f64>, Box<dyn std::error::Error>>;

#[test]
#[ignore = "needs Python with scipy, CoolProp, iapws, pint, chemicals"]
fn formulas_agree_with_other_software() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/science.py");
    let folder = std::env::temp_dir().join(format!("undercroft-reference-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
    let (inputs, answers) = (folder.join("inputs"), folder.join("answers"));
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let run = |arguments: &[&Path]| {
        let verb = if arguments.len() == 1 { "inputs" } else { "compare" };
        let status = Command::new(&python).arg(&script).arg(verb).args(arguments).status();
        status.unwrap_or_else(|error| panic!("{python} does not start: {error}")).success()
    };
    assert!(run(&[&inputs]), "the script could not write its inputs");
    let asked = std::fs::read_to_string(&inputs).expect("the script has written its inputs");
    std::fs::write(&answers, answer_all(&asked)).expect("the temporary folder can be written");
    let agreed = run(&[&inputs, &answers]);
    let scipy = Command::new(&python).arg(&script).arg("speed").output().expect("it started before");
    speed::print_ratios(&String::from_utf8_lossy(&scipy.stdout));
    std::fs::remove_dir_all(&folder).expect("the temporary folder is ours");
    assert!(agreed, "a formula deviates by more than its tolerance: see the table above");
}

fn answer_all(asked: &str) -> String {
    asked.lines().fold(String::new(), |mut text, line| {
        let mut words = line.split(' ').skip(1);
        let formula = words.next().expect("a line names its formula");
        let arguments: Vec<f64> = words.map(|word| word.parse().expect("arguments are numbers")).collect();
        let line = match answer(formula, &arguments) {
            Ok(values) => values.iter().map(f64::to_string).collect::<Vec<_>>().join(" "),
            Err(refused) => format!("refused {refused}"),
        };
        writeln!(text, "{line}").expect("writing to a string does not fail");
        text
    })
}

fn answer(formula: &str, x: &[f64]) -> Answer {
    Ok(match formula {
        "water_density" => vec![sugar::water_density_kg_m3(x[0])?],
        "boiling_point" => vec![heat::boiling_point_c(x[0])?.value],
        "latent_heat" => vec![heat::latent_heat_kj_kg(x[0])?],
        "water_heat" => vec![heat::water_heat_kj_kg(x[0], x[1])?],
        "water_solubility" => vec![pressure::water_solubility_g_l_bar(x[0])?],
        "brix_from_sg" => vec![sugar::brix_from_sg(x[0])?.value],
        "brix_from_sugar" => vec![sugar::brix_from_sugar_g_l(x[0])?.value],
        "hydrometer" => vec![sugar::hydrometer_at(x[0], x[1], x[2])?.value],
        "brix_from_index" => vec![sugar::brix_from_refractive_index(x[0])?],
        "refractometer" => vec![sugar::refractometer_at(x[0], x[1])?.value],
        "mixture_density" => vec![alcohol::mixture_density_kg_m3(x[0], x[1])?],
        "mass_from_vol" => vec![alcohol::mass_from_vol_percent(x[0])?],
        "diammonium_phosphate" => vec![nitrogen::diammonium_phosphate_g(x[0], x[1])?.value],
        "molecular_sulphite" => vec![sulphite::molecular_fraction(x[0], x[1], x[2])?.value],
        "metabisulphite" => {
            let salt = |salt| sulphite::metabisulphite_g(x[0], x[1], salt, 1.0);
            vec![salt(Metabisulphite::Potassium)?.value, salt(Metabisulphite::Sodium)?.value]
        }
        "tartaric_as" => [Acid::Lactic, Acid::Citric, Acid::Malic, Acid::Sulphuric, Acid::Acetic]
            .into_iter()
            .map(|acid| acidity_as(x[0], Acid::Tartaric, acid))
            .collect::<Result<_, _>>()?,
        "strength" => {
            let found = alcohol::strength_from_gravities(x[0], x[1])?.value;
            vec![found.vol_percent, found.mass_percent, found.real_extract_percent]
        }
        "weighted_age" => {
            let stay = |days, temperature_c| Stay { days, temperature_c };
            vec![weighted_age_days(&[stay(x[1], x[2]), stay(x[3], x[4])], x[0], 15.0)?.value]
        }
        _ => return answer_for_structures(formula, x),
    })
}

fn answer_for_structures(formula: &str, x: &[f64]) -> Answer {
    Ok(match formula {
        "bottle" => {
            let bottle = Bottle {
                drink_ml: x[0],
                headspace_ml: x[1],
                vol_percent: x[2],
                residual_g_l: x[3],
                dissolved_g_l: x[4],
            };
            vec![bottle.pressure_bar(x[5])?]
        }
        "blend" => {
            let part = |volume_l, vol_percent| Part { volume_l, vol_percent };
            let found = blend(&[part(x[0], x[1]), part(x[2], x[3])])?;
            vec![found.volume_l, found.vol_percent]
        }
        "sugar_for_strength" => {
            let found = sugar_for_strength(x[0], x[1], x[2], DEFAULT_HEXOSE_PER_VOL_G_L)?.value;
            vec![found.sugar_kg, found.result.volume_l]
        }
        "boil" => {
            let found = boil_down(&BoilDown {
                from_l: x[0],
                from_kg_l: 1.025,
                to_l: x[0] * x[1],
                to_kg_l: 1.025,
                from_c: x[2],
                boiling_c: 100.0,
                specific_heat_kj_kg_k: 3.95,
                power_w: x[3],
                efficiency: x[4],
            })?;
            vec![found.value.drawn_kwh, found.value.hours]
        }
        "units_of_log" => {
            let log = pairs(x).map(|(minutes, temperature_c)| Held { minutes, temperature_c });
            vec![pasteurisation_units_of(&log.collect::<Vec<_>>())?.value]
        }
        "fit" => {
            let readings = pairs(&x[4..]).map(|(day, sg)| Reading { day, sg, temperature_c: None });
            let curve = forecast(&readings.collect::<Vec<_>>(), x[0])?.curve;
            vec![
                curve.final_gravity,
                curve.original_gravity,
                curve.rate_per_day,
                curve.midpoint_day,
                curve.rmse_sg,
            ]
        }
        _ => return sensory::answer(formula, x),
    })
}

fn pairs(x: &[f64]) -> impl Iterator<Item = (f64, f64)> {
    x.chunks_exact(2).map(|pair| (pair[0], pair[1]))
}
