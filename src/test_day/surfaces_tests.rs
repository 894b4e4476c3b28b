use super::super::tests::{day, measured, one_fault};

const TYRES: &str = "[tyres]\ncrr = 0.004\ncrr_standard_uncertainty = 0.0005\n";

#[test]
fn a_surface_is_a_factor_on_the_tyres_and_a_crr_is_set_against_theirs() {
    let known = day(&format!(
        "{TYRES}[[surface]]\nfrom_m = 700\ncrr = 0.006\ncrr_standard_uncertainty = 0.0004\n\
         [[surface]]\nto_m = 200.0\ncrr_factor = 1.2\ncrr_factor_standard_uncertainty = 0.05\n"
    ));
    let [first, second] = known.surfaces.as_slice() else {
        panic!("{:?}", known.surfaces)
    };
    assert_eq!((first.from_m, first.to_m), (0.0, 200.0));
    assert_eq!(first.crr_factor, measured(1.2, 0.05, true));
    assert_eq!((second.from_m, second.to_m), (700.0, f64::INFINITY));
    assert!((second.crr_factor.value - 1.5).abs() < 1e-12);
    assert!((second.crr_factor.standard_uncertainty - 0.1).abs() < 1e-12);
    assert!(!known.assumptions.iter().any(|a| a.contains("surface")));
}

#[test]
fn a_surface_without_an_uncertainty_has_a_stated_one() {
    let known = day(&format!("{TYRES}[[surface]]\nfrom_m = 700\ncrr_factor = 1.5\n"));
    assert_eq!(known.surfaces[0].crr_factor, measured(1.5, 0.15, true));
    let said = known.assumptions.iter().find(|a| a.contains("surface")).unwrap();
    assert!(said.contains("± 0.15 by default (crr_factor)"), "{said}");
}

#[test]
fn what_is_wrong_with_a_surface_is_said() {
    let with = |lines: &str| format!("{TYRES}[[surface]]\n{lines}\n");
    one_fault(&with("crr_factor = 1.5"), "line 4, surface", &["no ends"]);
    one_fault(
        &with("from_m = 5"),
        "line 4, surface",
        &["how tyres roll", "crr_factor"],
    );
    one_fault(
        &with("from_m = 5\ncrr = 0.006\ncrr_factor = 1.5"),
        "line 4, surface",
        &["both crr and crr_factor"],
    );
    one_fault(
        &with("from_m = 5\nto_m = 5\ncrr_factor = 1.5"),
        "line 6, surface.to_m",
        &["empty"],
    );
    one_fault(
        &with("from_m = 5\ncrr_factor = 0.006"),
        "line 6, surface.crr_factor",
        &["crr"],
    );
    one_fault(
        &with("from_m = 5\ncrr_factor = 1.5\n[[surface]]\nto_m = 6\ncrr_factor = 2"),
        "line 7, surface.from_m",
        &["overlaps the surface of line 4"],
    );
}
