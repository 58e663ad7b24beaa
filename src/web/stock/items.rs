//! The kinds of things kept: the list, one item, and the form of a new or changed one.

use askama::Template;

use super::read::{self, Asked};
use super::{Paths, exact, figure_and_unit, seen_figure};
use crate::actions::stock as actions;
use crate::db::buying::{Of, look};
use crate::db::counts;
use crate::db::stock::{self as rows, StockFilter, Stocked};
use crate::domain::counts::covered::Covered;
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::stock::{ALLERGENS, Item, ItemKind};
use crate::units::days;
use crate::units::ids::ItemId;
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::body::Form;
use crate::web::buying::item::Part;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

#[derive(Template)]
#[template(path = "stores/items.html")]
struct ItemsPage {
    frame: Frame,
    lead: String,
    may_record: bool,
    kinds: Vec<(&'static str, Vec<ListRow>)>,
}

struct ListRow {
    href: String,
    name: String,
    about: String,
}

/// All items by kind.
pub async fn list(who: Onlooker, site: Site) -> Reply {
    let (facts, items) = site.read(&who, |conn, doer| rows::items(conn, doer.club)).await?;
    let of = |kind: ItemKind| {
        let of_kind = items.iter().filter(|(_, item)| item.kind == kind);
        (kind.heading(), of_kind.map(|(id, item)| list_row(&site, *id, item)).collect::<Vec<_>>())
    };
    let page = ItemsPage {
        lead: match items.len() {
            0 => String::new(),
            count => format!(
                "{}. How much there is of each stands under Stores.",
                words::count(count.try_into().unwrap_or(i64::MAX), "item", "items")
            ),
        },
        may_record: who.role >= Role::Cellarhand,
        kinds: ItemKind::ALL.into_iter().map(of).filter(|(_, rows)| !rows.is_empty()).collect(),
        frame: site.frame(&who, Room::Stores, "Items", facts),
    };
    respond::page(&page)
}

fn list_row(site: &Site, id: ItemId, item: &Item) -> ListRow {
    let mut about = vec![counted_in(item.unit).to_owned()];
    if !item.allergens.is_empty() {
        about.push(format!("allergens: {}", item.allergens.join(", ")));
    }
    if let Some(low) = item.low_at {
        about.push(format!("low below {}", low.shown(item.unit)));
    }
    if let Some(bar) = item.made_for_mbar {
        about.push(format!("made for up to {} bar", number::plain(bar, 3)));
    }
    ListRow {
        href: site.at(&format!("/stores/items/{id}")),
        name: item.name.clone(),
        about: about.join(" · "),
    }
}

const fn counted_in(unit: BaseUnit) -> &'static str {
    match unit {
        BaseUnit::Gram => "by mass",
        BaseUnit::Millilitre => "by volume",
        BaseUnit::Piece => "by the piece",
    }
}

#[derive(Template)]
#[template(path = "stores/item.html")]
struct ItemPage {
    frame: Frame,
    name: String,
    drink: bool,
    sub: String,
    figure: String,
    unit: String,
    lead: String,
    receive: Option<String>,
    change: Option<String>,
    lots: Vec<(String, String, String, String, String)>,
    facts: Vec<(&'static str, String, String)>,
    /// How it is bought; of what is bought at all.
    buying: Option<Part>,
}

/// One item: how much of it there is, and what is known of it.
pub async fn show(who: Onlooker, site: Site, path: Path<ItemId>) -> Reply {
    let id = path.0;
    let (facts, (item, lines, places, looked, covered)) = site
        .read(&who, move |conn, doer| {
            let of = StockFilter { items: vec![id], ..StockFilter::default() };
            let lines = rows::stock(conn, doer.club, &of)?;
            let looked = look(conn, doer.club, doer.today(), Of::Item(id))?;
            let (item, places) = (rows::item(conn, doer.club, id)?, rows::places(conn, doer.club)?);
            Ok((item, lines, places, looked, counts::covered(conn, doer)?))
        })
        .await?;
    let quantity: Milli = lines.iter().map(|line| line.quantity).sum();
    let cost: Money = lines.iter().map(|line| line.cost).sum();
    let hidden = covered.hides_item(id);
    let (figure, unit) = if hidden {
        (String::new(), words::COVERED.to_owned())
    } else {
        figure_and_unit(quantity, item.unit, item.kind)
    };
    let paths = Paths::of(&places);
    let may_record = who.role >= Role::Cellarhand;
    let drink = item.kind == ItemKind::Drink;
    let page = ItemPage {
        name: item.name.clone(),
        drink,
        sub: format!("{}, counted {}", kind_name(item.kind), counted_in(item.unit)),
        unit,
        figure,
        lead: match lines.len() {
            _ if hidden => covered.words().unwrap_or_default(),
            0 => "There is none of it in stock.".to_owned(),
            _ => format!("In stock, worth {} at what it cost.", words::money(&who.currency, cost)),
        },
        receive: (may_record && !drink).then(|| site.at(&format!("/stores/receipts/new?item={id}"))),
        change: may_record.then(|| site.at(&format!("/stores/items/{id}/edit"))),
        lots: lines.iter().map(|line| lot_row(&site, &who, &paths, line, &covered)).collect(),
        facts: known(&who, &item),
        // What is free to use tells how much there is.
        buying: if hidden { None } else { Part::of(&site, &who, &looked) },
        frame: site.frame(&who, Room::Stores, &item.name, facts),
    };
    respond::page(&page)
}

fn lot_row(
    site: &Site,
    who: &Doer,
    paths: &Paths,
    line: &Stocked,
    covered: &Covered,
) -> (String, String, String, String, String) {
    let (figure, unit) = seen_figure(line, covered);
    let cost = format!(" · {}", words::money(&who.currency, line.cost));
    let cost = if covered.hides(line.lot, line.place) { String::new() } else { cost };
    let good = line.best_before.map(|day| {
        let words = if line.opened_on.is_some() { "open, good until" } else { "best before" };
        format!(" · {words} {}", days::tiny(day, who.today()))
    });
    let about = format!("{}{}{cost}", paths.short(&line.path), good.unwrap_or_default());
    (site.at(&format!("/stores/lots/{}", line.lot)), line.code.clone(), about, figure, unit)
}

/// What is known of an item: name, figure, unit.
fn known(who: &Doer, item: &Item) -> Vec<(&'static str, String, String)> {
    let shares = [
        ("Sugar that yeast takes", item.sugar_mg_per_kg),
        ("Lactose", item.lactose_mg_per_kg),
        ("Fat", item.fat_mg_per_kg),
        ("Casein", item.casein_mg_per_kg),
    ];
    let mut facts = Vec::new();
    if let Some(density) = item.density_micro {
        facts.push(("Density", number::plain(density, 6), "g/mL".to_owned()));
    }
    facts.extend(
        shares.into_iter().filter_map(|(name, share)| {
            share.map(|share| (name, number::plain(share, 3), "g/kg".to_owned()))
        }),
    );
    if item.splits_lactose {
        facts.push(("Splits lactose", "yes".to_owned(), String::new()));
    }
    match (item.kind, item.allergens.join(", ")) {
        (ItemKind::Drink, stated) if stated.is_empty() => {
            facts.push(("Allergens", "each bottling names its own".to_owned(), String::new()));
        }
        (ItemKind::Drink, stated) => {
            facts.push(("Allergens", format!("{stated}, and those each bottling names"), String::new()));
        }
        (_, stated) if !stated.is_empty() => facts.push(("Allergens", stated, String::new())),
        _ => {}
    }
    if let Some(value) = item.value_per_unit {
        let unit = format!("{} a {}", words::sign(&who.currency).trim(), item.unit.priced().0);
        facts.push(("Net value", read::per_priced(value, item.unit), unit));
    }
    if let Some(low) = item.low_at {
        let (figure, unit) = figure_and_unit(low, item.unit, item.kind);
        facts.push(("Low below", figure, unit));
    }
    if let Some(bar) = item.made_for_mbar {
        facts.push(("Made for up to", number::plain(bar, 3), "bar".to_owned()));
    }
    facts
}

/// The form of a new item.
pub async fn new_form(hand: Cellarhand, site: Site) -> Reply {
    respond::page(&new_page(&site, &hand, |view| view).await?)
}

/// A new item.
pub async fn add(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let item = read::item(&form.draft, &hand, None, Asked::OnPage)?;
        actions::add_item(&site.db, &hand, form.key.clone(), item).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/stores/items/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = new_page(&site, &hand, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn new_page(
    site: &Site,
    hand: &Cellarhand,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, ()) = site.read(hand, |_, _| Ok(())).await?;
    let view = site
        .form("/stores/items", "A new item", "Record the item")
        .intro("An item is a kind of thing you keep: whole sheep’s milk, cane sugar, cork 38 mm, curds.")
        .leave(site.at("/stores/items"));
    let frame = site.frame(hand, Room::Stores, "A new item", facts);
    let back = Some((site.at("/stores/items"), "Items".to_owned()));
    Ok(FormPage::new(frame, back, fill(questions(view, hand, None))))
}

/// The form that changes an item.
pub async fn change_form(hand: Cellarhand, site: Site, path: Path<ItemId>) -> Reply {
    respond::page(&change_page(&site, &hand, path.0, |view| view).await?)
}

/// A changed item.
pub async fn change(hand: Cellarhand, site: Site, path: Path<ItemId>, form: Form) -> Reply {
    let (id, club) = (path.0, hand.club);
    let done = async {
        let kept = site.db.read(move |conn| rows::item(conn, club, id)).await?;
        let item = read::item(&form.draft, &hand, Some(&kept), Asked::OnPage)?;
        actions::change_item(&site.db, &hand, form.key.clone(), id, item).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/stores/items/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = change_page(&site, &hand, id, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn change_page(
    site: &Site,
    hand: &Cellarhand,
    id: ItemId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, item) = site.read(hand, move |conn, doer| rows::item(conn, doer.club, id)).await?;
    let here = format!("/stores/items/{id}");
    let view = site
        .form(&here, &item.name, "Record the change")
        .intro(format!(
            "It is counted {}; that stays, so that what is recorded keeps its meaning.",
            counted_in(item.unit)
        ))
        .leave(site.at(&here));
    let frame = site.frame(hand, Room::Stores, &item.name, facts);
    let back = Some((site.at(&here), item.name.clone()));
    Ok(FormPage::new(frame, back, fill(questions(view, hand, Some(&item)))))
}

/// The questions about an item, with what is known of it.
fn questions(view: FormView, doer: &Doer, item: Option<&Item>) -> FormView {
    view.group(Group::new("What it is", naming(item)))
        .group(Group::new(
            match item.map(|item| item.kind) {
                Some(ItemKind::Drink) => "Allergens in every bottling, beside those of what went into it",
                _ => "Allergens",
            },
            allergens(item),
        ))
        .group(Group::new("Worth, and when it is low", worth(doer, item)))
        .group(Group::new("What is in it", composition(item)))
}

fn naming(item: Option<&Item>) -> Vec<Field> {
    let kinds = ItemKind::ALL.into_iter().filter(|kind| *kind != ItemKind::Drink);
    let kinds =
        kinds.map(|kind| Choice::new(kind.code(), format!("{}: {}", kind_name(kind), kind_meaning(kind))));
    let mut fields = vec![
        Field::text("name", "Name")
            .hint("As people call it, with the size where that matters: Bottle 75 cl green.")
            .value(item.map(|item| item.name.clone()).unwrap_or_default()),
    ];
    match item {
        Some(item) if item.kind == ItemKind::Drink => fields.push(Field::hidden("kind", item.kind.code())),
        _ => fields.push(
            Field::radios("kind", "Kind", kinds.collect())
                .value(item.map_or("ingredient", |item| item.kind.code())),
        ),
    }
    if item.is_none() {
        let units = vec![
            Choice::new("g", "By mass: g, kg, lb, oz"),
            Choice::new("mL", "By volume: mL, L, gal, pt"),
            Choice::new("piece", "By the piece"),
        ];
        fields.push(
            Field::radios("unit", "How it is counted", units)
                .hint("This cannot be changed later.")
                .value("g"),
        );
    }
    fields
}

fn allergens(item: Option<&Item>) -> Vec<Field> {
    let tick = |allergen: &str| {
        let has = item.is_some_and(|item| item.allergens.iter().any(|one| one == allergen));
        Field::check(format!("allergens.{allergen}"), words::capital(allergen)).value(if has {
            "yes"
        } else {
            ""
        })
    };
    ALLERGENS.into_iter().map(tick).collect()
}

fn worth(doer: &Doer, item: Option<&Item>) -> Vec<Field> {
    let sign = words::sign(&doer.currency).trim().to_owned();
    let value = item.and_then(|item| Some(read::per_priced(item.value_per_unit?, item.unit)));
    let low = item.and_then(|item| Some(exact(item.low_at?, item.unit)));
    let of =
        item.map_or("kg, L or piece, as it is counted".to_owned(), |item| item.unit.priced().0.to_owned());
    vec![
        Field::decimal("value", "Net value")
            .hint(format!(
                "What one {of} would fetch, less what selling it costs. A by-product takes this much off \
                 the cost of the drink it came from. Empty if it is not sold or used."
            ))
            .after(sign)
            .value(value.unwrap_or_default()),
        Field::text("low_at", "Low below")
            .hint(
                "With its unit: 3 kg, 20 mL, 24. When less is left, it is shown, somebody is reminded, and it goes on \
                 the shopping list. Empty: the list works a point out from its use. 0: bought for a batch only.",
            )
            .value(low.unwrap_or_default()),
        Field::decimal("made_for_bar", "Made for up to")
            .hint(
                "Of bottles and kegs, by their maker. Empty for plain wine bottles, jars, closures and labels: they \
                 are taken as not made for pressure.",
            )
            .after("bar")
            .value(item.and_then(|item| Some(number::plain(item.made_for_mbar?, 3))).unwrap_or_default()),
    ]
}

fn composition(item: Option<&Item>) -> Vec<Field> {
    let share = |of: fn(&Item) -> Option<i64>| {
        item.and_then(of).map(|share| number::plain(share, 3)).unwrap_or_default()
    };
    let density = item.and_then(|item| item.density_micro).map(|density| number::plain(density, 6));
    vec![
        Field::decimal("density_g_per_ml", "Density")
            .hint(
                "Turns volume into mass. Of what dissolves, such as honey 1.42 or cane sugar 1.617, it \
                 says by how much the drink grows. Empty counts a liquid as 1.",
            )
            .after("g/mL")
            .value(density.unwrap_or_default()),
        Field::decimal("sugar_g_per_kg", "Sugar that yeast takes")
            .hint("As grape sugar; cane sugar is 1052.6. For the strength and the sweetness to expect.")
            .after("g in 1 kg")
            .value(share(|item| item.sugar_mg_per_kg)),
        Field::decimal("lactose_g_per_kg", "Lactose")
            .hint("Wine yeast leaves it. It counts for the strength once an enzyme has split it.")
            .after("g in 1 kg")
            .value(share(|item| item.lactose_mg_per_kg)),
        Field::decimal("fat_g_per_kg", "Fat")
            .hint("With the casein: how much curd the milk should give.")
            .after("g in 1 kg")
            .value(share(|item| item.fat_mg_per_kg)),
        Field::decimal("casein_g_per_kg", "Casein")
            .after("g in 1 kg")
            .value(share(|item| item.casein_mg_per_kg)),
        Field::check("splits_lactose", "It is an enzyme that splits lactose")
            .value(if item.is_some_and(|item| item.splits_lactose) { "yes" } else { "" }),
    ]
}

/// One of a kind.
const fn kind_name(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Ingredient => "Ingredient",
        ItemKind::Aid => "Aid",
        ItemKind::Packaging => "Packaging",
        ItemKind::ByProduct => "By-product",
        ItemKind::Drink => "Drink",
    }
}

const fn kind_meaning(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Ingredient => "becomes part of the drink",
        ItemKind::Aid => "yeast, rennet, finings, cleaners",
        ItemKind::Packaging => "bottles, closures, labels",
        ItemKind::ByProduct => "curds, lees, pomace",
        ItemKind::Drink => "in bottles",
    }
}
