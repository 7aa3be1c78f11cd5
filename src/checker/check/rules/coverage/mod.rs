//! Rules about the voices of the source: whether somebody plays them.

pub mod filling_left_out;
mod gaps;
mod handover;
pub mod mid_phrase;
pub mod up_beat_left;
pub mod voice_left_out;
