//! From a file to a source, feature by feature.

#[path = "words_and_jumps_tests.rs"]
mod words_and_jumps;

use super::*;
use crate::narrow::Narrow;

/// A file of one part with these measures, after the usual attributes of the first.
fn file(measures: &[&str]) -> String {
    part("<score-part id='P1'><part-name>Tune</part-name></score-part>", &[("P1", measures)])
}

fn part(list: &str, parts: &[(&str, &[&str])]) -> String {
    let mut text = format!("<score-partwise version='4.0'><part-list>{list}</part-list>");
    for (id, measures) in parts {
        text += &format!("<part id='{id}'>");
        for (index, measure) in measures.iter().enumerate() {
            text += &format!("<measure number='{}'>{measure}</measure>", index + 1);
        }
        text += "</part>";
    }
    text + "</score-partwise>"
}

const COMMON: &str = "<attributes><divisions>12</divisions><key><fifths>0</fifths>\
    <mode>major</mode></key><time><beats>4</beats><beat-type>4</beat-type></time></attributes>";

/// A note of a duration with whatever else stands in it.
fn note(pitch: &str, duration: u32, more: &str) -> String {
    let (name, octave) = pitch.split_at(pitch.len() - 1);
    let (step, sign) = name.split_at(1);
    let alter =
        sign.matches('#').count().narrow::<i32>() - sign.matches('b').count().narrow::<i32>();
    let alter = if alter == 0 { String::new() } else { format!("<alter>{alter}</alter>") };
    format!(
        "<note><pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>\
         <duration>{duration}</duration><voice>1</voice>{more}</note>"
    )
}

fn imported(text: &str) -> Import {
    import(text.as_bytes(), &Options { title: "Test".into(), ..Options::default() }).unwrap()
}

/// The bars of the first voice.
fn bars(import: &Import) -> Vec<&str> {
    let voice = import.source.split("voice ").nth(1).unwrap();
    voice.lines().skip(1).take_while(|line| *line != "}").map(str::trim).collect()
}

fn form(import: &Import) -> Vec<&str> {
    let form = import.source.split("form {\n").nth(1).unwrap();
    form.lines().take_while(|line| *line != "}").map(str::trim).collect()
}

fn losses(import: &Import) -> Vec<(&str, usize)> {
    import.report.losses.iter().map(|loss| (loss.what.as_str(), loss.count)).collect()
}

#[test]
fn values_ties_and_rests_become_bars() {
    let tied = [note("D5", 36, "<tie type='start'/>"), note("E5", 12, "")];
    let first = format!("{COMMON}{}{}", note("C#5", 24, ""), note("D5", 24, "<tie type='start'/>"));
    let second = format!(
        "{}<note><rest/><duration>12</duration><voice>1</voice></note>{}",
        note("D5", 24, "<tie type='stop'/>"),
        note("Bb4", 12, "")
    );
    let third = tied.concat();
    let import = imported(&file(&[&first, &second, &third]));
    assert_eq!(bars(&import), ["1: 1/2 C#5 D |", "2: 1/2 = 1/4 rest Bb4 |", "3: 1/2. D5 1/4 E |"]);
    assert_eq!(form(&import), ["1  metre 4/4, key C major", "3  end"]);
}

#[test]
fn a_tremolo_between_two_notes_is_one_note_with_its_other() {
    let half = |pitch: &str, kind: &str, length: u32, value: &str| {
        let more = format!(
            "<type>{value}</type><time-modification><actual-notes>2</actual-notes>\
             <normal-notes>1</normal-notes></time-modification><notations><ornaments>\
             <tremolo type='{kind}'>2</tremolo></ornaments></notations>"
        );
        note(pitch, length, &more)
    };
    let two =
        |length, value| half("D5", "start", length, value) + &half("A5", "stop", length, value);
    let first = format!("{COMMON}{}{}", two(12, "half"), two(12, "half"));
    // Too short, and without its other: plain notes, and told.
    let second = two(3, "eighth") + &note("C5", 30, "") + &half("E5", "start", 12, "half");
    let import = imported(&file(&[&first, &second]));
    assert_eq!(
        bars(&import),
        ["1: 1/2 D5[tremolo A5 1/16] D[tremolo A5 1/16] |", "2: 1/16 D5 A 5/8 C 1/4 E |"]
    );
    assert!(losses(&import).contains(&("tremolos between two notes", 2)), "{:?}", losses(&import));
}

#[test]
fn a_pick_up_is_bar_0_and_repeats_have_their_endings() {
    let short = format!("{COMMON}{}", note("G4", 12, ""));
    let full = note("C5", 48, "");
    let repeat =
        |location: &str, inside: &str| format!("<barline location='{location}'>{inside}</barline>");
    let first = format!(
        "{}{full}{}",
        repeat("left", "<ending number='1' type='start'/>"),
        repeat("right", "<ending number='1' type='stop'/><repeat direction='backward'/>")
    );
    let second = format!(
        "{}{full}{}",
        repeat("left", "<ending number='2' type='start'/>"),
        repeat("right", "<ending number='2' type='discontinue'/>")
    );
    let import = imported(&file(&[&short, &full, &first, &second]));
    assert_eq!(
        form(&import),
        [
            "0     metre 4/4, key C major, pick-up 1/4",
            "0..2  repeat",
            "2     ending 1",
            "3     ending 2",
            "3     end"
        ]
    );
    assert_eq!(bars(&import)[0], "0: 1/4 G4 |");
    assert!(import.report.losses.is_empty(), "{:?}", import.report);
}

#[test]
fn rounded_durations_of_triplets_come_together_again() {
    let triplet = "<type>eighth</type><time-modification><actual-notes>3</actual-notes>\
        <normal-notes>2</normal-notes></time-modification>";
    let head = COMMON.replace("<divisions>12<", "<divisions>256<");
    // 256 is no multiple of 3: the eighths of a triplet last 85, 85 and 86.
    let measure = [
        head,
        note("C5", 85, triplet),
        note("D5", 85, triplet),
        note("E5", 86, triplet),
        note("F5", 768, "<type>half</type><dot/>"),
    ];
    let import = imported(&file(&[&measure.concat()]));
    assert_eq!(bars(&import), ["1: 3:2(1/8 C5 D E) 1/2. F |"]);
}

#[test]
fn voices_of_a_staff_are_told_apart_and_chords_kept() {
    let second = note("E4", 48, "").replace("<voice>1<", "<voice>2<");
    let chord = note("E5", 48, "").replace("<note>", "<note><chord/>");
    let measure = format!(
        "{COMMON}{}{chord}<backup><duration>48</duration></backup>{second}",
        note("C5", 48, "")
    );
    let import = imported(&file(&[&measure]));
    assert_eq!(bars(&import), ["1: 1/1 C5&E |"]);
    assert!(import.source.contains("voice lower {\n  1: 1/1 E4 |"), "{}", import.source);
}

#[test]
fn a_note_held_in_a_moving_chord_is_a_voice_of_its_own() {
    let chord = |text: String| text.replace("<note>", "<note><chord/>");
    let first =
        format!("{COMMON}{}{}", note("C4", 48, "<tie type='start'/>"), chord(note("E4", 48, "")));
    let second = format!("{}{}", note("C4", 48, "<tie type='stop'/>"), chord(note("F4", 48, "")));
    let import = imported(&file(&[&first, &second]));
    assert_eq!(bars(&import), ["1: 1/1 E4 |", "2: 1/1 F4 |"]);
    assert!(import.source.contains("1: 1/1 C4 |\n  2: 1/1 = |"), "{}", import.source);
}

#[test]
fn transposing_parts_come_to_sounding_pitch_in_the_sounding_key() {
    let head = "<attributes><divisions>1</divisions><key><fifths>2</fifths><mode>major</mode></key>\
        <time><beats>4</beats><beat-type>4</beat-type></time>\
        <transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>";
    let import = imported(&file(&[&format!("{head}{}", note("F#4", 4, ""))]));
    assert_eq!(bars(&import), ["1: 1/1 E4 |"]);
    assert_eq!(form(&import)[0], "1  metre 4/4, key C major");
}

#[test]
fn marks_slurs_graces_and_directions_stand_at_their_notes() {
    let grace = "<note><grace slash='yes'/><pitch><step>B</step><octave>4</octave></pitch>\
        <voice>1</voice><type>eighth</type></note>";
    let direction =
        |inside: &str| format!("<direction><direction-type>{inside}</direction-type></direction>");
    let slur = |kind: &str| {
        format!(
            "<notations><slur type='{kind}' number='1'/><articulations><staccato/></articulations></notations>"
        )
    };
    let measure = [
        COMMON.to_string(),
        direction("<dynamics><p/></dynamics>"),
        direction("<wedge type='crescendo'/>"),
        grace.to_string(),
        note("C5", 12, &slur("start")),
        note("D5", 12, &slur("stop")),
        direction("<wedge type='stop'/>"),
        direction("<words>dolce</words>"),
        note("E5", 24, ""),
    ];
    let import = imported(&file(&[&measure.concat()]));
    assert_eq!(
        bars(&import),
        ["1: [p cresc] crushed(1/8 B4) 1/4 {C5[stacc] D[stacc]} [to \"dolce\"] 1/2 E |"]
    );
}

#[test]
fn grace_notes_of_strokes_are_strokes() {
    let note = |small: &str, more: &str| {
        format!(
            "<note>{small}<unpitched><display-step>E</display-step><display-octave>4</display-octave>\
             </unpitched>{more}</note>"
        )
    };
    let measure = [
        COMMON.to_string(),
        note("<grace slash='yes'/>", "<voice>1</voice><type>eighth</type>"),
        note("", "<duration>48</duration><voice>1</voice>"),
    ];
    let import = imported(&file(&[&measure.concat()]));
    assert_eq!(bars(&import), ["1: crushed(1/8 x) 1/1 x |"]);
    assert_eq!(losses(&import), []);
}

#[test]
fn what_the_language_cannot_say_is_counted() {
    let ringing = "<notations><tied type='let-ring'/></notations>";
    let measure = [
        COMMON.to_string(),
        note("C5", 24, ringing),
        note(
            "D5",
            24,
            &format!(
                "{ringing}<notations><technical><fingering>3</fingering></technical></notations>"
            ),
        ),
        "<figured-bass><figure><figure-number>6</figure-number></figure></figured-bass>"
            .to_string(),
    ];
    let import = imported(&file(&[&measure.concat()]));
    assert_eq!(
        losses(&import),
        [
            ("ties that let a note ring", 2),
            ("the sign “fingering”", 1),
            ("figures without a bass note", 1)
        ]
    );
    let text = import.report.to_text();
    assert!(text.contains("ties that let a note ring, Tune, bar 1: 2 times"), "{text}");
}

#[test]
fn chord_symbols_become_the_harmony() {
    let symbol = |step: &str, kind: &str| {
        format!("<harmony><root><root-step>{step}</root-step></root><kind>{kind}</kind></harmony>")
    };
    let first = format!("{COMMON}{}{}", symbol("D", "minor"), note("D5", 48, ""));
    let second =
        format!("{}{}{}", note("D5", 24, ""), symbol("A", "dominant"), note("C#5", 24, ""));
    let import = imported(&file(&[&first, &second]));
    assert!(
        import.source.contains("harmony {\n  1: Dm |\n  2: 1/2 Dm A7 |\n}"),
        "{}",
        import.source
    );
    let options = Options { setting: Setting::Scoring, ..Options::default() };
    let list = "<score-part id='P1'><part-name>Oboe</part-name></score-part>";
    let text = part(list, &[("P1", &[&first, &second])]);
    let source = super::import(text.as_bytes(), &options).unwrap().source;
    assert!(source.contains("oboe  plays oboe with chords as melody"), "{source}");
}

#[test]
fn two_texts_of_a_verse_on_one_note_are_sung_together() {
    let text = |text: &str| format!("<lyric number='1'><text>{text}</text></lyric>");
    let sung = note("D5", 48, "").replace("</note>", &(text("Ut") + &text("cum") + "</note>"));
    let import = imported(&file(&[&format!("{COMMON}{sung}")]));
    assert!(import.source.contains("1: Ut+cum |"), "{}", import.source);
}

#[test]
fn a_printed_tempo_counts_before_a_sounding_one() {
    let said = "<direction><direction-type><words>Trio</words></direction-type>\
        <sound tempo='120'/></direction><direction><direction-type><metronome>\
        <beat-unit>quarter</beat-unit><per-minute>100</per-minute></metronome></direction-type>\
        <sound tempo='100'/></direction>";
    let import = imported(&file(&[&format!("{COMMON}{said}{}", note("D5", 48, ""))]));
    assert!(import.source.contains("tempo \"Trio\" 1/4 at 100"), "{}", import.source);
}

#[test]
fn rests_beyond_the_metre_do_not_lengthen_a_bar_that_another_part_fills() {
    let rest = "<note><rest/><duration>48</duration><voice>1</voice><type>whole</type></note>";
    let full = format!("{COMMON}{}", note("D5", 48, ""));
    let over = format!("{COMMON}{}{rest}", note("D4", 48, ""));
    let list = "<score-part id='P1'><part-name>Oboe</part-name></score-part>\
        <score-part id='P2'><part-name>Viola</part-name></score-part>";
    let of = |one: &str, two: &str| part(list, &[("P1", &[one, one]), ("P2", &[two, two])]);
    let import = imported(&of(&full, &over));
    assert!(!import.source.contains("length"), "{}", import.source);
    assert!(import.report.losses.is_empty(), "{}", import.report.to_text());
    let import = imported(&of(&over, &over));
    assert!(import.source.contains("length 8/4"), "{}", import.source);
}

#[test]
fn a_syllable_on_a_held_note_is_told() {
    let sung = "<lyric><text>men</text></lyric>";
    let first = format!("{COMMON}{}", note("C5", 48, "<tie type='start'/>"));
    let second = note("C5", 48, &format!("<tie type='stop'/>{sung}"));
    let import = imported(&file(&[&first, &second]));
    assert_eq!(losses(&import), [("sung words on held notes, written where the note begins", 1)]);
    assert!(import.source.contains("1: men |"), "{}", import.source);
}

#[test]
fn a_scoring_is_made_of_the_part_list() {
    let list = "<score-part id='P1'><part-name>Oboe</part-name></score-part>\
        <score-part id='P2'><part-name>Violin I</part-name></score-part>\
        <score-part id='P3'><part-name>Dulcian</part-name></score-part>";
    let high = format!("{COMMON}{}", note("C5", 48, ""));
    let low = format!("{COMMON}{}", note("E4", 48, ""));
    let text = part(list, &[("P1", &[&high]), ("P2", &[&high]), ("P3", &[&low])]);
    let options = Options { setting: Setting::Scoring, ..Options::default() };
    let import = import(text.as_bytes(), &options).unwrap();
    let scoring = import.source.split("ensemble ").nth(1).unwrap();
    assert!(scoring.contains("  oboe\n  violin\n  bassoon as \"Dulcian\"\n"), "{scoring}");
    assert!(scoring.contains("oboe     plays oboe as melody"), "{scoring}");
    assert!(scoring.contains("violin   doubles oboe\n"), "{scoring}");
    assert!(!import.source.contains("voice violin-1"));
    let guesses = &import.report.guesses;
    assert!(guesses.iter().any(|g| g.starts_with("Dulcian: ")), "{guesses:?}");
}

#[test]
fn only_the_parts_and_bars_that_are_asked_for() {
    let list = "<score-part id='P1'><part-name>Oboe</part-name></score-part>\
        <score-part id='P2'><part-name>Viola</part-name></score-part>";
    let first = format!("{COMMON}{}", note("C5", 48, "<tie type='start'/>"));
    let second = note("C5", 48, "<tie type='stop'/>");
    let third = note("D5", 48, "<notations><tied type='let-ring'/></notations>");
    let measures: &[&str] = &[&first, &second, &third];
    let text = part(list, &[("P1", measures), ("P2", measures)]);
    let options = |parts: &[&str], bars| Options {
        parts: parts.iter().map(ToString::to_string).collect(),
        bars,
        ..Options::default()
    };
    let chosen =
        import(text.as_bytes(), &options(&["viola"], Some(BarNumbers::new(2, 3)))).unwrap();
    assert_eq!(bars(&chosen), ["1: 1/1 C5 |", "2: 1/1 D5 |"]);
    assert_eq!(form(&chosen)[0], "1  metre 4/4, key C major");
    assert_eq!(chosen.report.losses.len(), 1);
    assert_eq!(chosen.report.losses[0].bars, [BarNumbers::one(2)]);
    let sung = note("D5", 24, "") + &note("E5", 24, "<lyric><text>la</text></lyric>");
    let text = part(list, &[("P1", measures), ("P2", &[&first, &second, &sung])]);
    let told = |parts: &[&str]| {
        let chosen = import(text.as_bytes(), &options(parts, Some(BarNumbers::new(2, 3)))).unwrap();
        let of_words = chosen.report.losses.into_iter().filter(|loss| loss.what.contains("sung"));
        of_words.map(|loss| (loss.part, loss.bars)).collect::<Vec<_>>()
    };
    let wanted = [(Some("Viola".to_string()), vec![BarNumbers::one(2)])];
    assert_eq!((told(&["viola"]), told(&[])), (wanted.to_vec(), wanted.to_vec()));
    let wrong = import(text.as_bytes(), &options(&["flute"], None)).unwrap_err();
    assert!(wrong.to_string().contains("“Oboe”, “Viola”"), "{wrong}");
    assert!(import(text.as_bytes(), &options(&[], Some(BarNumbers::new(7, 9)))).is_err());
}

#[test]
fn a_timewise_file_is_read_as_a_partwise_one() {
    let measures: &[&str] = &[&format!("{COMMON}{}", note("C5", 48, "")), &note("D5", 48, "")];
    let partwise = file(measures);
    let mut timewise = "<score-timewise><part-list><score-part id='P1'>\
        <part-name>Tune</part-name></score-part></part-list>"
        .to_string();
    for (index, measure) in measures.iter().enumerate() {
        timewise +=
            &format!("<measure number='{}'><part id='P1'>{measure}</part></measure>", index + 1);
    }
    timewise += "</score-timewise>";
    assert_eq!(imported(&partwise), imported(&timewise));
}

#[test]
fn two_byte_texts_and_packed_files_are_read_as_plain_ones() {
    let text = file(&[&format!("{COMMON}{}", note("C5", 48, ""))]);
    let plain = imported(&text);
    let options = Options { title: "Test".into(), ..Options::default() };
    let mut two_bytes = vec![0xff, 0xfe];
    two_bytes.extend(text.encode_utf16().flat_map(u16::to_le_bytes));
    assert_eq!(import(&two_bytes, &options).unwrap(), plain);
    let packed = packed(&[
        (
            "META-INF/container.xml",
            "<container><rootfiles><rootfile full-path='../../etc/score.xml'/></rootfiles></container>",
        ),
        ("other.txt", "no score"),
        ("../../etc/score.xml", &text),
    ]);
    assert_eq!(import(&packed, &options).unwrap(), plain);
}

fn packed(files: &[(&str, &str)]) -> Vec<u8> {
    use std::io::Write;
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut archive = zip::ZipWriter::new(&mut bytes);
    let stored =
        zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, text) in files {
        archive.start_file(*name, stored).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    archive.finish().unwrap();
    bytes.into_inner()
}

#[test]
fn hostile_files_are_refused_or_their_losses_told() {
    let error = |text: &str| import(text.as_bytes(), &Options::default()).unwrap_err().to_string();
    let whole = file(&[&format!("{COMMON}{}", note("C5", 48, ""))]);
    for end in [20, whole.len() / 2, whole.len() - 3] {
        assert!(error(&whole[..end]).contains("broken"), "{end}");
    }
    assert!(error("<html></html>").contains("<html>"));
    assert!(error("<score-partwise></score-partwise>").contains("no part has a measure"));
    assert!(error("<!DOCTYPE a [<!ENTITY a 'x'>]>").contains("no elements"));
    // Durations that cannot be.
    for duration in ["-12", "1e99", "NaN", "99999999999999999999", ""] {
        let measure = format!(
            "{COMMON}{}",
            note("C5", 1, "<type>whole</type>")
                .replace("<duration>1<", &format!("<duration>{duration}<"))
        );
        assert_eq!(bars(&imported(&file(&[&measure]))), ["1: 1/1 C5 |"], "{duration}");
    }
    // No divisions, steps back beyond the beginning, notes on top of each other.
    let measure = format!(
        "{}<backup><duration>99</duration></backup>{}{}",
        note("C5", 4, ""),
        note("D5", 4, ""),
        "<backup><duration>2</duration></backup>".to_string() + &note("E5", 4, "")
    );
    let import = imported(&file(&[&measure]));
    let what: Vec<&str> = losses(&import).iter().map(|(what, _)| *what).collect();
    assert!(what.iter().any(|what| what.starts_with("durations before")), "{what:?}");
    assert!(what.iter().any(|what| what.starts_with("a step back")), "{what:?}");
    for pitch in ["C5&D", "E5"] {
        assert!(import.source.contains(pitch), "{}", import.source);
    }
}

#[test]
fn a_signature_without_a_mode_goes_by_the_notes() {
    let head = COMMON.replace("<mode>major</mode>", "");
    let measure = [head, note("A4", 24, ""), note("G#4", 12, ""), note("A4", 12, "")];
    let import = imported(&file(&[&measure.concat()]));
    assert_eq!(form(&import)[0], "1  metre 4/4, key A minor");
    assert!(import.report.guesses[0].starts_with("the key from bar 1: A minor"));
}

/// A file of one track: delta, key, and velocity of each event, in ticks of which 96 are a quarter.
fn midi(meta: &[u8], events: &[(u8, u8, u8)]) -> Vec<u8> {
    let mut track: Vec<u8> = meta.to_vec();
    for (delta, key, velocity) in events {
        track.extend([*delta, 0x90, *key, *velocity]);
    }
    track.extend([0, 0xff, 0x2f, 0]);
    let mut bytes = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".to_vec();
    bytes.extend((track.len().narrow::<u32>()).to_be_bytes());
    bytes.extend(track);
    bytes
}

#[test]
fn a_midi_file_becomes_a_voice() {
    // 3/4, a key of one flat in minor, 100 quarters a minute.
    let meta = [
        0, 0xff, 0x58, 4, 3, 2, 24, 8, 0, 0xff, 0x59, 2, 0xff, 1, 0, 0xff, 0x51, 3, 0x09, 0x27,
        0xc0,
    ];
    let events = [
        (0, 62, 80),
        (96, 62, 0),
        (0, 65, 80),
        (96, 65, 0),
        (0, 61, 80),
        (48, 61, 0),
        (0, 62, 80),
        (48, 62, 0),
    ];
    let import = import(&midi(&meta, &events), &Options::default()).unwrap();
    assert_eq!(bars(&import), ["1: 1/4 D4 F 1/8 C# D |"]);
    assert_eq!(form(&import)[0], "1  metre 3/4, key D minor, tempo 1/4 at 100");
    assert!(import.report.guesses[0].contains("to the tick"), "{:?}", import.report);
}

#[test]
fn a_midi_key_below_the_lowest_octave_is_left_out_and_told() {
    let events = [(0, 11, 80), (96, 11, 0), (0, 12, 80), (96, 12, 0), (0, 12, 80), (0, 12, 0)];
    let import = import(&midi(&[], &events), &Options::default()).unwrap();
    assert!(import.source.contains("C0"), "{}", import.source);
    assert!(!import.source.contains("-1"), "{}", import.source);
    let told = import.report.to_text();
    assert!(told.contains("notes below C0: once"), "{told}");
    assert!(told.contains("notes that last no time, written as short ones: once"), "{told}");
}

#[test]
fn a_midi_file_whose_last_bar_reaches_beyond_the_longest_piece_is_refused() {
    // A note of 20,000 whole notes, in bars of 12/8 and of 4/4.
    let of = |count: u8, unit: u8| {
        let mut meta = vec![0, 0xff, 0x58, 4, count, unit, 24, 8, 0, 0x90, 62, 80];
        meta.extend([0x83, 0xd4, 0xe0, 0, 0x90, 62, 0]);
        import(&midi(&meta, &[]), &Options::default())
    };
    let error = of(12, 3).unwrap_err().to_string();
    assert!(error.contains("more than 20,000 bars or whole notes"), "{error}");
    assert!(of(4, 2).unwrap().source.contains("\n  20000  end\n"));
}

#[test]
fn a_broken_midi_file_is_refused() {
    let whole = midi(&[], &[(0, 62, 80), (96, 62, 0)]);
    assert!(import(&whole, &Options::default()).is_ok());
    assert!(import(&whole[..10], &Options::default()).is_err());
    assert!(import(&midi(&[], &[]), &Options::default()).is_err());
    for end in 0..whole.len() {
        let _ = import(&whole[..end], &Options::default());
    }
}

#[test]
fn a_short_bar_of_rests_keeps_its_length() {
    let rest = |duration: u32| {
        format!("<note><rest measure='yes'/><duration>{duration}</duration></note>")
    };
    let first = format!("{COMMON}{}", note("C5", 48, ""));
    let import = imported(&file(&[&first, &rest(12), &first, &first]));
    assert!(form(&import).contains(&"2  length 1/4"), "{}", import.source);
    // A free bar too; a whole rest may stand for a bar of any length.
    let import = imported(&file(&[&first, &rest(96), &first, &first]));
    assert!(form(&import).contains(&"2  length 8/4"), "{}", import.source);
    let whole = rest(96).replace("</duration>", "</duration><type>whole</type>");
    let import = imported(&file(&[&first, &whole, &first, &first]));
    assert!(!import.source.contains("length"), "{}", import.source);
}

#[test]
fn a_part_that_goes_with_another_for_a_while_doubles_it_there() {
    let bar = |pitch: &str| note(pitch, 12, "").repeat(4);
    let mut one: Vec<String> = (0..8).map(|_| bar("C5")).collect();
    let mut two: Vec<String> =
        (0..8).map(|i| bar(if (2..7).contains(&i) { "C4" } else { "E4" })).collect();
    one[0] = format!("{COMMON}{}", one[0]);
    two[0] = format!("{COMMON}{}", two[0]);
    let list = "<score-part id='P1'><part-name>Oboe</part-name></score-part>\
        <score-part id='P2'><part-name>Viola</part-name></score-part>";
    let texts = |bars: &[String]| -> Vec<&'static str> {
        bars.iter().map(|bar| &*Box::leak(bar.clone().into_boxed_str())).collect()
    };
    let text = part(list, &[("P1", &texts(&one)), ("P2", &texts(&two))]);
    let options = Options { setting: Setting::Scoring, title: "Test".into(), ..Options::default() };
    let source = import(text.as_bytes(), &options).unwrap().source;
    assert!(source.contains("plays viola as bass bars 1..2, 8"), "{source}");
    assert!(source.contains("doubles oboe 8vb bars 3..7"), "{source}");
    let viola = source.split("voice viola {").nth(1).unwrap();
    assert!(viola.contains("  3: rest 5 |"), "{source}");
}

#[test]
fn an_artificial_harmonic_is_the_note_that_sounds_with_its_stopped_note() {
    let harmonic = |kind: &str| {
        format!(
            "<notations><technical><harmonic><artificial/><{kind}/></harmonic></technical></notations>"
        )
    };
    let chord = |pitch: &str, length, more: &str| {
        note(pitch, length, more).replacen("<note>", "<note><chord/>", 1)
    };
    let signed =
        note("E4", 24, &harmonic("base-pitch")) + &chord("A4", 24, &harmonic("touching-pitch"));
    let with_head =
        note("G4", 24, "") + &chord("D5", 24, "<notehead filled='no'>diamond</notehead>");
    let import = imported(&file(&[&format!("{COMMON}{signed}{with_head}")]));
    assert!(import.source.contains("1/2 E6[harmonic E4] D[harmonic G4]"), "{}", import.source);
}
