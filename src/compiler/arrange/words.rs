//! Words that are said to everybody, as one player needs them.
//!
//! "Sotto voce" behind a dynamic says how it is played: it holds as long as that dynamic does, and a player who
//! rested meanwhile is told it at his entry with the level, or not at all. Who rests to the end is told nothing
//! more of how to play (common practice). What a line or a voice says to its own players is not judged.

use std::collections::HashSet;

use super::Part;
use super::directions::is_loudness;
use crate::diagnostics::Span;
use crate::music::{Sign, TempoWords, Time, says_how_it_goes, says_how_loud};
use crate::resolve::{BarLine, Direction, DirectionKind, Directions, Dynamic, Form, Piece};

/// Leaves out words of everybody that its player reads only when they hold no more, or has no note for.
pub(super) fn leave_out(piece: &Piece, part: &mut Part) {
    let words = piece.dynamics.iter().filter(|said| is_words(&said.kind));
    let general: HashSet<Span> = words.map(|said| said.span).collect();
    if general.is_empty() {
        return;
    }
    let levels = levels(&part.directions);
    let notes = &part.notes;
    let holds = |said: &Direction| {
        let Some(note) = notes.get(notes.partition_point(|note| note.end() <= said.at)) else {
            return says_how_to_go_on(said.at, piece);
        };
        // Of what he reads at his entry, those of the level that is in force there.
        let told = levels.partition_point(|(at, _)| *at <= said.at);
        let over = levels.get(told).is_some_and(|(at, _)| *at <= note.start());
        told == 0 || !over
    };
    part.directions
        .retain(|said| !is_words(&said.kind) || !general.contains(&said.span) || holds(said));
}

/// Levels with the times from which on they are in force, each but once as long as it lasts.
fn levels(directions: &[Direction]) -> Vec<(Time, Dynamic)> {
    let mut levels: Vec<(Time, Dynamic)> = Vec::new();
    for said in directions {
        let DirectionKind::Dynamic(dynamic) = said.kind else { continue };
        let Some(level) = dynamic.lasting() else { continue };
        match levels.last_mut() {
            Some(last) if last.0 == said.at => last.1 = level,
            Some(last) if last.1 == level => {}
            _ => levels.push((said.at, level)),
        }
    }
    levels
}

/// May words that are said where a player rests to the end be meant for him all the same? Those that stand alone where the
/// piece ends, or where a sign sends everybody elsewhere ("attacca", "segue"; our heuristic).
fn says_how_to_go_on(at: Time, piece: &Piece) -> bool {
    !came_with_loudness(&piece.dynamics, at) && leads_on(&piece.form, at)
}

fn leads_on(form: &Form, at: Time) -> bool {
    let bar = form.index_at(at);
    bar + 1 >= form.bars.len()
        || form.bars[bar].signs.iter().any(|sign| sign.is_jump() || *sign == Sign::Fine)
}

/// Is everybody told a dynamic or a hairpin at that very time, with which words there come?
pub(super) fn came_with_loudness(everybody: &Directions, at: Time) -> bool {
    let there = everybody.within(everybody.before(at)..everybody.len());
    there.take_while(|said| said.at == at).any(|said| is_loudness(&said.kind))
}

/// The words of the level of everybody that was told at a time, and those that were said since, up to another time.
pub(super) fn of_level(everybody: &Directions, since: Time, until: Time) -> Vec<Direction> {
    let said = everybody.within(everybody.before(since)..everybody.before(until));
    said.filter(|said| is_words(&said.kind)).collect()
}

/// Words with which a voice said, before somebody takes it up there, how it is played from then on ("sempre stacc."),
/// if they hold still. Heuristic: they do until it says other words of how to play, or everybody does, until the
/// note at which it is taken up; and up to a double bar. Words of loudness hold as long as the level does, and are left to it.
pub(super) fn held(
    piece: &Piece,
    voice: &Directions,
    (from, at): (Time, Time),
) -> Option<Direction> {
    let up_to = |all: &Directions| {
        let before = all.before(at);
        let there = all.within(before..all.len()).take_while(|said| said.at == at);
        before + there.count()
    };
    let said = voice.within(0..up_to(voice)).rev().find(|said| says_how(&said.kind))?;
    let DirectionKind::Words(words) = &said.kind else { return None };
    let holds =
        words.split_whitespace().next().is_some_and(|word| word.eq_ignore_ascii_case("sempre"));
    let form = &piece.form;
    let ends = form.bars[form.index_at(said.at)..form.index_at(at)]
        .iter()
        .any(|bar| bar.line != BarLine::Plain);
    let everybody = &piece.dynamics;
    let mut since = everybody.within(everybody.before(said.at)..up_to(everybody));
    let other = since.any(|said| says_how(&said.kind));
    (holds && said.at < from && !ends && !other).then_some(said)
}

/// Words of how to play that say something else than how loud.
pub(super) fn says_how(kind: &DirectionKind) -> bool {
    is_words(kind)
        && matches!(kind, DirectionKind::Words(text)
            if !says_how_loud(text) && !says_how_it_goes(text))
}

/// Words of how to play; those of the tempo are everybody's at all times.
pub(super) fn is_words(kind: &DirectionKind) -> bool {
    matches!(kind, DirectionKind::Words(text) if TempoWords::said(text).is_none())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::arrange::arrange;
    use crate::diagnostics::Sources;
    use crate::resolve::{DirectionKind, NoFiles, resolve};

    /// The words that the second of two flutes reads in eight bars, with the bars in which they stand.
    fn words(dynamics: &str, lines: &str) -> String {
        let source = format!(
            r#"
piece "Sluice" {{ }}
form {{
  1 metre 4/4, key C major
  8 end
}}
dynamics {{
{dynamics}
}}
voice tune {{ 1: 1/1 C5 | 2: D5 | 3: E5 | 4: C5 | 5: D5 | 6: E5 | 7: C5 | 8: C5 | }}
voice own {{ 1: 1/1 C5 | 2: D5 | 3: [mf] E5 | 4: C5 | 5: D5 | 6: [f] E5 | 7: C5 | 8: C5 | }}
ensemble e {{
  era 1885
  flute 2
}}
scoring s for e {{
  flute.1 plays tune as melody
{lines}
}}
"#
        );
        told(source)
    }

    fn told(source: String) -> String {
        let mut sources = Sources::new();
        let file = sources.add("example.ripieno", source);
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        assert!(findings.is_empty(), "{findings:#?}");
        let arrangement = arrange(&piece, &Arc::clone(&piece.scorings[0]));
        let part = &arrangement.parts[1];
        let said = part.directions.iter().filter_map(|said| match &said.kind {
            DirectionKind::Words(words) => {
                Some(format!("{} {words}", piece.form.index_at(said.at) + 1))
            }
            _ => None,
        });
        said.collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn words_of_a_level_that_is_over_are_not_told_at_an_entry() {
        let line = "  flute.2 plays tune bars 6..8 as melody";
        let two = "  1 p \"sotto voce\"\n  5 ff \"con forza\"";
        assert_eq!(words(two, line), "5 con forza");
        assert_eq!(words("  1 p \"leggiero\"\n  4 f", line), "");
        // What holds still: of a level that is said again, and what was said since.
        assert_eq!(words("  1 p \"leggiero\"\n  4 p", line), "1 leggiero");
        assert_eq!(words("  1 p \"leggiero\"\n  3 f\n  4 \"pesante\"\n  5 sf", line), "4 pesante");
        assert_eq!(words("  1 p \"leggiero\"\n  3 f\n  4 p", line), "");
        // Who plays reads all of it where it stands.
        let all = "  flute.2 plays tune as melody";
        assert_eq!(words(two, all), "1 sotto voce, 5 con forza");
    }

    #[test]
    fn who_rests_to_the_end_is_told_nothing_more_of_how_to_play() {
        let line = "  flute.2 plays tune bars 1..4 as melody";
        assert_eq!(words("  1 p\n  5 ff \"con forza\"\n  6 \"dolce\"", line), "");
        assert_eq!(words("  1 p\n  8 \"segue\"", line), "8 segue");
    }

    #[test]
    fn a_dynamic_of_ones_own_takes_the_words_of_everybody_with_it() {
        let own = "  flute.2 plays own as melody";
        assert_eq!(words("  1 p \"dolce\"\n  3 p \"sotto voce\"", own), "1 dolce");
        assert_eq!(words("  1 p\n  3 p \"a tempo\"", own), "3 a tempo", "it is of the tempo");
        // Words that stand alone belong to no level.
        assert_eq!(words("  1 p\n  3 \"sotto voce\"", own), "3 sotto voce");
        let at = "  flute.2 plays tune bars 1..4 as melody, at f \"solo\"";
        assert_eq!(words("  1 p\n  3 p \"sotto voce\"", at), "1 solo");
        // Who comes back to everybody's level is told their words too.
        let back = "  flute.2 plays tune bars 1..4 as melody, at f\n  flute.2 plays tune bars 5..8 as melody";
        assert_eq!(words("  1 p\n  3 p \"sotto voce\"", back), "5 sotto voce");
    }

    /// What the second of two flutes is told, who plays the given bars of a voice of eight with words in it.
    fn taken_up(words: &str, dynamics: &str, lines: &str) -> String {
        let words = words.replace("stay", "sempre stacc.");
        let at = |bar: usize| {
            let said = words.split(", ").find_map(|said| said.strip_prefix(&format!("{bar} ")));
            said.map_or_else(String::new, |said| format!("[\"{said}\"]"))
        };
        let bars: Vec<String> = (1..=8).map(|bar| format!("{bar}: {} 1/1 C5 |", at(bar))).collect();
        let source = format!(
            "piece \"Sluice\" {{ }}\nform {{\n  1 metre 4/4, key C major\n  6 double-bar\n  8 end\n}}\n\
             dynamics {{\n{dynamics}\n}}\nvoice tune {{ {} }}\nvoice other {{ {} }}\n\
             ensemble e {{\n  era 1885\n  flute 2\n}}\n\
             scoring s for e {{\n  flute.1 plays tune as melody\n{lines}\n}}\n",
            bars.join(" "),
            bars.join(" ").replace("sempre stacc.", "legato"),
        );
        told(source)
    }

    #[test]
    fn who_takes_up_a_voice_is_told_the_words_that_hold_on_in_it() {
        let line = "  flute.2 plays tune bars 4..6 as melody";
        assert_eq!(taken_up("2 stay", "1 p", line), "4 sempre stacc.");
        assert_eq!(taken_up("2 dolce", "1 p", line), "", "it may be over");
        assert_eq!(taken_up("2 sempre pp", "1 p", line), "", "it is of the level");
        assert_eq!(taken_up("2 stay, 3 poco cresc.", "1 p", line), "4 sempre stacc.");
        // Other words have taken it back: of the voice, of everybody, of the line.
        assert_eq!(taken_up("2 stay, 3 marcato", "1 p", line), "");
        assert_eq!(taken_up("2 stay, 4 marcato", "1 p", line), "4 marcato");
        assert_eq!(taken_up("2 stay", "3 \"dolce\"", line), "3 dolce");
        assert_eq!(taken_up("2 stay", "1 p", &format!("{line}, \"solo\"")), "4 solo");
        // A double bar ends it.
        assert_eq!(taken_up("2 stay", "1 p", "  flute.2 plays tune bars 7..8 as melody"), "");
        // Who has it already is not told again, unless another voice said other words to him meanwhile.
        let twice = |between: &str| {
            format!(
                "  flute.2 plays tune bars 1..2 as melody\n{between}  flute.2 plays tune bars 5..6 as melody"
            )
        };
        assert_eq!(taken_up("2 stay", "1 p", &twice("")), "2 sempre stacc.");
        let other = "  flute.2 plays other bars 3..4 as melody\n";
        assert_eq!(taken_up("2 stay", "1 p", &twice(other)), "2 sempre stacc.");
        let legato = "  flute.2 writes as melody {\n 3: [\"legato\"] 1/1 C5 |\n }\n";
        let all = "2 sempre stacc., 3 legato, 5 sempre stacc.";
        assert_eq!(taken_up("2 stay", "1 p", &twice(legato)), all);
    }
}
