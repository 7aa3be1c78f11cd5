//! What has no place in the language: counted by kind, part and bar, and told in one report.

use std::borrow::Cow;
use std::collections::HashMap;
use std::fmt::Write;

use ripieno_compiler::diagnostics::BarNumbers;
use serde::Serialize;

/// What became of something that the language cannot say as the file says it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fate {
    /// It is not in the source.
    LeftOut,
    /// It is in the source, but not as it was.
    Changed,
}

/// One kind of thing in one part that is not in the source as it was in the file.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Loss {
    /// Whether it is left out or changed.
    pub fate: Fate,
    /// What it is and, where it was changed, into what.
    pub what: String,
    /// The part by its name in the file; `None` for what concerns all.
    pub part: Option<String>,
    /// How often.
    pub count: usize,
    /// The bars by their numbers in the source.
    pub bars: Vec<BarNumbers>,
}

/// Everything that a reader of the source should know of how it came about.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Report {
    /// What is not in the source as it was in the file.
    pub losses: Vec<Loss>,
    /// What the file does not say and was concluded, each with how sure it is.
    pub guesses: Vec<String>,
}

impl Report {
    /// As text, for people.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        for (fate, head) in
            [(Fate::LeftOut, "Left out:\n"), (Fate::Changed, "Not as in the file:\n")]
        {
            let mut losses = self.losses.iter().filter(|loss| loss.fate == fate).peekable();
            if losses.peek().is_some() {
                out.push_str(head);
            }
            for loss in losses {
                let _ = write!(out, "  {}", loss.what);
                if let Some(part) = &loss.part {
                    let _ = write!(out, ", {part}");
                }
                if !loss.bars.is_empty() {
                    out.push_str(", ");
                    out.push_str(&bars(&loss.bars));
                }
                let times =
                    if loss.count == 1 { "once".into() } else { format!("{} times", loss.count) };
                let _ = writeln!(out, ": {times}");
            }
        }
        if !self.guesses.is_empty() {
            out.push_str("Concluded, not read:\n");
        }
        for guess in &self.guesses {
            let _ = writeln!(out, "  {guess}");
        }
        out
    }
}

/// Runs of bars as a person writes them; a long list is cut short.
fn bars(runs: &[BarNumbers]) -> String {
    const SHOWN: usize = 8;
    let one = |&BarNumbers { first, last }: &BarNumbers| {
        if first == last { first.to_string() } else { format!("{first}–{last}") }
    };
    let shown: Vec<String> = runs.iter().take(SHOWN).map(one).collect();
    let single = runs.len() == 1 && runs[0].first == runs[0].last;
    let word = if single { "bar" } else { "bars" };
    let more = if runs.len() > SHOWN { " and others" } else { "" };
    format!("{word} {}{more}", shown.join(", "))
}

/// A bar for what belongs to none.
pub(super) const NOWHERE: usize = u32::MAX as usize;

/// Collects losses while a file is read. Bars are counted from 0 in the order of the file.
#[derive(Debug, Default)]
pub(super) struct Losses {
    found: HashMap<(Fate, Cow<'static, str>, Option<u32>), Entry>,
    order: usize,
    /// What each part that is told of by its place is in the report; none: by its place.
    parts: Vec<usize>,
    /// Index in the file of the bar that is told of as the first.
    first_bar: usize,
}

#[derive(Debug, Default)]
struct Entry {
    order: usize,
    /// Bars, and how often in each.
    bars: Vec<(u32, usize)>,
}

impl Losses {
    /// From now on parts and bars are told of by their places among those that are left: the first
    /// part is `parts[0]` of before, the first bar is `first_bar`.
    pub(super) fn renumber(&mut self, parts: Vec<usize>, first_bar: usize) {
        (self.parts, self.first_bar) = (parts, first_bar);
    }

    /// Something is not in the source.
    pub(super) fn left_out(
        &mut self,
        what: impl Into<Cow<'static, str>>,
        part: Option<usize>,
        bar: usize,
    ) {
        self.add(Fate::LeftOut, what.into(), part, bar);
    }

    /// Something is in the source in another way.
    pub(super) fn changed(
        &mut self,
        what: impl Into<Cow<'static, str>>,
        part: Option<usize>,
        bar: usize,
    ) {
        self.add(Fate::Changed, what.into(), part, bar);
    }

    fn add(&mut self, fate: Fate, what: Cow<'static, str>, part: Option<usize>, bar: usize) {
        // Whatever a file holds, the report stays one that can be read.
        const MOST_KINDS: usize = 2000;
        let part = part.map(|part| self.parts.get(part).copied().unwrap_or(part));
        let part = part.and_then(|part| u32::try_from(part).ok());
        let bar = if bar == NOWHERE { bar } else { bar + self.first_bar };
        let bar = u32::try_from(bar).unwrap_or(u32::MAX);
        let full = self.found.len() >= MOST_KINDS;
        let key = (fate, what, part);
        let key = match full && !self.found.contains_key(&key) {
            true => (fate, Cow::Borrowed("other things"), None),
            false => key,
        };
        let order = self.order;
        let entry = self.found.entry(key).or_insert_with(|| Entry { order, ..Entry::default() });
        self.order += 1;
        match entry.bars.last_mut() {
            Some((last, count)) if *last == bar => *count += 1,
            _ => entry.bars.push((bar, 1)),
        }
    }

    /// The losses in the order in which they were met. `part` names parts and `number` gives the
    /// bar number of the source; what lies in a part or bar that is not in the source is no loss.
    pub(super) fn finish(
        self,
        part: impl Fn(usize) -> Option<String>,
        number: impl Fn(usize) -> Option<i32>,
    ) -> Vec<Loss> {
        let mut found: Vec<_> = self.found.into_iter().collect();
        found.sort_by_key(|(_, entry)| entry.order);
        let mut losses = Vec::with_capacity(found.len());
        for ((fate, what, in_part), mut entry) in found {
            let named = in_part.map(|index| part(index as usize));
            if named.as_ref().is_some_and(Option::is_none) {
                continue;
            }
            entry.bars.sort_unstable();
            let mut runs: Vec<BarNumbers> = Vec::new();
            let mut count = 0;
            for (bar, times) in entry.bars {
                if bar as usize == NOWHERE {
                    count += times;
                    continue;
                }
                let Some(bar) = number(bar as usize) else { continue };
                count += times;
                BarNumbers::add(&mut runs, bar);
            }
            if count > 0 {
                let (what, part) = (what.into_owned(), named.flatten());
                losses.push(Loss { fate, what, part, count, bars: runs });
            }
        }
        losses
    }
}
