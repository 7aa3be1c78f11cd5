//! Progress of what takes longer, told to a client that asked for it.

use gen_lsp_types as lsp;
use lsp_server::{Message, Notification};
use serde_json::{Value, json};

/// A piece of work whose progress is told; nothing is told without a token.
pub struct Progress<'a> {
    send: &'a dyn Fn(Message),
    token: Option<lsp::ProgressToken>,
}

impl<'a> Progress<'a> {
    /// Begins to tell.
    pub fn begin(
        send: &'a dyn Fn(Message),
        token: Option<lsp::ProgressToken>,
        title: &str,
    ) -> Progress<'a> {
        let progress = Progress { send, token };
        progress.tell(json!({ "kind": "begin", "title": title, "cancellable": false }));
        progress
    }

    fn tell(&self, value: Value) {
        if let Some(token) = &self.token {
            let params = json!({ "token": token, "value": value });
            (self.send)(Notification::new("$/progress".to_string(), params).into());
        }
    }
}

impl Drop for Progress<'_> {
    fn drop(&mut self) {
        self.tell(json!({ "kind": "end" }));
    }
}
