//! What kind of file it is, and its text: packed files are unpacked in memory, never to a path that
//! they name; texts in UTF-16 or Latin-1 are brought to UTF-8.

use std::io::{Cursor, Read};

use super::Error;

/// The largest file that is read, and the largest that a packed one may hold, in bytes: larger than
/// any score that people write.
pub const LARGEST: u64 = 256 * 1024 * 1024;

/// What a file turned out to be.
pub(super) enum Input {
    /// The text of a MusicXML file.
    Xml(String),
    /// The bytes of a Standard MIDI File.
    Midi,
}

/// Looks into the bytes of a file.
pub(super) fn open(bytes: &[u8]) -> Result<Input, Error> {
    if bytes.len() as u64 > LARGEST {
        return Err(Error::new("the file is longer than 256 MB"));
    }
    if bytes.starts_with(b"MThd") || bytes.starts_with(b"RIFF") {
        return Ok(Input::Midi);
    }
    if bytes.starts_with(b"PK") {
        return Ok(Input::Xml(text(&unpack(bytes)?)?));
    }
    let head: Vec<u8> = bytes.iter().copied().filter(|b| *b != 0).take(256).collect();
    if !head.contains(&b'<') {
        return Err(Error::new(
            "this is neither MusicXML (.musicxml, .xml, .mxl) nor a MIDI file (.mid)",
        ));
    }
    text(bytes).map(Input::Xml)
}

/// The score inside a packed file: the one that its list names, or else the first that can be one.
fn unpack(bytes: &[u8]) -> Result<Vec<u8>, Error> {
    let broken =
        |why: &dyn std::fmt::Display| Error::new(format!("the packed file is broken: {why}"));
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|error| broken(&error))?;
    let listed = match inside(&mut archive, "META-INF/container.xml") {
        Ok(list) => text(&list).ok().and_then(|list| rootfile(&list)),
        Err(_) => None,
    };
    let is_score = |name: &str| {
        let small = name.to_lowercase();
        !small.starts_with("meta-inf/") && (small.ends_with(".xml") || small.ends_with(".musicxml"))
    };
    let found = listed.filter(|name| archive.index_for_name(name).is_some()).or_else(|| {
        let mut names = archive.file_names().filter_map(Result::ok);
        names.find(|name| is_score(name)).map(std::borrow::Cow::into_owned)
    });
    let Some(name) = found else {
        return Err(Error::new("the packed file holds no score"));
    };
    inside(&mut archive, &name)
}

/// A file inside, if it is not larger than any score is.
fn inside(archive: &mut zip::ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<Vec<u8>, Error> {
    let file = archive
        .by_name(name)
        .map_err(|error| Error::new(format!("the packed file is broken: {error}")))?;
    let mut bytes = Vec::new();
    // What the file says of its size is not believed.
    file.take(LARGEST + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| Error::new(format!("the packed file is broken: {error}")))?;
    if bytes.len() as u64 > LARGEST {
        return Err(Error::new("the packed file unpacks to more than 256 MB"));
    }
    Ok(bytes)
}

/// The first file that a list of contents names.
fn rootfile(list: &str) -> Option<String> {
    let from = list.find("<rootfile ")?;
    let rest = &list[from..];
    let tag = &rest[..rest.find('>')?];
    let path = tag.find("full-path=")? + "full-path=".len();
    let quote = tag[path..].chars().next().filter(|c| matches!(c, '"' | '\''))?;
    let value = &tag[path + 1..];
    let name = &value[..value.find(quote)?];
    quick_xml::escape::unescape(name).ok().map(std::borrow::Cow::into_owned)
}

/// The text of an XML file by its mark of order or its declaration.
fn text(bytes: &[u8]) -> Result<String, Error> {
    let pairs = |bytes: &[u8], read: fn([u8; 2]) -> u16| {
        let units = bytes.chunks_exact(2).map(|pair| read([pair[0], pair[1]]));
        char::decode_utf16(units).map(|c| c.unwrap_or('\u{fffd}')).collect::<String>()
    };
    match bytes {
        [0xff, 0xfe, rest @ ..] => return Ok(pairs(rest, u16::from_le_bytes)),
        [0xfe, 0xff, rest @ ..] => return Ok(pairs(rest, u16::from_be_bytes)),
        [b'<', 0, ..] => return Ok(pairs(bytes, u16::from_le_bytes)),
        [0, b'<', ..] => return Ok(pairs(bytes, u16::from_be_bytes)),
        _ => {}
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_string()),
        Err(error) => {
            let head = String::from_utf8_lossy(&bytes[..bytes.len().min(200)]).to_lowercase();
            if ["iso-8859-1", "latin1", "windows-1252"].iter().any(|name| head.contains(name)) {
                return Ok(bytes.iter().map(|byte| char::from(*byte)).collect());
            }
            Err(Error::new(format!(
                "the text is not UTF-8 (byte {}); save the file as UTF-8 or UTF-16",
                error.valid_up_to()
            )))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_of_two_bytes_are_read() {
        let text_of = |unit: fn(u16) -> [u8; 2], mark: [u8; 2]| {
            let mut bytes = mark.to_vec();
            bytes.extend("<é>".encode_utf16().flat_map(unit));
            text(&bytes).unwrap()
        };
        assert_eq!(text_of(u16::to_le_bytes, [0xff, 0xfe]), "<é>");
        assert_eq!(text_of(u16::to_be_bytes, [0xfe, 0xff]), "<é>");
        assert_eq!(
            text(b"<?xml encoding=\"ISO-8859-1\"?><a>\xe9</a>").unwrap().chars().count(),
            37
        );
        assert!(text(b"<a>\xe9</a>").is_err());
    }

    #[test]
    fn the_list_of_contents_names_the_score() {
        let list =
            "<container><rootfiles><rootfile full-path=\"a&amp;b.xml\"/></rootfiles></container>";
        assert_eq!(rootfile(list).unwrap(), "a&b.xml");
        assert_eq!(rootfile("<container/>"), None);
    }

    #[test]
    fn what_is_no_music_is_refused() {
        assert!(open(b"hello").is_err());
        assert!(open(b"").is_err());
        assert!(open(b"PK\x03\x04broken").is_err());
    }
}
