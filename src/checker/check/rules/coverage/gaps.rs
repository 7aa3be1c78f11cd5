//! The notes of a voice that nobody plays, gathered to one finding a voice.

use std::collections::BTreeMap;

use crate::arrange::VoiceCoverage;
use crate::check::context::Context;
use crate::check::{Findings, Rule, words};
use crate::diagnostics::{BarNumbers, Diagnostic};
use crate::music::Time;
use crate::resolve::{BarIndices, Note, Role, Verb};

/// Reports the gaps of all voices, where the role that they have there is wanted.
pub(super) fn tell(
    cx: &Context,
    findings: &mut Findings,
    rule: &Rule,
    wanted: impl Fn(&VoiceCoverage, Option<Role>) -> bool,
) {
    // In a scoring that plays no voice at all, something else is meant.
    if !cx.lines().any(|(_, line)| matches!(line.verb, Verb::Plays { .. })) {
        return;
    }
    for found in cx.coverage() {
        if found.notes().any(<[u16]>::is_empty) {
            voice(cx, findings, rule, found, &wanted);
        }
    }
}

/// When the lines of a scoring play a voice, by the role that they give it: from which times on, and how
/// long the longest of those that have begun plays on.
struct Roles<'a> {
    found: &'a VoiceCoverage,
    times: BTreeMap<Role, Vec<(Time, Time)>>,
}

impl<'a> Roles<'a> {
    fn new(cx: &Context, found: &'a VoiceCoverage) -> Roles<'a> {
        let mut times: BTreeMap<Role, Vec<(Time, Time)>> = BTreeMap::new();
        for (_, line) in cx.lines() {
            if let Verb::Plays { voice, .. } | Verb::Realises { voice } = &line.verb
                && *voice == found.voice
            {
                times.entry(line.role.unwrap_or(Role::Harmony)).or_default().extend(&line.times);
            }
        }
        for times in times.values_mut() {
            times.sort_unstable();
            for at in 1..times.len() {
                times[at].1 = times[at].1.max(times[at - 1].1);
            }
        }
        Roles { found, times }
    }

    /// The role of the voice around a note that is missing: that of the nearest lines of this scoring
    /// which play it, the weightiest of them, or of all others where none does.
    fn near(&self, note: &Note) -> Option<Role> {
        let nearest = self.times.iter().filter_map(|(role, times)| {
            let after = times.partition_point(|(from, _)| *from <= note.start);
            let before =
                after.checked_sub(1).map(|last| note.start - times[last].1.min(note.start));
            let behind = times.get(after).map(|(from, _)| *from - note.start);
            Some((before.into_iter().chain(behind).min()?, *role))
        });
        nearest.min().map_or(self.found.role, |(_, role)| Some(role))
    }
}

fn voice(
    cx: &Context,
    findings: &mut Findings,
    rule: &Rule,
    found: &VoiceCoverage,
    wanted: &impl Fn(&VoiceCoverage, Option<Role>) -> bool,
) {
    let (voice, roles) = (&cx.piece.voices[found.voice], Roles::new(cx, found));
    let bar_of = |note: &Note| cx.form.index_at(note.start);
    let here = |note: &Note| BarIndices::one(bar_of(note));
    let left: Vec<(usize, Note)> = voice
        .music
        .notes
        .iter()
        .enumerate()
        .zip(found.notes())
        .filter(|(_, players)| players.is_empty())
        .map(|(note, _)| note)
        .filter(|(_, note)| wanted(found, roles.near(note)))
        .filter(|(_, note)| !cx.arrangement.doubt.in_bars(here(note)))
        .filter(|(_, note)| !cx.allowed(rule.code, None, here(note)))
        .collect();
    let (Some((index, first)), Some((_, last))) = (left.first(), left.last()) else { return };
    let mut bars = Vec::new();
    for (_, note) in &left {
        BarNumbers::add(&mut bars, cx.form.bars[bar_of(note)].number);
    }
    let what = match roles.near(first) {
        Some(Role::Melody) => "tune ",
        Some(Role::Bass) => "bass ",
        _ => "voice ",
    };
    let scoring = &cx.arrangement.scoring.name;
    let whole = left.len() == voice.music.notes.len();
    let message = if whole {
        format!("The {what}`{}` is not played in the scoring `{scoring}`.", voice.name)
    } else {
        let where_to = words::bars(&bars);
        format!(
            "The {what}`{}` is not played in {where_to} of the scoring `{scoring}`.",
            voice.name
        )
    };
    // The line that plays the voice last before it falls silent.
    let lines = cx.lines().filter_map(|(_, line)| match &line.verb {
        Verb::Plays { voice, span, .. } if *voice == found.voice => Some((line, *span)),
        _ => None,
    });
    let near = lines.min_by_key(|(line, _)| {
        let ends = line.times.iter().map(|(_, to)| cx.form.index_at(*to).abs_diff(bar_of(first)));
        ends.min().unwrap_or(usize::MAX)
    });
    let span = near.map_or(cx.arrangement.scoring.span, |(_, span)| span);
    let joined = |before: Note| before.start + before.length == first.start;
    let in_mid_phrase = *index > 0
        && !found.players(index - 1).is_empty()
        && voice.music.notes.get(index - 1).is_some_and(joined);
    let label = if in_mid_phrase {
        "the first note that is missing: the phrase breaks off here"
    } else {
        "the first note that is missing"
    };
    let mut finding = Diagnostic::new(rule.severity, rule.code, span, message)
        .with_label(first.span, label)
        .with_bars(cx.form.bars[bar_of(first)].number, cx.form.bars[bar_of(last)].number);
    if near.is_some() {
        finding = finding.with_text("this line plays the voice elsewhere");
    }
    let number = |note: &Note| cx.form.bars[bar_of(note)].number;
    let range = if number(first) == number(last) {
        number(first).to_string()
    } else {
        format!("{}..{}", number(first), number(last))
    };
    findings.push(finding.with_help(format!(
        "Let somebody play it (`… plays {} bars {range} as …`), or write `allow {}` with the reason why it is left out.",
        voice.name, rule.code
    )));
}
