//! Figures under a bass, sung words, and what leads from bar to bar.

use super::*;

#[test]
fn figures_under_a_bass_become_harmony() {
    let figures = |inside: &str| format!("<figured-bass>{inside}</figured-bass>");
    let figure = |number: u8| format!("<figure><figure-number>{number}</figure-number></figure>");
    let first = format!(
        "{COMMON}{}{}{}{}{}",
        note("C3", 12, ""),
        figures(&figure(6)),
        note("E3", 12, ""),
        figures(&(figure(6) + &figure(5))),
        note("F3", 24, ""),
    );
    // Two chords over one note, then a third that is raised.
    let second = format!(
        "<figured-bass><figure><figure-number>4</figure-number></figure><duration>12</duration>\
         </figured-bass>{}{}{}",
        figures("<figure><figure-number>7</figure-number></figure>"),
        note("G3", 24, ""),
        figures("<figure><prefix>sharp</prefix></figure>") + &note("E3", 24, ""),
    );
    let import = imported(&file(&[&first, &second]));
    let harmony = import.source.split("harmony {\n").nth(1).unwrap();
    let bars: Vec<&str> = harmony.lines().take(2).map(str::trim).collect();
    assert_eq!(bars, ["1: 1/4 C C/E 1/2 Dm7/F |", "2: 1/4 Gsus4 G7 1/2 E |"]);
    let told = &import.report.guesses[0];
    assert!(told.contains("from the figures") && told.contains("1 note of a beat"), "{told}");
    assert!(import.report.losses.is_empty(), "{:?}", import.report.losses);
}

#[test]
fn what_is_sung_stands_under_its_voice() {
    let sung = |pitch: &str, verses: &[(&str, &str)]| {
        let lyric = |(number, (syllabic, text)): (usize, &(&str, &str))| {
            format!(
                "<lyric number='{}'><syllabic>{syllabic}</syllabic><text>{text}</text></lyric>",
                number + 1
            )
        };
        note(pitch, 12, &verses.iter().enumerate().map(lyric).collect::<String>())
    };
    let first = [
        COMMON.to_string(),
        sung("C5", &[("begin", "riv"), ("single", "down")]),
        sung("D5", &[("middle", "er"), ("single", "the")]),
        sung("E5", &[]),
        sung("F5", &[("end", "side"), ("single", "weir")]),
    ];
    let second = sung("G5", &[("begin", "o"), ("single", "it runs")]) + &note("C5", 36, "");
    let import = imported(&file(&[&first.concat(), &second]));
    let lyrics = import.source.split("lyrics for tune").skip(1).collect::<Vec<_>>();
    assert_eq!(lyrics[0].trim(), "{\n  1: riv-er- = side |\n  2: o = |\n}");
    assert_eq!(lyrics[1].trim(), "verse 2 {\n  1: down the = weir |\n  2: it+runs = |\n}");
    assert!(import.report.losses.is_empty(), "{:?}", import.report.losses);
}

#[test]
fn jumps_repeats_and_metres_are_in_the_form() {
    let full = note("C5", 48, "");
    let said = |words: &str| {
        format!("<direction><direction-type><words>{words}</words></direction-type></direction>")
    };
    let common = COMMON.replace("<time>", "<time symbol='common'>");
    let first = format!("{common}{full}");
    let second = format!("{full}{}", said("Fine"));
    let third = format!(
        "<barline location='left'><repeat direction='forward'/></barline>{full}\
         <barline location='right'><repeat direction='backward' times='3'/></barline>"
    );
    let fourth = format!(
        "<attributes><time><beats>3+2</beats><beat-type>8</beat-type></time></attributes>{}{}",
        note("C5", 30, ""),
        said("D.C. al Fine")
    );
    let import = imported(&file(&[&first, &second, &third, &fourth]));
    assert_eq!(
        form(&import),
        [
            "1  metre common, key C major",
            "2  fine",
            "3  repeat 3 times",
            "4  metre 3+2/8, da capo al fine",
            "4  end"
        ]
    );
    assert!(import.report.losses.is_empty(), "{:?}", import.report.losses);
    // Without a fine the jump leads nowhere.
    let import = imported(&file(&[&first, &full, &third, &fourth]));
    assert_eq!(form(&import)[2], "4  metre 3+2/8");
    assert_eq!(losses(&import), [("jumps that lead nowhere, or signs that none leads to", 1)]);
}

#[test]
fn a_third_ending_follows_the_second() {
    let full = note("C5", 48, "");
    let ending = |number: &str, repeats: bool| {
        let back = if repeats { "<repeat direction='backward'/>" } else { "" };
        format!(
            "<barline location='left'><ending number='{number}' type='start'/></barline>{full}\
             <barline location='right'><ending number='{number}' type='stop'/>{back}</barline>"
        )
    };
    let first = format!("{COMMON}{full}");
    let import = imported(&file(&[&first, &ending("1, 2", true), &ending("3", false), &full]));
    assert_eq!(
        form(&import)[1..],
        ["1..2  repeat", "2     ending 1..2", "3     ending 3", "4     end"]
    );
    let import =
        imported(&file(&[&first, &ending("1", true), &ending("2", true), &ending("3", false)]));
    assert_eq!(
        form(&import)[1..],
        ["1..2  repeat", "2     ending 1", "3     ending 2", "4     ending 3", "4     end"]
    );
    assert!(import.report.losses.is_empty(), "{:?}", import.report.losses);
}

#[test]
fn the_head_is_what_the_file_and_its_first_page_say() {
    let text = format!(
        "<score-partwise><identification><creator type='composer'>One</creator>\
         <creator type='composer'>Another</creator><creator type='lyricist'>A third</creator>\
         <miscellaneous><miscellaneous-field name='revision'>2nd version</miscellaneous-field>\
         </miscellaneous></identification>\
         <credit><credit-type>title</credit-type><credit-words>The Sluice</credit-words></credit>\
         <credit><credit-type>composer</credit-type><credit-words>Nobody</credit-words></credit>\
         <part-list><score-part id='P1'><part-name>Tune</part-name></score-part></part-list>\
         <part id='P1'><measure number='1'>{COMMON}{}</measure></part></score-partwise>",
        note("C5", 48, "")
    );
    let import = imported(&text);
    let head: Vec<&str> = import.source.lines().take(4).map(str::trim).collect();
    let wanted =
        ["piece \"The Sluice\" {", "composer \"One, Another\"", "revision \"2nd version\"", "}"];
    assert_eq!(head, wanted);
    let told: Vec<&str> = import.report.losses.iter().map(|loss| loss.what.as_str()).collect();
    assert_eq!(told, ["the name of the lyricist"]);
}
