//! What must hold of every import: it ends without a panic, and its source compiles.

use std::collections::BTreeSet;
use std::sync::Arc;

use ripieno::arrange::arrange;
use ripieno::diagnostics::{BarNumbers, Severity, Sources};
use ripieno::edition::{Halves, full_score_with};
use ripieno::import::{Import, Options, Reduction, Setting, import};
use ripieno::music::{Pitch, Time};
use ripieno::notate::notate;
use ripieno::render::musicxml;
use ripieno::resolve::{NoFiles, Piece, resolve};

/// Imports any bytes in every way, and compiles what comes out.
pub fn import_anything(bytes: &[u8]) {
    for way in 0..WAYS {
        import_in_a_way(bytes, way);
    }
}

/// How many ways there are to import.
pub const WAYS: usize = 3;

/// The same in one of them.
pub fn import_in_a_way(bytes: &[u8], way: usize) {
    let mut options = Options { title: "Anything".into(), ..Options::default() };
    match way {
        0 => options.setting = Setting::Scoring,
        1 => {
            options.reduce = Some(Reduction::Three);
            options.bars = Some(BarNumbers::new(1, 2));
        }
        _ => {}
    }
    if let Ok(Import { source, report }) = import(bytes, &options) {
        let _ = report.to_text();
        compiled(&source);
    }
}

/// Imports in one way what choices make of bytes: the bytes as they are, a file of MusicXML thrown
/// together, one of which a byte is another, or a track of MIDI.
pub fn import_in_turn(bytes: &[u8]) {
    let Some((kind, bytes)) = bytes.split_first() else { return };
    let kind = usize::from(*kind);
    let few = &bytes[..bytes.len().min(MOST_FRAGMENTS)];
    let file = match kind % 4 {
        0 => bytes.to_vec(),
        1 => thrown(few).into_bytes(),
        2 => {
            let mut file = b"MThd\0\0\0\x06\0\x01\0\x01\0\x60MTrk\0\0\0\xff".to_vec();
            file.extend(bytes);
            file
        }
        _ => {
            let (garbled, few) = few.split_at(few.len().min(3));
            let mut file = thrown(few).into_bytes();
            if let &[high, low, byte] = garbled {
                let place = (usize::from(high) << 8 | usize::from(low)) % file.len();
                file[place] = byte;
            }
            file
        }
    };
    import_in_a_way(&file, kind / 4 % WAYS);
}

/// How many fragments stand in a file for `import_in_turn`, at most.
const MOST_FRAGMENTS: usize = 16;

/// The piece of an imported source, in which nothing may be wrong but the music.
pub fn compiled(source: &str) -> Arc<Piece> {
    let mut sources = Sources::new();
    let file = sources.add("imported.ripieno", source);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    let wrong = findings.iter().find(|finding| {
        // How an instrument is to be tuned is for the arranger to say.
        let music = ["names/tuned", "natural-brass/drum-outside", "names/key"];
        finding.severity == Severity::Error && !music.contains(&finding.code)
    });
    assert!(wrong.is_none(), "{wrong:#?}\n{source}");
    piece
}

/// A note: beginning, end, and the keys that it sounds. Written parts may spell them otherwise.
type Sounded = (Time, Time, Vec<i32>);

/// Writes every scoring of a source as MusicXML and imports it: the same notes must come back.
pub fn assert_comes_back(source: &str) {
    let piece = compiled(source);
    for scoring in &piece.scorings {
        let arrangement = arrange(&piece, scoring);
        let mut wanted: Vec<Sounded> = arrangement
            .parts
            .iter()
            .flat_map(|part| &part.notes)
            .map(|note| (note.start(), note.end(), keys(note.sound().pitches())))
            .collect();
        let mut trembling: Vec<Sounded> = arrangement
            .parts
            .iter()
            .flat_map(|part| &part.notes)
            .filter(|note| note.attached().tremolo > 0)
            .map(|note| (note.start(), note.end(), keys(note.sound().pitches())))
            .collect();
        // A stroke that is held while its player takes another instrument is one on each of them.
        let unpitched = |note: &&Sounded| note.2.is_empty();
        let mut in_strokes: Vec<Sounded> = wanted.iter().filter(unpitched).cloned().collect();
        in_strokes.extend(trembling.iter().filter(|note| !unpitched(note)).cloned());
        // What two halves of a section have in unison is written once on one staff.
        let file = musicxml::write(&full_score_with(&notate(&arrangement), Halves::Apart));
        let imported = import(&file, &Options { title: "Back".into(), ..Options::default() });
        let imported = match imported {
            // The strokes of a tremolo that is held into a tuplet lie between all its values.
            Ok(imported) if !trembling.is_empty() && has_moved(&imported) => continue,
            Ok(imported) => imported.source,
            // A scoring in which nobody plays has nothing to be imported.
            Err(_) if wanted.is_empty() => continue,
            Err(error) => panic!("{error}\n{source}"),
        };
        let back = compiled(&imported);
        let mut found: Vec<Sounded> = back
            .voices
            .iter()
            .flat_map(|voice| &voice.music.notes)
            .map(|note| (note.start, note.start + note.length, keys(note.sound.pitches())))
            .collect();
        for notes in [&mut wanted, &mut found, &mut trembling, &mut in_strokes] {
            split_into_heads(notes);
        }
        // What is doubled in octaves may lie beyond all instruments. MusicXML writes octaves 0 to
        // 9, from which the glockenspiel sounds two octaves away: what lies beyond is written there.
        let beyond = |(.., keys): &&Sounded| keys.iter().any(|key| !(36..=103).contains(key));
        // Nor can the strokes of a tremolo there be told from other notes.
        if trembling.iter().any(|note| beyond(&note)) {
            continue;
        }
        // What lies beyond is left out with all that sounds just as long; strokes before that, or
        // they would be left over.
        put_strokes_together(&wanted, &in_strokes, &mut found);
        let beyond: BTreeSet<(Time, Time)> =
            wanted.iter().filter(beyond).map(|(start, end, _)| (*start, *end)).collect();
        for notes in [&mut wanted, &mut found] {
            notes.retain(|(start, end, _)| !beyond.contains(&(*start, *end)));
        }
        let missing: Vec<&Sounded> = wanted.iter().filter(|note| !found.contains(note)).collect();
        assert!(missing.is_empty(), "{missing:?}\n{source}\n{imported}");
        let count = |notes: &[Sounded], note: &Sounded| notes.iter().filter(|n| *n == note).count();
        let other = wanted.iter().chain(&found);
        let other: Vec<&Sounded> =
            other.filter(|note| count(&wanted, note) != count(&found, note)).collect();
        assert!(other.is_empty(), "not as often as it was: {other:?}\n{source}\n{imported}");
    }
}

/// Were times moved that nothing reaches?
fn has_moved(imported: &Import) -> bool {
    imported.report.losses.iter().any(|loss| loss.what.starts_with("times that no value"))
}

/// Puts the strokes of a tremolo together where they are written out, for want of a stem that could
/// show them.
fn put_strokes_together(wanted: &[Sounded], trembling: &[Sounded], found: &mut Vec<Sounded>) {
    let count = |notes: &[Sounded], note: &Sounded| notes.iter().filter(|n| *n == note).count();
    for note in trembling {
        if count(found, note) >= count(wanted, note) {
            continue;
        }
        let mut dead = BTreeSet::new();
        if let Some(mut strokes) = strokes_from(note.0, note, found, &mut dead) {
            strokes.sort_unstable();
            strokes.into_iter().rev().for_each(|stroke| {
                found.remove(stroke);
            });
            found.push(note.clone());
        }
    }
    found.sort();
}

/// Which notes that were found fill a trembling one from a time on, one behind another; times from which none do are
/// `dead`. Those of another player may begin there too.
fn strokes_from(
    at: Time,
    note: &Sounded,
    found: &[Sounded],
    dead: &mut BTreeSet<Time>,
) -> Option<Vec<usize>> {
    let (_, end, keys) = note;
    if at >= *end {
        return Some(Vec::new());
    }
    if dead.contains(&at) {
        return None;
    }
    let fits = |(from, to, other): &Sounded| *from == at && to > from && to <= end && other == keys;
    for stroke in (0..found.len()).filter(|stroke| fits(&found[*stroke])) {
        if let Some(mut strokes) = strokes_from(found[stroke].1, note, found, dead) {
            strokes.push(stroke);
            return Some(strokes);
        }
    }
    dead.insert(at);
    None
}

/// The keys of a chord, each once: two spellings of one key may be written as one.
fn keys(pitches: &[Pitch]) -> Vec<i32> {
    let keys: BTreeSet<i32> = pitches.iter().map(|pitch| pitch.midi()).collect();
    keys.into_iter().collect()
}

/// One note for each head: chords may be parted into several voices.
fn split_into_heads(notes: &mut Vec<Sounded>) {
    let heads = notes.drain(..).flat_map(|(start, end, pitches)| match pitches.len() {
        0 => vec![(start, end, pitches)],
        _ => pitches.into_iter().map(|pitch| (start, end, vec![pitch])).collect(),
    });
    let mut heads: Vec<Sounded> = heads.collect();
    heads.sort();
    *notes = heads;
}

/// Pieces of MusicXML from which files are thrown together.
const FRAGMENTS: &[&str] = &[
    "<attributes><divisions>6</divisions></attributes>",
    "<attributes><divisions>0</divisions><transpose><chromatic>-14</chromatic></transpose></attributes>",
    "<attributes><key><fifths>-5</fifths><mode>minor</mode></key><time><beats>3+2</beats><beat-type>8</beat-type></time><staves>2</staves></attributes>",
    "<attributes><time><senza-misura/></time></attributes>",
    "<attributes><time><beats>77</beats><beat-type>3</beat-type></time></attributes>",
    "<note><pitch><step>F</step><alter>1</alter><octave>5</octave></pitch><duration>6</duration><voice>1</voice><type>quarter</type></note>",
    "<note><pitch><step>B</step><alter>-3</alter><octave>-1</octave></pitch><duration>3</duration></note>",
    "<note><pitch><step>G</step><octave>4</octave></pitch><duration>2</duration><tie type='start'/><voice>1</voice><type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification><notations><slur type='start' number='2'/><tuplet type='start'/></notations></note>",
    "<note><chord/><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><tie type='stop'/><voice>2</voice><notations><slur type='stop'/><ornaments><tremolo>3</tremolo><trill-mark/></ornaments><fermata/></notations></note>",
    "<note><grace/><pitch><step>A</step><octave>4</octave></pitch><voice>1</voice><type>16th</type></note>",
    "<note><grace slash='yes'/><chord/><pitch><step>A</step><octave>5</octave></pitch><voice>1</voice></note>",
    "<note><rest measure='yes'/><duration>24</duration><notations><fermata/></notations></note>",
    "<note><rest/><duration>1</duration><staff>2</staff></note>",
    "<note><unpitched/><duration>6</duration><instrument id='P1-I2'/></note>",
    "<note><cue/><pitch><step>E</step><octave>4</octave></pitch><duration>6</duration><lyric><text>la</text></lyric></note>",
    "<note print-object='no'><pitch><step>E</step><octave>4</octave></pitch><duration>-6</duration></note>",
    "<backup><duration>5</duration></backup>",
    "<forward><duration>7</duration></forward>",
    "<backup><duration>999999999999</duration></backup>",
    "<forward><duration>99999999</duration></forward>",
    "<direction><direction-type><dynamics><ffff/><p/></dynamics></direction-type><offset>-3</offset><staff>2</staff></direction>",
    "<direction><direction-type><wedge type='crescendo' number='1'/></direction-type></direction>",
    "<direction><direction-type><wedge type='stop' number='1'/></direction-type></direction>",
    "<direction><direction-type><words>poco rit. \"&amp;\"</words></direction-type><sound tempo='9999'/></direction>",
    "<direction><direction-type><metronome><beat-unit>half</beat-unit><beat-unit-dot/><per-minute>c. 60</per-minute></metronome></direction-type></direction>",
    "<direction><direction-type><rehearsal>A</rehearsal></direction-type><direction-type><segno/></direction-type></direction>",
    "<harmony><root><root-step>D</root-step><root-alter>-1</root-alter></root><kind>dominant-13th</kind><bass><bass-step>F</bass-step></bass></harmony>",
    "<barline location='left'><repeat direction='forward'/><ending number='1' type='start'/></barline>",
    "<barline location='right'><repeat direction='backward' times='3'/><ending number='2' type='stop'/></barline>",
    "<barline><bar-style>light-light</bar-style></barline>",
    "</measure><measure number='7'>",
    "</measure><measure number='X1' implicit='yes'>",
    "</measure></part><part id='P2'><measure>",
    "<direction><direction-type><words>D.C. al Fine</words></direction-type><sound dacapo='yes'/></direction>",
    "<direction><direction-type><words>D.S. al Coda</words></direction-type></direction>",
    "<direction><direction-type><words>Fine</words></direction-type></direction>",
    "<direction><direction-type><words>To Coda</words></direction-type></direction>",
    "<direction><direction-type><coda/></direction-type></direction>",
    "<barline location='right'><repeat direction='backward'/><ending number='1, 2' type='stop'/></barline>",
    "<barline location='left'><ending number='3' type='start'/></barline>",
    "<note><pitch><step>A</step><octave>4</octave></pitch><duration>6</duration><voice>1</voice><lyric number='2'><syllabic>begin</syllabic><text>me-|{</text></lyric></note>",
];

/// A file thrown together from pieces.
pub fn thrown(choices: &[u8]) -> String {
    let mut text =
        "<score-partwise><part-list><score-part id='P1'><part-name>Drums &amp; more</part-name>\
        <score-instrument id='P1-I2'><instrument-name>Triangle</instrument-name></score-instrument>\
        </score-part></part-list><part id='P1'><measure>"
            .to_string();
    for choice in choices {
        text += FRAGMENTS[usize::from(*choice) % FRAGMENTS.len()];
    }
    text + "</measure></part></score-partwise>"
}
