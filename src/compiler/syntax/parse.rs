//! The entry of the parser.

use pest::Parser;
use pest::iterators::Pair;

use super::context::{Context, Grammar, Rule};
use super::tree::*;
use super::{blocks, explain, music, scoring};
use crate::diagnostics::{Diagnostic, FileId, Span};

/// The longest source that is read, in bytes: 16 MiB, many times the longest opera.
pub const LARGEST_SOURCE: usize = 16 * 1024 * 1024;

/// Reads a source text into a tree, with everything that is wrong with it.
///
/// Whatever cannot be read costs one bar, one line or one declaration; the rest is in the tree.
#[must_use]
pub fn parse(file: FileId, text: &str) -> (Tree, Vec<Diagnostic>) {
    let mut cx = Context { file, text, diagnostics: Vec::new() };
    let whole = Span::new(file, 0, 0);
    if text.len() > LARGEST_SOURCE {
        cx.diagnostics.push(
            Diagnostic::error(
                "syntax/too-large",
                whole,
                format!("This file is {} MB long; a source may have 16 MB.", text.len() >> 20),
            )
            .with_help("Put each movement into a file of its own and share ensembles by `use`."),
        );
        return (nothing(), cx.diagnostics);
    }
    if text.trim_matches(['\u{FEFF}', ' ', '\t', '\r', '\n']).is_empty() {
        cx.diagnostics.push(
            Diagnostic::error("syntax/empty", whole, "This file is empty.").with_help(
                "A source begins with `piece \"Title\" { … }`; `ripieno new` makes one.",
            ),
        );
        return (nothing(), cx.diagnostics);
    }
    let mut tree = Tree::default();
    match Grammar::parse(Rule::file, text) {
        Ok(mut pairs) => {
            for pair in pairs.next().into_iter().flat_map(Pair::into_inner) {
                if let Some(declaration) = declaration(&mut cx, pair) {
                    tree.declarations.push(declaration);
                }
            }
        }
        // The grammar takes every text; should it ever not, the place is said all the same.
        Err(error) => cx.diagnostics.push(explain::stopped(file, 0, text, &error, "the file")),
    }
    (tree, cx.diagnostics)
}

/// The tree of a file of which nothing was read: what it lacks is not worth telling.
fn nothing() -> Tree {
    Tree { declarations: vec![Declaration::Lost(None)] }
}

fn declaration(cx: &mut Context, pair: Pair<Rule>) -> Option<Declaration> {
    Some(match pair.as_rule() {
        Rule::use_line => {
            let path = pair.into_inner().find(|p| p.as_rule() == Rule::string)?;
            Declaration::Use(cx.string(&path))
        }
        Rule::piece => Declaration::Piece(blocks::piece(cx, pair)?),
        Rule::form => Declaration::Form(blocks::form(cx, pair)),
        Rule::harmony => Declaration::Harmony(blocks::harmony(cx, pair)),
        Rule::dynamics => Declaration::Dynamics(blocks::dynamics(cx, pair)),
        Rule::voice => Declaration::Voice(music::voice(cx, pair)?),
        Rule::ensemble => Declaration::Ensemble(scoring::ensemble(cx, pair)?),
        Rule::scoring => Declaration::Scoring(scoring::scoring(cx, pair)?),
        Rule::broken_declaration => Declaration::Lost(explain::declaration(cx, &pair)),
        _ => return None,
    })
}
