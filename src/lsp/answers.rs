//! Requests: positions become bytes, data become what the protocol calls them.

mod actions;
mod symbols;

use std::collections::HashMap;

use gen_lsp_types as lsp;
use lsp_server::{ErrorCode, RequestId};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::commands::{BUILD, WHO_PLAYS};
use super::progress::Progress;
use super::server::Server;
use super::workspace::{At, TextPlace};
use super::{
    completion, findings, folding, formatting, hierarchy, hints, hover, lens, names, selection,
    signature, tokens, uri,
};
use crate::diagnostics::FileId;
use crate::narrow::Narrow;

/// A value to answer with, `None` if somebody else answers, or why there is none.
pub(super) type Answer = Result<Option<Value>, (ErrorCode, String)>;

fn read<T: DeserializeOwned>(params: Value) -> Result<T, (ErrorCode, String)> {
    serde_json::from_value(params).map_err(|error| (ErrorCode::InvalidParams, error.to_string()))
}

pub(super) fn give(value: impl Serialize) -> Answer {
    serde_json::to_value(value)
        .map(Some)
        .map_err(|error| (ErrorCode::InternalError, error.to_string()))
}

impl Server<'_> {
    /// Answers a request.
    pub(super) fn respond(&mut self, id: &RequestId, method: &str, params: Value) -> Answer {
        match method {
            "textDocument/codeAction" => give(self.code_actions(read(params)?)),
            "codeAction/resolve" => self.resolve_action(read(params)?),
            "textDocument/hover" => give(self.hover(&read(params)?)),
            "textDocument/completion" => give(self.completion(&read(params)?)),
            "textDocument/signatureHelp" => give(self.signature(&read(params)?)),
            "textDocument/definition" => give(self.definition(&read(params)?)),
            "textDocument/references" => give(self.references(read(params)?)),
            "textDocument/documentHighlight" => give(self.highlights(&read(params)?)),
            "textDocument/prepareRename" => self.prepare_rename(&read(params)?),
            "textDocument/rename" => self.rename(read(params)?),
            "textDocument/documentSymbol" => give(self.outline(&read(params)?)),
            "workspace/symbol" => give(self.symbols(read(params)?)),
            "textDocument/foldingRange" => give(self.folds(&read(params)?)),
            "textDocument/selectionRange" => give(self.selections(&read(params)?)),
            "textDocument/semanticTokens/full" => {
                let asked: lsp::SemanticTokensParams = read(params)?;
                give(self.tokens(&asked.text_document.uri, None))
            }
            "textDocument/semanticTokens/range" => {
                let asked: lsp::SemanticTokensRangeParams = read(params)?;
                give(self.tokens(&asked.text_document.uri, Some(asked.range)))
            }
            "textDocument/formatting" => {
                let asked: lsp::DocumentFormattingParams = read(params)?;
                give(self.format(&asked.text_document.uri, &formatting::Which::File))
            }
            "textDocument/rangeFormatting" => {
                let asked: lsp::DocumentRangeFormattingParams = read(params)?;
                let uri = &asked.text_document.uri;
                let Some(file) = self.workspace.file(uri) else { return give(Value::Null) };
                let bytes = self.workspace.bytes(file, asked.range);
                give(self.format(uri, &formatting::Which::Lines(bytes)))
            }
            "textDocument/onTypeFormatting" => {
                let asked: lsp::DocumentOnTypeFormattingParams = read(params)?;
                let Some(at) = self.workspace.at(&asked.text_document.uri, asked.position) else {
                    return give(Value::Null);
                };
                give(self.format(&asked.text_document.uri, &formatting::Which::Bar(at.offset)))
            }
            "textDocument/inlayHint" => give(self.hints(&read(params)?)),
            "textDocument/codeLens" => give(self.lenses(&read(params)?)),
            "textDocument/prepareCallHierarchy" => give(self.hierarchy(&read(params)?)),
            "callHierarchy/incomingCalls" => give(self.incoming(&read(params)?)),
            "callHierarchy/outgoingCalls" => give(self.outgoing(&read(params)?)),
            "workspace/executeCommand" => self.execute(id, read(params)?),
            _ => Err((ErrorCode::MethodNotFound, format!("`{method}` is not offered"))),
        }
    }

    /// Changes of texts, file by file.
    pub(super) fn edit(&self, edits: Vec<(TextPlace, String)>) -> lsp::WorkspaceEdit {
        let mut changes: HashMap<lsp::Uri, Vec<lsp::TextEdit>> = HashMap::new();
        for (place, new_text) in edits {
            let lsp::Location { uri, range } = self.workspace.location(&place);
            changes.entry(uri).or_default().push(lsp::TextEdit { range, new_text });
        }
        lsp::WorkspaceEdit { changes: Some(changes), ..Default::default() }
    }

    /// A place that a client asks about.
    pub(super) fn at(&mut self, asked: &lsp::TextDocumentPositionParams) -> Option<At> {
        self.workspace.at(&asked.text_document.uri, asked.position)
    }

    /// The beginning of an open text.
    pub(super) fn whole(&mut self, uri: &lsp::Uri) -> Option<At> {
        self.workspace.at(uri, lsp::Position { line: 0, character: 0 })
    }

    fn hover(&mut self, asked: &lsp::HoverParams) -> Option<lsp::Hover> {
        let at = self.at(&asked.text_document_position_params)?;
        let found = hover::hover(&mut self.workspace.session, at)?;
        Some(lsp::Hover {
            contents: lsp::Contents::MarkupContent(self.markup(found.text)),
            range: Some(self.workspace.location(&found.place).range),
        })
    }

    /// Markdown, or what is left of it for a client that shows none.
    fn markup(&self, value: String) -> lsp::MarkupContent {
        if self.client.markdown {
            return lsp::MarkupContent { kind: lsp::MarkupKind::Markdown, value };
        }
        let value = value.replace("**", "").replace(['`', '*'], "").replace("ripieno\n", "\n");
        lsp::MarkupContent { kind: lsp::MarkupKind::PlainText, value }
    }

    fn completion(&mut self, asked: &lsp::CompletionParams) -> Option<lsp::CompletionList> {
        use lsp::CompletionItemKind as Kind;
        let at = self.at(&asked.text_document_position_params)?;
        let found = completion::completion(&mut self.workspace.session, at);
        let range = self.workspace.location(&found.place).range;
        let items =
            found.proposals.into_iter().enumerate().map(|(index, proposal)| lsp::CompletionItem {
                kind: Some(match proposal.sort {
                    completion::Sort::Keyword => Kind::Keyword,
                    completion::Sort::Voice => Kind::Variable,
                    completion::Sort::Players => Kind::Field,
                    completion::Sort::Set => Kind::Class,
                    completion::Sort::Instrument => Kind::Struct,
                    completion::Sort::Value => Kind::EnumMember,
                    completion::Sort::Bars => Kind::Value,
                    completion::Sort::Rule => Kind::Event,
                }),
                detail: (!proposal.about.is_empty()).then_some(proposal.about),
                sort_text: Some(format!("{index:05}")),
                text_edit: Some(lsp::CompletionItemTextEdit::TextEdit(lsp::TextEdit {
                    range,
                    new_text: proposal.text.clone(),
                })),
                label: proposal.text,
                ..Default::default()
            });
        Some(lsp::CompletionList {
            is_incomplete: false,
            items: items.collect(),
            ..Default::default()
        })
    }

    fn signature(&mut self, asked: &lsp::SignatureHelpParams) -> Option<lsp::SignatureHelp> {
        let at = self.at(&asked.text_document_position_params)?;
        let found = signature::signatures(&self.workspace.session, at)?;
        let active = found.active.narrow::<u32>();
        let all = found.all.iter().map(|one| {
            let (label, places) = one.label();
            // Places within the label are counted in UTF-16; all its letters are of one unit.
            let parameters = places.iter().map(|(start, end)| lsp::ParameterInformation {
                label: lsp::ParameterInformationLabel::Tuple((
                    (*start).narrow::<u32>(),
                    (*end).narrow::<u32>(),
                )),
                documentation: None,
            });
            lsp::SignatureInformation {
                label,
                documentation: (!one.about.is_empty())
                    .then(|| lsp::Documentation::String(one.about.to_string())),
                parameters: Some(parameters.collect()),
                active_parameter: None,
            }
        });
        Some(lsp::SignatureHelp {
            signatures: all.collect(),
            active_signature: Some(0),
            active_parameter: Some(lsp::ActiveParameter::Int(active)),
        })
    }

    fn definition(&mut self, asked: &lsp::DefinitionParams) -> Option<Vec<lsp::Location>> {
        let at = self.at(&asked.text_document_position_params)?;
        let found = names::definition(&mut self.workspace.session, at);
        if found.is_empty()
            && let Some(name) = names::name_at(&self.workspace.session, at)
            && name.kind == names::Kind::Rule
        {
            // What declares a rule is its page.
            let page = findings::page(&self.workspace, &name.text)?;
            return Some(vec![lsp::Location { uri: page, range: lsp::Range::default() }]);
        }
        Some(found.iter().map(|place| self.workspace.location(place)).collect())
    }

    /// All pieces that may use what stands in a file: those that are open and those of the folders.
    fn pieces(&mut self, token: Option<lsp::ProgressToken>) -> Vec<FileId> {
        let send = self.sender();
        let _progress = Progress::begin(&send, token, "Reading the sources of the folder");
        self.workspace.all_files()
    }

    fn references(&mut self, asked: lsp::ReferenceParams) -> Option<Vec<lsp::Location>> {
        let roots = self.pieces(asked.work_done_progress_params.work_done_token);
        let at = self.at(&asked.text_document_position_params)?;
        let found = names::references(&mut self.workspace.session, &roots, at)?;
        let wanted = |name: &&names::Name| asked.context.include_declaration || !name.declares;
        Some(found.iter().filter(wanted).map(|name| self.workspace.location(&name.place)).collect())
    }

    fn highlights(
        &mut self,
        asked: &lsp::DocumentHighlightParams,
    ) -> Option<Vec<lsp::DocumentHighlight>> {
        let at = self.at(&asked.text_document_position_params)?;
        let found = names::references(&mut self.workspace.session, &[], at)?;
        let here = found.into_iter().filter(|name| name.place.file == at.file);
        let highlight = |name: names::Name| lsp::DocumentHighlight {
            range: self.workspace.location(&name.place).range,
            kind: Some(match name.declares {
                true => lsp::DocumentHighlightKind::Write,
                false => lsp::DocumentHighlightKind::Read,
            }),
        };
        Some(here.map(highlight).collect())
    }

    fn prepare_rename(&mut self, asked: &lsp::PrepareRenameParams) -> Answer {
        let Some(at) = self.at(&asked.text_document_position_params) else {
            return give(Value::Null);
        };
        match names::renamable(&mut self.workspace.session, at) {
            Ok(name) => give(json!({
                "range": self.workspace.location(&name.place).range,
                "placeholder": name.text,
            })),
            Err(why) => Err((ErrorCode::RequestFailed, why)),
        }
    }

    fn rename(&mut self, asked: lsp::RenameParams) -> Answer {
        let roots = self.pieces(asked.work_done_progress_params.work_done_token);
        let Some(at) = self.at(&asked.text_document_position_params) else {
            return give(Value::Null);
        };
        match names::rename(&mut self.workspace.session, &roots, at, &asked.new_name) {
            Ok(edits) => give(self.edit(edits)),
            Err(why) => Err((ErrorCode::RequestFailed, why)),
        }
    }

    fn folds(&mut self, asked: &lsp::FoldingRangeParams) -> Option<Vec<lsp::FoldingRange>> {
        let file = self.workspace.file(&asked.text_document.uri)?;
        let folds = folding::folds(&self.workspace.session, file);
        let fold = |(bytes, sort): (std::ops::Range<usize>, folding::Sort)| {
            let range = self.workspace.range(file, bytes);
            lsp::FoldingRange {
                start_line: range.start.line,
                end_line: range.end.line,
                kind: match sort {
                    folding::Sort::Block => None,
                    folding::Sort::Comment => Some(lsp::FoldingRangeKind::Comment),
                    folding::Sort::Uses => Some(lsp::FoldingRangeKind::Imports),
                },
                ..Default::default()
            }
        };
        let folds = folds.into_iter().map(fold).filter(|fold| fold.start_line < fold.end_line);
        Some(folds.collect())
    }

    fn selections(
        &mut self,
        asked: &lsp::SelectionRangeParams,
    ) -> Option<Vec<lsp::SelectionRange>> {
        let mut all = Vec::new();
        for position in &asked.positions {
            let at = self.workspace.at(&asked.text_document.uri, *position)?;
            let ranges = selection::ranges(&mut self.workspace.session, at);
            let mut selection: Option<lsp::SelectionRange> = None;
            for bytes in ranges.into_iter().rev() {
                let range = self.workspace.range(at.file, bytes);
                selection = Some(lsp::SelectionRange { range, parent: selection.map(Box::new) });
            }
            all.extend(selection);
        }
        Some(all)
    }

    fn tokens(&mut self, uri: &lsp::Uri, range: Option<lsp::Range>) -> Option<lsp::SemanticTokens> {
        let file = self.workspace.file(uri)?;
        let bytes = range.map(|range| self.workspace.bytes(file, range));
        let wanted = |token: &std::ops::Range<usize>| {
            bytes.as_ref().is_none_or(|bytes| bytes.start < token.end && token.start < bytes.end)
        };
        let mut before = lsp::Position { line: 0, character: 0 };
        let mut data = Vec::new();
        for (token, kind, declares) in tokens::tokens(&self.workspace.session, file) {
            if !wanted(&token) {
                continue;
            }
            let lsp::Range { start, end } = self.workspace.range(file, token);
            let same_line = start.line == before.line;
            data.push(lsp::SemanticToken {
                delta_line: start.line - before.line,
                delta_start: start.character - if same_line { before.character } else { 0 },
                length: end.character.saturating_sub(start.character),
                token_type: kind as u32,
                token_modifiers_bitset: u32::from(declares),
            });
            before = start;
        }
        Some(lsp::SemanticTokens { result_id: None, data })
    }

    fn format(&mut self, uri: &lsp::Uri, which: &formatting::Which) -> Option<Vec<lsp::TextEdit>> {
        let file = self.workspace.file(uri)?;
        let edits = formatting::format(&self.workspace.session, file, which);
        let edit = |(place, new_text): (TextPlace, String)| lsp::TextEdit {
            range: self.workspace.location(&place).range,
            new_text,
        };
        Some(edits.into_iter().map(edit).collect())
    }

    fn hints(&mut self, asked: &lsp::InlayHintParams) -> Option<Vec<lsp::InlayHint>> {
        let at = self.workspace.at(&asked.text_document.uri, asked.range.start)?;
        let bytes = self.workspace.bytes(at.file, asked.range);
        let wanted = self.settings.hints;
        let hints = hints::hints(&mut self.workspace.session, at, &bytes, wanted);
        let hint = |hint: hints::Hint| lsp::InlayHint {
            position: self.workspace.position(at.file, hint.at),
            label: lsp::Label::String(hint.text),
            kind: None,
            text_edits: None,
            tooltip: Some(lsp::Tooltip::String(hint.about.to_string())),
            padding_left: Some(hint.apart.0),
            padding_right: Some(hint.apart.1),
            data: None,
        };
        Some(hints.into_iter().map(hint).collect())
    }

    fn lenses(&mut self, asked: &lsp::CodeLensParams) -> Option<Vec<lsp::CodeLens>> {
        let uri = &asked.text_document.uri;
        let at = self.whole(uri)?;
        let lenses = lens::lenses(&mut self.workspace.session, at);
        let lens = |found: lens::Lens| {
            let (command, argument) = match found.action {
                lens::Action::WhoPlays(voice) => (WHO_PLAYS, json!({ "uri": uri, "voice": voice })),
                lens::Action::Build(scoring) => (BUILD, json!({ "uri": uri, "scoring": scoring })),
            };
            lsp::CodeLens {
                range: self.workspace.location(&found.place).range,
                command: Some(lsp::Command {
                    title: found.title,
                    tooltip: None,
                    command: command.to_string(),
                    arguments: Some(vec![argument]),
                }),
                data: None,
            }
        };
        Some(lenses.into_iter().map(lens).collect())
    }

    fn hierarchy(
        &mut self,
        asked: &lsp::CallHierarchyPrepareParams,
    ) -> Option<Vec<lsp::CallHierarchyItem>> {
        let at = self.at(&asked.text_document_position_params)?;
        let entry = hierarchy::prepare(&mut self.workspace.session, at)?;
        Some(vec![self.entry(entry)])
    }

    fn entry(&self, entry: hierarchy::Entry) -> lsp::CallHierarchyItem {
        let whole = self.workspace.location(&entry.whole);
        lsp::CallHierarchyItem {
            name: entry.name,
            kind: match entry.sort {
                hierarchy::Sort::Voice => lsp::SymbolKind::Variable,
                hierarchy::Sort::Line => lsp::SymbolKind::Function,
                hierarchy::Sort::Player => lsp::SymbolKind::Field,
            },
            tags: None,
            detail: Some(entry.about),
            uri: whole.uri,
            range: whole.range,
            selection_range: self.workspace.location(&entry.head).range,
            data: None,
        }
    }

    /// Where an entry of the hierarchy stands, and from which root it is seen.
    fn stands(&mut self, item: &lsp::CallHierarchyItem) -> Option<At> {
        let file = self.workspace.session.file(&uri::name_of(&item.uri))?;
        let offset = self.workspace.offset(file, item.selection_range.start);
        Some(At { root: self.workspace.root_of(file), file, offset })
    }

    fn incoming(
        &mut self,
        asked: &lsp::CallHierarchyIncomingCallsParams,
    ) -> Option<Vec<lsp::CallHierarchyIncomingCall>> {
        let at = self.stands(&asked.item)?;
        let found = hierarchy::incoming(&mut self.workspace.session, at);
        let call = |entry: hierarchy::Entry| {
            let from = self.entry(entry);
            lsp::CallHierarchyIncomingCall { from_ranges: vec![from.selection_range], from }
        };
        Some(found.into_iter().map(call).collect())
    }

    fn outgoing(
        &mut self,
        asked: &lsp::CallHierarchyOutgoingCallsParams,
    ) -> Option<Vec<lsp::CallHierarchyOutgoingCall>> {
        let at = self.stands(&asked.item)?;
        let found = hierarchy::outgoing(&mut self.workspace.session, at);
        let ranges = vec![asked.item.selection_range];
        let call = |entry: hierarchy::Entry| lsp::CallHierarchyOutgoingCall {
            to: self.entry(entry),
            from_ranges: ranges.clone(),
        };
        Some(found.into_iter().map(call).collect())
    }
}
