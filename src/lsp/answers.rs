//! Requests: positions become bytes, data become what the protocol calls them.

use std::collections::HashMap;

use gen_lsp_types as lsp;
use lsp_server::{ErrorCode, RequestId};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::capabilities::{EXPLAIN, FIX_ALL, SHOW_BAR};
use super::server::Server;
use super::workspace::Place;
use super::{diagnostics, fixes, show_bar};

/// A value to answer with, `None` if somebody else answers, or why there is none.
pub(super) type Answer = Result<Option<Value>, (ErrorCode, String)>;

fn read<T: DeserializeOwned>(params: Value) -> Result<T, (ErrorCode, String)> {
    serde_json::from_value(params).map_err(|error| (ErrorCode::InvalidParams, error.to_string()))
}

fn give(value: impl Serialize) -> Answer {
    serde_json::to_value(value)
        .map(Some)
        .map_err(|error| (ErrorCode::InternalError, error.to_string()))
}

impl Server<'_> {
    /// Answers a request.
    pub(super) fn respond(&mut self, id: &RequestId, method: &str, params: Value) -> Answer {
        match method {
            "textDocument/codeAction" => give(self.code_actions(read(params)?)),
            "workspace/executeCommand" => self.execute(id, read(params)?),
            _ => Err((ErrorCode::MethodNotFound, format!("`{method}` is not offered"))),
        }
    }

    fn code_actions(&mut self, asked: lsp::CodeActionParams) -> Option<Vec<lsp::CodeAction>> {
        let file = self.workspace.file(&asked.text_document.uri)?;
        let root = self.workspace.root_of(file);
        let bytes = self.workspace.bytes(file, asked.range);
        let wanted = |kind: &str| {
            asked.context.only.as_ref().is_none_or(|only| {
                only.iter().any(|only| {
                    let only = serde_json::to_value(only).unwrap_or_default();
                    let only = only.as_str().unwrap_or_default();
                    only.is_empty() || kind == only || kind.starts_with(&format!("{only}."))
                })
            })
        };
        let mut actions = Vec::new();
        if wanted("quickfix") {
            for change in fixes::fixes(&mut self.workspace.session, root, file, &bytes) {
                actions.push(lsp::CodeAction {
                    title: change.title,
                    kind: Some(lsp::CodeActionKind::QuickFix),
                    diagnostics: Some(vec![diagnostics::shown(&self.workspace, &change.finding)]),
                    is_preferred: change.preferred.then_some(true),
                    edit: Some(self.edit(change.edits)),
                    ..Default::default()
                });
            }
        }
        if wanted(FIX_ALL) {
            let edits = fixes::all_safe(&mut self.workspace.session, root, file);
            if !edits.is_empty() {
                actions.push(lsp::CodeAction {
                    title: "Mend all that is safe".to_string(),
                    kind: Some(lsp::CodeActionKind::Custom(FIX_ALL.into())),
                    edit: Some(self.edit(edits)),
                    ..Default::default()
                });
            }
        }
        Some(actions)
    }

    /// Changes of texts, file by file.
    pub(super) fn edit(&self, edits: Vec<(Place, String)>) -> lsp::WorkspaceEdit {
        let mut changes: HashMap<lsp::Uri, Vec<lsp::TextEdit>> = HashMap::new();
        for (place, new_text) in edits {
            let lsp::Location { uri, range } = self.workspace.location(&place);
            changes.entry(uri).or_default().push(lsp::TextEdit { range, new_text });
        }
        lsp::WorkspaceEdit { changes: Some(changes), ..Default::default() }
    }

    fn execute(&mut self, _id: &RequestId, asked: lsp::ExecuteCommandParams) -> Answer {
        let arguments = asked.arguments.unwrap_or_default();
        let argument = arguments.first().unwrap_or(&Value::Null);
        let word = |key: &str| argument.get(key).and_then(Value::as_str);
        match asked.command.as_str() {
            SHOW_BAR => {
                let bar = argument.get("bar").and_then(Value::as_i64);
                let bar = bar.and_then(|bar| i32::try_from(bar).ok());
                let (Some(uri), Some(scoring), Some(bar)) = (word("uri"), word("scoring"), bar) else {
                    let want = "`ripieno.showBar` takes { \"uri\", \"scoring\", \"bar\" }";
                    return Err((ErrorCode::InvalidParams, want.to_string()));
                };
                let Some(file) = self.workspace.file(&lsp::Uri(uri.to_string())) else {
                    return give(Value::Null);
                };
                let root = self.workspace.root_of(file);
                give(show_bar::show_bar(&mut self.workspace.session, root, scoring, bar))
            }
            EXPLAIN => give(word("code").and_then(diagnostics::explained)),
            other => {
                let why = format!("there is no command `{other}`");
                Err((ErrorCode::InvalidParams, json!(why).as_str().unwrap_or_default().to_string()))
            }
        }
    }
}
