//! Takes the faces that pages are set in out of the package of open fonts, so that the program
//! carries these alone and not the others of the package.

use std::path::Path;

/// The faces: PostScript name in the font's table of names, and the file that is made of it.
const FACES: [(&str, &str); 4] = [
    ("LibertinusSerif-Regular", "roman.otf"),
    ("LibertinusSerif-Italic", "italic.otf"),
    ("LibertinusSerif-Bold", "bold.otf"),
    ("LibertinusSerif-BoldItalic", "bold-italic.otf"),
];

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let folder = std::env::var("OUT_DIR").expect("cargo names a folder for what is made");
    let mut missing: Vec<&str> = FACES.iter().map(|(name, _)| *name).collect();
    for font in typst_assets::fonts() {
        for (name, file) in FACES {
            if missing.contains(&name) && is_called(font, name) {
                std::fs::write(Path::new(&folder).join(file), font).expect("the face is written");
                missing.retain(|other| *other != name);
            }
        }
    }
    assert!(missing.is_empty(), "the package of fonts has no {}", missing.join(", "));
}

/// Does the font have this PostScript name? The name table spells it in UTF-16 or in bytes, each
/// followed by something else than a letter.
fn is_called(font: &[u8], name: &str) -> bool {
    let wide: Vec<u8> = name.encode_utf16().flat_map(u16::to_be_bytes).collect();
    font.windows(wide.len()).any(|window| window == wide)
        && !font.windows(wide.len() + 2).any(|window| {
            window.starts_with(&wide) && window[wide.len()] == 0 && {
                let next = window[wide.len() + 1];
                next.is_ascii_lowercase() || next == b'-'
            }
        })
}
