//! Passes → rides cut into cells, out of the recordings as they were set right.

use super::assign::Assigned;
use super::power_zero::PowerZeros;
use super::speed_scale::SpeedScales;
use super::track::OnTrack;
use super::{PassResult, Surveyed, day_notes, elevations, slow};
use crate::air::Air;
use crate::course::Pass;
use crate::estimate::cells::{CELLS_OF_A_TRACK, Ground, PassRide, cell_count, cut};
use crate::physics::gravity_m_s2;
use crate::streams::Streams;
use crate::treatment::Treatment;
use rayon::prelude::*;

/// What is known of the day beside its passes.
pub(super) struct Cutting<'a> {
    pub assigned: &'a Assigned,
    pub airs: &'a [Air],
    pub zeros: &'a PowerZeros,
    pub speed_scales: &'a SpeedScales,
    pub on_track: Option<&'a OnTrack>,
}

impl Cutting<'_> {
    /// The passes that count; the results of all passes come with their flags.
    pub fn rides(&self, surveyed: &Surveyed, streams: &[Streams]) -> (Vec<PassRide>, Vec<PassResult>) {
        let length_m = surveyed.ridden.course.length_m();
        let counts = |index: usize| {
            let place = &self.assigned.passes[index];
            place.setup.is_some() && place.left_out.is_none()
        };
        let counted = (0..self.assigned.passes.len()).filter(|i| counts(*i)).count();
        let noted_at_s = self.noted_at_s(surveyed);
        let of_pass = |(index, pass): (usize, &Pass)| {
            let place = &self.assigned.passes[index];
            let mut flags = pass.flags.clone();
            if let Some(reason) = &place.left_out {
                flags.push(format!("left out: {reason}"));
            }
            let mut fitted = None;
            let mut fitted_m = Vec::new();
            if counts(index) && place.block.is_some() {
                let parts_m = self.assigned.parts_m(index, length_m);
                let all_m: f64 = parts_m.iter().map(|(from, to)| to - from).sum();
                let cells = if surveyed.test_day.on_a_track() {
                    CELLS_OF_A_TRACK
                } else {
                    cell_count(all_m, counted)
                };
                match self.ride(surveyed, streams, index, &parts_m, cells, &noted_at_s) {
                    Some(Ok(ride)) => {
                        fitted_m = parts_m;
                        fitted = Some(ride);
                    }
                    Some(Err(reason)) => flags.push(format!("not fitted: {reason}")),
                    None => {}
                }
            }
            let result = PassResult {
                pass: index,
                block: place.block.map(|b| b + 1),
                setup: place.setup,
                kept: fitted.is_some(),
                fitted_m,
                flags,
                cda_m2: None,
                left_out_cda_m2: None,
                both: None,
                still_air_time_s: None,
                judged: None,
                elevation: None,
            };
            (fitted, result)
        };
        let all = surveyed.ridden.passes.par_iter().enumerate().map(of_pass);
        let (rides, results): (Vec<Option<PassRide>>, Vec<PassResult>) = all.unzip();
        let mut rides: Vec<PassRide> = rides.into_iter().flatten().collect();
        slow::place(&mut rides, surveyed, self.airs);
        (rides, results)
    }

    /// Every pass with a set-up in short pieces from gate to gate, in the order of the passes; one that cannot be cut
    /// is missing.
    pub fn whole(&self, surveyed: &Surveyed, streams: &[Streams]) -> Vec<PassRide> {
        let length_m = surveyed.ridden.course.length_m();
        let parts_m = [(0.0, length_m)];
        let passes = surveyed.ridden.passes.len();
        let noted_at_s = self.noted_at_s(surveyed);
        let in_pieces = |index: usize, pieces: usize| {
            self.ride(surveyed, streams, index, &parts_m, pieces, &noted_at_s)?
                .ok()
        };
        // Where power is missing for a few seconds, longer pieces still have some.
        let (short, long) = (elevations::pieces(length_m), cell_count(length_m, passes));
        let mut rides: Vec<PassRide> = (0..passes)
            .into_par_iter()
            .filter_map(|index| in_pieces(index, short).or_else(|| in_pieces(index, long)))
            .collect();
        slow::place(&mut rides, surveyed, self.airs);
        rides
    }

    /// When what was noted before each block was read.
    fn noted_at_s(&self, surveyed: &Surveyed) -> Vec<Option<f64>> {
        let (day, ridden) = (&surveyed.test_day, &surveyed.ridden);
        let blocks = 0..day.blocks.len();
        blocks
            .map(|number| self.assigned.noted_at_s(day, ridden, number))
            .collect()
    }

    /// `None` for a pass without a set-up.
    fn ride(
        &self,
        surveyed: &Surveyed,
        all_streams: &[Streams],
        index: usize,
        parts_m: &[(f64, f64)],
        cells: usize,
        noted_at_s: &[Option<f64>],
    ) -> Option<Result<PassRide, String>> {
        let pass = surveyed.ridden.passes.get(index)?;
        let place = self.assigned.passes.get(index)?;
        let (setup, block) = (place.setup?, place.block?);
        let course = &surveyed.ridden.course;
        let streams = all_streams.get(pass.recording)?;
        let middle_s = 0.5 * (pass.start_s + pass.end_s);
        let height_m = streams.altitude_at(middle_s).unwrap_or(0.0);
        let ground = Ground {
            streams,
            course,
            air: self.airs.get(pass.recording)?.at(middle_s),
            gravity_m_s2: gravity_m_s2(course.line.start_deg()[0], height_m),
            cells,
            bends: self.on_track.map(|on_track| on_track.bends),
            speed_as_by_wheel: surveyed.test_day.as_recorded.leaves(Treatment::NoiseOfSpeed),
            surfaces: surveyed.test_day.surfaces_that_count(),
            speed_scale: self.speed_scales.factors[setup],
            parts_m,
        };
        Some(cut(&ground, pass, index, setup, block).map(|mut ride| {
            day_notes::hand_over(&mut ride, &surveyed.test_day, self.zeros, noted_at_s);
            ride
        }))
    }
}
