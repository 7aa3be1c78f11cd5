//! Movements whose forces differ: who has which part of the whole, where it stands, and on how many staves.

use std::fmt::Write as _;
use std::sync::Arc;

use ripieno::arrange::Arrangement;
use ripieno::diagnostics::FileId;
use ripieno::edition::{
    Cueing, DirectionKind, Edition, GroupSign, condensed_score, full_score, part_with_cues,
};
use ripieno::engrave::{layout::pages, page::Kind, paper::Setup, reading::sheet};
use ripieno::instruments::Clef;
use ripieno::music::Time;
use ripieno::notate::{Score, notate};
use ripieno::render::{Format, musicxml, outputs, text};
use ripieno::session::Session;

use super::shelf::Shelf;

/// A whole of movements of two bars of 4/4 each, of which each has an ensemble and a scoring of its own.
fn whole(movements: &[(&str, &str)]) -> (Session, FileId) {
    let movement = |(players, lines): &(&str, &str)| {
        format!(
            "piece \"Wheel\" {{ }}\nform {{ 1 metre 4/4, key C major, tempo 1/4 at 90\n 2 end }}\n\
             voice upper {{ 1: 1/1 C5 | 2: D5 | }}\nvoice lower {{ 1: 1/1 C4 | 2: F4 | }}\n\
             voice bass {{ 1: 1/1 C3 | 2: D3 | }}\n\
             ensemble few {{\n era 1810\n {players}\n}}\nscoring plain for few {{\n{lines}\n}}\n"
        )
    };
    let named = |number: usize| format!("movement-{number}.ripieno");
    let sources = movements.iter().map(movement).enumerate();
    let sources = sources.map(|(number, text)| (named(number), text));
    let mut session = Session::new(Shelf(sources.collect()));
    let mut text = String::from("piece \"Book\" {\n");
    for number in 0..movements.len() {
        writeln!(text, "  movement \"{}\"", named(number)).unwrap();
    }
    let file = session.open("book.ripieno", &format!("{text}}}\n"));
    (session, file)
}

fn ids(score: &Score) -> Vec<&str> {
    score.staves.iter().map(|staff| staff.id.as_str()).collect()
}

/// What is said of who plays on the first staff: bar and words.
fn said(edition: &Edition) -> Vec<(usize, String)> {
    let bars = edition.staves[0].bars.iter().enumerate();
    let said = bars.flat_map(|(bar, staff)| {
        staff.directions.iter().filter_map(move |said| match &said.kind {
            DirectionKind::Who(words) => Some((bar + 1, words.clone())),
            _ => None,
        })
    });
    said.collect()
}

const DIVIDED: &str = "violin-1 plays upper as melody\nviola.1 plays upper as harmony\nviola.2 plays lower as harmony";
const UNDIVIDED: &str = "violin-1 plays upper as melody\nviola plays lower as harmony";

/// With whom the section divides in one movement or plays together in another, and of how many they are,
/// makes no difference.
#[test]
fn all_of_a_section_read_what_it_plays_undivided_in_another_movement() {
    let horns = |players: &str| format!("horn 4 crook D, {players}");
    let rest = |lines: &str| format!("horn rests\n{lines}");
    let divided = "violin-1 4 players, viola 4 players divisi";
    let together = ["viola", "viola 2 players", "viola 9 players"];
    for section in together.map(|viola| format!("violin-1 4 players, {viola}")) {
        let (many, busy) = (horns(&section), rest(UNDIVIDED));
        let (fuller, resting) = (horns(divided), rest(DIVIDED));
        for movements in [
            [(divided, DIVIDED), (&section, UNDIVIDED)],
            [(divided, DIVIDED), (&many, &busy)],
            [(&fuller, &resting), (&section, UNDIVIDED)],
            [(&section, UNDIVIDED), (divided, DIVIDED)],
        ] {
            let (mut session, file) = whole(&movements);
            let plain = session.arrangement(file, "plain").unwrap();
            let score = notate(&plain);
            let halves: Vec<&str> =
                ids(&score).into_iter().filter(|id| id.starts_with("viola")).collect();
            assert_eq!(halves, ["viola.1", "viola.2"]);
            let upper = plain.parts.iter().position(|part| part.player.id == "viola.1").unwrap();
            assert_eq!(plain.desk(upper), upper..upper + 2);
            let part = part_with_cues(&plain, &score, upper, Cueing::default());
            assert_eq!(part.head.name, "Violas");
            assert!(part.movements.iter().all(|movement| !movement.tacet));
            let later = movements[0].1 == UNDIVIDED;
            let expected: &[(usize, &str)] =
                if later { &[(3, "div.")] } else { &[(1, "div."), (3, "unis.")] };
            let said = said(&part);
            let said: Vec<(usize, &str)> =
                said.iter().map(|(bar, words)| (*bar, words.as_str())).collect();
            assert_eq!(said, expected, "{movements:?}");
            // Both halves sound what all play.
            let undivided = if later { 0..2_i64 } else { 2..4 };
            for half in upper..upper + 2 {
                let notes = plain.parts[half].notes.iter();
                let bars = notes.map(|note| note.start().div_floor(Time::WHOLE));
                assert_eq!(bars.filter(|bar| undivided.contains(bar)).count(), 2);
            }
            let parts = outputs(&plain, &[Format::Text]);
            let files = parts.filter(|output| output.path.contains("viola"));
            assert_eq!(files.count(), 1);
        }
    }
}

#[test]
fn a_half_that_rests_in_one_movement_and_plays_with_all_in_another_is_not_idle() {
    let divided = "violin-1 plays upper as melody\nviola.1 plays upper as harmony";
    let (mut session, file) = whole(&[
        ("violin-1 4 players, viola 4 players divisi", divided),
        ("violin-1 4 players, viola 4 players", UNDIVIDED),
    ]);
    let idle = |session: &mut Session, file| {
        let findings = session.findings(file);
        findings.iter().filter(|finding| finding.code == "names/idle-player").count()
    };
    assert_eq!(idle(&mut session, file), 0);
}

#[test]
fn who_is_alone_in_one_movement_has_his_number_whoever_else_plays_there() {
    let (mut session, file) = whole(&[
        ("oboe 2", "oboe.1 plays upper as melody\noboe.2 plays lower as harmony"),
        (
            "oboe, violin-1 4 players, viola 2 players, cello",
            "oboe plays upper as melody\nviolin-1 plays upper as melody\nviola plays lower as harmony\n\
             cello plays bass as bass",
        ),
    ]);
    let plain = session.arrangement(file, "plain").unwrap();
    let score = notate(&plain);
    assert_eq!(ids(&score), ["oboe.1", "oboe.2", "violin-1", "viola", "cello"]);
    let names: Vec<&str> = score.staves[..2].iter().map(|staff| staff.name.as_str()).collect();
    assert_eq!(names, ["Oboe 1", "Oboe 2"]);
}

/// Horns, a harpsichord and a singer come in the second movement, clarinets and drums in the third.
#[test]
fn who_comes_in_a_later_movement_stands_in_score_order_among_his_family() {
    let strings = "violin-1 plays upper as melody\ncello plays bass as bass";
    let movements = [
        (
            "trumpet 2 crook D, violin-1 4 players, cello",
            format!(
                "trumpet.1 plays upper as harmony\ntrumpet.2 plays lower as harmony\n{strings}"
            ),
        ),
        (
            "horn 2 crook D, harpsichord, soprano, violin-1 4 players, violin-2 4 players, cello",
            format!(
                "horn.1 plays lower as harmony\nhorn.2 rests\nharpsichord plays bass as bass\n\
                 soprano plays upper as melody\nviolin-2 plays lower as harmony\n{strings}"
            ),
        ),
        (
            "clarinet 2 in Bb, timpani tuned D3, C3, violin-1 4 players, cello",
            format!(
                "clarinet.1 plays upper as melody\nclarinet.2 plays lower as harmony\n\
                 timpani plays bass as bass\n{strings}"
            ),
        ),
    ];
    let expected = [
        "clarinet.1",
        "clarinet.2",
        "horn.1",
        "horn.2",
        "trumpet.1",
        "trumpet.2",
        "timpani",
        "harpsichord",
        "soprano",
        "violin-1",
        "violin-2",
        "cello",
    ];
    // Whatever order the movements have.
    for order in [[0, 1, 2], [1, 0, 2], [2, 1, 0], [2, 0, 1]] {
        let movements = order.map(|number| (movements[number].0, movements[number].1.as_str()));
        let (mut session, file) = whole(&movements);
        let plain = session.arrangement(file, "plain").unwrap();
        let score = notate(&plain);
        assert_eq!(ids(&score), expected);
        for edition in [full_score(&score), condensed_score(&score)] {
            let brackets = edition.groups.iter().filter(|group| group.sign == GroupSign::Bracket);
            let families: Vec<Vec<&str>> = brackets
                .map(|group| {
                    let first = |part: usize| {
                        let player = &edition.players[edition.parts[part].players.start];
                        player.id.split('.').next().unwrap()
                    };
                    let mut ids: Vec<&str> = group.parts.clone().map(first).collect();
                    ids.dedup();
                    ids
                })
                .collect();
            let brass = ["horn", "trumpet"];
            let strings = ["violin-1", "violin-2", "cello"];
            assert!(families.iter().any(|family| *family == brass), "{families:?}");
            assert!(families.iter().any(|family| *family == strings), "{families:?}");
        }
        let files: Vec<String> = outputs(&plain, &[Format::Text]).map(|one| one.path).collect();
        let numbered = |number: usize, id: &str| {
            let name = format!("{number:02}-{}.txt", id.replace('.', "-"));
            files.iter().any(|path| path.ends_with(&name))
        };
        let places = expected.iter().zip(1..);
        assert!(places.clone().all(|(id, number)| numbered(number, id)), "{files:?}");
    }
}

/// A harpsichord that plays the bass alone, or chords to it, or nothing.
const CONTINUO: (&str, &str) = (
    "violin-1 4 players, harpsichord",
    "violin-1 plays upper as melody\nharpsichord plays bass as bass, with figures",
);
const CHORDS: (&str, &str) = (
    "violin-1 4 players, harpsichord",
    "violin-1 plays upper as melody\nharpsichord realises bass as harmony",
);
const TACET: (&str, &str) =
    ("violin-1 4 players, harpsichord", "violin-1 plays upper as melody\nharpsichord rests");
const ABSENT: (&str, &str) = ("violin-1 4 players", "violin-1 plays upper as melody");

/// The score and the place of the harpsichord in it.
fn with_harpsichord(movements: &[(&str, &str)]) -> (Score, Arc<Arrangement>, usize) {
    let (mut session, file) = whole(movements);
    let plain = session.arrangement(file, "plain").unwrap();
    let score = notate(&plain);
    let place = score.staves.iter().position(|staff| staff.id == "harpsichord").unwrap();
    (score, plain, place)
}

#[test]
fn a_continuo_that_is_tacet_in_other_movements_reads_one_staff() {
    for movements in [
        vec![TACET, CONTINUO],
        vec![ABSENT, CONTINUO],
        vec![CONTINUO, ABSENT, TACET, CONTINUO],
        vec![CONTINUO, TACET],
    ] {
        let (score, plain, place) = with_harpsichord(&movements);
        let staff = &score.staves[place];
        assert!(!staff.is_braced(), "{movements:?}");
        // Where he rests he has the clef in which he plays.
        for bar in (0..staff.measures.len()).step_by(2) {
            assert_eq!(staff.measures[bar].clefs[..], [(Time::ZERO, Clef::Bass)], "{movements:?}");
        }
        let alone = part_with_cues(&plain, &score, place, Cueing::default());
        assert!(alone.groups.is_empty() && alone.staves.len() == 1);
    }
}

/// How many lines of staves and how many braces stand on the pages.
fn printed(edition: &Edition) -> (usize, usize) {
    let pages = pages(&sheet(edition), &Setup::default()).pages;
    let of = |kind: Kind| {
        let marks = pages.iter().flat_map(|page| &page.marks);
        marks.filter(|mark| mark.kind == kind).count()
    };
    (of(Kind::StaffLine), of(Kind::Bracket))
}

#[test]
fn two_staves_have_a_brace_in_the_movements_in_which_both_are_read() {
    let movements = [CONTINUO, CHORDS, TACET, CONTINUO];
    let (score, plain, place) = with_harpsichord(&movements);
    let staff = &score.staves[place];
    let absent: Vec<bool> = staff.lower.iter().map(|measure| measure.absent).collect();
    assert_eq!(absent, [true, true, false, false, false, false, true, true]);
    let part = part_with_cues(&plain, &score, place, Cueing::default());
    // The third movement is tacet in the part; in the score he reads two staves there, and the violins one.
    assert_eq!(printed(&part), (5 + 10 + 5, 1));
    assert_eq!(printed(&full_score(&score)), (5 * (4 + 1 + 2 + 2 + 1), 2));
    let written = String::from_utf8(musicxml::write(&full_score(&score))).unwrap();
    let shown: Vec<&str> = written
        .lines()
        .filter(|line| line.contains("print-object") && line.contains("staff-details"))
        .map(str::trim)
        .collect();
    let details = |shown: &str| format!("<staff-details number=\"2\" print-object=\"{shown}\"/>");
    assert_eq!(shown, ["no", "yes", "no"].map(details));
    let text = text::write(&part, text::Style::Beats);
    assert_eq!(text.matches("⎧│").count(), 1, "{text}");
    let words = text::write(&part, text::Style::Words);
    assert_eq!(words.matches("left hand").count(), 2, "{words}");
}
