//! Who of a section plays, and how prominently: "solo", "soli", "tutti", "div.", "unis.".

use crate::arrange::{LineId, PackedNote, Part};
use crate::music::Time;
use crate::resolve::{DirectionKind, Mark};

use super::directions::{bar_at, whole_bar};
use super::{FrameBar, Origin};

/// What is said of who plays: when, the words, and where they come from.
pub(super) type Said = (Time, &'static str, Origin);

/// The shortest rest after which everything is said anew, in bars. Our heuristic.
const FORGOTTEN: i64 = 2;

/// What a part says of who plays it. What the arranger says there in words is not said again.
pub(super) fn said(part: &Part, frame: &[FrameBar]) -> Vec<Said> {
    let mut all = solos(part);
    all.extend(divisions(part, frame));
    all.retain(|(at, who, _)| !is_said(part, (free_from(part, *at), *at), who));
    all.sort_by_key(|(at, ..)| *at);
    all
}

/// Where the rest before a note begins: what is said from there on is read at the note.
fn free_from(part: &Part, at: Time) -> Time {
    let next = part.notes.partition_point(|note| note.start() < at);
    next.checked_sub(1).map_or(Time::ZERO, |before| part.notes[before].end().min(at))
}

/// Do words of the arranger between two times (both included) say so? "solo" is said by "Solo, with
/// much feeling" too.
fn is_said(part: &Part, (from, to): (Time, Time), who: &str) -> bool {
    let stem = who.split(['.', ' ']).next().unwrap_or(who);
    let stem = if stem.starts_with("sol") { "sol" } else { stem };
    let after = part.directions.partition_point(|said| said.at < from);
    let near = part.directions[after..].iter().take_while(|said| said.at <= to);
    near.filter_map(|said| match &said.kind {
        DirectionKind::Words(words) => Some(words.to_lowercase()),
        _ => None,
    })
    .any(|words| words.split(|c: char| !c.is_alphabetic()).any(|word| word.starts_with(stem)))
}

/// "solo" where a player begins to be heard alone, of several "soli"; "tutti" where these no longer are,
/// for a "solo" of theirs that nothing ends holds on. To somebody who has his part for himself it only
/// says that he is heard, and nobody joins him where it ends. (Common practice.)
fn solos(part: &Part) -> Vec<Said> {
    let several = part.player.count > 1;
    let called = called_solo(part);
    let mut said = Vec::new();
    let mut before = false;
    for note in &part.notes {
        let line = || part.line_at(note.start());
        let solo =
            note.solo() || called.iter().any(|(from, of)| *from <= note.start() && *of == line());
        let words = match (before, solo) {
            (false, true) if several => Some("soli"),
            (false, true) => Some("solo"),
            (true, false) if several => Some("tutti"),
            _ => None,
        };
        if let Some(words) = words {
            said.push((note.start(), words, origin(part, note)));
        }
        before = solo;
    }
    said
}

/// From when on words of the arranger that begin with "solo" or "soli" hold, and for which scoring line:
/// as long as that gives the notes.
fn called_solo(part: &Part) -> Vec<(Time, Option<LineId>)> {
    let all = part.directions.iter().filter_map(|said| match &said.kind {
        DirectionKind::Words(words) => {
            let first = words.to_lowercase();
            let first = first.split(|c: char| !c.is_alphabetic()).next().unwrap_or_default();
            matches!(first, "solo" | "soli").then(|| (said.at, part.line_at(said.at)))
        }
        _ => None,
    });
    all.filter(|(_, line)| line.is_some()).collect()
}

fn origin(part: &Part, note: &PackedNote) -> Origin {
    Origin { source: None, line: part.line_at(note.start()) }
}

/// A passage in which a section has several notes at once.
struct Divided {
    /// Its first and last chord.
    first: usize,
    last: usize,
    /// The single note after it with which all are together again, if that must be said.
    together: Option<usize>,
}

/// "div." where the players of a bowed section have different notes, "unis." where all have the
/// same again for a bar or more. Chords of three notes and more that are struck, not held, lie under
/// the hand of each: "non div.", with the double stops that go with them. (Common practice; where a chord counts as
/// held is our heuristic.)
fn divisions(part: &Part, frame: &[FrameBar]) -> Vec<Said> {
    let mut said = Vec::new();
    if part.player.count < 2 || !part.player.section {
        return said;
    }
    for passage in passages(part, frame) {
        let notes = &part.notes[passage.first..=passage.last];
        let (from, to) = (notes[0].start(), notes[notes.len() - 1].end());
        let bar = whole_bar(frame, from);
        if is_said(part, (from - bar, to), "div") || is_said(part, (from - bar, to), "non") {
            continue;
        }
        for (struck, chords) in runs(part, &passage) {
            let first = &part.notes[chords[0]];
            if struck {
                said.push((first.start(), "non div.", origin(part, first)));
                continue;
            }
            let mut sizes = chords.iter().map(|chord| part.notes[*chord].sound().pitches().len());
            let size = sizes.next().filter(|size| sizes.all(|other| other == *size));
            let words = match size {
                Some(3) => "div. a 3",
                Some(4) => "div. a 4",
                _ => "div.",
            };
            said.push((first.start(), words, origin(part, first)));
            if chords.last() != Some(&passage.last) {
                continue;
            }
            let Some(note) = passage.together.map(|index| &part.notes[index]) else { continue };
            // After a single chord everybody sees it, in its bar or behind a rest.
            let bar = |note: &PackedNote| bar_at(frame, note.start());
            let goes_on = note.start() <= to && bar(first) < bar(note);
            if chords.len() > 1 || goes_on {
                said.push((note.start(), "unis.", origin(part, note)));
            }
        }
    }
    said
}

/// Several notes at once for players who bow one each. A soloist has double stops.
fn is_divided(part: &Part, note: &PackedNote) -> bool {
    note.sound().pitches().len() > 1 && !note.solo() && part.instrument_at(note.start()).bowed()
}

/// A chord of three or four strings over which the bow is drawn at once.
fn is_struck(note: &PackedNote) -> bool {
    let strings = note.sound().pitches().len();
    let spread = note.attached().marks.has(Mark::Arpeggio);
    (3..=4).contains(&strings) && (is_short(note) || spread)
}

fn is_short(note: &PackedNote) -> bool {
    note.length() < Time::of(1, 2) && note.attached().tremolo == 0
}

/// So many double stops beside a chord that is struck are struck with it, if they are short. Our heuristic.
const WITH_IT: usize = 2;

/// The chords of a passage, by their places among the notes: in turn those that are struck (or not) and follow one
/// another.
fn runs(part: &Part, passage: &Divided) -> Vec<(bool, Vec<usize>)> {
    let notes = &part.notes;
    let chords = (passage.first..=passage.last).filter(|&index| is_divided(part, &notes[index]));
    let chords: Vec<usize> = chords.collect();
    let mut struck: Vec<bool> = chords.iter().map(|&chord| is_struck(&notes[chord])).collect();
    let of_own = struck.clone();
    let begins = |place: usize| {
        place == 0 || of_own[place - 1] || of_own[place] || chords[place - 1] + 1 < chords[place]
    };
    let mut from = 0;
    for to in 1..=chords.len() {
        if to < chords.len() && !begins(to) {
            continue;
        }
        let follows = |place: usize| chords[place - 1] + 1 == chords[place];
        let near = from > 0 && of_own[from - 1] && follows(from)
            || to < chords.len() && of_own[to] && follows(to);
        let short = chords[from..to].iter().all(|&chord| is_short(&notes[chord]));
        if near && short && to - from <= WITH_IT {
            struck[from..to].fill(true);
        }
        from = to;
    }
    // What goes on without a rest into chords that are divided is divided with them.
    for place in (1..chords.len()).rev() {
        let [before, next] = [chords[place - 1], chords[place]].map(|chord| &notes[chord]);
        struck[place - 1] &= struck[place] || before.end() < next.start();
    }
    let mut runs: Vec<(bool, Vec<usize>)> = Vec::new();
    for (chord, struck) in chords.into_iter().zip(struck) {
        match runs.last_mut() {
            Some((also, run)) if *also == struck => run.push(chord),
            _ => runs.push((struck, vec![chord])),
        }
    }
    runs
}

fn passages(part: &Part, frame: &[FrameBar]) -> Vec<Divided> {
    let notes = &part.notes;
    let mut passages: Vec<Divided> = Vec::new();
    let chords = (0..notes.len()).filter(|&index| is_divided(part, &notes[index]));
    for index in chords {
        if let Some(open) = passages.last_mut() {
            let (before, next) = (&notes[open.last], &notes[index]);
            let bar = whole_bar(frame, before.end());
            let single = notes.get(open.last + 1).filter(|_| open.last + 1 < index);
            let alone = single.is_some_and(|single| next.start() - single.start() >= bar);
            let rests = next.start() - before.end() >= bar * FORGOTTEN && single.is_none();
            if !alone && !rests {
                open.last = index;
                continue;
            }
        }
        close(passages.last_mut(), notes, frame);
        passages.push(Divided { first: index, last: index, together: None });
    }
    close(passages.last_mut(), notes, frame);
    passages
}

/// Ends a passage: the next note, if it comes soon, is for all.
fn close(passage: Option<&mut Divided>, notes: &[PackedNote], frame: &[FrameBar]) {
    let Some(passage) = passage else { return };
    let end = notes[passage.last].end();
    let bar = whole_bar(frame, end);
    let next = notes.get(passage.last + 1);
    let next = next.filter(|next| {
        next.sound().pitches().len() < 2 && next.start() - end < bar * FORGOTTEN && !next.solo()
    });
    passage.together = next.map(|_| passage.last + 1);
}

#[cfg(test)]
mod tests {
    use super::super::{StaffDirectionKind, notate};

    /// What eight violins read of these bars of 2/4 ("bar and time, words").
    fn section(bars: &str, line: &str) -> String {
        told("violin-1 8 players", bars, line)
    }

    fn told(players: &str, bars: &str, line: &str) -> String {
        told_with("", players, bars, line)
    }

    /// With a line of the form more.
    fn told_with(form: &str, players: &str, bars: &str, line: &str) -> String {
        let last = bars.rsplit_once(':').unwrap().0.rsplit(' ').next().unwrap();
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 2/4, key C major\n {form}\n {last} end }}\n\
             voice tune {{ {bars} }}\nensemble few {{ era 1885\n {players}\n}}\n\
             scoring plain for few {{ {line} }}\n"
        );
        let mut sources = crate::diagnostics::Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, _) = crate::resolve::resolve(&mut sources, file, &mut crate::resolve::NoFiles);
        let score = notate(&crate::arrange::arrange(&piece, &piece.scorings[0]));
        let said = score.staves[0].measures.iter().zip(1..).flat_map(|(measure, bar)| {
            measure.directions.iter().filter_map(move |said| match &said.kind {
                StaffDirectionKind::Who(who) => Some(format!("{bar} {} {who}", said.at)),
                _ => None,
            })
        });
        said.collect::<Vec<_>>().join(", ")
    }

    const PLAIN: &str = "violin-1 plays tune as melody";

    #[test]
    fn a_rest_at_an_up_beat_is_not_counted_by_its_length() {
        let bars = "1: 1/2 D5&F5 | 2: 1/4. D5&F5 1/8 rest | 3: 1/8 rest D5&F5 1/4 D5&F5 |";
        let said = told_with("3 up-beat 1/8", "violin-1 8 players", bars, PLAIN);
        assert_eq!(said, "1 0/1 div.", "after a quarter rest the section is divided still");
    }

    #[test]
    fn a_section_divides_and_comes_together() {
        // One single note between two chords is no end.
        let bars = "1: 1/2 D5&F5 | 2: 1/4 E5 E5&G5 | 3: 1/2 D5&F5 | 4: F5 | 5: E5 | 6: D5&F5 |";
        assert_eq!(section(bars, PLAIN), "1 0/1 div., 4 0/1 unis., 6 0/1 div.");
    }

    #[test]
    fn after_a_single_chord_it_is_said_who_plays_on_in_the_next_bar() {
        let chord = |after: &str| section(&format!("1: 1/4 E5 D5&F5 {after} | 3: E5 |"), PLAIN);
        assert_eq!(chord("| 2: 1/2 F5"), "1 1/4 div., 2 0/1 unis.");
        assert_eq!(chord("| 2: 1/4 rest F5"), "1 1/4 div.");
        assert_eq!(section("1: 1/4 D5&F5 E5 | 2: 1/2 F5 | 3: E5 |", PLAIN), "1 0/1 div.");
    }

    #[test]
    fn after_a_long_rest_nobody_asks_whether_all_play() {
        let bars = "1: 1/2 D5&F5 | 2: rest 2 | 4: 1/2 E5 | 5: D5&F5 | 6: rest 2 | 8: 1/2 D5&F5 |";
        assert_eq!(section(bars, PLAIN), "1 0/1 div., 5 0/1 div., 8 0/1 div.");
    }

    #[test]
    fn chords_that_are_struck_lie_under_the_hand() {
        let struck = "1: 1/4 G3&D4&B4 G3&D4&B4&G5 | 2: 1/2 G4 |";
        assert_eq!(section(struck, PLAIN), "1 0/1 non div.");
        let held = "1: 1/2 G4&D5&B5 | 2: G4&D5&C6 | 3: G4 | 4: G4 |";
        assert_eq!(section(held, PLAIN), "1 0/1 div. a 3, 3 0/1 unis.");
    }

    #[test]
    fn chords_that_are_struck_do_not_divide_with_what_is_held_beside_them() {
        let held = "1: 1/4 G3&D4&B4&G5 rest | 2: 1/2 C5&E5 | 3: C5&E5 | 4: 1/4 G3&D4&B4&G5 rest | 5: 1/2 C5 | 6: C5 |";
        assert_eq!(section(held, PLAIN), "1 0/1 non div., 2 0/1 div., 4 0/1 non div.");
        let thirds =
            "1: 1/8 C5&E5 D5&F5 E5&G5 F5&A5 | 2: 1/4 G3&D4&B4&G5 rest | 3: 1/2 C5 | 4: C5 |";
        assert_eq!(section(thirds, PLAIN), "1 0/1 div., 2 0/1 non div.");
        // What goes on into chords that are divided is divided.
        let on = "1: 1/4 B4&D5&G5 C5&E5&A5 | 2: 1/2 B4&G5 | 3: 1/4 B4&D5&G5 C5&E5 | 4: 1/2 B4&G5 |";
        assert_eq!(section(on, PLAIN), "1 0/1 div.");
        // Double stops among them are struck with them.
        let among = "1: 1/4 G3&D4&B4&G5 B4&G5 | 2: B4&G5 G3&D4&B4 | 3: 1/2 G4 | 4: G4 |";
        assert_eq!(section(among, PLAIN), "1 0/1 non div.");
    }

    #[test]
    fn all_play_again_after_a_solo_and_a_soloist_has_double_stops() {
        let bars = "1: 1/2 D5&F5 | 2: E5 | 3: F5 |";
        let lines = "violin-1 plays tune bars 1..2 as melody, solo\n violin-1 plays tune bars 3 as melody\n";
        assert_eq!(section(bars, lines), "1 0/1 soli, 3 0/1 tutti");
        // Nobody joins somebody who has his part for himself.
        assert_eq!(told("oboe", bars, &lines.replace("violin-1", "oboe")), "1 0/1 solo");
    }

    #[test]
    fn a_solo_that_the_arranger_calls_so_ends_with_its_line() {
        let bars = "1: 1/2 D5 | 2: E5 | 3: F5 | 4: E5 |";
        let lines = "violin-1 plays tune bars 2..3 as melody, \"Solo, dolce\"\n \
             violin-1 plays tune bars 1, 4 as melody\n";
        assert_eq!(section(bars, lines), "4 0/1 tutti");
        let lines = lines.replace("Solo, dolce", "tasto solo");
        assert_eq!(section(bars, &lines), "");
    }

    #[test]
    fn what_the_arranger_says_is_not_said_again() {
        let bars = "1: [\"divisi\"] 1/2 D5&F5 | 2: E5 | 3: [\"unis.\"] F5 |";
        assert_eq!(section(bars, PLAIN), "");
        // Words in the rest before are read with the first note.
        let line = "violin-1 plays tune as melody, solo";
        assert_eq!(section("1: [\"solo\"] rest | 2: 1/4 rest D5 | 3: 1/2 E5 |", line), "");
        assert_eq!(section("1: [\"dolce\"] rest | 2: 1/4 rest D5 |", line), "2 1/4 soli");
        let solo = "violin-1 plays tune as melody, solo \"Soli, dolce\"";
        assert_eq!(section("1: 1/2 D5 | 2: E5 |", solo), "");
    }
}
