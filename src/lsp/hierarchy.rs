//! From a voice to the lines that let it be played, and from a line to its players, and back.

use std::sync::Arc;

use super::names::{Kind, name_at};
use super::workspace::{At, TextPlace};
use crate::diagnostics::Span;
use crate::resolve::{Line, Piece, Player, Scoring, Verb, Voice};
use crate::session::Session;

/// What stands in the hierarchy.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sort {
    /// A voice.
    Voice,
    /// A line of a scoring.
    Line,
    /// A player of an ensemble.
    Player,
}

/// One that stands in the hierarchy. It is known again by the beginning of its head.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Entry {
    /// What it is called.
    pub name: String,
    /// A few words more.
    pub about: String,
    /// What it is.
    pub sort: Sort,
    /// The whole of it.
    pub whole: TextPlace,
    /// A part of it, by which it is known again.
    pub head: TextPlace,
}

enum Found {
    Voice(usize),
    Line(Arc<Scoring>, Arc<Line>),
    Player(String),
}

fn place(session: &Session, span: Span) -> TextPlace {
    TextPlace { file: span.file, range: session.sources().range(span) }
}

fn of_voice(session: &Session, voice: &Voice) -> Entry {
    let head = place(session, voice.span);
    let (name, about) = (voice.name.clone(), "voice".into());
    Entry { name, about, sort: Sort::Voice, whole: head.clone(), head }
}

fn of_line(session: &Session, scoring: &Scoring, line: &Line) -> Entry {
    let whole = place(session, line.span);
    let text = session.document(whole.file).text();
    let said = text.get(whole.range.clone()).unwrap_or_default();
    let first = said.lines().next().unwrap_or_default();
    let name = first.split_whitespace().collect::<Vec<_>>().join(" ");
    // The end of the names of the players: behind it stands the verb, which no name touches.
    let start = line.who.last().map_or(whole.range.start, |(_, span)| {
        let end = session.sources().range(*span).end;
        end + (said.len() - said.trim_start().len()).min(1)
    });
    let verb = text.get(start..).map_or(0, |rest| rest.len() - rest.trim_start().len());
    let start = (start + verb).min(whole.range.end);
    let length = text[start..whole.range.end].find(char::is_whitespace);
    let end = length.map_or(whole.range.end, |length| start + length);
    let head = TextPlace { file: whole.file, range: start..end };
    Entry { name, about: scoring.name.clone(), sort: Sort::Line, whole, head }
}

fn of_player(session: &Session, ensemble: &str, player: &Player) -> Entry {
    let whole = place(session, player.span);
    let length = session.document(whole.file).text()[whole.range.clone()]
        .find(|c: char| c.is_whitespace() || c == ',');
    let end = length.map_or(whole.range.end, |length| whole.range.start + length);
    let head = TextPlace { file: whole.file, range: whole.range.start..end };
    Entry {
        name: player.name.clone(),
        about: ensemble.to_string(),
        sort: Sort::Player,
        whole,
        head,
    }
}

fn find(session: &mut Session, at: At, piece: &Piece) -> Option<Found> {
    let name = name_at(session, at);
    if let Some(name) = &name {
        match name.kind {
            Kind::Voice => {
                return piece.voices.iter().position(|v| v.name == name.text).map(Found::Voice);
            }
            Kind::Players => return Some(Found::Player(name.text.clone())),
            _ => {}
        }
    }
    let sources = session.sources();
    for scoring in &piece.scorings {
        for line in &scoring.lines {
            let range = sources.range(line.span);
            if line.span.file == at.file && range.start <= at.offset && at.offset <= range.end {
                return Some(Found::Line(Arc::clone(scoring), Arc::clone(line)));
            }
        }
    }
    None
}

/// What stands at a place: a voice, a scoring line, players of an ensemble.
pub fn prepare(session: &mut Session, at: At) -> Option<Entry> {
    let piece = session.piece(at.root);
    match find(session, at, &piece)? {
        Found::Voice(voice) => Some(of_voice(session, &piece.voices[voice])),
        Found::Line(scoring, line) => Some(of_line(session, &scoring, &line)),
        Found::Player(name) => players(&piece, &name)
            .first()
            .map(|(ensemble, player)| of_player(session, ensemble, player)),
    }
}

fn players<'p>(piece: &'p Piece, line_name: &str) -> Vec<(&'p str, &'p Player)> {
    let all =
        piece.ensembles.iter().flat_map(|e| e.players.iter().map(|p| (e.name.as_str(), &**p)));
    all.filter(|(_, player)| player.line_name == line_name).collect()
}

/// What a place leads to: the lines of a voice, the players of a line.
pub fn outgoing(session: &mut Session, at: At) -> Vec<Entry> {
    let piece = session.piece(at.root);
    match find(session, at, &piece) {
        Some(Found::Voice(voice)) => lines(&piece, |line| plays(line) == Some(voice))
            .map(|(scoring, line)| of_line(session, scoring, line))
            .collect(),
        Some(Found::Line(scoring, line)) => {
            let Some(ensemble) = piece.ensembles.get(scoring.ensemble) else { return Vec::new() };
            let named = line.who.iter().flat_map(|(who, _)| ensemble.players_named(who));
            named
                .map(|player| of_player(session, &ensemble.name, &ensemble.players[player]))
                .collect()
        }
        _ => Vec::new(),
    }
}

/// What leads to a place: the voice of a line, the lines of a player.
pub fn incoming(session: &mut Session, at: At) -> Vec<Entry> {
    let piece = session.piece(at.root);
    match find(session, at, &piece) {
        Some(Found::Line(_, line)) => {
            let voice = plays(&line).and_then(|voice| piece.voices.get(voice));
            voice.map(|voice| of_voice(session, voice)).into_iter().collect()
        }
        Some(Found::Player(name)) => piece
            .scorings
            .iter()
            .flat_map(|scoring| scoring.lines.iter().map(move |line| (scoring, line)))
            .filter(|(scoring, line)| {
                piece.ensembles.get(scoring.ensemble).is_some_and(|ensemble| {
                    let mut named =
                        line.who.iter().flat_map(|(who, _)| ensemble.players_named(who));
                    named.any(|player| ensemble.players[player].line_name == name)
                })
            })
            .map(|(scoring, line)| of_line(session, scoring, line))
            .collect(),
        _ => Vec::new(),
    }
}

fn plays(line: &Line) -> Option<usize> {
    match line.verb {
        Verb::Plays { voice, .. } | Verb::Signals { voice } | Verb::Realises { voice } => {
            Some(voice)
        }
        _ => None,
    }
}

fn lines<'p>(
    piece: &'p Piece,
    wanted: impl Fn(&Line) -> bool + 'p,
) -> impl Iterator<Item = (&'p Scoring, &'p Line)> {
    let all = piece.scorings.iter().flat_map(|s| s.lines.iter().map(move |line| (&**s, &**line)));
    all.filter(move |(_, line)| wanted(line))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    #[test]
    fn it_goes_from_voice_to_lines_to_players_and_back() {
        let source = format!(
            "{FORM}voice upp‸er {{\n  1: rest 4 |\n}}\nensemble duo {{\n  era 1770\n  oboe 2, flute\n}}\nscoring small for duo {{\n  oboe, flute   plays upper as melody\n  flute rests bars 2\n}}\n"
        );
        let (mut session, at) = text(&source);
        let to = |entry: &Entry| At { file: entry.head.file, offset: entry.head.range.start, ..at };
        let names = |entries: &[Entry]| entries.iter().map(|e| e.name.clone()).collect::<Vec<_>>();
        let voice = prepare(&mut session, at).unwrap();
        assert_eq!((voice.name.as_str(), voice.sort), ("upper", Sort::Voice));
        let lines = outgoing(&mut session, to(&voice));
        assert_eq!(names(&lines), ["oboe, flute plays upper as melody"]);
        let text = session.document(at.file).text();
        assert_eq!(&text[lines[0].head.range.clone()], "plays");
        let players = outgoing(&mut session, to(&lines[0]));
        assert_eq!(names(&players), ["Oboe 1", "Oboe 2", "Flute"]);
        let back = incoming(&mut session, to(&players[2]));
        assert_eq!(names(&back), ["oboe, flute plays upper as melody", "flute rests bars 2"]);
        assert_eq!(incoming(&mut session, to(&back[0])), [voice]);
    }
}
