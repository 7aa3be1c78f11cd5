//! The heads of notes, and the marks that stand on each of them.

use smallvec::SmallVec;

use crate::music::{Pitch, Touch};
use crate::notate::Head;
use crate::notate::writing::Writing;
use crate::resolve::{Mark, Marks};

pub(super) type Heads = SmallVec<[Head; 2]>;

/// Those of sounding pitches, from the lowest up.
pub(super) fn all(pitches: &[Pitch], writing: &Writing) -> Heads {
    let mut heads: Heads = pitches.iter().map(|&pitch| plain(writing.written(pitch))).collect();
    heads.sort_unstable_by_key(|head| (head.pitch.step(), head.pitch.alter));
    heads.dedup();
    heads
}

/// Those of an artificial harmonic, what is stopped and what is touched, with the written pitch of what
/// sounds.
pub(super) fn touched(touch: Touch, sounding: Pitch, writing: &Writing) -> (Heads, Option<Pitch>) {
    let stopped = writing.written(touch.stopped(sounding));
    let heads = [stopped, touch.touched(stopped)].map(plain);
    (Heads::from_slice(&heads), Some(writing.written(sounding)))
}

fn plain(pitch: Pitch) -> Head {
    Head { pitch, accidental_shown: false, courtesy: false }
}

/// The marks of a note that stand on one of its pieces: on the first, but a fermata and a breath
/// on the last, and so do a dot and a wedge: a note that is tied is released short at its end
/// (common practice). A trill has its sign again where the music jumps into it, because its first
/// sign is not read then.
pub(super) fn printed_marks(marks: Marks, (first, jumped_into): (bool, bool), last: bool) -> Marks {
    if marks.is_empty() {
        return marks;
    }
    let mut printed = Marks::NONE;
    for mark in marks.iter() {
        let stands = match mark {
            Mark::Fermata | Mark::Breath | Mark::Staccato | Mark::Staccatissimo => last,
            Mark::Trill => first || jumped_into,
            _ => first,
        };
        if stands {
            printed.insert(mark);
        }
    }
    printed
}

#[cfg(test)]
mod tests {
    use crate::arrange::{Arrangement, arrange};
    use crate::diagnostics::Sources;
    use crate::notate::testing::dump;
    use crate::notate::{Score, notate};
    use crate::resolve::{NoFiles, resolve};

    fn arranged(bars: &str, player: &str, line: &str) -> Arrangement {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key D major\n 2 end }}\n\
             voice a {{ {bars} }}\nensemble few {{ era 1885\n {player}\n}}\n\
             scoring plain for few {{\n {line}\n}}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, found) = resolve(&mut sources, file, &mut NoFiles);
        assert!(
            found.iter().all(|one| one.severity != crate::diagnostics::Severity::Error),
            "{found:?}"
        );
        arrange(&piece, &piece.scorings[0])
    }

    fn read(bars: &str, player: &str) -> String {
        let name = player.split(' ').next().unwrap();
        let score: Score = notate(&arranged(bars, player, &format!("{name} plays a as melody")));
        dump(&score, 0)
    }

    #[test]
    fn an_artificial_harmonic_has_its_stopped_note_under_a_diamond_and_no_ring() {
        let bars =
            "1: 1/2 E6[harmonic E4] C6[harmonic C4] | 2: G6[harmonic G4, accent] A5[harmonic] |";
        assert_eq!(
            read(bars, "violin-1 8 players"),
            "E4&◇A4:1/2 C4!&◇F4!:1/2 | G4&◇C5!:1/2+accent A5:1/2+harmonic"
        );
        // Double basses read an octave above what sounds.
        assert_eq!(
            read("1: 1/1 E5[harmonic E3] | 2: = |", "double-bass"),
            "E4&◇A4:1/1… | …E4&◇A4:1/1"
        );
    }

    #[test]
    fn who_has_no_string_to_stop_and_touch_plays_the_note_that_sounds() {
        for player in ["flute", "harp"] {
            assert_eq!(
                read("1: 1/1 E5[harmonic E3] | 2: rest |", player).split(' ').next(),
                Some("E5:1/1")
            );
        }
    }

    #[test]
    fn the_stopped_note_goes_with_a_line_by_octaves() {
        let moved = arranged(
            "1: 1/1 E6[harmonic E4] | 2: rest |",
            "violin-1 8 players",
            "violin-1 plays a 8va as melody",
        );
        assert_eq!(dump(&notate(&moved), 0).split(' ').next(), Some("E5&◇A5:1/1"));
    }
}
