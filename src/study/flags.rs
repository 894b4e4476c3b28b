//! What is odd about a pass, in words that can be checked in the recording.

use super::result::{PassResult, PassSeen};
use crate::course::{POSITION_STANDARD_UNCERTAINTY_M, Ridden};
use crate::estimate::cells::PassRide;
use crate::estimate::disturbed::Disturbance;
use crate::estimate::joint::PassJudged;

/// A pass this far off, in standard deviations of what the others let expect: chance gives one in 370 passes.
pub(super) const ODD: f64 = 3.0;

pub(super) fn flags(judged: &PassJudged) -> Vec<String> {
    let mut all: Vec<String> = judged.disturbances.iter().map(disturbed).collect();
    let off = &judged.left_out;
    if off.studentised.abs() > ODD {
        let side = if off.off > 0.0 { "above" } else { "below" };
        all.push(format!(
            "odd: its drag area is {:.0} % {side} what the other passes make it, {:.1} standard deviations",
            100.0 * off.off.exp_m1().abs(),
            off.studentised.abs()
        ));
    }
    all
}

/// "disturbed: from 640 to 720 m, 61 s after the start, 0.9 kJ less work than ... "
fn disturbed(one: &Disturbance) -> String {
    let (less, energy_kj) = (one.energy_j < 0.0, one.energy_j.abs() / 1000.0);
    format!(
        "disturbed: {:.0} to {:.0} m, {:.0} s after the start for {:.0} s: {energy_kj:.1} kJ {} than drag and tyres \
         take, as by {}; this is taken out",
        one.from_m,
        one.to_m,
        one.after_start_s,
        one.duration_s,
        if less { "less" } else { "more" },
        one.likely.as_text()
    )
}

pub(super) fn seen(judged: &PassJudged, setups: usize) -> PassSeen {
    PassSeen {
        wind_m_s: judged.wind_m_s,
        headwind_standard_uncertainty_m_s: judged.headwind_standard_uncertainty_m_s,
        off: judged.left_out.off,
        studentised: judged.left_out.studentised,
        change_without: (0..setups)
            .map(|s| judged.without[s] - judged.without[0])
            .collect(),
    }
}

/// The brakes' energy is not in the balance: where they were used, a cell counts for next to nothing.
pub(super) fn braking(ride: &PassRide) -> Option<String> {
    let braked: Vec<_> = ride.cells.iter().filter(|cell| cell.braked_j > 0.0).collect();
    let energy_j: f64 = braked.iter().map(|cell| cell.braked_j).sum();
    (!braked.is_empty()).then(|| {
        format!(
            "brakes took {:.1} kJ or more in {} of {} cells, which hardly count",
            energy_j / 1000.0,
            braked.len(),
            ride.cells.len()
        )
    })
}

/// The wheel counts more or fewer metres than in the other passes of the direction and the recording, by more than
/// three standard deviations of where two gates are crossed: another line round a bend, or positions that jumped at a
/// gate. Another recording may count with another circumference: over nineteen real passes of 5.5 km it was 1.4 % off.
pub(super) fn other_lines(rides: &[PassRide], ridden: &Ridden, passes: &mut [PassResult]) {
    let course_length_m = ridden.course.length_m();
    let crossings_m = 3.0 * 2f64.sqrt() * POSITION_STANDARD_UNCERTAINTY_M;
    let recording = |ride: &PassRide| ridden.passes[ride.pass].recording;
    let wheel_m = |ride: &PassRide| course_length_m / ride.length_ratio;
    for ride in rides {
        let like =
            |other: &&PassRide| other.direction == ride.direction && recording(other) == recording(ride);
        let mut usual_m: Vec<f64> = rides.iter().filter(like).map(wheel_m).collect();
        usual_m.sort_by(f64::total_cmp);
        if usual_m.len() < FEWEST_LINES {
            continue;
        }
        let longer_m = wheel_m(ride) - usual_m[usual_m.len() / 2];
        if longer_m.abs() > crossings_m + SCALE_HOLDS * course_length_m {
            passes[ride.pass].flags.push(format!(
                "{:.0} m {} than the others by the wheel: another line round a bend, or positions that jumped at a gate",
                longer_m.abs(),
                if longer_m > 0.0 { "longer" } else { "shorter" }
            ));
        }
    }
}

/// With fewer passes of a direction nobody knows which one is the usual one.
const FEWEST_LINES: usize = 3;
/// What a wheel's circumference changes within a ride, as the tyre warms (a judgement).
const SCALE_HOLDS: f64 = 0.001;
