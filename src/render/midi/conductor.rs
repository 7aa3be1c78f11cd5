//! Track 0: what all players share.

use midly::MetaMessage;
use midly::num::u24;

use crate::music::{Metre, Mode, Time};
use crate::resolve::{Bar, Form, Piece, Tempo, seconds_per_whole};

use super::timeline::Timeline;
use super::{Event, Rank};

pub(super) fn events<'a>(piece: &'a Piece, timeline: &Timeline) -> Vec<Event<'a>> {
    let mut events = Vec::new();
    let mut name = |message| events.push(Event::meta(0, Rank::Name, message));
    // The specification asks for the notice about rights as the first event of the file.
    if let Some(licence) = &piece.licence {
        name(MetaMessage::Copyright(licence.as_bytes()));
    }
    name(MetaMessage::TrackName(piece.title.as_bytes()));
    for text in [&piece.subtitle, &piece.composer, &piece.arranger].into_iter().flatten() {
        name(MetaMessage::Text(text.as_bytes()));
    }
    frame(&piece.form, timeline, &mut events);
    events
}

fn frame<'a>(form: &'a Form, timeline: &Timeline, events: &mut Vec<Event<'a>>) {
    let tempos = tempos(form);
    let (mut tempo, mut metre, mut key) = (None, None, None);
    for &(index, at) in &timeline.bars {
        let bar = &form.bars[index];
        let tick = timeline.ticks(at);
        let mut push = |message| events.push(Event::meta(tick, Rank::Change, message));
        if let Some(mark) = &bar.mark {
            push(MetaMessage::Marker(mark.as_bytes()));
        }
        if metre != Some(counted(bar)) {
            metre = Some(counted(bar));
            push(time_signature(counted(bar), bar.metre));
        }
        if key != Some(bar.key) {
            key = Some(bar.key);
            push(MetaMessage::KeySignature(bar.key.fifths() as i8, bar.key.mode == Mode::Minor));
        }
        if tempo != Some(tempos[index]) {
            tempo = Some(tempos[index]);
            push(MetaMessage::Tempo(u24::new(tempos[index])));
        }
        if let Some(Tempo { words: Some(words), .. }) = &bar.tempo {
            push(MetaMessage::Text(words.as_bytes()));
        }
    }
}

/// Microseconds a quarter in force in each bar, in written order.
fn tempos(form: &Form) -> Vec<u32> {
    let mut beat = None;
    let in_force = |bar: &Bar| {
        beat = bar.tempo.as_ref().and_then(|tempo| tempo.beat).or(beat);
        let micros = seconds_per_whole(beat) / 4.0 * 1e6;
        // Nonsense (no beats in a minute, or none that the format can hold) stays in the format.
        (micros.round().clamp(1.0, f64::from(0x00FF_FFFF)) as u32).max(1)
    };
    form.bars.iter().map(in_force).collect()
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
    MetaMessage::TimeSignature(count, unit.trailing_zeros() as u8, clocks, 8)
}
