//! A measured lap whose bends the rider leans in.

use super::Surveyed;
use crate::estimate::bends::Bends;
use crate::physics::{Lean, Track, gravity_m_s2};
use crate::test_day::LapGiven;
use crate::treatment::Treatment;

/// The curve of a usual bend grows over so much of the lap (from memory, M: some ten metres on 250 m).
const TRANSITION_SHARE: f64 = 0.05;

/// The bends of the day's course, and how well what they do is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnTrack {
    pub bends: Bends,
    /// Of what the centre of mass loses on the wheels, relative: its height, and the radius of the bends.
    pub lean_standard_uncertainty: f64,
    /// As the passes were ridden, on the average.
    wheel_speed_m_s: f64,
    gravity_m_s2: f64,
}

impl OnTrack {
    /// `None`: no lap was measured, it is no track, or the lean is to be left out.
    pub(super) fn of(surveyed: &Surveyed) -> Option<OnTrack> {
        let course = &surveyed.ridden.course;
        let lap = surveyed.test_day.course?.lap.filter(LapGiven::is_track)?;
        if surveyed.test_day.as_recorded.leaves(Treatment::LeanInBends) {
            return None;
        }
        let track = Track {
            lap_length_m: lap.length_m.value,
            bend_radius_m: lap.bend_radius_m.value,
            transition_m: TRANSITION_SHARE * lap.length_m.value,
        };
        let height = lap.centre_of_mass_height_m;
        let bends = Bends::of(&course.line, track, height.value);
        let passes = &surveyed.ridden.passes;
        let seconds: f64 = passes.iter().map(|pass| pass.duration_s()).sum();
        let wheel_speed_m_s = course.length_m() * passes.len() as f64 / seconds;
        let gravity_m_s2 = gravity_m_s2(course.line.start_deg()[0], 0.0);
        let lean = Lean::at(
            wheel_speed_m_s,
            1.0 / track.bend_radius_m,
            height.value,
            gravity_m_s2,
        );
        // Both bends turn by 2π together whatever their radius, so a tighter one only leans the rider more:
        // d ln sin φ / d ln R = −cos² φ.
        let of_radius =
            lean.lean_rad.cos().powi(2) * lap.bend_radius_m.standard_uncertainty / lap.bend_radius_m.value;
        Some(OnTrack {
            bends,
            lean_standard_uncertainty: of_radius.hypot(height.standard_uncertainty / height.value),
            wheel_speed_m_s,
            gravity_m_s2,
        })
    }

    /// What the numbers rest on.
    pub(super) fn sentence(&self) -> String {
        let Bends {
            track,
            centre_height_m,
            ..
        } = self.bends;
        let (drag, load) = track.lap_means(self.wheel_speed_m_s, centre_height_m, self.gravity_m_s2);
        format!(
            "In the bends (radius {:.1} m) the rider leans: over a lap drag takes {:.1} % less and rolling {:.0} % more \
             than upright at the wheels' speed; still-air times leave this out.",
            track.bend_radius_m,
            100.0 * (1.0 - drag),
            100.0 * (load - 1.0)
        )
    }
}
