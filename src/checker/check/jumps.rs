//! The time between two notes in which a player changes something, where they follow each other in the order in which
//! the music is played: one behind the other, or over a jump (at a repeat, a da capo, a dal segno, on to a later ending
//! or to the coda).

use super::context::Context;
use super::{Findings, Rule};
use crate::arrange::Part;
use crate::diagnostics::Diagnostic;
use crate::music::Time;

/// Two notes of a player that follow each other.
#[derive(Clone)]
pub(super) struct Between {
    /// Index of the first of them.
    pub before: usize,
    /// Index of the second.
    pub next: usize,
    /// Seconds between the two.
    pub rest: f64,
    /// Seconds from the beginning of the first to that of the second.
    pub apart: f64,
    /// Does the music jump between them?
    pub jumps: bool,
}

/// What follows what for a player, in the order in which bars are played.
pub(super) struct Following {
    /// The notes that follow each other over a jump, in the order in which they are played. Where the same two meet
    /// several times the shortest rest counts.
    pub jumps: Vec<Between>,
    /// Indices of the first notes of bars that the player reaches from the note before without a jump, in order.
    behind: Vec<usize>,
}

impl Following {
    pub fn of(cx: &Context, player: usize) -> Following {
        let (notes, times) = (&cx.part(player).notes, cx.times(player));
        let mut jumps: Vec<Between> = Vec::new();
        let mut behind: Vec<usize> = Vec::new();
        let mut now = 0.0;
        // The last note with its beginning and its end, and when the music has jumped since.
        let (mut last, mut jumped) = (None::<(usize, f64, f64)>, None);
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
                match (last, jumped) {
                    (Some((before, began, ended)), Some(at)) => {
                        let (rest, apart) = (begin - f64::min(ended, at), begin - began);
                        let same =
                            |other: &&mut Between| (other.before, other.next) == (before, first);
                        match jumps.iter_mut().find(same) {
                            Some(other) if other.rest <= rest => {}
                            Some(other) => (other.rest, other.apart) = (rest, apart),
                            None => {
                                jumps.push(Between {
                                    before,
                                    next: first,
                                    rest,
                                    apart,
                                    jumps: true,
                                });
                            }
                        }
                    }
                    _ => behind.push(first),
                }
                let end = now + times.end(after - 1) - from;
                last = Some((after - 1, now + times.begin(after - 1) - from, end));
                jumped = None;
            }
            now += until - from;
        }
        behind.sort_unstable();
        Following { jumps, behind }
    }

    /// Two notes that are played one behind the other, the second of which is the first from a time on. `None` too
    /// where they (also) meet over a jump, which leaves less time.
    pub fn around(&self, cx: &Context, player: usize, at: Time) -> Option<Between> {
        let (notes, times) = (&cx.part(player).notes, cx.times(player));
        let next = notes.partition_point(|note| note.start() < at);
        let before = next.checked_sub(1).filter(|_| next < notes.len())?;
        let one_bar = cx.bar(&notes[before]) == cx.bar(&notes[next]);
        if !one_bar && self.behind.binary_search(&next).is_err() {
            return None;
        }
        if self.jumps.iter().any(|jump| (jump.before, jump.next) == (before, next)) {
            return None;
        }
        let (began, ended) = times.of(before);
        let begins = times.begin(next);
        let (rest, apart) = (begins - ended, begins - began);
        Some(Between { before, next, rest, apart, jumps: false })
    }
}

impl Between {
    /// Since when that holds which is changed between them: what is taken back where the music goes back, and
    /// otherwise what is taken.
    pub fn since<T>(&self, part: &Part, all: &[(Time, T)]) -> Time {
        let note = if self.goes_back() { self.before } else { self.next };
        in_force(all, part.notes[note].start()).map_or(Time::ZERO, |(from, _)| *from)
    }

    fn goes_back(&self) -> bool {
        self.next <= self.before
    }

    /// "between bar 4, beat 1 and, after the jump, bar 1, beat 1".
    pub fn place(&self, cx: &Context, player: usize) -> String {
        let notes = &cx.part(player).notes;
        let [before, next] =
            [self.before, self.next].map(|index| cx.form.place(notes[index].start()));
        let jump = if self.jumps { ", after the jump," } else { "" };
        format!("between {before} and{jump} {next}")
    }

    /// Tells that the time is too short for a change that a scoring line asks for from a time on, unless that is
    /// allowed.
    pub fn tell(
        &self,
        cx: &Context,
        rule: &'static Rule,
        (player, at): (usize, Time),
        (message, help): (String, String),
        findings: &mut Findings,
    ) {
        let part = cx.part(player);
        let [before, next] = [self.before, self.next].map(|index| &part.notes[index]);
        let bars = cx.bars_from(before, if self.jumps { before } else { next });
        if cx.allowed(rule.code, Some(player), bars) {
            return;
        }
        let line = cx.takes_line(player, at);
        let finding = match line {
            Some(line) => Diagnostic::new(rule.severity, rule.code, line, message)
                .with_text(if self.goes_back() { "what is taken back" } else { "the change" })
                .with_label(before.source(), "the last note before it")
                .with_label(next.source(), "the first note after it"),
            None => cx.chain(rule, player, next, message),
        };
        let finding = finding
            .with_label(part.player.span, part.player.name.clone())
            .with_bars(cx.number(bars.first), cx.number(bars.after - 1))
            .with_player(&part.player.id)
            .with_help(help);
        findings.push_at(line, finding);
    }
}

/// What is in force at a time, with its beginning.
pub(super) fn in_force<T>(all: &[(Time, T)], at: Time) -> Option<&(Time, T)> {
    all[..all.partition_point(|(from, _)| *from <= at)].last()
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    /// What is found about time for changes in six bars for a horn, a flute, drums and violas, who play in the bars
    /// named.
    fn told(form: &str, bars: &[u32]) -> Vec<String> {
        let music = |note: &str, at: u32, mark: &str| -> String {
            let bar = |bar: u32| match (bars.contains(&bar), bar == at) {
                (true, true) => format!("{bar}: {mark} 1/1 {note} | "),
                (true, false) => format!("{bar}: 1/1 {note} | "),
                (false, _) => format!("{bar}: rest | "),
            };
            (1..=6).map(bar).collect()
        };
        let text = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key C major, tempo 1/4 at 120\n{form}\n6 end }}\n\
             voice middle {{ {} }}\nvoice high {{ {} }}\nvoice low {{ {} }}\nvoice strings {{ {} }}\n\
             ensemble few {{ era 1810\nhorn crook D, flute, timpani tuned G2, D3, viola 4 players }}\n\
             scoring few for few {{\nhorn plays middle as harmony\nflute plays high as melody\n\
             timpani plays low as rhythm\nviola plays strings as harmony\n\
             horn takes crook F bar 5\nflute takes piccolo bar 5\ntimpani takes tuned G2, C3 bar 5 }}\n",
            music("C4", 0, ""),
            music("D6", 0, ""),
            music("G2", 0, ""),
            music("G3", 5, "[muted]"),
        );
        let found = findings(&text);
        let found = found.iter().filter(|found| found.code.contains("no-time-to"));
        found.map(|found| found.message.clone()).collect()
    }

    /// Each player has one finding, and it is about these two notes.
    fn one_for_each(told: &[String], place: &str, mute: &str) {
        for name in ["Horn", "Flute", "Timpani"] {
            let his: Vec<_> = told.iter().filter(|told| told.starts_with(name)).collect();
            assert!(his.len() == 1 && his[0].contains(place), "{name}: {told:#?}");
        }
        let violas: Vec<_> = told.iter().filter(|told| told.starts_with("Violas")).collect();
        assert!(violas.len() == 1 && violas[0].contains(mute), "{told:#?}");
    }

    #[test]
    fn a_change_in_the_second_ending_is_met_from_the_last_note_before_the_first() {
        let form = "1..4 repeat\n4 ending 1\n5 ending 2";
        let place = "between bar 3, beat 1 and, after the jump, bar 5, beat 1";
        let mute = "0.0 seconds for \u{201c}con sord.\u{201d} before bar 5, beat 1, after the jump \
                    from bar 3;";
        one_for_each(&told(form, &[1, 2, 3, 4, 5, 6]), place, mute);
        // A rest in the first ending is no time: nobody comes to the second through it.
        one_for_each(&told(form, &[1, 2, 3, 5, 6]), place, mute);
        // Nor does a note in the first ending take the time of the rest before it (two seconds a bar).
        let rested = told("1..4 repeat\n4 ending 1\n5 ending 2", &[4, 5, 6]);
        assert!(!rested.iter().any(|told| told.contains("bar 4, beat 1 and bar 5")), "{rested:#?}");
    }

    #[test]
    fn a_change_in_the_coda_is_met_from_the_note_before_the_jump() {
        let form = "2 to coda\n4 da capo al coda\n5 coda";
        let place = "between bar 2, beat 1 and, after the jump, bar 5, beat 1";
        let mute = "0.0 seconds for \u{201c}con sord.\u{201d} before bar 5, beat 1, after the jump \
                    from bar 2;";
        one_for_each(&told(form, &[1, 2, 3, 4, 5, 6]), place, mute);
    }

    #[test]
    fn a_change_behind_a_fine_is_met_where_the_music_goes_on() {
        let all = [1, 2, 3, 4, 5, 6];
        let told = told("4 fine\n6 da capo al fine", &all);
        let there = told.iter().filter(|told| told.contains("between bar 4, beat 1 and bar 5"));
        assert_eq!(there.count(), 3, "{told:#?}");
        let back = told.iter().filter(|told| told.contains("after the jump, bar 1"));
        assert_eq!(back.count(), 3, "{told:#?}");
    }

    #[test]
    fn a_mute_that_comes_off_for_the_repeat_wants_its_time() {
        let told = told("1..6 repeat", &[1, 2, 3, 4, 5, 6]);
        let off = "0.0 seconds for \u{201c}senza sord.\u{201d} before bar 1, beat 1, after the jump \
                   from bar 6";
        assert!(told.iter().any(|told| told.contains(off)), "{told:#?}");
    }
}
