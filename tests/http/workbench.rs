//! The workbench over HTTP: every question by its page and by the API, with values from the world end to end.

use serde_json::{Value, json};
use undercroft::actions::members::{self, NewToken};
use undercroft::domain::members::{Doer, Onlooker, Scope};
use undercroft::web::extract::now;

use super::House;
use crate::ground::{Ground, on_both};

on_both!(values_from_the_world_come_back, every_question_has_a_page, bad_input_is_said_at_its_field);

/// A question, what is asked, a figure, its value, how near it must be.
type Check = (&'static str, Value, &'static str, f64, f64);

/// Where a value is from stands above it: S a published source that was read, M one from memory, C computed
/// independently, CP common practice without a source.
#[allow(clippy::too_many_lines, reason = "a table, a few lines a question")]
fn checks() -> Vec<Check> {
    let log = |text: &str| Value::String(text.to_owned());
    vec![
        // C: 12 % vol needs 191.86 g/L of sucrose, 201.96 g/L of hexose at 16.83.
        ("how-strong", json!({"sugar": "191.86 g/L", "what": "sugar"}), "strength", 12.0, 0.001),
        ("how-strong", json!({"sugar": "201.96 g/L", "what": "analysis"}), "strength", 12.0, 0.001),
        // C: Balling and Tabarié solved together with scipy.
        ("strength-reached", json!({"before": "1.090", "now": "0.995"}), "strength", 12.702, 0.005),
        ("strength-reached", json!({"before": 1.03, "now": 1.0}), "strength", 3.889, 0.005),
        ("strength-reached", json!({"before": "1120", "now": "1010"}), "extract_left", 7.497, 0.005),
        // C: Tabarié; SG 0.9930 at 12 % vol.
        ("extract", json!({"gravity": 0.993, "strength": 12}), "extract", 22.98, 0.05),
        // M: pharmacopoeia, 40 % vol is 33.30 % by mass and 948.05 kg/m³.
        ("mass-and-volume", json!({"strength": 40}), "mass", 33.30, 0.01),
        ("mass-and-volume", json!({"strength": 40}), "density", 948.05, 0.01),
        // S: 12 % vol holds 94.7 g/L (a wine glossary).
        ("mass-and-volume", json!({"strength": "12 % vol"}), "grams", 94.7, 0.05),
        // C: glass, water and sucrose; in °Bx NBS C440, from memory.
        ("hydrometer", json!({"reading": "1.050", "temperature": "25 °C"}), "gravity", 1.05130, 0.00005),
        ("hydrometer", json!({"reading": "1.050", "temperature": "77 °F"}), "gravity", 1.05130, 0.00005),
        ("hydrometer", json!({"reading": "20 °Bx", "temperature": 10}), "change", -0.52, 0.06),
        // S: OIV-MA-AS2-02 Table I: at 10 °C and 20 % the correction is -0.65.
        ("refractometer", json!({"reading": 20, "temperature": 10}), "brix", 19.35, 0.005),
        // M: ICUMSA 1974, 20 % has 1.36384.
        ("refractometer", json!({"index": 1.36384}), "brix", 20.0, 0.02),
        // C: ICUMSA SPS-4, inverted.
        ("scales", json!({"sugar": "1.050"}), "brix", 12.397, 0.002),
        // S: handbook of beet sugar, 10 % has 1039.98.
        ("scales", json!({"sugar": "10 °Bx"}), "gravity", 1.03998, 0.0001),
        ("scales", json!({"sugar": "216.20 g/L"}), "brix", 20.0, 0.002),
        // C: by mass, with scipy.
        ("sweeten", json!({"volume": "20 L", "sugar": "1.050", "strength": 12}), "sugar_kg", 1.4055, 0.001),
        (
            "sweeten",
            json!({"volume": "20 L", "sugar": "1.045", "strength": 12, "hold": "fixed"}),
            "sugar_kg",
            1.6165,
            0.001,
        ),
        ("dissolve", json!({"volume": "10 L", "sugar": "1.000", "add": "1 kg"}), "volume", 10.6165, 0.0005),
        // S: 27 CFR 24.181: 13.5 lb of sugar raise the volume by a US gallon.
        ("dissolve", json!({"volume": "100 L", "sugar": "1.000", "add": "13.5 lb"}), "volume", 103.785, 0.02),
        ("sweeten-finished", json!({"volume": "20 L", "gravity": 1.0, "wanted": 0}), "sugar_kg", 0.0, 1e-9),
        // C: OIML R 22 by mass.
        (
            "another-strength",
            json!({"volume": "1 L", "strength": 96, "with": 0, "wanted": 40}),
            "add",
            1.4705,
            0.0005,
        ),
        (
            "another-strength",
            json!({"volume": 100, "strength": 10, "with": 96, "wanted": 18}),
            "add",
            10.069,
            0.001,
        ),
        (
            "another-strength",
            json!({"volume": 100, "strength": 10, "with": 96, "wanted": 18}),
            "square_strength",
            18.14,
            0.005,
        ),
        (
            "blend",
            json!({"parts": [{"volume": "0.5 L", "strength": 100}, {"volume": "500 mL"}]}),
            "volume",
            0.96463,
            0.0005,
        ),
        (
            "blend",
            json!({"parts": [{"volume": 10, "strength": 14}, {"volume": 5, "strength": 8}]}),
            "strength",
            11.9989,
            0.0005,
        ),
        // C: acid blends by volume.
        (
            "blend",
            json!({"parts": [{"volume": 10, "acid": 7.5}, {"volume": 5, "acid": 4.5}]}),
            "acid",
            6.5,
            1e-9,
        ),
        (
            "mix-musts",
            json!({"parts": [{"volume": 10, "sugar": "1.000"}, {"volume": 10, "sugar": "1.000"}]}),
            "volume",
            20.0,
            0.001,
        ),
        ("square", json!({"one": 96, "other": 10, "wanted": 18}), "parts_of_other", 78.0, 1e-9),
        // CP: whey with its lactose split and nothing added ferments to about 1.4 % vol; C: 1.396.
        ("whey", json!({"volume": "60 L", "milk": "cow", "lactose": 47}), "strength", 1.396, 0.002),
        (
            "whey",
            json!({"volume": "60 L", "lactose": 47, "split": 100, "galactose": 100}),
            "strength",
            2.940,
            0.002,
        ),
        // S: University of Guelph: fat 3.6, casein 2.5, moisture 37 % give 9.945 kg of 100 kg; 4 L are 4.12 kg.
        ("whey", json!({"volume": "4 L", "fat": 3.6, "casein": 2.5, "moisture": 37}), "curd", 0.410, 0.001),
        ("whey", json!({"volume": "4 L", "fat": 3.6, "casein": 2.5, "moisture": 60}), "whey", 3.39, 0.005),
        // C: 4 L at 45 IMCU/L of 145 IMCU/mL.
        ("rennet", json!({"volume": "4 L", "strength": 145}), "rennet", 1.241, 0.001),
        // S: as much split in 22 h at 5 °C as in 2 h at 31 °C.
        (
            "lactase",
            json!({"volume": 1, "temperature": 31, "share": 80, "label_time": 22}),
            "hours",
            2.0,
            0.01,
        ),
        // C: with CoolProp's latent heat; tolerance 0.5 %.
        ("boil-down", json!({"volume": "4 L", "to": "0.40 L", "power": "1500 W"}), "heat", 9464.0, 47.0),
        ("boil-down", json!({"volume": "4 L", "to": "0.40 L", "power": "1.5 kW"}), "hours", 2.19, 0.011),
        (
            "boil-down",
            json!({"volume": "4 L", "to": 2, "power": 1500, "altitude": "1000 m"}),
            "boils_at",
            96.65,
            0.02,
        ),
        // C: molar masses.
        (
            "acid",
            json!({"acidity": 1, "given_as": "tartaric", "wanted_as": "lactic"}),
            "acidity",
            1.2003,
            0.0002,
        ),
        ("acid", json!({"acidity": 1}), "equivalents", 13.326, 0.001),
        // S: OIV-MA-AS323-04C; pH 3.5, 12 % vol: 2.773 % of the free, 28.8 mg/L for 0.8.
        ("sulphite", json!({"ph": 3.5, "strength": 12}), "share", 2.773, 0.005),
        ("sulphite", json!({"ph": "3,5", "strength": 12, "volume": "20 L"}), "free_wanted", 28.8, 0.1),
        ("metabisulphite", json!({"volume": "20 L", "add": "50 mg/L"}), "salt", 1.735, 0.001),
        // C: +100 mg/L in 20 L.
        ("nitrogen", json!({"volume": "20 L", "sugar": "1.090", "add": 100}), "dap", 9.43, 0.01),
        // S: Regulation (EU) 1169/2011, Annex II, item 12.
        ("label-words", json!({"milk": true, "sulphite": 15}), "sulphite_from", 10.0, 0.0),
        // C: 750 mL, 15 mL of headspace, 12 % vol, 1.5 g/L dissolved.
        ("pressure", json!({"left": 4, "strength": 12}), "at_20", 2.334, 0.01),
        ("pressure", json!({"left": 10, "strength": 12}), "at_warmest", 5.567, 0.01),
        // S: Liger-Belair 2017: 7.5 bar at 20 °C in a champagne bottle; tolerance 10 %.
        ("pressure", json!({"left": 0, "dissolved": 11.5, "strength": 12.5}), "at_20", 7.5, 0.75),
        // C: 20 L to 12 % vol give 1974 g, 1079 L of gas, about 11 % of 10 m³.
        (
            "gas",
            json!({"volume": "20 L", "sugar": 201.96, "as": "hexose", "room": "10 m³"}),
            "co2",
            1974.0,
            1.0,
        ),
        (
            "gas",
            json!({"volume": "20 L", "sugar": 201.96, "as": "hexose", "room": 10}),
            "room_percent",
            10.8,
            0.1,
        ),
        // S: Regulation 2676/90: 12 % vol, dry, 20 °C.
        ("dissolved-gas", json!({"temperature": 20, "strength": 12}), "dissolved", 1.4437, 0.0001),
        ("headspace", json!({"vessel": 25, "drink": 23}), "empty", 8.0, 1e-9),
        // CP: the usual pass level of makers is 42 °C; the program's rule is 40.
        ("hot-in-glass", json!({"liquid": 61, "glass": 20}), "difference", 41.0, 1e-9),
        // C: CoolProp, water from 10 to 32 °C takes 92.06 kJ/kg.
        ("warming", json!({"volume": "1 L", "from": 10, "to": 32, "power": 1000}), "heat", 91.9, 0.1),
        // S: 21 CFR 1240.61(b), 63 °C for 30 min.
        ("milk-heating", json!({"log": log("0 63\n10 63.2\n20 63.1\n30 63")}), "minutes", 30.0, 1e-9),
        // S: Del Vecchio; C: 62 °C for 15 min, and the trapezoid of a log.
        ("pasteurisation-units", json!({"temperature": 62, "time": "15 min"}), "units", 29.11, 0.03),
        (
            "pasteurisation-units",
            json!({"log": log("0 50\n5 56\n10 60\n15 62\n20 62\n25 58\n30 50")}),
            "units",
            28.491,
            0.028,
        ),
        // C: scipy.optimize.curve_fit on the same readings.
        ("fermentation", json!({"readings": curve()}), "final_gravity", 0.997_886, 1e-4),
        ("fermentation", json!({"readings": curve()}), "rate", 0.900_220, 1e-3),
        ("fermentation", json!({"readings": curve()}), "end", 8.458, 0.01),
        // C: 90 d at 12, 180 d at 18, 95 d at 24 °C.
        ("weighted-age", json!({"shelves": log("90 12\n180 18\n95 24")}), "age", 522.02, 0.01),
        ("weighted-age", json!({"shelves": log("90 12; \n180 18\n95 24"), "q10": 2}), "age", 471.98, 0.01),
    ]
}

fn curve() -> Value {
    let days = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14];
    let gravities = [1.081, 1.077, 1.067, 1.051, 1.032, 1.016, 1.006, 1.002, 0.999, 0.998, 0.998, 0.998];
    let readings = days.iter().zip(gravities);
    readings.map(|(day, gravity)| json!({"day": day, "gravity": gravity, "temperature": 20})).collect()
}

async fn values_from_the_world_come_back(ground: &Ground) {
    let house = House::open(ground).await;
    let mut asked = std::collections::BTreeSet::new();
    for (slug, body, figure, wanted, near) in checks() {
        let heard = house.send(&house.token, "POST", &format!("/workbench/{slug}"), None, &body.to_string());
        assert_eq!(heard.status, 200, "{slug} {body}: {}", heard.body);
        let found = heard.json["figures"][figure]["value"].as_f64();
        let found = found.unwrap_or_else(|| panic!("{slug} gives no {figure}: {}", heard.body));
        assert!((found - wanted).abs() <= near, "{slug} {body}: {figure} is {found}, not {wanted} ± {near}");
        asked.insert(slug);
    }
    let all: std::collections::BTreeSet<&str> =
        undercroft::domain::workbench::questions().map(|question| question.slug).collect();
    assert_eq!(asked, all, "every question has a value from the world");
    house.close().await;
}

async fn every_question_has_a_page(ground: &Ground) {
    let house = House::open(ground).await;
    let cookie = house.sign_in().await;
    let list = house.page(&cookie, "/workbench");
    assert_eq!(list.status, 200);
    for question in undercroft::domain::workbench::questions() {
        let at = format!("/workbench/{}", question.slug);
        assert!(list.body.contains(&format!("href=\"{at}\"")), "{at} is not in the list");
        let empty = house.page(&cookie, &at);
        assert_eq!(empty.status, 200, "{at}");
        assert!(!empty.body.contains("There is a problem"), "{at} complains before anything was asked");
        let example = undercroft::web::workbench::asking::example(question.inputs);
        let answered = house.page(&cookie, &format!("{at}?{example}"));
        assert_eq!(answered.status, 200, "{at}?{example}: {}", answered.body);
        assert!(answered.body.contains("How this is worked out"), "{at}");
        assert!(answered.body.contains("Source: "), "{at}");
    }
    assert_eq!(house.page(&cookie, "/workbench/colour").status, 404);
    house.close().await;
}

async fn bad_input_is_said_at_its_field(ground: &Ground) {
    let house = House::open(ground).await;
    let ask = |slug: &str, body: Value| {
        house.send(&house.token, "POST", &format!("/workbench/{slug}"), None, &body.to_string())
    };
    for (slug, body, field, says) in [
        ("strength-reached", json!({}), "before", "such as 1.0900 SG"),
        ("strength-reached", json!({"before": 1.09, "now": 0.7}), "now", "between 0.98 and 1.09"),
        ("whey", json!({"volume": "60 kg"}), "volume", "60 L"),
        ("whey", json!({"volume": "60 L", "milk": "oat"}), "milk", "cow, goat, sheep, buffalo"),
        ("whey", json!({"volume": "60 L", "moisture": 90}), "moisture", "between 0.3 and 0.85"),
        ("whey", json!({"volume": "60 L", "colour": "green"}), "colour", "no field of this name"),
        ("refractometer", json!({"reading": 10, "working": true}), "working", "hydrometer"),
        ("how-strong", json!({"sugar": "12"}), "sugar", "may be °Bx or g/L"),
        ("how-strong", json!({"sugar": "1.026", "what": "milk"}), "what", "What does the whey give"),
        ("blend", json!({"parts": [{"volume": "1 L"}, {"volume": "x"}]}), "parts.1.volume", "10 L"),
        ("milk-heating", json!({"log": "0 63\n10 warm"}), "log", "Line 2"),
        ("fermentation", json!({"batch": "4711"}), "batch", "no batch of this number"),
        ("pasteurisation-units", json!({"log": "5 60\n0 60"}), "log", "in the order"),
    ] {
        let heard = ask(slug, body.clone());
        assert_eq!(heard.status, 422, "{slug} {body}: {}", heard.body);
        let fault = &heard.json["errors"][0];
        assert_eq!(fault["field"], field, "{slug} {body}: {}", heard.body);
        assert!(fault["message"].as_str().is_some_and(|said| said.contains(says)), "{slug} {body}: {fault}");
    }
    // A token that only reads may ask, and make no batch.
    let doer = Doer { now: now(), ..(*house.club.hand).clone() };
    let by = Onlooker::from_doer(doer).expect("a cellarhand is an onlooker");
    let new = NewToken::read("a script", Scope::Read, 30).expect("a token");
    let (_, reads) = members::new_token(&house.db, &by, None, new).await.expect("a token is made");
    let send = |path: &str, body: &str| house.send(reads.reveal(), "POST", path, None, body).status;
    assert_eq!(send("/workbench/scales", "{\"sugar\": \"1.050\"}"), 200);
    assert_eq!(send("/workbench/routes/batch", "{}"), 403);
    let cookie = house.sign_in().await;
    let shown = house.page(&cookie, "/workbench/strength-reached?before=1.3&now=0.995");
    assert_eq!(shown.status, 422);
    assert!(shown.body.contains("There is a problem") && shown.body.contains("value=\"1.3\""));
    house.close().await;
}
