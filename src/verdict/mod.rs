//! Estimates → difference, interval, verdict, flagged passes, still-air time, next step.

mod finding;

mod odd;

mod power;

mod road;

mod still_air;

mod stopwatch;

pub use finding::{About, At, Call, Estimated, Finding, LEVEL, Pair, STATED_SPEED_M_S, Worth, judge};
pub use odd::{OddPass, odd_passes};
pub use power::{blocks_to_resolve, chance_to_resolve};
pub use road::{Stretch, road};
pub use still_air::{StillAir, still_air_time_s};
pub use stopwatch::{AsRidden, Cause, Leg, Line, NoAccount, Stopwatch, stopwatch};
