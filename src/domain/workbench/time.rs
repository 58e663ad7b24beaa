//! Where a fermentation is going, and how old a drink is by warmth.

use super::sheet::PRESSURE;
use super::{Given, Gives, Input, Question, Sheet, Unfit, shown};
use crate::science::ageing::{self, Stay};
use crate::science::fermentation::{self, NoForecast, Progress, Reading};
use crate::units::dimension::Dimension;

const READINGS: &[Input] = &[
    Input::measure("day", "day", Dimension::Time, "days", "3"),
    Input::measure("gravity", "gravity", Dimension::Gravity, "SG", "1.0510"),
    Input::measure("temperature", "temperature in °C", Dimension::Temperature, "°C", "19").optional(),
];

const STAYS: &[Input] = &[
    Input::measure("time", "days", Dimension::Time, "days", "90"),
    Input::measure("temperature", "°C", Dimension::Temperature, "°C", "12"),
];

const CURVE: &str = "Logistic curve by least squares with 0.980 ≤ end ≤ start and a rate above zero; such curves \
    are in published \
                     use (Rivera Flores et al. 2021). Refused below four readings, before 30 % of the fall, and \
                     with a misfit \
                     above 0.003.";
const FLAT: &str = "Common practice, no source: three readings within 0.001 over three days at 18 °C or more, near \
    the end \
                    expected.";

const EXAMPLE: &str = "0 1.081 19\n1 1.077 19\n2 1.067 19\n3 1.051 20\n4 1.032 20\n5 1.016 20\n6 1.006 20\n7 1.002 \
    19\n\
                       8 0.999 19\n10 0.998 19\n12 0.998 19\n14 0.998 19";

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "fermentation",
        name: "Where is this fermentation going?",
        lead: "From its gravities: how far it is, when it will end, whether it has stopped.",
        inputs: &[
            Input::words("batch", "Number of a batch of the club", "")
                .hint("Its readings are taken; then leave the log empty."),
            Input::log("readings", "Or its readings", READINGS, EXAMPLE)
                .optional()
                .hint("One a line: day, gravity, and the temperature in °C where it was noted. Corrected to 20 °C."),
            Input::measure("expected", "Gravity where it should end", Dimension::Gravity, "SG", "0.9980")
                .usually("0.9980"),
        ],
        gives: &[
            Gives::words("progress", "Where it stands").by("flat for long enough, warm enough, near the \
                end", FLAT, "Gravity 0.970 to 1.200."),
            Gives::figure("end", "It comes within 0.001 of its end on day", "", 1).about().by(
                "t = tm + ln((OG − FG)/0.001 − 1)/k",
                CURVE,
                "A quarter sooner or later; a steady temperature.",
            ),
            Gives::figure("earliest", "at the earliest on day", "", 1).about().by("a quarter of the way \
                sooner", CURVE, "As above."),
            Gives::figure("latest", "at the latest on day", "", 1).about().by("a quarter of the way \
                later", CURVE, "As above."),
            Gives::figure("final_gravity", "The curve ends at", "SG", 4).about().by(
                "SG(t) = FG + (OG − FG)/(1 + exp(k (t − tm)))",
                CURVE,
                "0.980 to 1.250.",
            ),
            Gives::figure("original_gravity", "and begins at", "SG", 4).about().by("the same curve", CURVE, "As \
                above."),
            Gives::figure("rate", "Rate k", "a day", 3).about().by("the same curve", CURVE, "As above."),
            Gives::figure("midpoint", "Steepest on day", "", 3).about().by("the same curve", CURVE, "As above."),
            Gives::figure("misfit", "The readings lie off it by", "SG", 5).by("root of the mean \
                square", CURVE, "Refused above 0.003."),
        ],
        work: fermentation,
    },
    Question {
        slug: "weighted-age",
        name: "How old is it by warmth?",
        lead: "Warm days count for more: the age at a steady 15 °C that the time on its shelves amounts to.",
        inputs: &[
            Input::log("shelves", "Time and temperature of its shelves", STAYS, "90 12\n180 18\n95 24")
                .hint("One stay a line: days, a blank, °C."),
            Input::number("q10", "Ten degrees make it age so many times faster", "", "2.5")
                .setting("2.5")
                .hint("Rules of thumb lie between 2 and 4; one trial saw about 7."),
            Input::measure("reference", "Compared with", Dimension::Temperature, "°C", "15").setting("15"),
        ],
        gives: &[
            Gives::figure("age", "Age by warmth", "days", 2).about().by(
                "Σ days × q^((T − T reference)/10)",
                "Rule of thumb (common practice), an Arrhenius law of 50 to 110 kJ/mol; a trial with Sangiovese saw \
                    far more \
                 (Mattivi 2014, press reports). A guide to time and warmth, not to flavour.",
                "−20 to 50 °C; holds from 0 to 35 °C.",
            ),
            Gives::figure("plain", "Age by the calendar", "days", 0).by("Σ days", "Definition.", "Any."),
            Gives::figure("steady", "A steady temperature would have to be", "°C", 1).about().by(
                "T reference + 10 log(age/days)/log q",
                "The same rule.",
                "As above.",
            ),
        ],
        work: weighted_age,
    },
];

fn fermentation(given: &Given) -> Result<Sheet, Unfit> {
    let reading = |line: &Given| Reading {
        day: line.number("day"),
        sg: line.number("gravity"),
        temperature_c: line.optional("temperature"),
    };
    let readings: Vec<Reading> = given.lines("readings").iter().map(reading).collect();
    if readings.is_empty() {
        let message = if given.words("batch").is_empty() {
            "Write the readings, or the number of a batch above"
        } else {
            "This batch has no gravity readings yet: record one first"
        };
        return Err(Unfit::field("readings", message));
    }
    let expected = given.number("expected");
    let mut sheet = Sheet::new();
    let progress = fermentation::progress(&readings, expected)?;
    let forecast = fermentation::forecast(&readings, expected);
    sheet.points = readings.iter().map(|reading| (reading.day, reading.sg)).collect();
    let mut says = progress.to_string();
    sheet.tell("progress", progress.to_string());
    match forecast {
        Ok(found) => {
            if matches!(progress, Progress::Working) {
                says = format!("{says} It ends about day {}.", shown(found.end_day, 0));
            }
            if let Some(warning) = found.warning {
                sheet.warn(warning);
            }
            sheet.put_within("end", found.end_day, found.latest_day - found.end_day);
            sheet.put("earliest", found.earliest_day);
            sheet.put("latest", found.latest_day);
            sheet.put("final_gravity", found.curve.final_gravity);
            sheet.put("original_gravity", found.curve.original_gravity);
            sheet.put("rate", found.curve.rate_per_day);
            sheet.put("midpoint", found.curve.midpoint_day);
            sheet.put("misfit", found.curve.rmse_sg);
        }
        Err(NoForecast::Reading(refused)) => return Err(refused.into()),
        Err(why) => sheet.warn(why.to_string()),
    }
    sheet.says(says);
    if !matches!(progress, Progress::Working) {
        sheet.warn("A flat line is no proof of safety: work out the pressure before you bottle.");
        sheet.caution(PRESSURE);
    }
    Ok(sheet)
}

fn weighted_age(given: &Given) -> Result<Sheet, Unfit> {
    let stay = |line: &Given| Stay { days: line.number("time"), temperature_c: line.number("temperature") };
    let stays: Vec<Stay> = given.lines("shelves").iter().map(stay).collect();
    let (q10, reference) = (given.number("q10"), given.number("reference"));
    let mut sheet = Sheet::new();
    let age = sheet.take(ageing::weighted_age_days(&stays, q10, reference)?);
    let plain: f64 = stays.iter().map(|stay| stay.days).sum();
    sheet.says(format!(
        "About {} days at {} °C, by the calendar {}.",
        shown(age, 0),
        shown(reference, 0),
        shown(plain, 0)
    ));
    sheet.put("age", age);
    sheet.put("plain", plain);
    if age > 0.0 && plain > 0.0 {
        sheet.put("steady", reference + 10.0 * (age / plain).ln() / q10.ln());
    }
    sheet.warn(ageing::NOTE);
    Ok(sheet)
}
