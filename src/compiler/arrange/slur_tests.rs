//! Slurs of lines that begin or end within them.

use super::tests::piece;
use super::{Arrangement, AttachedRef, arrange};

/// The slurs of a player, note by note.
fn slurs_of(arrangement: &Arrangement, player: &str) -> String {
    let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
    let signs = part.notes.iter().map(|note| {
        let AttachedRef { slur_starts, slur_ends, .. } = note.attached();
        ["", "{", "}", "}{"][usize::from(slur_starts) + 2 * usize::from(slur_ends)]
    });
    signs.map(|sign| format!("{sign}.")).collect::<String>().replace("}.", ".}")
}

#[test]
fn who_enters_or_leaves_in_a_slur_is_slurred_from_his_first_to_his_last_note() {
    let piece = piece(
        "voice long { 1: 1/4 D5 {E | 2: F5 G} | 3: {A5 B | 4: C6 D} | }
scoring one for small {
  oboe.1 plays long bars 1..2 as melody
  oboe.2 plays long bars 2..3 as melody
  violin-1 plays long bars 1 as melody
  violin-1 plays long bars 2..3 as harmony
  cello doubles violin-1 8vb bars 2..4
}
scoring two for small {
  oboe.1 plays long 8va bars 1..3 as melody
  oboe.1 plays long bars 4 as melody
  oboe.2 plays long bars 1 beat 2..2 as melody
  violin-1 plays long bars 2 beat 2..4 beat 1 as melody
}",
    );
    let slurs =
        |scoring: usize, player| slurs_of(&arrange(&piece, &piece.scorings[scoring]), player);
    let one = ["oboe.1", "oboe.2", "violin-1", "cello"].map(|player| slurs(0, player));
    assert_eq!(one, [".{...}", "{..}{..}", ".{...}{..}", "{..}{..}"]);
    let two = ["oboe.1", "oboe.2", "violin-1"].map(|player| slurs(1, player));
    assert_eq!(two, [".{...}{..}{..}", "{...}", ".{...}"]);
}
