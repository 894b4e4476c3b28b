//! Estimates → difference, interval, verdict, flagged passes, still-air time, next step.

mod agreement;

mod doubt;

mod finding;

mod looks;

mod power;

mod road;

mod still_air;

mod stopwatch;

pub use agreement::{Agreement, agreement};
pub use doubt::{
    LARGEST_PERCENT, NullTest, as_null_test, change_if_all_drag_percent, stopwatch_misleads, too_good,
};
pub use finding::{About, At, Call, Estimated, Finding, LEVEL, Pair, STATED_SPEED_M_S, Worth, judge};
pub use looks::{Look, Looks, Says, Schedule};
pub use power::{blocks_to_resolve, chance_to_resolve};
pub use road::{Stretch, reversed, road};
pub use still_air::{StillAir, still_air_time_s};
pub use stopwatch::{AsRidden, Cause, Leg, Line, NoAccount, Stopwatch, stopwatch, with_other_drag};
