//! Sources changed by choices: fixes that may be applied unseen, sessions, and the language server.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use ripieno::check::{self, Options};
use ripieno::diagnostics::{Care, Diagnostic, Fix, Severity, Sources};
use ripieno::lsp::{Host, serve};
use ripieno::resolve::{self, LoadError};
use ripieno::session::Session;

use lsp_server::{Connection, Message, Notification, Request, RequestId};
use serde_json::{Value, json};

use super::choices::Choices;
use super::compiling::Forces;
use super::small::SMALL;

/// The sources and findings of a fresh run.
fn fresh(text: &str) -> (Sources, Vec<Diagnostic>) {
    let mut sources = Sources::new();
    let file = sources.add("a.ripieno", text);
    let (piece, found) = resolve::resolve(&mut sources, file, &mut Forces);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    let found = check::report(&piece, found, &scorings, &Options::default(), &sources);
    (sources, found)
}

fn errors(findings: &[Diagnostic]) -> usize {
    findings.iter().filter(|finding| finding.severity == Severity::Error).count()
}

/// The text of the first file after a fix.
fn mended(sources: &Sources, fix: &Fix) -> Option<String> {
    let mut edits = Vec::new();
    for edit in &fix.edits {
        let source = sources.find(edit.span.file).filter(|source| source.name == "a.ripieno")?;
        edits.push((source.range(edit.span), edit.text.as_str()));
    }
    edits.sort_by_key(|(range, _)| std::cmp::Reverse(range.start));
    let mut text = sources.iter().next()?.text.clone();
    for (range, with) in edits {
        text.replace_range(range, with);
    }
    Some(text)
}

/// No fix that may be applied unseen makes a source worse: there are no more errors than before, and
/// what it mends is gone. Gives back how many were tried.
pub fn assert_fixes_make_nothing_worse(text: &str, most: usize) -> usize {
    let (sources, before) = fresh(text);
    let unseen = before.iter().flat_map(|finding| {
        let unseen = finding.fixes.iter().filter(|fix| fix.care == Care::Unseen);
        unseen.map(move |fix| (finding, fix))
    });
    let mut tried = 0;
    for (finding, fix) in unseen.take(most) {
        let Some(text_after) = mended(&sources, fix) else { continue };
        tried += 1;
        let (_, after) = fresh(&text_after);
        let same = |findings: &[Diagnostic]| {
            findings.iter().filter(|other| other.code == finding.code).count()
        };
        assert!(
            errors(&after) <= errors(&before),
            "{} errors became {}: {fix:?} of {}: {}\n{:#?}\n--- before\n{text}\n--- after\n{text_after}",
            errors(&before),
            errors(&after),
            finding.code,
            finding.message,
            after
                .iter()
                .filter(|f| !before.iter().any(|b| b.message == f.message))
                .map(|f| (f.code, &f.message))
                .collect::<Vec<_>>(),
        );
        assert!(
            same(&after) <= same(&before) && text_after != text,
            "nothing is mended: {fix:?} of {}: {}\n--- before\n{text}\n--- after\n{text_after}",
            finding.code,
            finding.message
        );
    }
    tried
}

/// What may be typed.
fn typed(choices: &mut Choices, text: &str) -> String {
    match choices.below(4) {
        0 => String::new(),
        1 => choices.pick(super::pieces::PIECES).to_string(),
        2 => format!(" {} ", choices.pick(super::pieces::PIECES)),
        _ => {
            let from = floor(text, choices.place(text.len()));
            text[from..floor(text, from + choices.below(256))].to_string()
        }
    }
}

fn floor(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

/// A small source after changes.
pub fn changed_small(choices: &mut Choices) -> String {
    let mut text = choices.pick(&SMALL).to_string();
    while !choices.are_over() {
        let start = floor(&text, choices.place(text.len()));
        let end = floor(&text, start + choices.stretch()).max(start);
        let with = typed(choices, &text);
        text.replace_range(start..end, &with);
    }
    text
}

/// After any edits the findings of a session are those of a fresh run.
pub fn assert_session_agrees(choices: &mut Choices) {
    let mut session = Session::new(Forces);
    let file = session.open("a.ripieno", choices.pick(&SMALL));
    let placed = |findings: &[Diagnostic], sources: &Sources| -> Vec<Diagnostic> {
        findings.iter().map(|finding| finding.clone().placed(sources)).collect()
    };
    while !choices.are_over() {
        let text = session.document(file).text().to_string();
        let start = choices.place(text.len());
        let end = start + choices.stretch();
        let with = typed(choices, &text);
        session.edit(file, start..end, &with);
        if choices.one_in(3) {
            continue;
        }
        let kept = session.findings(file);
        let kept = placed(&kept, session.sources());
        let text = session.document(file).text().to_string();
        let (sources, found) = fresh(&text);
        assert_eq!(kept, placed(&found, &sources), "in\n{text}");
    }
}

/// A machine with one more file than is open.
struct Shelf;

impl Host for Shelf {
    fn read(&self, file: &Path) -> Result<String, LoadError> {
        match file.file_name().and_then(|name| name.to_str()) {
            Some("forces.ripieno") => Ok(super::compiling::FORCES.to_string()),
            _ => Err(LoadError::NotFound),
        }
    }

    fn real(&self, file: &Path) -> Result<PathBuf, LoadError> {
        Ok(file.to_path_buf())
    }

    fn sources_below(&self, folder: &Path) -> Vec<PathBuf> {
        vec![folder.join("forces.ripieno")]
    }

    fn page(&self, _: &str, _: &str) -> Option<PathBuf> {
        None
    }

    fn build(&self, _: &Path, _: &str) -> Result<String, String> {
        Ok("nothing".into())
    }
}

/// Requests about a place, and what more they want.
const REQUESTS: [(&str, &str); 20] = [
    ("hover", ""),
    ("completion", ""),
    ("definition", ""),
    ("references", r#"{"context":{"includeDeclaration":true}}"#),
    ("documentHighlight", ""),
    ("prepareRename", ""),
    ("rename", r#"{"newName":"weir"}"#),
    ("signatureHelp", ""),
    ("prepareCallHierarchy", ""),
    ("documentSymbol", ""),
    ("foldingRange", ""),
    ("codeLens", ""),
    ("semanticTokens/full", ""),
    ("formatting", r#"{"options":{"tabSize":2,"insertSpaces":true}}"#),
    ("onTypeFormatting", r#"{"ch":"|","options":{"tabSize":2,"insertSpaces":true}}"#),
    ("inlayHint", "range"),
    ("rangeFormatting", "range"),
    ("codeAction", "range"),
    ("selectionRange", "positions"),
    ("documentLink", ""),
];

/// Whatever an editor sends, every request gets an answer, none that the compiler failed, and the
/// server leaves as it is told.
pub fn assert_server_answers(choices: &mut Choices) {
    let uri = "file:///weir/a.ripieno";
    let (client, server) = Connection::memory();
    let mut asked = BTreeMap::new();
    let mut version = 1;
    let ask = |asked: &mut BTreeMap<RequestId, String>, method: &str, params: Value| {
        let id = RequestId::from(i32::try_from(asked.len()).unwrap_or(i32::MAX));
        asked.insert(id.clone(), method.to_string());
        let _ = client.sender.send(Request { id, method: method.into(), params }.into());
    };
    let tell = |method: &str, params: Value| {
        let _ = client.sender.send(Notification { method: method.into(), params }.into());
    };
    let capabilities = match choices.below(3) {
        0 => json!({}),
        1 => json!({ "general": { "positionEncodings": ["utf-8"] } }),
        _ => json!({ "textDocument": { "hover": { "contentFormat": ["markdown"] } } }),
    };
    ask(
        &mut asked,
        "initialize",
        json!({ "processId": null, "rootUri": null, "capabilities": capabilities }),
    );
    tell("initialized", json!({}));
    let begun = choices.pick(&SMALL);
    let text = json!({ "uri": uri, "languageId": "ripieno", "version": 1, "text": begun });
    tell("textDocument/didOpen", json!({ "textDocument": text }));
    while !choices.are_over() && asked.len() < 40 {
        let position = |choices: &mut Choices| json!({ "line": choices.below(32), "character": choices.below(64) });
        let range =
            |choices: &mut Choices| json!({ "start": position(choices), "end": position(choices) });
        if choices.one_in(2) {
            version += 1;
            let with = typed(choices, begun);
            let change = match choices.below(8) {
                0 => json!({ "text": with }),
                _ => json!({ "range": range(choices), "text": with }),
            };
            tell(
                "textDocument/didChange",
                json!({ "textDocument": { "uri": uri, "version": version }, "contentChanges": [change] }),
            );
            continue;
        }
        let (method, more) = choices.pick(&REQUESTS);
        let mut params = json!({ "textDocument": { "uri": uri }, "position": position(choices) });
        match more {
            "" => {}
            "range" => {
                params["range"] = range(choices);
                params["context"] = json!({ "diagnostics": [] });
                params["options"] = json!({ "tabSize": 2, "insertSpaces": true });
            }
            "positions" => params["positions"] = json!([position(choices)]),
            more => {
                let more: Value = serde_json::from_str(more).unwrap_or_default();
                for (name, value) in more.as_object().into_iter().flatten() {
                    params[name] = value.clone();
                }
            }
        }
        ask(&mut asked, &format!("textDocument/{method}"), params);
    }
    ask(&mut asked, "shutdown", Value::Null);
    tell("exit", Value::Null);
    assert!(serve(&server, Arc::new(Shelf)), "the server does not leave as it is told");
    drop(server);
    for message in &client.receiver {
        let Message::Response(response) = message else { continue };
        let method = asked.remove(&response.id);
        if let Err(error) = response.response_result {
            assert_ne!(error.message, "the compiler failed", "{method:?}");
        }
    }
    assert!(asked.is_empty(), "without an answer: {asked:?}");
}
