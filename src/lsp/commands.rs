//! Commands that an editor can have carried out, each with one object as its argument.

use gen_lsp_types as lsp;
use lsp_server::{ErrorCode, Message, Notification, RequestId, Response};
use serde::Deserialize;
use serde_json::Value;

use super::answers::{Answer, give};
use super::page::{self, Printed};
use super::server::Server;
use super::{findings, lens, show_bar, uri};

/// Shows a bar of a scoring as text: `{ "uri", "scoring", "bar" }` gives the text or null.
pub const SHOW_BAR: &str = "ripieno.showBar";
/// Tells all about a code of a finding: `{ "code" }` gives the page or null.
pub const EXPLAIN: &str = "ripieno.explain";

/// Tells who plays a voice: `{ "uri", "voice" }` gives a sentence or null.
pub const WHO_PLAYS: &str = "ripieno.whoPlays";
/// Writes the score and parts of a scoring of a saved file: `{ "uri", "scoring" }`.
pub const BUILD: &str = "ripieno.build";
/// Tells what is printed of what stands at a place: `{ "textDocument", "position" }` gives a list of
/// `{ "scoring", "player", "bar", "lower", "element" }`.
pub const ON_PAGE: &str = "ripieno.onPage";
/// Tells where something printed stands in the source: `{ "uri", "scoring", "player", "bar",
/// "element" }` gives a location or null.
pub const IN_SOURCE: &str = "ripieno.inSource";
/// All of them.
pub const ALL: [&str; 6] = [SHOW_BAR, EXPLAIN, WHO_PLAYS, BUILD, ON_PAGE, IN_SOURCE];

impl Server<'_> {
    /// Carries a command out.
    pub(super) fn execute(&mut self, id: &RequestId, asked: lsp::ExecuteCommandParams) -> Answer {
        let arguments = asked.arguments.unwrap_or_default();
        let argument = arguments.first().unwrap_or(&Value::Null);
        let word = |key: &str| argument.get(key).and_then(Value::as_str).map(String::from);
        let takes = |what: &str| {
            Err((
                ErrorCode::InvalidParams,
                format!("`{}` takes one argument, {what}", asked.command),
            ))
        };
        match asked.command.as_str() {
            SHOW_BAR => {
                let bar = argument.get("bar").and_then(Value::as_i64);
                let bar = bar.and_then(|bar| i32::try_from(bar).ok());
                let (Some(uri), Some(scoring), Some(bar)) = (word("uri"), word("scoring"), bar)
                else {
                    return takes("{ \"uri\", \"scoring\", \"bar\" }");
                };
                let Some(at) = self.whole(&lsp::Uri(uri)) else { return give(Value::Null) };
                give(show_bar::show_bar(&mut self.workspace.session, at.root, &scoring, bar))
            }
            EXPLAIN => match word("code") {
                Some(code) => give(findings::explained(&code)),
                None => takes("{ \"code\" }"),
            },
            WHO_PLAYS => {
                let (Some(uri), Some(voice)) = (word("uri"), word("voice")) else {
                    return takes("{ \"uri\", \"voice\" }");
                };
                let Some(at) = self.whole(&lsp::Uri(uri)) else { return give(Value::Null) };
                let said = lens::who_plays(&mut self.workspace.session, at, &voice);
                if let Some(said) = &said {
                    self.send(show(lsp::MessageType::Info, said));
                }
                give(said)
            }
            BUILD => {
                let (Some(uri), Some(scoring)) = (word("uri"), word("scoring")) else {
                    return takes("{ \"uri\", \"scoring\" }");
                };
                let name = uri::name_of(&lsp::Uri(uri));
                if !uri::is_file(&name) {
                    return Err((ErrorCode::RequestFailed, "Save the piece first.".to_string()));
                }
                // It takes a while; meanwhile others are answered.
                let (host, send, id) = (self.workspace.host().clone(), self.sender(), id.clone());
                std::thread::spawn(move || {
                    let done = host.build(std::path::Path::new(&name), &scoring);
                    let (kind, said) = match &done {
                        Ok(said) => (lsp::MessageType::Info, said),
                        Err(why) => (lsp::MessageType::Error, why),
                    };
                    send(show(kind, said));
                    send(match done {
                        Ok(said) => Response::new_ok(id, said).into(),
                        Err(why) => {
                            Response::new_err(id, ErrorCode::RequestFailed as i32, why).into()
                        }
                    });
                });
                Ok(None)
            }
            ON_PAGE => {
                let Ok(asked) = lsp::TextDocumentPositionParams::deserialize(argument) else {
                    return takes("{ \"textDocument\", \"position\" }");
                };
                match self.at(&asked) {
                    Some(at) => give(page::printed(&mut self.workspace.session, at)),
                    None => give(Value::Null),
                }
            }
            IN_SOURCE => {
                let (Some(uri), Ok(printed)) = (word("uri"), Printed::deserialize(argument)) else {
                    return takes("{ \"uri\", \"scoring\", \"player\", \"bar\", \"element\" }");
                };
                let Some(at) = self.whole(&lsp::Uri(uri)) else { return give(Value::Null) };
                let place = page::in_source(&mut self.workspace.session, at.root, &printed);
                give(place.map(|place| self.workspace.location(&place)))
            }
            other => Err((ErrorCode::InvalidParams, format!("there is no command `{other}`"))),
        }
    }
}

fn show(kind: lsp::MessageType, message: &str) -> Message {
    let params = lsp::ShowMessageParams { kind, message: message.to_string() };
    Notification::new("window/showMessage".to_string(), params).into()
}
