//! MusicXML in its compressed form, as one file.
//!
//! Source: W3C Music Notation Community Group, MusicXML 4.0, Compressed .mxl Files: a ZIP archive
//! that begins with its media type, then `META-INF/container.xml`, which names the score.

use std::io::{self, Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// The media type of such files.
const MEDIA_TYPE: &str = "application/vnd.recordare.musicxml";

/// Bytes of a score that are packed at a time: what is handed over in other pieces comes to other bytes.
const PIECE: usize = 4 << 20;

/// A score under its name, packed as `write` writes it, so that it is nowhere whole. The same score gives
/// the same bytes: no dates.
pub(super) fn pack(
    name: &str,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> io::Result<Vec<u8>> {
    let container = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container>\n  <rootfiles>\n    \
         <rootfile full-path=\"{name}\" media-type=\"{MEDIA_TYPE}+xml\"/>\n  </rootfiles>\n\
         </container>\n"
    );
    let begin = |archive: &mut ZipWriter<Cursor<Vec<u8>>>, name: &str, method| {
        let options = SimpleFileOptions::default().compression_method(method);
        archive.start_file(name, options).map_err(io::Error::other)
    };
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    begin(&mut archive, "mimetype", CompressionMethod::Stored)?;
    archive.write_all(MEDIA_TYPE.as_bytes())?;
    begin(&mut archive, "META-INF/container.xml", CompressionMethod::Deflated)?;
    archive.write_all(container.as_bytes())?;
    begin(&mut archive, name, CompressionMethod::Deflated)?;
    let mut pieces = Pieces { held: Vec::new(), to: &mut archive };
    write(&mut pieces)?;
    let held = pieces.held;
    archive.write_all(&held)?;
    Ok(archive.finish().map_err(io::Error::other)?.into_inner())
}

/// Hands on what it is given in pieces of one size.
struct Pieces<'a> {
    held: Vec<u8>,
    to: &'a mut dyn Write,
}

impl Write for Pieces<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let taken = bytes.len().min(PIECE - self.held.len());
        self.held.extend_from_slice(&bytes[..taken]);
        if self.held.len() == PIECE {
            self.to.write_all(&self.held)?;
            self.held.clear();
        }
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use super::*;

    #[test]
    fn a_packed_score_says_what_it_is_and_is_the_same_each_time() {
        let score = "<score-partwise/>".repeat(PIECE / 8);
        let pack = |by: usize| {
            let write = |out: &mut dyn Write| {
                score.as_bytes().chunks(by).try_for_each(|piece| out.write_all(piece))
            };
            pack("oboe-horn.musicxml", write).unwrap()
        };
        let bytes = pack(score.len());
        // What a program looks for at the beginning: the media type, not compressed.
        assert_eq!(&bytes[30..38], b"mimetype");
        assert_eq!(&bytes[38..38 + MEDIA_TYPE.len()], MEDIA_TYPE.as_bytes());
        assert!(bytes.len() < score.len());
        assert!(bytes == pack(999));
        let mut archive = zip::ZipArchive::new(Cursor::new(&bytes)).unwrap();
        let mut read = String::new();
        archive.by_name("oboe-horn.musicxml").unwrap().read_to_string(&mut read).unwrap();
        assert!(read == score);
    }
}
