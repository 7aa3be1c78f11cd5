//! The language server over standard input and output, as an editor talks to it; and its findings
//! after any edits against those of a fresh server.
//!
//! `RIPIENO_EDITS=50000 cargo test --release --test lsp` makes more edits than the usual run.

#[path = "shared/client.rs"]
mod client;
#[path = "shared/random.rs"]
mod random;

use std::io::{BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use lsp_server::{Message, Request, RequestId};
use serde_json::{Value, json};

use client::{Client, Wire};
use random::Random;

/// A server as a process of its own.
struct Process {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Wire for Process {
    fn send(&mut self, message: Message) {
        message.write(&mut self.to).unwrap();
        self.to.flush().unwrap();
    }

    fn receive(&mut self) -> Message {
        Message::read(&mut self.from).unwrap().expect("the server is there")
    }
}

impl Client<Process> {
    fn start(folder: &Path, capabilities: &Value) -> (Client<Process>, Value) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_ripieno"))
            .arg("lsp")
            .env("XDG_CACHE_HOME", folder.join("cache"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (to, from) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let mut client = Client::new(Process { child, to, from: BufReader::new(from) });
        let offered = client.begin(json!({
            "processId": null,
            "rootUri": uri(folder),
            "workspaceFolders": [{ "uri": uri(folder), "name": "weir" }],
            "capabilities": capabilities,
        }));
        (client, offered)
    }

    fn leave(mut self) {
        assert_eq!(self.ask("shutdown", Value::Null)["result"], Value::Null);
        assert_eq!(self.ask("textDocument/hover", json!({}))["error"]["code"], -32600);
        self.tell("exit", Value::Null);
        assert!(self.wire.child.wait().unwrap().success());
    }
}

fn uri(path: &Path) -> String {
    ripieno::lsp::uri::uri_of(path.to_str().unwrap()).0
}

fn codes(findings: &[Value]) -> Vec<&str> {
    findings.iter().map(|finding| finding["code"].as_str().unwrap()).collect()
}

const PIECE: &str = "use \"forces.ripieno\"\n\npiece \"Weir 🎻\" { licence \"CC0-1.0\" }\nform {\n  1 metre 4/4, key D minor, tempo 1/4 at 96\n  2 end\n}\nvoice upper {\n  1: 1/4 D5 E F G |\n  2: 1/1 A5 |\n}\nscoring small for duo {\n  oboe plays upper as melody\n}\n";
const FORCES: &str = "ensemble duo {\n  era 1770\n  oboe\n}\n";

fn folder_with(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

#[test]
fn a_session_as_an_editor_has_it() {
    let folder = folder_with(&[("weir.ripieno", PIECE), ("forces.ripieno", FORCES)]);
    let root = folder.path().canonicalize().unwrap();
    let (mut server, offered) = Client::start(&root, &json!({}));
    assert_eq!(offered["capabilities"]["positionEncoding"], "utf-16");
    assert_eq!(offered["capabilities"]["textDocumentSync"]["change"], 2);
    let weir = uri(&root.join("weir.ripieno"));

    // What is right has no findings; a mistake has one, with a page about it and a fix.
    server.open(&weir, 1, PIECE);
    assert_eq!(codes(server.findings(&weir, 1)), [""; 0]);
    let range =
        json!({ "start": { "line": 12, "character": 7 }, "end": { "line": 12, "character": 12 } });
    server.change(&weir, 2, json!([{ "range": range, "text": "palys" }]));
    let found = server.findings(&weir, 2).to_vec();
    assert_eq!(codes(&found), ["syntax/unexpected"]);
    assert_eq!(found[0]["range"], range);
    let page = found[0]["codeDescription"]["href"].as_str().unwrap();
    let page = ripieno::lsp::uri::name_of(&serde_json::from_value(json!(page)).unwrap());
    assert!(std::fs::read_to_string(page).unwrap().contains("syntax/unexpected"));

    let asked = json!({ "textDocument": { "uri": weir }, "range": range, "context": { "diagnostics": found } });
    let actions = server.ask("textDocument/codeAction", asked)["result"].clone();
    let fix =
        actions.as_array().unwrap().iter().find(|action| action["kind"] == "quickfix").unwrap();
    let edits = fix["edit"]["changes"][&weir].as_array().unwrap();
    assert_eq!(edits[0]["newText"], "plays");
    server.change(&weir, 3, json!([{ "range": edits[0]["range"], "text": edits[0]["newText"] }]));
    assert_eq!(codes(server.findings(&weir, 3)), [""; 0]);

    // A used file that is open but not saved counts before the one on the disk.
    let forces = uri(&root.join("forces.ripieno"));
    server.open(&forces, 1, &FORCES.replace("oboe", "flute"));
    server.findings(&forces, 1);
    if server.findings(&weir, 3).is_empty() {
        server.told.remove(&weir);
    }
    assert_eq!(codes(server.findings(&weir, 3)), ["names/unknown"]);
    server.told.remove(&weir);
    server.tell("textDocument/didClose", json!({ "textDocument": { "uri": forces } }));
    assert_eq!(codes(server.findings(&weir, 3)), [""; 0]);

    // A used file vanishes.
    std::fs::remove_file(root.join("forces.ripieno")).unwrap();
    server.told.remove(&weir);
    let gone = json!({ "changes": [{ "uri": forces, "type": 3 }] });
    server.tell("workspace/didChangeWatchedFiles", gone);
    assert!(codes(server.findings(&weir, 3)).contains(&"use/cannot-read"));
    server.leave();
}

#[test]
fn a_bar_is_shown_as_text() {
    let folder = folder_with(&[("forces.ripieno", FORCES)]);
    let root = folder.path().canonicalize().unwrap();
    let (mut server, offered) = Client::start(&root, &json!({}));
    let commands = offered["capabilities"]["executeCommandProvider"]["commands"].to_string();
    assert!(commands.contains("\"ripieno.showBar\""));
    // It was never saved.
    let weir = uri(&root.join("weir.ripieno"));
    server.open(&weir, 1, PIECE);
    let mut show = |scoring: &str, bar: i32| {
        let argument = json!({ "uri": weir, "scoring": scoring, "bar": bar });
        let asked = json!({ "command": "ripieno.showBar", "arguments": [argument] });
        server.ask("workspace/executeCommand", asked)["result"].clone()
    };
    let text = show("small", 2);
    assert!(text.as_str().unwrap().contains("A5"), "{text}");
    assert_eq!(show("small", 3), Value::Null);
    assert_eq!(show("large", 1), Value::Null);
    server.leave();
}

#[test]
fn page_and_source_point_at_each_other() {
    let folder = folder_with(&[("forces.ripieno", FORCES)]);
    let root = folder.path().canonicalize().unwrap();
    let (mut server, _) = Client::start(&root, &json!({}));
    let weir = uri(&root.join("weir.ripieno"));
    server.open(&weir, 1, PIECE);
    let mut execute = |command: &str, argument: &Value| {
        let asked = json!({ "command": command, "arguments": [argument] });
        server.ask("workspace/executeCommand", asked)
    };
    let offset = PIECE.find("A5").unwrap();
    let before = &PIECE[..offset];
    let line = before.matches('\n').count();
    let character = offset - before.rfind('\n').map_or(0, |end| end + 1);
    let position = json!({ "line": line, "character": character });
    let place = json!({ "textDocument": { "uri": weir }, "position": position });
    let printed = execute("ripieno.onPage", &place)["result"].clone();
    assert!(!printed.as_array().unwrap().is_empty(), "{printed}");
    for printed in printed.as_array().unwrap() {
        let mut asked = printed.clone();
        asked["uri"] = json!(weir);
        let found = execute("ripieno.inSource", &asked)["result"].clone();
        assert_eq!(found["range"]["start"], position, "{printed} {found}");
        asked["element"] = json!(99);
        assert_eq!(execute("ripieno.inSource", &asked)["result"], Value::Null);
    }
    assert_eq!(execute("ripieno.onPage", &json!({ "uri": weir }))["error"]["code"], -32602);
    server.leave();
}

#[test]
fn what_is_wrong_in_the_protocol_is_answered() {
    let folder = folder_with(&[]);
    let (mut server, _) = Client::start(folder.path(), &json!({}));
    assert_eq!(server.ask("ripieno/dance", json!({}))["error"]["code"], -32601);
    assert_eq!(server.ask("textDocument/codeAction", json!({ "x": 1 }))["error"]["code"], -32602);
    let unknown = json!({ "command": "ripieno.dance" });
    assert_eq!(server.ask("workspace/executeCommand", unknown)["error"]["code"], -32602);
    // Of a text that is not open nothing is known, and changes of it are passed over.
    let change = json!({ "textDocument": { "uri": "file:///no", "version": 1 }, "contentChanges": [{ "text": "x" }] });
    server.tell("textDocument/didChange", change);
    server.tell("textDocument/didOpen", json!({ "textDocument": 7 }));
    let hover = json!({ "textDocument": { "uri": "file:///no" }, "position": { "line": 0, "character": 0 } });
    assert_eq!(server.ask("textDocument/hover", hover)["result"], Value::Null);
    server.leave();
}

#[test]
fn positions_are_counted_as_client_and_server_agreed() {
    for (offered, character) in [("utf-8", 20), ("utf-16", 18), ("utf-32", 17)] {
        let folder = folder_with(&[]);
        let general = json!({ "general": { "positionEncodings": [offered] } });
        let (mut server, answer) = Client::start(folder.path(), &general);
        assert_eq!(answer["capabilities"]["positionEncoding"], offered);
        // An emoji of four bytes in a comment of a bar; the note behind it is none.
        let text = "form {\r\n  1 metre 1/4, key C major\r\n  1 end\r\n}\r\npiece \"🎻\" { license \"x\" }\r\n";
        let uri = "untitled:Untitled-1";
        server.open(uri, 1, text);
        let found = server.findings(uri, 1);
        let one = found.iter().find(|finding| finding["range"]["start"]["line"] == 4);
        let start = &one.unwrap_or_else(|| panic!("{found:#?}"))["range"]["start"];
        assert_eq!(start["character"], character - 5, "{offered}");
        server.leave();
    }
}

#[test]
fn a_request_that_is_cancelled_while_it_waits_is_not_worked_on() {
    let mut server = Client::in_thread();
    // Reading this takes longer than the two messages behind it.
    let long = format!("voice upper {{\n{}}}\n", "  1/4 D5 E F G |\n".repeat(4000));
    server.open("untitled:long", 1, &long);
    let place = json!({ "textDocument": { "uri": "untitled:long" }, "position": { "line": 1, "character": 7 } });
    let id = RequestId::from("a word".to_string());
    let request = Request { id: id.clone(), method: "textDocument/hover".into(), params: place };
    server.wire.send(request.into());
    server.tell("$/cancelRequest", json!({ "id": "a word" }));
    loop {
        match server.wire.receive() {
            Message::Response(response) if response.id == id => {
                assert_eq!(response.response_result.unwrap_err().code, -32800);
                break;
            }
            _ => {}
        }
    }
    // The number is free again.
    server.tell("$/cancelRequest", json!({ "id": 99 }));
    assert_eq!(server.ask("textDocument/hover", json!({ "textDocument": { "uri": "untitled:no" }, "position": { "line": 0, "character": 0 } }))["result"], Value::Null);
}

#[test]
fn many_open_pieces_are_told_each_by_itself() {
    let mut server = Client::in_thread();
    let uris: Vec<String> = (0..30).map(|n| format!("untitled:{n}")).collect();
    for (n, uri) in uris.iter().enumerate() {
        let text = PIECE.replace("use \"forces.ripieno\"\n", FORCES);
        let wrong = if n % 2 == 0 { "palys" } else { "plays" };
        server.open(uri, 1, &text.replace("plays", wrong));
    }
    for (n, uri) in uris.iter().enumerate() {
        let found = server.findings(uri, 1);
        assert_eq!(found.len(), 1 - n % 2, "{found:#?}");
    }
    for uri in &uris {
        server.tell("textDocument/didClose", json!({ "textDocument": { "uri": uri } }));
    }
    let one =
        json!({ "textDocument": { "uri": uris[0] }, "position": { "line": 0, "character": 0 } });
    assert_eq!(server.ask("textDocument/hover", one)["result"], Value::Null);
    assert_eq!(server.told[&uris[0]]["diagnostics"], json!([]));
}

/// Line and character of a byte in UTF-16, worked out here anew: the server has its own way.
fn position(text: &str, at: usize) -> Value {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let (mut line, mut character) = (0, 0);
    for (byte, letter) in text[..at].char_indices() {
        if letter == '\n' || letter == '\r' && text.as_bytes().get(byte + 1) != Some(&b'\n') {
            (line, character) = (line + 1, 0);
        } else {
            character += letter.len_utf16();
        }
    }
    json!({ "line": line, "character": character })
}

/// What a writer might put in, sense and nonsense.
const BITS: [&str; 36] = [
    "|",
    "{",
    "}",
    "\n",
    "\r\n",
    "\r",
    "3:2(",
    ")",
    "9:",
    " ",
    "//",
    "\"",
    "1/4 ",
    "=",
    "rest ",
    "D5 ",
    "F#4 ",
    "[p]",
    "[fermata]",
    "#",
    "&",
    "🎻",
    "e\u{301}",
    "♭",
    " as melody",
    " bars 1..2",
    " at f",
    "oboe rests bars 1\n",
    "allow compass \"so\"\n",
    "1 metre 2/4\n",
    "era 1885\n",
    "use \"a.ripieno\"\n",
    "voice third {\n 1: 1/1 A4 |\n}\n",
    "\u{FEFF}",
    " 8va",
    "C7 ",
];

#[test]
fn after_any_edits_the_findings_are_those_of_a_fresh_server() {
    let edits: usize =
        std::env::var("RIPIENO_EDITS").ok().and_then(|n| n.parse().ok()).unwrap_or(150);
    let whole = format!("{}{FORCES}", PIECE.replace("use \"forces.ripieno\"\n", "// 🎻 Wehr\r\n"));
    let uri = "untitled:weir";
    let mut random = Random(0x9E37_79B9_7F4A_7C15);
    let mut server = Client::in_thread();
    let mut text = whole.clone();
    server.open(uri, 0, &text);
    for step in 1..=edits as i64 {
        if step % 15 == 0 {
            server.change(uri, step, json!([{ "text": whole }]));
            text.clone_from(&whole);
        } else {
            // One change or two in one message, at any byte: what lies within a character or
            // within the end of a line is brought to its beginning, as a client's cursor is.
            let mut changes = Vec::new();
            for _ in 0..1 + random.below(2) {
                let place = |byte: usize| {
                    let mut byte = byte.min(text.len());
                    while !text.is_char_boundary(byte)
                        || byte > 0
                            && text.as_bytes().get(byte) == Some(&b'\n')
                            && text.as_bytes()[byte - 1] == b'\r'
                    {
                        byte -= 1;
                    }
                    byte
                };
                let start = place(random.below(text.len() + 1));
                let end = place(start + random.below(7)).max(start);
                let with = BITS[random.below(BITS.len())];
                let range = json!({ "start": position(&text, start), "end": position(&text, end) });
                changes.push(json!({ "range": range, "text": with }));
                text.replace_range(start..end, with);
            }
            server.change(uri, step, json!(changes));
        }
        let mut fresh = Client::in_thread();
        fresh.open(uri, step, &text);
        let (now, then) = (server.findings(uri, step), fresh.findings(uri, step));
        assert_eq!(now, then, "step {step}\n{text}");
    }
}
