//! What the mock-up makes of marks, words and seats.

use crate::narrow::Narrow;
use std::sync::Arc;

use super::*;
use crate::music::Key;

/// What a controller is set to at the beginning of a track.
fn set_at_the_beginning(smf: &Smf, track: usize, number: u8) -> Option<u8> {
    smf.tracks[track].iter().take_while(|event| event.delta.as_int() == 0).find_map(|event| {
        match event.kind {
            TrackEventKind::Midi {
                message: MidiMessage::Controller { controller, value }, ..
            } if controller.as_int() == number => Some(value.as_int()),
            _ => None,
        }
    })
}

/// Tempos of track 0: tick, microseconds a quarter.
fn tempos(piece: &Piece, parts: Vec<Part>) -> Vec<(u32, u32)> {
    with_arrangement(piece, parts, |bytes| {
        let mut now = 0;
        let mut tempos = Vec::new();
        for event in &Smf::parse(bytes).unwrap().tracks[0] {
            now += event.delta.as_int();
            if let TrackEventKind::Meta(MetaMessage::Tempo(micros)) = event.kind {
                tempos.push((now, micros.as_int()));
            }
        }
        tempos
    })
}

/// The keys of the first note, which has a mark, after other notes.
fn ornamented(
    key: &str,
    mode: Mode,
    before: &[((i64, i64), &str)],
    name: &str,
    mark: Mark,
) -> Vec<u8> {
    let mut piece = piece(2);
    for bar in &mut Arc::make_mut(&mut piece.form).bars {
        bar.key = Key::new(key.parse().unwrap(), mode).unwrap();
    }
    let mut notes = line(&[before, &[((1, 4), name)]].concat());
    notes.last_mut().unwrap().attached.marks.insert(mark);
    let start = notes.last().unwrap().start;
    let violin = violin();
    let heard = strokes(&piece, part(&violin, notes));
    let from = (start.to_f64() * 1920.0).narrow::<u32>();
    heard.into_iter().filter(|(on, ..)| *on >= from).map(|(_, _, key)| key).collect()
}

#[test]
fn turns_and_mordents_take_their_neighbours_from_the_key() {
    let turn = |key, mode, name| ornamented(key, mode, &[], name, Mark::Turn);
    assert_eq!(turn("C", Mode::Major, "B4"), [72, 71, 69, 71]);
    assert_eq!(turn("D", Mode::Major, "B4"), [73, 71, 69, 71]);
    assert_eq!(turn("F", Mode::Major, "C5"), [74, 72, 70, 72]);
    let mordent = ornamented("Eb", Mode::Major, &[], "C5", Mark::Mordent);
    assert_eq!(mordent, [72, 70, 72]);
}

#[test]
fn a_neighbour_keeps_the_sign_that_stands_before_it_in_its_bar() {
    let mordent = |before| ornamented("A", Mode::Minor, before, "A4", Mark::Mordent);
    assert_eq!(mordent(&[]), [69, 67, 69]);
    assert_eq!(mordent(&[((1, 4), "G#4")]), [69, 68, 69]);
    // Another octave, and another bar, do not count.
    assert_eq!(mordent(&[((1, 4), "G#5")]), [69, 67, 69]);
    assert_eq!(mordent(&[((1, 2), "B4"), ((1, 4), "G#4")]), [69, 67, 69]);
}

#[test]
fn a_neighbour_is_never_an_augmented_step_away() {
    assert_eq!(ornamented("C", Mode::Minor, &[], "D#5", Mark::Mordent), [75, 73, 75]);
    assert_eq!(ornamented("C", Mode::Major, &[], "E#5", Mark::Turn), [78, 77, 75, 77]);
}

#[test]
fn trills_begin_above_in_the_old_time_unless_grace_notes_do() {
    let piece = piece(1);
    let violin = violin();
    let heard = |era, graces: &[&str]| {
        let mut notes = line(&[((1, 4), "rest"), ((1, 4), "A4")]);
        notes[0].attached.marks.insert(Mark::Trill);
        let small = graces.iter().map(|name| (Time::EIGHTH, name.parse::<Pitch>().unwrap().into()));
        let small: Vec<_> = small.collect();
        notes[0].attached.graces =
            (!small.is_empty()).then(|| Box::new(Graces { crushed: false, notes: small }));
        in_era(era, &piece, vec![part(&violin, notes)], |bytes| {
            let heard = pairs(&Smf::parse(bytes).unwrap(), 1);
            heard.iter().filter(|(on, ..)| *on >= 480).map(|(.., key)| *key).collect::<Vec<u8>>()
        })
    };
    assert_eq!(heard(1770, &[]), [70, 69, 70, 69, 70, 69, 70, 69]);
    assert_eq!(heard(1885, &[]), [69, 70, 69, 70, 69, 70, 69]);
    assert_eq!(heard(1770, &["G4"]), [69, 70, 69, 70, 69, 70, 69]);
    assert_eq!(heard(1885, &["A4"]), [70, 69, 70, 69, 70, 69, 70, 69]);
}

#[test]
fn dots_shorten_where_they_are_printed() {
    let violin = violin();
    // The second note crosses the bar line: the last of its tied heads has the dot.
    let mut notes = line(&[((1, 2), "C5"), ((1, 2), "D5"), ((1, 4), "E5")]);
    for note in &mut notes {
        note.attached.marks.insert(Mark::Staccato);
    }
    let heard = strokes(&piece(2), part(&violin, notes));
    assert_eq!(heard, [(0, 480, 72), (960, 1680, 74), (1920, 2160, 76)]);
}

#[test]
fn a_grace_note_on_a_key_that_sounds_strikes_it_anew() {
    let violin = violin();
    let mut notes = line(&[((1, 32), "C5"), ((1, 4), "D5")]);
    let small = vec![(Time::EIGHTH, "C5".parse::<Pitch>().unwrap().into())];
    notes[1].attached.graces = Some(Box::new(Graces { crushed: true, notes: small }));
    let heard = strokes(&piece(1), part(&violin, notes));
    // The short note leaves the grace note half of its own time.
    assert_eq!(heard, [(0, 30, 72), (30, 60, 72), (60, 540, 74)]);
}

#[test]
fn grace_notes_of_a_drum_are_struck_before_the_beat() {
    let drum = Player { instrument: find("side-drum").unwrap(), ..violin() };
    let mut notes = line(&[((1, 4), "rest"), ((1, 4), "A4")]);
    notes[0].sound = Sound::Stroke;
    let small = vec![(Time::EIGHTH, crate::resolve::Pitches::default()); 2];
    notes[0].attached.graces = Some(Box::new(Graces { crushed: false, notes: small }));
    let heard = strokes(&piece(1), part(&drum, notes));
    let begins: Vec<u32> = heard.iter().map(|(on, ..)| *on).collect();
    assert_eq!(begins, [360, 420, 480]);
    assert!(heard.iter().all(|(.., key)| *key == heard[0].2));
}

#[test]
fn a_tremolo_that_leaves_its_tuplet_goes_on_in_plain_strokes() {
    let violin = violin();
    let mut notes = line(&[((1, 6), "C5"), ((1, 12), "D5")]);
    notes[1].length = Time::of(1, 3);
    notes[1].attached.tremolo = 2;
    let mut part = part(&violin, notes);
    let (start, length) = (Time::ZERO, Time::QUARTER);
    part.tuplets.push(Tuplet { start, length, actual: 3, normal: 2 });
    let heard = strokes(&piece(1), part);
    let lengths: Vec<u32> = heard[1..].iter().map(|(on, off, _)| off - on).collect();
    assert_eq!(lengths, [80, 80, 120, 120, 120, 120]);
}

#[test]
fn a_roll_grows_stroke_by_stroke() {
    let drum = player("timpani");
    let mut part = part(&drum, line(&[((1, 2), "D3")]));
    part.notes[0].change(|note| note.attached.tremolo = 1);
    let say = |kind| Direction { at: Time::ZERO, kind, span: Span::default() };
    part.directions = vec![
        say(DirectionKind::Dynamic(crate::resolve::Dynamic::P)),
        say(DirectionKind::Hairpin { grows: true, to: Time::of(1, 2) }),
    ];
    let loud = with_arrangement(&piece(1), vec![part], |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        let velocity = |event: &TrackEvent| match event.kind {
            TrackEventKind::Midi { message: MidiMessage::NoteOn { vel, .. }, .. } => {
                Some(vel.as_int())
            }
            _ => None,
        };
        smf.tracks[1].iter().filter_map(velocity).collect::<Vec<u8>>()
    });
    assert_eq!(loud, [49, 53, 57, 60]);
}

#[test]
fn a_fermata_doubles_what_all_hold_at_its_end() {
    let violin = violin();
    let mut long = line(&[((3, 4), "D5")]);
    let mut moving = line(&[((1, 4), "D4"), ((1, 4), "E4"), ((1, 4), "F4")]);
    long[0].attached.marks.insert(Mark::Fermata);
    moving[2].attached.marks.insert(Mark::Fermata);
    let mut resting = part(&violin, Vec::new());
    let kind = DirectionKind::FermataOnRest;
    resting.directions.push(Direction { at: Time::ZERO, kind, span: Span::default() });
    let parts = vec![part(&violin, long), part(&violin, moving), resting];
    assert_eq!(tempos(&piece(2), parts), [(0, 625_000), (960, 1_250_000), (1440, 625_000)]);
}

#[test]
fn a_fermata_on_a_short_note_lasts_a_beat_longer() {
    let violin = violin();
    let mut notes = line(&[((5, 8), "D5"), ((1, 8), "E5")]);
    notes[1].attached.marks.insert(Mark::Fermata);
    let heard = tempos(&piece(1), vec![part(&violin, notes)]);
    assert_eq!(heard, [(0, 625_000), (1200, 1_875_000)]);
}

#[test]
fn a_ritardando_goes_down_step_by_step_to_the_end_or_to_the_next_tempo() {
    let words = |words: &str| Some(Tempo { beat: None, words: Some(words.into()) });
    let mut piece = piece(3);
    Arc::make_mut(&mut piece.form).bars[1].tempo = words("rit.");
    Arc::make_mut(&mut piece.form).bars[2].tempo = words("a tempo");
    let heard = tempos(&piece, Vec::new());
    assert_eq!((heard[0], heard[7]), ((0, 625_000), (2880, 625_000)));
    assert_eq!(heard.iter().map(|(at, _)| *at).nth(2), Some(1680));
    assert!(heard[..7].is_sorted_by_key(|(_, micros)| *micros));
    // The last of six eighths goes at the speed of its middle.
    assert_eq!(heard[6].1, (625_000.0_f64 / (1.0 - 11.0 / 36.0)).round().narrow::<u32>());
    Arc::make_mut(&mut piece.form).bars[2].tempo = words("dolce");
    let heard = tempos(&piece, Vec::new());
    assert_eq!(heard.len(), 13, "to the end: {heard:?}");
}

#[test]
fn a_change_without_measure_arrives_at_the_mark_in_its_direction() {
    let mut piece = piece(3);
    let words = |words: &str| Some(Tempo { beat: None, words: Some(words.into()) });
    let mark = |rate| Some(Tempo { beat: Some((Time::QUARTER, rate)), words: None });
    Arc::make_mut(&mut piece.form).bars[1].tempo = words("accel.");
    Arc::make_mut(&mut piece.form).bars[2].tempo = mark(192.0);
    let arrives = tempos(&piece, Vec::new())[6].1;
    assert_eq!(arrives, (625_000.0_f64 / (1.0 + 11.0 / 12.0)).round().narrow::<u32>());
    Arc::make_mut(&mut piece.form).bars[2].tempo = mark(60.0);
    let by_itself = tempos(&piece, Vec::new())[6].1;
    assert_eq!(by_itself, (625_000.0_f64 / (1.0 + 11.0 / 36.0)).round().narrow::<u32>());
}

#[test]
fn tempo_primo_goes_back_to_the_first_mark() {
    let mut piece = piece(3);
    let words = |words: &str| Some(Tempo { beat: None, words: Some(words.into()) });
    Arc::make_mut(&mut piece.form).bars[1].tempo =
        Some(Tempo { beat: Some((Time::QUARTER, 48.0)), words: None });
    Arc::make_mut(&mut piece.form).bars[2].tempo = words("Tempo I");
    assert_eq!(tempos(&piece, Vec::new()), [(0, 625_000), (1440, 1_250_000), (2880, 625_000)]);
}

#[test]
fn players_sit_and_weigh_as_is_the_custom() {
    let section = |id: &str, line_name: &str, count: u16| Player {
        line_name: line_name.to_string(),
        count,
        section: count > 1,
        ..player(id)
    };
    let players = [
        section("violin", "violin-1", 12),
        section("violin", "violin-2", 1),
        section("trumpet", "trumpet", 1),
        section("oboe", "oboe", 1),
        section("bass-drum", "bass-drum", 1),
        section("triangle", "triangle", 1),
    ];
    let parts = players.iter().map(|player| part(player, Vec::new())).collect();
    with_arrangement(&piece(1), parts, |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        let set = |number| -> Vec<u8> {
            (1..=6).map(|track| set_at_the_beginning(&smf, track, number).unwrap()).collect()
        };
        assert_eq!(set(10), [36, 92, 80, 70, 64, 64]);
        assert_eq!(set(7), [114, 61, 112, 94, 103, 103]);
        assert_eq!(set(11), [90; 6]);
    });
}

#[test]
fn players_beyond_the_first_port_get_a_channel_that_suits_them() {
    let violin = violin();
    let (oboe, harp) = (player("oboe"), player("harp"));
    let mut players = vec![&violin; 10];
    players.extend([&oboe; 8]);
    players.push(&harp);
    let parts: Vec<Part> = players.iter().map(|player| part(player, Vec::new())).collect();
    let places = channels::places(&parts.iter().collect::<Vec<_>>());
    let mut different = places.clone();
    different.sort_unstable();
    different.dedup();
    assert_eq!(different.len(), parts.len(), "nobody shares a place");
    // The harp, the last of all, is on the first port, where it is the only one of its sound.
    assert_eq!(places[18].port, 0);
    for (index, place) in places.iter().enumerate().filter(|(_, place)| place.port > 0) {
        let below = places.iter().position(|p| p.port == 0 && p.channel == place.channel).unwrap();
        assert_eq!(players[below].id, players[index].id);
    }
}

#[test]
fn a_note_held_into_two_endings_sounds_on_into_the_second() {
    use crate::resolve::Ending;
    let mut piece = piece(4);
    let bars = &mut Arc::make_mut(&mut piece.form).bars;
    bars[0].repeat_starts = true;
    bars[2].repeat_ends = true;
    for (bar, number) in [(2, 1), (3, 2)] {
        bars[bar].ending = Some(Ending::of(number));
    }
    let (violin, length) = (violin(), bars[0].length);
    let mut notes = line(&[((1, 4), "D5")]);
    (notes[0].start, notes[0].length) = (length, length * 3);
    let ticks = (length.to_f64() * 1920.0).narrow::<u32>();
    let heard: Vec<_> = strokes(&piece, part(&violin, notes))
        .iter()
        .map(|(on, off, _)| (on / ticks, off - on))
        .collect();
    assert_eq!(heard, [(1, 2 * ticks), (4, 2 * ticks)]);
}
