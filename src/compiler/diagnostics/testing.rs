//! Findings for the tests of the three renderers.

use super::{Diagnostic, FileId, Sources, Span};
use crate::narrow::Narrow;

/// The span of a word in a text.
fn find(sources: &Sources, file: FileId, word: &str) -> Span {
    let start = sources.get(file).text.find(word).unwrap().narrow::<u32>();
    Span::new(file, start, start + word.len().narrow::<u32>())
}

/// A finding whose chain goes through two files, and two small ones.
pub(super) fn chain() -> (Vec<Diagnostic>, Sources) {
    let mut sources = Sources::new();
    let piece = sources.add(
        "ferrymen.ripieno",
        "use \"forces.ripieno\"\n\nvoice upper {\n  // Laternen über dem Wehr\n  \
         1: 1/8 D5 E♭ F6 1/4. G |\n  2: rest |\n}\n\n\nscoring spa for spa-orchestra {\n  \
         violin-1 plays upper as melody\n  oboe plays upper 8va as melody\n}\n",
    );
    let forces = sources.add(
        "forces.ripieno",
        "ensemble spa-orchestra {\n  era 1770\n  violin-1 6 players\n  oboe 2\n}\n",
    );
    let note = find(&sources, piece, "F6");
    let line = find(&sources, piece, "oboe plays upper 8va as melody");
    let ensemble = find(&sources, forces, "oboe 2");
    let octave = find(&sources, piece, " 8va");
    let compass = Diagnostic::error(
        "compass/beyond-instrument",
        note,
        "Oboe 1 cannot play F7 (written F7) in bar 1, beat 2: the highest note of the instrument \
         is G6.",
    )
    .with_text("this note")
    .with_label(line, "is given to the oboes an octave higher here")
    .with_label(ensemble, "an oboe of 1770")
    .with_help("Let the oboes play at the pitch of the voice, or give bar 1 to a flute.")
    .with_fix("take `8va` away", octave, "", false)
    .with_bars(1, 1)
    .with_player("oboe.1");
    let bar =
        Diagnostic::warning("form/bar-unused", find(&sources, piece, "rest"), "Bar 2\nis empty.");
    let era = Diagnostic::advice(
        "style/era",
        find(&sources, forces, "1770"),
        "Two oboes are usual in 1770.",
    );
    (vec![compass, bar, era], sources)
}

/// Findings at places that a renderer must survive: an empty text, the end of a text, the middle
/// of a character, beyond the text, backwards, in no text at all.
pub(super) fn odd_places() -> (Vec<Diagnostic>, Sources) {
    let mut sources = Sources::new();
    let empty = sources.add("empty.ripieno", "");
    let short = sources.add("short.ripieno", "a♭\r\n\tb♯♯\n");
    let spans = [
        Span::new(empty, 0, 0),
        Span::new(empty, 7, 9),
        Span::new(short, 2, 3),
        Span::new(short, 0, 900),
        Span::new(short, 14, 14),
        Span::new(short, 13, 14),
        Span::new(short, 800, 900),
        Span::new(short, 5, 2),
        Span::new(FileId(9), 1, 2),
    ];
    let at = |span| Diagnostic::error("test/place", span, "Odd.").with_text("here");
    (spans.into_iter().map(at).collect(), sources)
}
