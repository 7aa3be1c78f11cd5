//! The same slip many times in one bar: told once, with a count.

use std::collections::HashMap;

use crate::diagnostics::Crowd;
use crate::resolve::Resolver;

/// Places that are shown besides the first. (Our heuristic.)
const MOST_PLACES: usize = 8;

/// Gathers the findings from the one of that index on, which are of one bar, to one of a kind, and
/// counts them as one from what was counted before them. Changes with the same title become one
/// change.
pub(super) fn gather(cx: &mut Resolver, from: usize, before: Crowd) {
    let beyond = cx.crowd.beyond_since(&before);
    let counted: usize = beyond.iter().map(|(_, count)| count).sum();
    if cx.diagnostics.len() + counted < from + 2 {
        return;
    }
    cx.crowd = before;
    let findings = &mut cx.diagnostics;
    let mut known: HashMap<(&'static str, String), (usize, usize)> = HashMap::new();
    for finding in findings.split_off(from) {
        let kind = (finding.code, finding.message.clone());
        let Some((told, times)) = known.get_mut(&kind) else {
            known.insert(kind, (findings.len(), 1));
            findings.push(finding);
            continue;
        };
        *times += 1;
        let told = &mut findings[*told];
        if *times <= MOST_PLACES + 1 {
            told.labels.push(finding.primary);
        }
        for fix in finding.fixes {
            if let Some(same) = told.fixes.iter_mut().find(|same| same.title == fix.title) {
                same.edits.extend(fix.edits);
            }
        }
    }
    findings[from..].iter().for_each(|finding| {
        cx.crowd.holds(finding.code);
    });
    for (code, more) in beyond {
        // Those that were only counted are like the last one of their kind.
        let of_kind = known.iter_mut().filter(|((kind, _), _)| *kind == code);
        match of_kind.map(|(_, known)| known).max() {
            Some((_, times)) => *times += more,
            None => {
                cx.crowd.holds(code);
            }
        }
    }
    for (told, times) in known.into_values().filter(|(_, times)| *times > 1) {
        let text = &mut findings[told].primary.text;
        let count = format!("the first of {times} in this bar");
        *text = if text.is_empty() { count } else { format!("{text}; {count}") };
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::{Diagnostic, Sources};
    use crate::resolve::{NoFiles, resolve};

    fn findings(bar: &str) -> Vec<Diagnostic> {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{\n 1 metre 4/4, key C major\n 1 end\n}}\n\
             voice upper {{ 1: {bar} | }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        resolve(&mut sources, file, &mut NoFiles).1
    }

    #[test]
    fn ten_thousand_slurs_in_a_bar_are_one_finding_of_a_kind() {
        let found = findings(&format!("1/1 {}D5}}", "{".repeat(10_000)));
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].primary.text.contains("9999 in this bar"), "{found:?}");
        assert!(found[0].labels.len() < 12);
    }

    #[test]
    fn one_change_mends_the_same_word_everywhere_in_a_bar() {
        let found = findings("1/4 D5[stac] E[stac] F[tenutto] G");
        let edits: Vec<usize> = found.iter().map(|f| f.fixes[0].edits.len()).collect();
        assert_eq!(edits, [2, 1]);
    }

    #[test]
    fn what_stands_at_a_held_note_is_kept_or_told() {
        let codes = |bar| findings(bar).iter().map(|f| f.code).collect::<Vec<_>>();
        assert_eq!(codes("1/4 E5 grace(1/8 D5) = F5 G5"), ["bars/hold"]);
        assert_eq!(codes("1/4 E5 =[tremolo] F5 G5"), ["bars/hold"]);
        assert_eq!(codes("1/4 E5[tremolo] =[tremolo] F5 G5"), [""; 0]);
        let source = "piece \"Weir\" { }\nform {\n 1 metre 4/4, key C major\n 1 end\n}\n\
                      voice upper { 1: 1/4 E5 {= F5 G5} | }\n";
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, found) = resolve(&mut sources, file, &mut NoFiles);
        assert!(found.is_empty(), "{found:?}");
        let slurs = piece.voices[0].music.notes.iter();
        let slurs = slurs.map(|note| (note.attached.slur_starts, note.attached.slur_ends));
        assert_eq!(slurs.collect::<Vec<_>>(), [(true, false), (false, false), (false, true)]);
    }

    #[test]
    fn a_slur_over_one_note_is_told_and_goes_nowhere() {
        let slurs = |bar: &str| {
            let source = format!(
                "piece \"Weir\" {{ }}\nform {{\n 1 metre 4/4, key C major\n 1 end\n}}\n\
                 voice upper {{ 1: {bar} | }}\n"
            );
            let mut sources = Sources::new();
            let file = sources.add("weir.ripieno", source);
            let (piece, found) = resolve(&mut sources, file, &mut NoFiles);
            let notes = piece.voices[0].music.notes.iter();
            let ends = notes.map(|note| (note.attached.slur_starts, note.attached.slur_ends));
            let codes: Vec<_> = found.iter().map(|finding| finding.code).collect();
            assert!(found.iter().all(|finding| finding.fixes[0].edits.len() == 2));
            let ends: String = ends
                .map(|ends| match ends {
                    (true, true) => '+',
                    (true, false) => '{',
                    (false, true) => '}',
                    (false, false) => '.',
                })
                .collect();
            (codes, ends)
        };
        assert_eq!(slurs("1/4 A4 {B} {C5 D}"), (vec!["bars/slur"], "..{}".into()));
        assert_eq!(slurs("1/4 A4 {B C5}{D}"), (vec!["bars/slur"], ".{}.".into()));
        assert_eq!(slurs("1/4 {A4 B}{C5 D}"), (vec![], "{}{}".into()));
        // A tie says it, and grace notes have their slur.
        assert_eq!(slurs("1/4 A4 {B =} C5"), (vec![], "...".into()));
        assert_eq!(slurs("1/4 A4 {grace(1/16 C5) B} C5 D"), (vec![], "....".into()));
    }

    #[test]
    fn a_slur_to_the_same_note_and_a_note_twice_in_a_chord_are_told() {
        let codes = |bar| findings(bar).iter().map(|f| f.code).collect::<Vec<_>>();
        assert_eq!(codes("1/2 {G5 G5}"), ["bars/slur-or-tie"]);
        assert_eq!(codes("1/2 {G5[stacc] G5[stacc]}"), [""; 0]);
        assert_eq!(codes("1/4 {F5 G5 G5 A5}"), [""; 0]);
        assert_eq!(codes("1/1 E5&E5"), ["bars/same-twice"]);
        assert_eq!(codes("1/1 E5&E4"), [""; 0]);
    }
}
