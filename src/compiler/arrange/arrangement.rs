//! What each player sounds, with the role and the origin of every note.

use std::borrow::Borrow;
use std::ops::Range;
use std::sync::Arc;

use super::Doubt;
use super::kept::KeptWork;
use super::{Notes, PackedNote};
use crate::diagnostics::{Diagnostic, Span};
use crate::instruments::{Instrument, Tuning};
use crate::music::{Interval, Pitch, Time};
use crate::resolve::{
    Attached, Direction, Line, OfTwo, Piece, Player, Rest, Role, Scoring, Sound, Tuplet,
};

/// A scoring worked out: what every player of its ensemble sounds.
#[derive(Clone, Debug)]
pub struct Arrangement {
    /// The piece.
    pub piece: Arc<Piece>,
    /// The scoring.
    pub scoring: Arc<Scoring>,
    /// The year whose customs hold.
    pub era: i32,
    /// The players in score order.
    pub parts: Vec<Arc<Part>>,
    /// The scoring lines (those of kept scorings too) to which notes refer.
    pub lines: Vec<LineOrigin>,
    /// Where something else may sound than what is known, because the source has errors.
    pub doubt: Doubt,
    /// What was found on the way.
    pub diagnostics: Vec<Diagnostic>,
    /// The movements of which it is joined; none in a piece that is one.
    pub movements: Vec<ArrangedMovement>,
    pub(super) kept: KeptWork,
}

impl Arrangement {
    /// How many notes all parts have together.
    #[must_use]
    pub fn notes(&self) -> usize {
        self.parts.iter().map(|part| part.notes.len()).sum()
    }

    /// The players who read from one page with a player: the two halves of a section that divides, or
    /// he alone.
    #[must_use]
    pub fn desk(&self, player: usize) -> Range<usize> {
        let first = |place: usize| self.parts.get(place).map(|part| &part.player);
        let with = |one: usize, other: usize| {
            first(one).zip(first(other)).is_some_and(|(one, other)| one.divides_with(other))
        };
        let begin = player - usize::from(player > 0 && with(player - 1, player));
        begin..begin + 1 + usize::from(with(begin, begin + 1))
    }

    /// Those who read from one page, page by page.
    pub fn desks(&self) -> impl Iterator<Item = Range<usize>> {
        let first = |player: &usize| self.desk(*player).start == *player;
        (0..self.parts.len()).filter(first).map(|player| self.desk(player))
    }

    /// The scoring line of that number.
    #[must_use]
    pub fn line(&self, id: LineId) -> Option<&Arc<Line>> {
        self.kept.lines.get(id.index()).map(|given| &given.line)
    }
}

impl Arrangement {
    /// The same without what a next run would take over: the notes of parts as they are without the
    /// fermatas of others, and of kept scorings.
    #[must_use]
    pub fn without_memory(mut self) -> Arrangement {
        self.kept = KeptWork { lines: self.kept.lines, ..KeptWork::default() };
        self
    }

    /// The part of a player as its own lines have it, without the fermatas that others hold; `None`
    /// of an arrangement without memory.
    #[must_use]
    pub fn by_itself(&self, index: usize) -> Option<&Part> {
        self.kept.before_fermatas.get(index).map(|part| &**part)
    }

    /// The players to whom a scoring line speaks, by their indices, in its order.
    #[must_use]
    pub fn players_of(&self, id: LineId) -> &[usize] {
        self.kept.lines.get(id.index()).map_or(&[], |given| &given.players)
    }

    /// An arrangement of these parts that no scoring line gave, to try what comes behind.
    #[must_use]
    pub fn of_parts(piece: Piece, era: i32, parts: Vec<Part>) -> Arrangement {
        let scoring = Scoring {
            name: "village".into(),
            span: Span::default(),
            ensemble: 0,
            keep: None,
            keeps_lines: false,
            lines: Vec::new(),
            allows: Vec::new(),
            adrift: false,
        };
        Arrangement {
            piece: Arc::new(piece),
            scoring: Arc::new(scoring),
            era,
            parts: parts.into_iter().map(Arc::new).collect(),
            lines: Vec::new(),
            doubt: Doubt::default(),
            diagnostics: Vec::new(),
            movements: Vec::new(),
            kept: KeptWork::default(),
        }
    }
}

/// A movement in an arrangement of the whole.
#[derive(Clone, Debug)]
pub struct ArrangedMovement {
    /// The movement by itself.
    pub arrangement: Arc<Arrangement>,
    /// Where it begins in the whole, in written time.
    pub start: Time,
    /// Index of its first bar in the whole.
    pub first: usize,
    /// For each part of the whole, the index of that player among those of the movement; `None` for
    /// who has nothing to do with it.
    pub players: Vec<Option<usize>>,
    /// How many scoring lines those before it have.
    pub lines: usize,
}

/// A scoring line as the origin of notes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct LineOrigin {
    /// The line.
    pub span: Span,
    /// The role that it gives, where it gives one.
    pub role: Option<Role>,
    /// Was it taken over from a kept scoring?
    pub kept: bool,
    /// Do its players have lyrics, singers or not?
    pub lyrics: bool,
    /// Do its players have chord symbols?
    pub chords: bool,
    /// Do its players have the figures of the harmony under their bass?
    pub figures: bool,
    /// The voice whose bass they realise.
    pub realises: Option<usize>,
}

/// What a scoring line claims of a player without a break.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Claim {
    /// From here, in written time …
    pub from: Time,
    /// … up to here.
    pub to: Time,
    /// The line.
    pub line: LineId,
}

impl Claim {
    /// Does it hold at a time?
    #[must_use]
    pub fn holds(&self, time: Time) -> bool {
        self.from <= time && time < self.to
    }
}

/// A scoring line by its number in [`Arrangement::lines`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct LineId(pub u32);

impl LineId {
    /// The line at an index. A source is far too small for more lines than fit.
    #[must_use]
    pub fn new(index: usize) -> LineId {
        LineId(u32::try_from(index).unwrap_or(u32::MAX))
    }

    /// The index of the line.
    #[must_use]
    #[inline]
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// What one player (or section) sounds.
#[derive(Clone, PartialEq, Debug)]
pub struct Part {
    /// The player.
    pub player: Arc<Player>,
    /// Notes in order of time; they do not overlap.
    pub notes: Notes,
    /// Tuplets in order of time.
    pub tuplets: Vec<Tuplet>,
    /// The rests of the source where the player has them, in order of time. Where he is silent for
    /// another reason there is none.
    pub rests: Vec<Rest>,
    /// Dynamics, hairpins, words and techniques in order of time: those of everybody, those of
    /// the voices played, and those of the scoring lines.
    pub directions: Vec<Direction>,
    /// Which line claims what of the piece, in order.
    pub claims: Vec<Claim>,
    /// Instruments in hand: from which time on, and which. Never empty; the first is in hand from
    /// the beginning.
    pub instruments: Vec<(Time, &'static Instrument)>,
    /// Keys or crooks in force: from which time on, and which. Never empty for an instrument that
    /// has keys or crooks and an ensemble line that names one. One that was put in before the
    /// instrument in hand was taken belongs to another.
    pub tunings: Vec<(Time, &'static Tuning)>,
    /// Tuning of drums in force: from which time on, and the notes (sounding, from the lowest).
    pub drums: Vec<(Time, Vec<Pitch>)>,
    /// The scoring lines that let the player take an instrument, a key or a tuning of drums: from
    /// which time on, and which line.
    pub takes: Vec<(Time, LineId)>,
    /// Where the player waits with a fermata of others without a note of his that ends there, in
    /// order of time.
    pub waits: Vec<Wait>,
}

/// A fermata of others, under which a player holds on to a note or rests. All go on where it ends.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Wait {
    /// Where the shortest note begins that has the fermata, in written time.
    pub from: Time,
    /// Where it ends: the fermata stands over the last value with which it is written.
    pub to: Time,
    /// Does the player hold a note on beyond the end? It is written as two that are tied, and the
    /// first has the fermata. If not, he rests.
    pub sounds: bool,
    /// Do the others rest there? The fermata of a rest stands over the first value with which it is
    /// written, not over the last.
    pub on_rest: bool,
}

impl Part {
    /// The scoring line that claims the player at a time.
    #[must_use]
    pub fn line_at(&self, time: Time) -> Option<LineId> {
        let after = self.claims.partition_point(|claim| claim.from <= time);
        let claim = self.claims.get(after.checked_sub(1)?)?;
        claim.holds(time).then_some(claim.line)
    }

    /// The scoring line that gave a note of the part to the player; one that is not there where no
    /// line did.
    #[must_use]
    pub fn line_of(&self, note: &PackedNote) -> LineId {
        self.line_at(note.start()).unwrap_or(LineId(u32::MAX))
    }

    /// The fermatas of others that end after a time, in order.
    pub fn waits_after(&self, time: Time) -> impl Iterator<Item = &Wait> {
        self.waits[self.waits.partition_point(|wait| wait.to <= time)..].iter()
    }

    /// The rest of the source that the player has at a time.
    #[must_use]
    pub fn rest_at(&self, time: Time) -> Option<&Rest> {
        let after = self.rests.partition_point(|rest| rest.start <= time);
        let rest = self.rests.get(after.checked_sub(1)?)?;
        (time < rest.start + rest.length).then_some(rest)
    }

    /// The scoring line by which the player took something at a time.
    #[must_use]
    pub fn taken_by(&self, time: Time) -> Option<LineId> {
        let taken = self.takes.iter().find(|(at, _)| *at == time);
        taken.map(|(_, line)| *line)
    }

    /// The instrument in hand at a time, and since when.
    #[inline]
    fn in_hand(&self, time: Time) -> (Time, &'static Instrument) {
        let after = self.instruments.partition_point(|(from, _)| *from <= time);
        let in_hand = self.instruments.get(after.saturating_sub(1));
        in_hand.copied().unwrap_or((Time::ZERO, self.player.instrument))
    }

    /// The instrument in hand at a time.
    #[must_use]
    #[inline]
    pub fn instrument_at(&self, time: Time) -> &'static Instrument {
        match self.instruments[..] {
            [(_, only)] => only,
            _ => self.in_hand(time).1,
        }
    }

    /// The instrument that the player has in hand at the beginning.
    #[must_use]
    pub fn first_instrument(&self) -> &'static Instrument {
        self.instrument_at(Time::ZERO)
    }

    /// The player's name with the other instruments that he takes: "Flute 3 and Piccolo". A name of
    /// his own is followed by all of them: "Percussion: Triangle, Cymbals".
    #[must_use]
    pub fn full_name(&self) -> String {
        let name = &self.player.name;
        let mut taken: Vec<&Instrument> = vec![self.player.instrument];
        for (_, instrument) in &self.instruments {
            if !taken.iter().any(|known| std::ptr::eq(*known, *instrument)) {
                taken.push(instrument);
            }
        }
        let named = |of: &[&Instrument]| -> Vec<String> {
            of.iter().map(|instrument| instrument.name.clone()).collect()
        };
        if self.has_own_name() && taken.len() > 1 {
            return format!("{name}: {}", named(&taken).join(", "));
        }
        match named(&taken[1..]).split_last() {
            None => name.clone(),
            Some((last, [])) => format!("{name} and {last}"),
            Some((last, others)) => format!("{name}, {} and {last}", others.join(", ")),
        }
    }

    /// Has the player a name that is that of none of his instruments, such as "Percussion"?
    #[must_use]
    pub fn has_own_name(&self) -> bool {
        let name = &self.player.name;
        let begins = |with: &str| {
            name.strip_prefix(with).is_some_and(|rest| rest.is_empty() || rest.starts_with(' '))
        };
        let named =
            |instrument: &Instrument| begins(&instrument.name) || begins(&instrument.plural);
        !named(self.player.instrument) && !self.instruments.iter().any(|(_, taken)| named(taken))
    }

    /// The key or crook in force at a time.
    #[must_use]
    #[inline]
    pub fn tuning_at(&self, time: Time) -> Option<&'static Tuning> {
        match (&self.tunings[..], &self.instruments[..]) {
            ([], _) => return None,
            ([(from, tuning)], [(taken, _)]) => return (taken <= from).then_some(*tuning),
            _ => {}
        }
        let after = self.tunings.partition_point(|(from, _)| *from <= time);
        let (from, tuning) = self.tunings.get(after.saturating_sub(1))?;
        (self.in_hand(time).0 <= *from).then_some(*tuning)
    }

    /// The way from written to sounding pitch at a time.
    #[must_use]
    #[inline]
    pub fn transposition_at(&self, time: Time) -> Interval {
        self.tuning_at(time)
            .map_or_else(|| self.instrument_at(time).transposition, |tuning| tuning.transposition)
    }

    /// The written pitch of a sounding one at a time.
    #[must_use]
    #[inline]
    pub fn written(&self, sounding: Pitch, time: Time) -> Pitch {
        sounding.transposed_or_respelled(-self.transposition_at(time))
    }
}

/// One note that a player sounds, to be made or changed; parts keep it as a [`PackedNote`]. Which line gave it, [`Part::line_of`] says, so that those whom
/// different lines give the same can share it.
#[derive(Clone, PartialEq, Debug)]
pub struct SoundingNote {
    /// Where it begins, in written time (repeats once).
    pub start: Time,
    /// How long it sounds.
    pub length: Time,
    /// What it sounds.
    pub sound: Sound,
    /// Marks, slurs and grace notes (sounding pitch).
    pub attached: Attached,
    /// What it is for.
    pub role: Role,
    /// Is it to be judged as a solo?
    pub solo: bool,
    /// The note in the source that it comes from (or the chord, for derived notes).
    pub source: Span,
}

/// The two notes of a tremolo between two, of which one stands at a place: side by side, and of one
/// length. `None` where they are not, as where a line begins or ends between them: then each is a
/// note by itself.
#[must_use]
pub fn tremolo_of_two<N: Borrow<PackedNote>>(
    notes: &[N],
    place: usize,
) -> Option<[&PackedNote; 2]> {
    let first = match notes.get(place)?.borrow().attached().of_two? {
        OfTwo::First => place,
        OfTwo::Second => place.checked_sub(1)?,
    };
    let [one, two] = notes.get(first..first + 2)? else { return None };
    let (one, two): (&PackedNote, &PackedNote) = (one.borrow(), two.borrow());
    let places = (one.attached().of_two?, two.attached().of_two?);
    let together = places == (OfTwo::First, OfTwo::Second)
        && one.end() == two.start()
        && one.length() == two.length();
    together.then_some([one, two])
}

impl SoundingNote {
    /// Where it ends.
    #[must_use]
    #[inline]
    pub fn end(&self) -> Time {
        self.start + self.length
    }
}
