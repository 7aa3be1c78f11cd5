//! The brace that joins the two staves of one player.

use super::canvas::Row;

/// The rows of a staff that have something on them, and which of them is that of the notes.
pub(super) struct StaffLines {
    pub(super) rows: Vec<Row>,
    pub(super) notes: usize,
}

/// Two staves with what stands between them; the brace reaches from the notes of the upper staff
/// to those of the lower one, in the given column.
pub(super) fn joined(
    upper: StaffLines,
    between: Row,
    lower: StaffLines,
    column: usize,
) -> Vec<Row> {
    let first = upper.notes;
    let mut rows = upper.rows;
    if !between.is_blank() {
        rows.push(between);
    }
    let last = rows.len() + lower.notes;
    rows.extend(lower.rows);
    for (index, row) in rows.iter_mut().enumerate().take(last + 1).skip(first) {
        row.set(column, piece(index - first, last - first));
    }
    rows
}

/// The piece of a brace in one of its rows, the first of which is 0.
fn piece(row: usize, last: usize) -> char {
    match row {
        0 => '⎧',
        row if row == last => '⎩',
        row if row == last.div_ceil(2) => '⎨',
        _ => '⎪',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(text: &str) -> Row {
        let mut row = Row::default();
        row.put(0, text);
        row
    }

    #[test]
    fn a_brace_reaches_from_notes_to_notes_with_its_tip_in_the_middle() {
        let upper =
            StaffLines { rows: vec![row("  ┌3┐"), row("  │E5"), row("   4")], notes: 1 };
        let lower = StaffLines { rows: vec![row("  │C3"), row("   2")], notes: 0 };
        let rows = joined(upper, row("   p"), lower, 1);
        let mut out = String::new();
        rows.iter().for_each(|row| row.push_to(&mut out));
        assert_eq!(out, "  ┌3┐\n ⎧│E5\n ⎪ 4\n ⎨ p\n ⎩│C3\n   2\n");
    }

    #[test]
    fn two_rows_of_notes_alone_are_joined_too() {
        let lines = |text| StaffLines { rows: vec![row(text)], notes: 0 };
        let rows = joined(lines("  │E5"), Row::default(), lines("  │C3"), 1);
        let mut out = String::new();
        rows.iter().for_each(|row| row.push_to(&mut out));
        assert_eq!(out, " ⎧│E5\n ⎩│C3\n");
    }
}
