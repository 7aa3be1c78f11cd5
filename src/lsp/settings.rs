//! What the user chose in the editor.

use serde::Deserialize;
use serde_json::Value;

/// The settings of the section `ripieno`.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Deserialize)]
#[serde(default, rename_all = "camelCase")]
pub struct Settings {
    /// Which hints stand between the notes.
    pub hints: Hints,
}

/// Hints that the editor shows between the signs of the source, each by itself.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
#[serde(default, rename_all = "camelCase")]
pub struct Hints {
    /// The number of a bar that has none written.
    pub bar_numbers: bool,
    /// The octave of a note that carries it over from the one before, at the first of a bar.
    pub octaves: bool,
    /// The chord of a bar.
    pub chords: bool,
    /// The written pitch of notes that a scoring writes for a transposing instrument.
    pub written_pitch: bool,
}

impl Default for Hints {
    fn default() -> Hints {
        Hints { bar_numbers: true, octaves: true, chords: false, written_pitch: true }
    }
}

impl Settings {
    /// Reads settings as a client sends them: the section itself, or an object that holds it.
    /// What is not understood stays as it is by default.
    #[must_use]
    pub fn read(sent: &Value) -> Settings {
        let section = sent.get("ripieno").unwrap_or(sent);
        Settings::deserialize(section).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn each_hint_is_switched_by_itself() {
        let read = Settings::read(&json!({ "ripieno": { "hints": { "octaves": false } } }));
        assert_eq!(read.hints, Hints { octaves: false, ..Hints::default() });
        let read = Settings::read(&json!({ "hints": { "chords": true }, "path": "ripieno" }));
        assert_eq!(read.hints, Hints { chords: true, ..Hints::default() });
        assert_eq!(Settings::read(&json!(null)), Settings::default());
        assert_eq!(Settings::read(&json!({ "hints": 7 })), Settings::default());
    }
}
