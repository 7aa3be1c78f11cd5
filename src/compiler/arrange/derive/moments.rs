//! Moments that deserve a highlight: entries of the subject, cadences, first beats of phrases,
//! peaks of loudness.

use super::chord_at;
use super::texture::{Texture, beats};
use crate::music::{Chord, ChordQuality, Key, Mode, Time};
use crate::resolve::{
    BarLine, DirectionKind, Dynamic, Form, HarmonyEvent, Moment, Music, Note, Piece,
};

/// A moment that was found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Found {
    pub(super) at: Time,
    /// Until when it lasts: the end of the last chord of a cadence, one beat for most others.
    pub(super) until: Time,
    pub(super) kind: Kind,
}

/// What a moment is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Kind {
    /// The dominant before the last chord of a cadence.
    Dominant,
    /// The last chord of a cadence; `last` at the end of the piece.
    Cadence {
        /// Does the piece end here?
        last: bool,
    },
    /// The first strong beat of an entry of the subject.
    Entry {
        /// In the top voice, where its head begins (before the strong beat if with an up-beat) and
        /// where the note ends to which it goes.
        head: Option<(Time, Time)>,
    },
    /// The first beat of a phrase.
    Phrase,
    /// A peak of loudness.
    Peak,
    /// A beat that the line names.
    Beat,
}

/// The moments of the kinds that a line names; all that suit most players where it names none:
/// entries, cadences and peaks. In order of time, one at a time.
pub(super) fn moments(piece: &Piece, harmony: &[HarmonyEvent], named: &[Moment]) -> Vec<Found> {
    let usual = [Moment::Entries, Moment::Cadences, Moment::Peaks];
    let wanted = if named.is_empty() { &usual[..] } else { named };
    let texture = Texture::new(piece);
    let mut found = Vec::new();
    for moment in wanted {
        match moment {
            Moment::Entries => found.extend(entries(piece, &texture)),
            Moment::Cadences => found.extend(cadences(piece, harmony, &texture)),
            Moment::Phrases => found.extend(phrases(piece, &texture)),
            Moment::Peaks => found.extend(peaks(piece)),
            Moment::Beat(beat) => found.extend(named_beats(&piece.form, *beat)),
        }
    }
    // The end of a cadence says more than a peak at the same place, and so on down the list.
    found.sort_by_key(|moment: &Found| (moment.at, rank(moment.kind)));
    found.dedup_by_key(|moment| moment.at);
    found
}

fn rank(kind: Kind) -> u8 {
    match kind {
        Kind::Cadence { .. } => 0,
        Kind::Peak => 1,
        Kind::Entry { .. } => 2,
        Kind::Dominant => 3,
        Kind::Phrase => 4,
        Kind::Beat => 5,
    }
}

fn beat_from(form: &Form, at: Time) -> Time {
    at + form.bar_at(at).metre.beat()
}

/// Notes of the subject's head by which an entry is known, at most. Our heuristic.
const HEAD: usize = 8;
/// Fewer are no subject. Our heuristic.
const SHORTEST_HEAD: usize = 4;
/// By how many steps in all an answer may differ from the subject (tonal answers change one leap,
/// seldom two). Our heuristic.
const FREEDOM: i32 = 2;

/// Entries of the subject in any voice.
///
/// The subject is what the voice that begins first (the highest of several) plays in its first
/// bar. An entry has its rhythm and its directions, and its steps but for at most two in all.
/// (Our heuristic.)
pub(super) fn entries(piece: &Piece, texture: &Texture) -> Vec<Found> {
    let Some(head) = subject(piece) else { return Vec::new() };
    let place = piece.form.weight(head[0].start);
    let mut found: Vec<Found> = Vec::new();
    for voice in &piece.voices {
        let notes = voice.music.notes.unpacked();
        for (index, window) in notes.windows(head.len()).enumerate() {
            if piece.form.weight(window[0].start) == place && is_entry(&head, window) {
                found.push(entry(&piece.form, texture, &notes[index..], head.len()));
            }
        }
    }
    found.sort_by_key(|moment| moment.at);
    found.dedup_by_key(|moment| moment.at);
    found
}

/// The entry whose head is the first notes of those given.
fn entry(form: &Form, texture: &Texture, notes: &[Note], head: usize) -> Found {
    let begins = notes[0].start;
    // The head ends on the next first beat that the voice reaches without a rest.
    let mut goal = head - 1;
    let line = form.end_of_bar_at(notes[goal].start);
    while form.weight(notes[goal].start) != 3 || goal == 0 {
        let joined = |next: &&Note| {
            next.start == notes[goal].start + notes[goal].length && next.start <= line
        };
        if notes.get(goal + 1).filter(joined).is_none() {
            break;
        }
        goal += 1;
    }
    let ends = notes[goal].start + notes[goal].length;
    // After an up-beat the entry is marked where it first stands on a strong beat.
    let beat = form.bar_at(begins).metre.beat();
    let bar_ends = form.end_of_bar_at(begins);
    let mut at = begins;
    while at < bar_ends && form.weight(at) < 2 {
        let into = (at - form.full_start(form.index_at(begins))) % beat;
        at = (at + beat - into).min(bar_ends);
    }
    let at = if at < ends { at } else { begins };
    let until = beat_from(form, at);
    let on_top = texture.top_note(begins).is_some_and(|top| {
        top.start == begins && top.sound.pitches().last() == notes[0].sound.pitches().last()
    });
    let head = on_top.then_some((begins, ends));
    Found { at, until, kind: Kind::Entry { head } }
}

fn subject(piece: &Piece) -> Option<Vec<Note>> {
    let height = |music: &Music| {
        let first = music.notes.first();
        first.and_then(|note| note.sound.pitches().last().copied()).map_or(0, |p| p.midi())
    };
    let (start, music) = piece
        .voices
        .iter()
        .map(|voice| &voice.music)
        .filter_map(|music| Some((music.notes.first()?.start, music)))
        .min_by_key(|(start, music)| (*start, -height(music)))?;
    let bar = piece.form.bar_at(start);
    // A subject that begins with a pick-up goes on through the first whole bar.
    let length = bar.length.max(bar.metre.bar_length());
    let end = bar.start + length;
    let count = music.notes.iter().take_while(|note| note.start < end).count().min(HEAD);
    (count >= SHORTEST_HEAD).then(|| music.notes.within(0..count).collect())
}

fn is_entry(head: &[Note], notes: &[Note]) -> bool {
    let mut differs = 0;
    for (index, (subject, note)) in head.iter().zip(notes).enumerate() {
        let last = index + 1 == head.len();
        if !last && subject.length != note.length {
            return false;
        }
        if index == 0 {
            continue;
        }
        if subject.start - head[0].start != note.start - notes[0].start {
            return false;
        }
        let (Some(wanted), Some(got)) =
            (steps(&head[index - 1], subject), steps(&notes[index - 1], note))
        else {
            return false;
        };
        if wanted.signum() != got.signum() {
            return false;
        }
        differs += (wanted - got).abs();
    }
    differs <= FREEDOM
}

fn steps(from: &Note, to: &Note) -> Option<i32> {
    Some(to.sound.pitches().last()?.step() - from.sound.pitches().last()?.step())
}

/// Cadences: a dominant before its tonic where a phrase ends, and half closes on the dominant of
/// the key where a section ends.
///
/// A triad without seventh is a dominant only before the tonic of the key in force, of its
/// relative, of the local key in which it is heard, or of a key that the form takes soon after: F after C in A minor closes nothing.
/// A dominant seventh may lead anywhere. (Common practice.)
///
/// A phrase ends where the top voice rests after the chord or within it, or holds a note of two
/// beats or more, and always before a double bar, a repeat sign, a rehearsal mark and at the end of
/// the piece. (Common practice for the chords, our heuristic for the ends of phrases.)
pub(super) fn cadences(piece: &Piece, harmony: &[HarmonyEvent], texture: &Texture) -> Vec<Found> {
    let form = &piece.form;
    let mut found = Vec::new();
    for (index, event) in harmony.iter().enumerate() {
        let bar = form.index_at(event.start);
        let end = event.start + event.length;
        let bar_end = form.bars[bar].start + form.bars[bar].length;
        let last = bar_end == form.end() && end >= form.end();
        let ends_section = end >= bar_end && section_ends(form, bar);
        let key = event.key;
        let before = index.checked_sub(1).map(|i| &harmony[i]);
        let dominant =
            before.filter(|b| b.start + b.length == event.start && leads(form, b, event, key));
        let strong = form.weight(event.start) >= 2;
        if let Some(dominant) = dominant
            && strong
            && (last || ends_section || phrase_ends(form, texture, event))
        {
            // The dominant sounds from its last strong beat on that leaves it two beats, or from where
            // it begins.
            let beat = form.bar_at(dominant.start).metre.beat();
            let latest = dominant.start.max(event.start - beat * 2);
            let strong = beats(form, dominant.start, event.start).into_iter().rev();
            let strong = strong.filter(|(at, _)| *at <= latest);
            let mut strong = strong.map(|(at, _)| at).filter(|at| form.weight(*at) >= 2);
            let at = strong.next().unwrap_or(dominant.start);
            found.push(Found { at, until: event.start, kind: Kind::Dominant });
            found.push(Found { at: event.start, until: end, kind: Kind::Cadence { last } });
        } else if strong && resolves_second_ending(form, harmony, event, key) {
            // The dominant before both endings is found with the first.
            found.push(Found { at: event.start, until: end, kind: Kind::Cadence { last } });
        } else if ends_section && strong && !last && is_half_close(&event.chord, key) {
            found.push(Found { at: event.start, until: end, kind: Kind::Cadence { last: false } });
        }
    }
    found
}

/// Is this the dominant on which a half close ends: in root position?
fn is_half_close(chord: &Chord, key: Key) -> bool {
    let major = matches!(
        chord.quality,
        ChordQuality::Major | ChordQuality::DominantMinorNinth | ChordQuality::DominantSeventh
    );
    chord.root.class() == key.degree(5).class() && chord.bass.is_none() && major
}

/// Does a second or later ending begin with the tonic of the dominant before the first ending?
fn resolves_second_ending(
    form: &Form,
    harmony: &[HarmonyEvent],
    event: &HarmonyEvent,
    key: Key,
) -> bool {
    let bar = form.index_at(event.start);
    let ending = |bar: usize| form.bars[bar].ending;
    let begins = ending(bar).is_some_and(|ending| ending.first > 1)
        && form.bars[bar].start == event.start
        && bar
            .checked_sub(1)
            .is_some_and(|before| ending(before).is_some_and(|before| Some(before) != ending(bar)));
    if !begins {
        return false;
    }
    let first = (0..bar).rev().take_while(|&bar| ending(bar).is_some()).last().unwrap_or(bar);
    let start = form.bars[first].start;
    let before = harmony.iter().find(|before| before.start + before.length == start);
    before.is_some_and(|before| leads(form, before, event, key))
}

/// Does the first chord lead into the second as dominant into tonic? `key` is the local key of the
/// second.
fn leads(form: &Form, dominant: &HarmonyEvent, tonic: &HarmonyEvent, key: Key) -> bool {
    let stable = matches!(
        tonic.chord.quality,
        ChordQuality::Major | ChordQuality::Minor | ChordQuality::MajorSixth
    );
    let way = (tonic.chord.root.class() - dominant.chord.root.class()).rem_euclid(12);
    let by_fifth = way == 5
        && matches!(
            dominant.chord.quality,
            ChordQuality::Major
                | ChordQuality::DominantSeventh
                | ChordQuality::DominantNinth
                | ChordQuality::DominantMinorNinth
                | ChordQuality::DominantFlatFifth
                | ChordQuality::DominantSeventhSuspended
        );
    let by_leading_note = way == 1
        && matches!(
            dominant.chord.quality,
            ChordQuality::Diminished | ChordQuality::DiminishedSeventh
        );
    let triad = matches!(dominant.chord.quality, ChordQuality::Major | ChordQuality::Diminished);
    stable
        && tonic.chord.bass.is_none()
        && (by_fifth || by_leading_note)
        && (!triad || is_home(form, tonic) || key.tonic.class() == tonic.chord.root.class())
}

/// So many bars after a chord a new key of the form is already its own. (Our heuristic.)
const SOON: usize = 2;

/// Is the chord on the tonic of the key in force, of its relative, or of a key that begins soon?
fn is_home(form: &Form, event: &HarmonyEvent) -> bool {
    let bar = form.index_at(event.start);
    let root = event.chord.root.class();
    let key = form.bars[bar].key;
    let relative = match key.mode {
        Mode::Major => key.degree(6),
        Mode::Minor => key.degree(3),
    };
    let soon = form.bars[bar..].iter().take(SOON + 1).map(|bar| bar.key.tonic);
    soon.chain([relative]).any(|tonic| tonic.class() == root)
}

fn section_ends(form: &Form, bar: usize) -> bool {
    let this = &form.bars[bar];
    this.repeat_ends
        || this.line != BarLine::Plain
        || form
            .bars
            .get(bar + 1)
            .is_none_or(|next| next.mark.is_some() || next.repeat_starts || next.key != this.key)
}

fn phrase_ends(form: &Form, texture: &Texture, event: &HarmonyEvent) -> bool {
    let Some(note) = texture.top_note(event.start) else { return false };
    let end = note.start + note.length;
    let beat = form.bar_at(event.start).metre.beat();
    let long = end - event.start >= beat * 2;
    // The voice on top has a rest, whatever the others do.
    let rests = texture.top_sounds_until(event.start, form.end()) == end;
    long || (rests && end <= event.start + event.length)
}

/// Least distance between first beats of phrases, in bars. Our heuristic.
const SHORTEST_PHRASE: usize = 2;
/// A phrase of which nothing tells the end is taken to have so many bars. Our heuristic.
const USUAL_PHRASE: usize = 4;

/// First beats of phrases: the beginning; after rehearsal marks, double bars and repeat signs;
/// after a bar that the top voice ends with a rest or a note of two beats; and where none of these
/// comes, every four bars. (Our heuristic.)
pub(super) fn phrases(piece: &Piece, texture: &Texture) -> Vec<Found> {
    let form = &piece.form;
    let mut found: Vec<Found> = Vec::new();
    let mut begun: Option<usize> = None;
    for (index, bar) in form.bars.iter().enumerate() {
        if bar.leads_in() {
            continue;
        }
        let since = begun.map(|begun| index - begun);
        let section = index == 0 || section_ends(form, index - 1);
        let begins = match since {
            None => true,
            Some(_) if section => true,
            Some(bars) if bars >= USUAL_PHRASE => true,
            Some(bars) => bars >= SHORTEST_PHRASE && pauses_before(form, texture, index),
        };
        if begins {
            begun = Some(index);
            let (at, until) = (bar.start, beat_from(form, bar.start));
            found.push(Found { at, until, kind: Kind::Phrase });
        }
    }
    found
}

/// Does the top voice end the bar before with a rest or with a note of two beats?
fn pauses_before(form: &Form, texture: &Texture, bar: usize) -> bool {
    let line = form.bars[bar].start;
    let beat = form.bars[bar - 1].metre.beat();
    let Some(note) = texture.top_note(line - Time::of(1, 1024)) else { return true };
    let begins = note.start;
    let lower_now = texture.top_note(begins - Time::of(1, 1024)).is_some_and(|before| {
        let ends = before.start + before.length;
        before.sound.pitches().last() > note.sound.pitches().last()
            && ends > begins
            && ends < line
            && line - ends >= beat
    });
    note.start + note.length == line && note.length >= beat * 2 || lower_now
}

/// Peaks: forte or more at the end of a growing hairpin or after at least two degrees less, and
/// every sforzato and forte-piano, as the piece and its voices have them.
pub(super) fn peaks(piece: &Piece) -> Vec<Found> {
    let form = &piece.form;
    let mut found: Vec<Found> = Vec::new();
    let all = std::iter::once(&piece.dynamics)
        .chain(piece.voices.iter().map(|voice| &voice.music.directions));
    for directions in all {
        let mut degree: Option<u8> = None;
        let mut grown_to: Option<Time> = None;
        for direction in directions {
            match direction.kind {
                DirectionKind::Hairpin { grows: true, to } => grown_to = Some(to),
                DirectionKind::Dynamic(dynamic) => {
                    let loud = dynamic.degree().is_some_and(|d| d >= Dynamic::F as u8);
                    let arrives = grown_to.is_some_and(|to| to == direction.at)
                        || degree.is_some_and(|before| {
                            dynamic.degree().is_some_and(|d| d >= before + 2)
                        });
                    let stress = matches!(dynamic, Dynamic::Fp | Dynamic::Sf | Dynamic::Sfz);
                    if (loud && arrives) || stress {
                        let (at, until) = (direction.at, beat_from(form, direction.at));
                        found.push(Found { at, until, kind: Kind::Peak });
                    }
                    degree = dynamic.degree().or(degree);
                    grown_to = None;
                }
                _ => {}
            }
        }
    }
    found.sort_by_key(|moment| moment.at);
    found.dedup();
    found
}

fn named_beats(form: &Form, beat: u8) -> Vec<Found> {
    (0..form.bars.len())
        .filter_map(|index| {
            let bar = &form.bars[index];
            let length = bar.metre.beat();
            let at = form.full_start(index) + length * (i64::from(beat) - 1);
            let within = beat > 0 && at >= bar.start && at < bar.start + bar.length;
            within.then(|| Found { at, until: at + length, kind: Kind::Beat })
        })
        .collect()
}

/// Until when the chord at a time holds, at most to the end of the bar.
pub(super) fn chord_until(form: &Form, harmony: &[HarmonyEvent], at: Time) -> Time {
    let bar = form.bar_at(at);
    let end = bar.start + bar.length;
    chord_at(harmony, at).map_or(end, |event| (event.start + event.length).min(end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::derive::tests::piece;

    fn bars(piece: &Piece, found: &[Found]) -> Vec<i32> {
        found.iter().map(|moment| piece.form.bar_at(moment.at).number).collect()
    }

    #[test]
    fn answers_are_entries_even_if_a_leap_is_answered_by_another() {
        let piece = piece(
            "form {\n 1 metre 3/4, key D minor\n}\n\
             voice upper {\n1: 1/4 D5 1/8 A F 1/4 E | 2: 1/4 D5 E F | 3: 1/2. D5 | 4: 1/2. D5 |\n}\n\
             voice lower {\n1: rest | 2: 1/4 A3 1/8 D4 Bb3 1/4 A3 | 3: 1/4 D3 A3 D3 |\n\
             4: 1/4 A3 1/8 D3 Bb3 1/4 A3 |\n}\n",
        );
        let found = entries(&piece, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [1, 2], "bar 4 leaps the other way");
    }

    #[test]
    fn an_entry_with_an_up_beat_is_marked_on_its_first_strong_beat() {
        let piece = piece(
            "form {\n 0 metre 3/4, key C major, pick-up 1/4\n}\n\
             voice v {\n0: 1/8 G4 A | 1: 1/4 C5 E G | 2: 1/2 A5 1/4 F |\n}\n",
        );
        let found = entries(&piece, &Texture::new(&piece));
        let head = Some((Time::ZERO, Time::of(3, 2)));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].at, found[0].until), (Time::QUARTER, Time::of(1, 2)));
        assert_eq!(found[0].kind, Kind::Entry { head }, "up to the note on the next first beat");
    }

    #[test]
    fn a_triad_on_the_third_degree_before_the_sixth_is_no_cadence() {
        let form = |change: &str| {
            format!(
                "form {{\n 1 metre 4/4, key A minor\n{change}\n}}\n\
                 harmony {{ 1: C | 2: F | 3: E | 4: Am | 5: C7 | 6: F | }}\n\
                 voice v {{\n1: 1/4 E5 G E C | 2: 1/2 F5 1/4 A C6 | 3: 1/4 B5 G# E B4 | 4: 1/1 A4 |\n\
                 5: 1/4 C5 E G C | 6: 1/1 A5 |\n}}\n"
            )
        };
        let found = |text: &str| {
            let piece = piece(text);
            bars(&piece, &cadences(&piece, &piece.harmony, &Texture::new(&piece)))
        };
        assert_eq!(found(&form("")), [3, 4, 5, 6], "C before F needs its seventh");
        assert_eq!(found(&form(" 3 key F major")), [1, 2, 5, 6], "F is soon the tonic");
    }

    #[test]
    fn a_dominant_before_its_tonic_is_a_cadence_only_where_a_phrase_ends() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n}\n\
             harmony { 1: 1/4 G7 C | 2: G7 | 3: C | 4: G7 | 5: C | }\n\
             voice v {\n1: 1/4 G5 E | 2: 1/8 D5 E F D | 3: 1/8 E5 F G E | 4: 1/4 F5 D | 5: 1/2 C5 |\n}\n",
        );
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [4, 5]);
        assert_eq!(found[1].kind, Kind::Cadence { last: true });
    }

    #[test]
    fn the_second_ending_resolves_the_dominant_before_the_first() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 1..3 repeat\n 3 ending 1\n 4 ending 2\n}\n\
             harmony { 1: C | 2: G7 | 3: C | 4: C | 5: F | }\n\
             voice v {\n1: 1/4 E5 G | 2: 1/4 F5 D | 3: 1/2 C5 | 4: 1/2 C5 | 5: 1/4 F5 A |\n}\n",
        );
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [2, 3, 4]);
    }

    #[test]
    fn a_half_close_before_a_rehearsal_mark_is_a_cadence() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 3 mark \"A\"\n}\n\
             harmony { 1: F | 2: G | 3: C | 4: F | }\n\
             voice v {\n1: 1/4 F5 A | 2: 1/4 G5 rest | 3: 1/4 E5 G | 4: 1/4 F5 A |\n}\n",
        );
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [2]);
    }

    #[test]
    fn a_forte_after_a_crescendo_is_a_peak_and_the_first_dynamic_is_not() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 7 end\n}\n\
             dynamics {\n 1 f\n 2 p\n 3 cresc\n 4 f\n 5 p\n 6 mf\n 7 beat 2 sf\n}\n\
             voice v {\n1: rest 7 |\n}\n",
        );
        assert_eq!(bars(&piece, &peaks(&piece)), [4, 7]);
    }

    #[test]
    fn phrases_begin_after_long_notes_and_marks_and_else_every_four_bars() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 4 mark \"A\"\n 10 end\n}\n\
             voice v {\n1: 1/4 C5 D | 2: 1/2 E5 | 3: 1/4 C5 D |\n4: 1/4 C5 D | 5: 1/4 C5 D |\n\
             6: 1/4 C5 D | 7: 1/4 C5 D | 8: 1/4 C5 D | 9: 1/4 C5 D | 10: 1/2 C5 |\n}\n",
        );
        let found = phrases(&piece, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [1, 3, 4, 8]);
    }

    #[test]
    fn a_named_beat_of_a_pick_up_is_counted_from_the_bar_line() {
        let piece = piece(
            "form {\n 0 metre 3/4, key C major, pick-up 1/4\n 1 end\n}\n\
             voice v {\n0: 1/4 G4 |\n1: 1/4 C5 D E |\n}\n",
        );
        assert_eq!(bars(&piece, &named_beats(&piece.form, 3)), [0, 1]);
        assert_eq!(bars(&piece, &named_beats(&piece.form, 1)), [1]);
    }
}
