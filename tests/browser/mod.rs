//! The main job in a real browser, as a member does it by hand: on a phone and on a desk, light and dark, with
//! JavaScript and without; every page is measured and looked over by an engine for accessibility.

mod camera;
mod driver;
mod eyes;
mod hands;
mod job;
mod keys;
mod offline;
mod sheet;

use std::net::TcpListener;
use std::sync::mpsc;
use std::time::Instant;

use actix_web::dev::ServerHandle;
use actix_web::rt::System;
use undercroft::actions::reminders::reconcile;
use undercroft::db::Database;
use undercroft::db::members::clubs;
use undercroft::jobs::demo;
use undercroft::web::extract::now;
use undercroft::web::server::{Settings, serve_on};

use crate::ground::{Ground, run};
use driver::Chromedriver;
use eyes::Eyes;
use hands::Hands;

/// One way of looking at the pages.
struct Look {
    name: &'static str,
    width: u32,
    height: u32,
    scheme: &'static str,
    script: bool,
}

impl Look {
    fn on_a_phone(&self) -> bool {
        self.width < 500
    }
}

/// Every two of size, scheme and script meet in one of these.
const LOOKS: [Look; 4] = [
    Look { name: "Phone, light, with JavaScript", width: 360, height: 740, scheme: "light", script: true },
    Look { name: "Phone, dark, without JavaScript", width: 360, height: 740, scheme: "dark", script: false },
    Look {
        name: "Desk, light, without JavaScript",
        width: 1280,
        height: 800,
        scheme: "light",
        script: false,
    },
    Look { name: "Desk, dark, with JavaScript", width: 1280, height: 800, scheme: "dark", script: true },
];

/// What goes wrong on the way, in words.
type Walked<T> = Result<T, String>;

fn words(error: impl std::fmt::Display) -> String {
    error.to_string()
}

#[test]
#[ignore = "needs Chromium with chromedriver, and axe: UNDERCROFT_AXE"]
fn the_main_job_is_done_by_hand_in_every_look() {
    run(Ground::sqlite(), async |ground: &Ground| {
        let house = House::open(ground).await;
        let driver = Chromedriver::start();
        for look in &LOOKS {
            let begun = Instant::now();
            let browser = driver.browser(look).await;
            let hands = Hands { browser: &browser, at: &house.at, eyes: Eyes::new(&browser, look) };
            let done = job::main_job(&hands, &house).await;
            let looked = hands.eyes.looked();
            browser.clone().quit().await.expect("the browser ends");
            done.unwrap_or_else(|error| panic!("{}: {error}", look.name));
            println!("{}: {looked} pages looked over in {:.1} s", look.name, begun.elapsed().as_secs_f64());
        }
        house.handle.stop(false).await;
    });
}

#[test]
#[ignore = "needs Chromium with chromedriver, and axe: UNDERCROFT_AXE"]
fn a_sheet_is_written_without_a_signal() {
    on_a_phone(async |hands: &Hands<'_>, house: &House| sheet::without_a_signal(hands, house).await);
}

#[test]
#[ignore = "needs Chromium with chromedriver, and axe: UNDERCROFT_AXE"]
fn a_label_is_read_with_the_camera() {
    on_a_phone(async |hands: &Hands<'_>, _: &House| camera::finds_a_line(hands).await);
}

fn on_a_phone(walk: impl AsyncFnOnce(&Hands<'_>, &House) -> Walked<()>) {
    run(Ground::sqlite(), async |ground: &Ground| {
        let house = House::open(ground).await;
        let driver = Chromedriver::start();
        let browser = driver.browser(&LOOKS[0]).await;
        let hands = Hands { browser: &browser, at: &house.at, eyes: Eyes::new(&browser, &LOOKS[0]) };
        let done = walk(&hands, &house).await;
        browser.clone().quit().await.expect("the browser ends");
        done.unwrap_or_else(|error| panic!("{error}"));
        house.handle.stop(false).await;
    });
}

#[test]
#[ignore = "needs Chromium with chromedriver"]
fn what_two_phones_count_without_a_signal_is_recorded_once() {
    run(Ground::sqlite(), async |ground: &Ground| {
        let done = offline::counts_are_neither_lost_nor_doubled(ground).await;
        done.unwrap_or_else(|error| panic!("{error}"));
    });
}

/// The real server with the demo club.
struct House {
    at: String,
    db: Database,
    handle: ServerHandle,
}

impl House {
    async fn open(ground: &Ground) -> Self {
        let db = ground.open();
        demo::load(&db, now()).await.expect("the demo club loads");
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let settings = Settings { workers: 1, ..Settings::on(address) };
        let (say, hear) = mpsc::channel();
        let cellar = db.clone();
        std::thread::spawn(move || {
            System::new().block_on(async {
                let server = serve_on(listener, cellar, settings).expect("the server starts");
                say.send(server.handle()).expect("the test waits for it");
                server.await
            })
        });
        let handle = hear.recv().expect("the server runs");
        Self { at: format!("http://{address}"), db, handle }
    }

    /// What the server does every few minutes by itself.
    async fn make_reminders(&self) -> Walked<()> {
        let club = self.db.read(clubs).await.map_err(words)?[0].0;
        reconcile(&self.db, club, chrono_tz::Europe::Amsterdam, now()).await.map_err(words).map(drop)
    }
}
