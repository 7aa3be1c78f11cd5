//! The grammar, and the small tokens that all declarations share.

use pest::iterators::{Pair, Pairs};

use super::tree::*;
use crate::diagnostics::{Diagnostic, FileId, ItemId, Span, is_hidden, without_hidden};
use crate::limits;
use crate::narrow::Narrow;

/// The parser that pest makes of the grammar.
#[derive(pest_derive::Parser)]
#[grammar = "../../grammar/ripieno.pest"]
pub(super) struct Grammar;

/// The code of a block that is not closed.
pub(super) const UNCLOSED: &str = "syntax/unclosed-block";

/// The block of notes behind `writes`, in words.
pub(super) const WRITTEN: &str = "line of written notes";

/// What the builders share: the item that is read, the text from its beginning on, and the findings
/// so far.
pub(super) struct ItemReader<'t> {
    pub(super) file: FileId,
    pub(super) item: ItemId,
    pub(super) text: &'t str,
    /// How many bytes of the text are the item; blanks and a comment behind it are not.
    pub(super) length: usize,
    /// At which byte of the item that begins which the grammar was given: an item of many bars is read
    /// bar by bar, and the places of tokens are counted from the bar.
    pub(super) base: usize,
    pub(super) diagnostics: Vec<Diagnostic>,
}

impl ItemReader<'_> {
    /// The file and the item that is read.
    pub(super) fn of(&self) -> (FileId, ItemId) {
        (self.file, self.item)
    }

    /// The place of some bytes of what the grammar was given.
    pub(super) fn at(&self, start: usize, end: usize) -> Span {
        let place = |at: usize| (self.base + at).narrow::<u32>();
        Span::within(self.file, self.item, place(start), place(end))
    }

    pub(super) fn span(&self, pair: &Pair<Rule>) -> Span {
        let span = pair.as_span();
        // A pair that ends in optional parts takes the blanks before them, and at the end of the item
        // the comment behind it; its place does not: it must not move when the comment does.
        let end = span.start() + span.as_str().trim_end().len();
        let length = self.length.saturating_sub(self.base);
        self.at(span.start(), end.min(length.max(span.start())))
    }

    /// A word as it stands, without blanks behind it.
    pub(super) fn word(&self, pair: &Pair<Rule>) -> Word {
        Spanned { value: pair.as_str().trim_end().to_string(), span: self.span(pair) }
    }

    /// A name that is declared here.
    pub(super) fn name(&mut self, pair: &Pair<Rule>) -> Word {
        let word = self.word(pair);
        self.bound(&word.value, "name", word.span);
        word
    }

    /// Tells of a name or a text that is longer than any may be.
    fn bound(&mut self, text: &str, what: &str, span: Span) {
        let length = text.chars().count();
        if length > limits::WORD {
            let (length, most) = (limits::spaced(length), limits::WORD);
            let message = format!("This {what} is {length} characters long; it may have {most}.");
            let finding = Diagnostic::error("syntax/too-large", span, message);
            self.diagnostics.push(finding.with_help(format!("Write a shorter {what}.")));
        }
    }

    /// The text of a string without its quotes; the place is the whole string.
    /// Characters in it that nobody sees are told and left out.
    pub(super) fn string(&mut self, pair: &Pair<Rule>) -> Word {
        let (text, span) = (pair.as_str().trim_matches('"'), self.span(pair));
        let value = without_hidden(text).into_owned();
        self.bound(&value, "text", span);
        if let Some(hidden) = text.chars().find(|c| is_hidden(*c)) {
            let code = u32::from(hidden);
            self.diagnostics.push(
                Diagnostic::warning(
                    "syntax/hidden-character",
                    span,
                    format!("This text contains an invisible character (U+{code:04X})."),
                )
                .with_text("it is left out")
                .with_help("Remove it, or type the text anew.")
                .with_fix("remove it", span, format!("\"{value}\""), true),
            );
        }
        Spanned { value, span }
    }

    pub(super) fn number(&self, pair: &Pair<Rule>) -> Number {
        Spanned { value: read_number(pair.as_str()), span: self.span(pair) }
    }

    pub(super) fn bar_range(&self, pair: Pair<Rule>) -> BarRange {
        let span = self.span(&pair);
        let mut numbers = pair.into_inner().map(|p| read_number(p.as_str()));
        let first = numbers.next().unwrap_or(0);
        BarRange { first, last: numbers.next().unwrap_or(first), span }
    }

    pub(super) fn bar_list(&self, pair: Pair<Rule>) -> Vec<BarRange> {
        let ranges = pair.into_inner().filter(|p| p.as_rule() == Rule::bar_range);
        ranges.map(|range| self.bar_range(range)).collect()
    }

    pub(super) fn direction_words(&mut self, pairs: Pairs<Rule>) -> Vec<DirectionWord> {
        pairs
            .filter(|p| p.as_rule() == Rule::direction_word)
            .flat_map(Pair::into_inner)
            .map(|p| match p.as_rule() {
                Rule::string => DirectionWord { word: self.string(&p), quoted: true },
                _ => DirectionWord { word: self.word(&p), quoted: false },
            })
            .collect()
    }

    pub(super) fn pitch(&mut self, pair: &Pair<Rule>) -> PitchTree {
        read_pitch(pair.as_str(), self.span(pair))
    }

    /// The end of written notes: says so where the closing brace is missing.
    pub(super) fn written_end(&mut self, pair: &Pair<Rule>, head: Span) {
        if pair.as_rule() == Rule::unclosed {
            let at = pair.as_span().start();
            let of = |span: Span| span.start as usize..span.end as usize;
            if is_stray_sign(self.diagnostics.last(), self.text, of, self.base + at) {
                self.diagnostics.pop();
            }
            let place = self.at(at, at);
            self.diagnostics.push(unclosed(head, place, WRITTEN));
        }
    }
}

/// Is the last finding about a single sign that stands where a closing brace is missing?
pub(super) fn is_stray_sign(
    last: Option<&Diagnostic>,
    text: &str,
    bytes: impl Fn(Span) -> std::ops::Range<usize>,
    end: usize,
) -> bool {
    let Some(last) = last else { return false };
    let range = bytes(last.primary.span);
    let sign = |c: char| !c.is_alphanumeric() && !c.is_whitespace();
    let mut behind = text.get(range.end..end).unwrap_or_default().lines().map(str::trim);
    let stray = text.get(range).unwrap_or_default();
    last.code == "syntax/unexpected"
        && !stray.is_empty()
        && stray.chars().all(sign)
        && behind.all(|line| line.is_empty() || line.starts_with("//"))
}

/// A block that is not closed before `place`.
pub(super) fn unclosed(head: Span, place: Span, what: &str) -> Diagnostic {
    let next = if what == WRITTEN { "line" } else { "declaration" };
    Diagnostic::error(
        UNCLOSED,
        head,
        format!("This {what} is not closed before the next {next} begins."),
    )
    .with_text(format!("the {what} begins here"))
    .with_label(place, "expected `}` before this")
    .with_help("Write `}` on a line of its own after its last line.")
    .with_fix("close the block", place, "}\n", false)
}

/// A whole number, or [`u32::MAX`] for one that does not fit.
pub(super) fn read_number(digits: &str) -> u32 {
    digits.trim_end_matches(':').parse().unwrap_or(u32::MAX)
}

/// `F#4` as it was written.
pub(super) fn read_pitch(text: &str, span: Span) -> PitchTree {
    let digit = text.find(|c: char| c.is_ascii_digit()).unwrap_or(text.len());
    let name = text[..digit].parse().unwrap_or(crate::music::Key::C_MAJOR.tonic);
    PitchTree { name, octave: text[digit..].parse().ok(), span }
}

/// `3/8` as it was written.
pub(super) fn read_fraction(text: &str) -> Fraction {
    let (numerator, denominator) = text.split_once('/').unwrap_or((text, "1"));
    Fraction { numerator: read_number(numerator), denominator: read_number(denominator) }
}

/// `1/4..` as it was written.
pub(super) fn read_value(text: &str) -> ValueTree {
    let fraction = text.trim_end_matches('.');
    ValueTree {
        fraction: read_fraction(fraction),
        dots: (text.len() - fraction.len()).narrow::<u8>(),
    }
}
