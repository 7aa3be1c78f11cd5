//! About the `limits` lines themselves.

pub mod no_effect;
