//! What a line begins with: marks, halves of curves, the rest of a cue.

use kurbo::Rect;

use crate::page::{Kind, Mark, Page};
use crate::paper::Setup;

use super::music::Music;
use super::page_tests::{bars, slurs};
use super::survey;
use super::tests::{of, part_in, part_of, sheet_with_cues};

/// Boxes of the frames of a page, from above.
fn frames(page: &Page) -> Vec<Rect> {
    of(page, Kind::Frame).into_iter().map(|mark| mark.bounds()).collect()
}

#[test]
fn rehearsal_marks_at_the_heads_of_lines_stand_below_one_another() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 mark \"A\"\n 17 mark \"B\"\n 24 end";
    let setup = Setup { lines: vec![8, 16], ..Setup::default() };
    let page = &part_in(form, &bars(24, "1/4 C5 D5 E5 F5"), &setup).pages[0];
    let [first, second] = frames(page)[..] else { panic!("{:?}", frames(page)) };
    assert!((first.x0 - second.x0).abs() < 0.05, "{first:?} over {second:?}");
}

/// Common practice.
#[test]
fn the_half_of_a_slur_begins_behind_the_signature() {
    let form = "1 metre 4/4, key Eb major, tempo 1/4 at 96\n 4 end";
    let setup = Setup { lines: vec![2], ..Setup::default() };
    for end in ["G5}", "= {G5}", "F5 G5}", "C6}"] {
        let tune = format!("1: 1/1 D5 | 2: 1/2 D5 {{G5 | 3: {end} D5 | 4: 1/1 D5 |");
        let tune = tune.replace("= {G5}", "= G5}");
        let page = &part_in(form, &tune, &setup).pages[0];
        let second = slurs(page)[1];
        let signs: Vec<_> = of(page, Kind::Key).into_iter().map(|mark| mark.bounds()).collect();
        let signature = signs.iter().map(|sign| sign.x1).fold(0.0, f64::max);
        assert!(second.0.x > signature, "{end}: {second:?} over the signature to {signature}");
        assert!(second.1.x - second.0.x > 2.4, "{end}: {second:?} is a hook");
    }
}

#[test]
fn a_rehearsal_mark_stands_over_the_half_of_a_slur_that_begins_beside_it() {
    let setup = Setup { lines: vec![2], ..Setup::default() };
    let keys = ["F major", "Bb major", "Eb major", "Ab major"];
    for (key, end) in keys.iter().flat_map(|key| ["E5", "F5", "A5"].map(|end| (key, end))) {
        let form = &format!("1 metre 4/4, key {key}, tempo 1/4 at 96\n 3 mark \"B\"\n 4 end");
        let tune = format!("1: 1/1 D5 | 2: 1/2 D5 {{F5 | 3: 1/4 {end} D5 E5}} D5 | 4: 1/1 D5 |");
        let page = &part_in(form, &tune, &setup).pages[0];
        let (frame, begins) = (frames(page)[0], slurs(page)[1].0);
        let beside = begins.x - frame.x1 < 1.8;
        assert!(!beside || begins.y > frame.y1 + 0.2, "{key}, {end}: {begins:?} beside {frame:?}");
    }
}

#[test]
fn a_line_that_begins_within_a_cue_tears_it() {
    let text = format!(
        "{}voice one {{ {} }}\nvoice two {{ 1: rest 18 | 19: 1/1 C4 | 20: C4 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays one as harmony\n \
         bassoon plays two as bass\n}}\n",
        super::tests::OBOES,
        bars(20, "1/2 C5 1/4 E5 F5"),
    );
    let sheet = sheet_with_cues(&text, 2, &Setup::default());
    let surveyed = survey::all(&mut Music::whole(&sheet));
    let cues: Vec<u8> = surveyed.iter().map(|bar| bar.torn.cues).collect();
    let first = sheet.staves[0].bars.iter().position(|bar| bar.who.is_some());
    let first = first.expect("there is a cue");
    let played = sheet.staves[0].bars.iter().rposition(|bar| bar.who.is_some()).unwrap_or(first);
    assert!(played > first, "the cue has several bars");
    assert!(cues[..=first].iter().all(|torn| *torn == 0), "{cues:?}");
    assert!(cues[first + 1..=played].iter().all(|torn| *torn == 1), "{cues:?}");
    assert!(cues[played + 1..].iter().all(|torn| *torn == 0), "{cues:?}");
}

#[test]
fn a_line_that_begins_with_a_solo_says_whose_it_is() {
    let text = format!(
        "{}voice one {{ {} }}\nvoice two {{ 1: 1/1 C4 | }}\n\
         scoring all for few {{\n oboe.1 plays one bars 2..4 as melody\n \
         oboe.1 plays one bars 5..20 as melody, solo\n oboe.2 plays two as harmony\n}}\n",
        super::tests::OBOES,
        bars(20, "1/2 C5 1/4 E5 F5"),
    );
    let sheet = super::tests::score_sheet(&text, true);
    let words = |bar: usize| {
        let who = sheet.staves[0].bars[bar].said_again()?;
        Some(format!("{:?}", who.kind))
    };
    let one = Some("Who(\"1.\")".to_string());
    assert_eq!([words(3), words(4), words(5)], [one.clone(), one.clone(), one]);
}

/// Common practice.
#[test]
fn the_rest_of_a_divided_bar_states_its_accidentals_again() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 2 length 60/4\n 2 end";
    let tune = format!("1: 1/1 F#5 | 2: 1/4 {}|", "F#5 G5 ".repeat(30));
    let page = &part_in(form, &tune, &Setup::default()).pages[0];
    let mut lines: Vec<f64> =
        of(page, Kind::Clef).into_iter().map(|mark| mark.bounds().center().y).collect();
    lines.sort_by(f64::total_cmp);
    assert!(lines.len() > 2, "{lines:?}");
    let signs: Vec<f64> =
        of(page, Kind::Accidental).into_iter().map(|mark| mark.bounds().center().y).collect();
    for line in &lines {
        let near = signs.iter().filter(|y| (*y - line).abs() < 5.0).count();
        assert_eq!(near, 1, "{signs:?} in {lines:?}");
    }
}

#[test]
fn who_rests_in_a_bar_that_is_divided_does_so_on_both_lines() {
    let text = format!(
        "{}voice one {{ 1: 1/1 C5 | 2: 1/8 {}| 3: rest 18 | }}\nvoice two {{ 1: 1/1 C4 | 2: rest | 3: rest 18 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n bassoon plays two as bass\n oboe.2 rests\n}}\n",
        super::tests::OBOES.replace("20 end", "2 length 60/4\n 3 length 4/4\n 20 end"),
        "G5 A5 ".repeat(60),
    );
    let page = &super::tests::score(&text, false).pages[0];
    let systems = of(page, Kind::Clef).len();
    assert!(systems > 6, "three staves on several lines: {systems}");
    // Two rest in each piece of the bar.
    let lines = systems / 3;
    let rests = of(page, Kind::Rest).len();
    assert!(rests >= 2 * lines, "{rests} rests on {lines} lines");
}

#[test]
fn who_takes_an_instrument_with_pitch_again_has_its_signature_anew() {
    let sharps = |taken: &str| {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key A major, tempo 1/4 at 60\n 4 end }}\n\
             ensemble few {{ era 1885\n xylophone }}\nscoring all for few {{\n\
             xylophone takes triangle bar 2\n xylophone takes {taken} bar 3\n\
             xylophone writes as rhythm {{ 1: 1/1 A5 | 2: 1/1 x | 3: 1/1 A3 | 4: E3 | }}\n }}\n"
        );
        let page = part_of(&text, &Setup::default()).pages.remove(0);
        of(&page, Kind::Key).len()
    };
    assert_eq!(sharps("xylophone"), 6, "three at the head, three behind the triangle");
    assert_eq!(sharps("timpani"), 3, "and no naturals: nobody read it on the line of the triangle");
}

#[test]
fn a_staff_has_one_line_and_five_in_turn_within_a_system() {
    let text = "piece \"Sluice\" { composer \"House copyist\" }\nform { 1 metre 2/4, key A major\n 6 end }\n\
         voice tune { 1: 1/4 x x | 2: A4 C5 | 3: A5 C6 | 4: 1/4 x x | 5: x x | 6: A4 C5 | }\n\
         ensemble few { era 1885\n triangle\n }\nscoring all for few {\n triangle writes as rhythm {\n \
         1: 1/4 x x |\n 2: A4 C#5 |\n 3: A4 C#5 |\n 4: x x |\n 5: x x |\n 6: A4 C#5 |\n }\n \
         triangle takes xylophone bar 2\n triangle takes triangle bar 4\n triangle takes xylophone bar 6\n}\n";
    let page = part_of(text, &Setup::default()).pages.remove(0);
    let lines: Vec<Rect> = of(&page, Kind::StaffLine).into_iter().map(Mark::bounds).collect();
    let middle = lines[0].center().y;
    let mut stretches: Vec<(f64, f64, usize)> = Vec::new();
    for line in &lines {
        match stretches.last_mut() {
            Some((x0, _, count)) if (*x0 - line.x0).abs() < 1e-6 => *count += 1,
            _ => stretches.push((line.x0, line.x1, 1)),
        }
    }
    let counts: Vec<usize> = stretches.iter().map(|stretch| stretch.2).collect();
    assert_eq!(counts, [1, 5, 1, 5], "{stretches:?}");
    assert!(stretches.windows(2).all(|pair| (pair[0].1 - pair[1].0).abs() < 1e-6), "without a gap");
    // A bar line is as high as the taller staff beside it; clef and signature stand behind it.
    let bar_lines: Vec<Rect> = of(&page, Kind::BarLine).into_iter().map(Mark::bounds).collect();
    let high: Vec<f64> = bar_lines.iter().map(|line| (line.height() / 2.0).round()).collect();
    assert_eq!(high[..5], [2.0, 2.0, 2.0, 1.0, 2.0], "{bar_lines:?}");
    let clefs: Vec<Rect> = of(&page, Kind::Clef).into_iter().map(Mark::bounds).collect();
    assert_eq!(clefs.len(), 4);
    for (clef, stretch) in clefs.iter().zip(&stretches) {
        assert!(clef.x0 > stretch.0 && clef.x1 < stretch.1, "{clef:?} {stretch:?}");
    }
    let keys: Vec<Rect> = of(&page, Kind::Key).into_iter().map(Mark::bounds).collect();
    assert_eq!(keys.len(), 6, "three behind each clef of five lines");
    // Strokes stand on the one line, notes on theirs, with ledger lines where five lines need them.
    let heads = of(&page, Kind::Head);
    let on_line = heads.iter().filter(|head| (head.bounds().center().y - middle).abs() < 0.1);
    assert_eq!(on_line.count(), 6);
}

/// Over the uppermost staff no bar line would strike an order through that is longer than its bar.
#[test]
fn an_order_over_the_uppermost_staff_of_a_score_stands_in_one_line_over_bars_of_rest() {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ 1 metre 2/4, key C major, \
         tempo 1/4 at 96\n 20 end }}\nvoice call {{ {} }}\nensemble few {{ era 1770\n \
         horn 2 crook D\n }}\n\
         scoring all for few {{\n horn plays call bars 1..4, 14..20 as melody\n horn takes crook E bar 5\n}}\n",
        bars(20, "1/2 D4"),
    );
    let page = super::tests::score(&text, false).pages.remove(0);
    assert_eq!(super::tests::texts(&page, "change to E").len(), 1);
    assert_eq!(super::tests::texts(&page, "to E").len(), 1, "between the staves");
}
