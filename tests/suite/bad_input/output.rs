//! Where output goes, and how wide it is.

use super::workbench::{Bench, short_day};

#[test]
fn json_stands_alone_on_standard_output() {
    let bench = Bench::of(&short_day());
    bench.write("day/broken.fit", b"");
    for words in [
        &["compare", "day", "--json"][..],
        &["passes", "day", "--json"],
        &["inspect", "day/ride.fit", "--json"],
        &["demo", "new", "--json"],
    ] {
        let json = bench.run(words).json();
        assert_eq!(json["schema"], 1, "{words:?}");
    }
}
