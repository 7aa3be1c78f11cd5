//! Writes XML through `quick_xml`, with the few shapes of elements that MusicXML needs.

use std::borrow::Cow;
use std::io;

use quick_xml::Writer;
use quick_xml::escape::escape;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// Bytes that are handed over together.
const ENOUGH: usize = 64 * 1024;

/// An XML file under construction.
pub(super) struct Xml {
    writer: Writer<Vec<u8>>,
    /// Is anything written yet?
    begun: bool,
}

impl Xml {
    pub(super) fn with_capacity(bytes: usize) -> Xml {
        let writer = Writer::new_with_indent(Vec::with_capacity(bytes), b' ', 2);
        Xml { writer, begun: false }
    }

    fn write(&mut self, event: Event) {
        self.begun = true;
        // Writing to memory does not fail.
        let _ = self.writer.write_event(event);
    }

    fn start<'t>(tag: &'static str, attributes: &[(&'static str, &'t str)]) -> BytesStart<'t> {
        let mut start = BytesStart::new(tag);
        for (name, value) in attributes {
            start.push_attribute((*name, allowed(value).as_ref()));
        }
        start
    }

    pub(super) fn declaration(&mut self) {
        self.write(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)));
    }

    pub(super) fn open(&mut self, tag: &'static str) {
        self.open_with(tag, &[]);
    }

    pub(super) fn open_with(&mut self, tag: &'static str, attributes: &[(&'static str, &str)]) {
        self.write(Event::Start(Xml::start(tag, attributes)));
    }

    pub(super) fn close(&mut self, tag: &'static str) {
        self.write(Event::End(BytesEnd::new(tag)));
    }

    pub(super) fn empty(&mut self, tag: &'static str) {
        self.empty_with(tag, &[]);
    }

    pub(super) fn empty_with(&mut self, tag: &'static str, attributes: &[(&'static str, &str)]) {
        self.write(Event::Empty(Xml::start(tag, attributes)));
    }

    /// An element that holds text.
    pub(super) fn text(&mut self, tag: &'static str, text: &str) {
        self.text_with(tag, &[], text);
    }

    pub(super) fn text_with(
        &mut self,
        tag: &'static str,
        attributes: &[(&'static str, &str)],
        text: &str,
    ) {
        self.leaf(tag, attributes, &escape(allowed(text)));
    }

    /// An element that holds a word of the standard, in which there is nothing to escape.
    pub(super) fn word(&mut self, tag: &'static str, word: &'static str) {
        self.word_with(tag, &[], word);
    }

    pub(super) fn word_with(
        &mut self,
        tag: &'static str,
        attributes: &[(&'static str, &str)],
        word: &'static str,
    ) {
        self.leaf(tag, attributes, word);
    }

    /// An element on a line of its own. Nearly all that a file holds is such, so that the three events
    /// of each would be a third of the work: the bytes are put down as the writer would put them.
    fn leaf(&mut self, tag: &'static str, attributes: &[(&'static str, &str)], escaped: &str) {
        if !std::mem::replace(&mut self.begun, true) {
            let start = Xml::start(tag, attributes);
            for event in [
                Event::Start(start),
                Event::Text(BytesText::from_escaped(escaped)),
                Event::End(BytesEnd::new(tag)),
            ] {
                self.write(event);
            }
            return;
        }
        // Writing to memory does not fail.
        let _ = self.writer.write_indent();
        let out = self.writer.get_mut();
        let mut put = |pieces: &[&str]| {
            pieces.iter().for_each(|piece| out.extend_from_slice(piece.as_bytes()));
        };
        put(&["<", tag]);
        for (name, value) in attributes {
            put(&[" ", name, "=\"", &escape(allowed(value)), "\""]);
        }
        put(&[">", escaped, "</", tag, ">"]);
    }

    pub(super) fn number(&mut self, tag: &'static str, number: i64) {
        self.leaf(tag, &[], itoa::Buffer::new().format(number));
    }

    /// Hands over what is written so far, if that is worth it.
    pub(super) fn hand_over(&mut self, out: &mut dyn io::Write) -> io::Result<()> {
        let written = self.writer.get_mut();
        if written.len() >= ENOUGH {
            out.write_all(written)?;
            written.clear();
        }
        Ok(())
    }

    pub(super) fn finish(self) -> Vec<u8> {
        let mut bytes = self.writer.into_inner();
        bytes.push(b'\n');
        bytes
    }
}

/// The text without the characters that XML 1.0 forbids (section 2.2).
fn allowed(text: &str) -> Cow<'_, str> {
    let forbidden = |c: char| matches!(c, '\0'..='\u{8}' | '\u{B}' | '\u{C}' | '\u{E}'..='\u{1F}' | '\u{FFFE}' | '\u{FFFF}');
    if text.contains(forbidden) {
        Cow::Owned(text.chars().filter(|c| !forbidden(*c)).collect())
    } else {
        Cow::Borrowed(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(write: impl FnOnce(&mut Xml)) -> String {
        let mut xml = Xml::with_capacity(0);
        write(&mut xml);
        String::from_utf8(xml.finish()).unwrap()
    }

    #[test]
    fn text_is_escaped_and_forbidden_characters_are_dropped() {
        let text = written(|xml| xml.text("words", "a<b & \"c\"\u{0}\u{1b}\u{ffff}ü"));
        assert_eq!(text, "<words>a&lt;b &amp; &quot;c&quot;ü</words>\n");
    }

    #[test]
    fn an_element_with_text_stands_as_its_events_would() {
        let (attributes, words) = ([("id", "\"><x"), ("b", "ü")], "a<b & \"c\"\u{1b}");
        let leaf = written(|xml| {
            xml.open("a");
            xml.text_with("w", &attributes, words);
            xml.empty("e");
            xml.text("v", words);
            xml.close("a");
        });
        let events = written(|xml| {
            xml.open("a");
            xml.open_with("w", &attributes);
            xml.write(Event::Text(BytesText::new(&allowed(words))));
            xml.close("w");
            xml.empty("e");
            xml.open("v");
            xml.write(Event::Text(BytesText::new(&allowed(words))));
            xml.close("v");
            xml.close("a");
        });
        assert_eq!(leaf, events);
    }

    #[test]
    fn attributes_are_escaped() {
        let text = written(|xml| xml.empty_with("part", &[("id", "\"><x")]));
        assert_eq!(text, "<part id=\"&quot;&gt;&lt;x\"/>\n");
    }

    #[test]
    fn numbers_are_written_in_full() {
        let text = written(|xml| {
            xml.open("a");
            xml.number("n", -120);
            xml.number("n", 0);
            xml.number("n", i64::MIN);
            xml.close("a");
        });
        let expected = "<a>\n  <n>-120</n>\n  <n>0</n>\n  <n>-9223372036854775808</n>\n</a>\n";
        assert_eq!(text, expected);
    }
}
