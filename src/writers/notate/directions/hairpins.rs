//! Hairpins as one player has them.

use crate::arrange::{PackedNote, Part};
use crate::diagnostics::Span;
use crate::music::{Time, says_growth, says_how_it_goes};
use crate::notate::FrameBar;
use crate::resolve::{Direction, DirectionKind, Dynamic, Mark, Technique, level_at};

use super::entries::FORGOTTEN_LEVEL;
use super::{bar_at, enters_after_long_rest, whole_bar};

/// A hairpin as it is printed.
pub(super) struct Hairpin {
    pub(super) from: Time,
    pub(super) to: Time,
    /// Where it begins and ends for those who play all of it.
    pub(super) since: Time,
    pub(super) until: Time,
    pub(super) grows: bool,
    pub(super) source: Span,
}

/// The hairpins of a player.
pub(super) struct Hairpins<'a> {
    part: &'a Part,
    frame: &'a [FrameBar],
    /// When the strings are plucked, and when they are bowed again.
    plucking: Vec<(Time, bool)>,
    /// Those that are printed, in order.
    pub(super) printed: Vec<Hairpin>,
    /// How far one that is not printed has come at the single stroke that the player has under it.
    pub(super) on_the_way: Vec<Goal>,
}

impl<'a> Hairpins<'a> {
    pub(super) fn new(part: &'a Part, frame: &'a [FrameBar]) -> Hairpins<'a> {
        let plucking = part.directions.iter().filter_map(|said| match said.kind {
            DirectionKind::Technique(Technique::Pizzicato) => Some((said.at, true)),
            DirectionKind::Technique(Technique::Arco) => Some((said.at, false)),
            _ => None,
        });
        let plucking = plucking.collect();
        Hairpins { part, frame, plucking, printed: Vec::new(), on_the_way: Vec::new() }
    }

    /// Clips a hairpin to where the player sounds, and to the one before it; where they rest for a bar
    /// or more it is broken. Who has less than half of one that grows, and a bar of it at the most, and then rests, is
    /// led nowhere by it and does without (our heuristic). So does who has a single stroke under it that dies away by itself: after
    /// a long rest he is told instead how far it has come there. False if nothing is left.
    pub(super) fn collect(&mut self, hairpin: &Hairpin) -> bool {
        let Hairpin { from, to, grows, .. } = *hairpin;
        let (notes, frame) = (&self.part.notes, self.frame);
        let first = notes.partition_point(|note| note.end() <= from);
        let after_last = notes.partition_point(|note| note.start() < to);
        let mut any = false;
        let mut index = first;
        while index < after_last {
            let mut last = index;
            while last + 1 < after_last && !rests_between(&notes[last], &notes[last + 1], frame) {
                last += 1;
            }
            let begin = from.max(notes[index].start());
            let end = match notes.get(after_last) {
                Some(next) if last + 1 == after_last && is_goal(&notes[last], next, to, frame) => {
                    to
                }
                _ => to.min(notes[last].end()),
            };
            let breaks_off = || {
                let next = notes.get(after_last);
                let again = next.is_some_and(|next| !rests_between(&notes[last], next, frame));
                let little =
                    (end - begin) * 2 < to - from && end - begin <= whole_bar(frame, begin);
                last + 1 == after_last && end < to && !again && little
            };
            if last == index && self.dies_away(&notes[index]) {
                any |= self.tell_on_the_way(notes[index].start(), hairpin);
            } else if grows && breaks_off() {
                break;
            } else {
                let played = Hairpin { from: begin, to: end, ..*hairpin };
                any |= begin < end && add(&mut self.printed, played);
            }
            index = last + 1;
        }
        any
    }

    /// Can its player not change a note once it sounds: is it struck or plucked, and once only?
    fn dies_away(&self, note: &PackedNote) -> bool {
        let said = self.plucking.partition_point(|(at, _)| *at <= note.start());
        let plucked = said.checked_sub(1).is_some_and(|said| self.plucking[said].1);
        let attached = note.attached();
        let again =
            attached.tremolo > 0 || attached.of_two.is_some() || attached.marks.has(Mark::Trill);
        (plucked || !self.part.instrument_at(note.start()).sustains()) && !again
    }

    /// Notes how loud a stroke is amid a hairpin, if it enters after a long rest, if it is known where the hairpin comes from
    /// and leads to, and if it has come to another degree than that where it began.
    fn tell_on_the_way(&mut self, at: Time, hairpin: &Hairpin) -> bool {
        let &Hairpin { since, until, grows, source, .. } = hairpin;
        let levels = level_at(&self.part.directions, since).zip(level_told(self.part, until));
        let Some(((from, _), (to, _))) = levels else { return false };
        let (Some(low), Some(high)) = (from.degree(), to.degree()) else { return false };
        let late = since < at && enters_after_long_rest(&self.part.notes, at, self.frame);
        if !late || (low < high) != grows {
            return false;
        }
        let Some(degree) = on_the_way((low, high), at - since, until - since) else { return false };
        let level = Dynamic::WORDS[usize::from(degree)].0;
        if degree != low {
            self.on_the_way.push(Goal { at, level, source });
        }
        degree != low
    }

    /// Where words are written that say how a hairpin goes of which this player has nothing: who enters when it is over
    /// is not told them, nor who has a single stroke under it. Hairpins that are told in words begin at the given times.
    pub(super) fn words_of_none(&self, in_words: &[Time]) -> Vec<Span> {
        let directions = &self.part.directions;
        let has = |from: Time, to: Time| {
            let first = self.printed.partition_point(|pin| pin.to <= from);
            in_words.contains(&from) || self.printed.get(first).is_some_and(|pin| pin.from < to)
        };
        let mut of_none = Vec::new();
        for pin in directions.iter() {
            let DirectionKind::Hairpin { to, .. } = pin.kind else { continue };
            if has(pin.at, to) {
                continue;
            }
            let first = directions.partition_point(|said| said.at < pin.at);
            let there = directions[first..].iter().take_while(|said| said.at == pin.at);
            let words = there.filter(|said| match &said.kind {
                DirectionKind::Words(words) => says_how_it_goes(words),
                _ => false,
            });
            of_none.extend(words.map(|said| said.span));
        }
        of_none
    }
}

/// Does the second of two notes stand where a hairpin leads, after a rest of a beat at the most? The hairpin goes on
/// over so short a rest.
fn is_goal(note: &PackedNote, next: &PackedNote, to: Time, frame: &[FrameBar]) -> bool {
    let beat = frame[bar_at(frame, next.start())].metre.beat();
    next.start() == to && to > note.end() && to - note.end() <= beat
}

/// Is there a rest of a bar or more between two notes?
fn rests_between(note: &PackedNote, next: &PackedNote, frame: &[FrameBar]) -> bool {
    let end = note.end();
    next.start() > end && next.start() - end >= frame[bar_at(frame, end)].length
}

fn add(hairpins: &mut Vec<Hairpin>, hairpin: Hairpin) -> bool {
    let Hairpin { from, to, until, grows, .. } = hairpin;
    if let Some(before) = hairpins.last_mut()
        && before.to > from
    {
        if before.grows == grows {
            before.to = before.to.max(to);
            before.until = before.until.max(until);
            return true;
        }
        before.to = from;
        before.until = from;
        if before.to <= before.from {
            hairpins.pop();
        }
    }
    hairpins.push(hairpin);
    true
}

/// The dynamic that holds where a hairpin begins to be played: who enters with it after a rest must know
/// from where it leads (common practice). `None` where another hairpin has led elsewhere meanwhile.
pub(super) fn level_before(part: &Part, at: Time) -> Option<(Dynamic, Span)> {
    let (level, said) = level_at(&part.directions, at)?;
    let led = part.directions.iter().any(|other| {
        matches!(other.kind, DirectionKind::Hairpin { to, .. } if other.at >= said.at && to <= at)
    });
    (!led).then_some((level, said.span))
}

/// The dynamic to tell a player who enters at a time, for whom one stands that was told before: where a hairpin has led
/// from there to the next dynamic meanwhile, that one. (Our heuristic; common practice is that he is told one.)
pub(super) fn level_at_entry(part: &Part, told: &Direction, at: Time) -> Option<(Dynamic, Span)> {
    let DirectionKind::Dynamic(before) = told.kind else { return None };
    Some(led_to(part, told.at, at, before).unwrap_or((before, told.span)))
}

/// Where the last hairpin between two times has led, from the dynamic that was told at the first one; `None` where there
/// is none, where it is not over at the second one, or where it is not known whither it leads.
fn led_to(part: &Part, told: Time, at: Time, before: Dynamic) -> Option<(Dynamic, Span)> {
    let directions = &part.directions;
    let first = directions.partition_point(|said| said.at < told);
    let since = directions[first..].iter().take_while(|said| said.at < at);
    let pins = since.filter_map(|said| match said.kind {
        DirectionKind::Hairpin { grows, to } => Some((grows, to)),
        _ => None,
    });
    let (grows, to) = pins.last().filter(|(_, to)| *to <= at)?;
    let next = directions.partition_point(|said| said.at < to);
    let mut levels = directions[next..].iter().filter_map(|said| match said.kind {
        DirectionKind::Dynamic(level) => Some((level.lasting()?, said.span)),
        _ => None,
    });
    let (goal, source) = levels.next()?;
    let from = before.lasting()?;
    (from != goal && (from < goal) == grows).then_some((goal, source))
}

/// The degree to which a hairpin between two has come after a part of its time.
fn on_the_way((from, to): (u8, u8), gone: Time, all: Time) -> Option<u8> {
    let steps = i64::from(from.abs_diff(to));
    let steps = u8::try_from((gone * (2 * steps) + all).div_floor(all * 2)).ok()?;
    Some(if from < to { from + steps } else { from - steps })
}

/// Is what is told at a time the goal of a hairpin that an instrument without shades does not have, and does it hold
/// for less than a bar? Nobody would know what it is for.
pub(super) fn is_passing_goal(part: &Part, frame: &[FrameBar], at: Time) -> bool {
    if part.instrument_at(at).grades() {
        return false;
    }
    let said = part.directions.iter();
    let leads = said.clone().any(
        |said| matches!(said.kind, DirectionKind::Hairpin { to, .. } if to == at && said.at < at),
    );
    let mut next =
        said.filter(|said| matches!(said.kind, DirectionKind::Dynamic(_)) && said.at > at);
    let soon = next.next().is_some_and(|next| next.at - at < frame[bar_at(frame, at)].length);
    leads && soon
}

/// A level that is told exactly there.
fn level_told(part: &Part, at: Time) -> Option<(Dynamic, Span)> {
    let (level, said) = level_at(&part.directions, at)?;
    (said.at == at).then_some((level, said.span))
}

/// Bars behind a word of growth within which a hairpin says the same again. Our heuristic.
const SAID_AGAIN: i64 = 2;

/// Has the player been told in words what a hairpin says ("crescendo"), there or shortly before, and no other level
/// since? One of the two is enough, and the arranger's word says it to him.
pub(super) fn is_in_words(
    part: &Part,
    frame: &[FrameBar],
    placed: &[(Time, usize)],
    hairpin: &Hairpin,
) -> bool {
    let before = placed.partition_point(|(at, _)| *at <= hairpin.from);
    let mut said = placed[..before].iter().rev().map(|(at, index)| (*at, &part.directions[*index]));
    let bar = frame[bar_at(frame, hairpin.from)].length;
    let word = said.clone().find_map(|(at, said)| match &said.kind {
        DirectionKind::Words(words) => Some((at, says_growth(words)?)),
        _ => None,
    });
    let Some((told, grows)) = word else { return false };
    let goes_on = said.all(|(at, said)| {
        at <= told
            || match said.kind {
                DirectionKind::Dynamic(level) => level.lasting().is_none(),
                DirectionKind::Hairpin { grows, .. } => grows == hairpin.grows,
                _ => true,
            }
    });
    grows == hairpin.grows && goes_on && hairpin.from - told <= bar * SAID_AGAIN
}

/// What a hairpin that grows has come to, under the last note before a rest.
pub(super) struct Goal {
    pub(super) at: Time,
    pub(super) level: Dynamic,
    pub(super) source: Span,
}

/// The goal of a hairpin that grows, for whoever rests where the others read it and is not told it at his next
/// note, after less than two bars: it stands under his last note, which does not grow any more, so that he knows how
/// far he has to go (our heuristic). `None` if it leads to no louder level, if that note is longer than a quarter
/// of it, or if a rest of a bar or more parts him from it.
pub(super) fn goal_before_rest(part: &Part, frame: &[FrameBar], pin: &Hairpin) -> Option<Goal> {
    let notes = &part.notes;
    let (level, source) = level_told(part, pin.until).filter(|_| pin.grows)?;
    if level_at(&part.directions, pin.from).is_some_and(|(before, _)| before >= level) {
        return None;
    }
    let next = notes.get(notes.partition_point(|note| note.end() <= pin.until));
    if next.is_some_and(|next| next.start() <= pin.until) {
        return None;
    }
    let last = &notes[notes.partition_point(|note| note.start() < pin.until).checked_sub(1)?];
    if (last.end() - last.start()) * 4 > pin.until - pin.from
        || pin.until - last.end() >= frame[bar_at(frame, last.start())].length
    {
        return None;
    }
    let soon = whole_bar(frame, last.start()) * FORGOTTEN_LEVEL;
    let soon = next.filter(|next| next.start() - last.end() < soon);
    let told = soon.and_then(|next| level_at(&part.directions, next.start()));
    let told = told.is_some_and(|(told, _)| told == level);
    (!told).then_some(Goal { at: last.start(), level, source })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, directions};

    /// Four bars: p, a hairpin through the second and third, mf.
    fn told(notes: &str, grows: bool, more: Option<(&str, DirectionKind)>) -> String {
        let (start, goal) =
            if grows { (Dynamic::P, Dynamic::Mf) } else { (Dynamic::Mf, Dynamic::P) };
        let pin = DirectionKind::Hairpin { grows, to: Time::of(3, 1) };
        let mut said = vec![("0/1", DirectionKind::Dynamic(start)), ("1/1", pin)];
        said.extend(more);
        said.push(("3/1", DirectionKind::Dynamic(goal)));
        // By their bars.
        said.sort_by_key(|(at, _)| *at);
        let fixture = Fixture::new(&["4/4"; 5]).notes(notes);
        let all = said.into_iter().fold(fixture, |all, (at, said)| all.direction(at, said));
        directions(&all.score(), 0)
    }

    #[test]
    fn words_of_a_hairpin_are_for_those_who_have_it() {
        let said = |words: &str, notes: &str| {
            told(notes, true, Some(("1/1", DirectionKind::words(words))))
        };
        let all = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 1/1 E5, 3/1 1/1 F5";
        let whole = "1 0/1 p, 2 0/1 \"poco a poco\", 2 0/1 <, 3 1/1 end, 4 0/1 mf";
        assert_eq!(said("poco a poco", all), whole);
        let over = "0/1 1/1 C5, 3/1 1/1 D5";
        assert_eq!(said("poco a poco", over), "1 0/1 p, 4 0/1 mf");
        // Too little of it to have one.
        let little = "0/1 1/1 C5, 1/1 1/4 D5, 4/1 1/1 D5";
        assert_eq!(said("poco a poco", little), "1 0/1 p, 5 0/1 mf");
        for other in ["dolce", "poco rit.", "molto espressivo"] {
            let read = format!("1 0/1 p, 2 0/1 \"{other}\", 5 0/1 mf");
            assert_eq!(said(other, little), read, "what says more is everybody's");
        }
    }

    #[test]
    fn who_enters_after_a_hairpin_is_told_where_it_has_led() {
        let entry = |grows: bool, next: Dynamic| {
            let fixture = Fixture::new(&["4/4"; 6]).notes("3/1 1/1 C5, 4/1 1/1 D5, 5/1 1/1 C5");
            let fixture = fixture.direction("0/1", DirectionKind::Dynamic(Dynamic::P));
            let pin = DirectionKind::Hairpin { grows, to: Time::of(2, 1) };
            let fixture = fixture.direction("1/1", pin);
            let fixture = fixture.direction("5/1", DirectionKind::Dynamic(next));
            directions(&fixture.score(), 0)
        };
        assert_eq!(entry(true, Dynamic::Mf), "4 0/1 mf");
        assert_eq!(entry(false, Dynamic::Pp), "4 0/1 pp");
        assert_eq!(entry(false, Dynamic::Mf), "4 0/1 p, 6 0/1 mf");
    }

    #[test]
    fn a_hairpin_goes_on_over_a_rest_of_a_beat_to_the_note_where_it_leads() {
        let beat = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 3/1 1/1 F5";
        assert_eq!(told(beat, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end, 4 0/1 mf");
        let half = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 1/2 E5, 3/1 1/1 F5";
        assert_eq!(told(half, true, None), "1 0/1 p, 2 0/1 <, 3 1/2 end, 4 0/1 mf");
    }

    #[test]
    fn who_rests_where_a_hairpin_arrives_reads_its_goal_under_his_last_note() {
        let rests = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/4 F5, 9/2 1/4 G5";
        let louder = Some(("4/1", DirectionKind::Dynamic(Dynamic::Ff)));
        let goal = "1 0/1 p, 2 0/1 <, 3 3/4 end, 3 3/4 mf, 5 1/2 ff";
        assert_eq!(told(rests, true, louder), goal, "he never plays at its goal");
        assert_eq!(told(rests, false, None), "1 0/1 mf, 2 0/1 >, 3 1/1 end, 5 1/2 p", "it fades");
        let no_more = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/4 F5";
        assert_eq!(told(no_more, true, None), "1 0/1 p, 2 0/1 <, 3 3/4 end, 3 3/4 mf");
        // Who is there, or soon enters at that level, is told it there.
        let stays = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/4 F5, 3/1 1/4 G5";
        assert_eq!(told(stays, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end, 4 0/1 mf");
        let soon = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/8 F5, 13/4 1/4 G5";
        assert_eq!(told(soon, true, None), "1 0/1 p, 2 0/1 <, 3 7/8 end, 4 1/4 mf");
        // After a bar and a half too: under his last note he would be there before the others.
        assert_eq!(told(rests, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end, 5 1/2 mf");
        // On a long note he goes on growing.
        let long = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 1/1 E5";
        assert_eq!(told(long, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end");
    }

    #[test]
    fn what_a_word_says_a_hairpin_does_not_say_again() {
        let notes = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 1/1 E5, 3/1 1/1 F5";
        let words = |words: &str, at| told(notes, true, Some((at, DirectionKind::words(words))));
        let once = "1 0/1 \"crescendo\", 1 0/1 p, 4 0/1 mf";
        assert_eq!(words("crescendo", "0/1"), once);
        assert_eq!(
            words("poco a poco cresc.", "1/1"),
            "1 0/1 p, 2 0/1 \"poco a poco cresc.\", 4 0/1 mf"
        );
        let both = "1 0/1 p, 2 0/1 \"dolce\", 2 0/1 <, 3 1/1 end, 4 0/1 mf";
        assert_eq!(words("dolce", "1/1"), both);
        assert!(words("dim.", "0/1").contains('<'));
        // What has come to a level begins anew.
        let fixture = Fixture::new(&["4/4"; 5]).notes(notes);
        let pin = DirectionKind::Hairpin { grows: true, to: Time::of(3, 1) };
        let said = [
            ("0/1", DirectionKind::words("crescendo")),
            ("1/1", DirectionKind::Dynamic(Dynamic::P)),
            ("1/1", pin),
        ];
        let said = said.into_iter().fold(fixture, |all, (at, said)| all.direction(at, said));
        assert!(directions(&said.score(), 0).contains('<'));
    }

    #[test]
    fn a_harpsichord_is_not_told_a_goal_that_passes() {
        let notes = "0/1 1/1 C4&E5, 1/1 1/1 D4&F5, 2/1 1/2 C4&E5, 5/2 1/2 D4&F5, 3/1 1/1 C4&E5";
        let told = |next: &str| {
            let fixture = Fixture::new(&["4/4"; 5]).part(crate::notate::testing::harpsichord());
            let pin = DirectionKind::Hairpin { grows: true, to: Time::of(5, 2) };
            let said = [
                ("0/1", DirectionKind::Dynamic(Dynamic::P)),
                ("1/1", pin),
                ("5/2", DirectionKind::Dynamic(Dynamic::Mp)),
                (next, DirectionKind::Dynamic(Dynamic::P)),
            ];
            let fixture = fixture.notes(notes);
            let all = said.into_iter().fold(fixture, |all, (at, said)| all.direction(at, said));
            directions(&all.score(), 1)
        };
        assert_eq!(told("3/1"), "1 0/1 p");
        assert_eq!(told("4/1"), "1 0/1 p, 3 1/2 mp");
    }

    #[test]
    fn one_stroke_that_dies_away_has_no_hairpin() {
        use crate::notate::testing::{bass_drum, cello, harp};
        let told = |fixture: Fixture, grows: bool| {
            let (start, goal) =
                if grows { (Dynamic::P, Dynamic::F) } else { (Dynamic::F, Dynamic::P) };
            let pin = DirectionKind::Hairpin { grows, to: Time::of(3, 1) };
            let fixture = fixture.direction("0/1", DirectionKind::Dynamic(start));
            let fixture = fixture.direction("1/1", pin);
            directions(&fixture.direction("3/1", DirectionKind::Dynamic(goal)).score(), 0)
        };
        let of = |instrument| Fixture::new(&["4/4"; 6]).instrument(instrument);
        let drum = |notes: &str| of(bass_drum()).notes(notes);
        let one = "0/1 1/4 x, 1/1 1/4 x, 4/1 1/4 x";
        assert_eq!(told(drum(one), false), "1 0/1 f, 5 0/1 p");
        let fades = "1 0/1 f, 2 0/1 >, 2 1/4 end, 5 0/1 p";
        assert_eq!(told(drum(one).tremolo(1, 3), false), fades, "a roll");
        let two = "0/1 1/4 x, 1/1 1/4 x, 3/2 1/4 x, 4/1 1/4 x";
        assert_eq!(told(drum(two), false), "1 0/1 f, 2 0/1 >, 2 3/4 end, 5 0/1 p");
        let notes = "0/1 1/4 C3, 1/1 1/4 C3, 4/1 1/4 C3";
        assert_eq!(told(of(harp()).notes(notes), false), "1 0/1 f, 5 0/1 p");
        assert_eq!(told(of(cello()).notes(notes), false), fades);
        let plucked = of(cello())
            .notes(notes)
            .direction("0/1", DirectionKind::Technique(crate::resolve::Technique::Pizzicato));
        assert_eq!(told(plucked, false), "1 0/1 pizz., 1 0/1 f, 5 0/1 p");
        // Amid the hairpin the stroke is told how far it has come.
        let amid = "0/1 1/4 x, 2/1 1/4 x, 3/1 1/4 x";
        assert_eq!(told(drum(amid), true), "1 0/1 p, 3 0/1 mf, 4 0/1 f");
        let soon = "0/1 1/4 x, 3/4 1/4 x, 3/2 1/4 x, 4/1 1/4 x";
        assert_eq!(told(drum(soon), true), "1 0/1 p, 5 0/1 f");
    }
}
