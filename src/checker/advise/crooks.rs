//! Which crooks suit a piece.
//!
//! A pair of natural horns (or trumpets) is of use where its open notes are in the harmony, and a
//! burden where its open notes, above all the third by which it says major, are foreign to the piece.
//! The figures of this file are our heuristic. They were chosen, on progressions made up at random, so
//! that common practice comes out of the notes alone: a piece in major takes the crook of its key; one
//! in minor takes the crook of the relative major for one pair, and the tonic's and the relative
//! major's for two.

use std::fmt;

use serde::Serialize;

use super::weigh::{self, Weighed};
use super::{WEIGHED, percent, rounded, table};
use crate::instruments::{Instrument, Limit, NaturalSeries, PlayerRank, Tuning, catalogue};
use crate::music::{Mode, PitchName};
use crate::resolve::{Ensemble, Piece, Scoring, Voice};

/// Crooks ranked, the best first.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct CrooksAdvice {
    /// Every crook of the natural horn, for one pair.
    pub one_pair: Vec<CrookChoice>,
    /// Every two crooks of different key, and each crook twice, for two pairs of horns.
    pub two_pairs: Vec<CrookChoice>,
    /// Every crook of the natural trumpet, for one pair; only where the ensemble has trumpets
    /// without valves.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub trumpets: Vec<CrookChoice>,
}

/// Crooks with what they offer.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct CrookChoice {
    /// Names of the crooks, one a pair.
    pub crooks: Vec<String>,
    /// How well their open notes cover the harmony and the voice: 0 (nothing) to 1 (all, and no
    /// open note is foreign to the piece).
    pub coverage: f64,
    /// Why, in one sentence.
    pub reason: String,
}

/// Year whose customs hold where no ensemble says one: valveless horns are common, and every crook
/// is made.
const DEFAULT_YEAR: i32 = 1800;

/// Ranks crooks for a piece: by the scoring's ensemble (its year, its trumpets) where one is given,
/// and by the melody of `voice`, or else of the first voice.
#[must_use]
pub fn crooks(piece: &Piece, scoring: Option<&Scoring>, voice: Option<&Voice>) -> CrooksAdvice {
    let ensembles: Vec<&Ensemble> = match scoring {
        Some(scoring) => piece.ensembles.get(scoring.ensemble).map(|e| &**e).into_iter().collect(),
        None => piece.ensembles.iter().map(|ensemble| &**ensemble).collect(),
    };
    let with = |id: &str| {
        ensembles.iter().find(|e| e.players.iter().any(|player| player.instrument.id == id))
    };
    let chords = weigh::chords(piece, METRE);
    let music = Music {
        home: at_home(piece, &chords),
        sounds: sounds(piece, &chords),
        main: weigh::main_chords(&chords, 2).iter().map(ToString::to_string).collect(),
        melody: voice
            .or(piece.voices.first().map(|first| &**first))
            .map(|voice| (voice.name.as_str(), melody(voice))),
        chords,
    };
    let mut advice =
        CrooksAdvice { one_pair: Vec::new(), two_pairs: Vec::new(), trumpets: Vec::new() };
    if music.chords.is_empty() {
        return advice;
    }
    // The hand helps horns out where the series has no note, so they are asked first.
    let (horn, trumpet) = (
        natural(|series| series.stopping_from.is_some()),
        natural(|series| series.stopping_from.is_none()),
    );
    if let Some(horn) = horn {
        let year = with(&horn.id).map_or(DEFAULT_YEAR, |ensemble| ensemble.era);
        let pairs = judge(&music, horn, year, usual_horn);
        advice.one_pair = ranked(pairs.iter().map(|pair| pair.alone(&music)).collect());
        let mut two = two_pairs(&music, &pairs);
        if let Some(bar) = piece.form.bars.first().filter(|bar| bar.key.mode == Mode::Minor) {
            let keys = [bar.key.tonic.class(), bar.key.degree(3).class()];
            let stand_there = |choice: &CrookChoice| {
                let has = |class: &i32| {
                    let of_key = |pair: &&Pair| pair.crook.key.class() == *class;
                    pairs.iter().filter(of_key).any(|p| choice.crooks.contains(&p.crook.name))
                };
                keys.iter().all(has)
            };
            for choice in two.iter_mut().filter(|choice| !stand_there(choice)) {
                choice.coverage *= NOT_TONIC_AND_RELATIVE;
            }
        }
        advice.two_pairs = ranked(two);
    }
    if let Some(trumpet) = trumpet
        && let Some(ensemble) = with(&trumpet.id)
    {
        let mut pairs = judge(&music, trumpet, ensemble.era, usual_trumpet);
        let tonic = piece.form.bars.first().map_or(0, |bar| bar.key.tonic.class());
        // A rare crook of the tonic (G, A) takes nothing from the usual ones: such a piece has them
        // in the relative or the fifth.
        let there = |pair: &Pair| pair.crook.key.class() == tonic && pair.usual >= 1.0;
        if pairs.iter().any(there) {
            for pair in pairs.iter_mut().filter(|pair| pair.crook.key.class() != tonic) {
                pair.usual *= NOT_THE_TONIC;
            }
        }
        advice.trumpets = ranked(pairs.iter().map(|pair| pair.alone(&music)).collect());
    }
    advice
}

/// What a unit of metre weight adds to a chord's duration. Our heuristic.
const METRE: f64 = 0.25;
/// Share that the voice has in the coverage; the rest is harmony. Our heuristic.
const VOICE: f64 = 0.1;
/// What a chord gives to a pair that has one of its notes (both players sound it, in octaves or in
/// unison) … Our heuristic.
const ONE_NOTE: f64 = 0.7;
/// … and what it takes away where they have none. Our heuristic.
const SILENT: f64 = 0.3;
/// Share of the harmony from which on a note counts as fully at home in the piece. Our heuristic.
const AT_HOME: f64 = 0.06;
/// How much foreign open notes count with two pairs: where one pair has the wrong third, the other
/// can have the right one. Our heuristic.
const FOREIGN_OF_TWO: f64 = 0.3;
/// What a second pair on the crook of the first is worth: it makes it stronger and brings no new
/// note. Our heuristic.
const NOTHING_NEW: f64 = 0.85;
/// How good a note is that the players find in one place only (the ninth partial). Our heuristic.
const ONE_PLACE: f64 = 0.7;
/// How good a note is that is off by more than [`OFF_CENTS`] cents (the fifth partial and its octave). Our heuristic.
const OFF: f64 = 0.9;
const OFF_CENTS: f64 = 10.0;
/// How much the third of the crook counts when foreign notes are told: it is the note by which a
/// natural instrument says major. Our heuristic.
const THIRD_PLACES: f64 = 4.0;

/// The first instrument of the catalogue without valves whose series is of a kind.
fn natural(kind: impl Fn(&NaturalSeries) -> bool) -> Option<&'static Instrument> {
    catalogue().iter().find(|instrument| instrument.natural.as_ref().is_some_and(&kind))
}

/// What a crook for trumpets is worth that is not that of the tonic: trumpets stand in the tonic, with
/// the drums, and in minor leave its major third out (common practice; the figure is our heuristic).
const NOT_THE_TONIC: f64 = 0.8;

/// What two pairs of horns are worth in a piece in minor that do not stand in the tonic and its relative
/// major (common practice; the figure is our heuristic).
const NOT_TONIC_AND_RELATIVE: f64 = 0.9;

/// What is asked of the crooks.
struct Music<'a> {
    chords: Vec<Weighed>,
    /// How far each pitch class is at home in the piece, 0 to 1.
    home: [f64; 12],
    /// Which pitch classes sound anywhere, in chords or voices.
    sounds: [bool; 12],
    /// Symbols of the two chords that weigh most.
    main: Vec<String>,
    /// Name of the voice and the share of its time that falls to each pitch class.
    melody: Option<(&'a str, [f64; 12])>,
}

/// How far each pitch class is at home: a note of the harmony by how often it is there, a note of a
/// key in force by how long that key holds.
fn at_home(piece: &Piece, chords: &[Weighed]) -> [f64; 12] {
    let mut shares = weigh::classes(chords);
    let whole = piece.form.end().to_f64();
    for bar in &piece.form.bars {
        for degree in 1..=7 {
            let class = bar.key.degree(degree).class() as usize;
            shares[class] += AT_HOME * bar.length.to_f64() / whole;
        }
    }
    shares.map(|share| (share / AT_HOME).min(1.0))
}

/// Which pitch classes sound anywhere.
fn sounds(piece: &Piece, chords: &[Weighed]) -> [bool; 12] {
    let mut sounds = weigh::classes(chords).map(|share| share > 0.0);
    for note in piece.voices.iter().flat_map(|voice| &voice.music.notes) {
        for pitch in note.sound.pitches() {
            sounds[pitch.name().class() as usize] = true;
        }
    }
    sounds
}

fn melody(voice: &Voice) -> [f64; 12] {
    let mut shares = [0.0; 12];
    for note in &voice.music.notes {
        for pitch in note.sound.pitches() {
            shares[pitch.name().class() as usize] += note.length.to_f64();
        }
    }
    let sum: f64 = shares.iter().sum();
    if sum > 0.0 {
        shares.iter_mut().for_each(|share| *share /= sum);
    }
    shares
}

/// A pair of players with a crook, and what it is worth.
struct Pair {
    crook: &'static Tuning,
    /// How good an open note of each class is, 0 where there is none.
    open: [f64; 12],
    /// Sounding names of the open notes in tune, from the crook's key up the series.
    names: Vec<PitchName>,
    /// Cover of harmony and voice.
    cover: f64,
    /// Share of the open notes that are foreign to the piece.
    foreign: f64,
    /// Names of the open notes that are foreign to the piece.
    strangers: Vec<PitchName>,
    usual: f64,
}

fn judge(
    music: &Music,
    instrument: &'static Instrument,
    year: i32,
    usual: fn(&Tuning, i32) -> f64,
) -> Vec<Pair> {
    let crooks = instrument.crooks.iter();
    crooks
        .map(|crook| Pair { usual: usual(crook, year), ..pair(music, instrument, crook, year) })
        .collect()
}

fn pair(music: &Music, instrument: &'static Instrument, crook: &'static Tuning, year: i32) -> Pair {
    let top = instrument.natural.as_ref().map_or(0, |series| series.first_safe_to);
    // Trumpets have no hand in the bell to make what the series lacks.
    let trumpet = instrument.natural.as_ref().is_some_and(|series| series.stopping_from.is_none());
    let mut places: Vec<(PitchName, f64, f64)> = Vec::new();
    let mut heights: Vec<i32> = Vec::new();
    for rank in [PlayerRank::First, PlayerRank::Second] {
        for note in instrument.open_notes(rank, Limit::Custom, year) {
            let safe = note.in_tune
                && note.partial <= top
                && crook.safe_low.is_none_or(|low| note.written >= low)
                && crook.safe_high.is_none_or(|high| note.written <= high);
            if !safe || heights.contains(&note.written.midi()) {
                continue;
            }
            heights.push(note.written.midi());
            let name = note.written.transposed_or_respelled(crook.transposition).name();
            match places.iter_mut().find(|(known, ..)| *known == name) {
                Some((_, count, _)) => *count += 1.0,
                None => places.push((name, 1.0, note.cents)),
            }
        }
    }
    let mut open = [0.0; 12];
    let (mut all, mut foreign, mut strangers) = (0.0, 0.0, Vec::new());
    // The third that is foreign to the piece is simply not played by trumpets.
    let plays = |name: &PitchName, cents: f64| {
        !trumpet || cents.abs() <= OFF_CENTS || music.home[name.class() as usize] > 0.5
    };
    places.retain(|(name, _, cents)| plays(name, *cents));
    for (name, count, cents) in &places {
        let class = name.class() as usize;
        let off = cents.abs() > OFF_CENTS;
        open[class] = if *count < 2.0 {
            ONE_PLACE
        } else if off {
            OFF
        } else {
            1.0
        };
        let weight = if off { THIRD_PLACES } else { *count };
        let strange = 1.0 - music.home[class];
        all += weight;
        foreign += weight * strange;
        if strange > 0.5 {
            strangers.push(*name);
        }
    }
    let mut names: Vec<PitchName> = places.iter().map(|(name, ..)| *name).collect();
    let key = crook.key.class();
    names.sort_by_key(|name| (name.class() - key).rem_euclid(12));
    Pair {
        crook,
        cover: cover(music, &open),
        open,
        names,
        foreign: if all > 0.0 { foreign / all } else { 1.0 },
        strangers,
        usual: 1.0,
    }
}

/// How much of the harmony and of the voice a pair covers.
fn cover(music: &Music, open: &[f64; 12]) -> f64 {
    let mut harmony = 0.0;
    for weighed in &music.chords {
        let mut notes: Vec<f64> =
            weighed.chord.members().iter().map(|member| open[member.class() as usize]).collect();
        notes.sort_by(|a, b| b.total_cmp(a));
        let (best, next) = (notes[0], notes.get(1).copied().unwrap_or(0.0));
        let worth = if best > 0.0 { ONE_NOTE * best + (1.0 - ONE_NOTE) * next } else { -SILENT };
        harmony += weighed.share * worth;
    }
    let cover = match &music.melody {
        Some((_, shares)) => (1.0 - VOICE) * harmony + VOICE * of_melody(shares, open),
        None => harmony,
    };
    cover.clamp(0.0, 1.0)
}

fn of_melody(shares: &[f64; 12], open: &[f64; 12]) -> f64 {
    shares.iter().zip(open).map(|(share, good)| share * good).sum()
}

/// Does a house have the crook? Near 1 for the crooks of every set, less for the rarer ones.
///
/// Our heuristic after Grove, A Dictionary of Music and Musicians, vol. 1, "Horn", p. 750, where C
/// alto is rarely used, Bb basso the usual end of the series and what lies below exceptional. Before
/// 1750 horns are built in few keys, and Ab is rare at all times (both from memory).
fn usual_horn(crook: &Tuning, year: i32) -> f64 {
    if year < FEW_KEYS_BEFORE {
        return match crook.name.as_str() {
            "C" | "C basso" | "D" | "Eb" | "F" | "G" => 1.0,
            "A" | "Bb" | "Bb alto" | "C alto" => 0.95,
            "E" | "Bb basso" => 0.7,
            _ => 0.6,
        };
    }
    match crook.name.as_str() {
        "C" | "D" | "Eb" | "E" | "F" | "G" => 1.0,
        "C basso" | "Bb basso" | "Bb" | "A" => 0.99,
        "Bb alto" => 0.98,
        "C alto" => 0.95,
        "Ab" => 0.8,
        _ => 0.75,
    }
}

/// Before this year horns are built in few keys. (From memory.)
const FEW_KEYS_BEFORE: i32 = 1750;

/// The same for trumpets: C, D, Eb, F and Bb are usual, G and A rare. (Common practice; the figures
/// are our heuristic.)
fn usual_trumpet(crook: &Tuning, _: i32) -> f64 {
    match crook.name.split(' ').next().unwrap_or_default() {
        "C" | "D" | "Eb" | "F" | "Bb" => 1.0,
        "E" => 0.85,
        "G" | "A" => 0.75,
        _ => 0.7,
    }
}

impl Pair {
    fn alone(&self, music: &Music) -> CrookChoice {
        CrookChoice {
            crooks: vec![self.crook.name.clone()],
            coverage: self.cover * (1.0 - self.foreign) * self.usual,
            reason: self.reason(music),
        }
    }

    fn reason(&self, music: &Music) -> String {
        let share_with = |wanted: fn(usize) -> bool| -> f64 {
            let those =
                music.chords.iter().filter(|weighed| wanted(open_members(&self.open, weighed)));
            those.map(|weighed| weighed.share).sum()
        };
        let mut reason = format!(
            "Open notes {}: two or more chord notes in {} of the harmony, one in {}",
            listed(&self.names),
            percent(share_with(|count| count >= 2)),
            percent(share_with(|count| count == 1))
        );
        if let Some((name, shares)) = &music.melody {
            let share: f64 =
                shares.iter().zip(&self.open).filter(|(_, o)| **o > 0.0).map(|(s, _)| s).sum();
            reason.push_str(&format!("; {} of `{name}`", percent(share)));
        }
        if !self.strangers.is_empty() {
            let strangers = self.strangers.iter().copied();
            let (seldom, never): (Vec<PitchName>, Vec<PitchName>) =
                strangers.partition(|name| music.sounds[name.class() as usize]);
            for (how, names) in [("seldom in the piece", seldom), ("foreign to the piece", never)] {
                if !names.is_empty() {
                    reason.push_str(&format!("; {how}: {}", listed(&names)));
                }
            }
        }
        reason.push('.');
        reason
    }
}

/// How many notes of a chord are open.
fn open_members(open: &[f64; 12], weighed: &Weighed) -> usize {
    let members = weighed.chord.members();
    members.iter().filter(|member| open[member.class() as usize] > 0.0).count()
}

fn listed(names: &[PitchName]) -> String {
    names.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
}

fn two_pairs(music: &Music, pairs: &[Pair]) -> Vec<CrookChoice> {
    let mut choices = Vec::new();
    for (index, one) in pairs.iter().enumerate() {
        for other in &pairs[index..] {
            let same = one.crook.name == other.crook.name;
            if one.crook.key == other.crook.key && !same {
                continue;
            }
            let more = if same { NOTHING_NEW } else { 1.0 };
            let cover = more * (one.cover + other.cover) / 2.0;
            // On one crook nobody has the third that the others lack.
            let share = if same { 1.0 } else { FOREIGN_OF_TWO };
            let foreign = share * (one.foreign + other.foreign) / 2.0;
            let mut crooks = [one.crook, other.crook];
            crooks.sort_by_key(|crook| (crook.key, &crook.name));
            choices.push(CrookChoice {
                crooks: crooks.iter().map(|crook| crook.name.clone()).collect(),
                coverage: cover * (1.0 - foreign) * one.usual.min(other.usual),
                reason: reason_of_two(music, one, other),
            });
        }
    }
    choices
}

fn reason_of_two(music: &Music, one: &Pair, other: &Pair) -> String {
    let mut open = one.open;
    for (mine, theirs) in open.iter_mut().zip(&other.open) {
        *mine = mine.max(*theirs);
    }
    let share_with = |wanted: fn(usize, usize) -> bool| -> f64 {
        music
            .chords
            .iter()
            .filter(|w| wanted(open_members(&open, w), w.chord.members().len()))
            .map(|weighed| weighed.share)
            .sum()
    };
    let main: Vec<String> = music
        .main
        .iter()
        .filter_map(|symbol| crate::music::Chord::read(symbol).ok())
        .map(|chord| {
            let members = chord.members();
            let has = members.iter().filter(|m| open[m.class() as usize] > 0.0).count();
            format!("{has} of {} notes of {chord}", members.len())
        })
        .collect();
    format!(
        "Together every chord note in {} of the harmony, none in {}; {}.",
        percent(share_with(|count, all| count == all)),
        percent(share_with(|count, _| count == 0)),
        main.join(", ")
    )
}

/// Best first; equal ones by name, so that the order never depends on chance.
fn ranked(mut choices: Vec<CrookChoice>) -> Vec<CrookChoice> {
    for choice in &mut choices {
        choice.coverage = rounded(choice.coverage);
    }
    choices.sort_by(|a, b| b.coverage.total_cmp(&a.coverage).then_with(|| a.crooks.cmp(&b.crooks)));
    choices
}

/// Rows that the tables show of each ranking; the data hold all.
const SHOWN: usize = 8;

impl fmt::Display for CrooksAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.one_pair.is_empty() {
            return writeln!(
                f,
                "No voice has a note and no harmony is declared: nothing to go by."
            );
        }
        let sections = [
            ("One pair of horns", &self.one_pair),
            ("Two pairs of horns", &self.two_pairs),
            ("One pair of trumpets", &self.trumpets),
        ];
        let mut first = true;
        for (title, choices) in sections.into_iter().filter(|(_, choices)| !choices.is_empty()) {
            if !first {
                writeln!(f)?;
            }
            first = false;
            let mut rows = vec![["crook", "coverage", "why"].map(String::from).to_vec()];
            rows.extend(choices.iter().take(SHOWN).map(|choice| {
                vec![
                    choice.crooks.join(", "),
                    format!("{:.2}", choice.coverage),
                    choice.reason.clone(),
                ]
            }));
            write!(f, "{title}\n{}", table(&rows))?;
        }
        write!(f, "\n{WEIGHED}\n")
    }
}
