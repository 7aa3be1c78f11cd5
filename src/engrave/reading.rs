//! Takes an edition over into a sheet: the only place that knows how an edition is made.

use ripieno_compiler::narrow::Narrow;
use std::collections::HashMap;
use std::ops::Range;

use ripieno_compiler::instruments::{Clef, Family};
use ripieno_compiler::music::{Interval, Time};
use ripieno_compiler::resolve::seconds_per_whole;
use ripieno_writers::edition::{self, Edition, EditionStaff, GroupSign, SpannerKind, Stems};
use ripieno_writers::notate::{Element, ElementKind};

use crate::packed::{Packed, Packer};
use crate::page::Origin;
use crate::paper::Setup;
use crate::rows::{Spans, Stretch};
use crate::sheet::{
    Bar, BarVoice, Direction, Event, Group, Heading, OfPair, Sheet, SheetPlace, Side, Span,
    SpanKind, Staff, StaffBar,
};

/// The sheet of an edition. Bars of rest that are counted together are one bar.
#[must_use]
pub fn sheet(edition: &Edition) -> Sheet {
    sheet_for(edition, &Setup::default())
}

/// The same for pages whose lines or pages are to begin with some bars: rests are counted anew there.
#[must_use]
pub fn sheet_for(edition: &Edition, setup: &Setup) -> Sheet {
    let bars = bars(edition, setup);
    let mut contents = Contents::default();
    let rows = read(edition, 0, &bars, &mut contents);
    let mut sheet = frame(edition, bars, rows);
    for (staff, (bars, spans)) in sheet.staves.iter_mut().zip(contents.0) {
        (staff.bars, staff.spans) = (Stretch::new(0, bars), Spans::new(spans));
    }
    let silent = sheet.staves.iter().flat_map(|staff| &staff.bars).all(StaffBar::is_silent);
    sheet.tacet = sheet.is_part && silent;
    sheet
}

/// The sheet of a score that is read part by part, so that no more than one need be notated at a time:
/// `one` hands over the edition of the part of that number. So may be read what a player reads, which
/// is one part. Nothing where there are no parts.
#[must_use]
pub fn packed(
    parts: usize,
    one: impl Fn(usize, &mut dyn FnMut(Edition)),
    setup: &Setup,
) -> Option<Packed> {
    let mut packer = Packer::default();
    let mut whole: Option<(Edition<'static>, Bars)> = None;
    let mut rows = Vec::new();
    for part in 0..parts {
        one(part, &mut |edition| match &mut whole {
            None => {
                let bars = bars(&edition, setup);
                rows.extend(read(&edition, 0, &bars, &mut packer));
                whole = Some((edition.without_bars(), bars));
            }
            Some((whole, bars)) => {
                rows.extend(read(&edition, whole.staves.len(), bars, &mut packer));
                whole.add(edition.without_bars());
            }
        });
    }
    let (edition, bars) = whole?;
    Some(packer.sheet(frame(&edition, bars, rows)))
}

/// Takes what stands on staves, one after the other.
trait Take {
    /// Begins a staff, of that index in the edition.
    fn staff(&mut self, number: usize);
    /// Its next bar.
    fn bar(&mut self, bar: StaffBar);
    /// Ends it with what spans its bars.
    fn spans(&mut self, spans: Vec<Span>);
}

/// Bars and spans of each staff.
#[derive(Default)]
struct Contents(Vec<(Vec<StaffBar>, Vec<Span>)>);

impl Take for Contents {
    fn staff(&mut self, _: usize) {
        self.0.push((Vec::new(), Vec::new()));
    }

    fn bar(&mut self, bar: StaffBar) {
        if let Some((bars, _)) = self.0.last_mut() {
            bars.push(bar);
        }
    }

    fn spans(&mut self, spans: Vec<Span>) {
        if let Some((_, own)) = self.0.last_mut() {
            *own = spans;
        }
    }
}

impl Take for Packer {
    fn staff(&mut self, number: usize) {
        Packer::staff(self, number);
    }

    fn bar(&mut self, bar: StaffBar) {
        Packer::bar(self, bar);
    }

    fn spans(&mut self, spans: Vec<Span>) {
        Packer::spans(self, spans);
    }
}

/// A staff of the sheet, without what stands on it.
struct Row {
    /// Index of the staff in the edition.
    number: usize,
    voices: usize,
    of_pair: Option<OfPair>,
    /// One of two players who share a staff elsewhere.
    alone: Option<Alone>,
}

struct Alone {
    name: String,
    short: String,
    /// Index in the arrangement.
    player: usize,
    /// 1 for the first, 2 for the second.
    which: usize,
}

/// Reads the staves of an edition, of which the first has that index among all; where two players part,
/// the staves of each follow the one that they share.
fn read(edition: &Edition, first: usize, bars: &Bars, take: &mut impl Take) -> Vec<Row> {
    let mut rows = Vec::with_capacity(edition.staves.len());
    for (number, own) in (first..).zip(&edition.staves) {
        let parting = edition.partings.iter().find(|parting| parting.part == own.part);
        let of_pair = parting.map(|_| OfPair::Shared);
        let parted = parting.map_or(&[][..], |parting| &parting.parted);
        let voices = read_staff(edition, (number, own), bars, parted, take);
        rows.push(Row { number, voices, of_pair, alone: None });
        for (alone, which) in parting.iter().flat_map(|parting| &parting.alone).zip(1..) {
            let voices = read_staff(edition, (number, &alone.staff), bars, &[], take);
            let alone = Alone {
                name: alone.name.clone(),
                short: alone.short.clone(),
                player: edition.players[alone.player].index,
                which,
            };
            let of_pair = Some(OfPair::Alone);
            rows.push(Row { number, voices, of_pair, alone: Some(alone) });
        }
    }
    rows
}

/// All of a sheet but what stands on its staves. Of the edition nothing is asked that stands in bars.
fn frame(edition: &Edition, Bars { bars, closing, .. }: Bars, rows: Vec<Row>) -> Sheet {
    // Where the staves of the edition stand on the sheet, and where the last one ends.
    let mut places = Vec::with_capacity(edition.staves.len() + 1);
    let mut staves: Vec<Staff> = Vec::with_capacity(rows.len());
    for row in rows {
        if row.alone.is_none() {
            places.push(staves.len());
        }
        let lanes = staves.last().map_or(0, |staff| staff.lanes.end);
        staves.push(named_staff(edition, row, lanes));
    }
    places.push(staves.len());
    let head = &edition.head;
    let needs: Vec<&str> =
        [&head.keys, &head.also].into_iter().flatten().map(String::as_str).collect();
    let mut groups: Vec<Group> = edition
        .groups
        .iter()
        .map(|group| Group {
            staves: places[group.staves.start]..places[group.staves.end],
            sign: group.sign,
            bar_lines: group.bar_lines,
        })
        .collect();
    groups.extend(parted(&staves, &groups));
    Sheet {
        title: head.title.clone(),
        subtitle: head.subtitle.clone(),
        composer: head.composer.clone(),
        arranger: head.arranger.clone(),
        licence: head.licence.clone(),
        revision: head.revision.clone(),
        scoring: head.scoring.clone(),
        name: head.name.clone(),
        needs: (!needs.is_empty()).then(|| needs.join(", ")),
        source: head.source.clone(),
        is_part: matches!(edition.kind, edition::Kind::Part(_)),
        tacet: false,
        bars,
        closing,
        staves,
        groups,
    }
}

/// Thin brackets for pairs of a condensed score, whose two staves have one where the players part, as they
/// have in a full one.
fn parted(staves: &[Staff], groups: &[Group]) -> Vec<Group> {
    let alone = |n: &usize| staves[*n].of_pair == Some(OfPair::Alone);
    let mut pairs = Vec::new();
    let mut n = 0;
    while n < staves.len() {
        let pair = n..n + (n..staves.len()).take_while(alone).count();
        let inside = |group: &&Group| {
            group.sign == GroupSign::SubBracket
                && group.staves.start <= pair.start
                && group.staves.end >= pair.end
        };
        if pair.len() > 1 && !groups.iter().any(|group| inside(&group)) {
            pairs.push(Group {
                staves: pair.clone(),
                sign: GroupSign::SubBracket,
                bar_lines: false,
            });
        }
        n += pair.len().max(1);
    }
    pairs
}

/// The bars that are shown.
struct Bars {
    bars: Vec<Bar>,
    /// For each bar of the form the one in which it is shown.
    index: Vec<usize>,
    /// The headings of movements behind the last bar.
    closing: Vec<Heading>,
}

fn bars(edition: &Edition, setup: &Setup) -> Bars {
    let begins = |bar: usize| setup.lines.contains(&bar) || setup.turns.contains(&bar);
    let mut headings = Vec::new();
    let mut bars: Vec<Bar> = Vec::with_capacity(edition.bars.len());
    let mut index = Vec::with_capacity(edition.bars.len());
    let mut pace = seconds_per_whole(None) / 4.0;
    for (n, frame) in edition.bars.iter().enumerate() {
        if let Some(beat) = frame.tempo.as_ref().and_then(|tempo| tempo.beat) {
            pace = seconds_per_whole(Some(beat)) / 4.0;
        }
        headings.extend(edition.movement_at(n).and_then(|(_, movement)| {
            Some(Heading { words: movement.heading()?, tacet: movement.tacet })
        }));
        let movement = edition.movements.get(edition.movement_of(n));
        if movement.is_some_and(|movement| movement.tacet && movement.title.is_some()) {
            index.push(bars.len().saturating_sub(1));
            continue;
        }
        let first = edition.staves.first().and_then(|staff| staff.bars.get(n));
        if first.is_some_and(|bar| bar.counted)
            && !begins(n)
            && let Some(begun) = bars.last_mut()
        {
            begun.line = frame.line;
            begun.repeat_ends = frame.repeat_ends;
            begun.ending_ends = frame.ending_ends;
            begun.signs.extend(frame.signs.iter().filter(|sign| sign.stands_at_end()));
            begun.length += frame.length;
            begun.count += 1;
            index.push(bars.len() - 1);
            continue;
        }
        index.push(bars.len());
        bars.push(Bar {
            index: n,
            count: 1,
            number: frame.number,
            length: frame.length,
            begins_at: Time::ZERO,
            up_beat: frame.up_beat,
            goes_on: false,
            metre: frame.metre,
            metre_shown: frame.metre_shown,
            headings: std::mem::take(&mut headings),
            tempo: frame.tempo.clone(),
            mark: frame.mark.clone(),
            repeat_starts: frame.repeat_starts,
            repeat_ends: frame.repeat_ends,
            ending_starts: frame.ending_starts,
            ending_ends: frame.ending_ends,
            line: frame.line,
            implicit: frame.implicit,
            signs: frame.signs.to_vec(),
            pace,
        });
    }
    Bars { bars, index, closing: headings }
}

/// Reads what stands on a staff; gives back how many voices it has. In some bars two players who share
/// it may part.
fn read_staff(
    edition: &Edition,
    (number, staff): (usize, &EditionStaff),
    bars: &Bars,
    parted: &[bool],
    take: &mut impl Take,
) -> usize {
    take.staff(number);
    contents(edition, (number, staff), &bars.bars, &mut |n, mut bar| {
        bar.parted = parted.get(n) == Some(&true);
        take.bar(bar);
    });
    take.spans(staff.spans.iter().map(|span| read_span(span, &bars.index)).collect());
    staff.bars.iter().map(|bar| bar.voices.len()).max().unwrap_or(1)
}

/// A staff with its names, without bars; its voices come behind those of the staves above it.
fn named_staff(edition: &Edition, row: Row, first_lane: usize) -> Staff {
    let Row { number, voices, of_pair, alone } = row;
    let staff = &edition.staves[number];
    let part = &edition.parts[staff.part];
    let named = part.staves.start == number;
    let family = |number: usize| {
        let players = edition.parts[edition.staves[number].part].players.clone();
        edition
            .players
            .get(players.start)
            .and_then(|player| player.instruments.first())
            .map(|i| i.family)
    };
    let strings = |number: usize| family(number) == Some(Family::Strings);
    let players = edition.players[part.players.clone()].iter().map(|player| player.index);
    let mut own = Staff {
        name: if named { part.name.clone() } else { String::new() },
        abbreviation: if named { part.short.clone() } else { String::new() },
        part: staff.part,
        players: players.collect(),
        braced: named && part.staves.len() > 1,
        strings_begin: number > 0 && strings(number) && !strings(number - 1),
        lanes: first_lane..first_lane + voices,
        bars: Stretch::default(),
        spans: Spans::default(),
        of_pair,
    };
    if let Some(alone) = alone {
        (own.name, own.abbreviation) = (alone.name, alone.short);
        // Parts of their own, behind all others.
        own.part = edition.parts.len() + 2 * staff.part + alone.which;
        own.players = vec![alone.player];
        own.strings_begin &= alone.which == 1;
    }
    own
}

fn read_span(span: &edition::Spanner, index: &[usize]) -> Span {
    let place = |place: edition::StaffPlace| SheetPlace {
        bar: index[place.bar],
        voice: place.voice,
        element: place.element,
    };
    let time = |(bar, time): (usize, Time)| (index[bar], time);
    let kind = match &span.kind {
        SpannerKind::Slur { from, to } => SpanKind::Slur(place(*from), place(*to)),
        SpannerKind::SlurLeaves { from, to } => SpanKind::SlurLeaves(place(*from), time(*to)),
        SpannerKind::SlurArrives { from, to } => SpanKind::SlurArrives(time(*from), place(*to)),
        SpannerKind::TrillLine { from, to } => SpanKind::Trill(place(*from), place(*to)),
        SpannerKind::Hairpin { from, to, grows } => {
            SpanKind::Hairpin { from: time(*from), to: time(*to), grows: *grows }
        }
        SpannerKind::OctaveLine { from, to, octaves } => {
            SpanKind::Octave { from: time(*from), to: time(*to), octaves: *octaves }
        }
    };
    Span { kind, above: span.above, cut: (false, false) }
}

/// Hands over each bar that is shown, with its index in the form.
fn contents(
    edition: &Edition,
    (number, staff): (usize, &EditionStaff),
    bars: &[Bar],
    take: &mut dyn FnMut(usize, StaffBar),
) {
    let mut clef = Clef::Treble;
    let mut key = 0;
    let mut lines = 5;
    let mut shown = bars.iter().map(|bar| bar.index).peekable();
    let moved = moved(staff);
    for (n, bar) in staff.bars.iter().enumerate() {
        lines = bar.lines.unwrap_or(lines);
        let first_clef = bar.clefs.iter().find(|(at, _)| *at == Time::ZERO).map(|(_, clef)| *clef);
        // A movement begins as if nothing stood before it.
        let begins =
            n == 0 || edition.movement_at(n).is_some_and(|(_, movement)| movement.title.is_some());
        if begins {
            (clef, key) = (first_clef.unwrap_or(clef), 0);
        }
        let before = key;
        // On one line nobody reads a signature; who takes an instrument with pitch again has it anew.
        key = if lines == 1 { 0 } else { key };
        key = bar.key.map_or(key, |key| key.fifths());
        let later = |at: Time| !begins || at > Time::ZERO;
        let clefs: Vec<(Time, Clef)> =
            bar.clefs.iter().copied().filter(|(at, _)| later(*at)).collect();
        if shown.next_if_eq(&n).is_some() {
            let moved = moved.get(&n).map_or(&[][..], Vec::as_slice);
            let own = StaffBar {
                lines,
                clef,
                key,
                key_change: bar.key.filter(|_| !begins && before != key).map(|_| before),
                clefs: clefs.clone(),
                voices: voices(number, n, bar, moved),
                directions: bar
                    .directions
                    .iter()
                    .map(|said| Direction {
                        at: said.at,
                        kind: said.kind.clone(),
                        above: said.above,
                    })
                    .collect(),
                parted: false,
                absent: bar.absent,
                who: bar.who.as_ref().map(|(at, kind)| Direction {
                    at: *at,
                    kind: kind.clone(),
                    above: true,
                }),
            };
            take(n, own);
        }
        if let Some((_, last)) = clefs.last() {
            clef = *last;
        }
    }
}

/// A stretch of a bar under a line of octaves: from when to when, and how far its heads move.
type Moved = (Time, Time, Interval);

/// What stands under lines of octaves, bar by bar, where anything does.
fn moved(staff: &EditionStaff) -> HashMap<usize, Vec<Moved>> {
    let mut moved: HashMap<usize, Vec<Moved>> = HashMap::new();
    for span in &staff.spans {
        let SpannerKind::OctaveLine { from, to, octaves } = span.kind else { continue };
        for bar in from.0..=to.0 {
            let begins = if from.0 == bar { from.1 } else { Time::ZERO };
            let ends = if to.0 == bar { to.1 } else { staff_end(staff, bar) };
            let away = Interval::octaves(-i32::from(octaves));
            moved.entry(bar).or_default().push((begins, ends, away));
        }
    }
    moved
}

/// Where the last thing in a bar of a staff ends.
fn staff_end(staff: &EditionStaff, bar: usize) -> Time {
    let elements = staff.bars[bar].voices.iter().flat_map(|voice| voice.elements.iter());
    elements.map(|element| element.at + element.length).max().unwrap_or_default()
}

/// Puts the heads of an element where they are read.
fn put(element: &mut Element, moved: &[Moved]) {
    let at = element.at;
    let line = moved.iter().find(|(from, to, _)| (*from..*to).contains(&at));
    if let (Some((.., away)), ElementKind::Note(note)) = (line, &mut element.kind) {
        for head in &mut note.heads {
            head.pitch = head.pitch.transposed_or_respelled(*away);
        }
    }
}

fn voices(
    staff: usize,
    bar: usize,
    contents: &edition::StaffBar,
    moved: &[Moved],
) -> Vec<BarVoice> {
    let read = |(voice, what): (usize, &edition::VoiceBar)| {
        let events = what.elements.iter().enumerate().map(|(element, printed)| Event {
            element: {
                let mut printed = printed.clone();
                put(&mut printed, moved);
                printed
            },
            origin: Origin {
                staff: staff.narrow::<u16>(),
                bar: bar.narrow::<u32>(),
                voice: voice.narrow::<u8>(),
                element: element.narrow::<u16>(),
                head: 0,
                source: printed.origin.source,
            },
        });
        let side = match what.stems {
            Stems::Free => None,
            Stems::Up => Some(Side::Upper),
            Stems::Down => Some(Side::Lower),
        };
        BarVoice { side, events: events.collect() }
    };
    contents.voices.iter().enumerate().map(read).collect()
}

/// Bars of the sheet that show bars of the form.
#[must_use]
pub fn shown(sheet: &Sheet, form: Range<usize>) -> Range<usize> {
    let from = sheet.bars.partition_point(|bar| bar.index + bar.count as usize <= form.start);
    let to = sheet.bars.partition_point(|bar| bar.index < form.end);
    from..to.max(from)
}
