//! Notes of a dominant that want to move, the leading note and the seventh, sounded by two parts that
//! do not double each other.

use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::memory::Moment;
use crate::check::slices::{Slice, Sounding};
use crate::check::words;
use crate::check::{Findings, Rule, sharing};
use crate::music::{Key, Pitch, Time};
use crate::resolve::{HarmonyEvent, Role};

/// Which of the two.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Tone {
    /// The third of the dominant, which wants to rise.
    Leading,
    /// Its seventh, which wants to fall.
    Seventh,
}

impl Tone {
    fn word(self) -> &'static str {
        match self {
            Tone::Leading => "leading note",
            Tone::Seventh => "seventh",
        }
    }
}

/// A chord that wants to resolve.
struct Dominant {
    /// The class of the note in question.
    class: i32,
    /// The classes of its notes, a bit each.
    members: u16,
    start: Time,
    end: Time,
}

/// Whoever has such a note below the highest, whose that is, and which of the two it is.
pub(in crate::check) type Doubled = (Sounding, (Sounding, Pitch), bool);

/// Finds such notes that last so many seconds.
pub(super) fn check(cx: &Context, findings: &mut Findings, rule: &Rule, tone: Tone, long: f64) {
    let parts = &cx.arrangement.parts;
    let of_tone = cx.doubled_tones(|| doubled(cx)).iter().filter(|moment| {
        let (_, _, leading) = moment.what;
        leading == (tone == Tone::Leading)
    });
    let moments = of_tone.map(|moment| {
        let (other, first, _) = moment.what;
        Moment { start: moment.start, end: moment.end, what: (other, first) }
    });
    let moments = moments.collect();
    let offences = super::lasting(cx, moments, long, |other| *other);
    let cause = |_, note: &PackedNote, (first, pitch): &(Sounding, Pitch)| {
        (sharing::cause(note, *pitch), Some(sharing::cause(first.of(parts), *pitch)))
    };
    let word = tone.word();
    for (passage, others) in sharing::causes(cx, rule, offences, cause) {
        let note = passage.first();
        let (other, _) = *passage.detail();
        let with = cx.part(other.player());
        let message = format!(
            "{} {} the {word} of {} in {}{}.",
            passage.part.player.name,
            if words::is_plural(&passage.part.player) { "double" } else { "doubles" },
            with.player.name,
            cx.form.place(note.start().max(other.of(parts).start())),
            passage.and_more(),
        );
        let finding = cx
            .finding(rule, &passage, message)
            .with_label(other.of(parts).source(), format!("the {word} of {}", with.player.name))
            .with_help("Give one of the two the root or the fifth of the chord.");
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// Both notes of every dominant that are doubled, moment by moment: what sounds is looked at once
/// for the rules of both.
fn doubled(cx: &Context) -> Vec<Moment<Doubled>> {
    let parts = &cx.arrangement.parts;
    let mut has: Vec<(Sounding, Pitch)> = Vec::new();
    cx.moments(&super::doubled_leading_note::RULE, |slice, found: &mut Vec<Doubled>| {
        for (tone, chord) in dominants(cx, slice) {
            has.clear();
            for &sounding in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
                if cx.plucks(sounding.player(), slice.start) {
                    continue;
                }
                let mut pitches = sounding.of(parts).sound().pitches().iter();
                if pitches.len() >= super::FULL_CHORD {
                    continue;
                }
                if let Some(pitch) = pitches.find(|p| p.midi().rem_euclid(12) == chord.class)
                    && !touches(cx, sounding, &chord)
                {
                    has.push((sounding, *pitch));
                }
            }
            // The highest keeps it, whoever has it below doubles it.
            has.sort_by_key(|(s, _)| {
                std::cmp::Reverse(s.of(parts).sound().pitches().last().copied())
            });
            let Some((&(first, highest), rest)) = has.split_first() else { continue };
            let is_bass = |one: Sounding| one.of(parts).role() == Role::Bass;
            let bass =
                has.iter().filter(|(one, _)| is_bass(*one)).map(|(_, pitch)| pitch.midi()).max();
            let filling = super::filling(cx, &slice);
            for &(other, pitch) in rest {
                // Those who play the same line are one, of all their families.
                let in_tutti = |one: (Sounding, Pitch)| {
                    let fellows = has.iter().filter(|(fellow, _)| {
                        *fellow != one.0 && super::doubling(cx, *fellow, one.0)
                    });
                    let mut line = fellows.copied().chain([one]);
                    line.any(|one| super::doubles_in_tutti(cx, filling, one, (other, pitch)))
                };
                let of_tutti = has
                    .iter()
                    .filter(|(one, _)| *one != other && !super::doubling(cx, *one, other))
                    .all(|one| in_tutti(*one));
                // Whoever is on the pitch of the highest colours it and adds no octave.
                let unison = pitch.midi() == highest.midi();
                // Whoever goes with the bass, or an octave below it, is one voice with it.
                let of_bass = !is_bass(other) && bass.is_some_and(|bass| pitch.midi() <= bass);
                if !of_tutti && !unison && !of_bass && !super::doubling(cx, first, other) {
                    found.push((other, (first, pitch), tone == Tone::Leading));
                }
            }
        }
    })
}

/// The dominants of a moment by the note in question: as declared, or where nothing is, as it
/// sounds.
fn dominants(cx: &Context, slice: Slice) -> impl Iterator<Item = (Tone, Dominant)> {
    let of = |tone: Tone, chord: Option<Dominant>| chord.map(|chord| (tone, chord));
    let [leading, seventh] =
        if cx.piece.harmony.is_empty() { sounding(cx, slice) } else { declared(cx, slice) };
    of(Tone::Leading, leading).into_iter().chain(of(Tone::Seventh, seventh))
}

/// The declared chord of a moment as a dominant: with its leading note, and with its seventh.
fn declared(cx: &Context, slice: Slice) -> [Option<Dominant>; 2] {
    let Some(event) = super::event(cx, slice.start) else { return [None, None] };
    let chord = event.chord;
    let (third, seventh) = ((chord.root.class() + 4) % 12, (chord.root.class() + 10) % 12);
    // An augmented sixth rises, and no seventh falls.
    let falls = !chord.quality.is_augmented_sixth();
    let is = falls && chord.has_class(third) && chord.has_class(seventh);
    [leading_class(cx, event), is.then_some(seventh)].map(|class| {
        let members = (0..12).filter(|class| chord.has_class(*class));
        let members = members.fold(0, |mask, class| mask | 1 << class);
        let (start, end) = (event.start, event.start + event.length);
        class.map(|class| Dominant { class, members, start, end })
    })
}

/// The class of the leading note in a chord: that of the key in its dominant, or the third of a
/// dominant seventh that resolves a fifth down, whatever key that belongs to.
fn leading_class(cx: &Context, event: &HarmonyEvent) -> Option<i32> {
    let chord = event.chord;
    let root = chord.root.class();
    // In the key of the form and in the one that is declared or heard: what is the dominant of one may
    // be the tonic of the other.
    let of_key = |key: Key| {
        let class = key.leading_note().class();
        // On the leading note itself a chord is a dominant where it is diminished: a major third above
        // makes it the dominant of another key.
        let diminished = root == class && chord.has_class((root + 6) % 12);
        let dominant = root == key.degree(5).class() && chord.has_class(class);
        (diminished || dominant).then_some(class)
    };
    let of_form = of_key(cx.form.bar_at(event.start).key);
    if of_form.is_some() && of_form == of_key(event.key) {
        return of_form;
    }
    let seventh = [4, 10].iter().all(|up| chord.has_class((root + up) % 12));
    let next = super::event(cx, event.start + event.length)?;
    let resolves = next.chord.root.class() == (root + 5) % 12;
    (seventh && resolves).then_some((root + 4) % 12)
}

/// The dominant that a moment spells by itself, with its leading note and with its seventh. It
/// lasts as long as its lowest note.
fn sounding(cx: &Context, slice: Slice) -> [Option<Dominant>; 2] {
    let Some((heard, root, bass)) = spelled(cx, slice) else { return [None, None] };
    [4, 10].map(|up| {
        let class = (root + up) % 12;
        let (members, start, end) = (seventh_on(root), bass.start(), bass.end());
        (heard & 1 << class != 0).then_some(Dominant { class, members, start, end })
    })
}

/// The classes that sound, a bit each, the root of the dominant that they spell, and the lowest note.
fn spelled<'a>(cx: &Context<'a>, slice: Slice) -> Option<(u16, i32, &'a PackedNote)> {
    let parts = &cx.arrangement.parts;
    // The names that sound: which, and each as fifths from C by its class.
    let (mut heard, mut names) = (0_u16, [None; 12]);
    let mut lowest: Option<(i32, &PackedNote)> = None;
    for &one in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
        let note = one.of(parts);
        for pitch in note.sound().pitches() {
            let class = pitch.midi().rem_euclid(12);
            heard |= 1 << class;
            names[class as usize] = Some(pitch.name().fifths());
            if heard.count_ones() > 4 {
                return None;
            }
        }
        let low = note.sound().pitches().first().map(|pitch| pitch.midi());
        if let Some(low) = low.filter(|low| lowest.is_none_or(|(known, _)| *low < known)) {
            lowest = Some((low, note));
        }
    }
    let (_, bass) = lowest?;
    let root = spelled_root(heard, &names).or_else(|| {
        let key = cx.form.bar_at(slice.start).key;
        let root = key.degree(5).class();
        of_key(key, heard, root).then_some(root)
    })?;
    Some((heard, root, bass))
}

/// The notes of a dominant seventh, a bit each.
fn seventh_on(root: i32) -> u16 {
    [0, 4, 7, 10].iter().fold(0, |mask, up| mask | 1 << ((root + up) % 12))
}

/// The root of a dominant seventh, with or without its fifth, that is spelled as one.
fn spelled_root(heard: u16, names: &[Option<i32>; 12]) -> Option<i32> {
    (0..12).find(|root| {
        let name = |up: i32| names[((root + up) % 12) as usize];
        let all = heard & !seventh_on(*root) == 0;
        // Four fifths up from the root is its third, two down its seventh.
        let spelled =
            name(0).is_some_and(|root| name(4) == Some(root + 4) && name(10) == Some(root - 2));
        all && spelled
    })
}

/// Is what sounds a dominant of the key that no other key is likely to have: its tritone, or in a
/// minor key the triad with the raised leading note?
fn of_key(key: Key, heard: u16, root: i32) -> bool {
    let has = |up: i32| heard & 1 << ((root + up) % 12) != 0;
    let raised = key.leading_note() != key.degree(7);
    heard & !seventh_on(root) == 0 && has(4) && (has(10) || (raised && has(0)))
}

/// Does a part only touch its note on the way through the chord: does it leap on to another note of
/// it, run through by step, leave it before a quarter of the chord is over, or come to it only off the
/// beat for less than half of the chord?
fn touches(cx: &Context, sounding: Sounding, chord: &Dominant) -> bool {
    let notes = &cx.part(sounding.player()).notes;
    let index = sounding.note();
    let note = &notes[index];
    let whole = chord.end - chord.start;
    if cx.form.weight(note.start()) == 0 && note.start() > chord.start && note.length() * 2 < whole
    {
        return true;
    }
    let (Some(next), Some(from)) = (notes.get(index + 1), super::single(note)) else {
        return false;
    };
    let goes_on = next.start() == note.end() && next.start() < chord.end;
    if !goes_on || note.length() * 2 >= whole {
        return false;
    }
    if note.length() * 4 < whole {
        return true;
    }
    let Some(to) = super::single(next).map(|to| to.midi() - from.midi()) else { return false };
    let goal = (from.midi() + to).rem_euclid(12);
    let leaps = to.abs() > 2 && chord.members & 1 << goal != 0;
    let came = index.checked_sub(1).map(|before| &notes[before]).and_then(|before| {
        let pitch = super::single(before).filter(|_| before.end() == note.start());
        pitch.map(|pitch| from.midi() - pitch.midi())
    });
    let step = |by: i32| (1..=2).contains(&by.abs());
    let runs = came.is_some_and(|came| step(came) && step(to) && (came > 0) == (to > 0));
    leaps || runs
}
