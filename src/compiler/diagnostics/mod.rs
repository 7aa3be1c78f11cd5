//! Findings and the three ways to show them.
//!
//! Every stage reports what it finds as a [`Diagnostic`]. [`rich`] shows it in full to people,
//! [`short`] in one line for editors and logs, [`json`] as data for other programs.
use crate::narrow::Narrow;

mod bars;
mod codes;
mod crowd;
mod examples;
mod hidden;
pub mod json;
mod other_words;
mod positions;
pub mod rich;
pub mod short;
mod source;
mod suggest;
#[cfg(test)]
mod testing;

pub use bars::BarNumbers;
pub use codes::{CODES, Code};
pub use crowd::{Crowd, thin_out};
pub use examples::{Example, example, exemplified};
pub use hidden::{harmless, is_hidden, without_hidden};
pub use other_words::{german_key, instead_of};
pub use source::{FileId, ItemId, Source, Sources, Span};
pub use suggest::{did_you_mean, nearest};

/// How bad a finding is.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; nothing need change.
    Advice,
    /// A rehearsal would stop here.
    Warning,
    /// Cannot be understood, or cannot be played.
    Error,
}

impl Severity {
    /// The severity in a word, as it is printed.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Severity::Advice => "advice",
            Severity::Warning => "warning",
            Severity::Error => "error",
        }
    }
}

/// A place in the source with a few words about it.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Label {
    /// The place.
    pub span: Span,
    /// What there is to say of it.
    pub text: String,
}

/// One replacement of a piece of source text.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Edit {
    /// The text to replace (empty: insert here).
    pub span: Span,
    /// What to put there.
    pub text: String,
}

/// A change of the source that mends a finding.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Fix {
    /// What the change does, as an order: "write `plays`".
    pub title: String,
    /// The replacements; they do not overlap.
    pub edits: Vec<Edit>,
    /// What care it asks of whoever applies it.
    pub care: Care,
    /// The bars in which it lets the finding stand; empty where it mends the finding.
    pub bars: Vec<BarNumbers>,
}

/// What care a change asks of whoever applies it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Care {
    /// Safe: it cannot change the music, and may be applied automatically.
    Unseen,
    /// It changes the music, or guesses what is meant: a person must look at it.
    Look,
    /// It changes nothing that sounds, but says why something stays: a person must write the reason.
    Reason,
}

/// One finding: one cause, however many notes it touches.
#[derive(Clone, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize)]
pub struct Diagnostic {
    /// Name of the rule in words: `compass/beyond-instrument`. Whoever keeps a finding as data keeps
    /// it apart, since it is read back from the names that there are.
    #[serde(skip)]
    pub code: &'static str,
    /// How bad it is.
    pub severity: Severity,
    /// What is the matter, in a whole sentence.
    pub message: String,
    /// Where it is.
    pub primary: Label,
    /// Further places that belong to it: the scoring line, the ensemble line.
    pub labels: Vec<Label>,
    /// What to do about it.
    pub help: Option<String>,
    /// Changes that mend it, the best first.
    pub fixes: Vec<Fix>,
    /// The bars that it touches.
    pub bars: Option<BarNumbers>,
    /// The player it is about: `oboe.1`.
    pub player: Option<String>,
    /// The scoring in which it was found, if it is about one.
    pub scoring: Option<String>,
    /// Other scorings in which it holds too, in the order of the source.
    pub also_in: Vec<String>,
}

impl Diagnostic {
    /// A finding at a place; add to it with the `with_…` methods.
    #[must_use]
    pub fn new(
        severity: Severity,
        code: &'static str,
        span: Span,
        message: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic {
            code,
            severity,
            message: message.into(),
            primary: Label { span, text: String::new() },
            labels: Vec::new(),
            help: None,
            fixes: Vec::new(),
            bars: None,
            player: None,
            scoring: None,
            also_in: Vec::new(),
        }
    }

    /// An error at a place.
    #[must_use]
    pub fn error(code: &'static str, span: Span, message: impl Into<String>) -> Diagnostic {
        Diagnostic::new(Severity::Error, code, span, message)
    }

    /// A warning at a place.
    #[must_use]
    pub fn warning(code: &'static str, span: Span, message: impl Into<String>) -> Diagnostic {
        Diagnostic::new(Severity::Warning, code, span, message)
    }

    /// A piece of advice at a place.
    #[must_use]
    pub fn advice(code: &'static str, span: Span, message: impl Into<String>) -> Diagnostic {
        Diagnostic::new(Severity::Advice, code, span, message)
    }

    /// Something that is said a second time where it holds once.
    #[must_use]
    pub(crate) fn twice(what: &str, second: Span, first: Span) -> Diagnostic {
        Diagnostic::error("names/twice", second, format!("There is a second {what}."))
            .with_label(first, "the first is here")
            .with_help("Only one of them can hold; remove the other.")
            .with_fix("remove this one", second, "", false)
    }

    /// The same finding with all that it says told otherwise.
    #[must_use]
    pub fn said_with(&self, say: impl Fn(&str) -> String) -> Diagnostic {
        let mut said = self.clone();
        said.message = say(&said.message);
        said.help = said.help.as_deref().map(&say);
        for label in std::iter::once(&mut said.primary).chain(&mut said.labels) {
            label.text = say(&label.text);
        }
        for fix in &mut said.fixes {
            fix.title = say(&fix.title);
        }
        said
    }

    /// Words at the primary place.
    #[must_use]
    pub fn with_text(mut self, text: impl Into<String>) -> Diagnostic {
        self.primary.text = text.into();
        self
    }

    /// A further place.
    #[must_use]
    pub fn with_label(mut self, span: Span, text: impl Into<String>) -> Diagnostic {
        // Most findings have one, and a list would begin with room for four.
        self.labels.reserve_exact(1);
        self.labels.push(Label { span, text: text.into() });
        self
    }

    /// What to do.
    #[must_use]
    pub fn with_help(mut self, help: impl Into<String>) -> Diagnostic {
        self.help = Some(help.into());
        self
    }

    /// A change that mends it by one replacement.
    #[must_use]
    pub fn with_fix(
        mut self,
        title: impl Into<String>,
        span: Span,
        text: impl Into<String>,
        safe: bool,
    ) -> Diagnostic {
        let edits = vec![Edit { span, text: text.into() }];
        let care = if safe { Care::Unseen } else { Care::Look };
        self.fixes.reserve_exact(1);
        self.fixes.push(Fix { title: title.into(), edits, care, bars: Vec::new() });
        self
    }

    /// A line put in at a place that lets the finding stand in some bars, with room for the reason.
    #[must_use]
    pub fn with_reason(
        mut self,
        title: impl Into<String>,
        span: Span,
        text: impl Into<String>,
        bars: &[BarNumbers],
    ) -> Diagnostic {
        let edits = vec![Edit { span, text: text.into() }];
        let bars = bars.to_vec();
        self.fixes.push(Fix { title: title.into(), edits, care: Care::Reason, bars });
        self
    }

    /// The bars that it touches.
    #[must_use]
    pub fn with_bars(mut self, first: i32, last: i32) -> Diagnostic {
        self.bars = Some(BarNumbers::new(first, last));
        self
    }

    /// The other scorings in a sentence: "Also in scorings b and c."; `None` where there is none.
    #[must_use]
    pub fn also_found(&self) -> Option<String> {
        match &self.also_in[..] {
            [] => None,
            [one] => Some(format!("Also in scoring {one}.")),
            [first @ .., last] => {
                Some(format!("Also in scorings {} and {last}.", first.join(", ")))
            }
        }
    }

    /// The same with all its places counted from the beginning of their texts, as they stand now.
    #[must_use]
    pub fn placed(self, sources: &Sources) -> Diagnostic {
        self.with_places(|span| {
            let range = sources.range(span);
            Span::new(span.file, range.start.narrow::<u32>(), range.end.narrow::<u32>())
        })
    }

    /// All places that it names, the primary one first.
    pub fn places(&self) -> impl Iterator<Item = Span> {
        let labels = std::iter::once(&self.primary).chain(&self.labels).map(|label| label.span);
        labels.chain(self.fixes.iter().flat_map(|fix| &fix.edits).map(|edit| edit.span))
    }

    /// The same with another place for each of its places.
    #[must_use]
    pub fn with_places(mut self, place: impl Fn(Span) -> Span) -> Diagnostic {
        let labels = self.labels.iter_mut().map(|label| &mut label.span);
        let edits = self.fixes.iter_mut().flat_map(|fix| &mut fix.edits).map(|edit| &mut edit.span);
        for span in std::iter::once(&mut self.primary.span).chain(labels).chain(edits) {
            *span = place(*span);
        }
        self
    }

    /// The player it is about.
    #[must_use]
    pub fn with_player(mut self, player: impl Into<String>) -> Diagnostic {
        self.player = Some(player.into());
        self
    }
}
