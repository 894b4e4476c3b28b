use super::*;

fn even(looks: usize) -> Vec<f64> {
    (1..=looks).map(|k| k as f64 / looks as f64).collect()
}

/// Chance of crossing at any look.
fn crossed(fractions: &[f64], z: impl Fn(f64) -> f64) -> f64 {
    let mut walk = Walk::default();
    let mut sum = 0.0;
    for t in fractions {
        sum += walk.crossing(*t, z(*t));
        walk = walk.past(*t, z(*t));
    }
    sum
}

/// Pocock 1977 (Biometrika 64:191-199), as tabled by Jennison and Turnbull 2000, table 2.1 (M): the same boundary at all
/// looks.
#[test]
fn the_same_boundary_at_every_look_is_that_of_pocock() {
    for (alpha, looks, z) in [
        (0.05, 2, 2.178),
        (0.05, 5, 2.413),
        (0.05, 10, 2.555),
        (0.10, 2, 1.875),
        (0.10, 5, 2.122),
    ] {
        let found = crossed(&even(looks), |_| z);
        // Half a unit of the third decimal of z.
        assert!((found - alpha).abs() < 1.5e-4, "{alpha} {looks}: {found}");
    }
}

/// Armitage, McPherson and Rowe 1969, table 2 (M): what testing at the plain 5 % after each of so many even looks does.
#[test]
fn looking_again_and_again_with_the_plain_interval_errs_as_published() {
    for (looks, chance) in [(1, 0.050), (2, 0.083), (5, 0.142), (10, 0.193)] {
        let found = crossed(&even(looks), |_| 1.959964);
        assert!((found - chance).abs() < 6e-4, "{looks}: {found}");
    }
}

/// O'Brien and Fleming 1979 (Biometrics 35:549-556), as tabled by Jennison and Turnbull 2000, table 2.3 (M): the boundary
/// falls with the root of the information.
#[test]
fn a_falling_boundary_is_that_of_o_brien_and_fleming() {
    for (alpha, looks, z) in [
        (0.05, 2, 1.977),
        (0.05, 5, 2.040),
        (0.10, 2, 1.678),
        (0.10, 5, 1.751),
    ] {
        let found = crossed(&even(looks), |t| z / t.sqrt());
        assert!((found - alpha).abs() < 1.5e-4, "{alpha} {looks}: {found}");
    }
}

/// The boundaries for five even looks at 5 % that are printed most often for this spending, which there is done for each
/// side by itself at 2.5 % (M).
#[test]
fn what_is_spent_gives_the_printed_boundaries() {
    let fractions = even(5);
    let each_side: Vec<f64> = fractions.iter().map(|t| 2.0 * spent(0.025, *t)).collect();
    let printed = [4.8769, 3.3569, 2.6803, 2.2898, 2.0310];
    for (found, printed) in boundaries(&fractions, &each_side).into_iter().zip(printed) {
        assert!((found - printed).abs() < 1e-3, "{found} {printed}");
    }
}

#[test]
fn all_is_spent_at_the_end_and_a_single_look_is_the_plain_interval() {
    let whole = Schedule::of(&[0, 1], 2, [1, 0]).unwrap();
    assert_eq!((whole.looks.len(), whole.done), (1, 1));
    assert!((whole.now().level - LEVEL).abs() < 1e-8);
    let fractions = [0.25, 1.0 / 3.0, 0.5, 0.6, 0.75, 6.0 / 7.0, 1.0];
    let spends: Vec<f64> = fractions.iter().map(|t| spent(0.1, *t)).collect();
    let found = boundaries(&fractions, &spends);
    let mut walk = Walk::default();
    let mut sum = 0.0;
    for (t, z) in fractions.iter().zip(&found) {
        sum += walk.crossing(*t, *z);
        walk = walk.past(*t, *z);
    }
    assert!((sum - 0.1).abs() < 1e-7, "{sum}");
    assert!(found.windows(2).all(|pair| pair[1] < pair[0]), "{found:?}");
}

/// A, B, C, B, A, C: A and B are looked at after blocks 2, 4 and 5, with ½, ⅔ and 1 of the information (D).
#[test]
fn a_pair_is_looked_at_after_its_own_blocks() {
    let order = [0, 1, 2, 1, 0, 2];
    let whole = Schedule::of(&order, 3, [1, 0]).unwrap();
    let at: Vec<(f64, usize)> = whole.looks.iter().map(|l| (l.information, l.blocks)).collect();
    assert_eq!(at.iter().map(|(_, b)| *b).collect::<Vec<_>>(), [2, 4, 5]);
    assert!((at[0].0 - 0.5).abs() < 1e-12 && (at[1].0 - 2.0 / 3.0).abs() < 1e-12);
    assert_eq!(whole.done, 1);
    assert_eq!(Schedule::of(&order, 1, [1, 0]), None);
    assert_eq!(Schedule::of(&order, 6, [3, 0]), None);
}

fn comparison(log_ratio: f64, u: f64) -> Comparison {
    Comparison {
        setup: 1,
        baseline: 0,
        log_ratio,
        spread: Some(crate::estimate::comparison::Spread::student(u, f64::INFINITY)),
        block_standard_deviation: Some(u),
        blocks: [1, 1],
    }
}

/// With half the information a level is 1 − α*(½) = 0.980, 2.33 standard errors (D).
#[test]
fn what_is_more_than_the_plain_interval_may_not_do_at_an_early_look() {
    let order = [0, 1, 1, 0];
    let level = Schedule::of(&order, 2, [1, 0]).unwrap().now().level;
    let z = Normal::standard().inverse_cdf(0.5 + 0.5 * level);
    assert!((z - 2.3262).abs() < 1e-3, "{z}");
    let says = |ridden: usize, log_ratio: f64, u: f64, small: f64| {
        let schedule = Schedule::of(&order, ridden, [1, 0]).unwrap();
        let found = crate::verdict::finding::tests::told_of(&comparison(log_ratio, u));
        let looked = found.looked_at(&comparison(log_ratio, u), &schedule, small);
        (looked.call, looked.looks.unwrap().says)
    };
    assert_eq!(says(2, -0.020, 0.01, 1.0), (Call::NotResolved, Says::More(2)));
    assert_eq!(says(2, -0.024, 0.01, 1.0), (Call::LowerDrag, Says::Resolved));
    assert_eq!(says(2, 0.024, 0.01, 1.0), (Call::HigherDrag, Says::Resolved));
    assert_eq!(says(2, -0.002, 0.01, 1.0), (Call::NotResolved, Says::Hardly(2)));
    assert_eq!(says(2, -0.002, 0.01, 3.0), (Call::NotResolved, Says::Small));
    assert_eq!(says(4, -0.002, 0.01, 1.0), (Call::NotResolved, Says::NotResolved));
}
