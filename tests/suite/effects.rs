//! What real rides do to the estimate: each effect hurts where nothing is done about it, and does little where the
//! program treats it. Days ridden twice, with the effect and without, all else being the same to the last bit.

mod of_a_kind;
mod paired;

mod disturbed;

mod riding;

mod roads;

mod yaw;

mod two_units;

mod positions;

mod heights;

mod length;
mod speed_positions;
mod track;

mod timing;

mod long_day;
mod power;
