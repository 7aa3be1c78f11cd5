//! The loop: messages in order, findings when none waits.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet, VecDeque};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use gen_lsp_types as lsp;
use lsp_server::{Connection, ErrorCode, Message, Notification, Request, RequestId, Response};
use serde_json::{Value, json};

use super::capabilities::{capabilities, watching};
use super::positions::Encoding;
use super::settings::Settings;
use super::workspace::{Host, Workspace};
use super::{findings, uri};
use crate::diagnostics::FileId;

/// Serves one client until it says `exit` or goes away. Says whether it left as the protocol wants.
pub fn serve(connection: &Connection, host: Arc<dyn Host>) -> bool {
    let mut waiting = Waiting { connection, queue: VecDeque::new(), cancelled: HashSet::new() };
    let Some(mut server) = begin(&mut waiting, host) else { return false };
    loop {
        let message = match waiting.next(server.has_to_tell()) {
            Next::Message(message) => message,
            Next::Nothing => {
                server.survive(Server::tell_next);
                continue;
            }
            Next::Gone => return false,
        };
        match message {
            Message::Notification(told) if told.method == "exit" => return server.leaving,
            Message::Notification(told) => server.take(told),
            Message::Response(response) => server.take_response(response),
            Message::Request(request) if waiting.cancelled.remove(&request.id) => {
                let code = ErrorCode::RequestCanceled as i32;
                server.send(Response::new_err(request.id, code, "cancelled".into()).into());
            }
            Message::Request(request) => server.answer(request),
        }
    }
}

/// Messages that have come and were not looked at yet.
struct Waiting<'c> {
    connection: &'c Connection,
    queue: VecDeque<Message>,
    cancelled: HashSet<RequestId>,
}

enum Next {
    Message(Message),
    /// None has come, and the caller has something else to do.
    Nothing,
    /// The client has gone.
    Gone,
}

impl Waiting<'_> {
    /// The next message; waits for one unless there is something else to do.
    fn next(&mut self, busy: bool) -> Next {
        while let Ok(message) = self.connection.receiver.try_recv() {
            self.push(message);
        }
        loop {
            if let Some(message) = self.queue.pop_front() {
                if self.queue.is_empty() {
                    // What was cancelled too late is not cancelled.
                    self.cancelled
                        .retain(|id| matches!(&message, Message::Request(r) if r.id == *id));
                }
                return Next::Message(message);
            }
            if busy {
                return Next::Nothing;
            }
            match self.connection.receiver.recv() {
                Ok(message) => self.push(message),
                Err(_) => return Next::Gone,
            }
        }
    }

    fn push(&mut self, message: Message) {
        match message {
            Message::Notification(told) if told.method == "$/cancelRequest" => {
                let id = match told.params.get("id") {
                    Some(Value::Number(id)) => id.as_i64().and_then(|id| i32::try_from(id).ok()),
                    Some(Value::String(id)) => {
                        self.cancelled.insert(RequestId::from(id.clone()));
                        None
                    }
                    _ => None,
                };
                self.cancelled.extend(id.map(RequestId::from));
            }
            message => self.queue.push_back(message),
        }
    }
}

/// Waits for `initialize` and answers it.
fn begin<'c>(waiting: &mut Waiting<'c>, host: Arc<dyn Host>) -> Option<Server<'c>> {
    let connection = waiting.connection;
    loop {
        let request = match waiting.next(false) {
            Next::Message(Message::Request(request)) => request,
            Next::Message(Message::Notification(told)) if told.method == "exit" => return None,
            Next::Gone => return None,
            _ => continue,
        };
        if request.method != "initialize" {
            let code = ErrorCode::ServerNotInitialized as i32;
            let refused = Response::new_err(request.id, code, "initialize comes first".into());
            connection.sender.send(refused.into()).ok()?;
            continue;
        }
        // Read leniently: what a client says of itself beyond this does not matter.
        let said = &request.params;
        let offered = said.pointer("/capabilities/general/positionEncodings");
        let offered: Vec<&str> = offered
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
            .collect();
        let encoding = Encoding::choose(offered.iter().copied());
        let watches = "/capabilities/workspace/didChangeWatchedFiles/dynamicRegistration";
        let configures = "/capabilities/workspace/configuration";
        let flag = |pointer: &str| said.pointer(pointer).and_then(Value::as_bool) == Some(true);
        // An action may wait for its edit only where the client keeps what stands in `data`.
        let resolves = |pointer: &str| {
            let action = said.pointer(pointer);
            action.is_some_and(|action| {
                let late = action.pointer("/resolveSupport/properties").and_then(Value::as_array);
                action.get("dataSupport").and_then(Value::as_bool) == Some(true)
                    && late.is_some_and(|late| late.iter().any(|what| what == "edit"))
            })
        };
        let server = Server {
            connection,
            workspace: Workspace::new(host, encoding, folders(said)),
            settings: Settings::read(said.get("initializationOptions").unwrap_or(&Value::Null)),
            client: Client {
                markdown: said
                    .pointer("/capabilities/textDocument/hover/contentFormat")
                    .and_then(Value::as_array)
                    .is_some_and(|formats| formats.iter().any(|format| format == "markdown")),
                nested_symbols: flag(
                    "/capabilities/textDocument/documentSymbol/hierarchicalDocumentSymbolSupport",
                ),
                resolves_actions: resolves("/capabilities/textDocument/codeAction"),
                fresh_hints: flag("/capabilities/workspace/inlayHint/refreshSupport"),
            },
            watches: flag(watches),
            configures: flag(configures),
            leaving: false,
            asked: 0,
            waits_for_settings: None,
            failing: HashSet::new(),
            to_check: BTreeSet::new(),
            findings: HashMap::new(),
            told: HashMap::new(),
        };
        let answer = lsp::InitializeResult {
            capabilities: capabilities(encoding),
            server_info: Some(lsp::ServerInfo {
                name: "ripieno".to_string(),
                version: Some(env!("CARGO_PKG_VERSION").to_string()),
            }),
        };
        server.send(Response::new_ok(request.id, answer).into());
        return Some(server);
    }
}

/// The folders that a client works in.
fn folders(said: &Value) -> Vec<String> {
    let named = said.get("workspaceFolders").and_then(Value::as_array);
    let uris: Vec<&str> = match named {
        Some(folders) => folders.iter().filter_map(|f| f.get("uri")?.as_str()).collect(),
        None => said.get("rootUri").and_then(Value::as_str).into_iter().collect(),
    };
    let names = uris.into_iter().map(|uri| uri::name_of(&lsp::Uri(uri.to_string())));
    names
        .map(|name| name.trim_end_matches('/').to_string())
        .filter(|name| !name.is_empty())
        .collect()
}

/// What a client can show.
#[derive(Clone, Copy)]
pub(super) struct Client {
    /// Markdown.
    pub(super) markdown: bool,
    /// Symbols within symbols.
    pub(super) nested_symbols: bool,
    /// Code actions whose edits are worked out when they are taken.
    pub(super) resolves_actions: bool,
    /// Hints, anew when the server says so.
    fresh_hints: bool,
}

/// What is known of one client.
pub(super) struct Server<'c> {
    connection: &'c Connection,
    pub(super) workspace: Workspace,
    pub(super) settings: Settings,
    pub(super) client: Client,
    /// Does the client tell of files that change outside?
    watches: bool,
    /// May the client be asked for settings?
    configures: bool,
    /// Did it say `shutdown`?
    leaving: bool,
    /// Counts the server's own requests.
    asked: i32,
    waits_for_settings: Option<RequestId>,
    /// Names of the texts at which the compiler failed, until they are edited.
    failing: HashSet<String>,
    /// Roots whose findings are not up to date.
    to_check: BTreeSet<FileId>,
    /// By root, then by file.
    findings: HashMap<FileId, BTreeMap<FileId, Vec<lsp::Diagnostic>>>,
    /// What the client was told last, by address.
    told: HashMap<lsp::Uri, Vec<lsp::Diagnostic>>,
}

impl Server<'_> {
    pub(super) fn send(&self, message: Message) {
        // A client that has gone is noticed when the next message is waited for.
        let _ = self.connection.sender.send(message);
    }

    /// Something that sends messages from another thread.
    pub(super) fn sender(&self) -> impl Fn(Message) + Send + 'static {
        let sender = self.connection.sender.clone();
        move |message| {
            let _ = sender.send(message);
        }
    }

    fn ask(&mut self, method: &str, params: impl serde::Serialize) -> RequestId {
        self.asked += 1;
        let id = RequestId::from(self.asked);
        self.send(Request::new(id.clone(), method.to_string(), params).into());
        id
    }

    /// Does some work; should the compiler fail at it, the server lives on with the same texts.
    pub(super) fn survive<T>(&mut self, work: impl FnOnce(&mut Self) -> T) -> Option<T> {
        let done = catch_unwind(AssertUnwindSafe(|| work(self)));
        if done.is_err() {
            self.workspace.begin_anew();
            self.findings.clear();
            self.to_check.clear();
        }
        done.ok()
    }

    fn answer(&mut self, request: Request) {
        let Request { id, method, params } = request;
        if self.leaving {
            let code = ErrorCode::InvalidRequest as i32;
            return self
                .send(Response::new_err(id, code, "the server is shutting down".into()).into());
        }
        if method == "shutdown" {
            self.leaving = true;
            return self.send(Response::new_ok(id, Value::Null).into());
        }
        let answer = self.survive(|server| server.respond(&id, &method, params));
        let response = match answer {
            Some(Ok(Some(value))) => Response::new_ok(id, value),
            // Somebody else answers.
            Some(Ok(None)) => return,
            Some(Err((code, why))) => Response::new_err(id, code as i32, why),
            None => {
                Response::new_err(id, ErrorCode::InternalError as i32, "the compiler failed".into())
            }
        };
        self.send(response.into());
    }

    fn take(&mut self, told: Notification) {
        let Notification { method, params } = told;
        let taken = self.survive(|server| server.heed(&method, params));
        // An edit that could not be read is in the text all the same.
        if taken.is_none() {
            self.survive(Server::check_all);
        }
    }

    fn heed(&mut self, method: &str, params: Value) {
        match method {
            "initialized" => self.begin_to_listen(),
            "textDocument/didOpen" => {
                let Some(lsp::DidOpenTextDocumentParams { text_document: text }) = read(params)
                else {
                    return;
                };
                self.failing.remove(&uri::name_of(&text.uri));
                self.workspace.open(text.uri, text.version, text.text);
                self.check_all();
            }
            "textDocument/didChange" => {
                let Some(lsp::DidChangeTextDocumentParams { text_document, content_changes }) =
                    read(params)
                else {
                    return;
                };
                let uri = text_document.text_document_identifier.uri;
                self.failing.remove(&uri::name_of(&uri));
                match self.workspace.change(&uri, text_document.version, content_changes) {
                    Some(file) => self.check_readers(file),
                    None => {
                        self.workspace.try_again(&uri);
                        self.check_all();
                    }
                }
            }
            "textDocument/didClose" => {
                let Some(lsp::DidCloseTextDocumentParams { text_document }) = read(params) else {
                    return;
                };
                if let Some(file) = self.workspace.close(&text_document.uri) {
                    self.findings.remove(&file);
                    self.tell(file, Some(text_document.uri));
                }
                self.check_all();
            }
            "textDocument/didSave" | "workspace/didChangeWatchedFiles" => {
                self.workspace.refresh();
                self.check_all();
            }
            "workspace/didChangeWorkspaceFolders" => {
                let Some(lsp::DidChangeWorkspaceFoldersParams { event }) = read(params) else {
                    return;
                };
                let names = |folders: Vec<lsp::WorkspaceFolder>| {
                    let name = |folder: lsp::WorkspaceFolder| uri::name_of(&folder.uri);
                    folders.into_iter().map(name).collect::<Vec<String>>()
                };
                self.workspace.change_folders(names(event.added), &names(event.removed));
                self.check_all();
            }
            "workspace/didChangeConfiguration" => match params.get("settings") {
                Some(Value::Null) | None => self.ask_for_settings(),
                Some(settings) => self.set(Settings::read(settings)),
            },
            _ => {}
        }
    }

    fn begin_to_listen(&mut self) {
        if self.watches {
            self.ask("client/registerCapability", watching());
        }
        self.ask_for_settings();
    }

    fn ask_for_settings(&mut self) {
        if self.configures {
            let asked = json!({ "items": [{ "section": "ripieno" }] });
            self.waits_for_settings = Some(self.ask("workspace/configuration", asked));
        }
    }

    fn set(&mut self, settings: Settings) {
        if settings != self.settings {
            self.settings = settings;
            if self.client.fresh_hints {
                self.ask("workspace/inlayHint/refresh", Value::Null);
            }
        }
    }

    fn take_response(&mut self, response: Response) {
        if self.waits_for_settings.as_ref() == Some(&response.id) {
            self.waits_for_settings = None;
            let sent = response.response_result.ok().and_then(|value| value.get(0).cloned());
            if let Some(sent) = sent.filter(|sent| !sent.is_null()) {
                self.set(Settings::read(&sent));
            }
        }
    }

    /// All open roots are to be checked.
    fn check_all(&mut self) {
        let roots = self.roots();
        let left: Vec<FileId> =
            self.findings.keys().copied().filter(|root| !roots.contains(root)).collect();
        for root in left {
            self.findings.remove(&root);
            self.tell(root, None);
        }
        self.to_check = roots.into_iter().collect();
    }

    /// The roots that read a file are to be checked.
    fn check_readers(&mut self, file: FileId) {
        let reading = self.workspace.reading(file);
        let before = self.to_check.len();
        self.to_check.extend(reading.into_iter().filter(|root| self.findings.contains_key(root)));
        if self.to_check.len() == before && !self.to_check.contains(&file) {
            self.check_all();
        }
    }

    fn has_to_tell(&self) -> bool {
        !self.to_check.is_empty()
    }

    /// Works out the findings of the next root and tells those that are new.
    fn tell_next(&mut self) {
        let Some(root) = self.to_check.pop_first() else { return };
        let name = self.workspace.name(root).to_string();
        let worked = self.survive(|server| {
            server.workspace.reach(root);
            findings::of_root(&mut server.workspace, root)
        });
        let Some(found) = worked else {
            // It is tried again at its next edit.
            self.failing.insert(name);
            return self.check_all();
        };
        let before = self.findings.insert(root, found).unwrap_or_default();
        let now = self.findings.get(&root).map(|found| found.keys().copied().collect::<Vec<_>>());
        let mut files: BTreeSet<FileId> = before.keys().copied().collect();
        files.extend(now.into_iter().flatten());
        files.insert(root);
        // Of an open text that has none it is told too, so that the client knows.
        files.extend(self.workspace.read_from(root));
        for file in files {
            self.tell(file, None);
        }
        // Which files stand alone may have changed.
        let roots = self.roots();
        let known =
            |root: &FileId| self.findings.contains_key(root) || self.to_check.contains(root);
        if self.findings.keys().any(|known| !roots.contains(known)) || !roots.iter().all(known) {
            self.check_all();
        }
    }

    /// The files that are checked by themselves and that the compiler does not fail at.
    fn roots(&mut self) -> Vec<FileId> {
        let mut roots = self.workspace.roots();
        roots.retain(|root| !self.failing.contains(self.workspace.name(*root)));
        roots
    }

    /// Tells the findings of a file, all roots together, if they are not those that were told.
    fn tell(&mut self, file: FileId, as_uri: Option<lsp::Uri>) {
        let mut all: Vec<lsp::Diagnostic> = Vec::new();
        for found in self.findings.values().filter_map(|found| found.get(&file)) {
            // Only what another root has told too can be there already.
            let before = all.len();
            for finding in found {
                if !all[..before].contains(finding) {
                    all.push(finding.clone());
                }
            }
        }
        let place = |finding: &lsp::Diagnostic| (finding.range.start, finding.range.end);
        all.sort_by_key(place);
        let uri = as_uri.unwrap_or_else(|| self.workspace.uri(file));
        let version = self.workspace.version(file);
        // Of an open text even the same findings are told, with the version for which they hold.
        if version.is_none() && self.told.get(&uri).map_or(all.is_empty(), |told| *told == all) {
            return;
        }
        if all.is_empty() && version.is_none() {
            self.told.remove(&uri);
        } else {
            self.told.insert(uri.clone(), all.clone());
        }
        let params = lsp::PublishDiagnosticsParams { uri, version, diagnostics: all };
        self.send(Notification::new("textDocument/publishDiagnostics".into(), params).into());
    }
}

/// The parameters of a notification; one that cannot be understood is passed over.
fn read<T: serde::de::DeserializeOwned>(params: Value) -> Option<T> {
    serde_json::from_value(params).ok()
}
