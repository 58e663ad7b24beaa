//! Supplies that arrive: the form of a receipt, and what recording it leads to.

use std::collections::HashMap;

use super::{Paths, place_choices, read, up};
use crate::actions::bills::record_receipt_with_bills;
use crate::actions::stock::Received;
use crate::db::members::{self, Member};
use crate::db::stock::{self as rows, Earlier, Place};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::stock::{Item, ItemKind};
use crate::units::days;
use crate::units::ids::{EntryId, ItemId};
use crate::units::quantity::BaseUnit;
use crate::web::bills;
use crate::web::body::BillForm;
use crate::web::extract::Query;
use crate::web::form_page::FormPage;
use crate::web::forms::{Caution, Choice, Field, FormView, Group};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;
use utoipa::ToSchema;

/// Lines that stand ready beside those that are filled.
const SPARE: usize = 3;
/// Receipts of before that are offered to be written again, and how many things each names.
const EARLIER: usize = 3;
const NAMED: usize = 3;
/// The most lines that are shown at once.
const MOST_SHOWN: usize = 40;

/// What is known of a receipt before it is written.
#[derive(serde::Deserialize, ToSchema)]
pub struct ReceiptQuery {
    /// The item that came.
    pub item: Option<String>,
    /// The receipt whose lines it has again.
    pub like: Option<String>,
}

/// What the form offers.
struct Material {
    items: Vec<(ItemId, Item)>,
    places: Vec<Place>,
    members: Vec<Member>,
    suppliers: Vec<String>,
    earlier: Vec<Earlier>,
}

/// The form of a receipt.
pub async fn new_form(hand: Cellarhand, site: Site, query: Query<ReceiptQuery>) -> Reply {
    let club = hand.club;
    let (item, like): (Option<ItemId>, Option<EntryId>) =
        query.draft.read(&hand, |r| (r.optional_id("item", "item"), r.optional_id("like", "receipt")))?;
    let (paid_by, lines) = match like {
        Some(entry) => site.db.read(move |conn| rows::receipt_again(conn, club, entry)).await?,
        None => (None, Vec::new()),
    };
    if like.is_some() && lines.is_empty() {
        return Err(Problem::missing("receipt"));
    }
    let known = site.db.read(move |conn| rows::items(conn, club)).await?;
    let units: HashMap<ItemId, BaseUnit> = known.into_iter().map(|(id, item)| (id, item.unit)).collect();
    let mut values = HashMap::new();
    if let Some(item) = item {
        values.insert("lines.0.item".to_owned(), item.to_string());
    }
    for (at, line) in lines.iter().enumerate() {
        let shown = units.get(&line.item).map(|unit| line.quantity.shown(*unit)).unwrap_or_default();
        let pairs = [
            ("item", line.item.to_string()),
            ("quantity", shown),
            ("cost", line.cost.shown()),
            ("place", line.place.to_string()),
            ("supplier", line.supplier.clone()),
        ];
        values.extend(pairs.map(|(name, value)| (format!("lines.{at}.{name}"), value)));
    }
    if let Some(member) = paid_by {
        values.insert("paid_by".to_owned(), member.to_string());
    }
    let page = page(&site, &hand, lines.len(), |mut view| {
        for field in view.groups.iter_mut().flat_map(|group| &mut group.fields) {
            if let Some(value) = values.remove(&field.name) {
                field.value = value;
            }
        }
        if !lines.is_empty() {
            "The same as before: look at the amounts and prices, and write the days and marks that stand on the new \
             packages."
                .clone_into(&mut view.intro);
        }
        view
    });
    respond::page(&page.await?)
}

/// A receipt.
pub async fn record(hand: Cellarhand, site: Site, mut sent: BillForm) -> Reply {
    let came = !sent.files.is_empty();
    match recorded(&hand, &site, &mut sent).await {
        Ok(done) => Ok(site.see_other(&format!("/stores?received={}", done.entry))),
        Err(error) => {
            let mut refusal = on_page(Problem::or_refusal(error)?);
            bills::choose_again(&mut refusal, came);
            let form = &sent.form;
            let page =
                page(&site, &hand, form.draft.count("lines"), |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn recorded(
    hand: &Cellarhand,
    site: &Site,
    sent: &mut BillForm,
) -> Result<Received, crate::actions::Error> {
    let files = sent.bills();
    let form = &sent.form;
    let (club, named) = (hand.club, read::items_named(&form.draft));
    let units = site.db.read(move |conn| rows::units(conn, club, &named, &[])).await?;
    match (read::receipt(&form.draft, hand, &units), files) {
        (Ok(receipt), Ok(files)) => {
            record_receipt_with_bills(&site.db, hand, form.key.clone(), receipt, files).await
        }
        (Err(mut typed), Err(files)) => {
            typed.faults.extend(files.faults);
            Err(typed.into())
        }
        (Err(refusal), Ok(_)) | (Ok(_), Err(refusal)) => Err(refusal.into()),
    }
}

/// A receipt without lines is mended in its first line.
fn on_page(mut refusal: Refusal) -> Refusal {
    for fault in refusal.faults.iter_mut().filter(|fault| fault.field == "lines") {
        "lines.0.item".clone_into(&mut fault.field);
    }
    refusal
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    typed: usize,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, found) = site
        .read(hand, |conn, doer| {
            Ok(Material {
                items: rows::items(conn, doer.club)?,
                places: rows::places(conn, doer.club)?,
                members: members::members(conn, doer.club)?,
                suppliers: rows::suppliers(conn, doer.club)?,
                earlier: rows::latest_receipts(conn, doer.club, EARLIER)?,
            })
        })
        .await?;
    let frame = site.frame(hand, Room::Stores, "Receive supplies", facts);
    Ok(FormPage::new(frame, Some(up(site)), fill(form(site, hand, &found, typed))))
}

fn form(site: &Site, doer: &Doer, found: &Material, typed: usize) -> FormView {
    let items = item_choices(&found.items);
    let places = place_choices(&Paths::of(&found.places), &found.places, "Choose a place");
    let suppliers = &found.suppliers;
    let count = (typed.max(1) + SPARE).min(MOST_SHOWN.max(typed));
    let view = site
        .form("/stores/receipts", "Receive supplies", "Record the receipt")
        .intro("One line for each thing that came. Each becomes a lot with a number of its own.")
        .starts(found.earlier.iter().map(|earlier| again(site, doer, earlier)).collect())
        .leave(site.at("/stores"))
        .group(Group::repeated("What came", "line", "lines", count, |_| {
            line(doer, items.clone(), places.clone(), suppliers)
        }))
        .group(Group::new(
            "When, and who paid",
            [
                Field::day("day", "Day").value(days::long(doer.today())),
                Field::select("paid_by", "Who paid", payers(&found.members))
                    .hint("What a member paid is added to what the club owes them.")
                    .value("club"),
                Field::decimal("tax_percent", "Tax to add to these prices")
                    .hint("Empty where they are with tax, as on most bills of shops.")
                    .after("%"),
                Field::area("remark", "Remark")
                    .hint("If something came past its day, say here why it was taken all the same."),
            ],
        ));
    let view = view.group(Group::new("The bill", [bills::field()]));
    if keeps_milk(&found.items) { view.caution(milk()) } else { view }
}

/// "The same as on 3 May: milk, rennet and 2 more".
fn again(site: &Site, doer: &Doer, earlier: &Earlier) -> (String, String) {
    let (named, more) = earlier.items.split_at(earlier.items.len().min(NAMED));
    let more = if more.is_empty() { String::new() } else { format!(" and {} more", more.len()) };
    let day = days::short(earlier.day, doer.today());
    (
        site.at(&format!("/stores/receipts/new?like={}", earlier.entry)),
        format!("The same as on {day}: {}{more}", named.join(", ")),
    )
}

fn line(doer: &Doer, items: Vec<Choice>, places: Vec<Choice>, suppliers: &[String]) -> Vec<Field> {
    let supplier = match suppliers {
        [] => "Leave it empty if nobody did.".to_owned(),
        known => {
            format!("As before, such as {}.", known.iter().take(3).cloned().collect::<Vec<_>>().join(", "))
        }
    };
    vec![
        Field::select("item", "Item", items).hint("What is not in the list yet is made under Stores, Items."),
        Field::text("quantity", "How much")
            .hint("With its unit: 24 L, 2.5 kg, 1 lb 4 oz, ½ gal; packs as 6 × 1 kg; pieces without."),
        Field::decimal("cost", "Paid for it in all")
            .hint("For the whole line, not for one. 0 if it was a gift.")
            .after(words::sign(&doer.currency).trim().to_owned()),
        Field::select("place", "Where it is put", places),
        Field::day("best_before", "Best before").hint(format!(
            "As on the package, such as {}. Empty if it does not spoil.",
            days::long(doer.today())
        )),
        Field::text("supplier", "Who sold it").hint(supplier),
        Field::text("supplier_mark", "Supplier’s lot mark")
            .hint("As printed on it: with it a recall can be followed. Leave it empty if there is none."),
    ]
}

/// All that can be received, by kind; drinks come from bottling.
fn item_choices(items: &[(ItemId, Item)]) -> Vec<Choice> {
    let of = |kind: ItemKind| {
        let kept = items.iter().filter(move |(_, item)| item.kind == kind);
        kept.map(move |(id, item)| Choice::new(id.to_string(), item.name.clone()).under(kind.heading()))
    };
    let kinds = ItemKind::ALL.into_iter().filter(|kind| *kind != ItemKind::Drink);
    std::iter::once(Choice::new("", "Choose what came")).chain(kinds.flat_map(of)).collect()
}

fn payers(members: &[Member]) -> Vec<Choice> {
    let present = members.iter().filter(|member| member.left_on.is_none());
    let present = present.map(|member| Choice::new(member.id.to_string(), member.name.clone()));
    let present = present.map(|choice| choice.under("A member, to be paid back"));
    std::iter::once(Choice::new("club", "The club")).chain(present).collect()
}

fn keeps_milk(items: &[(ItemId, Item)]) -> bool {
    items.iter().any(|(_, item)| {
        item.kind == ItemKind::Ingredient && item.allergens.iter().any(|allergen| allergen == "milk")
    })
}

/// Common practice, no source; both limits are on the safe side of what dairies are held to.
fn milk() -> Caution {
    Caution::new(
        "Caution: milk",
        [
            "Keep it below 4 °C until it is heated.",
            "Milk that stood above 8 °C for more than 2 hours is not used. Raw milk can carry germs that \
             make ill: it is heated before anyone tastes it.",
        ],
    )
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use crate::domain::members::Role;
    use crate::web::server::tests::{FORM, House};
    use crate::web::site::form_token;

    #[test]
    fn packs_and_tax_are_reckoned_and_the_same_is_written_again() {
        let house = House::open("");
        let people = house.found();
        let (_, session, token) = people.iter().find(|person| person.0 == Role::Cellarhand).unwrap();
        let bearer = format!("Bearer {token}");
        let headers = [("authorization", &*bearer), ("content-type", "application/json")];
        let make = |path: &str, body: &Value| {
            let heard = house.ask("POST", &format!("/api/v1{path}"), &headers, &body.to_string());
            let made: Value = serde_json::from_str(&heard.body).unwrap();
            made["id"].as_str().unwrap_or_else(|| panic!("{path}: {}", heard.body)).to_owned()
        };
        let sugar = make("/items", &json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g"}));
        let place = make("/places", &json!({"name": "Wheel pit"}));
        let cookie = format!("undercroft={session}");
        let page = |path: &str| house.ask("GET", path, &[("cookie", &cookie)], "").body;
        assert!(!page("/stores/receipts/new").contains("The same as"), "nothing came before");
        let form_token = form_token(session);
        let send = |quantity: &str, tax: &str| {
            let fields = [
                ("form_token", &*form_token),
                ("request_key", tax),
                ("lines.0.item", &*sugar),
                ("lines.0.quantity", quantity),
                ("lines.0.cost", "10"),
                ("lines.0.place", &*place),
                ("lines.0.supplier", "Mill shop"),
                ("paid_by", "club"),
                ("tax_percent", tax),
            ];
            let body = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
            house.ask("POST", "/stores/receipts", &[("cookie", &cookie), FORM], &body)
        };
        let wrong = send("six×1kg", "210");
        assert_eq!(wrong.status, 422);
        for words in ["such as 6 × ", "from 0 to 100", "six×1kg", "Mill shop"] {
            assert!(wrong.body.contains(words), "{words}");
        }
        assert_eq!(send("6×1kg", "21").status, 303);
        let form = page("/stores/receipts/new");
        let again = form.split("/stores/receipts/new?like=").nth(1).and_then(|rest| rest.split('"').next());
        assert!(form.contains(": Cane sugar</a>"));
        let again = page(&format!("/stores/receipts/new?like={}", again.unwrap()));
        for value in ["6.0 kg", "12.10", "Mill shop"] {
            assert!(again.contains(&format!("value=\"{value}\"")), "{value}");
        }
        let missing = house.ask("GET", "/stores/receipts/new?like=06ayqksyefbbq", &[("cookie", &cookie)], "");
        assert_eq!(missing.status, 404);
    }
}
