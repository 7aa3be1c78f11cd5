//! One bar of the form, kept small.

use std::ops::{Deref, DerefMut};
use std::sync::LazyLock;

use smallvec::SmallVec;

use super::{BarLine, Ending, Tempo};
use crate::diagnostics::Span;
use crate::music::{Key, Metre, Sign, Time};

/// One bar of the form. There may be twenty thousand, with little in the source of each: what most of
/// them do not have stands at a distance ([`Seldom`]), and is read as if it were the bar's own.
#[derive(Clone, Debug)]
pub struct Bar {
    /// Its number: 0 for a pick-up, then from 1.
    pub number: i32,
    /// Where it begins, in written time (repeats once).
    pub start: Time,
    /// How long it is: the metre's length, or shorter or longer where the form says so.
    pub length: Time,
    /// The metre in force.
    pub metre: Metre,
    /// The (sounding) key in force.
    pub key: Key,
    /// Does a repeated section begin here?
    pub repeat_starts: bool,
    /// Does a repeated section end with this bar?
    pub repeat_ends: bool,
    /// The line at its end, where it is not a plain one or a repeat.
    pub line: BarLine,
    seldom: Option<Box<Seldom>>,
}

// Of a bar with a whole note there are a dozen bytes in the source.
const _: () = assert!(size_of::<Bar>() <= 48);

/// What few bars have.
#[derive(Clone, PartialEq, Debug)]
pub struct Seldom {
    /// Of the up-beat of a section, which the line before that section parts from the bar to which
    /// it belongs and whose number it has: where in that bar it begins.
    pub up_beat: Option<Time>,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark that stands here.
    pub mark: Option<String>,
    /// How often the section is played that ends with this bar, if one does and it has no endings;
    /// two elsewhere.
    pub times: u8,
    /// The ending (first, second …) that this bar belongs to.
    pub ending: Option<Ending>,
    /// Signs that tell where to go on, in the order in which they stand.
    pub signs: SmallVec<[Sign; 1]>,
    /// Where the form says what begins with this bar: its tempo, or else its rehearsal mark, metre
    /// or key; `None` where it says nothing of it.
    pub span: Option<Span>,
}

/// A bar of which nothing is said.
impl Default for Seldom {
    fn default() -> Seldom {
        Seldom {
            up_beat: None,
            tempo: None,
            mark: None,
            times: 2,
            ending: None,
            signs: SmallVec::new(),
            span: None,
        }
    }
}

/// What a bar without anything seldom has of it.
static NOTHING: LazyLock<Seldom> = LazyLock::new(Seldom::default);

impl Deref for Bar {
    type Target = Seldom;

    fn deref(&self) -> &Seldom {
        self.seldom.as_deref().unwrap_or(&NOTHING)
    }
}

impl DerefMut for Bar {
    fn deref_mut(&mut self) -> &mut Seldom {
        self.seldom.get_or_insert_default()
    }
}

impl PartialEq for Bar {
    fn eq(&self, other: &Bar) -> bool {
        let own = |bar: &Bar| {
            let lines = (bar.repeat_starts, bar.repeat_ends, bar.line);
            (bar.number, bar.start, bar.length, bar.metre, bar.key, lines)
        };
        own(self) == own(other) && **self == **other
    }
}

impl Bar {
    /// A bar of a metre and a key that begins at a time, full and with nothing else.
    #[must_use]
    pub fn new(number: i32, start: Time, metre: Metre, key: Key) -> Bar {
        Bar {
            number,
            start,
            length: metre.bar_length(),
            metre,
            key,
            repeat_starts: false,
            repeat_ends: false,
            line: BarLine::Plain,
            seldom: None,
        }
    }

    /// The same, longer or shorter.
    #[must_use]
    pub fn lasting(mut self, length: Time) -> Bar {
        self.length = length;
        self
    }

    /// The same with what few bars have.
    #[must_use]
    pub fn with(mut self, seldom: Seldom) -> Bar {
        self.seldom = (seldom != *NOTHING).then(|| Box::new(seldom));
        self
    }

    /// Does it lead into the bar after it and is counted by nobody: the pick-up of the piece, or the
    /// up-beat of a section?
    #[must_use]
    pub fn leads_in(&self) -> bool {
        self.number == 0 || self.up_beat.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_few_bars_have_is_read_and_written_as_the_bar_s_own() {
        let plain = Bar::new(1, Time::ZERO, Metre::FOUR_FOUR, Key::C_MAJOR);
        assert_eq!((plain.times, &plain.mark, plain.up_beat), (2, &None, None));
        let mut marked = plain.clone();
        marked.mark = Some("A".into());
        assert_ne!(marked, plain);
        assert_eq!(marked.mark.as_deref(), Some("A"));
        // Taken back, it leaves a bar like any other.
        marked.mark = None;
        assert_eq!(marked, plain);
        assert_eq!(plain.clone().with(Seldom::default()), plain);
    }
}
