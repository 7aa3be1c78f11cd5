//! What need not be made again: what a scoring gave the last time that the same was asked for.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::manifest::{Entry, Inputs, hexadecimal};
use ripieno_checker::check;
use ripieno_compiler::diagnostics::{CODES, Diagnostic, FileId, Sources, Span};
use ripieno_compiler::narrow::Narrow;
use ripieno_engrave::overrides::Found;

/// What a scoring was built into, and what was told of it. It stands in the manifest of the piece
/// under the digest of what was asked for, [`Asked`].
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(crate) struct Made {
    /// Its files, by their paths below the folder of the piece, with `/`.
    files: Vec<String>,
    /// The digest of what stood in them, and of what they were made from.
    digest: String,
    /// What was told of its pages.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(crate) told: String,
    /// What was found on its pages.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    found: Option<KeptFound>,
}

/// The digest of all that decides what a scoring is built into: the program, its sources, and how its
/// files are to be.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Asked(pub(crate) String);

impl Asked {
    /// The digest of what is asked of a scoring: `how` are the options in words.
    pub(crate) fn of(scoring: &str, inputs: &Inputs, texts: Texts, how: &str) -> Asked {
        let mut hash = Sha256::new();
        let lengths = texts.files.iter().map(|file| texts.sources.get(*file).text.len());
        // Places are counted in the texts as they are, with their ends of lines.
        let lengths = lengths.map(|length| length.to_string()).collect::<Vec<_>>().join(" ");
        for part in [env!("RIPIENO_PROGRAM"), &inputs.0, scoring, how, &lengths] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
        Asked(hexadecimal(&hash.finalize()))
    }
}

/// The texts of a piece, its own first: places are kept by their numbers here.
#[derive(Clone, Copy)]
pub(crate) struct Texts<'a> {
    pub(crate) sources: &'a Sources,
    pub(crate) files: &'a [FileId],
}

impl Texts<'_> {
    /// A place as it is kept: counted from the beginning of its text.
    fn kept(self, span: Span) -> Span {
        let number = self.files.iter().position(|file| *file == span.file);
        let range = self.sources.range(span);
        let (start, end) = (range.start.narrow::<u32>(), range.end.narrow::<u32>());
        Span::new(FileId(number.unwrap_or(usize::MAX).narrow::<u32>()), start, end)
    }

    /// The place again.
    fn place(self, kept: Span) -> Span {
        Span { file: self.files.get(kept.file.0 as usize).copied().unwrap_or_default(), ..kept }
    }
}

impl Made {
    /// What is to be known of a scoring whose files are ready.
    pub(crate) fn new(
        files: Vec<String>,
        entries: &BTreeMap<String, Entry>,
        told: &str,
        found: &Found,
        texts: Texts,
    ) -> Made {
        let digest = digest(&files, entries).unwrap_or_default();
        let nothing = found.findings.is_empty() && found.idle.is_empty();
        let nothing = nothing && found.effective.is_empty();
        let found = (!nothing).then(|| KeptFound::of(found, texts));
        Made { files, digest, told: told.to_owned(), found }
    }

    /// Are its files still listed as they were made?
    pub(crate) fn holds(&self, entries: &BTreeMap<String, Entry>) -> bool {
        digest(&self.files, entries).is_some_and(|digest| digest == self.digest)
    }

    /// Its files, by their paths below the folder of the piece.
    pub(crate) fn files(&self) -> &[String] {
        &self.files
    }

    /// What was found on its pages; `None` where that cannot be told again.
    pub(crate) fn found(&self, texts: Texts) -> Option<Found> {
        self.found.as_ref().map_or_else(|| Some(Found::default()), |found| found.again(texts))
    }
}

/// The digest of what is listed of some files; `None` where one is not listed.
fn digest(files: &[String], entries: &BTreeMap<String, Entry>) -> Option<String> {
    let mut hash = Sha256::new();
    for path in files {
        let entry = entries.get(path)?;
        for part in [path, &entry.sha256, &entry.inputs] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
    }
    Some(hexadecimal(&hash.finalize()))
}

/// What was found on pages, with its places as they are kept.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
struct KeptFound {
    findings: Vec<KeptFinding>,
    idle: Vec<KeptFinding>,
    effective: Vec<Span>,
}

impl KeptFound {
    fn of(found: &Found, texts: Texts) -> KeptFound {
        let kept = |findings: &[Diagnostic]| {
            findings.iter().map(|finding| KeptFinding::of(finding, texts)).collect()
        };
        let mut effective: Vec<Span> =
            found.effective.iter().map(|span| texts.kept(*span)).collect();
        effective.sort_unstable();
        KeptFound { findings: kept(&found.findings), idle: kept(&found.idle), effective }
    }

    fn again(&self, texts: Texts) -> Option<Found> {
        let again = |kept: &[KeptFinding]| -> Option<Vec<Diagnostic>> {
            kept.iter().map(|finding| finding.again(texts)).collect()
        };
        Some(Found {
            findings: again(&self.findings)?,
            idle: again(&self.idle)?,
            effective: self.effective.iter().map(|span| texts.place(*span)).collect(),
        })
    }
}

/// A finding as it is kept, and the name of its rule.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
struct KeptFinding {
    code: String,
    #[serde(flatten)]
    finding: Diagnostic,
}

impl KeptFinding {
    fn of(finding: &Diagnostic, texts: Texts) -> KeptFinding {
        let kept = finding.clone().with_places(|span| texts.kept(span));
        KeptFinding { code: finding.code.to_owned(), finding: kept }
    }

    fn again(&self, texts: Texts) -> Option<Diagnostic> {
        let of_rule = check::find(&self.code).map(|rule| rule.code);
        let of_stage = || CODES.iter().find(|code| code.code == self.code).map(|code| code.code);
        let code = of_rule.or_else(of_stage)?;
        let finding = Diagnostic { code, ..self.finding.clone() };
        Some(finding.with_places(|span| texts.place(span)))
    }
}
