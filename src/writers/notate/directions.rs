//! Directions as one player needs them.
//!
//! What is said while a player rests is told him at his next note: the dynamic in force at his
//! entry, the last word on mutes and plucking. A dynamic that he already plays is not repeated,
//! unless it was given afresh during a rest of a bar or more, or he enters after two bars of rest; but what one way
//! to a bar has told him, another may not have (`told`). Stresses (sf, sfz) stand only where one of his notes begins. Hairpins reach from where he first sounds to where he last sounds;
//! after one the next dynamic is always printed.

mod entries;
mod hairpins;
mod told;

use crate::arrange::{PackedNote, Part};
use crate::diagnostics::Span;
use crate::music::Time;
use crate::resolve::{DirectionKind, Technique};

use hairpins::{Hairpin, Hairpins};
use told::Now;
pub(super) use told::Told;

use super::staff::Bars;
use super::{
    FrameBar, Measure, Origin, StaffDirection, StaffDirectionKind, holds, jumps, names, who,
};

/// Puts a part's directions into the measures of its staff.
pub(super) fn place_directions(part: &Part, bars: &Bars, measures: &mut [Measure]) {
    let frame = bars.frame;
    let notes = &part.notes;
    holds::hold_rests(part, bars, measures);
    let mut placed: Vec<(Time, usize)> = Vec::with_capacity(part.directions.len());
    for (index, direction) in part.directions.iter().enumerate() {
        if matches!(direction.kind, DirectionKind::FermataOnRest) {
            continue;
        }
        match place(notes, direction.at) {
            Some(at) => placed.push((at, index)),
            // Nothing more to play: words (an "attacca") may still be meant for him.
            None if matches!(direction.kind, DirectionKind::Words(_)) => {
                placed.push((direction.at, index));
            }
            None => {}
        }
    }
    placed.sort_by_key(|(at, _)| *at);

    place_instruments(part, frame, measures);
    place_who(part, frame, measures);
    let mut groups: Vec<(Time, Now)> = Vec::new();
    let mut hairpins = Hairpins::new(part, frame);
    // Where a hairpin is told in words.
    let mut in_words: Vec<Time> = Vec::new();
    for group in placed.chunk_by(|a, b| a.0 == b.0) {
        let at = group[0].0;
        let mut now = Now::default();
        for &(_, index) in group {
            let direction = &part.directions[index];
            match &direction.kind {
                DirectionKind::Dynamic(_)
                    if hairpins::is_passing_goal(part, frame, direction.at) => {}
                DirectionKind::Dynamic(dynamic) if direction.at == at => {
                    now.take((*dynamic, direction.span), at, at, notes);
                }
                DirectionKind::Dynamic(_) => {
                    let told = hairpins::level_at_entry(part, direction, at);
                    told.into_iter().for_each(|told| now.take(told, direction.at, at, notes));
                }
                DirectionKind::Technique(technique) => {
                    now.ways[way(*technique)] = Some((*technique, direction.span));
                }
                DirectionKind::Words(words)
                    if now.words.iter().all(|(said, _)| *said != &***words) =>
                {
                    now.words.push((words, direction.span));
                }
                DirectionKind::Hairpin { grows, to } if part.instrument_at(at).grades() => {
                    let (since, to, source) = (direction.at, *to, direction.span);
                    let grows = *grows;
                    let hairpin = Hairpin { from: at, to, since, until: to, grows, source };
                    if hairpins::is_in_words(part, frame, &placed, &hairpin) {
                        in_words.push(since);
                        now.hairpin = true;
                    } else {
                        now.hairpin |= hairpins.collect(&hairpin);
                    }
                }
                DirectionKind::Words(_)
                | DirectionKind::FermataOnRest
                | DirectionKind::Hairpin { .. } => {}
            }
        }
        groups.push((at, now));
    }
    let of_none: Vec<Span> = hairpins.words_of_none(&in_words);
    for (_, now) in &mut groups {
        now.words.retain(|(_, source)| !of_none.contains(source));
    }
    let mut page = Page { part, frame, measures };
    told::print(&groups, bars.told, &mut page);
    let told_at = |place: Time| {
        let first = placed.partition_point(|(at, _)| *at < place);
        placed[first..]
            .iter()
            .take_while(|(at, _)| *at == place)
            .any(|(_, index)| matches!(part.directions[*index].kind, DirectionKind::Dynamic(_)))
    };
    for reached in hairpins.on_the_way.iter().filter(|reached| !told_at(reached.at)) {
        page.print(reached.at, StaffDirectionKind::Dynamic(reached.level), reached.source);
    }
    for hairpin in &hairpins.printed {
        if !told_at(hairpin.from)
            && !page.is_told_loudness(hairpin.from)
            && enters_after_long_rest(notes, hairpin.from, frame)
            && let Some((level, source)) = hairpins::level_before(part, hairpin.from)
        {
            page.print(hairpin.from, StaffDirectionKind::Dynamic(level), source);
        }
        let starts = StaffDirectionKind::HairpinStarts { grows: hairpin.grows };
        page.print(hairpin.from, starts, hairpin.source);
        let goal = hairpins::goal_before_rest(part, frame, hairpin);
        let goal = goal.filter(|goal| !told_at(goal.at));
        if let Some(goal) = &goal {
            page.print(goal.at, StaffDirectionKind::Dynamic(goal.level), goal.source);
            // What his next entry would say again.
            if let Some(next) = notes.get(notes.partition_point(|note| note.start() <= goal.at)) {
                page.unsay(next.start(), goal);
            }
        }
        let to = goal.map_or(hairpin.to, |goal| goal.at);
        page.print_end(to, StaffDirectionKind::HairpinEnds, hairpin.source);
    }
    entries::remind(part, frame, measures);
    for measure in measures.iter_mut().filter(|measure| measure.directions.len() > 1) {
        measure.directions.sort_by_key(|direction| (direction.at, rank(&direction.kind)));
    }
}

/// Where a direction given at a time is read: there if the player sounds, or at his next note.
fn place(notes: &[PackedNote], at: Time) -> Option<Time> {
    let note = notes.get(notes.partition_point(|note| note.end() <= at))?;
    Some(note.start().max(at))
}

fn begins_note(notes: &[PackedNote], at: Time) -> bool {
    notes.binary_search_by_key(&at, |note| note.start()).is_ok()
}

/// Plucking and bowing make one pair of opposites, mutes another.
fn way(technique: Technique) -> usize {
    match technique {
        Technique::Pizzicato | Technique::Arco => 0,
        Technique::Muted | Technique::Unmuted => 1,
    }
}

/// Order of directions at one place.
fn rank(kind: &StaffDirectionKind) -> u8 {
    match kind {
        StaffDirectionKind::HairpinEnds => 0,
        StaffDirectionKind::Change(_) => 1,
        StaffDirectionKind::Who(_) => 2,
        StaffDirectionKind::Technique(_) => 3,
        StaffDirectionKind::Chord(_)
        | StaffDirectionKind::Figures(_)
        | StaffDirectionKind::Words(_) => 4,
        StaffDirectionKind::Dynamic(_) => 5,
        StaffDirectionKind::HairpinStarts { .. } => 6,
    }
}

/// Does a note begin there after a rest of a bar or more (or as the first of all)?
fn enters_after_long_rest(notes: &[PackedNote], at: Time, frame: &[FrameBar]) -> bool {
    let Ok(index) = notes.binary_search_by_key(&at, |note| note.start()) else { return false };
    let Some(before) = index.checked_sub(1) else { return true };
    at - notes[before].end() >= whole_bar(frame, at)
}

/// Bars of rest after which an entry says again, in parentheses, what was done with the mutes when it began:
/// as many as ask for a cue. Sooner it would read as an order too many. Our heuristic; that a reminder stands
/// in parentheses is common practice.
const FORGOTTEN: i64 = 8;

/// Where in the rest before an entry mutes are put on or taken off, and whether the entry says it again.
/// `None` where the order stands at the entry alone: without a rest, and for the bow, which takes no
/// time. Common practice.
pub(super) fn mute_order(
    technique: Technique,
    notes: &[PackedNote],
    at: Time,
    frame: &[FrameBar],
) -> Option<(Time, bool)> {
    if !matches!(technique, Technique::Muted | Technique::Unmuted) {
        return None;
    }
    let next = notes.binary_search_by_key(&at, |note| note.start()).ok()?;
    let free = next.checked_sub(1).map_or(Time::ZERO, |before| notes[before].end());
    if free >= at {
        return None;
    }
    let from = names::resting_place(frame, free, at);
    Some((from, at - free >= whole_bar(frame, at) * FORGOTTEN))
}

struct Page<'a> {
    part: &'a Part,
    frame: &'a [FrameBar],
    measures: &'a mut [Measure],
}

impl Page<'_> {
    fn print(&mut self, at: Time, kind: StaffDirectionKind, source: Span) {
        self.print_from(at, kind, Some(source));
    }

    /// Prints what may be written nowhere.
    fn print_from(&mut self, at: Time, kind: StaffDirectionKind, source: Option<Span>) {
        let bar = bar_at(self.frame, at);
        self.put(bar, at, kind, Origin { source, line: self.part.line_at(at) });
    }

    fn put(&mut self, bar: usize, at: Time, kind: StaffDirectionKind, origin: Origin) {
        let at = at - self.frame[bar].start;
        self.measures[bar].directions.push(StaffDirection { at, kind, origin });
    }

    /// Is a dynamic or a stress printed there, or does a hairpin begin?
    fn is_told_loudness(&self, at: Time) -> bool {
        let bar = bar_at(self.frame, at);
        self.measures[bar].directions.iter().any(|said| {
            let loudness = matches!(
                said.kind,
                StaffDirectionKind::Dynamic(_) | StaffDirectionKind::HairpinStarts { .. }
            );
            loudness && self.frame[bar].start + said.at == at
        })
    }

    /// Takes back the dynamic of a place, if it is the goal that has been told before.
    fn unsay(&mut self, at: Time, goal: &hairpins::Goal) {
        let bar = bar_at(self.frame, at);
        let within = at - self.frame[bar].start;
        self.measures[bar].directions.retain(|said| {
            let same =
                matches!(said.kind, StaffDirectionKind::Dynamic(level) if level == goal.level);
            !(said.at == within && same && said.origin.source == Some(goal.source))
        });
    }

    /// Prints what ends at a time: at a bar line, in the bar that ends there.
    fn print_end(&mut self, at: Time, kind: StaffDirectionKind, source: Span) {
        let mut bar = bar_at(self.frame, at);
        if self.frame[bar].start == at {
            bar = bar.saturating_sub(1);
        }
        // What ends with a line belongs to that line.
        let line = self.part.line_at(at - Time::of(1, 1024));
        self.put(bar, at, kind, Origin { source: Some(source), line });
    }
}

pub(super) fn bar_at(frame: &[FrameBar], at: Time) -> usize {
    frame.partition_point(|bar| bar.start <= at).saturating_sub(1)
}

/// How long the bar at a time is, or would be if it were whole: an up-beat is no bar of rest.
pub(super) fn whole_bar(frame: &[FrameBar], at: Time) -> Time {
    let bar = &frame[bar_at(frame, at)];
    bar.length.max(bar.metre.bar_length())
}

/// Tells the player which instruments to take.
fn place_instruments(part: &Part, frame: &[FrameBar], measures: &mut [Measure]) {
    let mut page = Page { part, frame, measures };
    let at_jumps = jumps::told(part, frame);
    for told in names::changes_told(part, frame, &[]).into_iter().chain(at_jumps) {
        let origin = Origin { source: None, line: part.taken_by(told.taken) };
        let bar = match told.at_end {
            true => frame.partition_point(|bar| bar.start < told.at).saturating_sub(1),
            false => bar_at(frame, told.at),
        };
        page.put(bar, told.at, StaffDirectionKind::Change(told.words), origin);
    }
}

/// Says of a bass line for two hands what is wanted, unless the arranger does: "tasto solo", "continuo".
pub(super) fn say_continuo(part: &Part, frame: &[FrameBar], measures: &mut [Measure]) {
    let Some(first) = part.notes.first() else { return };
    let bar = bar_at(frame, first.start());
    let origin = Origin { source: None, line: part.line_at(first.start()) };
    say_of_chords(&mut measures[bar], first.start() - frame[bar].start, "basso continuo", origin);
}

/// Says at a place of a bar how far a bass asks for chords, unless that is said there: is it new?
pub(super) fn say_of_chords(measure: &mut Measure, at: Time, words: &str, origin: Origin) -> bool {
    let says = |said: &StaffDirection| {
        matches!(&said.kind, StaffDirectionKind::Words(words) if
            ["continuo", "basso", "tasto"].iter().any(|word| words.to_lowercase().contains(word)))
    };
    let directions = &mut measure.directions;
    if directions.iter().any(|said| said.at == at && says(said)) {
        return false;
    }
    let kind = StaffDirectionKind::Words(words.into());
    let place =
        directions.partition_point(|other| (other.at, rank(&other.kind)) < (at, rank(&kind)));
    directions.insert(place, StaffDirection { at, kind, origin });
    true
}

/// Says who plays: "solo", "tutti", "div.", "unis.".
fn place_who(part: &Part, frame: &[FrameBar], measures: &mut [Measure]) {
    let mut page = Page { part, frame, measures };
    for (at, who, origin) in who::said(part, frame) {
        page.put(bar_at(frame, at), at, StaffDirectionKind::Who(who), origin);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::ElementKind;
    use crate::notate::testing::{Fixture, directions};
    use crate::resolve::Dynamic;

    fn dynamic(dynamic: Dynamic) -> DirectionKind {
        DirectionKind::Dynamic(dynamic)
    }

    #[test]
    fn a_dynamic_in_a_rest_is_told_at_the_next_note() {
        let score = Fixture::new(&["4/4", "4/4", "4/4"])
            .notes("0/1 1/4 C5, 5/2 1/2 D5")
            .direction("0/1", dynamic(Dynamic::P))
            .direction("1/1", dynamic(Dynamic::Mf))
            .direction("2/1", dynamic(Dynamic::F))
            .score();
        assert_eq!(directions(&score, 0), "1 0/1 p, 3 1/2 f");
    }

    #[test]
    fn a_dynamic_in_force_is_repeated_only_after_a_long_rest() {
        let score = Fixture::new(&["4/4", "4/4", "4/4", "4/4"])
            .notes("0/1 1/1 C5, 1/1 1/1 D5, 3/1 1/1 E5")
            .direction("0/1", dynamic(Dynamic::P))
            .direction("1/1", dynamic(Dynamic::P))
            .direction("3/1", dynamic(Dynamic::P))
            .score();
        assert_eq!(directions(&score, 0), "1 0/1 p, 4 0/1 p");
    }

    #[test]
    fn a_crescendo_of_which_only_the_beginning_is_played_leads_nowhere() {
        let pin_to = |to: Time, notes: &str, grows: bool| {
            let pin = DirectionKind::Hairpin { grows, to };
            directions(&Fixture::new(&["3/4"; 8]).notes(notes).direction("0/1", pin).score(), 0)
        };
        let told = |notes: &str, grows: bool| pin_to(Time::of(9, 4), notes, grows);
        let short = "0/1 3/4 C5, 3/1 3/4 D5";
        assert_eq!(told(short, true), "");
        assert_eq!(told(short, false), "1 0/1 >, 1 3/4 end", "it fades");
        let two = pin_to(Time::of(15, 4), "0/1 3/2 C5, 9/2 3/4 D5", true);
        assert_eq!(two, "1 0/1 <, 2 3/4 end", "two bars of five are a crescendo");
        // Most of it, or what goes on after a short rest.
        assert_eq!(told("0/1 3/2 C5, 3/1 3/4 D5", true), "1 0/1 <, 2 3/4 end");
        assert_eq!(told("0/1 3/4 C5, 5/4 3/4 D5", true), "1 0/1 <, 3 1/2 end");
    }

    #[test]
    fn who_enters_with_a_hairpin_after_a_rest_is_told_from_where_it_leads() {
        let told = |notes: &str, more: Option<(&str, DirectionKind)>| {
            let pin = DirectionKind::Hairpin { grows: true, to: Time::of(3, 1) };
            let fixture = Fixture::new(&["4/4"; 4]).notes(notes);
            let fixture = fixture.direction("0/1", dynamic(Dynamic::P)).direction("1/1", pin);
            let fixture = match more {
                Some((at, kind)) => fixture.direction(at, kind),
                None => fixture,
            };
            directions(&fixture.score(), 0)
        };
        let enters = "0/1 1/1 C5, 2/1 1/1 D5";
        assert_eq!(told(enters, None), "1 0/1 p, 3 0/1 p, 3 0/1 <, 3 1/1 end");
        assert_eq!(told("0/1 1/1 C5, 1/1 2/1 D5", None), "1 0/1 p, 2 0/1 <, 3 1/1 end");
        let says = Some(("2/1", dynamic(Dynamic::Mp)));
        assert_eq!(told(enters, says), "1 0/1 p, 3 0/1 mp, 3 0/1 <, 3 1/1 end");
    }

    #[test]
    fn mutes_are_put_on_and_taken_off_in_the_rest() {
        use Technique::{Muted, Pizzicato, Unmuted};
        let told = |notes: &str| {
            let fixture = Fixture::new(&["3/4"; 7]).notes(notes);
            let fixture = fixture.direction("0/1", DirectionKind::Technique(Muted));
            let fixture = fixture.direction("15/4", DirectionKind::Technique(Unmuted));
            directions(&fixture.direction("9/2", DirectionKind::Technique(Pizzicato)).score(), 0)
        };
        assert_eq!(
            told("3/2 1/4 C5, 15/4 3/4 D5, 9/2 1/4 E5"),
            "1 0/1 con sord., 4 0/1 senza sord., 7 0/1 pizz."
        );
        assert_eq!(
            told("0/1 13/4 C5, 15/4 3/4 D5, 9/2 1/4 E5"),
            "1 0/1 con sord., 5 1/4 senza sord., 7 0/1 pizz."
        );
        assert_eq!(
            told("0/1 15/4 C5, 15/4 3/4 D5, 9/2 1/4 E5"),
            "1 0/1 con sord., 6 0/1 senza sord., 7 0/1 pizz."
        );
        // After eight bars of rest the entry says it again; before the first note too.
        let long = |notes: &str, at: &str| {
            let fixture = Fixture::new(&["3/4"; 14]).notes(notes);
            directions(&fixture.direction(at, DirectionKind::Technique(Muted)).score(), 0)
        };
        assert_eq!(
            long("0/1 3/4 C5, 27/4 3/4 D5", "27/4"),
            "2 0/1 con sord., 10 0/1 \"(con sord.)\""
        );
        assert_eq!(long("0/1 3/2 C5, 27/4 3/4 D5", "27/4"), "3 0/1 con sord.");
        assert_eq!(long("6/1 3/4 C5", "0/1"), "1 0/1 con sord., 9 0/1 \"(con sord.)\"");
    }

    #[test]
    fn an_up_beat_is_no_bar_of_rest() {
        let told = |notes: &str, kind: DirectionKind, again: Option<&str>| {
            let mut fixture = Fixture::new(&["9/8"; 6]).notes(notes);
            let bars = &mut fixture.form.bars;
            (bars[3].length, bars[4].length) = (Time::of(1, 1), Time::of(1, 8));
            bars[4].up_beat = Some(Time::of(1, 1));
            (bars[4].start, bars[5].start) = (Time::of(35, 8), Time::of(36, 8));
            let all = fixture.direction("0/1", kind.clone());
            let all = again.into_iter().fold(all, |all, at| all.direction(at, kind.clone()));
            directions(&all.score(), 0)
        };
        let muted = DirectionKind::Technique(Technique::Muted);
        assert_eq!(told("35/8 1/1 D5", muted, None), "1 0/1 con sord.", "four bars of rest");
        let short = "0/1 33/8 C5, 35/8 1/1 D5";
        let level = dynamic(Dynamic::P);
        assert_eq!(told(short, level.clone(), None), "1 0/1 p", "an eighth and an eighth");
        assert_eq!(told(short, level, Some("35/8")), "1 0/1 p");
    }

    #[test]
    fn a_stress_stands_only_on_the_beginning_of_a_note() {
        let score = Fixture::new(&["4/4", "4/4"])
            .notes("0/1 1/1 C5, 1/1 1/1 D5")
            .direction("0/1", dynamic(Dynamic::F))
            .direction("1/2", dynamic(Dynamic::Sf))
            .direction("1/1", dynamic(Dynamic::Sf))
            .score();
        assert_eq!(directions(&score, 0), "1 0/1 f, 2 0/1 sf");
    }

    #[test]
    fn a_hairpin_is_clipped_to_where_the_player_sounds() {
        let score = Fixture::new(&["4/4", "4/4", "4/4"])
            .notes("1/2 1/4 C5, 3/4 1/4 D5, 1/1 1/2 E5, 2/1 1/1 F5")
            .direction("0/1", dynamic(Dynamic::P))
            .direction("0/1", DirectionKind::Hairpin { grows: true, to: Time::of(2, 1) })
            .direction("2/1", dynamic(Dynamic::P))
            .score();
        assert_eq!(directions(&score, 0), "1 1/2 p, 1 1/2 <, 2 1/2 end, 3 0/1 p");
    }

    #[test]
    fn a_hairpin_to_the_bar_line_ends_in_its_own_bar() {
        let score = Fixture::new(&["4/4", "4/4"])
            .notes("0/1 1/1 C5, 1/1 1/1 C5")
            .direction("0/1", DirectionKind::Hairpin { grows: false, to: Time::of(1, 1) })
            .score();
        assert_eq!(directions(&score, 0), "1 0/1 >, 1 1/1 end");
    }

    #[test]
    fn a_hairpin_is_broken_by_a_bar_of_rest() {
        let score = Fixture::new(&["4/4"; 4])
            .notes("0/1 1/1 C5, 2/1 1/1 D5")
            .direction("0/1", DirectionKind::Hairpin { grows: true, to: Time::of(3, 1) })
            .score();
        assert_eq!(directions(&score, 0), "1 0/1 <, 1 1/1 end, 3 0/1 <, 3 1/1 end");
    }

    #[test]
    fn a_harpsichord_has_steps_but_no_hairpins() {
        use crate::notate::testing::harpsichord;
        let of = |score: Fixture| {
            let score = score
                .notes("0/1 1/1 C5, 1/1 1/1 D5")
                .direction("0/1", dynamic(Dynamic::P))
                .direction("0/1", DirectionKind::Hairpin { grows: true, to: Time::of(1, 1) })
                .direction("1/1", dynamic(Dynamic::F))
                .score();
            directions(&score, 0)
        };
        let bars = || Fixture::new(&["4/4", "4/4"]);
        assert_eq!(of(bars().instrument(harpsichord())), "1 0/1 p, 2 0/1 f");
        assert_eq!(of(bars()), "1 0/1 p, 1 0/1 <, 1 1/1 end, 2 0/1 f");
    }

    #[test]
    fn a_hairpin_during_a_rest_is_not_printed() {
        let score = Fixture::new(&["4/4", "4/4"])
            .notes("1/1 1/1 C5")
            .direction("0/1", DirectionKind::Hairpin { grows: false, to: Time::of(1, 1) })
            .score();
        assert_eq!(directions(&score, 0), "");
    }

    #[test]
    fn the_last_word_on_plucking_counts() {
        let technique = DirectionKind::Technique;
        let score = Fixture::new(&["4/4", "4/4", "4/4"])
            .notes("0/1 1/1 C5, 2/1 1/1 C5")
            .direction("0/1", technique(Technique::Arco))
            .direction("1/1", technique(Technique::Pizzicato))
            .direction("3/2", technique(Technique::Arco))
            .direction("3/2", technique(Technique::Muted))
            .score();
        assert_eq!(directions(&score, 0), "2 0/1 con sord.");
    }

    #[test]
    fn a_fermata_stands_over_the_rest_it_was_written_on() {
        let score = Fixture::new(&["4/4"])
            .notes("0/1 1/2 C5")
            .direction("1/2", DirectionKind::FermataOnRest)
            .score();
        let rest = &score.staves[0].measures[0].elements[1];
        assert_eq!(rest.kind, ElementKind::Rest { fermata: true });
    }
}
