//! Who is heard: strength by instrument, number, dynamic and register.

pub mod bass_thin;
pub mod melody_covered;
pub mod one_colour;

use super::super::context::{Context, plucked, techniques};
use super::super::loudness::{Degree, Loudness as Dynamics};
use super::super::memory::Moment;
use super::super::slices::Sounding;
use crate::arrange::{Arrangement, PackedNote, Part};
use crate::instruments::Loudness;
use crate::music::Time;

/// The notes of moments that follow one another for so many seconds, player by player, each once.
/// A gap of so many seconds between two of them does not part them.
fn in_runs<T: Clone>(
    cx: &Context,
    moments: Vec<Moment<(Sounding, T)>>,
    seconds: f64,
    gap: f64,
) -> Vec<Vec<(usize, T)>> {
    let follows = |one: &Moment<_>, next: &Moment<_>| {
        one.end == next.start || cx.seconds_at(next.start) - cx.seconds_at(one.end) <= gap
    };
    let mut offences: Vec<Vec<(usize, T)>> = vec![Vec::new(); cx.arrangement.parts.len()];
    for run in moments.chunk_by(follows) {
        let lasts = |moment: &Moment<_>| cx.seconds_at(moment.end) - cx.seconds_at(moment.start);
        if run.iter().map(lasts).sum::<f64>() < seconds {
            continue;
        }
        for (sounding, what) in run.iter().map(|moment| &moment.what) {
            let own = &mut offences[sounding.player()];
            let note = sounding.note();
            if own.last().is_none_or(|(last, _)| *last < note) {
                own.push((note, what.clone()));
            }
        }
    }
    offences
}

/// Strength of a player with one note at a time, in woodwind instruments.
///
/// Equivalences: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I. In forte a
/// trumpet, trombone or tuba is two horns, a horn two woodwind, a string department two
/// woodwind; in piano all wind are equal and a department is one. Numbers of strings are measured
/// by the medium orchestra of the same book, p. 6. Our heuristics: what lies between piano and
/// forte, a third more for each degree of loudness, the weights of registers that the catalogue
/// states (strings are even), the square root and the bounds for numbers of strings, and the weight of
/// plucked sounds, pizzicato among them. On the way of a hairpin the strength goes straight from that of one
/// degree to that of the next.
fn strength(cx: &Context, sounding: Sounding, time: Time) -> f64 {
    strength_at(cx, sounding, time, cx.degree(sounding.player(), time))
}

/// The same at another degree of loudness than the one in force.
fn strength_at(cx: &Context, sounding: Sounding, time: Time, degree: Degree) -> f64 {
    let player = sounding.player();
    let note = sounding.of(&cx.arrangement.parts);
    strength_of(cx.part(player), note, cx.plucks(player, time), time, degree)
}

/// The same of one note of a part.
fn strength_of(part: &Part, note: &PackedNote, plucks: bool, time: Time, degree: Degree) -> f64 {
    let instrument = part.instrument_at(time);
    let weighs = match instrument.loudness {
        Loudness::StringDepartment if plucks => Loudness::Plucked,
        class => class,
    };
    let forte = match weighs {
        Loudness::Woodwind => 1.0,
        Loudness::Horn => 2.0,
        Loudness::HeavyBrass => 4.0,
        Loudness::StringDepartment | Loudness::Voice => 2.0,
        Loudness::Plucked => 0.5,
        Loudness::Percussion => 2.0,
    };
    let piano = match weighs {
        Loudness::Plucked => 0.5,
        // Drums, bells and their like prevail, but a stroke is over at once.
        Loudness::Percussion if !struck_on(note) => 0.5,
        _ => 1.0,
    };
    let people = f64::from(part.player.count.max(1));
    let number = if instrument.loudness == Loudness::StringDepartment {
        (people / medium(part)).sqrt().clamp(0.4, 1.5)
    } else {
        people
    };
    let at = |degree: usize| {
        let class = match degree {
            0..=3 => piano,
            4 => f64::sqrt(piano * forte),
            _ => forte,
        };
        class * LOUDER[degree.min(7)]
    };
    let (degree, more) = degree.parts();
    let loud = match more {
        0.0 => at(degree),
        more => at(degree) + (at(degree + 1) - at(degree)) * more,
    };
    let top = note.sound().pitches().last();
    loud * number * top.map_or(1.0, |pitch| instrument.weight_at(*pitch))
}

/// Does a drum sound on, as a roll?
fn struck_on(note: &PackedNote) -> bool {
    note.attached().tremolo > 0
}

/// What one player weighs at a moment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Heard {
    /// Index of the part.
    pub player: usize,
    /// The degree of loudness in force: 0 for ppp to 7 for fff, between two on a hairpin.
    pub degree: f64,
    /// How strong he is, in woodwind instruments at mf.
    pub strength: f64,
}

/// Who sounds at a time, and how strong, as the rules of balance weigh it.
#[must_use]
pub fn heard_at(arrangement: &Arrangement, time: Time) -> Vec<Heard> {
    let mut heard = Vec::new();
    for (player, part) in arrangement.parts.iter().enumerate() {
        let after = part.notes.partition_point(|note| note.start() <= time);
        let Some(note) = part.notes[..after].last().filter(|note| time < note.end()) else {
            continue;
        };
        let degree = Dynamics::new(&part.directions).degree(time);
        let plucks = plucked(&techniques(part), time);
        let strength = strength_of(part, note, plucks, time, degree);
        heard.push(Heard { player, degree: degree.to_f64(), strength });
    }
    heard
}

/// How much stronger than mf each degree from ppp to fff is: a third more for each. Our heuristic.
const LOUDER: [f64; 8] = {
    let mut louder = [1.0; 8];
    let mut degree = 0;
    while degree < 8 {
        let mut steps = 4;
        while steps < degree {
            louder[degree] *= STEP;
            steps += 1;
        }
        while steps > degree {
            louder[degree] /= STEP;
            steps -= 1;
        }
        degree += 1;
    }
    louder
};
/// How much stronger one degree is than the one before it. Our heuristic.
const STEP: f64 = 1.33;

/// Does the note lie in the register of its instrument that tells?
fn tells(cx: &Context, sounding: Sounding) -> bool {
    let note = sounding.of(&cx.arrangement.parts);
    let instrument = cx.part(sounding.player()).instrument_at(note.start());
    note.sound().pitches().last().is_none_or(|pitch| instrument.carries(*pitch))
}

/// Players of the section in an orchestra of medium size, as the catalogue says.
fn medium(part: &Part) -> f64 {
    let section = part.first_instrument().section.as_ref();
    section.map_or(1.0, |section| {
        let second = section.medium_second.filter(|_| part.player.line_name.ends_with("-2"));
        f64::from(second.unwrap_or(section.medium).max(1))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::arrange;
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// Strength of each player of an ensemble of 1885 in the first bar, in score order.
    fn strengths(dynamic: &str) -> Vec<f64> {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 1 end }}\n\
             dynamics {{ 1 {dynamic} }}\nvoice tune {{ 1: 1/1 C5 | }}\n\
             ensemble few {{ era 1885\n oboe, horn in F, trumpet in C, violin-1 12 players }}\n\
             scoring few for few {{\n oboe, horn, trumpet, violin-1 plays tune as melody\n}}\n"
        );
        let mut sources = Sources::new();
        let root = sources.add("few", text);
        let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
        assert!(found.is_empty(), "{found:#?}");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let cx = Context::new(&arrangement);
        (0..4).map(|player| strength(&cx, Sounding::new(player, 0), Time::ZERO)).collect()
    }

    #[test]
    fn in_forte_a_trumpet_is_two_horns_and_a_horn_two_wood_wind() {
        let [oboe, horn, trumpet, violins] = strengths("f")[..] else { panic!() };
        assert!((trumpet / horn - 2.0).abs() < 1e-9);
        assert!((horn / oboe - 2.0).abs() < 1e-9);
        assert!((violins / oboe - 2.0).abs() < 1e-9);
    }

    #[test]
    fn in_piano_all_wind_and_a_department_of_strings_are_equal() {
        let strengths = strengths("p");
        assert!(strengths.windows(2).all(|pair| (pair[0] - pair[1]).abs() < 1e-9));
    }
}
