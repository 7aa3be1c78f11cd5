//! Tells the voices of a part apart.
//!
//! The method is contig mapping (Elaine Chew and Xiaodan Wu, "Separating voices in polyphonic
//! music: a contig mapping approach", Computer Music Modeling and Retrieval, 2004; from memory).
//! Stretches in which the same number of notes sound together are contigs; in those with the most
//! notes each voice has its place by height, and from there the others are joined on so that voices
//! move as little as they can and do not cross.

use crate::music::Time;

/// A note to be given to a voice.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Sounding {
    pub(super) start: Time,
    pub(super) end: Time,
    /// Height in semitones.
    pub(super) key: i32,
}

/// Notes that sound together for a while, each in its rank from the lowest up.
struct Contig {
    /// In each rank the notes one after the other, by their index.
    ranks: Vec<Vec<usize>>,
}

/// How many notes sound together at the most. Notes stand in order of their beginnings.
pub(super) fn together(notes: &[Sounding]) -> usize {
    let mut ends: Vec<Time> = notes.iter().map(|note| note.end).collect();
    ends.sort_unstable();
    let mut ended = 0;
    let mut most = 0;
    for (begun, note) in notes.iter().enumerate() {
        while ends[ended] <= note.start {
            ended += 1;
        }
        most = most.max(begun + 1 - ended);
    }
    most
}

/// For what share of the time in which anything sounds as many notes sound together as ever do.
pub(super) fn fullness(notes: &[Sounding]) -> f64 {
    let begun = notes.iter().map(|note| (note.start, 1));
    let mut turns: Vec<(Time, i32)> =
        begun.chain(notes.iter().map(|note| (note.end, -1))).collect();
    turns.sort_unstable();
    let most = i32::try_from(together(notes)).unwrap_or(i32::MAX);
    let (mut count, mut full, mut all) = (0, 0.0, 0.0);
    for pair in turns.windows(2) {
        count += pair[0].1;
        let length = (pair[1].0 - pair[0].0).to_f64();
        full += if count == most { length } else { 0.0 };
        all += if count > 0 { length } else { 0.0 };
    }
    if all > 0.0 { full / all } else { 1.0 }
}

/// The voice of each note, 0 the lowest, and how many voices there are. Notes stand in order of
/// their beginnings.
pub(super) fn separate(notes: &[Sounding]) -> (Vec<usize>, usize) {
    let contigs = contigs(notes);
    let most = contigs.iter().map(|contig| contig.ranks.len()).max().unwrap_or(0);
    let mut voices = vec![usize::MAX; notes.len()];
    if most == 0 {
        return (vec![0; notes.len()], 0);
    }
    let full: Vec<usize> =
        (0..contigs.len()).filter(|index| contigs[*index].ranks.len() == most).collect();
    let first = full.first().copied().unwrap_or(0);
    // To the right from the first full contig, each full one settling the heights anew.
    let mut heights: Vec<Option<(usize, i32)>> = vec![None; most];
    for contig in &contigs[first..] {
        let map = join(contig, &heights, &voices, notes, true);
        place(contig, &map, &mut voices);
        for (rank, voice) in map.iter().enumerate() {
            let last = contig.ranks[rank].last().copied().unwrap_or(0);
            heights[*voice] = Some((last, notes[last].key));
        }
    }
    // And to the left.
    let mut heights: Vec<Option<(usize, i32)>> = vec![None; most];
    for (rank, notes_of) in contigs[first].ranks.iter().enumerate() {
        let voice = voices[notes_of[0]];
        heights[if voice < most { voice } else { rank }] =
            Some((notes_of[0], notes[notes_of[0]].key));
    }
    for contig in contigs[..first].iter().rev() {
        let map = join(contig, &heights, &voices, notes, false);
        place(contig, &map, &mut voices);
        for (rank, voice) in map.iter().enumerate() {
            let next = contig.ranks[rank].first().copied().unwrap_or(0);
            heights[*voice] = Some((next, notes[next].key));
        }
    }
    voices.iter_mut().filter(|voice| **voice == usize::MAX).for_each(|voice| *voice = 0);
    (voices, most)
}

fn place(contig: &Contig, map: &[usize], voices: &mut [usize]) {
    for (rank, voice) in map.iter().enumerate() {
        for note in &contig.ranks[rank] {
            if voices[*note] == usize::MAX {
                voices[*note] = *voice;
            }
        }
    }
}

/// Which voice each rank of a contig goes on in. Notes that are held keep their voice; the others
/// go to voices that are free, without crossing, by the smallest sum of leaps.
fn join(
    contig: &Contig,
    heights: &[Option<(usize, i32)>],
    voices: &[usize],
    notes: &[Sounding],
    rightwards: bool,
) -> Vec<usize> {
    let ranks = contig.ranks.len();
    let mut map = vec![usize::MAX; ranks];
    let mut free = vec![true; heights.len()];
    let edge = |rank: usize| {
        let of_rank = &contig.ranks[rank];
        let edge = if rightwards { of_rank.first() } else { of_rank.last() };
        edge.copied().unwrap_or(0)
    };
    for rank in 0..ranks {
        let held = voices[edge(rank)];
        if held < free.len() && free[held] {
            map[rank] = held;
            free[held] = false;
        }
    }
    let open: Vec<usize> = (0..ranks).filter(|rank| map[*rank] == usize::MAX).collect();
    let room: Vec<usize> = (0..heights.len()).filter(|voice| free[*voice]).collect();
    // cost[i][j]: the cheapest way to give the first i ranks to the first j voices.
    const NEVER: i32 = i32::MAX / 4;
    let mut cost = vec![vec![0; room.len() + 1]; open.len() + 1];
    for i in 1..=open.len() {
        cost[i][0] = NEVER;
        for j in 1..=room.len() {
            let leap = heights[room[j - 1]]
                .map_or(0, |(_, key)| (key - notes[edge(open[i - 1])].key).abs());
            cost[i][j] = (cost[i][j - 1]).min(cost[i - 1][j - 1].saturating_add(leap));
        }
    }
    let (mut i, mut j) = (open.len(), room.len());
    while i > 0 && j > 0 {
        if j > i && cost[i][j] == cost[i][j - 1] {
            j -= 1;
            continue;
        }
        map[open[i - 1]] = room[j - 1];
        (i, j) = (i - 1, j - 1);
    }
    map.into_iter().map(|voice| if voice == usize::MAX { 0 } else { voice }).collect()
}

fn contigs(notes: &[Sounding]) -> Vec<Contig> {
    let mut times: Vec<Time> = notes.iter().flat_map(|note| [note.start, note.end]).collect();
    times.sort_unstable();
    times.dedup();
    let mut contigs: Vec<Contig> = Vec::new();
    let mut active: Vec<usize> = Vec::new();
    let mut next = 0;
    let mut silent = true;
    for time in times {
        active.retain(|index| notes[*index].end > time);
        while notes.get(next).is_some_and(|note| note.start <= time) {
            if notes[next].end > time {
                active.push(next);
            }
            next += 1;
        }
        active.sort_by_key(|index| (notes[*index].key, notes[*index].start, *index));
        if active.is_empty() {
            silent = true;
            continue;
        }
        let goes_on = !silent && contigs.last().is_some_and(|last| goes_on(last, &active));
        silent = false;
        match contigs.last_mut().filter(|_| goes_on) {
            Some(last) => {
                for (rank, index) in last.ranks.iter_mut().zip(&active) {
                    if rank.last() != Some(index) {
                        rank.push(*index);
                    }
                }
            }
            None => {
                contigs.push(Contig { ranks: active.iter().map(|index| vec![*index]).collect() });
            }
        }
    }
    contigs
}

/// Does a contig go on with these notes: as many, and none that is held in another rank?
fn goes_on(contig: &Contig, active: &[usize]) -> bool {
    contig.ranks.len() == active.len()
        && contig.ranks.iter().enumerate().all(|(rank, notes)| {
            let last = notes.last();
            active.iter().position(|index| Some(index) == last).is_none_or(|place| place == rank)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(start: i64, end: i64, key: i32) -> Sounding {
        Sounding { start: Time::of(start, 4), end: Time::of(end, 4), key }
    }

    #[test]
    fn two_voices_keep_their_heights() {
        let notes = [
            note(0, 1, 48),
            note(0, 2, 72),
            note(1, 2, 50),
            note(2, 3, 52),
            note(2, 4, 71),
            note(3, 4, 53),
        ];
        assert_eq!(separate(&notes), (vec![0, 1, 0, 0, 1, 0], 2));
    }

    #[test]
    fn a_voice_alone_is_joined_to_the_nearer_one() {
        // Two sound together; before and after them one sounds alone, high and low.
        let notes = [note(0, 1, 74), note(1, 2, 50), note(1, 2, 72), note(2, 3, 48)];
        assert_eq!(separate(&notes), (vec![1, 0, 1, 0], 2));
    }

    #[test]
    fn a_held_note_keeps_its_voice() {
        let notes = [note(0, 4, 60), note(0, 1, 72), note(1, 2, 55), note(3, 4, 70)];
        let (voices, count) = separate(&notes);
        assert_eq!(count, 2);
        assert_eq!(voices[0], voices[0]);
        assert_ne!(voices[1], voices[0]);
        assert_ne!(voices[2], voices[0]);
        assert_ne!(voices[3], voices[0]);
    }

    #[test]
    fn how_full_it_sounds_is_a_share_of_the_time() {
        let notes = [note(0, 2, 60), note(0, 1, 64), note(4, 6, 62)];
        assert!((fullness(&notes) - 0.25).abs() < 1e-9);
        assert!((fullness(&[]) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn no_notes_are_no_voices() {
        assert_eq!(separate(&[]), (vec![], 0));
    }
}
