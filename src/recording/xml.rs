//! XML events with bounds: local names only, no document types with entities, no endless nesting.

use super::bounds::{MAX_WORD_BYTES, too_many, word};
use crate::error::Fault;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// Recordings nest some eight deep.
const MAX_DEPTH: usize = 64;

/// What stops the reading of a file.
pub(super) enum Stop {
    /// The file ends, or turns into something else, here; what came before is whole.
    Damage(Fault),
    /// The file must not be read at all.
    Refused(Fault),
}

/// The elements that are open, outermost first, and the text seen in the innermost.
#[derive(Default)]
pub(super) struct Path {
    names: Vec<String>,
    text: String,
}

impl Path {
    /// Name of the element `up` steps above the innermost one.
    pub(super) fn above(&self, up: usize) -> &str {
        self.names
            .len()
            .checked_sub(up + 1)
            .and_then(|place| self.names.get(place))
            .map_or("", String::as_str)
    }

    pub(super) fn within(&self, name: &str) -> bool {
        self.names.iter().any(|open| open == name)
    }

    /// Nothing that is looked at is longer than a few words.
    fn add(&mut self, piece: &str) {
        if self.text.len() < MAX_WORD_BYTES {
            self.text.push_str(word(piece));
        }
    }

    /// The innermost element's own text.
    pub(super) fn text(&self) -> &str {
        self.text.trim()
    }
}

pub(super) trait Visitor {
    /// The innermost element of `path` has just been opened.
    fn open(&mut self, path: &Path, element: &BytesStart<'_>);
    /// It is about to be closed; `path.text()` is its text.
    fn close(&mut self, path: &Path);
    /// More than is kept was met already.
    fn full(&self) -> bool;
}

/// Walks a document; `Err` where it had to stop.
pub(super) fn walk(text: &str, visitor: &mut impl Visitor) -> Result<(), Stop> {
    let mut reader = Reader::from_str(text);
    let config = reader.config_mut();
    config.expand_empty_elements = true;
    config.allow_dangling_amp = true;
    let mut path = Path::default();
    loop {
        let at = reader.buffer_position();
        match reader.read_event() {
            Ok(Event::Start(element)) => {
                if path.names.len() >= MAX_DEPTH {
                    let what = format!("elements are nested more than {MAX_DEPTH} deep");
                    return Err(Stop::Refused(refused(text, at, &what)));
                }
                path.names.push(word(element.local_name().as_ref()).to_string());
                path.text.clear();
                visitor.open(&path, &element);
                if visitor.full() {
                    return Err(Stop::Refused(too_many()));
                }
            }
            Ok(Event::End(_)) => {
                visitor.close(&path);
                path.names.pop();
                path.text.clear();
            }
            Ok(Event::Text(piece)) => path.add(&piece),
            Ok(Event::CData(piece)) => path.add(&piece),
            Ok(Event::DocType(kind)) if kind.contains('[') || kind.to_uppercase().contains("<!ENTITY") => {
                return Err(Stop::Refused(refused(
                    text,
                    at,
                    "the document type declares entities",
                )));
            }
            Ok(Event::Eof) if path.names.is_empty() => return Ok(()),
            Ok(Event::Eof) => {
                let what = format!("the file is cut short inside <{}>", path.above(0));
                return Err(Stop::Damage(damage(text, at, &what)));
            }
            Ok(_) => {}
            Err(cause) => {
                let at = reader.error_position();
                return Err(Stop::Damage(damage(
                    text,
                    at,
                    &format!("the XML is damaged: {cause}"),
                )));
            }
        }
    }
}

fn damage(text: &str, at: u64, what: &str) -> Fault {
    Fault::new(what, "Copy or export the file again; what is whole is used.").at(place(text, at))
}

fn refused(text: &str, at: u64, what: &str) -> Fault {
    Fault::new(
        what,
        "No recording needs that; export the ride again as FIT, GPX, TCX or CSV.",
    )
    .at(place(text, at))
}

fn place(text: &str, at: u64) -> String {
    let before = usize::try_from(at).unwrap_or(usize::MAX).min(text.len());
    let line = 1 + text
        .as_bytes()
        .iter()
        .take(before)
        .filter(|&&byte| byte == b'\n')
        .count();
    format!("line {line}, byte {at}")
}

/// An attribute's text, by local name.
pub(super) fn attribute(element: &BytesStart<'_>, name: &str) -> Option<String> {
    let found = element
        .attributes()
        .with_checks(false)
        .flatten()
        .find(|a| a.key.local_name().as_ref() == name)?;
    Some(word(found.value.trim()).to_string())
}
