//! What is printed leads back to the source, whatever the way it took.

use super::{Element, ElementKind, Measure, Origin, Score, StaffDirectionKind, notate};
use crate::arrange::arrange;
use crate::diagnostics::Sources;
use crate::resolve::{NoFiles, resolve};

const SOURCE: &str = r#"piece "Sluice" { composer "House copyist" }
form {
  1 metre 4/4, key C major, tempo "Con moto" 1/4 at 96
  3 mark "A"
  4 end
}
dynamics {
  1 f
}
harmony { 1: C | 2: F | 3: G | 4: C | }
voice upper {
  1: 1/2 C5 1/4 grace(1/16 B4) C5 rest |
  2: [p] 1/4 D5 [cresc] 1/2. E5 |
  3: 1/1 = |
  4: 1/4 [f, "marked"] F5 rest 1/2 rest |
}
voice lower { 1: 1/1 C3 | 2: rest 2 | 4: 1/1 C3 | }
ensemble few { era 1885
  flute 2
  clarinet in Bb
  viola
  cello
}
scoring all for few {
  flute.1 plays upper as melody
  clarinet doubles flute.1
  viola sustains bars 2..3
  cello plays lower as bass
  flute.1 takes piccolo bar 4
}
"#;

struct Read {
    sources: Sources,
    score: Score,
}

impl Read {
    fn new() -> Read {
        let mut sources = Sources::new();
        let root = sources.add("sluice", SOURCE);
        let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
        assert!(found.is_empty(), "{found:?}");
        let score = notate(&arrange(&piece, &piece.scorings[0]));
        Read { sources, score }
    }

    /// The text from which something comes, and the first words of its line.
    fn text(&self, origin: Origin) -> String {
        let source = origin.source.map_or("-", |span| self.sources.text(span));
        let line = self.score.line(origin).map(|line| self.sources.text(line.span));
        let line = line.map_or("nobody".to_string(), |line| {
            line.split_whitespace().take(2).collect::<Vec<_>>().join(" ")
        });
        format!("{source} < {line}")
    }

    fn measure(&self, player: &str, bar: usize) -> &Measure {
        &self.score.staves.iter().find(|staff| staff.id == player).unwrap().measures[bar]
    }

    fn elements(&self, player: &str, bar: usize) -> Vec<String> {
        let text = |element: &Element| self.text(element.origin);
        self.measure(player, bar).elements.iter().map(text).collect()
    }

    fn directions(&self, player: &str, bar: usize) -> Vec<String> {
        let directions = self.measure(player, bar).directions.iter();
        directions.map(|direction| self.text(direction.origin)).collect()
    }
}

#[test]
fn a_note_leads_to_its_note_in_the_source_and_to_its_line() {
    let read = Read::new();
    // The grace note belongs to the note that it leans on.
    assert_eq!(
        read.elements("flute.1", 0),
        ["C5", "C5", "C5", "rest"].map(|note| format!("{note} < flute.1 plays"))
    );
    assert_eq!(
        read.elements("clarinet", 0),
        ["C5", "C5", "C5", "rest"].map(|note| format!("{note} < clarinet doubles"))
    );
    assert_eq!(read.elements("viola", 1), ["F < viola sustains"]);
    assert_eq!(read.elements("cello", 0), ["C3 < cello plays"]);
}

#[test]
fn all_pieces_of_a_tied_note_lead_to_where_it_begins() {
    let read = Read::new();
    assert_eq!(read.elements("flute.1", 1)[1], "E5 < flute.1 plays");
    assert_eq!(read.elements("flute.1", 2), ["E5 < flute.1 plays"]);
}

#[test]
fn a_rest_leads_to_the_rest_of_the_source_if_there_is_one() {
    let read = Read::new();
    for bar in [1, 2] {
        assert_eq!(read.elements("cello", bar), ["rest 2 < cello plays"]);
    }
    assert_eq!(read.elements("viola", 0), ["- < nobody"]);
    assert_eq!(read.elements("flute.2", 0), ["- < nobody"]);
    assert!(matches!(read.measure("cello", 1).elements[0].kind, ElementKind::BarRest { .. }));
}

#[test]
fn what_is_said_leads_to_where_it_is_written() {
    let read = Read::new();
    assert_eq!(read.directions("cello", 0), ["f < cello plays"]);
    assert_eq!(read.directions("flute.1", 1), ["p < flute.1 plays", "cresc < flute.1 plays"]);
    let last = read.measure("flute.1", 3);
    let taken = StaffDirectionKind::Change("Piccolo".into());
    let marked = StaffDirectionKind::Words("marked".into());
    let name = last.directions.iter().find(|said| said.kind == taken).unwrap();
    assert_eq!(read.text(name.origin), "- < flute.1 takes");
    let words = last.directions.iter().find(|said| said.kind == marked).unwrap();
    assert_eq!(read.text(words.origin), "\"marked\" < flute.1 plays");
}

#[test]
fn players_and_what_begins_with_a_bar_have_their_places_too() {
    let read = Read::new();
    let text = |bar: usize| read.score.frame[bar].source.map(|span| read.sources.text(span));
    assert_eq!(text(0), Some("tempo \"Con moto\" 1/4 at 96"));
    assert_eq!(text(1), None);
    assert_eq!(text(2), Some("mark \"A\""));
    let staff = read.score.staves.iter().find(|staff| staff.id == "clarinet").unwrap();
    assert!(read.sources.text(staff.source).starts_with("clarinet"));
}
