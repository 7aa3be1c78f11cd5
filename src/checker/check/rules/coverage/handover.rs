//! A tune that passes from one player or group to another: what the rules about it share.

use crate::arrange::{PackedNote, VoiceCoverage};
use crate::check::context::Context;
use crate::check::{Rule, words};
use crate::diagnostics::{Diagnostic, Span};
use crate::music::Time;
use crate::resolve::{BarIndices, Note, Role, Verb};

/// The tunes of the scoring that are handed over somewhere, each with its notes.
pub(super) fn tunes<'a>(
    cx: &'a Context,
) -> impl Iterator<Item = (&'a VoiceCoverage, Vec<Note>)> + use<'a> {
    let tune = |found: &&VoiceCoverage| {
        found.role == Some(Role::Melody)
            && found.played
            && found.is_handed_over(|player| may_have(cx, usize::from(player), found.voice))
    };
    let all = cx.coverage().iter().map(|found| &**found).filter(tune);
    all.map(|found| (found, cx.piece.voices[found.voice].music.notes.to_vec()))
}

/// Has a player a line that may give him the tune of a voice?
fn may_have(cx: &Context, player: usize, tune: usize) -> bool {
    cx.part(player).claims.iter().filter_map(|claim| cx.line(claim.line)).any(|line| {
        match line.verb {
            Verb::Plays { voice, .. } | Verb::Realises { voice } => voice == tune,
            Verb::Doubles { .. } | Verb::Writes(_) => true,
            _ => false,
        }
    })
}

/// Who plays a note of a tune as the tune: those whose note comes from the voice, and those who write the tune out as
/// melody. Who holds a chord, plays the bass or another voice has a note of that name by chance.
pub(super) fn players(
    cx: &Context,
    found: &VoiceCoverage,
    notes: &[Note],
    index: usize,
) -> Vec<u16> {
    let note = &notes[index];
    let end = note.start + note.length;
    let plays = |player: &u16| {
        let part = cx.part(usize::from(*player));
        let first = part.notes.partition_point(|own| own.end() <= note.start);
        let mut there = part.notes[first..].iter().take_while(|own| own.start() < end);
        let written_out = |own: &PackedNote| {
            let line = cx.line(part.line_of(own));
            own.role() == Role::Melody
                && line.is_some_and(|line| matches!(line.verb, Verb::Writes(_)))
        };
        there.any(|own| own.source() == note.span || written_out(own))
    };
    found.players(index).iter().copied().filter(plays).collect()
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
    /// The line by which the first of those who had the note before had it.
    pub fn line_before(&self, cx: &Context, before: &Note) -> Option<Span> {
        line_at(cx, usize::from(*self.from.first()?), before.start)
    }

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
        let span = line_at(cx, player, at).unwrap_or(cx.arrangement.scoring.span);
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

/// The scoring line that a player has at a time.
fn line_at(cx: &Context, player: usize, at: Time) -> Option<Span> {
    let claim = cx.part(player).claims.iter().find(|claim| claim.holds(at))?;
    Some(cx.line_span(claim.line))
}

/// How a finding names those who take part.
pub(super) struct Names {
    /// "Oboe 1 takes over the tune `upper`".
    pub take: String,
    /// Those who had it before.
    pub from: String,
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    /// What is found about handing over in four bars, with a bar of an inner voice over the up-beat that leads to
    /// bar 3, and lines of others.
    fn told(tune: &str, inner: &str, lines: &str) -> Vec<String> {
        let text = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 3/4, key G major, tempo 1/4 at 90\n4 end }}\n\
             harmony {{ 1: G | 2: D | 3: G | 4: G | }}\nvoice tune {{ {tune} }}\n\
             voice inner {{ 1: 1/2. D4 | 2: {inner} | 3: 1/4 D4 G4 F#4 | 4: 1/2. D4 | }}\n\
             voice bass {{ 1: 1/2. G2 | 2: 1/2 D3 1/4 D3 | 3: 1/2. D3 | 4: 1/2. G2 | }}\n\
             ensemble few {{ era 1810\nflute, oboe, clarinet in C, bassoon, viola 4 players }}\n\
             scoring few for few {{\nflute plays tune bars 1..2 as melody\n\
             oboe plays tune bars 3..4 as melody\n{lines}\n}}\n"
        );
        let found = findings(&text);
        let found = found.iter().filter(|found| found.code.starts_with("coverage/"));
        found.map(|found| format!("{}: {}", found.code, found.message)).collect()
    }

    const UP_BEAT: &str = "1: 1/4 G4 A B | 2: 1/2 D5 1/8 B4 C5 | 3: 1/4 D5 B4 A | 4: 1/2. G4 |";
    const OTHERS: &str =
        "clarinet sustains\nbassoon plays bass as bass\nviola plays inner as harmony";

    #[test]
    fn who_has_a_note_of_its_name_by_chance_does_not_take_over_the_tune() {
        let oboe = "coverage/up-beat-left: Oboe takes over the tune `tune` at the bar line of bar 3, \
                    but its up-beat stays with Flute.";
        assert_eq!(told(UP_BEAT, "1/2 F#4 1/4 A4", OTHERS), [oboe]);
        // The violas have the up-beat's last note and the first of the bar, and go on with neither.
        assert_eq!(told(UP_BEAT, "1/2 F#4 1/8 A4 C5", OTHERS), [oboe]);
        // Who writes the tune out has it, and so has who plays the voice below it.
        let both = told(UP_BEAT, "1/2 F#4 1/4 A4", "clarinet plays tune 8vb bars 3..4 as harmony");
        assert_eq!(both, [oboe.replace("Oboe takes", "Oboe and Clarinet take")]);
        let written = "clarinet writes as melody { 3: 1/4 D5 B4 A | 4: 1/2. G4 | }";
        assert_eq!(told(UP_BEAT, "1/2. F#4", written), both);
    }

    #[test]
    fn a_phrase_that_breaks_off_is_not_carried_on_by_the_violas() {
        let tune = "1: 1/4 G4 A B | 2: 1/2 {D5 1/4 C5 | 3: D5} B4 A | 4: 1/2. G4 |";
        let oboe = "coverage/mid-phrase: Oboe takes over the tune `tune` from Flute in the middle of \
                    a phrase, at bar 3, beat 1.";
        assert_eq!(told(tune, "1/2 F#4 1/4 A4", OTHERS), [oboe]);
        assert_eq!(told(tune, "1/2 F#4 1/4 C5", OTHERS), [oboe]);
        let inner = "clarinet plays tune 8vb bars 2..4 as harmony";
        assert_eq!(told(tune, "1/2. F#4", inner), [""; 0], "the clarinet goes over the bar line");
    }

    #[test]
    fn a_torn_phrase_is_shown_from_end_to_end_with_both_lines() {
        let labels = |tune: &str, first: &str, second: &str| -> Vec<(String, String)> {
            let text = format!(
                "piece \"Weir\" {{ }}\nform {{ 1 metre 3/4, key G major, tempo 1/4 at 90\n4 end }}\n\
                 voice tune {{ {tune} }}\nensemble few {{ era 1810\nflute, oboe }}\n\
                 scoring few for few {{\nflute plays tune {first} as melody\n\
                 oboe plays tune {second} as melody\n}}\n"
            );
            let found = findings(&text);
            let found = found.iter().find(|found| found.code == "coverage/mid-phrase").unwrap();
            let all = [&found.primary].into_iter().chain(&found.labels);
            all.map(|label| {
                let (from, to) = (label.span.start as usize, label.span.end as usize);
                (text[from..to].to_string(), label.text.clone().to_string())
            })
            .collect()
        };
        let told = labels(
            "1: 1/4 G4 A B | 2: {C5 D E | 3: D5} B4 A | 4: 1/2. G4 |",
            "bars 1..2",
            "bars 3..4",
        );
        let told: Vec<_> = told.iter().map(|(place, why)| (&place[..], &why[..])).collect();
        let expected = [
            ("oboe plays tune bars 3..4 as melody", ""),
            ("flute plays tune bars 1..2 as melody", "the line before ends in it"),
            ("C5", "the slur begins here"),
            ("D5", "taken over here"),
        ];
        assert_eq!(told, expected);
        let told = labels(
            "1: 1/4 G4 A B | 2: C5 1/8 A D E F# | 3: 1/8 G5 A rest 1/4 A 1/8 B | 4: 1/2. G5 |",
            "bars 1..2",
            "bars 3..4",
        );
        let told: Vec<_> = told.iter().map(|(place, why)| (&place[..], &why[..])).collect();
        assert_eq!(told[2..], [("G5", "taken over here"), ("A", "the phrase ends here")]);
    }
}
