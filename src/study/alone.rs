//! What a pass says by itself: where its drag area and rolling resistance can lie together, and what one that is left
//! out would have said.

use super::PassResult;
use crate::estimate::both::both;
use crate::estimate::cells::{PassRide, Shift, accounts, ride_rig};
use crate::estimate::plain::{Averages, Day, pass_drag};
use crate::estimate::rolling::Rolling;

/// Fills `both` of the day's rides, and `left_out_cda_m2` of those left out.
pub(super) fn beside(
    left_out: &[PassRide],
    day: &Day,
    averages: &Averages,
    rolling: &Rolling,
    passes: &mut [PassResult],
) {
    for ride in day.rides {
        let setup = &day.setups[ride.setup];
        passes[ride.pass].both = both(ride, setup, day.course_length_m, rolling, averages.spread_ratio);
    }
    for ride in left_out {
        let setup = &day.setups[ride.setup];
        let account = accounts(ride, setup, day.course_length_m, &Shift::default());
        let mass = ride_rig(ride, setup, &Shift::default()).effective_mass_kg();
        let crr = setup.crr.value + rolling.shift;
        passes[ride.pass].left_out_cda_m2 = pass_drag(ride, &account, mass, rolling.gust_q_m2_s, crr)
            .map(|fit| (fit.cda_m2, averages.spread_ratio * fit.standard_uncertainty_m2));
    }
}
