//! The solver against brute force, and what may never happen in a sustained passage.

use crate::narrow::Narrow;
use std::sync::Arc;

use proptest::prelude::*;

use super::cost::{self, Row};
use super::seats::Choir;
use super::solve::{Stage, step, way, with_voice};
use crate::arrange::derive::tests::{
    arranged_piece, chord_symbols, has_note, melody, piece, request, scored_piece, wind,
};
use crate::arrange::derive::texture::Texture;
use crate::arrange::{Arrangement, Part, arrange};
use crate::music::{Pitch, Time};
use crate::resolve::{Mark, Piece};

/// The cheapest way of all, by trying every one.
fn brute_force(passage: &[Stage]) -> u32 {
    fn go(passage: &[Stage], at: usize, before: Option<&Row>, so_far: u32, best: &mut u32) {
        if so_far >= *best {
            return;
        }
        let Some(stage) = passage.get(at) else {
            *best = so_far;
            return;
        };
        for (cost, row) in stage.all_rows() {
            let way = match before {
                Some(before) => step(&passage[at - 1], stage, before, &row, u32::MAX),
                None => Some(0),
            };
            if let Some(way) = way {
                go(passage, at + 1, Some(&row), so_far + cost + way, best);
            }
        }
    }
    let mut best = u32::MAX;
    go(passage, 0, None, 0, &mut best);
    best
}

/// What the players hold at the beginning of a bar, without those who rest.
fn row(arrangement: &Arrangement, bar: usize) -> Vec<i16> {
    seats(arrangement, bar).into_iter().flatten().collect()
}

/// What each player holds at the beginning of a bar.
fn seats(arrangement: &Arrangement, bar: usize) -> Vec<Option<i16>> {
    let start = arrangement.piece.form.bars[bar].start;
    let sounding = |part: &Arc<Part>| {
        let note = part.notes.iter().find(|note| note.start() <= start && note.end() > start)?;
        Some(note.sound().pitches()[0].midi().narrow::<i16>())
    };
    arrangement.parts.iter().filter(|part| !part.player.section).map(sounding).collect()
}

/// What each choir holds at the beginning of a bar.
fn choirs(arrangement: &Arrangement, bar: usize) -> Vec<Vec<i16>> {
    let mut choirs: Vec<(Choir, Vec<i16>)> = Vec::new();
    let wind = arrangement.parts.iter().filter(|part| !part.player.section);
    for (part, height) in wind.zip(seats(arrangement, bar)) {
        let of = Choir::of(part.player.instrument);
        if !choirs.iter().any(|(choir, _)| *choir == of) {
            choirs.push((of, Vec::new()));
        }
        let own = choirs.iter_mut().find(|(choir, _)| *choir == of);
        own.into_iter().for_each(|(_, row)| row.extend(height));
    }
    choirs.into_iter().map(|(_, row)| row).collect()
}

/// Is it told that no notes keep all rules?
fn told(arrangement: &Arrangement) -> bool {
    arrangement.diagnostics.iter().any(|found| found.code == "arrange/no-note-fits")
}

/// The leading note and the seventh of the chord of a bar, as pitch classes.
fn tender(piece: &Piece, bar: usize) -> Vec<i32> {
    let chord = piece.harmony[bar].chord;
    let leading = cost::leading_class(&chord, piece.harmony[bar].key);
    let seventh = chord.quality.intervals().iter().position(|(steps, _)| *steps == 6);
    let seventh = seventh.map(|index| chord.members()[index + 1].class());
    leading.into_iter().chain(seventh).collect()
}

fn count(row: &[i16], class: i32) -> usize {
    row.iter().filter(|note| i32::from(note.rem_euclid(12)) == class).count()
}

/// Does a player who moves so into a bar move in parallels with an outer voice: from what it had a
/// bar before, or from its last note, unless that passes off the beat?
fn follows_outer(piece: &Piece, texture: &Texture, bar: usize, moved: (i16, i16)) -> bool {
    let (last, start) = (&piece.form.bars[bar - 1], piece.form.bars[bar].start);
    let Some(then) = texture.outer(start) else { return false };
    let with = |from: Pitch, to: Pitch| {
        with_voice(moved, (from.midi().narrow::<i16>(), to.midi().narrow::<i16>()))
    };
    let first = texture.outer(last.start);
    let from_bar = first.is_some_and(|f| with(f.low, then.low) || with(f.high, then.high));
    let bears = |from: Pitch| {
        let struck = texture.struck_before(start, from);
        struck.is_some_and(|at| (at - last.start) % Time::of(1, 4) == Time::ZERO)
            || piece.harmony[bar - 1].chord.has_class(from.name().class())
    };
    let leaving = texture.outer_before(start);
    from_bar
        || leaving.is_some_and(|leaving| {
            (bears(leaving.low) && with(leaving.low, then.low))
                || (bears(leaving.high) && with(leaving.high, then.high))
        })
}

/// Does a player go with the bass into a bar, in unison or octaves?
fn goes_with_bass(piece: &Piece, texture: &Texture, bar: usize, (from, to): (i16, i16)) -> bool {
    let is_bass = |bar: usize, own: i16| {
        let outer = texture.outer(piece.form.bars[bar].start);
        outer.is_some_and(|outer| (outer.low.midi() - i32::from(own)) % 12 == 0)
    };
    is_bass(bar - 1, from) && is_bass(bar, to)
}

/// Does the top voice come into a bar by a semitone from below, octaves away from a height?
fn rises_with_tune(texture: &Texture, piece: &Piece, bar: usize, to: i16) -> bool {
    let start = piece.form.bars[bar].start;
    let Some(then) = texture.outer(start).map(|outer| outer.high.midi()) else { return false };
    let before = [texture.outer(piece.form.bars[bar - 1].start), texture.outer_before(start)];
    let mut before = before.into_iter().flatten().map(|outer| outer.high.midi());
    (then - i32::from(to)) % 12 == 0
        && then != i32::from(to)
        && before.any(|from| (then - from).rem_euclid(12) == 1)
}

const LINES: &str = "violin-1 plays a as melody\n cello plays b as bass\n";

fn of_dominant(voices: &str, players: &str, lines: &str) -> Arc<Piece> {
    piece(&format!(
        "form {{\n 1 metre 4/4, key C major, tempo 1/4 at 90\n 2 end\n}}\nharmony {{ 1: C | 2: G7 | }}\n\
         voice a {{ 1: 1/1 E5 | 2: 1/2 G5 D5 | }}\nvoice b {{ 1: 1/1 C3 | 2: 1/1 G2 | }}\n{voices}\n\
         ensemble e {{\n era 1885\n violin-1 12 players, cello 6 players\n {players}\n}}\n\
         scoring s for e {{\n {LINES} {lines}\n}}\n"
    ))
}

const SIX: &str = "oboe 2, clarinet 2 in Bb, bassoon 2";

#[test]
fn one_choir_leaves_the_leading_note_and_the_seventh_of_another_alone() {
    let lines = "oboe sustains\n clarinet sustains\n bassoon sustains";
    let piece = of_dominant("", SIX, lines);
    let row = row(&arrange(&piece, &piece.scorings[0]), 1);
    assert_eq!(row.len(), 6, "nobody rests for that: {row:?}");
    assert_eq!([count(&row, 11), count(&row, 5)], [1, 1], "{row:?}");
}

#[test]
fn those_beyond_the_fourth_share_only_notes_that_may_be_doubled() {
    let piece = of_dominant("", SIX, "oboe, clarinet, bassoon sustains");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let row = row(&arrangement, 1);
    assert_eq!(row.len(), 6, "{row:?}");
    assert!(count(&row, 11) <= 1 && count(&row, 5) <= 1, "{row:?}");
}

#[test]
fn more_players_than_notes_who_share_them_are_told_once_a_line() {
    let said = |players: &str, line: &str| {
        let piece = of_dominant("", players, line);
        let arrangement = arrange(&piece, &piece.scorings[0]);
        arrangement.diagnostics.iter().map(|d| d.message.clone()).collect::<Vec<_>>()
    };
    let six = said("oboe 6", "oboe sustains");
    assert_eq!(
        six,
        [
            "There are more players (6) than chord tones in bars 1 to 2: Oboe 5 and Oboe 6 share notes with the others."
        ]
    );
    assert!(said("oboe 4", "oboe sustains").is_empty());
}

#[test]
fn the_leading_note_of_an_inner_voice_is_left_to_it() {
    let piece = of_dominant("voice m { 1: 1/1 C4 | 2: 1/1 B3 | }", "oboe 2", "oboe sustains");
    let row = row(&arrange(&piece, &piece.scorings[0]), 1);
    assert!(row.len() == 2 && count(&row, 11) == 0, "{row:?}");
}

#[test]
fn a_tune_alone_is_no_bass() {
    let chords = "1: C | 2: F | 3: G7 | 4: C |";
    let text = |role: &str| {
        format!(
            "form {{\n 1 metre 4/4, key C major, tempo 1/4 at 60\n 4 end\n}}\nharmony {{ {chords} }}\n\
             voice u {{ 1: 1/1 G5 | 2: 1/1 A5 | 3: 1/1 B5 | 4: 1/1 C6 | }}\n\
             ensemble e {{\n era 1885\n violin-1 12 players, horn 4 in F\n}}\n\
             scoring s for e {{\n violin-1 plays u as {role}\n horn sustains\n}}\n"
        )
    };
    let held = |role: &str| {
        let piece = piece(&text(role));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        (0..4).map(|bar| row(&arrangement, bar).len()).collect::<Vec<_>>()
    };
    assert_eq!(held("melody"), [4, 4, 4, 4]);
    assert_eq!(held("bass"), [4, 4, 4, 4], "nobody falls silent for that");
}

#[test]
fn nobody_follows_the_tune_from_a_note_of_the_chord_off_the_beat() {
    let piece = piece(
        "form {\n 1 metre 3/4, key C major, tempo 1/4 at 72\n 4 end\n}\nharmony { 1: F | 2: G7 | 3: C | 4: C | }\n\
         voice u { 1: 1/2 A5 1/8 F5 E5 | 2: 1/4 D5 F5 B4 | 3: 1/2. C5 | 4: 1/2. C5 | }\n\
         voice l { 1: 1/2. F3 | 2: G3 | 3: C3 | 4: C3 | }\n\
         ensemble e {\n era 1810\n violin-1 12 players, cello 4 players\n bassoon 2\n}\n\
         scoring s for e {\n violin-1 plays u as melody\n cello plays l as bass\n bassoon sustains\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let (first, then) = (row(&arrangement, 1), row(&arrangement, 2));
    assert!(!first.is_empty() && first.len() == then.len(), "{first:?} {then:?}");
    for moved in first.into_iter().zip(then) {
        assert!(!with_voice(moved, (71, 72)), "{moved:?} with B4 C5");
    }
}

#[test]
fn horns_breathe_in_turn_without_rests_and_carry_the_cadence_to_its_end() {
    for (metre, whole, bars) in [("4/4", "1/1", 8i64), ("6/8", "1/2.", 16)] {
        let chord = |bar: usize| if bar + 2 == bars.narrow::<usize>() { "G7" } else { "C" };
        let each = |what: &dyn Fn(usize) -> String| {
            (0..bars.narrow::<usize>())
                .map(|bar| format!("{}: {} | ", bar + 1, what(bar)))
                .collect::<String>()
        };
        let piece = piece(&format!(
            "form {{\n 1 metre {metre}, key C major, tempo 1/4 at 96\n {bars} end\n}}\nharmony {{ {} }}\n\
             dynamics {{ 1 f }}\nvoice u {{ {} }}\nvoice l {{ {} }}\n\
             ensemble e {{\n era 1885\n violin-1 12 players, horn 4 in F\n}}\n\
             scoring s for e {{\n violin-1 plays u as melody\n horn sustains\n}}\n",
            each(&|bar| chord(bar).to_string()),
            each(&|bar| format!("{whole} {}", if chord(bar) == "C" { "G5" } else { "F5" })),
            each(&|bar| format!("{whole} {}", if chord(bar) == "C" { "C3" } else { "G2" })),
        ));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let parts = arrangement.parts.iter().map(|part| &**part);
        let horns: Vec<&Part> = parts.filter(|part| !part.player.section).collect();
        let goal = piece.form.bars[bars.narrow::<usize>() - 1].start;
        let before = piece.form.bars[bars.narrow::<usize>() - 2].start;
        let mut breaths: Vec<Vec<Time>> = Vec::new();
        for horn in &horns {
            assert!(horn.notes.windows(2).all(|notes| notes[0].end() == notes[1].start()));
            let marked = horn.notes.iter().filter(|note| note.attached().marks.has(Mark::Breath));
            let own: Vec<Time> = marked.map(|note| note.end()).collect();
            assert!(!own.is_empty());
            for at in &own {
                assert!(*at <= before || *at > goal, "{metre}: {} at {at}", horn.player.id);
            }
            breaths.push(own);
        }
        let all = |at: &Time| breaths.iter().all(|own| own.contains(at));
        assert!(!breaths[0].iter().any(all), "{metre}: all at once, {breaths:?}");
        assert!(breaths[0] != breaths[1], "{metre}");
    }
}

#[test]
fn a_note_that_outlasts_the_breath_is_divided_even_before_a_goal() {
    let piece = piece(
        "form {\n 1 metre 4/4, key C major, tempo 1/4 at 15\n 2 end\n}\nharmony { 1: G7 | 2: C | }\n\
         voice u { 1: 1/1 D6 | 2: 1/1 C6 | }\n\
         ensemble e {\n era 1885\n violin-1 12 players, horn in F\n}\n\
         scoring s for e {\n violin-1 plays u as melody\n horn sustains\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let horn = arrangement.parts.iter().find(|part| !part.player.section);
    let notes = horn.map_or(&[][..], |part| &part.notes);
    assert!(notes.iter().any(|note| note.end() < Time::of(1, 1)), "{notes:?}");
}

/// The notes of the tuba under three trombones, in the bars of a bass.
fn tuba_over(metre: &str, chords: &str, bass: &[&str]) -> Vec<String> {
    let bars = |what: &dyn Fn(usize) -> String| -> String {
        (0..bass.len()).map(|bar| format!("{}: {} | ", bar + 1, what(bar))).collect()
    };
    let piece = piece(&format!(
        "form {{\n 1 metre {metre}, key Bb major, tempo 1/4 at 72\n {} end\n}}\n\
         harmony {{ {chords} }}\nvoice upper {{ {} }}\nvoice lower {{ {} }}\n\
         ensemble band {{\n era 1885\n tenor-trombone 2, bass-trombone, tuba, violin-1 8 players, \
         cello 6 players\n}}\nscoring all for band {{\n violin-1 plays upper as melody\n\
         cello plays lower as bass\n tenor-trombone, bass-trombone, tuba sustains\n}}\n",
        bass.len(),
        bars(&|_| format!("{} F5", if metre == "4/4" { "1/1" } else { "1/2." })),
        bars(&|bar| bass[bar].to_string()),
    ));
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let tuba = arrangement.parts.iter().find(|part| part.player.id == "tuba").unwrap();
    let told = |note: &crate::arrange::PackedNote| {
        format!("{} {}", note.start().fraction().0, note.sound().pitches()[0])
    };
    tuba.notes.iter().map(told).collect()
}

#[test]
fn the_tuba_goes_where_the_bass_stays_and_holds_on_where_it_only_passes() {
    let passes = tuba_over("4/4", "1: Bb | 2: Bb |", &["1/4 Bb2 F3 Bb2 D3", "1/1 Bb2"]);
    assert!(passes.iter().all(|note| note.contains("Bb")), "{passes:?}");
    let stays = tuba_over("4/4", "1: Eb | 2: Bb |", &["1/2 Eb3 G2", "1/1 Bb2"]);
    assert_eq!(stays.len(), 3, "{stays:?}");
    assert!(stays[1].starts_with("1 G"), "{stays:?}");
    // The first inversion is in the voice, whatever the chord symbol says.
    let sixth = tuba_over("3/4", "1: Bb | 2: Eb |", &["1/2. D3", "1/2. Eb3"]);
    assert!(sixth[0].starts_with("0 D"), "{sixth:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn two_choirs_double_no_tender_note_and_follow_no_voice(
        chords in chord_symbols(1..=16),
        tune in melody(16),
        (first, second) in prop::sample::select(vec![
            ("oboe 2", "clarinet 2 in Bb"),
            ("clarinet 2 in A", "bassoon 2"),
            ("horn 4 in F", "alto-trombone, tenor-trombone, bass-trombone"),
            ("oboe 2", "horn 2 crook F"),
        ]),
    ) {
        let names = |players: &str| {
            let words = players.split(", ").filter_map(|line| line.split(' ').next());
            words.collect::<Vec<_>>().join(", ")
        };
        let lines = format!("{} sustains\n {} sustains", names(first), names(second));
        let piece = scored_piece(&chords, &tune, 1885, &format!("{first}, {second}"), &lines);
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let texture = Texture::new(&piece);
        if told(&arrangement) {
            return Ok(());
        }
        for bar in 0..chords.len() {
            let all = row(&arrangement, bar);
            for class in tender(&piece, bar) {
                for choir in choirs(&arrangement, bar) {
                    prop_assert!(count(&choir, class) <= 1, "{class} twice in bar {}: {choir:?}", bar + 1);
                }
                prop_assert!(
                    all.len() >= 6 || count(&all, class) <= 1,
                    "{class} is doubled in bar {}: {all:?}", bar + 1
                );
            }
            let before = if bar > 0 { seats(&arrangement, bar - 1) } else { Vec::new() };
            for moved in before.into_iter().zip(seats(&arrangement, bar)) {
                let (Some(from), Some(to)) = moved else { continue };
                // In a tutti the lowest of a choir may go with the bass.
                if all.len() >= 6 && goes_with_bass(&piece, &texture, bar, (from, to)) {
                    continue;
                }
                // And a leading note of his may rise in octaves with the tune.
                if all.len() >= 6 && to == from + 1 && rises_with_tune(&texture, &piece, bar, to) {
                    continue;
                }
                prop_assert!(
                    !follows_outer(&piece, &texture, bar, (from, to)),
                    "{from} {to} goes along with a voice into bar {}", bar + 1
                );
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_way_is_cheaper_than_the_one_found(
        chords in chord_symbols(1..=4),
        tune in melody(4),
        players in prop::sample::select(vec!["oboe 2", "horn 2 crook F", "trumpet 2 crook D", "viola", "alto-trombone, bass-trombone"]),
    ) {
        let piece = arranged_piece(&chords, &tune, 1810, players, "sustains");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let request = request(&piece, &arrangement);
        let passage = super::stages_of(&request);
        prop_assert_eq!(way(&passage, None).0, brute_force(&passage));
    }

    #[test]
    fn a_sustained_passage_has_no_faults(
        chords in chord_symbols(1..=24),
        tune in melody(24),
        (players, era) in wind(),
    ) {
        let piece = arranged_piece(&chords, &tune, era, players, "sustains");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let parts: Vec<_> = arrangement.parts.iter().filter(|p| !p.player.section).collect();
        let faultless = !told(&arrangement);
        let at = |part: usize, bar: usize| -> Option<i16> {
            let start = piece.form.bars[bar].start;
            let notes = &parts[part].notes;
            let note = notes.iter().find(|note| note.start() <= start && note.end() > start)?;
            Some(note.sound().pitches()[0].midi().narrow::<i16>())
        };
        for part in &parts {
            for note in &part.notes {
                prop_assert!(has_note(part, era, note.start(), note.sound().pitches()[0]));
            }
        }
        let texture = Texture::new(&piece);
        for bar in 0..chords.len() {
            let row: Vec<(usize, i16)> =
                (0..parts.len()).filter_map(|p| Some((p, at(p, bar)?))).collect();
            for class in tender(&piece, bar) {
                let count = count(&row.iter().map(|(_, note)| *note).collect::<Vec<_>>(), class);
                prop_assert!(!faultless || count <= 1, "{class} is doubled in bar {}", bar + 1);
            }
            if bar == 0 || !faultless {
                continue;
            }
            for &(player, now) in &row {
                let Some(before) = at(player, bar - 1) else { continue };
                for &(other, other_now) in &row {
                    let Some(other_before) = at(other, bar - 1) else { continue };
                    prop_assert!(
                        other == player || parts.len() > 4 || !cost::parallel((before, now), (other_before, other_now)),
                        "parallels into bar {}", bar + 1
                    );
                }
                // In a tutti the lowest of a choir may go with the bass, and a bass trombone anywhere.
                let low = row.len() >= 6 || parts[player].player.id == "bass-trombone";
                prop_assert!(
                    (low && goes_with_bass(&piece, &texture, bar, (before, now)))
                        || !follows_outer(&piece, &texture, bar, (before, now)),
                    "{before} {now} goes along with a voice into bar {}", bar + 1
                );
            }
        }
        let again = arrange(&piece, &piece.scorings[0]);
        for (a, b) in arrangement.parts.iter().zip(&again.parts) {
            prop_assert_eq!(&a.notes, &b.notes);
        }
    }
}
