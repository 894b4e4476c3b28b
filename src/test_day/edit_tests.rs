use super::*;
use proptest::prelude::*;

const TEXT: &str = "# my day\ntitle = \"x\"   # a title\n\n[rider]\ntotal_mass_kg   =  82.0 # weighed\n# nothing more\n\n\
[[setup]]\nname = \"a\"\n\n# spoilt, I think\n[[exclude]]  # lorry\nstart_time = 2026-05-02T09:14:22Z\nreason = \"lorry\" # big\n\n\
# about all passes\n[[window]]\nfrom_m = 120\nto_m = 1380 # the gate\n";

fn done(text: &str, edit: Edit) -> String {
    edited(Path::new("test.toml"), text, &edit).unwrap_or_else(|error| panic!("{error}"))
}

fn refused(text: &str, edit: Edit) -> String {
    edited(Path::new("test.toml"), text, &edit)
        .unwrap_err()
        .to_string()
}

#[test]
fn a_number_is_changed_and_nothing_else() {
    let mass = |value| Edit::Number {
        table: "rider",
        key: "total_mass_kg",
        value,
    };
    assert_eq!(done(TEXT, mass(81.5)), TEXT.replace(" 82.0 #", " 81.5 #"));
    let crr = Edit::Number {
        table: "tyres",
        key: "crr",
        value: 0.005,
    };
    assert_eq!(done(TEXT, crr), format!("{TEXT}\n[tyres]\ncrr = 0.005\n"));
    let su = Edit::Number {
        table: "rider",
        key: "total_mass_standard_uncertainty_kg",
        value: 0.2,
    };
    assert_eq!(
        done(TEXT, su),
        TEXT.replace(
            "# weighed\n",
            "# weighed\ntotal_mass_standard_uncertainty_kg = 0.2\n"
        )
    );
    assert!(refused("rider = { total_mass_kg = 80.0 }\n", mass(81.0)).contains("editor"));
    assert!(refused(TEXT, mass(-3.0)).contains("total_mass_kg"));
    let of_setup = Edit::NumberOf {
        list: List::Setups,
        place: 0,
        key: "total_mass_kg",
        value: 83.0,
    };
    assert_eq!(
        done(TEXT, of_setup),
        TEXT.replace("name = \"a\"\n", "name = \"a\"\ntotal_mass_kg = 83\n")
    );
}

#[test]
fn stretches_and_passes_are_added_at_the_end() {
    let cut = done(
        TEXT,
        Edit::Cut {
            start_s: Some(1_777_713_610.0),
            from_m: 400.04,
            to_m: 520.0,
            reason: Some("a \"dog\"\n[rider]".to_string()),
        },
    );
    assert_eq!(
        cut,
        format!(
            "{TEXT}\n[[cut]]\nstart_time = 2026-05-02T09:20:10Z\nfrom_m = 400\nto_m = 520\n\
             reason = 'a \"dog\" [rider]'\n"
        )
    );
    assert_eq!(parse(Path::new("x"), &cut).unwrap().cuts.len(), 1);
    let out = done(
        "title = \"no line end\"",
        Edit::LeaveOut {
            start_s: 1_777_713_610.4,
            reason: "rain".to_string(),
        },
    );
    let lines = "[[exclude]]\nstart_time = 2026-05-02T09:20:10Z\nreason = \"rain\"\n";
    assert_eq!(out, format!("title = \"no line end\"\n\n{lines}"));
    let windows = "title = \"x\"\r\n";
    let added = done(
        windows,
        Edit::Window {
            start_s: None,
            from_m: 1.0,
            to_m: 2.5,
        },
    );
    assert_eq!(
        added,
        "title = \"x\"\r\n\r\n[[window]]\r\nfrom_m = 1\r\nto_m = 2.5\r\n"
    );
    let twice = Edit::Window {
        start_s: None,
        from_m: 1.0,
        to_m: 2.0,
    };
    assert!(refused(TEXT, twice).contains("second window"));
}

#[test]
fn ends_are_pulled_and_remarks_stay() {
    let ends = |place| Edit::Ends {
        list: Stretches::Windows,
        place,
        from_m: 99.96,
        to_m: 1400.26,
    };
    let pulled = TEXT
        .replace("from_m = 120", "from_m = 100")
        .replace("1380 #", "1400.3 #");
    assert_eq!(done(TEXT, ends(0)), pulled);
    assert!(refused(TEXT, ends(1)).contains("no [[window]]"));
}

#[test]
fn what_is_taken_back_leaves_the_remarks_above_it() {
    let remove = |list| Edit::Remove { list, place: 0 };
    let lines = "[[exclude]]  # lorry\nstart_time = 2026-05-02T09:14:22Z\nreason = \"lorry\" # big\n";
    assert_eq!(done(TEXT, remove(List::Excludes)), TEXT.replace(lines, ""));
    let lines = "[[window]]\nfrom_m = 120\nto_m = 1380 # the gate\n";
    assert_eq!(done(TEXT, remove(List::Windows)), TEXT.replace(lines, ""));
}

proptest! {
    /// Adding and taking back gives the same text, byte by byte, whatever stood there.
    #[test]
    fn adding_and_taking_back_changes_nothing(
        lines in proptest::collection::vec("(# [a-z]{0,5}|\\[\\[exclude\\]\\]\nnumber = 3||)", 0..6),
        from in 0.0..500.0f64,
    ) {
        let text: String = lines.iter().map(|line| format!("{line}\n")).collect();
        let trimmed = format!("{}\n", text.trim_end());
        let cut = Edit::Cut { start_s: None, from_m: from, to_m: from + 10.0, reason: None };
        let added = done(&trimmed, cut);
        prop_assert!(added.starts_with(&trimmed));
        let back = done(&added, Edit::Remove { list: List::Cuts, place: 0 });
        prop_assert_eq!(back, if trimmed == "\n" { String::new() } else { trimmed });
    }
}
