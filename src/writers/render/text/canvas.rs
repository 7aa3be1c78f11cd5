//! Rows of characters.

/// One row; it grows as it is written on. Every character takes one column.
#[derive(Clone, Debug, Default)]
pub(super) struct Row(Vec<char>);

impl Row {
    pub(super) fn put(&mut self, x: usize, text: &str) {
        for (at, c) in (x..).zip(text.chars()) {
            self.set(at, c);
        }
    }

    pub(super) fn set(&mut self, x: usize, c: char) {
        if self.0.len() <= x {
            self.0.resize(x + 1, ' ');
        }
        self.0[x] = c;
    }

    /// Writes a character into the free columns from `from` up to but not including `to`.
    pub(super) fn fill(&mut self, from: usize, to: usize, c: char) {
        for x in from..to {
            if self.is_free(x, x + 1) {
                self.set(x, c);
            }
        }
    }

    pub(super) fn is_free(&self, from: usize, to: usize) -> bool {
        let to = to.min(self.0.len());
        self.0.get(from..to).is_none_or(|columns| columns.iter().all(|c| *c == ' '))
    }

    pub(super) fn is_blank(&self) -> bool {
        self.is_free(0, self.0.len())
    }

    /// The row as a line of text, without spaces at its end.
    pub(super) fn push_to(&self, out: &mut String) {
        let end = self.0.iter().rposition(|c| *c != ' ').map_or(0, |last| last + 1);
        out.extend(&self.0[..end]);
        out.push('\n');
    }
}

/// As many rows as texts need that must not run into one another.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows(pub(super) Vec<Row>);

impl Rows {
    /// Writes a text at a column, further to the left if it would leave the page, in the first
    /// row with room. A text that is longer than the page goes on in the next row.
    pub(super) fn place(&mut self, x: usize, text: &str, left: usize, width: usize) {
        for line in wrapped(text, width.saturating_sub(left).max(1)) {
            let length = line.chars().count();
            let x = x.min(width.saturating_sub(length)).max(left);
            // A column stays free on either side.
            let free = |row: &Row| row.is_free(x.saturating_sub(1), x + length + 1);
            let row = self.0.iter().position(free).unwrap_or_else(|| {
                self.0.push(Row::default());
                self.0.len() - 1
            });
            self.0[row].put(x, &line);
        }
    }

    pub(super) fn push_to(&self, out: &mut String) {
        for row in &self.0 {
            row.push_to(out);
        }
    }
}

/// A text in lines of at most `width` columns; a word that is longer is broken.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    let mut lines: Vec<String> = Vec::new();
    let mut length = 0;
    for word in text.split_whitespace() {
        let columns = word.chars().count();
        match lines.last_mut() {
            Some(line) if length + 1 + columns <= width => {
                line.push(' ');
                line.push_str(word);
                length += 1 + columns;
            }
            _ if columns <= width => {
                lines.push(word.to_string());
                length = columns;
            }
            _ => {
                let letters: Vec<char> = word.chars().collect();
                lines.extend(letters.chunks(width).map(String::from_iter));
                length = (columns - 1) % width + 1;
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_would_touch_stand_in_two_rows() {
        let mut rows = Rows::default();
        rows.place(2, "dolce", 0, 20);
        rows.place(7, "a 2", 0, 20);
        rows.place(18, "pizz.", 0, 20);
        let mut out = String::new();
        rows.push_to(&mut out);
        assert_eq!(out, "  dolce        pizz.\n       a 2\n");
    }

    #[test]
    fn a_word_longer_than_a_line_is_broken() {
        assert_eq!(wrapped("on abcdefgh ij klm", 5), ["on", "abcde", "fgh", "ij", "klm"]);
        assert_eq!(wrapped("abcdefg hij", 6), ["abcdef", "g hij"]);
        assert_eq!(wrapped("", 6), [""; 0]);
    }
}
