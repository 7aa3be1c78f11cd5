//! Notes that follow each other only where the music jumps: at a repeat, a da capo, a dal segno.

use super::context::Context;

/// Two notes of a player between which the music jumps.
pub(super) struct AtJump {
    /// Index of the last note before the jump.
    pub before: usize,
    /// Index of the first note after it.
    pub next: usize,
    /// Seconds between the two.
    pub rest: f64,
}

/// The notes of a player that follow each other only by a jump, in the order in which they are played. Where the
/// same two meet several times the shortest rest counts.
pub(super) fn at_jumps(cx: &Context, player: usize) -> Vec<AtJump> {
    let (notes, times) = (&cx.part(player).notes, cx.times(player));
    let mut all: Vec<AtJump> = Vec::new();
    let mut now = 0.0;
    // The last note with its end, and when the music has jumped since.
    let (mut last, mut jumped) = (None::<(usize, f64)>, None);
    let mut follows = 0;
    for index in cx.form.playing_order() {
        let Some(bar) = cx.form.bars.get(index) else { continue };
        if index != follows {
            jumped = jumped.or(Some(now));
        }
        follows = index + 1;
        let (start, end) = (bar.start, bar.start + bar.length);
        let (from, until) = (cx.seconds_at(start), cx.seconds_at(end));
        let first = notes.partition_point(|note| note.start() < start);
        let after = first + notes[first..].iter().take_while(|note| note.start() < end).count();
        if first < after {
            let begin = now + times.begin(first) - from;
            if let (Some((before, end)), Some(at)) = (last, jumped)
                && before + 1 != first
            {
                let rest = begin - f64::min(end, at);
                let same = |other: &&mut AtJump| (other.before, other.next) == (before, first);
                match all.iter_mut().find(same) {
                    Some(other) => other.rest = other.rest.min(rest),
                    None => all.push(AtJump { before, next: first, rest }),
                }
            }
            last = Some((after - 1, now + times.end(after - 1) - from));
            jumped = None;
        }
        now += until - from;
    }
    all
}
