//! What an instrument has, what its players were asked, and what is heard.

pub mod beyond_instrument;
pub mod does_not_carry;
pub mod high_and_loud;
pub mod not_yet_built;
pub mod outside_custom;
pub mod player_rank;
