//! Layouts: what a copyist overrides, linked to scorings, players and bars. What of it does not fit
//! the source is told here; what does not fit the pages, where they are laid out.

use super::Resolver;
use super::form::inside;
use super::piece::{
    Ensemble, Form, Layout, Nudge, NudgedSign, Overridden, Override, Pages, Paper, Piece,
};
use crate::diagnostics::{Diagnostic, Span};
use crate::syntax::{
    Declaration, LayoutItem, LayoutLine, LayoutTree, NudgeTree, Number, PagesTree, ShiftTree,
    Spanned, Tree, Word,
};

/// The smallest and the largest staves, in millimetres: from miniature scores to parts for a dark
/// pit. Our heuristic around the sizes of the trade (Gould, Behind Bars, 2011, chapter "Layout", from
/// memory: 3.7 to 9.2).
const STAVES: (f64, f64) = (2.0, 15.0);
/// How far a sign can be moved, in staff spaces. Our heuristic: what goes farther is no nudge.
const FARTHEST: f64 = 20.0;

/// The layouts of a piece whose scorings are known, or of a whole whose movements have them.
pub(super) fn layouts(cx: &mut Resolver, tree: &Tree, piece: &Piece, whole: bool) -> Vec<Layout> {
    let mut layouts: Vec<(Layout, Span)> = Vec::new();
    let scorings = tree.declarations.iter().filter_map(|declaration| match &**declaration {
        Declaration::Scoring(scoring) => Some(scoring.name.value.as_str()),
        _ => None,
    });
    let declared: Vec<&str> = scorings.collect();
    for declaration in &tree.declarations {
        let Declaration::Layout(tree) = &**declaration else { continue };
        let Some(layout) = layout(cx, tree, (piece, &declared), whole) else { continue };
        let span = tree.scoring.as_ref().map_or(tree.span, |scoring| scoring.span);
        match layouts.iter().find(|(other, _)| other.scoring == layout.scoring) {
            Some((_, first)) => {
                let message = match &layout.scoring {
                    Some(scoring) => format!("There is a second layout for `{scoring}`."),
                    None => "There is a second layout for all scorings.".to_string(),
                };
                cx.push(
                    Diagnostic::error("names/twice", span, message)
                        .with_label(*first, "the first is here")
                        .with_help("Move its lines into the first."),
                );
            }
            None => layouts.push((layout, span)),
        }
    }
    layouts.into_iter().map(|(layout, _)| layout).collect()
}

fn layout(
    cx: &mut Resolver,
    tree: &LayoutTree,
    (piece, declared): (&Piece, &[&str]),
    whole: bool,
) -> Option<Layout> {
    let forces: Vec<&Ensemble> = match &tree.scoring {
        Some(word) => {
            let scoring = piece.scorings.iter().find(|scoring| scoring.name == word.value);
            let Some(scoring) = scoring else {
                // The scorings of a whole are those of its movements, which are looked up later.
                if whole {
                    return Some(read(cx, tree, (piece, Vec::new()), whole));
                }
                let known: Vec<&str> = piece.scorings.iter().map(|s| s.name.as_str()).collect();
                // One that is declared for an ensemble that there is not has been told already.
                if !declared.contains(&word.value.as_str()) {
                    cx.push_unknown(word, &known, "scoring");
                }
                return None;
            };
            piece.ensembles.get(scoring.ensemble).map(|ensemble| &**ensemble).into_iter().collect()
        }
        None => piece.ensembles.iter().map(|ensemble| &**ensemble).collect(),
    };
    Some(read(cx, tree, (piece, forces), whole))
}

fn read(
    cx: &mut Resolver,
    tree: &LayoutTree,
    (piece, forces): (&Piece, Vec<&Ensemble>),
    whole: bool,
) -> Layout {
    let mut reading = Reading { cx, form: &piece.form, forces, said: Vec::new(), whole };
    let lines = tree.lines.iter().filter_map(|line| reading.line(line)).collect();
    let scoring = tree.scoring.as_ref();
    Layout {
        scoring: scoring.map(|word| word.value.clone()),
        lines,
        span: scoring.map_or(tree.span, |word| word.span),
    }
}

/// What people may call that part of a note which no layout moves.
const OF_NOTES: [&str; 8] =
    ["head", "notehead", "note-head", "note", "stem", "flag", "beam", "dot"];

/// A layout while its lines are read.
struct Reading<'a, 'c> {
    cx: &'c mut Resolver,
    form: &'a Form,
    forces: Vec<&'a Ensemble>,
    /// What was said before, and where.
    said: Vec<(String, Span)>,
    /// Is it the layout of a piece in movements?
    whole: bool,
}

impl Reading<'_, '_> {
    fn line(&mut self, line: &LayoutLine) -> Option<Override> {
        let of_bars =
            matches!(line.what, LayoutItem::Break(_) | LayoutItem::Turn(_) | LayoutItem::Nudge(_));
        if self.whole && of_bars {
            self.cx.push(
                Diagnostic::error(
                    "movements/music",
                    line.span,
                    "The layout of a piece in movements names bars of its own.",
                )
                .with_help(
                    "Move the line into a layout in the source of the movement to which the bar \
                     belongs; it holds on the pages of the whole too.",
                ),
            );
            return None;
        }
        let (pages, named) = match &line.pages {
            PagesTree::Score(_) => (Pages::Score, "score".to_string()),
            PagesTree::Parts(_) => (Pages::Parts, "parts".to_string()),
            PagesTree::Players(words) => {
                let players = self.players(words);
                if players.is_empty() {
                    return None;
                }
                let names: Vec<&str> = players.iter().map(|(name, _)| name.as_str()).collect();
                let named = names.join(", ");
                (Pages::Players(players), named)
            }
        };
        let what = match &line.what {
            LayoutItem::Paper(word, landscape) => {
                self.once(&format!("{named} paper"), "`paper`", line.item_span)?;
                Overridden::Paper(self.paper(word)?, *landscape)
            }
            LayoutItem::Staff(height) => {
                self.once(&format!("{named} staff"), "`staff`", line.item_span)?;
                if !(STAVES.0..=STAVES.1).contains(&height.value) {
                    self.cx.push(
                        Diagnostic::error(
                            "layout/out-of-range",
                            height.span,
                            "No staff can be read at this size.",
                        )
                        .with_help(format!(
                            "Write the height of five lines in millimetres, from {} to {}; parts \
                             have 7 to 8.5.",
                            STAVES.0, STAVES.1
                        )),
                    );
                    return None;
                }
                Overridden::Staff(height.value)
            }
            LayoutItem::HideEmpty(words) => {
                if pages != Pages::Score {
                    self.no_effect(
                        line.item_span,
                        "Only a score leaves out empty staves.",
                        "Write `score hide empty`.",
                    );
                    return None;
                }
                self.once(&format!("{named} hide"), "`hide empty`", line.item_span)?;
                let players = self.players(words);
                if players.is_empty() && !words.is_empty() {
                    return None;
                }
                Overridden::HideEmpty(players)
            }
            LayoutItem::Break(bars) => Overridden::Break(self.bars(&named, bars)?),
            LayoutItem::Turn(bars) => Overridden::Turn(self.bars(&named, bars)?),
            LayoutItem::Nudge(tree) => Overridden::Nudge(self.nudge(&pages, tree)?),
        };
        Some(Override { pages, what, span: line.span })
    }

    /// Players or groups of any of the ensembles; unknown ones are told.
    fn players(&mut self, words: &[Word]) -> Vec<(String, Span)> {
        let mut found = Vec::new();
        for word in words {
            // Whom a whole names is looked up among its movements, later.
            let known = || self.forces.iter().any(|e| !e.players_named(&word.value).is_empty());
            if self.whole || known() {
                found.push((word.value.clone(), word.span));
            } else if !self.forces.is_empty()
                && !self.forces.iter().any(|ensemble| ensemble.may_have(&word.value))
            {
                let what = match &self.forces[..] {
                    [only] => format!("player or group in {}", only.name),
                    _ => "player or group".to_string(),
                };
                let mut known: Vec<&str> = self.forces.iter().flat_map(|e| e.names()).collect();
                known.sort_unstable();
                known.dedup();
                self.cx.push_unknown(word, &known, &what);
            }
        }
        found
    }

    /// Tells what is said of the same pages a second time.
    fn once(&mut self, key: &str, what: &str, span: Span) -> Option<()> {
        if let Some((_, first)) = self.said.iter().find(|(before, _)| before == key) {
            self.cx.push(Diagnostic::twice(what, span, *first));
            return None;
        }
        self.said.push((key.to_string(), span));
        Some(())
    }

    fn paper(&mut self, word: &Word) -> Option<Paper> {
        let known = Paper::WORDS.into_iter().find(|(_, name)| *name == word.value);
        if known.is_none() {
            let words: Vec<&str> = Paper::WORDS.into_iter().map(|(_, word)| word).collect();
            self.cx.push(
                super::unknown(word, &words, "paper", &word.value)
                    .with_help(format!("Sizes are {}.", words.join(", "))),
            );
        }
        known.map(|(paper, _)| paper)
    }

    /// Bars with which a system or a page is to begin.
    fn bars(&mut self, named: &str, bars: &[Number]) -> Option<Vec<(usize, Span)>> {
        let mut found = Vec::new();
        for number in bars {
            let Some(index) = inside(self.cx, self.form, number.value, number.span) else {
                continue;
            };
            // With its up-beat.
            let index = self.form.with_up_beat(index);
            if index == 0 {
                self.no_effect(
                    number.span,
                    &format!("Bar {} begins the first page anyway.", number.value),
                    "Remove it.",
                );
                continue;
            }
            let key = format!("{named} {index}");
            match self.said.iter().find(|(before, _)| *before == key) {
                Some((_, first)) => {
                    let message = format!("Bar {} stands here a second time.", number.value);
                    let finding = Diagnostic::error("names/twice", number.span, message)
                        .with_label(*first, "the first time is here")
                        .with_help("A page that begins with a bar begins a line with it too.");
                    self.cx.push(finding);
                }
                None => {
                    self.said.push((key, number.span));
                    found.push((index, number.span));
                }
            }
        }
        (!found.is_empty()).then_some(found)
    }

    fn nudge(&mut self, pages: &Pages, tree: &NudgeTree) -> Option<Nudge> {
        let known = NudgedSign::WORDS.into_iter().find(|(_, name)| *name == tree.sign.value);
        let Some((sign, _)) = known else {
            let words: Vec<&str> = NudgedSign::WORDS.into_iter().map(|(_, word)| word).collect();
            self.cx.push(super::unknown(&tree.sign, &words, "sign", &tree.sign.value).with_help(
                format!(
                    "{}These can be moved: {}.",
                    if OF_NOTES.contains(&tree.sign.value.as_str()) {
                        "A note's head stands where its pitch and time are, and its stem with it. "
                    } else {
                        ""
                    },
                    words.join(", ")
                ),
            ));
            return None;
        };
        let of = match &tree.of {
            Some(word) => Some(self.players(std::slice::from_ref(word)).pop()?),
            None => None,
        };
        let of_all = *pages == Pages::Score && sign.is_of_all();
        if (*pages == Pages::Score) != of.is_some() && !of_all {
            let (message, help) = match of {
                Some(_) => (
                    "A part has one player: this `of` has no effect.",
                    "Remove it, or write `score` at the head of the line.",
                ),
                None => (
                    "It is not said whose sign is to be moved in the score.",
                    "Name the player: `score nudge slur of oboe.1 bar 12 up 1`.",
                ),
            };
            self.no_effect(tree.sign.span, message, help);
            return None;
        }
        let bar = inside(self.cx, self.form, tree.bar.value, tree.bar.span)?;
        if let Some(beat) = &tree.beat {
            let frame = &self.form.bars[bar];
            let beats =
                frame.metre.bar_length().max(frame.length).to_f64() / frame.metre.beat().to_f64();
            if self.form.is_sure(bar) && !(1.0..beats + 1.0).contains(&beat.value) {
                self.cx.push(
                    Diagnostic::error(
                        "bars/outside",
                        beat.span,
                        format!("Bar {} has no beat {}.", tree.bar.value, beat.value),
                    )
                    .with_help(format!(
                        "In {} the beats are 1 to {}.",
                        frame.metre,
                        frame.metre.beats()
                    )),
                );
                return None;
            }
        }
        let (mut right, mut up) = (0.0, 0.0);
        for (towards, Spanned { value, span }) in &tree.shifts {
            if *value > FARTHEST {
                self.cx.push(
                    Diagnostic::error(
                        "layout/out-of-range",
                        *span,
                        "This is farther than a sign is nudged.",
                    )
                    .with_help(format!("Write at most {FARTHEST} staff spaces.")),
                );
                return None;
            }
            match towards {
                ShiftTree::Up => up += value,
                ShiftTree::Down => up -= value,
                ShiftTree::Left => right -= value,
                ShiftTree::Right => right += value,
            }
        }
        let beat = tree.beat.as_ref().map(|beat| beat.value);
        // The up-beat that is parted from its bar stands in a bar of its own.
        let up_beat = self.form.bars.get(bar + 1).and_then(|next| Some((next, next.up_beat?)));
        let bar = match (beat, up_beat) {
            (Some(beat), Some((next, since)))
                if (beat - 1.0) * next.metre.beat().to_f64() >= since.to_f64() =>
            {
                bar + 1
            }
            _ => bar,
        };
        Some(Nudge { sign, of, bar, beat, right, up })
    }

    fn no_effect(&mut self, span: Span, message: &str, help: &str) {
        self.cx.push(Diagnostic::warning("layout/no-effect", span, message).with_help(help));
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::diagnostics::{Diagnostic, Sources};
    use crate::resolve::{NoFiles, Piece, resolve};

    fn told(layout: &str) -> String {
        let (piece, findings) = read(layout);
        let told: Vec<String> = findings.into_iter().map(|finding| finding.message).collect();
        if told.is_empty() { format!("{:?}", piece.layouts) } else { told.join(" ") }
    }

    /// What helps with the first thing that is told.
    fn helped(layout: &str) -> String {
        let (_, findings) = read(layout);
        findings.into_iter().flat_map(|finding| finding.help).collect()
    }

    fn read(layout: &str) -> (Arc<Piece>, Vec<Diagnostic>) {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{\n 1 metre 3/4, key C major\n 3 end\n}}\n\
             voice tune {{ 1: 1/4 C5 D E | 2: 1/2 F 1/4 E | 3: 1/2 = 1/4 rest | }}\n\
             ensemble duo {{ era 1885\n oboe 2\n}}\n\
             scoring plain for duo {{\n oboe plays tune as melody\n}}\n{layout}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        resolve(&mut sources, file, &mut NoFiles)
    }

    #[test]
    fn overrides_are_linked_to_players_and_bars() {
        let said = told(
            "layout for plain {\n score paper a3 landscape\n oboe.1, oboe.2 break before 2, 3\n \
             parts staff 7.5 mm\n oboe.1 nudge slur bar 2 beat 2.5 up 1.5 left 0.5\n}",
        );
        for part in [
            "Paper(A3, true)",
            "Break([(1,",
            "Staff(7.5)",
            "sign: Slur",
            "beat: Some(2.5), right: -0.5, up: 1.5",
        ] {
            assert!(said.contains(part), "{part} is not in {said}");
        }
    }

    #[test]
    fn what_stands_over_all_staves_is_moved_in_the_score_without_a_player() {
        for sign in ["tempo", "mark", "ending", "bar-number"] {
            let said = told(&format!("layout for plain {{\n score nudge {sign} bar 2 up 1\n}}"));
            assert!(said.contains("of: None"), "{said}");
        }
        let said = told("layout for plain {\n score nudge clef bar 2 up 1\n}");
        assert!(said.starts_with("It is not said whose sign"), "{said}");
    }

    #[test]
    fn who_would_move_a_head_is_told_where_it_stands() {
        for word in ["head", "stem", "blob"] {
            let help = helped(&format!("layout for plain {{\n oboe.1 nudge {word} bar 2 up 1\n}}"));
            let of_note = help.contains("head stands where its pitch and time are");
            assert_eq!(of_note, word != "blob", "{help}");
            assert!(help.contains("These can be moved: accidental, "), "{help}");
        }
    }

    #[test]
    fn what_no_longer_fits_is_told() {
        for (line, message) in [
            ("score break before 9", "The piece has no bar 9."),
            ("oboe.3 turn before 2", "Unknown player or group `oboe.3` in duo."),
            ("score paper a7", "Unknown paper `a7`."),
            ("parts staff 70 mm", "No staff can be read at this size."),
            ("parts break before 1", "Bar 1 begins the first page anyway."),
            ("oboe.1 hide empty", "Only a score leaves out empty staves."),
            ("oboe.1 nudge blob bar 2 up 1", "Unknown sign `blob`."),
            ("oboe.1 nudge slur bar 2 beat 4 up 1", "Bar 2 has no beat 4."),
            ("oboe.1 nudge slur bar 2 up 70", "This is farther than a sign is nudged."),
            (
                "score nudge slur bar 2 up 1",
                "It is not said whose sign is to be moved in the score.",
            ),
        ] {
            assert_eq!(told(&format!("layout for plain {{\n {line}\n}}")), message);
        }
        assert_eq!(told("layout for plan {\n}"), "Unknown scoring `plan`.");
        let twice = "layout for plain {\n}\nlayout for plain {\n}";
        assert_eq!(told(twice), "There is a second layout for `plain`.");
        let lines = "layout {\n parts turn before 2\n parts break before 2\n}";
        assert_eq!(told(lines), "Bar 2 stands here a second time.");
    }
}
