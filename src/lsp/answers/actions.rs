//! Code actions: quick fixes, all that are safe, and computed lines written out.

use gen_lsp_types as lsp;
use lsp_server::ErrorCode;
use serde_json::{Value, json};

use super::{Answer, give};
use crate::capabilities::FIX_ALL;
use crate::diagnostics::FileId;
use crate::narrow::Narrow;
use crate::server::Server;
use crate::workspace::At;
use crate::{findings, fixes};

impl Server<'_> {
    pub(super) fn code_actions(
        &mut self,
        asked: lsp::CodeActionParams,
    ) -> Option<Vec<lsp::CodeAction>> {
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
                    diagnostics: Some(vec![findings::shown(&self.workspace, &change.finding)]),
                    is_preferred: change.preferred.then_some(true),
                    edit: Some(self.edit(change.edits)),
                    ..Default::default()
                });
            }
        }
        if wanted("refactor.rewrite") {
            actions.extend(self.write_out_action(root, file, bytes.start));
        }
        if wanted(FIX_ALL) {
            let edits = fixes::all_safe(&mut self.workspace.session, root, file);
            if !edits.is_empty() {
                actions.push(lsp::CodeAction {
                    title: "Fix all that is safe".to_string(),
                    kind: Some(lsp::CodeActionKind::Custom(FIX_ALL.into())),
                    edit: Some(self.edit(edits)),
                    ..Default::default()
                });
            }
        }
        Some(actions)
    }

    /// The offer to write out the computed line at a place. What is to change is worked out when
    /// the offer is taken, if the client can wait for it.
    fn write_out_action(
        &mut self,
        root: FileId,
        file: FileId,
        offset: usize,
    ) -> Option<lsp::CodeAction> {
        let at = At { root, file, offset };
        let scoring = fixes::computed_line(&mut self.workspace.session, at)?;
        let data = json!({ "root": root.0, "file": file.0, "offset": offset, "scoring": scoring });
        let action = lsp::CodeAction {
            title: "Write out the notes of this line".to_string(),
            kind: Some(lsp::CodeActionKind::RefactorRewrite),
            ..Default::default()
        };
        if self.client.resolves_actions {
            return Some(lsp::CodeAction { data: Some(data), ..action });
        }
        let edits = fixes::written_out(&mut self.workspace.session, at, scoring).ok()?;
        Some(lsp::CodeAction { edit: Some(self.edit(edits)), ..action })
    }

    /// Works out what an offered action changes.
    pub(super) fn resolve_action(&mut self, mut action: lsp::CodeAction) -> Answer {
        let data = action.data.clone().unwrap_or_default();
        let number = |key: &str| data.get(key).and_then(Value::as_u64);
        let scoring = data.get("scoring").and_then(Value::as_str);
        let (Some(root), Some(file), Some(offset), Some(scoring)) =
            (number("root"), number("file"), number("offset"), scoring)
        else {
            return give(action);
        };
        let at = At {
            root: FileId(root.narrow::<u32>()),
            file: FileId(file.narrow::<u32>()),
            offset: offset.narrow::<usize>(),
        };
        match fixes::written_out(&mut self.workspace.session, at, scoring.to_string()) {
            Ok(edits) => {
                action.edit = Some(self.edit(edits));
                give(action)
            }
            Err(why) => Err((ErrorCode::RequestFailed, why)),
        }
    }
}
