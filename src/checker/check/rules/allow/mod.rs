//! About the `allow` lines themselves.

pub mod unknown_rule;
pub mod unused;
