//! The hairpins that each of two reads on their staff.

use ripieno::edition::{DirectionKind, Edition, EditionPart, EditionStaff, SpannerKind};
use ripieno::music::Time;
use ripieno::notate::{ElementKind, Score, Staff, StaffDirectionKind};

/// From when to when somebody grows or fades.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Pin {
    from: Time,
    to: Time,
    grows: bool,
}

/// Those of a player's own part.
fn own(score: &Score, staff: &Staff) -> Vec<Pin> {
    let mut pins = Vec::new();
    let mut open = None;
    for (bar, measure) in score.frame.iter().zip(&staff.measures) {
        for said in &measure.directions {
            let at = bar.start + said.at;
            match said.kind {
                StaffDirectionKind::HairpinStarts { grows } => open = Some((at, grows)),
                StaffDirectionKind::HairpinEnds => {
                    let ended = open.take();
                    pins.extend(ended.map(|(from, grows)| Pin { from, to: at, grows }));
                }
                _ => {}
            }
        }
    }
    pins
}

/// When each of his notes sounds, tied ones as one.
fn notes(score: &Score, staff: &Staff) -> Vec<(Time, Time)> {
    let mut notes: Vec<(Time, Time)> = Vec::new();
    for (bar, measure) in score.frame.iter().zip(&staff.measures) {
        for element in &measure.elements {
            let ElementKind::Note(note) = &element.kind else { continue };
            let (from, to) = (bar.start + element.at, bar.start + element.at + element.length);
            match notes.last_mut().filter(|_| note.tie_from) {
                Some(before) => before.1 = to,
                None if note.grace.is_none() => notes.push((from, to)),
                None => {}
            }
        }
    }
    notes
}

/// When a player is told a level.
fn told(score: &Score, staff: &Staff) -> Vec<Time> {
    let bars = score.frame.iter().zip(&staff.measures);
    bars.flat_map(|(bar, measure)| {
        let said = measure.directions.iter();
        let said = said.filter(|said| matches!(said.kind, StaffDirectionKind::Dynamic(_)));
        said.map(|said| bar.start + said.at)
    })
    .collect()
}

/// Those of a staff, with the bar in which each begins, and whether it stands above.
fn spans(score: &Score, staff: &EditionStaff) -> Vec<(usize, Pin, bool)> {
    let place = |(bar, at): (usize, Time)| score.frame[bar].start + at;
    let spans = staff.spans.iter().filter_map(|span| match span.kind {
        SpannerKind::Hairpin { from, to, grows } => {
            Some((from.0, Pin { from: place(from), to: place(to), grows }, span.above))
        }
        _ => None,
    });
    spans.collect()
}

/// Those that the first or second of two takes for his on the staff that they share. Where both have stems of their
/// own, what stands above is for the first; what stands below is for the second, and for both as long as
/// nothing of loudness above tells the first something else.
fn read(score: &Score, staff: &EditionStaff, who: usize) -> Vec<Pin> {
    let place = |(bar, at): (usize, Time)| score.frame[bar].start + at;
    let spans = spans(score, staff);
    let apart = |bar: usize| staff.bars[bar].voices.len() == 2;
    // What tells the first something that the second is not told: in which bar, from when, until when.
    let mut above: Vec<(usize, Time, Time)> = Vec::new();
    for bar in (0..staff.bars.len()).filter(|bar| apart(*bar)) {
        for said in &staff.bars[bar].directions {
            if said.above && matches!(said.kind, DirectionKind::Dynamic(_)) {
                above.push((bar, place((bar, said.at)), Time::ZERO));
            }
        }
    }
    let over = spans.iter().filter(|(.., over)| *over);
    above.extend(over.map(|(bar, pin, _)| (*bar, pin.from, pin.to)));
    let mut pins = Vec::new();
    let all = spans.clone();
    for (first, pin, over) in spans {
        let end = above.iter().filter(|(_, from, _)| *from > pin.from && *from < pin.to);
        let end = end.map(|(_, from, _)| *from).min().unwrap_or(pin.to);
        // "2.", unless the hairpin before it goes on there: then his level alone is meant.
        let goes_on = |&(_, before, over): &(usize, Pin, bool)| {
            !over && (before.to, before.grows) == (pin.from, pin.grows)
        };
        let named = !all.iter().any(goes_on)
            && staff.bars[first].directions.iter().any(|said| {
                let who = matches!(said.kind, DirectionKind::Who(_));
                !said.above && place((first, said.at)) == pin.from && who
            });
        let set_apart = named
            || above
                .iter()
                .any(|&(bar, from, to)| from <= pin.from && (bar == first || pin.from < to));
        let mut bar = first;
        while bar < staff.bars.len() && score.frame[bar].start < pin.to {
            let frame = &score.frame[bar];
            let (from, mut to) =
                (pin.from.max(frame.start), pin.to.min(frame.start + frame.length));
            let his = match (apart(bar), over, who) {
                (false, ..) | (true, true, 0) | (true, false, 1) => true,
                (true, true, _) => false,
                (true, false, _) => {
                    to = to.min(end);
                    !set_apart
                }
            };
            if his && from < to {
                pins.push(Pin { from, to, ..pin });
            }
            bar += 1;
        }
    }
    pins.sort();
    pins
}

/// What of some hairpins falls on a note.
fn on(pins: &[Pin], (from, to): (Time, Time)) -> Vec<Pin> {
    let mut all: Vec<Pin> = Vec::new();
    for pin in pins {
        let pin = Pin { from: pin.from.max(from), to: pin.to.min(to), ..*pin };
        match all.last_mut() {
            _ if pin.from >= pin.to => {}
            Some(before) if before.grows == pin.grows && pin.from <= before.to => {
                before.to = before.to.max(pin.to);
            }
            _ => all.push(pin),
        }
    }
    all
}

/// What two who share a staff read of hairpins otherwise than their own parts have it.
pub(super) fn unread(score: &Score, edition: &Edition, part: &EditionPart) -> Vec<String> {
    let mut missing = Vec::new();
    for (who, player) in part.players.clone().enumerate() {
        let staff = &score.staves[edition.players[player].index];
        let (own, notes) = (own(score, staff), notes(score, staff));
        let told = told(score, staff);
        let shared = spans(score, &edition.staves[part.staves.start]);
        let read = read(score, &edition.staves[part.staves.start], who);
        for (index, &note) in notes.iter().enumerate() {
            let (has, reads) = (on(&own, note), on(&read, note));
            if has == reads
                || goes_on(&has, &reads, note, notes.get(index + 1), &own)
                || has.is_empty() && drops_out(&shared, &notes, note, &told)
            {
                continue;
            }
            let bar = score.frame.partition_point(|bar| bar.start <= note.0) - 1;
            let frame = &score.frame[bar];
            let tell = |pins: &[Pin]| {
                let sign = |pin: &Pin| {
                    let (from, to) = (pin.from - frame.start, pin.to - frame.start);
                    format!("{} {from} to {to}", if pin.grows { "grows" } else { "fades" })
                };
                pins.iter().map(sign).collect::<Vec<_>>().join(", ")
            };
            let (at, name) = (note.0 - frame.start, &edition.players[player].name);
            let (has, reads) = (tell(&has), tell(&reads));
            let number = &frame.number;
            missing.push(format!(
                "{name}, bar {number}, the note at {at}: has [{has}], reads [{reads}]"
            ));
        }
    }
    missing
}

/// Does he only hold on to his last note of a hairpin a little as the other goes on with it, or does he come to its goal
/// there, with a rest behind it?
fn goes_on(
    has: &[Pin],
    reads: &[Pin],
    note: (Time, Time),
    next: Option<&(Time, Time)>,
    own: &[Pin],
) -> bool {
    match (has.split_last(), reads.split_last()) {
        (Some((own, before)), Some((read, also))) => {
            before == also && (own.from, own.grows) == (read.from, read.grows) && own.to < read.to
        }
        (None, Some((read, []))) => {
            let leads = |pin: &Pin| pin.to == note.0 && pin.grows == read.grows;
            read.from == note.0 && own.iter().any(leads) && next.is_none_or(|next| next.0 > note.1)
        }
        _ => false,
    }
}

/// Does he fall silent before the end of what he reads, without having been told anything? His own part does without a
/// beginning that leads nowhere; beside the other, who goes on, it leads somewhere.
fn drops_out(
    shared: &[(usize, Pin, bool)],
    notes: &[(Time, Time)],
    note: (Time, Time),
    told: &[Time],
) -> bool {
    shared.iter().any(|(_, pin, _)| {
        let over = pin.from < note.1 && note.0 < pin.to;
        let silent = !notes.iter().any(|(from, to)| *from < pin.to && pin.to <= *to);
        over && silent && !told.iter().any(|at| pin.from < *at && *at < pin.to)
    })
}
