//! `ripieno instruments`.

use super::{End, Failure, Outcome, print};
use ripieno_checker::advise::table;
use ripieno_compiler::diagnostics::did_you_mean;
use ripieno_compiler::instruments::{
    Family, Instrument, Limit, MidiSound, TrillBy, Tuning, catalogue, find, meant, other_names,
};
use ripieno_compiler::music::{Interval, Letter, Pitch, PitchName};

/// What `instruments` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Instrument to show in full (default: list all).
    name: Option<String>,
    /// List only instruments in use in this year, with the compass they had then.
    #[arg(long, value_name = "YEAR")]
    era: Option<i32>,
    /// List only this family: woodwind, brass, percussion, harp, plucked, keyboard, voice, strings.
    #[arg(long, value_name = "FAMILY")]
    family: Option<String>,
    /// List only instruments on which a written C sounds this note: `Bb`, `F`, `C`.
    #[arg(long = "in", value_name = "KEY")]
    key: Option<String>,
    /// How the list is shown.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

#[derive(Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// As tables.
    Text,
    /// As data: every value with its source.
    Json,
}

/// The year whose compass a list shows if none is named.
const YEAR: i32 = 1885;

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let chosen = match &arguments.name {
        Some(name) => vec![named(name)?],
        None => asked(arguments)?,
    };
    print(&match (arguments.format, &arguments.name) {
        (Format::Json, _) => {
            let json = serde_json::to_string_pretty(&chosen);
            json.map_err(|error| Failure(format!("cannot write the data: {error}")))? + "\n"
        }
        (Format::Text, Some(_)) => chosen.iter().map(|instrument| tell(instrument)).collect(),
        (Format::Text, None) => list(&chosen, arguments.era.unwrap_or(YEAR)),
    })?;
    Ok(End::Fine)
}

fn named(name: &str) -> Result<&'static Instrument, Failure> {
    find(name).or_else(|| find(&meant(name)?)).ok_or_else(|| {
        let known: Vec<&str> = catalogue().iter().map(|i| i.id.as_str()).collect();
        let suggestion = did_you_mean(name, &known, "instrument");
        Failure(format!("unknown instrument `{name}`. {suggestion}"))
    })
}

/// The instruments of the family, the year and the transposition that are asked for.
fn asked(arguments: &Arguments) -> Result<Vec<&'static Instrument>, Failure> {
    let family = arguments.family.as_deref().map(str::to_lowercase);
    let families: Vec<&str> = FAMILIES.iter().map(|(_, word)| *word).collect();
    if let Some(family) = &family
        && !families.contains(&family.as_str())
    {
        let suggestion = did_you_mean(family, &families, "family");
        return Err(Failure(format!("unknown family `{family}`. {suggestion}")));
    }
    if let Some(year) = arguments.era.filter(|year| !(1600..=2100).contains(year)) {
        return Err(Failure(format!("the year {year} is outside 1600 to 2100")));
    }
    let key = match arguments.key.as_deref().map(|key| (key, key.parse::<PitchName>())) {
        None => None,
        Some((_, Ok(key))) => Some(key),
        Some((key, Err(()))) => {
            return Err(Failure(format!("`{key}` is not a key. Write a note name: `Bb`.")));
        }
    };
    let of_family = |i: &Instrument| family.as_ref().is_none_or(|f| word_of(i.family) == f);
    let in_use = |i: &Instrument| {
        arguments.era.is_none_or(|year| i.from <= year && i.out_of_use(year).is_none())
    };
    let in_key = |i: &Instrument| key.is_none_or(|key| sounding_keys(i).contains(&key));
    let chosen = catalogue().iter().filter(|i| of_family(i) && in_use(i) && in_key(i));
    Ok(chosen.collect())
}

/// The words for the families, in score order.
const FAMILIES: [(Family, &str); 8] = [
    (Family::Woodwind, "woodwind"),
    (Family::Brass, "brass"),
    (Family::Percussion, "percussion"),
    (Family::Harp, "harp"),
    (Family::Plucked, "plucked"),
    (Family::Keyboard, "keyboard"),
    (Family::Voice, "voice"),
    (Family::Strings, "strings"),
];

fn word_of(family: Family) -> &'static str {
    FAMILIES.iter().find(|(other, _)| *other == family).map_or("", |(_, word)| word)
}

/// What a written C can sound on an instrument, whatever the octave.
fn sounding_keys(instrument: &Instrument) -> Vec<PitchName> {
    if instrument.unpitched {
        return Vec::new();
    }
    let tunings: Vec<PitchName> =
        instrument.keys.iter().chain(&instrument.crooks).map(|tuning| tuning.key).collect();
    if tunings.is_empty() {
        PitchName::new(Letter::C, 0).transposed(instrument.transposition).into_iter().collect()
    } else {
        tunings
    }
}

fn list(chosen: &[&Instrument], era: i32) -> String {
    if chosen.is_empty() {
        return "No instrument of the catalogue is like that.\n".to_string();
    }
    let mut rows = vec![
        ["name", "on paper", "from", "can play", "is asked", "pitch"].map(String::from).to_vec(),
    ];
    for instrument in chosen {
        rows.push(vec![
            instrument.id.clone(),
            instrument.name.clone(),
            instrument.from.to_string(),
            compass(instrument, Limit::Instrument, era),
            compass(instrument, Limit::Custom, era),
            if instrument.unpitched {
                "none".to_string()
            } else if instrument.compass_is_written {
                "written".to_string()
            } else {
                "sounding".to_string()
            },
        ]);
    }
    format!("Compass in {era}; `ripieno instruments NAME` shows one in full.\n\n{}", table(&rows))
}

fn compass(instrument: &Instrument, limit: Limit, era: i32) -> String {
    if instrument.unpitched {
        return "–".to_string();
    }
    instrument
        .compass(limit, era)
        .map_or("–".to_string(), |compass| format!("{} to {}", compass.low, compass.high))
}

fn tell(instrument: &Instrument) -> String {
    let pitch = if instrument.compass_is_written { "written" } else { "sounding" };
    let mut text = format!(
        "{} ({}), {}, from {} ({})\n",
        instrument.name,
        instrument.abbreviation,
        word_of(instrument.family),
        instrument.from,
        instrument.from_source
    );
    for row in &instrument.out_of_use {
        let until = if row.to == 9999 { "on".to_string() } else { format!("to {}", row.to) };
        text.push_str(&format!("out of use from {} {until} ({})\n", row.from, row.source));
    }
    if let Some(sentence) = companion(instrument) {
        text.push_str(&sentence);
    }
    if !instrument.aliases.is_empty() {
        text.push_str(&format!("also written {}\n", instrument.aliases.join(", ")));
    }
    let others = other_names(instrument);
    if !others.is_empty() {
        text.push_str(&format!("other names: {}\n", others.join(", ")));
    }
    let choice = !instrument.crooks.is_empty() || instrument.keys.len() > 1;
    if !instrument.unpitched && !choice {
        let (sounds, source) = (heard(instrument.transposition), &instrument.transposition_source);
        text.push_str(&format!("sounds {sounds} ({source})\n"));
    }
    let clefs: Vec<String> = instrument
        .clefs
        .iter()
        .map(|c| format!("{} {} to {}", format!("{:?}", c.clef).to_lowercase(), c.low, c.high))
        .collect();
    if !instrument.unpitched {
        text.push_str(&format!(
            "clefs (written notes): {} ({})\n",
            clefs.join("; "),
            instrument.clefs_source
        ));
    }
    if instrument.staves > 1 {
        let alone = if instrument.bass_alone { "; one for a bass line alone" } else { "" };
        text.push_str(&format!(
            "staves {}, joined by a brace{alone} ({})\n",
            instrument.staves, instrument.staves_source
        ));
    }
    text.push_str(&match instrument.midi {
        MidiSound::Program(number) => format!("General MIDI program {number}\n"),
        MidiSound::PercussionKey(key) => format!("General MIDI percussion key {key}\n"),
    });
    text.push_str(&format!(
        "MusicXML sound {} ({})\n",
        instrument.musicxml_sound, instrument.sound_source
    ));
    if !instrument.unpitched {
        let mut rows = vec![["limit", "years", "compass", "source"].map(String::from).to_vec()];
        for compass in &instrument.compasses {
            let to = if compass.to == 9999 { "today".to_string() } else { compass.to.to_string() };
            rows.push(vec![
                match compass.limit {
                    Limit::Instrument => "can play",
                    Limit::Solo => "a soloist",
                    Limit::Custom => "is asked",
                }
                .to_string(),
                format!("{} to {to}", compass.from),
                format!("{} to {}{}", compass.low, compass.high, gap(&compass.missing)),
                compass.source.clone(),
            ]);
        }
        text.push_str(&format!("\nCompass, {pitch} pitch\n{}", table(&rows)));
    }
    text.push_str(&playing(instrument));
    tunings(&mut text, "Keys", "in", &instrument.keys);
    tunings(&mut text, "Crooks", "crook", &instrument.crooks);
    text
}

/// The instrument with valves, or without, of the same name.
fn companion(instrument: &Instrument) -> Option<String> {
    if let Some(valved) = instrument.with_valves() {
        let id = &valved.id;
        return Some(format!("with valves: `{id}`; `{id} crook D` is this one, without valves\n"));
    }
    let natural = &instrument.without_valves()?.id;
    Some(format!("without valves: `{natural}`; `{} crook D` is that one\n", instrument.id))
}

/// ", without B1, C2", or nothing.
fn gap(missing: &[Pitch]) -> String {
    if missing.is_empty() {
        return String::new();
    }
    let notes: Vec<String> = missing.iter().map(ToString::to_string).collect();
    format!(", without {}", notes.join(", "))
}

/// What the checker and the computed lines know of the player, with the sources.
fn playing(instrument: &Instrument) -> String {
    let mut rows = vec![["what", "figure", "source"].map(String::from).to_vec()];
    let mut add = |what: &str, figure: String, source: &str| {
        rows.push(vec![what.to_string(), figure, source.to_string()]);
    };
    if let Some(speed) = &instrument.agility {
        let figure = format!(
            "{} repeated, {} by step, {} leaping",
            speed.repeated, speed.stepwise, speed.leaping
        );
        add("notes a second", figure, &speed.source);
    }
    if let Some(breath) = &instrument.breath {
        let figure = format!("{} seconds at p, {} at f", breath.at_p, breath.at_f);
        add("one breath", figure, &breath.source);
    }
    if let Some(telling) = &instrument.telling {
        let figure = format!("sounding {} to {}", telling.low, telling.high);
        add("carries in a tutti", figure, &telling.source);
    }
    if let Some(lines) = &instrument.octave_lines {
        let side = |sign: &str, side, limit: Option<Pitch>| {
            limit.map(|limit| format!("{sign} {side} written {limit}"))
        };
        let sides = [side("8va", "above", lines.above), side("8vb", "below", lines.below)];
        let sides: Vec<String> = sides.into_iter().flatten().collect();
        add("lines of octaves", sides.join(", "), &lines.source);
    }
    for strings in &instrument.open_strings {
        let years = match strings.to {
            9999 => format!("open strings from {}", strings.from),
            to => format!("open strings {} to {to}", strings.from),
        };
        let notes: Vec<String> = strings.strings.iter().map(ToString::to_string).collect();
        add(&years, notes.join(", "), &strings.source);
    }
    for drum in instrument.drums.iter().filter(|_| instrument.drum_sets.is_empty()) {
        let figure = format!("{} to {}", drum.low, drum.high);
        add(&format!("{} drum", drum.name), figure, &drum.source);
    }
    for set in &instrument.drum_sets {
        for drum in &set.drums {
            let figure = format!("{} to {}", drum.low, drum.high);
            add(&format!("{} drum{}", drum.name, years(set.from, set.to)), figure, &drum.source);
        }
    }
    traits(instrument, &mut add);
    if let Some(series) = &instrument.natural {
        let of = |(low, high): (u8, u8)| {
            let note = |partial| series.written(partial).map_or(String::new(), |p| p.to_string());
            format!("{low} to {high} (written {} to {})", note(low), note(high))
        };
        add("partials, first player", of(series.first), &series.source);
        add("partials, second player", of(series.second), "as above");
        let safe = format!("partial {}", series.first_safe_to);
        add("first player safe to", safe, "as above");
        let out: Vec<String> = series.out_of_tune.iter().map(ToString::to_string).collect();
        add("partials out of tune", out.join(", "), "as above");
        let hand = match series.stopping_from {
            Some(year) => format!("from {year}"),
            None => "never".to_string(),
        };
        add("stopped by the hand", hand, "as above");
    }
    if rows.len() == 1 {
        return String::new();
    }
    format!("\nPlaying\n{}", table(&rows))
}

/// ", 1680 to 1849", or ", from 1920".
fn years(from: i32, to: i32) -> String {
    match to {
        9999 => format!(", from {from}"),
        to => format!(", {from} to {to}"),
    }
}

/// What else the rules, the advice and the mock-up go by.
fn traits(instrument: &Instrument, add: &mut impl FnMut(&str, String, &str)) {
    for slide in &instrument.slides {
        let mut figure = format!("{} positions from {}", slide.positions, slide.first_position);
        for valve in &slide.valves {
            figure += &format!(", with a valve {} from {}", valve.positions, valve.first_position);
        }
        add(&format!("slide{}", years(slide.from, slide.to)), figure, &slide.source);
    }
    if let Some(hand) = &instrument.hand {
        let percent = |reach: u16| f64::from(reach) / 10.0;
        let figure = format!(
            "{:.1}% of the string, a soloist {:.1}%",
            percent(hand.reach),
            percent(hand.solo_reach)
        );
        add("left hand spans", figure, &hand.source);
    }
    if let Some(grasp) = &instrument.grasp {
        let figure = format!("{} notes within {} semitones", grasp.fingers, grasp.span);
        add("each hand takes", figure, &grasp.source);
    }
    if let Some(pedals) = &instrument.pedals {
        let letters = |text: &str| text.chars().map(String::from).collect::<Vec<_>>().join(" ");
        let seconds = f64::from(pedals.milliseconds) / 1000.0;
        let figure = format!(
            "{} left, {} right, {seconds:.1} seconds each",
            letters(&pedals.left),
            letters(&pedals.right)
        );
        add("pedals", figure, &pedals.source);
    }
    if let Some(leap) = &instrument.sudden_leap {
        let seconds = f64::from(leap.milliseconds) / 1000.0;
        let figure = format!("{} semitones or more within {seconds:.2} seconds", leap.semitones);
        add("dislikes leaps of", figure, &leap.source);
    }
    if let Some(run) = &instrument.blurred_run {
        let figure = format!("{} notes at {} a second", run.notes, run.a_second);
        add("runs blur from", figure, &run.source);
    }
    if let Some(trills) = &instrument.trills {
        let by = match trills.by {
            TrillBy::Fingers => "by the fingers",
            TrillBy::Lips => "by the lips",
            TrillBy::Nothing => "none",
        };
        let none_on: Vec<String> = trills.none_on.iter().map(ToString::to_string).collect();
        let but = if none_on.is_empty() {
            String::new()
        } else {
            format!(", none on {}", none_on.join(", "))
        };
        add("trills", format!("{by}{but}"), &trills.source);
    }
    for row in &instrument.sparing {
        let what = format!("used sparingly{}", years(row.from, row.to));
        add(&what, format!("in {}% of the bars at most", row.percent), &row.source);
    }
    for row in &instrument.taxing {
        let what = format!("taxing when loud{}", years(row.from, row.to));
        add(&what, format!("from {} up", row.low), &row.source);
    }
    for row in &instrument.ranks {
        let figure = format!("first down to {}, second up to {}", row.first_low, row.second_high);
        add(&format!("players of a pair{}", years(row.from, row.to)), figure, &row.source);
    }
    for row in &instrument.retuning {
        let figure = format!("{:.0} seconds a drum", f64::from(row.milliseconds) / 1000.0);
        add(&format!("retuning{}", years(row.from, row.to)), figure, &row.source);
    }
    if let Some(registers) = &instrument.registers {
        let rows: Vec<String> =
            registers.rows.iter().map(|row| format!("{}% to {}", row.weight, row.to)).collect();
        add("weight by register (sounding)", rows.join(", "), &registers.source);
    }
    if let Some(section) = &instrument.section {
        let figure = format!(
            "{} players in a small orchestra, {} in a medium one",
            section.small, section.medium
        );
        add("section", figure, &section.source);
    }
    if let Some(year) = instrument.tremolo_from {
        add("flutter tonguing", format!("from {year}"), "from memory");
    }
    if let Some(desk) = &instrument.desk {
        add("in the line of forces", desk.short.clone(), &desk.source);
    }
    if let Some(seat) = &instrument.seat {
        let second =
            seat.second.map_or(String::new(), |seat| format!(", the second section {seat}"));
        add("seat, 0 left to 127 right", format!("{}{second}", seat.pan), &seat.source);
    }
}

fn tunings(text: &mut String, title: &str, word: &str, tunings: &[Tuning]) {
    if tunings.is_empty() {
        return;
    }
    let mut rows = vec![[word, "sounds", "safe (written)", "source"].map(String::from).to_vec()];
    let source = |tuning: &Tuning| match (tuning.from, tuning.to) {
        (None, None) => tuning.source.clone(),
        (from, to) => {
            let from = from.map_or(String::new(), |from| format!("from {from} "));
            let to = to.map_or(String::new(), |to| format!("to {to} "));
            format!("{from}{to}({})", tuning.source)
        }
    };
    for tuning in tunings {
        let safe = match (tuning.safe_low, tuning.safe_high) {
            (None, None) => "–".to_string(),
            (Some(low), None) => format!("from {low}"),
            (None, Some(high)) => format!("to {high}"),
            (Some(low), Some(high)) => format!("{low} to {high}"),
        };
        rows.push(vec![tuning.name.clone(), heard(tuning.transposition), safe, source(tuning)]);
    }
    // A column that says nothing is left out.
    if tunings.iter().all(|tuning| tuning.safe_low.is_none() && tuning.safe_high.is_none()) {
        rows.iter_mut().for_each(|row| drop(row.remove(2)));
    }
    text.push_str(&format!("\n{title}\n{}", table(&rows)));
}

/// "a perfect fifth lower than written".
fn heard(transposition: Interval) -> String {
    match transposition.semitones {
        0 => "as written".to_string(),
        12 => "an octave higher than written".to_string(),
        -12 => "an octave lower than written".to_string(),
        up if up > 0 => format!("a {transposition} higher than written"),
        _ => format!("a {transposition} lower than written"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everything_the_catalogue_knows_is_told_with_its_source() {
        for instrument in catalogue() {
            let told = tell(instrument);
            let mut wanted = vec![instrument.from_source.clone()];
            wanted.extend(instrument.aliases.iter().cloned());
            wanted.extend(instrument.breath.as_ref().map(|b| format!("{} seconds at p", b.at_p)));
            wanted.extend(instrument.agility.as_ref().map(|a| format!("{} by step", a.stepwise)));
            wanted.extend(
                instrument.telling.as_ref().map(|t| format!("sounding {} to {}", t.low, t.high)),
            );
            wanted.extend(
                instrument.compasses.iter().filter(|_| !instrument.unpitched).flat_map(|c| {
                    c.missing.iter().map(ToString::to_string).chain([c.source.clone()])
                }),
            );
            let tunings = instrument.keys.iter().chain(&instrument.crooks);
            wanted.extend(tunings.filter_map(|t| t.safe_high).map(|high| format!("to {high}")));
            wanted.extend(instrument.natural.as_ref().map(|series| series.source.clone()));
            for text in wanted {
                assert!(told.contains(&text), "{}: {text} is not in\n{told}", instrument.id);
            }
        }
    }

    #[test]
    fn horns_with_and_without_valves_name_each_other() {
        assert!(tell(find("horn").unwrap()).contains("`natural-horn`"));
        assert!(tell(find("natural-horn").unwrap()).contains("`horn`"));
    }
}
