//! What stands above a declaration: who plays a voice, and how to build a scoring.

use super::hover::players_of_voice;
use super::workspace::{At, TextPlace};
use crate::session::Session;
use crate::syntax::Declaration;

/// What a lens does when it is chosen.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Action {
    /// Tell who plays a voice.
    WhoPlays(String),
    /// Build a scoring.
    Build(String),
}

/// A lens above a place.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Lens {
    /// The name of the declaration.
    pub place: TextPlace,
    /// What it says.
    pub title: String,
    /// What it does.
    pub action: Action,
}

/// The lenses of a file.
pub fn lenses(session: &mut Session, at: At) -> Vec<Lens> {
    let piece = session.piece(at.root);
    let mut lenses = Vec::new();
    for block in session.document(at.file).blocks() {
        let (name, build) = match &*block.declaration {
            Declaration::Voice(voice) => (&voice.name, false),
            Declaration::Scoring(scoring) => (&scoring.name, true),
            _ => continue,
        };
        let place = TextPlace { file: at.file, range: session.sources().range(name.span) };
        let (title, action) = if build {
            (format!("build {}", name.value), Action::Build(name.value.clone()))
        } else {
            let voice = piece.voices.iter().position(|voice| voice.name == name.value);
            let players = voice.map(|voice| players_of_voice(&piece, voice)).unwrap_or_default();
            (said(&players), Action::WhoPlays(name.value.clone()))
        };
        lenses.push(Lens { place, title, action });
    }
    lenses
}

/// "played by violin-1, oboe in large; violin-1 in small", or that nobody does.
#[must_use]
pub fn said(players: &[(String, Vec<String>)]) -> String {
    let of = |(scoring, who): &(String, Vec<String>)| format!("{} in {scoring}", who.join(", "));
    match players {
        [] => "played by no one".to_string(),
        _ => format!("played by {}", players.iter().map(of).collect::<Vec<_>>().join("; ")),
    }
}

/// Who plays a voice, in a sentence; `None` if there is no such voice.
pub fn who_plays(session: &mut Session, at: At, voice: &str) -> Option<String> {
    let piece = session.piece(at.root);
    let index = piece.voices.iter().position(|known| known.name == voice)?;
    Some(format!("`{voice}` is {}.", said(&players_of_voice(&piece, index))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    #[test]
    fn voices_say_who_plays_them_and_scorings_can_be_built() {
        let source = format!(
            "{FORM}voice upper {{\n  1: rest 4 |\n}}\nvoice lower {{\n  1: rest 4 |\n}}\nensemble duo {{\n  era 1770\n  oboe 2\n}}\nscoring small for duo {{\n  oboe.1 plays upper as melody\n}}\nscoring large for duo {{\n  keep small\n  oboe.2 plays upper 8vb as harmony\n}}\n"
        );
        let (mut session, at) = text(&source);
        let titles: Vec<String> =
            lenses(&mut session, at).into_iter().map(|lens| lens.title).collect();
        assert_eq!(
            titles,
            [
                "played by oboe.1 in small; oboe.2, oboe.1 in large",
                "played by no one",
                "build small",
                "build large"
            ]
        );
        assert!(who_plays(&mut session, at, "upper").unwrap().contains("oboe.2"));
        assert_eq!(who_plays(&mut session, at, "middle"), None);
    }
}
