//! The key in which each chord is heard: as the harmony declares it, or else inferred by dynamic
//! programming over the chords.
//!
//! A chord is at home in a key where it stands on a degree of its scale or is its dominant; a
//! change of key costs, and a dominant seventh wants the key of the chord to which it leads. The
//! key that the form declares comes first where nothing speaks against it. (Common practice; the
//! weights are our heuristic, only their order means anything.)

use super::piece::{Form, HarmonyEvent};
use crate::music::{Chord, ChordQuality, Key, Mode, PitchName};
use crate::narrow::Narrow;

/// What it costs to go over into another key, and into the relative one.
const CHANGE: u32 = 4;
const TO_RELATIVE: u32 = 3;

/// What a chord costs in a key that does not have it, and one that borrows it as the dominant of
/// another degree.
const FOREIGN: u32 = 7;
const DOMINANT_ELSEWHERE: u32 = 8;

/// What it costs in each bar to be in another key than the declared one.
const NOT_DECLARED: u32 = 1;

/// All major and minor keys in their usual spelling.
fn keys() -> Vec<Key> {
    let mut keys = Vec::new();
    let major = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
    let minor = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"];
    for (mode, names) in [(Mode::Major, major), (Mode::Minor, minor)] {
        let tonics = names.into_iter().filter_map(|name| name.parse::<PitchName>().ok());
        keys.extend(tonics.filter_map(|tonic| Key::new(tonic, mode)));
    }
    keys
}

/// What it costs to hear a chord in another key than the harmony says.
const NOT_SO: u32 = 1_000;

/// Sets the key in which each chord is heard, spelled as the form spells it where it is the key of
/// the form; `declared` are the keys that the harmony declares for them.
pub fn hear(form: &Form, harmony: &mut [HarmonyEvent], declared: &[Option<Key>]) {
    let keys = local_keys(form, harmony, declared);
    for (event, key) in harmony.iter_mut().zip(keys) {
        event.key = key;
    }
}

fn local_keys(form: &Form, harmony: &[HarmonyEvent], said: &[Option<Key>]) -> Vec<Key> {
    let keys = keys();
    let same = |a: Key, b: Key| a.mode == b.mode && a.tonic.class() == b.tonic.class();
    let mut best: Vec<u32> = vec![0; keys.len()];
    // For each chord and key the key before.
    let mut back: Vec<[u8; 24]> = Vec::with_capacity(harmony.len());
    for (index, event) in harmony.iter().enumerate() {
        let declared = form.bar_at(event.start).key;
        let next = harmony.get(index + 1).filter(|next| next.start == event.start + event.length);
        let mut now = Vec::with_capacity(keys.len());
        let mut from = [0; 24];
        for (place, &key) in keys.iter().enumerate() {
            let ways = best.iter().enumerate().map(|(before, cost)| {
                // A piece begins in its own key.
                let begins = index == 0 && !same(key, declared);
                let stays = before == place && !begins;
                let change = match (stays, related(keys[before], key)) {
                    (true, _) => 0,
                    (false, true) => TO_RELATIVE,
                    (false, false) => CHANGE,
                };
                (cost + change, before)
            });
            let (cost, before) = ways.min().unwrap_or((0, place));
            let home = if same(key, declared) { 0 } else { NOT_DECLARED };
            let here = match said.get(index).copied().flatten() {
                Some(said) if same(key, said) => 0,
                Some(_) => NOT_SO,
                None => home + strangeness(&event.chord, next.map(|n| &n.chord), key),
            };
            now.push(cost + here);
            from[place] = before.narrow::<u8>();
        }
        best = now;
        back.push(from);
    }
    let mut at = (0..keys.len()).min_by_key(|&place| best[place]).unwrap_or(0);
    let mut found = Vec::with_capacity(harmony.len());
    for (index, (event, from)) in harmony.iter().zip(&back).enumerate().rev() {
        let declared = form.bar_at(event.start).key;
        let said = said.get(index).copied().flatten();
        let spelled = said.into_iter().chain([declared]).find(|key| same(keys[at], *key));
        found.push(spelled.unwrap_or(keys[at]));
        at = usize::from(from[at]);
    }
    found.reverse();
    found
}

/// Are two keys relatives, with one signature?
fn related(one: Key, other: Key) -> bool {
    let way = (one.tonic.class() - other.tonic.class()).rem_euclid(12);
    match (one.mode, other.mode) {
        (Mode::Major, Mode::Minor) => way == 3,
        (Mode::Minor, Mode::Major) => way == 9,
        _ => false,
    }
}

/// How strange a chord is in a key; `next` is the one that follows on it.
fn strangeness(chord: &Chord, next: Option<&Chord>, key: Key) -> u32 {
    use ChordQuality as Q;
    let degree = (chord.root.class() - key.tonic.class()).rem_euclid(12);
    let minor = matches!(chord.quality, Q::Minor | Q::MinorSeventh | Q::MinorSixth);
    let major = matches!(chord.quality, Q::Major | Q::MajorSeventh | Q::MajorSixth);
    let diminished =
        matches!(chord.quality, Q::Diminished | Q::DiminishedSeventh | Q::HalfDiminishedSeventh);
    let dominant = matches!(
        chord.quality,
        Q::DominantSeventh | Q::DominantNinth | Q::DominantSeventhSuspended | Q::AugmentedSeventh
    );
    if dominant && degree != 7 {
        return DOMINANT_ELSEWHERE;
    }
    // The dominant of this key wants to go where this key has its tonic, or stay in it.
    let away = dominant
        && next.is_some_and(|next| {
            let to = (next.root.class() - key.tonic.class()).rem_euclid(12);
            let other_mode = matches!(next.quality, Q::Minor) != (key.mode == Mode::Minor);
            to == 0 && other_mode
        });
    let own = match (key.mode, degree) {
        (_, 7) if dominant || matches!(chord.quality, Q::SuspendedFourth) => true,
        (_, 11) if diminished => true,
        (Mode::Major, 0 | 5 | 7) | (Mode::Minor, 3 | 7 | 8) => major,
        (Mode::Major, 2 | 4 | 9) => minor,
        (Mode::Minor, 0 | 5) => minor,
        (Mode::Minor, 2) => diminished,
        (Mode::Minor, 10) => major,
        _ => false,
    };
    match (own, away) {
        (true, false) if degree == 0 => 0,
        (true, false) => 1,
        (true, true) => 3,
        (false, _) if matches!((key.mode, degree), (Mode::Minor, 7)) && minor => 3,
        _ => FOREIGN,
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    fn found(key: &str, chords: &str) -> Vec<String> {
        let bars = chords.matches('|').count();
        let mut sources = Sources::new();
        let text = format!(
            "piece \"Keys\" {{ }}\nform {{\n 1 metre 2/2, key {key}\n {bars} end\n}}\nharmony {{ {chords} }}\n"
        );
        let file = sources.add("keys.ripieno", text);
        let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
        piece.harmony.iter().map(|event| event.key.to_string()).collect()
    }

    #[test]
    fn a_piece_in_one_key_stays_in_it() {
        let keys = found("G minor", "1: Gm | 2: Cm | 3: D7 | 4: Gm |");
        assert!(keys.iter().all(|key| *key == keys[0]), "{keys:?}");
        let keys = found("C major", "1: C | 2: 1/2 A7 Dm | 3: G7 | 4: C |");
        assert!(keys.iter().all(|key| *key == keys[0]), "{keys:?}");
    }

    #[test]
    fn a_cadence_in_another_key_is_heard_in_it() {
        let keys = found(
            "G minor",
            "1: Gm | 2: 1/2 Dm/F Gm | 3: 1/2 Dm/A A7 | 4: 1/2 Dm D7/C | 5: 1/2 G7/B Cm | 6: Eb | 7: D7 | 8: Gm |",
        );
        assert_eq!(keys[5], "D minor", "{keys:?}");
        assert_eq!(keys[0], "G minor", "{keys:?}");
        assert_eq!(keys.last().map(String::as_str), Some("G minor"), "{keys:?}");
    }

    #[test]
    fn a_declared_key_holds_until_another_is_declared_or_the_form_changes() {
        let chords = "1: C | 2: key A minor Am | 3: 1/2 Dm E | 4: F | 5: key C major G | 6: C |";
        let keys = found("C major", chords);
        let minor = ["A minor"; 4];
        assert_eq!(keys[1..5], minor, "{keys:?}");
        assert_eq!((&*keys[0], &*keys[5]), ("C major", "C major"), "{keys:?}");
        // A key may be declared within a bar, and is spelled as it was declared.
        let keys =
            found("B major", "1: B | 2: 1/2 F#7 key Gb major Gb | 3: Cb | 4: key B major B |");
        assert_eq!(keys[2..4], ["Gb major"; 2], "{keys:?}");
        let keys = found(
            "B major, tempo 1/4 at 60\n 3 key G major",
            "1: key E major B | 2: E | 3: G | 4: D |",
        );
        assert_eq!(keys, ["E major", "E major", "G major", "G major"]);
    }
}
