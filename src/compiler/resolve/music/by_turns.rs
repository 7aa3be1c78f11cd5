//! Tremolo between two notes: `1/2 D5[tremolo A]`.

use super::*;
use crate::resolve::OfTwo;

/// The shortest note that is printed as such a tremolo: under flags its beams could not be told
/// from theirs (common practice).
const SHORTEST: Time = Time::of(1, 4);

impl Builder<'_> {
    /// What the note or chord of these pitches goes to and fro with, where its marks say so. The
    /// octave that holds on to the next note is not changed by it.
    pub(super) fn other_of_two(
        &mut self,
        written: &[MarkTree],
        pitches: &Pitches,
        in_tuplet: bool,
    ) -> Option<Pitches> {
        let mark =
            written.iter().find(|mark| mark.word.value == "tremolo" && mark.note.is_some())?;
        let note = mark.note.as_ref()?;
        let octave = self.state.octave;
        let other = self.pitches(&note.value);
        self.state.octave = octave;
        let value = self.state.value.filter(|_| !self.state.value_doubtful)?;
        let strokes = attached::strokes_of(mark).unwrap_or(attached::UNMEASURED);
        let stroke = Time::of(1, 8 << (strokes - 1));
        let (message, help) = if in_tuplet {
            ("A tremolo between two notes cannot stand in a tuplet.", "Write its notes out.".into())
        } else if other == *pitches {
            (
                "A tremolo between two notes needs another note.",
                format!("A note that repeats itself is `{}[tremolo]`.", pitches.first()?),
            )
        } else if value < SHORTEST {
            (
                "This note is too short for a tremolo between two notes.",
                "It lasts a 1/4 at least; write shorter ones out.".into(),
            )
        } else if stroke * 2 > value {
            (
                "Each of the two notes must be struck at least once.",
                "Write shorter strokes, such as `tremolo A5 1/16`.".into(),
            )
        } else {
            return Some(other);
        };
        self.cx.push(Diagnostic::error("bars/tremolo", note.span, message).with_help(help));
        None
    }

    /// Puts the two notes down, each for half of the time: what is printed on the one of them that
    /// begins or ends the tremolo stands there. A time that is no single value (9/8, 5/4) goes to several such
    /// pairs, parted at beats.
    pub(super) fn sounds_by_turns(
        &mut self,
        bar: &mut BarState,
        (pitches, other): (Pitches, Pitches),
        attached: Attached,
        span: Span,
    ) {
        let start = bar.at;
        self.sounds(bar, Sound::Pitches(pitches), attached, span, None);
        let Some(first) = self.notes.last_mut().filter(|note| note.start == start) else {
            return;
        };
        let lengths = self.form.pairs(start, first.length);
        let Sound::Pitches(pitches) = first.sound.clone() else { return };
        let Some(half) = lengths[0].scaled(1, 2) else { return };
        first.length = half;
        first.attached.of_two = Some(OfTwo::First);
        let mut marks = Marks::NONE;
        for mark in [Mark::Fermata, Mark::Breath] {
            if first.attached.marks.has(mark) {
                first.attached.marks.remove(mark);
                marks.insert(mark);
            }
        }
        let tremolo = first.attached.tremolo;
        let mut begin = start;
        for (index, &length) in lengths.iter().enumerate() {
            let Some(half) = length.scaled(1, 2) else { return };
            let mut put = |start: Time, pitches: &Pitches, of_two: OfTwo, marks: Marks| {
                let attached =
                    Attached { marks, tremolo, of_two: Some(of_two), ..Attached::default() };
                let sound = Sound::Pitches(pitches.clone());
                self.state.last = Some(self.notes.len());
                self.notes.push(Note { start, length: half, sound, attached, span });
            };
            if index > 0 {
                put(begin, &pitches, OfTwo::First, Marks::NONE);
            }
            let last = index + 1 == lengths.len();
            put(begin + half, &other, OfTwo::Second, if last { marks } else { Marks::NONE });
            begin += length;
        }
    }
}

impl Form {
    /// The lengths of the single values into which a tremolo between two notes is parted: as few as can be, parted
    /// at beats and as evenly as can be, longer ones first, none under flags. One length where it is a single value or none do.
    fn pairs(&self, start: Time, length: Time) -> Vec<Time> {
        let bar = &self.bars[self.index_at(start)];
        let unit = if bar.metre.is_compound() {
            bar.metre.beat()
        } else {
            Time::of(1, i64::from(bar.metre.unit))
        };
        let (from, to) = (start - bar.start, start + length - bar.start);
        if is_single(length) || to > bar.length {
            return vec![length];
        }
        let cuts = || {
            let first = (from.div_floor(unit)) + 1;
            (first..).map(move |n| unit * n).take_while(move |cut| *cut < to)
        };
        let even = |lengths: &Vec<Time>| {
            let most = lengths.iter().copied().max().unwrap_or_default();
            (most, lengths.iter().position(|length| *length == most))
        };
        let fits = |length: Time| length >= SHORTEST && is_single(length);
        let two = cuts().map(|cut| vec![cut - from, to - cut]);
        let two = two.filter(|both| both.iter().all(|length| fits(*length))).min_by_key(even);
        let three = || {
            let all = cuts().flat_map(|cut| {
                let later = cuts().filter(move |second| *second > cut);
                later.map(move |second| vec![cut - from, second - cut, to - second])
            });
            all.filter(|all| all.iter().all(|length| fits(*length))).min_by_key(even)
        };
        two.or_else(three).unwrap_or_else(|| vec![length])
    }
}

/// Is it one printed value, with up to two dots?
fn is_single(length: Time) -> bool {
    let plain = [8, 4, 2, 1].map(|part| Time::of(2, part));
    let dotted = |value: Time| [(1, 1), (3, 2), (7, 4)].map(|(n, d)| value.scaled(n, d));
    plain.into_iter().flat_map(dotted).any(|value| value == Some(length))
}
