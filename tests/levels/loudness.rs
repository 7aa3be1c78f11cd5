//! The levels that each of two reads on their staff.

use ripieno::edition::{DirectionKind, Edition, EditionPart, StaffBar};
use ripieno::music::Time;
use ripieno::notate::{ElementKind, Score, Staff, StaffDirectionKind};
use ripieno::resolve::Dynamic;

/// After so many bars of rest the level is told anew.
const REST: i64 = 2;

/// So much earlier at the most the sign may stand that says to both what each is told.
const TOGETHER: Time = Time::of(1, 2);

/// What the own part of a player says of loudness at one time of a bar.
#[derive(Clone, Copy)]
enum Own {
    /// A hairpin ends here.
    Ends,
    Level(Dynamic),
    /// A hairpin begins here.
    Begins,
    /// A note is struck here, after rests or as the first of all if that is true.
    Note {
        enters: bool,
    },
}

/// All of it in order, bar by bar.
fn own(score: &Score, staff: &Staff) -> Vec<Vec<(Time, Own)>> {
    let mut free: Option<Time> = None;
    let bars = score.frame.iter().zip(&staff.measures);
    bars.map(|(bar, measure)| {
        let mut all = Vec::new();
        for said in &measure.directions {
            all.extend(match said.kind {
                StaffDirectionKind::HairpinEnds => Some((said.at, 0, Own::Ends)),
                StaffDirectionKind::Dynamic(level) => Some((said.at, 1, Own::Level(level))),
                StaffDirectionKind::HairpinStarts { .. } => Some((said.at, 2, Own::Begins)),
                _ => None,
            });
        }
        for element in &measure.elements {
            let ElementKind::Note(note) = &element.kind else { continue };
            let at = bar.start + element.at;
            if !note.tie_from && note.grace.is_none() {
                let enters = free.is_none_or(|free| at - free >= bar.length * REST);
                all.push((element.at, 3, Own::Note { enters }));
            }
            free = Some(at + element.length);
        }
        all.sort_by_key(|(at, rank, _)| (*at, *rank));
        all.into_iter().map(|(at, _, said)| (at, said)).collect()
    })
    .collect()
}

/// The signs of a bar that one of two who share the staff reads, in order, each with whether it is his. One that
/// stands where only the other plays says something to him only where a hairpin that both had has come to it.
fn read(bar: &StaffBar, player: usize, who: usize) -> Vec<(Time, Dynamic, bool)> {
    let own = bar.voices.iter().filter(|voice| voice.players.contains(&player));
    let notes = own.flat_map(|voice| &*voice.elements);
    let notes = notes.filter(|element| matches!(element.kind, ElementKind::Note(_)));
    let plays_until = notes.map(|note| note.at + note.length).max().unwrap_or(Time::ZERO);
    let signs = bar.directions.iter().filter_map(|said| match said.kind {
        DirectionKind::Dynamic(dynamic) => Some((said.at, dynamic, said.above)),
        _ => None,
    });
    let above = signs.clone().any(|(.., above)| above);
    let apart = bar.voices.len() == 2;
    // Over two voices stands what the first alone is told: then what stands below is for the second.
    let his = signs.filter(|(.., over)| !apart || if who == 0 { *over == above } else { !over });
    his.map(|(at, dynamic, _)| (at, dynamic, at < plays_until)).collect()
}

/// What two who share a staff cannot read from it of what their own parts say.
pub(super) fn unread(score: &Score, edition: &Edition, part: &EditionPart) -> Vec<String> {
    let mut missing = Vec::new();
    let bars = &edition.staves[part.staves.start].bars;
    for (who, player) in part.players.clone().enumerate() {
        let name = &edition.players[player].name;
        let own = own(score, &score.staves[edition.players[player].index]);
        // What his part says, what it says under the last note of a hairpin, and what he reads on the staff.
        let (mut level, mut reads): (Option<Dynamic>, Option<Dynamic>) = (None, None);
        let mut goal = None;
        for ((bar, said), frame) in bars.iter().zip(own).zip(&score.frame) {
            let signs = read(bar, player, who);
            let mut tell = |at: Time, what: String| {
                missing.push(format!("{name}, bar {} at {at}: {what}", frame.number));
            };
            let stands = |at: Time, level: Dynamic| {
                let near = |sign: &(Time, Dynamic, bool)| {
                    sign.1 == level && sign.2 && sign.0 <= at && at - sign.0 <= TOGETHER
                };
                signs.iter().any(near)
            };
            let take = |reads: &mut Option<Dynamic>, (_, told, his): (Time, Dynamic, bool)| {
                if his || reads.is_none() {
                    *reads = told.lasting().or(*reads);
                }
            };
            let (mut seen, mut ended) = (0, None);
            let told = said.clone();
            let told = |at: Time| {
                told.iter().find_map(|(time, said)| match said {
                    Own::Level(level) if *time == at => Some(*level),
                    _ => None,
                })
            };
            for (at, said) in said {
                // What a hairpin has come to stands where it ends.
                let ends = matches!(said, Own::Ends);
                while signs.get(seen).is_some_and(|sign| sign.0 < at || sign.0 == at && !ends) {
                    take(&mut reads, signs[seen]);
                    seen += 1;
                }
                match said {
                    Own::Ends => (level, reads, ended) = (None, None, Some(at)),
                    Own::Level(told) if told.lasting() != Some(told) => {
                        if !signs.contains(&(at, told, true)) {
                            tell(at, format!("no {}", told.letters()));
                        }
                        level = told.lasting().or(level);
                    }
                    // The other, who grows with him, may be told it soon after, for both.
                    Own::Level(told) if ended == Some(at) && !stands(at, told) => goal = Some(told),
                    Own::Level(told) => (level, goal) = (Some(told), None),
                    Own::Begins => {
                        if let Some(told) = told(at).filter(|told| !stands(at, *told)) {
                            tell(at, format!("no {} where a hairpin begins", told.letters()));
                        }
                        (level, reads) = (None, None);
                    }
                    Own::Note { enters } => {
                        if let Some(told) = told(at).filter(|told| enters && !stands(at, *told)) {
                            tell(at, format!("no {} after rests", told.letters()));
                        }
                        if ended != Some(at) {
                            level = goal.take().or(level);
                        }
                        if level.is_some() && reads != level {
                            tell(at, format!("{level:?} is read as {reads:?}"));
                        }
                    }
                }
            }
            signs[seen..].iter().for_each(|sign| take(&mut reads, *sign));
        }
    }
    missing
}
