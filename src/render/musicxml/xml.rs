//! Writes XML into one buffer.
//!
//! A score of thirty parts is a million tags whose names are all known beforehand; written through
//! `quick_xml::Writer` they took twice as long as the rest of the compiler. Here a tag costs a few
//! copies of bytes. Text from outside is always escaped; `quick_xml` reads the files in the tests.

/// Line beginnings by depth; deeper ones are not indented further.
const INDENT: &[u8; 25] = b"\n                        ";

/// An XML file under construction. Names and words are constants of this module's neighbours and
/// hold nothing that needs escaping; everything else goes through [`Xml::text`] or an attribute.
pub(super) struct Xml {
    out: Vec<u8>,
    depth: usize,
}

impl Xml {
    pub(super) fn with_capacity(bytes: usize) -> Xml {
        Xml { out: Vec::with_capacity(bytes), depth: 0 }
    }

    pub(super) fn declaration(&mut self) {
        self.out.extend_from_slice(br#"<?xml version="1.0" encoding="UTF-8"?>"#);
    }

    #[inline]
    fn line(&mut self) {
        let length = (1 + 2 * self.depth).min(INDENT.len());
        self.out.extend_from_slice(&INDENT[..length]);
    }

    #[inline]
    fn tag(&mut self, tag: &'static str, attributes: &[(&'static str, &str)]) {
        self.line();
        self.out.push(b'<');
        self.out.extend_from_slice(tag.as_bytes());
        for (name, value) in attributes {
            self.out.push(b' ');
            self.out.extend_from_slice(name.as_bytes());
            self.out.extend_from_slice(b"=\"");
            self.escaped(value);
            self.out.push(b'"');
        }
    }

    #[inline]
    fn end(&mut self, tag: &'static str) {
        self.out.extend_from_slice(b"</");
        self.out.extend_from_slice(tag.as_bytes());
        self.out.push(b'>');
    }

    #[inline]
    pub(super) fn open(&mut self, tag: &'static str) {
        self.open_with(tag, &[]);
    }

    #[inline]
    pub(super) fn open_with(&mut self, tag: &'static str, attributes: &[(&'static str, &str)]) {
        self.tag(tag, attributes);
        self.out.push(b'>');
        self.depth += 1;
    }

    #[inline]
    pub(super) fn close(&mut self, tag: &'static str) {
        self.depth = self.depth.saturating_sub(1);
        self.line();
        self.end(tag);
    }

    #[inline]
    pub(super) fn empty(&mut self, tag: &'static str) {
        self.empty_with(tag, &[]);
    }

    #[inline]
    pub(super) fn empty_with(&mut self, tag: &'static str, attributes: &[(&'static str, &str)]) {
        self.tag(tag, attributes);
        self.out.extend_from_slice(b"/>");
    }

    /// An element that holds a word of the standard.
    #[inline]
    pub(super) fn word(&mut self, tag: &'static str, word: &'static str) {
        self.word_with(tag, &[], word);
    }

    #[inline]
    pub(super) fn word_with(
        &mut self,
        tag: &'static str,
        attributes: &[(&'static str, &str)],
        word: &'static str,
    ) {
        self.tag(tag, attributes);
        self.out.push(b'>');
        self.out.extend_from_slice(word.as_bytes());
        self.end(tag);
    }

    /// An element that holds any text.
    pub(super) fn text(&mut self, tag: &'static str, text: &str) {
        self.text_with(tag, &[], text);
    }

    pub(super) fn text_with(
        &mut self,
        tag: &'static str,
        attributes: &[(&'static str, &str)],
        text: &str,
    ) {
        self.tag(tag, attributes);
        self.out.push(b'>');
        self.escaped(text);
        self.end(tag);
    }

    #[inline]
    pub(super) fn number(&mut self, tag: &'static str, number: i64) {
        self.tag(tag, &[]);
        self.out.push(b'>');
        self.digits(number);
        self.end(tag);
    }

    fn digits(&mut self, number: i64) {
        if number < 0 {
            self.out.push(b'-');
        }
        let mut digits = [0; 20];
        let mut place = digits.len();
        let mut left = number.unsigned_abs();
        loop {
            place -= 1;
            digits[place] = b'0' + (left % 10) as u8;
            left /= 10;
            if left == 0 {
                break;
            }
        }
        self.out.extend_from_slice(&digits[place..]);
    }

    /// Writes text with the signs of markup escaped and without the characters that XML 1.0
    /// forbids (section 2.2).
    fn escaped(&mut self, text: &str) {
        for c in text.chars() {
            match c {
                '&' => self.out.extend_from_slice(b"&amp;"),
                '<' => self.out.extend_from_slice(b"&lt;"),
                '>' => self.out.extend_from_slice(b"&gt;"),
                '"' => self.out.extend_from_slice(b"&quot;"),
                // A reader would turn these into spaces inside an attribute.
                '\t' => self.out.extend_from_slice(b"&#9;"),
                '\n' => self.out.extend_from_slice(b"&#10;"),
                '\r' => self.out.extend_from_slice(b"&#13;"),
                '\0'..='\x1f' | '\u{fffe}' | '\u{ffff}' => {}
                c => self.out.extend_from_slice(c.encode_utf8(&mut [0; 4]).as_bytes()),
            }
        }
    }

    pub(super) fn finish(mut self) -> Vec<u8> {
        self.out.push(b'\n');
        self.out
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
        assert_eq!(text, "\n<words>a&lt;b &amp; &quot;c&quot;ü</words>\n");
    }

    #[test]
    fn attributes_are_escaped() {
        let text = written(|xml| xml.empty_with("part", &[("id", "\"><x")]));
        assert_eq!(text, "\n<part id=\"&quot;&gt;&lt;x\"/>\n");
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
        let expected = "\n<a>\n  <n>-120</n>\n  <n>0</n>\n  <n>-9223372036854775808</n>\n</a>\n";
        assert_eq!(text, expected);
    }
}
