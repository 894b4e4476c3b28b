//! The worst files that anybody could make, of any size.

use flate2::{Compression, write::GzEncoder};
use std::io::Write;

pub struct Worst {
    pub name: &'static str,
    pub what: &'static str,
    pub bytes: Vec<u8>,
}

/// One of each kind, each of about so many bytes.
pub fn all(size: usize) -> impl Iterator<Item = Worst> {
    type Make = fn(usize) -> Vec<u8>;
    const KINDS: [(&str, &str, Make); 19] = [
        ("bomb.csv.gz", "packed zeros, eight times the size", bomb),
        ("place.fit", "samples at one place", fit_samples),
        ("place.gpx", "points at one place", |size| gpx(POINT, size)),
        ("place.tcx", "points at one place", tcx),
        ("place.csv", "rows at one place", |size| {
            csv("time,lat,lon,speed\n", ROW, size)
        }),
        ("short.csv", "the shortest rows", |size| {
            csv("secs,power\n", |at| format!("{at},1\n"), size)
        }),
        ("moments.csv", "rows with the same time", |size| {
            csv("secs,power\n", |_| "1,1\n".to_string(), size)
        }),
        ("wide.csv", "a row that never ends", |size| {
            [b"time,power\n1,2\n".to_vec(), vec![b','; size]].concat()
        }),
        ("header.csv", "a header that never ends", |size| {
            [b"time,power".to_vec(), vec![b','; size]].concat()
        }),
        ("columns.csv", "250 columns of its own", columns),
        ("quotes.csv", "a cell in quotes that never ends", |size| {
            [b"time,power\n1,\"".to_vec(), b"a\n".repeat(size / 2)].concat()
        }),
        ("latin.csv", "not UTF-8", |size| {
            [
                b"time,power,note\n".to_vec(),
                b"1,2,\xe9\xe9\xe9\xe9\xe9\n".repeat(size / 10),
            ]
            .concat()
        }),
        ("deep.gpx", "elements in elements", |size| {
            [b"<gpx>".to_vec(), b"<a>".repeat(size / 3)].concat()
        }),
        ("long.gpx", "one element's text", |size| {
            [
                b"<gpx><trk><name>".to_vec(),
                vec![b'x'; size],
                b"</name></trk></gpx>".to_vec(),
            ]
            .concat()
        }),
        ("entities.gpx", "entities of entities", entities),
        ("waypoints.gpx", "points beside the track", |size| {
            gpx(|_| "<wpt lat=\"1\" lon=\"1\"/>".to_string(), size)
        }),
        ("extensions.gpx", "values in extensions", extensions),
        ("parts.fit", "empty parts, each damaged", |size| {
            b"\x0c\x10\0\0\0\0\0\0.FIT\x01\x01".repeat(size / 14)
        }),
        ("events.fit", "timer events", fit_events),
    ];
    KINDS.into_iter().map(move |(name, what, make)| Worst {
        name,
        what,
        bytes: make(size),
    })
}

const POINT: fn(u32) -> String =
    |at| format!("<trkpt lat=\"1\" lon=\"2\"><time>{}</time></trkpt>", stamp(at));
const ROW: fn(u32) -> String = |at| format!("{},1,2,5\n", 1_700_000_000 + u64::from(at));

fn stamp(at: u32) -> String {
    stillair::units::utc_text(1.7e9 + f64::from(at), 0)
}

fn filled(mut out: Vec<u8>, one: impl Fn(u32) -> String, size: usize) -> Vec<u8> {
    let mut at = 0;
    while out.len() < size {
        out.extend(one(at).bytes());
        at += 1;
    }
    out
}

fn bomb(size: usize) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    let zeros = vec![b'0'; 1 << 20];
    for _ in 0..(8 * size).div_ceil(zeros.len()) {
        encoder.write_all(&zeros).unwrap();
    }
    encoder.finish().unwrap()
}

pub fn csv(header: &str, row: fn(u32) -> String, size: usize) -> Vec<u8> {
    filled(header.as_bytes().to_vec(), row, size)
}

fn columns(size: usize) -> Vec<u8> {
    let names: Vec<String> = (0..250).map(|column| format!("c{column}")).collect();
    let header = format!("time,{}\n", names.join(","));
    let row = format!(",{}\n", vec!["1"; 250].join(","));
    filled(header.into_bytes(), |at| format!("{at}{row}"), size)
}

fn gpx(point: fn(u32) -> String, size: usize) -> Vec<u8> {
    let mut out = filled(
        b"<gpx version=\"1.1\" creator=\"x\"><trk><trkseg>".to_vec(),
        point,
        size,
    );
    out.extend(b"</trkseg></trk></gpx>");
    out
}

fn extensions(size: usize) -> Vec<u8> {
    let values = "<a>1</a><b>2</b><c>3</c>".repeat(40);
    let point = |at| {
        format!(
            "<trkpt lat=\"1\" lon=\"2\"><time>{}</time><extensions>{values}</extensions></trkpt>",
            stamp(at)
        )
    };
    filled(b"<gpx><trk><trkseg>".to_vec(), point, size)
}

fn tcx(size: usize) -> Vec<u8> {
    let point = |at| format!("<Trackpoint><Time>{}</Time></Trackpoint>", stamp(at));
    filled(
        b"<TrainingCenterDatabase><Activity><Lap><Track>".to_vec(),
        point,
        size,
    )
}

/// Each is ten of the one before.
fn entities(size: usize) -> Vec<u8> {
    let mut out = String::from("<?xml version=\"1.0\"?><!DOCTYPE gpx [<!ENTITY e0 \"ha\">");
    for level in 1..12 {
        let inside = format!("&e{};", level - 1).repeat(10);
        out += &format!("<!ENTITY e{level} \"{inside}\">");
    }
    out += "]><gpx><trk><name>&e11;</name>";
    out += &"<a>&e11;</a>".repeat(size / 12);
    out.into_bytes()
}

/// FIT: a definition of one kind of message, then as many as fit; the header's size is true, the checksum is not.
fn fit(definition: &[u8], message: impl Fn(u32) -> Vec<u8>, size: usize) -> Vec<u8> {
    let mut body = definition.to_vec();
    let mut at = 0;
    while body.len() < size {
        body.extend(message(at));
        at += 1;
    }
    let mut out = vec![12, 0x10, 0, 0];
    out.extend(u32::try_from(body.len()).unwrap().to_le_bytes());
    out.extend(b".FIT");
    out.extend(body);
    out.extend([0, 0]);
    out
}

const FIT_START_S: u32 = 1_000_000_000;

/// Time, position, speed and power.
pub fn fit_samples(size: usize) -> Vec<u8> {
    let definition = [
        0x40, 0, 0, 20, 0, 5, 253, 4, 0x86, 0, 4, 0x85, 1, 4, 0x85, 6, 2, 0x84, 7, 2, 0x84,
    ];
    fit(
        &definition,
        |at| {
            let mut message = vec![0];
            message.extend((FIT_START_S + at).to_le_bytes());
            message.extend([0, 0, 0, 1, 0, 0, 0, 2, 0x88, 0x13, 200, 0]);
            message
        },
        size,
    )
}

fn fit_events(size: usize) -> Vec<u8> {
    let definition = [0x40, 0, 0, 21, 0, 3, 253, 4, 0x86, 0, 1, 0, 1, 1, 0];
    fit(
        &definition,
        |at| {
            [
                vec![0],
                (FIT_START_S + at).to_le_bytes().to_vec(),
                vec![0, (at % 2) as u8],
            ]
            .concat()
        },
        size,
    )
}

/// The most memory that a process of this machine has held so far; 0 where it has ended or the system does not tell.
pub fn high_water_mb(process: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kb = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    kb.map_or(0.0, |kb| kb / 1024.0)
}
