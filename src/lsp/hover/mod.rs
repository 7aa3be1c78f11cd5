//! What there is to know of what stands at a place, as Markdown.

mod instrument;
mod note;

use std::fmt::Write;

use super::findings::explained;
use super::names::{Kind, Name, name_at};
use super::workspace::{At, TextPlace};
use crate::check::RULES;
use crate::diagnostics::CODES;
use crate::instruments::find;
use crate::music::Chord;
use crate::resolve::{Ensemble, Piece, Verb};
use crate::session::Session;
use crate::syntax::{HarmonyStep, Node};

/// What is told, and of what.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hover {
    /// Markdown.
    pub text: String,
    /// Where that of which it speaks stands.
    pub place: TextPlace,
}

/// What there is to know of what stands at a place: a note, a chord symbol, a name, a rule, an
/// instrument.
pub fn hover(session: &mut Session, at: At) -> Option<Hover> {
    if let Some(name) = name_at(session, at) {
        let text = of_name(session, at, &name)?;
        return Some(Hover { text, place: name.place });
    }
    if let Some((symbol, place)) = symbol_at(session, at) {
        return Some(Hover { text: chord(&symbol)?, place });
    }
    note::hover(session, at)
}

fn of_name(session: &mut Session, at: At, name: &Name) -> Option<String> {
    let piece = session.piece(at.root);
    match name.kind {
        Kind::Rule => rule(&name.text),
        Kind::File => None,
        Kind::Voice => voice(session, at, &name.text),
        Kind::Ensemble => {
            let ensemble = piece.ensembles.iter().find(|e| e.name == name.text)?;
            Some(of_ensemble(ensemble))
        }
        Kind::Scoring => {
            let scoring = piece.scorings.iter().find(|s| s.name == name.text)?;
            let ensemble = piece.ensembles.get(scoring.ensemble)?;
            let kept: Vec<String> =
                piece.layers(scoring)[1..].iter().map(|s| format!("`{}`", s.name)).collect();
            let keeps = if kept.is_empty() {
                String::new()
            } else {
                format!(", keeps {}", kept.join(", "))
            };
            Some(format!("**scoring `{}`**{keeps}\n\n{}", scoring.name, of_ensemble(ensemble)))
        }
        Kind::Instrument => Some(instrument::tell(find(&name.text)?, era_of(&piece, name))),
        Kind::Players | Kind::Group | Kind::Part => part(session, at, name),
    }
}

fn era_of(piece: &Piece, name: &Name) -> Option<i32> {
    let ensemble = name.ensemble.as_ref()?;
    piece.ensembles.iter().find(|e| e.name == *ensemble).map(|ensemble| ensemble.era)
}

/// Players or a group.
fn part(session: &mut Session, at: At, name: &Name) -> Option<String> {
    let piece = session.piece(at.root);
    let ensemble = piece.ensembles.iter().find(|e| Some(&e.name) == name.ensemble.as_ref());
    let group = ensemble.and_then(|e| e.groups.iter().find(|(group, _)| *group == name.text));
    if let (Some(ensemble), Some((group, members))) = (ensemble, group) {
        let mut text = format!("**group `{group}`** of `{}`\n", ensemble.name);
        for (player, octaves) in members {
            let Some(player) = ensemble.players.get(*player) else { continue };
            let _ = write!(text, "\n- {}{}", player.name, octaves_in_words(*octaves));
        }
        return Some(text);
    }
    if name.kind == Kind::Group {
        return None;
    }
    let named = |player: &&std::sync::Arc<crate::resolve::Player>| {
        player.line_name == name.text && name.number.is_none_or(|number| player.number == number)
    };
    let players: Vec<_> = ensemble.into_iter().flat_map(|e| &e.players).filter(named).collect();
    let Some(first) = players.first() else {
        // A name that only looks like an instrument still is one.
        let known = find(&name.text)
            .or_else(|| find(name.text.trim_end_matches(|c: char| c == '-' || c.is_ascii_digit())));
        return known.map(|known| instrument::tell(known, era_of(&piece, name)));
    };
    let mut text = String::new();
    for player in &players {
        let people =
            if player.count > 1 { format!(", {} players", player.count) } else { String::new() };
        let key = player.tuning.map_or_else(String::new, |tuning| format!(" in {}", tuning.name));
        let drums: Vec<String> = player.drums.iter().map(ToString::to_string).collect();
        let drums =
            if drums.is_empty() { String::new() } else { format!(", tuned {}", drums.join(", ")) };
        let _ = writeln!(text, "**{}**{key}{people}{drums}  ", player.name);
    }
    text.push('\n');
    text.push_str(&instrument::tell_as(first.instrument, era_of(&piece, name), first.tuning));
    Some(text)
}

fn octaves_in_words(octaves: i8) -> &'static str {
    match octaves {
        1 => ", an octave higher",
        -1 => ", an octave lower",
        2 => ", two octaves higher",
        -2 => ", two octaves lower",
        _ => "",
    }
}

fn of_ensemble(ensemble: &Ensemble) -> String {
    let mut text = format!("**ensemble `{}`**, {}\n", ensemble.name, ensemble.era);
    for player in &ensemble.players {
        let people = if player.count > 1 { format!(" ({})", player.count) } else { String::new() };
        let key = player.tuning.map_or_else(String::new, |tuning| format!(" in {}", tuning.name));
        let _ = write!(text, "\n- {}{key}{people}", player.name);
    }
    text
}

/// A voice: its compass and who plays it.
fn voice(session: &mut Session, at: At, name: &str) -> Option<String> {
    let piece = session.piece(at.root);
    let index = piece.voices.iter().position(|voice| voice.name == name)?;
    let notes = &piece.voices[index].music.notes;
    let pitches = || notes.iter().flat_map(|note| Vec::from(note.sound.pitches()));
    let mut text = format!("**voice `{name}`**");
    if let (Some(low), Some(high)) = (pitches().min(), pitches().max()) {
        let _ = write!(text, ", {low} to {high}");
    }
    text.push('\n');
    for (scoring, who) in players_of_voice(&piece, index) {
        let _ = write!(text, "\n- `{scoring}`: {}", who.join(", "));
    }
    Some(text)
}

/// Whom the lines of each scoring let play a voice, as they name them; scorings that do not let
/// anybody are left out.
#[must_use]
pub fn players_of_voice(piece: &Piece, voice: usize) -> Vec<(String, Vec<String>)> {
    let mut all = Vec::new();
    for scoring in &piece.scorings {
        let mut who: Vec<String> = Vec::new();
        for line in piece.layers(scoring).into_iter().flat_map(|layer| &layer.lines) {
            let plays = match &line.verb {
                Verb::Plays { voice: played, .. }
                | Verb::Signals { voice: played }
                | Verb::Realises { voice: played } => *played == voice,
                _ => false,
            };
            for (name, _) in line.who.iter().filter(|_| plays) {
                if !who.contains(name) {
                    who.push(name.clone());
                }
            }
        }
        if !who.is_empty() {
            all.push((scoring.name.clone(), who));
        }
    }
    all
}

/// A rule, a finding of an earlier stage, or a family of rules.
fn rule(code: &str) -> Option<String> {
    if let Some(text) = explained(code) {
        // `explain` sets headings in lines of their own and indents what stands below them.
        let mut lines = text.lines();
        let head = lines.next().unwrap_or_default();
        let mut out = format!("**{head}**\n");
        let body: Vec<&str> = lines.collect();
        let mut fence = false;
        let mut heading = "";
        for line in body {
            match line.strip_prefix("  ") {
                Some(indented) if matches!(heading, "Example" | "Fixed") => {
                    if !fence {
                        out.push_str("\n```ripieno");
                        fence = true;
                    }
                    let _ = write!(out, "\n{indented}");
                }
                Some(indented) => {
                    let _ = write!(out, "\n{indented}");
                }
                None => {
                    if fence && !line.is_empty() {
                        out.push_str("\n```\n");
                        fence = false;
                    }
                    let heads = [
                        "What it finds",
                        "Why it matters",
                        "How to fix it",
                        "Example",
                        "Limit",
                        "Fixed",
                        "Source",
                    ];
                    if heads.contains(&line) {
                        heading = line;
                        let _ = write!(out, "\n*{line}*\n");
                    } else {
                        let _ = write!(out, "\n{line}");
                    }
                }
            }
        }
        if fence {
            out.push_str("\n```\n");
        }
        return Some(out);
    }
    let of_family = |known: &str| known.split('/').next() == Some(code);
    let mut text = format!("**family `{code}`**\n");
    let rules = RULES.iter().map(|rule| (rule.code, rule.summary()));
    let members = rules.chain(CODES.iter().map(|known| (known.code, known.finds.to_string())));
    let mut known = false;
    for (code, finds) in members.filter(|(code, _)| of_family(code)) {
        known = true;
        let _ = write!(text, "\n- `{code}`: {finds}");
    }
    known.then_some(text)
}

/// The chord symbol at a place.
fn symbol_at(session: &Session, at: At) -> Option<(String, TextPlace)> {
    let sources = session.sources();
    for (start, item) in session.document(at.file).items() {
        let Node::HarmonyBar(bar) = &item.node else { continue };
        if !(start <= at.offset && at.offset <= start + item.length()) {
            continue;
        }
        for step in bar.read() {
            let range = sources.range(step.span);
            if let HarmonyStep::Symbol(symbol) = &step.value
                && range.start <= at.offset
                && at.offset <= range.end
            {
                return Some((symbol.clone(), TextPlace { file: at.file, range }));
            }
        }
    }
    None
}

/// A chord symbol: its notes.
fn chord(symbol: &str) -> Option<String> {
    let chord = Chord::read(symbol).ok()?;
    Some(format!("**{chord}**: {}", notes_of(&chord)))
}

/// "D F A, with F in the bass".
fn notes_of(chord: &Chord) -> String {
    let members: Vec<String> = chord.members().iter().map(ToString::to_string).collect();
    match chord.bass {
        Some(bass) => format!("{}, with {bass} in the bass", members.join(" ")),
        None => members.join(" "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    fn of(source: &str) -> String {
        let (mut session, at) = text(&format!("{FORM}{source}"));
        hover(&mut session, at).map(|hover| hover.text).unwrap_or_default()
    }

    const HORN: &str = "ensemble duo {\n  era 1770\n  horn crook D\n  violin-1 6 players\n}\nharmony {\n  1: Dm/F | 2: A7 | 3: Dm | 4: Dm |\n}\n";

    #[test]
    fn a_note_tells_where_it_stands_and_who_sounds_it() {
        let told = of(&format!(
            "voice upper {{\n  1: 1/4 D4 F ‸A 1/8 D5 E | 2: rest 3 |\n}}\n{HORN}scoring small for duo {{\n  violin-1 plays upper as melody, at f\n}}\nscoring large for duo {{\n  horn plays upper 8vb as harmony\n}}\n"
        ));
        for part in [
            "**A4** · bar 1, beat 3 · 1/4 · voice `upper`",
            "0.50 seconds, 2.0 such notes a second",
            "chord Dm/F (D F A, with F in the bass)",
            "`small`",
            "- Violins I (melody): f",
            "- Horn",
            "sounds A3; written G4; partial 6; mf",
        ] {
            assert!(told.contains(part), "{part}\n---\n{told}");
        }
    }

    #[test]
    fn a_written_note_is_a_note_too() {
        let told = of(&format!(
            "{HORN}scoring small for duo {{\n  horn writes as highlight {{\n    1: 1/2 D‸4 F#4 |\n  }}\n}}\n"
        ));
        assert!(told.contains("written for `horn` in `small`"), "{told}");
        assert!(told.contains("written C5; partial 8"), "{told}");
    }

    #[test]
    fn an_instrument_tells_its_compass_with_the_source() {
        let told = of("ensemble duo {\n  era 1770\n  ob‸oe 2\n}\n");
        assert!(told.contains("**Oboe 1**") && told.contains("In 1770, sounding pitch:"), "{told}");
        assert!(told.contains("| is asked |") && told.contains("| source |"), "{told}");
        let told = of(
            "ensemble duo {\n  era 1885\n  flute\n}\nscoring s for duo {\n  flute takes pic‸colo bar 2\n}\n",
        );
        assert!(told.contains("**Piccolo**"), "{told}");
    }

    #[test]
    fn names_tell_what_they_stand_for() {
        let source = format!(
            "voice upper {{\n  1: 1/1 D4 | 2: rest 3 |\n}}\n{HORN}scoring small for duo {{\n  violin-1 plays up‸per as melody\n}}\n"
        );
        let told = of(&source);
        assert!(
            told.contains("**voice `upper`**, D4 to D4") && told.contains("`small`: violin-1"),
            "{told}"
        );
        let told = of("ensemble wind {\n  era 1770\n  oboe 2\n  group bas‸so = oboe 8vb\n}\n");
        assert!(told.contains("Oboe 1, an octave lower"), "{told}");
        let told = of(&source.replace('‸', "").replace("for duo", "for du‸o"));
        assert!(told.contains("**ensemble `duo`**, 1770") && told.contains("Horn in D"), "{told}");
    }

    #[test]
    fn rules_and_chords_are_explained() {
        let told = of("harmony {\n  1: A‸7 |\n}\n");
        assert_eq!(told, "**A7**: A C# E G");
        let told = of("scoring s for e {\n  allow compass/outside-cus‸tom \"so\"\n}\n");
        assert!(told.contains("*Why it matters*") && told.contains("```ripieno"), "{told}");
        let told = of("scoring s for e {\n  allow com‸pass \"so\"\n}\n");
        assert!(told.contains("- `compass/beyond-instrument`"), "{told}");
    }

    #[test]
    fn any_place_of_any_text_may_be_asked_about() {
        for source in [
            "",
            "voice a {\n 1: D5&F5 3:2(x x x) |",
            "scoring s for e {\n oboe.9 takes horn crook\n allow x\n",
            "harmony {\n 1: H♭ |",
        ] {
            for offset in (0..=source.len()).filter(|at| source.is_char_boundary(*at)) {
                let (mut session, at) = text(source);
                let _ = hover(&mut session, At { offset, ..at });
            }
        }
    }
}
