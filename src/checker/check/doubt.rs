//! What merely follows from something that could not be understood, and is therefore not told.

use super::context::Context;
use super::{Grounds, nature};
use crate::diagnostics::Diagnostic;

/// Does a finding only follow from something that could not be understood?
pub(super) fn follows(cx: &Context, finding: &Diagnostic) -> bool {
    let doubt = &cx.arrangement.doubt;
    if !doubt.any() {
        return false;
    }
    let index = |bar| cx.form.index_of(bar);
    let Some((first, last)) =
        finding.bars.and_then(|bars| Some((index(bars.first)?, index(bars.last)?)))
    else {
        return true;
    };
    let player = finding.player.as_ref().and_then(|id| {
        cx.parts().find(|(_, part)| part.player.id == *id).map(|(player, _)| player)
    });
    // What a player does depends on what he did in the bar before, and on what comes.
    let around = (first.saturating_sub(1), last + 1);
    let own = player.is_none_or(|player| doubt.of_player(player, around));
    match nature(finding.code).0 {
        Grounds::Notes => own,
        Grounds::Loudness => own || doubt.of_loudness(around),
        Grounds::Together => doubt.in_bars((first, last)),
        // A passage that is covered is measured as a whole.
        Grounds::Strength => doubt.in_bars(around) || doubt.of_loudness(around),
        Grounds::Whole => true,
    }
}
