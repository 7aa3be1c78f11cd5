//! Portable Document Format: signs of music as shapes that the file holds once, words as text in
//! embedded faces of which only the letters that occur are kept.

use ripieno_compiler::narrow::Narrow;
use std::collections::BTreeMap;
use std::io;
use std::ops::Range;

use kurbo::{BezPath, PathEl, Shape as _};
use miniz_oxide::deflate::compress_to_vec_zlib;
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::writers::{Catalog, DocumentInfo};
use pdf_writer::{Chunk, Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use subsetter::GlyphRemapper;

use crate::glyphs::Glyph;
use crate::page::{Page, Pages, Shape};
use crate::store::{Store, in_memory};
use crate::text::{Face, Letter, Run};

/// Points in a millimetre.
const POINTS: f64 = 72.0 / 25.4;
/// How hard streams are packed.
const PACKED: u8 = 7;

/// A face as far as it is used: glyphs of the font, in the order in which they were met, with the
/// text that each stands for and its width.
#[derive(Default)]
struct Used {
    remapper: GlyphRemapper,
    meaning: BTreeMap<u16, String>,
}

/// All pages as one document. The same pages give the same bytes.
#[must_use]
pub fn document(pages: &Pages) -> Vec<u8> {
    let (mut document, mut store) = (Document::default(), Store::default());
    for page in &pages.pages {
        document.add(page, &mut |packed| store.put(packed, &in_memory));
    }
    let mut bytes = Vec::new();
    let written = document.write(&pages.title, pages.author.as_deref(), &mut store, &mut bytes);
    // Neither memory nor writing to it fails.
    debug_assert!(written.is_ok());
    bytes
}

/// A document that is drawn page by page. Of each page only its packed content is kept, by whoever is
/// given it.
#[derive(Default)]
pub struct Document {
    faces: BTreeMap<Face, Used>,
    /// The signs, each with its number, in the order in which they were met.
    signs: BTreeMap<Glyph, usize>,
    /// Sizes in points, and where it is kept what stands on the pages.
    pages: Vec<((f64, f64), Range<u64>)>,
}

impl Document {
    /// Adds a page; `keep` puts its packed content aside and says where it is.
    pub fn add(&mut self, page: &Page, keep: &mut dyn FnMut(&[u8]) -> Range<u64>) {
        for mark in &page.marks {
            if let Shape::Glyph { glyph, .. } = mark.shape {
                let next = self.signs.len();
                self.signs.entry(glyph).or_insert(next);
            }
        }
        let content = content(page, &mut self.faces);
        let packed = compress_to_vec_zlib(&content, PACKED);
        self.pages.push(((page.size.0 * POINTS, page.size.1 * POINTS), keep(&packed)));
    }

    /// Writes the document under a title.
    ///
    /// # Errors
    ///
    /// What writing answers, or reading what was put aside.
    pub fn write(
        &self,
        title: &str,
        author: Option<&str>,
        kept: &mut Store,
        out: &mut dyn io::Write,
    ) -> io::Result<()> {
        let mut next = 1;
        let mut reference = || {
            let reference = Ref::new(next);
            next += 1;
            reference
        };
        let (catalog, tree, info) = (reference(), reference(), reference());
        let Document { faces, signs, pages } = self;
        let of_signs: Vec<Ref> = signs.iter().map(|_| reference()).collect();
        let signs: BTreeMap<Glyph, Ref> =
            signs.iter().map(|(glyph, number)| (*glyph, of_signs[*number])).collect();
        let references: Vec<(Ref, Ref)> =
            pages.iter().map(|_| (reference(), reference())).collect();
        let fonts: BTreeMap<Face, Ref> = faces.keys().map(|face| (*face, reference())).collect();

        let mut file = Objects::begin(out)?;
        file.object(catalog, |pdf| {
            pdf.indirect(catalog).start::<Catalog>().pages(tree).lang(TextStr("en"));
        })?;
        file.object(info, |pdf| {
            let mut information = pdf.indirect(info).start::<DocumentInfo>();
            information.title(TextStr(title));
            if let Some(author) = author {
                information.author(TextStr(author));
            }
            information.creator(TextStr("Ripieno"));
        })?;
        file.object(tree, |pdf| {
            let kids = references.iter().map(|(page, _)| *page);
            pdf.pages(tree).kids(kids).count(i32::try_from(pages.len()).unwrap_or(i32::MAX));
        })?;
        for ((size, packed), (id, stream)) in pages.iter().zip(&references) {
            file.object(*id, |pdf| {
                let mut writer = pdf.page(*id);
                writer.media_box(Rect::new(
                    0.0,
                    0.0,
                    size.0.narrow::<f32>(),
                    size.1.narrow::<f32>(),
                ));
                writer.parent(tree).contents(*stream);
                let mut resources = writer.resources();
                let mut dictionary = resources.fonts();
                for (face, font) in &fonts {
                    dictionary.pair(Name(font_name(*face)), *font);
                }
                dictionary.finish();
                let mut shapes = resources.x_objects();
                for (glyph, sign) in &signs {
                    shapes.pair(Name(sign_name(*glyph).as_bytes()), *sign);
                }
            })?;
            let packed = kept.get(packed.clone())?;
            file.object(*stream, |pdf| {
                pdf.stream(*stream, &packed).filter(Filter::FlateDecode);
            })?;
        }
        for (glyph, sign) in &signs {
            file.object(*sign, |pdf| draw_sign(pdf, *glyph, *sign))?;
        }
        for (face, used) in faces {
            embed(&mut file, *face, used, fonts[face], &mut reference)?;
        }
        file.end((catalog, info))
    }
}

/// The objects of a file, written as they come.
struct Objects<'o> {
    out: &'o mut dyn io::Write,
    written: usize,
    /// Where each object begins.
    begins: BTreeMap<Ref, usize>,
}

impl<'o> Objects<'o> {
    fn begin(out: &'o mut dyn io::Write) -> io::Result<Objects<'o>> {
        let mut file = Objects { out, written: 0, begins: BTreeMap::new() };
        file.bytes(Pdf::new().as_bytes())?;
        Ok(file)
    }

    fn bytes(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.written += bytes.len();
        self.out.write_all(bytes)
    }

    /// Writes the object of that number.
    fn object(&mut self, id: Ref, write: impl FnOnce(&mut Chunk)) -> io::Result<()> {
        let mut chunk = Chunk::new();
        write(&mut chunk);
        self.begins.insert(id, self.written);
        self.bytes(chunk.as_bytes())
    }

    /// Writes where all objects are (ISO 32000, 7.5.4 and 7.5.5), numbered without a gap from 1.
    fn end(mut self, (catalog, info): (Ref, Ref)) -> io::Result<()> {
        let (begin, count) = (self.written, self.begins.len() + 1);
        let mut table = format!("xref\n0 {count}\n0000000000 65535 f\r\n");
        for at in self.begins.values() {
            table.push_str(&format!("{at:010} 00000 n\r\n"));
        }
        let (catalog, info) = (catalog.get(), info.get());
        table.push_str(&format!(
            "trailer\n<<\n  /Size {count}\n  /Root {catalog} 0 R\n  /Info {info} 0 R\n>>\n"
        ));
        table.push_str(&format!("startxref\n{begin}\n%%EOF"));
        self.bytes(table.as_bytes())
    }
}

fn font_name(face: Face) -> &'static [u8] {
    match face {
        Face::Roman => b"R",
        Face::Italic => b"I",
        Face::Bold => b"B",
        Face::BoldItalic => b"J",
    }
}

fn sign_name(glyph: Glyph) -> String {
    format!("g{}", glyph as usize)
}

/// Hundredths of a point and ten-thousandths of a space are finer than any printer.
fn round(value: f64, of: f64) -> f32 {
    ((value * of).round() / of).narrow::<f32>()
}

/// A sign as a shape of its own, in thousandths of a staff space.
fn draw_sign(pdf: &mut Chunk, glyph: Glyph, reference: Ref) {
    let outline = glyph.outline();
    let mut content = Content::new();
    trace(&mut content, &outline.path, 1000.0, 1.0, (0.0, 0.0));
    content.fill_nonzero();
    let bytes = content.finish();
    let packed = compress_to_vec_zlib(&bytes, PACKED);
    let bounds = outline.path.bounding_box().inflate(0.01, 0.01);
    let mut sign = pdf.form_xobject(reference, &packed);
    sign.filter(Filter::FlateDecode);
    sign.bbox(Rect::new(
        round(bounds.x0 * 1000.0, 1.0),
        round(bounds.y0 * 1000.0, 1.0),
        round(bounds.x1 * 1000.0, 1.0),
        round(bounds.y1 * 1000.0, 1.0),
    ));
}

/// Writes a path, scaled, its places rounded to that part of a unit.
fn trace(content: &mut Content, path: &BezPath, scale: f64, part: f64, from: (f64, f64)) {
    let at = |p: kurbo::Point| {
        (round((p.x - from.0) * scale, part), round((p.y - from.1) * scale, part))
    };
    let mut here = kurbo::Point::ZERO;
    for element in path.elements() {
        match *element {
            PathEl::MoveTo(p) => {
                content.move_to(at(p).0, at(p).1);
                here = p;
            }
            PathEl::LineTo(p) => {
                content.line_to(at(p).0, at(p).1);
                here = p;
            }
            PathEl::QuadTo(c, p) => {
                let (a, b) = (here + (c - here) * (2.0 / 3.0), p + (c - p) * (2.0 / 3.0));
                content.cubic_to(at(a).0, at(a).1, at(b).0, at(b).1, at(p).0, at(p).1);
                here = p;
            }
            PathEl::CurveTo(a, b, p) => {
                content.cubic_to(at(a).0, at(a).1, at(b).0, at(b).1, at(p).0, at(p).1);
                here = p;
            }
            PathEl::ClosePath => {
                content.close_path();
            }
        }
    }
}

/// What stands on a page, in points from its lower left corner.
fn content(page: &Page, faces: &mut BTreeMap<Face, Used>) -> Vec<u8> {
    let unit = page.space * POINTS;
    let height = page.size.1 * POINTS;
    let x = |x: f64| round(x * unit, 100.0);
    let y = |y: f64| round(height - y * unit, 100.0);
    let mut content = Content::new();
    for mark in &page.marks {
        match &mark.shape {
            Shape::Glyph { glyph, at, scale } => {
                let size = round(unit * scale / 1000.0, 1e6);
                content.save_state();
                content.transform([size, 0.0, 0.0, size, x(at.x), y(at.y)]);
                content.x_object(Name(sign_name(*glyph).as_bytes()));
                content.restore_state();
            }
            Shape::Line { from, to, width } => {
                content.set_line_width(round(width * unit, 1000.0));
                content.move_to(x(from.x), y(from.y));
                content.line_to(x(to.x), y(to.y));
                content.stroke();
            }
            Shape::Path(path) => {
                let turned =
                    kurbo::Affine::new([unit, 0.0, 0.0, -unit, 0.0, height]) * path.clone();
                trace(&mut content, &turned, 1.0, 100.0, (0.0, 0.0));
                content.fill_nonzero();
            }
            Shape::Text { at, run } => {
                let mut from = 0;
                for stretch in run.letters.chunk_by(|one, next| one.face == next.face) {
                    let used = faces.entry(stretch[0].face).or_default();
                    let begin = (x(at.x + stretch[0].x), y(at.y));
                    words(&mut content, run, (from, stretch), used, begin, unit);
                    from += stretch.len();
                }
            }
        }
    }
    content.finish().to_vec()
}

/// A stretch of words in one face, every letter in its place, kerned.
fn words(
    content: &mut Content,
    run: &Run,
    (before, stretch): (usize, &[Letter]),
    used: &mut Used,
    (x, y): (f32, f32),
    unit: f64,
) {
    let face = stretch[0].face;
    let em = f64::from(face.font().units_per_em());
    content.begin_text();
    content.set_font(Name(font_name(face)), (run.size * unit).narrow::<f32>());
    content.set_text_matrix([1.0, 0.0, 0.0, 1.0, x, y]);
    let mut shown = content.show_positioned();
    let mut items = shown.items();
    let mut expected = stretch[0].x;
    for (n, letter) in stretch.iter().enumerate() {
        let place = before + n;
        let later = run.letters[place + 1..].iter().map(|next| next.from);
        let until = later.filter(|from| *from > letter.from).min().unwrap_or(run.text.len());
        let first = place == 0 || run.letters[place - 1].from != letter.from;
        let meaning = if first { run.text.get(letter.from..until).unwrap_or("") } else { "" };
        let id = used.remapper.remap(letter.id);
        used.meaning.entry(letter.id).or_insert_with(|| meaning.to_string());
        let off = (letter.x - expected) / run.size * 1000.0;
        if off.abs() > 0.5 {
            items.adjust(round(-off, 1.0));
        }
        items.show(Str(&id.to_be_bytes()));
        let advance = face.font().glyph_hor_advance(rustybuzz::ttf_parser::GlyphId(letter.id));
        expected = letter.x + f64::from(advance.unwrap_or(0)) / em * run.size;
    }
    items.finish();
    shown.finish();
    content.end_text();
}

/// Embeds the used letters of a face.
fn embed(
    file: &mut Objects,
    face: Face,
    used: &Used,
    font: Ref,
    reference: &mut impl FnMut() -> Ref,
) -> io::Result<()> {
    let (cid, descriptor, meaning, data) = (reference(), reference(), reference(), reference());
    let read = face.font();
    let name = format!("{}+{}", tag(used), face.name());
    let info = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
    file.object(font, |pdf| {
        pdf.type0_font(font)
            .base_font(Name(name.as_bytes()))
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(meaning);
    })?;
    let em = f64::from(read.units_per_em());
    let thousandths = |value: f64| round(value * 1000.0 / em, 1.0);
    file.object(cid, |pdf| {
        let mut cid_font = pdf.cid_font(cid);
        cid_font.subtype(CidFontType::Type0);
        cid_font.base_font(Name(name.as_bytes()));
        cid_font.system_info(info);
        cid_font.font_descriptor(descriptor);
        cid_font.default_width(0.0);
        let advances = used.remapper.remapped_gids().map(|id| {
            let advance = read.glyph_hor_advance(rustybuzz::ttf_parser::GlyphId(id));
            thousandths(f64::from(advance.unwrap_or(0)))
        });
        let advances: Vec<f32> = advances.collect();
        cid_font.widths().consecutive(0, advances);
    })?;
    let bounds = read.global_bounding_box();
    let italic = matches!(face, Face::Italic | Face::BoldItalic);
    let mut flags = FontFlags::SERIF | FontFlags::SYMBOLIC;
    flags.set(FontFlags::ITALIC, italic);
    file.object(descriptor, |pdf| {
        pdf.font_descriptor(descriptor)
            .name(Name(name.as_bytes()))
            .flags(flags)
            .bbox(Rect::new(
                thousandths(f64::from(bounds.x_min)),
                thousandths(f64::from(bounds.y_min)),
                thousandths(f64::from(bounds.x_max)),
                thousandths(f64::from(bounds.y_max)),
            ))
            .italic_angle(if italic { -12.0 } else { 0.0 })
            .ascent(thousandths(f64::from(read.ascender())))
            .descent(thousandths(f64::from(read.descender())))
            .cap_height(thousandths(f64::from(read.capital_height().unwrap_or(650))))
            .stem_v(if matches!(face, Face::Bold | Face::BoldItalic) { 140.0 } else { 90.0 })
            .font_file3(data);
    })?;
    let mut map = UnicodeCmap::new(Name(b"Custom"), info);
    for (id, text) in &used.meaning {
        if let Some(new) = used.remapper.get(*id)
            && !text.is_empty()
        {
            map.pair_with_multiple(new, text.chars());
        }
    }
    let map = map.finish();
    let packed = compress_to_vec_zlib(&map, PACKED);
    file.object(meaning, |pdf| {
        pdf.stream(meaning, &packed).filter(Filter::FlateDecode);
    })?;
    // The faces are ours to embed and known to be sound, so that this does not fail; if it did, the
    // whole face would be embedded.
    let whole = subsetter::subset(face.data(), 0, &used.remapper);
    let subset = whole.unwrap_or_else(|_| face.data().to_vec());
    let outlines = rustybuzz::ttf_parser::RawFace::parse(&subset, 0)
        .ok()
        .and_then(|raw| raw.table(rustybuzz::ttf_parser::Tag::from_bytes(b"CFF ")))
        .unwrap_or(&subset);
    let packed = compress_to_vec_zlib(outlines, PACKED);
    file.object(data, |pdf| {
        let mut stream = pdf.stream(data, &packed);
        stream.filter(Filter::FlateDecode);
        stream.pair(Name(b"Subtype"), Name(b"CIDFontType0C"));
    })
}

/// Six letters that tell subsets of one face apart, made of the letters that are used.
fn tag(used: &Used) -> String {
    let mut sum: u64 = 0xcbf2_9ce4_8422_2325;
    for id in used.meaning.keys() {
        sum = (sum ^ u64::from(*id)).wrapping_mul(0x0100_0000_01b3);
    }
    (0..6).map(|n| char::from(b'A' + ((sum >> (n * 8)) % 26) as u8)).collect()
}
