//! What a person sees in a flow.

use super::layout::SPAN;
use super::*;

fn euro(cents: i64) -> String {
    format!("€{}.{:02}", cents / 100, cents % 100)
}

fn drawn(inputs: &[Node], straight: &[Node], outputs: &[Node]) -> String {
    flow(&Flow {
        id: "money",
        title: "Where the money went",
        caption: "Most of it went into the bottles.",
        heads: ["paid", "in the batch", "now"],
        inputs,
        straight,
        outputs,
        text: &euro,
    })
}

fn batch_36() -> String {
    drawn(
        &[
            Node::new("Sheep’s milk", 6600),
            Node::new("Sugar", 552),
            Node::new("Rennet", 96),
            Node::new("Yeast", 180),
        ],
        &[Node::new("Bottles, corks, labels", 3234)],
        &[Node::new("Curds, 8.8 kg", 4620), Node::new("42 bottles", 6042)],
    )
}

/// The heights of the uprights at a column, in tenths of a pixel.
fn bars(html: &str, column: &str) -> Vec<i64> {
    let number = |text: &str, name: &str| -> i64 {
        let after = text.split(&format!("{name}=\"")).nth(1).expect("the attribute is there");
        after.split('"').next().expect("it ends").replace('.', "").parse().expect("a number")
    };
    let lines = html.split("<line class=\"k-").skip(1);
    let here = lines.filter(|line| line.contains(&format!("x1=\"{column}%\"")));
    here.map(|line| number(line, "y2") - number(line, "y1")).collect()
}

/// The places of the words on one side, in tenths of a pixel, from the top.
fn words(html: &str, anchor: &str) -> Vec<i64> {
    let texts =
        html.split("<text ").skip(1).filter(|text| text.contains(&format!("text-anchor=\"{anchor}\"")));
    let mut places: Vec<i64> = texts
        .filter_map(|text| text.split("y=\"").nth(1)?.split('"').next())
        .map(|y| if y.contains('.') { y.replace('.', "") } else { format!("{y}0") })
        .map(|y| y.parse().expect("a number"))
        .collect();
    places.sort_unstable();
    places
}

fn never_overlap(html: &str) {
    for anchor in ["start", "end"] {
        let places = words(html, anchor);
        assert!(places.windows(2).all(|pair| pair[1] - pair[0] >= 160), "{anchor}: {places:?}");
    }
}

#[test]
fn what_came_in_is_as_high_as_what_went_out() {
    let html = batch_36();
    let (left, right): (i64, i64) = (bars(&html, "0").iter().sum(), bars(&html, "100").iter().sum());
    assert_eq!(left, right);
    assert!((SPAN - 1..=SPAN).contains(&left), "{left}");
}

#[test]
fn the_batch_is_as_high_as_what_came_into_it() {
    let html = drawn(&[Node::new("Honey", 700), Node::new("Water", 301)], &[], &[Node::new("Mead", 1001)]);
    assert_eq!(bars(&html, "50"), [SPAN]);
    assert_eq!(bars(&html, "0").iter().sum::<i64>(), SPAN);
    assert_eq!(bars(&html, "100"), [SPAN]);
}

#[test]
fn small_parts_stand_together_with_their_sum() {
    let html = batch_36();
    assert!(html.contains("2 others"));
    assert!(html.contains("€2.76"));
    assert!(html.contains("€66.00") && html.contains("Sugar"));
}

#[test]
fn thirty_inputs_do_not_overlap() {
    let equal: Vec<_> = (1..=30).map(|n| Node::new(format!("Supply {n}"), 100)).collect();
    let html = drawn(&equal, &[], &[Node::new("Curds", 30), Node::new("The drink", 2970)]);
    never_overlap(&html);
    assert!(html.contains("Supply 5<") && html.contains("25 others"));
    let uneven: Vec<_> = (0..30).map(|n| Node::new(format!("Supply {n}"), 1 << n)).collect();
    never_overlap(&drawn(
        &uneven,
        &equal,
        &[Node::new("Curds", 3), Node::new("The drink", (1 << 30) + 2996)],
    ));
    never_overlap(&batch_36());
}

#[test]
fn one_input_and_no_output_is_a_batch_that_has_begun() {
    let html = drawn(&[Node::new("Pears", 4000)], &[], &[]);
    assert_eq!(bars(&html, "0"), [SPAN]);
    assert!(bars(&html, "100").is_empty());
}

#[test]
fn nothing_and_less_than_nothing_do_no_harm() {
    assert!(drawn(&[], &[], &[]).contains("Nothing has moved yet."));
    assert!(
        drawn(&[Node::new("Water", 0)], &[], &[Node::new("Drink", 0)]).contains("Nothing has moved yet.")
    );
    let html = drawn(
        &[Node::new("Water", 0), Node::new("Honey", 500)],
        &[],
        &[Node::new("Loss", -20), Node::new("Mead", 500)],
    );
    assert!(!html.contains("Water") && !html.contains("Loss"));
    assert!(!html.contains("NaN") && !html.contains("=\"-1"));
}

#[test]
fn more_out_than_in_is_drawn_as_it_is() {
    let html = drawn(&[Node::new("Must", 900)], &[], &[Node::new("Lees", 200), Node::new("Perry", 800)]);
    assert_eq!(bars(&html, "0").iter().sum::<i64>(), 2340);
    assert_eq!(bars(&html, "100").iter().sum::<i64>(), SPAN);
}

#[test]
fn the_largest_sums_there_are_do_not_break_it() {
    let html = drawn(
        &[Node::new("All", i64::MAX), Node::new("More", i64::MAX)],
        &[],
        &[Node::new("Drink", i64::MAX)],
    );
    assert!(html.contains("All"));
}

#[test]
fn long_names_are_cut() {
    let html = drawn(&[Node::new("Whole milk of the Friesian ewes on the quay meadow", 100)], &[], &[]);
    assert!(html.contains("Whole milk") && html.contains('…'));
    assert!(!html.contains("meadow"));
}

#[test]
fn words_cannot_become_markup() {
    assert!(!drawn(&[Node::new("<script>", 100)], &[], &[Node::new("\"><b>", 100)]).contains("<script>"));
}
