//! One element of a file with all that it holds, in one row of nodes that is used again for the
//! next. Names, attributes and texts are pieces of the file; nothing is copied.
//!
//! Entities that a file declares are never looked up, so that none can grow; a document type is
//! never fetched.

use std::borrow::Cow;

use quick_xml::events::attributes::Attributes;

use super::tags::{Tag, Tags};
use crate::narrow::Narrow;

pub(super) use super::tags::Malformed;

/// More elements than any element of a measure holds; a guard against files that are made to hurt.
const MOST_NODES: usize = 1_000_000;

/// A node: the index of a node is its place in document order.
#[derive(Clone, Copy, Debug)]
struct Node<'a> {
    name: &'a str,
    /// What stands behind the name in the opening tag.
    attributes: &'a str,
    /// Everything between the opening tag and the first child or the closing tag, as it stands.
    text: &'a str,
    /// One past the last node inside.
    end: u32,
}

/// An element and what it holds.
#[derive(Debug, Default)]
pub(super) struct Tree<'a> {
    nodes: Vec<Node<'a>>,
    open: Vec<u32>,
}

/// What stands in a file next.
pub(super) enum Step<'a> {
    /// An element begins; where it has no content, `empty` says so.
    Begin { name: &'a str, attributes: &'a str, empty: bool },
    /// The innermost open element ends.
    End,
    /// The file ends.
    Eof,
}

/// Reads a file step by step.
pub(super) struct Walker<'a> {
    input: &'a str,
    tags: Tags<'a>,
}

impl<'a> Walker<'a> {
    pub(super) fn new(input: &'a str) -> Walker<'a> {
        Walker { input, tags: Tags::new(input) }
    }

    /// The next beginning or end of an element; texts between are passed over.
    pub(super) fn step(&mut self) -> Result<Step<'a>, Malformed> {
        loop {
            return Ok(match self.tags.next()? {
                Tag::Begin { name, attributes, empty } => Step::Begin { name, attributes, empty },
                Tag::End => Step::End,
                Tag::Aside => continue,
                Tag::Eof => Step::Eof,
            });
        }
    }

    /// Passes over an element that has begun.
    pub(super) fn skip(&mut self) -> Result<(), Malformed> {
        let mut depth = 1usize;
        while depth > 0 {
            match self.step()? {
                Step::Begin { empty: false, .. } => depth += 1,
                Step::Begin { .. } => {}
                Step::End => depth -= 1,
                Step::Eof => return Err(self.ends_early()),
            }
        }
        Ok(())
    }

    /// Reads an element that has begun into a tree, in place of what the tree held before.
    pub(super) fn read(
        &mut self,
        tree: &mut Tree<'a>,
        (name, attributes, empty): (&'a str, &'a str, bool),
    ) -> Result<(), Malformed> {
        tree.nodes.clear();
        tree.open.clear();
        tree.nodes.push(Node { name, attributes, text: "", end: 1 });
        if empty {
            return Ok(());
        }
        tree.open.push(0);
        let mut text = self.tags.place();
        // Whether text is still that of the innermost element.
        let mut fresh = true;
        while let Some(&innermost) = tree.open.last() {
            let tag = self.tags.next()?;
            let before = self.tags.begins();
            let innermost = innermost as usize;
            match tag {
                Tag::Begin { name, attributes, empty } => {
                    if fresh {
                        tree.nodes[innermost].text = &self.input[text..before];
                    }
                    if tree.nodes.len() >= MOST_NODES {
                        return Err(self.tags.malformed(
                            "one element holds more than a million others".to_string(),
                            before,
                        ));
                    }
                    let index: u32 = tree.nodes.len().narrow();
                    tree.nodes.push(Node { name, attributes, text: "", end: index + 1 });
                    if empty {
                        fresh = false;
                    } else {
                        tree.open.push(index);
                        text = self.tags.place();
                        fresh = true;
                    }
                }
                Tag::End => {
                    let end: u32 = tree.nodes.len().narrow();
                    let node = &mut tree.nodes[innermost];
                    if fresh {
                        node.text = &self.input[text..before];
                    }
                    node.end = end;
                    fresh = false;
                    tree.open.pop();
                }
                // What stands beside a comment is the text, before it or else behind it.
                Tag::Aside if fresh => {
                    let said = &self.input[text..before];
                    if said.trim_ascii().is_empty() {
                        text = self.tags.place();
                    } else {
                        tree.nodes[innermost].text = said;
                        fresh = false;
                    }
                }
                Tag::Aside => {}
                Tag::Eof => return Err(self.ends_early()),
            }
        }
        Ok(())
    }

    pub(super) fn ends_early(&self) -> Malformed {
        self.tags
            .malformed("the file ends in the middle of an element".to_string(), self.input.len())
    }
}

/// A node of a tree.
#[derive(Clone, Copy)]
pub(super) struct Element<'t, 'a> {
    tree: &'t Tree<'a>,
    index: u32,
}

impl<'a> Tree<'a> {
    /// The outermost element.
    pub(super) fn root(&self) -> Element<'_, 'a> {
        Element { tree: self, index: 0 }
    }
}

impl<'t, 'a> Element<'t, 'a> {
    fn node(self) -> &'t Node<'a> {
        &self.tree.nodes[self.index as usize]
    }

    pub(super) fn name(self) -> &'a str {
        self.node().name
    }

    /// The elements right inside.
    pub(super) fn children(self) -> impl Iterator<Item = Element<'t, 'a>> {
        let end = self.node().end;
        let mut next = self.index + 1;
        std::iter::from_fn(move || {
            (next < end).then(|| {
                let child = Element { tree: self.tree, index: next };
                next = child.node().end;
                child
            })
        })
    }

    /// The first element of that name right inside.
    pub(super) fn child(self, name: &str) -> Option<Element<'t, 'a>> {
        self.children().find(|child| child.name() == name)
    }

    /// The text of the first element of that name right inside.
    pub(super) fn text_of(self, name: &str) -> Option<Cow<'a, str>> {
        self.child(name).map(Element::text)
    }

    /// The number that the first element of that name right inside holds.
    pub(super) fn number_of<N: std::str::FromStr>(self, name: &str) -> Option<N> {
        self.child(name)?.raw().parse().ok()
    }

    /// The text before the first child as it stands in the file, trimmed.
    pub(super) fn raw(self) -> &'a str {
        self.node().text.trim_matches(|c: char| c.is_ascii_whitespace())
    }

    /// The text before the first child, trimmed.
    pub(super) fn text(self) -> Cow<'a, str> {
        let raw = self.raw();
        if !raw.contains(['&', '<']) {
            return Cow::Borrowed(raw);
        }
        let plain = raw.replace("<![CDATA[", "").replace("]]>", "");
        match quick_xml::escape::unescape(&plain) {
            Ok(text) => Cow::Owned(text.into_owned()),
            Err(_) => Cow::Owned(plain),
        }
    }

    /// An attribute.
    pub(super) fn attribute(self, name: &str) -> Option<Cow<'a, str>> {
        attribute(self.node().attributes, name)
    }

    /// Does an attribute have that value?
    pub(super) fn is(self, name: &str, value: &str) -> bool {
        !self.node().attributes.is_empty() && self.attribute(name).is_some_and(|v| v == value)
    }
}

/// An attribute among those of a tag.
pub(super) fn attribute<'a>(attributes: &'a str, name: &str) -> Option<Cow<'a, str>> {
    let mut all = Attributes::new(attributes, 0);
    all.with_checks(false);
    let found = all.filter_map(Result::ok).find(|a| a.key.local_name().as_ref() == name)?;
    match quick_xml::escape::unescape(&found.value) {
        Ok(Cow::Owned(text)) => Some(Cow::Owned(text)),
        _ => Some(found.value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<String, String> {
        let mut walker = Walker::new(text);
        let Ok(Step::Begin { name, attributes, empty }) = walker.step() else {
            return Err("no element".into());
        };
        let mut tree = Tree::default();
        walker
            .read(&mut tree, (name, attributes, empty))
            .map_err(|malformed| format!("{}: {}", malformed.line, malformed.why))?;
        fn show(element: Element) -> String {
            let inside: Vec<String> = element.children().map(show).collect();
            format!("{}={}({})", element.name(), element.text(), inside.join(" "))
        }
        Ok(show(tree.root()))
    }

    #[test]
    fn an_element_holds_its_children_and_its_text() {
        let text = "<note a='1'> x &amp; y <pitch><step>C</step><alter/></pitch><dot/>z</note>";
        assert_eq!(read(text).unwrap(), "note=x & y(pitch=(step=C() alter=()) dot=())");
    }

    #[test]
    fn attributes_are_found_by_name() {
        assert_eq!(attribute(" number='1' type=\"start &lt;\"", "type").unwrap(), "start <");
        assert_eq!(attribute("", "type"), None);
    }

    #[test]
    fn a_file_that_breaks_off_is_told_with_its_line() {
        assert!(read("<note>\n<pitch>\n").unwrap_err().starts_with("3: "));
        assert!(read("<note>\n</pitch>").unwrap_err().starts_with("2: "));
    }

    #[test]
    fn comments_are_no_text() {
        let text = "<note><step><!-- <no> -->C<!-- D --></step><alter> 1 <?x y?></alter></note>";
        assert_eq!(read(text).unwrap(), "note=(step=C() alter=1())");
    }

    #[test]
    fn entities_of_a_file_are_not_looked_up() {
        let bomb = "<!DOCTYPE n [<!ENTITY a \"&b;&b;\"><!ENTITY b \"ha\">]><n>&a;</n>";
        assert_eq!(read(bomb).unwrap(), "n=&a;()");
    }
}
