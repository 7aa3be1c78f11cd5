//! The rules of a published book of harmony (`tests/shared/part_writing.txt` names it), each with a
//! passage that keeps it and one that breaks it: the checker finds the second, lets the first pass,
//! and what is worked out between the same tune and bass leaves it nothing.

use super::tests::findings;

const RULES: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/shared/part_writing.txt"));

/// Whole notes, a bar each.
fn voice(name: &str, notes: &str) -> String {
    let bars = notes.split_whitespace().enumerate();
    let bars: String = bars.map(|(bar, note)| format!("{}: 1/1 {note} | ", bar + 1)).collect();
    format!("voice {name} {{ {bars}}}\n")
}

/// What is found about the harmony of a passage; `inner` are both inner parts, or none to have them
/// worked out.
fn found(fields: &[&str; 4], inner: Option<&str>) -> Vec<String> {
    let [key, chords, tune, bass] = fields;
    let count = chords.split_whitespace().count();
    let harmony = chords.split_whitespace().enumerate();
    let harmony: String = harmony.map(|(bar, chord)| format!("{}: {chord} | ", bar + 1)).collect();
    let (voices, lines) = match inner.and_then(|inner| inner.split_once(';')) {
        Some((upper, lower)) => (
            voice("upper", upper) + &voice("lower", lower),
            "violin-2 plays upper as harmony\n viola plays lower as harmony",
        ),
        None => (String::new(), "violin-2, viola sustain"),
    };
    let text = format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key {key}, tempo 1/4 at 72\n {count} end }}\nharmony {{ {harmony}}}\n\
         {}{}{voices}ensemble few {{ era 1770\n violin-1 6 players, violin-2 6 players, \
         viola 4 players, cello 3 players }}\n\
         scoring few for few {{\n violin-1 plays tune as melody\n cello plays bass as bass\n {lines}\n}}\n",
        voice("tune", tune),
        voice("bass", bass),
    );
    let all = findings(&text).into_iter();
    let of_harmony = all.filter(|one| one.code.starts_with("harmony/"));
    of_harmony.map(|one| format!("{}: {}", one.code, one.message)).collect()
}

#[test]
fn each_rule_of_the_book_is_kept_and_broken() {
    let rows = RULES.lines().filter(|line| !line.starts_with('#'));
    let (mut count, mut wrong) = (0, Vec::new());
    for row in rows {
        count += 1;
        let fields: Vec<&str> = row.split(" | ").map(str::trim).collect();
        let &[key, chords, tune, bass, kept, broken, code, rule] = &fields[..] else {
            panic!("eight fields: {row}");
        };
        let passage = [key, chords, tune, bass];
        let of_kept = found(&passage, Some(kept));
        if !of_kept.is_empty() {
            wrong.push(format!("{rule} The passage that keeps it: {of_kept:?}"));
        }
        let of_broken = found(&passage, Some(broken));
        let told = |one: &String| one.starts_with(&format!("harmony/{code}:"));
        if code != "-" && !of_broken.iter().any(told) {
            wrong.push(format!("{rule} The passage that breaks it: {of_broken:?}"));
        }
        let of_computed = found(&passage, None);
        if !of_computed.is_empty() {
            wrong.push(format!("{rule} What is worked out: {of_computed:?}"));
        }
    }
    assert!(count >= 20, "only {count} rules");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
