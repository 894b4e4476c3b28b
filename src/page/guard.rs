//! Who may ask: the page that this program handed out, in a browser on this machine, and nobody else.
//!
//! Any other page that is open in the same browser can send requests to 127.0.0.1. It cannot read the token, cannot
//! forge `Origin`, and a name of its own that leads here (DNS rebinding) shows in `Host`.

use crate::error::Fault;
use crate::recording::is_recording_name;
use rand::RngCore;
use std::path::Path;

/// Of a recording that is dropped, and of everything else that is sent.
pub const MOST_DROPPED: usize = 200_000_000;
pub const MOST_SENT: usize = 64_000;

/// What the page may load and do: its own files from here, and nothing else.
pub const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                          base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What a request says of itself.
#[derive(Debug, Clone, Copy, Default)]
pub struct Request<'a> {
    pub changes: bool,
    pub host: Option<&'a str>,
    pub origin: Option<&'a str>,
    pub cookies: Option<&'a str>,
}

#[derive(Debug, Clone)]
pub struct Guard {
    token: String,
    port: u16,
}

impl Guard {
    pub fn new(port: u16) -> Guard {
        let mut bytes = [0u8; 16];
        rand::rng().fill_bytes(&mut bytes);
        Guard {
            token: bytes.iter().map(|byte| format!("{byte:02x}")).collect(),
            port,
        }
    }

    /// The address that opens the page.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/?token={}", self.port, self.token)
    }

    /// Handed out to whoever shows the token. Cookies are the same for all ports, so it has the port in its name.
    pub fn cookie(&self) -> String {
        format!(
            "stillair-{}={}; Path=/; HttpOnly; SameSite=Strict",
            self.port, self.token
        )
    }

    pub fn is_token(&self, shown: &str) -> bool {
        same(shown.as_bytes(), self.token.as_bytes())
    }

    /// # Errors
    /// Why not, in words for whoever sits in front of it.
    pub fn admits_host(&self, request: &Request) -> Result<(), &'static str> {
        let ours = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port));
        if !request
            .host
            .is_some_and(|host| ours.iter().any(|our| our == host))
        {
            return Err("This page is reached under 127.0.0.1 only.");
        }
        let from_here = |origin: &str| ours.iter().any(|our| origin == format!("http://{our}"));
        match request.origin {
            Some(origin) if !from_here(origin) => Err("Another page asked for this, which it may not."),
            None if request.changes => Err("It is not said which page asked for this change."),
            _ => Ok(()),
        }
    }

    /// # Errors
    /// As [`Guard::admits_host`].
    pub fn admits(&self, request: &Request) -> Result<(), &'static str> {
        self.admits_host(request)?;
        let name = format!("stillair-{}", self.port);
        let known = request.cookies.is_some_and(|cookies| {
            cookies
                .split(';')
                .filter_map(|cookie| cookie.trim().split_once('='))
                .any(|(key, value)| key == name && self.is_token(value))
        });
        if known {
            Ok(())
        } else {
            Err("Open the page with the address that stillair printed, token and all.")
        }
    }
}

/// In the same time wherever the two part.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differs, (a, b)| differs | (a ^ b)) == 0
}

/// A name under which a dropped file may be put into the folder.
///
/// # Errors
/// It leads elsewhere, is hidden, or is not one of a recording.
pub fn bare_name(name: &str) -> Result<&str, Fault> {
    const MOST_CHARACTERS: usize = 120;
    let plain = !name.starts_with('.')
        && name.chars().count() <= MOST_CHARACTERS
        && !name
            .chars()
            .any(|c| matches!(c, '/' | '\\' | ':' | '*' | '?' | '"' | '<' | '>' | '|') || c.is_control());
    if plain && is_recording_name(Path::new(name)) {
        return Ok(name);
    }
    Err(Fault::new(
        format!("'{}' is not taken", name.escape_debug()),
        "Drop recordings: *.fit, *.gpx, *.tcx or *.csv, also with .gz.",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked<'a>(host: &'a str, origin: Option<&'a str>, cookies: Option<&'a str>) -> Request<'a> {
        Request {
            changes: true,
            host: Some(host),
            origin,
            cookies,
        }
    }

    #[test]
    fn only_our_own_page_is_let_in() {
        let guard = Guard::new(4321);
        let cookie = guard.cookie();
        let cookie = cookie.split(';').next().unwrap();
        let (host, origin) = ("127.0.0.1:4321", Some("http://127.0.0.1:4321"));
        let others = format!("theme=dark; {cookie}");
        assert_eq!(guard.admits(&asked(host, origin, Some(cookie))), Ok(()));
        assert_eq!(guard.admits(&asked(host, origin, Some(&others))), Ok(()));
        let by_name = asked("localhost:4321", Some("http://localhost:4321"), Some(cookie));
        assert_eq!(guard.admits(&by_name), Ok(()));
        for refused in [
            asked("elsewhere.example:4321", origin, Some(cookie)),
            asked("127.0.0.1:80", origin, Some(cookie)),
            asked("127.0.0.1", origin, Some(cookie)),
            asked(host, Some("http://elsewhere.example"), Some(cookie)),
            asked(host, Some("http://127.0.0.1:1234"), Some(cookie)),
            asked(host, Some("https://127.0.0.1:4321"), Some(cookie)),
            asked(host, Some("null"), Some(cookie)),
            asked(host, None, Some(cookie)),
            asked(host, origin, None),
            asked(host, origin, Some("stillair-4321=")),
            asked(
                host,
                origin,
                Some("stillair-4321=0123456789abcdef0123456789abcdef"),
            ),
            Request {
                host: None,
                ..asked(host, origin, Some(cookie))
            },
        ] {
            assert!(guard.admits(&refused).is_err(), "{refused:?}");
        }
        let looks = Request {
            changes: false,
            ..asked(host, None, Some(cookie))
        };
        assert_eq!(guard.admits(&looks), Ok(()));
    }

    #[test]
    fn every_start_has_its_own_token() {
        let (one, other) = (Guard::new(1), Guard::new(1));
        assert_eq!(one.token.len(), 32);
        assert!(!one.is_token(&other.token) && one.is_token(&one.token.clone()));
        assert!(one.cookie().contains("HttpOnly") && one.cookie().contains("SameSite=Strict"));
    }

    #[test]
    fn a_dropped_file_has_a_bare_name_of_a_recording() {
        for good in ["ride.fit", "Morning ride 2.GPX", "a.csv.gz"] {
            assert_eq!(bare_name(good).unwrap(), good);
        }
        for bad in [
            "../ride.fit",
            "..\\ride.fit",
            "/etc/ride.fit",
            "a/b.fit",
            ".ride.fit",
            ".fit",
            "c:ride.fit",
            "ride\n.fit",
            "ride\0.fit",
            "test.toml",
            "ride.exe",
            "ride.fit.exe",
            "..",
            "",
            &format!("{}.fit", "a".repeat(200)),
        ] {
            assert!(bare_name(bad).is_err(), "{bad:?}");
        }
    }
}
