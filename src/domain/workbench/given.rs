//! What was given to a question, read and with its units.

use super::question::{Input, Kind};
use super::sheet::shown;
use crate::science::{Guide, OutOfRange, sugar};
use crate::units::dimension::{Amount, Sugar};

/// One answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// In the unit of its input.
    Number(f64),
    /// On the scale it was written in.
    Sugar(Sugar),
    /// By volume or by mass.
    Amount(Amount),
    /// The code of a choice.
    Choice(&'static str),
    /// Yes or no.
    Flag(bool),
    /// A line of text.
    Words(String),
    /// Parts, or the lines of a log.
    Lines(Vec<Given>),
}

/// All answers to one question.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Given {
    values: Vec<(&'static str, Value)>,
}

impl Given {
    /// Adds an answer.
    pub fn put(&mut self, name: &'static str, value: Value) {
        self.values.push((name, value));
    }

    /// Puts an answer in the place of another.
    pub fn set(&mut self, name: &'static str, value: Value) {
        self.values.retain(|one| one.0 != name);
        self.put(name, value);
    }

    pub(super) fn value(&self, name: &str) -> Option<&Value> {
        self.values.iter().find(|one| one.0 == name).map(|one| &one.1)
    }

    /// A number, if it was given.
    pub fn optional(&self, name: &str) -> Option<f64> {
        match self.value(name) {
            Some(Value::Number(number)) => Some(*number),
            _ => None,
        }
    }

    /// A number that has to be given; NaN, which every formula refuses in words, where it was not.
    pub fn number(&self, name: &str) -> f64 {
        self.optional(name).unwrap_or(f64::NAN)
    }

    /// A sugar content.
    pub fn sugar(&self, name: &str) -> Content {
        match self.value(name) {
            Some(Value::Sugar(sugar)) => Content(*sugar),
            _ => Content(Sugar::Gravity(f64::NAN)),
        }
    }

    /// An amount; none where it was not given.
    pub fn amount(&self, name: &str) -> Option<Amount> {
        match self.value(name) {
            Some(Value::Amount(amount)) => Some(*amount),
            _ => None,
        }
    }

    /// Whether a value was given at all.
    pub fn has(&self, name: &str) -> bool {
        self.value(name).is_some()
    }

    /// The code that was chosen; empty where nothing was.
    pub fn choice(&self, name: &str) -> &'static str {
        match self.value(name) {
            Some(Value::Choice(code)) => code,
            _ => "",
        }
    }

    /// Whether yes was said.
    pub fn flag(&self, name: &str) -> bool {
        self.value(name) == Some(&Value::Flag(true))
    }

    /// A line of text; empty where there is none.
    pub fn words(&self, name: &str) -> &str {
        match self.value(name) {
            Some(Value::Words(words)) => words,
            _ => "",
        }
    }

    /// Parts, or the lines of a log.
    pub fn lines(&self, name: &str) -> &[Given] {
        match self.value(name) {
            Some(Value::Lines(lines)) => lines,
            _ => &[],
        }
    }

    /// What was given, in words, for the working of a figure.
    pub fn said(&self, inputs: &[Input]) -> String {
        let one = |input: &Input| {
            let value = match (self.value(input.name)?, input.kind) {
                (Value::Number(number), _) => {
                    format!("{} {}", plain(*number), input.sign()).trim_end().to_owned()
                }
                (Value::Sugar(sugar), _) => written(*sugar),
                (Value::Amount(Amount::Litres(litres)), _) => format!("{} L", plain(*litres)),
                (Value::Amount(Amount::Kilograms(kg)), _) => format!("{} kg", plain(*kg)),
                (Value::Choice(code), Kind::Choice(of)) => {
                    of.iter().find(|one| one.0 == *code).map_or(*code, |one| one.1).to_owned()
                }
                (Value::Flag(yes), _) => if *yes { "yes" } else { "no" }.to_owned(),
                (Value::Words(words), _) => words.clone(),
                (Value::Lines(lines), Kind::Log(_)) => format!("{} readings", lines.len()),
                (Value::Lines(lines), Kind::Parts(_, of)) => {
                    lines.iter().map(|line| line.said(of)).collect::<Vec<_>>().join(" / ")
                }
                _ => return None,
            };
            Some(format!("{}: {value}", input.label))
        };
        inputs.iter().filter_map(one).collect::<Vec<_>>().join("; ")
    }

    /// The field that holds the value a formula refused: the same number, or the same in per cent or thousandths. Of
    /// several the one that is called like what was refused, or has its unit.
    pub(super) fn field_of(&self, inputs: &[Input], refused: &OutOfRange) -> String {
        let close = |one: f64| (one - refused.value).abs() <= 1e-9 * refused.value.abs().max(1e-12);
        let holds = |found: &Found| {
            [1.0, 0.01, 100.0, 0.001, 1000.0].iter().any(|factor| close(found.number * factor))
        };
        let named = |words: &str| {
            words.split([' ', '_', '.']).any(|word| word.len() > 3 && refused.what.contains(word))
        };
        let likely = |found: &Found| {
            let same = u8::from(close(found.number));
            let unit = u8::from(found.sign == refused.unit);
            let (name, label) = (u8::from(named(&found.path)), u8::from(named(&found.label.to_lowercase())));
            4 * name + 2 * unit + label + same
        };
        let mut best: Option<(u8, String)> = None;
        for found in self.numbers(inputs).into_iter().filter(holds) {
            let score = likely(&found);
            if best.as_ref().is_none_or(|best| score > best.0) {
                best = Some((score, found.path));
            }
        }
        best.map(|best| best.1).unwrap_or_default()
    }

    /// Every number with its path, unit and label.
    fn numbers(&self, inputs: &[Input]) -> Vec<Found> {
        let mut all = Vec::new();
        for input in inputs {
            let of = |sign, number| Found { path: input.name.to_owned(), label: input.label, sign, number };
            match (self.value(input.name), input.kind) {
                (Some(Value::Number(number)), _) => all.push(of(input.sign(), *number)),
                (Some(Value::Amount(Amount::Litres(litres))), _) => all.push(of("L", *litres)),
                (Some(Value::Amount(Amount::Kilograms(kg))), _) => all.push(of("kg", *kg)),
                (Some(Value::Sugar(Sugar::Gravity(sg))), _) => all.push(of("SG", *sg)),
                (Some(Value::Sugar(Sugar::Brix(brix))), _) => all.push(of("°Bx", *brix)),
                (Some(Value::Sugar(Sugar::Content(content))), _) => all.push(of("g/L", *content)),
                (Some(Value::Lines(lines)), Kind::Parts(_, inner)) => {
                    for (at, line) in lines.iter().enumerate() {
                        all.extend(line.numbers(inner).into_iter().map(|found| Found {
                            path: format!("{}.{at}.{}", input.name, found.path),
                            ..found
                        }));
                    }
                }
                (Some(Value::Lines(lines)), Kind::Log(inner)) => {
                    let found = lines.iter().flat_map(|line| line.numbers(inner));
                    all.extend(found.map(|found| Found { path: input.name.to_owned(), ..found }));
                }
                _ => {}
            }
        }
        all
    }
}

/// A number that was given.
struct Found {
    path: String,
    label: &'static str,
    sign: &'static str,
    number: f64,
}

fn written(sugar: Sugar) -> String {
    match sugar {
        Sugar::Gravity(sg) => format!("{sg:.4} SG"),
        Sugar::Brix(brix) => format!("{} °Bx", plain(brix)),
        Sugar::Content(content) => format!("{} g/L", plain(content)),
    }
}

/// A number with as many digits as it has, up to six decimals.
pub(super) fn plain(number: f64) -> String {
    let text = shown(number, 6);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A sugar content, on any scale. Sources: those of [`sugar`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Content(pub Sugar);

impl Content {
    /// As a gravity.
    pub fn sg(self) -> Result<Guide<f64>, OutOfRange> {
        match self.0 {
            Sugar::Gravity(sg) => sugar::GRAVITY.guide(sg),
            Sugar::Brix(brix) => sugar::sg_from_brix(brix),
            Sugar::Content(content) => sugar::sg_from_sugar_g_l(content),
        }
    }

    /// As °Brix.
    pub fn brix(self) -> Result<Guide<f64>, OutOfRange> {
        match self.0 {
            Sugar::Gravity(sg) => sugar::brix_from_sg(sg),
            Sugar::Brix(brix) => sugar::BRIX.guide(brix),
            Sugar::Content(content) => sugar::brix_from_sugar_g_l(content),
        }
    }

    /// As grams of sucrose a litre.
    pub fn g_l(self) -> Result<Guide<f64>, OutOfRange> {
        match self.0 {
            Sugar::Gravity(sg) => sugar::sugar_g_l_from_sg(sg),
            Sugar::Brix(brix) => sugar::sugar_g_l_from_brix(brix),
            Sugar::Content(content) => sugar::SUGAR_G_L.guide(content),
        }
    }
}
