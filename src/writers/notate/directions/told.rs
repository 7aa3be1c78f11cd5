//! What a player has been told last, by whatever way he comes to a place.
//!
//! A page is read from left to right, but played in another order: to a second ending one comes from before the first,
//! to the beginning of a repeat from its end, to a coda from where a sign says so. What was said in between is not
//! known there. So a dynamic counts as known only if all ways to a place have told it, and so does the page as it
//! stands, since the eye goes that way. Where they differ, the note after the jump says what holds by the page. The
//! same goes for plucking and for mutes.

use crate::arrange::PackedNote;
use crate::diagnostics::Span;
use crate::music::Time;
use crate::notate::StaffDirectionKind;
use crate::resolve::{Directions, Dynamic, Form, Piece, Technique};

use super::{Page, begins_note, enters_after_long_rest, mute_order, place, way};

/// What all players are told, and the order in which they play what is printed.
pub(in crate::notate) struct Told<'a> {
    everybody: &'a Directions,
    /// From where to where they play without a jump, in order; nothing where they play as it is printed.
    stretches: Vec<(Time, Time)>,
}

impl<'a> Told<'a> {
    pub(in crate::notate) fn new(piece: &'a Piece) -> Told<'a> {
        let mut stretches = stretches(&piece.form);
        if stretches.len() < 2 {
            stretches.clear();
        }
        Told { everybody: &piece.dynamics, stretches }
    }

    /// Is everybody told another level at a time than one player is?
    fn contradicts(&self, at: Time, level: Dynamic) -> bool {
        let general = self.everybody.level_at(at);
        general.is_some_and(|(general, said)| said.at == at && general != level)
    }
}

fn stretches(form: &Form) -> Vec<(Time, Time)> {
    let mut stretches: Vec<(Time, Time)> = Vec::new();
    for index in form.playing_order() {
        let bar = &form.bars[index];
        let to = bar.start + bar.length;
        match stretches.last_mut() {
            Some(last) if last.1 == bar.start => last.1 = to,
            _ => stretches.push((bar.start, to)),
        }
    }
    stretches
}

/// What is said at one place, each with where it is written.
#[derive(Default)]
pub(super) struct Now<'a> {
    /// The dynamic from here on.
    pub(super) steady: Option<(Dynamic, Span)>,
    /// A stress on the note here, or a forte-piano.
    pub(super) stress: Option<(Dynamic, Span)>,
    pub(super) ways: [Option<(Technique, Span)>; 2],
    pub(super) words: Vec<(&'a str, Span)>,
    pub(super) hairpin: bool,
}

impl Now<'_> {
    pub(super) fn take(
        &mut self,
        (dynamic, source): (Dynamic, Span),
        given: Time,
        at: Time,
        notes: &[PackedNote],
    ) {
        match dynamic {
            Dynamic::Sf | Dynamic::Sfz => {
                if given == at && begins_note(notes, at) {
                    self.stress = Some((dynamic, source));
                }
            }
            Dynamic::Fp if given == at => {
                (self.stress, self.steady) = (Some((dynamic, source)), None);
            }
            Dynamic::Fp => self.steady = Some((Dynamic::P, source)),
            steady => {
                self.steady = Some((steady, source));
                self.stress = self.stress.filter(|(stress, _)| *stress != Dynamic::Fp);
            }
        }
    }
}

/// What a player knows at a place.
#[derive(Clone, Copy)]
struct Known {
    /// The level, and where it is written.
    level: Option<(Dynamic, Span)>,
    /// Plucked or bowed; muted or not: and where it is written, if it is.
    ways: [Option<(Technique, Option<Span>)>; 2],
}

/// Who begins knows of no level, bows, and has no mute on.
const NOTHING: Known =
    Known { level: None, ways: [Some((Technique::Arco, None)), Some((Technique::Unmuted, None))] };

impl Known {
    fn hear(&mut self, now: &Now) {
        for (technique, source) in now.ways.into_iter().flatten() {
            self.ways[way(technique)] = Some((technique, Some(source)));
        }
        self.level = now.steady.or(self.level);
        if let Some((Dynamic::Fp, source)) = now.stress {
            self.level = Some((Dynamic::P, source));
        }
        if now.hairpin {
            self.level = None;
        }
    }

    /// What is known whether one comes by this way or by that.
    fn either(self, other: Known) -> Known {
        let same =
            |(level, _): &(Dynamic, Span)| other.level.is_some_and(|(also, _)| also == *level);
        let ways = [0, 1].map(|way| self.ways[way].filter(|(technique, _)| other.does(*technique)));
        Known { level: self.level.filter(same), ways }
    }

    /// Does he know that he plays so?
    fn does(&self, technique: Technique) -> bool {
        self.ways[way(technique)].is_some_and(|(known, _)| known == technique)
    }

    /// Prints what is said at each place; the last place before them that is reached from elsewhere too is given.
    fn print_all(
        &mut self,
        groups: &[(Time, Now)],
        (told, reached): (Option<&Told>, Time),
        page: &mut Page,
    ) {
        for (at, now) in groups {
            for (technique, source) in now.ways.into_iter().flatten() {
                if !self.does(technique) {
                    say_way((technique, Some(source)), (reached, *at), page);
                }
            }
            self.print(now, *at, told, page);
            self.hear(now);
        }
    }

    /// Prints all but the techniques. A dynamic that everybody else is told otherwise at the same time is printed
    /// even if it is known.
    fn print(&self, now: &Now, at: Time, told: Option<&Told>, page: &mut Page) {
        let (notes, frame) = (&page.part.notes, page.frame);
        for (words, source) in &now.words {
            page.print(at, StaffDirectionKind::Words((*words).to_string()), *source);
        }
        if let Some((steady, source)) = now.steady
            && (self.level.is_none_or(|(level, _)| level != steady)
                || enters_after_long_rest(notes, at, frame)
                || told.is_some_and(|told| told.contradicts(at, steady)))
        {
            page.print(at, StaffDirectionKind::Dynamic(steady), source);
        }
        if let Some((stress, source)) = now.stress {
            page.print(at, StaffDirectionKind::Dynamic(stress), source);
        }
    }
}

/// Tells how to play from a time on: mutes in the rest before it, but where all ways lead by, not before a place that
/// is reached from elsewhere.
fn say_way(
    (technique, source): (Technique, Option<Span>),
    (reached, at): (Time, Time),
    page: &mut Page,
) {
    let order = mute_order(technique, &page.part.notes, at, page.frame);
    let from = order.map_or(at, |(from, _)| from.max(reached));
    page.print_from(from, StaffDirectionKind::Technique(technique), source);
    // What stands at the entry itself needs no reminder there.
    if from < at && order.is_some_and(|(_, again)| again) {
        let words = format!("({})", technique.printed());
        page.print_from(at, StaffDirectionKind::Words(words), source);
    }
}

/// Puts what is said at each place onto the page, but for what the player knows there.
pub(super) fn print(groups: &[(Time, Now)], told: Option<&Told>, page: &mut Page) {
    let arrivals = told.map_or_else(Vec::new, |told| arrivals(groups, told, &page.part.notes));
    let mut known = NOTHING;
    let (mut printed, mut reached) = (0, Time::ZERO);
    for ways in arrivals.chunk_by(|a, b| a.at == b.at) {
        let at = ways[0].at;
        let here = groups.partition_point(|group| group.0 < at);
        known.print_all(&groups[printed..here], (told, reached), page);
        printed = here;
        reached = ways.iter().map(|way| way.from).max().unwrap_or(at);
        let by_the_page = known;
        known = ways.iter().fold(known, |known, way| known.either(way.known));
        let said = groups.get(here).filter(|group| group.0 == at).map(|(_, now)| now);
        for way in [0, 1] {
            if known.ways[way].is_none()
                && let Some(told) = by_the_page.ways[way]
                && said.is_none_or(|now| now.ways[way].is_none())
            {
                say_way(told, (reached, at), page);
                known.ways[way] = by_the_page.ways[way];
            }
        }
        if known.level.is_none()
            && let Some((level, source)) = by_the_page.level
            && said.is_none_or(|now| now.steady.is_none())
        {
            // A stress there is louder anyway.
            if said.is_none_or(|now| now.stress.is_none()) {
                page.print(at, StaffDirectionKind::Dynamic(level), source);
            }
            known.level = by_the_page.level;
        }
    }
    known.print_all(&groups[printed..], (told, reached), page);
}

/// A way to a place other than by the page.
struct Arrival {
    /// Where he comes to by a jump, and where he is to play next from there.
    from: Time,
    at: Time,
    /// What he knows then.
    known: Known,
}

/// Where a player is to play next when he has come to a bar by a jump, in order of time.
fn arrivals(groups: &[(Time, Now)], told: &Told, notes: &[PackedNote]) -> Vec<Arrival> {
    let mut by_the_page = Vec::with_capacity(groups.len() + 1);
    let mut read = NOTHING;
    by_the_page.push(read);
    by_the_page.extend(groups.iter().map(|(_, now)| {
        read.hear(now);
        read
    }));
    let mut arrivals = Vec::with_capacity(told.stretches.len());
    let mut known = NOTHING;
    for (index, &(from, to)) in told.stretches.iter().enumerate() {
        let mut first = groups.partition_point(|group| group.0 < from);
        if index > 0
            && let Some(at) = place(notes, from).filter(|at| *at < to)
        {
            arrivals.push(Arrival { from, at, known });
            // Whatever he knew, what holds by the page is said there, unless he knows it.
            first = groups.partition_point(|group| group.0 < at);
            known = by_the_page[first];
        }
        let heard = groups[first..].iter().take_while(|group| group.0 < to);
        heard.for_each(|(_, now)| known.hear(now));
    }
    arrivals.sort_by_key(|arrival| arrival.at);
    arrivals
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::music::Sign;
    use crate::notate::testing::{Fixture, directions};
    use crate::resolve::{Direction, DirectionKind, Ending};

    /// Six bars of a note each, with a repeat of some of them and endings.
    fn told(
        repeat: (usize, usize),
        endings: &[(usize, u8)],
        said: &[(&str, DirectionKind)],
    ) -> String {
        let row = "1/1 ".repeat(6);
        let mut fixture = Fixture::new(&["4/4"; 6]).row(&row);
        let bars = &mut fixture.form.bars;
        bars[repeat.0].repeat_starts = true;
        bars[repeat.1].repeat_ends = true;
        for (bar, number) in endings {
            bars[*bar].ending = Some(Ending::of(*number));
        }
        let said = said.iter().cloned();
        directions(&said.fold(fixture, |all, (at, said)| all.direction(at, said)).score(), 0)
    }

    fn dynamic(dynamic: Dynamic) -> DirectionKind {
        DirectionKind::Dynamic(dynamic)
    }

    const ENDINGS: [(usize, u8); 2] = [(2, 1), (3, 2)];

    #[test]
    fn what_the_first_ending_says_is_not_known_in_the_second() {
        let (f, p) = (dynamic(Dynamic::F), dynamic(Dynamic::P));
        let pin = DirectionKind::Hairpin { grows: false, to: Time::of(2, 1) };
        let both = [("0/1", f.clone()), ("1/1", pin), ("2/1", p.clone()), ("3/1", p.clone())];
        assert_eq!(told((0, 2), &ENDINGS, &both), "1 0/1 f, 2 0/1 >, 2 1/1 end, 3 0/1 p, 4 0/1 p");
        let plain = [("0/1", f.clone()), ("2/1", p.clone()), ("3/1", p.clone())];
        assert_eq!(told((0, 2), &ENDINGS, &plain), "1 0/1 f, 3 0/1 p, 4 0/1 p");
        assert_eq!(told((0, 2), &[], &plain), "1 0/1 f, 3 0/1 p", "without endings it is known");
        // What holds there is said even where only the first ending gives it.
        assert_eq!(told((0, 2), &ENDINGS, &plain[..2]), "1 0/1 f, 3 0/1 p, 4 0/1 p");
        // What all ways have told is not said again.
        let before = [("0/1", f.clone()), ("2/1", f.clone()), ("3/1", f)];
        assert_eq!(told((0, 2), &ENDINGS, &before), "1 0/1 f");
    }

    #[test]
    fn what_holds_at_a_repeat_is_said_if_its_end_has_told_something_else() {
        let (f, p) = (dynamic(Dynamic::F), dynamic(Dynamic::P));
        let said = [("0/1", p.clone()), ("2/1", p.clone()), ("3/1", f.clone())];
        assert_eq!(told((2, 4), &[], &said), "1 0/1 p, 3 0/1 p, 4 0/1 f");
        // Said by nobody, it holds all the same.
        let unsaid = [("0/1", p.clone()), ("3/1", f)];
        assert_eq!(told((2, 4), &[], &unsaid), "1 0/1 p, 3 0/1 p, 4 0/1 f");
        let pin = DirectionKind::Hairpin { grows: true, to: Time::of(3, 1) };
        let grows = [("0/1", p.clone()), ("2/1", pin), ("3/1", dynamic(Dynamic::F))];
        assert_eq!(told((2, 4), &[], &grows), "1 0/1 p, 3 0/1 p, 3 0/1 <, 3 1/1 end, 4 0/1 f");
        assert_eq!(told((2, 4), &[], &said[..2]), "1 0/1 p");
    }

    #[test]
    fn how_to_play_is_said_where_another_way_has_told_something_else() {
        use Technique::{Arco, Muted, Pizzicato, Unmuted};
        let way = DirectionKind::Technique;
        let (pizz, arco) = (way(Pizzicato), way(Arco));
        let said = [("2/1", arco.clone()), ("3/1", pizz.clone())];
        assert_eq!(told((2, 4), &[], &said), "3 0/1 arco, 4 0/1 pizz.");
        assert_eq!(told((2, 4), &[], &said[1..]), "3 0/1 arco, 4 0/1 pizz.");
        // To the second ending he comes plucking from before the first; to the repeat he comes bowing.
        let ends = [("0/1", pizz.clone()), ("2/1", arco.clone())];
        assert_eq!(told((0, 2), &ENDINGS, &ends), "1 0/1 pizz., 3 0/1 arco, 4 0/1 arco");
        let within = [("1/1", pizz.clone()), ("2/1", arco)];
        assert_eq!(told((0, 2), &ENDINGS, &within), "2 0/1 pizz., 3 0/1 arco, 4 0/1 arco");
        let muted = [("2/1", way(Muted)), ("3/1", way(Unmuted))];
        let all = "1 0/1 senza sord., 3 0/1 con sord., 4 0/1 senza sord.";
        assert_eq!(told((0, 2), &ENDINGS, &muted), all);
        // Where all ways agree nothing is said again.
        assert_eq!(told((0, 2), &ENDINGS, &[("0/1", pizz)]), "1 0/1 pizz.");
    }

    #[test]
    fn an_order_that_stays_at_the_entry_has_no_reminder_beside_it() {
        let told = |repeat: usize| {
            let mut fixture = Fixture::new(&["4/4"; 14]).notes("10/1 4/1 C5");
            fixture.form.bars[repeat].repeat_starts = true;
            fixture.form.bars[13].repeat_ends = true;
            let muted = DirectionKind::Technique(Technique::Muted);
            directions(&fixture.direction("10/1", muted).score(), 0)
        };
        assert_eq!(told(10), "11 0/1 con sord.");
        assert_eq!(told(2), "3 0/1 con sord., 11 0/1 \"(con sord.)\"");
    }

    #[test]
    fn mutes_are_told_within_what_is_reached_from_elsewhere() {
        use Technique::{Muted, Unmuted};
        let told = |notes: &str| {
            let mut fixture = Fixture::new(&["4/4"; 6]).notes(notes);
            let bars = &mut fixture.form.bars;
            bars[0].repeat_starts = true;
            (bars[3].repeat_ends, bars[3].ending) = (true, Some(Ending::of(1)));
            bars[4].ending = Some(Ending::of(2));
            let said = [("0/1", Muted), ("4/1", Unmuted)];
            let way = DirectionKind::Technique;
            let said = said.into_iter();
            let all = said.fold(fixture, |all, (at, said)| all.direction(at, way(said)));
            directions(&all.score(), 0)
        };
        // The rest begins in the first ending, or before it.
        let told_in_second = "1 0/1 con sord., 5 0/1 senza sord.";
        assert_eq!(told("0/1 3/1 C5, 3/1 1/2 C5, 5/1 1/1 C5"), told_in_second);
        assert_eq!(told("0/1 2/1 C5, 9/2 1/2 C5"), told_in_second);
        assert_eq!(told("0/1 4/1 C5, 4/1 1/1 C5"), told_in_second);
    }

    #[test]
    fn a_coda_and_a_segno_are_reached_from_elsewhere() {
        let mut fixture = Fixture::new(&["4/4"; 6]).row(&"1/1 ".repeat(6));
        let bars = &mut fixture.form.bars;
        bars[1].signs.push(Sign::Segno);
        bars[2].signs.push(Sign::ToCoda);
        bars[4].signs.push(Sign::DalSegnoAlCoda);
        bars[5].signs.push(Sign::Coda);
        let said = [("0/1", Dynamic::P), ("3/1", Dynamic::F), ("5/1", Dynamic::F)];
        let said = said.into_iter();
        let score = said.fold(fixture, |all, (at, said)| all.direction(at, dynamic(said))).score();
        assert_eq!(directions(&score, 0), "1 0/1 p, 2 0/1 p, 4 0/1 f, 6 0/1 f");
    }

    #[test]
    fn a_known_level_is_said_where_all_others_are_told_another() {
        let told = |general: Dynamic| {
            let fixture = Fixture::new(&["4/4"; 2]).row("1/1 1/1");
            let fixture = fixture.direction("0/1", dynamic(Dynamic::P));
            let mut arrangement = fixture.direction("1/1", dynamic(Dynamic::P)).arrangement();
            let said =
                Direction { at: Time::of(1, 1), kind: dynamic(general), span: Span::default() };
            Arc::make_mut(&mut arrangement.piece).dynamics = std::iter::once(said).collect();
            directions(&crate::notate::notate(&arrangement), 0)
        };
        assert_eq!(told(Dynamic::Mp), "1 0/1 p, 2 0/1 p");
        assert_eq!(told(Dynamic::P), "1 0/1 p");
    }
}
