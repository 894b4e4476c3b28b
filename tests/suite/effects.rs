//! What real rides do to the estimate: each effect hurts where nothing is done about it, and does little where the
//! program treats it. Days ridden twice, with the effect and without, all else being the same to the last bit.

mod paired;
mod power;

mod disturbed;
mod length;
mod positions;
mod track;
