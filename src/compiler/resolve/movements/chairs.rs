//! Who plays in a whole of several movements, whose forces may differ from one to the next.

use std::sync::Arc;

use super::super::ensemble::score_place;
use super::super::piece::{Ensemble, Piece, Player};

/// The players of one ensemble line.
type Section = [Arc<Player>];

/// Everybody who plays a scoring in any of its movements, in score order.
///
/// An ensemble line is the same desks throughout: who they are says the movement in which it has most
/// parts, whatever others play there. So a section that divides in one movement is two halves in the
/// whole, who both read what it plays undivided in another.
pub(super) fn everybody(name: &str, movements: &[Arc<Piece>]) -> Option<Ensemble> {
    let ensembles = movements.iter().filter_map(|piece| {
        let scoring = piece.scorings.iter().find(|scoring| scoring.name == name)?;
        piece.ensembles.get(scoring.ensemble)
    });
    let ensembles: Vec<&Arc<Ensemble>> = ensembles.collect();
    let first = ensembles.first()?;
    // Of lines that are alike in score order the fullest ensemble says the order; who plays only
    // elsewhere comes behind his neighbour there.
    let fullest = ensembles.iter().rev().max_by_key(|ensemble| ensemble.players.len())?;
    let mut lines: Vec<&Section> = Vec::new();
    for ensemble in [fullest].into_iter().chain(&ensembles) {
        let mut behind = 0;
        for line in sections(ensemble) {
            match lines.iter().position(|known| line_name(known) == line_name(line)) {
                Some(place) => {
                    if parts(line) > parts(lines[place]) {
                        lines[place] = line;
                    }
                    behind = place + 1;
                }
                None => {
                    lines.insert(behind, line);
                    behind += 1;
                }
            }
        }
    }
    let all: Vec<_> = lines.iter().copied().flatten().cloned().collect();
    lines.sort_by_key(|line| line.first().map(|player| score_place(player, &all)));
    let mut whole = (***first).clone();
    whole.players = lines.into_iter().flatten().cloned().collect();
    whole.groups = Vec::new();
    Some(whole)
}

/// The players of an ensemble, line by line.
fn sections(ensemble: &Ensemble) -> impl Iterator<Item = &Section> {
    ensemble.players.chunk_by(|one, next| one.line_name == next.line_name)
}

fn line_name(line: &Section) -> Option<&str> {
    line.first().map(|player| player.line_name.as_str())
}

/// In how many parts a line plays, whether they are halves of a section, and how many people.
fn parts(line: &Section) -> (usize, bool, u32) {
    let halves = line.iter().any(|player| player.half_of.is_some());
    (line.len(), halves, line.iter().map(|player| u32::from(player.count)).sum())
}

/// Is it the same player, although he is alone in one movement (`oboe`) and has a neighbour in
/// another (`oboe.1`), or reads with all of a section that divides in another?
#[must_use]
pub fn is_same_chair(one: &Player, other: &Player) -> bool {
    let chair = |player: &Player| (player.line_name.clone(), player.number.max(1));
    let is_half = |half: &Player, all: &Player| {
        half.half_of.is_some() && all.number == 0 && half.line_name == all.line_name
    };
    one.id == other.id || chair(one) == chair(other) || is_half(one, other) || is_half(other, one)
}
