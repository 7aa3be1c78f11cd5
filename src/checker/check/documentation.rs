//! The documentation of the rules, read out of the leading comment of each rule's own file.

use std::fmt::Write as _;

use super::{Limit, RULES, Rule, limit_of};
use crate::diagnostics::{CODES, Code, example};

/// What a rule's leading comment says, section by section.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Documentation {
    /// One sentence.
    pub title: String,
    /// What it finds.
    pub finds: String,
    /// Why it matters.
    pub matters: String,
    /// A small source in which it finds something.
    pub example: String,
    /// The same source, mended.
    pub mended: String,
    /// Where the figures come from: author, title, year; "common practice"; "our heuristic".
    pub source: String,
}

/// Reads the documentation of a rule.
#[must_use]
pub fn documentation(rule: &Rule) -> Documentation {
    let mut read = Documentation::default();
    let mut section = String::new();
    let comment = rule.text.lines().take_while(|line| line.starts_with("//!"));
    for line in comment {
        let line = line.trim_start_matches("//!");
        let line = line.strip_prefix(' ').unwrap_or(line);
        if let Some(heading) = line.strip_prefix("# ") {
            section = heading.to_string();
            continue;
        }
        let text = match section.as_str() {
            "" => &mut read.title,
            "What it finds" => &mut read.finds,
            "Why it matters" => &mut read.matters,
            "Example" => &mut read.example,
            "Fixed" => &mut read.mended,
            _ => &mut read.source,
        };
        if !line.starts_with("```") {
            text.push_str(line);
            text.push('\n');
        }
    }
    for text in [
        &mut read.title,
        &mut read.finds,
        &mut read.matters,
        &mut read.example,
        &mut read.mended,
        &mut read.source,
    ] {
        *text = text.trim().to_string();
    }
    read
}

/// All about one rule, as `explain` prints it.
#[must_use]
pub fn explain(rule: &Rule) -> String {
    let read = documentation(rule);
    let head = format!("{} ({})", rule.code, rule.severity.word());
    let limit = limit_of(rule).map(Limit::in_words).unwrap_or_default();
    let sections = [
        ("What it finds", &*read.finds),
        ("Why it matters", &read.matters),
        ("Limit", &limit),
        ("Example", &read.example),
        ("Fixed", &read.mended),
        ("Source", &read.source),
    ];
    laid_out(&head, &read.title, &sections)
}

/// All about one finding of the stages before the checker, as `explain` prints it.
#[must_use]
pub fn explain_code(code: &Code) -> String {
    let example = example(code.code).unwrap_or_default();
    let sections =
        [("How to fix it", code.mend), ("Example", &example.fails), ("Fixed", &example.mended)];
    laid_out(code.code, code.finds, &sections)
}

/// A page with its sections; those without a text are left out.
fn laid_out(head: &str, title: &str, sections: &[(&str, &str)]) -> String {
    let mut out = format!("{head}\n\n{title}\n");
    for (heading, text) in sections.iter().filter(|(_, text)| !text.trim().is_empty()) {
        // Writing into a String cannot fail.
        let _ = write!(out, "\n{heading}\n{}\n", indented(text.trim_end()));
    }
    out
}

fn indented(text: &str) -> String {
    let lines =
        text.lines().map(|line| if line.is_empty() { String::new() } else { format!("  {line}") });
    lines.collect::<Vec<_>>().join("\n")
}

/// The page about all rules and findings, `grammar/rules.md`.
#[must_use]
pub fn page() -> String {
    let mut out = String::from(
        "# The rules of the checker\n\n\
         This page is written by the program from the comment at the head of each rule's file; \
         change it there. Its second part, on [the findings of the stages before the \
         checker](#findings-of-the-stages-before-the-checker), is written from \
         `src/compiler/diagnostics/codes.rs` and the pages beside it.\n\n\
         An *error* cannot be played, a *warning* would stop a rehearsal, *advice* is worth \
         knowing. `allow RULE on PLAYER bars N..M \"reason\"` in a scoring silences a finding; \
         the name of a family (`allow compass …`) covers all its rules.\n\n\
         | rule | severity | in short |\n|---|---|---|\n",
    );
    for rule in RULES {
        let anchor = rule.code.replace('/', "");
        let _ = writeln!(
            out,
            "| [`{}`](#{anchor}) | {} | {} |",
            rule.code,
            rule.severity.word(),
            rule.summary()
        );
    }
    for rule in RULES {
        let read = documentation(rule);
        let _ = write!(
            out,
            "\n## {}\n\n*{}.* {}\n\n**What it finds.** {}\n\n**Why it matters.** {}\n\n{}\
             **Example.**\n\n```ripieno\n{}\n```\n\n**Fixed.**\n\n```ripieno\n{}\n```\n\n\
             **Source.** {}\n",
            rule.code,
            rule.severity.word(),
            read.title,
            read.finds,
            read.matters,
            limit_of(rule).map_or(String::new(), |l| format!("**Limit.** {}\n\n", l.in_words())),
            read.example,
            read.mended,
            read.source
        );
    }
    codes(&mut out);
    out
}

fn codes(out: &mut String) {
    out.push_str(
        "\n# Findings of the stages before the checker\n\n\
         These findings come from the stages before the checker: they are about what could not be \
         read or linked, and about lines that could not be worked out. The examples leave out what \
         has nothing to do with them (`piece`, `form`).\n",
    );
    for code in CODES {
        let _ = write!(
            out,
            "\n## {}\n\n{}\n\n**How to fix it.** {}\n",
            code.code, code.finds, code.mend
        );
        let Some(example) = example(code.code).filter(|example| !example.fails.is_empty()) else {
            continue;
        };
        let _ = write!(
            out,
            "\n**Example.**\n\n```ripieno\n{}\n```\n\n**Fixed.**\n\n```ripieno\n{}\n```\n",
            example.fails.trim_end(),
            example.mended.trim_end()
        );
    }
}
