//! `ripieno instruments`.

use super::{End, Failure, Outcome, print};
use ripieno_checker::advise::table;
use ripieno_compiler::diagnostics::did_you_mean;
use ripieno_compiler::instruments::{
    Instrument, Limit, MidiSound, Tuning, catalogue, find, meant, other_names,
};
use ripieno_compiler::music::{Interval, Pitch};

/// What `instruments` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The instrument to tell about; without it, all are listed.
    name: Option<String>,
    /// Show the compass of this year.
    #[arg(long, value_name = "YEAR", default_value_t = 1885)]
    era: i32,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let Some(name) = &arguments.name else {
        print(&list(arguments.era))?;
        return Ok(End::Fine);
    };
    let Some(instrument) = find(name).or_else(|| find(&meant(name)?)) else {
        let known: Vec<&str> = catalogue().iter().map(|i| i.id.as_str()).collect();
        return Err(Failure(format!(
            "there is no instrument called `{name}`. {}",
            did_you_mean(name, &known, "instrument")
        )));
    };
    print(&tell(instrument))?;
    Ok(End::Fine)
}

fn list(era: i32) -> String {
    let mut rows = vec![
        ["name", "on paper", "from", "can play", "is asked", "pitch"].map(String::from).to_vec(),
    ];
    for instrument in catalogue() {
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
    format!("Compass in {era}; `ripieno instruments NAME` tells all about one.\n\n{}", table(&rows))
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
        format!("{:?}", instrument.family).to_lowercase(),
        instrument.from,
        instrument.from_source
    );
    if let Some(sentence) = companion(instrument) {
        text.push_str(&sentence);
    }
    if !instrument.aliases.is_empty() {
        text.push_str(&format!("also written {}\n", instrument.aliases.join(", ")));
    }
    let others = other_names(instrument);
    if !others.is_empty() {
        text.push_str(&format!("called elsewhere: {}\n", others.join(", ")));
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
    if let Some(plain) = instrument.id.strip_prefix("natural-") {
        return find(plain).map(|_| {
            format!("with valves: `{plain}`; `{plain} crook D` is this one, without valves\n")
        });
    }
    let natural = format!("natural-{}", instrument.id);
    find(&natural)
        .map(|_| format!("without valves: `{natural}`; `{} crook D` is that one\n", instrument.id))
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
        add("tells in a tutti", figure, &telling.source);
    }
    for strings in &instrument.open_strings {
        let years = match strings.to {
            9999 => format!("open strings from {}", strings.from),
            to => format!("open strings {} to {to}", strings.from),
        };
        let notes: Vec<String> = strings.strings.iter().map(ToString::to_string).collect();
        add(&years, notes.join(", "), &strings.source);
    }
    for drum in &instrument.drums {
        let figure = format!("{} to {}", drum.low, drum.high);
        add(&format!("{} drum", drum.name), figure, &drum.source);
    }
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

fn tunings(text: &mut String, title: &str, word: &str, tunings: &[Tuning]) {
    if tunings.is_empty() {
        return;
    }
    let mut rows = vec![[word, "sounds", "safe (written)", "source"].map(String::from).to_vec()];
    for tuning in tunings {
        let safe = match (tuning.safe_low, tuning.safe_high) {
            (None, None) => "–".to_string(),
            (Some(low), None) => format!("from {low}"),
            (None, Some(high)) => format!("to {high}"),
            (Some(low), Some(high)) => format!("{low} to {high}"),
        };
        rows.push(vec![
            tuning.name.clone(),
            heard(tuning.transposition),
            safe,
            tuning.source.clone(),
        ]);
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
