//! Track 0: what all players share.

use crate::narrow::Narrow;
use midly::MetaMessage;
use midly::num::u24;

use crate::music::{Metre, Mode, Time};
use crate::resolve::{Bar, Form, Piece, Tempo};

use super::ticks::Ticks;
use super::{Event, Rank};
use crate::perform::Performance;

pub(super) fn events<'a>(
    piece: &'a Piece,
    performance: &Performance,
    ticks: Ticks,
) -> Vec<Event<'a>> {
    let mut events = Vec::new();
    let mut name = |message| events.push(Event::meta(0, Rank::Name, message));
    // The specification asks for the notice about rights as the first event of the file.
    if let Some(licence) = &piece.licence {
        name(MetaMessage::Copyright(licence.as_bytes()));
    }
    name(MetaMessage::TrackName(piece.title.as_bytes()));
    for text in
        [&piece.subtitle, &piece.composer, &piece.arranger, &piece.revision].into_iter().flatten()
    {
        name(MetaMessage::Text(text.as_bytes()));
    }
    frame(&piece.form, performance, ticks, &mut events);
    events
}

fn frame<'a>(form: &'a Form, performance: &Performance, ticks: Ticks, events: &mut Vec<Event<'a>>) {
    let (mut tempo, mut metre, mut key) = (None, None, None);
    let mut entered = 0;
    for &(index, at) in &performance.timeline.bars {
        let bar = &form.bars[index];
        let tick = ticks.of(at);
        let mut push = |message| events.push(Event::meta(tick, Rank::Change, message));
        // Each movement has a title, where it is first played.
        let movement = form.movements.get(entered).filter(|movement| movement.first == index);
        if let Some(movement) = movement {
            entered += 1;
            push(MetaMessage::Marker(movement.title.as_bytes()));
            (metre, key) = (None, None);
        }
        if let Some(mark) = &bar.mark {
            push(MetaMessage::Marker(mark.as_bytes()));
        }
        if metre != Some(counted(bar)) {
            metre = Some(counted(bar));
            push(time_signature(counted(bar), bar.metre));
        }
        if key != Some(bar.key) {
            key = Some(bar.key);
            push(MetaMessage::KeySignature(
                bar.key.fifths().narrow::<i8>(),
                bar.key.mode == Mode::Minor,
            ));
        }
        for (written, micros) in performance.tempos.of_bar(bar.start, bar.start + bar.length) {
            if tempo != Some(micros) {
                tempo = Some(micros);
                let tick = ticks.of(at + (written - bar.start));
                let message = MetaMessage::Tempo(u24::new(micros));
                events.push(Event::meta(tick, Rank::Change, message));
            }
        }
        if let Some(Tempo { words: Some(words), .. }) = &bar.tempo {
            let message = MetaMessage::Text(words.as_bytes());
            events.push(Event::meta(tick, Rank::Change, message));
        }
    }
}

/// The units that a bar really holds, and which: a pick-up of a quarter is a bar of 1/4, so that
/// the bar lines of a sequencer fall where those on paper do.
fn counted(bar: &Bar) -> (u8, u8) {
    let usual = (bar.metre.count, bar.metre.unit);
    if bar.length == bar.metre.bar_length() {
        return usual;
    }
    let in_units = bar.length.ratio(Time::of(1, i64::from(bar.metre.unit)));
    let (count, unit) = match in_units {
        Some((count, 1)) => (count, i64::from(bar.metre.unit)),
        _ => bar.length.fraction(),
    };
    match (u8::try_from(count), u8::try_from(unit)) {
        (Ok(count), Ok(unit)) if count > 0 && unit.is_power_of_two() => (count, unit),
        _ => usual,
    }
}

fn time_signature((count, unit): (u8, u8), metre: Metre) -> MetaMessage<'static> {
    // A click on each beat, in clocks of which a quarter has 24 (a whole note 96).
    let (numerator, denominator) = metre.beat().fraction();
    let clocks = (96 * numerator / denominator).clamp(1, 255) as u8;
    MetaMessage::TimeSignature(count, unit.trailing_zeros().narrow::<u8>(), clocks, 8)
}
