//! What an instrument has, and what its players were asked.

pub mod beyond_instrument;
pub mod outside_custom;
