//! What was got out of what was put in: batch by batch, by drink, by recipe, by year.

use std::collections::BTreeMap;

use chrono::Datelike;

use super::asked::Asked;
use super::report::{Column, Report, Row, Table, Value, figures, in_file, on_page, picture, text};
use crate::db::batches::{self, Batch};
use crate::db::recipes;
use crate::db::{AnyConn, Failure};
use crate::domain::batches::Stage;
use crate::domain::members::Doer;
use crate::domain::yields::Story;
use crate::units::ids::BatchId;
use crate::units::quantity::Milli;
use crate::web::pictures::Bar;

/// Batches that belong together, added up.
#[derive(Debug, Clone, Default)]
struct Sums {
    batches: i64,
    must: Milli,
    bottled: Milli,
    lost: Milli,
    left: Milli,
    /// Must and bottles of those that were bottled, without what went to other batches.
    kept: f64,
    filled: f64,
    milk_kg: f64,
    curd_kg: f64,
}

impl Sums {
    fn add(&mut self, story: &Story) {
        self.batches += 1;
        self.must = self.must + story.must;
        self.bottled = self.bottled + story.bottled;
        self.lost = self.lost + story.lost;
        self.left = self.left + story.left;
        let kept = story.must - story.moved_out;
        if kept > Milli::ZERO && story.bottled > Milli::ZERO {
            self.kept += kept.base();
            self.filled += story.bottled.base();
        }
        let (milk, curd) = (story.milk_kg(), story.curd_kg());
        if milk > 0.0 && curd > 0.0 {
            self.milk_kg += milk;
            self.curd_kg += curd;
        }
    }

    fn of_must(&self) -> Option<f64> {
        (self.kept > 0.0).then(|| 100.0 * self.filled / self.kept)
    }

    fn cells(&self) -> Vec<Value> {
        let curd = (self.milk_kg > 0.0).then(|| 100.0 * self.curd_kg / self.milk_kg);
        vec![
            Value::Count(self.batches),
            Value::tenths(self.of_must()),
            Value::tenths(curd),
            Value::Litres(self.must),
            Value::Litres(self.bottled),
            Value::Litres(self.lost),
            Value::Litres(self.left),
        ]
    }

    fn columns(first: Column) -> Vec<Column> {
        vec![
            first,
            figures("batches", "Batches"),
            figures("bottled_from_must_percent", "Bottled from must, %"),
            figures("curd_from_milk_percent", "Curd from milk, %"),
            figures("must_litres", "Must, L"),
            figures("bottled_litres", "Bottled, L"),
            figures("lost_litres", "Lost, L"),
            figures("left_litres", "In bulk, L"),
        ]
    }
}

/// Batches with what became of them, the latest first.
pub type Found = Vec<(Batch, Story)>;

/// The batches of these days into which something came.
pub fn find(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Found, Failure> {
    let mut batches = batches::of_days(conn, doer.club, asked.span, None)?;
    batches.retain(|batch| batch.stage != Stage::Planned);
    let ids: Vec<BatchId> = batches.iter().map(|batch| batch.id).collect();
    let mut stories = batches::stories(conn, doer.club, &ids)?;
    Ok(batches
        .into_iter()
        .filter_map(|batch| Some((stories.remove(&batch.id)?, batch)))
        .map(|(s, b)| (b, s))
        .collect())
}

/// The report.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let mut found = find(conn, doer, asked)?;
    let mut drinks: Vec<String> = found.iter().map(|row| row.0.name.clone()).collect();
    drinks.sort_unstable();
    drinks.dedup();
    found.retain(|row| asked.drink.as_ref().is_none_or(|drink| row.0.name == *drink));
    let mut all = Sums::default();
    let (mut by_drink, mut by_year) = (BTreeMap::<&str, Sums>::new(), BTreeMap::<i32, Sums>::new());
    for (batch, story) in &found {
        all.add(story);
        by_drink.entry(&batch.name).or_default().add(story);
        by_year.entry(batch.begun_on().year()).or_default().add(story);
    }
    let ids: Vec<BatchId> = found.iter().map(|row| row.0.id).collect();
    let followed = recipes::followed(conn, doer.club, &ids)?;
    let mut by_recipe = BTreeMap::<(&str, i64), Sums>::new();
    for (batch, story) in &found {
        if let Some(by) = followed.get(&batch.id) {
            by_recipe.entry((&by.drink, by.number)).or_default().add(story);
        }
    }
    let of_recipes = by_recipe
        .iter()
        .map(|((drink, number), sums)| row(Value::typed(format!("{drink}, revision {number}")), sums));
    let recipe_table = Table {
        name: "By recipe",
        caption: "What became of the must, by the revision of the recipe".to_owned(),
        columns: Sums::columns(text("recipe", "Recipe")),
        rows: of_recipes.collect(),
        none: "No batch of these days was made by a recipe.",
        file: false,
    };
    let of_drinks = by_drink.iter().map(|(name, sums)| row(Value::typed(*name), sums)).collect();
    let of_years =
        by_year.iter().rev().map(|(year, sums)| row(Value::ours(year.to_string()), sums)).collect();
    let sum = (found.len() > 1).then(|| Row::sum([vec![Value::ours("All")], all.cells()].concat()));
    let drink_table = Table {
        name: "By drink",
        caption: "What became of the must, drink by drink".to_owned(),
        columns: Sums::columns(text("drink", "Drink")),
        rows: with_sum(of_drinks, sum.clone()),
        none: "No batch was begun in these days.",
        file: false,
    };
    let tables = if asked.year.is_some() {
        vec![drink_table, recipe_table, batch_table(&found)]
    } else {
        let years = Table {
            name: "By year",
            caption: "What became of the must, by the year in which the yeast was pitched".to_owned(),
            columns: Sums::columns(text("year", "Year")),
            rows: with_sum(of_years, sum),
            none: "No batch was begun yet.",
            file: true,
        };
        vec![years, drink_table, recipe_table]
    };
    let bar = |name: &str, percent: Option<f64>| {
        percent.map(|value| Bar { name: name.to_owned(), value, said: format!("{value:.1} %") })
    };
    let bars: Vec<Bar> = if asked.year.is_some() {
        by_drink.iter().filter_map(|(name, sums)| bar(name, sums.of_must())).collect()
    } else {
        by_year.iter().filter_map(|(year, sums)| bar(&year.to_string(), sums.of_must())).collect()
    };
    let lead = match all.of_must() {
        _ if found.is_empty() => format!("Nothing was made {}.", asked.when()),
        Some(percent) => format!(
            "Of {} begun {}, {} L are in bottles; {percent:.1} % of the must of those that were bottled.",
            crate::web::words::count(all.batches, "batch", "batches"),
            asked.when(),
            all.bottled.litres(),
        ),
        None => format!("Nothing of what was begun {} is in bottles yet.", asked.when()),
    };
    let by = if asked.year.is_some() { "drink by drink" } else { "year by year" };
    Ok(Report {
        lead,
        picture: picture(
            format!("Bottled from must pitched, {by}"),
            "In per cent by volume, of the batches that have been bottled.",
            bars,
        ),
        tables,
        notes: vec![
            "A batch counts to the year in which its yeast was pitched. Must is what was there when the yeast was \
             pitched and what came to it afterwards; what went to other batches is taken off before per cents."
                .to_owned(),
            "Alcohol from sugar is a guide; it is not said for drinks of milk, whose gravity misleads.".to_owned(),
        ],
        drinks,
        ..Report::default()
    })
}

fn row(name: Value, sums: &Sums) -> Row {
    Row::new([vec![name], sums.cells()].concat())
}

fn with_sum(mut rows: Vec<Row>, sum: Option<Row>) -> Vec<Row> {
    rows.extend(sum);
    rows
}

fn batch_table(found: &Found) -> Table {
    let row = |(batch, story): &(Batch, Story)| {
        let recoveries = story.recoveries();
        let percent = |name: &str| {
            let of = recoveries.iter().find(|recovery| recovery.name == name);
            Value::tenths(of.map(|recovery| recovery.percent))
        };
        Row::new([
            Value::typed(format!("{}, {}", batch.code, batch.name)),
            Value::ours(&batch.code),
            Value::typed(&batch.name),
            Value::ours(batch.stage.code()),
            Value::Day(batch.begun_on()),
            percent("Bottled from must pitched"),
            percent("Alcohol from sugar"),
            percent("Curd from milk"),
            Value::Litres(story.must),
            Value::Litres(story.bottled),
            Value::Litres(story.lost),
            Value::Litres(story.left),
        ])
        .to(format!("/batches/{}/yield", batch.id))
    };
    Table {
        name: "By batch",
        caption: "What became of each batch, the latest first".to_owned(),
        columns: vec![
            on_page("Batch"),
            in_file("batch"),
            in_file("drink"),
            in_file("stage"),
            figures("begun_on", "Begun"),
            figures("bottled_from_must_percent", "Bottled from must, %"),
            figures("alcohol_from_sugar_percent", "About, alcohol from sugar, %"),
            figures("curd_from_milk_percent", "Curd from milk, %"),
            figures("must_litres", "Must, L"),
            figures("bottled_litres", "Bottled, L"),
            figures("lost_litres", "Lost, L"),
            figures("left_litres", "In bulk, L"),
        ],
        rows: found.iter().map(row).collect(),
        none: "When supplies have been drawn into a batch, what was got out of them stands here.",
        file: true,
    }
}
