//! What a player has to take where the music jumps. At a da capo, a dal segno and a repeat he is told to take again
//! what he had where it goes on; before a first ending what he has in a later one, and at "To Coda" what he has in
//! the coda, where the bars between, which he leaves out, do not tell him. He is told in the rest before or, without
//! one, at the end of the bar. Common practice.

use crate::arrange::Part;
use crate::music::{Sign, Time};
use crate::resolve::Ending;

use super::FrameBar;
use super::names::{Announced, change, changes, changes_told, resting_place};

/// A way on which the music leaves out bars, or plays them again.
struct Way {
    /// The bar (index) since which what is played before the jump is played as it stands.
    since: usize,
    /// The bar at whose end the music jumps.
    from: usize,
    /// The bar with which it goes on.
    to: usize,
    /// The last of the bars that are played from there on as they stand.
    until: usize,
    /// When it goes this way, if not always.
    when: Option<String>,
    /// When it goes on instead, on a way forward.
    else_when: String,
}

/// The bar (index) up to and with another one with which something begins; else the first.
fn since(frame: &[FrameBar], bar: usize, begins: impl Fn(&FrameBar) -> bool) -> usize {
    frame[..=bar].iter().rposition(begins).unwrap_or_default()
}

/// Where a da capo or dal segno at the end of a bar leads.
fn jump(frame: &[FrameBar], bar: usize) -> Option<usize> {
    let sign = frame[bar].signs.iter().find(|sign| sign.is_jump())?;
    Some(match sign.is_dal_segno() {
        true => since(frame, bar, |bar| bar.signs.contains(&Sign::Segno)),
        false => 0,
    })
}

/// The first bar from this one on at whose end a da capo or dal segno stands; without one the last of all.
fn next_jump(frame: &[FrameBar], bar: usize) -> usize {
    (bar..frame.len()).find(|bar| jump(frame, *bar).is_some()).unwrap_or(frame.len() - 1)
}

/// The ways back of a movement, in order.
fn ways_back(frame: &[FrameBar]) -> impl Iterator<Item = Way> {
    frame.iter().enumerate().flat_map(move |(from, bar)| {
        let back =
            |to, when| Way { since: 0, from, to, until: from, when, else_when: String::new() };
        let begin = |bar: &FrameBar| bar.repeat_starts;
        let repeat = bar
            .repeat_ends
            .then(|| back(since(frame, from, begin), Some("for the repeat".to_owned())));
        repeat.into_iter().chain(jump(frame, from).map(|to| back(to, None)))
    })
}

/// The ways forward of a movement: to the later endings of a repeat, and to the coda.
fn ways_forward(frame: &[FrameBar]) -> Vec<Way> {
    let mut ways = Vec::new();
    // The first ending of a repeat, with the bar with which the repeat begins.
    let mut first: Option<(usize, usize)> = None;
    for (index, bar) in frame.iter().enumerate() {
        if let Some(ending) = bar.ending_starts {
            match first {
                Some((begins, first)) if ending.first > 1 => {
                    let to_end = &frame[index..];
                    let ends = to_end.iter().position(|bar| bar.ending_ends.is_some());
                    let last = index + ends.unwrap_or_default();
                    let again = frame[last].repeat_ends;
                    let until = if again { last } else { next_jump(frame, last) };
                    let when = Some(if again { nth_time(ending) } else { "last time".to_owned() });
                    let else_when = frame[first].ending_starts.map_or_else(String::new, nth_time);
                    let from = first - 1;
                    ways.push(Way { since: begins, from, to: index, until, when, else_when });
                }
                _ => {
                    let begins = since(frame, index, |bar| bar.repeat_starts);
                    first = (begins < index).then_some((begins, index));
                }
            }
        }
        let coda = |bar: &FrameBar| bar.signs.contains(&Sign::Coda);
        if bar.signs.contains(&Sign::ToCoda)
            && let Some(between) = frame[index + 1..].iter().position(coda)
            && let Some(begins) = (index..=index + between).find_map(|bar| jump(frame, bar))
        {
            let to = index + 1 + between;
            let until = next_jump(frame, to);
            let when = Some("for the coda".to_owned());
            let else_when = nth_time(Ending::of(1));
            ways.push(Way { since: begins, from: index, to, until, when, else_when });
        }
    }
    ways
}

/// "2nd time", "2nd and 3rd time", "2nd to 4th time".
fn nth_time(ending: Ending) -> String {
    let nth = |time: u8| match time {
        1 => "1st".to_owned(),
        2 => "2nd".to_owned(),
        3 => "3rd".to_owned(),
        time => format!("{time}th"),
    };
    match ending.last.saturating_sub(ending.first) {
        0 => format!("{} time", nth(ending.first)),
        1 => format!("{} and {} time", nth(ending.first), nth(ending.last)),
        _ => format!("{} to {} time", nth(ending.first), nth(ending.last)),
    }
}

/// Where the music leaves a rest, which lasts from one time to the next, for a later ending or the coda, and a player
/// has something else there than where it goes on: the end of the bar before, and when it goes on ("1st time").
pub(super) fn leaves(
    part: &Part,
    frame: &[FrameBar],
    rest: (Time, Time),
) -> Option<(Time, String)> {
    let left = |way: Way| {
        let bar = &frame[way.from];
        let end = bar.start + bar.length;
        let until = frame[way.until].start + frame[way.until].length;
        let next = part.notes.partition_point(|note| note.start() < frame[way.to].start);
        let first = part.notes.get(next).filter(|note| note.start() < until)?;
        let other =
            (rest.0..=rest.1).contains(&end) && change(part, first.start(), rest.1).is_some();
        other.then_some((end, way.else_when))
    };
    ways_forward(frame).into_iter().find_map(left)
}

/// What a player is told where the music jumps to something else than he has in hand then.
pub(super) fn told(part: &Part, frame: &[FrameBar]) -> Vec<Announced> {
    let mut all: Vec<Announced> = Vec::new();
    if changes(part).is_empty() {
        return all;
    }
    let on_the_way = changes_told(part, frame, &[]);
    for way in ways_back(frame).chain(ways_forward(frame)) {
        let end_of = |bar: usize| frame[bar].start + frame[bar].length;
        let (begin, end) = (frame[way.to].start, end_of(way.from));
        let next = part.notes.partition_point(|note| note.start() < begin);
        let last = part.notes.partition_point(|note| note.start() < end).checked_sub(1);
        let (Some(first), Some(last_note)) = (part.notes.get(next), last) else { continue };
        let last = &part.notes[last_note];
        let played = last.start() >= frame[way.since].start && first.start() < end_of(way.until);
        let Some((order, name)) = change(part, last.start(), first.start()).filter(|_| played)
        else {
            continue;
        };
        let forward = way.to > way.from;
        let orders = |told: &&Announced| told.words.ends_with(&order);
        // What is told in the rest before his first note he reads again.
        let again = |told: &Announced| (begin..=first.start()).contains(&told.at);
        if on_the_way.iter().filter(orders).any(again) {
            continue;
        }
        let free = last.end().min(end);
        // He reads what is told behind his last note: on the way forward for what he leaves out, on the way back
        // for what comes after.
        let before = |told: &&Announced| told.at >= free && told.at < end;
        let reads = |told: &Announced| forward || told.words == order;
        if !on_the_way.iter().filter(orders).filter(before).any(reads) {
            let at_end = free >= end;
            let at = if at_end { end } else { resting_place(frame, free, end).min(end) };
            // Who goes on as it stands changes there too, if he has no time to do so later.
            let goes_on = || {
                let next = &part.notes[last_note + 1];
                let same = change(part, last.start(), next.start());
                same.is_some_and(|(other, _)| other == order)
                    && !on_the_way.iter().filter(orders).any(|told| (end..begin).contains(&told.at))
            };
            let words = match way.when {
                Some(when) if !(forward && goes_on()) => format!("{when}: {order}"),
                _ => order,
            };
            if !all.iter().any(|told| told.at == at && told.words == words) {
                all.push(Announced { at, words, taken: last.start(), at_end });
            }
        }
        // He reads the name of what he has left out on the page.
        let (at, words) = (first.start(), name);
        let same = |told: &Announced| told.at == at && told.words == words;
        if forward && !on_the_way.iter().chain(&all).any(same) {
            all.push(Announced { at, words, taken: at, at_end: false });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use crate::music::Sign;
    use crate::notate::testing::{Fixture, directions, form, natural_horn};
    use crate::resolve::{Ending, Form};

    /// What a horn is told that takes another crook in the third of four bars, at the end of which a sign stands.
    fn told(notes: &str, sign: Option<Sign>) -> String {
        let mut form = form(&["4/4"; 4]);
        match sign {
            Some(sign) => form.bars[3].signs.push(sign),
            None => form.bars[3].repeat_ends = true,
        }
        let fixture = Fixture::of(form).instrument(natural_horn());
        directions(&fixture.crook("0/1", "D").crook("2/1", "F").notes(notes).score(), 0)
    }

    #[test]
    fn who_goes_back_to_another_crook_is_told_to_change_in_the_rest_before() {
        let before = "1 0/1 \"in D\", 2 0/1 \"change to F\", 3 0/1 \"in F\"";
        let rests = "0/1 1/1 D4, 2/1 1/1 C4";
        assert_eq!(told(rests, Some(Sign::DaCapo)), format!("{before}, 4 0/1 \"change to D\""));
        assert_eq!(told(rests, None), format!("{before}, 4 0/1 \"for the repeat: change to D\""));
        // Without a rest at the end of the bar.
        let plays = "0/1 1/1 D4, 2/1 2/1 C4";
        let told_at_end = told(plays, Some(Sign::DaCapoAlFine));
        assert_eq!(told_at_end, format!("{before}, 4 1/1 \"change to D\""));
    }

    #[test]
    fn who_goes_back_to_what_he_has_in_hand_is_told_nothing() {
        let told = told("0/1 1/1 D4, 1/1 1/1 D4", Some(Sign::DaCapo));
        assert!(!told.contains("change to D"), "{told}");
    }

    /// What a horn is told with crooks from some bars on.
    fn told_with(form: Form, crooks: &[(&str, &str)], notes: &str) -> String {
        let horn = Fixture::of(form).instrument(natural_horn());
        let horn = crooks.iter().fold(horn, |horn, (at, crook)| horn.crook(at, crook));
        directions(&horn.notes(notes).score(), 0)
    }

    /// Five bars: from the end of the second into the coda, which is the last two.
    fn with_coda() -> Form {
        let mut form = form(&["4/4"; 5]);
        form.bars[1].signs.push(Sign::ToCoda);
        form.bars[2].signs.push(Sign::DaCapoAlCoda);
        form.bars[3].signs.push(Sign::Coda);
        form
    }

    #[test]
    fn who_leaves_for_the_coda_is_told_what_the_bars_between_tell_others() {
        let crooks = [("0/1", "D"), ("2/1", "F")];
        let told = |notes| told_with(with_coda(), &crooks, notes);
        // As it stands he has changed before the coda. On both ways he changes to the same.
        let plays = "0/1 2/1 D4, 2/1 1/1 C4, 3/1 1/1 C4";
        let names = "3 0/1 \"in F\", 3 1/1 \"change to D\", 4 0/1 \"in F\"";
        let before = "1 0/1 \"in D\", 2 1/1 \"change to F\"";
        assert_eq!(told(plays), format!("{before}, {names}"));
        // A change in the rest before he leaves is told for both ways.
        let rests = "0/1 1/1 D4, 2/1 1/1 C4, 3/1 1/1 C4";
        let before = "1 0/1 \"in D\", 2 0/1 \"change to F\"";
        assert_eq!(told(rests), format!("{before}, {names}"));
        // What is told in a bar that he leaves out is told him before; in the coda he reads it.
        let crooks = [("0/1", "D"), ("4/1", "F")];
        let told = |notes| told_with(with_coda(), &crooks, notes);
        let left_out = "2 1/1 \"for the coda: change to F\", 3 0/1 \"change to F\"";
        let later = told("0/1 2/1 D4, 4/1 1/1 C4");
        assert_eq!(later, format!("1 0/1 \"in D\", {left_out}, 5 0/1 \"in F\""));
        let later = told("0/1 3/1 D4, 4/1 1/1 C4");
        assert_eq!(later, "1 0/1 \"in D\", 4 0/1 \"change to F\", 5 0/1 \"in F\"");
    }

    #[test]
    fn who_keeps_his_crook_for_the_coda_is_not_told_to_change_on_the_way_to_it() {
        let crooks = [("0/1", "D"), ("2/1", "F"), ("3/1", "D")];
        let names = "3 0/1 \"in F\", 3 1/1 \"change to D\", 4 0/1 \"in D\"";
        let first = "1 0/1 \"in D\", 2 0/1 \"1st time: change to F\"";
        let told = told_with(with_coda(), &crooks, "0/1 1/1 D4, 2/1 1/1 C4, 3/1 1/1 C4");
        assert_eq!(told, format!("{first}, {names}"));
        // Where the rest goes on behind "To Coda" he is told there.
        let mut form = form(&["4/4"; 6]);
        form.bars[1].signs.push(Sign::ToCoda);
        form.bars[3].signs.push(Sign::DaCapoAlCoda);
        form.bars[4].signs.push(Sign::Coda);
        let crooks = [("0/1", "D"), ("3/1", "F"), ("4/1", "D")];
        let told = told_with(form, &crooks, "0/1 1/1 D4, 3/1 1/1 C4, 4/1 1/1 C4");
        let names = "4 0/1 \"in F\", 4 1/1 \"change to D\", 5 0/1 \"in D\"";
        assert_eq!(told, format!("1 0/1 \"in D\", 3 0/1 \"change to F\", {names}"));
    }

    #[test]
    fn who_changes_before_the_jump_back_and_behind_it_to_the_same_is_told_once() {
        let mut form = form(&["4/4"; 5]);
        form.bars[1].signs.push(Sign::ToCoda);
        form.bars[3].signs.push(Sign::DaCapoAlCoda);
        form.bars[4].signs.push(Sign::Coda);
        let crooks = [("0/1", "D"), ("2/1", "F"), ("4/1", "D")];
        let told = told_with(form, &crooks, "0/1 2/1 D4, 2/1 1/1 C4, 4/1 1/1 C4");
        assert_eq!(told.matches("change to D").count(), 1, "{told}");
    }

    #[test]
    fn what_a_later_ending_has_is_told_before_the_first() {
        let mut form = form(&["4/4"; 4]);
        form.bars[0].repeat_starts = true;
        form.bars[2].repeat_ends = true;
        (form.bars[2].ending, form.bars[3].ending) = (Some(Ending::of(1)), Some(Ending::of(2)));
        let told = |crooks: &[_]| {
            let notes = "0/1 2/1 C4, 2/1 1/1 C4, 3/1 1/1 C4";
            told_with(form.clone(), crooks, notes)
        };
        let both = "1 0/1 \"in D\", 2 1/1 \"change to F\", 3 0/1 \"in F\", \
                    3 1/1 \"for the repeat: change to D\", 4 0/1 \"in F\"";
        assert_eq!(told(&[("0/1", "D"), ("2/1", "F")]), both);
        let back = "1 0/1 \"in D\", 3 0/1 \"in F\", \
                    3 1/1 \"for the repeat: change to D\", 4 0/1 \"in D\"";
        assert_eq!(told(&[("0/1", "D"), ("2/1", "F"), ("3/1", "D")]), back);
        let later = "1 0/1 \"in D\", 2 1/1 \"last time: change to F\", 4 0/1 \"in F\"";
        assert_eq!(told(&[("0/1", "D"), ("3/1", "F")]), later);
    }

    #[test]
    fn times_are_said_by_their_numbers() {
        let said = |first, last| super::nth_time(Ending { first, last });
        assert_eq!(said(2, 2), "2nd time");
        assert_eq!(said(2, 3), "2nd and 3rd time");
        assert_eq!(said(2, 4), "2nd to 4th time");
    }
}
