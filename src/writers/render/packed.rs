//! MusicXML in its compressed form, as one file.
//!
//! Source: W3C Music Notation Community Group, MusicXML 4.0, Compressed .mxl Files: a ZIP archive
//! that begins with its media type, then `META-INF/container.xml`, which names the score.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// The media type of such files.
const MEDIA_TYPE: &str = "application/vnd.recordare.musicxml";

/// A score under its name, packed. The same score gives the same bytes: no dates.
pub(super) fn pack(name: &str, score: &[u8]) -> Vec<u8> {
    let container = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<container>\n  <rootfiles>\n    \
         <rootfile full-path=\"{name}\" media-type=\"{MEDIA_TYPE}+xml\"/>\n  </rootfiles>\n\
         </container>\n"
    );
    let files = [
        ("mimetype", MEDIA_TYPE.as_bytes(), CompressionMethod::Stored),
        ("META-INF/container.xml", container.as_bytes(), CompressionMethod::Deflated),
        (name, score, CompressionMethod::Deflated),
    ];
    let write = || -> zip::result::ZipResult<Vec<u8>> {
        let mut archive = ZipWriter::new(Cursor::new(Vec::with_capacity(score.len() / 8 + 1024)));
        for (name, bytes, method) in files {
            let options = SimpleFileOptions::default().compression_method(method);
            archive.start_file(name, options)?;
            archive.write_all(bytes)?;
        }
        Ok(archive.finish()?.into_inner())
    };
    // Memory takes what is written; only a score of more than 4 GB would not fit the format.
    write().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use super::*;

    #[test]
    fn a_packed_score_says_what_it_is_and_is_the_same_each_time() {
        let score = "<score-partwise/>".repeat(100);
        let bytes = pack("oboe-horn.musicxml", score.as_bytes());
        // What a program looks for at the beginning: the media type, not compressed.
        assert_eq!(&bytes[30..38], b"mimetype");
        assert_eq!(&bytes[38..38 + MEDIA_TYPE.len()], MEDIA_TYPE.as_bytes());
        assert!(bytes.len() < score.len());
        assert_eq!(bytes, pack("oboe-horn.musicxml", score.as_bytes()));
        let mut archive = zip::ZipArchive::new(Cursor::new(&bytes)).unwrap();
        let mut read = String::new();
        archive.by_name("oboe-horn.musicxml").unwrap().read_to_string(&mut read).unwrap();
        assert_eq!(read, score);
    }
}
