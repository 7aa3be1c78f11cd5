//! Rules about the voices of the source: whether somebody plays them.

mod gaps;
pub mod filling_left_out;
pub mod up_beat_left;
pub mod voice_left_out;
