//! Addresses of files: between `file:` URIs and the names by which the session knows its texts.
//!
//! A file is named by its whole path with `/` between folders, so that two spellings of one URI
//! are one file. A text that is no file (an editor's `untitled:`) is named by its URI.

use gen_lsp_types::Uri;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, percent_decode_str, utf8_percent_encode};

/// What RFC 3986 lets stand in a path as it is.
const ESCAPED: AsciiSet =
    NON_ALPHANUMERIC.remove(b'/').remove(b'-').remove(b'_').remove(b'.').remove(b'~');

/// The name of the text at an address.
#[must_use]
pub fn name_of(uri: &Uri) -> String {
    let Some(rest) = uri.0.strip_prefix("file://") else { return uri.0.clone() };
    // Between the slashes stands a host, which is nobody or this machine.
    let path = rest.find('/').map_or("/", |slash| &rest[slash..]);
    let path = path.split(['?', '#']).next().unwrap_or(path);
    let path = percent_decode_str(path).decode_utf8_lossy().into_owned();
    match path.as_bytes() {
        // `/c:/music` of a drive.
        [b'/', drive, b':', ..] if drive.is_ascii_alphabetic() => path[1..].to_string(),
        _ => path,
    }
}

/// The address of a text by its name.
#[must_use]
pub fn uri_of(name: &str) -> Uri {
    if !is_file(name) {
        return Uri(name.to_string());
    }
    let slash = if name.starts_with('/') { "" } else { "/" };
    Uri(format!("file://{slash}{}", utf8_percent_encode(name, &ESCAPED)))
}

/// Is it the name of a file, not of a text that only an editor has?
#[must_use]
pub fn is_file(name: &str) -> bool {
    let drive = name.as_bytes().get(1) == Some(&b':') && name.as_bytes()[0].is_ascii_alphabetic();
    name.starts_with('/') || drive
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_addresses_go_there_and_back() {
        for name in [
            "/a/b.ripieno",
            "/mühle/am wehr#1.ripieno",
            "c:/music/100%.ripieno",
            "untitled:Untitled-1",
        ] {
            assert_eq!(name_of(&uri_of(name)), name);
        }
        assert_eq!(name_of(&Uri("file:///c%3A/a%20b".into())), "c:/a b");
        assert_eq!(name_of(&Uri("file://localhost/a".into())), "/a");
        assert_eq!(name_of(&Uri("file://".into())), "/");
        assert_eq!(uri_of("/a b").0, "file:///a%20b");
    }
}
