//! What is said of a section that divides: on the staff of both halves, and on the staves of each.
//!
//! "div." and "unis." are read as those of the whole section. Where the halves come together on notes of which each
//! has several, the section stays divided; and what one half does by itself is said with its name. (Common practice.)

use std::borrow::Cow;

use crate::music::Time;
use crate::notate::{Element, ElementKind, Origin, Staff, StaffDirectionKind};
use crate::resolve::HALVES;

use super::condensed::Way;
use super::{DirectionKind, EditionDirection, StaffBar};

const TOGETHER: &str = "unis.";
const DIVIDED: &str = "div.";

/// Do words say whether players divide?
fn says_so(words: &str) -> bool {
    ["div", "non div", "unis"].iter().any(|begins| words.starts_with(begins))
}

/// One thing that is said: the bar and the time in it, the words, and of which half, if not of all.
struct Said {
    place: (usize, Time),
    words: Cow<'static, str>,
    half: Option<usize>,
    /// Is it said again to all, after one half was told of itself?
    again: bool,
}

/// What is said of a section that divides.
pub(super) struct Divided {
    said: Vec<Said>,
    /// For each bar in which anybody plays, how the section is when it begins, and its first note.
    bars: Vec<Option<(Time, Cow<'static, str>)>>,
}

/// What a half says of itself, with the bars and times in them.
type Own<'a> = Vec<((usize, Time), &'a str)>;

fn own(staff: &Staff) -> Own<'_> {
    let bars = staff.measures.iter().enumerate();
    bars.flat_map(|(bar, measure)| {
        measure.directions.iter().filter_map(move |said| match &said.kind {
            StaffDirectionKind::Who(who) if says_so(who) => Some(((bar, said.at), &**who)),
            _ => None,
        })
    })
    .collect()
}

/// How a half is by itself when a note begins, of which it may have several at once.
fn own_way<'a>(own: &Own<'a>, place: (usize, Time), several: bool) -> &'a str {
    let next = own.partition_point(|(said, _)| *said <= place);
    let Some((_, words)) = next.checked_sub(1).map(|last| own[last]) else { return TOGETHER };
    let goes_on = own.get(next).is_some_and(|(_, words)| *words == TOGETHER);
    if several || goes_on && words.starts_with("div") { words } else { TOGETHER }
}

/// The first note among elements, and whether it is of several at once.
fn first_note<'e>(mut elements: impl Iterator<Item = &'e Element>) -> Option<(Time, bool)> {
    elements.find_map(|element| match &element.kind {
        ElementKind::Note(note) => {
            Some((element.at, note.heads.len() > 1 && note.harmonic.is_none()))
        }
        _ => None,
    })
}

impl Divided {
    /// Of two halves that stand in these ways in the bars of one staff.
    pub(super) fn of(pair: [&Staff; 2], ways: &[Way]) -> Divided {
        let own = pair.map(own);
        let mut divided = Divided { said: Vec::new(), bars: Vec::with_capacity(ways.len()) };
        let mut whole = Cow::Borrowed(TOGETHER);
        // Which half has been told that it divides by itself?
        let mut told = [false; 2];
        for (bar, way) in ways.iter().enumerate() {
            let firsts = pair.map(|staff| first_note(staff.measures[bar].elements.iter()));
            let Some(at) = firsts.iter().flatten().map(|(at, _)| *at).min() else {
                divided.bars.push(None);
                continue;
            };
            let within = |half: usize| {
                let from = own[half].partition_point(|(place, _)| place.0 < bar);
                own[half][from..].iter().take_while(move |(place, _)| place.0 == bar)
            };
            let now: Cow<'static, str> = match way {
                Way::Rest | Way::Unison => {
                    let several = firsts[0].is_some_and(|(_, several)| several);
                    Cow::Owned(own_way(&own[0], (bar, at), several).to_owned())
                }
                Way::Chords | Way::Apart => Cow::Borrowed(DIVIDED),
                Way::Alone(half) => Cow::Borrowed(HALVES[*half]),
            };
            divided.bars.push(Some((at, now.clone())));
            // What was said last of a half says nothing of both on the same notes.
            let of_half = divided.said.last().is_some_and(|said| said.half.is_some());
            if *way == Way::Unison && of_half && now != TOGETHER && now == whole {
                let words = now.clone();
                divided.said.push(Said { place: (bar, at), words, half: None, again: true });
            }
            divided.tell((bar, at), now, &mut whole);
            if *way == Way::Unison {
                for (place, words) in within(0).filter(|(place, _)| place.1 > at) {
                    divided.tell(*place, Cow::Owned((*words).to_owned()), &mut whole);
                }
            }
            if whole == TOGETHER {
                told = [false; 2];
            }
            if matches!(way, Way::Rest | Way::Unison) {
                continue;
            }
            for (half, told) in told.iter_mut().enumerate() {
                let Some((first, several)) = firsts[half] else { continue };
                // What it has done since before it parted from the other.
                let before = own_way(&own[half], (bar, first), several);
                let goes_on = Some(((bar, first), before)).filter(|_| several && !*told);
                let said = within(half).copied().filter(|(place, _)| place.1 > first || !several);
                for (place, words) in goes_on.into_iter().chain(said) {
                    let divides = words.starts_with("div");
                    let words = match words {
                        TOGETHER if !*told => continue,
                        words if divides || words == TOGETHER => {
                            format!("{} {words}", HALVES[half])
                        }
                        words => words.to_owned(),
                    };
                    // After a single chord everybody may see that it is over.
                    let after = own[half].iter().find(|(said, _)| *said > place);
                    *told = divides && after.is_some_and(|(_, words)| *words == TOGETHER);
                    let (words, half) = (words.into(), Some(half));
                    divided.said.push(Said { place, words, half, again: false });
                }
            }
        }
        divided.leave_to_half();
        divided
    }

    /// Who alone plays and divides has his name with that.
    fn leave_to_half(&mut self) {
        let halves: Vec<(usize, Time)> =
            self.said.iter().filter(|said| said.half.is_some()).map(|said| said.place).collect();
        self.said.retain(|said| {
            said.half.is_some() || !HALVES.contains(&&*said.words) || !halves.contains(&said.place)
        });
    }

    /// Tells all how they are, if they do not know. Who does not divide plays with the others.
    fn tell(
        &mut self,
        place: (usize, Time),
        now: Cow<'static, str>,
        whole: &mut Cow<'static, str>,
    ) {
        let known = now == *whole || now == TOGETHER && whole.starts_with("non");
        if !known {
            self.said.push(Said { place, words: now.clone(), half: None, again: false });
        }
        *whole = now;
    }
}

impl Divided {
    /// Says it over the bars of the staff that the halves share, and again wherever a line begins with one in which
    /// they are not together.
    pub(super) fn say(&self, ways: &[Way], bars: &mut [StaffBar]) {
        for (bar, now) in bars.iter_mut().zip(&self.bars) {
            let Some((at, now)) = now else { continue };
            let parts = *now != TOGETHER && !now.starts_with("non");
            bar.who = parts.then(|| (*at, who(now)));
            bar.directions.retain(|said| !is_own(said));
        }
        for said in &self.said {
            let bar = said.place.0;
            let lower = said.half == Some(1) && ways[bar] == Way::Apart;
            put(&mut bars[bar], (said.place.1, &said.words), !lower);
        }
    }

    /// Says it on the staves of each half in the part that all read, where no name stands before them; over the upper
    /// one wherever a line begins. In a score, over the upper one where they part and come together: the lines before
    /// and after it may have but one staff.
    pub(super) fn say_alone(&self, [upper, lower]: [&mut [StaffBar]; 2], in_part: bool) {
        // Over rests before the first note it would be said twice.
        let first = self.bars.iter().take_while(|now| now.is_none()).count();
        for (half, bars) in [upper, lower].into_iter().enumerate() {
            for (index, (bar, now)) in bars.iter_mut().zip(&self.bars).enumerate() {
                if in_part {
                    bar.directions.retain(|said| !is_own(said));
                    let (at, words) = match now {
                        Some((at, now)) if *now == TOGETHER => (*at, TOGETHER),
                        Some((at, _)) => (*at, DIVIDED),
                        None => (Time::ZERO, DIVIDED),
                    };
                    bar.who = (half == 0 && index >= first).then(|| (at, who(words)));
                }
            }
            // On two staves it is seen who rests.
            let mut before = TOGETHER;
            for said in &self.said {
                let rests = said.half.is_none() && HALVES.contains(&&*said.words);
                let words = if rests { DIVIDED } else { &*said.words };
                let wanted = match said.half {
                    Some(of) => in_part && of == half,
                    None => {
                        let both = words == TOGETHER || before == TOGETHER && !rests;
                        half == 0 && (in_part && said.again || words != before && (in_part || both))
                    }
                };
                if said.half.is_none() {
                    before = words;
                }
                if wanted {
                    put(&mut bars[said.place.0], (said.place.1, words), true);
                }
            }
        }
    }
}

fn who(words: &str) -> DirectionKind {
    DirectionKind::Who(words.to_owned())
}

/// Does a half say so of itself? What the arranger has written stays.
fn is_own(said: &EditionDirection) -> bool {
    let written = said.origin.source.is_some();
    !written && matches!(&said.kind, DirectionKind::Who(words) if says_so(words))
}

fn put(bar: &mut StaffBar, (at, words): (Time, &str), above: bool) {
    let kind = who(words);
    if bar.directions.iter().any(|other| other.at == at && other.kind == kind) {
        return;
    }
    let place = bar.directions.partition_point(|other| {
        other.at < at || other.at == at && matches!(other.kind, DirectionKind::Who(_))
    });
    bar.directions.insert(place, EditionDirection { at, kind, above, origin: Origin::default() });
}

#[cfg(test)]
mod tests {
    use crate::arrange::arrange;
    use crate::diagnostics::Sources;
    use crate::edition::{DirectionKind, Edition, Halves, StaffBar, full_score, part, part_with};
    use crate::notate::{Score, notate};
    use crate::resolve::{NoFiles, resolve};

    /// Four cellos that divide, with what each half plays in bars of 2/4.
    fn cellos(upper: &str, lower: &str) -> Score {
        let last = upper.rsplit_once(':').unwrap().0.rsplit(' ').next().unwrap();
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 2/4, key C major\n {last} end }}\n\
             voice a {{ {upper} }}\nvoice b {{ {lower} }}\nensemble few {{ era 1885\n cello 4 players divisi\n}}\n\
             scoring plain for few {{\n cello.1 plays a as bass\n cello.2 plays b as bass\n}}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
        notate(&arrange(&piece, &piece.scorings[0]))
    }

    fn words(bars: &[StaffBar]) -> String {
        let said = bars.iter().zip(1..).flat_map(|(bar, number)| {
            bar.directions.iter().filter_map(move |said| match &said.kind {
                DirectionKind::Who(who) => Some(format!("{number} {} {who}", said.at)),
                _ => None,
            })
        });
        said.collect::<Vec<_>>().join(", ")
    }

    fn shared(edition: &Edition) -> String {
        words(&edition.staves[0].bars)
    }

    #[test]
    fn a_section_that_comes_together_on_several_notes_stays_divided() {
        let score = cellos(
            "1: 1/2 F3 | 2: F2&C3 | 3: F3 | 4: 1/4 F2&C3 C3 | 5: 1/2 A3 | 6: C3 |",
            "1: 1/2 A2 | 2: F2&C3 | 3: F2 | 4: 1/4 F2&C3 C3 | 5: 1/2 F3 | 6: C3 |",
        );
        assert_eq!(shared(&part(&score, 0)), "1 0/1 div., 6 0/1 unis.");
        // In one voice after another each half says it for itself.
        let apart = part_with(&score, 0, Halves::Apart);
        assert_eq!(shared(&apart), "2 0/1 div., 3 0/1 unis., 4 0/1 div.");
    }

    #[test]
    fn what_a_half_does_by_itself_has_its_name() {
        let score = cellos(
            "1: 1/4 A3&C4 C4&E4 | 2: 1/2 A3&C4 | 3: G3 | 4: G3 | 5: C3 | 6: A3&C4 | 7: rest | 8: C3 |",
            "1: 1/2 F3 | 2: F3 | 3: E3 | 4: E3 | 5: C3 | 6: rest | 7: A3&C4 | 8: C3 |",
        );
        let wanted = "1 0/1 div., 1 0/1 upper half div., 3 0/1 upper half unis., 5 0/1 unis., \
            6 0/1 upper half div., 7 0/1 lower half div., 8 0/1 unis.";
        assert_eq!(shared(&part(&score, 0)), wanted);
        assert_eq!(shared(&full_score(&score)), wanted);
    }

    #[test]
    fn halves_that_meet_on_the_same_double_stop_after_one_was_told_of_itself_are_told_again() {
        let score = cellos(
            "1: 1/4 A3&C4 C4&E4 | 2: 1/2 G3 | 3: C3 | 4: F2&C3 | 5: F2&C3 | 6: C3 |",
            "1: 1/2 F3 | 2: E3 | 3: A2 | 4: F2&C3 | 5: F2&C3 | 6: C3 |",
        );
        let wanted =
            "1 0/1 div., 1 0/1 upper half div., 2 0/1 upper half unis., 4 0/1 div., 6 0/1 unis.";
        assert_eq!(shared(&part(&score, 0)), wanted);
    }

    #[test]
    fn over_two_staves_nothing_is_said_before_the_first_note() {
        let score = cellos(
            "1: rest | 2: 1/2 C3 | 3: rest | 4: C3 |",
            "1: rest | 2: 1/2 F3 | 3: rest | 4: F3 |",
        );
        let page = part(&score, 0);
        let bars = &page.partings[0].alone[0].staff.bars;
        assert_eq!(words(bars), "2 0/1 div.");
        let again: Vec<bool> = bars.iter().map(|bar| bar.who.is_some()).collect();
        assert_eq!(again, [false, true, true, true]);
    }

    #[test]
    fn over_two_staves_it_is_said_where_the_halves_come_together() {
        // They cross in the first bar.
        let score = cellos(
            "1: 1/2 C3 | 2: E3&G3 | 3: E3&G3 | 4: C3 | 5: C3 |",
            "1: 1/2 F3 | 2: C3 | 3: C3 | 4: C3 | 5: C3 |",
        );
        let alone = |edition: &Edition| -> Vec<String> {
            let [parting] = &edition.partings[..] else { panic!("{:?}", edition.partings) };
            parting.alone.iter().map(|one| words(&one.staff.bars)).collect()
        };
        let page = part(&score, 0);
        assert_eq!(alone(&page), ["1 0/1 div., 2 0/1 upper half div., 4 0/1 unis.", ""]);
        let again = |bar: usize| page.partings[0].alone[0].staff.bars[bar].who.clone().unwrap().1;
        assert_eq!(again(1), DirectionKind::Who("div.".into()));
        assert_eq!(again(4), DirectionKind::Who("unis.".into()));
        // In a score their names stand before them.
        assert_eq!(alone(&full_score(&score)), ["1 0/1 div., 2 0/1 div., 4 0/1 unis.", ""]);
    }
}
