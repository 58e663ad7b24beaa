//! The form of each task.

use super::{Material, Task, of_step, up};
use crate::db::stock::Place;
use crate::domain::batches::Stage;
use crate::domain::bottles::to_fill;
use crate::domain::cautions::{Filled, cautions};
use crate::domain::members::Doer;
use crate::domain::stock::ItemKind;
use crate::units::days;
use crate::units::ids::{BatchId, ItemId};
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::batches::read;
use crate::web::cautions::shown;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::site::Site;
use crate::web::{supplies, vessels, words};

pub(super) fn form(site: &Site, doer: &Doer, task: Task, found: &Material, draft: &Draft) -> FormView {
    let (_, heading, submit) = task.says();
    let path = format!("/batches/{}/{}", found.batch.id, task.code());
    let holds = match found.standing.holding.quantity {
        Milli::ZERO => "nothing is".to_owned(),
        volume => volume.shown(BaseUnit::Millilitre),
    };
    let view = site
        .form(&path, heading, submit)
        .intro(
            std::iter::once(format!("Batch {}, {}: {holds} in it.", found.batch.code, found.batch.name))
                .chain(found.short.iter().cloned())
                .collect::<Vec<_>>()
                .join(" "),
        )
        .leave(up(site, &found.batch).0);
    let day = || Field::day("day", "Day").value(days::long(doer.today()));
    let remark = || Field::area("remark", "Remark");
    let view = match task {
        Task::Draw => supplied_form(view, doer, found, draft, &DRAWN, [day(), remark()]),
        Task::Pitch => supplied_form(view, doer, found, draft, &PITCHED, [day(), remark()]),
        Task::ByProduct => by_product_form(view, doer, found, day(), remark()),
        Task::Reading => view,
        Task::Rack => view.fields(with_vessel(
            found,
            Some(found.batch.id),
            [
                day(),
                Field::text("volume_after", "Volume afterwards").hint(
                    "As measured, such as 34.5 L. What is missing counts as lees; leave it empty if it was not \
                     measured.",
                ),
            ],
            remark(),
        )),
        Task::Split => view.fields(with_vessel(
            found,
            None,
            [
                day(),
                Field::text("volume", "How much goes into the new batch").hint("Such as 10 L."),
                Field::text("name", "What the new batch is called").hint("Leave it empty to keep the name."),
            ],
            remark(),
        )),
        Task::Blend => {
            let into = draft.typed("into").and_then(|id| id.parse().ok());
            view.fields(with_vessel(
                found,
                into,
                [
                    day(),
                    Field::select("into", "Into which batch", other_batches(found)),
                    Field::text("volume", "How much").hint("Such as 10 L."),
                ],
                remark(),
            ))
        }
        Task::Bottle => bottle_form(view, doer, found, draft, day(), remark()),
        Task::Loss => view.fields([
            day(),
            Field::text("volume", "How much").hint("Such as 1.5 L."),
            Field::radios(
                "normal",
                "What kind of loss",
                vec![
                    Choice::new("yes", "Normal: lees, samples, what clings. Its cost stays in the drink."),
                    Choice::new("no", "Abnormal: spilt, spoilt, broken. Its cost goes with it."),
                ],
            )
            .value("yes"),
            Field::text("reason", "How it happened"),
        ]),
        Task::Close => view
            .intro(
                "Its books are settled: nothing more is drawn into it or recorded about it. Its bottles go on as they \
                 are, and the closing can be reversed.",
            )
            .fields([day(), Field::area("reason", "Remark")]),
        Task::Abandon => view.fields([
            day(),
            Field::text("reason", "Why it is given up")
                .hint("All that is left in it, and its cost, becomes a loss."),
        ]),
    };
    let mut known = found.known.clone();
    if matches!(task, Task::Rack | Task::Split | Task::Blend) {
        let volume = if task == Task::Rack { "volume_after" } else { "volume" };
        let vessel = vessels::tasks::named(&found.vessels, draft, "vessel");
        vessels::tasks::add_vessel(&mut known, vessel, draft, volume, found.standing.holding.quantity);
    }
    if task == Task::Bottle {
        let sizes = (0..draft.count(read::SIZES)).map(|at| format!("{}.{at}.", read::SIZES));
        known.bottles =
            std::iter::once(String::new()).chain(sizes).map(|at| filled(found, draft, &at)).collect();
    }
    let view = cautions(&known, task.doing()).iter().map(shown).fold(view, FormView::caution);
    of_step::asked(view, found, task, draft)
}

/// The fields of a form that ask into which vessel it goes, where the club has any; `batch` is what arrives.
fn with_vessel<const N: usize>(
    found: &Material,
    batch: Option<BatchId>,
    fields: [Field; N],
    remark: Field,
) -> Vec<Field> {
    let mut fields = Vec::from(fields);
    let stays = if batch == Some(found.batch.id) { "It stays where it is" } else { "No vessel is noted" };
    let choices = vessels::tasks::choices(&found.vessels, &found.full, batch, None, stays);
    if choices.len() > 1 {
        fields.push(Field::select("vessel", "Into which vessel", choices));
        if found.batch.stage <= Stage::Preparing {
            let warm = Field::decimal("temperature_c", "How warm the liquid is");
            fields.push(warm.hint("Hot liquid breaks glass.").after("°C"));
        }
    }
    fields.push(remark);
    fields
}

/// What a form of supplies asks in its own words.
struct Supplied {
    kinds: &'static [ItemKind],
    what: &'static str,
    /// Lines to begin with.
    lines: usize,
    when: &'static str,
    volume: &'static str,
}

const DRAWN: Supplied = Supplied {
    kinds: &[ItemKind::Ingredient, ItemKind::Aid, ItemKind::ByProduct, ItemKind::Drink],
    what: "What is drawn",
    lines: 2,
    when: "When, and what it gives",
    volume: "As measured, such as 60 L. Left empty, liquids add their volume, sugar and honey what they take up when \
             dissolved.",
};

const PITCHED: Supplied = Supplied {
    kinds: &[ItemKind::Aid, ItemKind::Ingredient],
    what: "The yeast, and what goes in with it",
    lines: 1,
    when: "When",
    volume: "As measured. Leave it empty if it is as before.",
};

fn supplied_form(
    view: FormView,
    doer: &Doer,
    found: &Material,
    draft: &Draft,
    asked: &Supplied,
    [day, remark]: [Field; 2],
) -> FormView {
    let choices = supplies::choices(&found.stock, asked.kinds, doer.today());
    view.group(supplies::group(asked.what, "lines", &choices, draft, asked.lines)).group(Group::new(
        asked.when,
        [day, Field::text("volume_after", "Volume afterwards").hint(asked.volume), remark],
    ))
}

fn by_product_form(view: FormView, doer: &Doer, found: &Material, day: Field, remark: Field) -> FormView {
    let choices = found
        .items
        .iter()
        .filter(|(_, item)| item.kind == ItemKind::ByProduct)
        .map(|(id, item)| Choice::new(id.to_string(), item.name.clone()));
    let choices = std::iter::once(Choice::new("", "Choose what it is")).chain(choices).collect();
    view.group(Group::new(
        "What came off",
        [
            Field::select("item", "What it is", choices).hint("By-products are made under Stores, Items."),
            Field::text("quantity", "How much").hint("With its unit: 8.8 kg, or 19 lb 6 oz."),
            Field::text("volume_after", "Volume left in the batch")
                .hint("As measured, such as 51 L. Left empty, it is worked out from the mass."),
        ],
    ))
    .group(Group::new(
        "Where it goes",
        [
            Field::select("place", "Place", place_choices(&found.places)),
            Field::day("best_before", "Use by").hint(format!("Such as {}.", days::long(doer.today()))),
            Field::decimal("value", "Worth, if other than usual")
                .hint("For one kg, L or piece. Left empty, the net value of the item is taken.")
                .after(words::sign(&doer.currency).trim().to_owned()),
            day,
            remark,
        ],
    ))
}

/// What is filled, as far as the form says it.
/// What is typed of one size, under this path.
fn filled(found: &Material, draft: &Draft, under: &str) -> Filled {
    let (items, lots) = supplies::named(draft, &format!("{under}packaging"));
    let of_lots = found.stock.iter().filter(|line| lots.contains(&line.lot)).map(|line| line.item);
    let named: Vec<ItemId> = items.into_iter().chain(of_lots).collect();
    let packaging = found.items.iter().filter(|(id, _)| named.contains(id)).map(|(_, item)| item);
    let typed = draft
        .typed(&format!("{under}bottle_volume"))
        .and_then(|text| Milli::read(&text, BaseUnit::Millilitre).ok());
    let drink = typed.unwrap_or(Milli::new(750_000));
    to_fill(drink, packaging)
}

fn bottle_form(
    view: FormView,
    doer: &Doer,
    found: &Material,
    draft: &Draft,
    day: Field,
    remark: Field,
) -> FormView {
    let choices = supplies::choices(&found.stock, &[ItemKind::Packaging], doer.today());
    view.group(Group::new(
        "The bottles",
        [
            Field::whole("bottles", "How many bottles"),
            Field::text("bottle_volume", "What one holds").hint("Such as 75 cl.").value("75 cl"),
            Field::whole("broken", "How many more broke")
                .hint("While they were filled or closed. What they held is lost; count them among the bottles used."),
            Field::text("lost_volume", "Left over or spilt besides")
                .hint("Such as 400 mL. Its cost stays in the bottles."),
        ],
    ))
    .group(supplies::group("Bottles, closures, labels used", "packaging", &choices, draft, 2))
    .group(other_sizes(found, draft, &choices))
    .group(Group::new(
        "Where and when",
        [
            Field::select("place", "Where they are laid", place_choices(&found.places)),
            day,
            Field::text("tasting_ages_days", "Tasting ages, in days")
                .hint("When it should be opened and judged: such as 90, 180, 365.")
                .value(if found.ages.is_empty() {
                    "90, 180, 365".to_owned()
                } else {
                    found.ages.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")
                }),
            {
                let by_warmth =
                    Field::check("ages_by_warmth", "Count them by the warmth of the shelf, as days at 15 °C");
                if found.ages_by_warmth { by_warmth.value("yes") } else { by_warmth }
            },
            remark,
        ],
    ))
}

/// Sizes that are filled in the same go, each with what was used for it.
fn other_sizes(found: &Material, draft: &Draft, packaging: &[Choice]) -> Group {
    let count = draft.count(read::SIZES) + 1;
    Group::repeated("Other sizes in the same go", "size", read::SIZES, count, |at| {
        let mut fields = vec![
            Field::whole("bottles", "How many bottles"),
            Field::text("bottle_volume", "What one holds").hint("Such as 37.5 cl."),
            Field::whole("broken", "How many more broke"),
        ];
        let lines = draft.count(&format!("{}.{at}.packaging", read::SIZES)).max(2);
        for line in 0..lines {
            let name = |field: &str| format!("packaging.{line}.{field}");
            fields.push(Field::select(name("source"), "Used for it", packaging.to_vec()));
            fields.push(Field::text(name("quantity"), "How much of it"));
        }
        let mut places = place_choices(&found.places);
        places[0] = Choice::new("", "Beside the first");
        fields.push(Field::select("place", "Where they are laid", places));
        fields
    })
}

fn place_choices(places: &[Place]) -> Vec<Choice> {
    let each = places.iter().map(|place| Choice::new(place.id.to_string(), place.path.clone()));
    std::iter::once(Choice::new("", "Choose a place")).chain(each).collect()
}

fn other_batches(found: &Material) -> Vec<Choice> {
    let each = found.others.iter().map(|batch| {
        Choice::new(
            batch.id.to_string(),
            format!("Batch {}, {} ({})", batch.code, batch.name, batch.stage.label()),
        )
    });
    std::iter::once(Choice::new("", "Choose a batch")).chain(each).collect()
}
