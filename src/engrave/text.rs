//! Words on a page: four faces of one family, shaped with kerning and ligatures.

use std::sync::OnceLock;

use kurbo::{BezPath, Point};
use rustybuzz::ttf_parser::{GlyphId, OutlineBuilder};
use rustybuzz::{Face as Font, UnicodeBuffer};

/// A face of the family that pages are set in: Libertinus Serif, under the SIL Open Font License.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Face {
    /// Upright.
    Roman,
    /// Leaning.
    Italic,
    /// Heavy.
    Bold,
    /// Heavy and leaning.
    BoldItalic,
}

impl Face {
    /// All faces.
    pub const ALL: [Face; 4] = [Face::Roman, Face::Italic, Face::Bold, Face::BoldItalic];

    /// Its name in documents.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Face::Roman => "LibertinusSerif-Regular",
            Face::Italic => "LibertinusSerif-Italic",
            Face::Bold => "LibertinusSerif-Bold",
            Face::BoldItalic => "LibertinusSerif-BoldItalic",
        }
    }

    /// The font file.
    #[must_use]
    pub fn data(self) -> &'static [u8] {
        match self {
            Face::Roman => include_bytes!(concat!(env!("OUT_DIR"), "/roman.otf")),
            Face::Italic => include_bytes!(concat!(env!("OUT_DIR"), "/italic.otf")),
            Face::Bold => include_bytes!(concat!(env!("OUT_DIR"), "/bold.otf")),
            Face::BoldItalic => include_bytes!(concat!(env!("OUT_DIR"), "/bold-italic.otf")),
        }
    }

    /// The font, read once.
    pub(crate) fn font(self) -> &'static Font<'static> {
        static FONTS: [OnceLock<Font<'static>>; 4] = [const { OnceLock::new() }; 4];
        FONTS[self as usize].get_or_init(|| {
            // The faces come with the program, and a test reads them all.
            Font::from_slice(self.data(), 0).expect("the face can be read")
        })
    }
}

/// One glyph of shaped words.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Letter {
    /// Number of the glyph in the font.
    pub id: u16,
    /// Its place from the beginning of the run.
    pub x: f64,
    /// First byte of what it stands for in the text.
    pub from: usize,
    /// The face in which it is: the run's, or the upright one for signs that only that one has.
    pub face: Face,
}

/// Words in one face and size, shaped.
#[derive(Clone, PartialEq, Debug)]
pub struct Run {
    /// The words.
    pub text: String,
    /// The face.
    pub face: Face,
    /// Its size (the em) in staff spaces.
    pub size: f64,
    /// How wide the words are, in staff spaces.
    pub width: f64,
    /// The glyphs in order.
    pub letters: Vec<Letter>,
}

/// Shapes words at a size in staff spaces. Signs that the face does not have, such as flats in italics,
/// are taken from the upright one.
#[must_use]
pub fn shape(text: &str, face: Face, size: f64) -> Run {
    // Signs that no face has, in others that say the same.
    let text = &text.replace('𝄪', "♯♯").replace('𝄫', "♭♭");
    let mut run =
        Run { text: text.clone(), face, size, width: 0.0, letters: Vec::with_capacity(text.len()) };
    let of = |c: char| if face.font().glyph_index(c).is_some() { face } else { Face::Roman };
    let mut rest = text.char_indices().peekable();
    while let Some((from, first)) = rest.next() {
        let in_face = of(first);
        while rest.next_if(|(_, c)| of(*c) == in_face).is_some() {}
        let to = rest.peek().map_or(text.len(), |(at, _)| *at);
        run.append(from, &text[from..to], in_face);
    }
    run
}

/// A blank at which no line ends; it is printed as any other.
pub const JOINT: char = '\u{a0}';

/// Words in as many lines as a width in staff spaces asks for: divided at blanks, and inside a word only
/// where that alone is wider. A [`JOINT`] keeps two words together. There is at least one line.
#[must_use]
pub fn in_lines(text: &str, face: Face, size: f64, room: f64) -> Vec<Run> {
    let shape = |text: &str, face, size| shape(&text.replace(JOINT, " "), face, size);
    let mut lines: Vec<Run> = Vec::new();
    let mut held = String::new();
    let divides = |one: char| one.is_whitespace() && one != JOINT;
    for word in text.split(divides).filter(|word| !word.is_empty()) {
        let longer = if held.is_empty() { word.to_owned() } else { format!("{held} {word}") };
        if shape(&longer, face, size).width <= room {
            held = longer;
            continue;
        }
        if !held.is_empty() {
            lines.push(shape(&held, face, size));
        }
        word.clone_into(&mut held);
        while let Some((line, rest)) = divided(&held, face, size, room) {
            lines.push(line);
            held = rest;
        }
    }
    if !held.is_empty() || lines.is_empty() {
        lines.push(shape(&held, face, size));
    }
    lines
}

/// The longest beginning of a word that a line has room for (one letter at least) and what is left,
/// if not all of it has room.
fn divided(word: &str, face: Face, size: f64, room: f64) -> Option<(Run, String)> {
    let whole = shape(word, face, size);
    if whole.width <= room {
        return None;
    }
    let first = word.chars().next()?.len_utf8();
    let fits = whole.letters.iter().filter(|letter| letter.x <= room).map(|letter| letter.from);
    let at = fits.filter(|&from| from < word.len() && word.is_char_boundary(from)).max();
    let at = at.unwrap_or(first).max(first);
    (at < word.len()).then(|| (shape(&word[..at], face, size), word[at..].to_owned()))
}

/// Words in one line: where they are wider than the room they are set smaller, down to the least size,
/// and then end early with an ellipsis.
#[must_use]
pub fn in_one_line(text: &str, face: Face, (size, least): (f64, f64), room: f64) -> Run {
    let whole = shape(text, face, size);
    if whole.width <= room {
        return whole;
    }
    let smaller = size * (room / whole.width).max(0.0);
    if smaller >= least {
        return shape(text, face, smaller);
    }
    let mut ends: Vec<usize> = text.char_indices().map(|(at, _)| at).collect();
    let cut = |end: usize| shape(&format!("{} …", text[..end].trim_end()), face, least);
    let count = ends.partition_point(|&end| cut(end).width <= room);
    ends.truncate(count);
    cut(ends.last().copied().unwrap_or(0))
}

impl Run {
    /// Shapes a stretch of the text in one face behind what is there.
    fn append(&mut self, from: usize, text: &str, face: Face) {
        let font = face.font();
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        let shaped = rustybuzz::shape(font, &[], buffer);
        let scale = self.size / f64::from(font.units_per_em());
        for (info, position) in shaped.glyph_infos().iter().zip(shaped.glyph_positions()) {
            let id = u16::try_from(info.glyph_id).unwrap_or(0);
            let x = self.width + f64::from(position.x_offset) * scale;
            self.letters.push(Letter { id, x, from: from + info.cluster as usize, face });
            self.width += f64::from(position.x_advance) * scale;
        }
    }

    /// The characters that no face has, each once.
    #[must_use]
    pub fn missing(&self) -> String {
        let mut missing = String::new();
        for letter in self.letters.iter().filter(|letter| letter.id == 0) {
            let character = self.text[letter.from..].chars().next();
            missing.extend(character.filter(|one| !missing.contains(*one)));
        }
        missing
    }

    /// How far its letters reach above the base line.
    #[must_use]
    pub fn rise(&self) -> f64 {
        self.size * 0.7
    }

    /// How far its letters reach below the base line.
    #[must_use]
    pub fn fall(&self) -> f64 {
        let deep = self.text.chars().any(|c| "gjpqyQ,;()J[]/".contains(c));
        self.size
            * if deep || self.face.is_italic() && self.text.contains('f') { 0.24 } else { 0.03 }
    }

    /// The letters as outlines, in staff spaces with y downwards, from a point on the base line.
    #[must_use]
    pub fn outline(&self, at: Point) -> BezPath {
        let mut path = BezPath::new();
        for letter in &self.letters {
            let font = letter.face.font();
            let scale = self.size / f64::from(font.units_per_em());
            let mut pen = Outliner { path: &mut path, x: at.x + letter.x, y: at.y, scale };
            font.outline_glyph(GlyphId(letter.id), &mut pen);
        }
        path
    }
}

impl Face {
    fn is_italic(self) -> bool {
        matches!(self, Face::Italic | Face::BoldItalic)
    }
}

struct Outliner<'a> {
    path: &'a mut BezPath,
    x: f64,
    y: f64,
    scale: f64,
}

impl Outliner<'_> {
    fn at(&self, x: f32, y: f32) -> Point {
        Point::new(self.x + f64::from(x) * self.scale, self.y - f64::from(y) * self.scale)
    }
}

impl OutlineBuilder for Outliner<'_> {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.move_to(self.at(x, y));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.path.line_to(self.at(x, y));
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.path.quad_to(self.at(x1, y1), self.at(x, y));
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.path.curve_to(self.at(x1, y1), self.at(x2, y2), self.at(x, y));
    }
    fn close(&mut self) {
        self.path.close_path();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_face_can_be_read_and_has_the_letters_of_the_trade() {
        for face in Face::ALL {
            let run = shape("Größe: Fête à l’écluse – №1 (♭ ♯ ♮ 𝄪 𝄫) žluť Ωδή вода", face, 2.0);
            assert!(run.width > 10.0);
            let missing = run.letters.iter().filter(|letter| letter.id == 0).count();
            assert_eq!(missing, 0, "{face:?}");
        }
    }

    #[test]
    fn pairs_of_letters_are_kerned() {
        let wide = shape("AV", Face::Roman, 1.0).width;
        let apart = shape("A", Face::Roman, 1.0).width + shape("V", Face::Roman, 1.0).width;
        assert!(wide < apart);
    }

    #[test]
    fn words_are_divided_at_blanks_and_inside_only_where_one_is_wider_than_the_line() {
        let texts = |lines: Vec<Run>| lines.into_iter().map(|line| line.text).collect::<Vec<_>>();
        let lines = in_lines("By the old sluice at the weir", Face::Italic, 2.0, 12.0);
        assert!(lines.iter().all(|line| line.width <= 12.0), "{lines:?}");
        assert_eq!(texts(lines).join(" "), "By the old sluice at the weir");
        let word = "Donaudampfschifffahrtsgesellschaft".repeat(4);
        let lines = in_lines(&word, Face::Bold, 2.0, 20.0);
        assert!(lines.len() > 3 && lines.iter().all(|line| line.width <= 20.0), "{lines:?}");
        assert_eq!(texts(lines).concat(), word);
        // There is one line of nothing, and a letter has a line wherever there is no room at all.
        assert_eq!(texts(in_lines("", Face::Roman, 2.0, 9.0)), [""]);
        assert_eq!(texts(in_lines("ab", Face::Roman, 2.0, 0.0)), ["a", "b"]);
    }

    #[test]
    fn one_line_is_set_smaller_before_it_is_cut() {
        let whole = shape("By the old sluice at the weir", Face::Bold, 3.0);
        let smaller = in_one_line(&whole.text, Face::Bold, (3.0, 2.0), whole.width * 0.8);
        assert_eq!(smaller.text, whole.text);
        assert!(smaller.width <= whole.width * 0.8 + 1e-9 && smaller.size < 3.0);
        let cut = in_one_line(&whole.text, Face::Bold, (3.0, 2.0), whole.width * 0.4);
        assert!(cut.text.ends_with(" …") && cut.width <= whole.width * 0.4, "{cut:?}");
        assert!(whole.text.starts_with(cut.text.trim_end_matches(" …")));
    }
}
