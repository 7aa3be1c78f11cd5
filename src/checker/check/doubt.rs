//! What merely follows from something that could not be understood, and is therefore not told.

use super::context::Context;
use super::{Grounds, nature};
use crate::diagnostics::Diagnostic;
use crate::resolve::BarIndices;

/// Does a finding only follow from something that could not be understood?
pub(super) fn follows(cx: &Context, finding: &Diagnostic) -> bool {
    let doubt = &cx.arrangement.doubt;
    if !doubt.any() {
        return false;
    }
    let bars = finding.bars.and_then(|bars| BarIndices::of_numbers(cx.form, bars));
    let Some(bars) = bars else {
        return true;
    };
    let player = finding.player.as_ref().and_then(|id| {
        cx.parts().find(|(_, part)| part.player.id == *id).map(|(player, _)| player)
    });
    // What a player does depends on what he did in the bar before, and on what comes.
    let around = bars.with_neighbours();
    let own = player.is_none_or(|player| doubt.of_player(player, around));
    match nature(finding.code).0 {
        Grounds::Notes => own,
        Grounds::Loudness => own || doubt.of_loudness(around),
        Grounds::Together => doubt.in_bars(bars),
        // A passage that is covered is measured as a whole.
        Grounds::Strength => doubt.in_bars(around) || doubt.of_loudness(around),
        Grounds::Whole => true,
    }
}
