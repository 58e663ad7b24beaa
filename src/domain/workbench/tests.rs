//! Every question of the table: its example works, it gives what it declares, and whatever it is asked it answers
//! with
//! finite numbers or says in words what to do.

use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;
use crate::domain::refusal::Refusal;
use crate::units::dimension::{Amount, Sugar};

/// The example of a list of inputs, read as a page would.
fn example(inputs: &'static [Input]) -> Given {
    let mut given = Given::default();
    for input in inputs {
        let value = match (input.kind, input.example, input.need) {
            (Kind::Parts(_, of), example, _) => {
                let line = |line: &str| {
                    let mut given = Given::default();
                    for (inner, cell) in of.iter().zip(line.split_whitespace()) {
                        given.put(inner.name, inner.read(cell).unwrap());
                    }
                    given
                };
                Some(Value::Lines(example.lines().map(line).collect()))
            }
            (_, "", Need::Usually(usual)) => Some(input.read(usual).unwrap()),
            (_, "", _) => None,
            (_, example, _) => {
                Some(input.read(example).unwrap_or_else(|why| panic!("{}: {why}", input.name)))
            }
        };
        if let Some(value) = value {
            given.put(input.name, value);
        }
    }
    given
}

fn asked(question: &'static Question) -> Result<Sheet, Refusal> {
    question.ask(&example(question.inputs))
}

#[test]
fn every_example_is_answered_with_figures_that_say_how_they_came_about() {
    for question in questions() {
        let sheet = asked(question).unwrap_or_else(|why| panic!("{}: {why:?}", question.slug));
        assert!(sheet.says.len() > 5 && sheet.says.ends_with('.'), "{}: {}", question.slug, sheet.says);
        assert!(!sheet.figures.is_empty(), "{}", question.slug);
        for figure in &sheet.figures {
            let gives = question.gives(figure.code);
            assert!(gives.is_some(), "{} does not declare {}", question.slug, figure.code);
        }
        for gives in question.gives {
            let worked = !gives.formula.is_empty() || !gives.source.is_empty() || gives.code == "hottest";
            assert!(worked, "{}.{} does not say how", question.slug, gives.code);
            assert!(gives.formula.len() + gives.source.len() < 700, "{}.{}", question.slug, gives.code);
        }
    }
}

#[test]
fn names_are_told_apart() {
    let mut slugs = BTreeSet::new();
    for question in questions() {
        assert!(slugs.insert(question.slug), "{} twice", question.slug);
        let names: BTreeSet<&str> = question.inputs.iter().map(|input| input.name).collect();
        assert_eq!(names.len(), question.inputs.len(), "{}: two inputs of one name", question.slug);
        let codes: BTreeSet<&str> = question.gives.iter().map(|gives| gives.code).collect();
        assert_eq!(codes.len(), question.gives.len(), "{}: two figures of one code", question.slug);
    }
    assert!(slugs.len() >= 25, "only {} questions", slugs.len());
}

#[test]
fn what_a_formula_refuses_is_said_at_the_field_it_came_from() {
    let field = |slug: &str, name: &'static str, value: Value| {
        let question = question(slug).unwrap();
        let mut given = Given::default();
        given.put(name, value);
        for input in question.inputs.iter().filter(|input| input.name != name) {
            if let Some(value) = example_of(question, input.name) {
                given.put(input.name, value);
            }
        }
        let refusal = question.ask(&given).unwrap_err();
        (refusal.faults[0].field.clone(), refusal.faults[0].message.clone())
    };
    let (at, said) = field("strength-reached", "before", Value::Number(1.3));
    assert_eq!(at, "before");
    assert!(said.contains("between 1 and 1.17 SG; 1.3 SG is too high"), "{said}");
    assert_eq!(
        field("whey", "moisture", Value::Number(90.0)).0,
        "moisture",
        "given in per cent, refused as a share"
    );
    assert_eq!(field("hydrometer", "temperature", Value::Number(60.0)).0, "temperature");
    assert_eq!(field("scales", "sugar", Value::Sugar(Sugar::Brix(99.0))).0, "sugar");
    assert_eq!(field("pressure", "left", Value::Number(400.0)).0, "left");
    assert_eq!(field("how-strong", "what", Value::Choice("milk")).0, "what");
    assert_eq!(field("refractometer", "working", Value::Flag(true)).0, "working");
}

fn example_of(question: &'static Question, name: &str) -> Option<Value> {
    example(question.inputs).value(name).cloned()
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => 0.0..2.0_f64,
        4 => 0.9..1.2_f64,
        4 => 0.0..100.0_f64,
        2 => -50.0..2000.0_f64,
        1 => prop_oneof![Just(0.0), Just(-0.0), Just(1e-300), Just(1e18), Just(-1e18), Just(f64::MIN_POSITIVE)],
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(f64::MAX)],
    ]
}

/// Wild answers to every input of a question.
fn wild(inputs: &'static [Input]) -> BoxedStrategy<Given> {
    let one = |input: &'static Input| {
        let usual = match (input.kind, input.example) {
            (Kind::Parts(..), _) | (_, "") => None,
            (_, example) => input.read(example).ok(),
        };
        let value: BoxedStrategy<Value> = match input.kind {
            Kind::Measure(_) => number().prop_map(Value::Number).boxed(),
            Kind::Sugar => (0..3, number())
                .prop_map(|(scale, number)| {
                    Value::Sugar(match scale {
                        0 => Sugar::Gravity(number),
                        1 => Sugar::Brix(number),
                        _ => Sugar::Content(number),
                    })
                })
                .boxed(),
            Kind::Amount => (any::<bool>(), number())
                .prop_map(|(volume, number)| {
                    Value::Amount(if volume { Amount::Litres(number) } else { Amount::Kilograms(number) })
                })
                .boxed(),
            Kind::Choice(of) => (0..of.len()).prop_map(|at| Value::Choice(of[at].0)).boxed(),
            Kind::Flag => any::<bool>().prop_map(Value::Flag).boxed(),
            Kind::Words => Just(Value::Words("egg".to_owned())).boxed(),
            Kind::Parts(_, of) | Kind::Log(of) => {
                proptest::collection::vec(wild(of), 0..7).prop_map(Value::Lines).boxed()
            }
        };
        (value, 0..4, Just(usual)).prop_map(move |(value, which, usual)| {
            (
                input.name,
                match which {
                    0 | 1 => usual.or(Some(value)),
                    2 => Some(value),
                    _ => None,
                },
            )
        })
    };
    let all: Vec<_> = inputs.iter().map(one).collect();
    all.prop_map(|values| {
        let mut given = Given::default();
        for (name, value) in values {
            if let Some(value) = value {
                given.put(name, value);
            }
        }
        given
    })
    .boxed()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn no_question_panics_or_answers_nonsense(
        (question, given) in (0..questions().count()).prop_flat_map(|at| {
            let question = questions().nth(at).expect("one of them");
            wild(question.inputs).prop_map(move |given| (question, given))
        })
    ) {
        let said = given.said(question.inputs);
        prop_assert!(said.len() < 100_000);
        match question.ask(&given) {
            Ok(sheet) => {
                for figure in &sheet.figures {
                    if let Held::Number(number) = figure.value {
                        prop_assert!(number.is_finite(), "{}.{} is {number}", question.slug, figure.code);
                    }
                    prop_assert!(figure.give_or_take.is_none_or(f64::is_finite), "{}.{}", question.slug, figure.code);
                }
            }
            Err(refusal) => {
                prop_assert!(!refusal.faults.is_empty());
                for fault in &refusal.faults {
                    prop_assert!(fault.message.len() > 15, "{}: {}", question.slug, fault.message);
                }
            }
        }
    }
}
