//! Findings as the client shows them, each at its file.

use std::collections::BTreeMap;

use gen_lsp_types as lsp;

use super::workspace::{TextPlace, Workspace};
use crate::check::{self, RULES};
use crate::diagnostics::{CODES, Diagnostic, FileId, Severity, Span};

/// The findings of a root by the file in which they stand.
pub fn of_root(workspace: &mut Workspace, root: FileId) -> BTreeMap<FileId, Vec<lsp::Diagnostic>> {
    let findings = workspace.session.findings(root);
    let mut by_file: BTreeMap<FileId, Vec<lsp::Diagnostic>> = BTreeMap::new();
    for finding in &*findings {
        let told = shown(workspace, finding);
        by_file.entry(finding.primary.span.file).or_default().push(told);
    }
    by_file
}

/// One finding. What to do stands below what is the matter; further places are linked.
pub fn shown(workspace: &Workspace, finding: &Diagnostic) -> lsp::Diagnostic {
    let place =
        |span: Span| TextPlace { file: span.file, range: workspace.session.sources().range(span) };
    let mut message = finding.message.clone();
    for more in [finding.help.clone(), finding.also_found()].into_iter().flatten() {
        message.push('\n');
        message.push_str(&more);
    }
    let related = finding.labels.iter().map(|label| lsp::DiagnosticRelatedInformation {
        location: workspace.location(&place(label.span)),
        message: label.text.clone(),
    });
    let related: Vec<_> = related.collect();
    let unnecessary = matches!(finding.code, "names/unused-voice" | "allow/unused");
    lsp::Diagnostic {
        range: workspace.location(&place(finding.primary.span)).range,
        severity: Some(match finding.severity {
            Severity::Error => lsp::DiagnosticSeverity::Error,
            Severity::Warning => lsp::DiagnosticSeverity::Warning,
            Severity::Advice => lsp::DiagnosticSeverity::Information,
        }),
        code: Some(lsp::Code::String(finding.code.to_string())),
        code_description: page(workspace, finding.code).map(|href| lsp::CodeDescription { href }),
        source: Some("ripieno".to_string()),
        message: lsp::Message::String(message),
        tags: unnecessary.then(|| vec![lsp::DiagnosticTag::Unnecessary]),
        related_information: (!related.is_empty()).then_some(related),
        data: None,
    }
}

/// What `explain` tells of a code; `None` of one that nobody knows.
#[must_use]
pub fn explained(code: &str) -> Option<String> {
    if let Some(known) = CODES.iter().find(|known| known.code == code) {
        return Some(check::explain_code(known));
    }
    RULES.iter().find(|rule| rule.code == code).map(check::explain)
}

/// The address of a page about a code.
pub fn page(workspace: &Workspace, code: &str) -> Option<lsp::Uri> {
    workspace.page(code, || explained(code))
}
