//! The note at a place, and who sounds it.

use std::sync::Arc;

use super::workspace::{At, TextPlace};
use crate::arrange::{Arrangement, PackedNote, Part};
use crate::resolve::{Note, Piece, Verb, WrittenNotes};
use crate::session::Session;
use crate::syntax::Node;

/// A note of the source at a place.
pub struct NoteAt {
    /// The piece.
    pub piece: Arc<Piece>,
    /// The note.
    pub note: Note,
    /// In which voice or for whom it is written, in words: "voice `upper`".
    pub home: String,
    /// Where it is written.
    pub place: TextPlace,
}

/// The note, chord or stroke at a place, or that ends there.
pub fn note_at(session: &mut Session, at: At) -> Option<NoteAt> {
    let document = session.document(at.file);
    let touched = |(start, item): &(usize, &crate::syntax::Item)| {
        *start <= at.offset && at.offset <= start + item.length()
    };
    let item = document
        .items()
        .filter(touched)
        .find(|(_, item)| matches!(&item.node, Node::Bar(_) | Node::ScoringLine(_)))?;
    let id = item.1.id;
    let piece = session.piece(at.root);
    let sources = session.sources();
    let find = |notes: &WrittenNotes| {
        let here = |note: &Note| note.span.file == at.file && note.span.first == id;
        let touching = notes.iter().filter(here).map(|note| {
            let range = sources.range(note.span);
            (note, range)
        });
        let mut touching: Vec<_> = touching
            .filter(|(_, range)| range.start <= at.offset && at.offset <= range.end)
            .collect();
        // Where one note ends and the next begins, the next is meant.
        touching.pop().map(|(note, range)| (note, TextPlace { file: at.file, range }))
    };
    for voice in &piece.voices {
        if let Some((note, place)) = find(&voice.music.notes) {
            let home = format!("voice `{}`", voice.name);
            return Some(NoteAt { piece: Arc::clone(&piece), note, home, place });
        }
    }
    for scoring in &piece.scorings {
        for line in &scoring.lines {
            let Verb::Writes(music) = &line.verb else { continue };
            if let Some((note, place)) = find(&music.notes) {
                let who: Vec<String> = line.who.iter().map(|(who, _)| format!("`{who}`")).collect();
                let home = format!("written for {} in `{}`", who.join(", "), scoring.name);
                return Some(NoteAt { piece: Arc::clone(&piece), note, home, place });
            }
        }
    }
    None
}

/// The players of an arrangement who sound a note of the source, with what each sounds.
pub fn sounded<'a>(
    arrangement: &'a Arrangement,
    note: &'a Note,
) -> impl Iterator<Item = (usize, &'a Part, &'a PackedNote)> + 'a {
    arrangement.parts.iter().enumerate().filter_map(move |(player, part)| {
        let first = part.notes.partition_point(|sounding| sounding.end() <= note.start);
        let within = part.notes[first..]
            .iter()
            .take_while(|sounding| sounding.start() < note.start + note.length);
        let mut from = within.filter(|sounding| sounding.source() == note.span);
        from.next().map(|sounding| (player, &**part, sounding))
    })
}
