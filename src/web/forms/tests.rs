//! What a person meets in a form.

use super::*;

fn receipt() -> FormView {
    let places = vec![
        Choice::new("p1", "Lower shelf").under("Sluice fridge"),
        Choice::new("p2", "Bay 3").under("Wheel pit"),
    ];
    FormView::new("/stores/receive", "Receive supplies", "Record the receipt")
        .keys("k-1", "t-1")
        .group(Group::repeated("What came", "supply", "lines", 2, |_| {
            vec![Field::text("item", "Item"), Field::text("quantity", "How much").hint("With its unit.")]
        }))
        .group(Group::new(
            "Where it stands",
            vec![
                Field::select("place", "Place", places).value("p2"),
                Field::day("day", "Day").value("30 June 2026"),
                Field::check("opened", "Already opened"),
            ],
        ))
        .caution(Caution::new("Caution: milk", ["Keep it below 4 °C."]))
        .leave("/stores")
}

fn html(form: &FormView) -> String {
    form.render().expect("a form without a writer that fails")
}

#[test]
fn lines_have_their_number_in_name_and_id() {
    let page = html(&receipt());
    assert!(page.contains(r#"<input id="lines-1-quantity" name="lines.1.quantity""#));
    assert!(page.contains("<legend>Supply <span>2</span></legend>"));
    assert!(page.contains(r#"data-repeat="supply""#));
}

#[test]
fn a_folded_group_shows_what_it_holds() {
    let page = html(&receipt());
    assert!(page.contains(r#"<h2>2. Where it stands</h2><span class="dim">Bay 3, 30 June 2026</span>"#));
    assert_eq!(page.matches("<details class=\"fold\" open>").count(), 1);
}

#[test]
fn the_same_words_stand_beside_the_field_and_in_the_summary() {
    let message = "Write how much came, with a unit: 24 L, or 2.5 kg";
    let page = html(&receipt().with_problems(vec![("lines.1.quantity".into(), message.into())]));
    assert!(page.contains("There is a problem"));
    assert!(page.contains(&format!(r##"<a href="#lines-1-quantity">{message}</a>"##)));
    assert!(page.contains(&format!(r#"<p class="err" id="lines-1-quantity-error">{message}</p>"#)));
    assert!(
        page.contains(
            r#"aria-describedby="lines-1-quantity-hint lines-1-quantity-error" aria-invalid="true""#
        )
    );
    assert!(page.find("There is a problem") < page.find("<h1>"));
}

#[test]
fn a_problem_without_a_field_is_still_listed() {
    let page =
        html(&receipt().with_problems(vec![(String::new(), "The lot was drawn empty meanwhile.".into())]));
    assert!(page.contains("<li><span>The lot was drawn empty meanwhile.</span></li>"));
}

#[test]
fn groups_with_a_problem_are_open_and_the_others_are_not() {
    let page = html(&receipt().with_problems(vec![("day".into(), "Write the day".into())]));
    let opened = page.find("<details class=\"fold\" open>").expect("an open group");
    assert_eq!(page.matches("<details class=\"fold\" open>").count(), 1);
    assert!(opened < page.find("2. Where it stands").expect("the second group"));
    assert!(opened > page.find("1. What came").expect("the first group"));
}

#[test]
fn what_was_typed_survives_and_secrets_do_not() {
    let form = FormView::new("/sign-in", "Sign in", "Sign in").fields([
        Field::email("mail", "Mail address"),
        Field::password("password", "Password"),
        Field::check("stay", "Stay signed in").value("yes"),
    ]);
    let page = html(&form.filled(|name| (name != "stay").then(|| format!("<{name}>"))));
    assert!(page.contains(r#"value="&#60;mail&#62;""#));
    assert!(!page.contains("password&#62;"));
    assert!(!page.contains("checked"));
}

#[test]
fn choices_stand_under_their_headings() {
    let page = html(&receipt());
    assert!(
        page.contains(r#"<optgroup label="Wheel pit"><option value="p2" selected>Bay 3</option></optgroup>"#)
    );
}

#[test]
fn both_keys_go_with_the_form() {
    let page = html(&receipt());
    assert!(page.contains(r#"name="request_key" value="k-1""#));
    assert!(page.contains(r#"name="form_token" value="t-1""#));
}

#[test]
fn the_caution_stands_before_the_button() {
    let page = html(&receipt());
    assert!(page.find("Keep it below 4 °C.") < page.find("Record the receipt"));
}

#[test]
fn no_browser_checks_get_in_the_way_and_numbers_are_typed_as_text() {
    let form = FormView::new("/", "", "Keep")
        .fields([Field::decimal("mass", "Mass").after("kg"), Field::whole("n", "Number")]);
    let page = html(&form);
    assert!(page.contains("novalidate"));
    assert!(page.contains(r#"inputmode="decimal""#));
    assert!(page.contains(r#"inputmode="numeric""#));
    assert!(page.contains("<span>kg</span>"));
    assert!(!page.contains("type=\"number\""));
}
