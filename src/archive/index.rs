//! What was seen of every file, in one file beside the rides. It can be deleted at any time: it is made anew.
//!
//! One file that is written as a whole and carries its own digest: one that was cut, changed or written by another
//! version is not believed. Of two runs at once the one that ends last leaves its index; both are right.

use super::seen::{SeenRide, Stamp};
use crate::saving;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Names the layout; another layout, or another program, does not believe it.
const HEADING: &str = concat!("stillair index 1, ", env!("CARGO_PKG_VERSION"), "\n");
pub(super) const NAME: &str = ".stillair-index";

pub(super) struct Index {
    file: PathBuf,
    /// Where the folder of the rides cannot be written.
    elsewhere: Option<PathBuf>,
    rides: BTreeMap<String, SeenRide>,
}

impl Index {
    /// That of the folder, else the one in the user's cache; empty where neither can be believed.
    pub fn open(folder: &Path) -> Index {
        let (file, elsewhere) = (folder.join(NAME), in_cache(folder));
        let read = |file: &Path| std::fs::read(file).ok().and_then(|bytes| decoded(&bytes));
        let rides = read(&file).or_else(|| elsewhere.as_deref().and_then(read));
        Index {
            file,
            elsewhere,
            rides: rides.unwrap_or_default(),
        }
    }

    pub fn get(&self, name: &str) -> Option<&SeenRide> {
        self.rides.get(name)
    }

    pub fn put(&mut self, name: String, ride: SeenRide) {
        self.rides.insert(name, ride);
    }

    /// Leaves the rest; says whether anything went.
    pub fn keep(&mut self, kept: impl Fn(&str) -> bool) -> bool {
        let before = self.rides.len();
        self.rides.retain(|name, _| kept(name));
        self.rides.len() < before
    }

    /// An index that cannot be saved costs the next run its time, and nothing else.
    pub fn save(&self) {
        let bytes = encoded(&self.rides);
        if saving::write(&self.file, &bytes).is_err()
            && let Some(file) = &self.elsewhere
            && let Some(folder) = file.parent()
            && std::fs::create_dir_all(folder).is_ok()
        {
            let _ = saving::write(file, &bytes);
        }
    }
}

/// One file for each folder of rides, by the digest of its path.
fn in_cache(folder: &Path) -> Option<PathBuf> {
    let set = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let cache = set("XDG_CACHE_HOME").or_else(|| Some(set("HOME")?.join(".cache")))?;
    let whole = folder.canonicalize().ok()?;
    let digest = Sha256::digest(whole.as_os_str().as_encoded_bytes());
    let name: String = digest.iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    Some(cache.join("stillair").join(name))
}

fn encoded(rides: &BTreeMap<String, SeenRide>) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, ride) in rides {
        put_text(&mut body, name);
        put(&mut body, ride.stamp.bytes);
        put(&mut body, ride.stamp.changed_ns);
        put(&mut body, ride.start_s.to_bits());
        put(&mut body, ride.cells.len() as u64);
        for cell in &ride.cells {
            put(&mut body, *cell);
        }
        put(&mut body, ride.faults.len() as u64);
        for (place, what, next_step) in &ride.faults {
            put(&mut body, u64::from(place.is_some()));
            put_text(&mut body, place.as_deref().unwrap_or(""));
            put_text(&mut body, what);
            put_text(&mut body, next_step);
        }
    }
    let mut bytes = HEADING.as_bytes().to_vec();
    bytes.extend(Sha256::digest(&body));
    bytes.extend(body);
    bytes
}

fn put(body: &mut Vec<u8>, number: u64) {
    body.extend(number.to_le_bytes());
}

fn put_text(body: &mut Vec<u8>, text: &str) {
    put(body, text.len() as u64);
    body.extend(text.as_bytes());
}

/// `None` where anything is not as it was written.
fn decoded(bytes: &[u8]) -> Option<BTreeMap<String, SeenRide>> {
    let (digest, body) = bytes.strip_prefix(HEADING.as_bytes())?.split_at_checked(32)?;
    if Sha256::digest(body).as_slice() != digest {
        return None;
    }
    let mut rest = Rest(body);
    let mut rides = BTreeMap::new();
    while !rest.0.is_empty() {
        let name = rest.text()?;
        let stamp = Stamp {
            bytes: rest.number()?,
            changed_ns: rest.number()?,
        };
        let start_s = f64::from_bits(rest.number()?);
        let cells = (0..rest.number()?)
            .map(|_| rest.number())
            .collect::<Option<Vec<u64>>>()?;
        let mut faults = Vec::new();
        for _ in 0..rest.number()? {
            let has_place = rest.number()? == 1;
            let place = Some(rest.text()?).filter(|_| has_place);
            faults.push((place, rest.text()?, rest.text()?));
        }
        let ride = SeenRide {
            stamp,
            start_s,
            cells,
            faults,
        };
        rides.insert(name, ride);
    }
    Some(rides)
}

struct Rest<'a>(&'a [u8]);

impl Rest<'_> {
    fn number(&mut self) -> Option<u64> {
        let (number, rest) = self.0.split_first_chunk::<8>()?;
        self.0 = rest;
        Some(u64::from_le_bytes(*number))
    }

    fn text(&mut self) -> Option<String> {
        let length = usize::try_from(self.number()?).ok()?;
        let (text, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        String::from_utf8(text.to_vec()).ok()
    }
}
