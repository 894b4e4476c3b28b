//! Starts a browser, does what a hand would do, and says what was seen.

use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::future::Future;
use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::runtime::Runtime;

/// A step that takes longer has failed; nothing is asserted of how long anything takes.
const PATIENCE: Duration = Duration::from_secs(60);

const INSTALL: &str = "It must be installed (Debian: apt-get install chromium chromium-driver).";

/// Keys that are no letters, as WebDriver names them (W3C WebDriver, keyboard actions).
pub const TAB: char = '\u{e004}';
pub const ENTER: char = '\u{e007}';
pub const SHIFT: char = '\u{e008}';
pub const CONTROL: char = '\u{e009}';
pub const ESCAPE: char = '\u{e00c}';
pub const END: char = '\u{e010}';
pub const HOME: char = '\u{e011}';
pub const RIGHT: char = '\u{e014}';
pub const DELETE: char = '\u{e017}';

/// What is asked of the driver, as JSON.
#[derive(Debug)]
struct Ask {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Ask {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.path))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}

pub struct Browser {
    runtime: Runtime,
    client: Client,
    driver: Child,
    /// Kept open, so that the driver can go on writing.
    _out: BufReader<ChildStdout>,
    _profile: TempDir,
    /// One at a time: several would only wait for each other.
    _alone: MutexGuard<'static, ()>,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let client = self.client.clone();
        let _ = self
            .runtime
            .block_on(async { tokio::time::timeout(Duration::from_secs(10), client.close()).await });
        // The driver and every process of the browser are one group: nothing is left where a test failed.
        let group = format!("-{}", self.driver.id());
        let _ = Command::new("kill").args(["-KILL", "--", &group]).status();
        let _ = self.driver.wait();
    }
}

impl Browser {
    pub fn at(address: &str) -> Browser {
        static ONE: Mutex<()> = Mutex::new(());
        let alone = ONE.lock().unwrap_or_else(PoisonError::into_inner);
        let profile = TempDir::new().unwrap();
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()
            .unwrap_or_else(|error| panic!("chromedriver does not start: {error}. {INSTALL}"));
        let mut out = BufReader::new(driver.stdout.take().unwrap());
        let port = (&mut out)
            .lines()
            .map_while(Result::ok)
            .find_map(|line| {
                Some(
                    line.split_once("successfully on port ")?
                        .1
                        .trim_end_matches('.')
                        .to_string(),
                )
            })
            .expect("chromedriver says its port");
        let flags = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            // Small machines have little of it.
            "--disable-dev-shm-usage",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--window-size=1280,960",
        ];
        let mut flags: Vec<String> = flags.map(String::from).to_vec();
        flags.push(format!("--user-data-dir={}", profile.path().display()));
        let wanted = json!({
            "browserName": "chrome",
            // A page that listens for news never ends to load.
            "pageLoadStrategy": "eager",
            "unhandledPromptBehavior": "ignore",
            "goog:chromeOptions": { "args": flags },
            "goog:loggingPrefs": { "browser": "ALL", "performance": "ALL" },
        });
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .unwrap();
        let client = runtime.block_on(async {
            let mut builder = ClientBuilder::new(HttpConnector::new());
            builder.capabilities(wanted.as_object().unwrap().clone());
            let address = format!("http://127.0.0.1:{port}");
            match tokio::time::timeout(PATIENCE, builder.connect(&address)).await {
                Ok(Ok(client)) => client,
                Ok(Err(error)) => panic!("no session of Chromium: {error}. {INSTALL}"),
                Err(_) => panic!("waited too long for Chromium. {INSTALL}"),
            }
        });
        let browser = Browser {
            runtime,
            client,
            driver,
            _out: out,
            _profile: profile,
            _alone: alone,
        };
        // What the browser asks itself for while it starts is no business of ours.
        browser.asked_for();
        browser.go(address);
        browser
    }

    pub fn go(&self, address: &str) {
        self.wait("the page to open", self.client.goto(address));
    }

    fn wait<T, E: std::fmt::Debug>(&self, what: &str, step: impl Future<Output = Result<T, E>>) -> T {
        let done = self
            .runtime
            .block_on(async { tokio::time::timeout(PATIENCE, step).await });
        done.unwrap_or_else(|_| panic!("waited too long for {what}"))
            .unwrap_or_else(|error| panic!("{what}: {error:?}"))
    }

    fn ask(&self, path: &'static str, body: Value) -> Value {
        self.wait(path, self.client.issue_cmd(Ask { path, body }))
    }

    /// What a piece of script gives; `return` and all.
    pub fn script(&self, text: &str) -> Value {
        self.wait(text, self.client.execute(text, Vec::new()))
    }

    pub fn script_with(&self, text: &str, arguments: Vec<Value>) -> Value {
        self.wait("a script", self.client.execute(text, arguments))
    }

    /// Of the element that is found first.
    pub fn text(&self, css: &str) -> String {
        let text = self.script(&format!("return document.querySelector({css:?}).textContent"));
        text.as_str().unwrap().to_string()
    }

    pub fn until(&self, what: &str, script: &str) {
        let start = Instant::now();
        while self.script(&format!("return Boolean({script})")) != true {
            assert!(
                start.elapsed() < PATIENCE,
                "waited too long until {what}; trouble: {}",
                self.text("#trouble")
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Until the text of an element is another.
    pub fn until_changed(&self, css: &str, before: &str) {
        let script = format!(
            "document.querySelector({css:?}).textContent !== {}",
            json!(before)
        );
        self.until(&format!("{css} changes"), &script);
    }

    /// Middle of a part of an element, in pixels of the window: from 0, its left end, to 1.
    pub fn place(&self, css: &str, share: f64) -> [f64; 2] {
        let at = self.script(&format!(
            "const one = document.querySelector({css:?}); one.scrollIntoView({{block: 'center'}}); \
             const box = one.getBoundingClientRect(); \
             return [box.left + {share} * box.width, box.top + box.height / 2]"
        ));
        [0, 1].map(|place| at[place].as_f64().unwrap().round())
    }

    fn pointer(&self, actions: Vec<Value>) {
        let mouse = json!({ "type": "pointer", "id": "mouse", "parameters": { "pointerType": "mouse" }, "actions": actions });
        self.ask("actions", json!({ "actions": [mouse] }));
    }

    pub fn press_at(&self, [x, y]: [f64; 2]) {
        self.pointer(vec![
            json!({ "type": "pointerMove", "duration": 0, "x": x, "y": y }),
            json!({ "type": "pointerDown", "button": 0 }),
        ]);
    }

    pub fn move_to(&self, [x, y]: [f64; 2]) {
        self.pointer(vec![
            json!({ "type": "pointerMove", "duration": 60, "x": x, "y": y }),
        ]);
    }

    pub fn let_go(&self) {
        self.pointer(vec![json!({ "type": "pointerUp", "button": 0 })]);
    }

    pub fn click(&self, css: &str) {
        self.press_at(self.place(css, 0.5));
        self.let_go();
    }

    /// One after the other, with `held` down meanwhile.
    pub fn keys(&self, held: &[char], keys: &str) {
        let down = |key: char| json!({ "type": "keyDown", "value": key.to_string() });
        let up = |key: char| json!({ "type": "keyUp", "value": key.to_string() });
        let mut actions: Vec<Value> = held.iter().map(|key| down(*key)).collect();
        actions.extend(keys.chars().flat_map(|key| [down(key), up(key)]));
        actions.extend(held.iter().map(|key| up(*key)));
        let keyboard = json!({ "type": "key", "id": "keyboard", "actions": actions });
        self.ask("actions", json!({ "actions": [keyboard] }));
    }

    pub fn key(&self, key: char) {
        self.keys(&[], &key.to_string());
    }

    /// Width of the window, and whether it asks for dark or light.
    pub fn look(&self, width: u32, height: u32, scheme: &str) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        self.devtools("Emulation.setDeviceMetricsOverride", size);
        let media = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.devtools("Emulation.setEmulatedMedia", media);
    }

    fn devtools(&self, command: &str, parameters: Value) {
        self.ask(
            "goog/cdp/execute",
            json!({ "cmd": command, "params": parameters }),
        );
    }

    /// Of the whole page, as PNG, into the folder that the variable `PICTURES` names, where it is set.
    pub fn picture(&self, name: &str) {
        use base64::Engine;
        let Some(folder) = std::env::var_os("PICTURES") else {
            return;
        };
        let whole = json!({ "cmd": "Page.captureScreenshot", "params": { "captureBeyondViewport": true, "clip": {
            "x": 0, "y": 0, "scale": 1,
            "width": self.script("return document.documentElement.clientWidth"),
            "height": self.script("return document.documentElement.scrollHeight"),
        } } });
        let told = self.ask("goog/cdp/execute", whole);
        let bytes = base64::engine::general_purpose::STANDARD.decode(told["data"].as_str().unwrap());
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(std::path::Path::new(&folder).join(name), bytes.unwrap()).unwrap();
    }

    /// What the browser complains of: errors of scripts, what the policy stopped, what could not be had.
    pub fn complaints(&self) -> Vec<String> {
        let log = self.ask("se/log", json!({ "type": "browser" }));
        let entries = log.as_array().unwrap().iter();
        entries
            .map(|entry| entry["message"].as_str().unwrap().to_string())
            .collect()
    }

    /// Every address that was asked for since the last call.
    pub fn asked_for(&self) -> Vec<String> {
        let log = self.ask("se/log", json!({ "type": "performance" }));
        let events = log.as_array().unwrap().iter().map(|entry| {
            let text = entry["message"].as_str().unwrap();
            serde_json::from_str::<Value>(text).unwrap()
        });
        events
            .filter(|event| event["message"]["method"] == "Network.requestWillBeSent")
            .map(|event| {
                event["message"]["params"]["request"]["url"]
                    .as_str()
                    .unwrap()
                    .to_string()
            })
            .collect()
    }

    /// To be called at the end of every test: nothing was complained of, and nothing was asked for from elsewhere.
    pub fn was_quiet(&self, port: u16) {
        let home = format!("http://127.0.0.1:{port}/");
        let asked = self.asked_for();
        assert!(
            asked.iter().any(|address| address.starts_with(&home)),
            "{asked:?}"
        );
        let elsewhere: Vec<&String> = asked
            .iter()
            .filter(|address| {
                ![home.as_str(), "data:", "chrome"]
                    .iter()
                    .any(|ours| address.starts_with(ours))
            })
            .collect();
        assert!(elsewhere.is_empty(), "{elsewhere:?}");
        assert_eq!(self.complaints(), Vec::<String>::new());
    }
}
