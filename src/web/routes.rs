//! Every route, on one page: pages with their forms, then the API.
//!
//! Who may ask stands in the first argument of each handler and nowhere else; see [`super::table`]. A
//! feature adds its lines here and its handlers in the file of its name.

use actix_web::HttpResponse;

use super::api::describe::Description;
use super::body::Sent;
use super::extract::{Anyone, Query};
use super::members::{club, entrance, me};
use super::respond::Reply;
use super::site::Site;
use super::table::{Api, Pages, Table};
use super::{
    api, archive, batches, bottles, calendars, costs, efforts, entries, instruments, labels, letters,
    payments, problem, recipes, reminders, reports, stock, tastings, workbench,
};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::workbench::questions;

mod buying;
mod cellar;
mod climate;
mod counts;
mod house;
mod intake;
mod receipts;
mod shares;
mod steps;
mod vessels;

use cellar::{cellar_pages, cellar_programs};
use climate::{climate_pages, climate_programs};
use counts::{count_pages, count_programs};
use house::house_pages;
use steps::{step_pages, step_programs};
use vessels::{hold_pages, hold_programs, vessel_pages, vessel_programs};

/// All routes.
pub fn table() -> Table {
    registered(Table::default())
}

fn registered(mut table: Table) -> Table {
    house_pages(&mut table.pages());
    people_pages(&mut table.pages());
    stock_pages(&mut table.pages());
    climate_pages(&mut table.pages());
    batch_pages(&mut table.pages());
    recipe_pages(&mut table.pages());
    step_pages(&mut table.pages());
    vessel_pages(&mut table.pages());
    hold_pages(&mut table.pages());
    cellar_pages(&mut table.pages());
    shares::pages(&mut table.pages());
    intake::pages(&mut table.pages());
    buying::pages(&mut table.pages());
    receipts::pages(&mut table.pages());
    bottle_pages(&mut table.pages());
    tasting_pages(&mut table.pages());
    count_pages(&mut table.pages());
    report_pages(&mut table.pages());
    workbench_pages(&mut table.pages());
    programs(&mut table.api());
    people_programs(&mut table.api());
    stock_programs(&mut table.api());
    climate_programs(&mut table.api());
    batch_programs(&mut table.api());
    recipe_programs(&mut table.api());
    step_programs(&mut table.api());
    vessel_programs(&mut table.api());
    hold_programs(&mut table.api());
    cellar_programs(&mut table.api());
    shares::programs(&mut table.api());
    intake::programs(&mut table.api());
    buying::programs(&mut table.api());
    receipts::programs(&mut table.api());
    bottle_programs(&mut table.api());
    tasting_programs(&mut table.api());
    count_programs(&mut table.api());
    workbench_programs(&mut table.api());
    table
}

fn people_pages(to: &mut Pages) {
    to.get("/sign-in", entrance::sign_in_form)
        .post("/sign-in", entrance::sign_in)
        .post("/sign-out", entrance::sign_out)
        .get("/invitation/{secret}", entrance::invitation_form)
        .post("/invitation/{secret}", entrance::accept)
        .get("/set-up/{secret}", entrance::set_up_form)
        .post("/set-up/{secret}", entrance::set_up);
    to.get("/me", me::show)
        .post("/me/club", me::change_club)
        .post("/me/sessions/{id}/end", me::end_session)
        .get("/me/tokens/new", me::new_token_form)
        .post("/me/tokens", me::new_token)
        .post("/me/tokens/{id}/revocation", me::revoke_token)
        .get("/me/password", me::password_form)
        .post("/me/password", me::password)
        .get("/me/leave", me::leave_form)
        .post("/me/leave", me::leave);
    to.get("/me/letters", letters::form)
        .post("/me/letters", letters::choose)
        .get("/letters/{secret}", letters::stop_form)
        .post("/letters/{secret}", letters::stop)
        .post("/me/calendar", calendars::make)
        .post("/me/calendar/end", calendars::end)
        .get("/calendar/{name}", calendars::file);
    to.get("/club", club::show)
        .get("/club/invitations/new", club::invitation_form)
        .post("/club/invitations", club::invite)
        .post("/club/invitations/{id}/withdrawal", club::withdraw)
        .get("/club/members/{id}", club::member)
        .post("/club/members/{id}/role", club::change_role)
        .get("/club/members/{id}/removal", club::removal_form)
        .post("/club/members/{id}/removal", club::remove)
        .get("/club/log", club::log)
        .get("/club/archive", archive::show)
        .get("/club/archive.zip", archive::file);
}

fn people_programs(to: &mut Api) {
    use api::members;
    to.get("/me", "Who asks, and in which club", members::me)
        .get("/me/letters", "When one gets letters", members::letters)
        .put("/me/letters", "Choose when one gets letters, or none", members::choose_letters)
        .get("/members", "Those in the club, then those who left", members::members)
        .put("/members/{id}/role", "Give a member another role", members::change_role)
        .delete("/members/{id}", "End a membership", members::remove)
        .get("/invitations", "Open invitations", members::invitations)
        .post("/invitations", "Invite somebody", members::invite)
        .delete("/invitations/{id}", "Withdraw an invitation", members::withdraw)
        .get("/tokens", "One’s own tokens", members::tokens)
        .delete("/tokens/{id}", "Revoke one of one’s own tokens", members::revoke)
        .get("/audit", "The audit log, latest first", members::log)
        .get("/archive", "All that the club owns: a ZIP of CSV files with a manifest", archive::file);
}

fn stock_pages(to: &mut Pages) {
    to.get("/stores", stock::overview::show)
        .get("/stores/stock.csv", stock::export::file)
        .get("/stores/receipts/new", stock::receipts::new_form)
        .post("/stores/receipts", stock::receipts::record)
        .get("/stores/items", stock::items::list)
        .post("/stores/items", stock::items::add)
        .get("/stores/items/new", stock::items::new_form)
        .get("/stores/items/{id}", stock::items::show)
        .post("/stores/items/{id}", stock::items::change)
        .get("/stores/items/{id}/edit", stock::items::change_form)
        .get("/stores/places", stock::places::list)
        .post("/stores/places", stock::places::add)
        .get("/stores/places/new", stock::places::new_form)
        .get("/stores/places/{id}/edit", stock::places::change_form)
        .post("/stores/places/{id}", stock::places::change)
        .get("/stores/lots/{id}", stock::lots::show)
        .get("/stores/lots/{id}/move", stock::tasks::move_form)
        .post("/stores/lots/{id}/move", stock::tasks::record_move)
        .get("/stores/lots/{id}/count", stock::tasks::count_form)
        .post("/stores/lots/{id}/count", stock::tasks::record_count);
}

fn batch_pages(to: &mut Pages) {
    to.get("/batches", batches::list::show)
        .get("/batches/new", batches::list::new_form)
        .post("/batches", batches::list::new)
        .get("/batches/{id}", batches::show)
        .get("/batches/comparison", batches::comparison::show)
        .get("/batches/comparison.csv", batches::comparison::file)
        .get("/batches/{id}/yield", batches::mass::show)
        .get("/batches/{id}/yield.csv", batches::mass::file)
        .get("/batches/{id}/record", batches::record::show)
        .get("/batches/{id}/record.pdf", batches::record::pdf)
        .get("/batches/{id}/readings.csv", batches::export::file)
        .get("/batches/{id}/readings", batches::readings::list)
        .get("/batches/{id}/reading", batches::readings::form)
        .post("/batches/{id}/reading", batches::readings::record)
        .get("/batches/{id}/readings/{reading}/correction", batches::readings::correction_form)
        .post("/batches/{id}/readings/{reading}/correction", batches::readings::correct)
        .get("/batches/{id}/logger", batches::loggers::form)
        .post("/batches/{id}/logger", batches::loggers::bring)
        .post("/batches/{id}/logger/{import}/undoing", batches::loggers::undo)
        .get("/batches/{id}/{task}", batches::task::show)
        .post("/batches/{id}/{task}", batches::task::perform)
        .post("/batches/{id}/readings/{reading}/strike", batches::strike::record)
        .get("/entries/{id}", entries::show)
        .post("/entries/{id}/reversal", entries::reverse);
    to.get("/batches/{id}/effort", efforts::form)
        .post("/batches/{id}/effort", efforts::record)
        .post("/batches/{id}/efforts/{effort}/strike", efforts::strike)
        .get("/club/counting", efforts::counting_form)
        .post("/club/counting", efforts::set_counting);
    to.get("/club/instruments", instruments::list)
        .post("/club/instruments", instruments::add)
        .get("/club/instruments/new", instruments::new_form)
        .get("/club/instruments/{id}", instruments::change_form)
        .post("/club/instruments/{id}", instruments::change);
}

fn recipe_pages(to: &mut Pages) {
    to.get("/recipes", recipes::list)
        .post("/recipes", recipes::write::save_new)
        .get("/recipes/new", recipes::write::new_form)
        .get("/recipes/{id}", recipes::show)
        .get("/recipes/{id}/revise", recipes::write::revise_form)
        .post("/recipes/{id}/revisions", recipes::write::save_next)
        .get("/recipes/{id}/revisions/{number}", recipes::show_revision)
        .get("/recipes/{id}/revisions/{number}/batch", recipes::batch::show)
        .post("/recipes/{id}/revisions/{number}/batch", recipes::batch::make)
        .get("/recipes/{id}/difference", recipes::difference::show)
        .post("/recipes/{id}/aside", recipes::put_aside)
        .post("/recipes/{id}/back", recipes::take_back);
}

fn recipe_programs(to: &mut Api) {
    use api::recipes;
    to.get("/recipes", "Recipes, newest first", recipes::list)
        .post("/recipes", "Write a recipe: its first revision", recipes::add)
        .get("/recipes/{id}", "The latest revision of a recipe", recipes::show)
        .post("/recipes/{id}/revisions", "Make the next revision of a recipe", recipes::revise)
        .get("/recipes/{id}/revisions/{number}", "One revision of a recipe", recipes::revision)
        .get("/recipes/{id}/revisions/{number}/scaled", "A revision for as much as is there", recipes::scaled)
        .post("/recipes/{id}/revisions/{number}/batch", "Put a batch on paper by a revision", recipes::make)
        .get("/recipes/{id}/difference", "How two revisions of a recipe differ", recipes::difference)
        .post("/recipes/{id}/aside", "Put a recipe aside", recipes::put_aside)
        .post("/recipes/{id}/back", "Offer a recipe again", recipes::take_back)
        .get(
            "/batches/{id}/recipe",
            "The recipe of a batch, and the batch as it was made",
            recipes::of_batch,
        );
}

fn bottle_pages(to: &mut Pages) {
    to.get("/", reminders::today)
        .get("/reminders", reminders::list)
        .get("/reminders/{id}", reminders::settle::show)
        .post("/reminders/{id}/done", reminders::settle::done)
        .post("/reminders/{id}/put-off", reminders::settle::put_off)
        .post("/reminders/{id}/give", reminders::settle::give)
        .post("/reminders/{id}/undone", reminders::settle::undone);
    to.get("/bottles", bottles::list::show)
        .get("/bottles/{id}", bottles::show)
        .post("/bottles/{id}/withdrawals", bottles::take::take);
    to.get("/bottles/{id}/labels", labels::of_bottling_form)
        .get("/bottles/{id}/labels.pdf", labels::of_bottling_file)
        .get("/stores/lots/{id}/labels", labels::of_lot_form)
        .get("/stores/lots/{id}/labels.pdf", labels::of_lot_file)
        .get("/b/{id}", labels::to_bottling)
        .get("/l/{id}", labels::to_lot);
}

fn tasting_pages(to: &mut Pages) {
    use tastings::{ageing, attributes, paper, plan, results, run, sheet};
    to.get("/tastings", tastings::list)
        .get("/tastings/new", plan::new_form)
        .post("/tastings", plan::new)
        .get("/tastings/attributes", attributes::show)
        .post("/tastings/attributes", attributes::change)
        .get("/tastings/{id}", tastings::show)
        .get("/tastings/{id}/plan", plan::change_form)
        .post("/tastings/{id}/plan", plan::change)
        .post("/tastings/{id}/allergens", run::answer)
        .get("/tastings/{id}/begin", run::begin_form)
        .post("/tastings/{id}/begin", run::begin)
        .post("/tastings/{id}/opening", run::open)
        .get("/tastings/{id}/call-off", run::call_off_form)
        .post("/tastings/{id}/call-off", run::call_off);
    to.get("/tastings/{id}/sheet", sheet::show)
        .post("/tastings/{id}/sheet", sheet::hand_in)
        .get("/tastings/{id}/sheet/{glass}", sheet::glass)
        .post("/tastings/{id}/sheet/{glass}", sheet::save_glass)
        .get("/tastings/{id}/pouring", paper::pouring)
        .get("/tastings/{id}/paper", paper::sheets)
        .get("/tastings/{id}/results", results::show)
        .get("/tastings/{id}/results.csv", results::file)
        .post("/bottles/{id}/tasting-ages", ageing::set);
}

fn tasting_programs(to: &mut Api) {
    use api::tastings;
    to.get("/tastings", "Tastings, the latest day first", tastings::list)
        .post("/tastings", "Plan a tasting and invite to it", tastings::add)
        .get("/tastings/attributes", "What the club marks on lines", tastings::show_attributes)
        .put(
            "/tastings/attributes",
            "Change what the club marks; all of it is sent",
            tastings::change_attributes,
        )
        .get("/tastings/{id}", "A tasting, as far as this member may see it", tastings::show)
        .put("/tastings/{id}", "Change a tasting that has not begun; all of it is sent", tastings::change)
        .post("/tastings/{id}/allergens", "Say whether one may taste what is poured", tastings::answer)
        .post("/tastings/{id}/beginning", "Begin: bottles leave the cellar at cost", tastings::begin)
        .post("/tastings/{id}/opening", "Open the key before all sheets are in", tastings::open)
        .post(
            "/tastings/{id}/calling-off",
            "Call a tasting off: bottles go back in the books",
            tastings::call_off,
        )
        .get("/tastings/{id}/sheet", "One’s own sheet", tastings::sheet)
        .put("/tastings/{id}/sheet", "Save glasses of one’s own sheet, or hand it in", tastings::save)
        .get("/tastings/{id}/results", "What came of it, once the key is open", tastings::show_results)
        .get(
            "/bottlings/{id}/tastings",
            "The tastings of a bottling, and what they say of its age",
            tastings::of_bottling,
        )
        .post(
            "/bottlings/{id}/tasting-ages",
            "Set an age at which a bottling should be tasted",
            tastings::set_age,
        );
}

/// Which part of a report is asked for.
type Asking = Query<reports::ReportQuery>;

fn report_pages(to: &mut Pages) {
    to.get("/bottles/{id}/cost", costs::show)
        .get("/bottles/{id}/cost.csv", costs::file)
        .get("/batches/{id}/cost", costs::batch::show);
    to.get("/reports", reports::show)
        .get("/reports/books", reports::books::show)
        .get("/reports/books.csv", reports::books::file)
        .get("/reports/members/{id}", reports::member::show)
        .get("/reports/members/{id}/payments/new", payments::form)
        .post("/reports/members/{id}/payments", payments::record)
        .get("/reports/production/limit", reports::limit::form)
        .post("/reports/production/limit", reports::limit::record)
        .get("/reports/binder.pdf", reports::binder);
    for kind in &reports::KINDS {
        let at = |ending: &str| format!("/reports/{}{ending}", kind.slug);
        to.get(&at(""), move |who: Onlooker, site: Site, query: Asking| {
            reports::page(kind, who, site, query)
        });
        to.get(&at(".csv"), move |who: Onlooker, site: Site, query: Asking| {
            reports::csv(kind, Doer::clone(&who), site, query)
        });
        to.get(&at(".pdf"), move |who: Onlooker, site: Site, query: Asking| {
            reports::pdf(kind, Doer::clone(&who), site, query)
        });
    }
}

fn workbench_pages(to: &mut Pages) {
    to.get("/workbench", workbench::list)
        .get("/workbench/routes", workbench::routes::show)
        .get("/workbench/routes/batch", workbench::routes::plan_form)
        .post("/workbench/routes/batch", workbench::routes::make)
        .get("/workbench/{question}", workbench::show);
}

fn workbench_programs(to: &mut Api) {
    use api::plans;
    to.get("/batches/{id}/plan", "What a batch is planned to be, and what of it was drawn", plans::show)
        .described(
            "/workbench/routes",
            "The ways from what there is to a strength, side by side",
            plans::describe_compare,
            plans::compare,
        )
        .described(
            "/workbench/routes/batch",
            "Make a way a planned batch",
            plans::describe_make,
            plans::make,
        );
    for question in questions() {
        to.described(
            &format!("/workbench/{}", question.slug),
            question.name,
            |operation| api::workbench::describe(question, operation),
            move |who: Onlooker, site: Site, sent: Sent| api::workbench::ask(question, who, site, sent),
        );
    }
}

fn bottle_programs(to: &mut Api) {
    use api::{bottles, costs, payments, reminders, reports};
    to.get("/reminders", "What is to be done, the longest due first", reminders::list)
        .post("/reminders/{id}/done", "Mark a reminder done", reminders::done)
        .post("/reminders/{id}/put-off", "Put a reminder off to another day", reminders::put_off)
        .post("/reminders/{id}/give", "Give a reminder to a member", reminders::give)
        .post("/reminders/{id}/undone", "Open a reminder again that was marked done", reminders::undone);
    to.get("/bottlings", "Bottlings, newest first", bottles::list)
        .get(
            "/bottlings/{id}",
            "A bottling: bottles left by place, age, strength, cost, tasting ages",
            bottles::show,
        )
        .post("/bottlings/{id}/withdrawals", "Take bottles out of the cellar", bottles::withdraw)
        .get("/bottlings/{id}/cost", "What the bottles of a bottling cost, line by line", costs::of_bottling)
        .get("/batches/{id}/cost", "What a batch cost, line by line, and where that went", costs::of_batch);
    to.get("/reports/value", "What the cellar is worth, now or on a past day", reports::value)
        .get(
            "/reports/members",
            "What members paid and took: everyone for a steward, oneself for others",
            reports::members,
        )
        .post("/members/{id}/payments", "A member paid the club, or was paid back", payments::pay)
        .put("/reports/production/limit", "Enter how much may be made in a year", reports::set_limit);
    for kind in crate::web::reports::KINDS.iter().filter(|kind| kind.slug != crate::web::reports::MEMBERS) {
        to.get(
            &format!("/reports/{}", kind.slug),
            kind.answers,
            move |who: Onlooker, site: Site, query: Asking| reports::report(kind, who, site, query),
        );
    }
}

fn batch_programs(to: &mut Api) {
    use api::batches::{self, comparison, measured, record, yields};
    use api::{efforts, instruments};
    to.get("/batches", "Batches, newest first", batches::list)
        .post("/batches", "Put a batch on paper", batches::add)
        .get("/batches/{id}", "A batch: stage, volume, strength, readings, entries", batches::show)
        .post("/batches/{id}/draws", "Draw supplies into a batch", record::draw)
        .post("/batches/{id}/pitch", "Pitch the yeast", record::pitch)
        .post("/batches/{id}/by-products", "Weigh a by-product off", record::by_product)
        .post("/batches/{id}/losses", "Record drink that was lost", record::lose)
        .post("/batches/{id}/rackings", "Rack a batch, or record the volume measured", record::rack)
        .post("/batches/{id}/splits", "Split part of a batch into a new one", record::split)
        .post("/batches/{id}/blends", "Blend part of a batch into another", record::blend)
        .get("/batches/{id}/readings", "All readings of a batch, oldest first", batches::readings)
        .post("/batches/{id}/readings", "Record a reading, or send those of a sensor", measured::record)
        .post("/readings/{id}/correction", "Strike a reading out and record it anew", measured::correct)
        .get("/batches/{id}/reading-imports", "Files of loggers that came into a batch", measured::imports)
        .post("/batches/{id}/reading-imports", "Bring in what a logger wrote", measured::bring_in)
        .post("/reading-imports/{id}/undoing", "Undo a file: all its readings are struck out", measured::undo)
        .get(
            "/batches/{id}/bottling-check",
            "What to know before a batch is bottled: has it finished, what may the bottles come to, does it keep",
            batches::check::show,
        )
        .post("/batches/{id}/bottlings", "Fill bottles and lay them down", record::bottle)
        .post("/batches/{id}/closing", "Close a batch in which nothing is left", record::close)
        .post("/batches/{id}/abandonment", "Give a batch up: the rest is lost", record::abandon)
        .get("/batches/{id}/yield", "Where the mass of a batch went", yields::show)
        .get(
            "/batches/comparison",
            "Two to eight batches side by side, and what differed most",
            comparison::show,
        )
        .post("/readings/{id}/strike", "Strike a reading out", record::strike)
        .post("/entries/{id}/reversal", "Reverse an entry", record::reverse);
    to.post("/batches/{id}/efforts", "Note work or energy beside the books", efforts::record)
        .post("/efforts/{id}/strike", "Strike work or energy out", efforts::strike)
        .get("/club/counting", "How the club counts by-products, work and energy", efforts::counting)
        .put("/club/counting", "Count otherwise from now on; all of it is sent", efforts::set_counting);
    to.get("/instruments", "The instruments of the club, those in use first", instruments::list)
        .post("/instruments", "Keep an instrument", instruments::add)
        .put("/instruments/{id}", "Change an instrument; all of it is sent", instruments::change);
}

fn programs(to: &mut Api) {
    to.get("/openapi.json", "This description", description_file).get(
        "/problems/{code}",
        "What a kind of problem is",
        problem::explain,
    );
}

fn stock_programs(to: &mut Api) {
    use api::{entries, stock};
    to.get("/items", "Items, in the order in which they were first kept", stock::items)
        .post("/items", "Record an item", stock::add_item)
        .get("/items/{id}", "An item", stock::item)
        .put("/items/{id}", "Change an item; all of it is sent", stock::change_item)
        .get("/places", "All places", stock::places)
        .post("/places", "Record a place", stock::add_place)
        .put("/places/{id}", "Rename a place or put it elsewhere; all of it is sent", stock::change_place)
        .post("/receipts", "Receive supplies", stock::receive)
        .get(
            "/lots/{id}",
            "A lot: what, where, how much, what it cost, where it came from and went",
            stock::lots::show,
        )
        .post("/lots/{id}/moves", "Move a lot to another place", stock::move_lot)
        .post("/lots/{id}/counts", "Put the books right after a count", stock::count_lot)
        .get("/stock", "The stock as it stands, or as it stood on a past day", stock::stock)
        .get(
            "/trace/{lot}",
            "The trace of a lot: up to the receipts, down to who took bottles",
            stock::lots::trace,
        )
        .get("/entries", "The journal, newest first", entries::list)
        .get("/entries/{id}", "An entry with its lines", entries::show);
}

/// What the API is.
pub fn described() -> Description {
    registered(Table::describing()).description.unwrap_or_default()
}

async fn description_file(_: Anyone, site: Site) -> Reply {
    let written = site.description.get_or_init(|| described().written(&site.settings.base));
    Ok(HttpResponse::Ok().content_type("application/json").body(written.clone()))
}
