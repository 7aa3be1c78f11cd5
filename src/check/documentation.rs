//! The documentation of the rules, read out of the leading comment of each rule's own file.

use std::fmt::Write as _;

use super::{RULES, Rule};

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
            "Mended" => &mut read.mended,
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
    let mut out = String::new();
    // Writing into a String cannot fail.
    let _ = writeln!(out, "{} ({})\n", rule.code, rule.severity.word());
    let _ = writeln!(out, "{}\n", read.title);
    for (heading, text) in [("What it finds", &read.finds), ("Why it matters", &read.matters)] {
        let _ = writeln!(out, "{heading}\n{}\n", indented(text));
    }
    for (heading, text) in [("Example", &read.example), ("Mended", &read.mended)] {
        let _ = writeln!(out, "{heading}\n{}\n", indented(text));
    }
    let _ = writeln!(out, "Source\n{}", indented(&read.source));
    out
}

fn indented(text: &str) -> String {
    let lines =
        text.lines().map(|line| if line.is_empty() { String::new() } else { format!("  {line}") });
    lines.collect::<Vec<_>>().join("\n")
}

/// The page about all rules, `grammar/rules.md`.
#[must_use]
pub fn page() -> String {
    let mut out = String::from(
        "# The rules of the checker\n\n\
         This page is written by the program from the comment at the head of each rule's file; \
         change it there.\n\n\
         An *error* cannot be played, a *warning* would stop a rehearsal, *advice* is worth \
         knowing. `allow RULE on PLAYER bars N..M \"reason\"` in a scoring silences a finding; \
         the name of a family (`allow compass …`) stands for all its rules.\n\n\
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
            "\n## {}\n\n*{}.* {}\n\n**What it finds.** {}\n\n**Why it matters.** {}\n\n\
             **Example.**\n\n```ripieno\n{}\n```\n\n**Mended.**\n\n```ripieno\n{}\n```\n\n\
             **Source.** {}\n",
            rule.code,
            rule.severity.word(),
            read.title,
            read.finds,
            read.matters,
            read.example,
            read.mended,
            read.source
        );
    }
    out
}
