//! `page`: the real server over plain HTTP. What is tried is not kept, what is kept is not written, what is written is
//! what was shown, and nobody else is let in.

use assert_cmd::cargo::CommandCargoExt;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use stillair::simulate::{out_and_back_plan, ride_day};
use tempfile::TempDir;

/// A page that is shown at an address, asked as the browser would that was handed it.
pub struct Door {
    pub port: u16,
    token: String,
    cookie: String,
}

pub struct Page {
    home: TempDir,
    server: Child,
    door: Door,
}

impl std::ops::Deref for Page {
    type Target = Door;

    fn deref(&self) -> &Door {
        &self.door
    }
}

pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|_| panic!("{} {}", self.status, self.body))
    }

    fn part(&self, name: &str) -> String {
        self.json()["parts"][name].as_str().unwrap().to_string()
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

impl Page {
    pub fn open() -> Page {
        let home = TempDir::new().unwrap();
        ride_day(&out_and_back_plan(4, "ABBA", -6.0).calm())
            .write_folder(home.path(), true)
            .unwrap();
        Page::of(home)
    }

    pub fn of(home: TempDir) -> Page {
        let mut server = Command::cargo_bin("stillair")
            .unwrap()
            .args(["page", "--no-open", "--quiet"])
            .arg(home.path())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut address = String::new();
        BufReader::new(server.stdout.take().unwrap())
            .read_line(&mut address)
            .unwrap();
        Page {
            home,
            server,
            door: Door::at(&address),
        }
    }

    pub fn folder(&self) -> &Path {
        self.home.path()
    }

    pub fn test_toml(&self) -> String {
        std::fs::read_to_string(self.folder().join("test.toml")).unwrap()
    }
}

impl Door {
    pub fn at(address: &str) -> Door {
        let (host, token) = address.trim().split_once("/?token=").unwrap();
        let mut door = Door {
            port: host.strip_prefix("http://127.0.0.1:").unwrap().parse().unwrap(),
            token: token.to_string(),
            cookie: String::new(),
        };
        let opened = door.get(&format!("/?token={token}"));
        assert_eq!(opened.status, 303);
        let cookie = opened
            .head
            .lines()
            .find_map(|line| line.strip_prefix("set-cookie: "))
            .unwrap();
        door.cookie = cookie.split(';').next().unwrap().to_string();
        door
    }

    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/?token={}", self.port, self.token)
    }

    fn headers(&self) -> Vec<(&'static str, String)> {
        vec![
            ("Host", format!("127.0.0.1:{}", self.port)),
            ("Origin", format!("http://127.0.0.1:{}", self.port)),
            ("Cookie", self.cookie.clone()),
            ("Content-Type", "application/json".to_string()),
        ]
    }

    fn connect(&self, method: &str, path: &str, headers: &[(&str, String)], body: &[u8]) -> TcpStream {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        for (name, value) in headers.iter().filter(|(_, value)| !value.is_empty()) {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        head.push_str(&format!("Content-Length: {}\r\n\r\n", body.len()));
        stream.write_all(head.as_bytes()).unwrap();
        // What is refused at sight is not read to its end.
        let _ = stream.write_all(body);
        stream
    }

    fn send(&self, method: &str, path: &str, headers: &[(&str, String)], body: &[u8]) -> Answer {
        let mut text = Vec::new();
        let _ = self.connect(method, path, headers, body).read_to_end(&mut text);
        let text = String::from_utf8(text).unwrap();
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        Answer {
            status: head.split(' ').nth(1).unwrap().parse().unwrap(),
            head: head.replace("\r\n", "\n"),
            body: body.to_string(),
        }
    }

    pub fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &self.headers(), b"")
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, &self.headers(), body.to_string().as_bytes())
    }
}

pub fn compare_json(folder: &Path) -> Value {
    let output = Command::cargo_bin("stillair")
        .unwrap()
        .args(["compare", "--json"])
        .arg(folder)
        .output()
        .unwrap();
    serde_json::from_slice(&output.stdout).unwrap()
}

fn cut() -> Value {
    json!({ "do": "cut", "start_s": null, "from_m": 400.0, "to_m": 520.0, "reason": "gravel" })
}

/// The numbers are those of the command line to the last digit, before and after.
#[test]
fn what_is_tried_is_not_kept_and_what_is_written_is_what_was_shown() {
    let page = Page::open();
    let before = page.test_toml();
    let at_first = page.get("/now");
    assert_eq!(page.get("/numbers").json(), compare_json(page.folder()));

    let tried = page.post("/try", &cut());
    assert_eq!(tried.status, 200);
    assert_ne!(tried.part("answer"), at_first.part("answer"));
    assert_eq!(page.get("/now").body, at_first.body, "a try is not kept");

    let changed = page.post("/change", &cut());
    assert_eq!(changed.part("answer"), tried.part("answer"));
    assert_eq!(changed.part("board"), tried.part("board"));
    assert_eq!(page.test_toml(), before, "nothing is written unasked");
    let shown = "\n[[cut]]\nfrom_m = 400\nto_m = 520\nreason = \"gravel\"\n";
    for line in shown.lines().filter(|line| !line.is_empty()) {
        let line = line.replace('"', "&quot;");
        assert!(changed.part("changes").contains(&format!("<ins>+ {line}</ins>")));
    }
    assert_eq!(
        page.post("/undo", &json!(null)).part("answer"),
        at_first.part("answer")
    );
    assert_eq!(
        page.post("/redo", &json!(null)).part("answer"),
        tried.part("answer")
    );

    assert_eq!(page.post("/write", &json!(null)).status, 200);
    assert_eq!(page.test_toml(), format!("{before}{shown}"));
    assert_eq!(page.get("/numbers").json(), compare_json(page.folder()));
}

#[test]
fn a_file_that_changed_meanwhile_is_left_alone() {
    let page = Page::open();
    page.post("/change", &cut());
    let theirs = format!("# mine\n{}", page.test_toml());
    std::fs::write(page.folder().join("test.toml"), &theirs).unwrap();
    let refused = page.post("/write", &json!(null));
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("changed by something else"),
        "{}",
        refused.body
    );
    assert_eq!(page.test_toml(), theirs);
    assert!(page.get("/now").part("bar").contains("will not be written over"));
}

#[test]
fn recordings_are_dropped_in_and_a_damaged_one_is_shown_as_such() {
    let page = Page::open();
    let put = |name: &str, bytes: &[u8]| page.send("PUT", &format!("/drop/{name}"), &page.headers(), bytes);
    let dropped = put("broken%20ride.fit", b"no recording at all");
    assert_eq!(dropped.status, 200, "{}", dropped.body);
    assert!(dropped.part("mind").contains("broken ride.fit"));
    assert_eq!(
        std::fs::read(page.folder().join("broken ride.fit")).unwrap(),
        b"no recording at all"
    );
    let again = put("broken%20ride.fit", b"another");
    assert_eq!(again.status, 422);
    assert_eq!(
        std::fs::read(page.folder().join("broken ride.fit")).unwrap(),
        b"no recording at all"
    );
    let names = || std::fs::read_dir(page.folder()).unwrap().count();
    let there = names();
    for bad in [
        "..%2Fride.fit",
        "%2Ftmp%2Fride.fit",
        ".ride.fit",
        "test.toml",
        "..%5Cride.fit",
    ] {
        assert_eq!(put(bad, b"x").status, 422, "{bad}");
    }
    assert_eq!(names(), there);
    assert!(!page.folder().join("../ride.fit").exists());
}

#[test]
fn nobody_else_is_let_in() {
    let page = Page::open();
    let before = page.get("/now").body;
    let with = |name: &str, value: &str| {
        let mut headers = page.headers();
        for header in headers.iter_mut().filter(|header| header.0 == name) {
            header.1 = value.to_string();
        }
        headers
    };
    let elsewhere = format!("elsewhere.example:{}", page.port);
    for headers in [
        with("Cookie", ""),
        with("Cookie", "stillair=0"),
        with("Host", &elsewhere),
        with("Origin", &format!("http://{elsewhere}")),
        with("Origin", "null"),
        with("Origin", ""),
    ] {
        let refused = page.send("POST", "/change", &headers, cut().to_string().as_bytes());
        assert_eq!(refused.status, 403, "{headers:?}");
        assert!(
            refused
                .head
                .contains("content-security-policy: default-src 'none'")
        );
    }
    for path in ["/", "/now", "/numbers", "/events", "/hand.js", "/?token=0"] {
        let refused = page.send("GET", path, &with("Cookie", ""), b"");
        assert_eq!(refused.status, 403, "{path}");
    }
    let large = vec![b' '; 70_000];
    assert_eq!(page.send("POST", "/change", &page.headers(), &large).status, 413);
    assert_eq!(page.post("/change", &json!({ "do": "anything" })).status, 422);
    assert_eq!(page.get("/now").body, before);
}

/// No word of the page runs, styles or loads anything that the policy would stop.
#[test]
fn the_page_keeps_to_its_own_policy() {
    let page = Page::open();
    let text = page.get("/").body;
    assert!(text.contains("<script src=\"/hand.js\" defer></script>"));
    assert_eq!(text.matches("<script").count(), 1);
    for word in [" style=", " onclick=", "http:", "https:", "<style"] {
        assert!(!text.contains(word), "{word}");
    }
    for path in ["/look.css", "/hand.js", "/icon.svg"] {
        assert!(
            page.get(path).head.contains("x-content-type-options: nosniff"),
            "{path}"
        );
    }
}

/// What stands above a field makes it do nothing, and that is said.
#[test]
fn a_mass_that_every_set_up_has_for_itself_is_not_changed_for_all() {
    let page = Page::open();
    let own = page
        .test_toml()
        .replace("[[setup]]", "[[setup]]\ntotal_mass_kg = 83.0");
    std::fs::write(page.folder().join("test.toml"), own).unwrap();
    page.post("/start-over", &json!(null));
    let refused = page.post(
        "/change",
        &json!({ "do": "set", "field": "rider.total_mass_kg", "value": "90" }),
    );
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("of its own"), "{}", refused.body);
}

/// Killed while it writes what was tried, or a ride that was dropped: each is as before or as after.
#[test]
fn a_killed_page_leaves_files_whole() {
    use rand::{Rng, SeedableRng};
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(11);
    let ride = vec![b'x'; 3_000_000];
    let mut written = 0;
    for _ in 0..25 {
        let mut page = Page::open();
        let before = page.test_toml();
        assert_eq!(page.post("/change", &cut()).status, 200);
        let after = format!("{before}\n[[cut]]\nfrom_m = 400\nto_m = 520\nreason = \"gravel\"\n");
        let headers = page.headers();
        let _written = page.connect("POST", "/write", &headers, b"null");
        let _dropped = page.connect("PUT", "/drop/dropped.csv", &headers, &ride);
        std::thread::sleep(std::time::Duration::from_micros(random.random_range(0..20_000)));
        page.server.kill().unwrap();
        page.server.wait().unwrap();
        let now = page.test_toml();
        assert!(now == before || now == after, "{now}");
        written += usize::from(now == after);
        if let Ok(dropped) = std::fs::read(page.folder().join("dropped.csv")) {
            assert!(dropped == ride, "{} bytes", dropped.len());
        }
    }
    assert!(
        (1..25).contains(&written),
        "{written}: some of the kills came early, some late"
    );
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_it_though_a_page_listens() {
    let mut page = Page::open();
    let mut news = page.connect("GET", "/events", &page.headers(), b"");
    let mut first = [0u8; 400];
    let mut heard = String::new();
    while !heard.contains("data: 1") {
        let read = news.read(&mut first).unwrap();
        assert!(read > 0, "{heard}");
        heard.push_str(&String::from_utf8_lossy(&first[..read]));
    }
    let pid = page.server.id().to_string();
    Command::new("kill").args(["-INT", &pid]).status().unwrap();
    assert_eq!(page.server.wait().unwrap().code(), Some(0));
}
