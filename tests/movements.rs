//! Pieces in movements, from their sources to their pages: the suite of the samples, and smaller ones.

#[path = "shared/shelf.rs"]
mod shelf;

#[path = "movements/forces.rs"]
mod forces;

use ripieno::diagnostics::FileId;
use ripieno::edition::{
    Cueing, DirectionKind, Edition, Halves, full_score, part_with_cues, players_of_score,
};
use ripieno::notate::{Notation, Pitches, notate};
use ripieno::perform::{self, perform};
use ripieno::render::{Format, Output, ScoreKind, Wanted, musicxml, outputs, outputs_of, text};
use ripieno::session::Session;

use shelf::Shelf;

fn samples() -> Session {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/");
    let names = ["forces", "weir-entry", "weir-air", "weir-minuet"];
    let read = |name: &str| {
        let name = format!("{name}.ripieno");
        let text = std::fs::read_to_string(format!("{folder}{name}")).unwrap();
        (name, text)
    };
    Session::new(Shelf(names.into_iter().map(read).collect()))
}

const SUITE: &str = include_str!("../samples/weir-suite.ripieno");

fn suite() -> (Session, FileId) {
    let mut session = samples();
    let file = session.open("weir-suite.ripieno", SUITE);
    (session, file)
}

#[test]
fn every_player_has_one_part_through_all_movements() {
    let (mut session, file) = suite();
    assert!(session.findings(file).is_empty(), "{:#?}", session.findings(file));
    let spa = session.arrangement(file, "spa").unwrap();
    let score = notate(&spa);
    let player = |id: &str| spa.parts.iter().position(|part| part.player.id == id).unwrap();
    assert_eq!(spa.parts.len(), 11);
    let headings = |id: &str| -> Vec<String> {
        let edition = part_with_cues(&spa, &score, player(id), Cueing::default());
        edition.movements.iter().filter_map(|movement| movement.heading()).collect()
    };
    let [entry, air, minuet] =
        ["I. Entry of the Boats", "II. Air on the Towpath", "III. Minuet of the Lock-keepers"];
    assert_eq!(headings("horn.1"), [entry, air, minuet]);
    assert_eq!(headings("oboe.1"), [entry, &format!("{air}: tacet"), minuet]);
    // A movement that is tacet is one rest.
    let oboe = part_with_cues(&spa, &score, player("oboe.1"), Cueing::default());
    assert_eq!(oboe.staves[0].bars[16].multi_rest, 16);
}

#[test]
fn a_page_with_room_has_two_loose_lines_rather_than_one_with_a_mark_in_it() {
    use ripieno::engrave::{layout::pages, page::Shape, paper::Setup, reading::sheet};
    let (mut session, file) = suite();
    let spa = session.arrangement(file, "spa").unwrap();
    let score = notate(&spa);
    let player = spa.parts.iter().position(|part| part.player.name == "Violins II").unwrap();
    let part = part_with_cues(&spa, &score, player, Cueing::default());
    let pages = pages(&sheet(&part), &Setup::default()).pages;
    let [page] = &pages[..] else { panic!("{} pages", pages.len()) };
    let letters = page.marks.iter().filter(|mark| match &mark.shape {
        Shape::Text { run, .. } => run.text == "A",
        _ => false,
    });
    let places: Vec<f64> = letters.map(|mark| mark.bounds().x0 * page.space).collect();
    // In millimetres: each movement has one, at the head of a line.
    assert!(places.len() == 3 && places.iter().all(|x| *x < 30.0), "{places:?}");
}

#[test]
fn crooks_are_told_between_movements_and_nothing_else_reaches_across() {
    let (mut session, file) = suite();
    let spa = session.arrangement(file, "spa").unwrap();
    let score = notate(&spa);
    let horn = spa.parts.iter().position(|part| part.player.id == "horn.1").unwrap();
    let edition = part_with_cues(&spa, &score, horn, Cueing { after_bars: 0 });
    assert_eq!(edition.head.keys.as_deref(), Some("in D, G"));
    let mut told = Vec::new();
    for (bar, staff) in edition.staves[0].bars.iter().enumerate() {
        for said in &staff.directions {
            if let DirectionKind::Change(words) = &said.kind {
                told.push((bar, words.as_str()));
            }
        }
    }
    // Behind the last note of the march, which repeats its last bars; at the head of the air, in which he enters eight bars later; the
    // air is played to its end, where the crook of the minuet is told.
    let (last, next) = ("last time: change to G", "change to D");
    assert_eq!(told, [(0, "in D"), (15, last), (16, "in G"), (31, next), (32, "in D")]);
    // Clef, metre and transposition are those of a beginning.
    assert!(score.frame[32].metre_shown && score.frame[32].key_shown);
}

#[test]
fn jumps_stay_in_their_movement_and_a_pause_comes_before_the_next() {
    let (mut session, file) = suite();
    let village = session.arrangement(file, "village").unwrap();
    let order = village.piece.form.playing_order();
    // After the trio the minuet, without repeats, up to its fine.
    assert_eq!(order.last(), Some(&47));
    assert_eq!(order.iter().filter(|bar| **bar == 0).count(), 2);
    assert_eq!(order.iter().filter(|bar| **bar == 32).count(), 3);
    let performance = perform(&village, &notate(&village));
    let starts = |bar: usize| performance.timeline.bars.iter().find(|(b, _)| *b == bar).unwrap().1;
    let whole = |quarters: i64| ripieno::music::Time::QUARTER * quarters;
    // Two bars of 4/4 at 92, five and more seconds: one would last 2.6.
    assert_eq!(starts(16), whole(4 * 32 + 8));
}

#[test]
fn the_next_movement_follows_where_this_one_is_over() {
    let (mut session, _) = suite();
    let minuet = SUITE.find("movement \"weir-minuet").unwrap();
    let end = minuet + SUITE[minuet..].find('\n').unwrap();
    let text = format!(
        "{} attacca\n  movement \"weir-air.ripieno\" as \"Epilogue\"{}",
        &SUITE[..end],
        &SUITE[end..]
    );
    let file = session.open("longer.ripieno", &text);
    let village = session.arrangement(file, "village").unwrap();
    let bars = &village.piece.form.bars;
    let attacca = |bar: &ripieno::resolve::Bar| bar.signs.contains(&ripieno::music::Sign::Attacca);
    // At the fine of the minuet, not behind its trio.
    assert_eq!(bars.iter().position(attacca), Some(47));
    assert_eq!(bars.iter().filter(|bar| attacca(bar)).count(), 1);
    // One reads "Fine" first.
    use ripieno::engrave::{layout::pages, page::Shape, paper::Setup, reading::sheet};
    let score = notate(&village);
    let part = part_with_cues(&village, &score, 0, Cueing::default());
    let pages = pages(&sheet(&part), &Setup::default()).pages;
    let place = |words: &str| {
        let mut marks = pages.iter().flat_map(|page| &page.marks);
        let said =
            marks.find(|mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text == words));
        said.unwrap().bounds()
    };
    let (fine, attacca) = (place("Fine"), place("attacca"));
    assert!(fine.y1 < attacca.y0 + 0.5 && (fine.x1 - attacca.x1).abs() < 0.1);
}

#[test]
fn numbers_and_letters_go_on_where_the_piece_says_so() {
    let (mut session, file) = suite();
    let at = session.document(file).text().find("  movement").unwrap();
    session.edit(file, at..at, "  bars through\n  marks through\n");
    let form = session.piece(file).form.clone();
    assert_eq!([0, 15, 16, 55].map(|bar| form.bars[bar].number), [1, 16, 17, 56]);
    let marks: Vec<&str> = form.bars.iter().filter_map(|bar| bar.mark.as_deref()).collect();
    assert_eq!(marks, ["A", "B", "C", "D", "Trio"]);
}

#[test]
fn an_edit_of_a_movement_reaches_the_whole_and_one_of_its_own_titles_stands_as_it_is() {
    let (mut session, file) = suite();
    session.arrangements(file);
    let air = session.file("weir-air.ripieno").unwrap();
    let text = session.document(air).text().to_string();
    let air = session.open("weir-air.ripieno", &text);
    let at = text.find("Air on the Towpath").unwrap();
    session.edit(air, at..at + 3, "Song");
    let movements = session.piece(file).form.movements.clone();
    assert_eq!(movements[1].title, "II. Song on the Towpath");
    let at = SUITE.find("\"weir-air.ripieno\"").unwrap() + "\"weir-air.ripieno\"".len();
    session.edit(file, at..at, " as \"Intermezzo\" attacca");
    let movements = session.piece(file).form.movements.clone();
    assert_eq!(movements[1].title, "Intermezzo");
    let files: Vec<String> =
        outputs(&session.arrangement(file, "village").unwrap(), &[Format::Text])
            .map(|output| String::from_utf8(output.bytes).unwrap())
            .collect();
    assert!(files.iter().all(|text| text.contains("Intermezzo") && text.contains("attacca")));
}

#[test]
fn a_whole_has_paper_and_staves_of_its_own_and_the_bars_of_its_movements() {
    use ripieno::resolve::{Overridden, Pages};
    let told = |layout: &str| -> Vec<String> {
        let mut session = samples();
        let file = session.open("weir-suite.ripieno", &format!("{SUITE}\n{layout}\n"));
        let findings = session.findings(file);
        findings.iter().map(|finding| format!("{} {}", finding.code, finding.message)).collect()
    };
    let whole = "layout for spa {\n  score paper a3 landscape\n  parts staff 7.5 mm\n  \
                 score hide empty oboe\n}";
    assert!(told(whole).is_empty(), "{:?}", told(whole));
    assert_eq!(told("layout for spar {\n}"), ["names/unknown Unknown scoring `spar`."]);
    let player = "layout {\n  obeo.1 staff 7 mm\n}";
    assert_eq!(told(player), ["names/unknown Unknown player or group `obeo.1`."]);
    let bars = "layout {\n  parts break before 9\n}";
    let message = "movements/music The layout of a piece in movements names bars of its own.";
    assert_eq!(told(bars), [message]);

    let (mut session, file) = suite();
    session.arrangements(file);
    let air = session.file("weir-air.ripieno").unwrap();
    let text = session.document(air).text().to_string();
    let layout = "\nlayout for spa {\n  parts paper a3\n  basso break before 9\n}\n";
    session.open("weir-air.ripieno", &format!("{text}{layout}"));
    let file = session.open("weir-suite.ripieno", &format!("{SUITE}\n{whole}\n"));
    let spa = session.arrangement(file, "spa").unwrap();
    let [own, .., of_air] = &spa.piece.layouts[..] else { panic!("{:?}", spa.piece.layouts) };
    assert_eq!(own.lines.len(), 3);
    // The paper of a movement is for its own pages; its bars stand behind those of the march, and
    // its group is named by its players.
    let [line] = &of_air.lines[..] else { panic!("{:?}", of_air.lines) };
    assert!(matches!(&line.what, Overridden::Break(bars) if bars[0].0 == 16 + 8));
    let Pages::Players(players) = &line.pages else { panic!("{:?}", line.pages) };
    let players: Vec<&str> = players.iter().map(|(name, _)| name.as_str()).collect();
    assert!(players.contains(&"bassoon") && players.contains(&"cello"), "{players:?}");
}

#[test]
fn who_plucked_or_had_a_mute_is_told_at_the_next_movement() {
    let movement = |title: &str, first: &str, line: &str| {
        format!(
            "piece \"{title}\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major, tempo 1/4 at 90\n 2 end }}\n\
             voice tune {{ 1: {first} 1/1 C5 | 2: 1/1 D5 | }}\n\
             ensemble few {{ era 1885\n violin-1 8 players, oboe\n}}\n\
             scoring plain for few {{ violin-1 {line}\n oboe plays tune as melody\n}}\n"
        )
    };
    let plays = "plays tune as melody";
    let sources = [
        ("one", movement("One", "[pizz muted]", plays)),
        ("two", movement("Two", "", "rests")),
        ("three", movement("Three", "rest", plays).replace("1: rest 1/1 C5", "1: rest")),
        ("four", movement("Four", "[muted]", plays)),
        ("five", movement("Five", "[muted]", plays)),
    ];
    let shelf = sources.map(|(name, text)| (format!("{name}.ripieno"), text));
    let mut session = Session::new(Shelf(shelf.into_iter().collect()));
    let names = ["one", "two", "three", "four", "five"];
    let lines: String =
        names.iter().map(|name| format!(" movement \"{name}.ripieno\"\n")).collect();
    let file = session.open("suite.ripieno", &format!("piece \"Suite\" {{\n{lines}}}\n"));
    let plain = session.arrangement(file, "plain").unwrap();
    let score = notate(&plain);
    let violin = plain.parts.iter().position(|part| part.player.id == "violin-1").unwrap();
    let bars = score.staves[violin].measures.iter().enumerate();
    let said = bars.flat_map(|(bar, measure)| {
        measure.directions.iter().filter_map(move |said| match &said.kind {
            ripieno::notate::StaffDirectionKind::Technique(one) => Some((bar + 1, one.printed())),
            _ => None,
        })
    });
    let expected = [
        (1, "pizz."),
        (1, "con sord."),
        (6, "arco"),
        (6, "senza sord."),
        (7, "con sord."),
        (9, "con sord."),
    ];
    assert_eq!(said.collect::<Vec<_>>(), expected);
}

/// What is large is notated, played and written player by player: the same as all together.
#[test]
fn who_is_notated_alone_reads_and_plays_the_same() {
    let (mut session, file) = suite();
    let whole = session.arrangements(file);
    let movements = whole.iter().flat_map(|one| &one.movements);
    let each: Vec<_> = movements.map(|one| one.arrangement.clone()).collect();
    assert!(whole.len() > 1 && each.len() > whole.len());
    for arrangement in whole.iter().chain(&each) {
        let arrangement = &**arrangement;
        let cueing = Cueing::default();
        for pitches in [Pitches::Written, Pitches::Concert] {
            let notation = Notation::new(arrangement, pitches);
            let score = notation.score(notation.players());
            let performance = perform(arrangement, &score);
            let stage = perform::stage(arrangement);
            for player in notation.players() {
                let alone = notation.score(player..player + 1);
                let part =
                    |score| format!("{:?}", part_with_cues(arrangement, score, player, cueing));
                assert_eq!(part(&alone), part(&score));
                let played = perform::played(arrangement, &stage, &alone, player);
                assert_eq!(format!("{played:?}"), format!("{:?}", performance.players[player]));
            }
            let mut by_parts = Vec::new();
            let one = |player, look: &mut dyn FnMut(Edition) -> std::io::Result<()>| {
                let one = player..player + 1;
                look(players_of_score(&notation.score(one.clone()), one, Halves::Together))
            };
            musicxml::write_by_parts(arrangement.parts.len(), one, &mut by_parts).unwrap();
            assert!(by_parts == musicxml::write(&full_score(&score)));
        }
    }
}

/// The same of the files of every format.
#[test]
fn who_is_written_alone_has_the_same_files() {
    let (mut session, file) = suite();
    let whole = session.arrangements(file);
    for arrangement in whole.iter() {
        for (style, _) in text::Style::ALL {
            let wanted = Wanted {
                scores: ScoreKind::ALL.map(|(kind, ..)| kind).to_vec(),
                text: style,
                ..Wanted::formats(&Format::ALL.map(|(format, ..)| format))
            };
            let alone = Wanted { kept: 0, ..wanted.clone() };
            let together: Vec<Output> = outputs_of(arrangement, wanted).collect();
            let alone: Vec<Output> = outputs_of(arrangement, alone).collect();
            assert_eq!(together.len(), alone.len());
            for (one, other) in together.iter().zip(&alone) {
                assert!(one == other, "{} ({style:?})", one.path);
            }
        }
    }
}
