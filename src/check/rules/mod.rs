//! The table of rules. One rule, one file; the folders are the families.

mod allow;
mod compass;
mod names;

pub(super) use allow::{unknown_rule as allow_unknown_rule, unused as allow_unused};

use super::Rule;

/// All rules, family by family.
pub const RULES: &[Rule] = &[
    allow::unknown_rule::RULE,
    allow::unused::RULE,
    compass::beyond_instrument::RULE,
    compass::outside_custom::RULE,
    names::idle_player::RULE,
    names::unused_voice::RULE,
];
