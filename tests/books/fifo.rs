//! First in, first out, against somebody else's books: the plain-text accounting package beancount (Python package
//! beancount 3.2.3) books the same receipts and issues, and takes the same lots at the same costs.
//!
//! `python -m pip install -r tests/reference/requirements.txt`; the interpreter is `UNDERCROFT_PYTHON`, or `python3`.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::Write as _;
use std::process::{Command, Stdio};

use undercroft::actions::{batches, stock};
use undercroft::db::{Database, books};
use undercroft::domain::batches::Source;
use undercroft::domain::books::Account;
use undercroft::domain::stock::{ItemKind, Receipt};
use undercroft::units::ids::LotId;
use undercroft::units::number;
use undercroft::units::quantity::BaseUnit;

use super::world::date;
use crate::ground::cellar::{bought, draw, item};
use crate::ground::{self, Ground, block_on, findings};

/// Receipts and issues of one item.
const EVENTS: u64 = 400;

#[test]
#[ignore = "needs Python with beancount"]
fn lots_are_taken_at_the_costs_that_other_books_give() {
    let ground = Ground::sqlite();
    let db = ground.open();
    let mut asked = String::new();
    let ours = block_on(live(&db, &mut asked));
    let theirs: BTreeSet<String> = python("fifo.py", &asked).lines().map(in_our_words).collect();
    println!("{EVENTS} receipts and issues, {} takings from lots", ours.len());
    assert!(ours.len() > 300, "{} takings", ours.len());
    assert_eq!(ours.difference(&theirs).collect::<Vec<_>>(), Vec::<&String>::new(), "only in ours");
    assert_eq!(theirs.difference(&ours).collect::<Vec<_>>(), Vec::<&String>::new(), "only in theirs");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

/// Receives and draws through the actions, writes the same down for the others, and tells what left which lot.
async fn live(db: &Database, asked: &mut String) -> BTreeSet<String> {
    let club = ground::club(db, "Tidemill Cellar Club").await;
    let hand = &club.hand;
    let bottle = item("Bottle 75 cl", ItemKind::Packaging, BaseUnit::Piece);
    let bottle = stock::add_item(db, hand, None, bottle).await.expect("an item");
    let place = stock::NewPlace { name: "Cellar".to_owned(), within: None, capacity: None };
    let place = stock::add_place(db, hand, None, place).await.expect("a place");
    let plan = batches::Plan { name: "Perry".to_owned(), base_volume: None, day: date(0) };
    let batch = batches::plan(db, hand, None, plan).await.expect("a batch").id;
    let mut lots: Vec<(LotId, String)> = Vec::new();
    let (mut there, mut taken) = (0, BTreeSet::new());
    let mut dice = Dice(2026);
    for event in 0..EVENTS {
        let day = date(i64::try_from(event / 2).expect("days of a year"));
        if there == 0 || dice.below(5) < 2 {
            let (units, price) = (1 + dice.below(60), 1 + dice.below(3_000_000));
            let lines = vec![bought(bottle, units * 1000, units * price, place)];
            let receipt = Receipt { day, paid_by: None, lines, remark: String::new() };
            let received = stock::record_receipt(db, hand, None, receipt).await.expect("bottles come");
            let (lot, code) = received.lots.into_iter().next().expect("one lot");
            writeln!(asked, "receipt {day} {code} {units} {}", number::fixed(price, 6, 6))
                .expect("text grows");
            lots.push((lot, code));
            there += units;
        } else {
            let units = 1 + dice.below(there.min(45));
            let order = draw(batch, day, Source::Item(bottle), units * 1000);
            let entry = batches::draw(db, hand, None, order).await.expect("bottles are there").entry;
            writeln!(asked, "issue {day} {event} {units}").expect("text grows");
            let of = hand.club;
            let recorded =
                db.read(move |conn| books::recorded(conn, of, entry)).await.expect("the entry is read");
            for posting in recorded.postings {
                if let Account::Stock { lot, .. } = posting.account {
                    let (_, code) = lots.iter().find(|known| known.0 == lot).expect("a lot of ours");
                    let (units, cost) = (-posting.quantity.get() / 1000, -posting.cost.micros());
                    taken.insert(format!("issue {event}: {units} of {code} at {cost}"));
                }
            }
            there -= units;
        }
    }
    taken
}

fn in_our_words(line: &str) -> String {
    let [event, code, units, cost] = line.split(' ').collect::<Vec<_>>()[..] else { panic!("{line}") };
    let cost = number::scaled(cost, 1_000_000, "1.5").expect("an amount of money");
    format!("issue {event}: {units} of {code} at {cost}")
}

/// What a script of `tests/reference/` says to what it is asked.
pub fn python(script: &str, asked: &str) -> String {
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = format!("{}/tests/reference/{script}", env!("CARGO_MANIFEST_DIR"));
    let mut command = Command::new(&python);
    let child = command.arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let mut child = child.unwrap_or_else(|error| panic!("{python} does not start: {error}"));
    let mut input = child.stdin.take().expect("its input is a pipe");
    input.write_all(asked.as_bytes()).expect("it reads");
    drop(input);
    let answer = child.wait_with_output().expect("it ends");
    assert!(answer.status.success(), "it ends with {}", answer.status);
    String::from_utf8(answer.stdout).expect("it writes text")
}

/// Numbers that look random and are always the same (Knuth's MMIX constants, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        i64::try_from(self.0 >> 33).expect("31 bits") % end
    }
}
