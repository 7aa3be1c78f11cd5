//! What merely follows from something that could not be understood, and is therefore not told.

use super::context::Context;
use crate::diagnostics::Diagnostic;

/// What the findings of a rule are concluded from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Ground {
    /// The player's own notes in the bars of the finding and beside them.
    Player,
    /// The same, and how loud they are.
    Loudness,
    /// All that sounds in the bars of the finding.
    Together,
    /// All that sounds in these bars, and how loud it is.
    Strength,
    /// The whole scoring.
    Whole,
}

fn ground(code: &str) -> Ground {
    match code.split('/').next().unwrap_or(code) {
        "harmony" => Ground::Together,
        "balance" => Ground::Strength,
        "endurance" => Ground::Loudness,
        _ if matches!(code, "compass/high-and-loud" | "compass/does-not-carry") => Ground::Loudness,
        "agility" | "compass" | "natural-brass" | "notation" | "strings" => Ground::Player,
        _ => Ground::Whole,
    }
}

/// Does a finding only follow from something that could not be understood?
pub(super) fn follows(cx: &Context, finding: &Diagnostic) -> bool {
    let doubt = &cx.arrangement.doubt;
    if !doubt.any() {
        return false;
    }
    let index = |bar| cx.form.index_of(bar);
    let Some((first, last)) =
        finding.bars.and_then(|(first, last)| Some((index(first)?, index(last)?)))
    else {
        return true;
    };
    let player = finding.player.as_ref().and_then(|id| {
        cx.parts().find(|(_, part)| part.player.id == *id).map(|(player, _)| player)
    });
    // What a player does depends on what he did in the bar before, and on what comes.
    let around = (first.saturating_sub(1), last + 1);
    let own = player.is_none_or(|player| doubt.of_player(player, around));
    match ground(finding.code) {
        Ground::Player => own,
        Ground::Loudness => own || doubt.of_loudness(around),
        Ground::Together => doubt.in_bars((first, last)),
        // A passage that is covered is measured as a whole.
        Ground::Strength => doubt.in_bars(around) || doubt.of_loudness(around),
        Ground::Whole => true,
    }
}
