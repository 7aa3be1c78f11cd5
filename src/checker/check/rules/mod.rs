//! The table of rules. One rule, one file; the folders are the families.

mod agility;
mod allow;
mod balance;
mod compass;
mod coverage;
mod economy;
mod endurance;
mod harmony;
mod limits;
mod lyrics;
mod names;
mod natural_brass;
mod notation;
mod strings;

pub(super) use allow::{unknown_rule as allow_unknown_rule, unused as allow_unused};
pub use balance::{Heard, heard_at};
pub(super) use harmony::Doubled;
pub(super) use limits::no_effect as limits_no_effect;

use super::Rule;

/// All rules, family by family.
pub const RULES: &[Rule] = &[
    agility::bass_run::RULE,
    agility::drum_sticking::RULE,
    agility::grasp::RULE,
    agility::impossible_trill::RULE,
    agility::leap::RULE,
    agility::no_time_to_take::RULE,
    agility::pedals::RULE,
    agility::slide::RULE,
    agility::too_fast::RULE,
    allow::unknown_rule::RULE,
    allow::unused::RULE,
    balance::bass_thin::RULE,
    balance::melody_covered::RULE,
    balance::one_colour::RULE,
    compass::beyond_instrument::RULE,
    compass::does_not_carry::RULE,
    compass::high_and_loud::RULE,
    compass::not_yet_built::RULE,
    compass::outside_custom::RULE,
    compass::player_rank::RULE,
    coverage::filling_left_out::RULE,
    coverage::mid_phrase::RULE,
    coverage::up_beat_left::RULE,
    coverage::voice_left_out::RULE,
    economy::nothing_new::RULE,
    economy::overused::RULE,
    endurance::lips::RULE,
    endurance::loud_for_long::RULE,
    endurance::no_breath::RULE,
    harmony::below_bass::RULE,
    harmony::contradicts::RULE,
    harmony::cross_relation::RULE,
    harmony::crossing::RULE,
    harmony::doubled_leading_note::RULE,
    harmony::doubled_seventh::RULE,
    harmony::muddy::RULE,
    harmony::parallels::RULE,
    harmony::unresolved_seventh::RULE,
    limits::no_effect::RULE,
    lyrics::no_words::RULE,
    names::idle_player::RULE,
    names::unused_voice::RULE,
    natural_brass::drum_not_tuned::RULE,
    natural_brass::no_partial::RULE,
    natural_brass::no_time_to_change::RULE,
    natural_brass::out_of_tune::RULE,
    natural_brass::risky_note::RULE,
    natural_brass::second_player_high::RULE,
    natural_brass::stopped::RULE,
    notation::ledger_lines::RULE,
    notation::no_such_way::RULE,
    notation::ragged_end::RULE,
    notation::typed_as_written::RULE,
    notation::worse_key::RULE,
    strings::divisi::RULE,
    strings::double_stop::RULE,
    strings::no_time_to_change::RULE,
    strings::slur_too_long::RULE,
];
