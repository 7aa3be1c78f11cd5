//! Beams: groups by the metre, secondary beams and stubs.

use crate::narrow::Narrow;
use smallvec::SmallVec;

use crate::music::Time;

use super::grid::Grid;
use super::{Beam, Element, ElementKind};

/// Group of a tuplet: above all groups of the metre.
const TUPLETS: usize = 1 << 20;

/// Beams the elements of one bar. `offset` is the place in the metre at which the bar begins (not
/// zero for a pick-up).
///
/// Flagged notes of one group of the metre (see [`Grid::beams`]) that follow each other without a
/// rest share a beam, tuplets inside such a group too; a tuplet that is longer makes a group of its
/// own. Where there are 32nds or shorter notes, only the first beam goes on over an eighth; and
/// between two tuplets (Ross, The Art of Music Engraving and Processing, 1970, from memory). Grace
/// notes are beamed among themselves.
pub(super) fn beam(elements: &mut [Element], grid: &Grid, offset: Time) {
    if !elements.iter().any(|element| flags(element) > 0) {
        return;
    }
    let groups = groups(elements, grid, offset);
    let mut run: SmallVec<[usize; 16]> = SmallVec::new();
    let mut graces: SmallVec<[usize; 8]> = SmallVec::new();
    let mut group = 0;
    for index in 0..elements.len() {
        if is_grace(&elements[index]) {
            if flags(&elements[index]) > 0 {
                graces.push(index);
            }
            continue;
        }
        beam_run(elements, &mut graces, grid, offset);
        if flags(&elements[index]) == 0 {
            beam_run(elements, &mut run, grid, offset);
            continue;
        }
        if groups[index] != group {
            beam_run(elements, &mut run, grid, offset);
            group = groups[index];
        }
        run.push(index);
    }
    beam_run(elements, &mut run, grid, offset);
}

fn flags(element: &Element) -> u8 {
    if matches!(element.kind, ElementKind::Note(_)) { element.value.flags() } else { 0 }
}

fn is_grace(element: &Element) -> bool {
    matches!(&element.kind, ElementKind::Note(note) if note.grace.is_some())
}

fn is_plain_eighth(element: &Element) -> bool {
    flags(element) == 1 && element.value.dots == 0 && element.tuplet.is_none()
}

/// The group to which each element belongs.
fn groups(elements: &[Element], grid: &Grid, offset: Time) -> SmallVec<[usize; 32]> {
    let beams = grid.beams();
    let bar = grid.metre().bar_length();
    let large_at = |element: &Element| {
        let position = (element.at + offset) % bar;
        beams.large.map(|large| position.div_floor(large).narrow::<usize>())
    };
    // A large group holds if nothing in it but plain eighths has flags.
    let mut mixed = 0_u64;
    let mut only_eighths = true;
    for element in elements.iter().filter(|element| !is_grace(element)) {
        let plain = is_plain_eighth(element);
        only_eighths &= plain;
        if let Some(large) = large_at(element)
            && flags(element) > 0
            && !plain
        {
            mixed |= 1 << large.min(63);
        }
    }
    if beams.only_full && !(only_eighths && elements.len() == usize::from(grid.metre().count) * 2) {
        mixed = u64::MAX;
    }
    let mut tuplet = TUPLETS;
    // The group of the tuplet that is open.
    let mut inside = TUPLETS;
    elements
        .iter()
        .enumerate()
        .map(|(index, element)| {
            if let Some(place) = element.tuplet {
                if place.starts {
                    tuplet += 1;
                    let end = end_of_tuplet(&elements[index..]);
                    let first = beams.small_at((element.at + offset) % bar);
                    let last = (end + offset - Time::of(1, 1024)).max(element.at + offset);
                    let same = first == beams.small_at(last % bar);
                    inside = if same { first } else { tuplet };
                }
                return inside;
            }
            match large_at(element) {
                // Small groups are numbered from 1, large ones from 1000.
                Some(large) if mixed & (1 << large.min(63)) == 0 => 1000 + large,
                _ => beams.small_at((element.at + offset) % bar),
            }
        })
        .collect()
}

/// Where the tuplet ends that begins with the first of these elements.
fn end_of_tuplet(elements: &[Element]) -> Time {
    let last = elements.iter().find(|element| element.tuplet.is_none_or(|place| place.ends));
    last.or(elements.last()).map_or(Time::ZERO, |last| last.at + last.length)
}

/// How many beams two neighbours share: those of the one with fewer, but only one where the eye
/// needs a division.
fn shared(before: &Element, after: &Element, short: bool, offset: Time) -> u8 {
    let both = flags(before).min(flags(after));
    let at_eighth = (after.at + offset) % Time::EIGHTH == Time::ZERO;
    let between_tuplets = before.tuplet.is_some_and(|place| place.ends)
        && after.tuplet.is_some_and(|place| place.starts);
    let grace = is_grace(before) || is_grace(after);
    if !grace && (short && at_eighth || between_tuplets) { both.min(1) } else { both }
}

/// Writes the beams of one run and empties it.
fn beam_run(
    elements: &mut [Element],
    run: &mut SmallVec<impl smallvec::Array<Item = usize>>,
    grid: &Grid,
    offset: Time,
) {
    if run.len() < 2 {
        run.clear();
        return;
    }
    let last = run.len() - 1;
    let short = run.iter().any(|&index| flags(&elements[index]) > 2);
    let shared =
        |before: usize, after: usize| shared(&elements[before], &elements[after], short, offset);
    let joints: SmallVec<[u8; 16]> = run.windows(2).map(|pair| shared(pair[0], pair[1])).collect();
    for (place, &index) in run.iter().enumerate() {
        let before = if place > 0 { joints[place - 1] } else { 0 };
        let after = if place < last { joints[place] } else { 0 };
        let element = &elements[index];
        let hook = if place == 0 || (place < last && leans_forward(element, grid, offset)) {
            Beam::HookForward
        } else {
            Beam::HookBackward
        };
        let beams = (1..=flags(element))
            .map(|level| match (before >= level, after >= level) {
                (true, true) => Beam::Continues,
                (true, false) => Beam::Ends,
                (false, true) => Beam::Begins,
                (false, false) => hook,
            })
            .collect();
        elements[index].beams = beams;
    }
    run.clear();
}

/// Does a stub in the middle of a group point to the next note? It does where the note begins a
/// pair of its own value.
fn leans_forward(element: &Element, grid: &Grid, offset: Time) -> bool {
    let pair = element.value.length() * 2;
    let in_bar = (element.at + offset) % grid.metre().bar_length();
    in_bar % pair == Time::ZERO
}

#[cfg(test)]
mod tests {
    use crate::notate::testing::{Fixture, dump};

    fn beamed(metre: &str, values: &str) -> String {
        let score = Fixture::new(&[metre]).row(values).score();
        dump(&score, 0).replace("C5:", "").replace("rest:", "rest ")
    }

    #[test]
    fn plain_eighths_join_to_half_bars() {
        assert_eq!(
            beamed("4/4", "1/8 1/8 1/8 1/8 1/8 1/8 1/8 1/8"),
            "1/8[ 1/8= 1/8= 1/8] 1/8[ 1/8= 1/8= 1/8]"
        );
        assert_eq!(beamed("2/4", "1/8 1/8 1/8 1/8"), "1/8[ 1/8= 1/8= 1/8]");
    }

    #[test]
    fn sixteenths_are_beamed_by_the_beat() {
        assert_eq!(beamed("2/4", "1/8 1/16 1/16 1/8 1/8"), "1/8[ 1/16=[ 1/16]] 1/8[ 1/8]");
    }

    #[test]
    fn six_eighths_fill_a_bar_of_three_but_fewer_go_by_the_beat() {
        assert_eq!(beamed("3/4", "1/8 1/8 1/8 1/8 1/8 1/8"), "1/8[ 1/8= 1/8= 1/8= 1/8= 1/8]");
        assert_eq!(beamed("3/4", "1/4 1/8 1/8 1/8 1/8"), "1/4 1/8[ 1/8] 1/8[ 1/8]");
    }

    #[test]
    fn compound_metres_are_beamed_by_the_dotted_beat() {
        assert_eq!(beamed("6/8", "1/8 1/8 1/8 1/8 1/8 1/8"), "1/8[ 1/8= 1/8] 1/8[ 1/8= 1/8]");
        assert_eq!(beamed("6/8", "3/16 1/16 1/8 3/8"), "3/16[ 1/16=< 1/8] 3/8");
    }

    #[test]
    fn beams_do_not_cross_rests() {
        assert_eq!(beamed("2/4", "1/8 r1/8 1/8 1/8"), "1/8 rest 1/8 1/8[ 1/8]");
    }

    #[test]
    fn stubs_point_into_their_group() {
        assert_eq!(beamed("1/4", "3/16 1/16"), "3/16[ 1/16]<");
        assert_eq!(beamed("1/4", "1/16 3/16"), "1/16[> 3/16]");
    }

    #[test]
    fn a_tuplet_is_a_group() {
        let score = Fixture::new(&["2/4"])
            .row("1/12 1/12 1/12 1/8 1/8")
            .tuplet("0/1", "1/4", (3, 2))
            .score();
        assert_eq!(dump(&score, 0), "{3:2 C5:1/8[ C5:1/8= C5:1/8] } C5:1/8[ C5:1/8]");
    }

    #[test]
    fn a_tuplet_inside_a_beat_does_not_break_its_beam() {
        let score = Fixture::new(&["2/4"])
            .row("1/8 1/24 1/24 1/24 1/4")
            .tuplet("1/8", "1/8", (3, 2))
            .score();
        assert_eq!(dump(&score, 0), "C5:1/8[ {3:2 C5:1/16=[ C5:1/16== C5:1/16]] } C5:1/4");
        let sixths = "1/24 1/24 1/24 1/24 1/24 1/24 1/4";
        let score = Fixture::new(&["2/4"])
            .row(sixths)
            .tuplet("0/1", "1/8", (3, 2))
            .tuplet("1/8", "1/8", (3, 2))
            .score();
        assert_eq!(
            dump(&score, 0),
            "{3:2 C5:1/16[[ C5:1/16== C5:1/16=] } {3:2 C5:1/16=[ C5:1/16== C5:1/16]] } C5:1/4"
        );
    }

    #[test]
    fn eight_thirty_seconds_are_divided_at_the_eighth() {
        assert_eq!(
            beamed("1/4", "1/32 1/32 1/32 1/32 1/32 1/32 1/32 1/32"),
            "1/32[[[ 1/32=== 1/32=== 1/32=]] 1/32=[[ 1/32=== 1/32=== 1/32]]]"
        );
        assert_eq!(beamed("1/4", "1/16 1/16 1/16 1/16"), "1/16[[ 1/16== 1/16== 1/16]]");
    }
}
