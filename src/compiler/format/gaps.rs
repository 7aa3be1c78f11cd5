//! Gaps between tokens, bars, lines and declarations: blanks, line ends and comments.

use std::ops::Range;

use super::edits::Edits;

/// How a gap is to be.
#[derive(Clone, Default)]
pub(super) struct Gap {
    /// How many blanks, where no line ends in it.
    pub(super) same_line: usize,
    /// Where lines end in it.
    pub(super) breaks: Breaks,
    /// How far in what follows stands on a line of its own.
    pub(super) indent: usize,
    /// How far in comments on lines of their own stand.
    pub(super) notes: usize,
    /// May it begin with an empty line?
    pub(super) empty_line_first: bool,
    /// May it end with an empty line?
    pub(super) empty_line_last: bool,
    /// Does it begin with the file?
    pub(super) from_start: bool,
    /// Does it end with the file?
    pub(super) to_end: bool,
    /// Does something stand before it that cannot be read?
    pub(super) behind_broken: bool,
    /// Does something stand behind it that cannot be read?
    pub(super) before_broken: bool,
}

/// Where lines end in a gap without comments.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Breaks {
    /// Where the writer had it so.
    #[default]
    Kept,
    /// In any case.
    Always,
    /// Never.
    Never,
}

impl Gap {
    /// A gap between tokens of one line or bar.
    pub(super) fn within(same_line: usize, indent: usize, breaks: Breaks) -> Gap {
        Gap {
            same_line,
            breaks,
            indent,
            notes: indent,
            empty_line_first: true,
            empty_line_last: true,
            ..Gap::default()
        }
    }
}

/// Bytes of a blank at a place: a space, a tab, a no-break space or a byte order mark.
fn blank(bytes: &[u8]) -> usize {
    match bytes {
        [b' ' | b'\t', ..] => 1,
        [0xC2, 0xA0, ..] => 2,
        [0xEF, 0xBB, 0xBF, ..] => 3,
        _ => 0,
    }
}

/// Bytes of a line end at a place.
fn line_end(bytes: &[u8]) -> usize {
    match bytes {
        [b'\r', b'\n', ..] => 2,
        [b'\r' | b'\n', ..] => 1,
        _ => 0,
    }
}

/// Is there a blank or a line end at a place?
pub(super) fn is_blank(bytes: &[u8]) -> bool {
    blank(bytes) + line_end(bytes) > 0
}

/// A run of blanks and line ends.
struct Run {
    range: Range<usize>,
    /// The beginning of its first line end and the end of its last, and how many there are.
    lines: Option<(usize, usize, usize)>,
}

impl Run {
    fn at(bytes: &[u8], start: usize, end: usize) -> Run {
        let (mut at, mut lines) = (start, None);
        while at < end {
            let ends = line_end(&bytes[at..end]);
            if ends > 0 {
                let (first, _, count) = lines.unwrap_or((at, 0, 0));
                lines = Some((first, at + ends, count + 1));
            } else if blank(&bytes[at..end]) == 0 {
                break;
            }
            at += ends.max(blank(&bytes[at..end]));
        }
        Run { range: start..at, lines }
    }
}

/// The end of a comment, without the blanks behind it.
fn comment_end(text: &str, start: usize, end: usize) -> usize {
    let line = &text[start..end];
    let line = &line[..line.find(['\n', '\r']).unwrap_or(line.len())];
    start + line.trim_end_matches([' ', '\t', '\u{FEFF}', '\u{A0}']).len()
}

impl Edits<'_> {
    /// Where the next token stands, behind blanks, line ends and comments.
    pub(super) fn token_from(&self, mut at: usize, end: usize) -> usize {
        let bytes = self.text.as_bytes();
        loop {
            at = Run::at(bytes, at, end).range.end;
            if !bytes[at..end].starts_with(b"//") {
                return at;
            }
            at = comment_end(self.text, at, end);
        }
    }

    /// Brings a gap into its form.
    pub(super) fn gap(&mut self, range: Range<usize>, gap: &Gap) {
        let bytes = self.text.as_bytes();
        // Most gaps are one blank.
        if let [b' '] = bytes[range.clone()]
            && gap.same_line == 1
            && gap.breaks != Breaks::Always
        {
            return;
        }
        let mut run = Run::at(bytes, range.start, range.end);
        // Is this the first run; and is it still the line of what stands before the gap?
        let (mut first, mut same_line) = (true, true);
        while run.range.end < range.end {
            self.before_comment(&run, gap, first, same_line);
            let end = comment_end(self.text, run.range.end, range.end);
            same_line &= run.lines.is_none();
            run = Run::at(bytes, end, range.end);
            first = false;
        }
        self.before_item(&run, gap, first, same_line);
    }

    fn before_comment(&mut self, run: &Run, gap: &Gap, first: bool, same_line: bool) {
        if first && gap.from_start {
            return self.put(run.range.clone(), "");
        }
        if run.lines.is_some() {
            let empty = !same_line || gap.empty_line_first;
            self.new_line(run, empty, Some(gap.notes), gap.behind_broken && first);
        } else if !gap.behind_broken {
            self.blanks(run.range.clone(), 2);
        }
    }

    fn before_item(&mut self, run: &Run, gap: &Gap, first: bool, same_line: bool) {
        let (range, is_line) = (run.range.clone(), run.lines.is_some());
        if first && gap.from_start {
            return self.put(range, "");
        }
        if gap.to_end {
            return self.put(range, "\n");
        }
        if !is_line && (gap.behind_broken || gap.before_broken) {
            return;
        }
        match gap.breaks {
            Breaks::Always if !is_line => self.line(range, gap.indent),
            Breaks::Never if first => self.blanks(range, gap.same_line),
            _ if !is_line => self.blanks(range, gap.same_line),
            _ => {
                let empty = (!same_line || gap.empty_line_first) && gap.empty_line_last;
                let indent = (!gap.before_broken).then_some(gap.indent);
                self.new_line(run, empty, indent, gap.behind_broken && first);
            }
        }
    }

    /// Makes a run with a line end in it one line end, or one with an empty line, and an indent;
    /// without one it stays as it is. So does what stands at the end of a broken line.
    fn new_line(&mut self, run: &Run, empty_line: bool, indent: Option<usize>, broken: bool) {
        let Some((start, end, count)) = run.lines else { return };
        if !broken {
            self.put(run.range.start..start, "");
        }
        self.put(start..end, if empty_line && count > 1 { "\n\n" } else { "\n" });
        if let Some(indent) = indent {
            self.blanks(end..run.range.end, indent);
        }
    }
}
