use std::fs;
use std::path::Path;

use super::*;
use crate::arrange::arrange;
use crate::diagnostics::{BarNumbers, Sources};
use crate::resolve::{NoFiles, resolve};

/// All findings of the checker about a source, which must be free of other findings.
pub(super) fn findings(text: &str) -> Vec<Diagnostic> {
    findings_with(text, &Options::default())
}

pub(super) fn findings_with(text: &str, options: &Options) -> Vec<Diagnostic> {
    let mut sources = Sources::new();
    let root = sources.add("example.ripieno", text);
    let (piece, diagnostics) = resolve(&mut sources, root, &mut NoFiles);
    assert!(diagnostics.is_empty(), "{text}\n{diagnostics:#?}");
    let arrangements: Vec<_> = piece.scorings.iter().map(|s| arrange(&piece, s)).collect();
    let found = check_piece(&piece, &arrangements, options);
    found.into_iter().map(|finding| finding.placed(&sources)).collect()
}

/// Makes the change that a finding offers.
pub(super) fn apply(text: &mut String, fix: &crate::diagnostics::Fix) {
    let mut edits: Vec<_> = fix.edits.iter().collect();
    edits.sort_by_key(|edit| std::cmp::Reverse(edit.span.start));
    for edit in edits {
        text.replace_range(edit.span.start as usize..edit.span.end as usize, &edit.text);
    }
}

fn codes(found: &[Diagnostic]) -> Vec<&'static str> {
    found.iter().map(|finding| finding.code).collect()
}

#[test]
fn every_example_shows_its_rule_and_nothing_else_and_none_when_mended() {
    let mut wrong = Vec::new();
    for rule in RULES {
        let read = documentation(rule);
        let example = findings(&read.example);
        if codes(&example) != [rule.code] {
            wrong.push(format!("{} example: {example:#?}", rule.code));
        }
        if example.iter().any(|finding| finding.severity != rule.severity) {
            wrong.push(format!("{}: another severity", rule.code));
        }
        let mended = findings(&read.mended);
        if !mended.is_empty() {
            wrong.push(format!("{} mended: {mended:#?}", rule.code));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_rule_has_every_section_of_its_documentation() {
    for rule in RULES {
        let read = documentation(rule);
        for text in
            [&read.title, &read.finds, &read.matters, &read.example, &read.mended, &read.source]
        {
            assert!(!text.is_empty(), "{}: {read:?}", rule.code);
        }
        assert!(!read.title.contains('\n'), "{}: the title is one line", rule.code);
        assert!(explain(rule).contains(&read.title));
    }
}

#[test]
fn codes_are_told_once_and_stand_in_order() {
    for pair in RULES.windows(2) {
        assert!(pair[0].code < pair[1].code, "{} {}", pair[0].code, pair[1].code);
    }
}

#[test]
fn the_page_of_rules_says_what_the_rules_say() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../grammar/rules.md");
    if std::env::var_os("RIPIENO_WRITE_RULES").is_some() {
        fs::write(&path, page()).unwrap();
    }
    let written = fs::read_to_string(&path).unwrap_or_default();
    assert!(written == page(), "grammar/rules.md is not up to date; see src/checker/check/mod.rs");
}

/// A piece of four bars with one voice for one player.
fn solo(era: i32, player: &str, notes: &str, line: &str, more: &str) -> String {
    format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end }}\n\
         voice tune {{ {notes} }}\n\
         ensemble few {{ era {era}\n {player} }}\n\
         scoring few for few {{\n {line}\n {more}\n}}\n"
    )
}

#[test]
fn orchestral_oboes_of_1770_are_kept_between_d4_and_d6() {
    let tune = |note: &str| format!("1: 1/1 {note} | 2: {note} | 3: {note} | 4: {note} |");
    for (note, expected) in [
        ("D4", &[][..]),
        ("D6", &[]),
        ("C4", &["compass/outside-custom"]),
        ("E6", &["compass/outside-custom"]),
        ("B3", &["compass/beyond-instrument"]),
        ("G6", &["compass/beyond-instrument"]),
    ] {
        let options = Options { only: vec!["compass".into()], ..Options::default() };
        let text = solo(1770, "oboe", &tune(note), "oboe plays tune as melody", "");
        assert_eq!(codes(&findings_with(&text, &options)), expected, "{note}");
    }
}

#[test]
fn a_passage_is_one_finding_with_its_bars_and_the_whole_chain() {
    let text = solo(
        1770,
        "oboe",
        "1: 1/1 D5 | 2: 1/4 E6 F6 E6 F6 | 3: E6 F6 E6 F6 | 4: 1/1 D5 |",
        "oboe plays tune as melody",
        "",
    );
    let found = findings(&text);
    assert_eq!(codes(&found), ["compass/outside-custom"]);
    let finding = &found[0];
    assert_eq!(finding.bars, Some(BarNumbers::new(2, 3)));
    assert_eq!(finding.player.as_deref(), Some("oboe"));
    assert!(finding.message.contains("E6 in bar 2, beat 1, and 7 more notes (bars 2 and 3)"));
    let at = |span: Span| &text[span.start as usize..span.end as usize];
    assert!(at(finding.primary.span).contains("E6"));
    assert_eq!(at(finding.labels[0].span), "oboe plays tune as melody");
    assert_eq!(at(finding.labels[1].span), "oboe");
}

#[test]
fn a_written_compass_is_judged_in_written_pitch() {
    // The clarinet's lowest written E3 sounds D3 in B flat and C#3 in A.
    let text = |key: &str, note: &str| {
        let tune = format!("1: 1/1 {note} | 2: {note} | 3: {note} | 4: {note} |");
        solo(1810, &format!("clarinet in {key}"), &tune, "clarinet plays tune as melody", "")
    };
    assert!(findings(&text("Bb", "D3")).is_empty());
    assert!(findings(&text("A", "C#3")).is_empty());
    let found = findings(&text("Bb", "C#3"));
    assert_eq!(codes(&found), ["compass/beyond-instrument"]);
    assert!(found[0].message.contains("written D#3 (sounding C#3)"), "{}", found[0].message);
}

#[test]
fn an_allow_silences_its_bars_and_no_others() {
    let notes = "1: 1/1 D5 | 2: E6 | 3: E6 | 4: D5 |";
    let allow = "allow compass on oboe bars 2 \"the first desk is good\"";
    let text = solo(1770, "oboe", notes, "oboe plays tune as melody", allow);
    let found = findings(&text);
    assert_eq!(codes(&found), ["compass/outside-custom"]);
    assert_eq!(found[0].bars, Some(BarNumbers::new(3, 3)));
}

#[test]
fn deny_raises_allow_leaves_out_and_only_filters() {
    let notes = "1: 1/1 D5 | 2: E6 | 3: E6 | 4: D5 |";
    let text = solo(1770, "oboe 2", notes, "oboe.1 plays tune as melody", "");
    let with = |deny: &[&str], allow: &[&str], only: &[&str]| {
        let words = |list: &[&str]| list.iter().map(ToString::to_string).collect();
        let options = Options { deny: words(deny), allow: words(allow), only: words(only) };
        let found = findings_with(&text, &options);
        found.iter().map(|f| (f.code, f.severity)).collect::<Vec<_>>()
    };
    let (custom, idle) = ("compass/outside-custom", "names/idle-player");
    assert_eq!(with(&[], &[], &[]), [(custom, Severity::Warning), (idle, Severity::Warning)]);
    assert_eq!(with(&[], &["compass"], &[]), [(idle, Severity::Warning)]);
    assert_eq!(with(&[], &[], &["compass"]), [(custom, Severity::Warning)]);
    assert_eq!(with(&["warnings"], &[], &["names"]), [(idle, Severity::Error)]);
}

#[test]
fn words_of_the_command_line_that_mean_no_rule_are_told() {
    let options = Options { deny: vec!["compas".into(), "compass".into()], ..Options::default() };
    let unknown = options.unknown();
    assert_eq!(unknown.len(), 1);
    assert_eq!(unknown[0].1, "Did you mean `compass`?");
}

#[test]
fn what_a_kept_scoring_has_too_is_told_once() {
    let text =
        solo(1770, "oboe", "1: 1/1 D5 | 2: E6 | 3: E6 | 4: D5 |", "oboe plays tune as melody", "")
            + "ensemble more extends few { violin-1 4 players }\n\
           scoring more for more {\n keep few\n violin-1 plays tune 8va as melody\n}\n";
    let found =
        findings_with(&text, &Options { only: vec!["compass".into()], ..Options::default() });
    assert_eq!(codes(&found), ["compass/outside-custom", "compass/outside-custom"]);
    assert!(!found[0].help.as_ref().unwrap().contains("Also in"));
    assert_eq!(found[0].also_found().unwrap(), "Also in scoring more.");
    assert_eq!(found[1].player.as_deref(), Some("violin-1"));
    assert_eq!(found[0].scoring.as_deref(), Some("few"));
    assert_eq!(found[0].also_in, ["more"]);
    assert_eq!(found[1].scoring.as_deref(), Some("more"));
    assert!(found[1].also_in.is_empty());
}

#[test]
fn the_line_that_allows_a_passage_names_its_bars_and_waits_for_a_reason() {
    let text =
        solo(1770, "oboe", "1: 1/1 E6 | 2: D5 | 3: D5 | 4: E6 |", "oboe plays tune as melody", "");
    let found = findings(&text);
    let fix = found[0].fixes.iter().find(|fix| fix.title.starts_with("allow it")).unwrap();
    assert!(fix.edits[0].text.contains("on oboe bars 1, 4 \""), "{fix:?}");
    assert_eq!(fix.care, crate::diagnostics::Care::Reason);
}

#[test]
fn what_is_about_the_whole_piece_names_no_scoring() {
    let text = solo(1770, "oboe", "1: 1/1 D5 | 2: D5 | 3: D5 | 4: D5 |", "oboe rests", "");
    let found = findings(&text);
    assert_eq!(codes(&found), ["names/unused-voice"]);
    assert_eq!((&found[0].scoring, found[0].also_in.len()), (&None, 0));
}

/// Four bars in which one bass line is played by all who read it.
fn doubled_bass(low: &str, mid: &str, tune: &str, more: &str) -> String {
    format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end }}\n\
         harmony {{ 1: C | 2: G7 | 3: C | 4: C | }}\n\
         voice tune {{ {tune} }}\nvoice mid {{ {mid} }}\nvoice low {{ {low} }}\n\
         ensemble few {{ era 1770\n oboe 2, bassoon, violin-1 6 players, viola 4 players\n\
         cello 3 players, double-bass 2 players, harpsichord }}\n\
         scoring few for few {{\n violin-1, oboe.1 plays tune as melody\n oboe.2 rests\n\
         viola plays mid as harmony\n cello, harpsichord plays low as bass\n\
         double-bass plays low 8vb as bass\n {more}\n}}\n"
    )
}

#[test]
fn a_line_that_many_play_gives_one_finding_that_names_them() {
    let (tune, mid) =
        ("1: 1/1 E5 | 2: D5 | 3: E5 | 4: E5 |", "1: 1/1 G4 | 2: F4 | 3: E4 | 4: E4 |");
    let all = &["Bassoon", "Violoncello", "Double bass", "Harpsichord"][..];
    let with_low = "bassoon plays low as bass";
    let with_mid = "bassoon plays mid as harmony";
    for (rule, low, mid, tune, more, names) in [
        ("contradicts", "1: 1/1 C3 | 2: A2 | 3: C3 | 4: C3 |", mid, tune, with_low, all),
        (
            "doubled-leading-note",
            "1: 1/1 C3 | 2: B2 | 3: C3 | 4: C3 |",
            mid,
            "1: 1/1 E5 | 2: B4 | 3: G4 | 4: E5 |",
            with_low,
            all,
        ),
        (
            "parallels",
            "1: 1/1 C3 | 2: G3 | 3: C3 | 4: C3 |",
            mid,
            "1: 1/1 G4 | 2: D5 | 3: E5 | 4: E5 |",
            with_low,
            &["Violins I", "Oboe 1"],
        ),
        (
            "below-bass",
            "1: 1/1 C3 | 2: G3 | 3: C3 | 4: C3 |",
            "1: 1/1 G4 | 2: F3 | 3: E3 | 4: G3 |",
            tune,
            &format!("{with_mid}\n double-bass plays low bars 1 as bass"),
            &["Violas", "Bassoon"],
        ),
        (
            "muddy",
            "1: 1/1 C3 | 2: B2 | 3: C3 | 4: C3 |",
            "1: 1/1 G4 | 2: D3 | 3: G4 | 4: G4 |",
            tune,
            with_mid,
            &["Violas", "Bassoon"],
        ),
    ] {
        let text = doubled_bass(low, mid, tune, more);
        let text = match rule {
            "below-bass" => text
                .replace("double-bass plays low 8vb as bass", "")
                .replace("double-bass plays low bars 1 as bass", "double-bass rests"),
            _ => text,
        };
        let mut text = text;
        let found = findings(&text);
        assert_eq!(codes(&found), [format!("harmony/{rule}")], "{found:#?}");
        let message = &found[0].message;
        let named = |name: &&&str| message.contains(**name);
        assert_eq!(names.iter().filter(named).count(), names.len(), "{message}");
        assert!(message.contains("This also applies to"), "{message}");
        apply(&mut text, found[0].fixes.iter().find(|fix| fix.title.starts_with("allow")).unwrap());
        assert!(findings(&text).is_empty(), "{text}\n{:#?}", findings(&text));
    }
}

#[test]
fn whoever_shares_a_part_of_a_passage_is_named_with_its_bars() {
    let text = doubled_bass(
        "1: 1/1 A2 | 2: E3 | 3: A2 | 4: C3 |",
        "1: 1/1 G4 | 2: F4 | 3: E4 | 4: E4 |",
        "1: 1/1 E5 | 2: D5 | 3: E5 | 4: E5 |",
        "bassoon plays low bars 2..4 as bass",
    )
    .replace("1: C |", "1: Em |");
    let found = findings(&text);
    assert_eq!(codes(&found), ["harmony/contradicts"]);
    assert!(found[0].message.contains("Bassoon (bars 2 and 3)"), "{}", found[0].message);
}

#[test]
fn a_line_that_fits_an_octave_away_gets_a_fix_that_mends_it() {
    let mut text =
        solo(1770, "oboe", "1: 1/1 D4 | 2: E3 | 3: F3 | 4: D4 |", "oboe plays tune as melody", "");
    let found = findings(&text);
    let fix = found[0].fixes.iter().find(|fix| fix.title.contains("octave")).unwrap();
    apply(&mut text, fix);
    assert!(text.contains("plays tune 8va as melody"));
    assert!(findings(&text).is_empty(), "{:#?}", findings(&text));
}

#[test]
fn what_one_line_does_to_several_players_is_told_once() {
    let notes = "1: 1/1 D5 | 2: E6 | 3: E6 | 4: D5 |";
    let mut text = solo(1770, "oboe 2", notes, "oboe plays tune as melody", "");
    let found = findings(&text);
    assert_eq!(codes(&found), ["compass/outside-custom"]);
    assert!(found[0].message.ends_with("This also applies to Oboe 2."), "{}", found[0].message);
    let fix = found[0].fixes.iter().find(|fix| fix.title.starts_with("allow")).unwrap();
    apply(&mut text, fix);
    assert!(text.contains("on oboe.1, oboe.2 bars 2..3"));
    assert!(findings(&text).is_empty());
}

#[test]
fn of_several_scorings_the_largest_passage_is_told() {
    let text = solo(
        1770,
        "oboe",
        "1: 1/1 D5 | 2: E6 | 3: E6 | 4: E6 |",
        "oboe plays tune as melody",
        "",
    ) + "ensemble more extends few { violin-1 4 players }\n\
           scoring more for more {\n keep few\n oboe rests bars 4\n violin-1 plays tune 8vb bars 4 as melody\n}\n";
    let found = findings(&text);
    assert_eq!(codes(&found), ["compass/outside-custom"]);
    assert_eq!(found[0].bars, Some(BarNumbers::new(2, 4)));
}

#[test]
fn orchestral_horns_of_1770_are_not_given_runs_in_sixteenths() {
    let run = "1: 1/16 D4 E F# G# A G# F# E D E F# G# A G# F# E | 2: 1/1 D4 | 3: D4 | 4: D4 |";
    let text = solo(1770, "horn crook D", run, "horn plays tune as harmony", "");
    let options = Options { only: vec!["agility".into()], ..Options::default() };
    assert_eq!(codes(&findings_with(&text, &options)), ["agility/too-fast"]);
}

#[test]
fn written_c6_is_the_top_of_a_natural_horn() {
    // On the D crook written C6 sounds D5.
    let tune = |note: &str| format!("1: 1/1 {note} | 2: A3 | 3: A3 | 4: A3 |");
    let error = |note: &str| {
        let text = solo(1770, "horn crook D", &tune(note), "horn plays tune as harmony solo", "");
        findings(&text).iter().any(|finding| finding.severity == Severity::Error)
    };
    assert!(!error("D5"));
    assert!(error("E5"));
}

#[test]
fn the_flute_tells_from_c5_to_g6() {
    let telling = crate::instruments::find("flute").unwrap().telling.as_ref().unwrap();
    assert_eq!((telling.low.to_string(), telling.high.to_string()), ("C5".into(), "G6".into()));
}

#[test]
fn a_finding_of_the_arranger_can_be_allowed_too() {
    let text = |allow: &str| {
        solo(
            1770,
            "oboe, flute",
            "1: 1/1 D4 | 2: F4 | 3: G4 | 4: D4 |",
            &format!("flute plays tune 15ma as melody\n oboe doubles flute\n {allow}"),
            "",
        )
    };
    assert!(codes(&findings(&text(""))).contains(&"arrange/octave-moved"));
    let allow = "allow arrange/octave-moved on oboe \"it blends\"";
    assert!(!codes(&findings(&text(allow))).contains(&"arrange/octave-moved"));
}

#[test]
fn each_drum_that_changes_wants_its_time_and_is_named() {
    let drums = |takes: &str, rest: &str| {
        let tune = format!("1: 1/1 G2 | 2: 1/2 G2 {rest} | 3: 1/2 rest 1/2 G2 | 4: 1/1 G2 |");
        solo(1810, "timpani tuned G2, D3", &tune, "timpani plays tune as rhythm", takes)
            .replace("1/4 at 96", "1/4 at 30")
    };
    // At 30 quarters a minute a half note lasts four seconds.
    let one = drums("timpani takes tuned G2, C3 bar 3", "1/2 rest");
    assert!(findings(&one).is_empty(), "{:#?}", findings(&one));
    let both = drums("timpani takes tuned A2, C3 bar 3", "1/2 rest");
    let both = both.replace("3: 1/2 rest 1/2 G2 | 4: 1/1 G2", "3: 1/2 rest 1/2 A2 | 4: 1/1 A2");
    let found = findings(&both);
    assert_eq!(codes(&found), ["natural-brass/no-time-to-change"]);
    let message = &found[0].message;
    assert!(
        message.contains("8.0 seconds to change the G2 drum to A2 and the D3 drum to C3"),
        "{message}"
    );
    assert!(message.contains("about 12"), "{message}");
    let hurried = drums("timpani takes tuned G2, C3 bar 3", "1/2 G2");
    let found = findings(&hurried);
    assert_eq!(codes(&found), ["natural-brass/no-time-to-change"]);
    assert!(found[0].message.contains("to change the D3 drum to C3"), "{}", found[0].message);
}

#[test]
fn what_is_taken_back_at_a_jump_wants_its_time() {
    let messages = |form: &str, ensemble: &str, tune: &str, takes: &str| -> Vec<String> {
        let player = ensemble.split(' ').next().unwrap();
        let text = solo(1810, ensemble, tune, &format!("{player} plays tune as rhythm"), takes)
            .replace("\n 4 end", &format!("\n {form}\n 4 end"))
            .replace("1/4 at 96", "1/4 at 30");
        let found = findings(&text);
        found.iter().map(|found| format!("{}: {}", found.code, found.message)).collect()
    };
    // A bar lasts eight seconds.
    let tune = "1: 1/1 D4 | 2: rest | 3: 1/1 C4 | 4: 1/1 C4 |";
    let horn = |form: &str| messages(form, "horn crook D", tune, "horn takes crook F bar 3");
    let told = "natural-brass/no-time-to-change: Horn has 0.0 seconds to change from F to D, \
                between bar 4, beat 1 and, after the jump, bar 1, beat 1, and needs about 8.";
    assert_eq!(horn("1 fine\n4 da capo al fine"), [told]);
    let repeat = "1..4 repeat";
    assert_eq!(horn(repeat), [told]);
    assert_eq!(horn("2..4 repeat"), [""; 0], "a bar of rest");
    assert_eq!(horn("3..4 repeat"), [""; 0]);
    let tuned = "timpani takes tuned G2, C3 bar 3";
    let drums = messages(repeat, "timpani tuned G2, D3", &tune.replace("4 |", "3 |"), tuned);
    assert!(drums.iter().any(|told| told.contains("to change the C3 drum to D3")), "{drums:?}");
    let tune = "1: 1/1 D6 | 2: rest | 3: 1/1 D6 | 4: 1/1 D6 |";
    let flute = messages(repeat, "flute", tune, "flute takes piccolo bar 3");
    assert!(flute.iter().any(|told| told.contains("lay the piccolo down")), "{flute:?}");
}

#[test]
fn an_earlier_rest_in_which_the_drum_is_free_is_offered() {
    let tune = "1: 1/1 D3 | 2: rest | 3: 1/1 G2 | 4: 1/1 C3 |";
    let line = "timpani plays tune as rhythm";
    let takes = "timpani takes tuned G2, C3 bar 4";
    let text =
        solo(1810, "timpani tuned G2, D3", tune, line, takes).replace("1/4 at 96", "1/4 at 30");
    let found = findings(&text);
    assert_eq!(codes(&found), ["natural-brass/no-time-to-change"]);
    let help = found[0].help.as_deref().unwrap();
    assert!(help.contains("8 seconds before bar 3, beat 1: `takes tuned … bar 2`"), "{help}");
    assert!(findings(&text.replace("bar 4\n", "bar 2\n")).is_empty());
}

#[test]
fn along_a_hairpin_the_balance_is_judged_by_what_is_reached() {
    let bars = |note: &str| (1..=13).map(|bar| format!("{bar}: 1/1 {note} | ")).collect::<String>();
    let covered = |hairpin: &str| {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major, tempo 1/4 at 60\n 13 end }}\n\
             dynamics {{ {hairpin} }}\nvoice song {{ {} }}\nvoice fill {{ {} }}\n\
             ensemble few {{ era 1885\n flute, trumpet 2 in C }}\n\
             scoring few for few {{\n flute plays song as melody, at mf\n\
             trumpet plays fill as harmony\n}}\n",
            bars("E5"),
            bars("C5"),
        );
        let only = vec!["balance".into()];
        let found = findings_with(&text, &Options { only, ..Options::default() });
        let bars = found.iter().map(|finding| finding.bars.unwrap());
        bars.map(|bars| (bars.first, bars.last)).collect::<Vec<_>>()
    };
    assert_eq!(covered("1 p"), []);
    assert_eq!(covered("1 f"), [(1, 12)]);
    assert_eq!(covered("1 p\n 3..10 cresc\n 11 f"), [(7, 12)]);
    assert_eq!(covered("1 f\n 3..10 dim\n 11 p"), [(1, 7)]);
}

#[test]
fn an_ornament_needs_its_neighbour() {
    for (era, player, note, expected) in [
        (1810, "oboe", "C4[trill]", &[][..]),
        (1810, "oboe", "C4[mordent]", &["agility/impossible-trill"]),
        (1810, "violin-1 6 players", "G3[turn]", &["agility/impossible-trill"]),
        (1810, "violin-1 6 players", "G3[trill]", &[]),
        (1885, "clarinet in Bb", "F4[mordent]", &[]),
        (1885, "horn in F", "F5[trill]", &["agility/impossible-trill"]),
    ] {
        let name = player.split_whitespace().next().unwrap();
        let tune = format!("1: 1/1 E4 | 2: {note} | 3: E4 | 4: E4 |");
        let text = solo(era, player, &tune, &format!("{name} plays tune as melody solo"), "");
        let only = vec!["agility".into()];
        let found = findings_with(&text, &Options { only, ..Options::default() });
        assert_eq!(codes(&found), expected, "{player} {note}");
    }
}

#[test]
fn every_fix_of_an_example_mends_it_and_breaks_nothing() {
    let mut tried = 0;
    for rule in RULES {
        let example = documentation(rule).example;
        let found = findings(&example);
        for fix in found.iter().flat_map(|finding| &finding.fixes) {
            let mut text = example.clone();
            apply(&mut text, fix);
            let left = findings(&text);
            assert!(left.is_empty(), "{}: `{}` leaves\n{text}\n{left:#?}", rule.code, fix.title);
            tried += 1;
        }
    }
    assert!(tried > 30, "only {tried} fixes were tried");
}

#[test]
fn a_pair_in_octaves_without_breath_is_one_finding() {
    let line = "flute.1 plays tune 8va as melody\n flute.2 plays tune as melody";
    let tune = "1: {1/4 D5 E F G | 2: A5 G F E | 3: D5 E F G | 4: A5 G F E} |";
    let text = solo(1885, "flute 2", tune, line, "").replace("1/4 = 96", "1/4 = 40");
    let found = findings(&text);
    assert_eq!(codes(&found), ["endurance/no-breath"]);
    assert!(found[0].message.ends_with("This also applies to Flute 2."), "{}", found[0].message);
}

#[test]
fn a_change_of_crook_of_a_pair_is_one_finding() {
    let tune = "1: 1/1 D4 | 2: D4 | 3: rest | 4: 1/1 A4 |";
    let takes = "horn takes crook A bar 4";
    let text = solo(1770, "horn 2 crook D", tune, "horn plays tune as harmony", takes);
    let found = findings(&text);
    assert_eq!(codes(&found), ["natural-brass/no-time-to-change"]);
    assert!(found[0].message.ends_with("This also applies to Horn 2."), "{}", found[0].message);
}

#[test]
fn another_crook_on_which_all_is_open_is_offered_as_a_fix_that_mends_it() {
    let notes = "1: 1/1 F4 | 2: C5 | 3: A4 | 4: F4 |";
    let mut text = solo(1770, "horn 2 crook D", notes, "horn plays tune as harmony", "");
    let found = findings(&text);
    let mut fixes = found.iter().flat_map(|finding| &finding.fixes);
    let fix = fixes.find(|fix| fix.title.contains("crook")).unwrap();
    apply(&mut text, fix);
    assert!(text.contains("horn takes crook F"), "{text}");
    assert!(findings(&text).is_empty(), "{:#?}", findings(&text));
}

#[test]
fn what_only_a_bow_sustains_is_reported_where_it_is_plucked() {
    let message = |bar: &str| {
        let tune = format!("1: [pizz] {bar} | 2: D5[tremolo] E5 | 3: [arco] {bar} | 4: 1/1 D5 |");
        let found = findings(&solo(1885, "violin", &tune, "violin plays tune as melody", ""));
        found.iter().map(|finding| finding.message.clone()).collect::<Vec<_>>()
    };
    assert_eq!(
        message("1/2 E5[trill] D5[tremolo]"),
        ["Violin: a trill cannot be plucked, in bar 1, beat 1."]
    );
    let [two] = &message("1/2 E5[tremolo G] E5")[..] else { panic!() };
    assert!(
        two.starts_with("Violin: a tremolo between two notes cannot be plucked, in bar 1"),
        "{two}"
    );
}
