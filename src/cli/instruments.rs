//! `ripieno instruments`.

use super::{End, Failure, Outcome, print};
use crate::advise::table;
use crate::diagnostics::did_you_mean;
use crate::instruments::{
    Instrument, Limit, MidiSound, Tuning, catalogue, find, meant, other_names,
};
use crate::music::Interval;

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
        "{} ({}), {:?}, from {}\n",
        instrument.name, instrument.abbreviation, instrument.family, instrument.from
    );
    let others = other_names(instrument);
    if !others.is_empty() {
        text.push_str(&format!("called elsewhere: {}\n", others.join(", ")));
    }
    let choice = !instrument.crooks.is_empty() || instrument.keys.len() > 1;
    if !instrument.unpitched && !choice {
        text.push_str(&format!("sounds {}\n", heard(instrument.transposition)));
    }
    let clefs: Vec<String> = instrument
        .clefs
        .iter()
        .map(|c| format!("{} {} to {}", format!("{:?}", c.clef).to_lowercase(), c.low, c.high))
        .collect();
    if !instrument.unpitched {
        text.push_str(&format!("clefs (written notes): {}\n", clefs.join("; ")));
    }
    if instrument.staves > 1 {
        let alone = if instrument.bass_alone { "; one for a bass line alone" } else { "" };
        text.push_str(&format!("staves {}, joined by a brace{alone}\n", instrument.staves));
    }
    text.push_str(&match instrument.midi {
        MidiSound::Program(number) => format!("General MIDI program {number}\n"),
        MidiSound::PercussionKey(key) => format!("General MIDI percussion key {key}\n"),
    });
    text.push_str(&format!("MusicXML sound {}\n", instrument.musicxml_sound));
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
                format!("{} to {}", compass.low, compass.high),
                compass.source.clone(),
            ]);
        }
        text.push_str(&format!("\nCompass, {pitch} pitch\n{}", table(&rows)));
    }
    tunings(&mut text, "Keys", "in", &instrument.keys);
    tunings(&mut text, "Crooks", "crook", &instrument.crooks);
    text
}

fn tunings(text: &mut String, title: &str, word: &str, tunings: &[Tuning]) {
    if tunings.is_empty() {
        return;
    }
    let mut rows = vec![[word, "sounds", "source"].map(String::from).to_vec()];
    for tuning in tunings {
        rows.push(vec![tuning.name.clone(), heard(tuning.transposition), tuning.source.clone()]);
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
