//! Cadences: where they are, and which beats of them are struck.

use super::moments::{Found, Kind};
use super::texture::{Texture, beats};
use crate::music::{Chord, ChordQuality, Key, Mode, Sign, Time};
use crate::resolve::{BarLine, Form, HarmonyEvent, Piece};

/// Cadences: a dominant before its tonic where a phrase ends, and half closes on the dominant of
/// the key where a section ends. Dominant and tonic are both found, in the local key in which the
/// chords are heard.
///
/// A triad without seventh is a dominant only before the tonic of the key in force, of its
/// relative, of the local key in which it is heard, or of a key that the form takes soon after: F after C in A minor closes nothing.
/// A dominant seventh may lead anywhere. The suspended fourth before a dominant and the triad before
/// its seventh belong to it. (Common practice.) A dominant shorter than a beat passes, except before
/// the last chord (our heuristic), and a tonic on a weak beat is no goal, unless a dominant of two
/// beats or more on a strong one leans on it at the end of a bar, as in a polonaise, or the piece ends
/// with it (common practice).
///
/// A phrase ends
/// - where the top voice rests after the chord or within it, or holds a note of two beats or more;
/// - at a double bar, a repeat sign, a rehearsal mark and the end of the piece, an up-beat aside, where the tonic
///   comes in with which the last bars are filled;
/// - in the last bar of four, where the top voice comes to the tonic of the local key or its
///   relative with a note of a beat or more, and longer than the next;
/// - with the first chord of a section, where the dominant leads into it without a pause.
///
/// (Common practice for the chords, our heuristic for the ends of phrases.)
pub(super) fn cadences(piece: &Piece, harmony: &[HarmonyEvent], texture: &Texture) -> Vec<Found> {
    let form = &piece.form;
    let places = bars_of_sections(form);
    let mut found = Vec::new();
    for (index, event) in harmony.iter().enumerate() {
        let bar = form.index_at(event.start);
        let end = event.start + event.length;
        let ends_section = reaches_end(form, bar, end) && section_ends(form, bar);
        let last = ends_section && piece_ends(form, bar);
        let dominant = Dominant::before(form, harmony, index);
        if form.weight(event.start) < 2 {
            let dominant = dominant.filter(|dominant| last || !dominant.passes(form, event.start));
            let ends = dominant.filter(|dominant| {
                let phrase = || {
                    phrase_ends(form, texture, event)
                        || period_ends(form, texture, event, dominant, places[bar])
                };
                let soft = || dominant.leans(form, event.start) && (ends_section || phrase());
                reaches_end(form, bar, end) && (last || soft())
            });
            if let Some(dominant) = ends {
                found.push(dominant.found(form, event.start));
                found.push(Found::new(event.start, end, Kind::Cadence { last }));
            }
            continue;
        }
        let filled = fills_last_bars(form, harmony, index);
        let last = last || filled.is_some_and(|(_, last)| last);
        let end = filled.map_or(end, |(end, _)| end);
        let dominant = dominant.filter(|dominant| last || !dominant.passes(form, event.start));
        if let Some(dominant) = &dominant
            && (ends_section
                || filled.is_some()
                || phrase_ends(form, texture, event)
                || period_ends(form, texture, event, dominant, places[bar]))
        {
            found.push(dominant.found(form, event.start));
            found.push(Found::new(event.start, end, Kind::Cadence { last }));
        } else if let Some(dominant) = dominant
            && dominant.opens_section(form, texture, event.start)
        {
            let until = (event.start + form.bars[bar].metre.beat()).min(end);
            found.push(dominant.found(form, event.start));
            found.push(Found::new(event.start, until, Kind::Cadence { last }));
        } else if resolves_second_ending(form, harmony, event) {
            // The dominant before both endings is found with the first.
            found.push(Found::new(event.start, end, Kind::Cadence { last }));
        } else if ends_section && !last && is_half_close(&event.chord, event.key) {
            let opens = index + 1 < harmony.len()
                && Dominant::before(form, harmony, index + 1).is_some_and(|dominant| {
                    dominant.opens_section(form, texture, harmony[index + 1].start)
                });
            if !opens {
                found.push(Found::new(event.start, end, Kind::Cadence { last: false }));
            }
        }
    }
    found
}

/// Does the tonic of a key go on from a strong beat, held or struck anew, through all that follows of its
/// section, in fewer bars than a phrase has? Then until when, and whether the piece ends there. (That it closes
/// where it comes in is common practice; how many bars may be filled, our heuristic.)
fn fills_last_bars(form: &Form, harmony: &[HarmonyEvent], index: usize) -> Option<(Time, bool)> {
    let event = &harmony[index];
    if !is_home(form, event) && event.key.tonic.class() != event.chord.root.class() {
        return None;
    }
    let first = form.index_at(event.start);
    let closing = (first..form.bars.len()).take(PERIOD - 1).find(|&bar| section_ends(form, bar))?;
    if closing == first {
        return None;
    }
    let mut end = event.start;
    let same = |next: &&HarmonyEvent| {
        let goes_on = next.start == end && form.index_at(next.start) <= closing;
        let same = goes_on && next.chord == event.chord;
        if same {
            end = next.start + next.length;
        }
        same
    };
    harmony[index..].iter().take_while(same).for_each(drop);
    let bar_end = form.bars[closing].start + form.bars[closing].length;
    reaches_end(form, closing, end).then(|| (end.min(bar_end), piece_ends(form, closing)))
}

/// What leads into a tonic: chords on one root, the suspended one, the triad, the seventh.
struct Dominant {
    start: Time,
    /// From when on the fourth is no longer suspended.
    resolved: Time,
    in_root_position: bool,
}

impl Dominant {
    /// The dominant that leads into the chord of that index.
    fn before(form: &Form, harmony: &[HarmonyEvent], index: usize) -> Option<Dominant> {
        let tonic = &harmony[index];
        let last = &harmony[index.checked_sub(1)?];
        if last.start + last.length != tonic.start || !leads(form, last, tonic, tonic.key) {
            return None;
        }
        let (mut start, mut resolved) = (last.start, last.start);
        let mut suspended = is_suspended(&last.chord);
        for before in harmony[..index - 1].iter().rev() {
            let of_root = before.chord.root.class() == last.chord.root.class()
                && (is_suspended(&before.chord) || is_dominant(&before.chord));
            if before.start + before.length != start || !of_root {
                break;
            }
            start = before.start;
            suspended |= is_suspended(&before.chord);
            if !suspended {
                resolved = start;
            }
        }
        Some(Dominant { start, resolved, in_root_position: last.chord.bass.is_none() })
    }

    /// Does it lean on a tonic on a weak beat of the same bar: struck on a strong beat, in root
    /// position, and longer than a beat?
    fn leans(&self, form: &Form, tonic: Time) -> bool {
        let beat = form.bar_at(tonic).metre.beat();
        self.in_root_position
            && form.index_at(self.start) == form.index_at(tonic)
            && form.weight(self.start) >= 2
            && tonic - self.start >= beat * 2
    }

    /// Is it over too soon to prepare an end?
    fn passes(&self, form: &Form, tonic: Time) -> bool {
        // In long beats a quarter is enough.
        let least = form.bar_at(self.start).metre.beat().min(Time::QUARTER);
        tonic - self.start < least
    }

    /// The beat on which it is struck: its last strong one that leaves it two beats, or where it
    /// begins; without the suspension, if what is left lasts a beat. (Our heuristic.)
    fn found(&self, form: &Form, tonic: Time) -> Found {
        let beat = form.bar_at(self.start).metre.beat();
        let stands = form.weight(self.resolved) > 0 && tonic - self.resolved >= beat;
        let begins = if stands { self.resolved } else { self.start };
        let latest = begins.max(tonic - beat * 2);
        let strong = beats(form, begins, tonic).into_iter().rev();
        let mut strong =
            strong.map(|(at, _)| at).filter(|&at| at <= latest && form.weight(at) >= 2);
        Found::new(strong.next().unwrap_or(begins), tonic, Kind::Dominant)
    }

    /// Does it lead over the end of a section into the first chord of the next, without a pause?
    fn opens_section(&self, form: &Form, texture: &Texture, tonic: Time) -> bool {
        let bar = form.index_at(tonic);
        let opens = bar > 0 && form.bars[bar].start == tonic && section_ends(form, bar - 1);
        // The chord of a mere up-beat closes nothing.
        let is_up_beat = form.bar_at(self.start).leads_in();
        opens && !is_up_beat && self.in_root_position && !pauses(form, texture, self.start, tonic)
    }
}

/// Does the top voice rest between two times, or stand still for two beats before the second?
fn pauses(form: &Form, texture: &Texture, from: Time, to: Time) -> bool {
    let Some(first) = texture.top_note(from) else { return true };
    let still = |note: &crate::arrange::PackedNote| {
        let end = note.start() + note.length();
        end >= to && end - note.start() >= form.bar_at(from).metre.beat() * 2
    };
    still(first) || texture.top_sounds_until(from, to) < to
}

fn is_suspended(chord: &Chord) -> bool {
    matches!(chord.quality, ChordQuality::SuspendedFourth | ChordQuality::DominantSeventhSuspended)
}

fn is_dominant(chord: &Chord) -> bool {
    matches!(
        chord.quality,
        ChordQuality::Major
            | ChordQuality::DominantSeventh
            | ChordQuality::DominantNinth
            | ChordQuality::DominantMinorNinth
            | ChordQuality::DominantFlatFifth
    )
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
fn resolves_second_ending(form: &Form, harmony: &[HarmonyEvent], event: &HarmonyEvent) -> bool {
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
    before.is_some_and(|before| leads(form, before, event, event.key))
}

/// Does the first chord lead into the second as dominant into tonic? `key` is the local key of the
/// second.
fn leads(form: &Form, dominant: &HarmonyEvent, tonic: &HarmonyEvent, key: Key) -> bool {
    let stable = matches!(
        tonic.chord.quality,
        ChordQuality::Major | ChordQuality::Minor | ChordQuality::MajorSixth
    );
    let way = (tonic.chord.root.class() - dominant.chord.root.class()).rem_euclid(12);
    let suspended = dominant.chord.quality == ChordQuality::DominantSeventhSuspended;
    let by_fifth = way == 5 && (is_dominant(&dominant.chord) || suspended);
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
    let soon = form.bars[bar..].iter().take(SOON + 1).map(|bar| bar.key.tonic.class());
    soon.chain([relative(key)]).any(|tonic| tonic == root)
}

/// The pitch class of the tonic of the relative key.
fn relative(key: Key) -> i32 {
    match key.mode {
        Mode::Major => key.degree(6).class(),
        Mode::Minor => key.degree(3).class(),
    }
}

/// Does a section end with this bar: at a double bar, a repeat sign, before a mark or another key?
pub(super) fn section_ends(form: &Form, bar: usize) -> bool {
    let this = &form.bars[bar];
    this.repeat_ends
        || this.line != BarLine::Plain
        || this.signs.contains(&Sign::Fine)
        || form
            .bars
            .get(bar + 1)
            .is_none_or(|next| next.mark.is_some() || next.repeat_starts || next.key != this.key)
}

/// Does the piece end with this bar: the one of the `fine`, or else the last?
pub(super) fn piece_ends(form: &Form, bar: usize) -> bool {
    let signs = &form.bars[bar].signs;
    let leads_back = signs.iter().any(|sign| sign.is_al_fine());
    signs.contains(&Sign::Fine) || (bar + 1 == form.bars.len() && !leads_back)
}

/// Does a chord that ends at `end` last to the end of its bar, or to an up-beat of at most a beat
/// after the last strong beat?
fn reaches_end(form: &Form, bar: usize, end: Time) -> bool {
    let bar = &form.bars[bar];
    let bar_end = bar.start + bar.length;
    let left = bar_end - end;
    left <= Time::ZERO
        || (left <= bar.metre.beat()
            && beats(form, end, bar_end).iter().all(|&(at, _)| form.weight(at) < 2))
}

fn phrase_ends(form: &Form, texture: &Texture, event: &HarmonyEvent) -> bool {
    let Some(note) = texture.top_note(event.start) else { return false };
    let end = note.start() + note.length();
    let beat = form.bar_at(event.start).metre.beat();
    let long = end - event.start >= beat * 2;
    // The voice on top has a rest, whatever the others do.
    let rests = texture.top_sounds_until(event.start, form.end()) == end;
    long || (rests && end <= event.start + event.length)
}

/// A period is built of so many bars. (Common practice.)
const PERIOD: usize = 4;

/// Does a phrase of a period end with this chord, where nothing but the tonic, a longer note and the
/// count of bars tells it? `place` is the number of its bar in the section, from 1.
fn period_ends(
    form: &Form,
    texture: &Texture,
    event: &HarmonyEvent,
    dominant: &Dominant,
    place: usize,
) -> bool {
    // Inferred keys do not always know a key from its relative.
    let root = event.chord.root.class();
    let at_home = root == event.key.tonic.class() || root == relative(event.key);
    if !at_home || !dominant.in_root_position || place == 0 || !place.is_multiple_of(PERIOD) {
        return false;
    }
    let Some(note) = texture.top_note(event.start).filter(|note| note.start() == event.start)
    else {
        return false;
    };
    let shorter = texture
        .top_note(note.start() + note.length())
        .is_none_or(|next| next.length() < note.length());
    shorter && note.length() >= form.bar_at(event.start).metre.beat()
}

/// For each bar the number that it has in its section, from 1; 0 for up-beats.
fn bars_of_sections(form: &Form) -> Vec<usize> {
    let mut count = 0;
    let place = |(index, bar): (usize, &crate::resolve::Bar)| {
        if index > 0 && section_ends(form, index - 1) {
            count = 0;
        }
        if bar.leads_in() {
            return 0;
        }
        count += 1;
        count
    };
    form.bars.iter().enumerate().map(place).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::derive::tests::piece;

    fn bars(piece: &Piece, found: &[Found]) -> Vec<i32> {
        found.iter().map(|moment| piece.form.bar_at(moment.at).number).collect()
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

    /// Bar and beat of what is struck, the dominant as "V", the tonic as "I".
    fn struck(text: &str) -> String {
        let piece = piece(text);
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        let told = found.iter().map(|moment| {
            let place = piece.form.place(moment.at);
            let what = if moment.kind == Kind::Dominant { "V" } else { "I" };
            format!("{what} {}:{}", place.bar, place.beat)
        });
        told.collect::<Vec<_>>().join(", ")
    }

    /// The places that are struck, from seven bars of harmony and tune; with how many quarters the last one lasts.
    fn close(form: &str, bars: &str, tune: &str) -> (String, i64) {
        let text = format!(
            "form {{\n 1 metre 4/4, key D major\n{form}\n 7 end\n}}\n\
             harmony {{ 1: D | 2: G | 3: 1/2 G A7 | {bars} | }}\n\
             voice v {{\n1: 1/4 D5 E F# G | 2: 1/4 B5 A G F# | 3: 1/4 B5 G E C# | {tune} |\n}}\n"
        );
        let piece = piece(&text);
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        let lasts = found.last().map_or(Time::ZERO, |last| last.until - last.at);
        (struck(&text), (1..64).find(|&n| Time::of(n, 4) == lasts).unwrap_or(0))
    }

    #[test]
    fn a_tonic_that_fills_the_last_bars_closes_where_it_comes_in() {
        let moving = "4: 1/4 D5 F# D A4 | 5: D5 F# A F# | 6: E5 F# G A | 7: G5 E F# A";
        let section = "6 mark \"A\"";
        let (places, quarters) = close(section, "4: D | 5: D | 6: G | 7: G", moving);
        assert_eq!((&places[..], quarters), ("V 3:3, I 4:1", 8), "at the end of a section");
        let (places, _) = close("", "4: D | 5: D | 6: G | 7: G", moving);
        assert_eq!(places, "", "in the middle of one it goes on");
        let (places, _) = close(section, "4: D | 5: 1/2 D G | 6: G | 7: G", moving);
        assert_eq!(places, "", "another chord comes before its end");
        // A phrase on the tonic is no last chord.
        let (places, _) = close("", "4: D | 5: D | 6: D | 7: D", moving);
        assert_eq!(places, "");
        // At the end of the piece, struck anew after a rest as well, it is its last chord.
        let held = "4: 1/4 D5 F# D A4 | 5: D5 rest D5 rest | 6: D5 1/2. rest | 7: rest";
        let fine = "5 fine\n 7 da capo al fine";
        let (places, quarters) = close(fine, "4: D | 5: D | 6: G | 7: 1/2 G A", held);
        assert_eq!((&places[..7], quarters > 0), ("V 3:3, ", true), "{places}");
    }

    #[test]
    fn the_last_chord_of_the_piece_is_last_where_it_comes_in() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 4 end\n}\n\
             harmony { 1: F | 2: G7 | 3: C | 4: C | }\n\
             voice v {\n1: 1/4 A5 F | 2: 1/4 D5 B4 | 3: 1/2 C5 | 4: 1/2 = |\n}\n",
        );
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        let last = found.last().unwrap();
        assert_eq!(bars(&piece, &found), [2, 3]);
        assert_eq!(last.kind, Kind::Cadence { last: true });
        assert_eq!(last.until, piece.form.end());
    }

    #[test]
    fn a_dominant_leads_over_a_double_bar_into_the_tonic_of_another_key() {
        let form = "form {\n 1 metre 2/4, key B minor\n 3 key B major, mark \"A\"\n 5 end\n}\n\
                    harmony { 1: Bm | 2: 1/4 Em F#7 | 3: B | 4: E | 5: E | }\n";
        let leads = "voice v {\n1: 1/8 D5 F# B D6 | 2: 1/8 E6 B5 A# F# | 3: 1/8 B5 F# D# F# |\n\
                     4: 1/8 G#5 B G# B | 5: 1/2 E5 |\n}\n";
        assert_eq!(struck(&format!("{form}{leads}")), "V 2:2, I 3:1");
        let pauses = "voice v {\n1: 1/8 D5 F# B D6 | 2: 1/8 E6 B5 A# rest | 3: 1/8 B5 F# D# F# |\n\
                      4: 1/8 G#5 B G# B | 5: 1/2 E5 |\n}\n";
        assert_eq!(struck(&format!("{form}{pauses}")), "I 2:2", "a half close before a pause");
    }

    #[test]
    fn a_mere_up_beat_on_the_dominant_closes_nothing() {
        let text = "form {\n 0 metre 4/4, key Eb major, pick-up 1/4\n 1 mark \"A\"\n 2 end\n}\n\
                    harmony { 0: Bb | 1: Eb | 2: Ab | }\n\
                    voice v {\n0: 1/8. Bb4 1/16 Bb | 1: 1/4 Eb5 G Eb G | 2: 1/1 Ab5 |\n}\n";
        assert_eq!(struck(text), "");
    }

    #[test]
    fn a_cadence_in_a_local_key_before_the_up_beat_of_the_next_section_is_found() {
        let text = "form {\n 1 metre 2/4, key B minor\n 5 mark \"B\"\n 6 end\n}\n\
                    harmony { 1: key D major D | 2: Em/G | 3: 1/4 D/F# Em/G | 4: 1/4 A7 1/8 D F#7/C# |\n\
                    5: key B minor Bm | 6: Em | }\n\
                    voice v {\n1: 1/8 F#5 A D6 A5 | 2: 1/8 G5 B D6 B5 | 3: 1/8 F#5 A B G |\n\
                    4: 1/8 E5 C# D 1/16 F# E# | 5: 1/8 F#5 B D6 B5 | 6: 1/2 G5 |\n}\n";
        assert_eq!(struck(text), "V 4:1, I 4:2");
    }

    #[test]
    fn the_fourth_bar_closes_where_the_tune_comes_to_rest_on_the_tonic() {
        let text = |last: &str| {
            format!(
                "form {{\n 1 metre 6/8, key G minor\n 6 end\n}}\n\
                 harmony {{ 1: key Bb major Bb | 2: Eb | 3: 3/8 F7sus4 F7 | 4: 3/8 Bb Bb7/Ab | 5: Eb | 6: Eb | }}\n\
                 voice v {{\n1: 1/8 D6 C Bb5 1/4 F 1/8 Bb | 2: 1/8 G5 F Eb 1/4 Bb 1/8 D6 | 3: 1/4. Bb5 1/4 A 1/8 F |\n\
                 4: {last} | 5: 1/8 G5 F Eb G F Eb | 6: 1/8 G5 F Eb G F Eb |\n}}\n"
            )
        };
        // The dominant without its suspension, where that is long enough.
        assert_eq!(struck(&text("1/4. Bb5 1/4 F 1/8 D")), "V 3:2, I 4:1");
        assert_eq!(struck(&text("1/8 Bb5 C6 D 1/4 F5 1/8 D")), "", "the tune goes on");
    }

    #[test]
    fn a_suspension_belongs_to_its_dominant_and_a_passing_dominant_is_none() {
        let text = |chords: &str| {
            format!(
                "form {{\n 1 metre 6/8, key G minor\n 2 end\n}}\n\
                 harmony {{ 1: {chords} | 2: Cm | }}\n\
                 voice v {{\n1: 1/4 G5 1/8 F# 1/4 G 1/8 rest | 2: 1/4. C5 Eb |\n}}\n"
            )
        };
        assert_eq!(struck(&text("1/4 D7sus4 1/8 D7 3/8 Gm")), "V 1:1, I 1:2");
        assert_eq!(struck(&text("1/4 Gm 1/8 D7 3/8 Gm")), "", "an eighth passes");
    }

    #[test]
    fn a_soft_ending_is_struck_where_its_dominant_leans_on_it() {
        let text = |fourth: &str, last: &str| {
            format!(
                "form {{\n 1 metre 3/4, key Eb major\n 6 end\n}}\n\
                 harmony {{ 1: Eb | 2: 1/2 Bb7 1/4 Eb | 3: Ab | 4: {fourth} | 5: Ab | 6: {last} | }}\n\
                 voice v {{\n1: 1/8 G5 Bb G Eb G Bb | 2: 1/8 Ab5 F D F 1/8 G F | 3: 1/8 C6 Ab Eb C5 Eb Ab |\n\
                 4: 1/8 Ab5 F D F 1/4 Eb | 5: 1/8 C6 Ab Eb C5 Eb Ab | 6: 1/8 G5 F 1/4 D Eb |\n}}\n"
            )
        };
        let polonaise = text("1/2 Bb7 1/4 Eb", "1/4 Eb/Bb Bb7 Eb");
        assert_eq!(struck(&polonaise), "V 4:1, I 4:3, V 6:2, I 6:3");
        assert_eq!(struck(&text("1/2 Bb7/D 1/4 Eb", "1/4 Eb/Bb Bb7 Eb")), "V 6:2, I 6:3");
        assert_eq!(struck(&text("1/4 Eb Bb7 Eb", "1/2 Bb7 1/4 Eb")), "V 6:1, I 6:3");
    }

    #[test]
    fn the_piece_ends_at_its_fine() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 2 fine\n 4 da capo al fine, end\n}\n\
             harmony { 1: G7 | 2: C | 3: D7 | 4: G | }\n\
             voice v {\n1: 1/4 D5 B4 | 2: 1/2 C5 | 3: 1/4 F#5 A | 4: 1/2 G5 |\n}\n",
        );
        let found = cadences(&piece, &piece.harmony, &Texture::new(&piece));
        let last = |moment: &&Found| moment.kind == Kind::Cadence { last: true };
        let ends: Vec<Found> = found.iter().filter(last).copied().collect();
        assert_eq!(bars(&piece, &ends), [2]);
        assert_eq!(bars(&piece, &found), [1, 2, 3, 4]);
    }
}
