//! Many notes of one cause gathered to one finding.

use super::context::Context;
use super::{Finding, Findings, Rule, Sharer, words};
use crate::arrange::{LineId, PackedNote, Part};
use crate::diagnostics::{BarNumbers, Diagnostic, Span};
use crate::music::Pitch;
use crate::resolve::BarIndices;

/// Ranges of bars that an `allow` line names one by one before it takes them as one. (Our
/// heuristic.)
const MOST_RANGES: usize = 8;

/// Notes of one player that one scoring line gives him and that offend against one rule.
pub(super) struct Passage<'a, T> {
    pub player: usize,
    pub part: &'a Part,
    pub line: LineId,
    /// The kind of cause, as the rule counts them.
    pub kind: u8,
    /// Indices of the notes in the part, each with what the rule has to say of it.
    pub offences: Vec<(usize, T)>,
    /// The bars touched.
    pub bars: Vec<BarNumbers>,
}

impl<'a, T> Passage<'a, T> {
    pub fn notes(&self) -> impl Iterator<Item = &'a PackedNote> + '_ {
        self.offences.iter().filter_map(|(note, _)| self.part.notes.get(*note))
    }

    /// The first note that offends.
    pub fn first(&self) -> &'a PackedNote {
        &self.part.notes[self.offences[0].0]
    }

    /// What the rule says of the first note.
    pub fn detail(&self) -> &T {
        &self.offences[0].1
    }

    /// ", and 7 more notes in bars 3 to 5", or nothing for a single note.
    pub fn and_more(&self) -> String {
        match self.offences.len() {
            0 | 1 => String::new(),
            2 => format!(", and one more note ({})", words::bars(&self.bars)),
            many => format!(", and {} more notes ({})", many - 1, words::bars(&self.bars)),
        }
    }

    /// The verb that agrees with "written G5 … and 7 more notes".
    pub fn verb(&self, one: &'static str, many: &'static str) -> &'static str {
        if self.offences.len() > 1 { many } else { one }
    }
}

impl<'a> Context<'a> {
    /// Gathers offending notes of a player, line by line, leaving out what is allowed.
    pub fn passages<T>(
        &self,
        rule: &Rule,
        player: usize,
        offences: Vec<(usize, T)>,
    ) -> Vec<Passage<'a, T>> {
        self.passages_by(rule, player, offences, |_| 0)
    }

    /// The same, with causes of different kinds kept apart.
    pub fn passages_by<T>(
        &self,
        rule: &Rule,
        player: usize,
        offences: Vec<(usize, T)>,
        kind: impl Fn(&T) -> u8,
    ) -> Vec<Passage<'a, T>> {
        let part = self.part(player);
        let mut offences = offences;
        offences.retain(|(index, _)| {
            let bar = self.bar(&part.notes[*index]);
            !self.allowed(rule.code, Some(player), BarIndices::one(bar))
        });
        let what = |(index, detail): &(usize, T)| (part.line_of(&part.notes[*index]), kind(detail));
        let new = |(line, kind), offences| Passage {
            player,
            part,
            line,
            kind,
            offences,
            bars: Vec::new(),
        };
        let Some(first) = offences.first().map(what) else { return Vec::new() };
        let mut passages: Vec<Passage<T>> = if offences.iter().all(|one| what(one) == first) {
            // They may be very many: mostly they are one passage, and stay where they are.
            vec![new(first, offences)]
        } else {
            let mut passages: Vec<Passage<T>> = Vec::new();
            for offence in offences {
                let key = what(&offence);
                let same = |passage: &&mut Passage<T>| (passage.line, passage.kind) == key;
                match passages.iter_mut().find(same) {
                    Some(passage) => passage.offences.push(offence),
                    None => passages.push(new(key, vec![offence])),
                }
            }
            passages
        };
        for passage in &mut passages {
            for (index, _) in &passage.offences {
                let numbers = self.bars_of(&part.notes[*index]);
                numbers.for_each(|number| BarNumbers::add(&mut passage.bars, number));
            }
        }
        passages
    }

    /// A finding about a passage, with the chain from the note over the scoring line to the
    /// ensemble line.
    pub fn finding<T>(
        &self,
        rule: &Rule,
        passage: &Passage<T>,
        message: impl Into<String>,
    ) -> Diagnostic {
        let first = passage.first();
        let mut finding = self.chain(rule, passage.player, first, message);
        finding.bars = BarNumbers::around(&passage.bars).or(finding.bars);
        finding
    }

    /// The finding with the line of the ensemble that set the figure of the rule, if one did.
    fn with_limit(&self, rule: &Rule, finding: Diagnostic) -> Diagnostic {
        match self.limit_set(rule) {
            Some(set) => {
                finding.with_label(set.value_span, format!("the limit set: {}", set.reason))
            }
            None => finding,
        }
    }

    /// A finding about a note, with the chain from the note over the scoring line to the ensemble
    /// line.
    pub fn chain(
        &self,
        rule: &Rule,
        player: usize,
        note: &PackedNote,
        message: impl Into<String>,
    ) -> Diagnostic {
        let part = self.part(player);
        let first = self.number(self.bar(note));
        let last = self.bars_of(note).last().unwrap_or(first);
        let sounds = match note.sound().pitches() {
            [] => "the stroke".to_string(),
            [pitch] => format!("the note, for this player {}", self.both(part, *pitch, note)),
            [.., top] => {
                format!("the chord, for this player up to {}", self.both(part, *top, note))
            }
        };
        let finding = Diagnostic::new(rule.severity, rule.code, note.source(), message)
            .with_text(sounds)
            .with_label(
                self.line_span(part.line_of(note)),
                format!("this line gives it to {}", part.player.name),
            )
            .with_label(part.player.span, format!("{} in {}", part.player.name, self.era))
            .with_bars(first, last)
            .with_player(&part.player.id);
        self.with_limit(rule, finding)
    }

    /// A pitch as the player reads it and as it sounds: "E5", or "written E5 (sounding D5)".
    pub fn both(&self, part: &Part, sounding: Pitch, note: &PackedNote) -> String {
        let written = part.written(sounding, note.start());
        if written == sounding {
            sounding.to_string()
        } else {
            format!("written {written} (sounding {sounding})")
        }
    }

    /// Adds a change that allows the finding, for the arranger who means it.
    pub fn with_allow(&self, finding: Diagnostic, line: LineId) -> Diagnostic {
        match finding.bars {
            Some(bars) => self.allowing(finding, line, &[bars]),
            None => finding,
        }
    }

    /// The same for a passage, in its bars only.
    pub fn with_allow_for<T>(&self, finding: Diagnostic, passage: &Passage<T>) -> Diagnostic {
        let whole = BarNumbers::around(&passage.bars);
        // A finding that speaks of other bars than its notes is allowed in those.
        if finding.bars == whole && passage.bars.len() <= MOST_RANGES {
            self.allowing(finding, passage.line, &passage.bars)
        } else {
            self.with_allow(finding, passage.line)
        }
    }

    fn allowing(&self, finding: Diagnostic, line: LineId, bars: &[BarNumbers]) -> Diagnostic {
        let Some(player) = &finding.player else { return finding };
        let text = allow_line(finding.code, &[player], bars);
        let before = self.line_span(line).before();
        finding.with_reason("allow it, with your reason", before, text, bars)
    }
}

/// The line that lets a finding about some players stand in some bars, before the line that it is
/// about.
pub(super) fn allow_line(code: &str, players: &[&str], bars: &[BarNumbers]) -> String {
    let ranges: Vec<String> = bars.iter().map(ToString::to_string).collect();
    format!("allow {code} on {} bars {} \"say why\"\n  ", players.join(", "), ranges.join(", "))
}

impl Findings {
    /// Puts down a finding about a scoring line.
    pub fn push_line(&mut self, cx: &Context, line: LineId, diagnostic: Diagnostic) {
        self.push_at(Some(cx.line_span(line)), diagnostic);
    }

    /// The same, where the line is known by its place.
    pub fn push_at(&mut self, line: Option<Span>, diagnostic: Diagnostic) {
        self.0.push(Finding { diagnostic, line, kind: 0, others: Vec::new() });
    }

    /// The same about a passage, with its kind of cause.
    pub fn push_passage<T>(&mut self, cx: &Context, passage: &Passage<T>, diagnostic: Diagnostic) {
        let line = Some(cx.line_span(passage.line));
        self.0.push(Finding { diagnostic, line, kind: passage.kind, others: Vec::new() });
    }

    /// The same about a passage that other players share.
    pub fn push_shared<T>(
        &mut self,
        cx: &Context,
        passage: &Passage<T>,
        others: Vec<Sharer>,
        diagnostic: Diagnostic,
    ) {
        let line = Some(cx.line_span(passage.line));
        self.0.push(Finding { diagnostic, line, kind: passage.kind, others });
    }
}
