//! Two phones count in a cellar without signal: the network is cut, answers are lost on the way after the server has
//! recorded what was sent, the server is ended as by a power cut and started again, and the browser is closed with all
//! that waits in it. What each phone entered is in the database once and in its order.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::json;
use thirtyfour::prelude::*;
use undercroft::actions::counts::{Start, start};
use undercroft::actions::members::doer_by_email;
use undercroft::db::counts as rows;
use undercroft::db::{Database, stock};
use undercroft::domain::members::Cellarhand;
use undercroft::units::ids::CountId;
use undercroft::units::quantity::BaseUnit;
use undercroft::web::extract::now;

use super::driver::Chromedriver;
use super::{LOOKS, Walked, words};
use crate::faults::Server;
use crate::ground::Ground;

/// Entries of both phones together, at least.
const ENTRIES: usize = 1_000;

/// What becomes of what is sent.
#[derive(Clone, Copy)]
enum Signal {
    None = 0,
    /// What is sent arrives, and no answer comes back.
    OneWay = 1,
    Good = 2,
}

/// The wire between the phones and the server: it stays where it is while servers come and go.
struct Wire {
    at: SocketAddr,
    signal: Arc<AtomicU8>,
    server: Arc<Mutex<String>>,
}

impl Wire {
    fn lay(server: &Server) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let wire = Self {
            at: listener.local_addr().expect("its address"),
            signal: Arc::new(AtomicU8::new(Signal::Good as u8)),
            server: Arc::new(Mutex::new(String::new())),
        };
        wire.leads_to(server);
        let (signal, server) = (Arc::clone(&wire.signal), Arc::clone(&wire.server));
        std::thread::spawn(move || {
            for phone in listener.incoming().map_while(Result::ok) {
                let to = server.lock().expect("an address").clone();
                if signal.load(Ordering::SeqCst) == Signal::None as u8 {
                    continue;
                }
                let Ok(server) = TcpStream::connect(to) else { continue };
                let there = (phone.try_clone().expect("a copy"), server.try_clone().expect("a copy"));
                let (up, down) = (Arc::clone(&signal), Arc::clone(&signal));
                std::thread::spawn(move || carry(there.0, there.1, &up, Signal::OneWay));
                std::thread::spawn(move || carry(server, phone, &down, Signal::Good));
            }
        });
        wire
    }

    fn leads_to(&self, server: &Server) {
        let at = server.at.trim_start_matches("http://").to_owned();
        *self.server.lock().expect("an address") = at;
    }

    fn set(&self, signal: Signal) {
        self.signal.store(signal as u8, Ordering::SeqCst);
    }

    fn address(&self) -> String {
        format!("http://{}", self.at)
    }
}

/// Carries what comes from one end to the other, as long as the signal is at least as good as this.
fn carry(mut from: TcpStream, mut to: TcpStream, signal: &AtomicU8, least: Signal) {
    let mut some = [0; 16 * 1024];
    while let Ok(read) = from.read(&mut some) {
        let lost = signal.load(Ordering::SeqCst) < least as u8;
        if read == 0 || lost || to.write_all(&some[..read]).is_err() {
            break;
        }
    }
    let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
}

/// A phone: its browser, and what was entered on it line by line.
struct Phone {
    email: &'static str,
    folder: std::path::PathBuf,
    browser: WebDriver,
    entered: BTreeMap<u32, Vec<i64>>,
}

impl Phone {
    async fn ask<T: serde::de::DeserializeOwned>(
        &self,
        script: &str,
        arguments: Vec<serde_json::Value>,
    ) -> Walked<T> {
        let answer = self.browser.execute_async(script, arguments).await.map_err(words)?;
        answer.convert().map_err(words)
    }

    async fn sign_in(&self, at: &str, count: CountId) -> Walked<()> {
        self.browser.goto(format!("{at}/sign-in")).await.map_err(words)?;
        for (name, text) in [("email", self.email), ("password", "tidemill-demo-cellar")] {
            let field = self.browser.find(By::Name(name)).await.map_err(words)?;
            field.send_keys(text).await.map_err(words)?;
        }
        self.browser
            .find(By::Css("main form button.do"))
            .await
            .map_err(words)?
            .click()
            .await
            .map_err(words)?;
        for path in [format!("/counts/{count}"), "/phone".to_owned()] {
            self.browser.goto(format!("{at}{path}")).await.map_err(words)?;
            let ready = "const done = arguments[arguments.length - 1]; \
                navigator.serviceWorker.ready.then(() => setTimeout(() => done('ready'), 500))";
            self.ask::<String>(ready, Vec::new()).await?;
        }
        Ok(())
    }

    /// Counts these lines on the page that opens without a signal, each with the form that a finger would use.
    async fn count(&mut self, at: &str, count: CountId, values: &[(u32, i64)]) -> Walked<()> {
        self.browser.goto(format!("{at}/phone")).await.map_err(words)?;
        let script = "const [count, values, done] = arguments; (async () => { \
            for (let tries = 0; typeof data === 'undefined' || !data; tries++) { \
              if (tries > 200) throw new Error('nothing is kept on this device'); \
              await new Promise(r => setTimeout(r, 20)); } \
            for (const [line, value] of values) { \
              await go({ count, line }); \
              const form = document.querySelector('.count-line form'); \
              if (value) { form.elements.counted.value = String(value); \
                form.requestSubmit(form.querySelector('.do')); } \
              else form.requestSubmit(form.querySelector('[name=none]')); \
              for (let tries = 0; at.line === line; tries++) { \
                if (tries > 1000) throw new Error(`line ${line} is not kept`); \
                await new Promise(r => setTimeout(r, 5)); } } })().then(() => done('kept'), e => done(String(e)))";
        let arguments = vec![json!(count.to_string()), json!(values)];
        let said: String = self.ask(script, arguments).await?;
        if said != "kept" {
            return Err(format!("{}: {said}", self.email));
        }
        for (line, value) in values {
            self.entered.entry(*line).or_default().push(*value);
        }
        Ok(())
    }

    async fn waiting(&self) -> Walked<usize> {
        self.ask("const done = arguments[0]; kept().then(all => done(all.length))", Vec::new()).await
    }

    /// Until nothing is kept any more; what was refused is an error.
    async fn empties(&self) -> Walked<()> {
        for _ in 0..600 {
            let left: Vec<String> = self
                .ask(
                    "const done = arguments[0]; sendLater(); \
                     kept().then(all => done(all.map(one => one.why)))",
                    Vec::new(),
                )
                .await?;
            if left.is_empty() {
                return Ok(());
            }
            if let Some(why) = left.iter().find(|why| !why.is_empty()) {
                return Err(format!("{}: {why}", self.email));
            }
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        Err(format!("{}: the outbox does not empty", self.email))
    }
}

/// A count of all that is not on the meal floor, where another is open.
async fn begun(db: &Database) -> Walked<(CountId, u32)> {
    let doer =
        doer_by_email(db, "Tidemill Cellar Club", "marit@tidemill.example", now()).await.map_err(words)?;
    let club = doer.club;
    let places = db.read(move |conn| stock::places(conn, club)).await.map_err(words)?;
    let wanted =
        ["Tide mill, Scullery", "Tide mill, Sluice room", "Tide mill, Hoist loft", "Tide mill, Wheel pit"];
    let places =
        places.iter().filter(|place| wanted.contains(&place.path.as_str())).map(|place| place.id).collect();
    let hand = Cellarhand::from_doer(doer).ok_or("she records everything")?;
    let order = Start { title: "Without signal".to_owned(), places, kinds: Vec::new(), items: Vec::new() };
    let begun = start(db, &hand, None, order).await.map_err(words)?;
    Ok((begun.id, u32::try_from(begun.lines).map_err(words)?))
}

/// What the database holds of each member and line, in the order in which it came.
async fn recorded(db: &Database, count: CountId) -> Walked<BTreeMap<(String, u32), Vec<i64>>> {
    let read = db.read(move |conn| {
        let club = undercroft::db::members::clubs(conn)?[0].0;
        rows::lines(conn, club, count, None)
    });
    let mut found: BTreeMap<(String, u32), Vec<i64>> = BTreeMap::new();
    for line in read.await.map_err(|failure: undercroft::db::Failure| words(failure))? {
        for tally in &line.tallies {
            let given = tally.member.1.split(' ').next().unwrap_or_default().to_lowercase();
            let value = if line.unit == BaseUnit::Piece {
                tally.counted.get() / 1000
            } else {
                tally.counted.get() / 1_000_000
            };
            found.entry((given, line.number)).or_default().push(value);
        }
    }
    Ok(found)
}

/// Phones, the wire and the server at its other end.
struct Trial<'g> {
    ground: &'g Ground,
    driver: Chromedriver,
    wire: Wire,
    server: Server,
    count: CountId,
    phones: Vec<Phone>,
    /// How often the network came back, answers were lost, the server was killed, browsers were closed.
    faults: [usize; 4],
    /// What waited in browsers that were closed.
    kept_over: usize,
}

impl Trial<'_> {
    /// What was entered meets one of four faults on its way.
    async fn meets(&mut self, fault: usize) -> Walked<()> {
        self.faults[fault] += 1;
        match fault {
            0 => self.wire.set(Signal::Good),
            1 => {
                self.wire.set(Signal::OneWay);
                self.try_to_send().await?;
                tokio::time::sleep(Duration::from_secs(4)).await;
                self.wire.set(Signal::Good);
            }
            2 => {
                self.wire.set(Signal::Good);
                self.try_to_send().await?;
                tokio::time::sleep(Duration::from_millis(250)).await;
                self.server.kill();
                self.server = Server::start(self.ground, None);
                self.wire.leads_to(&self.server);
            }
            _ => {
                for phone in &mut self.phones {
                    let before = phone.waiting().await?;
                    phone.browser.clone().quit().await.map_err(words)?;
                    phone.browser = self.driver.browser_in(&LOOKS[0], Some(&phone.folder)).await;
                    // Still without a signal: the page comes out of the device itself.
                    let page = format!("{}/counts/{}", self.wire.address(), self.count);
                    phone.browser.goto(page).await.map_err(words)?;
                    let after = phone.waiting().await?;
                    if before != after {
                        return Err(format!("{before} were kept, and {after} after the browser was closed"));
                    }
                    self.kept_over += after;
                }
                self.wire.set(Signal::Good);
            }
        }
        for phone in &self.phones {
            phone.empties().await?;
        }
        Ok(())
    }

    async fn try_to_send(&self) -> Walked<()> {
        for phone in &self.phones {
            let script = "const done = arguments[0]; sendLater(); done('')";
            phone.ask::<String>(script, Vec::new()).await?;
        }
        Ok(())
    }

    /// Counts that are missing, that are there more than once, and lines in another order.
    fn compared(&self, found: &BTreeMap<(String, u32), Vec<i64>>) -> (usize, usize, usize) {
        let (mut lost, mut doubled, mut disordered) = (0, 0, 0);
        for phone in &self.phones {
            let given = phone.email.split('@').next().unwrap_or_default().to_owned();
            for (line, entered) in &phone.entered {
                let there = found.get(&(given.clone(), *line)).cloned().unwrap_or_default();
                lost += entered.len().saturating_sub(there.len());
                doubled += there.len().saturating_sub(entered.len());
                disordered += usize::from(there != *entered);
            }
        }
        (lost, doubled, disordered)
    }
}

/// All of it.
pub async fn counts_are_neither_lost_nor_doubled(ground: &Ground) -> Walked<()> {
    let db = ground.open();
    undercroft::jobs::demo::load(&db, now()).await.map_err(words)?;
    let (count, lines) = begun(&db).await?;
    let server = Server::start(ground, None);
    let wire = Wire::lay(&server);
    let driver = Chromedriver::start();
    let (faults, kept_over) = ([0; 4], 0);
    let mut trial = Trial { ground, driver, wire, server, count, phones: Vec::new(), faults, kept_over };
    let at = trial.wire.address();
    for email in ["dorthe@tidemill.example", "gijs@tidemill.example"] {
        let folder = std::env::temp_dir().join(format!("undercroft-phone-{}-{email}", std::process::id()));
        let browser = trial.driver.browser_in(&LOOKS[0], Some(&folder)).await;
        let phone = Phone { email, folder, browser, entered: BTreeMap::new() };
        phone.sign_in(&at, count).await?;
        trial.phones.push(phone);
    }
    let club = db.read(undercroft::db::members::clubs).await.map_err(words)?[0].0;
    let sheet = db.read(move |conn| rows::lines(conn, club, count, None)).await.map_err(words)?;
    let pieces: Vec<u32> =
        sheet.iter().filter(|line| line.unit == BaseUnit::Piece).map(|line| line.number).collect();
    if pieces.len() < 10 {
        return Err(format!("only {} of {lines} lines are counted by the piece", pieces.len()));
    }
    let (mut entries, mut round) = (0, 0_u32);
    while entries < ENTRIES {
        for (turn, phone) in trial.phones.iter_mut().enumerate() {
            let value =
                |line: &u32| i64::from((line * 7 + round * 3 + u32::try_from(turn).unwrap_or(0)) % 40);
            let values: Vec<(u32, i64)> = pieces.iter().map(|line| (*line, value(line))).collect();
            trial.wire.set(Signal::None);
            phone.count(&at, count, &values).await?;
            entries += values.len();
            if phone.waiting().await? < values.len() {
                return Err("something was sent without a signal".to_owned());
            }
        }
        trial.meets(usize::try_from(round % 4).map_err(words)?).await?;
        round += 1;
    }
    let (lost, doubled, disordered) = trial.compared(&recorded(&db, count).await?);
    let [back, answers, killed, closed] = trial.faults;
    println!(
        "{entries} counts entered without a signal on two phones, {lost} lost, {doubled} doubled, {disordered} lines \
         in another order; network back {back} times, answers lost {answers} times, server killed {killed} times, \
         browser closed {closed} times with {} counts in it",
        trial.kept_over
    );
    for phone in trial.phones {
        phone.browser.quit().await.map_err(words)?;
        let _ = std::fs::remove_dir_all(phone.folder);
    }
    if (lost, doubled, disordered) == (0, 0, 0) { Ok(()) } else { Err("see above".to_owned()) }
}
