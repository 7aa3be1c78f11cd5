//! Signs that a layout moves by hand, and the notes at which signs stand that are not of a note.

use std::collections::HashMap;

use kurbo::Vec2;
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::NudgedSign;

use super::{Canvas, Loud, NEAR, SystemLine};
use crate::page::{Kind, Origin};
use crate::paper::Nudge;

impl SystemLine<'_> {
    /// Moves the signs of which a layout says so; gives back whether there were any.
    pub(super) fn nudge(&self, canvas: &mut Canvas, nudge: &Nudge) -> bool {
        let what = &nudge.what;
        let kind = match what.sign {
            NudgedSign::Accidental => Some(Kind::Accidental),
            NudgedSign::Articulation => Some(Kind::Articulation),
            NudgedSign::Clef => Some(Kind::Clef),
            NudgedSign::Rest => Some(Kind::Rest),
            NudgedSign::Slur => Some(Kind::Slur),
            NudgedSign::Syllable => Some(Kind::Text),
            NudgedSign::Tie => Some(Kind::Tie),
            NudgedSign::Tuplet => Some(Kind::Tuplet),
            NudgedSign::BarNumber
            | NudgedSign::Dynamic
            | NudgedSign::Ending
            | NudgedSign::Figures
            | NudgedSign::Hairpin
            | NudgedSign::Mark
            | NudgedSign::Octave
            | NudgedSign::Tempo
            | NudgedSign::Words => None,
        };
        let bars = &self.sheet.bars;
        // A bar that is longer than a line may be here twice, and all of a bar is its up-beat too.
        let shows = |bar: usize| {
            let up_beat = what.beat.is_none() && bars[bar].up_beat.is_some();
            (bars[bar].index..bars[bar].index + bars[bar].count as usize).contains(&what.bar)
                || up_beat && bars[bar].index == what.bar + 1
        };
        // The clef with which the next line begins stands at the end of this one too.
        let next = self.placed.last().map(|last| last.bar + 1);
        let next = next.filter(|&bar| what.sign == NudgedSign::Clef && bar < bars.len());
        let here = self.placed.iter().map(|placed| placed.bar).chain(next);
        let here = here.filter(|&bar| shows(bar));
        let mut moved = false;
        for bar in here {
            moved |= self.nudge_in(bar, canvas, (nudge, kind));
        }
        moved
    }

    /// `kind`: of the marks of notes that are moved, if these are.
    fn nudge_in(
        &self,
        bar: usize,
        canvas: &mut Canvas,
        (nudge, kind): (&Nudge, Option<Kind>),
    ) -> bool {
        let (what, bars) = (&nudge.what, &self.sheet.bars);
        let beat = bars[bar].metre.beat().to_f64();
        // Beats of a short first bar are counted from its missing beginning.
        let missing = if bars[bar].number == 0 {
            bars[bar].metre.bar_length().to_f64() - bars[bar].length.to_f64()
        } else {
            (bars[bar].up_beat.unwrap_or_default() + bars[bar].begins_at).to_f64()
        };
        let stands = |at: Time| {
            what.beat
                .is_none_or(|asked| ((at.to_f64() + missing) / beat + 1.0 - asked).abs() < NEAR)
        };
        let event_at = |origin: Option<Origin>| {
            let origin = origin?;
            let bar = (origin.bar as usize == bars[bar].index).then(|| self.bar(bar))?;
            let voice = bar.voices.get(usize::from(origin.voice))?;
            let mut events = voice.events.iter();
            Some(events.find(|event| event.origin.element == origin.element)?.element.at)
        };
        let said: HashMap<usize, bool> = canvas
            .said
            .iter()
            .map(|&(mark, sign, at)| (mark, sign == Some(what.sign) && at.0 == bar && stands(at.1)))
            .collect();
        let mut moved = Vec::new();
        let dynamics = &mut canvas.dynamics;
        for (n, mark) in canvas.marks.iter_mut().enumerate() {
            let of_note = || kind == Some(mark.kind) && event_at(mark.origin).is_some_and(stands);
            // Of what is set in letters, syllables belong to notes, and all else is said at a place.
            if said.get(&n).copied().unwrap_or_else(of_note) {
                *mark = mark.clone().moved(what.right, -what.up);
                moved.push(mark.bounds());
                let own = |loud: &&mut Loud| loud.marks.contains(&n);
                dynamics.iter_mut().filter(own).for_each(|loud| loud.by_hand = true);
            }
        }
        let mut of_both = false;
        let slurs = kind == Some(Kind::Slur);
        for end in canvas.across.iter_mut().filter(|end| slurs && end.leaves()) {
            if event_at(Some(end.origin)).is_some_and(stands) {
                end.nudged += Vec2::new(what.right, -what.up);
                of_both = true;
            }
        }
        for bounds in &moved {
            canvas.sky.add((bounds.x0, bounds.x1), (bounds.y0, bounds.y1));
        }
        of_both || !moved.is_empty()
    }

    /// Gives each sign that is not of a note the origin of the note or rest at whose beginning it stands, or within
    /// which; where it comes from the line before, of the first one here.
    pub(super) fn give_origins(&self, canvas: &mut Canvas) {
        let (Some(first), Some(last)) = (self.placed.first(), self.placed.last()) else { return };
        for &(mark, _, (bar, at)) in &canvas.said {
            let behind = last.bar + 1;
            let (bar, at) = match bar {
                _ if bar < first.bar => (first.bar, Time::ZERO),
                _ if bar > behind || bar == behind && self.spaces.get(behind).is_none() => {
                    (last.bar, self.sheet.bars[last.bar].length)
                }
                _ => (bar, at),
            };
            let events = || self.bar(bar).voices.iter().flat_map(|voice| &voice.events);
            let begun = events().filter(|event| event.element.at <= at);
            let latest = begun.rev().max_by_key(|event| event.element.at);
            let event = latest.or_else(|| events().next());
            let origin = &mut canvas.marks[mark].origin;
            *origin = origin.or(event.map(|event| event.origin));
        }
    }
}
