//! A document whose text is edited: what the edit can reach is read again.

use std::collections::HashMap;
use std::ops::Range;

use super::{Document, Item, ItemId, Node, limits, read, unreadable};

impl Document {
    /// Puts `with` in the place of some bytes, which are brought onto whole characters within the
    /// text, and reads what that reaches.
    pub fn edit(&mut self, range: Range<usize>, with: &str) {
        let floor = |mut at: usize| {
            at = at.min(self.text.len());
            while !self.text.is_char_boundary(at) {
                at -= 1;
            }
            at
        };
        let start = floor(range.start);
        let end = floor(range.end).max(start);
        let old = self.text.clone();
        self.text.replace_range(start..end, with);
        if self.data {
            return;
        }
        let whole = self.unreadable.is_some() || self.crowded;
        if whole || unreadable(self.file, &self.text).is_some() {
            return self.read_all();
        }
        let (first, from) = self.first_reached(&old, start);
        let (behind, new) = self.read_again(first, from, start..end, with.len());
        let fresh = first..first + new.len();
        let mut old_at = from;
        let kept: Vec<(Item, String)> = self.items[first..behind]
            .iter()
            .map(|item| {
                let start = old_at + item.gap();
                old_at = start + item.length();
                (item.clone(), old[start..old_at].to_string())
            })
            .collect();
        let settled = self.settle(new, from, &kept);
        self.items.splice(first..behind, settled);
        self.gather(fresh);
        if self.becomes_crowded() {
            self.read_all();
        }
    }

    /// Is there more wrong of one kind than is told?
    fn becomes_crowded(&self) -> bool {
        let findings = self.items.iter().flat_map(Item::findings);
        if findings.clone().count() <= limits::FINDINGS {
            return self.crowded;
        }
        let mut counts: HashMap<&str, usize> = HashMap::new();
        for finding in findings {
            *counts.entry(finding.code).or_default() += 1;
        }
        self.crowded || counts.into_values().any(|count| count > limits::FINDINGS)
    }

    /// The first item whose reading may have looked at a byte, and where its gap begins.
    ///
    /// To know where an item ends, the grammar looks at most at the first sign of what follows,
    /// comments and empty lines left out: so a line with something on it between the end of the
    /// item and the byte keeps them apart.
    fn first_reached(&self, old: &str, byte: usize) -> (usize, usize) {
        let mut ends = Vec::with_capacity(self.items.len());
        let mut end = 0;
        for item in &self.items {
            end += item.room();
            ends.push(end);
            if end >= byte {
                break;
            }
        }
        let apart = |end: usize| {
            let mut lines = old[end..byte].split(['\n', '\r']);
            // What stands behind the item on its line, and the unfinished line of the byte.
            lines.next();
            lines.next_back();
            lines.any(|line| {
                let line = line.trim();
                !line.is_empty() && !line.starts_with("//")
            })
        };
        let mut first = ends.len().saturating_sub(1);
        while first > 0 && !apart(ends[first - 1]) {
            first -= 1;
        }
        (first, if first == 0 { 0 } else { ends[first - 1] })
    }

    /// Reads from an item on until an item begins where one began before. Gives back the index of
    /// that one, and what was read, with numbers that mean nothing yet.
    fn read_again(
        &self,
        first: usize,
        from: usize,
        edit: Range<usize>,
        length: usize,
    ) -> (usize, Vec<Item>) {
        let moved = |old: usize| old - (edit.end - edit.start) + length;
        let (mut at, mut within) = (from, self.items[first].within);
        let (mut behind, mut old_at) = (first, from);
        let mut new = Vec::new();
        loop {
            let item = read(self.file, ItemId(0), &self.text[at..], within);
            at += item.room();
            within = item.node.leads_to().unwrap_or(within);
            let ends = item.node == Node::End;
            new.push(item);
            if ends {
                return (self.items.len(), new);
            }
            while let Some(item) = self.items.get(behind)
                && (old_at < edit.end || moved(old_at) < at)
            {
                old_at += item.room();
                behind += 1;
            }
            let again = self.items.get(behind);
            if again.is_some_and(|item| item.within == within)
                && old_at >= edit.end
                && moved(old_at) == at
            {
                return (behind, new);
            }
        }
    }

    /// Gives numbers to items that were read again: to those that read as they did their own, to
    /// the others those of the items in whose place they stand.
    fn settle(&mut self, new: Vec<Item>, from: usize, old: &[(Item, String)]) -> Vec<Item> {
        let mut at = from;
        let places: Vec<usize> = new
            .iter()
            .map(|item| {
                let gap = at;
                at += item.room();
                gap
            })
            .collect();
        let same = |index: usize, other: usize| {
            let (item, (known, text)) = (&new[index], &old[other]);
            let start = places[index] + item.gap();
            item.within == known.within
                && std::mem::discriminant(&item.node) == std::mem::discriminant(&known.node)
                && self.text[start..start + item.length()] == **text
        };
        let shorter = new.len().min(old.len());
        let before = (0..shorter).take_while(|&i| same(i, i)).count();
        let after = (0..shorter - before)
            .take_while(|&i| same(new.len() - 1 - i, old.len() - 1 - i))
            .count();
        let (file, mut next) = (self.file, self.next);
        let changed_old = &old[before..old.len() - after];
        let count = new.len();
        let settled = new.into_iter().enumerate().map(|(index, item)| {
            let other = if index < before {
                old.get(index)
            } else if index >= count - after {
                old.get(old.len() - (count - index))
            } else {
                changed_old.get(index - before)
            };
            let id = other.map_or(ItemId(next), |(known, _)| known.id);
            next += u32::from(other.is_none());
            let item = read(file, id, &self.text[places[index]..], item.within);
            // What is the same stays as it is, its trees with it. The text of an item alone does
            // not tell: a finding may stand behind it, in what is left out.
            match other.map(|(known, _)| Item { gap: item.gap, ..known.clone() }) {
                Some(known) if known == item => known,
                _ => item,
            }
        });
        let settled = settled.collect();
        self.next = next;
        settled
    }
}
