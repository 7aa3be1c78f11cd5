//! An instrument that was not in common use in the year of the ensemble.
//!
//! # What it finds
//! Lines of an ensemble, and `takes` lines, that name an instrument before the first year of
//! common use that the catalogue states, or in years when it was out of use: a tuba of 1810, a horn
//! with valves of 1725, a serpent of 1885. Each line is reported once.
//!
//! # Why it matters
//! No orchestra of the year has the instrument. Its compass and customs are those of a later time,
//! so the other rules judge it by the nearest year that is known.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key F major
//!   2 end }
//! voice tune { 1: 1/2 F4 | 2: A4 | }
//! ensemble pair { era 1770
//!   horn in F }
//! scoring pair for pair {
//!   horn plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key F major
//!   2 end }
//! voice tune { 1: 1/2 F4 | 2: A4 | }
//! ensemble pair { era 1770
//!   horn crook F }
//! scoring pair for pair {
//!   horn plays tune as melody
//! }
//! ```
//!
//! # Source
//! The catalogue names its source beside the first year of every instrument (`ripieno
//! instruments`).

use crate::arrange::Part;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::{Diagnostic, Severity, Span};
use crate::instruments::Instrument;
use crate::music::Time;
use crate::resolve::BarIndices;

pub const RULE: Rule = Rule {
    code: "compass/not-yet-built",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("not_yet_built.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    let mut told: Vec<(Span, &str)> = Vec::new();
    for (player, part) in cx.parts() {
        for (from, instrument) in &part.instruments {
            let away = instrument.out_of_use(cx.era);
            if (cx.era >= instrument.from && away.is_none())
                || cx.allowed(RULE.code, Some(player), BarIndices::all(cx.form))
            {
                continue;
            }
            let engaged = instrument.id == part.player.instrument.id;
            let taken = cx.takes_line(player, *from).filter(|_| !engaged);
            let place = (taken.unwrap_or(part.player.span), instrument.id.as_str());
            if told.contains(&place) {
                continue;
            }
            told.push(place);
            findings.push(finding(cx, part, instrument, *from, place.0));
        }
    }
}

fn finding(
    cx: &Context,
    part: &Part,
    instrument: &Instrument,
    from: Time,
    place: Span,
) -> Diagnostic {
    let name = instrument.name.to_lowercase();
    if let Some(away) = instrument.out_of_use(cx.era).filter(|_| cx.era >= instrument.from) {
        let until =
            if away.to == 9999 { "since".to_string() } else { format!("until {}", away.to + 1) };
        let message = format!(
            "{} went out of use about {}, and the ensemble is of {}.",
            capital(&words::a(&name)),
            away.from,
            cx.era
        );
        let help = match away.to {
            9999 => "Take an instrument of the time, or set an earlier `era`.".to_string(),
            _ => format!(
                "It was not heard again {until}: take an instrument of the time, or set another `era`."
            ),
        };
        return Diagnostic::new(RULE.severity, RULE.code, place, message)
            .with_player(&part.player.id)
            .with_help(help);
    }
    let plural = instrument.name == instrument.plural;
    let message = format!(
        "{} {} not in common use before {}, and the ensemble is of {}.",
        if plural { instrument.name.clone() } else { capital(&words::a(&name)) },
        if plural { "were" } else { "was" },
        instrument.from,
        cx.era
    );
    let later = format!("leave it out or set a later `era` ({} or later)", instrument.from);
    let help = match substitute(part, instrument, from, cx.era) {
        Some(line) => format!("Write `{line}`, the instrument of the time, or {later}."),
        None => format!("{}.", capital(&later)),
    };
    Diagnostic::new(RULE.severity, RULE.code, place, message)
        .with_player(&part.player.id)
        .with_help(help)
}

/// What stood in the place of an instrument with valves: the one without, in the same key if there
/// is such a crook.
fn substitute(part: &Part, instrument: &Instrument, from: Time, era: i32) -> Option<String> {
    let natural = instrument.without_valves().filter(|n| n.from <= era)?;
    let key = part.tuning_at(from).map(|tuning| tuning.name.as_str());
    let same = natural.crooks.iter().find(|crook| Some(crook.name.as_str()) == key);
    let usual = || natural.crooks.iter().find(|crook| crook.name == "F");
    let crook = same.or_else(usual).or(natural.crooks.first())?;
    Some(format!("{} crook {}", instrument.id, crook.name))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| format!("{}{}", c.to_uppercase(), letters.as_str()))
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    fn told(era: i32, engaged: &str, lines: &str) -> Vec<(&'static str, String, String)> {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key F major\n 4 end }}\n\
             voice tune {{ 1: 1/1 F4 | 2: F4 | 3: rest | 4: rest | }}\n\
             ensemble few {{ era {era}\n {engaged} }}\nensemble more extends few {{ era 1885 }}\n\
             scoring few for few {{\n {lines}\n}}\n\
             ensemble all extends few {{ }}\nscoring all for all {{ keep few }}\n\
             scoring more for more {{ keep few }}\n"
        );
        let found = findings(&text).into_iter();
        let found = found.filter(|finding| finding.code == super::RULE.code);
        found.map(|f| (f.code, f.message, f.help.unwrap_or_default())).collect()
    }

    #[test]
    fn each_line_is_told_once_for_all_its_players_and_scorings() {
        let found = told(1810, "horn 2 in F, tuba", "horn, tuba plays tune as harmony");
        assert_eq!(found.len(), 2, "{found:#?}");
        assert!(found[0].1.contains("before 1835"), "{found:#?}");
        assert!(found[0].2.contains("`horn crook F`"), "{found:#?}");
        assert!(found[1].2.starts_with("Leave it out or set a later `era`"), "{found:#?}");
        assert!(told(1835, "horn 2 in F, tuba", "horn, tuba plays tune as harmony").is_empty());
    }

    #[test]
    fn what_is_taken_up_is_told_at_its_line_and_can_be_allowed() {
        let lines = "flute plays tune 8va as melody\n flute takes piccolo bar 4";
        assert_eq!(told(1725, "flute", lines).len(), 1);
        let allowed = format!("{lines}\n allow compass/not-yet-built on flute \"a copy\"");
        assert!(told(1725, "flute", &allowed).is_empty());
    }
}
