//! Which bars make a line and which lines a page: the cheapest way through the whole part, in which
//! lines that are too full or too loose cost, and pages that must be turned while playing.

use std::ops::Range;

use super::spacing::Widths;

/// What a page break in front of a bar is worth.
#[derive(Clone, Copy, Default, Debug)]
pub(super) struct Pause {
    /// Seconds of rest before it and behind it.
    pub before: f64,
    pub after: f64,
}

/// What the music says of a line that begins with a bar.
#[derive(Clone, Copy, Default, Debug)]
pub(super) struct Seam {
    /// Bars to the nearest place where the eye expects a new line: a repeat, a double bar, a rehearsal
    /// mark, the beginning, the end; nothing where there is none but the ends.
    pub away: Option<usize>,
    /// Do players come here from elsewhere, or is it behind where they leave (Fine, D.C.)?
    pub section: bool,
    /// Does a break here tear an ending?
    pub ending: bool,
    /// What does a break here tear, on all staves?
    pub torn: Torn,
}

/// How many curves, hairpins and cues go over a bar line.
#[derive(Clone, Copy, Default, PartialEq, Eq, Debug)]
pub(super) struct Torn {
    pub slurs: u8,
    pub hairpins: u8,
    /// Of one voice no more than one, however many heads it ties.
    pub ties: u8,
    pub cues: u8,
}

impl Seam {
    /// Does a line that begins here tear off the head or the tail of what begins or ends nearby?
    pub(super) fn tears(self) -> bool {
        matches!(self.away, Some(1..=2))
    }

    /// Cost of a break before the bar. One bar away from where a line should begin is worst: the phrase
    /// then has a tail on the next line, or loses its head to the one before. Our heuristic; that lines
    /// begin there where they can is common practice.
    fn cost(self) -> f64 {
        let away = match self.away {
            None | Some(0) => 0.0,
            Some(1) => 2.6,
            Some(2) => 1.6,
            Some(3) => 0.8,
            Some(_) => 0.25,
        };
        away + if self.ending { TORN } else { 0.0 }
    }

    /// Cost of the slurs, hairpins, ties and cues that the break tears. Of many staves that are phrased alike the first
    /// says most, so that the cost stays below [`TORN_SPANS`].
    fn torn_cost(self) -> f64 {
        let Torn { slurs, hairpins, ties, cues } = self.torn;
        // Where the eye expects a new line it finds the rest of a cue there.
        let cues = if self.away == Some(0) { 0 } else { cues };
        let torn = f64::from(slurs)
            + HAIRPIN * f64::from(hairpins)
            + TIE * f64::from(ties)
            + CUE * f64::from(cues);
        TORN_SPANS * torn / (torn + SOME)
    }
}

/// What is known of the paper, in staff spaces.
#[derive(Clone, Copy, Debug)]
pub(super) struct Room {
    pub width: f64,
    /// Room before the staves of the first system and of later ones.
    pub indents: (f64, f64),
    /// Height for systems on the first page and on later ones.
    pub heights: (f64, f64),
    /// Is a player to turn the pages?
    pub turned: bool,
}

/// Bars with how high a system of each would be.
#[derive(Debug)]
pub(super) struct Plan<'a> {
    pub spaces: &'a [Widths],
    /// Reach above the uppermost line and below the lowest, and between them.
    pub reach: &'a [(f64, f64)],
    pub stack: Stack,
    pub pauses: &'a [Pause],
    /// Bars with which a line or a page must begin.
    pub line_before: &'a [bool],
    pub page_before: &'a [bool],
    pub seams: &'a [Seam],
    pub room: Room,
    /// By how much more room bars should have than the least that reads well.
    pub ease: f64,
    /// What a page costs, [`PAGE`] or more.
    pub page: f64,
}

/// How high staves are together: those of the parts that a line has, which are all in the first.
#[derive(Debug)]
pub(super) struct Stack {
    /// Height of each part with the gap below it.
    pub heights: Vec<f64>,
    /// For each bar, the parts that stand in its system.
    pub plays: Vec<Vec<bool>>,
    /// What comes to the sum of them.
    pub more: f64,
}

/// Cost of a page: fewer pages are better than slightly looser lines.
pub(super) const PAGE: f64 = 1.2;
/// Cost of a beginning on the left: none, since two pages that lie open need no turn at all.
const LEFT: f64 = -0.1;
/// Cost of a turn while playing, and of one with hardly time.
const TURN: f64 = 14.0;
const HASTY_TURN: f64 = 3.0;
/// Seconds of rest in which a page is turned at ease, and at all. Our heuristic.
pub(super) const EASY: f64 = 3.5;
pub(super) const HASTY: f64 = 1.5;
/// Cost of a last page with one line on it that fills no more than this of it; a system of a score may.
const ORPHAN: f64 = 12.0;
const ORPHANED: f64 = 0.25;

/// Cost of a section that begins within a line, and of a last line that stays short but is one.
const WITHIN: f64 = 1.0;
/// The same for any other place where the eye expects a new line.
const SEAM_WITHIN: f64 = 1.0;
const OWN_LINE: f64 = 0.6;

/// Cost of a break within an ending, whose bracket is then in two lines.
const TORN: f64 = 4.0;
/// Cost of a break that tears the slurs and hairpins of all staves, how many slurs cost half of it, and what part
/// of a slur a hairpin is, a tie, which is read on as easily as a note that is held, and a cue, which is only
/// listened for: small beside what a line costs that is too full, so that it decides between breaks that are
/// otherwise nearly as good. Our heuristic.
const TORN_SPANS: f64 = 1.0;
const SOME: f64 = 2.0;
const HAIRPIN: f64 = 0.7;
const TIE: f64 = 0.4;
const CUE: f64 = 0.5;

/// A last line is as wide as the others if its bars need not be stretched more than so.
pub(super) const MOST_STRETCH: f64 = 2.2;

/// Cost of a line whose last bars have no room for the tempo over them.
const EARLY_WORDS: f64 = 8.0;

const NEVER: f64 = 1e12;

/// Pages of lines of bars, and whether the first is a right-hand page: a part may also begin on the left, so
/// that its first two pages lie open.
pub(super) type Broken = (Vec<Vec<Range<usize>>>, bool);

impl Plan<'_> {
    /// The pages: of breakings into as many lines one that tears fewer slurs, hairpins, ties and cues, where it is nearly
    /// as good otherwise.
    pub(super) fn pages(&self) -> Broken {
        let plain = self.cheapest(0.0);
        let lines = |broken: &Broken| broken.0.iter().flatten().map(|line| line.start).collect();
        let torn =
            |lines: &[usize]| lines.iter().map(|&bar| self.seams[bar].torn_cost()).sum::<f64>();
        let before: Vec<usize> = lines(&plain);
        // For whole curves no line comes to the others, and no page.
        let whole = [1.0, 0.5].into_iter().filter(|_| torn(&before) > 0.0).find_map(|share| {
            let whole = self.cheapest(share);
            let now: Vec<usize> = lines(&whole);
            let as_many = now.len() == before.len() && whole.0.len() <= plain.0.len();
            (as_many && torn(&now) < torn(&before)).then_some(whole)
        });
        whole.unwrap_or(plain)
    }

    /// The cheapest pages, where what is torn costs that share of what it usually does.
    fn cheapest(&self, torn: f64) -> Broken {
        let bars = self.spaces.len();
        let ends: Vec<Vec<LineEnd>> = (0..bars).map(|start| self.line_ends(start, torn)).collect();
        let mut levels = Vec::new();
        let mut best = vec![[(NEVER, 0_usize, 0_usize); 2]; bars + 1];
        best[0][1].0 = 0.0;
        if self.room.turned {
            best[0][0].0 = LEFT;
        }
        for from in 0..bars {
            let ways: Vec<usize> = (0..2).filter(|&odd| best[from][odd].0 < NEVER).collect();
            if ways.is_empty() {
                continue;
            }
            let lines = self.lines(from, &ends, &mut levels);
            for (count, level) in levels[..lines].iter().enumerate() {
                for (step, way) in level.iter().enumerate() {
                    if way.cost >= NEVER || count == 0 {
                        continue;
                    }
                    let to = from + step;
                    for &odd in &ways {
                        let cost = best[from][odd].0
                            + way.cost
                            + self.page_cost((from, to), count, way.height, odd == 1);
                        let next = 1 - odd;
                        if cost < best[to][next].0 - 1e-9 {
                            best[to][next] = (cost, from, count);
                        }
                    }
                }
            }
        }
        let mut odd = usize::from(best[bars][1].0 < best[bars][0].0);
        let mut to = bars;
        let mut pages = Vec::new();
        while to > 0 {
            let (_, from, count) = best[to][odd];
            self.lines(from, &ends, &mut levels);
            pages.push(chosen(&levels, from, to, count));
            to = from;
            odd = 1 - odd;
        }
        pages.reverse();
        let right_hand = odd == 1 || pages.len() == 1;
        (pages, right_hand)
    }

    /// The bars of a page in one line more, none of them stretched much and none begun a bar or two beside
    /// where one expects it, nor with more such places within them than before.
    pub(super) fn in_more_lines(&self, page: &[Range<usize>]) -> Option<Vec<Range<usize>>> {
        let (from, to) = (page.first()?.start, page.last()?.end);
        let bars = self.spaces.len();
        let mut ends = vec![Vec::new(); bars];
        let goes = |line: &LineEnd| line.end <= to && line.stretch < MOST_STRETCH;
        let tears = |line: &LineEnd| line.end < to && self.seams[line.end].tears();
        for (start, lines) in ends.iter_mut().enumerate().take(to).skip(from) {
            *lines = self.line_ends(start, 1.0);
            lines.retain(|line| goes(line) && !tears(line));
        }
        let mut levels = Vec::new();
        let count = page.len() + 1;
        let found = self.lines(from, &ends, &mut levels) > count;
        let way = levels.get(count).filter(|_| found)?.get(to - from)?;
        let within = |lines: &[Range<usize>]| {
            let inner = lines.iter().flat_map(|line| line.start + 1..line.end);
            inner.filter(|bar| self.seams[*bar].away == Some(0)).count()
        };
        let lines = (way.cost < NEVER).then(|| chosen(&levels, from, to, count))?;
        (within(&lines) <= within(page)).then_some(lines)
    }

    fn page_cost(&self, (from, to): (usize, usize), lines: usize, height: f64, odd: bool) -> f64 {
        let room = if from == 0 { self.room.heights.0 } else { self.room.heights.1 };
        let full = (height / room).min(1.0);
        let last = to == self.spaces.len();
        let mut cost = self.page;
        if last {
            cost += if from > 0 && lines < 2 && full < ORPHANED { ORPHAN } else { 0.0 };
        }
        if last && from == 0 {
            cost += (0.3 - full).max(0.0) * 6.0;
        } else {
            // The last page of several too: the sum is least where all are equally full.
            cost += (1.0 - full).powi(2) * 7.0;
        }
        if self.room.turned && odd && !last {
            let pause = self.pauses[to];
            let rest = pause.before + pause.after;
            cost += if rest < HASTY {
                TURN
            } else if rest < EASY {
                HASTY_TURN
            } else {
                0.0
            };
        }
        cost
    }

    /// Ways to set lines from a bar on: for each number of lines, by how many bars they hold. They are
    /// written into what is given, whose room is used again; gives back how many there are.
    fn lines(&self, from: usize, ends: &[Vec<LineEnd>], levels: &mut Vec<Vec<Way>>) -> usize {
        let bars = self.spaces.len();
        let room = if from == 0 { self.room.heights.0 } else { self.room.heights.1 };
        let first = Way { cost: 0.0, height: 0.0, last: 0 };
        match levels.first_mut() {
            Some(level) => {
                level.clear();
                level.push(first);
            }
            None => levels.push(vec![first]),
        }
        let mut count = 1;
        loop {
            if levels.len() == count {
                levels.push(Vec::new());
            }
            let (done, next) = levels.split_at_mut(count);
            let (before, level) = (&done[count - 1], &mut next[0]);
            level.clear();
            for (step, way) in before.iter().enumerate() {
                let start = from + step;
                if way.cost >= NEVER || start >= bars {
                    continue;
                }
                if start > from && self.page_before[start] {
                    continue;
                }
                for line in &ends[start] {
                    let height = way.height + line.height;
                    if height > room && count != 1 {
                        continue;
                    }
                    let place = line.end - from;
                    if level.len() <= place {
                        level.resize(place + 1, Way { cost: NEVER, height: 0.0, last: 0 });
                    }
                    let cost = way.cost + line.cost;
                    if cost < level[place].cost - 1e-12 {
                        level[place] = Way { cost, height, last: line.end - start };
                    }
                }
            }
            if level.is_empty() {
                return count;
            }
            count += 1;
        }
    }

    /// Every line that can begin with a bar, where what is torn costs that share.
    fn line_ends(&self, start: usize, torn: f64) -> Vec<LineEnd> {
        let mut found = Vec::new();
        let bars = self.spaces.len();
        let indent = if start == 0 { self.room.indents.0 } else { self.room.indents.1 };
        let mut natural = 0.0;
        let mut least = 0.0;
        let mut lead = self.spaces[start].start.width();
        let mut within = 0.0;
        // The last words of a tempo within the line, and the ideal room from there on.
        let mut words: Option<(f64, f64)> = None;
        let (mut up, mut down): (f64, f64) = (0.0, 0.0);
        let mut shown = vec![start == 0; self.stack.heights.len()];
        let all: f64 = self.stack.heights.iter().sum();
        let mut stack = self.stack.more + if start == 0 { all } else { 0.0 };
        for end in start + 1..=bars {
            let space = &self.spaces[end - 1];
            if end - 1 > start {
                if self.line_before[end - 1] || self.page_before[end - 1] {
                    return found;
                }
                lead += space.lead.width();
                within += match self.seams[end - 1] {
                    Seam { section: true, .. } => WITHIN,
                    Seam { away: Some(0), .. } => SEAM_WITHIN,
                    _ => 0.0,
                };
            }
            if space.words > 0.0 && end - 1 > start {
                words = Some((space.words, 0.0));
            }
            if let Some((_, room)) = &mut words {
                *room += space.natural;
            }
            natural += space.natural;
            least += space.least;
            up = up.max(self.reach[end - 1].0);
            down = down.max(self.reach[end - 1].1);
            let courtesy = self.spaces.get(end).map_or(0.0, |next| next.courtesy.width());
            let room = self.room.width - indent - lead - courtesy;
            for (part, plays) in self.stack.plays[end - 1].iter().enumerate() {
                if *plays && !shown[part] {
                    shown[part] = true;
                    stack += self.stack.heights[part];
                }
            }
            // Where everybody rests all staves stand.
            let resting = !shown.contains(&true);
            let stack = if resting { self.stack.more + all } else { stack };
            let height = up + stack + down;
            if least > room {
                if end == start + 1 {
                    let cost = 400.0 * (least / room.max(1.0));
                    found.push(LineEnd { end, cost, height, stretch: room / natural });
                }
                return found;
            }
            let forced = end < bars && (self.line_before[end] || self.page_before[end]);
            let stretch = room / natural;
            let eased = stretch / self.ease;
            let mut cost = eased.ln().powi(2) * if eased < 1.0 { 26.0 } else { 9.0 };
            if stretch > MOST_STRETCH {
                cost += (stretch - MOST_STRETCH) * 6.0;
            }
            if (end == bars || forced) && stretch > MOST_STRETCH {
                let own = end == bars && start > 0 && self.seams[start].section;
                let short = 4.0 + 4.0 * (1.0 - natural / room);
                cost = cost.min(if own { OWN_LINE } else { short });
            }
            cost += within;
            if end < bars && !forced {
                cost += self.seams[end].cost() + torn * self.seams[end].torn_cost();
            }
            // Words over the last bars would begin before them.
            if words.is_some_and(|(words, room)| words > room * stretch) {
                cost += EARLY_WORDS;
            }
            found.push(LineEnd { end, cost, height, stretch });
        }
        found
    }
}

/// The lines of a page that was chosen.
fn chosen(levels: &[Vec<Way>], from: usize, to: usize, count: usize) -> Vec<Range<usize>> {
    let mut end = to;
    let mut lines = Vec::with_capacity(count);
    for level in (1..=count).rev() {
        let start = end - levels[level][end - from].last;
        lines.push(start..end);
        end = start;
    }
    lines.reverse();
    lines
}

/// A line that can begin with a bar.
#[derive(Clone, Copy, Debug)]
struct LineEnd {
    /// The bar behind its last one.
    end: usize,
    cost: f64,
    height: f64,
    /// How many times as wide its bars are as they would be otherwise.
    stretch: f64,
}

/// The cheapest way to so many lines.
#[derive(Clone, Copy, Debug)]
struct Way {
    cost: f64,
    height: f64,
    /// Bars in the last line.
    last: usize,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_break_costs_the_more_the_nearer_it_lies_to_where_a_line_should_begin() {
        let cost = |away: usize| Seam { away: Some(away), ..Seam::default() }.cost();
        assert!(cost(1) > cost(2) && cost(2) > cost(3) && cost(3) > cost(4) && cost(4) > cost(0));
        assert!(cost(4) == cost(40));
    }

    #[test]
    fn a_torn_cue_costs_less_than_a_torn_slur_and_nothing_where_a_line_should_begin() {
        let cost = |slurs, cues, away| {
            let torn = Torn { slurs, cues, ..Torn::default() };
            Seam { torn, away, ..Seam::default() }.torn_cost()
        };
        assert!(cost(0, 1, None) > 0.0 && cost(0, 1, Some(4)) > 0.0);
        assert!(cost(0, 1, None) < cost(1, 0, None));
        assert!(cost(0, 1, Some(0)) == 0.0 && cost(1, 0, Some(0)) > 0.0);
    }

    #[test]
    fn a_break_costs_the_more_the_more_it_tears_but_never_as_much_as_a_torn_ending() {
        let cost = |slurs, hairpins, ties| {
            let torn = Torn { slurs, hairpins, ties, cues: 0 };
            Seam { torn, ..Seam::default() }.torn_cost()
        };
        assert!(cost(0, 0, 0) == 0.0);
        assert!(cost(1, 0, 0) > cost(0, 1, 0) && cost(0, 1, 0) > cost(0, 0, 1));
        assert!(cost(0, 0, 1) > 0.0 && cost(0, 0, 2) > cost(0, 1, 0));
        assert!(cost(9, 4, 0) > cost(9, 0, 0) && cost(9, 0, 0) > cost(2, 0, 0));
        assert!(cost(u8::MAX, u8::MAX, u8::MAX) < TORN_SPANS);
    }
}
