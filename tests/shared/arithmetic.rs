//! The laws of exact time, spelled pitch, keys, metres and chord symbols.

use ripieno::music::{Chord, Interval, Key, Letter, Metre, Mode, Pitch, PitchName, Time};

use ripieno::narrow::Narrow;

use super::choices::Choices;

/// Draws quantities and asserts what must hold of them.
pub fn assert_laws(choices: &mut Choices) {
    time(choices);
    pitch(choices);
    key(choices);
    metre(choices);
    chord(choices);
}

/// A time as the language makes them: so many of a value, perhaps in a tuplet.
fn some_time(choices: &mut Choices) -> Time {
    let count = i64::from(choices.byte()) * 256 + i64::from(choices.byte());
    let value = Time::of(1, 1 << choices.below(11)) * count;
    let (actual, normal) = (1 + choices.below(16) as i64, 1 + choices.below(16) as i64);
    value.scaled(normal, actual).unwrap_or(value)
}

fn time(choices: &mut Choices) {
    let (a, b, c) = (some_time(choices), some_time(choices), some_time(choices));
    assert_eq!(a + b, b + a);
    assert_eq!((a + b) + c, a + (b + c));
    assert_eq!(a + b - b, a);
    assert_eq!(-(a - b), b - a);
    assert_eq!([a, b, c].into_iter().sum::<Time>(), a + b + c);
    assert_eq!(a.min(b) + a.max(b), a + b);
    let (numerator, denominator) = a.fraction();
    assert_eq!(Time::new(numerator, denominator), Some(a));
    assert_eq!(a.to_string(), format!("{numerator}/{denominator}"));
    assert!(coprime(numerator, denominator));
    assert_eq!(a < b, a.to_f64() < b.to_f64());
    if b.is_positive() {
        let (numerator, denominator) = a.ratio(b).expect("a unit that lasts");
        assert!(coprime(numerator, denominator));
        // Too large a product on the way is refused.
        let exact = b.scaled(numerator, denominator);
        assert_eq!(exact.unwrap_or(a), a);
        assert!(exact.is_some() || numerator > 1 << 16, "{b} times {numerator}/{denominator}");
        for a in [a, -a, a - c] {
            let (whole, rest) = (a.div_floor(b), a % b);
            assert_eq!(b * whole + rest, a);
            assert!(Time::ZERO <= rest && rest < b);
        }
    } else {
        assert_eq!(a.ratio(b), None);
    }
    let (up, down) = (1 + choices.below(255) as i64, 1 + choices.below(255) as i64);
    if let Some(scaled) = a.scaled(up, down) {
        assert_eq!(scaled.scaled(down, up), Some(a));
        assert_eq!(scaled * down, a * up);
    }
    // Whatever numbers come from outside are held exactly or refused.
    let (numerator, denominator) = (choices.long(), choices.long());
    if let Some(time) = Time::new(numerator, denominator) {
        let (n, d) = time.fraction();
        let cross = |a: i64, b: i64| i128::from(a) * i128::from(b);
        assert_eq!(cross(n, denominator), cross(numerator, d));
    }
    if let Some(scaled) = a.scaled(numerator, denominator) {
        assert_eq!(scaled.scaled(denominator, 1), a.scaled(numerator, 1));
    }
}

fn coprime(a: i64, b: i64) -> bool {
    let (mut a, mut b) = (a.unsigned_abs(), b.unsigned_abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a == 1
}

fn some_name(choices: &mut Choices) -> PitchName {
    PitchName::new(Letter::ALL[choices.below(7)], choices.below(5).narrow::<i8>() - 2)
}

/// Any interval up to some octaves whose quality has a name or nearly so.
fn some_interval(choices: &mut Choices) -> Interval {
    let steps = choices.below(57).narrow::<i32>() - 28;
    let natural = Pitch::new(Letter::from_step(steps), 0, 4 + steps.div_euclid(7).narrow::<i8>());
    Interval::new(steps, natural.midi() - 60 + choices.below(7).narrow::<i32>() - 3)
}

fn pitch(choices: &mut Choices) {
    let name = some_name(choices);
    let pitch = name.at(choices.byte() as i8);
    let other = some_name(choices).at(choices.byte() as i8);
    let by = some_interval(choices);
    assert_eq!(pitch.name(), name);
    assert_eq!(pitch.to_string().parse(), Ok(pitch));
    assert_eq!(name.to_string().parse(), Ok(name));
    assert_eq!(PitchName::from_fifths(name.fifths()), Some(name));
    assert_eq!(name.class(), pitch.midi().rem_euclid(12));
    assert_eq!(pitch.transposed(Interval::UNISON), Some(pitch));
    if let Some(moved) = pitch.transposed(by) {
        assert_eq!(moved.transposed(-by), Some(pitch));
        assert_eq!(Interval::between(pitch, moved), by);
        assert_eq!(moved.midi(), pitch.midi() + by.semitones);
        assert_eq!(moved.step(), pitch.step() + by.steps);
        assert_eq!(pitch.transposed_or_respelled(by), moved);
        assert_eq!(name.transposed(by), Some(moved.name()));
    }
    let midi = pitch.midi() + by.semitones;
    if (-1500..1500).contains(&midi) {
        assert_eq!(pitch.transposed_or_respelled(by).midi(), midi);
    }
    let key = choices.byte().into();
    assert_eq!(Pitch::from_midi(key).midi(), key);
    if let Some(octave) = pitch.transposed(Interval::OCTAVE) {
        assert_eq!(pitch.octaves_up(1), octave);
        assert_eq!(octave.octaves_up(-1), pitch);
    }
    let between = Interval::between(pitch, other);
    assert_eq!(pitch.transposed(between), Some(other));
    assert_eq!(-between, Interval::between(other, pitch));
    assert_eq!(between + -between, Interval::UNISON);
    let octaves = between.whole_octaves();
    assert!((between + -Interval::octaves(octaves)).steps.abs() < 7);
    assert_eq!(pitch.cmp(&other), other.cmp(&pitch).reverse());
    assert_eq!(pitch == other, pitch.cmp(&other).is_eq());
    assert!(!by.to_string().is_empty() && !between.to_string().is_empty());
}

fn key(choices: &mut Choices) {
    let mode = [Mode::Major, Mode::Minor][choices.below(2)];
    let tonic = some_name(choices);
    let Some(key) = Key::new(tonic, mode) else {
        let fifths = (Key { tonic, mode }).fifths();
        return assert!(!(-7..=7).contains(&fifths));
    };
    let by = some_interval(choices);
    let moved = key.transposed(by);
    assert_eq!(Key::new(moved.tonic, mode), Some(moved), "{key} by {by}");
    assert_eq!(moved.tonic.class(), (tonic.class() + by.semitones).rem_euclid(12), "{key} by {by}");
    assert_eq!(key.transposed(Interval::UNISON), key);
    let altered: i32 = Letter::ALL.iter().map(|&letter| i32::from(key.alter(letter))).sum();
    assert_eq!(altered, key.fifths());
    assert_eq!(key.degree(1), tonic);
    assert_eq!(key.degree(8), tonic);
    assert_eq!((key.leading_note().class() + 1) % 12, tonic.class());
    for class in 0..12 {
        assert_eq!(key.spelling(class).class(), class, "{key}");
    }
    for degree in 1..=7 {
        let name = key.degree(degree);
        assert_eq!(key.spelling(name.class()), name, "degree {degree} of {key}");
    }
}

fn metre(choices: &mut Choices) {
    let (count, unit) = (choices.byte(), choices.byte());
    let unit = if choices.below(4) == 0 { unit } else { 1 << (unit % 6) };
    let Some(metre) = Metre::new(count, unit) else { return };
    assert_eq!(metre.beat() * metre.beats(), metre.bar_length());
    assert_eq!(metre.weight(Time::ZERO), 3);
    let position = some_time(choices);
    let (beat, into) = metre.beat_at(position);
    assert_eq!(metre.beat() * (beat - 1) + into, position);
    assert!(into < metre.beat() && beat >= 1);
    assert!(metre.weight(position) <= 3);
}

fn chord(choices: &mut Choices) {
    let suffixes = ["", "m", "dim", "7", "m7b5", "maj7", "sus4", "9", "aug7", "m(maj7)", "x"];
    let mut symbol = format!("{}{}", some_name(choices), suffixes[choices.below(suffixes.len())]);
    if choices.below(3) == 0 {
        symbol += &format!("/{}", some_name(choices));
    }
    // Now and then a letter is put in that has no business there.
    if choices.below(3) == 0 {
        let odd = ['♯', '♭', '𝄪', '𝄫', '/', '#', 'b', 'é', 'A', '7', '♮'][choices.below(11)];
        let place = symbol.char_indices().map(|(at, _)| at).nth(choices.below(symbol.len()));
        symbol.insert(place.unwrap_or(0), odd);
    }
    let Ok(chord) = Chord::read(&symbol) else { return };
    assert_eq!(Chord::read(&chord.to_string()), Ok(chord), "{symbol}");
    let members = chord.members();
    assert_eq!(members[0], chord.root);
    assert!(members.len() <= chord.quality.intervals().len() + 1);
    assert!(members.iter().all(|member| chord.has_class(member.class())));
    assert!(chord.has_class(chord.bass_note().class()));
}
