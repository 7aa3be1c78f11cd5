//! Many players with one cause gathered to one finding.

use std::collections::HashMap;

use super::context::Context;
use super::passage::Passage;
use super::{Rule, Sharer};
use crate::arrange::{LineId, PackedNote};
use crate::diagnostics::{BarNumbers, Span};
use crate::music::Pitch;

/// What makes one offence the same as another: the note of the source, the name of its pitch
/// (octaves apart are the same note), and the same of the
/// note with which it clashes, or who it is about.
pub(super) type Cause = ((Span, i32), Option<(Span, i32)>);

/// A note as a cause: where it comes from, and its pitch whatever the octave.
pub(super) fn cause(note: &PackedNote, pitch: Pitch) -> (Span, i32) {
    (note.source(), pitch.midi().rem_euclid(12))
}

/// Gathers the offences of all players to passages in which each cause is told once: by the player
/// who has most of them, with the others who share it. `cause` is asked for the offence of a player.
pub(super) fn causes<'a, T>(
    cx: &Context<'a>,
    rule: &Rule,
    offences: Vec<Vec<(usize, T)>>,
    cause: impl Fn(usize, &PackedNote, &T) -> Cause,
) -> Vec<(Passage<'a, T>, Vec<Sharer>)> {
    let mut players: Vec<(usize, Vec<(usize, T)>)> = offences.into_iter().enumerate().collect();
    players.retain(|(_, own)| !own.is_empty());
    players.sort_by_key(|(_, own)| std::cmp::Reverse(own.len()));
    let mut told = Told::default();
    let mut found: Vec<(Passage<T>, Vec<Sharer>)> = Vec::new();
    let mut players = players.into_iter().peekable();
    while let Some((player, own)) = players.next() {
        let mut passages = cx.passages(rule, player, own).into_iter().peekable();
        while let Some(mut passage) = passages.next() {
            // Nobody asks for the causes of the last one, which may be very many.
            let last = passages.peek().is_none() && players.peek().is_none();
            let mut shared: Vec<(usize, i32)> = Vec::new();
            let (part, this) = (passage.part, found.len());
            passage.offences.retain(|(index, detail)| {
                let note = &part.notes[*index];
                let cause = cause(player, note, detail);
                match told.get(&cause) {
                    // Within one passage a cause may come again.
                    Some(by) if by < this => {
                        shared.extend(cx.bars_of(note).map(|bar| (by, bar)));
                        false
                    }
                    _ => {
                        if !last {
                            told.insert(cause, this);
                        }
                        true
                    }
                }
            });
            for (by, bar) in shared {
                share(cx, &mut found[by], player, passage.line, bar);
            }
            if passage.offences.is_empty() {
                continue;
            }
            passage.bars.clear();
            for note in passage.offences.iter().map(|(index, _)| &passage.part.notes[*index]) {
                cx.bars_of(note).for_each(|bar| BarNumbers::add(&mut passage.bars, bar));
            }
            found.push((passage, Vec::new()));
        }
    }
    for (passage, others) in &mut found {
        others.iter_mut().for_each(|other| other.whole = other.bars == passage.bars);
    }
    found
}

/// Which causes were told by which passage. Most are kept in few bytes, because there may be one for
/// each note.
#[derive(Default)]
struct Told {
    usual: HashMap<[u32; 4], u32>,
    odd: HashMap<Cause, usize>,
}

impl Told {
    /// The passage that told a cause last.
    fn get(&self, cause: &Cause) -> Option<usize> {
        match small(cause) {
            Some(small) => self.usual.get(&small).map(|by| *by as usize),
            None => self.odd.get(cause).copied(),
        }
    }

    fn insert(&mut self, cause: Cause, by: usize) {
        match small(&cause).zip(u32::try_from(by).ok()) {
            Some((small, by)) => {
                self.usual.insert(small, by);
            }
            None => {
                self.odd.insert(cause, by);
            }
        }
    }
}

/// A cause in few bytes, which no other has; `None` if it needs more.
fn small((note, with): &Cause) -> Option<[u32; 4]> {
    /// Bits for an item of the source, above which the file stands.
    const ITEM: u32 = 24;
    /// In place of a note that is not there; a note has no such pitch.
    const NONE: [u32; 2] = [u32::MAX; 2];
    let half = |(span, class): &(Span, i32)| {
        let bytes = u8::try_from(span.end.checked_sub(span.start)?).ok()?;
        let (at, class) = (u16::try_from(span.start).ok()?, u8::try_from(*class).ok()?);
        let fits = span.first == span.last
            && span.first.0 >> ITEM == 0
            && span.file.0 >> (u32::BITS - ITEM) == 0
            && class < u8::MAX;
        let place = u32::from(at) << 16 | u32::from(bytes) << 8 | u32::from(class);
        fits.then_some([span.file.0 << ITEM | span.first.0, place])
    };
    let ([file, place], [other_file, other_place]) =
        (half(note)?, with.as_ref().map_or(Some(NONE), half)?);
    Some([file, place, other_file, other_place])
}

/// Adds a bar in which a player shares a passage of another one.
fn share<T>(
    cx: &Context,
    (passage, others): &mut (Passage<T>, Vec<Sharer>),
    player: usize,
    line: LineId,
    bar: i32,
) {
    if passage.player == player {
        return;
    }
    match others.iter_mut().find(|other| other.player == player) {
        Some(other) => BarNumbers::add(&mut other.bars, bar),
        None => {
            let (line, bars) = (cx.line_span(line), vec![BarNumbers::one(bar)]);
            others.push(Sharer { player, line, bars, whole: false });
        }
    }
}
