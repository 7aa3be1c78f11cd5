use super::*;
use crate::edition::{DirectionKind, SpannerKind, condensed_score};
use crate::notate::testing::{Fixture, cello, oboe};
use crate::notate::{Origin, StaffDirection, StaffDirectionKind};

/// Two oboes.
fn oboes(first: &str, second: &str) -> Score {
    let mut score = Fixture::new(&["2/4"; 4]).notes(first).part(oboe()).notes(second).score();
    for (staff, number) in score.staves.iter_mut().zip(1..) {
        staff.id = format!("oboe.{number}");
        staff.name = format!("Oboe {number}");
        staff.abbreviation = format!("Ob. {number}");
    }
    score
}

fn shown(score: &Score) -> Vec<String> {
    let edition = condensed_score(score);
    let bars = edition.staves[0].bars.iter();
    bars.map(|bar| {
        let who = bar.directions.iter().filter_map(|said| match &said.kind {
            DirectionKind::Who(who) => Some(format!("{who} ")),
            _ => None,
        });
        let voices: Vec<String> = bar
            .voices
            .iter()
            .map(|voice| {
                let heads = voice.elements.iter().map(|element| match &element.kind {
                    ElementKind::Note(note) => {
                        let heads = note.heads.iter().map(|head| {
                            let sign = if head.accidental_shown { "!" } else { "" };
                            format!("{}{sign}", head.pitch)
                        });
                        heads.collect::<Vec<_>>().join("&")
                    }
                    _ => "rest".into(),
                });
                heads.collect::<Vec<_>>().join(" ")
            })
            .collect();
        format!("{}{}", who.collect::<String>(), voices.join(" / "))
    })
    .collect()
}

#[test]
fn a_pair_shares_a_staff() {
    let score = oboes(
        "0/1 1/4 E5, 1/4 1/4 F#5, 1/2 1/2 G5, 1/1 1/2 A5, 3/2 1/4 C5, 7/4 1/4 C5",
        "0/1 1/4 E5, 1/4 1/4 F#5, 1/2 1/2 E5, 3/2 1/2 F#5",
    );
    assert_eq!(shown(&score), ["a 2 E5 F#5!", "E5&G5", "1. A5", "C5 C5 / F#5!"]);
    let edition = condensed_score(&score);
    assert_eq!(edition.parts[0].name, "Oboes 1, 2");
    assert_eq!((edition.staves.len(), edition.players.len()), (1, 2));
}

#[test]
fn halves_of_a_section_read_from_one_staff_where_they_divide_and_where_not() {
    let mut score = oboes(
        "0/1 1/4 E5, 1/4 1/4 F#5, 1/2 1/2 G5, 1/1 1/2 A5, 3/2 1/4 C5, 7/4 1/4 C5",
        "0/1 1/4 E5, 1/4 1/4 F#5, 1/2 1/2 E5, 3/2 1/2 F#5",
    );
    let whole = std::sync::Arc::new(crate::resolve::WholeSection {
        name: "Oboes".into(),
        abbreviation: "Ob.".into(),
        count: 5,
    });
    for (staff, players) in score.staves.iter_mut().zip([3, 2]) {
        staff.half_of = Some(std::sync::Arc::clone(&whole));
        staff.players = players;
    }
    let wanted = ["E5 F#5!", "div. E5&G5", "upper half A5", "div. C5 C5 / F#5!"];
    assert_eq!(shown(&score), wanted);
    // In a full score and on the page of both it is the same, with the name of the section.
    let full = crate::edition::full_score(&score);
    assert_eq!((full.staves.len(), full.parts[0].name.as_str()), (1, "Oboes"));
    for player in [0, 1] {
        let page = crate::edition::part(&score, player);
        assert_eq!((page.staves.len(), page.players.len()), (1, 2));
        assert_eq!((page.head.name.as_str(), page.head.readers), ("Oboes", 5));
    }
    let apart = crate::edition::part_with(&score, 0, crate::edition::Halves::Apart);
    assert_eq!(apart.staves.len(), 2);
}

#[test]
fn over_two_staves_of_a_section_its_part_says_that_it_divides() {
    let mut score = oboes("0/1 1/2 C5, 1/2 1/2 E5", "0/1 1/2 E5, 1/2 1/2 E5");
    let whole = std::sync::Arc::new(crate::resolve::WholeSection {
        name: "Oboes".into(),
        abbreviation: "Ob.".into(),
        count: 4,
    });
    for staff in &mut score.staves {
        staff.half_of = Some(std::sync::Arc::clone(&whole));
        staff.players = 2;
    }
    let said = |edition: &crate::edition::Edition| {
        let [parting] = &edition.partings[..] else { panic!("{:?}", edition.partings) };
        let who = |which: usize| parting.alone[which].staff.bars[0].who.clone();
        [who(0), who(1)].map(|who| who.map(|(_, kind)| kind))
    };
    let divided = Some(DirectionKind::Who("div.".to_owned()));
    assert_eq!(said(&crate::edition::part(&score, 0)), [divided, None]);
    // In a score the names before the staves say it.
    assert_eq!(said(&crate::edition::full_score(&score)), [None, None]);
}

#[test]
fn cellos_and_basses_share_a_staff_where_they_mostly_read_the_same() {
    let basses = || crate::instruments::find("double-bass").unwrap();
    let cellos = "0/1 1/2 C3, 1/2 1/2 G3, 1/1 1/2 A3, 3/2 1/2 C3";
    let score = |below: &str| {
        let players = Fixture::new(&["2/4"; 4]).part(cello()).notes(cellos);
        let mut score = players.part(basses()).notes(below).score();
        score.staves.remove(0);
        score
    };
    let same = score("0/1 1/2 C2, 1/2 1/2 G2, 3/2 1/2 C2");
    assert_eq!(shown(&same), ["C3", "G3", "Vc. A3", "Vc., Db. C3"]);
    let parting = score("0/1 1/2 C2, 1/2 1/4 E2, 3/4 1/4 E2, 1/1 1/2 A2, 3/2 1/2 C2");
    let named = condensed_score(&parting);
    let said = named.staves[0].bars.iter().map(|bar| {
        let said = bar.directions.iter().filter_map(|said| match &said.kind {
            DirectionKind::Who(who) => Some((who.as_str(), said.above)),
            _ => None,
        });
        said.collect::<Vec<_>>()
    });
    let said: Vec<_> = said.collect();
    assert_eq!(
        said,
        [vec![], vec![("Db.", false), ("Vc.", true)], vec![("Vc., Db.", true)], vec![]]
    );
    let other = score("0/1 1/2 C2, 1/2 1/2 E2, 1/1 1/2 F2, 3/2 1/2 C2");
    assert_eq!(condensed_score(&other).staves.len(), 2);
}

#[test]
fn who_alone_is_told_to_bow_on_notes_of_both_is_named() {
    use crate::resolve::Technique::{Arco, Pizzicato};
    let basses = crate::instruments::find("double-bass").unwrap();
    let cellos = "0/1 1/2 C3, 1/2 1/2 G3, 1/1 1/2 A3, 3/2 1/2 C3";
    let players = Fixture::new(&["2/4"; 4]).part(cello()).notes(cellos);
    let mut score = players.part(basses).notes("0/1 1/2 C2, 1/1 1/2 A2, 3/2 1/2 C2").score();
    score.staves.remove(0);
    for (staff, bar, technique) in
        [(0, 0, Pizzicato), (1, 0, Pizzicato), (0, 1, Arco), (1, 2, Arco)]
    {
        let kind = StaffDirectionKind::Technique(technique);
        let said = StaffDirection { at: Time::ZERO, kind, origin: Origin::default() };
        score.staves[staff].measures[bar].directions.push(said);
    }
    assert_eq!(shown(&score), ["C3", "Vc. G3", "Vc., Db. Db. arco A3", "C3"]);
    let edition = condensed_score(&score);
    let told = |bar: usize| &edition.staves[0].bars[bar].directions;
    assert!(told(0).iter().any(|said| said.kind == DirectionKind::Technique(Pizzicato)));
    assert!(told(2).iter().all(|said| said.kind != DirectionKind::Technique(Arco)));
}

#[test]
fn a_slur_over_the_bar_line_keeps_its_voices_apart() {
    let mut score = oboes("0/1 1/2 E5, 1/2 1/2 G5", "0/1 1/2 E5, 1/2 1/2 E5");
    for (bar, starts) in [(0, true), (1, false)] {
        if let ElementKind::Note(note) = &mut score.staves[0].measures[bar].elements[0].kind {
            (note.slur_starts, note.slur_ends) = (starts, !starts);
        }
    }
    assert_eq!(shown(&score)[..2], ["E5 / E5", "G5 / E5"]);
    let spans = &condensed_score(&score).staves[0].spans;
    assert!(matches!(spans[0].kind, SpannerKind::Slur { .. }) && spans.len() == 1);
}

#[test]
fn the_first_alone_is_numbered_also_where_a_tie_leads_to_both() {
    let tied = oboes("0/1 1/1 E5, 1/1 1/2 E5", "1/2 1/2 C5, 1/1 1/2 C5");
    assert_eq!(shown(&tied)[..3], ["1. E5", "E5 / C5", "C5&E5"]);
    // What the second holds would be cut.
    let held = oboes("0/1 1/2 E5, 1/2 1/4 E5, 3/4 1/4 F5", "0/1 1/1 C5");
    assert_eq!(shown(&held)[..2], ["E5 / C5", "E5 F5 / C5"]);
}

#[test]
fn in_the_midst_of_a_slur_of_one_of_them_each_has_his_stems() {
    let notes = |upper: &str| format!("0/1 1/2 {upper}5, 1/2 1/2 {upper}5, 1/1 1/2 {upper}5");
    let mut score = oboes(&notes("G"), &notes("E"));
    for (bar, starts) in [(0, true), (2, false)] {
        if let ElementKind::Note(note) = &mut score.staves[0].measures[bar].elements[0].kind {
            (note.slur_starts, note.slur_ends) = (starts, !starts);
        }
    }
    assert_eq!(shown(&score)[..3], ["G5 / E5"; 3]);
}

#[test]
fn a_voice_that_is_misled_by_the_other_has_its_sign() {
    let score = oboes("0/1 1/4 F#5", "1/4 1/4 F5");
    assert_eq!(shown(&score)[0], "F#5! rest / rest F5!");
}

#[test]
fn two_players_who_agree_have_one_dynamic_and_others_their_own_sides() {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};
    let text = "piece \"Ferry\" { composer \"House copyist\" }\n\
        form { 1 metre 4/4, key C major\n 3 end }\n\
        voice one { 1: 1/8 rest [f] E5 1/4 F5 1/2 G5 | 2: [p cresc] 1/2 E5 F5 | 3: [f] 1/1 G5 | }\n\
        voice two { 1: [f] 1/4 C5 1/2 D5 1/4 E5 | 2: 1/4 rest [p] C5 1/2 D5 | 3: [f] 1/1 E5 | }\n\
        ensemble few { era 1885\n oboe 2 }\n\
        scoring few for few {\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n}\n";
    let mut sources = Sources::new();
    let root = sources.add("ferry", text);
    let (piece, findings) = resolve(&mut sources, root, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:?}");
    let arrangement = crate::arrange::arrange(&piece, &piece.scorings[0]);
    let score = crate::notate::notate(&arrangement);
    let edition = condensed_score(&score);
    let staff = &edition.staves[0];
    let dynamics = |bar: usize| -> Vec<(String, bool)> {
        let said = staff.bars[bar].directions.iter();
        said.filter_map(|said| match said.kind {
            DirectionKind::Dynamic(dynamic) => {
                Some((format!("{} {}", said.at, dynamic.letters()), said.above))
            }
            _ => None,
        })
        .collect()
    };
    assert_eq!(dynamics(0), [("0/1 f".to_string(), false)]);
    assert_eq!(dynamics(2), [("0/1 f".to_string(), false)]);
    // The first grows while the second begins softly.
    let above: Vec<bool> = staff
        .spans
        .iter()
        .filter(|span| matches!(span.kind, SpannerKind::Hairpin { .. }))
        .map(|span| span.above)
        .collect();
    assert_eq!(above, [true]);
}

#[test]
fn words_for_the_second_alone_stand_with_his_dynamics() {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};
    let words = |first: &str, second: &str| -> Vec<String> {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 2 end }}\n\
             voice one {{ {first} }}\nvoice two {{ {second} }}\n\
             ensemble few {{ era 1885\n oboe 2 }}\n\
             scoring few for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n}}\n"
        );
        let mut sources = Sources::new();
        let root = sources.add("ferry", text);
        let (piece, findings) = resolve(&mut sources, root, &mut NoFiles);
        assert!(findings.is_empty(), "{findings:?}");
        let score = crate::notate::notate(&crate::arrange::arrange(&piece, &piece.scorings[0]));
        let edition = condensed_score(&score);
        let said = edition.staves[0].bars.iter().flat_map(|bar| &bar.directions);
        said.filter_map(|said| match &said.kind {
            DirectionKind::Words(words) => {
                Some(format!("{words} {}", if said.above { "above" } else { "below" }))
            }
            _ => None,
        })
        .collect()
    };
    let first = "1: [mf] 1/1 E5 | 2: F5 |";
    assert_eq!(words(first, "1: rest | 2: [p \"dolce\"] 1/1 D5 |"), ["dolce below"]);
    assert_eq!(words(first, "1: rest | 2: [p \"a tempo\"] 1/1 D5 |"), ["a tempo above"]);
    let both = "1: [mf] 1/1 E5 | 2: [p \"dolce\"] F5 |";
    assert_eq!(words(both, "1: rest | 2: [p \"dolce\"] 1/1 D5 |"), ["dolce above"]);
    // He plays alone.
    assert_eq!(
        words("1: [mf] 1/1 E5 | 2: rest |", "1: rest | 2: [p \"dolce\"] 1/1 D5 |"),
        ["dolce above"]
    );
}

#[test]
fn an_order_for_one_of_two_says_for_whom_it_is() {
    use crate::notate::{StaffDirection, StaffDirectionKind};
    use crate::resolve::Technique;
    let mut score = oboes("0/1 1/2 E5, 1/2 1/2 G5", "0/1 1/2 C5, 1/1 1/2 E5");
    let mut say = |staff: usize, bar: usize, kind: StaffDirectionKind| {
        let said = StaffDirection { at: Time::ZERO, kind, origin: Origin::default() };
        score.staves[staff].measures[bar].directions.push(said);
    };
    say(1, 1, StaffDirectionKind::Technique(Technique::Muted));
    say(0, 2, StaffDirectionKind::Change("take Cor anglais".into()));
    say(0, 3, StaffDirectionKind::Change("Cor anglais".into()));
    say(1, 3, StaffDirectionKind::Change("Cor anglais".into()));
    let edition = condensed_score(&score);
    let said: Vec<Vec<&str>> = edition.staves[0]
        .bars
        .iter()
        .map(|bar| {
            let words = bar.directions.iter().filter_map(|said| match &said.kind {
                DirectionKind::Who(words) | DirectionKind::Change(words) => Some(words.as_str()),
                _ => None,
            });
            words.collect()
        })
        .collect();
    let bars: [&[&str]; 4] =
        [&[], &["1.", "2. con sord."], &["2.", "1. take Cor anglais"], &["Cor anglais"]];
    assert_eq!(said, bars);
}

#[test]
fn who_comes_in_on_the_note_of_the_other_is_named() {
    // Tied over the bar line by one of them, so that they stay apart.
    let second = "1/2 1/4 C5, 3/4 1/4 D5, 1/1 1/2 E5";
    let named = |first: &str| {
        let shown = shown(&oboes(first, second));
        shown[1].clone()
    };
    assert_eq!(named("0/1 1/2 C5, 1/2 1/2 C5, 1/1 1/2 E5"), "2. C5 / C5 D5");
    assert_eq!(named("0/1 1/2 F5, 1/2 1/2 F5, 1/1 1/2 G5"), "F5 / C5 D5", "two heads say it");
    assert_eq!(named("1/2 1/2 C5, 1/1 1/2 E5"), "C5 / C5 D5", "both begin");
}

#[test]
fn what_one_takes_stands_before_the_expressions_of_both() {
    let notes = "1/2 1/2 E5";
    let mut score = oboes(notes, notes);
    let says = |who: usize, kinds: &[StaffDirectionKind], score: &mut Score| {
        let said = kinds.iter().map(|kind| StaffDirection {
            at: Time::ZERO,
            kind: kind.clone(),
            origin: Origin::default(),
        });
        score.staves[who].measures[1].directions.extend(said);
    };
    let words = |words: &str| StaffDirectionKind::Words(words.into());
    says(0, &[words("dolce"), words("a piacere")], &mut score);
    says(1, &[StaffDirectionKind::Change("take cor anglais".into()), words("dolce")], &mut score);
    let edition = condensed_score(&score);
    let said = edition.staves[0].bars[1].directions.iter().filter_map(|said| match &said.kind {
        DirectionKind::Change(words) | DirectionKind::Words(words) => Some(words.as_str()),
        _ => None,
    });
    assert_eq!(said.collect::<Vec<_>>(), ["2. take cor anglais", "dolce", "a piacere"]);
}

#[test]
fn a_stress_of_the_first_alone_stands_above_with_his_notes() {
    let told = |notes: [&str; 2], who: usize, level| {
        let mut score = oboes(notes[0], notes[1]);
        let kind = StaffDirectionKind::Dynamic(level);
        let said = StaffDirection { at: Time::QUARTER, kind, origin: Origin::default() };
        score.staves[who].measures[0].directions.push(said);
        let edition = condensed_score(&score);
        let bar = &edition.staves[0].bars[0];
        let above: Vec<bool> = bar
            .directions
            .iter()
            .filter(|said| said.kind == DirectionKind::Dynamic(level))
            .map(|said| said.above)
            .collect();
        (bar.voices.len(), above)
    };
    use crate::resolve::Dynamic;
    let moving = "0/1 1/4 E5, 1/4 1/4 F5, 1/2 1/2 G5";
    for level in [Dynamic::Sf, Dynamic::Sfz, Dynamic::Fp] {
        assert_eq!(told([moving, "0/1 1/2 C5"], 0, level), (2, vec![true]), "{level:?}");
        assert_eq!(told([moving, "0/1 1/2 C5"], 1, level), (2, vec![false]), "{level:?}");
        // Of two with one rhythm each has a stem then.
        let chords = [moving, "0/1 1/4 C5, 1/4 1/4 D5, 1/2 1/2 E5"];
        assert_eq!(told(chords, 0, level), (2, vec![true]), "{level:?}");
        // He plays by himself.
        assert_eq!(told([moving, "1/2 1/2 C5"], 0, level), (1, vec![false]), "{level:?}");
    }
}

#[test]
fn an_accidental_of_the_first_player_does_not_hold_for_the_second() {
    // Voices of their own; and one stem, of which each reads his head.
    let score = oboes(
        "0/1 1/8 E5, 1/8 1/8 F#5, 1/4 1/4 G5, 1/2 1/4 F#5, 3/4 1/4 G5, 1/1 1/4 A5, 5/4 1/4 F#5, \
         3/2 1/8 F#5, 13/8 1/8 E5, 7/4 1/4 F#5",
        "0/1 1/4 D5, 1/4 1/4 F#5, 1/2 1/4 D5, 3/4 1/4 F#5, 1/1 1/4 F#5, 5/4 1/4 F#5, 3/2 1/4 F#5, \
         7/4 1/4 F#5",
    );
    assert_eq!(
        shown(&score),
        [
            "E5 F#5! G5 / D5 F#5!",
            "D5&F#5! F#5!&G5",
            "A5 F#5! / F#5! F#5",
            // A head that both strike has one sign.
            "F#5! E5 F#5 / F#5 F#5"
        ]
    );
}
