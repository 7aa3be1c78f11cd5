//! What is said of an instrument's key: "in D", "in B♭ basso"; of drums: "in D, A", "D to C".

use std::sync::Arc;

use smallvec::SmallVec;

use crate::arrange::Part;
use crate::music::{Letter, Pitch, PitchName, Time};

use super::{FrameBar, Staff, StaffDirectionKind, jumps};

/// The key, crook or notes of drums at a time, as it is printed at the head of a part. Nothing is
/// said where there is nothing to choose: an instrument in C, or one that always stands in its
/// octave.
pub(super) fn key_at(part: &Part, time: Time) -> Option<String> {
    if let Some(drums) = drums_at(part, time) {
        return Some(tuned(drums));
    }
    if let Some(tuning) = part.tuning_at(time) {
        return Some(format!("in {}", shown(&tuning.name)));
    }
    let sounds = PitchName::new(Letter::C, 0).transposed(part.transposition_at(time))?;
    let in_c = sounds == PitchName::new(Letter::C, 0);
    (!in_c).then(|| format!("in {}", shown(&sounds.to_string())))
}

/// All keys, crooks or tunings of drums on which something is played, each once, in the order in which they are
/// first played on; who plays nothing reads the first. Drums that sound as they did under other names (G♭ behind F♯)
/// are no other tuning; of another one all have the names that he reads where he tunes them.
pub(super) fn all_keys(part: &Part) -> Vec<String> {
    let times: Vec<Time> = [Time::ZERO].into_iter().chain(changes(part)).collect();
    let plays = |n: usize| {
        let next = part.notes.partition_point(|note| note.end() <= times[n]);
        let until = times.get(n + 1).copied().unwrap_or(Time::MAX);
        part.notes.get(next).is_some_and(|note| note.start() < until)
    };
    let mut played: Vec<usize> = (0..times.len()).filter(|&n| plays(n)).collect();
    if part.notes.is_empty() {
        played.push(0);
    }
    let mut keys: Vec<String> = Vec::new();
    let mut known: Vec<Vec<i32>> = Vec::new();
    for at in played.into_iter().map(|n| times[n]) {
        // What another instrument stands in is said with its name.
        if !std::ptr::eq(part.instrument_at(at), part.first_instrument()) {
            continue;
        }
        let key = match drums_at(part, at) {
            Some(drums) => {
                let sound = sound(drums);
                if known.contains(&sound) {
                    continue;
                }
                known.push(sound);
                Some(tuned(drums))
            }
            None => key_at(part, at),
        };
        keys.extend(key.filter(|key| !keys.contains(key)));
    }
    keys
}

/// What drums sound, from the lowest, whatever they are called.
fn sound(drums: &[Pitch]) -> Vec<i32> {
    let mut keys: Vec<i32> = drums.iter().map(|note| note.midi()).collect();
    keys.sort_unstable();
    keys
}

/// "in D, A".
fn tuned(drums: &[Pitch]) -> String {
    let notes: Vec<String> = drums.iter().map(|drum| shown(&drum.name().to_string())).collect();
    format!("in {}", notes.join(", "))
}

/// When something else is taken: another instrument, key, crook or tuning of drums. In order, each
/// once, the beginning left out.
pub(super) fn changes(part: &Part) -> Vec<Time> {
    let instruments = part.instruments.iter().map(|(at, _)| *at);
    let tunings = part.tunings.iter().map(|(at, _)| *at);
    let drums = part.drums.iter().map(|(at, _)| *at);
    let mut all: Vec<Time> = instruments.chain(tunings).chain(drums).collect();
    all.retain(|at| at.is_positive());
    all.sort_unstable();
    all.dedup();
    all
}

/// What the player is told of the other instruments, keys, crooks and tunings that he takes, in
/// order of time: what to do in the rest behind the last note on the one before ("take Piccolo",
/// "change to F", "change D to C"), and what he has in hand at the first note on the new one. Who
/// needs several keys or crooks is told at the head in which he begins. Where there is no rest
/// between the two, only the latter; where no note follows, nothing. Who plays to the end of a
/// movement and takes something else for the next (`borders`: where movements begin) is told so at
/// its end, and what he has in hand then at the head of the next that he plays. Common practice.
pub(super) fn changes_told(part: &Part, frame: &[FrameBar], borders: &[Time]) -> Vec<Announced> {
    let mut told = Vec::new();
    let mut before = Time::ZERO;
    let changes = changes(part);
    told.extend(begins_on(part, frame, borders));
    told.extend(begins_in(part, borders));
    for (index, &at) in changes.iter().enumerate() {
        let Some((order, name)) = change(part, before, at) else { continue };
        let next = part.notes.partition_point(|note| note.start() < at);
        let Some(enters) = part.notes.get(next).map(|note| note.start()) else { break };
        // Changed again before a note: only what is in hand then counts.
        if changes.get(index + 1).is_some_and(|again| *again <= enters) {
            continue;
        }
        let last = next.checked_sub(1).map(|last| part.notes[last].end());
        // What he begins with stands at the head.
        if last.is_none() {
            before = at;
            continue;
        }
        let for_last_time = |again: bool| match again {
            true => format!("last time: {order}"),
            false => order.clone(),
        };
        if let Some(free) = last.filter(|free| *free >= at && borders.contains(&at)) {
            let words = for_last_time(replayed(frame, free, at).is_some());
            told.push(Announced { at, words, taken: at, at_end: true });
        } else if let Some(free) = last.filter(|free| *free < enters) {
            // What follows upon a movement may come long after it.
            let ends = borders.iter().copied().filter(|start| free < *start).min();
            let until = ends.map_or(enters, |end| end.min(enters));
            let mut place = resting_place(frame, free, until);
            let again = replayed(frame, free, until).is_some_and(|ends| ends > place);
            let mut words = for_last_time(again);
            // Who leaves for the coda in this rest keeps what he has.
            if let Some((left, when)) = jumps::leaves(part, frame, (place, enters)) {
                let behind = resting_place(frame, left, until);
                if behind < until {
                    place = behind;
                } else if !again {
                    words = format!("{when}: {order}");
                }
            }
            told.push(Announced { at: place, words, taken: at, at_end: false });
        }
        // At the head of a movement it stands like at the head of the part.
        let head = borders.iter().copied().filter(|start| (at..=enters).contains(start)).max();
        let from = head.filter(|_| borders.contains(&at)).unwrap_or(enters);
        told.push(Announced { at: from, words: name, taken: at, at_end: false });
        before = at;
    }
    told
}

/// Where in a rest stands what is to be done in it: over its first whole bar, where it has one, for there
/// nothing is left to play in the old way; else behind the last note. Where a repeat ends in the rest, behind
/// the repeat, for what is played again is played in the old way. Common practice.
pub(super) fn resting_place(frame: &[FrameBar], free: Time, enters: Time) -> Time {
    let whole = |from: Time| {
        let next = frame.partition_point(|bar| bar.start < from);
        let whole = frame.get(next).filter(|bar| bar.start + bar.length <= enters);
        whole.map(|bar| bar.start)
    };
    let behind = replayed(frame, free, enters).and_then(|ends| whole(ends.max(free)));
    behind.or_else(|| whole(free)).unwrap_or(free)
}

/// The end of the last repeat that ends behind a note, which ends at a time, and before the next: the note is
/// played again then.
pub(super) fn replayed(frame: &[FrameBar], free: Time, enters: Time) -> Option<Time> {
    let first = frame.partition_point(|bar| bar.start + bar.length < free);
    let within = frame.get(first..)?.iter().take_while(|bar| bar.start < enters);
    let ends =
        within.enumerate().filter(|(_, bar)| bar.repeat_ends).map(|(n, _)| first + n).last()?;
    let begins = frame[..=ends].iter().rev().find(|bar| bar.repeat_starts);
    let plays_in_it = begins.is_none_or(|bar| bar.start < free);
    plays_in_it.then(|| frame[ends].start + frame[ends].length)
}

/// What a player has in hand at first, where his name is that of another instrument, or of none of
/// several that he takes: what to take at the head of the first movement that he plays in, if he rests there
/// for a bar, and its name at his first note.
fn begins_on(part: &Part, frame: &[FrameBar], borders: &[Time]) -> SmallVec<[Announced; 2]> {
    let Some(enters) = part.notes.first().map(|note| note.start()) else {
        return SmallVec::new();
    };
    let hand = part.instrument_at(enters);
    let others = part.instruments.iter().any(|(_, taken)| !std::ptr::eq(*taken, hand));
    let his_own = std::ptr::eq(part.player.instrument, hand);
    if his_own && !(others && part.has_own_name()) {
        return SmallVec::new();
    }
    let since = part.instruments.iter().rev().find(|(at, _)| *at <= enters);
    let taken = since.map_or(Time::ZERO, |(at, _)| *at);
    let words = named(part, enters);
    let told = |at: Time, words: String| Announced { at, words, taken, at_end: false };
    let head = borders.iter().copied().filter(|start| *start <= enters).max().unwrap_or_default();
    let rests = resting_place(frame, head, enters) == head
        && frame[..].iter().any(|bar| bar.start == head && bar.start + bar.length <= enters);
    let order = (rests && !his_own).then(|| told(head, format!("take {words}")));
    order.into_iter().chain([told(enters, words)]).collect()
}

/// The name of the instrument in hand at a time, with its key or crook if it has a choice of them.
fn named(part: &Part, at: Time) -> String {
    let name = &part.instrument_at(at).name;
    match key_at(part, at).filter(|_| part.tuning_at(at).is_some()) {
        Some(key) => format!("{name} {key}"),
        None => name.clone(),
    }
}

/// The key, crook or tuning of somebody who needs several, at the head of the first movement that he
/// plays in.
fn begins_in(part: &Part, borders: &[Time]) -> Option<Announced> {
    let enters = part.notes.first()?.start();
    let first = part.first_instrument();
    if !std::ptr::eq(part.instrument_at(enters), first) {
        return None;
    }
    let words = first_key(part)?;
    all_keys(part).iter().find(|key| **key != words)?;
    let head = borders.iter().copied().filter(|start| *start <= enters).max();
    Some(Announced { at: head.unwrap_or_default(), words, taken: Time::ZERO, at_end: false })
}

/// The key, crook or tuning in which the first note sounds: who takes another one before he plays never
/// has the first in hand.
pub(super) fn first_key(part: &Part) -> Option<String> {
    let first = part.first_instrument();
    let enters = part.notes.first().map(|note| note.start());
    let in_hand = enters.filter(|at| std::ptr::eq(part.instrument_at(*at), first));
    key_at(part, in_hand.unwrap_or_default())
}

/// In a score at concert pitch nobody reads the key or crook in which a player begins: the name before his staff says
/// it only where two would else be called the same (common practice). Nor does it stand over his notes, which sound as
/// they are written ("in D" would be read as an order to transpose); orders to change stay, for who conducts. What
/// drums are tuned to sounds, and is said.
pub(super) fn leave_out_keys(staves: &mut [Staff], parts: &[Arc<Part>]) {
    for staff in staves.iter_mut().filter(|staff| staff.instrument.drums.is_empty()) {
        if parts.iter().filter(|part| part.full_name() == staff.name).count() < 2 {
            staff.key_name = None;
        }
        let keys = &staff.key_names;
        let is_key = |kind: &StaffDirectionKind| match kind {
            StaffDirectionKind::Change(words) => keys.iter().any(|key| **key == **words),
            _ => false,
        };
        for measure in &mut staff.measures {
            measure.directions.retain(|said| !is_key(&said.kind));
        }
    }
}

/// The order to change between two times and the name of what is then in hand; `None` if that is
/// the same.
pub(super) fn change(part: &Part, before: Time, now: Time) -> Option<(String, String)> {
    let (old, taken) = (part.instrument_at(before), part.instrument_at(now));
    if !std::ptr::eq(old, taken) {
        let name = named(part, now);
        return Some((format!("take {name}"), name));
    }
    let (drums, other) = (drums_at(part, before), drums_at(part, now));
    // F♯ and G♭ are one drum: nothing is to be tuned.
    if part.tuning_at(now) == part.tuning_at(before) && drums.map(sound) == other.map(sound) {
        return None;
    }
    let key = key_at(part, now)?;
    if let (Some(drums), Some(other)) = (drums, other) {
        let changes = taken.retuned(drums, other);
        let words: Vec<String> = changes.into_iter().map(change_of_drum).collect();
        // Where a drum joins or leaves, all notes are told.
        if !words.is_empty() && drums.len() == other.len() {
            return Some((format!("change {}", words.join(", ")), key));
        }
        return Some((format!("tune {key}"), key));
    }
    let to = key.strip_prefix("in ").unwrap_or(&key);
    Some((format!("change to {to}"), key))
}

/// What a player is told of something else that he takes.
pub(super) struct Announced {
    /// Where he is told.
    pub(super) at: Time,
    /// What he is told.
    pub(super) words: String,
    /// From when on he has it.
    pub(super) taken: Time,
    /// Does it stand at the end of the bar that ends there?
    pub(super) at_end: bool,
}

/// "D to C"; with octaves where the name alone would not say it.
fn change_of_drum((from, to): (Pitch, Pitch)) -> String {
    if from.name() == to.name() {
        return format!("{} to {}", shown(&from.to_string()), shown(&to.to_string()));
    }
    format!("{} to {}", shown(&from.name().to_string()), shown(&to.name().to_string()))
}

fn drums_at(part: &Part, time: Time) -> Option<&[Pitch]> {
    let after = part.drums.partition_point(|(from, _)| *from <= time);
    if part.instrument_at(time).drums.is_empty() {
        return None;
    }
    let drums = match part.drums.get(after.saturating_sub(1)) {
        Some((_, drums)) => drums,
        None => &part.player.drums,
    };
    (!drums.is_empty()).then_some(drums)
}

/// A key's name with the printed flat and sharp.
fn shown(name: &str) -> String {
    let mut characters = name.chars();
    let letter = characters.next().map(String::from).unwrap_or_default();
    let rest = characters.as_str();
    match rest.chars().next() {
        Some('b') => format!("{letter}♭{}", &rest[1..]),
        Some('#') => format!("{letter}♯{}", &rest[1..]),
        _ => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flats_and_sharps_are_printed_as_signs() {
        assert_eq!(shown("Bb basso"), "B♭ basso");
        assert_eq!(shown("F#"), "F♯");
        assert_eq!(shown("D"), "D");
        assert_eq!(shown(""), "");
    }

    #[test]
    fn the_drum_that_changes_is_named() {
        let said =
            |from: &str, to: &str| change_of_drum((from.parse().unwrap(), to.parse().unwrap()));
        assert_eq!(said("D3", "C3"), "D to C");
        assert_eq!(said("Bb2", "A2"), "B♭ to A");
        assert_eq!(said("F2", "F3"), "F2 to F3");
    }

    fn bars(arrangement: &crate::arrange::Arrangement) -> Vec<FrameBar> {
        crate::notate::frame::frame(&arrangement.piece.form)
    }

    fn arranged(text: &str) -> crate::arrange::Arrangement {
        let mut sources = crate::diagnostics::Sources::new();
        let root = sources.add("ferry", text);
        let (piece, _) = crate::resolve::resolve(&mut sources, root, &mut crate::resolve::NoFiles);
        crate::arrange::arrange(&piece, &piece.scorings[0])
    }

    #[test]
    fn who_is_called_otherwise_than_his_instruments_is_told_which_comes_first() {
        let arrangement = arranged(
            "piece \"Ferry\" { composer \"House copyist\" }\n\
            form { 1 metre 4/4, key C major\n 4 end }\n\
            ensemble few { era 1885\n triangle as \"Percussion\", flute 2 }\n\
            scoring few for few {\n flute.2 takes piccolo bar 3\n triangle takes cymbals bar 3\n\
            triangle writes as rhythm {\n 1: 1/2 rest x | 2: rest | 3: 1/1 rest | 4: 1/1 x | }\n}\n",
        );
        let score = crate::notate::notate(&arrangement);
        let drums = score.staves.iter().position(|staff| staff.id == "triangle").unwrap();
        assert_eq!(score.staves[drums].name, "Percussion: Triangle, Cymbals");
        let head = crate::edition::part(&score, drums).head;
        assert_eq!((&*head.name, head.also.as_deref()), ("Percussion", Some("Triangle, Cymbals")));
        let part = arrangement.parts.iter().find(|part| part.player.id == "triangle").unwrap();
        let told: Vec<_> = changes_told(part, &bars(&arrangement), &[])
            .into_iter()
            .map(|told| told.words)
            .collect();
        assert_eq!(told, ["Triangle", "take Cymbals", "Cymbals"]);
        let flute = score.staves.iter().find(|staff| staff.id == "flute.2").unwrap();
        assert!(!flute.own_name);
        assert_eq!(flute.instrument_name, "Flute 2");
    }

    #[test]
    fn who_begins_on_another_instrument_is_told_to_take_it_at_once() {
        let flute = |takes: &str, tune: &str| -> Vec<String> {
            let arrangement = arranged(&format!(
                "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
                 form {{ 1 metre 4/4, key C major\n 4 end }}\nvoice tune {{ {tune} }}\n\
                 ensemble few {{ era 1885\n flute 2\n }}\n\
                 scoring few for few {{\n flute.2 plays tune as melody\n {takes}\n}}\n"
            ));
            let part = arrangement.parts.iter().find(|part| part.player.id == "flute.2").unwrap();
            let told = changes_told(part, &bars(&arrangement), &[]).into_iter();
            told.map(|told| format!("{} {}", told.at, told.words)).collect()
        };
        let late = "1: rest 2 | 3: 1/1 C6 | 4: C6 |";
        let told = ["0/1 take Piccolo", "2/1 Piccolo"];
        assert_eq!(flute("flute.2 takes piccolo bar 2", late), told);
        assert_eq!(flute("flute.2 takes piccolo", late), told);
        // There is no bar of rest in which to take it.
        let soon = "1: 1/2 rest C6 | 2: 1/1 C6 | 3: rest 2 |";
        assert_eq!(flute("flute.2 takes piccolo", soon), ["1/2 Piccolo"]);
        // He never has it in hand.
        let there_and_back = "flute.2 takes piccolo bar 1\n flute.2 takes flute bar 2";
        assert_eq!(flute(there_and_back, late), [""; 0]);
    }

    #[test]
    fn a_part_says_which_drum_to_tune_where_it_is_tuned() {
        let text = "piece \"Ferry\" { composer \"House copyist\" }\n\
            form { 1 metre 4/4, key C major\n 4 end }\n\
            voice tune { 1: 1/1 D3 | 2: rest | 3: rest | 4: 1/1 C3 | }\n\
            ensemble few { era 1810\n timpani tuned G2, D3 }\n\
            scoring few for few {\n timpani plays tune as rhythm\n\
            timpani takes tuned G2, C3 bar 2\n timpani takes tuned G2, C3, F3 bar 4\n}\n";
        let arrangement = arranged(text);
        let part = &arrangement.parts[0];
        let bar = |index: usize| arrangement.piece.form.bars[index].start;
        assert_eq!(key_at(part, Time::ZERO).unwrap(), "in G, D");
        assert_eq!(all_keys(part), ["in G, D", "in G, C, F"]);
        // The second tuning comes before he plays again: only the last one is told.
        let expected = [(bar(0), "in G, D"), (bar(1), "tune in G, C, F"), (bar(3), "in G, C, F")];
        let told = changes_told(part, &bars(&arrangement), &[]);
        assert_eq!(told.iter().map(|told| (told.at, &*told.words)).collect::<Vec<_>>(), expected);
    }

    #[test]
    fn drums_that_sound_alike_under_other_names_are_not_tuned() {
        let text = "piece \"Ferry\" { composer \"House copyist\" }\n\
            form { 1 metre 4/4, key C major\n 3 end }\n\
            voice tune { 1: 1/1 Db3 | 2: rest | 3: 1/1 C#3 | }\n\
            ensemble few { era 1810\n timpani tuned Gb2, Db3 }\n\
            scoring few for few {\n timpani plays tune as rhythm\n\
            timpani takes tuned F#2, C#3 bar 2\n}\n";
        let arrangement = arranged(text);
        let told = changes_told(&arrangement.parts[0], &bars(&arrangement), &[]);
        let words: Vec<&str> = told.iter().map(|told| &*told.words).collect();
        assert!(!words.iter().any(|words| words.contains("tune")), "{words:?}");
        assert_eq!(words, [""; 0], "nor is there another key to begin in");
        assert_eq!(all_keys(&arrangement.parts[0]), ["in G♭, D♭"]);
        let retuned = arranged(&text.replace("F#2, C#3 bar", "F#2, B2, C#3 bar"));
        let told = changes_told(&retuned.parts[0], &bars(&retuned), &[]);
        assert!(told.iter().any(|told| told.words.ends_with("in F♯, B, C♯")));
        assert_eq!(all_keys(&retuned.parts[0]), ["in G♭, D♭", "in F♯, B, C♯"], "as he is told");
    }

    #[test]
    fn crooks_are_named_in_the_order_in_which_they_are_played() {
        use crate::notate::testing::{Fixture, natural_horn};
        let horn = |notes: &str| {
            let fixture = Fixture::new(&["4/4"; 4]).instrument(natural_horn());
            let score = fixture.crook("0/1", "D").crook("1/1", "F").crook("2/1", "D").notes(notes);
            score.score().staves[0].key_names.clone()
        };
        assert_eq!(horn("0/1 1/1 D4, 1/1 1/1 C4, 2/1 1/1 D4"), ["in D", "in F"]);
        assert_eq!(horn("1/1 1/1 C4, 2/1 1/1 D4"), ["in F", "in D"]);
        // Nobody brings what he does not play on.
        assert_eq!(horn("3/1 1/1 D4"), ["in D"]);
        assert_eq!(horn("0/1 1/1 D4, 3/1 1/1 D4"), ["in D"]);
        let silent = Fixture::new(&["4/4"; 2]).instrument(natural_horn());
        let silent = silent.crook("0/1", "D").crook("1/1", "F").score();
        assert_eq!(silent.staves[0].key_names, ["in D"]);
    }

    #[test]
    fn what_is_taken_between_movements_is_named_at_the_head_of_the_next() {
        use crate::notate::testing::{Fixture, natural_horn};
        let parts = Fixture::new(&["4/4"; 4])
            .instrument(natural_horn())
            .crook("0/1", "D")
            .crook("1/1", "F")
            .notes("0/1 1/1 D4, 3/1 1/1 C4")
            .arrangement();
        let part = &parts.parts[0];
        let bar = |index: i64| Time::of(index, 1);
        let told = |borders: &[Time]| -> Vec<(Time, String)> {
            changes_told(part, &bars(&parts), borders)
                .into_iter()
                .map(|told| (told.at, told.words))
                .collect()
        };
        let said = |name: i64| {
            let all = [(0, "in D"), (1, "change to F"), (name, "in F")];
            all.map(|(at, words)| (bar(at), words.to_owned()))
        };
        assert_eq!(told(&[]), said(3));
        assert_eq!(told(&[bar(1)]), said(1));
        assert_eq!(told(&[bar(1), bar(2)]), said(2), "he rests through the movement between");
        // In the rest before the end of a movement, not over the next one.
        let shorter = Fixture::new(&["4/4"; 4])
            .instrument(natural_horn())
            .crook("0/1", "D")
            .crook("1/1", "F")
            .notes("0/1 3/4 D4, 3/1 1/1 C4")
            .arrangement();
        let told = changes_told(&shorter.parts[0], &bars(&shorter), &[bar(1)]);
        let order = told.iter().find(|told| told.words == "change to F").map(|told| told.at);
        assert_eq!(order, Some(Time::of(3, 4)));
    }

    #[test]
    fn an_order_does_not_stand_in_what_is_played_again() {
        let horn = |form: &str, tune: &str, bar: u32| -> Vec<String> {
            let arrangement = arranged(&format!(
                "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
                 form {{ 1 metre 4/4, key C major\n {form}\n 7 end }}\n\
                 voice tune {{ {tune} }}\nensemble few {{ era 1810\n horn 2 crook D\n }}\n\
                 scoring few for few {{\n horn.1 plays tune as rhythm\n horn.1 takes crook F bar {bar}\n}}\n"
            ));
            let told = changes_told(&arrangement.parts[0], &bars(&arrangement), &[]);
            let bars = &arrangement.piece.form.bars;
            let number = |at: Time| bars.iter().rev().find(|bar| bar.start <= at).unwrap().number;
            told.iter().map(|told| format!("{} {}", number(told.at), told.words)).collect()
        };
        let tune = "1: 1/1 D4 | 2: D4 | 3: 1/2 D4 rest | 4: rest | 5: 1/1 F4 | 6: F4 |";
        let said = ["1 in D", "4 change to F", "5 in F"];
        // Behind the repeat, or in a rest within it that nobody plays over again.
        assert_eq!(horn("1..3 repeat", tune, 5), said);
        // No bar of rest is left behind it.
        let said = ["1 in D", "4 last time: change to F", "5 in F"];
        assert_eq!(horn("1..4 repeat", tune, 5), said);
        let said = ["1 in D", "4 change to F", "5 in F"];
        assert_eq!(horn("4..6 repeat", tune, 5), said, "it begins behind the note");
    }

    #[test]
    fn at_concert_pitch_names_say_no_key_but_where_two_would_be_called_the_same() {
        let names = |players: &str| {
            let text = format!(
                "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
                 form {{ 1 metre 4/4, key C major\n 4 end }}\n\
                 voice tune {{ 1: 1/1 C4 | 2: C4 | 3: rest | 4: 1/1 C4 | }}\n\
                 ensemble few {{ era 1810\n {players} }}\n\
                 scoring few for few {{\n horn.1 plays tune as melody\n horn.1 takes crook F bar 4\n}}\n"
            );
            let score = crate::notate::notate_at(&arranged(&text), crate::notate::Pitches::Concert);
            let parts = crate::edition::full_score(&score).parts;
            let names = parts.into_iter().map(|part| part.name).collect::<Vec<_>>();
            let horn = score.staves.iter().position(|staff| staff.id == "horn.1").unwrap();
            (names, crate::notate::testing::directions(&score, horn))
        };
        let horns = "horn 2 crook D";
        let (all, told) =
            names(&format!("clarinet in A, cor-anglais\n {horns}\n timpani tuned G2, C3"));
        assert_eq!(all, ["Cor anglais", "Clarinet", "Horn 1", "Horn 2", "Timpani in G, C"]);
        assert_eq!(told, "3 0/1 \"change to F\"", "the order alone");
        let alike = "clarinet-1 in A as \"Clarinet\", clarinet-2 in C as \"Clarinet\"";
        let (all, _) = names(&format!("{alike}\n {horns}"));
        assert_eq!(all[..2], ["Clarinet in A", "Clarinet in C"]);
    }

    #[test]
    fn an_order_stands_behind_the_last_note_and_the_name_at_the_entry() {
        use crate::notate::testing::{Fixture, directions, natural_horn};
        let score = Fixture::new(&["4/4"; 4])
            .instrument(natural_horn())
            .crook("0/1", "D")
            .crook("3/1", "F")
            .notes("0/1 1/1 D4, 3/1 1/1 C4")
            .score();
        assert_eq!(directions(&score, 0), "1 0/1 \"in D\", 2 0/1 \"change to F\", 4 0/1 \"in F\"");
        assert_eq!(score.staves[0].key_names, ["in D", "in F"]);
    }

    #[test]
    fn an_order_keeps_away_from_the_last_notes() {
        use crate::notate::testing::{Fixture, directions, natural_horn};
        let told = |notes: &str| {
            let horn = Fixture::new(&["6/8"; 4]).instrument(natural_horn());
            directions(&horn.crook("0/1", "G").crook("9/4", "E").notes(notes).score(), 0)
        };
        let expected = |at: &str| format!("1 0/1 \"in G\", {at} \"change to E\", 4 0/1 \"in E\"");
        // Over the bar of rest, or behind the last note where there is none.
        assert_eq!(told("0/1 7/8 G4, 9/4 3/4 E4"), expected("3 0/1"));
        assert_eq!(told("0/1 1/8 G4, 3/2 5/8 G4, 9/4 3/4 E4"), expected("3 5/8"));
    }

    #[test]
    fn a_crook_on_which_nothing_is_played_is_named_nowhere_before_the_others() {
        use crate::notate::testing::{Fixture, directions, natural_horn};
        let horn = Fixture::new(&["3/4"; 4]).instrument(natural_horn());
        let horn = horn.crook("0/1", "Eb").crook("3/2", "C basso").crook("9/4", "Eb");
        let score = horn.notes("3/2 3/4 C4, 9/4 3/4 Eb4").score();
        assert_eq!(score.staves[0].key_name.as_deref(), Some("in C basso"));
        assert_eq!(directions(&score, 0), "1 0/1 \"in C basso\", 4 0/1 \"in E♭\"");
        let name = |edition: &crate::edition::Edition| edition.parts[0].name.clone();
        let score_pages = crate::edition::full_score(&score);
        assert!(name(&score_pages).ends_with(" in C basso"), "{}", name(&score_pages));
        assert!(score_pages.staves[0].bars[0].directions.is_empty(), "the name says it");
    }
}
