//! A file as it was read: item after item in order, and nothing lost.
//!
//! An [`Item`] is the head of a declaration, a line, a bar or a closing brace. Before each stands
//! its gap: blanks, comments and empty lines. Gaps and items follow one another without a hole, so
//! that together they are the text, byte for byte. A formatter goes through
//! [`Document::blocks`] (the declarations) and [`Document::items_of`] (their items) and takes each
//! with its place from [`Document::gap`] and [`Document::text_of`]; what an item is and what
//! stands in it says [`Item::node`], whose spans are turned into bytes of the text by
//! [`Document::range`]. A comment on the line of an item is at the beginning of the gap of the
//! next.
//!
//! [`Document::edit`] changes the text and reads again only what the change can reach: from the
//! item whose reading looked at the changed place on, until an item begins where one began before,
//! in the same kind of block. This is sound because what the grammar reads depends only on the
//! text from there on. All other items keep their numbers, and so all spans in them stay the same.

mod edited;

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

use super::context::{is_stray_sign, unclosed};
use super::item::{Item, Node, Within, read, told};
use super::parse::{nothing_to_read, unreadable};
use super::tree::*;
use crate::diagnostics::{Crowd, Diagnostic, FileId, ItemId, Span};
use crate::limits;
use crate::lists::{exactly, push_slowly};
use crate::narrow::Narrow;

/// A file as it was read.
#[derive(Clone, Debug)]
pub struct Document {
    file: FileId,
    text: String,
    items: Vec<Item>,
    blocks: Vec<Block>,
    /// The number for the next new item.
    next: u32,
    /// Why the file is not read at all.
    unreadable: Option<Diagnostic>,
    /// Is so much wrong that some of it is only counted? Which, depends on all that stands before.
    crowded: bool,
    /// What is only counted.
    crowd: Crowd,
    /// Is it no source, but data in another format, of which only the text counts?
    data: bool,
}

/// A declaration with its items.
#[derive(Clone, Debug)]
pub struct Block {
    /// Index of its first item, and of the first one after its last.
    items: (usize, usize),
    /// The number of its first item.
    head: ItemId,
    /// Its tree.
    pub declaration: Arc<Declaration>,
    /// Is the last finding of its items no fault, but what stands where its brace is missing?
    stray: bool,
    /// That its brace is missing.
    unclosed: Option<Box<Diagnostic>>,
}

impl Document {
    /// Reads a whole text.
    #[must_use]
    pub fn new(file: FileId, text: impl Into<String>) -> Document {
        let mut document = Document::data(file, text);
        document.data = false;
        document.read_all();
        document
    }

    /// A file in another format, such as one of instruments: it has a text, and no items.
    #[must_use]
    pub fn data(file: FileId, text: impl Into<String>) -> Document {
        Document {
            file,
            text: text.into(),
            items: Vec::new(),
            blocks: Vec::new(),
            next: 1,
            unreadable: None,
            crowded: false,
            crowd: Crowd::default(),
            data: true,
        }
    }

    /// The number of the file.
    #[must_use]
    pub fn file(&self) -> FileId {
        self.file
    }

    /// The text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The declarations in order.
    #[must_use]
    pub fn blocks(&self) -> &[Block] {
        &self.blocks
    }

    /// All items in order, with the byte at which each begins (behind its gap); the last one is the
    /// end of the file. None of a file that is empty or too large to be read.
    pub fn items(&self) -> impl Iterator<Item = (usize, &Item)> {
        self.items.iter().scan(0, |end, item| {
            let start = *end + item.gap();
            *end = start + item.length();
            Some((start, item))
        })
    }

    /// The items of a declaration, from its head to the end of its block, with the byte at which
    /// each begins.
    pub fn items_of(&self, block: &Block) -> impl Iterator<Item = (usize, &Item)> {
        self.items().take(block.items.1).skip(block.items.0)
    }

    /// The gap before an item that begins at a byte.
    #[must_use]
    pub fn gap(&self, (start, item): (usize, &Item)) -> &str {
        self.text.get(start - item.gap()..start).unwrap_or_default()
    }

    /// The text of an item that begins at a byte.
    #[must_use]
    pub fn text_of(&self, (start, item): (usize, &Item)) -> &str {
        self.text.get(start..start + item.length()).unwrap_or_default()
    }

    /// Where each item begins, by its number.
    #[must_use]
    pub fn places(&self) -> Vec<u32> {
        let mut places = vec![0; self.next as usize];
        for (start, item) in self.items() {
            places[item.id.0 as usize] = start.narrow::<u32>();
        }
        places
    }

    /// The bytes of a span of this file. To ask for many, hand [`Document::places`] to
    /// [`Sources`](crate::diagnostics::Sources).
    #[must_use]
    pub fn range(&self, span: Span) -> Range<usize> {
        let item =
            |id: ItemId| self.items().find(|(_, item)| item.id == id).map_or(0, |(start, _)| start);
        let start = item(span.first) + span.start as usize;
        let base =
            if span.first == span.last { start - span.start as usize } else { item(span.last) };
        start..(base + span.end as usize).max(start)
    }

    /// The declarations.
    #[must_use]
    pub fn tree(&self) -> Tree {
        if self.unreadable.is_some() {
            return nothing_to_read();
        }
        let declarations = self.blocks.iter().map(|block| Arc::clone(&block.declaration));
        Tree { declarations: declarations.collect() }
    }

    /// Everything that could not be read, in order. What is beyond the bound for its kind is only
    /// counted ([`Document::crowd`]).
    pub fn findings<'a>(&'a self) -> impl Iterator<Item = &'a Diagnostic> {
        let of_block = |block: &'a Block| {
            let items = &self.items[block.items.0..block.items.1];
            let all: usize = items.iter().map(|item| item.findings().len()).sum();
            let told = items.iter().flat_map(Item::findings);
            told.take(all - usize::from(block.stray)).chain(block.unclosed.as_deref())
        };
        self.unreadable.iter().chain(self.blocks.iter().flat_map(of_block))
    }

    /// What is beyond the bound for its kind.
    #[must_use]
    pub fn crowd(&self) -> &Crowd {
        &self.crowd
    }

    fn read_all(&mut self) {
        self.items.clear();
        let mut crowd = Crowd::default();
        self.unreadable = unreadable(self.file, &self.text);
        if self.unreadable.is_none() {
            let (mut at, mut within) = (0, Within::File);
            let lines = lines_with_items(&self.text);
            self.items.reserve_exact(lines + lines / 16 + 8);
            while !matches!(self.items.last(), Some(Item { node: Node::End, .. })) {
                let id = ItemId(self.items.len().narrow::<u32>() + 1);
                let mut item = read(self.file, id, &self.text[at..], within);
                if let Some(found) = item.findings.take() {
                    let all = found.len();
                    let mut held = found.into_vec();
                    held.retain(|finding| crowd.holds(finding.code));
                    item.crowded = held.len() < all;
                    item.findings = told(held);
                }
                at += item.room();
                within = item.node.leads_to().unwrap_or(within);
                push_slowly(&mut self.items, item);
            }
            // To shrink a list may take a copy of it.
            if self.items.capacity() > self.items.len() / 4 * 5 {
                self.items.shrink_to_fit();
            }
        }
        self.crowded = crowd.is_crowded();
        self.crowd = crowd;
        self.next = self.next.max(self.items.len().narrow::<u32>() + 1);
        self.blocks.clear();
        self.gather(0..self.items.len());
    }

    /// Gathers items to declarations; those that hold none of the fresh items stay as they are.
    fn gather(&mut self, fresh: Range<usize>) {
        let mut known: HashMap<ItemId, Block> =
            std::mem::take(&mut self.blocks).into_iter().map(|block| (block.head, block)).collect();
        let mut first = 0;
        let mut starts = None;
        let mut crowd = Crowd::default();
        while first < self.items.len() && self.items[first].node != Node::End {
            let mut after = first + 1;
            if self.items[first].node.leads_to().is_some() {
                let closes = |item: &Item| matches!(item.node, Node::Close | Node::Unclosed);
                after += self.items[after..].iter().take_while(|item| !closes(item)).count() + 1;
            }
            let after = after.min(self.items.len());
            let head = self.items[first].id;
            let untouched = fresh.end <= first || after <= fresh.start;
            let mut block = match known.remove(&head) {
                Some(block) if untouched && block.items.1 - block.items.0 == after - first => {
                    Block { items: (first, after), ..block }
                }
                _ => {
                    let starts: &Vec<usize> =
                        starts.get_or_insert_with(|| self.items().map(|(at, _)| at).collect());
                    self.block(first, after, starts)
                }
            };
            if let Some(unclosed) = &mut block.unclosed
                && !crowd.holds(unclosed.code)
            {
                // It stays with its block, which knows nothing of the others.
                let (code, place) = (unclosed.code, unclosed.primary.span);
                **unclosed = Diagnostic::error(code, place, "");
                self.crowded = true;
            }
            self.blocks.push(block);
            first = after;
        }
    }

    fn block(&self, first: usize, after: usize, starts: &[usize]) -> Block {
        let items = &self.items[first..after];
        let last = &items[items.len() - 1];
        let (mut stray, mut missing) = (false, None);
        if last.node == Node::Unclosed {
            let bytes = |span: Span| {
                let item = items.iter().position(|item| item.id == span.first);
                let base = item.map_or(0, |index| starts[first + index]);
                base + span.start as usize..base + span.end as usize
            };
            let told = items.iter().flat_map(Item::findings).last();
            stray = is_stray_sign(told, &self.text, bytes, starts[after - 1]);
            if let Some(head) = span_of_head(&items[0].node) {
                let place = Span::within(self.file, last.id, 0, 0);
                missing = Some(Box::new(unclosed(head, place, last.within.word())));
            }
        }
        let declaration = Arc::new(declaration(items));
        Block { items: (first, after), head: items[0].id, declaration, stray, unclosed: missing }
    }
}

/// How many lines have something on them that is no comment: mostly that is how many items there are,
/// but for written notes.
fn lines_with_items(text: &str) -> usize {
    let said = |line: &&str| {
        let line = line.trim_start();
        !line.is_empty() && !line.starts_with("//")
    };
    text.split(['\n', '\r']).filter(said).count()
}

/// The place by which a declaration is known: its name, its title or its keyword.
fn span_of_head(node: &Node) -> Option<Span> {
    match node {
        Node::Piece(word) | Node::Voice(word) | Node::Ensemble(word, _) => Some(word.span),
        Node::Lyrics(word, _) => Some(word.span),
        Node::Scoring(word, _) | Node::Instrument(word, _) => Some(word.span),
        Node::Form(span) | Node::Harmony(span) | Node::Dynamics(span) => Some(*span),
        Node::Layout(span, _) => Some(**span),
        _ => None,
    }
}

/// The tree of a declaration from its items.
fn declaration(items: &[Item]) -> Declaration {
    let nodes = items[1..].iter().map(|item| &item.node);
    let broken = || {
        let all = nodes.clone().filter_map(|node| match node {
            Node::Broken(word) => Some((**word).clone()),
            _ => None,
        });
        all.collect::<Vec<Word>>()
    };
    match &items[0].node {
        Node::Use(path) => Declaration::Use((**path).clone()),
        Node::Piece(title) => {
            let lines = nodes.clone().filter_map(|node| match node {
                Node::PieceLine(what, text) => Some(((**what).clone(), (**text).clone())),
                _ => None,
            });
            let lines = lines.collect();
            let movements = nodes.clone().filter_map(|node| match node {
                Node::Movement(movement) => Some((**movement).clone()),
                _ => None,
            });
            let movements = movements.collect();
            let numbering = nodes.filter_map(|node| match node {
                Node::Numbering(numbering) => Some(**numbering),
                _ => None,
            });
            let numbering = numbering.collect();
            Declaration::Piece(PieceTree { title: (**title).clone(), lines, movements, numbering })
        }
        Node::Form(span) => {
            let lines = nodes.clone().filter_map(|node| match node {
                Node::FormLine(line, _) => line.as_ref().map(Arc::clone),
                _ => None,
            });
            let broken = nodes.clone().filter_map(|node| match node {
                Node::FormLine(_, broken) => broken.as_deref().map(Arc::clone),
                _ => None,
            });
            let (lines, broken) = (exactly(lines), broken.collect());
            Declaration::Form(FormTree { span: *span, lines, broken })
        }
        Node::Harmony(span) => {
            let bars = nodes.clone().filter_map(|node| match node {
                Node::HarmonyBar(bar) => Some(Arc::clone(bar)),
                _ => None,
            });
            Declaration::Harmony(HarmonyTree { span: *span, bars: exactly(bars) })
        }
        Node::Dynamics(span) => {
            let lines = nodes.clone().filter_map(|node| match node {
                Node::DynamicsLine(line) => Some(Arc::clone(line)),
                _ => None,
            });
            let (span, lines) = (*span, exactly(lines));
            Declaration::Dynamics(DynamicsTree { span, lines, broken: broken() })
        }
        Node::Voice(name) => {
            let bars = nodes.clone().filter_map(|node| match node {
                Node::Bar(bar) => Some(Arc::clone(bar)),
                _ => None,
            });
            Declaration::Voice(VoiceTree { name: (**name).clone(), bars: exactly(bars) })
        }
        Node::Lyrics(voice, verse) => {
            let bars = nodes.clone().filter_map(|node| match node {
                Node::LyricsBar(bar) => Some(Arc::clone(bar)),
                _ => None,
            });
            let (voice, verse) = ((**voice).clone(), verse.as_deref().cloned());
            Declaration::Lyrics(LyricsTree { voice, verse, bars: exactly(bars) })
        }
        Node::Instrument(name, like) => {
            let lines = nodes.clone().filter_map(|node| match node {
                Node::InstrumentLine(line) => Some((**line).clone()),
                _ => None,
            });
            Declaration::Instrument(InstrumentTree {
                name: (**name).clone(),
                like: (**like).clone(),
                lines: lines.collect(),
                broken: broken(),
            })
        }
        Node::Ensemble(name, extends) => {
            let lines = nodes.clone().flat_map(|node| match node {
                Node::EnsembleLines(lines) => lines.to_vec(),
                _ => Vec::new(),
            });
            Declaration::Ensemble(EnsembleTree {
                name: (**name).clone(),
                extends: extends.as_deref().cloned(),
                lines: lines.collect(),
                broken: broken(),
            })
        }
        Node::Scoring(name, ensemble) => {
            let mut tree = ScoringTree {
                name: (**name).clone(),
                ensemble: (**ensemble).clone(),
                keeps: Vec::new(),
                keeps_lines: false,
                lines: Vec::new(),
                allows: Vec::new(),
                broken: broken(),
                broken_behind: Vec::new(),
            };
            for node in nodes {
                match node {
                    Node::Keep(names, lines) => {
                        tree.keeps.extend(names.iter().cloned());
                        tree.keeps_lines |= *lines;
                    }
                    Node::Allow(allow) => tree.allows.push((**allow).clone()),
                    Node::ScoringLine(line) => tree.lines.push(Arc::clone(line)),
                    Node::Broken(_) => tree.broken_behind.push(tree.lines.len()),
                    _ => {}
                }
            }
            Declaration::Scoring(tree)
        }
        Node::Layout(span, scoring) => {
            let lines = nodes.clone().filter_map(|node| match node {
                Node::LayoutLine(line) => Some((**line).clone()),
                _ => None,
            });
            let (span, lines) = (**span, lines.collect());
            let scoring = scoring.as_deref().cloned();
            Declaration::Layout(LayoutTree { span, scoring, lines, broken: broken() })
        }
        Node::Lost(keyword) => Declaration::Lost(*keyword),
        _ => Declaration::Lost(None),
    }
}
