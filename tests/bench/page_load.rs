//! What a page does under load: `cargo build --release && cargo run --release --example page_load -- 60`.
//!
//! A thousand connections that send half a request and then nothing stay open while 200 requests a second are asked of
//! the page for so many seconds. Prints how many were answered and how long that took.

use std::error::Error;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use stillair::simulate::{out_and_back_plan, ride_day};

const HALF_OPEN: usize = 1000;
const A_SECOND: u64 = 200;

struct Page {
    program: Child,
    host: String,
    cookie: String,
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

fn get(host: &str, path: &str, cookie: &str) -> Result<String, Box<dyn Error>> {
    let mut stream = TcpStream::connect(host)?;
    stream.set_read_timeout(Some(Duration::from_secs(20)))?;
    write!(
        stream,
        "GET {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n"
    )?;
    let mut text = String::new();
    stream.read_to_string(&mut text)?;
    Ok(text)
}

fn open(folder: &std::path::Path) -> Result<Page, Box<dyn Error>> {
    let mut program = Command::new(".target/release/stillair")
        .args(["page", "--no-open", "--quiet"])
        .arg(folder)
        .stdout(Stdio::piped())
        .spawn()?;
    let mut address = String::new();
    BufReader::new(program.stdout.take().ok_or("no output")?).read_line(&mut address)?;
    let rest = address.trim().strip_prefix("http://").ok_or("no address")?;
    let (host, token) = rest.split_once("/?token=").ok_or("no token")?;
    let welcome = get(host, &format!("/?token={token}"), "")?;
    let cookie = welcome.lines().find_map(|line| line.strip_prefix("set-cookie: "));
    let cookie = cookie
        .and_then(|cookie| cookie.split(';').next())
        .ok_or("no cookie")?;
    Ok(Page {
        program,
        host: host.to_string(),
        cookie: cookie.to_string(),
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let seconds: u64 = std::env::args()
        .nth(1)
        .and_then(|text| text.parse().ok())
        .unwrap_or(60);
    let home = tempfile::tempdir()?;
    ride_day(&out_and_back_plan(11, "ABBABAAB", -4.0)).write_folder(home.path(), true)?;
    let page = open(home.path())?;
    let mut half_open = Vec::new();
    for _ in 0..HALF_OPEN {
        let mut stream = TcpStream::connect(&page.host)?;
        stream.write_all(b"GET / HTTP/1.1\r\nHost: ")?;
        half_open.push(stream);
    }
    let wanted = A_SECOND * seconds;
    let start = Instant::now();
    let (mut times_ms, mut failed) = (Vec::new(), 0);
    std::thread::scope(|scope| {
        let mut asking = Vec::new();
        for number in 0..wanted {
            let due = Duration::from_secs_f64(number as f64 / A_SECOND as f64);
            std::thread::sleep(due.saturating_sub(start.elapsed()));
            let path = ["/now", "/numbers", "/hand.js", "/"][(number % 4) as usize];
            let page = &page;
            asking.push(scope.spawn(move || {
                let asked = Instant::now();
                let answered =
                    get(&page.host, path, &page.cookie).is_ok_and(|text| text.starts_with("HTTP/1.1 200"));
                answered.then(|| 1e3 * asked.elapsed().as_secs_f64())
            }));
            if asking.len() >= 1000 || number + 1 == wanted {
                for one in asking.drain(..) {
                    match one.join() {
                        Ok(Some(ms)) => times_ms.push(ms),
                        _ => failed += 1,
                    }
                }
            }
        }
    });
    let took = start.elapsed().as_secs_f64();
    times_ms.sort_by(f64::total_cmp);
    let at = |share: f64| {
        times_ms
            .get((share * times_ms.len() as f64) as usize)
            .copied()
            .unwrap_or(f64::NAN)
    };
    println!(
        "{} connections half open: {} requests in {took:.0} s, {failed} failed; median {:.1} ms, 99th percentile {:.1} ms",
        half_open.len(),
        times_ms.len() + failed,
        at(0.5),
        at(0.99)
    );
    drop(half_open);
    let after = get(&page.host, "/numbers", &page.cookie)?;
    println!("afterwards: {}", after.lines().next().unwrap_or_default());
    Ok(())
}
