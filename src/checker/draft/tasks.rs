//! What each line of an ensemble could do in a section of the piece, the likeliest first. (Tasks by
//! practice; all weights are our heuristic.)

use super::*;

/// The tune (the highest voice), the bass (the lowest), and the others, as the scorings of the piece
/// have them or else by their height.
pub(super) fn voices(piece: &Piece) -> (usize, Option<usize>, Vec<usize>) {
    let sounding: Vec<usize> = (0..piece.voices.len())
        .filter(|v| piece.voices[*v].music.notes.iter().any(|n| !n.sound.pitches().is_empty()))
        .collect();
    let said = |role: Role| {
        let lines = piece.scorings.iter().flat_map(|scoring| &scoring.lines);
        let mut voices = lines.filter_map(|line| match line.verb {
            Verb::Plays { voice, .. } if line.role == Some(role) => Some(voice),
            _ => None,
        });
        voices.next()
    };
    let height = |voice: &usize| {
        let notes = &piece.voices[*voice].music.notes;
        let (mut sum, mut count) = (0_i64, 0_i64);
        for note in notes {
            sum += note.sound.pitches().iter().map(|pitch| i64::from(pitch.midi())).sum::<i64>();
            count += note.sound.pitches().len() as i64;
        }
        sum * 100 / count.max(1)
    };
    let tune = said(Role::Melody).or_else(|| sounding.iter().copied().max_by_key(height));
    let tune = tune.unwrap_or(0);
    let others = sounding.iter().copied().filter(|voice| *voice != tune);
    let bass = said(Role::Bass).or_else(|| others.clone().min_by_key(height));
    (tune, bass.filter(|b| *b != tune), others.filter(|voice| Some(*voice) != bass).collect())
}

/// The sections of the piece.
pub(super) fn sections(form: &Form, tune: &[Note]) -> Vec<(Time, Time)> {
    let mut begins = vec![0];
    let mut last = 0;
    for (index, bar) in form.bars.iter().enumerate().skip(1) {
        let before = &form.bars[index - 1];
        let divides = bar.mark.is_some()
            || bar.repeat_starts
            || before.repeat_ends
            || before.line != crate::resolve::BarLine::Plain;
        let first_full = usize::from(form.bars[0].number == 0);
        let eighth =
            last == 0 && index == SECTION + first_full || last > 0 && index == last + SECTION;
        if (divides && index - last >= 2) || (eighth && form.bars.len() - index >= 4) {
            begins.push(index);
            last = index;
        }
    }
    let mut borders: Vec<Time> = begins
        .into_iter()
        .map(|index| {
            let at = form.bars[index].start;
            let beat = form.bars[index.saturating_sub(1)].metre.beat();
            let note = tune.partition_point(|note| note.start < at);
            let joined = tune.get(note).filter(|note| note.start == at);
            let up = joined.and_then(|_| up_beat(tune, note, beat)).map(|up| tune[up].start);
            // Only what begins with a beat can be named by beats.
            let up = up.filter(|up| {
                let bar = form.index_at(*up);
                (*up - form.full_start(bar)) % form.bars[bar].metre.beat() == Time::ZERO
            });
            if index == 0 { Time::ZERO } else { up.unwrap_or(at) }
        })
        .collect();
    borders.push(form.end());
    borders.dedup();
    borders.windows(2).map(|pair| (pair[0], pair[1])).collect()
}

/// How far each section has grown: by the dynamics of everybody, or, where there are none, towards
/// the section of the highest note and the last one.
pub(super) fn growth(piece: &Piece, tune: usize, sections: &[(Time, Time)]) -> Vec<u8> {
    let loud = |dynamic: Dynamic| dynamic.degree().unwrap_or(3);
    let dynamics: Vec<(Time, u8)> = piece
        .dynamics
        .iter()
        .filter_map(|direction| match direction.kind {
            DirectionKind::Dynamic(dynamic) => Some((direction.at, loud(dynamic))),
            _ => None,
        })
        .collect();
    if dynamics.is_empty() {
        let top = |&(from, to): &(Time, Time)| {
            let notes = &piece.voices[tune].music.notes;
            let inside = notes.within(notes.begun_before(from)..notes.begun_before(to));
            inside.filter_map(|note| note.sound.pitches().iter().map(|p| p.midi()).max()).max()
        };
        let highest = sections.iter().filter_map(top).max();
        let last = sections.len() - 1;
        let climax = |index: usize| index == last || top(&sections[index]) == highest;
        return (0..sections.len())
            .map(|index| if climax(index) { 2 } else { u8::from(index * 2 >= sections.len()) })
            .collect();
    }
    let most = dynamics.iter().map(|(_, degree)| *degree).max().unwrap_or(0);
    let least = dynamics.iter().map(|(_, degree)| *degree).min().unwrap_or(0);
    sections
        .iter()
        .map(|&(from, to)| {
            let within = dynamics.iter().filter(|(at, _)| *at >= from && *at < to);
            let before = dynamics.iter().rfind(|(at, _)| *at <= from);
            let degree = within.chain(before).map(|(_, degree)| *degree).max().unwrap_or(least);
            match degree {
                degree if degree == most => 2,
                degree if degree == least => 0,
                _ => 1,
            }
        })
        .collect()
}

/// Does a section reach forte, by the dynamics of everybody? Where there are none nobody knows, and it may.
pub(super) fn is_forte(piece: &Piece, (from, to): (Time, Time)) -> bool {
    let mut known = false;
    let mut before = false;
    let mut within = false;
    for direction in piece.dynamics.iter() {
        let DirectionKind::Dynamic(dynamic) = direction.kind else { continue };
        known = true;
        let loud = dynamic.degree() >= Dynamic::F.degree();
        if direction.at <= from {
            before = loud;
        } else if direction.at < to {
            within |= loud;
        }
    }
    !known || before || within
}

/// The lines of the ensemble for which the draft must find something: all, or those that the kept
/// scoring has nothing for.
pub(super) fn rows(
    piece: &Piece,
    ensemble: &Ensemble,
    kept: Option<&crate::resolve::Scoring>,
) -> Vec<Row> {
    let smaller = kept.map(|kept| &piece.ensembles[kept.ensemble]);
    let is_new = |player: &Player| {
        smaller.is_none_or(|smaller| {
            let fellows = smaller.players.iter().filter(|k| k.line_name == player.line_name);
            let mut fellows = fellows.peekable();
            // A section that is whole in the smaller ensemble is both halves here.
            let whole = fellows.peek().is_some_and(|known| known.section && known.number == 0);
            !whole && !fellows.any(|known| known.number.max(1) == player.number.max(1))
        })
    };
    let kept_lines = || {
        let layers = piece.scorings.iter().filter(|s| kept.is_some_and(|kept| kept.name == s.name));
        layers.flat_map(|scoring| piece.layers(scoring)).flat_map(|scoring| &scoring.lines)
    };
    let mut rows: Vec<Row> = Vec::new();
    for (index, player) in ensemble.players.iter().enumerate() {
        // Whoever joins a group plays what the group plays, if a kept line speaks to the group.
        let in_group = smaller.is_some_and(|smaller| {
            ensemble.groups.iter().any(|(name, members)| {
                members.iter().any(|(member, _)| *member == index)
                    && smaller.groups.iter().any(|(known, _)| known == name)
                    && kept_lines().any(|line| line.who.iter().any(|(who, _)| who == name))
            })
        });
        if !is_new(player) || in_group {
            continue;
        }
        match rows
            .iter_mut()
            .find(|row| ensemble.players[row.players[0]].line_name == player.line_name)
        {
            Some(row) => row.players.push(index),
            None => rows.push(Row { name: player.line_name.clone(), players: vec![index] }),
        }
    }
    for row in &mut rows {
        let all = ensemble.players.iter().filter(|player| player.line_name == row.name).count();
        if row.players.len() < all {
            let ids: Vec<&str> =
                row.players.iter().map(|p| ensemble.players[*p].id.as_str()).collect();
            row.name = ids.join(", ");
        }
    }
    rows
}

/// The place of a row among the bowed strings of the ensemble, and how many there are.
pub(super) fn rank(ensemble: &Ensemble, row: &Row) -> Option<(usize, usize)> {
    let strings: Vec<&str> = {
        let mut names: Vec<&str> = Vec::new();
        for player in ensemble.players.iter().filter(|player| player.instrument.bowed()) {
            if !names.contains(&player.line_name.as_str()) {
                names.push(&player.line_name);
            }
        }
        names
    };
    let own = &ensemble.players[row.players[0]].line_name;
    let place = strings.iter().position(|name| name == own)?;
    Some((place, strings.len()))
}

/// The sounding compass of a player by the custom of the year, from its lowest to its highest note.
pub(super) fn reach(player: &Player, era: i32) -> Option<(i32, i32)> {
    let instrument = player.instrument;
    let compass = instrument
        .compass(Limit::Custom, era)
        .or_else(|| instrument.compass(Limit::Instrument, era))?;
    let up = if instrument.compass_is_written { player.transposition().semitones } else { 0 };
    Some((compass.low.midi() + up, compass.high.midi() + up))
}

impl Music<'_> {
    pub(super) fn name(&self, voice: usize) -> &str {
        &self.piece.voices[voice].name
    }

    /// The lowest and the highest note of a voice in the section.
    pub(super) fn span(&self, voice: usize) -> Option<(i32, i32)> {
        let notes = self.piece.voices[voice].music.notes.iter();
        let inside = notes.filter(|n| n.start < self.to && n.start + n.length > self.from);
        let pitches: Vec<i32> =
            inside.flat_map(|n| Vec::from(n.sound.pitches())).map(|pitch| pitch.midi()).collect();
        Some((*pitches.iter().min()?, *pitches.iter().max()?))
    }

    /// Does all but a fifth of a voice in the section lie within reach, so many octaves up (our heuristic)?
    fn fits_mostly(&self, voice: usize, (low, high): (i32, i32), up: i32) -> bool {
        let notes = self.piece.voices[voice].music.notes.iter();
        let inside = notes.filter(|n| n.start < self.to && n.start + n.length > self.from);
        let pitches = inside.flat_map(|n| Vec::from(n.sound.pitches()));
        let (fits, all) = pitches.fold((0, 0), |(fits, all), pitch| {
            let there = (low..=high).contains(&(pitch.midi() + 12 * up));
            (fits + usize::from(there), all + 1)
        });
        all > 0 && fits * 5 >= all * 4
    }

    /// A voice in the octave that lies best for a player, the nearest first.
    pub(super) fn plays(
        &self,
        voice: usize,
        (low, high): (i32, i32),
        octaves: &[i32],
        role: &'static str,
        reason: &'static str,
    ) -> Option<Task> {
        let (bottom, top) = self.span(voice)?;
        let fits = |up: &&i32| low <= bottom + 12 * **up && top + 12 * **up <= high;
        let octave = match octaves.iter().find(fits)? {
            0 => "",
            1 => " 8va",
            -1 => " 8vb",
            2 => " 15ma",
            _ => " 15mb",
        };
        Some(task(format!("plays {}{octave}", self.name(voice)), role, reason))
    }
}

/// What a line of the ensemble can do in a section, the best first; the last is to rest.
pub(super) fn tasks(
    music: &Music,
    ensemble: &Ensemble,
    player: &Player,
    rank: Option<(usize, usize)>,
    alone: bool,
    lean: Lean,
    turn: usize,
) -> Vec<Task> {
    let instrument = player.instrument;
    let rests = task("rests", "", "waits for its turn");
    let mut all: Vec<Task> = Vec::new();
    let loud = music.growth == 2;
    let quiet = music.growth == 0;
    // Where it is quiet the wind takes turns.
    let waits = quiet && turn.is_multiple_of(2);
    let Some((low, high)) = reach(player, ensemble.era).filter(|_| !instrument.unpitched) else {
        // Drums and cymbals without pitch speak rarely, and at peaks.
        if music.forte && (loud || lean == Lean::Full && !quiet) {
            all.push(task("highlights peaks", "", "marks the peaks, and only those"));
            all.push(task("highlights cadences", "", "marks the cadences"));
        }
        all.push(rests);
        return all;
    };
    let tune =
        |octaves: &[i32], reason| music.plays(music.tune, (low, high), octaves, "melody", reason);
    let bass = |octaves: &[i32], reason| {
        music.bass.and_then(|bass| music.plays(bass, (low, high), octaves, "bass", reason))
    };
    if !instrument.drums.is_empty() {
        if !quiet || lean == Lean::Full {
            all.push(task("highlights cadences", "", "marks the cadences on root and fifth"));
        }
        if loud {
            all.insert(0, task("highlights cadences, peaks", "", "marks cadences and peaks"));
        }
        all.push(rests);
        return all;
    }
    if instrument.staves > 1 {
        if matches!(instrument.family, Family::Keyboard)
            && ensemble.era < 1790
            && let Some(bass) = music.bass
        {
            all.push(task(
                format!("realises {}", music.name(bass)),
                "",
                "the continuo of its time",
            ));
        }
        let broken = task("sustains broken", "", "broken chords give light to the held ones");
        let held = task("sustains each chord", "", "full chords with the changes of harmony");
        if lean != Lean::Lean || !quiet {
            all.extend(if turn.is_multiple_of(2) { [broken, held] } else { [held, broken] });
        }
        all.push(rests);
        return all;
    }
    if let Some((place, strings)) = rank {
        strings_tasks(music, (low, high), (place, strings), &mut all, lean, quiet);
        all.push(task("sustains at p", "", "holds the harmony, softly"));
        all.push(rests);
        return all;
    }
    let middle = i32::midpoint(low, high);
    match instrument.loudness {
        // Where it never gets loud, heavy brass has nothing to crown.
        Loudness::HeavyBrass if !music.forte => {}
        Loudness::HeavyBrass => {
            if loud {
                if middle >= 60 && instrument.natural.is_some() {
                    all.push(task(
                        format!("signals {}", music.name(music.tune)),
                        "",
                        "signals at the climax",
                    ));
                }
                all.push(task("highlights cadences", "", "crowns the cadences"));
                all.push(task("sustains at p", "", "holds the harmony, softly"));
            } else if lean == Lean::Full && !quiet {
                all.push(task("highlights cadences", "", "crowns the cadences"));
            }
        }
        Loudness::Horn => {
            if waits {
                all.push(rests.clone());
            }
            if !quiet || lean == Lean::Full {
                all.push(task("sustains", "", "binds the orchestra together"));
                all.push(task("sustains at p", "", "holds the harmony, softly"));
            }
            if !quiet {
                all.push(task("highlights cadences", "", "calls at the cadences"));
            }
        }
        _ if low <= 47 && middle <= 62 => {
            // Bassoons and their like.
            if !(lean == Lean::Lean && quiet) {
                all.extend(bass(&[0, -1, 1], "gives the bass an edge"));
            }
            all.push(task("sustains at p", "", "holds the harmony, softly"));
        }
        _ => {
            let colour = turn.is_multiple_of(2);
            if waits && lean != Lean::Colourful {
                all.push(rests.clone());
            }
            let doubles = match lean {
                Lean::Lean => loud,
                // Nobody colours the tune from the first bar to the last.
                Lean::Full => loud || (!quiet && colour),
                Lean::Colourful => colour,
            };
            if doubles {
                let octaves: &[i32] = if middle >= 81 { &[1, 0] } else { &[0, 1, -1] };
                let reason =
                    if loud { "doubles the tune at the climax" } else { "colours the tune" };
                all.extend(tune(octaves, reason));
            }
            if let Some(&voice) = music.inner.get(turn % music.inner.len().max(1))
                && (lean != Lean::Lean || loud)
            {
                all.extend(music.plays(
                    voice,
                    (low, high),
                    &[0, 1, -1],
                    "harmony",
                    "takes an inner voice",
                ));
            }
            if lean != Lean::Lean || !quiet {
                all.push(task("sustains", "", "holds the harmony"));
                all.push(task("sustains at p", "", "holds the harmony, softly"));
            }
            if alone && all.iter().all(|task| task.deed == "rests") {
                all.extend(tune(&[0, 1, -1], "plays the tune"));
            }
        }
    }
    all.push(rests);
    all
}

/// The bowed strings: the first has the tune, the lowest the bass, the others what lies between.
fn strings_tasks(
    music: &Music,
    reach: (i32, i32),
    (place, strings): (usize, usize),
    all: &mut Vec<Task>,
    lean: Lean,
    quiet: bool,
) {
    let low_enough = reach.0 <= 40;
    if place == 0 {
        all.extend(music.plays(music.tune, reach, &[0, -1, 1], "melody", "leads with the tune"));
    } else if low_enough && let Some(bass) = music.bass {
        // What sounds an octave below the cellos reads their line.
        let octaves: &[i32] = if reach.0 <= 30 { &[-1, 0] } else { &[0, -1] };
        all.extend(music.plays(bass, reach, octaves, "bass", "carries the bass"));
        // A few notes too low do not bring the bass up: the players take them an octave higher.
        if all.is_empty() && music.fits_mostly(bass, reach, octaves[0]) {
            let octave = if octaves[0] < 0 { " 8vb" } else { "" };
            let deed = format!("plays {}{octave}", music.name(bass));
            all.push(task(deed, "bass", "carries the bass"));
        }
    } else {
        let index = place - 1;
        if let Some(&voice) = music.inner.get(index.min(music.inner.len().saturating_sub(1)))
            && index < music.inner.len()
        {
            all.extend(music.plays(voice, reach, &[0, -1, 1], "harmony", "plays an inner voice"));
        }
        match lean {
            Lean::Colourful if quiet => {
                all.push(task("sustains off the beat", "", "light off-beats under the tune"));
            }
            Lean::Colourful if place + 2 < strings => {
                all.push(task("sustains each beat", "", "repeats the harmony beat by beat"));
            }
            _ => {}
        }
        all.push(task("sustains", "", "fills the harmony"));
    }
}
