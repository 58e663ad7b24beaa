//! Load over HTTP/1.1 from plain sockets on the loopback address: bounded in time, and it counts what failed.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use super::Tried;

/// Whether a server answers there.
pub fn answers(address: &str) -> bool {
    let Ok(mut stream) = TcpStream::connect(address) else { return false };
    let asked = stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
    let mut answer = String::new();
    asked.is_ok() && stream.read_to_string(&mut answer).is_ok() && answer.starts_with("HTTP/1.1 200")
}

/// A connection that is kept open.
struct Line {
    reader: BufReader<TcpStream>,
}

impl Line {
    fn open(address: &str) -> Tried<Self> {
        let stream = TcpStream::connect(address)?;
        stream.set_nodelay(true)?;
        stream.set_read_timeout(Some(Duration::from_secs(10)))?;
        Ok(Self { reader: BufReader::with_capacity(64 * 1024, stream) })
    }

    /// Send a request and read the whole answer: its status and the size of its body.
    fn ask(&mut self, request: &[u8]) -> Tried<(u16, usize)> {
        self.reader.get_mut().write_all(request)?;
        let mut head = String::new();
        self.reader.read_line(&mut head)?;
        let status = head.split_whitespace().nth(1).ok_or("no status")?.parse()?;
        let (mut length, mut chunked) = (0, false);
        loop {
            let mut line = String::new();
            self.reader.read_line(&mut line)?;
            let line = line.trim_end().to_ascii_lowercase();
            if line.is_empty() {
                break;
            }
            if let Some(size) = line.strip_prefix("content-length:") {
                length = size.trim().parse()?;
            }
            chunked |= line.starts_with("transfer-encoding: chunked");
        }
        let body = if chunked { self.chunks()? } else { self.skip(length)? };
        Ok((status, body))
    }

    fn skip(&mut self, length: usize) -> Tried<usize> {
        let mut body = vec![0; length];
        self.reader.read_exact(&mut body)?;
        Ok(length)
    }

    fn chunks(&mut self) -> Tried<usize> {
        let mut sum = 0;
        loop {
            let mut line = String::new();
            self.reader.read_line(&mut line)?;
            let size = usize::from_str_radix(line.trim(), 16)?;
            self.skip(size + 2)?;
            if size == 0 {
                return Ok(sum);
            }
            sum += size;
        }
    }
}

/// `ADDRESS COOKIE PATH SECONDS`: prints pages a second from four connections, and the bytes of one.
pub fn pages(arguments: &[String]) -> Tried<()> {
    let [address, cookie, path, seconds] = arguments else { return Err("four arguments".into()) };
    let request = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nCookie: undercroft={cookie}\r\n\r\n");
    let until = Instant::now() + Duration::from_secs(seconds.parse()?);
    let started = Instant::now();
    let threads: Vec<_> = (0..4)
        .map(|_| {
            let (address, request) = (address.clone(), request.clone());
            std::thread::spawn(move || -> Result<(u64, usize), String> {
                let mut line = Line::open(&address).map_err(|error| error.to_string())?;
                let (mut count, mut size) = (0, 0);
                while Instant::now() < until {
                    let (status, body) = line.ask(request.as_bytes()).map_err(|error| error.to_string())?;
                    if status != 200 {
                        return Err(format!("the page answered {status}"));
                    }
                    (count, size) = (count + 1, body);
                }
                Ok((count, size))
            })
        })
        .collect();
    let mut sum = 0;
    let mut bytes = 0;
    for thread in threads {
        let (count, size) = thread.join().map_err(|_| "a connection broke off")??;
        sum += count;
        bytes = size;
    }
    #[allow(clippy::cast_precision_loss, reason = "a count of requests")]
    let rate = sum as f64 / started.elapsed().as_secs_f64();
    println!("{rate} {bytes}");
    Ok(())
}

/// `ADDRESS TOKEN BATCH ITEM SECONDS TURN`: prints draws a second from 32 connections, p50 and p99 in ms, and how many
/// failed.
pub fn draws(arguments: &[String]) -> Tried<()> {
    let [address, token, batch, item, seconds, turn] = arguments else { return Err("six arguments".into()) };
    let body = format!(r#"{{"lines":[{{"item":"{item}","quantity":{{"amount":"1","unit":"g"}}}}]}}"#);
    let head = format!(
        "POST /api/v1/batches/{batch}/draws HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n",
        body.len()
    );
    let until = Instant::now() + Duration::from_secs(seconds.parse()?);
    let started = Instant::now();
    let threads: Vec<_> = (0..32)
        .map(|connection| {
            let (address, head, body) = (address.clone(), head.clone(), body.clone());
            let turn = turn.clone();
            std::thread::spawn(move || -> Result<(Vec<f64>, u64), String> {
                let mut line = Line::open(&address).map_err(|error| error.to_string())?;
                let (mut times, mut failed) = (Vec::new(), 0);
                while Instant::now() < until {
                    let key = format!("bench-{turn}-{connection}-{}", times.len());
                    let request = format!("{head}Idempotency-Key: {key}\r\n\r\n{body}");
                    let asked = Instant::now();
                    let (status, _) = line.ask(request.as_bytes()).map_err(|error| error.to_string())?;
                    times.push(asked.elapsed().as_secs_f64() * 1000.0);
                    failed += u64::from(status != 201);
                }
                Ok((times, failed))
            })
        })
        .collect();
    let (mut times, mut failed) = (Vec::new(), 0);
    for thread in threads {
        let (mut own, bad) = thread.join().map_err(|_| "a connection broke off")??;
        times.append(&mut own);
        failed += bad;
    }
    let elapsed = started.elapsed().as_secs_f64();
    times.sort_by(f64::total_cmp);
    let at = |share: usize| times.get(times.len() * share / 100).copied().unwrap_or_default();
    #[allow(clippy::cast_precision_loss, reason = "a count of requests")]
    let rate = (times.len() as u64 - failed) as f64 / elapsed;
    println!("{rate} {} {} {failed}", at(50), at(99));
    Ok(())
}

/// `ADDRESS COOKIE PATH`: takes a file once and prints the seconds, its lines and its bytes.
pub fn file(arguments: &[String]) -> Tried<()> {
    let [address, cookie, path] = arguments else { return Err("three arguments".into()) };
    let mut stream = TcpStream::connect(address)?;
    stream.set_read_timeout(Some(Duration::from_mins(2)))?;
    let started = Instant::now();
    // The older protocol ends a body with the connection, so that what is read is the file.
    let request = format!("GET {path} HTTP/1.0\r\nHost: {address}\r\nCookie: undercroft={cookie}\r\n\r\n");
    stream.write_all(request.as_bytes())?;
    let mut reader = BufReader::with_capacity(256 * 1024, stream);
    let mut status = String::new();
    reader.read_line(&mut status)?;
    if !status.contains(" 200 ") {
        return Err(format!("the file answered {status}").into());
    }
    let mut line = String::new();
    while line != "\r\n" {
        line.clear();
        reader.read_line(&mut line)?;
    }
    let (mut lines, mut bytes) = (0_u64, 0_usize);
    loop {
        let part = reader.fill_buf()?;
        if part.is_empty() {
            break;
        }
        lines += part.iter().map(|byte| u64::from(*byte == b'\n')).sum::<u64>();
        bytes += part.len();
        let read = part.len();
        reader.consume(read);
    }
    println!("{} {lines} {bytes}", started.elapsed().as_secs_f64());
    Ok(())
}
