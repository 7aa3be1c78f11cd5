//! What the server offers.

use gen_lsp_types as lsp;
use serde_json::json;

use super::positions::Encoding;

/// Shows a bar of a scoring as text: `{ "uri", "scoring", "bar" }` gives the text or null.
pub const SHOW_BAR: &str = "ripieno.showBar";
/// Tells all about a code of a finding: `{ "code" }` gives the page or null.
pub const EXPLAIN: &str = "ripieno.explain";

/// The kind of the action that applies all safe changes of a file.
pub const FIX_ALL: &str = "source.fixAll.ripieno";

/// All that the server offers.
pub fn capabilities(encoding: Encoding) -> lsp::ServerCapabilities {
    let kinds = [
        lsp::CodeActionKind::QuickFix,
        lsp::CodeActionKind::Custom(FIX_ALL.into()),
    ];
    lsp::ServerCapabilities {
        position_encoding: Some(match encoding {
            Encoding::Utf8 => lsp::PositionEncodingKind::UTF8,
            Encoding::Utf16 => lsp::PositionEncodingKind::UTF16,
            Encoding::Utf32 => lsp::PositionEncodingKind::UTF32,
        }),
        text_document_sync: Some(lsp::TextDocumentSync::Options(lsp::TextDocumentSyncOptions {
            open_close: Some(true),
            change: Some(lsp::TextDocumentSyncKind::Incremental),
            save: Some(lsp::Save::Bool(true)),
            ..Default::default()
        })),
        code_action_provider: Some(lsp::CodeActionProvider::CodeActionOptions(
            lsp::CodeActionOptions { code_action_kinds: Some(kinds.to_vec()), ..Default::default() },
        )),
        execute_command_provider: Some(lsp::ExecuteCommandOptions {
            commands: [SHOW_BAR, EXPLAIN].map(String::from).to_vec(),
            ..Default::default()
        }),
        workspace: Some(lsp::WorkspaceOptions {
            workspace_folders: Some(lsp::WorkspaceFoldersServerCapabilities {
                supported: Some(true),
                change_notifications: Some(lsp::ChangeNotifications::Bool(true)),
            }),
            ..Default::default()
        }),
        ..Default::default()
    }
}

/// What the client must be asked to tell: files that change outside the editor.
pub fn watching() -> lsp::RegistrationParams {
    lsp::RegistrationParams {
        registrations: vec![lsp::Registration {
            id: "sources".to_string(),
            method: "workspace/didChangeWatchedFiles".to_string(),
            register_options: Some(json!({ "watchers": [{ "globPattern": "**/*.ripieno" }] })),
        }],
    }
}
