//! Pages that are tried: the choice of lines and pages for staves of one size, and of that size.

use std::collections::BTreeSet;
use std::ops::Range;

use ripieno_compiler::diagnostics::Span;
use ripieno_compiler::music::Time;

use super::breaking::{self, Pause, Plan, Room, Seam, Stack};
use super::measures::SYSTEM_GAP;
use super::music::Music;
use super::seams::{pauses, seams};
use super::spacing::{BarSpace, Widths, standing};
use super::stand::Spread;
use super::survey::Surveyed;
use super::system::{Setting, System};
use super::{frame, heading, line_width, measures, size, stand, system};
use crate::page::{Draw, Mark, Page, Pages, Turn};
use crate::paper::{MARGINS, Setup};
use crate::rows::Stretch;
use crate::sheet::{Bar, Sheet, Staff};

mod sizes;

use sizes::{SHORT, WORTH, other_size};

/// Guesses at the height of lines that are tried where they save a page.
const TIGHTER: [f64; 2] = [0.78, 0.9];
/// How many times what a page costs otherwise it costs there.
const DEAR: f64 = 6.0;

/// The same where they fill pages.
const CLOSER: [f64; 2] = [0.85, 0.7];
const SLIGHTLY_CLOSER: f64 = 0.9;
/// By which part of a page more pages may stop short of the foot for the sake of more lines. Our heuristic.
const STOPS: f64 = 0.05;
/// The part of a page that may be left over between its systems before that is tried. Our heuristic.
const LOOSE: f64 = 0.2;
/// How full lines should be of what a page has room for, and by how much bars are set wider for it at most.
/// Our heuristic.
const FULL: f64 = 0.86;
const WIDEST: f64 = 1.4;
/// Pages that are laid out.
struct Attempt<D> {
    pages: Pages,
    drawn: D,
    /// The mean part of its pages that systems leave while they stand as near as they can.
    loose: f64,
    /// How many systems there are, and how many places within them at which one should begin.
    systems: usize,
    seams: usize,
    /// How many systems begin a bar or two beside such a place.
    torn: usize,
    /// On how many pages of a score systems crowd one another.
    crowded: usize,
    /// By which part of themselves pages of a score stop short of the foot, together.
    short: f64,
}

impl<D> Attempt<D> {
    /// Does it begin its lines where one expects it, no less than another one? Where that has lines beside such a
    /// place already, one more of them may stand for two places that are no longer within lines. Our heuristic.
    fn goes_with(&self, other: &Attempt<D>) -> bool {
        let astray = |attempt: &Attempt<D>| attempt.seams + 2 * attempt.torn;
        let as_good = self.seams <= other.seams && self.torn <= other.torn;
        as_good || other.torn > 0 && astray(self) <= astray(other)
    }
}

/// How systems are guessed and lines are weighed.
#[derive(Clone, Copy)]
struct Guess {
    /// How high lines are, in proportion to what can be said of it before they are drawn.
    slack: f64,
    /// By how much more room bars should have than the least that reads well.
    ease: f64,
    /// What a page costs.
    page: f64,
}

/// Sets bars of which each has room in a line, with staves of that height or, where a system is higher
/// than the page, smaller ones.
pub(super) fn set<D: Draw>(
    music: &mut Music,
    surveyed: &[Surveyed],
    (setup, mut height): (&Setup, f64),
    new: &impl Fn() -> D,
) -> (Pages, D) {
    loop {
        let layout = Layout::new(music.sheet(), setup, surveyed, height / 4.0);
        if let Some(mut best) = layout.best(music, new) {
            if !music.sheet().is_part && setup.staff_height.is_none() && !setup.bare {
                best = other_size(best, (music, surveyed), (setup, height), new);
            }
            return (best.pages, best.drawn);
        }
        // Even one system is higher than the page: smaller staves.
        if height < 1.0 {
            return layout.forced(music, new);
        }
        height *= 0.93;
    }
}

/// Everything that is fixed once the size of the staves is.
struct Layout<'a> {
    setup: &'a Setup,
    surveyed: &'a [Surveyed],
    widths: Vec<Widths>,
    /// Millimetres in a staff space.
    space: f64,
    pauses: Vec<Pause>,
    seams: Vec<Seam>,
    room: Room,
    top: (f64, f64),
}

impl<'a> Layout<'a> {
    fn new(sheet: &Sheet, setup: &'a Setup, surveyed: &'a [Surveyed], space: f64) -> Layout<'a> {
        let (_, height) = size(setup);
        let width = line_width(setup, space);
        let top = (heading::height(sheet, width, space), heading::running_height(space));
        let foot = |first: bool| heading::foot_height(sheet, first, (width, space));
        let room = (height - MARGINS.top - MARGINS.bottom) / space;
        Layout {
            setup,
            surveyed,
            widths: surveyed.iter().map(|bar| bar.widths).collect(),
            space,
            pauses: pauses(sheet, surveyed),
            seams: seams(sheet, surveyed),
            room: Room {
                width,
                indents: (frame::indent(sheet, true), frame::indent(sheet, false)),
                heights: (room - foot(true) - top.0, room - foot(false) - top.1),
                turned: sheet.is_part,
            },
            top,
        }
    }

    /// How high the staves of a system are together with what stands between them, by the parts that
    /// it has.
    fn stack(&self, sheet: &Sheet, slack: f64) -> Stack {
        let staves = sheet.staves.iter().enumerate();
        let usual: Vec<(usize, &Staff)> = staves.filter(|(_, staff)| staff.is_usual()).collect();
        // What is absent from some systems stands by itself here.
        let mut absent: Vec<usize> =
            self.surveyed.iter().flat_map(|bar| bar.absent.iter().copied()).collect();
        absent.sort_unstable();
        absent.dedup();
        let parts: Vec<&[(usize, &Staff)]> = usual
            .chunk_by(|(_, a), (staff, b)| a.part == b.part && !absent.contains(staff))
            .collect();
        let height = |part: &&[(usize, &Staff)]| {
            let joined = part.len() as f64 - 1.0;
            let gap = 4.0 + measures::STAFF_GAP;
            (gap + 0.9 + joined * (gap + 1.2)) * slack
        };
        let hides = self.setup.hide_empty;
        let plays = |bar: &Surveyed| {
            let plays = |part: &&[(usize, &Staff)]| {
                let (first, own) = part[0];
                let mut whole = usual.iter().filter(|(_, staff)| staff.part == own.part);
                let may_go = hides && self.may_go(own);
                !bar.absent.contains(&first)
                    && (!may_go || whole.any(|(staff, _)| !bar.idle[*staff]))
            };
            parts.iter().map(plays).collect()
        };
        Stack {
            heights: parts.iter().map(height).collect(),
            plays: self.surveyed.iter().map(plays).collect(),
            more: SYSTEM_GAP * 0.72 - (measures::STAFF_GAP + 0.9) * slack,
        }
    }

    /// May a staff be left out of systems in which it rests?
    fn may_go(&self, staff: &Staff) -> bool {
        match &self.setup.hidden {
            None => true,
            Some(players) => staff.players.iter().all(|player| players.contains(player)),
        }
    }

    fn breaks(&self, sheet: &Sheet, guess: Guess) -> breaking::Broken {
        self.planned(sheet, guess, |plan| plan.pages())
    }

    /// What is found by a plan of lines and pages.
    fn planned<T>(
        &self,
        sheet: &Sheet,
        Guess { slack, ease, page }: Guess,
        find: impl FnOnce(&Plan) -> T,
    ) -> T {
        let forced = |bars: &[usize]| -> Vec<bool> {
            let begins = |bar: &Bar| bar.begins_at == Time::ZERO && bars.contains(&bar.index);
            sheet.bars.iter().map(begins).collect()
        };
        let (mut lines, turns) = (forced(&self.setup.lines), forced(&self.setup.turns));
        let begins = sheet.bars.iter().map(|bar| !bar.headings.is_empty());
        lines.iter_mut().zip(begins).skip(1).for_each(|(line, begins)| *line |= begins);
        let reach = self.surveyed.iter().map(|bar| bar.reach);
        let reach: Vec<(f64, f64)> = reach.map(|(up, down)| (up * slack, down * slack)).collect();
        let plan = Plan {
            spaces: &self.widths,
            reach: &reach,
            stack: self.stack(sheet, slack),
            pauses: &self.pauses,
            line_before: &lines,
            page_before: &turns,
            seams: &self.seams,
            room: self.room,
            ease,
            page,
        };
        find(&plan)
    }

    /// The pages as full as can be; nothing where a system is higher than its page.
    fn best<D: Draw>(&self, music: &mut Music, new: &impl Fn() -> D) -> Option<Attempt<D>> {
        let is_part = music.sheet().is_part;
        for slack in [1.0, 1.08, 1.18, 1.3, 1.5] {
            let mut guess = Guess { slack, ease: 1.0, page: breaking::PAGE };
            let Some(mut best) = self.pages(music, guess, usize::MAX, new) else { continue };
            // How high lines are is guessed: perhaps it does with a page less.
            let fewer = best.pages.first_bars.len() - 1;
            if fewer > 0 && (is_part || fewer < SHORT && slack > 1.0) {
                let page = DEAR * breaking::PAGE;
                let tight = TIGHTER.into_iter().map(|slack| Guess { slack, ease: 1.0, page });
                let mut tight =
                    tight.filter_map(|guess| Some((guess, self.pages(music, guess, fewer, new)?)));
                if let Some((tighter, pages)) = tight.next() {
                    (guess, best) = (tighter, pages);
                }
            }
            // Or its pages have room for more lines, which are then less full.
            let count = best.pages.first_bars.len();
            for closer in CLOSER {
                if best.loose < LOOSE || count == 1 {
                    break;
                }
                let closer = Guess { slack: slack * closer, ..guess };
                match self.pages(music, closer, count, new) {
                    Some(pages) if pages.loose < best.loose => (guess, best) = (closer, pages),
                    _ => {}
                }
            }
            if best.torn > 0 && count <= SHORT {
                best = self.at_seams(best, music, guess, new);
            }
            if best.loose >= LOOSE && !self.setup.bare {
                best = self.wider(best, music, guess, new);
            }
            return Some(best);
        }
        None
    }

    /// The same bars with systems nearer to one another, if more of them then begin where the music does.
    fn at_seams<D: Draw>(
        &self,
        mut best: Attempt<D>,
        music: &mut Music,
        guess: Guess,
        new: &impl Fn() -> D,
    ) -> Attempt<D> {
        let count = best.pages.first_bars.len();
        for closer in CLOSER {
            let closer = Guess { slack: guess.slack * closer, ..guess };
            match self.pages(music, closer, count, new) {
                Some(pages) if pages.torn < best.torn && pages.loose < best.loose + WORTH => {
                    best = pages;
                }
                _ => {}
            }
        }
        best
    }

    /// The same bars in more lines, where pages have room for these.
    fn wider<D: Draw>(
        &self,
        best: Attempt<D>,
        music: &mut Music,
        guess: Guess,
        new: &impl Fn() -> D,
    ) -> Attempt<D> {
        let count = best.pages.first_bars.len();
        let wanted = (best.systems as f64 * FULL / (1.0 - best.loose)).floor();
        let most = (wanted / best.systems as f64).min(WIDEST);
        for ease in [most, most.powf(0.75), most.sqrt()] {
            if ease < 1.05 {
                break;
            }
            for closer in [1.0, SLIGHTLY_CLOSER] {
                let guess = Guess { ease, slack: guess.slack * closer, ..guess };
                match self.pages(music, guess, count, new) {
                    // Not at the price of lines that begin where nobody expects it, nor of a page that stops short of
                    // its foot; but of two pages one may yet be made with smaller staves.
                    Some(wider)
                        if wider.systems > best.systems
                            && wider.goes_with(&best)
                            && (wider.short < best.short + STOPS || count <= 2) =>
                    {
                        return wider;
                    }
                    // Where they stand closer they find no other lines, or no room.
                    _ if best.torn + best.seams == 0 => break,
                    _ => {}
                }
            }
        }
        self.at_more_seams(best, music, guess, new)
    }

    /// The same bars with one line more that begins where the music does, where a single page has room for it: two
    /// loose lines rather than one that is full and has that place within it.
    fn at_more_seams<D: Draw>(
        &self,
        best: Attempt<D>,
        music: &mut Music,
        guess: Guess,
        new: &impl Fn() -> D,
    ) -> Attempt<D> {
        let count = best.pages.first_bars.len();
        let room = best.loose * best.systems as f64 / (1.0 - best.loose);
        if count > 1 || best.seams == 0 || room < 1.0 {
            return best;
        }
        let eases = [WIDEST.sqrt(), WIDEST, WIDEST * WIDEST.sqrt()];
        let closer = [1.0, SLIGHTLY_CLOSER, CLOSER[0]].map(|closer| guess.slack * closer);
        let guesses = eases
            .into_iter()
            .flat_map(|ease| closer.into_iter().map(move |slack| Guess { ease, slack, ..guess }));
        let mut eased = guesses.filter_map(|guess| self.pages(music, guess, count, new));
        let better = |more: &Attempt<D>| {
            more.systems == best.systems + 1 && more.seams < best.seams && more.torn <= best.torn
        };
        eased.find(better).unwrap_or(best)
    }

    /// The pages, if there are at most so many and all systems fit on theirs.
    fn pages<D: Draw>(
        &self,
        music: &mut Music,
        guess: Guess,
        most: usize,
        new: &impl Fn() -> D,
    ) -> Option<Attempt<D>> {
        self.attempt(music, guess, (most, false), new)
    }

    fn forced<D: Draw>(&self, music: &mut Music, new: &impl Fn() -> D) -> (Pages, D) {
        let forced = self
            .attempt(
                music,
                Guess { slack: 1.5, ease: 1.0, page: breaking::PAGE },
                (usize::MAX, true),
                new,
            )
            .unwrap_or_else(|| unreachable!("whatever is too high is drawn all the same"));
        (forced.pages, forced.drawn)
    }

    fn attempt<D: Draw>(
        &self,
        music: &mut Music,
        guess: Guess,
        (most, force): (usize, bool),
        new: &impl Fn() -> D,
    ) -> Option<Attempt<D>> {
        let (breaks, begins_right) = self.breaks(music.sheet(), guess);
        if breaks.len() > most {
            return None;
        }
        let mut drawn = new();
        let count = breaks.len();
        let mut turns = Vec::new();
        let mut nudged: Vec<Span> = Vec::new();
        let mut begun = Vec::new();
        let mut hidden = BTreeSet::new();
        let mut loose: f64 = 0.0;
        let mut before: Option<Spread> = None;
        let mut crowded = 0;
        let mut short = 0.0;
        for (n, lines) in breaks.iter().enumerate() {
            let page = lines.first().zip(lines.last());
            let Some(bars) = page.map(|(first, last)| first.start..last.end) else { continue };
            let window = music.open(bars);
            let (sheet, spaces) = (window.sheet, window.spaces());
            let set = |lines: &[Range<usize>]| -> Vec<System> {
                lines.iter().map(|bars| self.system(sheet, spaces, bars.clone())).collect()
            };
            let mut systems = set(lines);
            let (from, to) = if n == 0 {
                (self.top.0, self.room.heights.0)
            } else {
                (self.top.1, self.room.heights.1)
            };
            let last = n + 1 == count;
            let close = stand::Close { last, score: !sheet.is_part, before };
            let (mut ys, left, mut spread) =
                stand::stand(&mut systems, sheet, (from, from + to), close);
            // Where it would stop short of its foot the page has more systems, if there is room. What is said
            // of the attempt is what it is without that, or others would be chosen for it.
            let closer = Guess { slack: guess.slack * CLOSER[1], ..guess };
            let in_more =
                |now: &[Range<usize>]| self.planned(sheet, closer, |plan| plan.in_more_lines(now));
            let mut now = lines.clone();
            while spread.spare > 0.0
                && let Some(more) = in_more(&now)
            {
                let mut closer = set(&more);
                let stood = stand::stand(&mut closer, sheet, (from, from + to), close);
                if stood.1 <= 0.0 || stood.2.crowded {
                    break;
                }
                (systems, now) = (closer, more);
                (ys, _, spread) = stood;
            }
            if left < -0.6 && !force {
                return None;
            }
            before = Some(spread);
            crowded += usize::from(spread.crowded);
            short += spread.spare / to;
            loose += left.max(0.0) / to / count as f64;
            let right_hand = (n % 2 == 0) == begins_right;
            let mut marks: Vec<Mark> = Vec::new();
            for system in &systems {
                let staves = sheet.staves.iter().enumerate();
                let (here, away): (Vec<_>, Vec<_>) =
                    staves.partition(|(staff, _)| system.shows(*staff));
                let shown = |player: &usize| here.iter().any(|(_, s)| s.players.contains(player));
                let players = away.iter().flat_map(|(_, staff)| staff.players.iter().copied());
                hidden.extend(players.filter(|player| !shown(player)));
            }
            let first = |line: &Range<usize>| &sheet.bars[line.start];
            let begin = now.iter().map(first).filter(|bar| bar.begins_at == Time::ZERO);
            begun.extend(begin.map(|bar| bar.index));
            nudged.extend(systems.iter().flat_map(|system| &system.nudged));
            if !sheet.is_part {
                frame::dividers(&mut marks, &systems, &ys, self.room.indents.1);
            }
            let floors = stand::floors(&systems, &ys);
            for ((system, y), floor) in systems.into_iter().zip(ys).zip(floors) {
                let own = system.marks(sheet, spaces, &floor).into_iter();
                marks.extend(own.map(|mark| mark.moved(0.0, y)));
            }
            if !self.setup.bare {
                heading::draw(
                    &mut marks,
                    sheet,
                    n,
                    right_hand,
                    (self.room.width, self.space),
                    from + to,
                );
            }
            if let Some(next) = breaks.get(n + 1).and_then(|page| page.first()) {
                let turned = self.room.turned && right_hand;
                if turned {
                    let pause = self.pauses[next.start];
                    turns.push(Turn {
                        after: sheet.bars[next.start].index - 1,
                        rest: (pause.before + pause.after) / sheet.bars[next.start].pace,
                        seconds: pause.before + pause.after,
                        note: last_note(&self.surveyed[..next.start]),
                        better: self.better_turn(sheet, lines, next.start),
                    });
                    heading::turn(&mut marks, pause, (self.room.width, self.space), from + to);
                }
            }
            let left = if right_hand { MARGINS.inner } else { MARGINS.outer } / self.space;
            let top = MARGINS.top / self.space;
            let marks = marks.into_iter().map(|mark| mark.moved(left, top)).collect();
            drawn.page(Page { size: size(self.setup), space: self.space, marks });
        }
        let sheet = music.sheet();
        let pages = Pages {
            title: format!("{} – {}", sheet.title, sheet.name),
            author: sheet.composer.clone(),
            first_bars: breaks
                .iter()
                .filter_map(|page| page.first())
                .map(|line| sheet.bars[line.start].index)
                .collect(),
            lines: begun,
            turns,
            hidden: hidden.into_iter().collect(),
            nudged,
            pages: Vec::new(),
        };
        let systems = breaks.iter().map(Vec::len).sum();
        let within = |line: &Range<usize>| {
            let inner = self.seams[line.clone()].iter().skip(1);
            inner.filter(|seam| seam.away == Some(0)).count()
        };
        let seams = breaks.iter().flatten().map(within).sum();
        let torn = breaks.iter().flatten().filter(|line| self.seams[line.start].tears()).count();
        Some(Attempt { pages, drawn, loose, systems, seams, torn, crowded, short })
    }

    /// The bar of a page before which the longest rest lies, if that is longer than where the page
    /// is turned, and long enough.
    fn better_turn(
        &self,
        sheet: &Sheet,
        lines: &[Range<usize>],
        turned: usize,
    ) -> Option<(usize, f64)> {
        let first = lines.first()?.start;
        let rest = |bar: usize| self.pauses[bar].before + self.pauses[bar].after;
        let best = (first + 1..turned).max_by(|a, b| rest(*a).total_cmp(&rest(*b)))?;
        let long_enough = rest(best) >= breaking::HASTY && rest(best) > rest(turned);
        long_enough.then(|| (sheet.bars[best].index, rest(best)))
    }

    fn system(&self, sheet: &Sheet, spaces: &Stretch<BarSpace>, bars: Range<usize>) -> System {
        let first = bars.start == 0 && !self.setup.bare;
        let next = sheet.bars.get(bars.end);
        let last = next.is_none_or(|next| !next.headings.is_empty());
        let bars_start = bars.start;
        let shown = self.shown(sheet, &bars);
        let indent = if first { self.room.indents.0 } else { self.room.indents.1 };
        let setting = Setting {
            width: self.room.width,
            indent,
            first,
            ragged: last && bars_start > 0 || self.setup.bare,
            space: self.space,
        };
        system::system(sheet, spaces, (bars, &shown), setting, &self.setup.nudges)
    }

    /// The staves that a system has: all, or those that play in it or are told something.
    fn shown(&self, sheet: &Sheet, bars: &Range<usize>) -> Vec<usize> {
        let all = standing(sheet, bars.clone());
        if !self.setup.hide_empty || bars.start == 0 && !self.setup.bare {
            return all;
        }
        let plays = |staff: &Staff| staff.bars[bars.clone()].iter().any(|bar| !bar.is_idle());
        let part_plays =
            |part: usize| sheet.staves.iter().filter(|staff| staff.part == part).any(plays);
        let stays = |&staff: &usize| {
            let staff = &sheet.staves[staff];
            part_plays(staff.part) || !self.may_go(staff)
        };
        let shown: Vec<usize> = all.iter().copied().filter(stays).collect();
        if shown.is_empty() { all } else { shown }
    }
}

/// The last note of some bars, in the source.
fn last_note(bars: &[Surveyed]) -> Option<Span> {
    bars.iter().rev().find_map(|bar| bar.last_note)
}
