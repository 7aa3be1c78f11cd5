//! Characters that nobody sees and that do something: controls, and marks that turn the direction
//! of writing.

use std::borrow::Cow;

/// Is it a control character other than a tab or the end of a line, or a mark that turns the
/// direction of writing?
/// Source: The Unicode Standard, category Cc, and the Bidi_Control property (UAX #9).
#[must_use]
pub fn is_hidden(c: char) -> bool {
    (c.is_control() && !matches!(c, '\t' | '\n' | '\r'))
        || matches!(c, '\u{61C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// The text without such characters.
#[must_use]
pub fn without_hidden(text: &str) -> Cow<'_, str> {
    if text.contains(is_hidden) { text.replace(is_hidden, "").into() } else { text.into() }
}

/// The text with a visible sign of as many bytes in the place of each, so that places in it stay
/// the same and a terminal is not told what to do.
#[must_use]
pub fn harmless(text: &str) -> Cow<'_, str> {
    if !text.contains(is_hidden) {
        return text.into();
    }
    let shown = |c: char| match (is_hidden(c), c.len_utf8()) {
        (false, _) => c,
        (true, 1) => '?',
        (true, 2) => '¿',
        (true, _) => '\u{FFFD}',
    };
    text.chars().map(shown).collect::<String>().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_characters_are_shown_in_as_many_bytes() {
        for (text, shown) in [
            ("no\u{1B}[31mred", "no?[31mred"),
            ("a\u{85}b", "a¿b"),
            ("a\u{202E}b", "a\u{FFFD}b"),
            ("tab\tend\r\n", "tab\tend\r\n"),
        ] {
            assert_eq!(harmless(text), shown);
            assert_eq!(harmless(text).len(), text.len());
            assert!(!without_hidden(text).contains(is_hidden));
        }
    }
}
