//! Which format a file has, by its name and by its content.

use super::{Format, text};
use crate::error::{Error, Fault, Result};
use std::path::Path;

/// Whether a folder's file is to be read as a recording, going by its name: fit, gpx, tcx or csv, also with
/// `.gz`, in any letter case.
pub fn is_recording_name(path: &Path) -> bool {
    format_by_name(path).is_some()
}

fn format_by_name(path: &Path) -> Option<Format> {
    let name = path.file_name()?.to_str()?.to_lowercase();
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    let (stem, extension) = name.rsplit_once('.')?;
    if stem.is_empty() {
        return None;
    }
    match extension {
        "fit" => Some(Format::Fit),
        "gpx" => Some(Format::Gpx),
        "tcx" => Some(Format::Tcx),
        "csv" => Some(Format::Csv),
        _ => None,
    }
}

/// The format of unpacked content. The name decides only where the content has lost its beginning.
pub(super) fn format_of(file: &Path, bytes: &[u8]) -> Result<Format> {
    let refuse = |what: &str, next_step: &str| Err(Error::from(Fault::new(what, next_step).in_file(file)));
    if bytes.is_empty() {
        return refuse("is empty", "Copy the file again from the unit that recorded it.");
    }
    if is_fit(bytes) {
        return Ok(Format::Fit);
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return refuse("is a zip archive", "Unpack it and use the recording inside.");
    }
    let start = text::decode(bytes.get(..4096).unwrap_or(bytes));
    let start = start.trim_start();
    if start.starts_with('<') {
        return match root_element(start) {
            Some("gpx") => Ok(Format::Gpx),
            Some("TrainingCenterDatabase") => Ok(Format::Tcx),
            Some(name) if name.eq_ignore_ascii_case("html") => refuse(
                "is a web page, not a recording",
                "Save the ride file itself, not the page that offers it.",
            ),
            _ => format_by_name(file)
                .filter(|format| matches!(format, Format::Gpx | Format::Tcx))
                .map_or_else(
                    || {
                        refuse(
                            "is XML, but neither GPX nor TCX",
                            "Export the ride as FIT, GPX, TCX or CSV.",
                        )
                    },
                    Ok,
                ),
        };
    }
    if !bytes.contains(&0)
        && start
            .lines()
            .next()
            .is_some_and(|line| line.contains([',', ';', '\t']))
    {
        return Ok(Format::Csv);
    }
    if start.contains([',', ';', '\t']) && bytes.starts_with(&[0xff, 0xfe]) {
        return Ok(Format::Csv);
    }
    match format_by_name(file) {
        Some(Format::Fit) => refuse(
            "is not a FIT file: the mark '.FIT' is missing from its header",
            "Copy the file again from the unit that recorded it.",
        ),
        Some(Format::Csv) if !bytes.contains(&0) => Ok(Format::Csv),
        _ => refuse(
            "is not a recording: its content is neither FIT, GPX, TCX nor CSV",
            "Export the ride as FIT, GPX, TCX or CSV.",
        ),
    }
}

fn is_fit(bytes: &[u8]) -> bool {
    bytes.get(8..12) == Some(b".FIT")
}

/// Local name of the first element, past declaration, comments and document type.
fn root_element(text: &str) -> Option<&str> {
    let mut rest = text;
    loop {
        rest = rest.split_once('<')?.1;
        if let Some(comment) = rest.strip_prefix("!--") {
            rest = comment.split_once("-->")?.1;
        } else if !rest.starts_with(['?', '!']) {
            let name = rest
                .split(|c: char| c.is_whitespace() || c == '>' || c == '/')
                .next()?;
            return Some(name.rsplit_once(':').map_or(name, |(_, local)| local));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_any_letter_case_and_packed() {
        for name in [
            "a.fit",
            "A.FIT",
            "b.Gpx",
            "c.tcx.gz",
            "d.csv",
            "e.FIT.GZ",
            "x/y.z.fit",
        ] {
            assert!(is_recording_name(Path::new(name)), "{name}");
        }
        for name in ["test.toml", "a.fit.bak", "fit", ".fit", "a.gz", "notes.txt", ""] {
            assert!(!is_recording_name(Path::new(name)), "{name}");
        }
    }

    #[test]
    fn content_decides_against_the_name() {
        let format = |name: &str, bytes: &[u8]| format_of(Path::new(name), bytes);
        assert_eq!(
            format("a.fit", b"<?xml version='1.0'?><!-- <x> --><p:gpx>"),
            Ok(Format::Gpx)
        );
        assert_eq!(
            format("a.gpx", b"\n <TrainingCenterDatabase xmlns='x'>"),
            Ok(Format::Tcx)
        );
        assert_eq!(format("a.gpx", b"\x0e\x10\0\0\0\0\0\0.FIT\0\0"), Ok(Format::Fit));
        assert_eq!(format("a.fit", b"time,power\n"), Ok(Format::Csv));
    }

    #[test]
    fn what_is_no_recording_is_said_to_be_what_it_is() {
        for (name, bytes, what) in [
            ("a.fit", &b""[..], "is empty"),
            ("a.fit", b"\0\0\0\0\0\0\0\0\0\0\0\0\0", "not a FIT file"),
            ("a.gpx", b"PK\x03\x04...", "zip archive"),
            ("a.gpx", b"<!DOCTYPE html><html>", "web page"),
            ("a.xml", b"<kml>", "neither GPX nor TCX"),
            ("a.jpg", b"\xff\xd8\xff\xe0", "not a recording"),
        ] {
            let error = format_of(Path::new(name), bytes).unwrap_err();
            assert!(error.to_string().contains(what), "{error}");
            assert!(error.to_string().starts_with(name), "{error}");
        }
    }
}
