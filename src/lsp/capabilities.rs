//! What the server offers.

use gen_lsp_types as lsp;
use serde_json::json;

use super::commands::ALL;
use super::positions::Encoding;
use super::tokens::Token;

/// The kind of the action that applies all safe changes of a file.
pub const FIX_ALL: &str = "source.fixAll.ripieno";

/// All that the server offers.
pub fn capabilities(encoding: Encoding) -> lsp::ServerCapabilities {
    let kinds = [
        lsp::CodeActionKind::QuickFix,
        lsp::CodeActionKind::RefactorRewrite,
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
        hover_provider: Some(lsp::HoverProvider::Bool(true)),
        completion_provider: Some(lsp::CompletionOptions {
            trigger_characters: Some([" ", "[", ",", "."].map(String::from).to_vec()),
            ..Default::default()
        }),
        signature_help_provider: Some(lsp::SignatureHelpOptions {
            trigger_characters: Some([" ", ","].map(String::from).to_vec()),
            ..Default::default()
        }),
        definition_provider: Some(lsp::DefinitionProvider::Bool(true)),
        references_provider: Some(lsp::ReferencesProvider::Bool(true)),
        document_highlight_provider: Some(lsp::DocumentHighlightProvider::Bool(true)),
        rename_provider: Some(lsp::RenameProvider::RenameOptions(lsp::RenameOptions {
            prepare_provider: Some(true),
            ..Default::default()
        })),
        document_symbol_provider: Some(lsp::DocumentSymbolProvider::Bool(true)),
        workspace_symbol_provider: Some(lsp::WorkspaceSymbolProvider::Bool(true)),
        folding_range_provider: Some(lsp::FoldingRangeProvider::Bool(true)),
        selection_range_provider: Some(lsp::SelectionRangeProvider::Bool(true)),
        semantic_tokens_provider: Some(lsp::SemanticTokensProvider::SemanticTokensOptions(
            lsp::SemanticTokensOptions {
                legend: lsp::SemanticTokensLegend {
                    token_types: Token::WORDS.map(String::from).to_vec(),
                    token_modifiers: vec!["declaration".to_string()],
                },
                range: Some(lsp::SemanticTokensOptionsRange::Bool(true)),
                full: Some(lsp::Full::Bool(true)),
                ..Default::default()
            },
        )),
        document_formatting_provider: Some(lsp::DocumentFormattingProvider::Bool(true)),
        document_range_formatting_provider: Some(lsp::DocumentRangeFormattingProvider::Bool(true)),
        document_on_type_formatting_provider: Some(lsp::DocumentOnTypeFormattingOptions {
            first_trigger_character: "|".to_string(),
            more_trigger_character: None,
        }),
        inlay_hint_provider: Some(lsp::InlayHintProvider::Bool(true)),
        code_lens_provider: Some(lsp::CodeLensOptions::default()),
        call_hierarchy_provider: Some(lsp::CallHierarchyProvider::Bool(true)),
        code_action_provider: Some(lsp::CodeActionProvider::CodeActionOptions(
            lsp::CodeActionOptions {
                code_action_kinds: Some(kinds.to_vec()),
                resolve_provider: Some(true),
                ..Default::default()
            },
        )),
        execute_command_provider: Some(lsp::ExecuteCommandOptions {
            commands: ALL.map(String::from).to_vec(),
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
