//! What a `layout` of the source and the command line ask of pages, and what of it does not fit them.

use std::collections::HashSet;

use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::{BarNumbers, Diagnostic, Span};
use ripieno_compiler::resolve::{self, NudgedSign, Overridden};
use ripieno_writers::render::ScoreKind;

use crate::outputs::{Of, Printed, Setups};
use crate::page::Turn;
use crate::paper::{Nudge, Paper, SCORE_STAFF, Setup};

mod begins;

use begins::Begins;

/// How a part or a score is to be set: as the layouts of the source have it, the general one first,
/// then that of the scoring; what the command line asks goes before both.
#[must_use]
pub fn setup(arrangement: &Arrangement, asked: &Setups, of: Of) -> Setup {
    let mut setup = Setup::default();
    for (line, _) in lines(arrangement) {
        if !speaks_of(arrangement, &line.pages, of) {
            continue;
        }
        match &line.what {
            Overridden::Paper(paper, landscape) => {
                (setup.paper, setup.landscape) = (*paper, *landscape);
            }
            Overridden::Staff(height) => setup.staff_height = Some(*height),
            Overridden::HideEmpty(who) => {
                setup.hide_empty = true;
                let players = who.iter().flat_map(|(name, _)| named(arrangement, name));
                setup.hidden = (!who.is_empty()).then(|| players.collect());
            }
            Overridden::Break(bars) => setup.lines.extend(bars.iter().map(|(bar, _)| *bar)),
            Overridden::Turn(bars) => setup.turns.extend(bars.iter().map(|(bar, _)| *bar)),
            Overridden::Nudge(nudge) => setup.nudges.push(Nudge {
                what: nudge.clone(),
                players: nudge.of.as_ref().map(|(name, _)| named(arrangement, name)),
                line: line.span,
            }),
        }
    }
    // It is to be the shorter one: who rests through a system is left out of it, whatever room there is.
    setup.hide_empty |= of == Of::Score(ScoreKind::Condensed);
    if let Some(paper) = asked.paper {
        setup.paper = paper;
    }
    if matches!(of, Of::Score(_)) {
        setup.landscape |= asked.landscape;
        if asked.hide_empty {
            (setup.hide_empty, setup.hidden) = (true, None);
        }
    }
    setup
}

/// The lines of the layouts that hold for a scoring, and whether each stands in that of all.
fn lines(arrangement: &Arrangement) -> impl Iterator<Item = (&resolve::Override, bool)> {
    let of = move |general: bool| {
        arrangement.piece.layouts.iter().filter(move |layout| match &layout.scoring {
            None => general,
            Some(scoring) => !general && *scoring == arrangement.scoring.name,
        })
    };
    [true, false].into_iter().flat_map(move |general| {
        of(general).flat_map(|layout| &layout.lines).map(move |l| (l, general))
    })
}

/// The players (indices of parts) of that name, which may be a group.
fn named(arrangement: &Arrangement, name: &str) -> Vec<usize> {
    let Some(ensemble) = arrangement.piece.ensembles.get(arrangement.scoring.ensemble) else {
        return Vec::new();
    };
    let ids: HashSet<&str> = ensemble
        .players_named(name)
        .into_iter()
        .filter_map(|player| ensemble.players.get(player))
        .map(|player| player.id.as_str())
        .collect();
    let parts = arrangement.parts.iter().enumerate();
    parts.filter(|(_, part)| ids.contains(part.player.id.as_str())).map(|(n, _)| n).collect()
}

fn speaks_of(arrangement: &Arrangement, pages: &resolve::Pages, of: Of) -> bool {
    match (pages, of) {
        (resolve::Pages::Score, Of::Score(_)) | (resolve::Pages::Parts, Of::Part(_)) => true,
        (resolve::Pages::Players(names), Of::Part(part)) => {
            let players = names.iter().flat_map(|(name, _)| named(arrangement, name));
            players.into_iter().any(|player| arrangement.desk(player).start == part)
        }
        _ => false,
    }
}

/// What is found on the printed pages of a scoring.
#[derive(Clone, Default, Debug)]
pub struct Found {
    /// What is to be told of this scoring.
    pub findings: Vec<Diagnostic>,
    /// Lines of layouts for all scorings that change nothing here; they may be meant for another.
    pub idle: Vec<Diagnostic>,
    /// Those that do change something.
    pub effective: HashSet<Span>,
}

/// What is to be told of the printed pages of all scorings of a piece: of a line of a layout that holds
/// for all of them, where it changes nothing in any; `complete` tells that none is missing.
#[must_use]
pub fn gathered(of: Vec<Found>, complete: bool) -> Vec<Diagnostic> {
    let effective: HashSet<Span> =
        of.iter().flat_map(|one| one.effective.iter().copied()).collect();
    let mut told: HashSet<(Option<Span>, String)> = HashSet::new();
    let mut gathered = Vec::new();
    for one in of {
        let idle =
            one.idle.into_iter().filter(|idle| complete && !effective.contains(&idle.primary.span));
        // Each once, though every scoring has them.
        for finding in one.findings.into_iter().chain(idle) {
            // The same words stand in several scorings, each with its own place.
            let of_line = finding.code == "layout/no-effect";
            let key = (of_line.then_some(finding.primary.span), finding.message.clone());
            if finding.scoring.is_some() || told.insert(key) {
                gathered.push(finding);
            }
        }
    }
    gathered
}

/// What is found on the printed pages of a scoring: turns that leave no time, overrides that change
/// nothing, characters that no face has.
#[must_use]
pub fn findings(arrangement: &Arrangement, printed: &[Printed]) -> Found {
    let mut all = Found::default();
    let used: HashSet<Span> = printed.iter().flat_map(|one| one.nudged.iter().copied()).collect();
    let name = &arrangement.scoring.name;
    for (line, general) in lines(arrangement) {
        let concerned: Vec<&Printed> =
            printed.iter().filter(|one| speaks_of(arrangement, &line.pages, one.of)).collect();
        if concerned.is_empty() {
            continue;
        }
        let mut found = Vec::new();
        let told = |message: String, help: String| {
            Diagnostic::warning("layout/no-effect", line.span, message).with_help(help)
        };
        match &line.what {
            Overridden::Nudge(nudge) if !used.contains(&line.span) => {
                let bar = arrangement.piece.form.bars.get(nudge.bar).map_or(0, |bar| bar.number);
                let sign = match nudge.sign {
                    NudgedSign::BarNumber => "bar number",
                    NudgedSign::Mark => "rehearsal mark",
                    NudgedSign::Octave => "octave line",
                    sign => sign.word(),
                };
                let place = match nudge.beat {
                    Some(beat) => format!("on beat {beat} of bar {bar}"),
                    None => format!("in bar {bar}"),
                };
                let several = matches!(nudge.sign, NudgedSign::Words | NudgedSign::Figures);
                let none = if several { "There are no" } else { "There is no" };
                found.push(told(
                    format!("{none} {sign} {place} to be moved."),
                    "Name the bar and the beat where it stands or begins, or remove the line."
                        .to_string(),
                ));
            }
            Overridden::HideEmpty(who) => {
                let hidden: HashSet<usize> =
                    concerned.iter().flat_map(|one| one.hidden.iter().copied()).collect();
                if hidden.is_empty() && who.is_empty() {
                    found.push(told(
                        "No staff rests through a whole line of the score.".to_string(),
                        "Remove the line; larger staves or fewer bars on a line would not help \
                         either where everybody plays."
                            .to_string(),
                    ));
                } else {
                    for (name, span) in who {
                        let players = named(arrangement, name);
                        if players.is_empty() || players.iter().any(|one| hidden.contains(one)) {
                            all.effective.insert(*span);
                            continue;
                        }
                        let message = format!(
                            "`{name}` rests through no whole line of the score, so no staff of it is hidden."
                        );
                        let help = "Leave the name out.".to_string();
                        found.push(
                            Diagnostic::warning("layout/no-effect", *span, message).with_help(help),
                        );
                    }
                }
            }
            Overridden::Staff(height) => {
                let smallest =
                    concerned.iter().min_by(|a, b| a.staff_height.total_cmp(&b.staff_height));
                if let Some(one) = smallest.filter(|one| one.staff_height < height - 0.05) {
                    found.push(told(
                        format!(
                            "With staves of {height} mm a line is higher than the page; those of the {} are \
                             printed {:.1} mm high.",
                            pages(arrangement, one.of),
                            one.staff_height,
                        ),
                        "Write a smaller `staff`, or a larger `paper`.".to_string(),
                    ));
                }
            }
            Overridden::Break(bars) | Overridden::Turn(bars) => {
                let begins = match &line.what {
                    Overridden::Turn(_) => Begins::Page,
                    _ => Begins::Line,
                };
                let line = (line, &concerned[..]);
                let effective = &mut all.effective;
                found.extend(begins::findings(arrangement, line, (begins, bars), effective));
            }
            Overridden::Nudge(_) | Overridden::Paper(..) => {}
        }
        if !general {
            all.findings.append(&mut found);
        } else if found.is_empty() {
            all.effective.insert(line.span);
        } else {
            all.idle.append(&mut found);
        }
    }
    all.findings.extend(printed.iter().filter_map(|one| small_staves(arrangement, one)));
    for one in printed {
        let Of::Part(part) = one.of else { continue };
        all.findings.extend(one.turns.iter().filter_map(|turn| hasty(arrangement, part, turn)));
    }
    for finding in &mut all.findings {
        finding.scoring = Some(name.clone());
    }
    all.findings.extend(boxes(arrangement, printed));
    all
}

fn score_word(kind: ScoreKind) -> &'static str {
    match kind {
        ScoreKind::Full => "score",
        ScoreKind::Concert => "score at concert pitch",
        ScoreKind::Condensed => "condensed score",
    }
}

/// Whose pages these are, in words: "condensed score", "part for `viola`".
fn pages(arrangement: &Arrangement, of: Of) -> String {
    match of {
        Of::Score(kind) => score_word(kind).to_owned(),
        Of::Part(part) => format!("part for `{}`", arrangement.parts[part].player.part().0),
    }
}

/// Staves of a score that nobody can read from a stand.
fn small_staves(arrangement: &Arrangement, printed: &Printed) -> Option<Diagnostic> {
    let larger = printed.larger.as_ref()?;
    let Of::Score(kind) = printed.of else { return None };
    let word = |paper: Paper| {
        let known = Paper::WORDS.into_iter().find(|(known, _)| *known == paper);
        known.map_or("", |(_, word)| word)
    };
    let score = score_word(kind);
    let message = format!(
        "The staves of the {score} are {:.1} mm high on {} paper; below {} mm they cannot be read from \
         a stand.",
        printed.staff_height,
        // "A4", but "letter".
        word(larger.on).replacen('a', "A", 1),
        SCORE_STAFF.1,
    );
    let layout = format!("layout for {} {{ … }}", arrangement.scoring.name);
    let help = if larger.chosen {
        format!(
            "Write a `score staff` of {} mm or more in `{layout}`, or leave it out.",
            SCORE_STAFF.1
        )
    } else {
        let paper = larger.paper.map(|(paper, height)| {
            let word = word(paper);
            format!("`score paper {word}` in `{layout}` gives about {height:.1} mm.")
        });
        let upright = larger.upright.map(|height| {
            format!("Upright, without `landscape`, they are about {height:.1} mm high.")
        });
        let condensed = larger.condensed.map(|height| {
            format!("A condensed score (`--scores condensed`) has about {height:.1} mm.")
        });
        let all: Vec<String> = [upright, paper, condensed].into_iter().flatten().collect();
        if all.is_empty() { "Print fewer players in one score.".to_string() } else { all.join(" ") }
    };
    let span = arrangement.scoring.span;
    Some(Diagnostic::warning("layout/small-staves", span, message).with_help(help))
}

/// Words with characters that none of the faces has, where boxes stand instead.
fn boxes(arrangement: &Arrangement, printed: &[Printed]) -> Vec<Diagnostic> {
    let mut all: Vec<&(String, String)> = printed.iter().flat_map(|one| &one.boxes).collect();
    all.sort_unstable();
    all.dedup();
    let piece = &arrangement.piece;
    let heads =
        [&piece.subtitle, &piece.composer, &piece.arranger, &piece.licence, &piece.revision];
    let mut heads = heads.into_iter().flatten().chain([&piece.title]).collect::<Vec<_>>();
    heads.extend(piece.movements.iter().filter_map(|movement| movement.title.as_ref()));
    let told = all.into_iter().map(|(words, missing)| {
        let in_head =
            heads.iter().any(|head| head.contains(words.as_str()) || words.contains(head.as_str()));
        let span = if in_head { piece.span } else { arrangement.scoring.span };
        let several = missing.chars().count() > 1;
        let (are, boxes) = if several { ("are", "boxes stand") } else { ("is", "a box stands") };
        let message = format!(
            "{missing} in \"{words}\" {are} not among the characters that pages are printed with; \
             {boxes} there instead."
        );
        Diagnostic::warning("layout/no-character", span, message).with_help(
            "Write it in letters that are (Latin, Greek, Cyrillic), or have the words only in \
             the other formats."
                .to_string(),
        )
    });
    told.collect()
}

/// A turn that leaves no time.
fn hasty(arrangement: &Arrangement, part: usize, turn: &Turn) -> Option<Diagnostic> {
    if turn.seconds >= crate::layout::TURN_SECONDS {
        return None;
    }
    let player = &arrangement.parts[part].player;
    let number = |bar: usize| arrangement.piece.form.bars.get(bar).map_or(0, |bar| bar.number);
    let (before, after) = (number(turn.after), number(turn.after + 1));
    let rest = match turn.seconds {
        ..0.3 => "without a rest".to_string(),
        seconds => format!("with {seconds:.1} s of rest"),
    };
    let name = arrangement.parts[part].full_name();
    // Of two at a desk the inner one turns while the other plays on.
    let shared = player.section;
    let verb = if shared { "turn" } else { "has to turn" };
    let message = format!("{name} {verb} the page after bar {before} {rest}.");
    let layout = format!("layout for {}", arrangement.scoring.name);
    let id = &player.id;
    let help = match turn.better {
        Some((bar, seconds)) => format!(
            "Before bar {} there are {seconds:.1} s of rest: write `{id} turn before {}` in `{layout} {{ … }}`.",
            number(bar),
            number(bar)
        ),
        None => format!(
            "No rest on the page is long enough: let the part rest there, or try a smaller `{id} staff` in \
             `{layout} {{ … }}` so that fewer pages are needed.{}",
            if shared { " Otherwise the inner player of each desk stops to turn." } else { "" }
        ),
    };
    let span = turn.note.unwrap_or(arrangement.scoring.span);
    let finding = if shared {
        Diagnostic::advice("notation/page-turn", span, message)
    } else {
        Diagnostic::warning("notation/page-turn", span, message)
    };
    let text = "the last note before the turn";
    let mut finding = if turn.note.is_some() { finding.with_text(text) } else { finding };
    finding.player = Some(player.id.clone());
    finding.bars = Some(BarNumbers { first: before, last: after });
    Some(finding.with_help(help))
}

/// Is it a score of which a few bars are asked for?
#[must_use]
pub fn score_setup(arrangement: &Arrangement, asked: &Setups, kind: ScoreKind) -> Setup {
    let whole = setup(arrangement, asked, Of::Score(kind));
    Setup { lines: Vec::new(), turns: Vec::new(), ..whole }
}

#[cfg(test)]
mod tests {
    use ripieno_compiler::arrange::{Arrangement, arrange};
    use ripieno_compiler::diagnostics::Sources;
    use ripieno_compiler::resolve::{NoFiles, resolve};
    use ripieno_writers::edition;
    use ripieno_writers::notate::notate;
    use ripieno_writers::render::{ScoreKind, Wanted};

    use super::{findings, gathered, setup};
    use crate::outputs::{Of, Printed, Setups, each_output};
    use crate::page::{Kind, Pages};
    use crate::store::in_memory;
    use crate::{layout, reading};

    fn arranged(layout: &str) -> Arrangement {
        arranged_with("", layout)
    }

    /// With more players, who have nothing to play.
    fn arranged_with(more: &str, layout: &str) -> Arrangement {
        let text = format!(
            "piece \"Sluice\" {{ }}\nform {{\n 1 metre 4/4, key C major, tempo 1/4 at 96\n 60 end\n}}\n\
             voice tune {{ 1: [p] 1/4 {{C5 D5 E5 F5}} | 2: 1/1 G5 | 3: rest 37 | 40: 1/1 C5 | 41: rest 20 | }}\n\
             ensemble few {{ era 1885\n flute, oboe{more}\n }}\n\
             scoring all for few {{\n flute plays tune as melody\n oboe plays tune bars 1..2 as harmony\n}}\n\
             layout for all {{\n{layout}\n}}\n"
        );
        let mut sources = Sources::new();
        let root = sources.add("sluice", text);
        let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
        assert!(found.is_empty(), "{found:?}");
        arrange(&piece, &piece.scorings[0])
    }

    fn flute(layout: &str) -> Pages {
        let arrangement = arranged(layout);
        let setup = setup(&arrangement, &Setups::default(), Of::Part(0));
        let score = notate(&arrangement);
        layout::pages(&reading::sheet_for(&edition::part(&score, 0), &setup), &setup)
    }

    fn told(layout: &str) -> Vec<String> {
        told_with("", layout)
    }

    pub(super) fn told_with(more: &str, layout: &str) -> Vec<String> {
        let arrangement = arranged_with(more, layout);
        let wanted = Wanted::formats(&[]);
        let take = |_, _| Ok::<(), ()>(());
        let printed =
            each_output(&arrangement, &wanted, &Setups::default(), &[], (1, &in_memory), take);
        let found = findings(&arrangement, &printed.unwrap_or_default());
        gathered(vec![found], true).into_iter().map(|finding| finding.message).collect()
    }

    #[test]
    fn a_page_begins_where_the_layout_says_even_within_a_rest() {
        assert_eq!(flute("").first_bars, [0]);
        assert_eq!(flute("flute turn before 20").first_bars, [0, 19]);
        assert_eq!(flute("oboe turn before 20").first_bars, [0]);
        assert_eq!(flute("parts turn before 20, 41").first_bars, [0, 19, 40]);
    }

    #[test]
    fn staff_and_paper_are_as_the_layout_says() {
        let page = flute("parts paper 9x12\nflute staff 7 mm").pages.remove(0);
        assert_eq!(page.size, (228.6, 304.8));
        assert!((page.space - 1.75).abs() < 1e-9);
    }

    #[test]
    fn a_nudged_sign_stands_farther_by_so_much_and_nothing_else_moves() {
        let of = |pages: &Pages, kind: Kind| -> Vec<(f64, f64)> {
            let marks = pages.pages[0].marks.iter().filter(|mark| mark.kind == kind);
            marks.map(|mark| (mark.bounds().x0, mark.bounds().y0)).collect()
        };
        let (before, after) = (flute(""), flute("flute nudge dynamic bar 1 beat 1 down 2 right 1"));
        let moved = of(&before, Kind::Dynamic).into_iter().zip(of(&after, Kind::Dynamic));
        // The second dynamic is told at an entry far behind.
        for ((before, after), (x, y)) in moved.zip([(1.0, 2.0), (0.0, 0.0)]) {
            assert!((after.0 - before.0 - x).abs() < 1e-9, "{before:?} {after:?}");
            assert!((after.1 - before.1 - y).abs() < 1e-9, "{before:?} {after:?}");
        }
        assert_eq!(of(&before, Kind::Slur), of(&after, Kind::Slur));
        assert_eq!(after.nudged.len(), 1);
    }

    #[test]
    fn what_does_not_fit_the_pages_is_told() {
        assert!(told("flute nudge slur bar 1 up 1").is_empty());
        assert_eq!(told("flute nudge slur bar 2 up 1"), ["There is no slur in bar 2 to be moved."]);
        assert_eq!(
            told("score nudge words of oboe bar 1 beat 1 up 1"),
            ["There are no words on beat 1 of bar 1 to be moved."]
        );
        for (sign, name) in [
            ("tempo", "is no tempo"),
            ("mark", "is no rehearsal mark"),
            ("figures", "are no figures"),
        ] {
            let none = format!("There {name} in bar 2 to be moved.");
            assert_eq!(told(&format!("score nudge {sign} of oboe bar 2 up 1")), [none]);
        }
        assert!(told("score nudge tempo bar 1 up 1").is_empty());
        assert!(told("score hide empty oboe").is_empty());
        let never =
            "`flute` rests through no whole line of the score, so no staff of it is hidden.";
        assert_eq!(told("score break before 3\nscore hide empty flute, oboe"), [never]);
        let large = told("score staff 15 mm\nscore hide empty");
        assert!(large.is_empty(), "{large:?}");
    }

    #[test]
    fn of_staves_that_are_printed_smaller_it_is_told_in_which_score() {
        let arrangement = arranged("score staff 9 mm");
        let printed = |of: Of, staff_height: f64| Printed {
            of,
            pages: 1,
            first_bars: vec![0],
            lines: vec![0],
            turns: Vec::new(),
            staff_height,
            larger: None,
            hidden: Vec::new(),
            boxes: Vec::new(),
            nudged: Vec::new(),
        };
        let pages = [(ScoreKind::Full, 3.3), (ScoreKind::Concert, 3.0)]
            .map(|(kind, height)| printed(Of::Score(kind), height));
        let found = findings(&arrangement, &pages).findings.remove(0);
        assert_eq!(
            found.message,
            "With staves of 9 mm a line is higher than the page; those of the score at concert pitch are printed \
             3.0 mm high."
        );
    }

    #[test]
    fn a_line_for_all_scorings_is_told_where_it_changes_nothing_in_any_of_them() {
        let both = |layout: &str| {
            let text = format!(
                "piece \"Sluice 水\" {{ }}\nform {{\n 1 metre 4/4, key C major\n 4 end\n}}\n\
                 voice tune {{ 1: 1/4 {{C5 D5}} E5 F5 | 2: 1/4 {{C5 D5}} E5 F5 | 3: 1/1 C5 | 4: D5 | }}\n\
                 ensemble few {{ era 1885\n flute, oboe\n }}\n\
                 scoring first for few {{\n flute plays tune as melody\n}}\n\
                 scoring second for few {{\n flute plays tune bars 2..4 as melody\n}}\n\
                 layout {{\n{layout}\n}}\n"
            );
            let mut sources = Sources::new();
            let root = sources.add("sluice", text);
            let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
            assert!(found.is_empty(), "{found:?}");
            let wanted = Wanted::formats(&[]);
            let found = piece.scorings.iter().map(|scoring| {
                let arrangement = arrange(&piece, scoring);
                let take = |_, _| Ok::<(), ()>(());
                let printed = each_output(
                    &arrangement,
                    &wanted,
                    &Setups::default(),
                    &[],
                    (1, &in_memory),
                    take,
                );
                findings(&arrangement, &printed.unwrap_or_default())
            });
            found.collect::<Vec<_>>()
        };
        let told = |layout: &str, complete: bool| -> Vec<String> {
            let found = gathered(both(layout), complete).into_iter();
            found.filter(|one| one.code == "layout/no-effect").map(|one| one.message).collect()
        };
        assert!(told("flute nudge slur bar 1 up 1", true).is_empty(), "one of two has it");
        let none = "There is no slur in bar 3 to be moved.";
        assert_eq!(told("flute nudge slur bar 3 up 1", true), [none]);
        assert!(told("flute nudge slur bar 3 up 1", false).is_empty(), "another may have it");
        let never =
            "`flute` rests through no whole line of the score, so no staff of it is hidden.";
        assert_eq!(told("score hide empty flute", true), [never], "where nobody does either");
        let boxes = gathered(both(""), true);
        assert_eq!(boxes.iter().filter(|one| one.code == "layout/no-character").count(), 1);
    }

    /// The example of `notation/page-turn` has one that no page can avoid.
    #[test]
    fn a_part_begins_on_the_left_where_that_saves_a_hasty_turn() {
        assert!(told("flute turn before 2, 3").is_empty());
        assert!(told("flute turn before 20").is_empty());
    }
}
