//! Doubling another part: colla parte, at the octave where the compass asks for it.

use super::derive::{Reach, Supply, supply};
use super::taking::{raise, slur_on, sounds_in, take_rests};
use super::{PackedNote, Part, Run, SoundingNote};
use crate::diagnostics::{BarNumbers, Diagnostic, Span};
use crate::instruments::{Instrument, Limit};
use crate::music::{Pitch, Time};
use crate::resolve::{Line, Piece, Sound};

/// Copies what another part sounds into a run.
pub(super) fn double(source: &Part, line: &Line, octaves: i8, run: &mut Run) {
    let sounding = sounds_in(&source.notes, run.from, run.to);
    for note in sounding {
        let mut note = note.unpacked();
        let end = note.end().min(run.to);
        note.start = note.start.max(run.from);
        note.length = end - note.start;
        note.role = line.role.unwrap_or(note.role);
        note.solo = line.solo;
        shift(&mut note, octaves);
        run.notes.list().push(note.into());
    }
    slur_on(sounding, run);
    run.tuplets.extend(source.tuplets.iter().filter(|t| t.start >= run.from && t.start < run.to));
    take_rests(&source.rests, run);
}

fn shift(note: &mut SoundingNote, octaves: i8) {
    if let Sound::Pitches(pitches) = &mut note.sound {
        raise(pitches, octaves);
    }
    if let Some(graces) = note.attached.graces.as_mut() {
        for (_, pitches) in &mut graces.notes {
            raise(pitches, octaves);
        }
    }
}

/// Passages that were moved by octaves into the compass.
#[derive(Clone, Debug)]
pub(super) struct Folded {
    /// Beginning and end of each passage and the octaves up by which it moved.
    passages: Vec<(Time, Time, i8)>,
}

/// A leap of this many semitones or more hides a change of octave: larger than a fifth. (Our
/// heuristic.)
const LEAP: i32 = 8;

/// So many semitones are a step of a scale at most.
const STEP: i32 = 2;

/// A rest that parts even the notes of a scale: the next one begins a phrase. (Our heuristic.)
const PAUSE: Time = Time::QUARTER;

/// Moves what leaves the customary compass by whole octaves into it.
///
/// The change of octave is made only where the ear takes it for a new beginning: after a rest,
/// where a slur begins after one has ended, or at a leap; never in the middle of a scale, which
/// short rests and new slurs do not interrupt. (Our heuristic, after the common practice of colla
/// parte parts.)
pub(super) fn fold(part: &Part, era: i32, line: &Line, run: &mut Run) -> Option<Folded> {
    let limit = if line.solo { Limit::Solo } else { Limit::Custom };
    let mut folded = Folded { passages: Vec::new() };
    let mut first = 0;
    let mut before = 0;
    while first < run.notes.len() {
        let mut after = first + 1;
        while after < run.notes.len() && !begins_anew(&run.notes[after - 1], &run.notes[after]) {
            after += 1;
        }
        let at = run.notes[first].start();
        let instrument = part.instrument_at(at);
        let compass = instrument
            .compass(limit, era)
            .or_else(|| instrument.compass(Limit::Instrument, era))?;
        let to_written = if instrument.compass_is_written {
            -part.transposition_at(at)
        } else {
            crate::music::Interval::UNISON
        };
        let (low, high) =
            (compass.low.midi() - to_written.semitones, compass.high.midi() - to_written.semitones);
        let fits = |pitch: Pitch| match supply(part, era, at, Reach::Whole) {
            fixed @ Supply::Notes(_) => fixed.has(pitch),
            _ => (low..=high).contains(&pitch.midi()),
        };
        let octaves = octaves_into(&run.notes[first..after], fits, before);
        if octaves != 0 {
            for note in &mut run.notes[first..after] {
                note.change(|note| shift(note, octaves));
            }
            let end = run.notes[after - 1].end();
            match folded.passages.last_mut() {
                Some((_, last, same)) if *last == at && *same == octaves => *last = end,
                _ => folded.passages.push((at, end, octaves)),
            }
        }
        before = octaves;
        first = after;
    }
    (!folded.passages.is_empty()).then_some(folded)
}

fn begins_anew(before: &PackedNote, note: &PackedNote) -> bool {
    let slur = before.attached().slur_ends && note.attached().slur_starts;
    let rest = note.start() - before.end();
    match (top(before), top(note)) {
        (Some(from), Some(to)) => {
            let interval = (to.midi() - from.midi()).abs();
            let in_scale = interval <= STEP && rest < PAUSE;
            !in_scale && (rest.is_positive() || slur || interval >= LEAP)
        }
        _ => rest.is_positive(),
    }
}

fn top(note: &PackedNote) -> Option<Pitch> {
    note.sound().pitches().last().copied()
}

/// The fewest octaves by which all the notes come into the compass; where two are as few, that of
/// the passage before. If none brings all of them in, the one that brings most.
fn octaves_into(notes: &[PackedNote], fits: impl Fn(Pitch) -> bool, before: i8) -> i8 {
    let outside = |octaves: i8| {
        notes
            .iter()
            .flat_map(|note| note.sound().pitches())
            .filter(|pitch| !fits(pitch.octaves_up(octaves)))
            .count()
    };
    let candidates = [0, before, 1, -1, 2, -2, 3, -3];
    candidates.into_iter().min_by_key(|&octaves| outside(octaves)).unwrap_or(0)
}

/// The finding that says which bars of a line stand in another octave, and for whom.
pub(super) fn octave_moved(
    piece: &Piece,
    line: Span,
    moved: &[(&Part, &Part, &Folded)],
) -> Option<Diagnostic> {
    // What is the same for several players is told once.
    let mut told: Vec<(Vec<&str>, Vec<Moved>)> = Vec::new();
    let mut players: Vec<&Part> = moved.iter().map(|(part, ..)| *part).collect();
    players.dedup_by_key(|part| &part.player.id);
    for part in &players {
        let own = moved.iter().filter(|(other, ..)| other.player.id == part.player.id);
        let bars = in_bars(piece, own.flat_map(|(.., folded)| &folded.passages));
        let name = part.player.name.as_str();
        match told.iter_mut().find(|(_, same)| *same == bars) {
            Some((names, _)) => names.push(name),
            None => told.push((vec![name], bars)),
        }
    }
    let single = told.len() == 1;
    let where_to: Vec<String> = told
        .iter()
        .map(|(names, bars)| {
            let bars: Vec<String> = bars.iter().map(Moved::words).collect();
            let bars = bars.join(", ");
            if single { bars } else { format!("{} in {bars}", names.join(" and ")) }
        })
        .collect();
    let names: Vec<&str> = told.iter().flat_map(|(names, _)| names).copied().collect();
    let mut doubled: Vec<&str> = moved.iter().map(|(_, part, _)| &part.player.name[..]).collect();
    doubled.dedup();
    let double = if names.len() == 1 { "doubles" } else { "double" };
    let bars = || told.iter().flat_map(|(_, bars)| bars);
    let first = bars().map(|moved| moved.first).min()?;
    let last = bars().map(|moved| moved.last).max()?;
    let player = &players.first()?.player;
    let diagnostic = Diagnostic::advice(
        "arrange/octave-moved",
        line,
        format!(
            "{} {double} {} in another octave, to stay within the compass: {}.",
            names.join(" and "),
            doubled.join(" and "),
            where_to.join("; ")
        ),
    )
    .with_label(player.span, "the player")
    .with_help("Write `8va` or `8vb` after the doubled part to choose the octave yourself.")
    .with_bars(first, last)
    .with_player(&player.id);
    Some(diagnostic)
}

/// Bars that moved by octaves up.
#[derive(PartialEq)]
struct Moved {
    first: i32,
    last: i32,
    octaves: i8,
}

/// Passages in bars; those that touch and move alike are one.
fn in_bars<'p>(piece: &Piece, passages: impl Iterator<Item = &'p (Time, Time, i8)>) -> Vec<Moved> {
    let mut bars: Vec<Moved> = Vec::new();
    for &(from, to, octaves) in passages {
        let first = piece.form.bar_at(from).number;
        let last = piece.form.bar_at(to - Time::of(1, 1024)).number;
        match bars.last_mut() {
            Some(before) if before.octaves == octaves && first <= before.last + 1 => {
                before.last = last;
            }
            _ => bars.push(Moved { first, last, octaves }),
        }
    }
    bars
}

impl Moved {
    fn words(&self) -> String {
        let bars = if self.first == self.last {
            format!("bar {}", self.first)
        } else {
            format!("bars {} to {}", self.first, self.last)
        };
        match self.octaves {
            1 => format!("{bars} an octave higher"),
            -1 => format!("{bars} an octave lower"),
            up if up > 0 => format!("{bars} {up} octaves higher"),
            down => format!("{bars} {} octaves lower", -down),
        }
    }
}

/// Leaves out of a doubled part what a natural horn or trumpet, or a drum, does not have. Gives
/// back where the notes left out began.
pub(super) fn keep_what_he_has(part: &Part, era: i32, run: &mut Run) -> Vec<Time> {
    let mut left_out = Vec::new();
    let limited =
        |instrument: &Instrument| instrument.natural.is_some() || !instrument.drums.is_empty();
    if !part.instruments.iter().any(|(_, instrument)| limited(instrument)) {
        return left_out;
    }
    run.notes.list().retain_mut(|note| {
        let instrument = part.instrument_at(note.start());
        if !limited(instrument) {
            return true;
        }
        let has = supply(part, era, note.start(), Reach::Whole);
        let plain = note.attached().graces.is_none();
        if plain && note.sound().pitches().iter().all(|pitch| has.has(*pitch)) {
            return true;
        }
        note.change(|note| keep_of_note(note, &has, &mut left_out))
    });
    left_out
}

/// Leaves of a note what there is; gives back whether anything of it is left.
fn keep_of_note(note: &mut SoundingNote, has: &Supply, left_out: &mut Vec<Time>) -> bool {
    if let Some(graces) = note.attached.graces.as_mut() {
        graces.notes.retain(|(_, pitches)| pitches.iter().all(|&pitch| has.has(pitch)));
    }
    if note.attached.graces.as_ref().is_some_and(|graces| graces.notes.is_empty()) {
        note.attached.graces = None;
    }
    let Sound::Pitches(pitches) = &mut note.sound else { return true };
    let before = pitches.len();
    pitches.retain(|pitch| has.has(*pitch));
    if pitches.len() < before {
        left_out.push(note.start);
    }
    !pitches.is_empty()
}

/// The finding that says in which bars notes are left out, and for whom.
pub(super) fn left_out(piece: &Piece, line: Span, missing: &[(&Part, &[Time])]) -> Diagnostic {
    let mut bars: Vec<i32> = missing
        .iter()
        .flat_map(|(_, times)| *times)
        .map(|time| piece.form.bar_at(*time).number)
        .collect();
    bars.sort_unstable();
    bars.dedup();
    let (first, last) = (bars.first().copied().unwrap_or(0), bars.last().copied().unwrap_or(0));
    let mut names: Vec<String> = missing
        .iter()
        .map(|(part, times)| {
            let name = &part.player.name;
            match times.first().and_then(|&time| part.tuning_at(time)) {
                Some(tuning) => format!("{name} in {}", tuning.name),
                None => name.clone(),
            }
        })
        .collect();
    names.dedup();
    let does = if names.len() == 1 { "does" } else { "do" };
    let diagnostic = Diagnostic::advice(
        "arrange/notes-left-out",
        line,
        format!(
            "{} {does} not have all the notes of the doubled part; those of {} are left out.",
            names.join(" and "),
            ranges(&bars)
        ),
    )
    .with_help("Use `signals` or `sustains`, which choose among the notes that the player has, or write the part with `writes`.")
    .with_bars(first, last);
    match missing.first() {
        Some((part, _)) => {
            diagnostic.with_label(part.player.span, "the player").with_player(&part.player.id)
        }
        None => diagnostic,
    }
}

/// "bars 5 to 7, 9" of bar numbers in order.
fn ranges(bars: &[i32]) -> String {
    let mut ranges = Vec::new();
    bars.iter().for_each(|bar| BarNumbers::add(&mut ranges, *bar));
    let said = |range: &BarNumbers| match range.first == range.last {
        true => range.first.to_string(),
        false => format!("{} to {}", range.first, range.last),
    };
    let words: Vec<String> = ranges.iter().map(said).collect();
    let word = if bars.len() == 1 { "bar" } else { "bars" };
    format!("{word} {}", words.join(", "))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use std::sync::Arc;

    use super::*;
    use crate::arrange::arrange;
    use crate::arrange::derive::tests::piece;
    use crate::music::Interval;

    fn two_players(voice: &str, bars: usize, ensemble: &str, second: &str) -> Arc<Piece> {
        piece(&format!(
            "form {{\n 1 metre 4/4, key C major\n {bars} end\n}}\nvoice v {{\n{voice}\n}}\n\
             ensemble e {{\n{ensemble}\n}}\n\
             scoring s for e {{\n violin-1 plays v as melody\n {second} doubles violin-1\n}}\n"
        ))
    }

    #[test]
    fn a_natural_horn_keeps_only_what_it_has_and_one_finding_says_so() {
        let voice = "1: 1/4 C5 D E F | 2: 1/4 G5 A B C6 | 3: 1/1 A4 |";
        let piece = two_players(voice, 3, "era 1770\n violin-1\n horn crook C alto", "horn");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let horn = arrangement.parts.iter().find(|p| p.player.id == "horn").unwrap();
        let sounds: Vec<String> =
            horn.notes.iter().map(|n| n.sound().pitches()[0].to_string()).collect();
        assert!(!sounds.is_empty());
        assert!(sounds.iter().all(|s| !s.starts_with('F') && !s.starts_with('A')), "{sounds:?}");
        let said: Vec<&Diagnostic> =
            arrangement.diagnostics.iter().filter(|d| d.code == "arrange/notes-left-out").collect();
        assert_eq!(said.len(), 1);
        assert!(said[0].message.contains("C alto"), "{}", said[0].message);
    }

    #[test]
    fn an_octave_that_is_named_is_kept_even_beyond_the_compass() {
        let voice = "1: 1/4 B5 A B A | 2: 1/1 G5 |";
        let named = piece(&format!(
            "form {{\n 1 metre 4/4, key C major\n 2 end\n}}\nvoice v {{\n{voice}\n}}\n\
             ensemble e {{\nera 1810\n violin-1\n flute\n}}\n\
             scoring s for e {{\n violin-1 plays v as melody\n flute doubles violin-1 8va\n}}\n"
        ));
        let arrangement = arrange(&named, &named.scorings[0]);
        let flute = arrangement.parts.iter().find(|p| p.player.id == "flute").unwrap();
        assert_eq!(flute.notes[0].sound().pitches()[0].to_string(), "B6");
        assert!(arrangement.diagnostics.is_empty(), "{:?}", arrangement.diagnostics);
    }

    #[test]
    fn a_new_slur_in_a_scale_is_no_place_for_another_octave() {
        // Down the scale in two slurs, far below the oboe's lowest note at the end.
        let voice = "1: {1/4 G4 F E D} | 2: {1/4 C4 B3 A G} |";
        let piece = two_players(voice, 2, "era 1770\n violin-1\n oboe", "oboe");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let oboe = arrangement.parts.iter().find(|p| p.player.id == "oboe").unwrap();
        let steps: Vec<i32> = oboe
            .notes
            .windows(2)
            .map(|pair| {
                Interval::between(pair[0].sound().pitches()[0], pair[1].sound().pitches()[0]).steps
            })
            .collect();
        assert_eq!(steps, [-1; 7]);
        let said = arrangement.diagnostics.iter().find(|d| d.code == "arrange/octave-moved");
        let said = &said.expect("the octave is told").message;
        assert!(said.contains("bars 1 to 2 an octave higher"), "{said}");
    }

    #[test]
    fn bars_in_another_octave_are_told_once_a_line_and_touching_ones_together() {
        let voice = "1: 1/4 C4 G3 A4 G3 | 2: 1/4 A4 G3 rest G3 | 3: 1/1 G4 |";
        let piece = two_players(voice, 3, "era 1810\n violin-1\n flute 2", "flute");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let said: Vec<&str> =
            arrangement.diagnostics.iter().map(|said| said.message.as_str()).collect();
        let wanted = "Flute 1 and Flute 2 double Violins I in another octave, to stay within the \
                      compass: bars 1 to 2 an octave higher.";
        assert_eq!(said, [wanted]);
    }

    #[test]
    fn a_line_that_doubles_itself_is_told_once() {
        let circle = piece(
            "form {\n 1 metre 4/4, key C major\n 1 end\n}\nvoice v {\n1: 1/1 C5 |\n}\n\
             ensemble e {\nera 1810\nflute 3\n}\nscoring s for e {\nflute doubles flute\n}\n",
        );
        let said = arrange(&circle, &circle.scorings[0]).diagnostics;
        assert_eq!(said.iter().filter(|said| said.code == "names/cycle").count(), 1, "{said:?}");
    }

    fn line() -> impl Strategy<Value = Vec<(i32, u8)>> {
        // Steps of a tune, and what follows each note: nothing, a rest, or the end of a slur.
        prop::collection::vec((prop_oneof![4 => -2i32..=2, 1 => -11i32..=11], 0u8..8), 8..48)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(96))]

        #[test]
        fn the_octave_never_changes_in_mid_scale(
            tune in line(),
            who in prop::sample::select(vec!["oboe", "flute", "bassoon", "viola", "cello"]),
        ) {
            let names = ["C", "D", "E", "F", "G", "A", "B"];
            let (mut step, mut bar) = (34i32, String::new());
            let mut voice = String::new();
            let mut count = 0;
            let mut slurred = false;
            for (index, (way, then)) in tune.iter().enumerate() {
                step = (step + way).clamp(25, 45);
                let open = if !slurred && *then == 1 { "{" } else { "" };
                slurred |= *then == 1;
                let close = if slurred && open.is_empty() && *then > 3 { "}" } else { "" };
                slurred &= close.is_empty();
                let rest = if *then == 0 && !slurred { "1/16" } else { "1/8" };
                let name = names[(step % 7) as usize];
                bar.push_str(&format!("{open}{rest} {name}{}{close} ", step / 7));
                if rest == "1/16" {
                    bar.push_str("rest ");
                }
                if index % 8 == 7 {
                    count += 1;
                    // A slur may not end with the last note; close it there.
                    if slurred {
                        bar.truncate(bar.trim_end().len());
                        bar.push_str("} ");
                        slurred = false;
                    }
                    voice.push_str(&format!("{count}: {bar}|\n"));
                    bar.clear();
                }
            }
            let piece = two_players(
                &voice,
                count,
                &format!("era 1770\n violin-1\n {who}"),
                who,
            );
            let arrangement = arrange(&piece, &piece.scorings[0]);
            let find = |id: &str| arrangement.parts.iter().find(|p| p.player.id == id);
            let (violin, other) = (find("violin-1").unwrap(), find(who).unwrap());
            prop_assert_eq!(violin.notes.len(), other.notes.len());
            let moved: Vec<i32> = violin
                .notes
                .iter()
                .zip(&other.notes)
                .map(|(a, b)| b.sound().pitches()[0].midi() - a.sound().pitches()[0].midi())
                .collect();
            for (index, pair) in violin.notes.windows(2).enumerate() {
                let way = pair[1].sound().pitches()[0].midi() - pair[0].sound().pitches()[0].midi();
                if way.abs() <= 2 && pair[1].start() - pair[0].end() < Time::QUARTER {
                    prop_assert_eq!(moved[index], moved[index + 1], "note {}", index);
                }
            }
            let told = arrangement.diagnostics.iter().any(|d| d.code == "arrange/octave-moved");
            prop_assert_eq!(told, moved.iter().any(|m| *m != 0));
        }
    }
}
