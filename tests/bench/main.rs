//! Measures what a page and a write cost, as ratios between measurements of the same run.
//!
//! `cargo bench` makes two cellars that hold the same today and have the same year behind them, one with 10 000 postings
//! in all and one with 1 000 000, starts a server for each on the first core and the load on the second, and prints:
//!
//! - every main page: requests a second from four connections with either history, and how many times slower the long
//!   one is;
//! - (a) the same for the stores and for one batch against a loop that runs the same queries and renders the same page
//!   without HTTP;
//! - (b) draws a second from 32 connections, durable, against a bare loop with one transaction each; p99; failures.
//!   What is saved by committing together is syncs of the disk. So it prints how often a second the disk syncs, how
//!   much faster the bare loop is when a sync takes no time, which is the most that committing together can give there,
//!   and the comparison with every sync made 2 ms longer for both (`syncs.c`);
//! - the yields of ten years of a large club, against one SQL statement that adds up the same; all postings as CSV, in
//!   lines a second, against the command line of SQLite with the same query, and the memory that takes;
//! - (c) the peak memory of the servers; (d) the time from a start to the first answer.
//!
//! What is compared is measured in turns of a second or so, several times, and the middle one counts: whatever else the
//! machine does then weighs on both alike. `UNDERCROFT_BENCH_POSTINGS` and `UNDERCROFT_BENCH_SECONDS` (of one turn) make
//! a shorter or longer run. Nothing is asserted: look at the figures, and at the load of the machine printed above them.

mod bare;
mod cellar;
mod files;
mod history;
mod load;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use cellar::Cellar;

/// A result of any kind of trouble; a measurement that fails ends the run.
pub type Tried<T> = Result<T, Box<dyn std::error::Error>>;

const SERVER_CORE: &str = "0";
const LOAD_CORE: &str = "1";

fn main() -> Tried<()> {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.get(1).map(String::as_str) {
        Some("bare-page") => return bare::pages(&arguments[2..]),
        Some("bare-draws") => return bare::draws(&arguments[2..]),
        Some("bare-yields") => return files::bare_yields(&arguments[2..]),
        Some("load-page") => return load::pages(&arguments[2..]),
        Some("load-draws") => return load::draws(&arguments[2..]),
        Some("load-file") => return load::file(&arguments[2..]),
        Some("make") => return keep(&arguments[2..]),
        _ => {}
    }
    let seconds = setting("UNDERCROFT_BENCH_SECONDS", 1);
    let postings = setting("UNDERCROFT_BENCH_POSTINGS", 1_000_000);
    let folder = std::env::temp_dir().join(format!("undercroft-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let result = measure(&folder, postings, &seconds.to_string());
    std::fs::remove_dir_all(&folder)?;
    result
}

/// `make FILE POSTINGS`: makes a cellar and leaves it there, to look into it; prints what the loads are given.
fn keep(arguments: &[String]) -> Tried<()> {
    let [path, postings] = arguments else { return Err("a file and a number".into()) };
    let made = cellar::make(Path::new(path), postings.parse()?, YEARS)?;
    println!("cookie {} token {} item {} who {}", made.cookie, made.token, made.item, made.who());
    Ok(())
}

fn setting(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

fn measure(folder: &Path, postings: u64, seconds: &str) -> Tried<()> {
    println!("load average: {}", std::fs::read_to_string("/proc/loadavg").unwrap_or_default().trim());
    let began = Instant::now();
    let small = cellar::make(&folder.join("small.db"), 10_000, YEARS)?;
    let large = cellar::make(&folder.join("large.db"), postings, YEARS)?;
    println!(
        "{} and {} postings, made in {:.0} s",
        small.postings,
        large.postings,
        began.elapsed().as_secs_f64()
    );
    // The first server on a file that was filled in one go looks it over; every later one finds that done.
    let filled = [Server::start(&small)?.first_answer, Server::start(&large)?.first_answer];
    let servers = [Server::start(&small)?, Server::start(&large)?];
    for ((server, cellar), filled) in servers.iter().zip([&small, &large]).zip(filled) {
        println!(
            "(d) {}: first answer {:.3} s after the start; {:.3} s on the file as it was filled",
            cellar.name(),
            server.first_answer.as_secs_f64(),
            filled.as_secs_f64()
        );
    }
    pages(&small, &large, &servers, seconds)?;
    files::yields(folder, seconds)?;
    files::books(&large, &servers[1])?;
    println!("the disk: {:.0} syncs/s", syncs(folder)?);
    let bare = writes(&large, &servers[1], seconds, None)?;
    for (server, cellar) in servers.iter().zip([&small, &large]) {
        println!("(c) {}: peak memory of the server {:.0} MB", cellar.name(), server.peak_mb()?);
    }
    drop(servers);
    match (syncs_made(folder, "free", &[]), syncs_made(folder, "longer", &["-DLONGER=2000000"])) {
        (Ok(free), Ok(longer)) => {
            let [unsynced] = bare_draws(&large, seconds, "free", Some(&free))?;
            println!("the bare loop where a sync takes no time: {:.2} times as fast", unsynced / bare);
            println!("with every sync 2 ms longer:");
            writes(&large, &Server::start_with(&large, Some(&longer))?, seconds, Some(&longer))?;
        }
        (Err(error), _) | (_, Err(error)) => println!("syncs cannot be changed here: {error}"),
    }
    println!("load average: {}", std::fs::read_to_string("/proc/loadavg").unwrap_or_default().trim());
    println!("{:.0} s in all", began.elapsed().as_secs_f64());
    Ok(())
}

/// How far back a long history goes.
const YEARS: i64 = 21;

/// How often each comparison is made.
const TURNS: usize = 3;

/// The pages, as they are called here and where they are.
const PAGES: [(&str, &str); 18] = [
    ("today", "/"),
    ("stores", "/stores"),
    ("batches", "/batches"),
    ("one batch", "/batches/{batch}"),
    ("form of a draw", "/batches/{batch}/draw"),
    ("bottles", "/bottles"),
    ("one bottling", "/bottles/{bottling}"),
    ("reports", "/reports"),
    ("yields", "/reports/yields"),
    ("costs a bottle", "/reports/costs"),
    ("stock and its worth", "/reports/stock"),
    ("by-products", "/reports/by-products"),
    ("losses", "/reports/losses"),
    ("members", "/reports/members"),
    ("report of tastings", "/reports/tastings"),
    ("supplies", "/reports/supplies"),
    ("production", "/reports/production"),
    ("form of a receipt", "/stores/receipts/new"),
];

fn pages(small: &Cellar, large: &Cellar, servers: &[Server; 2], seconds: &str) -> Tried<()> {
    for (name, path) in PAGES {
        let (mut slower, mut shares, mut rates, mut size) = (Vec::new(), Vec::new(), Vec::new(), 0.0);
        for _ in 0..TURNS {
            let mut of = [0.0; 2];
            for (at, cellar) in [small, large].into_iter().enumerate() {
                let path = cellar.fill(path);
                let said = load_core(&["load-page", &servers[at].address, &cellar.cookie, &path, seconds])?;
                [of[at], size] = figures(&said)?;
            }
            if ["stores", "one batch"].contains(&name) {
                let [bare] =
                    figures(&server_core(&["bare-page", &large.path, &large.who(), name, seconds])?)?;
                shares.push(of[1] / bare);
            }
            slower.push(of[0] / of[1]);
            rates.push(of[1]);
        }
        let share = match middle(&mut shares) {
            Some(share) => format!("; (a) {share:.2} of the bare loop"),
            None => String::new(),
        };
        println!(
            "{name}: {:.1} KB, {:.0}/s, {:.2} times slower with the long history{share}",
            size / 1024.0,
            middle(&mut rates).unwrap_or_default(),
            middle(&mut slower).unwrap_or_default()
        );
    }
    Ok(())
}

/// Prints how draws over HTTP compare with the bare loop; how many a second that loop makes.
fn writes(cellar: &Cellar, server: &Server, seconds: &str, library: Option<&Path>) -> Tried<f64> {
    let (mut times, mut rates, mut bares) = (Vec::new(), Vec::new(), Vec::new());
    let (mut typical, mut late, mut failed) = (Vec::new(), Vec::new(), 0.0);
    for turn in 0..TURNS {
        let turn = format!("{turn}{}", if library.is_some() { "-longer" } else { "" });
        let load = ["load-draws", &server.address, &cellar.token, &cellar.vat, &cellar.item, seconds, &turn];
        let [rate, p50, p99, bad] = figures(&load_core(&load)?)?;
        let [bare] = bare_draws(cellar, seconds, &turn, library)?;
        times.push(rate / bare);
        rates.push(rate);
        bares.push(bare);
        typical.push(p50);
        late.push(p99);
        failed += bad;
    }
    let bare = middle(&mut bares).unwrap_or_default();
    println!(
        "(b) draws from 32 connections: {:.0}/s, {:.2} times the bare loop ({bare:.0}/s); p50 {:.1} ms, p99 {:.1} ms; \
         failed {failed:.0}",
        middle(&mut rates).unwrap_or_default(),
        middle(&mut times).unwrap_or_default(),
        middle(&mut typical).unwrap_or_default(),
        middle(&mut late).unwrap_or_default()
    );
    Ok(bare)
}

fn bare_draws(cellar: &Cellar, seconds: &str, turn: &str, library: Option<&Path>) -> Tried<[f64; 1]> {
    let bare = ["bare-draws", &cellar.path, &cellar.who(), seconds, turn];
    figures(&on_core(SERVER_CORE, &bare, library)?)
}

/// A library that changes how long a sync takes for the program that is started with it.
fn syncs_made(folder: &Path, name: &str, how: &[&str]) -> Tried<PathBuf> {
    let (source, library) = (folder.join("syncs.c"), folder.join(name).with_extension("so"));
    std::fs::write(&source, include_str!("syncs.c"))?;
    let mut cc = Command::new("cc");
    let made = cc.args(["-shared", "-fPIC", "-O1", "-o"]).arg(&library).args(how).arg(&source).status()?;
    if made.success() { Ok(library) } else { Err(format!("cc: {made}").into()) }
}

/// How often a second a page that was written is made durable.
fn syncs(folder: &Path) -> Tried<f64> {
    let mut file = std::fs::File::create(folder.join("syncs"))?;
    let (began, mut count) = (Instant::now(), 0_u32);
    while began.elapsed() < Duration::from_secs(1) {
        file.write_all(&[0; 4096])?;
        file.sync_data()?;
        count += 1;
    }
    Ok(f64::from(count) / began.elapsed().as_secs_f64())
}

/// The one in the middle.
fn middle(of: &mut [f64]) -> Option<f64> {
    of.sort_by(f64::total_cmp);
    of.get(of.len() / 2).copied()
}

fn figures<const N: usize>(text: &str) -> Tried<[f64; N]> {
    let found: Vec<f64> = text.split_whitespace().map(str::parse).collect::<Result<_, _>>()?;
    found.try_into().map_err(|_| format!("{N} figures expected: {text}").into())
}

fn server_core(arguments: &[&str]) -> Tried<String> {
    on_core(SERVER_CORE, arguments, None)
}

fn load_core(arguments: &[&str]) -> Tried<String> {
    on_core(LOAD_CORE, arguments, None)
}

/// A command on one core, with or without longer syncs.
fn pinned(core: &str, library: Option<&Path>) -> Command {
    let mut command = Command::new("taskset");
    command.args(["-c", core]);
    if let Some(library) = library {
        command.env("LD_PRELOAD", library);
    }
    command
}

/// Run this program again on one core and read what it prints.
fn on_core(core: &str, arguments: &[&str], library: Option<&Path>) -> Tried<String> {
    let me = std::env::current_exe()?;
    let out = pinned(core, library).arg(me).args(arguments).stderr(Stdio::inherit()).output()?;
    if !out.status.success() {
        return Err(format!("{arguments:?} failed: {}", out.status).into());
    }
    Ok(String::from_utf8(out.stdout)?)
}

/// The real server on the first core.
struct Server {
    child: Child,
    address: String,
    first_answer: Duration,
}

impl Server {
    fn start(cellar: &Cellar) -> Tried<Self> {
        Self::start_with(cellar, None)
    }

    fn start_with(cellar: &Cellar, library: Option<&Path>) -> Tried<Self> {
        let port = std::net::TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
        let address = format!("127.0.0.1:{port}");
        let started = Instant::now();
        let child = pinned(SERVER_CORE, library)
            .args([env!("CARGO_BIN_EXE_undercroft"), "serve", "--listen", &address])
            .args(["--database", &cellar.path])
            .env("RUST_LOG", "error")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()?;
        let mut server = Self { child, address, first_answer: Duration::ZERO };
        while !load::answers(&server.address) {
            if started.elapsed() > Duration::from_secs(20) {
                return Err("the server does not answer".into());
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        server.first_answer = started.elapsed();
        Ok(server)
    }

    /// The most memory it has held so far, from the kernel's own count.
    fn peak_mb(&self) -> Tried<f64> {
        self.memory_mb("VmHWM:")
    }

    /// What it holds now; the most is counted anew from here.
    fn memory_from_now_mb(&self) -> Tried<f64> {
        std::fs::write(format!("/proc/{}/clear_refs", self.child.id()), "5")?;
        self.memory_mb("VmRSS:")
    }

    fn memory_mb(&self, which: &str) -> Tried<f64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let line = status.lines().find(|line| line.starts_with(which)).ok_or("no memory is counted")?;
        let kilobytes = line.split_whitespace().nth(1).ok_or("no memory is counted")?;
        Ok(kilobytes.parse::<f64>()? / 1024.0)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It was started here; that it has gone already is no trouble.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
