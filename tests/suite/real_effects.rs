//! What the program says of each real recording, against a list that a person made from plots and independent
//! measurement before the program was run on them with this question. Origin and confidence (D):
//! fixtures/real_effects/README.md.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use stillair::study::{Compared, compare};
use toml_edit::{DocumentMut, InlineTable, Table};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A recording of the list with what the program makes of it, alone in a folder.
struct Told {
    name: String,
    list: Table,
    compared: Compared,
}

static TOLD: LazyLock<Vec<Told>> = LazyLock::new(|| {
    let list = std::fs::read_to_string(root().join("fixtures/real_effects/list.toml")).unwrap();
    let list: DocumentMut = list.parse().unwrap();
    let recordings = list["recording"].as_array_of_tables().unwrap();
    recordings
        .iter()
        .filter_map(|list| {
            let name = list["file"].as_str().unwrap();
            // GPX copies are in no package; without speed and positions nothing is compared.
            let file = root().join(".target/rides").join(name);
            if !name.ends_with(".fit") || name.starts_with("indoor") {
                return None;
            }
            Some(Told {
                name: name
                    .trim_start_matches("one-rider/")
                    .trim_end_matches(".fit")
                    .to_string(),
                list: list.clone(),
                compared: alone(&file),
            })
        })
        .collect()
});

fn alone(file: &Path) -> Compared {
    let home = tempfile::tempdir().unwrap();
    std::fs::copy(file, home.path().join("ride.fit")).unwrap();
    compare(home.path(), &|_, _| ()).unwrap()
}

fn entry<'a>(told: &'a Told, kind: &str) -> &'a InlineTable {
    told.list[kind].as_inline_table().unwrap()
}

fn number(entry: &InlineTable, key: &str) -> Option<f64> {
    let value = entry.get(key)?;
    value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64))
}

fn warned(of: &Compared, kind: &str) -> bool {
    of.warnings.iter().any(|warning| warning.kind == kind)
}

fn flagged(of: &Compared, word: &str) -> bool {
    of.passes
        .iter()
        .flat_map(|pass| &pass.flags)
        .any(|flag| flag.contains(word))
}

fn repaired(of: &Compared, kind: &str) -> bool {
    let streams = of.surveyed.streams.iter();
    streams.flat_map(|s| &s.repairs).any(|repair| repair.kind == kind)
}

/// Kinds of the list that the program speaks of, and whether it does.
fn said(kind: &str, of: &Compared) -> bool {
    match kind {
        "power_delay" => warned(of, "power delay"),
        "altitude_lag" => warned(of, "altitude lag"),
        "altitude_from_positions" => warned(of, "altitude from positions"),
        "altitude_jump" => repaired(of, "altitude step"),
        "speed_scale" => warned(of, "speed scale"),
        "speed_from_positions" => warned(of, "speed source"),
        "irregular_sampling" => warned(of, "sampled by need"),
        "stuck_power" => repaired(of, "held power") || repaired(of, "frozen power"),
        "left_only_power" => warned(of, "power of one leg"),
        "coasting" => flagged(of, "coasted"),
        "braking" => flagged(of, "brake"),
        "slow_place" => warned(of, "slow place"),
        "surface_change" => warned(of, "surface"),
        "covered_stretch" => warned(of, "heights under cover"),
        "small_share_of_drag" => warned(of, "small share of drag"),
        "warming_air" => warned(of, "warming air"),
        "two_units" => warned(of, "joined"),
        "sitting_up_or_draft" => flagged(of, "disturbed") || flagged(of, "odd"),
        _ => panic!("{kind}"),
    }
}

/// What holds for a whole recording, or for all of its passes: said where it was seen, and not said where it was not.
const BOTH_WAYS: [&str; 9] = [
    "altitude_from_positions",
    "altitude_jump",
    "speed_from_positions",
    "irregular_sampling",
    "stuck_power",
    "left_only_power",
    "coasting",
    "warming_air",
    "two_units",
];
/// What belongs to places and moments. The list is about all roads that were ridden both ways, the program about the
/// course that it chose: what was not seen anywhere must not be said.
const NOT_SAID: [&str; 9] = [
    "power_delay",
    "altitude_lag",
    "speed_scale",
    "braking",
    "slow_place",
    "surface_change",
    "covered_stretch",
    "small_share_of_drag",
    "sitting_up_or_draft",
];

const HELD: &str = "three equal readings with the cadence held before 0 W, once to three times in the ride: the last two were held";
const GRADUAL: &str = "over a pause, where a drift of 10 m/h is allowed for and no pass crosses it, or within minutes, not between two samples";
const LISTED: &str = "the file lists a speed sensor, and the program believes it; that the speed is 1.2 % short is said and set right";
const COOL: &str =
    "less than 1 K from the first pass to the last by a line through the thermometer once it has settled";
/// What the program says otherwise than the list, and what a second look at the recording showed.
const OTHERWISE: &[(&str, &str, &str)] = &[
    (
        "other-rider",
        "speed_from_positions",
        "the unit writes a speed of its own and the file does not say by what; nothing is made of positions here",
    ),
    ("other-rider", "stuck_power", HELD),
    ("other-rider", "warming_air", COOL),
    ("ride-01", "stuck_power", HELD),
    ("ride-04", "stuck_power", HELD),
    ("ride-07", "stuck_power", HELD),
    ("ride-08", "stuck_power", HELD),
    ("ride-09", "stuck_power", HELD),
    ("ride-11", "stuck_power", HELD),
    ("ride-02", "stuck_power", HELD),
    ("ride-02", "altitude_jump", GRADUAL),
    ("ride-03", "altitude_jump", GRADUAL),
    ("ride-05", "altitude_jump", GRADUAL),
    ("ride-09", "altitude_jump", GRADUAL),
    ("ride-10", "altitude_jump", GRADUAL),
    ("ride-11", "altitude_jump", GRADUAL),
    ("ride-13", "altitude_jump", GRADUAL),
    ("ride-14", "altitude_jump", GRADUAL),
    ("ride-09", "warming_air", COOL),
    ("ride-12", "speed_from_positions", LISTED),
    ("ride-13", "speed_from_positions", LISTED),
    ("ride-14", "speed_from_positions", LISTED),
    ("ride-15", "speed_from_positions", LISTED),
    (
        "ride-14",
        "power_delay",
        "0.4 ± 0.1 s beside −0.2 ± 0.3 s by hand: two standard uncertainties apart",
    ),
];

/// `None`: the list cannot tell.
fn seen(told: &Told, kind: &str) -> Option<bool> {
    let entry = entry(told, kind);
    match entry["answer"].as_str().unwrap() {
        // Counted: single intervals of 2 s, or some minutes at a standstill, are no sampling by need.
        "seen" if kind == "irregular_sampling" => {
            let records = told.compared.surveyed.streams[0].time_s.len() as f64;
            Some(number(entry, "value").unwrap() > 0.05 * records)
        }
        "seen" => Some(true),
        "not seen" => Some(false),
        _ => None,
    }
}

#[test]
fn what_is_said_of_real_recordings_agrees_with_the_list() {
    let mut found = BTreeSet::new();
    let mut alike = 0;
    for told in TOLD.iter() {
        for kind in BOTH_WAYS.iter().chain(&NOT_SAID) {
            let Some(seen) = seen(told, kind) else { continue };
            let said = said(kind, &told.compared);
            if said == seen || (!said && NOT_SAID.contains(kind)) {
                alike += 1;
            } else {
                found.insert((told.name.as_str(), *kind));
            }
        }
    }
    println!("{alike} alike, otherwise: {found:?}");
    let expected: BTreeSet<(&str, &str)> = OTHERWISE.iter().map(|(name, kind, _)| (*name, *kind)).collect();
    for (name, kind) in &found {
        let why = OTHERWISE
            .iter()
            .find(|(n, k, _)| n == name && k == kind)
            .map(|(_, _, why)| why);
        println!("{name} {kind}: {}", why.unwrap_or(&"not looked at"));
    }
    assert_eq!(found, expected);
}

/// Sizes measured by independent code, each with its uncertainty: within three of both together.
#[test]
fn what_is_measured_of_real_recordings_agrees_with_independent_measurement() {
    let mut squares = Vec::new();
    for told in TOLD.iter() {
        let of = &told.compared;
        let delay = of
            .power_delays
            .first()
            .map(|d| (d.delay_s, d.standard_uncertainty_s));
        let profile = of.surveyed.ridden.course.profile.as_ref();
        let lag = profile
            .and_then(|p| p.lag)
            .map(|l| (l.lag_s, l.standard_uncertainty_s));
        // The list has recorded over true.
        let scale = of.speed_scales.measured.map(|(scale, u)| (1.0 / scale, u));
        for (kind, measured) in [
            ("power_delay", delay),
            ("altitude_lag", lag),
            ("speed_scale", scale),
        ] {
            let entry = entry(told, kind);
            let (Some(value), Some(u), Some((own, own_u))) = (
                number(entry, "value"),
                number(entry, "standard_uncertainty"),
                measured,
            ) else {
                continue;
            };
            let apart = (own - value) / own_u.hypot(u);
            println!(
                "{} {kind}: {own:.4} ± {own_u:.4}, by hand {value} ± {u}: {apart:+.1}",
                told.name
            );
            squares.push((told.name.clone(), kind, apart));
        }
    }
    let far: Vec<_> = squares.iter().filter(|(_, _, apart)| apart.abs() > 3.0).collect();
    assert!(squares.len() > 40 && far.is_empty(), "{far:?}");
}
