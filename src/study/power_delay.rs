//! Power and speed of a day in step: what the rides tell of each recording, what is applied, and what is left open.

use super::result::PowerDelay;
use crate::course::Pass;
use crate::estimate::cells::PassRide;
use crate::estimate::out_of_step::{Delay, Seen, delay};
use crate::streams::{Streams, Worked};
use crate::test_day::TestDay;
use crate::treatment::Treatment;
use crate::warning::Warning;
use rayon::prelude::*;
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::borrow::Cow;

/// An offset is taken out where it is this many standard uncertainties from nothing ...
const CLEAR: f64 = 2.5;
/// ... and known at least so well. (*chosen*)
const SURE_S: f64 = 0.5;
/// Recordings of one day count as one unit's unless chance would set them apart so far only this often. (*chosen*)
const ALIKE: f64 = 0.01;

/// What is done about each recording.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    /// By the rides or by the user.
    known: Delay,
    applied_s: f64,
}

impl Step {
    /// What remains open: where a small offset is left alone, it is part of it.
    fn open_s(&self) -> f64 {
        self.known
            .standard_uncertainty_s
            .hypot(self.known.delay_s - self.applied_s)
    }
}

/// How far power and speed of each recording are out of step.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PowerDelays {
    /// One for each recording; empty where it is to be left as recorded.
    steps: Vec<Step>,
    given: bool,
    /// One offset for all recordings.
    shared: bool,
}

impl PowerDelays {
    /// `rides` are cut from `streams`, in which power stands as recorded.
    pub(super) fn of(day: &TestDay, passes: &[Pass], rides: &[PassRide], streams: &[Streams]) -> Self {
        if let Some(given) = day.power_delay_s {
            // A speed from another unit comes with what is open of its clock.
            let step = |s: &Streams| Step {
                known: Delay {
                    delay_s: given.value,
                    standard_uncertainty_s: given
                        .standard_uncertainty
                        .hypot(s.speed_clock_standard_uncertainty_s()),
                },
                applied_s: given.value,
            };
            return PowerDelays {
                steps: streams.iter().map(step).collect(),
                given: true,
                shared: true,
            };
        }
        if day.as_recorded.leaves(Treatment::PowerDelay) {
            return PowerDelays {
                steps: Vec::new(),
                given: false,
                shared: true,
            };
        }
        let (known, shared) = by_rides(day, passes, rides, streams);
        let steps = known.into_iter().map(|known| {
            let clear = known.delay_s.abs() > CLEAR * known.standard_uncertainty_s;
            let applies = clear && known.standard_uncertainty_s < SURE_S;
            Step {
                known,
                applied_s: if applies { known.delay_s } else { 0.0 },
            }
        });
        PowerDelays {
            steps: steps.collect(),
            given: false,
            shared,
        }
    }

    pub(super) fn told(&self) -> Vec<PowerDelay> {
        let told = |step: &Step| PowerDelay {
            delay_s: step.known.delay_s,
            standard_uncertainty_s: step.known.standard_uncertainty_s,
            applied_s: step.applied_s,
        };
        self.steps.iter().map(told).collect()
    }

    pub(super) fn moves_any(&self) -> bool {
        self.steps.iter().any(|step| step.applied_s != 0.0)
    }

    /// The recordings with their power moved to where it was made.
    pub(super) fn corrected<'a>(&self, streams: Cow<'a, [Streams]>) -> Cow<'a, [Streams]> {
        if !self.moves_any() {
            return streams;
        }
        let mut streams = streams.into_owned();
        for (s, step) in streams.iter_mut().zip(&self.steps) {
            if step.applied_s != 0.0 {
                s.power_w = s.power_earlier_w(step.applied_s);
            }
        }
        Cow::Owned(streams)
    }

    /// Root mean square over the rides of what remains open; `None` where nobody asks.
    pub(super) fn open_s(&self, passes: &[Pass], rides: &[PassRide]) -> Option<f64> {
        let squares = rides.iter().filter_map(|ride| {
            let step = self.steps.get(passes.get(ride.pass)?.recording)?;
            Some(step.open_s().powi(2))
        });
        let squares: Vec<f64> = squares.collect();
        (!squares.is_empty()).then(|| (squares.iter().sum::<f64>() / squares.len() as f64).sqrt())
    }

    /// What the output says of it.
    pub(super) fn sentence(&self) -> Option<String> {
        let first = self.steps.first()?;
        let Delay {
            delay_s,
            standard_uncertainty_s,
        } = first.known;
        Some(if self.given {
            format!(
                "Power comes {delay_s:+.2} ± {standard_uncertainty_s:.2} s later than the speed that it makes, as \
                 test.toml says, and is moved by that."
            )
        } else if self.shared && first.applied_s == 0.0 {
            format!(
                "Power and speed are taken as in step; the rides say {delay_s:+.2} ± {standard_uncertainty_s:.2} s, \
                 which is in the budget."
            )
        } else {
            "Power is moved to where the speed shows that it was made (see the warnings).".to_string()
        })
    }

    pub(super) fn warnings(&self, streams: &[Streams]) -> Vec<Warning> {
        if self.given {
            return Vec::new();
        }
        let told = |name: String, step: &Step| {
            let Delay {
                delay_s,
                standard_uncertainty_s,
            } = step.known;
            let (way, other) = if delay_s > 0.0 {
                ("later", "earlier")
            } else {
                ("earlier", "later")
            };
            Warning::new(
                "power delay",
                format!(
                    "{name}: power is stamped {:.1} ± {standard_uncertainty_s:.1} s {way} than the speed that it made; \
                     it is moved {other} by that",
                    delay_s.abs()
                ),
                "Switch off smoothing of power in the unit; write power_delay_s into [sensors] if you know it, or \
                 as_recorded = [\"power delay\"] to leave it.",
            )
        };
        let moved = self
            .steps
            .iter()
            .zip(streams)
            .filter(|(step, _)| step.applied_s != 0.0);
        let mut all: Vec<(String, &Step)> = moved.map(|(step, s)| (s.name(), step)).collect();
        if self.shared && all.len() > 1 {
            all.truncate(1);
            all[0].0 = "all recordings".to_string();
        }
        all.into_iter().map(|(name, step)| told(name, step)).collect()
    }
}

/// One offset for each recording, and whether it is the same for all: recordings of one day are mostly one unit's,
/// and then all of them together tell it better.
fn by_rides(day: &TestDay, passes: &[Pass], rides: &[PassRide], streams: &[Streams]) -> (Vec<Delay>, bool) {
    let worked: Vec<Worked> = streams.iter().map(Worked::of).collect();
    let recording = |ride: &PassRide| passes[ride.pass].recording;
    let seen: Vec<Option<Seen>> = rides
        .par_iter()
        .map(|ride| Seen::of(ride, &day.setups[ride.setup], &worked[recording(ride)]))
        .collect();
    let mut of_recording: Vec<Vec<Seen>> = vec![Vec::new(); streams.len()];
    for (ride, seen) in rides.iter().zip(seen) {
        of_recording[recording(ride)].extend(seen);
    }
    let together = delay(&of_recording.iter().flatten().collect::<Vec<_>>());
    if streams.len() < 2 {
        return (vec![together; streams.len()], true);
    }
    let told: Vec<Option<Delay>> = of_recording
        .iter()
        .map(|seen| (!seen.is_empty()).then(|| delay(&seen.iter().collect::<Vec<_>>())))
        .collect();
    let off = told
        .iter()
        .flatten()
        .map(|own| ((own.delay_s - together.delay_s) / own.standard_uncertainty_s).powi(2));
    let (count, squares) = off.fold((0.0, 0.0), |(n, sum), square| (n + 1.0, sum + square));
    let alike = |degrees: f64| ChiSquared::new(degrees).is_ok_and(|chance| chance.sf(squares) > ALIKE);
    if count < 2.0 || alike(count - 1.0) {
        return (vec![together; streams.len()], true);
    }
    (
        told.into_iter().map(|own| own.unwrap_or(together)).collect(),
        false,
    )
}
