//! What is said about computed lines.

use super::Request;
use crate::diagnostics::{BarNumbers, Diagnostic};
use crate::music::Time;
use crate::resolve::{BarIndices, HarmonyEvent, Line, Moment, Piece, Verb};

/// Why a player gets no note.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Silent {
    /// He has no note of any chord.
    NoNote,
    /// He has notes, but none without a fault.
    TooMany,
}

/// "bar 8" or "bars 21 to 26", with the numbers from the first to the last of all.
pub(super) fn bars(request: &Request, bars: &[BarIndices]) -> (String, BarNumbers) {
    let numbers: Vec<BarNumbers> =
        bars.iter().filter_map(|bars| bars.numbers(&request.piece.form)).collect();
    let words: Vec<String> =
        numbers
            .iter()
            .map(|&BarNumbers { first, last }| {
                if first == last {
                    format!("bar {first}")
                } else {
                    format!("bars {first} to {last}")
                }
            })
            .collect();
    (words.join(", "), BarNumbers::around(&numbers).unwrap_or(BarNumbers::one(0)))
}

/// The players as one says their names: "Horn 1 and Horn 2".
pub(super) fn names(request: &Request, players: &[usize]) -> String {
    let names: Vec<&str> = players.iter().map(|&p| request.parts[p].player.name.as_str()).collect();
    match names.as_slice() {
        [] => "Nobody".to_string(),
        [one] => (*one).to_string(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

pub(super) fn finish(
    request: &Request,
    diagnostic: Diagnostic,
    players: &[usize],
    bars: BarNumbers,
) -> Diagnostic {
    let diagnostic = diagnostic.with_bars(bars.first, bars.last);
    let Some(&player) = players.first() else { return diagnostic };
    let player = &request.parts[player].player;
    diagnostic.with_label(player.span, "the player").with_player(&player.id)
}

/// Says that the chords of computed lines are inferred; `None` where the source declares them.
pub(in crate::arrange) fn inferred(
    piece: &Piece,
    harmony: &[HarmonyEvent],
    line: &Line,
) -> Option<Diagnostic> {
    if !piece.harmony.is_empty() || harmony.is_empty() {
        return None;
    }
    let diagnostic = Diagnostic::advice(
        "harmony/inferred",
        line.span,
        "The source has no `harmony` block, so the chords of computed lines are inferred from the voices.",
    )
    .with_text("takes its notes from the harmony")
    .with_help("`ripieno advise harmony` prints the block ready to paste, with how sure each bar is.");
    Some(diagnostic)
}

/// A line that needs chords, where there are none.
pub(super) fn no_harmony(request: &Request, where_to: &[BarIndices]) -> Diagnostic {
    let (words, numbers) = bars(request, where_to);
    let players: Vec<usize> = (0..request.parts.len()).collect();
    let names = names(request, &players);
    let diagnostic = Diagnostic::warning(
        "harmony/missing",
        request.line.span,
        format!("There is no harmony for {names} to take notes from in {words}."),
    )
    .with_text("takes its notes from the harmony")
    .with_help(
        "Write these bars into the `harmony` block; `ripieno advise harmony` proposes one ready to paste.",
    );
    finish(request, diagnostic, &players, numbers)
}

/// Players who get nothing in the whole passage, one finding for each reason.
pub(super) fn silent(
    request: &Request,
    found: &[(usize, Silent)],
    diagnostics: &mut Vec<Diagnostic>,
) {
    let of = |wanted: fn(&Request, usize, Silent) -> bool| -> Vec<usize> {
        found.iter().filter(|&&(p, why)| wanted(request, p, why)).map(|(p, _)| *p).collect()
    };
    let (words, numbers) = bars(request, &request.bars());
    let unpitched = of(|r, p, _| r.instrument(p).unpitched);
    if !unpitched.is_empty() {
        let names = names(request, &unpitched);
        let diagnostic = Diagnostic::warning(
            "arrange/no-pitch",
            request.line.span,
            format!("{names} cannot hold notes of the harmony: strokes have no pitch."),
        )
        .with_help(
            "Use `signals` with a voice, or `highlights`, or write the strokes with `writes`.",
        );
        diagnostics.push(finish(request, diagnostic, &unpitched, numbers));
    }
    let drums = of(|r, p, why| why == Silent::NoNote && !r.instrument(p).drums.is_empty());
    if !drums.is_empty() {
        let names = names(request, &drums);
        let tuned = match request.parts[drums[0]].drums.first() {
            Some((_, notes)) => {
                let notes: Vec<String> = notes.iter().map(ToString::to_string).collect();
                format!(", tuned {},", notes.join(" and "))
            }
            None => " without a tuning".to_string(),
        };
        let diagnostic = Diagnostic::warning(
            "arrange/no-tuned-note",
            request.line.span,
            format!("{names}{tuned} have no note of any chord in {words} and rest."),
        )
        .with_help("Retune them (`timpani takes tuned … bar …`) where rests leave time; `ripieno advise timpani` ranks the tunings.");
        diagnostics.push(finish(request, diagnostic, &drums, numbers));
    }
    let natural = of(|r, p, why| why == Silent::NoNote && r.instrument(p).natural.is_some());
    if !natural.is_empty() {
        let names = names(request, &natural);
        let at = request.bars().first().map_or(Time::ZERO, |bars| request.bar_times(bars.first).0);
        let crook = match request.parts[natural[0]].tuning_at(at) {
            Some(tuning) => format!(" on crook {}", tuning.name),
            None => String::new(),
        };
        let have = if natural.len() == 1 { "has" } else { "have" };
        let diagnostic = Diagnostic::warning(
            "arrange/no-open-note",
            request.line.span,
            format!("{names}{crook} {have} no open note in any chord of {words} and rest there."),
        )
        .with_help("Change the crook in a rest before (`horn takes crook … bar …`) or leave these bars out; `ripieno advise crooks` ranks the crooks.");
        diagnostics.push(finish(request, diagnostic, &natural, numbers));
    }
    let others = of(|r, p, why| {
        let instrument = r.instrument(p);
        why == Silent::NoNote
            && !instrument.unpitched
            && instrument.natural.is_none()
            && instrument.drums.is_empty()
    });
    if !others.is_empty() {
        let names = names(request, &others);
        let diagnostic = Diagnostic::warning(
            "arrange/no-chord-note",
            request.line.span,
            format!("No note of the harmony in {words} is in the compass of {names}."),
        )
        .with_help("Give the line to another player.");
        diagnostics.push(finish(request, diagnostic, &others, numbers));
    }
    let many = of(|r, p, why| why == Silent::TooMany && !r.instrument(p).unpitched);
    if !many.is_empty() {
        let names = names(request, &many);
        let faults = "double a leading note or seventh, move in parallel or clash with a voice";
        let all = request.parts.len();
        let diagnostic = if many.len() < all {
            Diagnostic::advice(
                "arrange/too-many-players",
                request.line.span,
                format!(
                    "There are more players ({all}) than chord tones in {words}: {names} could only {faults}, so they rest there."
                ),
            )
            .with_help("Name fewer players, or let some of them double another part.")
        } else {
            Diagnostic::advice(
                "arrange/no-note-fits",
                request.line.span,
                format!("{names} could only {faults} in {words}, so they rest there."),
            )
            .with_help("Compare the harmony of these bars with the voices, or give the line to other players.")
        };
        diagnostics.push(finish(request, diagnostic, &many, numbers));
    }
}

/// That none of the moments is there which a line asks for.
fn none_of(request: &Request) -> String {
    let words: Vec<&str> = match &request.line.verb {
        Verb::Highlights { moments } if !moments.is_empty() => moments
            .iter()
            .map(|moment| match moment {
                Moment::Entries => "entry of the subject",
                Moment::Cadences => "cadence",
                Moment::Phrases => "beginning of a phrase",
                Moment::Peaks => "dynamic peak",
                Moment::Beat(_) => "such beat",
            })
            .collect(),
        _ => vec!["entry of the subject", "cadence", "dynamic peak"],
    };
    match words.as_slice() {
        [] => "There is no such moment".to_string(),
        [one] => format!("There is no {one}"),
        [most @ .., last] => format!("There is no {} or {last}", most.join(", ")),
    }
}

/// A `highlights` line whose bars hold no moment.
pub(super) fn no_moment(request: &Request) -> Diagnostic {
    let (words, numbers) = bars(request, &request.bars());
    let players: Vec<usize> = (0..request.parts.len()).collect();
    let diagnostic = Diagnostic::advice(
        "arrange/no-moment",
        request.line.span,
        format!("{} in {words}.", none_of(request)),
    )
    .with_help("Name the moments yourself, for example `highlights beat 1`, choose other bars, or write the notes with `writes`.");
    finish(request, diagnostic, &players, numbers)
}

/// A `signals` line whose voice rests in all its bars.
pub(super) fn no_rhythm(request: &Request, voice: usize) -> Diagnostic {
    let (words, numbers) = bars(request, &request.bars());
    let players: Vec<usize> = (0..request.parts.len()).collect();
    let name = &request.piece.voices[voice].name;
    let diagnostic = Diagnostic::advice(
        "arrange/no-rhythm",
        request.line.span,
        format!("The voice `{name}` has no rhythm to signal in {words}."),
    )
    .with_help("Choose the bars in which the voice sounds, or another voice.");
    finish(request, diagnostic, &players, numbers)
}
