//! How the fit ended reaches programs and people.

use super::days::Ridden;
use super::drawn::{Course, Drawn};
use stillair::report::{json, terminal};
use stillair::study::FitEnd;

/// Every space a plain one, every line end too: where a line is broken does not matter.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn how_the_fit_ended_is_told_in_json_and_on_the_terminal() {
    let mut compared = Ridden::of(&Drawn::new(Course::OutAndBack, "ABBA", 7601)).answered();
    assert_eq!(compared.fit.ended, "converged");
    let sentence = compared.fit.sentence.clone();
    assert!(
        sentence.starts_with("8 passes fitted; the joint fit converged in "),
        "{sentence}"
    );
    let told = json::compare(&compared);
    assert_eq!(told["fit"]["ended"], "converged");
    assert_eq!(told["fit"]["sentence"], sentence.as_str());
    let shown = words(&terminal::compare(&compared, 100));
    assert!(
        shown.contains("8 passes fitted; the joint fit converged in "),
        "{shown}"
    );

    compared.fit = FitEnd {
        ended: "not converged",
        sentence: "8 passes fitted; no rest was found.".to_string(),
    };
    assert_eq!(json::compare(&compared)["fit"]["ended"], "not converged");
    let shown = words(&terminal::compare(&compared, 60));
    assert!(shown.contains("8 passes fitted; no rest was found."), "{shown}");
}
