//! A piece as it is played: repeats played out, each voice a line of single notes, and the chords
//! that hold.

use std::collections::BTreeSet;

use ripieno::harmony::harmony_of;
use ripieno::music::{Chord, Interval, Key, Pitch, Time};
use ripieno::resolve::{BarLine, Piece, Place};

/// One note of a line.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Note {
    pub start: Time,
    pub end: Time,
    pub pitch: Pitch,
}

/// A voice. Where a voice has chords, its second, third … notes from the top are lines of their
/// own. Grace notes are left out.
pub struct Line {
    pub name: String,
    pub notes: Vec<Note>,
}

/// A chord with the time that it holds; what follows on the same chord is one with it.
pub struct Holding {
    pub start: Time,
    pub end: Time,
    pub chord: Chord,
}

/// The piece, in the time of performance.
pub struct Score<'p> {
    piece: &'p Piece,
    /// When each bar begins, and which bar of the form it is.
    bars: Vec<(Time, usize)>,
    pub lines: Vec<Line>,
    pub chords: Vec<Holding>,
    /// Where a section ends: double bars, repeats, jumps.
    pub breaks: Vec<Time>,
    /// When notes begin or end.
    pub moments: Vec<Time>,
}

impl<'p> Score<'p> {
    pub fn new(piece: &'p Piece) -> Score<'p> {
        let form = &piece.form;
        let (mut bars, mut breaks, mut now) = (Vec::new(), Vec::new(), Time::ZERO);
        for index in form.playing_order() {
            let bar = &form.bars[index];
            let jumps = bars.last().is_some_and(|(_, last)| last + 1 != index);
            if jumps || bar.repeat_starts {
                breaks.push(now);
            }
            bars.push((now, index));
            now += bar.length;
            if bar.line != BarLine::Plain || bar.repeat_ends {
                breaks.push(now);
            }
        }
        let mut score =
            Score { piece, bars, lines: Vec::new(), chords: Vec::new(), breaks, moments: vec![] };
        score.lines = score.lines_of(piece);
        score.chords = score.chords_of(piece);
        let notes = || score.lines.iter().flat_map(|line| &line.notes);
        let moments: BTreeSet<Time> = notes().flat_map(|note| [note.start, note.end]).collect();
        score.moments = moments.into_iter().collect();
        score
    }

    fn lines_of(&self, piece: &Piece) -> Vec<Line> {
        let mut lines = Vec::new();
        for voice in &piece.voices {
            let sounds = voice.music.notes.iter().map(|note| note.sound.pitches().len());
            for nth in 0..sounds.max().unwrap_or(0) {
                let name = match nth {
                    0 => voice.name.clone(),
                    nth => format!("{} (note {} of its chords)", voice.name, nth + 1),
                };
                let written = voice.music.notes.iter().filter_map(|note| {
                    let pitch = *note.sound.pitches().iter().rev().nth(nth)?;
                    Some((note.start, note.length, pitch))
                });
                let mut notes: Vec<Note> = (self.played(written).into_iter())
                    .map(|(start, end, pitch)| Note { start, end, pitch })
                    .collect();
                for next in 1..notes.len() {
                    notes[next - 1].end = notes[next - 1].end.min(notes[next].start);
                }
                lines.push(Line { name, notes });
            }
        }
        lines
    }

    fn chords_of(&self, piece: &Piece) -> Vec<Holding> {
        let mut chords: Vec<Holding> = Vec::new();
        let harmony = harmony_of(piece);
        let written = harmony.iter().map(|event| (event.start, event.length, event.chord));
        for (start, end, chord) in self.played(written) {
            match chords.last_mut() {
                Some(last) if last.end == start && same(&last.chord, &chord) => last.end = end,
                _ => chords.push(Holding { start, end, chord }),
            }
        }
        chords
    }

    /// What is written, in the time of performance: start, end, what.
    fn played<T: Copy>(
        &self,
        written: impl Iterator<Item = (Time, Time, T)>,
    ) -> Vec<(Time, Time, T)> {
        let written: Vec<_> = written.collect();
        let mut played = Vec::new();
        for &(begin, index) in &self.bars {
            let bar = &self.piece.form.bars[index];
            let first = written.partition_point(|(start, ..)| *start < bar.start);
            let inside = written[first..].iter();
            for (start, length, what) in
                inside.take_while(|(start, ..)| *start < bar.start + bar.length)
            {
                let start = begin + (*start - bar.start);
                played.push((start, start + *length, *what));
            }
        }
        played
    }

    /// Written time and place of a moment of the performance.
    pub fn written(&self, at: Time) -> (Time, Place) {
        let bar = self.bars.partition_point(|(start, _)| *start <= at).saturating_sub(1);
        let (begin, index) = self.bars[bar];
        let written = self.piece.form.bars[index].start + (at - begin);
        (written, self.piece.form.place(written))
    }

    pub fn key(&self, at: Time) -> Key {
        self.piece.form.bar_at(self.written(at).0).key
    }

    /// The length of a beat.
    pub fn beat(&self, at: Time) -> Time {
        self.piece.form.bar_at(self.written(at).0).metre.beat()
    }

    /// How strong the moment is: 3 the first beat to 0 between the beats.
    pub fn weight(&self, at: Time) -> u8 {
        self.piece.form.weight(self.written(at).0)
    }

    /// Index of the chord that holds at a moment.
    pub fn chord_at(&self, at: Time) -> Option<usize> {
        let after = self.chords.partition_point(|chord| chord.start <= at);
        let index = after.checked_sub(1)?;
        (at < self.chords[index].end).then_some(index)
    }

    /// Index of the chord that holds until a moment or over it.
    pub fn chord_before(&self, at: Time) -> Option<usize> {
        let after = self.chords.partition_point(|chord| chord.start < at);
        let index = after.checked_sub(1)?;
        (at <= self.chords[index].end).then_some(index)
    }

    /// Is the note one of the chord at that moment? Where no chord is known, every note is.
    pub fn belongs(&self, note: &Note, at: Time) -> bool {
        self.chord_at(at).is_none_or(|chord| self.chords[chord].has(note))
    }

    /// The next note of a line, unless there is a rest of a beat or more between.
    pub fn after<'l>(&self, line: &'l Line, index: usize) -> Option<&'l Note> {
        let (note, next) = (line.notes.get(index)?, line.notes.get(index + 1)?);
        (next.start - note.end < self.beat(next.start)).then_some(next)
    }

    /// The note before, unless there is a rest of a beat or more between.
    pub fn before<'l>(&self, line: &'l Line, index: usize) -> Option<&'l Note> {
        let before = index.checked_sub(1)?;
        self.after(line, before).map(|_| &line.notes[before])
    }

    /// The note of a line at a moment; over a rest of less than a beat, the one before it.
    pub fn at<'l>(&self, line: &'l Line, at: Time) -> Option<&'l Note> {
        let index = line.notes.partition_point(|note| note.start <= at).checked_sub(1)?;
        let note = &line.notes[index];
        (at < note.end || self.after(line, index).is_some()).then_some(note)
    }

    /// The lines that are present at a moment with their notes, from the highest down.
    pub fn present(&self, at: Time) -> Vec<(usize, &Note)> {
        let lines = self.lines.iter().enumerate();
        let mut present: Vec<_> =
            lines.filter_map(|(index, line)| Some((index, self.at(line, at)?))).collect();
        present.sort_by_key(|(index, note)| (std::cmp::Reverse(note.pitch), *index));
        present
    }

    /// The highest and the lowest line of a moment.
    pub fn outer(&self, at: Time) -> Option<(usize, usize)> {
        let present = self.present(at);
        Some((present.first()?.0, present.last()?.0))
    }

    /// The last moment at which a note begins or ends before another moment.
    pub fn moment_before(&self, at: Time) -> Time {
        let after = self.moments.partition_point(|moment| *moment < at);
        after.checked_sub(1).map_or(at, |index| self.moments[index])
    }

    /// All pairs of lines by their indices.
    pub fn pairs(&self) -> impl Iterator<Item = (usize, usize)> + use<> {
        let count = self.lines.len();
        (0..count).flat_map(move |first| (first + 1..count).map(move |second| (first, second)))
    }
}

impl Holding {
    /// Is the note one of the chord?
    pub fn has(&self, note: &Note) -> bool {
        self.chord.has_class(note.class())
    }
}

/// Is it one chord to the ear, apart from its inversion?
fn same(a: &Chord, b: &Chord) -> bool {
    let plain = |chord: &Chord| chord.bass.is_none_or(|bass| chord.members().contains(&bass));
    (a.root, a.quality) == (b.root, b.quality) && (a.bass == b.bass || plain(a) && plain(b))
}

impl Note {
    pub fn class(&self) -> i32 {
        self.pitch.name().class()
    }

    pub fn length(&self) -> Time {
        self.end - self.start
    }
}

/// Diatonic steps up from one note to another.
pub fn steps(from: &Note, to: &Note) -> i32 {
    to.pitch.step() - from.pitch.step()
}

/// Is it a second, major or minor?
pub fn is_step(from: &Note, to: &Note) -> bool {
    let way = Interval::between(from.pitch, to.pitch);
    way.steps.abs() == 1 && way.semitones.abs() <= 2
}

/// Is it a semitone on one letter?
pub fn is_chromatic(from: &Note, to: &Note) -> bool {
    let way = Interval::between(from.pitch, to.pitch);
    way.steps == 0 && way.semitones.abs() == 1
}
