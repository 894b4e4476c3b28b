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

const KINDS: [&str; 18] = [
    "power_delay",
    "altitude_lag",
    "altitude_from_positions",
    "altitude_jump",
    "speed_scale",
    "speed_from_positions",
    "irregular_sampling",
    "stuck_power",
    "left_only_power",
    "coasting",
    "braking",
    "slow_place",
    "surface_change",
    "covered_stretch",
    "small_share_of_drag",
    "warming_air",
    "two_units",
    "sitting_up_or_draft",
];

/// What the program says otherwise than the list, recording by recording, and what a second look showed.
const OTHERWISE: &[(&str, &str, &str)] = &[];

#[test]
fn what_is_said_of_real_recordings_agrees_with_the_list() {
    let mut found = BTreeSet::new();
    let mut alike = 0;
    for told in TOLD.iter() {
        for kind in KINDS {
            let seen = match entry(told, kind)["answer"].as_str().unwrap() {
                "seen" => true,
                "not seen" => false,
                _ => continue,
            };
            if said(kind, &told.compared) == seen {
                alike += 1;
            } else {
                found.insert((told.name.as_str(), kind));
            }
        }
    }
    println!("{alike} alike, {} otherwise: {found:#?}", found.len());
    let expected: BTreeSet<(&str, &str)> = OTHERWISE.iter().map(|(name, kind, _)| (*name, *kind)).collect();
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
