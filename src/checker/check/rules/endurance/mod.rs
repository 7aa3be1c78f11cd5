//! Breath, lips and ears.
//!
//! None of these rules measures anybody: how long a breath or a lip lasts, and how much sound an
//! ear should take, the players and the local rules against noise at work decide.

pub mod lips;
pub mod loud_for_long;
pub mod no_breath;
