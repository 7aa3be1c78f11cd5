//! All players of all choirs over all slots: what is worked out so far, and how it is worked out.
//!
//! The choirs are worked out one after another, the largest first, each against all that is heard
//! already; up to four leaders of a choir are voiced together, then the others join one by one.

use std::ops::Range;
use std::rc::Rc;
use std::sync::Arc;

use super::cost::{KnownWants, MOST, REST, Row, Wants};
use super::ear::{Ear, Hearing, Held};
use super::heights::Heights;
use super::join;
use super::seats::{Choir, Seat};
use super::settled::{self, Settled};
use super::slots::Slot;
use super::solve::{self, Voices};
use super::voicings::{Desk, Known};
use crate::resolve::Form;

pub(super) struct Board<'b> {
    pub(super) seats: &'b [Seat],
    pub(super) slots: &'b [Slot],
    hearing: Hearing<'b>,
    /// What is heard at the slots, as far as it was asked for.
    pub(super) ears: Vec<Ear>,
    pub(super) wants: Vec<Rc<Wants>>,
    /// For each slot and seat the height that it holds, or [`REST`].
    pub(super) heights: Heights,
}

impl<'b> Board<'b> {
    pub(super) fn new(seats: &'b [Seat], slots: &'b [Slot], hearing: Hearing<'b>) -> Board<'b> {
        let mut known = KnownWants::default();
        let wants = slots.iter().map(|slot| known.of(&slot.chord, slot.key)).collect();
        let heights = Heights::resting(slots.len(), seats.len());
        let ears = Vec::with_capacity(slots.len());
        Board { seats, slots, hearing, ears, wants, heights }
    }

    /// Listens to the slots before that one.
    pub(super) fn hear_until(&mut self, after: usize) {
        for at in self.ears.len()..after {
            let ear = self.hearing.ear((self.slots, self.seats), at);
            self.ears.push(ear);
        }
    }

    /// Works out all choirs, passage by passage; what an earlier run knows is taken over, and what
    /// holds now is put down for the next.
    pub(super) fn solve(
        &mut self,
        form: &Form,
        before: Option<&Settled>,
        mut now: Option<&mut Settled>,
    ) {
        let mut choirs: Vec<(usize, Choir)> = Vec::new();
        for seat in self.seats {
            match choirs.iter_mut().find(|(_, choir)| *choir == seat.choir) {
                Some((count, _)) => *count += 1,
                None => choirs.push((1, seat.choir)),
            }
        }
        choirs.sort_by_key(|&(count, choir)| (std::cmp::Reverse(count), choir));
        let of_seats = settled::of_seats(self);
        let mut known: Vec<Known> = choirs.iter().map(|_| Known::default()).collect();
        for passage in settled::passages(form, self.slots) {
            let ahead = settled::with_ahead(self.slots, &passage);
            self.hear_until(ahead.end);
            // The next passage looks back at the last slot of this one.
            let heard = passage.start.saturating_sub(1)..passage.end - 1;
            let remembers = before.is_some() || now.is_some();
            let question = remembers.then(|| settled::question(self, &of_seats, &passage));
            let known_heights = before.zip(question).and_then(|(before, q)| before.get(q));
            match known_heights {
                Some(heights) => self.heights.put_all(passage.clone(), heights),
                None => {
                    for (&(_, choir), known) in choirs.iter().zip(&mut known) {
                        for (within, seats) in self.within(choir, ahead.clone()) {
                            self.solve_passage(within, &Desk::new(&seats), known);
                        }
                    }
                    self.heights.rest(passage.end..ahead.end);
                }
            }
            if let Some((now, question)) = now.as_mut().zip(question) {
                let new = || self.heights.within(passage).into();
                now.put(question, known_heights.map_or_else(new, Arc::clone));
            }
            self.ears[heard].iter_mut().for_each(Ear::forget);
        }
    }

    /// The lowest note that others of his choir hold at a slot.
    pub(super) fn above(&self, at: usize, seat: usize) -> Option<i16> {
        let others = self.seats.iter().zip(self.heights.at(at)).enumerate();
        let of_choir = others
            .filter(|(other, (own, _))| *other != seat && own.choir == self.seats[seat].choir);
        of_choir.map(|(_, (_, height))| height).filter(|height| *height != REST).min()
    }

    /// Where in a passage the same players of a choir go on without a break, with their seats.
    fn within(&self, choir: Choir, passage: Range<usize>) -> Vec<(Range<usize>, Vec<usize>)> {
        let mut passages: Vec<(Range<usize>, Vec<usize>)> = Vec::new();
        for at in passage {
            let slot = &self.slots[at];
            let of_choir = |seat: &usize| self.seats[*seat].choir == choir && slot.active[*seat];
            let seats: Vec<usize> = (0..self.seats.len()).filter(of_choir).collect();
            match passages.last_mut() {
                Some((range, same)) if range.end == at && slot.joined && *same == seats => {
                    range.end += 1;
                }
                _ if seats.is_empty() => {}
                _ => passages.push((at..at + 1, seats)),
            }
        }
        passages
    }

    fn solve_passage(&mut self, passage: Range<usize>, desk: &Desk, known: &mut Known) {
        let first = passage.start;
        let entry = first.checked_sub(1).filter(|_| self.slots[first].joined).map(|before| {
            let row: Row = std::array::from_fn(|leader| {
                desk.leaders.get(leader).map_or(REST, |&seat| self.heights.of(before, seat))
            });
            (solve::stage(self, desk, before, known), row)
        });
        let entry = entry.as_ref().filter(|(_, row)| *row != [REST; MOST]);
        let stages = solve::stages(self, desk, passage.clone(), known);
        let (_, rows) = solve::way(&stages, entry.map(|(stage, row)| (stage, *row)));
        for (at, row) in passage.clone().zip(rows) {
            for (leader, &seat) in desk.leaders.iter().enumerate() {
                self.heights.put(at, seat, row[leader]);
            }
        }
        for &seat in &desk.followers {
            join::join(self, seat, passage.clone());
        }
        // Whoever came first did not know of those who came later.
        if !desk.followers.is_empty() {
            for &seat in desk.leaders.iter().chain(&desk.followers) {
                if self.shares(seat, &passage) {
                    join::join(self, seat, passage.clone());
                }
            }
        }
        // Who came last may have gone with the bass to a leading note that somebody has above.
        for &seat in desk.leaders.iter().chain(&desk.followers) {
            if passage.clone().any(|at| self.doubles_the_bass(seat, at)) {
                join::join(self, seat, passage.clone());
            }
        }
        // Where a section crosses, its leader finds another way, and those behind him follow.
        for &leader in &desk.leaders {
            let section: Vec<usize> = desk
                .followers
                .iter()
                .copied()
                .filter(|&other| self.seats[other].is_of_section(&self.seats[leader]))
                .collect();
            let crosses = |at: usize| {
                section.iter().any(|&other| {
                    let (one, two) = (self.heights.of(at, leader), self.heights.of(at, other));
                    one != REST && two != REST && one != two && (one < two) == (leader < other)
                })
            };
            if passage.clone().any(crosses) {
                join::join(self, leader, passage.clone());
                for &seat in &section {
                    join::join(self, seat, passage.clone());
                }
            }
        }
    }

    /// Has a player a tender note that another of his choir has with the bass?
    fn doubles_the_bass(&self, seat: usize, at: usize) -> bool {
        let (own, height, ear) = (&self.seats[seat], self.heights.of(at, seat), &self.ears[at]);
        let with_bass = |seat: usize| {
            ear.leans_on_bass(&self.seats[seat]) && ear.is_with_bass(self.heights.of(at, seat))
        };
        let same = |other: usize| {
            let there = self.heights.of(at, other);
            self.seats[other].choir == own.choir && there != REST && (there - height) % 12 == 0
        };
        height != REST
            && self.wants[at].tender(height)
            && !with_bass(seat)
            && (0..self.seats.len()).any(|other| other != seat && same(other) && with_bass(other))
    }

    /// Does a player share a note with one of his choir, anywhere in a passage, with whom he should not?
    fn shares(&self, seat: usize, passage: &Range<usize>) -> bool {
        let own = &self.seats[seat];
        let fellows = self.seats.iter().enumerate();
        let mut fellows =
            fellows.filter(|(other, fellow)| *other != seat && own.parts_from(fellow));
        fellows.any(|(other, _)| {
            passage.clone().any(|at| {
                let height = self.heights.of(at, seat);
                height != REST && height == self.heights.of(at, other)
            })
        })
    }

    /// What others hold at a slot: those who are written or kept, and those who are worked out.
    pub(super) fn others(
        &self,
        at: usize,
        left_out: impl Fn(usize) -> bool,
    ) -> impl Iterator<Item = Held> {
        let worked_out = (0..self.seats.len())
            .filter(move |seat| !left_out(*seat))
            .map(move |seat| (self.seats[seat].choir, self.heights.of(at, seat)));
        self.ears[at].fixed().iter().copied().chain(worked_out)
    }

    /// How others move to a slot, each movement once for each choir.
    pub(super) fn moves(
        &self,
        at: usize,
        left_out: impl Fn(usize) -> bool,
    ) -> Vec<(Choir, (i16, i16))> {
        let Some(before) = at.checked_sub(1).filter(|_| self.slots[at].joined) else {
            return Vec::new();
        };
        let mut moves: Vec<(Choir, (i16, i16))> = self
            .others(before, &left_out)
            .zip(self.others(at, &left_out))
            .map(|((choir, from), (_, to))| (choir, (from, to)))
            .filter(|&(_, (from, to))| from != REST && to != REST && from != to)
            .collect();
        moves.sort_unstable();
        moves.dedup();
        moves
    }

    /// How the outer voices move to a slot.
    pub(super) fn voices(&self, at: usize) -> Voices {
        let before = at.checked_sub(1).filter(|_| self.slots[at].joined);
        Voices {
            from: before.and_then(|before| self.ears[before].outer),
            to: self.ears[at].outer,
            before: before.and(self.ears[at].before),
        }
    }
}
