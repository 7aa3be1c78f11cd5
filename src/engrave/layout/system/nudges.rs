//! Signs that a layout moves by hand.

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
            NudgedSign::Accidental => Kind::Accidental,
            NudgedSign::Articulation => Kind::Articulation,
            NudgedSign::Dynamic => Kind::Dynamic,
            NudgedSign::Hairpin => Kind::Hairpin,
            NudgedSign::Rest => Kind::Rest,
            NudgedSign::Slur => Kind::Slur,
            NudgedSign::Tie => Kind::Tie,
            NudgedSign::Tuplet => Kind::Tuplet,
            NudgedSign::Syllable | NudgedSign::Words => Kind::Text,
        };
        let bars = &self.sheet.bars;
        // A bar that is longer than a line may be here twice, and all of a bar is its up-beat too.
        let shows = |bar: usize| {
            let up_beat = what.beat.is_none() && bars[bar].up_beat.is_some();
            (bars[bar].index..bars[bar].index + bars[bar].count as usize).contains(&what.bar)
                || up_beat && bars[bar].index == what.bar + 1
        };
        let here = self.placed.iter().map(|placed| placed.bar).filter(|&bar| shows(bar));
        let mut moved = false;
        for bar in here {
            moved |= self.nudge_in(bar, canvas, (nudge, kind));
        }
        moved
    }

    fn nudge_in(&self, bar: usize, canvas: &mut Canvas, (nudge, kind): (&Nudge, Kind)) -> bool {
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
        let said: Vec<usize> = canvas
            .said
            .iter()
            .filter(|(_, at)| at.0 == bar && stands(at.1))
            .map(|(mark, _)| *mark)
            .collect();
        let mut moved = Vec::new();
        let dynamics = &mut canvas.dynamics;
        for (n, mark) in canvas.marks.iter_mut().enumerate() {
            let of_note = || event_at(mark.origin).is_some_and(stands);
            // Of what is set in letters, syllables belong to notes, and all else is said at a place.
            let here = match what.sign {
                NudgedSign::Words => said.contains(&n),
                NudgedSign::Syllable => of_note(),
                _ => said.contains(&n) || of_note(),
            };
            if mark.kind == kind && here {
                *mark = mark.clone().moved(what.right, -what.up);
                moved.push(mark.bounds());
                let own = |loud: &&mut Loud| loud.marks.contains(&n);
                dynamics.iter_mut().filter(own).for_each(|loud| loud.by_hand = true);
            }
        }
        let mut of_both = false;
        for end in canvas.across.iter_mut().filter(|end| kind == Kind::Slur && end.leaves()) {
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
}
