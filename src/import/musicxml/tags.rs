//! The tags of a file one after the other, and nothing else of XML: what stands between them is
//! the caller's to look at. A general reader of XML, which decodes and checks every piece of text
//! that nobody asks for, took half the time of an import.
//!
//! Document types, comments and instructions are passed over, never fetched or looked up.

use memchr::{memchr, memchr3, memmem};

/// Elements inside one another; a guard against files that are made to hurt.
const DEEPEST: usize = 256;

/// What stands in a file next.
pub(super) enum Tag<'a> {
    /// An element begins; where it has no content, `empty` says so. The name is without prefix.
    Begin { name: &'a str, attributes: &'a str, empty: bool },
    /// The innermost open element ends.
    End,
    /// A comment, an instruction or a document type.
    Aside,
    /// The file ends.
    Eof,
}

/// A file that is not well-formed: why, and the line.
pub(super) struct Malformed {
    pub(super) why: String,
    pub(super) line: usize,
}

/// Goes through a file tag by tag.
pub(super) struct Tags<'a> {
    input: &'a str,
    /// Where the last tag begins, and where it ends.
    begins: usize,
    at: usize,
    /// The names of the elements that are open, with their prefixes.
    open: Vec<&'a str>,
}

impl<'a> Tags<'a> {
    pub(super) fn new(input: &'a str) -> Tags<'a> {
        Tags { input, begins: 0, at: 0, open: Vec::new() }
    }

    /// Where the last tag begins.
    pub(super) fn begins(&self) -> usize {
        self.begins
    }

    /// What follows the last tag begins here.
    pub(super) fn place(&self) -> usize {
        self.at
    }

    /// The next tag.
    pub(super) fn next(&mut self) -> Result<Tag<'a>, Malformed> {
        let bytes = self.input.as_bytes();
        loop {
            let Some(found) = memchr(b'<', &bytes[self.at..]) else {
                self.begins = bytes.len();
                self.at = bytes.len();
                return Ok(Tag::Eof);
            };
            self.begins = self.at + found;
            let inside = self.begins + 1;
            match bytes.get(inside) {
                Some(b'/') => return self.end(inside + 1),
                Some(b'?') => self.at = self.behind(inside, "?>")?,
                Some(b'!') if self.input[inside..].starts_with("!--") => {
                    self.at = self.behind(inside + 3, "-->")?;
                }
                Some(b'!') if self.input[inside..].starts_with("![CDATA[") => {
                    // It is text, in which no tag begins.
                    self.at = self.behind(inside, "]]>")?;
                    continue;
                }
                Some(b'!') => self.at = self.behind_type(inside)?,
                _ => return self.begin(inside),
            }
            return Ok(Tag::Aside);
        }
    }

    fn begin(&mut self, inside: usize) -> Result<Tag<'a>, Malformed> {
        let bytes = self.input.as_bytes();
        let mut end = inside;
        // A value may hold what otherwise ends a tag.
        loop {
            let Some(found) = memchr3(b'>', b'"', b'\'', &bytes[end..]) else {
                return Err(self.never_ends());
            };
            end += found;
            let sign = bytes[end];
            if sign == b'>' {
                break;
            }
            let Some(closing) = memchr(sign, &bytes[end + 1..]) else {
                return Err(self.never_ends());
            };
            end += closing + 2;
        }
        self.at = end + 1;
        let empty = end > inside && bytes[end - 1] == b'/';
        let tag = &self.input[inside..if empty { end - 1 } else { end }];
        let length = tag.bytes().position(|byte| byte.is_ascii_whitespace()).unwrap_or(tag.len());
        let (whole, attributes) = tag.split_at(length);
        if whole.is_empty() {
            return Err(self.malformed("a `<` that begins no element".to_string(), self.begins));
        }
        if !empty {
            if self.open.len() >= DEEPEST {
                return Err(self.malformed(
                    format!("more than {DEEPEST} elements stand inside one another"),
                    self.begins,
                ));
            }
            self.open.push(whole);
        }
        let prefix = whole.bytes().rposition(|byte| byte == b':').map_or(0, |place| place + 1);
        Ok(Tag::Begin { name: &whole[prefix..], attributes, empty })
    }

    fn end(&mut self, inside: usize) -> Result<Tag<'a>, Malformed> {
        let Some(length) = memchr(b'>', &self.input.as_bytes()[inside..]) else {
            return Err(self.never_ends());
        };
        self.at = inside + length + 1;
        let name = self.input[inside..inside + length].trim_ascii_end();
        match self.open.pop() {
            Some(open) if open == name => Ok(Tag::End),
            Some(open) => {
                let shown = |name: &str| name.chars().take(40).collect::<String>();
                let why = format!("`</{}>` stands where `</{}>` should", shown(name), shown(open));
                Err(self.malformed(why, self.begins))
            }
            None => {
                Err(self.malformed("an element ends that never began".to_string(), self.begins))
            }
        }
    }

    /// The place behind the next such sign.
    fn behind(&self, from: usize, sign: &str) -> Result<usize, Malformed> {
        memmem::find(&self.input.as_bytes()[from..], sign.as_bytes())
            .map(|found| from + found + sign.len())
            .ok_or_else(|| self.never_ends())
    }

    /// The place behind a document type with all that it declares.
    fn behind_type(&self, from: usize) -> Result<usize, Malformed> {
        let mut inside = false;
        let mut quote: Option<u8> = None;
        let mut place = from;
        while let Some(&byte) = self.input.as_bytes().get(place) {
            if quote.is_none() && self.input.as_bytes()[place..].starts_with(b"<!--") {
                place = self.behind(place + 4, "-->")?;
                continue;
            }
            match (quote, byte) {
                (Some(open), _) => quote = Some(open).filter(|open| *open != byte),
                (None, b'"' | b'\'') => quote = Some(byte),
                (None, b'[') => inside = true,
                (None, b']') => inside = false,
                (None, b'>') if !inside => return Ok(place + 1),
                _ => {}
            }
            place += 1;
        }
        Err(self.never_ends())
    }

    fn never_ends(&self) -> Malformed {
        self.malformed("what begins here never ends".to_string(), self.begins)
    }

    /// What is wrong at a place of the file.
    pub(super) fn malformed(&self, why: String, at: usize) -> Malformed {
        let before = &self.input.as_bytes()[..at.min(self.input.len())];
        Malformed { why, line: 1 + before.iter().filter(|byte| **byte == b'\n').count() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tags of a text as they are understood, or why not.
    fn read(text: &str) -> String {
        let mut tags = Tags::new(text);
        let mut shown = Vec::new();
        loop {
            match tags.next() {
                Ok(Tag::Begin { name, attributes, empty }) => {
                    shown.push(format!("{name}{attributes}{}", if empty { "/" } else { "" }));
                }
                Ok(Tag::End) => shown.push("end".to_string()),
                Ok(Tag::Aside) => shown.push("aside".to_string()),
                Ok(Tag::Eof) => return shown.join(", "),
                Err(wrong) => return format!("{}: {}", wrong.line, wrong.why),
            }
        }
    }

    #[test]
    fn tags_are_told_apart() {
        assert_eq!(read("<a b='>'><c/> x <m:d e=\"'\"/></a >"), "a b='>', c/, d e=\"'\"/, end");
        assert_eq!(read("<?xml a?><!-- <b> --><a><![CDATA[<c>]]></a>"), "aside, aside, a, end");
        assert_eq!(read("<!DOCTYPE a [<!-- it's --><!ENTITY b \"]>\">]><a/>"), "aside, a/");
    }

    #[test]
    fn what_is_broken_is_told_with_its_line() {
        assert_eq!(read("<a>\n</b>"), "2: `</b>` stands where `</a>` should");
        assert_eq!(read("</a>"), "1: an element ends that never began");
        assert_eq!(read("\n<a b='"), "2: what begins here never ends");
        assert_eq!(read("<!-- a"), "1: what begins here never ends");
        assert_eq!(read("< a>"), "1: a `<` that begins no element");
        assert!(read(&"<a>".repeat(300)).starts_with("1: more than 256"));
    }
}
