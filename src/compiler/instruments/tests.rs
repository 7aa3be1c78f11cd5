//! The catalogue against published tables, and against itself.

use std::collections::HashSet;

use super::*;

fn pitch(text: &str) -> Pitch {
    text.parse().unwrap_or_else(|()| panic!("{text} is no pitch"))
}

fn instrument(id: &str) -> &'static Instrument {
    find(id).unwrap_or_else(|| panic!("no instrument {id}"))
}

fn sounding(by: Interval, written: &str) -> Pitch {
    pitch(written).transposed(by).unwrap_or_else(|| panic!("{written} has no sound"))
}

fn compass_ends(id: &str, limit: Limit, year: i32) -> (String, String) {
    let compass = instrument(id)
        .compass(limit, year)
        .unwrap_or_else(|| panic!("{id} has no {limit:?} compass"));
    (compass.low.to_string(), compass.high.to_string())
}

fn ends(low: &str, high: &str) -> (String, String) {
    (low.to_owned(), high.to_owned())
}

/// Crook, steps, semitones, then what written C3, C5, C6 and (old bass clef) C2 sound.
///
/// Source: Grove, A Dictionary of Music and Musicians, vol. 1, "Horn", p. 750, prints C, D, Eb, E
/// and F horns and names the rest; the other rows are derived from the same rule. In the old bass
/// clef the written note stands an octave too low, so written C2 sounds as C3 of the treble clef.
const HORN_CROOKS: [(&str, i32, i32, [&str; 4]); 16] = [
    ("C alto", 0, 0, ["C3", "C5", "C6", "C3"]),
    ("Bb alto", -1, -2, ["Bb2", "Bb4", "Bb5", "Bb2"]),
    ("A", -2, -3, ["A2", "A4", "A5", "A2"]),
    ("Ab", -2, -4, ["Ab2", "Ab4", "Ab5", "Ab2"]),
    ("G", -3, -5, ["G2", "G4", "G5", "G2"]),
    ("F#", -4, -6, ["F#2", "F#4", "F#5", "F#2"]),
    ("F", -4, -7, ["F2", "F4", "F5", "F2"]),
    ("E", -5, -8, ["E2", "E4", "E5", "E2"]),
    ("Eb", -5, -9, ["Eb2", "Eb4", "Eb5", "Eb2"]),
    ("D", -6, -10, ["D2", "D4", "D5", "D2"]),
    ("Db", -6, -11, ["Db2", "Db4", "Db5", "Db2"]),
    ("C basso", -7, -12, ["C2", "C4", "C5", "C2"]),
    ("B basso", -8, -13, ["B1", "B3", "B4", "B1"]),
    ("Bb basso", -8, -14, ["Bb1", "Bb3", "Bb4", "Bb1"]),
    ("A basso", -9, -15, ["A1", "A3", "A4", "A1"]),
    ("Ab basso", -9, -16, ["Ab1", "Ab3", "Ab4", "Ab1"]),
];

/// Crook, steps, semitones, then what written G3, C5 and C6 sound.
///
/// Source: derived from Johnstone, Instruments of the Modern Symphony Orchestra, 1917, p. 40 (an
/// octave above the horn of the same key); Ab, A, B, Db and G from memory.
const TRUMPET_CROOKS: [(&str, i32, i32, [&str; 3]); 11] = [
    ("Ab", -2, -4, ["Eb3", "Ab4", "Ab5"]),
    ("A", -2, -3, ["E3", "A4", "A5"]),
    ("Bb", -1, -2, ["F3", "Bb4", "Bb5"]),
    ("B", -1, -1, ["F#3", "B4", "B5"]),
    ("C", 0, 0, ["G3", "C5", "C6"]),
    ("Db", 1, 1, ["Ab3", "Db5", "Db6"]),
    ("D", 1, 2, ["A3", "D5", "D6"]),
    ("Eb", 2, 3, ["Bb3", "Eb5", "Eb6"]),
    ("E", 2, 4, ["B3", "E5", "E6"]),
    ("F", 3, 5, ["C4", "F5", "F6"]),
    ("G", 4, 7, ["D4", "G5", "G6"]),
];

/// Key, steps, semitones of the valve trumpet.
///
/// Source: from memory; Bb and A also Johnstone, 1917, p. 40.
const TRUMPET_KEYS: [(&str, i32, i32); 7] = [
    ("Bb", -1, -2),
    ("A", -2, -3),
    ("C", 0, 0),
    ("D", 1, 2),
    ("Eb", 2, 3),
    ("E", 2, 4),
    ("F", 3, 5),
];

/// Partial, written note on the C2 series, cents from the nearest note of equal temperament.
///
/// Source: arithmetic, 1200 log2 n, rounded to a tenth; the spelling is common practice.
const PARTIALS: [(u8, &str, f64); 16] = [
    (1, "C2", 0.0),
    (2, "C3", 0.0),
    (3, "G3", 2.0),
    (4, "C4", 0.0),
    (5, "E4", -13.7),
    (6, "G4", 2.0),
    (7, "Bb4", -31.2),
    (8, "C5", 0.0),
    (9, "D5", 3.9),
    (10, "E5", -13.7),
    (11, "F#5", -48.7),
    (12, "G5", 2.0),
    (13, "A5", 40.5),
    (14, "Bb5", -31.2),
    (15, "B5", -11.7),
    (16, "C6", 0.0),
];

/// Id and 1-based General MIDI program.
///
/// Source: General MIDI Level 1 as printed in the Windows multimedia reference, "Standard MIDI
/// Patch Assignments". It has no contrabassoon, bass clarinet or alto trombone.
const PROGRAMS: [(&str, u8); 21] = [
    ("harpsichord", 7),
    ("glockenspiel", 10),
    ("violin", 41),
    ("viola", 42),
    ("cello", 43),
    ("double-bass", 44),
    ("harp", 47),
    ("timpani", 48),
    ("natural-trumpet", 57),
    ("trumpet", 57),
    ("tenor-trombone", 58),
    ("alto-trombone", 58),
    ("tuba", 59),
    ("natural-horn", 61),
    ("horn", 61),
    ("oboe", 69),
    ("cor-anglais", 70),
    ("bassoon", 71),
    ("clarinet", 72),
    ("piccolo", 73),
    ("flute", 74),
];

/// Id and the keys of channel 10 that sound like it.
///
/// Source: General MIDI Level 1 key map, as printed by a page that cites the standard, p. 6.
const PERCUSSION_KEYS: [(&str, &[u8]); 5] = [
    ("bass-drum", &[35, 36]),
    ("side-drum", &[38, 40]),
    ("cymbals", &[49, 57]),
    ("tambourine", &[54]),
    ("triangle", &[80, 81]),
];

fn check_tuning(owner: &str, tuning: &Tuning, steps: i32, semitones: i32) {
    let found = tuning.transposition;
    assert_eq!(found, Interval::new(steps, semitones), "{owner} in {}", tuning.name);
}

#[test]
fn of_two_drums_only_the_one_that_changes_is_retuned() {
    let timpani = find("timpani").unwrap();
    let notes = |names: &str| -> Vec<Pitch> {
        names.split_whitespace().map(|name| name.parse().unwrap()).collect()
    };
    let retuned = |before: &str, after: &str| {
        let pairs = timpani.retuned(&notes(before), &notes(after));
        pairs.iter().map(|(from, to)| format!("{from} to {to}")).collect::<Vec<_>>()
    };
    assert_eq!(retuned("G2 D3", "G2 C3"), ["D3 to C3"]);
    assert_eq!(retuned("G2 C3", "C3 F3"), ["G2 to C3", "C3 to F3"], "no drum has G2 and F3");
    assert_eq!(retuned("G2 C3", "A2 D3"), ["G2 to A2", "C3 to D3"]);
    assert_eq!(retuned("G2 C3 D3", "G2 D3 F3"), ["C3 to F3"]);
    assert!(retuned("G2 C3", "G2 C3 D3").is_empty(), "a third drum joins");
    assert!(retuned("C3", "C3").is_empty());
}

#[test]
fn every_horn_crook_sounds_as_the_published_table_says() {
    let horn = instrument("natural-horn");
    assert_eq!(horn.crooks.len(), HORN_CROOKS.len());
    for (name, steps, semitones, sounds) in HORN_CROOKS {
        let crook = horn.tuning(name).unwrap_or_else(|| panic!("no crook {name}"));
        check_tuning("natural horn", crook, steps, semitones);
        for (written, expected) in ["C3", "C5", "C6"].into_iter().zip(sounds) {
            assert_eq!(sounding(crook.transposition, written), pitch(expected), "{name} {written}");
        }
        let old_bass_clef = sounding(crook.transposition + Interval::OCTAVE, "C2");
        assert_eq!(old_bass_clef, pitch(sounds[3]), "{name}, old bass clef");
    }
}

#[test]
fn a_horn_in_plain_c_or_b_flat_is_ambiguous_and_so_unknown() {
    assert_eq!(instrument("natural-horn").tuning("C"), None);
    assert_eq!(instrument("natural-horn").tuning("Bb"), None);
    assert_eq!(instrument("horn").tuning("Bb"), None);
}

#[test]
fn every_trumpet_crook_sounds_as_the_published_table_says() {
    let trumpet = instrument("natural-trumpet");
    assert_eq!(trumpet.crooks.len(), TRUMPET_CROOKS.len());
    for (name, steps, semitones, sounds) in TRUMPET_CROOKS {
        let crook = trumpet.tuning(name).unwrap_or_else(|| panic!("no crook {name}"));
        check_tuning("natural trumpet", crook, steps, semitones);
        for (written, expected) in ["G3", "C5", "C6"].into_iter().zip(sounds) {
            assert_eq!(sounding(crook.transposition, written), pitch(expected), "{name} {written}");
        }
    }
}

#[test]
fn valve_trumpets_and_clarinets_sound_as_their_keys_say() {
    for (name, steps, semitones) in TRUMPET_KEYS {
        let key = instrument("trumpet").tuning(name).unwrap_or_else(|| panic!("no key {name}"));
        check_tuning("trumpet", key, steps, semitones);
    }
    // Grove, vol. 1, "Clarinet", p. 362: the lowest note of the three clarinets.
    for (name, lowest) in [("C", "E3"), ("Bb", "D3"), ("A", "C#3")] {
        let key = instrument("clarinet").tuning(name).unwrap_or_else(|| panic!("no key {name}"));
        assert_eq!(sounding(key.transposition, "E3"), pitch(lowest));
    }
}

#[test]
fn a_tuning_named_after_its_key_starts_with_it() {
    for instrument in catalogue() {
        for tuning in instrument.keys.iter().chain(&instrument.crooks) {
            let first_word = tuning.name.split(' ').next().unwrap_or_default();
            assert_eq!(first_word, tuning.key.to_string(), "{}", instrument.id);
        }
    }
}

#[test]
fn fixed_transpositions_are_those_of_the_trade() {
    // Johnstone, Instruments of the Modern Symphony Orchestra, 1917, pp. 14, 20, 24, 30, 34, 38.
    for (id, name, steps) in [
        ("horn", "perfect fifth", -4),
        ("cor-anglais", "perfect fifth", -4),
        ("contrabassoon", "octave", -7),
        ("double-bass", "octave", -7),
        ("piccolo", "octave", 7),
        ("bass-clarinet", "major ninth", -8),
        ("glockenspiel", "two octaves", 14),
    ] {
        let found = instrument(id).transposition;
        assert_eq!((found.to_string().as_str(), found.steps), (name, steps), "{id}");
    }
}

#[test]
fn partials_are_written_and_tuned_as_the_table_of_the_series_says() {
    for id in ["natural-horn", "natural-trumpet"] {
        let series = instrument(id).natural.as_ref().unwrap_or_else(|| panic!("{id}: no series"));
        for (partial, written, cents) in PARTIALS {
            assert_eq!(series.written(partial), Some(pitch(written)), "{id} partial {partial}");
            let found = nearest_cents(partial);
            assert!((found - cents).abs() < 0.051, "partial {partial}: {found} against {cents}");
        }
        assert_eq!(series.out_of_tune, [7, 11, 13, 14]);
        assert_eq!(series.written(0), None);
        assert_eq!(series.written(21), None);
    }
}

#[test]
fn partials_11_and_13_alone_are_read_two_ways() {
    let series = instrument("natural-horn").natural.as_ref().expect("a series");
    for partial in 0..=20 {
        let expected = match partial {
            11 => Some(pitch("F5")),
            13 => Some(pitch("Ab5")),
            _ => None,
        };
        assert_eq!(series.other_reading(partial), expected, "partial {partial}");
    }
    // 51.3 cents above F5 and 59.5 below A5, by the same table.
    assert!((cents_from(11, 41) - 51.3).abs() < 0.051);
    assert!((cents_from(13, 45) + 59.5).abs() < 0.051);
}

#[test]
fn written_notes_are_open_stopped_or_not_there() {
    use PartialClass::{NotAvailable, OpenInTune, OpenOutOfTune, Stopped};
    let horn = instrument("natural-horn").natural.as_ref().expect("a series");
    for (note, before, after) in [
        ("C2", NotAvailable, NotAvailable),
        ("C3", OpenInTune(2), OpenInTune(2)),
        ("E4", OpenInTune(5), OpenInTune(5)),
        ("D4", NotAvailable, Stopped),
        ("Eb4", NotAvailable, Stopped),
        ("D#4", NotAvailable, Stopped),
        ("F4", NotAvailable, Stopped),
        ("A4", NotAvailable, Stopped),
        ("A3", NotAvailable, NotAvailable),
        ("Bb4", OpenOutOfTune(7), OpenOutOfTune(7)),
        ("B4", NotAvailable, Stopped),
        ("F5", OpenOutOfTune(11), OpenOutOfTune(11)),
        ("F#5", OpenOutOfTune(11), OpenOutOfTune(11)),
        ("Gb5", OpenOutOfTune(11), OpenOutOfTune(11)),
        ("Ab5", OpenOutOfTune(13), OpenOutOfTune(13)),
        ("A5", OpenOutOfTune(13), OpenOutOfTune(13)),
        ("C6", OpenInTune(16), OpenInTune(16)),
        ("C#6", NotAvailable, NotAvailable),
    ] {
        assert_eq!(horn.classify(pitch(note), 1725), before, "{note} in 1725");
        // Modern writers, from memory: about 1750.
        assert_eq!(horn.classify(pitch(note), 1750), after, "{note} in 1750");
        assert_eq!(horn.classify(pitch(note), 1770), after, "{note} in 1770");
    }
    // From about 1790 the hand reaches farther below partial 4: from memory.
    assert_eq!(horn.classify(pitch("A3"), 1790), Stopped);
    assert_eq!(horn.classify(pitch("Ab3"), 1810), Stopped);
    assert_eq!(horn.classify(pitch("E3"), 1810), NotAvailable);
    let trumpet = instrument("natural-trumpet").natural.as_ref().expect("a series");
    assert_eq!(trumpet.classify(pitch("B4"), 1885), NotAvailable);
}

#[test]
fn the_players_of_a_pair_have_their_own_open_notes() {
    let horn = instrument("natural-horn");
    let notes = |rank| horn.open_notes(rank, Limit::Custom, 1770).collect::<Vec<_>>();
    let (first, second) = (notes(PlayerRank::First), notes(PlayerRank::Second));
    assert_eq!(first.first().map(|note| note.written), Some(pitch("C4")));
    assert_eq!(first.last().map(|note| note.written), Some(pitch("C6")));
    assert_eq!(second.first().map(|note| note.written), Some(pitch("C3")));
    assert_eq!(second.last().map(|note| note.written), Some(pitch("G5")));
    assert!(second.iter().any(|note| note.partial == 7 && !note.in_tune));
    assert!(first.iter().any(|note| note.partial == 11 && (note.cents + 48.7).abs() < 0.051));
    assert_eq!(instrument("violin").open_notes(PlayerRank::First, Limit::Custom, 1770).count(), 0);
}

#[test]
fn trumpets_leave_the_clarino_register_after_1760() {
    let top = |year| {
        let notes =
            instrument("natural-trumpet").open_notes(PlayerRank::First, Limit::Custom, year);
        notes.last().map(|note| note.written)
    };
    assert_eq!(top(1725), Some(pitch("C6")));
    assert_eq!(top(1770), Some(pitch("G5")));
}

#[test]
fn customary_compasses_hold_by_year() {
    let custom = |id, year| compass_ends(id, Limit::Custom, year);
    // Common practice; about 1725 the low end is from memory.
    assert_eq!(custom("oboe", 1770), ends("D4", "D6"));
    assert_eq!(custom("oboe", 1725), ends("C4", "D6"));
    // Rimsky-Korsakov, 1922, p. 30, calls F2 to F3 the limits of an earlier time.
    assert_eq!(custom("timpani", 1810), ends("F2", "F3"));
    assert_eq!(custom("timpani", 1885), ends("E2", "F#3"));
    assert_eq!(custom("timpani", 1950), ends("D2", "A3"));
    assert_eq!(custom("natural-horn", 1770), ends("C3", "C6"));
    // Prout, The Orchestra, vol. 1, 1898, ch. III, p. 19; ch. V, p. 73, with the pedal that raises Fb7.
    assert_eq!(custom("violin", 1885), ends("G3", "E7"));
    assert_eq!(custom("harp", 1840), ends("Cb1", "F#7"));
    assert_eq!(custom("harp", 1885), ends("Cb1", "G#7"));
    // Johnstone, 1917, pp. 12, 14, 24, 40.
    assert_eq!(custom("cello", 1885), ends("C2", "A5"));
    assert_eq!(custom("double-bass", 1885), ends("E1", "A3"));
    assert_eq!(custom("oboe", 1885), ends("Bb3", "F6"));
    assert_eq!(custom("trumpet", 1885), ends("F#3", "C6"));
    // Quantz, 1752, from memory.
    assert_eq!(custom("flute", 1725), ends("D4", "E6"));
    // From memory, each of them.
    assert_eq!(custom("flute", 1785), ends("D4", "G6"));
    assert_eq!(custom("flute", 1885), ends("C4", "B6"));
    assert_eq!(custom("piccolo", 1810), ends("D5", "G7"));
    assert_eq!(custom("violin", 1725), ends("G3", "E6"));
    assert_eq!(custom("violin", 1785), ends("G3", "F6"));
    assert_eq!(custom("cor-anglais", 1885), ends("E3", "G5"));
    assert_eq!(custom("horn", 1885), ends("F#2", "A5"));
    assert_eq!(custom("double-bass", 1770), ends("E1", "D3"));
    assert_eq!(custom("contrabassoon", 1810), ends("C1", "D3"));
    assert_eq!(custom("tenor-trombone", 1950), ends("C2", "Bb4"));
    // Johnstone, 1917, p. 46.
    assert_eq!(custom("tuba", 1885), ends("F1", "D4"));
}

#[test]
fn physical_compasses_hold_by_year() {
    let physical = |id, year| compass_ends(id, Limit::Instrument, year);
    // Johnstone, 1917, pp. 8, 24, 30, 34, 46.
    assert_eq!(physical("violin", 1885), ends("G3", "B7"));
    assert_eq!(physical("cor-anglais", 1885), ends("Eb3", "Bb5"));
    assert_eq!(physical("bass-clarinet", 1885), ends("Eb3", "G6"));
    assert_eq!(physical("contrabassoon", 1885), ends("Bb0", "A3"));
    assert_eq!(physical("tuba", 1885), ends("F1", "F4"));
    // Grove, vol. 1, "Bassoon", p. 152; vol. 2, "Oboe", p. 487.
    assert_eq!(physical("bassoon", 1885), ends("Bb1", "F5"));
    assert_eq!(physical("bassoon", 1810), ends("Bb1", "D5"), "from memory");
    assert_eq!(physical("oboe", 1885), ends("Bb3", "A6"));
}

#[test]
fn a_year_beyond_the_rows_takes_the_nearest_row() {
    assert_eq!(
        compass_ends("oboe", Limit::Custom, 1500),
        compass_ends("oboe", Limit::Custom, 1680)
    );
    assert_eq!(
        compass_ends("oboe", Limit::Custom, i32::MAX),
        compass_ends("oboe", Limit::Custom, 1920)
    );
    assert_eq!(
        compass_ends("tuba", Limit::Instrument, i32::MIN),
        compass_ends("tuba", Limit::Instrument, 1835)
    );
}

/// Prout, The Orchestra, vol. 1, 1898, ch. XI, p. 244; Grove, vol. 1, p. 464; Johnstone, 1917,
/// p. 50. All three agree.
#[test]
fn the_two_timpani_have_a_fifth_each_and_an_octave_together() {
    let drums: Vec<_> = instrument("timpani")
        .drums
        .iter()
        .map(|drum| (drum.name.as_str(), drum.low, drum.high))
        .collect();
    assert_eq!(drums, [("large", pitch("F2"), pitch("C3")), ("small", pitch("Bb2"), pitch("F3"))]);
}

#[test]
fn midi_sounds_are_those_of_the_standard() {
    for (id, program) in PROGRAMS {
        assert_eq!(instrument(id).midi, MidiSound::Program(program), "{id}");
    }
    for (id, keys) in PERCUSSION_KEYS {
        let MidiSound::PercussionKey(key) = instrument(id).midi else {
            panic!("{id} has no percussion key");
        };
        assert!(keys.contains(&key), "{id}: key {key} is not among {keys:?}");
    }
}

#[test]
fn every_instrument_has_both_limits_in_the_four_years_of_the_festival() {
    for instrument in catalogue() {
        for year in [1725, 1770, 1810, 1885] {
            for limit in [Limit::Instrument, Limit::Custom] {
                let compass = instrument.compass(limit, year);
                let there = compass.is_some_and(|row| (row.from..=row.to).contains(&year));
                let wanted = instrument.from <= year;
                assert!(there || !wanted, "{} has no {limit:?} compass in {year}", instrument.id);
            }
        }
    }
}

#[test]
fn each_limit_covers_every_year_once() {
    for instrument in catalogue() {
        for limit in [Limit::Instrument, Limit::Solo, Limit::Custom] {
            let rows: Vec<_> =
                instrument.compasses.iter().filter(|row| row.limit == limit).collect();
            if limit == Limit::Solo && rows.is_empty() {
                continue;
            }
            for year in instrument.from..=1950 {
                let count = rows.iter().filter(|row| (row.from..=row.to).contains(&year)).count();
                assert_eq!(count, 1, "{}: {limit:?} in {year}", instrument.id);
            }
            assert!(rows.iter().any(|row| row.to == 9999), "{}: {limit:?}", instrument.id);
        }
    }
}

#[test]
fn custom_and_solo_lie_within_what_the_instrument_gives() {
    for instrument in catalogue() {
        for year in (instrument.from..=1950).step_by(5) {
            let whole = instrument.compass(Limit::Instrument, year).expect("an outer limit");
            for limit in [Limit::Solo, Limit::Custom] {
                let Some(part) = instrument.compass(limit, year) else { continue };
                let within = whole.low <= part.low && part.high <= whole.high;
                assert!(within, "{}: {limit:?} in {year}", instrument.id);
            }
        }
    }
}

#[test]
fn every_instrument_is_complete() {
    assert!(catalogue().len() >= 80);
    for instrument in catalogue() {
        let id = &instrument.id;
        for text in [
            &instrument.name,
            &instrument.plural,
            &instrument.abbreviation,
            &instrument.musicxml_sound,
        ] {
            assert!(!text.is_empty(), "{id}");
        }
        assert!(instrument.musicxml_sound.contains('.'), "{id}");
        assert!(instrument.voices >= 1, "{id}");
        let two_handed = matches!(instrument.family, Family::Harp | Family::Keyboard);
        assert_eq!(instrument.staves, if two_handed { 2 } else { 1 }, "{id}");
        assert_eq!(instrument.grasp.is_some(), two_handed, "{id}");
        assert_eq!(instrument.staves_source.is_empty(), instrument.staves == 1, "{id}");
        assert!(!instrument.bass_alone || ["harpsichord", "organ"].contains(&&**id), "{id}");
        let wind = matches!(instrument.family, Family::Woodwind | Family::Brass | Family::Voice);
        assert_eq!(instrument.breathes, wind, "{id}");
        assert_eq!(instrument.breath.is_some(), wind, "{id}");
        assert!(!wind || instrument.voices == 1, "{id}");
        let bowed = instrument.bowed();
        assert!(!bowed || !instrument.open_strings.is_empty(), "{id}");
        assert!(!bowed || (instrument.hand.is_some() && instrument.section.is_some()), "{id}");
        assert!(bowed || instrument.unpitched || instrument.seat.is_some(), "{id}");
        let desked = matches!(instrument.family, Family::Strings | Family::Percussion);
        assert_eq!(instrument.desk.is_some(), !desked, "{id}");
        assert_eq!(
            !instrument.slides.is_empty(),
            id.ends_with("trombone") && id != "valve-trombone"
        );
        assert_eq!(instrument.telling.is_none(), instrument.unpitched, "{id}");
        assert!(instrument.agility.is_some(), "{id}");
        assert_eq!(instrument.natural.is_some(), !instrument.crooks.is_empty(), "{id}");
        let tuned = !instrument.crooks.is_empty() || !instrument.keys.is_empty();
        assert!(instrument.compass_is_written || !tuned, "{id}");
        assert_eq!(instrument.drums.is_empty(), id != "timpani", "{id}");
    }
}

#[test]
fn clefs_cover_the_written_compass_of_custom() {
    for instrument in catalogue() {
        for year in [1725, 1770, 1810, 1885, 1920, 1950] {
            let compass = instrument.compass(Limit::Custom, year).expect("a customary compass");
            let written = |end: Pitch| {
                if instrument.compass_is_written {
                    Some(end)
                } else {
                    end.transposed(-instrument.transposition)
                }
            };
            for end in [compass.low, compass.high] {
                let end = written(end).unwrap_or_else(|| panic!("{}: {end}", instrument.id));
                let fits =
                    instrument.clefs.iter().any(|clef| (clef.low..=clef.high).contains(&end));
                assert!(fits, "{}: no clef for written {end}", instrument.id);
            }
        }
    }
}

#[test]
fn the_lowest_open_string_is_within_reach_and_strings_rise() {
    for instrument in catalogue().iter().filter(|i| i.family == Family::Strings) {
        for year in [1725, 1770, 1810, 1885] {
            let row = instrument.open_strings(year).expect("open strings");
            assert!(row.strings.is_sorted(), "{} in {year}", instrument.id);
            let custom = instrument.compass(Limit::Custom, year).expect("a customary compass");
            // A lower string may be tuned down, or a seventh string added, never the reverse.
            let lowest = row.strings.first().expect("a string");
            assert!(custom.low <= *lowest || instrument.id == "viola-damore", "{}", instrument.id);
            assert!(lowest.midi() - custom.low.midi() <= 2, "{} in {year}", instrument.id);
        }
    }
}

#[test]
fn words_and_places_in_the_score_are_unique_and_families_stand_together() {
    let mut words = HashSet::new();
    for instrument in catalogue() {
        for word in std::iter::once(&instrument.id).chain(&instrument.aliases) {
            assert!(words.insert(word.as_str()), "{word} stands twice");
            assert_eq!(find(word).map(|found| &found.id), Some(&instrument.id));
        }
    }
    assert!(catalogue().windows(2).all(|pair| {
        pair[0].score_order < pair[1].score_order && pair[0].family <= pair[1].family
    }));
}

#[test]
fn a_broken_table_is_reported_with_file_instrument_and_field() {
    let good = include_str!("data/percussion.toml");
    for (from, to, expected) in [
        ("name = \"large\", low = \"F2\"", "name = \"large\", low = \"H2\"", "drums `large`.low"),
        ("score_order = 200\n", "", "score_order"),
        ("score_order = 200\n", "score_order = \"high\"\n", "score_order"),
        ("score_order = 200\n", "score_order = 200\nscore_odrer = 1\n", "score_odrer"),
        ("midi = { program = 48 }", "midi = { program = 0 }", "midi.program"),
        ("from_source = \"from memory\"", "from_source = \"\"", "from_source"),
        ("from = 1680, to = 1849, low", "from = 1680, to = 1600, low", "compass Instrument 1680"),
        ("name = \"small\", low = \"Bb2\"", "name = \"small\", low = \"Bb4\"", "drums `small`"),
        ("percent = 60", "percent = 160", "sparing.percent"),
        ("milliseconds = 6000", "milliseconds = \"long\"", "milliseconds"),
        ("seat = { pan = 64", "seat = { pan = 164", "seat"),
    ] {
        assert!(good.contains(from), "the sample no longer has {from}");
        let broken = good.replacen(from, to, 1);
        let error =
            read::read_files(&[("percussion.toml", &broken)]).expect_err(expected).to_string();
        for word in ["percussion.toml", "timpani", expected] {
            assert!(error.contains(word), "{word} is missing in: {error}");
        }
    }
}
