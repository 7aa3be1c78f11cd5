//! Which neighbour the sign of a trill, mordent or turn has.

use crate::arrange::PackedNote;
use crate::music::{Key, Letter, Pitch};
use crate::resolve::Mark;

use super::super::writing::Writing;
use super::super::{Element, ElementKind};

/// Says which neighbour a trill, mordent or turn has, where neither the signature nor a note before
/// in the bar does: its alteration stands at the sign.
pub(super) fn say(
    note: &PackedNote,
    key: Key,
    writing: &Writing,
    before: &[Element],
    element: &mut Element,
) {
    let ElementKind::Note(printed) = &mut element.kind else { return };
    let way = match () {
        () if printed.marks.has(Mark::Trill) || printed.marks.has(Mark::Turn) => 1,
        () if printed.marks.has(Mark::Mordent) => -1,
        () => return,
    };
    let Some(main) = note.sound().pitches().last() else { return };
    let step = main.step() + way;
    let letter = Letter::from_step(step);
    let Ok(octave) = i8::try_from(step.div_euclid(7)) else { return };
    let named = note.attached().neighbour.filter(|name| name.letter == letter);
    let alter = named.map_or(key.alter(letter), |name| name.alter);
    let diatonic = Pitch::new(letter, alter, octave);
    // A neighbour lies a semitone or a tone away.
    let distance = (diatonic.midi() - main.midi()) * way;
    let off = (distance.clamp(1, 2) - distance) * way;
    let Ok(off) = i8::try_from(off) else { return };
    let neighbour = Pitch { alter: diatonic.alter + off, ..diatonic };
    let written = beside(writing.written(*main), way, neighbour.midi() - main.midi())
        .unwrap_or_else(|| writing.written(neighbour));
    let said = before.iter().any(|element| match &element.kind {
        ElementKind::Note(other) => other
            .heads
            .iter()
            .any(|head| (head.pitch.letter, head.pitch.octave) == (written.letter, written.octave)),
        _ => false,
    });
    if (named.is_some() || !said) && written.alter != writing.key().alter(written.letter) {
        printed.ornament_accidental = Some(written.alter);
    }
}

/// The written neighbour of a written note, so many semitones from it. It has the next letter, also where the note was
/// written with another one than it sounds with.
fn beside(main: Pitch, way: i32, semitones: i32) -> Option<Pitch> {
    let step = main.step() + way;
    let natural = Pitch::new(Letter::from_step(step), 0, step.div_euclid(7).try_into().ok()?);
    let alter = i8::try_from(main.midi() + semitones - natural.midi()).ok()?;
    (alter.abs() <= 2).then_some(Pitch { alter, ..natural })
}

#[cfg(test)]
mod tests {
    use crate::arrange::arrange;
    use crate::diagnostics::Sources;
    use crate::notate::{ElementKind, notate};
    use crate::resolve::{NoFiles, resolve};

    /// The notes that an instrument reads in a bar of 4/4, with the alteration at the sign after a colon.
    fn signs(instrument: &str, key: &str, bar: &str) -> String {
        let player = instrument.split(' ').next().unwrap();
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key {key}\n 1 end }}\n\
             voice a {{ 1: {bar} | }}\nensemble few {{ era 1885\n {instrument}\n}}\n\
             scoring plain for few {{\n {player} plays a as melody\n}}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
        let score = notate(&arrange(&piece, &piece.scorings[0]));
        let read = score.staves[0].measures[0].elements.iter().filter_map(|element| {
            let ElementKind::Note(note) = &element.kind else { return None };
            let pitch = note.heads[0].pitch;
            Some(match note.ornament_accidental {
                Some(alter) => format!("{pitch}:{alter}"),
                None => pitch.to_string(),
            })
        });
        read.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn the_neighbour_of_a_note_with_another_name_has_the_next_letter() {
        let bar = "1/2 A#4[trill B] E#5[trill]";
        assert_eq!(signs("flute", "F# major", bar), "A#4 E#5");
        // E♯ and B♯ are written F and C.
        assert_eq!(signs("horn in F without signature", "F# major", bar), "F5:-1 C6:-1");
        let bar = "1/2 D#5[trill E] C#5[trill]";
        assert_eq!(signs("trumpet in Bb without signature", "F# major", bar), "F5:-1 D#5:1");
        let bar = "1/2 D#5[mordent] E#5[mordent]";
        assert_eq!(signs("trumpet in Bb without signature", "F# major", bar), "F5:-1 G5");
    }

    #[test]
    fn the_roll_of_a_drum_has_no_neighbour() {
        let bar = "1/2 Gb2[trill] Db3[trill]";
        assert_eq!(signs("timpani tuned Gb2, Db3", "C major", bar), "Gb2 Db3");
    }

    #[test]
    fn the_signature_says_it() {
        let bar = "1/2 A#4[trill B] E#5[trill]";
        assert_eq!(signs("clarinet in Bb", "F# major", bar), "C5 G5");
        assert_eq!(signs("flute", "D major", "1/2 E5[trill] E5[trill F]"), "E5 E5:0");
    }
}
