//! Peaks: where the music is loudest.

use super::cadences::section_ends;
use super::moments::{Found, Kind, beat_from};
use super::texture::Texture;
use crate::music::Time;
use crate::resolve::{Direction, DirectionKind, Directions, Dynamic, Form, Piece};

/// Peaks, as the dynamics of the piece and its voices have them: every sforzato and forte-piano,
/// and a forte or more
/// - at the end of a growing hairpin or crescendo;
/// - after at least two degrees less;
/// - with which a section begins louder than the one before it ended;
/// - that is the loudest of all that has been and comes, and not the first.
///
/// A forte on an up-beat has its peak on the first beat after it. Where no dynamic tells a peak and
/// the loudest is a forte at least, the highest note of the tune on a strong beat is the peak of what
/// is so loud. (Our heuristic; that such moments are marked is common practice.)
pub(super) fn peaks(piece: &Piece, texture: &Texture) -> Vec<Found> {
    let form = &piece.form;
    let lists: Vec<&Directions> = std::iter::once(&piece.dynamics)
        .chain(piece.voices.iter().map(|voice| &voice.music.directions))
        .collect();
    let degrees = lists.iter().flat_map(|told| told.iter()).filter_map(|said| degree(&said));
    let Some(loudest) = degrees.max().filter(|degree| *degree >= FORTE) else {
        return stresses(form, &lists);
    };
    let mut found = stresses(form, &lists);
    for directions in &lists {
        found.extend(arrivals(form, directions, loudest));
    }
    if found.is_empty() {
        found.extend(highest(form, &piece.dynamics, texture, loudest));
    }
    found.sort_by_key(|moment| moment.at);
    found.dedup();
    found
}

const FORTE: u8 = Dynamic::F as u8;

fn degree(direction: &Direction) -> Option<u8> {
    match direction.kind {
        DirectionKind::Dynamic(dynamic) => dynamic.degree(),
        _ => None,
    }
}

fn peak(form: &Form, at: Time) -> Found {
    Found::new(at, beat_from(form, at), Kind::Peak)
}

fn stresses(form: &Form, lists: &[&Directions]) -> Vec<Found> {
    let is_stress = |direction: &Direction| {
        let kind = &direction.kind;
        matches!(kind, DirectionKind::Dynamic(Dynamic::Fp | Dynamic::Sf | Dynamic::Sfz))
    };
    let all = lists.iter().flat_map(|told| told.iter()).filter(is_stress);
    let mut found: Vec<Found> = all.map(|direction| peak(form, direction.at)).collect();
    found.sort_by_key(|moment| moment.at);
    found.dedup();
    found
}

/// Where a forte is reached that is a peak, among the dynamics of the piece or of one voice.
fn arrivals(form: &Form, directions: &Directions, loudest: u8) -> Vec<Found> {
    let mut found = Vec::new();
    let mut before: Option<u8> = None;
    let mut grown_to: Option<Time> = None;
    for direction in directions.iter() {
        if let DirectionKind::Hairpin { grows: true, to } = direction.kind {
            grown_to = Some(to);
        }
        if !matches!(direction.kind, DirectionKind::Dynamic(_)) {
            continue;
        }
        if let Some(now) = degree(&direction) {
            let at = on_a_beat(form, direction.at);
            let more = before.map_or(0, |before| now.saturating_sub(before));
            let grown = grown_to == Some(direction.at);
            let opens = || opens_section(form, at);
            if now >= FORTE && (grown || more >= 2 || (more > 0 && (now == loudest || opens()))) {
                found.push(peak(form, at));
            }
            before = Some(now);
        }
        grown_to = None;
    }
    found
}

/// The first beat after an up-beat of at most a beat, or the time itself.
fn on_a_beat(form: &Form, at: Time) -> Time {
    let bar = form.bar_at(at);
    let end = bar.start + bar.length;
    let is_up_beat = form.weight(at) < 2 && end - at <= bar.metre.beat() && end < form.end();
    if is_up_beat { end } else { at }
}

fn opens_section(form: &Form, at: Time) -> bool {
    let bar = form.index_at(at);
    bar > 0 && form.bars[bar].start == at && section_ends(form, bar - 1)
}

/// The highest note of the tune on a strong beat, where the piece is loudest; the first of several.
fn highest(form: &Form, dynamics: &Directions, texture: &Texture, loudest: u8) -> Option<Found> {
    let loud: Vec<(Time, u8)> = dynamics.iter().filter_map(|d| Some((d.at, degree(&d)?))).collect();
    let is_loudest = |at: Time| {
        let after = loud.partition_point(|(from, _)| *from <= at);
        after.checked_sub(1).is_some_and(|last| loud[last].1 == loudest)
    };
    let mut best = None;
    for bar in &form.bars {
        let end = bar.start + bar.length;
        for (at, _) in super::texture::beats(form, bar.start, end) {
            let Some(note) = texture.top_note(at).filter(|note| note.start() == at) else {
                continue;
            };
            let top = note.sound().pitches().last().copied();
            if form.weight(at) >= 2 && is_loudest(at) && best.is_none_or(|(high, _)| top > high) {
                best = Some((top, at));
            }
        }
    }
    best.map(|(_, at)| peak(form, at))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::derive::tests::piece;

    fn bars(piece: &Piece, found: &[Found]) -> Vec<i32> {
        found.iter().map(|moment| piece.form.bar_at(moment.at).number).collect()
    }

    #[test]
    fn a_forte_after_a_crescendo_is_a_peak_and_the_first_dynamic_is_not() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 7 end\n}\n\
             dynamics {\n 1 f\n 2 p\n 3 cresc\n 4 f\n 5 p\n 6 mf\n 7 beat 2 sf\n}\n\
             voice v {\n1: rest 7 |\n}\n",
        );
        assert_eq!(bars(&piece, &peaks(&piece, &Texture::new(&piece))), [4, 7]);
    }

    #[test]
    fn the_loudest_moment_is_a_peak_and_so_is_a_section_that_begins_louder() {
        let found_in = |metre: &str, dynamics: &str| {
            let piece = piece(&format!(
                "form {{\n 1 metre {metre}, key C major\n 5 mark \"A\"\n 8 end\n}}\n\
                 dynamics {{\n {dynamics}\n}}\nvoice v {{\n1: rest 8 |\n}}\n"
            ));
            bars(&piece, &peaks(&piece, &Texture::new(&piece)))
        };
        let found = |dynamics: &str| found_in("2/4", dynamics);
        assert_eq!(found("1 p\n 3 f\n 7 ff"), [3, 7], "one degree more, and the loudest");
        assert_eq!(found("1 mf\n 5 f\n 6 mf\n 7 ff"), [5, 7], "at the mark");
        assert_eq!(found("1 mf\n 4 f\n 7 ff"), [7], "one degree more elsewhere is none");
        assert_eq!(
            found_in("4/4", "1 p\n 4 beat 4 ff"),
            [5],
            "on the beat to which the up-beat leads"
        );
        assert_eq!(found("1 pp\n 4 mp"), Vec::<i32>::new());
    }

    #[test]
    fn where_all_is_loud_the_highest_note_is_the_peak() {
        let found = |dynamic: &str| {
            let piece = piece(&format!(
                "form {{\n 1 metre 2/4, key C major\n 4 end\n}}\ndynamics {{\n 1 {dynamic}\n}}\n\
                 voice v {{\n1: 1/4 C5 E | 2: 1/8 G5 C6 1/4 B5 | 3: 1/4 A5 F | 4: 1/2 C5 |\n}}\n"
            ));
            let found = peaks(&piece, &Texture::new(&piece));
            found.iter().map(|moment| moment.at).collect::<Vec<_>>()
        };
        assert_eq!(found("f"), [Time::of(3, 4)], "B on a beat, not C between two");
        assert_eq!(found("p"), []);
    }
}
