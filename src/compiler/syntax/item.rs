//! One item: the head of a declaration, a line, a bar, or the end of a block; and how it is read.

use std::sync::Arc;

use pest::Parser;
use pest::iterators::Pair;

use super::context::{Grammar, ItemReader, Rule};
use super::packed::PackedLine;
use super::tree::*;
use super::{blocks, explain, layout, music, scoring, written};
use crate::diagnostics::{Diagnostic, FileId, ItemId, Span};
use crate::narrow::Narrow;

/// Where an item stands: between declarations, or within one.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Within {
    /// Between declarations.
    File,
    /// In `piece`.
    Piece,
    /// In `form`.
    Form,
    /// In `harmony`.
    Harmony,
    /// In `dynamics`.
    Dynamics,
    /// In a voice.
    Voice,
    /// In lyrics.
    Lyrics,
    /// In an instrument.
    Instrument,
    /// In an ensemble.
    Ensemble,
    /// In a scoring.
    Scoring,
    /// In a layout.
    Layout,
}

impl Within {
    /// What is called so in findings.
    pub(super) fn word(self) -> &'static str {
        match self {
            Within::File => "file",
            Within::Piece => "piece",
            Within::Form => "form",
            Within::Harmony => "harmony",
            Within::Dynamics => "dynamics block",
            Within::Voice => "voice",
            Within::Lyrics => "lyrics block",
            Within::Instrument => "instrument",
            Within::Ensemble => "ensemble",
            Within::Scoring => "scoring",
            Within::Layout => "layout",
        }
    }

    fn rule(self) -> Rule {
        match self {
            Within::File => Rule::head,
            Within::Piece => Rule::piece_entry,
            Within::Form => Rule::form_entry,
            Within::Harmony => Rule::harmony_entry,
            Within::Dynamics => Rule::dynamics_entry,
            Within::Voice => Rule::voice_entry,
            Within::Lyrics => Rule::lyrics_entry,
            Within::Instrument => Rule::instrument_entry,
            Within::Ensemble => Rule::ensemble_entry,
            Within::Scoring => Rule::scoring_item,
            Within::Layout => Rule::layout_entry,
        }
    }
}

/// What an item is. There are many, and they are kept as long as their file is open: what is large is
/// held at a distance.
#[derive(Clone, PartialEq, Debug)]
pub enum Node {
    /// `use "file"`: a declaration by itself.
    Use(Box<Word>),
    /// A declaration that could not be read: its keyword, where one can be made out.
    Lost(Option<&'static str>),
    /// `piece "Title" {`.
    Piece(Box<Word>),
    /// `form {`: the keyword.
    Form(Span),
    /// `harmony {`: the keyword.
    Harmony(Span),
    /// `dynamics {`: the keyword.
    Dynamics(Span),
    /// `voice name {`.
    Voice(Box<Word>),
    /// `lyrics for voice verse 2 {`.
    Lyrics(Box<Word>, Option<Box<Number>>),
    /// `instrument name like name {`.
    Instrument(Box<Word>, Box<Word>),
    /// `ensemble name extends name {`.
    Ensemble(Box<Word>, Option<Box<Word>>),
    /// `scoring name for ensemble {`.
    Scoring(Box<Word>, Box<Word>),
    /// `layout for scoring {`: the keyword, and the scoring where one is named.
    Layout(Box<Span>, Option<Box<Word>>),
    /// A line of a piece: what, and its text.
    PieceLine(Box<Word>, Box<Word>),
    /// A movement of a piece.
    Movement(Box<MovementTree>),
    /// How movements are numbered.
    Numbering(Box<NumberingTree>),
    /// A line of the form; of one that is broken, what can be read, and what cannot.
    FormLine(Option<Arc<FormLine>>, Option<Box<Arc<[Word]>>>),
    /// A bar of chord symbols.
    HarmonyBar(Arc<HarmonyBar>),
    /// A line of dynamics.
    DynamicsLine(Arc<PackedLine>),
    /// A bar of a voice.
    Bar(Arc<BarTree>),
    /// A bar of syllables.
    LyricsBar(Arc<LyricsBar>),
    /// A line of an instrument.
    InstrumentLine(Box<Spanned<InstrumentLine>>),
    /// A line of an ensemble; one line may name several kinds of players.
    EnsembleLines(Box<[EnsembleLine]>),
    /// `keep name`.
    Keep(Box<[Word]>, bool),
    /// `allow …`.
    Allow(Box<AllowTree>),
    /// A line of a layout.
    LayoutLine(Box<LayoutLine>),
    /// A line that makes players do something; written notes with their bars are one.
    ScoringLine(Arc<ScoringLine>),
    /// A line that could not be read, as it stands.
    Broken(Box<Word>),
    /// The closing brace.
    Close,
    /// A block ends here without its brace; nothing stands here.
    Unclosed,
    /// The end of the file; nothing stands here, but what is before it.
    End,
}

impl Node {
    /// Where the items behind it stand; `None` for one that neither opens nor closes a block.
    pub(super) fn leads_to(&self) -> Option<Within> {
        Some(match self {
            Node::Piece(_) => Within::Piece,
            Node::Form(_) => Within::Form,
            Node::Harmony(_) => Within::Harmony,
            Node::Dynamics(_) => Within::Dynamics,
            Node::Voice(_) => Within::Voice,
            Node::Lyrics(..) => Within::Lyrics,
            Node::Instrument(..) => Within::Instrument,
            Node::Ensemble(..) => Within::Ensemble,
            Node::Scoring(..) => Within::Scoring,
            Node::Layout(..) => Within::Layout,
            Node::Close | Node::Unclosed => Within::File,
            _ => return None,
        })
    }
}

impl Item {
    /// How many bytes of blanks, comments and empty lines stand before it.
    #[must_use]
    pub fn gap(&self) -> usize {
        self.gap as usize
    }

    /// How many bytes it has; blanks and a comment behind it belong to the gap of the next.
    #[must_use]
    pub fn length(&self) -> usize {
        self.length as usize
    }

    /// What is wrong with it.
    #[must_use]
    pub fn findings(&self) -> &[Diagnostic] {
        self.findings.as_deref().unwrap_or_default()
    }

    /// How many bytes it has with the gap before it.
    pub(super) fn room(&self) -> usize {
        self.gap() + self.length()
    }
}

impl Node {
    /// The kind of block that it opens.
    #[must_use]
    pub fn opens(&self) -> Option<Within> {
        self.leads_to().filter(|within| *within != Within::File)
    }
}

/// An item with what stands before it.
#[derive(Clone, PartialEq, Debug)]
pub struct Item {
    /// Its number, which stays while the text is edited elsewhere.
    pub id: ItemId,
    pub(super) gap: u32,
    pub(super) length: u32,
    /// Where it stands.
    pub within: Within,
    /// What it is.
    pub node: Node,
    /// Is some of what is wrong with it only counted?
    pub crowded: bool,
    /// What is wrong with it.
    pub(super) findings: Option<Box<[Diagnostic]>>,
}

// A bar with a whole note has a dozen bytes in the source.
const _: () = assert!(size_of::<Item>() <= 56);

/// Signs that `between` takes, comments left out.
const BLANK: [char; 6] = [' ', '\t', '\u{FEFF}', '\u{A0}', '\n', '\r'];

/// Reads the next item of a text, which begins with the gap before it. What stands behind the
/// item may decide where it ends; what stands before the text decides nothing.
pub(super) fn read(file: FileId, id: ItemId, text: &str, within: Within) -> Item {
    let gap = gap(text);
    let text = &text[gap..];
    let mut cx =
        ItemReader { file, item: id, text, length: text.len(), base: 0, diagnostics: Vec::new() };
    let (length, node) = match (within, text.as_bytes().first()) {
        (Within::File, None) => (0, Node::End),
        (Within::File, Some(_)) => match first_pair(within, text) {
            Some(pair) => {
                cx.length = length(&pair, text);
                (cx.length, head(&mut cx, pair))
            }
            // The grammar takes every text; should it ever not, nothing more is read.
            None => (text.trim_end_matches(BLANK).len(), Node::Lost(None)),
        },
        (_, Some(b'}')) => (1, Node::Close),
        (_, None) => (0, Node::Unclosed),
        _ if begins_declaration(text) => (0, Node::Unclosed),
        _ => match first_pair(within, text) {
            Some(pair) => {
                cx.length = length(&pair, text);
                let node = entry(&mut cx, within, pair);
                (cx.length, node)
            }
            None => (0, Node::Unclosed),
        },
    };
    let (gap, length) = (gap.narrow::<u32>(), length.narrow::<u32>());
    let findings = told(cx.diagnostics);
    Item { id, gap, length, within, node, crowded: false, findings }
}

/// Findings as an item keeps them.
pub(super) fn told(findings: Vec<Diagnostic>) -> Option<Box<[Diagnostic]>> {
    (!findings.is_empty()).then(|| findings.into_boxed_slice())
}

/// How many bytes stand before an item. What is blanks alone, as nearly everywhere, need not be read
/// by the grammar.
pub(super) fn gap(text: &str) -> usize {
    let blanks = text.len() - text.trim_start_matches(BLANK).len();
    match text[blanks..].starts_with("//") {
        true => Grammar::parse(Rule::between, text).map_or(0, |pairs| pairs.as_str().len()),
        false => blanks,
    }
}

/// Does a declaration begin here, though a block is open? No entry of a block does; the grammar
/// says so too, but to refuse a text it counts the lines to the end of the file.
fn begins_declaration(text: &str) -> bool {
    if !text.starts_with(|c: char| c.is_ascii_lowercase()) {
        return false;
    }
    let in_name = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '\'');
    let word = text.split(|c| !in_name(c)).next().unwrap_or_default();
    explain::DECLARATIONS.contains(&word)
}

fn first_pair(within: Within, text: &str) -> Option<Pair<'_, Rule>> {
    first_of(within.rule(), text)
}

/// What a rule reads at the beginning of a text.
pub(super) fn first_of(rule: Rule, text: &str) -> Option<Pair<'_, Rule>> {
    Grammar::parse(rule, text).ok()?.next()
}

/// How long an item is without the blanks and the comment that its optional parts took in.
pub(super) fn length(pair: &Pair<Rule>, text: &str) -> usize {
    let whole = pair.as_span().end();
    let mut last = pair.clone();
    while let Some(inner) = last.clone().into_inner().rev().find(|p| !p.as_str().is_empty()) {
        last = inner;
    }
    // Behind the last token stand signs without a rule of their own, and what is left out.
    let kept = last.as_str().trim_end_matches(BLANK).len();
    let mut end = last.as_span().start() + kept;
    let mut rest = text[end..whole].trim_start_matches(BLANK);
    while let Some(sign) = rest.chars().next().filter(|_| !rest.starts_with("//")) {
        end = whole - rest.len() + sign.len_utf8();
        rest = text[end..whole].trim_start_matches(BLANK);
    }
    end
}

fn head(cx: &mut ItemReader, pair: Pair<Rule>) -> Node {
    let rule = pair.as_rule();
    if rule == Rule::broken_declaration {
        return Node::Lost(explain::declaration(cx, &pair));
    }
    let keyword = pair.clone().into_inner().next().map(|keyword| cx.span(&keyword));
    let keyword = keyword.unwrap_or_else(|| cx.span(&pair));
    let verse = (rule == Rule::lyrics_head)
        .then(|| pair.clone().into_inner().find(|p| p.as_rule() == Rule::number))
        .flatten()
        .map(|number| Box::new(cx.number(&number)));
    let is_word = |p: &Pair<Rule>| matches!(p.as_rule(), Rule::name | Rule::string);
    let mut words = pair.into_inner().filter(is_word).map(|p| match p.as_rule() {
        Rule::string => Box::new(cx.string(&p)),
        _ => Box::new(cx.name(&p)),
    });
    let first = words.next();
    match (rule, first, words.next()) {
        (Rule::form_head, ..) => Node::Form(keyword),
        (Rule::harmony_head, ..) => Node::Harmony(keyword),
        (Rule::dynamics_head, ..) => Node::Dynamics(keyword),
        (Rule::use_line, Some(path), _) => Node::Use(path),
        (Rule::piece_head, Some(title), _) => Node::Piece(title),
        (Rule::voice_head, Some(name), _) => Node::Voice(name),
        (Rule::lyrics_head, Some(name), _) => Node::Lyrics(name, verse),
        (Rule::instrument_head, Some(name), Some(like)) => Node::Instrument(name, like),
        (Rule::ensemble_head, Some(name), extends) => Node::Ensemble(name, extends),
        (Rule::layout_head, scoring, _) => Node::Layout(Box::new(keyword), scoring),
        (Rule::scoring_head, Some(name), Some(ensemble)) => Node::Scoring(name, ensemble),
        _ => Node::Lost(None),
    }
}

fn entry(cx: &mut ItemReader, within: Within, pair: Pair<Rule>) -> Node {
    let (text, span) = (pair.as_str(), cx.span(&pair));
    let node = match pair.as_rule() {
        Rule::broken_line if within == Within::Form => {
            let (line, unread) = blocks::broken_form_line(cx, &pair);
            return Node::FormLine(line.map(Arc::new), Some(Box::new(unread.into())));
        }
        Rule::broken_line if within != Within::Scoring => {
            let (rule, what) = match within {
                Within::Piece => (Rule::piece_line, "this line of the piece"),
                Within::Dynamics => (Rule::dynamics_line, "this line of the dynamics"),
                Within::Instrument => (Rule::instrument_line, "this line of the instrument"),
                Within::Layout => (Rule::layout_line, "this line of the layout"),
                _ => (Rule::players_line, "this line of the ensemble"),
            };
            explain::line(cx, &pair, rule, what);
            None
        }
        Rule::broken_line | Rule::unbarred | Rule::broken_writes | Rule::broken_written => {
            return Node::Broken(Box::new(scoring::broken_line(cx, &pair)));
        }
        Rule::broken_bar if within == Within::Harmony => {
            Some(Node::HarmonyBar(Arc::new(blocks::broken_harmony_bar(cx, &pair))))
        }
        Rule::broken_lyrics => {
            Some(Node::LyricsBar(Arc::new(blocks::broken_lyrics_bar(cx, &pair))))
        }
        Rule::lyrics_bar => Some(Node::LyricsBar(Arc::new(blocks::lyrics_bar(cx, pair)))),
        Rule::broken_bar => Some(Node::Bar(Arc::new(music::broken_bar(cx, &pair)))),
        Rule::piece_line => {
            let line = blocks::piece_line(cx, pair);
            line.map(|(what, text)| Node::PieceLine(Box::new(what), Box::new(text)))
        }
        Rule::movement_line => {
            blocks::movement_line(cx, pair).map(|line| Node::Movement(Box::new(line)))
        }
        Rule::numbering_line => Some(Node::Numbering(Box::new(blocks::numbering_line(cx, &pair)))),
        Rule::form_line => {
            let line = blocks::form_line(cx, pair);
            line.map(|line| Node::FormLine(Some(Arc::new(line)), None))
        }
        Rule::harmony_bar => Some(Node::HarmonyBar(Arc::new(blocks::harmony_bar(cx, pair)))),
        Rule::dynamics_line => {
            blocks::dynamics_line(cx, pair).map(|line| Node::DynamicsLine(Arc::new(line)))
        }
        Rule::instrument_line => {
            blocks::instrument_line(cx, pair).map(|line| Node::InstrumentLine(Box::new(line)))
        }
        Rule::layout_line => {
            layout::layout_line(cx, pair).map(|line| Node::LayoutLine(Box::new(line)))
        }
        Rule::bar => Some(Node::Bar(Arc::new(music::bar(cx, pair)))),
        Rule::keep => {
            let (names, lines) = scoring::keep(cx, pair);
            Some(Node::Keep(names.into(), lines))
        }
        Rule::allow => scoring::allow(cx, pair).map(|allow| Node::Allow(Box::new(allow))),
        Rule::scoring_line => {
            scoring::scoring_line(cx, pair).map(|line| Node::ScoringLine(Arc::new(line)))
        }
        Rule::writes_head => {
            written::writes_line(cx, pair).map(|line| Node::ScoringLine(Arc::new(line)))
        }
        _ => Some(Node::EnsembleLines(scoring::ensemble_lines(cx, pair).into())),
    };
    // Should a builder ever not understand what the grammar read.
    let broken = || Spanned { value: text.trim_end().to_string(), span };
    node.unwrap_or_else(|| Node::Broken(Box::new(broken())))
}
