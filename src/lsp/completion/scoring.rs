//! Proposals in a scoring line.

use super::ensemble::tunings;
use super::{Proposal, Sort, keywords, rules_found, techniques};
use crate::context::Cursor;
use crate::instruments::{Instrument, catalogue};
use crate::resolve::{Dynamic, Ensemble, Piece, Role};
use crate::session::Session;
use crate::workspace::At;

/// What players can be made to do.
pub const VERBS: [(&str, &str); 9] = [
    ("plays", "a voice"),
    ("doubles", "what another part plays"),
    ("sustains", "notes of the harmony"),
    ("realises", "a bass with its chords, on a keyboard"),
    ("signals", "the rhythm of a voice, on the notes that the player has"),
    ("highlights", "moments: entries, cadences, phrases, peaks, beat 1"),
    ("writes", "notes written by hand"),
    ("rests", ""),
    ("takes", "another instrument, crook, key or tuning"),
];
const MODIFIERS: [(&str, &str); 4] = [
    ("bars", "the bars that the line claims"),
    ("as", "the role"),
    ("at", "the line's own loudness"),
    ("solo", "judged by what a soloist of the era could do"),
];
const OCTAVES: [(&str, &str); 4] = [
    ("8va", "an octave higher"),
    ("8vb", "an octave lower"),
    ("15ma", "two octaves higher"),
    ("15mb", "two octaves lower"),
];
const RESTRIKES: [(&str, &str); 6] = [
    ("each chord", "struck anew with each chord"),
    ("each beat", "struck anew on each beat"),
    ("off the beat", "half a beat after each beat"),
    ("each 1/8", "repeated on that value"),
    ("broken", "the chord in figures that follow the metre"),
    ("tremolo", "held, as a tremolo"),
];
const MOMENTS: [(&str, &str); 5] = [
    ("entries", "of the subject"),
    ("cadences", ""),
    ("phrases", "their first beats"),
    ("peaks", "of loudness"),
    ("beat", "that beat of every bar"),
];

pub(super) fn proposals(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    let ensemble = piece.ensembles.iter().find(|e| Some(&e.name) == cursor.ensemble.as_ref());
    let ensemble = ensemble.map(|ensemble| &**ensemble);
    let mut before: Vec<&str> = cursor.before.iter().map(String::as_str).collect();
    singular(&mut before);
    let Some(last) = before.last().copied() else {
        let mut all = who(ensemble);
        all.extend(keywords(&[
            ("keep", "all lines of another scoring"),
            ("allow", "a finding, with the reason"),
        ]));
        return all;
    };
    if before[0] == "keep" {
        let others = piece.scorings.iter().filter(|s| Some(&s.name) != cursor.name.as_ref());
        let all = others.map(|s| Proposal::new(&s.name, Sort::Set, "")).collect();
        return if before.len() == 1 { all } else { Vec::new() };
    }
    if before[0] == "allow" {
        return match last {
            "allow" => rules_found(session, at, cursor.name.as_deref()),
            "on" => who(ensemble),
            "," if before.contains(&"bars") => Vec::new(),
            "," => who(ensemble),
            _ if before.contains(&"bars") => Vec::new(),
            _ => keywords(&[("on", "these players"), ("bars", "")]),
        };
    }
    let verb = before.iter().position(|word| VERBS.iter().any(|(verb, _)| verb == word));
    let Some(verb) = verb else {
        return if last == "," { who(ensemble) } else { keywords(&VERBS) };
    };
    let named: Vec<&str> = before[..verb].iter().copied().filter(|word| *word != ",").collect();
    match last {
        "plays" | "signals" | "realises" => voices(&piece),
        "doubles" => who(ensemble),
        "as" => Role::WORDS.iter().map(|(_, word)| Proposal::new(*word, Sort::Value, "")).collect(),
        "at" => {
            Dynamic::WORDS.iter().map(|(_, word)| Proposal::new(*word, Sort::Value, "")).collect()
        }
        "bars" => free_bars(session, at, cursor, &named),
        "with" => keywords(&[
            ("up-beat", "each passage begins with its up-beat"),
            ("lyrics", "print what is sung, for players who do not sing too"),
            ("chords", "print the chord symbols of the harmony"),
        ]),
        "beat" if before.contains(&"bars") => Vec::new(),
        _ if before.get(before.len().wrapping_sub(2)) == Some(&"bars") => {
            let mut all = keywords(&[
                ("beat", "from or up to this beat of the bar"),
                ("with", "with up-beat: the passage begins with its up-beat"),
            ]);
            all.extend(with_modifiers(Vec::new()));
            all
        }
        "takes" => taken(ensemble, &named),
        "crook" | "in" => {
            tunings(takes(ensemble, &named, &before), last, ensemble.map(|ensemble| ensemble.era))
        }
        "highlights" => with_modifiers(keywords(&MOMENTS)),
        "," if before.get(verb) == Some(&"highlights") && !before.contains(&"bars") => {
            with_modifiers(keywords(&MOMENTS))
        }
        "sustains" => with_modifiers(keywords(&RESTRIKES)),
        "each" => keywords(&[("chord", ""), ("beat", "")]),
        "tuned" | "bar" => Vec::new(),
        _ if before.get(verb) == Some(&"takes") => keywords(&[
            ("bar", "from this bar on"),
            ("crook", ""),
            ("in", "a key"),
            ("tuned", "the notes of the drums"),
        ]),
        _ if verb + 2 == before.len() && matches!(before[verb], "plays" | "doubles") => {
            with_modifiers(keywords(&OCTAVES))
        }
        "," if before.contains(&"bars") => {
            let mut all = free_bars(session, at, cursor, &named);
            all.extend(with_modifiers(Vec::new()));
            all
        }
        _ => with_modifiers(Vec::new()),
    }
}

/// Puts the verb of several players (`play`) into the form in which it is known (`plays`).
pub fn singular(words: &mut [&str]) {
    let plural = |word: &str| {
        VERBS.iter().find(|(verb, _)| verb.strip_suffix('s') == Some(word)).map(|(verb, _)| *verb)
    };
    let verb =
        |word: &&mut &str| VERBS.iter().any(|(verb, _)| verb == &**word) || plural(word).is_some();
    if let Some(word) = words.iter_mut().find(verb) {
        *word = plural(word).unwrap_or(word);
    }
}

fn with_modifiers(first: Vec<Proposal>) -> Vec<Proposal> {
    let mut all = first;
    all.extend(keywords(&MODIFIERS));
    all.extend(techniques());
    all
}

pub(super) fn voices(piece: &Piece) -> Vec<Proposal> {
    let about = |voice: &crate::resolve::Voice| {
        let pitches = || voice.music.notes.iter().flat_map(|note| Vec::from(note.sound.pitches()));
        match (pitches().min(), pitches().max()) {
            (Some(low), Some(high)) => format!("{low} to {high}"),
            _ => String::new(),
        }
    };
    piece.voices.iter().map(|voice| Proposal::new(&voice.name, Sort::Voice, about(voice))).collect()
}

/// Groups, lines and single players of an ensemble.
pub(super) fn who(ensemble: Option<&Ensemble>) -> Vec<Proposal> {
    let Some(ensemble) = ensemble else { return Vec::new() };
    let mut all: Vec<Proposal> = Vec::new();
    for player in &ensemble.players {
        let alone = ensemble.players_named(&player.line_name).len() < 2;
        let mut push = |name: &str, about: String| {
            if !all.iter().any(|known| known.text == name) {
                all.push(Proposal::new(name, Sort::Players, about));
            }
        };
        let line = if alone { &player.name } else { &player.instrument.plural };
        push(&player.line_name, line.clone());
        push(&player.id, player.name.clone());
    }
    let group = |(name, members): &(String, Vec<(usize, i8)>)| {
        Proposal::new(name, Sort::Players, format!("group of {}", members.len()))
    };
    all.extend(ensemble.groups.iter().map(group));
    all
}

/// The players of an ensemble that these names mean.
fn players(ensemble: &Ensemble, named: &[&str]) -> Vec<usize> {
    named.iter().flat_map(|name| ensemble.players_named(name)).collect()
}

/// What the named players could take: other instruments of their family, or what their own has.
fn taken(ensemble: Option<&Ensemble>, named: &[&str]) -> Vec<Proposal> {
    let Some(ensemble) = ensemble else { return Vec::new() };
    let own: Vec<&'static Instrument> = players(ensemble, named)
        .into_iter()
        .map(|player| ensemble.players[player].instrument)
        .collect();
    let mut all = Vec::new();
    if own.iter().any(|i| !i.crooks.is_empty()) {
        all.push(Proposal::new("crook", Sort::Keyword, "another crook"));
    }
    if own.iter().any(|i| i.keys.len() > 1) {
        all.push(Proposal::new("in", Sort::Keyword, "one in another key"));
    }
    if own.iter().any(|i| !i.drums.is_empty()) {
        all.push(Proposal::new("tuned", Sort::Keyword, "other notes of the drums"));
    }
    for instrument in catalogue() {
        let same_family = own.iter().any(|i| i.family == instrument.family);
        if same_family && instrument.from <= ensemble.era {
            all.push(Proposal::new(&instrument.id, Sort::Instrument, &instrument.name));
        }
    }
    all
}

/// The instrument that is taken, or that the players have.
fn takes(
    ensemble: Option<&Ensemble>,
    named: &[&str],
    before: &[&str],
) -> Option<&'static Instrument> {
    let word = before.iter().rev().find_map(|word| crate::instruments::find(word));
    let taken = word.filter(|_| before.contains(&"takes"));
    let verb = before.iter().position(|word| *word == "takes")?;
    let behind = before[verb..].iter().any(|word| crate::instruments::find(word).is_some());
    if behind {
        return taken;
    }
    let ensemble = ensemble?;
    players(ensemble, named).first().map(|player| ensemble.players[*player].instrument)
}

/// Bars that no other line of the scoring claims for any of these players, in ranges.
fn free_bars(session: &mut Session, at: At, cursor: &Cursor, named: &[&str]) -> Vec<Proposal> {
    let Some(name) = cursor.name.clone() else { return Vec::new() };
    let Some(arrangement) = session.arrangement(at.root, &name) else { return Vec::new() };
    let bars = &arrangement.piece.form.bars;
    let ensemble = arrangement.piece.ensembles.get(arrangement.scoring.ensemble);
    let Some(ensemble) = ensemble else { return Vec::new() };
    let players = players(ensemble, named);
    let sources = session.sources();
    let document_line = |offset: usize| {
        let text = &sources.get(at.file).text;
        text[..offset.min(text.len())].matches('\n').count()
    };
    let own_line = document_line(at.offset);
    let mut free = vec![true; bars.len()];
    for player in players {
        let Some(part) = arrangement.parts.get(player) else { continue };
        for claim in &part.claims {
            let origin = &arrangement.lines[claim.line.index()];
            // The line that is being typed claims nothing from itself, and a kept one gives way.
            let own = origin.span.file == at.file
                && document_line(sources.range(origin.span).start) == own_line;
            if !own && !origin.kept {
                let claimed = arrangement.piece.form.bars_between(claim.from, claim.to);
                free[claimed.first..claimed.after.min(bars.len())].fill(false);
            }
        }
    }
    let mut all = Vec::new();
    let mut first = 0;
    while first < free.len() {
        let after = first + free[first..].iter().take_while(|free| **free).count();
        if after > first {
            let (from, to) = (bars[first].number, bars[after - 1].number);
            let text = if from == to { from.to_string() } else { format!("{from}..{to}") };
            all.push(Proposal::new(text, Sort::Bars, format!("free for {}", named.join(", "))));
        }
        first = after.max(first + 1);
    }
    all
}
