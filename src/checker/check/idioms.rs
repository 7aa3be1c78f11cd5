//! Passages that handbooks call idiomatic, by instrument and era, in notes of our own: all rules
//! together must let each of them pass.
//!
//! They are kept in `idioms.txt`, one a line, so that whoever meets a false alarm can add the
//! passage there.

use super::tests::findings;

#[test]
fn what_handbooks_call_idiomatic_is_let_pass() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/check/idioms.txt");
    let text = std::fs::read_to_string(path).unwrap();
    let rows = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let (mut count, mut blamed) = (0, Vec::new());
    for row in rows {
        count += 1;
        let fields: Vec<&str> = row.split(" | ").map(str::trim).collect();
        let &[era, tempo, player, role, dynamic, bars, says, ref rest @ ..] = &fields[..] else {
            panic!("too few fields: {row}");
        };
        let key = rest.first().unwrap_or(&"C major");
        let bars: Vec<&str> = bars.split(';').map(str::trim).collect();
        let notes: String =
            bars.iter().enumerate().map(|(n, bar)| format!(" {}: {bar} |", n + 1)).collect();
        let name = player.split(' ').next().unwrap_or_default();
        let source = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key {key}, tempo 1/4 at {tempo}\n {} end }}\n\
             dynamics {{ 1 {dynamic} }}\nvoice tune {{{notes} }}\n\
             ensemble few {{ era {era}\n {player} }}\n\
             scoring few for few {{\n {name} plays tune as {role}\n}}\n",
            bars.len()
        );
        // These passages are for the voice, without words.
        let heard = findings(&source).into_iter().filter(|one| one.code != "lyrics/no-words");
        for finding in heard {
            blamed.push(format!("{player} of {era} {says}: {} {}", finding.code, finding.message));
        }
    }
    assert!(count >= 200, "only {count} passages");
    assert!(blamed.is_empty(), "{} of {count}:\n{}", blamed.len(), blamed.join("\n"));
}
