//! A tune that passes from one player or group to another: what the rules about it share.

use crate::arrange::VoiceCoverage;
use crate::check::context::Context;
use crate::check::{Rule, words};
use crate::diagnostics::Diagnostic;
use crate::resolve::{BarIndices, Note, Role};

/// The tunes of the scoring that are handed over somewhere, each with its notes.
pub(super) fn tunes<'a>(
    cx: &'a Context,
) -> impl Iterator<Item = (&'a VoiceCoverage, Vec<Note>)> + use<'a> {
    let tune = |found: &&VoiceCoverage| {
        found.role == Some(Role::Melody) && found.played && found.is_handed_over()
    };
    let all = cx.coverage().iter().map(|found| &**found).filter(tune);
    all.map(|found| (found, cx.piece.voices[found.voice].music.notes.to_vec()))
}

/// A place where a tune passes on.
pub(super) struct Handover<'a> {
    pub found: &'a VoiceCoverage,
    /// The note that is taken over.
    pub note: &'a Note,
    /// Who had the note before it, and who takes over.
    pub from: &'a [u16],
    pub to: &'a [u16],
    /// The bars of which it speaks.
    pub bars: BarIndices,
}

impl Handover<'_> {
    /// The finding, unless it is allowed, or what is there is in doubt, or nobody takes the note
    /// over as a tune (accompaniments may change hands at a bar line).
    pub fn finding(
        &self,
        cx: &Context,
        rule: &Rule,
        message: impl FnOnce(&Names) -> String,
    ) -> Option<Diagnostic> {
        let at = self.note.start;
        let sings = |player: &usize| {
            let notes = &cx.part(*player).notes;
            let index = notes.partition_point(|note| note.start() < at);
            notes
                .get(index)
                .is_some_and(|note| note.source() == self.note.span && note.role() == Role::Melody)
        };
        let player = self.to.iter().map(|player| usize::from(*player)).find(sings)?;
        if cx.arrangement.doubt.in_bars(self.bars) || cx.allowed(rule.code, Some(player), self.bars)
        {
            return None;
        }
        let part = cx.part(player);
        let claim = part.claims.iter().find(|claim| claim.holds(at));
        let span = claim.map_or(cx.arrangement.scoring.span, |claim| cx.line_span(claim.line));
        let list = |players: &[u16]| {
            let name = |player: &u16| cx.part(usize::from(*player)).player.name.as_str();
            let all: Vec<&str> = players.iter().map(name).collect();
            words::list(&all, "and")
        };
        let many = self.to.len() > 1 || words::is_plural(&cx.part(usize::from(self.to[0])).player);
        let names = Names {
            take: format!(
                "{} {} over the tune `{}`",
                list(self.to),
                if many { "take" } else { "takes" },
                cx.piece.voices[self.found.voice].name
            ),
            from: list(self.from),
        };
        let numbers = self.bars.numbers(cx.form)?;
        Some(
            Diagnostic::new(rule.severity, rule.code, span, message(&names))
                .with_bars(numbers.first, numbers.last)
                .with_player(&part.player.id),
        )
    }
}

/// How a finding names those who take part.
pub(super) struct Names {
    /// "Oboe 1 takes over the tune `upper`".
    pub take: String,
    /// Those who had it before.
    pub from: String,
}
