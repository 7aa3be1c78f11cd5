//! Symbols: the outline of a text, and what is called so in the folders.

use gen_lsp_types as lsp;

use crate::diagnostics::FileId;
use crate::server::Server;
use crate::symbols;
use crate::workspace::TextPlace;

impl Server<'_> {
    pub(super) fn outline(
        &mut self,
        asked: &lsp::DocumentSymbolParams,
    ) -> Option<lsp::DocumentSymbolResponse> {
        let file = self.workspace.file(&asked.text_document.uri)?;
        let all = symbols::outline(&self.workspace.session, file);
        if self.client.nested_symbols {
            let nested = all.into_iter().map(|symbol| self.symbol(file, symbol)).collect();
            return Some(lsp::DocumentSymbolResponse::DocumentSymbolList(nested));
        }
        let mut flat = Vec::new();
        for mut symbol in all {
            let within = std::mem::take(&mut symbol.within);
            let around = symbol.name.clone();
            flat.push(self.flat_symbol(file, symbol, None));
            flat.extend(
                within.into_iter().map(|one| self.flat_symbol(file, one, Some(around.clone()))),
            );
        }
        Some(lsp::DocumentSymbolResponse::SymbolInformationList(flat))
    }

    #[expect(deprecated, reason = "a value is built of all fields, old ones among them")]
    fn flat_symbol(
        &self,
        file: FileId,
        symbol: symbols::Symbol,
        container_name: Option<String>,
    ) -> lsp::SymbolInformation {
        lsp::SymbolInformation {
            deprecated: None,
            location: self.workspace.location(&TextPlace { file, range: symbol.whole }),
            base_symbol_information: lsp::BaseSymbolInformation {
                name: symbol.name,
                kind: symbol_kind(symbol.sort),
                tags: None,
                container_name,
            },
        }
    }

    #[expect(deprecated, reason = "a value is built of all fields, old ones among them")]
    fn symbol(&self, file: FileId, symbol: symbols::Symbol) -> lsp::DocumentSymbol {
        let within = symbol.within.into_iter().map(|inner| self.symbol(file, inner));
        let within: Vec<_> = within.collect();
        lsp::DocumentSymbol {
            name: symbol.name,
            detail: (!symbol.about.is_empty()).then_some(symbol.about),
            kind: symbol_kind(symbol.sort),
            tags: None,
            deprecated: None,
            range: self.workspace.range(file, symbol.whole),
            selection_range: self.workspace.range(file, symbol.head),
            children: (!within.is_empty()).then_some(within),
        }
    }

    pub(super) fn symbols(
        &mut self,
        asked: lsp::WorkspaceSymbolParams,
    ) -> Vec<lsp::WorkspaceSymbol> {
        let files = self.pieces(asked.work_done_progress_params.work_done_token);
        let found = symbols::named(&self.workspace.session, &files, &asked.query);
        let symbol = |(file, symbol): (FileId, symbols::Symbol)| lsp::WorkspaceSymbol {
            location: lsp::WorkspaceSymbolLocation::Location(
                self.workspace.location(&TextPlace { file, range: symbol.head }),
            ),
            data: None,
            base_symbol_information: lsp::BaseSymbolInformation {
                name: symbol.name,
                kind: symbol_kind(symbol.sort),
                tags: None,
                container_name: (!symbol.about.is_empty()).then_some(symbol.about),
            },
        };
        found.into_iter().map(symbol).collect()
    }
}

fn symbol_kind(sort: symbols::Sort) -> lsp::SymbolKind {
    match sort {
        symbols::Sort::File => lsp::SymbolKind::File,
        symbols::Sort::Piece => lsp::SymbolKind::Module,
        symbols::Sort::Block => lsp::SymbolKind::Namespace,
        symbols::Sort::Voice => lsp::SymbolKind::Variable,
        symbols::Sort::Bar => lsp::SymbolKind::Number,
        symbols::Sort::Ensemble => lsp::SymbolKind::Class,
        symbols::Sort::Players => lsp::SymbolKind::Field,
        symbols::Sort::Scoring => lsp::SymbolKind::Class,
        symbols::Sort::Line => lsp::SymbolKind::Event,
    }
}
