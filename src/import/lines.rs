//! From the notes of a part to its lines: ties worked in, small notes hung on what follows them,
//! voices told apart, so that each line sounds one note or chord at a time.

use std::collections::{BTreeMap, HashMap};

use smallvec::SmallVec;

use super::directions::direct;
use super::loss::Losses;
use super::lyrics;
use super::raw::{RawKind, RawNote, RawPart, Small, Sung};
use super::score::{Bar, Graces, Note, Part, PartLine, TupletSpan};
use crate::music::{Pitch, Time, Touch};
use crate::resolve::{Marks, OfTwo};

/// The lines of a part.
pub(super) fn part(raw: RawPart, index: usize, bars: &[Bar], losses: &mut Losses) -> Part {
    let mut gathered = Gathered::new(index);
    let mut directions = Vec::new();
    let has_chords = raw.measures.iter().any(|measure| !measure.signs.chords.is_empty());
    for (bar, measure) in bars.iter().zip(raw.measures) {
        let number = gathered.bar;
        gathered.measure(bar, measure.notes, losses);
        directions.extend(measure.directions.into_iter().map(|direction| (bar.start, direction)));
        gathered.bar = number + 1;
    }
    gathered.end(losses);
    let mut lines = gathered.lines(raw.staves > 1, bars, losses);
    direct(&mut lines, directions, raw.staves, bars, (index, losses));
    Part {
        name: raw.name,
        instruments: raw.instruments,
        staves: raw.staves,
        transposition: raw.transposition,
        has_chords,
        lines,
    }
}

/// One sounding head, ties worked in.
struct Head {
    start: Time,
    end: Time,
    pitch: Option<Pitch>,
    stroke: u8,
    voice: u16,
    staff: u8,
    marks: Marks,
    tremolo: u8,
    of_two: Option<OfTwo>,
    /// Where the string is touched, of an artificial harmonic.
    touch: Option<Touch>,
    /// Slurs that begin or end, with their numbers.
    slurs: SmallVec<[(u8, bool); 2]>,
    graces: Option<Box<Graces>>,
    lyrics: Sung,
}

struct Gathered {
    part: usize,
    bar: usize,
    heads: Vec<Head>,
    spans: HashMap<u16, Vec<TupletSpan>>,
    /// Heads whose ties wait for what follows, by where they end.
    open: HashMap<(Time, i32), SmallVec<[u32; 2]>>,
    /// Small notes that wait for a note, by voice.
    small: HashMap<u16, (Vec<RawNote>, usize)>,
    /// Numbers of slurs that began on small notes.
    small_slurs: Vec<u8>,
}

impl Gathered {
    fn new(part: usize) -> Gathered {
        Gathered {
            part,
            bar: 0,
            heads: Vec::new(),
            spans: HashMap::new(),
            open: HashMap::new(),
            small: HashMap::new(),
            small_slurs: Vec::new(),
        }
    }

    fn measure(&mut self, bar: &Bar, notes: Vec<RawNote>, losses: &mut Losses) {
        for note in notes {
            if note.at >= bar.length && note.small.is_none() {
                if note.kind != RawKind::Rest {
                    losses.left_out("notes beyond the end of their bar", Some(self.part), self.bar);
                }
                continue;
            }
            if note.small.is_some() {
                for _ in note.lyrics.iter().flat_map(|sung| sung.iter()) {
                    losses.left_out("sung words on grace notes", Some(self.part), self.bar);
                }
                for (number, starts) in &note.slurs {
                    if *starts {
                        losses.left_out("slurs of grace notes", Some(self.part), self.bar);
                        self.small_slurs.push(*number);
                    }
                }
                let bar = self.bar;
                self.small.entry(note.voice).or_insert_with(|| (Vec::new(), bar)).0.push(note);
                continue;
            }
            let start = bar.start + note.at;
            let end = (start + note.length).min(bar.end());
            if note.ratio != (0, 0) {
                self.spans.entry(note.voice).or_default().push(TupletSpan {
                    start,
                    end,
                    ratio: note.ratio,
                    bracket: note.bracket,
                });
            }
            if note.kind != RawKind::Rest {
                self.head(start, end, note, losses);
            }
        }
        self.open.retain(|(end, _), _| *end >= bar.end());
    }

    fn head(&mut self, start: Time, end: Time, mut note: RawNote, losses: &mut Losses) {
        // The end of a slur that was told when it began.
        let small = &mut self.small_slurs;
        note.slurs.retain(|(number, starts)| {
            let told = small.iter().position(|other| other == number).filter(|_| !*starts);
            told.map(|place| small.swap_remove(place)).is_none()
        });
        let (pitch, stroke) = match note.kind {
            RawKind::Pitch(pitch) => (Some(pitch), 0),
            RawKind::Stroke(instrument) => (None, instrument),
            RawKind::Rest => (None, 0),
        };
        let height = pitch.map_or(-1 - i32::from(stroke), Pitch::midi);
        if note.tie_stops {
            if let Some(index) = self.held(start, height, note.voice) {
                let head = &mut self.heads[index as usize];
                head.end = end;
                head.marks.add(note.marks);
                // A slur that begins on a held note begins, to the ear, with the note.
                head.slurs.extend(note.slurs);
                let sung = note.lyrics.as_ref().map_or(0, |sung| sung.len());
                let left = lyrics::add(&mut head.lyrics, note.lyrics);
                for _ in 0..left {
                    losses.left_out("sung words on held notes", Some(self.part), self.bar);
                }
                for _ in left..sung {
                    losses.changed(
                        "sung words on held notes, written where the note begins",
                        Some(self.part),
                        self.bar,
                    );
                }
                if note.tie_starts {
                    self.open.entry((end, height)).or_default().push(index);
                }
                return;
            }
            losses.changed("ties from nowhere, struck", Some(self.part), self.bar);
        }
        let graces = self.graces(note.voice, pitch.is_none(), losses);
        let index = u32::try_from(self.heads.len()).unwrap_or(u32::MAX);
        if note.tie_starts {
            self.open.entry((end, height)).or_default().push(index);
        }
        self.heads.push(Head {
            start,
            end,
            pitch,
            stroke,
            voice: note.voice,
            staff: note.staff,
            marks: note.marks,
            tremolo: note.tremolo,
            of_two: note.of_two,
            touch: note.touch,
            slurs: note.slurs,
            graces,
            lyrics: note.lyrics,
        });
    }

    /// The head that is held on to this time: of the same voice, or of any.
    fn held(&mut self, start: Time, height: i32, voice: u16) -> Option<u32> {
        let open = self.open.get_mut(&(start, height))?;
        let same = open.iter().position(|index| self.heads[*index as usize].voice == voice);
        let found = (!open.is_empty()).then(|| open.remove(same.unwrap_or(0)));
        if open.is_empty() {
            self.open.remove(&(start, height));
        }
        found
    }

    /// The grace notes that wait for a note of a voice, or for a stroke without pitch.
    fn graces(&mut self, voice: u16, stroke: bool, losses: &mut Losses) -> Option<Box<Graces>> {
        let (notes, bar) = self.small.remove(&voice)?;
        if bar != self.bar {
            losses.changed(
                "grace notes at the end of a bar, written before the next note",
                Some(self.part),
                bar,
            );
        }
        let crossed = notes.iter().all(|note| note.small == Some(Small::Crossed));
        let mut graces = Graces { crossed, notes: Vec::new() };
        for note in notes {
            let pitch = match note.kind {
                RawKind::Pitch(pitch) if !stroke => Some(pitch),
                RawKind::Stroke(_) if stroke => None,
                RawKind::Pitch(_) => {
                    losses.left_out("grace notes with a pitch at strokes", Some(self.part), bar);
                    continue;
                }
                _ => {
                    losses.left_out("grace notes without pitch at notes", Some(self.part), bar);
                    continue;
                }
            };
            match graces.notes.last_mut().filter(|_| note.in_chord) {
                Some((_, chord)) => chord.extend(pitch),
                None => {
                    let value = note.value.max(Time::of(1, 128)).min(Time::WHOLE);
                    graces.notes.push((value, pitch.into_iter().collect()));
                }
            }
        }
        for (_, chord) in &mut graces.notes {
            chord.sort_unstable();
            chord.dedup();
        }
        (!graces.notes.is_empty()).then(|| Box::new(graces))
    }

    fn end(&mut self, losses: &mut Losses) {
        let mut left: Vec<usize> = self.small.values().map(|(_, bar)| *bar).collect();
        left.sort_unstable();
        for bar in left {
            losses.left_out("grace notes after the last note", Some(self.part), bar);
        }
    }

    fn lines(mut self, staves: bool, bars: &[Bar], losses: &mut Losses) -> Vec<PartLine> {
        let mut groups: BTreeMap<(u16, u8, u8), Vec<Head>> = BTreeMap::new();
        for head in std::mem::take(&mut self.heads) {
            let stroke = if head.pitch.is_none() { 1 + head.stroke } else { 0 };
            groups.entry((head.voice, stroke, 0)).or_default().push(head);
        }
        let mut found: Vec<(PartLine, Slurs)> = Vec::new();
        for ((voice, stroke, _), heads) in groups {
            let spans = self.spans.get(&voice).cloned().unwrap_or_default();
            let (streams, dropped) = split(heads, staves);
            for start in dropped {
                let bar = bars.partition_point(|bar| bar.end() <= start);
                losses.left_out("notes on top of many others", Some(self.part), bar);
            }
            for chords in streams {
                let staff = usual_staff(&chords);
                for chord in chords.iter().filter(|chord| chord.has_unison()) {
                    losses.changed(
                        "two heads of one note in one chord, written as one",
                        Some(self.part),
                        bars.partition_point(|bar| bar.end() <= chord.start),
                    );
                }
                let (notes, slurs) = chords.into_iter().map(Chord::note).unzip();
                let stroke = stroke.checked_sub(1);
                let line =
                    PartLine { staff, stroke, notes, spans: spans.clone(), ..PartLine::default() };
                found.push((line, slurs));
            }
        }
        found.sort_by_key(|(line, _)| line.staff);
        let found = join(found, bars);
        found
            .into_iter()
            .map(|(mut line, slurs)| {
                slur(&mut line.notes, slurs, bars, (self.part, losses));
                line.spans = one_for_each_chord(line.spans);
                line
            })
            .collect()
    }
}

/// Notes of tuplets in order of time. Heads of one chord are one: only the first has the bracket.
fn one_for_each_chord(mut spans: Vec<TupletSpan>) -> Vec<TupletSpan> {
    spans.sort_by_key(|span| (span.start, span.end, span.ratio));
    spans.dedup_by(|next, kept| {
        let same = (next.start, next.end, next.ratio) == (kept.start, kept.end, kept.ratio);
        if same {
            kept.bracket.0 |= next.bracket.0;
            kept.bracket.1 |= next.bracket.1;
        }
        same
    });
    spans
}

/// Heads that begin and end together.
struct Chord {
    start: Time,
    end: Time,
    heads: SmallVec<[Head; 2]>,
}

impl Chord {
    fn height(&self) -> i32 {
        self.heads.iter().filter_map(|head| head.pitch).map(Pitch::midi).max().unwrap_or(0)
    }

    /// Does one pitch stand in it twice?
    fn has_unison(&self) -> bool {
        let pitches = || self.heads.iter().filter_map(|head| head.pitch);
        pitches()
            .enumerate()
            .any(|(place, pitch)| pitches().take(place).any(|other| other == pitch))
    }

    fn note(self) -> (Note, SmallVec<[(u8, bool); 2]>) {
        let mut note = Note::plain(self.start, self.end, SmallVec::new());
        let mut slurs = SmallVec::new();
        for head in self.heads {
            note.pitches.extend(head.pitch);
            note.marks.add(head.marks);
            note.tremolo = note.tremolo.max(head.tremolo);
            note.of_two = note.of_two.or(head.of_two);
            note.touch = note.touch.or(head.touch);
            note.graces = note.graces.or(head.graces);
            lyrics::add(&mut note.lyrics, head.lyrics);
            slurs.extend(head.slurs);
        }
        note.pitches.sort_unstable();
        note.pitches.dedup();
        (note, slurs)
    }
}

/// Parts heads into streams in which nothing overlaps: as they are if nothing does, else by staff,
/// and where even that does not help by the nearest pitch. Gives back where notes had no room, too.
fn split(heads: Vec<Head>, staves: bool) -> (Vec<Vec<Chord>>, Vec<Time>) {
    let chords = chords(heads);
    if !overlap(&chords) {
        return (vec![chords], Vec::new());
    }
    let mut dropped = Vec::new();
    let mut by_staff: BTreeMap<u8, Vec<Head>> = BTreeMap::new();
    for head in chords.into_iter().flat_map(|chord| chord.heads) {
        by_staff.entry(if staves { head.staff } else { 1 }).or_default().push(head);
    }
    let heads = by_staff.into_values();
    let streams = heads.flat_map(|heads| part_by_pitch(self::chords(heads), &mut dropped));
    (streams.collect(), dropped)
}

fn chords(mut heads: Vec<Head>) -> Vec<Chord> {
    heads.sort_by_key(|head| (head.start, head.end));
    let mut chords: Vec<Chord> = Vec::with_capacity(heads.len());
    for head in heads {
        match chords.last_mut() {
            Some(last) if (last.start, last.end) == (head.start, head.end) => last.heads.push(head),
            _ => chords.push(Chord {
                start: head.start,
                end: head.end,
                heads: SmallVec::from_iter([head]),
            }),
        }
    }
    chords
}

fn overlap(chords: &[Chord]) -> bool {
    chords.windows(2).any(|pair| pair[0].end > pair[1].start)
}

/// Where chords overlap, the highest goes on in the first stream that is free, and the others to
/// the free stream that was nearest in pitch (our heuristic).
fn part_by_pitch(chords: Vec<Chord>, dropped: &mut Vec<Time>) -> Vec<Vec<Chord>> {
    /// More lines than one voice of a file can mean.
    const MOST: usize = 32;
    let mut streams: Vec<(Time, i32, Vec<Chord>)> = Vec::new();
    let mut waiting = chords.into_iter().peekable();
    while let Some(first) = waiting.next() {
        // Everything that overlaps, directly or through others.
        let mut end = first.end;
        let mut cluster = vec![first];
        while let Some(next) = waiting.next_if(|next| next.start < end) {
            end = end.max(next.end);
            cluster.push(next);
        }
        if let [_] = cluster[..] {
            if streams.is_empty() {
                streams.push((Time::ZERO, 60, Vec::new()));
            }
            let chord = cluster.remove(0);
            streams[0].0 = chord.end;
            streams[0].1 = chord.height();
            streams[0].2.push(chord);
            continue;
        }
        cluster.sort_by_key(|chord| (chord.start, -chord.height()));
        for chord in cluster {
            let height = chord.height();
            let free = (0..streams.len())
                .filter(|index| streams[*index].0 <= chord.start)
                .min_by_key(|index| ((streams[*index].1 - height).abs(), *index));
            let index = match free {
                Some(index) => index,
                None if streams.len() >= MOST => {
                    dropped.push(chord.start);
                    continue;
                }
                None => {
                    streams.push((Time::ZERO, height, Vec::new()));
                    streams.len() - 1
                }
            };
            streams[index].0 = chord.end;
            streams[index].1 = height;
            streams[index].2.push(chord);
        }
    }
    streams.into_iter().map(|(_, _, chords)| chords).collect()
}

fn usual_staff(chords: &[Chord]) -> u8 {
    let mut counts = [0usize; 9];
    for head in chords.iter().flat_map(|chord| &chord.heads) {
        counts[usize::from(head.staff.min(8))] += 1;
    }
    let most = (1..9).rev().max_by_key(|staff| counts[*staff]).unwrap_or(1);
    u8::try_from(most).unwrap_or(1)
}

/// Slurs of the notes of a line: for each note, those that begin or end.
type Slurs = Vec<SmallVec<[(u8, bool); 2]>>;

/// Joins lines of one staff that never sound in the same bar: files number a line now so, now
/// otherwise.
fn join(found: Vec<(PartLine, Slurs)>, bars: &[Bar]) -> Vec<(PartLine, Slurs)> {
    let mut joined: Vec<(PartLine, Slurs, Vec<bool>)> = Vec::new();
    for (line, slurs) in found {
        let sounds = bars_of(&line.notes, bars);
        let place = joined.iter().position(|(other, _, taken)| {
            other.staff == line.staff
                && other.stroke == line.stroke
                && !taken.iter().zip(&sounds).any(|(one, two)| *one && *two)
        });
        match place {
            None => joined.push((line, slurs, sounds)),
            Some(place) => {
                let (other, other_slurs, taken) = &mut joined[place];
                let notes = std::mem::take(&mut other.notes);
                let first = notes.into_iter().zip(std::mem::take(other_slurs));
                let mut all: Vec<_> = first.chain(line.notes.into_iter().zip(slurs)).collect();
                all.sort_by_key(|(note, _)| note.start);
                (other.notes, *other_slurs) = all.into_iter().unzip();
                other.spans.extend(line.spans);
                taken.iter_mut().zip(sounds).for_each(|(one, two)| *one |= two);
            }
        }
    }
    joined.into_iter().map(|(line, slurs, _)| (line, slurs)).collect()
}

/// In which bars notes sound.
fn bars_of(notes: &[Note], bars: &[Bar]) -> Vec<bool> {
    let mut sounds = vec![false; bars.len()];
    let mut bar = 0;
    for note in notes {
        while bar + 1 < bars.len() && bars[bar].end() <= note.start {
            bar += 1;
        }
        let mut at = bar;
        while at < bars.len() && bars[at].start < note.end {
            sounds[at] = true;
            at += 1;
        }
    }
    sounds
}

/// Sets the slurs of a line, as many as the language can say: none begins while another is open.
fn slur(notes: &mut [Note], slurs: Slurs, bars: &[Bar], (part, losses): (usize, &mut Losses)) {
    let bar_of = |time: Time| bars.partition_point(|bar| bar.end() <= time);
    let mut open: HashMap<u8, usize> = HashMap::new();
    let mut found: Vec<(usize, usize)> = Vec::new();
    for (index, marks) in slurs.iter().enumerate() {
        // What ends here began earlier.
        for (number, _) in marks.iter().filter(|(_, starts)| !starts) {
            match open.remove(number) {
                Some(start) if start < index => found.push((start, index)),
                _ => losses.left_out(
                    "slurs from one voice to another",
                    Some(part),
                    bar_of(notes[index].start),
                ),
            }
        }
        for (number, _) in marks.iter().filter(|(_, starts)| *starts) {
            if open.insert(*number, index).is_some() {
                losses.left_out("slurs without an end", Some(part), bar_of(notes[index].start));
            }
        }
    }
    for start in open.into_values() {
        losses.left_out("slurs without an end", Some(part), bar_of(notes[start].start));
    }
    found.retain(|(start, end)| {
        let breaks = notes[*start..=*end].windows(2).any(|pair| pair[0].end < pair[1].start);
        if breaks {
            losses.left_out("slurs over a rest", Some(part), bar_of(notes[*start].start));
        }
        !breaks
    });
    found.sort_by_key(|(start, end)| (*end, std::cmp::Reverse(*start)));
    let mut last: Option<usize> = None;
    for (start, end) in found {
        if last.is_some_and(|last| start <= last) {
            losses.left_out(
                "slurs inside a slur, or that begin where another ends",
                Some(part),
                bar_of(notes[start].start),
            );
            continue;
        }
        notes[start].slur_starts = true;
        notes[end].slur_ends = true;
        last = Some(end);
    }
}
