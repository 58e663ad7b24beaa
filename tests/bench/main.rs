//! Measures what a page and a write cost, as ratios against a bare loop in the same run.
//!
//! `cargo bench` makes two cellars that hold the same today, one with 10 000 postings of history and one with
//! 1 000 000, starts the server on the first core and the load on the second, and prints:
//!
//! - (a) requests a second of the stock page and of a batch page over HTTP, against a loop that runs the same
//!   queries and renders the same page without HTTP, and large against small history;
//! - (b) draws a second from 32 connections, durable, against a bare loop with one transaction each; p99; failures;
//! - (c) the peak memory of the server; (d) the time from its start to the first answer.
//!
//! `UNDERCROFT_BENCH_POSTINGS` and `UNDERCROFT_BENCH_SECONDS` make a shorter run.

mod bare;
mod cellar;
mod load;

use std::path::Path;
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
        Some("load-page") => return load::pages(&arguments[2..]),
        Some("load-draws") => return load::draws(&arguments[2..]),
        _ => {}
    }
    let seconds = setting("UNDERCROFT_BENCH_SECONDS", 5);
    let large_postings = setting("UNDERCROFT_BENCH_POSTINGS", 1_000_000);
    let folder = std::env::temp_dir().join(format!("undercroft-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let result = measure(&folder, large_postings, seconds);
    std::fs::remove_dir_all(&folder)?;
    result
}

fn setting(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

fn measure(folder: &Path, large_postings: u64, seconds: u64) -> Tried<()> {
    let small = cellar::make(&folder.join("small.db"), 10_000)?;
    let large = cellar::make(&folder.join("large.db"), large_postings)?;
    println!("postings: {} and {}", small.postings, large.postings);
    // Before anything more is written to it.
    let pages = ["stock page", "batch page"];
    let bare = pages.map(|page| {
        number(&server_core(&["bare-page", &large.path, &large.who(), page, &seconds.to_string()])?)
    });
    let mut rates = Vec::new();
    for cellar in [&small, &large] {
        let server = Server::start(cellar)?;
        println!(
            "(d) {}: first answer {:.3} s after the start",
            cellar.name(),
            server.first_answer.as_secs_f64()
        );
        for page in ["/stores", &cellar.batch_path()] {
            let over_http = number(&load_core(&[
                "load-page",
                &server.address,
                &cellar.cookie,
                page,
                &seconds.to_string(),
            ])?)?;
            rates.push(over_http);
        }
        if cellar.postings == large.postings {
            writes(cellar, &server, seconds)?;
        }
        println!("(c) {}: peak memory of the server {:.0} MB", cellar.name(), server.peak_mb()?);
    }
    for ((at, page), bare) in pages.into_iter().enumerate().zip(bare) {
        let bare = bare?;
        let (of_small, of_large) = (rates[at], rates[at + 2]);
        println!(
            "(a) {page}: {of_large:.0} requests/s over HTTP, {bare:.0} in the bare loop: {:.2} of it; {:.2} times slower than \
             with the small history ({of_small:.0}/s)",
            of_large / bare,
            of_small / of_large
        );
    }
    Ok(())
}

fn writes(cellar: &Cellar, server: &Server, seconds: u64) -> Tried<()> {
    let said = load_core(&[
        "load-draws",
        &server.address,
        &cellar.token,
        &cellar.batch,
        &cellar.item,
        &seconds.to_string(),
    ])?;
    let figures: Vec<f64> = said.split_whitespace().map(str::parse).collect::<Result<_, _>>()?;
    let bare = number(&server_core(&["bare-draws", &cellar.spare()?, &cellar.who(), &seconds.to_string()])?)?;
    println!(
        "(b) draws from 32 connections: {:.0}/s over HTTP, {bare:.0}/s in the bare loop: {:.2} times; p50 {:.1} ms, p99 {:.1} \
         ms; failed {:.0}",
        figures[0],
        figures[0] / bare,
        figures[1],
        figures[2],
        figures[3]
    );
    Ok(())
}

fn number(text: &str) -> Tried<f64> {
    Ok(text.trim().parse()?)
}

fn server_core(arguments: &[&str]) -> Tried<String> {
    on_core(SERVER_CORE, arguments)
}

fn load_core(arguments: &[&str]) -> Tried<String> {
    on_core(LOAD_CORE, arguments)
}

/// Run this program again on one core and read what it prints.
fn on_core(core: &str, arguments: &[&str]) -> Tried<String> {
    let me = std::env::current_exe()?;
    let out = Command::new("taskset")
        .args(["-c", core])
        .arg(me)
        .args(arguments)
        .stderr(Stdio::inherit())
        .output()?;
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
        let port = std::net::TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
        let address = format!("127.0.0.1:{port}");
        let started = Instant::now();
        let child = Command::new("taskset")
            .args(["-c", SERVER_CORE, env!("CARGO_BIN_EXE_undercroft"), "serve", "--listen", &address])
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
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let line = status.lines().find(|line| line.starts_with("VmHWM:")).ok_or("no peak is counted")?;
        let kilobytes = line.split_whitespace().nth(1).ok_or("no peak is counted")?;
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
