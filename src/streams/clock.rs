//! Samples as recorded → rows with strictly increasing time.

use super::Repair;
use super::mark::{count, list};
use crate::recording::Sample;
use crate::units::clock_text;

/// Unix seconds that a recording can carry: 1970 (elapsed time without a date) to 2100.
const LATEST_S: f64 = 4_102_444_800.0;
/// A forward step longer than this ends a piece: another piece, written elsewhere, may belong into it.
const PIECE_ENDS_S: f64 = 60.0;
/// Out of order and shorter than this: a slip of the clock, not a part of a ride.
const SHORTEST_PIECE: usize = 5;

/// One row of the aligned recording: its time, and the samples (as recorded) that carry it, first the
/// one whose values count.
pub(super) struct Row {
    pub time_s: f64,
    pub from: Vec<usize>,
}

/// Puts samples in order of time. Whole parts written out of order are sorted; single slips of the
/// clock are dropped; where parts tell of the same time the longer one is kept; equal stamps share a row.
pub(super) fn rows(samples: &[Sample], repairs: &mut Vec<Repair>) -> Vec<Row> {
    let usable = with_a_time(samples, repairs);
    let order = in_order(samples, usable, repairs);
    let mut rows: Vec<Row> = Vec::with_capacity(order.len());
    for index in order {
        let time_s = samples[index].time_s;
        match rows.last_mut() {
            Some(last) if last.time_s == time_s => last.from.push(index),
            _ => rows.push(Row {
                time_s,
                from: vec![index],
            }),
        }
    }
    list_duplicates(samples, &rows, repairs);
    rows
}

fn with_a_time(samples: &[Sample], repairs: &mut Vec<Repair>) -> Vec<usize> {
    let good = |sample: &Sample| (0.0..=LATEST_S).contains(&sample.time_s);
    let usable: Vec<usize> = (0..samples.len()).filter(|&i| good(&samples[i])).collect();
    let lost = samples.len() - usable.len();
    if lost > 0 {
        let at = |index: Option<&usize>| index.map_or(0.0, |&i| samples[i].time_s);
        repairs.push(Repair {
            kind: "impossible time",
            start_s: at(usable.first()),
            end_s: at(usable.last()),
            samples: lost,
            message: format!(
                "{} with a time stamp that is no time between 1970 and 2100 left out",
                count(lost, "sample")
            ),
        });
    }
    usable
}

/// Sample indices in order of time (equal times may remain).
fn in_order(samples: &[Sample], usable: Vec<usize>, repairs: &mut Vec<Repair>) -> Vec<usize> {
    let at = |index: usize| samples[index].time_s;
    let backward = |list: &[usize]| list.windows(2).any(|w| at(w[1]) < at(w[0]));
    if !backward(&usable) {
        return usable;
    }
    let (steady, slipped) = without_slips(samples, usable);
    list_slips(samples, slipped, repairs);
    if !backward(&steady) {
        return steady;
    }
    assemble(samples, pieces(samples, &steady), repairs)
}

/// Takes out single samples that lie out of the order of their two neighbours.
fn without_slips(samples: &[Sample], list: Vec<usize>) -> (Vec<usize>, Vec<usize>) {
    let at = |index: usize| samples[index].time_s;
    let mut kept: Vec<usize> = Vec::with_capacity(list.len());
    let mut slipped = Vec::new();
    for (place, &here) in list.iter().enumerate() {
        let after = list.get(place + 1).copied();
        let slip = match (kept.last(), after) {
            (Some(&before), Some(after)) => {
                let neighbours_agree = at(after) >= at(before);
                neighbours_agree && (at(here) < at(before) || at(here) > at(after))
            }
            _ => false,
        };
        if slip {
            slipped.push(here);
        } else {
            kept.push(here);
        }
    }
    (kept, slipped)
}

fn list_slips(samples: &[Sample], slipped: Vec<usize>, repairs: &mut Vec<Repair>) {
    // Placed by the time stamp of the sample written before, since their own is what is wrong.
    let mut placed: Vec<f64> = slipped
        .iter()
        .map(|&index| samples[index.saturating_sub(1)].time_s)
        .filter(|time| (0.0..=LATEST_S).contains(time))
        .collect();
    placed.sort_by(f64::total_cmp);
    let all: Vec<usize> = (0..placed.len()).collect();
    list(&placed, &all, "backward time", repairs, |span| {
        format!(
            "{} whose time stamp falls out of the order of its neighbours left out {}",
            span.count("sample"),
            span.when()
        )
    });
}

/// Cuts where time goes backward, and at long steps forward.
fn pieces(samples: &[Sample], list: &[usize]) -> Vec<Vec<usize>> {
    let mut out: Vec<Vec<usize>> = Vec::new();
    for &index in list {
        let joins = out.last().and_then(|piece| piece.last()).is_some_and(|&p| {
            let step = samples[index].time_s - samples[p].time_s;
            (0.0..=PIECE_ENDS_S).contains(&step)
        });
        match out.last_mut() {
            Some(piece) if joins => piece.push(index),
            _ => out.push(vec![index]),
        }
    }
    out
}

/// Longest piece first; every other piece keeps what tells of another time.
fn assemble(samples: &[Sample], mut pieces: Vec<Vec<usize>>, repairs: &mut Vec<Repair>) -> Vec<usize> {
    let at = |index: usize| samples[index].time_s;
    pieces.sort_by(|a, b| b.len().cmp(&a.len()).then(a[0].cmp(&b[0])));
    let mut kept: Vec<usize> = Vec::new();
    let mut spans: Vec<(f64, f64)> = Vec::new();
    // Of each piece kept: where it stands in the file, and its first time.
    let mut heads: Vec<(usize, f64)> = Vec::new();
    for piece in pieces {
        let (first, last) = (piece[0], piece[piece.len() - 1]);
        let told = |time: f64| spans.iter().any(|&(a, b)| (a..=b).contains(&time));
        let out_of_order = heads
            .iter()
            .any(|&(place, time)| (place < first) != (time < at(first)));
        let fresh: Vec<usize> = if out_of_order && piece.len() < SHORTEST_PIECE {
            Vec::new()
        } else {
            let fresh = piece.iter().copied();
            fresh.filter(|&index| !told(at(index))).collect()
        };
        let lost = piece.len() - fresh.len();
        if lost > 0 {
            repairs.push(told_twice(at(first), at(last), lost));
        }
        if let (Some(&a), Some(&b)) = (fresh.first(), fresh.last()) {
            if out_of_order && lost == 0 {
                repairs.push(out_of_place(at(a), at(b), fresh.len()));
            }
            spans.push((at(a), at(b)));
            heads.push((a, at(a)));
        }
        kept.extend(fresh);
    }
    kept.sort_by(|&a, &b| at(a).total_cmp(&at(b)).then(a.cmp(&b)));
    kept
}

fn told_twice(start_s: f64, end_s: f64, samples: usize) -> Repair {
    Repair {
        kind: "backward time",
        start_s,
        end_s,
        samples,
        message: format!(
            "the clock goes back: the time from {} to {} UTC is told more than once, or by stray samples; \
             {} left out, and times across this place may be off by as much",
            clock_text(start_s),
            clock_text(end_s),
            count(samples, "sample")
        ),
    }
}

fn out_of_place(start_s: f64, end_s: f64, samples: usize) -> Repair {
    Repair {
        kind: "out of order",
        start_s,
        end_s,
        samples,
        message: format!(
            "the part from {} to {} UTC stands out of order in the file: {} put in order of time, nothing lost",
            clock_text(start_s),
            clock_text(end_s),
            count(samples, "sample")
        ),
    }
}

fn list_duplicates(samples: &[Sample], rows: &[Row], repairs: &mut Vec<Repair>) {
    let twice: Vec<usize> = (0..rows.len()).filter(|&i| rows[i].from.len() > 1).collect();
    let time_s: Vec<f64> = rows.iter().map(|row| row.time_s).collect();
    let spans = super::mark::spans(&time_s, &twice);
    for span in spans {
        let inside = twice
            .iter()
            .filter(|&&i| (span.start_s..=span.end_s).contains(&time_s[i]));
        let (mut surplus, mut contradictions) = (0, 0);
        for &index in inside {
            surplus += rows[index].from.len() - 1;
            contradictions += usize::from(contradict(samples, &rows[index]));
        }
        let cost = match contradictions {
            0 => "they do not contradict each other, nothing is lost".to_string(),
            n => format!("where they disagree ({n} of them) the first value is kept"),
        };
        repairs.push(Repair {
            kind: "duplicate time",
            start_s: span.start_s,
            end_s: span.end_s,
            samples: surplus,
            message: format!(
                "{} written more than once {}, merged: {cost}",
                span.count("time stamp"),
                span.when()
            ),
        });
    }
}

fn contradict(samples: &[Sample], row: &Row) -> bool {
    CHANNELS.iter().any(|channel| {
        let mut values = row.from.iter().filter_map(|&i| channel(&samples[i]));
        let first = values.next();
        values.any(|value| Some(value) != first)
    })
}

type Channel = fn(&Sample) -> Option<f64>;

const CHANNELS: [Channel; 10] = [
    |s| s.latitude_deg,
    |s| s.longitude_deg,
    |s| s.altitude_m,
    |s| s.distance_m,
    |s| s.speed_m_s,
    |s| s.power_w,
    |s| s.cadence_rpm,
    |s| s.heart_rate_bpm,
    |s| s.temperature_c,
    |s| s.pressure_pa,
];

#[cfg(test)]
mod tests {
    use super::*;

    fn ordered(times: &[f64]) -> (Vec<f64>, Vec<Repair>) {
        let samples: Vec<Sample> = times
            .iter()
            .map(|&time_s| Sample {
                time_s,
                ..Sample::default()
            })
            .collect();
        let mut repairs = Vec::new();
        let rows = rows(&samples, &mut repairs);
        (rows.iter().map(|row| row.time_s).collect(), repairs)
    }

    fn seconds(from: u32, to: u32) -> Vec<f64> {
        (from..=to).map(f64::from).collect()
    }

    #[test]
    fn times_in_order_are_left_alone() {
        let times = seconds(100, 120);
        assert_eq!(ordered(&times), (times, vec![]));
    }

    #[test]
    fn a_slip_back_or_ahead_is_dropped_and_nothing_else() {
        for slip in [50.0, 105.0, 1e9] {
            let times = [100.0, 101.0, slip, 102.0, 103.0, 104.0];
            let (kept, repairs) = ordered(&times);
            assert_eq!(kept, [100.0, 101.0, 102.0, 103.0, 104.0], "slip {slip}");
            assert_eq!(repairs.len(), 1);
            assert_eq!((repairs[0].kind, repairs[0].samples), ("backward time", 1));
            assert_eq!(repairs[0].start_s, 101.0);
        }
    }

    #[test]
    fn parts_written_out_of_order_are_sorted_and_none_is_lost() {
        let times = [seconds(500, 560), seconds(100, 160), seconds(300, 310)].concat();
        let (kept, repairs) = ordered(&times);
        let wanted = [seconds(100, 160), seconds(300, 310), seconds(500, 560)].concat();
        assert_eq!(kept, wanted);
        assert!(repairs.iter().all(|repair| repair.kind == "out of order"));
        assert!(!repairs.is_empty());
    }

    #[test]
    fn a_part_that_belongs_into_a_pause_is_sorted_into_it() {
        let times = [seconds(100, 160), seconds(900, 990), seconds(300, 330)].concat();
        let (kept, repairs) = ordered(&times);
        let wanted = [seconds(100, 160), seconds(300, 330), seconds(900, 990)].concat();
        assert_eq!(kept, wanted);
        assert_eq!(repairs.len(), 1, "{repairs:?}");
        assert_eq!((repairs[0].kind, repairs[0].samples), ("out of order", 31));
    }

    #[test]
    fn a_clock_set_back_keeps_the_longer_part_whole() {
        let times = [seconds(100, 120), seconds(115, 200)].concat();
        let (kept, repairs) = ordered(&times);
        assert_eq!(kept, seconds(100, 200));
        assert_eq!(repairs.len(), 1, "{repairs:?}");
        assert_eq!((repairs[0].kind, repairs[0].samples), ("backward time", 6));
    }

    #[test]
    fn the_same_part_chained_twice_is_used_once() {
        let times = [seconds(100, 200), seconds(100, 200)].concat();
        let (kept, repairs) = ordered(&times);
        assert_eq!(kept, seconds(100, 200));
        assert_eq!((repairs[0].kind, repairs[0].samples), ("backward time", 101));
    }

    #[test]
    fn impossible_times_are_left_out() {
        let times = [f64::NAN, 100.0, f64::INFINITY, 101.0, 1e300, -5.0];
        let (kept, repairs) = ordered(&times);
        assert_eq!(kept, [100.0, 101.0]);
        assert_eq!((repairs[0].kind, repairs[0].samples), ("impossible time", 4));
    }

    #[test]
    fn equal_stamps_share_a_row_and_say_whether_they_disagree() {
        let sample = |time_s, power_w, speed_m_s| Sample {
            time_s,
            power_w,
            speed_m_s,
            ..Sample::default()
        };
        let samples = [
            sample(1.0, None, Some(5.0)),
            sample(1.0, Some(200.0), None),
            sample(2.0, Some(210.0), None),
            sample(2.0, Some(190.0), None),
        ];
        let mut repairs = Vec::new();
        let rows = rows(&samples, &mut repairs);
        let from: Vec<_> = rows.iter().map(|row| row.from.clone()).collect();
        assert_eq!(from, [vec![0, 1], vec![2, 3]]);
        assert_eq!((repairs[0].kind, repairs[0].samples), ("duplicate time", 2));
        assert!(
            repairs[0].message.contains("(1 of them)"),
            "{}",
            repairs[0].message
        );
    }
}
