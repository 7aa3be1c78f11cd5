//! Files are read back with the reader of the `midly` crate and looked at event by event.

mod playing;

use std::sync::Arc;

use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use proptest::prelude::*;

use super::*;
use crate::arrange::SoundingNote;
use crate::diagnostics::Span;
use crate::instruments::find;
use crate::music::{Key, Metre, Mode, Pitch, Time};
use crate::notate::notate;
use crate::perform::perform;
use crate::resolve::{
    Attached, Bar, Direction, DirectionKind, Ending, Graces, Mark, OfTwo, Piece, Player, Role,
    Sound, Technique, Tempo, Tuplet,
};

fn player(id: &str) -> Player {
    Player {
        id: id.to_string(),
        line_name: id.to_string(),
        name: format!("{id} of the test"),
        abbreviation: id.to_string(),
        instrument: find(id).unwrap(),
        number: 0,
        count: 1,
        section: false,
        half_of: None,
        tuning: None,
        without_signature: false,
        drums: Vec::new(),
        span: Span::default(),
    }
}

fn violin() -> Player {
    player("violin")
}

/// A piece of so many bars in 3/4, D minor, a quarter 96.
fn piece(bars: i32) -> Piece {
    let metre = Metre::new(3, 4).unwrap();
    let key = Key::new("D".parse().unwrap(), Mode::Minor).unwrap();
    let bar = |number: i32| {
        let start = metre.bar_length() * i64::from(number - 1);
        let mut bar = Bar::new(number, start, metre, key);
        bar.tempo = (number == 1)
            .then(|| Tempo { beat: Some((Time::QUARTER, 96.0)), words: Some("Con moto".into()) });
        bar
    };
    let mut piece = Piece { title: "Evening at the Locks".into(), ..Piece::default() };
    piece.licence = Some("CC0-1.0".into());
    Arc::make_mut(&mut piece.form).bars = (1..=bars).map(bar).collect();
    piece
}

/// Notes one after another: quarters, and pitches joined by spaces; `rest` is a rest.
fn line(notes: &[((i64, i64), &str)]) -> Vec<SoundingNote> {
    let mut start = Time::ZERO;
    let mut line = Vec::new();
    for &((numerator, denominator), names) in notes {
        let length = Time::of(numerator, denominator);
        if names != "rest" {
            let pitches = names.split(' ').map(|name| name.parse::<Pitch>().unwrap()).collect();
            line.push(SoundingNote {
                start,
                length,
                sound: Sound::Pitches(pitches),
                attached: Attached::default(),
                role: Role::Melody,
                solo: false,
                source: Span::default(),
            });
        }
        start += length;
    }
    line
}

fn part(player: &Player, notes: Vec<SoundingNote>) -> Part {
    Part {
        player: Arc::new(player.clone()),
        notes: notes.into(),
        tuplets: Vec::new(),
        rests: Vec::new(),
        directions: Vec::new(),
        claims: Vec::new(),
        instruments: vec![(Time::ZERO, player.instrument)],
        tunings: Vec::new(),
        drums: Vec::new(),
        takes: Vec::new(),
        waits: Vec::new(),
    }
}

fn with_arrangement<R>(piece: &Piece, parts: Vec<Part>, read: impl FnOnce(&[u8]) -> R) -> R {
    in_era(1885, piece, parts, read)
}

fn in_era<R>(era: i32, piece: &Piece, parts: Vec<Part>, read: impl FnOnce(&[u8]) -> R) -> R {
    let arrangement = Arrangement::of_parts(piece.clone(), era, parts);
    read(&score(&arrangement, &perform(&arrangement, &notate(&arrangement))))
}

/// (on, off, key) in the order of the beginnings, of track 1.
fn strokes(piece: &Piece, part: Part) -> Vec<(u32, u32, u8)> {
    with_arrangement(piece, vec![part], |bytes| pairs(&Smf::parse(bytes).unwrap(), 1))
}

/// Pairs note-ons with note-offs and fails where they do not fit.
fn pairs(smf: &Smf, track: usize) -> Vec<(u32, u32, u8)> {
    let mut now = 0;
    let mut open = [None; 128];
    let mut pairs = Vec::new();
    for event in &smf.tracks[track] {
        now += event.delta.as_int();
        let TrackEventKind::Midi { message, .. } = event.kind else { continue };
        match message {
            MidiMessage::NoteOn { key, .. } => {
                assert!(open[usize::from(key.as_int())].replace(now).is_none(), "overlap");
            }
            MidiMessage::NoteOff { key, .. } => {
                let on = open[usize::from(key.as_int())].take().expect("a note-on before");
                pairs.push((on, now, key.as_int()));
            }
            _ => {}
        }
    }
    assert!(open.iter().all(Option::is_none), "a note that does not end");
    pairs.sort_unstable();
    pairs
}

#[test]
fn the_header_says_format_1_with_a_track_for_the_frame_and_one_a_player() {
    let piece = piece(1);
    let violin = violin();
    let parts = vec![part(&violin, line(&[((3, 4), "D5")])), part(&violin, Vec::new())];
    with_arrangement(&piece, parts, |bytes| {
        assert_eq!(bytes[..14], *b"MThd\0\0\0\x06\0\x01\0\x03\x01\xE0");
    });
}

#[test]
fn track_0_holds_titles_metre_key_and_tempo() {
    let mut piece = piece(3);
    Arc::make_mut(&mut piece.form).bars[1].mark = Some("A".into());
    Arc::make_mut(&mut piece.form).bars[2].tempo =
        Some(Tempo { beat: Some((Time::of(3, 8), 60.0)), words: None });
    with_arrangement(&piece, Vec::new(), |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        let mut now = 0;
        let events: Vec<(u32, MetaMessage)> = smf.tracks[0]
            .iter()
            .filter_map(|event| {
                now += event.delta.as_int();
                let TrackEventKind::Meta(message) = event.kind else { return None };
                Some((now, message))
            })
            .collect();
        assert_eq!(
            events,
            [
                (0, MetaMessage::Copyright(b"CC0-1.0")),
                (0, MetaMessage::TrackName(b"Evening at the Locks")),
                (0, MetaMessage::TimeSignature(3, 2, 24, 8)),
                (0, MetaMessage::KeySignature(-1, true)),
                (0, MetaMessage::Tempo(625_000.into())),
                (0, MetaMessage::Text(b"Con moto")),
                (1440, MetaMessage::Marker(b"A")),
                (2880, MetaMessage::Tempo(666_667.into())),
                (4320, MetaMessage::EndOfTrack),
            ]
        );
    });
}

#[test]
fn a_pick_up_is_a_bar_of_its_own_length() {
    let mut piece = piece(2);
    Arc::make_mut(&mut piece.form).bars[0].length = Time::QUARTER;
    Arc::make_mut(&mut piece.form).bars[1].start = Time::QUARTER;
    with_arrangement(&piece, Vec::new(), |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        let metres: Vec<_> = smf.tracks[0]
            .iter()
            .filter(|event| {
                matches!(event.kind, TrackEventKind::Meta(MetaMessage::TimeSignature(..)))
            })
            .map(|event| (event.delta.as_int(), event.kind))
            .collect();
        let metre = |count| TrackEventKind::Meta(MetaMessage::TimeSignature(count, 2, 24, 8));
        assert_eq!(metres, [(0, metre(1)), (480, metre(3))]);
    });
}

#[test]
fn chords_sound_together_and_a_repeated_note_ends_before_it_begins_again() {
    let violin = violin();
    let notes = line(&[((1, 4), "D4 A4"), ((1, 4), "D4"), ((1, 4), "D4")]);
    let heard = strokes(&piece(1), part(&violin, notes));
    assert_eq!(heard, [(0, 480, 62), (0, 480, 69), (480, 960, 62), (960, 1440, 62)]);
}

#[test]
fn repeats_are_played_out_with_their_endings() {
    let mut piece = piece(3);
    Arc::make_mut(&mut piece.form).bars[0].repeat_starts = true;
    Arc::make_mut(&mut piece.form).bars[1].ending = Some(Ending::of(1));
    Arc::make_mut(&mut piece.form).bars[1].repeat_ends = true;
    Arc::make_mut(&mut piece.form).bars[2].ending = Some(Ending::of(2));
    let violin = violin();
    let notes = line(&[((3, 4), "C5"), ((3, 4), "D5"), ((3, 4), "E5")]);
    let heard = strokes(&piece, part(&violin, notes));
    assert_eq!(heard, [(0, 1440, 72), (1440, 2880, 74), (2880, 4320, 72), (4320, 5760, 76)]);
}

#[test]
fn a_note_held_over_the_place_of_a_jump_is_cut_and_taken_up_again() {
    let mut piece = piece(3);
    Arc::make_mut(&mut piece.form).bars[1].repeat_starts = true;
    Arc::make_mut(&mut piece.form).bars[1].repeat_ends = true;
    let violin = violin();
    let heard = strokes(&piece, part(&violin, line(&[((9, 4), "C5")])));
    assert_eq!(heard, [(0, 2880, 72), (2880, 5760, 72)]);
    // From bar 2 back to bar 2, and on into bar 3.
}

#[test]
fn the_resolution_makes_septuplets_exact() {
    let violin = violin();
    let notes = line(&[((1, 28), "C5"); 21]);
    let piece = piece(1);
    with_arrangement(&piece, vec![part(&violin, notes)], |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        assert_eq!(smf.header.timing, Timing::Metrical(483.into()));
        let heard = pairs(&smf, 1);
        assert!(heard.iter().all(|(on, off, _)| off - on == 69));
    });
}

#[test]
fn where_no_resolution_is_exact_boundaries_are_rounded_and_nothing_is_lost() {
    let violin = violin();
    let notes = line(&[
        ((1, 1024), "C5"),
        ((1, 44), "D5"),
        ((1, 52), "E5"),
        ((1, 28), "F5"),
        ((1, 36), "G5"),
        ((1, 2), "A5"),
    ]);
    let piece = piece(1);
    with_arrangement(&piece, vec![part(&violin, notes)], |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        assert_eq!(smf.header.timing, Timing::Metrical(960.into()));
        let heard = pairs(&smf, 1);
        assert_eq!(heard.len(), 6);
        assert!(heard.windows(2).all(|pair| pair[0].1 == pair[1].0));
    });
}

#[test]
fn tremolo_is_played_out_and_follows_its_tuplet() {
    let violin = violin();
    let mut notes = line(&[((1, 4), "C5"), ((1, 12), "D5")]);
    notes[0].attached.tremolo = 2;
    notes[1].attached.tremolo = 2;
    let mut part = part(&violin, notes);
    let (start, length) = (Time::QUARTER, Time::QUARTER);
    part.tuplets.push(Tuplet { start, length, actual: 3, normal: 2 });
    let heard = strokes(&piece(1), part);
    let lengths: Vec<u32> = heard.iter().map(|(on, off, _)| off - on).collect();
    assert_eq!(lengths, [120, 120, 120, 120, 80, 80]);
}

#[test]
fn a_tremolo_between_two_notes_strikes_them_by_turns() {
    let violin = violin();
    let mut notes = line(&[((3, 16), "C5"), ((3, 16), "E5"), ((1, 8), "G5")]);
    for (note, place) in notes.iter_mut().zip([OfTwo::First, OfTwo::Second]) {
        note.attached.tremolo = 1;
        note.attached.of_two = Some(place);
    }
    let heard = strokes(&piece(1), part(&violin, notes));
    let keys: Vec<u8> = heard.iter().map(|(_, _, key)| *key).collect();
    // Three strokes in eighths, though the two notes have a dotted eighth each.
    let ons: Vec<u32> = heard.iter().map(|(on, ..)| *on).collect();
    assert_eq!((keys, ons), (vec![72, 76, 72, 79], vec![0, 240, 480, 720]));
}

#[test]
fn tremolo_of_a_note_that_fills_its_tuplet_is_as_it_is_printed() {
    let violin = violin();
    let mut notes = line(&[((3, 8), "C5")]);
    notes[0].attached.tremolo = 1;
    let mut part = part(&violin, notes);
    let (start, length) = (Time::ZERO, Time::of(3, 8));
    part.tuplets.push(Tuplet { start, length, actual: 2, normal: 3 });
    let heard = strokes(&piece(1), part);
    let lengths: Vec<u32> = heard.iter().map(|(on, off, _)| off - on).collect();
    assert_eq!(lengths, [240, 240, 240]);
}

#[test]
fn a_trill_alternates_with_the_note_above_in_the_key_and_ends_on_its_own() {
    let violin = violin();
    let mut notes = line(&[((1, 4), "A4")]);
    notes[0].attached.marks.insert(Mark::Trill);
    let heard = strokes(&piece(1), part(&violin, notes));
    let keys: Vec<u8> = heard.iter().map(|(_, _, key)| *key).collect();
    assert_eq!(keys, [69, 70, 69, 70, 69, 70, 69]);
    assert_eq!(heard[6], (360, 480, 69));
}

#[test]
fn grace_notes_sound_before_the_beat_but_not_before_the_music() {
    let violin = violin();
    let graces = |names: &[&str]| {
        let notes = names.iter().map(|name| (Time::EIGHTH, name.parse::<Pitch>().unwrap().into()));
        Some(Box::new(Graces { crushed: false, notes: notes.collect() }))
    };
    let mut notes = line(&[((1, 4), "A4"), ((1, 4), "C5")]);
    notes[0].attached.graces = graces(&["B4"]);
    // The note that still sounds ends where the grace notes of the next one begin.
    notes[1].attached.graces = graces(&["B4", "A4"]);
    let heard = strokes(&piece(1), part(&violin, notes));
    assert_eq!(heard, [(0, 60, 71), (60, 360, 69), (360, 420, 71), (420, 480, 69), (480, 960, 72)]);
}

#[test]
fn a_held_note_swells_under_a_hairpin_and_the_next_begins_anew() {
    let player = violin();
    let mut part = part(&player, line(&[((1, 2), "D5"), ((1, 4), "E5")]));
    let say = |kind| Direction { at: Time::ZERO, kind, span: Span::default() };
    part.directions = vec![
        say(DirectionKind::Dynamic(crate::resolve::Dynamic::P)),
        say(DirectionKind::Hairpin { grows: true, to: Time::of(1, 2) }),
    ];
    let values = with_arrangement(&piece(1), vec![part], |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        let mut tick = 0;
        let mut values = Vec::new();
        for event in &smf.tracks[1] {
            tick += event.delta.as_int();
            if let TrackEventKind::Midi {
                message: MidiMessage::Controller { controller, value },
                ..
            } = event.kind
                && controller.as_int() == 11
            {
                values.push((tick, value.as_int()));
            }
        }
        values
    });
    let (ticks, loud): (Vec<u32>, Vec<u8>) = values.into_iter().unzip();
    assert_eq!(ticks[0], 0);
    assert_eq!(ticks.last(), Some(&960), "the next note begins anew: {ticks:?}");
    assert_eq!(loud.first(), loud.last());
    assert!(loud[..loud.len() - 1].is_sorted() && loud.len() > 5, "it grows: {loud:?}");
}

#[test]
fn plucked_strings_change_their_program_and_come_back_with_a_repeat() {
    let mut piece = piece(2);
    Arc::make_mut(&mut piece.form).bars[0].repeat_starts = true;
    Arc::make_mut(&mut piece.form).bars[1].repeat_ends = true;
    let violin = violin();
    let mut part = part(&violin, line(&[((3, 4), "C5"), ((3, 4), "D5")]));
    let kind = DirectionKind::Technique(Technique::Pizzicato);
    part.directions.push(Direction { at: Time::of(3, 4), kind, span: Span::default() });
    with_arrangement(&piece, vec![part], |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        let mut now = 0;
        let mut programs = Vec::new();
        for event in &smf.tracks[1] {
            now += event.delta.as_int();
            if let TrackEventKind::Midi {
                message: MidiMessage::ProgramChange { program }, ..
            } = event.kind
            {
                programs.push((now, program.as_int()));
            }
        }
        assert_eq!(programs, [(0, 40), (1440, 45), (2880, 40), (4320, 45)]);
    });
}

#[test]
fn channel_10_is_for_percussion_and_the_16th_player_gets_a_port() {
    let violin = violin();
    let drum = player("bass-drum");
    let mut parts: Vec<Part> = (0..16).map(|_| part(&violin, Vec::new())).collect();
    parts.push(part(&drum, line(&[((1, 4), "C3")])));
    let borrowed: Vec<&Part> = parts.iter().collect();
    let places = channels::places(&borrowed);
    let channels: Vec<u8> = places.iter().map(|place| place.channel).collect();
    assert_eq!(channels, [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15, 0, 9]);
    assert_eq!(places[15].port, 1);
    assert_eq!(places[16].port, 0);
    let piece = piece(1);
    with_arrangement(&piece, parts, |bytes| {
        let smf = Smf::parse(bytes).unwrap();
        assert!(
            smf.tracks[16].iter().any(|event| {
                event.kind == TrackEventKind::Meta(MetaMessage::MidiPort(1.into()))
            })
        );
        assert_eq!(pairs(&smf, 17), [(0, 480, 35)]);
    });
}

#[test]
fn a_piece_without_bars_and_a_part_that_is_not_there_are_files_too() {
    let piece = Piece::default();
    with_arrangement(&piece, Vec::new(), |bytes| {
        assert_eq!(Smf::parse(bytes).unwrap().tracks.len(), 1);
    });
}

prop_compose! {
    fn any_note()(
        value in prop::sample::select(vec![(1, 4), (1, 8), (1, 12), (3, 16), (1, 20), (5, 7), (1, 64)]),
        pitch in prop::sample::select(vec!["C4", "D4", "E4 G4", "C4 C4", "B#3 C4", "rest"]),
        tremolo in 0..5_u8,
        trill in any::<bool>(),
        graces in 0..4_usize,
    ) -> ((i64, i64), &'static str, u8, bool, usize) {
        (value, pitch, tremolo, trill, graces)
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn every_note_on_has_its_note_off_and_tracks_end_together(
        written in prop::collection::vec(any_note(), 0..40),
        repeat in 0..6_usize,
    ) {
        let mut piece = piece(6);
        Arc::make_mut(&mut piece.form).bars[repeat / 2].repeat_starts = true;
        Arc::make_mut(&mut piece.form).bars[repeat].repeat_ends = true;
        let values: Vec<_> = written.iter().map(|note| (note.0, note.1)).collect();
        let mut notes = line(&values);
        for (note, from) in notes.iter_mut().zip(written.iter().filter(|note| note.1 != "rest")) {
            note.attached.tremolo = from.2;
            if from.3 {
                note.attached.marks.insert(Mark::Trill);
            }
            let grace = (Time::EIGHTH, "C4".parse::<Pitch>().unwrap().into());
            note.attached.graces = (from.4 > 0)
                .then(|| Box::new(Graces { crushed: true, notes: vec![grace; from.4] }));
        }
        notes.retain(|note| note.end() <= piece.form.end());
        let violin = violin();
        with_arrangement(&piece, vec![part(&violin, notes)], |bytes| {
            let smf = Smf::parse(bytes).unwrap();
            let heard = pairs(&smf, 1);
            prop_assert!(heard.iter().all(|(on, off, _)| on < off));
            let ends = smf.tracks.iter().map(|track| {
                track.iter().map(|event| u64::from(event.delta.as_int())).sum::<u64>()
            });
            let ends: Vec<u64> = ends.collect();
            prop_assert_eq!(ends[0], ends[1]);
            Ok(())
        })?;
    }
}
