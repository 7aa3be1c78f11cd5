//! Who is heard: strength by instrument, number, dynamic and register.

pub mod bass_thin;
pub mod melody_covered;
pub mod one_colour;

use super::super::context::{Context, plucked, techniques};
use super::super::loudness::{Degree, Loudness as Dynamics};
use super::super::memory::Moment;
use super::super::slices::Sounding;
use crate::arrange::{Arrangement, Part, SoundingNote};
use crate::instruments::{Family, Loudness};
use crate::music::Time;

/// The notes of moments that follow one another for so many seconds, player by player, each once.
fn in_runs<T: Clone>(
    cx: &Context,
    moments: Vec<Moment<(Sounding, T)>>,
    seconds: f64,
) -> Vec<Vec<(usize, T)>> {
    let mut offences: Vec<Vec<(usize, T)>> = vec![Vec::new(); cx.arrangement.parts.len()];
    for run in moments.chunk_by(|one, next| one.end == next.start) {
        let lasts = |moment: &Moment<_>| cx.seconds_at(moment.end) - cx.seconds_at(moment.start);
        if run.iter().map(lasts).sum::<f64>() < seconds {
            continue;
        }
        for (sounding, what) in run.iter().map(|moment| &moment.what) {
            let own = &mut offences[usize::from(sounding.player)];
            let note = sounding.note as usize;
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
/// forte, a third more for each degree of loudness, half outside the telling register
/// (strings are even), the square root and the bounds for numbers of strings, and the weight of
/// plucked sounds, pizzicato among them. On the way of a hairpin the strength goes straight from that of one
/// degree to that of the next.
fn strength(cx: &Context, sounding: Sounding, time: Time) -> f64 {
    strength_at(cx, sounding, time, cx.degree(usize::from(sounding.player), time))
}

/// The same at another degree of loudness than the one in force.
fn strength_at(cx: &Context, sounding: Sounding, time: Time, degree: Degree) -> f64 {
    let player = usize::from(sounding.player);
    let note = sounding.of(&cx.arrangement.parts);
    strength_of(cx.part(player), note, cx.plucks(player, time), time, degree)
}

/// The same of one note of a part.
fn strength_of(part: &Part, note: &SoundingNote, plucks: bool, time: Time, degree: Degree) -> f64 {
    let instrument = part.instrument_at(time);
    let weighs = match instrument.loudness {
        Loudness::StringDepartment if plucks => Loudness::Plucked,
        class => class,
    };
    let forte = match weighs {
        Loudness::Woodwind => 1.0,
        Loudness::Horn => 2.0,
        Loudness::HeavyBrass => 4.0,
        Loudness::StringDepartment => 2.0,
        Loudness::Plucked => 0.5,
        Loudness::Percussion => return 0.0,
    };
    let piano = if weighs == Loudness::Plucked { 0.5 } else { 1.0 };
    let people = f64::from(part.player.count.max(1));
    let number = if instrument.loudness == Loudness::StringDepartment {
        (people / medium(&part.player.id)).sqrt().clamp(0.4, 1.5)
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
    let loud = at(degree) + (at(degree + 1) - at(degree)) * more;
    let even = matches!(instrument.family, Family::Strings) || tells(part, note);
    loud * number * if even { 1.0 } else { 0.5 }
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
fn tells(part: &Part, note: &SoundingNote) -> bool {
    let instrument = part.instrument_at(note.start);
    instrument.telling.as_ref().is_none_or(|telling| {
        note.sound.pitches().last().is_none_or(|p| (telling.low..=telling.high).contains(p))
    })
}

/// The same of a note that sounds in a slice.
fn tells_at(cx: &Context, sounding: Sounding) -> bool {
    tells(cx.part(usize::from(sounding.player)), sounding.of(&cx.arrangement.parts))
}

/// What one player weighs at a moment.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Heard {
    /// Index of the part.
    pub player: usize,
    /// The degree of loudness in force: 0 for ppp to 7 for fff, between two on a hairpin.
    pub degree: f64,
    /// How strong he is, in woodwind instruments at mf; 0 for drums and bells, which are not
    /// weighed.
    pub strength: f64,
}

/// Who sounds at a time, and how strong, as the rules of balance weigh it.
#[must_use]
pub fn heard_at(arrangement: &Arrangement, time: Time) -> Vec<Heard> {
    let mut heard = Vec::new();
    for (player, part) in arrangement.parts.iter().enumerate() {
        let after = part.notes.partition_point(|note| note.start <= time);
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

/// Players of a string department in a medium orchestra: Rimsky-Korsakov, Principles of
/// Orchestration, tr. Agate, 1922, p. 6; the single digits from memory, five double
/// basses the mean of four to six.
fn medium(id: &str) -> f64 {
    match id {
        "violin-2" => 10.0,
        "viola" => 8.0,
        "cello" => 6.0,
        "double-bass" => 5.0,
        _ => 12.0,
    }
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
        (0..4).map(|player| strength(&cx, Sounding { player, note: 0 }, Time::ZERO)).collect()
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
