//! Sources changed at random.

use proptest::prelude::*;

/// What may be put into a source: its own tokens, odd numbers, letters of several bytes.
pub const PIECES: &[&str] = &[
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    "|",
    "=",
    "x",
    "&",
    ",",
    ":",
    "\"",
    "\n",
    "\r\n",
    "//",
    "1:",
    "0:",
    "99999999999:",
    "1/4",
    "1/0",
    "0/4",
    "1/128",
    "99/1",
    "1/4...",
    "3:2(",
    "16:15(",
    "0:0(",
    "grace(",
    "crushed(1/8 E5)",
    "D5",
    "Cb0",
    "B#9",
    "Fbb4",
    "𝄪",
    "♭",
    "é",
    "D5&F5&A5",
    "rest",
    "rest 4",
    "rest 4000000000",
    "[p]",
    "[cresc]",
    "[to]",
    "[trill]",
    "D5[tremolo 1/64]",
    "[pizz]",
    "[fermata]",
    "form",
    "voice",
    "scoring",
    "ensemble",
    "piece",
    "use \"forces.ripieno\"",
    "keep",
    "plays upper 15ma",
    "8vb",
    "bars 1..99999",
    "bars 9..1",
    "as bass",
    "sustains",
    "signals upper",
    "highlights entries",
    "doubles oboe.1",
    "writes { 1: 1/4 D5 | }",
    "rests",
    "takes crook Bb basso",
    "crook D",
    "tuned D3, A2",
    "24 players",
    "extends",
    "joins basso",
    "metre 255/64",
    "metre 1/1",
    "key Cb major",
    "key G# minor",
    "tempo 1/4 at 0",
    "tempo 1/4 at 1000000",
    "pick-up 1/8",
    "repeat",
    "1..4 repeat",
    "4 ending 1",
    "5 ending 2",
    "length 1/8",
    "end",
    "500 end",
    "double-bar",
    "mark \"\"",
];

/// One change of a text.
#[derive(Clone, Debug)]
pub enum Change {
    Delete { at: usize, length: usize },
    Insert { at: usize, piece: &'static str },
    Copy { from: usize, length: usize, to: usize },
}

/// Any change.
pub fn change() -> impl Strategy<Value = Change> {
    let at = any::<usize>();
    prop_oneof![
        (at, 1_usize..40).prop_map(|(at, length)| Change::Delete { at, length }),
        (at, proptest::sample::select(PIECES)).prop_map(|(at, piece)| Change::Insert { at, piece }),
        (at, 1_usize..200, at).prop_map(|(from, length, to)| Change::Copy { from, length, to }),
    ]
}

/// The nearest place before an offset where a character begins.
fn boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

/// A text after changes.
pub fn changed(text: &str, changes: &[Change]) -> String {
    let mut text = text.to_string();
    for change in changes {
        let place = |at: usize| boundary(&text, at % (text.len() + 1));
        match *change {
            Change::Delete { at, length } => {
                let (from, to) = (place(at), boundary(&text, place(at) + length));
                text.replace_range(from..to.max(from), "");
            }
            Change::Insert { at, piece } => {
                let at = place(at);
                text.insert_str(at, &format!(" {piece} "));
            }
            Change::Copy { from, length, to } => {
                let (from, to) = (place(from), place(to));
                let piece = text[from..boundary(&text, from + length).max(from)].to_string();
                text.insert_str(to, &piece);
            }
        }
    }
    text
}
