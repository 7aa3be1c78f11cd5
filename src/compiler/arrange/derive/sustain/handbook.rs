//! Part-writing against a published rule book: E. Prout, Harmony: Its Theory and Practice, 1889,
//! ch. V to VIII, and The Orchestra, vol. 2, 1899, on the choirs of wind (both from memory).
//!
//! Progressions of common chords in several keys, metres and eras, with a tune and a bass that move
//! by the rules, are given to choirs of two to thirty players; what they hold is counted rule by
//! rule.

use crate::narrow::Narrow;
use std::fmt::Write;
use std::sync::Arc;

use super::cost::{self, Tendency, Wants};
use super::seats::Choir;
use crate::arrange::derive::tests::piece;
use crate::arrange::{Arrangement, arrange};
use crate::resolve::Piece;

/// Roman degrees as chord symbols of C, with the bass and notes that a tune may take, best first.
const CHORDS: [(&str, &str, [&str; 3]); 7] = [
    ("C", "C3", ["E5", "G5", "C5"]),
    ("F", "F3", ["A5", "C5", "F5"]),
    ("G7", "G2", ["B4", "D5", "F5"]),
    ("Am", "A2", ["C5", "E5", "A4"]),
    ("Dm7", "D3", ["F5", "A4", "D5"]),
    ("G7/B", "B2", ["D5", "G5", "F5"]),
    ("C/E", "E3", ["G5", "C5", "G4"]),
];

/// Where each chord of the table may go.
const NEXT: [&[usize]; 7] =
    [&[1, 2, 3, 4, 5], &[2, 0, 6, 4], &[0, 3], &[4, 1, 2], &[2, 5], &[0], &[1, 4]];

/// The steps of a progression of so many chords, by a fixed seed; it ends with V7 and I.
fn progression(seed: u32, count: usize) -> Vec<usize> {
    let mut state = seed;
    let mut dice = |of: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as usize % of
    };
    let mut chords = vec![0];
    while chords.len() + 2 < count {
        let ways = NEXT[chords[chords.len() - 1]];
        chords.push(ways[dice(ways.len())]);
    }
    chords.extend([2, 0]);
    chords
}

fn music(seed: u32, count: usize, era: i32, players: &str, lines: &str) -> Arc<Piece> {
    let chords = progression(seed, count);
    let mut text = format!(
        "form {{\n 1 metre 4/4, key C major, tempo 1/4 at 80\n {count} end\n}}\nharmony {{\n"
    );
    for (bar, &chord) in chords.iter().enumerate() {
        let _ = writeln!(text, "{}: {} |", bar + 1, CHORDS[chord].0);
    }
    text.push_str("}\nvoice tune {\n");
    let height = |note: &str| note.parse::<crate::music::Pitch>().map_or(72, |pitch| pitch.midi());
    let mut last = 76;
    for (bar, &chord) in chords.iter().enumerate() {
        let (_, _, notes) = CHORDS[chord];
        let next = *notes
            .iter()
            .filter(|note| height(note) != last)
            .min_by_key(|note| (height(note) - last).abs())
            .unwrap_or(&notes[0]);
        last = height(next);
        let _ = writeln!(text, "{}: 1/1 {next} |", bar + 1);
    }
    text.push_str("}\nvoice ground {\n");
    for (bar, &chord) in chords.iter().enumerate() {
        let _ = writeln!(text, "{}: 1/1 {} |", bar + 1, CHORDS[chord].1);
    }
    let _ = write!(
        text,
        "}}\nensemble e {{\n era {era}\n violin-1 8 players, cello 4 players\n {players}\n}}\n\
         scoring s for e {{\n violin-1 plays tune as melody\n cello plays ground as bass\n {lines}\n}}\n"
    );
    piece(&text)
}

/// What is counted, per hundred chords.
#[derive(Default, Debug)]
struct Count {
    chords: u32,
    /// The whole lacks its third or seventh.
    incomplete: u32,
    /// A choir of three or more lacks a third that may be doubled.
    choir_without_third: u32,
    /// The leading note or the seventh twice in one choir.
    twice: u32,
    rests: u32,
    sevenths: u32,
    unresolved: u32,
    /// A second player above the first of his line.
    crossed: u32,
    /// A bar held that is not one whole note.
    divided: u32,
    /// A player goes by an augmented interval, or by a seventh or more than an octave.
    augmented: u32,
    leaps: u32,
    /// How often a player moves on to the next chord, and how often by a fourth or more, without the
    /// bass.
    moves: u32,
    far: u32,
    /// The lowest of the heavy brass ends with the fifth of the chord.
    six_four: u32,
}

/// What the computed players of an arrangement hold in a bar: player, line, choir, height.
fn held(arrangement: &Arrangement, bar: usize) -> Vec<(String, Choir, Option<i16>)> {
    let start = arrangement.piece.form.bars[bar].start;
    let computed = ["violin-1", "cello"];
    let parts = arrangement.parts.iter().filter(|p| !computed.contains(&p.player.id.as_str()));
    parts
        .map(|part| {
            let note = part.notes.iter().find(|n| n.start() <= start && n.end() > start);
            let height =
                note.and_then(|n| n.sound().pitches().first()).map(|p| p.midi().narrow::<i16>());
            (part.player.line_name.clone(), Choir::of(part.player.instrument), height)
        })
        .collect()
}

fn count(piece: &Arc<Piece>, total: &mut Count) {
    let arrangement = arrange(piece, &piece.scorings[0]);
    let sounding = |bar: usize| {
        let time = piece.form.bars[bar].start;
        piece
            .voices
            .iter()
            .filter_map(|voice| voice.music.notes.iter().find(|note| note.start == time))
            .filter_map(|note| {
                note.sound.pitches().first().map(|pitch| pitch.midi().narrow::<i16>())
            })
            .collect::<Vec<_>>()
    };
    for part in &arrangement.parts {
        total.divided += part
            .notes
            .iter()
            .filter(|n| n.length() < crate::music::Time::WHOLE)
            .count()
            .narrow::<u32>();
    }
    for bar in 0..piece.form.bars.len() {
        total.chords += 1;
        let wants = Wants::new(&piece.harmony[bar].chord, piece.harmony[bar].key);
        let row = held(&arrangement, bar);
        let heights = |of: Option<Choir>| -> Vec<i16> {
            let own = row.iter().filter(|(_, choir, _)| of.is_none_or(|of| of == *choir));
            own.filter_map(|(.., height)| *height).collect()
        };
        let classes =
            |heights: &[i16]| heights.iter().fold(0u16, |all, h| all | 1 << h.rem_euclid(12));
        let all = [heights(None), sounding(bar)].concat();
        let members = wants.members_among(classes(&all));
        let sevenths = piece.harmony[bar].chord.quality.intervals().len() > 2;
        let needed = if sevenths { 0b1010 } else { 0b10 };
        total.incomplete += u32::from(members & needed != needed);
        for choir in [Choir::Strings, Choir::Woodwind, Choir::Horns, Choir::Brass] {
            let own = heights(Some(choir));
            // A third that is the leading note is left to the tune, or to another choir in unison.
            let third = (0..12i16).find(|class| wants.member(*class) == Some(1));
            if own.len() >= cost::COMPLETE && !third.is_some_and(|third| wants.tender(third)) {
                total.choir_without_third +=
                    u32::from(wants.members_among(classes(&own)) & 0b10 == 0);
            }
            for class in 0..12i16 {
                // Those who go with the bass, a trombone and the tuba below it, are one voice.
                let bass = sounding(bar).into_iter().min().unwrap_or(i16::MAX);
                let (with_bass, others): (Vec<i16>, Vec<i16>) = own
                    .iter()
                    .filter(|h| h.rem_euclid(12) == class)
                    .partition(|h| **h <= bass && (bass - **h) % 12 == 0);
                let times = others.len() + usize::from(!with_bass.is_empty());
                total.twice += u32::from(wants.tender(class) && times > 1);
            }
        }
        total.rests += row.iter().filter(|(.., height)| height.is_none()).count().narrow::<u32>();
        for (index, (line, _, height)) in row.iter().enumerate() {
            let next = row.get(index + 1).filter(|(next, ..)| next == line);
            // Four horns stand 1, 3, 2, 4.
            if let (Some(own), Some((.., Some(below)))) = (height, next)
                && !line.contains("horn")
            {
                total.crossed += u32::from(below > own);
            }
        }
        if bar + 1 == piece.form.bars.len() {
            let lowest = heights(Some(Choir::Brass)).into_iter().min();
            total.six_four += u32::from(lowest.is_some_and(|h| wants.member(h) == Some(2)));
        }
        if bar + 1 < piece.form.bars.len() {
            let next_wants = Wants::new(&piece.harmony[bar + 1].chord, piece.harmony[bar + 1].key);
            for ((.., from), (.., to)) in row.iter().zip(held(&arrangement, bar + 1)) {
                let (Some(from), Some(to)) = (*from, to) else { continue };
                let tendency = wants.tendencies[usize::from(from.unsigned_abs() % 12)];
                total.augmented += u32::from(wants.leap(from, to, &next_wants) >= cost::AUGMENTED);
                let way = (to - from).unsigned_abs();
                total.leaps += u32::from(matches!(way, 10 | 11 | 13..));
                total.moves += u32::from(way > 0);
                // Whoever goes along with the bass leaps as it does.
                let bass = |bar: usize| piece.harmony[bar].chord.bass_note().class();
                let is_bass = |bar: usize, h: i16| i32::from(h.rem_euclid(12)) == bass(bar);
                let goes_with_bass = is_bass(bar, from) && is_bass(bar + 1, to);
                total.far += u32::from(way >= 5 && !goes_with_bass);
                // Where a voice has the note of resolution, and that is a leading note, it is free.
                let goal = [from - 1, from - 2]
                    .into_iter()
                    .find(|goal| next_wants.member(*goal).is_some());
                let taken = goal.is_some_and(|goal| {
                    next_wants.tender(goal)
                        && sounding(bar + 1).iter().any(|voice| (voice - goal) % 12 == 0)
                });
                if tendency == Tendency::Down && !taken {
                    total.sevenths += 1;
                    let cost = wants.unresolved(from, to, &next_wants, false);
                    total.unresolved += u32::from(cost > 0);
                }
            }
        }
    }
}

const FORCES: [(i32, &str, &str); 7] = [
    (1770, "violin-2 6 players, viola 4 players", "violin-2 sustains\n viola sustains"),
    (1770, "oboe 2, bassoon 2", "oboe, bassoon sustains"),
    (
        1810,
        "flute 2, oboe 2, clarinet 2 in Bb, bassoon 2",
        "flute, oboe, clarinet, bassoon sustains",
    ),
    (1885, "horn 4 in F", "horn sustains"),
    (1885, "tenor-trombone 2, bass-trombone, tuba", "tenor-trombone, bass-trombone, tuba sustains"),
    (
        1885,
        "trumpet 3 in Bb\n tenor-trombone 2, bass-trombone, tuba\n horn 4 in F",
        "trumpet, tenor-trombone, bass-trombone, tuba sustains\n horn sustains",
    ),
    (
        1885,
        "flute 3, oboe 3, clarinet 3 in Bb, bassoon 3, contrabassoon\n horn 4 in F, trumpet 3 in Bb\n \
         tenor-trombone 2, bass-trombone, tuba\n violin-2 8 players, viola 6 players",
        "flute, oboe, clarinet sustains\n bassoon, contrabassoon sustains\n horn sustains\n \
         trumpet sustains\n tenor-trombone, bass-trombone, tuba sustains\n violin-2, viola sustains",
    ),
];

#[test]
fn choirs_of_every_size_keep_the_rules_of_the_book() {
    let mut all = Count::default();
    for (era, players, lines) in FORCES {
        let mut total = Count::default();
        for seed in 1..=6 {
            count(&music(seed, 12, era, players, lines), &mut total);
        }
        println!("{players}: {total:?}");
        assert_eq!((total.incomplete, total.rests, total.twice), (0, 0, 0), "{players}: {total:?}");
        assert_eq!(total.divided, 0, "{players}: a bar held is one whole note");
        assert_eq!(total.augmented, 0, "{players}: {total:?}");
        assert_eq!(total.six_four, 0, "{players}: {total:?}");
        all.leaps += total.leaps;
        all.moves += total.moves;
        all.far += total.far;
        all.chords += total.chords;
        all.choir_without_third += total.choir_without_third;
        all.crossed += total.crossed;
        all.sevenths += total.sevenths;
        all.unresolved += total.unresolved;
    }
    // Least movement: at most one in seven goes by a fourth or more.
    assert!(all.far * 7 <= all.moves, "{all:?}");
    // Where all cannot be had, at most one in a hundred.
    assert!(all.leaps * 100 <= all.chords, "{all:?}");
    assert!(all.choir_without_third * 100 <= all.chords, "{all:?}");
    assert!(all.unresolved * 20 <= all.sevenths, "{all:?}");
    assert!(all.crossed * 100 <= all.chords, "{all:?}");
}
