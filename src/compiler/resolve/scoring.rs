//! Scorings: voices, players and bars linked.

use crate::narrow::Narrow;
use std::sync::Arc;

use super::counting::Counting;
use super::ensemble::{crook, instrument_named, key, needs_key, tuned_notes};
use super::form::{bad_value, exact, indices, inside};
use super::music::music;
use super::piece::{
    Allow, BarIndices, Bars, Dynamic, Ensemble, Line, Moment, Piece, Restrike, Role, Scoring,
    Technique, Unsure, Verb,
};
use super::{Resolver, distinct, dynamics, lost, passages, unknown};
use crate::diagnostics::{Diagnostic, Edit, Span, nearest};
use crate::limits;
use crate::music::Time;
use crate::syntax::{
    AllowTree, Declaration, Modifier, MomentTree, RestrikeTree, ScoringLine, ScoringTree, Spanned,
    Tree, VerbTree, Word,
};

pub(super) fn scorings(cx: &mut Resolver, tree: &Tree, piece: &Piece) -> Vec<Scoring> {
    let trees: Vec<&ScoringTree> = tree
        .declarations
        .iter()
        .filter_map(|declaration| match &**declaration {
            Declaration::Scoring(scoring) => Some(scoring),
            _ => None,
        })
        .collect();
    let names: Vec<(&str, Span)> =
        trees.iter().map(|t| (t.name.value.as_str(), t.name.span)).collect();
    distinct(cx, &names, "scoring");
    let known_ensembles: Vec<&str> = piece.ensembles.iter().map(|e| e.name.as_str()).collect();
    let mut scorings = Vec::new();
    for tree in &trees {
        let ensemble = piece.ensembles.iter().position(|e| e.name == tree.ensemble.value);
        let Some(ensemble) = ensemble else {
            cx.push_unknown(&tree.ensemble, &known_ensembles, "ensemble");
            let known: Vec<&str> = names.iter().map(|(name, _)| *name).collect();
            if let Some(keep) = tree.keeps.first().filter(|keep| !known.contains(&&*keep.value)) {
                cx.push_unknown(keep, &known, "scoring");
            }
            continue;
        };
        scorings.push((scoring(cx, tree, ensemble, piece), *tree));
    }
    link_keeps(cx, scorings, &names)
}

fn link_keeps(
    cx: &mut Resolver,
    scorings: Vec<(Scoring, &ScoringTree)>,
    names: &[(&str, Span)],
) -> Vec<Scoring> {
    let found: Vec<String> = scorings.iter().map(|(scoring, _)| scoring.name.clone()).collect();
    let known: Vec<&str> = names.iter().map(|(name, _)| *name).collect();
    let mut linked: Vec<Scoring> = Vec::new();
    for (mut scoring, tree) in scorings {
        if let [first, second, ..] = &tree.keeps[..] {
            cx.push(super::twice("`keep`", second.span, first.span));
        }
        if let Some(keep) = tree.keeps.first() {
            match found.iter().position(|name| *name == keep.value) {
                Some(index) => scoring.keep = Some((index, keep.span)),
                None => {
                    scoring.adrift = true;
                    // A scoring that is declared but broken has been told already.
                    if !known.contains(&keep.value.as_str()) {
                        cx.push_unknown(keep, &known, "scoring");
                    }
                }
            }
        }
        linked.push(scoring);
    }
    break_cycles(cx, &mut linked);
    shorten_chains(cx, &mut linked);
    linked
}

/// Scorings that keep one another too deep are told at the one that goes too far.
fn shorten_chains(cx: &mut Resolver, scorings: &mut [Scoring]) {
    for start in 0..scorings.len() {
        let (mut at, mut depth) = (start, 0);
        while let Some((next, _)) = scorings[at].keep
            && depth < limits::DEPTH
        {
            (at, depth) = (next, depth + 1);
        }
        if depth >= limits::DEPTH
            && let Some((_, span)) = scorings[start].keep.take()
        {
            scorings[start].adrift = true;
            let message = format!("Scorings keep one another more than {} deep.", limits::DEPTH);
            cx.push(
                Diagnostic::error("names/too-many", span, message)
                    .with_help("Let this scoring keep one nearer to the first."),
            );
        }
    }
}

fn break_cycles(cx: &mut Resolver, scorings: &mut [Scoring]) {
    for start in 0..scorings.len() {
        let mut at = start;
        for _ in 0..scorings.len() {
            let Some((next, span)) = scorings[at].keep else { break };
            if next == start {
                cx.push(
                    Diagnostic::error(
                        "names/cycle",
                        span,
                        format!("The scoring `{}` keeps itself.", scorings[start].name),
                    )
                    .with_help("The smaller scoring must not keep the larger."),
                );
                scorings[at].keep = None;
                break;
            }
            at = next;
        }
    }
}

fn scoring(cx: &mut Resolver, tree: &ScoringTree, ensemble: usize, piece: &Piece) -> Scoring {
    let players = &piece.ensembles[ensemble];
    let mut lines: Vec<Arc<Line>> = tree
        .lines
        .iter()
        .take(limits::LINES)
        .map(|line| Arc::new(scoring_line(cx, line, players, piece)))
        .collect();
    if let Some(line) = tree.lines.get(limits::LINES) {
        let most = limits::spaced(limits::LINES);
        let message = format!("The scoring `{}` has more than {most} lines.", tree.name.value);
        cx.push(
            Diagnostic::error("names/too-many", line.span, message)
                .with_help("Everything from here on is ignored. Divide the scoring in two."),
        );
    }
    let read = lines.len();
    let broken = tree.broken.iter().zip(&tree.broken_behind);
    for (line, before) in broken.filter(|(_, before)| **before <= read).rev() {
        lines.insert(*before, Arc::new(unread_line(line, players, piece)));
    }
    let allows = tree.allows.iter().map(|tree| allow(cx, tree, players, piece)).collect();
    Scoring {
        name: tree.name.value.clone(),
        span: tree.name.span,
        ensemble,
        keep: None,
        keeps_lines: tree.keeps_lines,
        lines,
        allows,
        adrift: tree.broken.iter().any(|line| nearest(&lost::words(line)[0], ["keep"]).is_some()),
    }
}

/// The words that say what players do.
const VERBS: [&str; 10] = [
    "plays",
    "doubles",
    "realises",
    "sustains",
    "signals",
    "highlights",
    "writes",
    "rests",
    "takes",
    "crook",
];

/// A line that could not be read: it claims the players and bars that it seems to name.
fn unread_line(line: &Word, ensemble: &Ensemble, piece: &Piece) -> Line {
    let words = line.value.split(|c: char| !(c.is_alphanumeric() || "-.".contains(c)));
    // Whom a line means stands before its verb; behind it, `basso` may be a crook.
    let before = words.take_while(|word| !VERBS.contains(word));
    let known = before.filter(|word| !ensemble.players_named(word).is_empty());
    let who: Vec<(String, Span)> = known.map(|word| (word.to_string(), line.span)).collect();
    let index = |bar: u32| i32::try_from(bar).ok().and_then(|bar| piece.form.index_of(bar));
    let named = lost::bars(line).unwrap_or_default();
    let mut bars: Bars = named
        .iter()
        .filter_map(|&(first, last)| {
            let last = piece.form.whole(index(last)?);
            Some(BarIndices::new(index(first)?, last.after))
        })
        .collect();
    let all = vec![BarIndices::all(&piece.form)];
    // Another instrument, crook or tuning is kept to the end.
    let is_kept = |word: &String| matches!(word.as_str(), "takes" | "crook" | "tuned");
    if lost::words(line).iter().any(is_kept)
        && let Some(last) = bars.last_mut()
    {
        last.after = piece.form.bars.len();
    }
    Line {
        span: line.span,
        verb: Verb::Unknown,
        role: None,
        times: {
            let bars = if bars.is_empty() || bars.len() < named.len() { all } else { bars };
            bars.into_iter().map(|bars| piece.form.times_of(bars)).collect()
        },
        up_beats: Vec::new(),
        solo: false,
        lyrics: false,
        chords: false,
        figures: false,
        dynamic: None,
        techniques: Vec::new(),
        words: Vec::new(),
        unsure: Unsure { what: true, who: who.is_empty(), bars: false },
        unread: true,
        who,
    }
}

fn who(cx: &mut Resolver, words: &[Word], ensemble: &Ensemble) -> Vec<(String, Span)> {
    let mut found = Vec::new();
    for word in words {
        if ensemble.players_named(&word.value).is_empty() {
            let line = word.value.split('.').next().unwrap_or_default();
            if line != word.value && !ensemble.players_named(line).is_empty() {
                cx.push_no_such_number(word, line, ensemble);
            } else if !ensemble.may_have(&word.value) {
                let what = format!("player or group in {}", ensemble.name);
                cx.push_unknown(word, &ensemble.names(), &what);
            }
        } else {
            found.push((word.value.clone(), word.span));
        }
    }
    found
}

/// The voice from which a verb takes its notes or its rhythm.
pub(super) fn voice_of(verb: &Verb) -> Option<usize> {
    match verb {
        Verb::Plays { voice, .. } | Verb::Signals { voice } | Verb::Realises { voice } => {
            Some(*voice)
        }
        _ => None,
    }
}

fn voice_index(cx: &mut Resolver, word: &Word, piece: &Piece) -> Option<usize> {
    let index = piece.voices.iter().position(|voice| voice.name == word.value);
    if index.is_none() {
        let known: Vec<&str> = piece.voices.iter().map(|voice| voice.name.as_str()).collect();
        cx.push_unknown(word, &known, "voice");
    }
    index
}

fn scoring_line(cx: &mut Resolver, tree: &ScoringLine, ensemble: &Ensemble, piece: &Piece) -> Line {
    let names = who(cx, &tree.who, ensemble);
    let mut line = Line {
        span: tree.span,
        who: names,
        verb: Verb::Rests,
        role: None,
        times: vec![piece.form.times_of(BarIndices::all(&piece.form))],
        up_beats: Vec::new(),
        solo: false,
        lyrics: false,
        chords: false,
        figures: false,
        dynamic: None,
        techniques: Vec::new(),
        words: Vec::new(),
        unsure: Unsure::default(),
        unread: false,
    };
    line.unsure.who = line.who.len() < tree.who.len();
    let before = cx.errors;
    line.verb = verb(cx, tree, ensemble, piece, &line.who).unwrap_or(Verb::Unknown);
    // Written bars say for themselves which of them could not be understood.
    line.unsure.what |= line.verb == Verb::Unknown
        || (cx.errors_since(before) && !matches!(line.verb, Verb::Writes(_)));
    modifiers(cx, tree, piece, &mut line);
    match &line.verb {
        Verb::Writes(written) => {
            let said = tree.modifiers.iter().find(|m| matches!(m.value, Modifier::Bars(..)));
            let whole: Vec<(Time, Time)> =
                written.bars.iter().map(|&bars| piece.form.times_of(bars)).collect();
            match said {
                Some(bars) if passages::within_bars(&bars.value) => {
                    passages::narrow(cx, piece, &mut line, &whole, bars.span);
                }
                Some(bars) => {
                    cx.push(claimed_twice(bars, &tree.verb));
                    line.unsure.bars = true;
                    line.times = whole;
                }
                None => line.times = whole,
            }
            if let VerbTree::Writes(bars) = &tree.verb {
                line.unsure.bars |= bars.iter().any(|bar| bar.broken() && bar.number().is_none());
            }
        }
        Verb::Takes { .. } => line.times.clear(),
        _ => {}
    }
    line.role = line.role.or(match line.verb {
        Verb::Sustains { .. } => Some(Role::Harmony),
        Verb::Realises { .. } => Some(Role::Bass),
        Verb::Signals { .. } => Some(Role::Rhythm),
        Verb::Highlights { .. } => Some(Role::Highlight),
        _ => None,
    });
    // A role of an unknown name has been told already.
    let says_role = tree.modifiers.iter().any(|m| matches!(m.value, Modifier::Role(_)));
    if line.role.is_none() && says_role {
        line.role = Some(Role::Harmony);
    }
    if line.role.is_none() && matches!(line.verb, Verb::Plays { .. } | Verb::Writes(_)) {
        cx.push(
            Diagnostic::error("names/no-role", tree.verb_span, "This line has no role.")
                .with_help(
                    "Write `as melody`, `as bass`, `as harmony`, `as rhythm` or `as highlight` after it.",
                ),
        );
        line.role = Some(Role::Harmony);
        line.unsure.what = true;
    }
    line
}

fn claimed_twice(bars: &Spanned<Modifier>, verb: &VerbTree) -> Diagnostic {
    let mut finding = Diagnostic::error(
        "bars/claimed-twice",
        bars.span,
        "`writes` claims the bars that it writes.",
    )
    .with_help("Leave `bars …` out: the numbers of the bars in braces say which.")
    .with_fix("leave it out", bars.span, "", false);
    // Who says `bars` may have left the numbers out.
    if let (Modifier::Bars(ranges, _), VerbTree::Writes(written)) = (&bars.value, verb)
        && let (Some(range), Some(first)) = (ranges.first(), written.first())
        && first.number().is_none()
        && let Some(fix) = finding.fixes.last_mut()
    {
        fix.title = format!("leave it out and number the bars from {} on", range.first.bar);
        fix.edits
            .push(Edit { span: first.span().before(), text: format!("{}: ", range.first.bar) });
    }
    finding
}

fn modifiers(cx: &mut Resolver, tree: &ScoringLine, piece: &Piece, line: &mut Line) {
    let mut said = Vec::new();
    for modifier in &tree.modifiers {
        let span = modifier.span;
        let before = cx.errors;
        let once = match &modifier.value {
            Modifier::Bars(..) => Some("`bars`"),
            Modifier::Role(_) => Some("role"),
            Modifier::At(_) => Some("`at`"),
            _ => None,
        };
        if once.is_some_and(|what| super::said_twice(cx, &mut said, what, span)) {
            continue;
        }
        match &modifier.value {
            Modifier::Bars(list, with) => passages::read(cx, piece, line, list, *with),
            Modifier::Role(name) => {
                match Role::WORDS.iter().find(|(_, word)| *word == name.value) {
                    Some((role, _)) => line.role = Some(*role),
                    None => {
                        let known: Vec<&str> = Role::WORDS.iter().map(|(_, word)| *word).collect();
                        cx.push(unknown(name, &known, "role", &name.value));
                    }
                }
            }
            Modifier::Solo => line.solo = true,
            Modifier::Lyrics => line.lyrics = true,
            Modifier::Figures => line.figures = true,
            Modifier::Chords => {
                line.chords = true;
                if piece.harmony.is_empty() && piece.harmony_unsure.is_empty() {
                    cx.push(
                        Diagnostic::error(
                            "harmony/not-declared",
                            span,
                            "There are no chord symbols to print: the piece declares no harmony.",
                        )
                        .with_help(
                            "Write a `harmony` block; `ripieno advise harmony` prints a proposal.",
                        ),
                    );
                }
            }
            Modifier::At(name) => match dynamics::dynamic(&name.value) {
                Some(dynamic) => line.dynamic = Some((dynamic, span)),
                None => {
                    let known: Vec<&str> = Dynamic::WORDS.iter().map(|(_, word)| *word).collect();
                    cx.push(unknown(name, &known, "dynamic", &name.value));
                }
            },
            Modifier::Technique(name) => {
                let known = Technique::WORDS.iter().find(|(_, word, _)| word == name);
                line.techniques.extend(known.map(|(technique, ..)| (*technique, span)));
            }
            Modifier::Words(text) => line.words.push((text.clone(), span)),
        }
        if cx.errors_since(before) {
            match &modifier.value {
                Modifier::Bars(..) => line.unsure.bars = true,
                _ => line.unsure.what = true,
            }
        }
    }
}

fn verb(
    cx: &mut Resolver,
    tree: &ScoringLine,
    ensemble: &Ensemble,
    piece: &Piece,
    names: &[(String, Span)],
) -> Option<Verb> {
    Some(match &tree.verb {
        VerbTree::Plays(name, octaves) => {
            let voice = voice_index(cx, name, piece)?;
            Verb::Plays { voice, span: name.span, octaves: *octaves }
        }
        VerbTree::Doubles(part, octaves) => {
            let (part, span) = who(cx, std::slice::from_ref(part), ensemble).pop()?;
            Verb::Doubles { part, span, octaves: *octaves }
        }
        VerbTree::Sustains(restrike) => Verb::Sustains {
            restrike: match restrike {
                RestrikeTree::Never => Restrike::Never,
                RestrikeTree::EachChord => Restrike::EachChord,
                RestrikeTree::EachBeat => Restrike::EachBeat,
                RestrikeTree::OffBeat => Restrike::OffBeat,
                RestrikeTree::Tremolo => Restrike::Tremolo,
                RestrikeTree::Broken => Restrike::Broken,
                RestrikeTree::Each(value, span) => match exact(*value) {
                    Ok(value) => Restrike::Each(value),
                    Err(message) => {
                        cx.push(bad_value(*span, message));
                        return None;
                    }
                },
            },
        },
        VerbTree::Realises(name) => Verb::Realises { voice: voice_index(cx, name, piece)? },
        VerbTree::Signals(name) => Verb::Signals { voice: voice_index(cx, name, piece)? },
        VerbTree::Highlights(moments) => {
            Verb::Highlights { moments: moments.iter().map(|m| moment(*m)).collect() }
        }
        VerbTree::Writes(bars) => Verb::Writes(music(cx, bars, &piece.form, Counting::Chosen)),
        VerbTree::Rests => Verb::Rests,
        VerbTree::Takes { instrument: taken, crook: crook_word, built_in, tuned, bar } => {
            let player =
                names.first().and_then(|(name, _)| ensemble.players_named(name).first().copied());
            let own = ensemble.players.get(player?)?.instrument;
            let taken = match taken {
                Some(word) => Some((instrument_named(cx, word, crook_word.is_some())?, word.span)),
                None => None,
            };
            let instrument = taken.map_or(own, |(instrument, _)| instrument);
            if let Some((_, span)) = taken.filter(|(taken, _)| taken.family != own.family) {
                cx.push(
                    Diagnostic::warning(
                        "names/takes",
                        span,
                        format!(
                            "A player of the {} does not normally double on the {}.",
                            own.name.to_lowercase(),
                            instrument.name.to_lowercase()
                        ),
                    )
                    .with_help("Players take instruments of their own family; add another player to the ensemble."),
                );
            }
            let tuning = match (crook_word, built_in) {
                (Some(word), _) => Some(crook(cx, instrument, word)?),
                (None, Some(word)) => Some(key(cx, instrument, word)?),
                (None, None) => None,
            };
            // Whoever goes back to his own instrument has its key.
            if let (Some((_, span)), None) = (taken, tuning)
                && !std::ptr::eq(instrument, own)
                && needs_key(cx, instrument, span, false)
            {
                return None;
            }
            if !tuned.is_empty() && instrument.drums.is_empty() {
                cx.push(
                    Diagnostic::error(
                        "names/tuned",
                        tree.verb_span,
                        format!("The {} is not tuned to notes.", instrument.name.to_lowercase()),
                    )
                    .with_help("`tuned` belongs to timpani."),
                );
                return None;
            }
            let from = match bar {
                Some(number) => Some(inside(cx, &piece.form, number.value, number.span)?),
                None => None,
            };
            Verb::Takes {
                instrument: taken.map(|(instrument, _)| instrument),
                tuning,
                drums: tuned_notes(cx, tuned, instrument),
                from,
            }
        }
    })
}

fn moment(tree: MomentTree) -> Moment {
    match tree {
        MomentTree::Entries => Moment::Entries,
        MomentTree::Cadences => Moment::Cadences,
        MomentTree::Phrases => Moment::Phrases,
        MomentTree::Peaks => Moment::Peaks,
        MomentTree::Beat(beat) => Moment::Beat(beat.min(u32::from(u8::MAX)).narrow::<u8>()),
    }
}

fn allow(cx: &mut Resolver, tree: &AllowTree, ensemble: &Ensemble, piece: &Piece) -> Allow {
    let bars = if tree.bars.is_empty() {
        vec![BarIndices::all(&piece.form)]
    } else {
        indices(cx, &piece.form, &tree.bars)
    };
    Allow {
        rule: tree.rule.value.clone(),
        rule_span: tree.rule.span,
        who: who(cx, &tree.who, ensemble),
        bars,
        reason: tree.reason.value.clone(),
        span: tree.span,
    }
}
