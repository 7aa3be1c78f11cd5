//! The outline of a file, and names across all files.

use std::ops::Range;

use crate::diagnostics::FileId;
use crate::session::Session;
use crate::syntax::{Declaration, EnsembleLine, Node};

/// What a symbol is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sort {
    /// A file that is used.
    File,
    /// The piece.
    Piece,
    /// Form, harmony or dynamics.
    Block,
    /// A voice.
    Voice,
    /// A bar, or a mark of the form.
    Bar,
    /// An ensemble.
    Ensemble,
    /// Players or a group.
    Players,
    /// A scoring.
    Scoring,
    /// A scoring line.
    Line,
}

/// A symbol with what lies within it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Symbol {
    /// Its name.
    pub name: String,
    /// A few words more.
    pub about: String,
    /// What it is.
    pub sort: Sort,
    /// The whole of it.
    pub whole: Range<usize>,
    /// Its name, or its first word.
    pub head: Range<usize>,
    /// What lies within.
    pub within: Vec<Symbol>,
}

/// The outline of a file. Bars of voices are not in it: there are too many to be read.
#[must_use]
pub fn outline(session: &Session, file: FileId) -> Vec<Symbol> {
    let document = session.document(file);
    let sources = session.sources();
    let text = document.text();
    let mut all = Vec::new();
    // Items are gone through once: to look for those of a block costs a walk from the beginning.
    let mut items = document.items();
    for block in document.blocks() {
        let mut own = Vec::new();
        for (start, item) in items.by_ref() {
            own.push((start, item));
            let lasts = item.node.opens().is_none() && own.len() == 1;
            if lasts || matches!(item.node, Node::Close | Node::Unclosed | Node::End) {
                break;
            }
        }
        let (Some(first), Some(last)) = (own.first(), own.last()) else { continue };
        let whole = first.0..last.0 + last.1.length();
        let first_word = |range: &Range<usize>| {
            let length = text[range.clone()].find(char::is_whitespace).unwrap_or(range.len());
            range.start..range.start + length
        };
        let (name, about, sort, head) = match &*block.declaration {
            Declaration::Use(path) => {
                (path.value.clone(), "use".into(), Sort::File, sources.range(path.span))
            }
            Declaration::Piece(piece) => (
                piece.title.value.clone(),
                "piece".into(),
                Sort::Piece,
                sources.range(piece.title.span),
            ),
            Declaration::Form(form) => {
                ("form".into(), String::new(), Sort::Block, sources.range(form.span))
            }
            Declaration::Harmony(tree) => {
                ("harmony".into(), String::new(), Sort::Block, sources.range(tree.span))
            }
            Declaration::Dynamics(tree) => {
                ("dynamics".into(), String::new(), Sort::Block, sources.range(tree.span))
            }
            Declaration::Voice(voice) => {
                let about = match voice.bars.len() {
                    1 => "voice, 1 bar".to_string(),
                    bars => format!("voice, {bars} bars"),
                };
                (voice.name.value.clone(), about, Sort::Voice, sources.range(voice.name.span))
            }
            Declaration::Lyrics(lyrics) => {
                let verse = lyrics.verse.as_ref().map_or(1, |verse| verse.value);
                (
                    format!("lyrics for {}", lyrics.voice.value),
                    format!("verse {verse}"),
                    Sort::Block,
                    sources.range(lyrics.voice.span),
                )
            }
            Declaration::Instrument(instrument) => {
                let about = format!("instrument like {}", instrument.like.value);
                let head = sources.range(instrument.name.span);
                (instrument.name.value.clone(), about, Sort::Players, head)
            }
            Declaration::Ensemble(ensemble) => {
                let extends = ensemble.extends.as_ref().map(|e| format!(" extends {}", e.value));
                let about = format!("ensemble{}", extends.unwrap_or_default());
                (
                    ensemble.name.value.clone(),
                    about,
                    Sort::Ensemble,
                    sources.range(ensemble.name.span),
                )
            }
            Declaration::Scoring(scoring) => {
                let about = format!("scoring for {}", scoring.ensemble.value);
                (scoring.name.value.clone(), about, Sort::Scoring, sources.range(scoring.name.span))
            }
            Declaration::Layout(tree) => {
                let about = tree
                    .scoring
                    .as_ref()
                    .map_or("of all scorings".into(), |scoring| format!("for {}", scoring.value));
                ("layout".into(), about, Sort::Block, sources.range(tree.span))
            }
            Declaration::Lost(_) => {
                let head = first_word(&whole);
                (text[head.clone()].to_string(), "not understood".into(), Sort::Block, head)
            }
        };
        let name = if name.trim().is_empty() { "untitled".to_string() } else { name };
        let within = own.iter().flat_map(|(start, item)| {
            let range = *start..start + item.length();
            // What the line says behind what the symbol is called by, as far as its block.
            let behind = |span| {
                let from = sources.range(span).end.clamp(range.start, range.end);
                let line = text[from..range.end].lines().next().unwrap_or_default();
                let words = line.split_whitespace().collect::<Vec<_>>().join(" ");
                words.trim_end_matches(['{', ' ']).to_string()
            };
            let symbol = |name: String, about: String, sort, head| Symbol {
                name,
                about,
                sort,
                whole: range.clone(),
                head,
                within: Vec::new(),
            };
            match &item.node {
                Node::FormLine(Some(form), _) => {
                    vec![symbol(
                        match form.bars.first == form.bars.last {
                            true => format!("bar {}", form.bars.first),
                            false => format!("bars {} to {}", form.bars.first, form.bars.last),
                        },
                        behind(form.bars.span),
                        Sort::Bar,
                        first_word(&range),
                    )]
                }
                Node::EnsembleLines(lines) => lines
                    .iter()
                    .filter_map(|line| match line {
                        EnsembleLine::Players(players) => Some((&players.name, "")),
                        EnsembleLine::Group(name, _) => Some((name, "group")),
                        _ => None,
                    })
                    .map(|(name, about)| {
                        symbol(
                            name.value.clone(),
                            about.to_string(),
                            Sort::Players,
                            sources.range(name.span),
                        )
                    })
                    .collect(),
                Node::ScoringLine(scoring) => {
                    let who: Vec<&str> = scoring.who.iter().map(|who| who.value.as_str()).collect();
                    let about = scoring.who.last().map_or_else(String::new, |who| behind(who.span));
                    vec![symbol(who.join(", "), about, Sort::Line, first_word(&range))]
                }
                _ => Vec::new(),
            }
        });
        let within = within.collect();
        let head = head.start.max(whole.start)..head.end.min(whole.end);
        all.push(Symbol { name, about, sort, whole, head, within });
    }
    all
}

/// Declarations and players whose names have the letters of a query in order, of these files.
#[must_use]
pub fn named(session: &Session, files: &[FileId], query: &str) -> Vec<(FileId, Symbol)> {
    let query = query.to_lowercase();
    let fits = |name: &str| {
        let name = name.to_lowercase();
        let mut letters = name.chars();
        query.chars().filter(|c| !c.is_whitespace()).all(|wanted| letters.any(|c| c == wanted))
    };
    let mut found = Vec::new();
    for file in files {
        for mut symbol in outline(session, *file) {
            let within = std::mem::take(&mut symbol.within);
            let players = within.into_iter().filter(|inner| inner.sort == Sort::Players);
            let sorts = [Sort::Piece, Sort::Voice, Sort::Players, Sort::Ensemble, Sort::Scoring];
            let own = std::iter::once(symbol.clone()).filter(|symbol| sorts.contains(&symbol.sort));
            for one in own.chain(players).filter(|one| fits(&one.name)) {
                found.push((*file, one));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    #[test]
    fn an_outline_has_declarations_and_the_lines_one_looks_for() {
        let source = format!(
            "{FORM}voice upper {{\n  1: 1/1 D5 |\n}}\nensemble duo {{\n  era 1770\n  oboe 2, horn 2 crook D\n  group wind = oboe, horn\n}}\nscoring small for duo {{\n  oboe.1  plays upper as melody\n}}\n"
        );
        let (session, at) = text(&source);
        let outline = outline(&session, at.file);
        let names: Vec<(&str, Vec<&str>)> = outline
            .iter()
            .map(|s| (s.name.as_str(), s.within.iter().map(|s| s.name.as_str()).collect()))
            .collect();
        assert_eq!(
            names,
            [
                ("Weir", vec![]),
                ("form", vec!["bar 1", "bar 4"]),
                ("upper", vec![]),
                ("duo", vec!["oboe", "horn", "wind"]),
                ("small", vec!["oboe.1"]),
            ]
        );
        for symbol in &outline {
            assert!(symbol.whole.start <= symbol.head.start && symbol.head.end <= symbol.whole.end);
        }
        assert_eq!(outline[4].within[0].about, "plays upper as melody");
        assert_eq!(outline[1].within[1].about, "end");
        let found = named(&session, &[at.file], "hrn");
        assert_eq!(found[0].1.name, "horn");
    }

    #[test]
    fn what_is_broken_has_an_outline_too() {
        for source in
            ["", "voice", "voice a {", "}}}", "scoring x {\n a b\n", "piece \"\" { }", "\u{FEFF}"]
        {
            let (session, at) = text(source);
            let _ = outline(&session, at.file);
        }
    }
}
