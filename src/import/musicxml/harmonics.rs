//! Artificial harmonics, which the format writes as chords of the notes that are stopped and touched.

use super::Cursor;
use super::note::Hung;
use super::tree::Element;
use crate::music::{Pitch, Time, Touch};
use crate::raw::{Finger, RawKind};
use crate::resolve::Mark;

impl Finger {
    /// Which note of an artificial harmonic a sign says that it is.
    pub(super) fn of(harmonic: Element) -> Option<Finger> {
        harmonic.children().find_map(|child| match child.name() {
            "base-pitch" => Some(Finger::Stops),
            "touching-pitch" => Some(Finger::Touches),
            "sounding-pitch" => Some(Finger::Sounds),
            _ => None,
        })
    }
}

/// Makes one note, which sounds, of a note and the one before it in its chord, where one of them is
/// touched and the other stopped. The one that is touched is known by its sign, or by its diamond where
/// a harmonic lies there (Heuristic: some programs write no sign). Is the note done with?
pub(super) fn join(
    cursor: &mut Cursor,
    (kind, finger): (RawKind, Option<Finger>),
    (at, length): (Time, Time),
    hung: &mut Hung,
) -> bool {
    let RawKind::Pitch(pitch) = kind else { return false };
    let Some(before) = cursor.measure.notes.last_mut() else { return false };
    let RawKind::Pitch(other) = before.kind else { return false };
    if (before.at, before.length) != (at, length) || before.small.is_some() {
        return false;
    }
    if before.touch.is_some() {
        // A third note may say what sounds.
        return finger == Some(Finger::Sounds);
    }
    let touches = |finger: Option<Finger>| finger == Some(Finger::Touches);
    let harmonic = match (touches(before.finger), touches(finger)) {
        (false, true) => sounding(other, pitch),
        (true, false) => sounding(pitch, other),
        _ => None,
    };
    let Some((touch, sounding)) = harmonic else { return false };
    before.kind = RawKind::Pitch(sounding);
    (before.touch, before.finger) = (Some(touch), None);
    before.marks.add(hung.marks);
    before.marks.insert(Mark::Harmonic);
    before.slurs.append(&mut hung.slurs);
    before.tie_starts |= hung.tied.0;
    before.tie_stops |= hung.tied.1;
    true
}

/// What sounds on a string that is stopped and touched at these notes.
fn sounding(stopped: Pitch, touched: Pitch) -> Option<(Touch, Pitch)> {
    let touch = Touch::touching(stopped, touched)?;
    Some((touch, stopped.transposed_or_respelled(touch.sounds())))
}
