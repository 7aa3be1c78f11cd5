//! A client of the language server, and a machine without files.
// Every test takes what it needs.
#![allow(dead_code)]

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use lsp_server::{Connection, Message, Notification, Request, RequestId, Response};
use ripieno::lsp::{Host, serve};
use ripieno::resolve::LoadError;
use serde_json::{Value, json};

/// A machine without files.
pub struct Nothing;

impl Host for Nothing {
    fn read(&self, _: &Path) -> Result<String, LoadError> {
        Err(LoadError::NotFound)
    }
    fn real(&self, file: &Path) -> Result<PathBuf, LoadError> {
        Ok(file.to_path_buf())
    }
    fn sources_below(&self, _: &Path) -> Vec<PathBuf> {
        Vec::new()
    }
    fn page(&self, _: &str, _: &str) -> Option<PathBuf> {
        None
    }
    fn build(&self, _: &Path, _: &str) -> Result<String, String> {
        Err("there is nowhere to write to".into())
    }
}

/// The way to a server and back.
pub trait Wire {
    fn send(&mut self, message: Message);
    fn receive(&mut self) -> Message;
}

impl Wire for Connection {
    fn send(&mut self, message: Message) {
        self.sender.send(message).expect("the server lives");
    }
    fn receive(&mut self) -> Message {
        self.receiver.recv().expect("the server lives")
    }
}

/// Who talks to a server.
pub struct Client<W> {
    pub wire: W,
    asked: i32,
    /// What was told last of each text, by address.
    pub told: HashMap<String, Value>,
}

impl Client<Connection> {
    /// A client of a server in a thread of this process.
    pub fn in_thread() -> Client<Connection> {
        let (connection, other) = Connection::memory();
        std::thread::spawn(move || serve(&other, Arc::new(Nothing)));
        let mut client = Client::new(connection);
        let capabilities = json!({ "general": { "positionEncodings": ["utf-16"] } });
        client.begin(json!({ "capabilities": capabilities }));
        client
    }
}

impl<W: Wire> Client<W> {
    pub fn new(wire: W) -> Client<W> {
        Client { wire, asked: 0, told: HashMap::new() }
    }

    /// Introduces itself; gives back what the server offers.
    pub fn begin(&mut self, params: Value) -> Value {
        let offered = self.ask("initialize", params)["result"].take();
        self.tell("initialized", json!({}));
        offered
    }

    pub fn tell(&mut self, method: &str, params: Value) {
        self.wire.send(Notification { method: method.into(), params }.into());
    }

    /// Asks, and gives back the answer; what is told meanwhile is kept.
    pub fn answer(&mut self, method: &str, params: Value) -> Response {
        self.asked += 1;
        let id = RequestId::from(self.asked);
        self.wire.send(Request { id: id.clone(), method: method.into(), params }.into());
        loop {
            match self.wire.receive() {
                Message::Response(response) if response.id == id => return response,
                message => self.keep(message),
            }
        }
    }

    /// The same as the protocol writes it.
    pub fn ask(&mut self, method: &str, params: Value) -> Value {
        serde_json::to_value(self.answer(method, params)).unwrap()
    }

    fn keep(&mut self, message: Message) {
        if let Message::Notification(told) = message
            && told.method == "textDocument/publishDiagnostics"
        {
            let uri = told.params["uri"].as_str().unwrap().to_string();
            self.told.insert(uri, told.params);
        }
    }

    pub fn open(&mut self, uri: &str, version: i64, text: &str) {
        let text = json!({ "uri": uri, "languageId": "ripieno", "version": version, "text": text });
        self.tell("textDocument/didOpen", json!({ "textDocument": text }));
    }

    pub fn change(&mut self, uri: &str, version: i64, changes: Value) {
        let text = json!({ "uri": uri, "version": version });
        let change = json!({ "textDocument": text, "contentChanges": changes });
        self.tell("textDocument/didChange", change);
    }

    /// Waits until the findings of a version are told.
    pub fn findings(&mut self, uri: &str, version: i64) -> &[Value] {
        while self.told.get(uri).is_none_or(|told| told["version"] != version) {
            let message = self.wire.receive();
            self.keep(message);
        }
        self.told[uri]["diagnostics"].as_array().unwrap()
    }
}
