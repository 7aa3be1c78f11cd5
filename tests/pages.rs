//! Pages that are hard to engrave, as pictures: `tests/snapshots/pages/` has them as they were when
//! somebody looked at them last, small and in greys. What looks otherwise fails, with the new picture
//! beside the old one; `UPDATE_PAGES=1 cargo test --test pages` takes over all. Look before you do.

use std::path::{Path, PathBuf};

use ripieno::arrange::{Arrangement, arrange};
use ripieno::diagnostics::Sources;
use ripieno::engrave::outputs::{Drawn, Of, Setups, each_output};
use ripieno::engrave::store::{NewScratch, in_memory};
use ripieno::render::{ScoreKind, Wanted};
use ripieno::resolve::{NoFiles, resolve};
use tiny_skia::Pixmap;

/// Dots to the inch: a staff space has two or three dots.
const RESOLUTION: u16 = 40;
/// Side of the tiles by which pictures are compared, in dots: an eye sees a head move by a space, not
/// an edge that is a shade darker.
const TILE: usize = 8;
/// By how much a tile may be lighter or darker, and the whole picture on an average (of 255).
const TILE_DIFFERENCE: f64 = 14.0;
const MEAN_DIFFERENCE: f64 = 0.4;

/// Greys of a picture, row by row.
struct Greys {
    width: usize,
    dots: Vec<u8>,
}

impl Greys {
    fn of(png: &[u8]) -> Greys {
        let picture = Pixmap::decode_png(png).expect("a picture");
        let grey = |dot: &tiny_skia::PremultipliedColorU8| {
            let sum = u16::from(dot.red()) + u16::from(dot.green()) + u16::from(dot.blue());
            u8::try_from(sum / 3).unwrap_or(u8::MAX)
        };
        Greys { width: picture.width() as usize, dots: picture.pixels().iter().map(grey).collect() }
    }

    /// Mean greys of the tiles, row by row.
    fn tiles(&self) -> Vec<f64> {
        let height = self.dots.len() / self.width;
        let mut tiles = Vec::new();
        for top in (0..height).step_by(TILE) {
            for left in (0..self.width).step_by(TILE) {
                let mut sum = 0.0;
                let mut count = 0.0;
                for y in top..(top + TILE).min(height) {
                    for x in left..(left + TILE).min(self.width) {
                        sum += f64::from(self.dots[y * self.width + x]);
                        count += 1.0;
                    }
                }
                tiles.push(sum / count);
            }
        }
        tiles
    }
}

/// Why two pictures do not look alike; nothing where they do.
fn difference(before: &Greys, now: &Greys) -> Option<String> {
    if (before.width, before.dots.len()) != (now.width, now.dots.len()) {
        return Some("they have not the same size".to_string());
    }
    let (a, b) = (before.tiles(), now.tiles());
    let differences: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (a - b).abs()).collect();
    let mean = differences.iter().sum::<f64>() / differences.len() as f64;
    let across = before.width.div_ceil(TILE);
    let (worst, most) =
        differences.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap_or((0, &0.0));
    (*most > TILE_DIFFERENCE || mean > MEAN_DIFFERENCE).then(|| {
        let (x, y) = (worst % across * TILE, worst / across * TILE);
        format!("mean difference {mean:.2}, most {most:.1} at dot {x}, {y}")
    })
}

/// The first scoring of a source.
fn arranged(text: &str) -> Arrangement {
    let mut sources = Sources::new();
    let file = sources.add("page.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    arrange(&piece, &piece.scorings[0])
}

fn hard_page() -> Arrangement {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    arranged(&std::fs::read_to_string(root.join("fixtures/hard-page.ripieno")).unwrap())
}

/// Two players who cross, slurs and hairpins over many bars, and a line of octaves; with a cadenza where
/// one is asked for, which is longer than a line.
fn long_score(cadenza: bool) -> Arrangement {
    let mut upper = String::new();
    let mut lower = String::new();
    for bar in 1..=90 {
        let (a, b) = match bar % 7 {
            0 => ("1/4 {D5 E5 F5 G5", "1/4 A4[stacc] B4 rest C5"),
            1 if bar == 1 => ("1/2 A5 1/8 B6 C7 B6 C7", "1/1 D5"),
            1 => ("1/2 A5} 1/8 B6 C7 B6 C7", "1/1 D5"),
            2 => ("1/8 B6 C7 D7 C7 B6 C7 B6 C7", "1/2 {E5 F5}"),
            3 => ("1/1 rest", "1/4 G5 A5 B5 C6"),
            4 => ("1/4 C5 D5 E5 F5", "1/1 rest"),
            5 => ("1/2 G4 1/4. A4 1/8 B4", "1/4 C5 D5 E5 rest"),
            _ => ("1/2 C5 1/2 C5", "1/2 C5 1/2 C5"),
        };
        let run = format!("1/32 {}", "D5 E5 F5 G5 A5 G5 F5 E5 ".repeat(12));
        let (a, b) = if cadenza && bar == 60 { (run.as_str(), "1/1 D5 = =") } else { (a, b) };
        upper.push_str(&format!("  {bar}: {a} |\n"));
        lower.push_str(&format!("  {bar}: {b} |\n"));
    }
    let longer = if cadenza { "  60 length 12/4\n" } else { "" };
    arranged(&format!(
        "piece \"Long\" {{ }}
form {{
  1 metre 4/4, key C major, tempo 1/4 at 90
  40 mark \"A\"
{longer}  90 end
}}
voice upper {{
{upper}}}
voice lower {{
{lower}}}
dynamics {{
  1 p
  10..60 cresc
  70 f
}}
ensemble few {{
  era 1885
  flute 2, violin-1 4 players, cello 2 players
}}
scoring all for few {{
  flute.1 plays upper as melody
  flute.2 plays lower as melody
  violin-1 plays lower as harmony
  cello plays lower 8vb as bass bars 31..80
}}
"
    ))
}

/// A score that is long is packed, and its bars are taken out page by page.
#[test]
fn long_scores_have_the_same_pages_as_short_ones() {
    for arrangement in [hard_page(), long_score(false), long_score(true)] {
        let together = Wanted {
            scores: ScoreKind::ALL.map(|(kind, ..)| kind).to_vec(),
            ..Wanted::formats(&[])
        };
        let alone = Wanted { kept: 0, ..together.clone() };
        let drawn = |wanted: &Wanted| {
            let mut files = Vec::new();
            let setups = Setups { hide_empty: true, ..Setups::default() };
            let formats = [Drawn::Svg];
            let one = (1, &in_memory as &NewScratch);
            let printed = each_output(&arrangement, wanted, &setups, &formats, one, |of, file| {
                files.push((format!("{of:?}{}", file.0), file.1, file.2.bytes()?));
                Ok::<(), std::io::Error>(())
            });
            files.sort_by(|a, b| (&a.0, a.1.ending()).cmp(&(&b.0, b.1.ending())));
            (format!("{:?}", printed.unwrap()), files)
        };
        let (together, alone) = (drawn(&together), drawn(&alone));
        assert_eq!(together.0, alone.0);
        assert_eq!(together.1.len(), alone.1.len());
        for (one, other) in together.1.iter().zip(&alone.1) {
            assert!(one == other, "{} as {}", one.0, one.1.ending());
        }
    }
}

#[test]
fn a_staff_on_which_something_is_told_is_not_left_out() {
    let (tune, call) = ("C5 | ".repeat(24), "C4 | ".repeat(8));
    let call = call.trim_end_matches("| ");
    let hidden = |takes: &str| {
        let arrangement = arranged(&format!(
            "piece \"Long\" {{ }}
form {{
  1 metre 4/4, key C major
  24 end
}}
voice tune {{
  1: 1/1 {tune}
}}
voice call {{
  1: 1/1 {call}| 9: rest 8 | 17: {call}|
}}
ensemble few {{
  era 1820
  flute, horn crook D
}}
scoring all for few {{
  flute plays tune as melody
  horn plays call as harmony
{takes}}}
layout {{
  score hide empty
  score break before 9, 17
}}
"
        ));
        let wanted = Wanted { scores: vec![ScoreKind::Full], ..Wanted::formats(&[]) };
        let setups = Setups { hide_empty: true, ..Setups::default() };
        let one = (1, &in_memory as &NewScratch);
        let kept = |_: Of, _| Ok::<(), std::io::Error>(());
        let printed = each_output(&arrangement, &wanted, &setups, &[Drawn::Svg], one, kept);
        let printed = printed.unwrap();
        let score = printed.iter().find(|one| one.of == Of::Score(ScoreKind::Full)).unwrap();
        let name = |one: &usize| arrangement.parts[*one].player.id.to_string();
        score.hidden.iter().map(name).collect::<Vec<_>>()
    };
    assert_eq!(hidden(""), ["horn"]);
    assert_eq!(hidden("  horn takes crook Eb bar 17\n"), [""; 0]);
}

/// All pages of the parts and of the full and condensed scores of the hard page, with their names.
fn drawn_hard_page(drawn: Drawn) -> Vec<(String, Vec<u8>)> {
    let arrangement = hard_page();
    let mut wanted = Wanted::formats(&[]);
    wanted.scores = vec![ScoreKind::Full, ScoreKind::Condensed];
    let mut pictures: Vec<(String, Vec<u8>)> = Vec::new();
    let alone = (1, &in_memory as &NewScratch);
    let done =
        each_output(&arrangement, &wanted, &Setups::default(), &[drawn], alone, |of, file| {
            let name = match of {
                Of::Score(ScoreKind::Condensed) => "condensed".to_string(),
                Of::Score(_) => "score".to_string(),
                Of::Part(part) => arrangement.parts[part].player.id.replace('.', "-"),
            };
            pictures.push((format!("{name}{}", file.0), file.2.bytes()?));
            Ok::<(), std::io::Error>(())
        });
    assert!(done.is_ok());
    pictures
}

/// The signs of a class in a drawing: what each is called, its place and its size.
fn signs<'a>(svg: &'a str, class: &str) -> Vec<(&'a str, f64, f64, f64)> {
    let begins = format!("<use class=\"{class}\" href=\"#");
    let uses = svg.lines().filter_map(|line| line.strip_prefix(begins.as_str()));
    uses.map(|line| {
        let (name, place) = line.split_once("\" transform=\"translate(").expect("a place");
        let mut numbers = place.split([' ', ')', '(']).filter_map(|word| word.parse::<f64>().ok());
        let (x, y) = (numbers.next().expect("a place"), numbers.next().expect("a place"));
        (name, x, y, numbers.next().unwrap_or(1.0))
    })
    .collect()
}

/// How many halves and quarters, which no chord has together, stand a second apart with an accidental at both.
fn seconds_with_accidentals(svg: &str) -> usize {
    let heads = signs(svg, "head");
    let accidentals = signs(svg, "accidental");
    let signed = |x: f64, y: f64| {
        accidentals
            .iter()
            .any(|sign| (sign.2 - y).abs() < 0.01 && (0.5..4.5).contains(&(x - sign.1)))
    };
    let halves = heads.iter().filter(|head| head.0 == "noteheadHalf");
    let second = |half: &&(&str, f64, f64, f64)| {
        heads.iter().any(|other| {
            let beside = ((other.2 - half.2).abs() - 0.5).abs() < 0.01;
            let near = (other.1 - half.1).abs() < 1.5;
            let both = signed(half.1, half.2) && signed(other.1, other.2);
            other.0 == "noteheadBlack" && beside && near && both
        })
    };
    halves.filter(second).count()
}

#[test]
fn the_hard_page_has_a_cue_and_seconds_of_two_voices_with_an_accidental_at_either_head() {
    let pages = drawn_hard_page(Drawn::Svg);
    let page = |name: &str| {
        let (_, svg) = pages.iter().find(|(known, _)| known == name).expect("a page");
        std::str::from_utf8(svg).expect("text")
    };
    let flute = page("flute-2");
    let small = signs(flute, "head").iter().filter(|head| head.3 < 0.8).count();
    assert!(flute.contains("aria-label=\"Fl. 1\""), "the cue of flute 2 has no name");
    assert_eq!(small, 9, "small heads of the cue of flute 2");
    // Of the halves of the violas, and of oboes and clarinets as well.
    assert_eq!(seconds_with_accidentals(page("viola-1")), 1);
    assert_eq!(seconds_with_accidentals(page("condensed-2")), 3);
}

#[test]
fn hard_pages_look_as_they_did() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let pictures = drawn_hard_page(Drawn::Png { resolution: RESOLUTION });
    let mut told = Vec::new();
    let looked_at =
        ["score-1", "score-2", "condensed-1", "condensed-2", "flute-2", "viola-1", "harp"];
    for name in looked_at {
        let (_, now) = pictures.iter().find(|(known, _)| known == name).unwrap_or_else(|| {
            let known: Vec<&String> = pictures.iter().map(|(name, _)| name).collect();
            panic!("there is no page {name} among {known:?}")
        });
        let path: PathBuf = root.join("snapshots/pages").join(format!("{name}.png"));
        let new = path.with_extension("new.png");
        if std::env::var_os("UPDATE_PAGES").is_some() {
            std::fs::write(&path, now).unwrap();
            let _ = std::fs::remove_file(&new);
            continue;
        }
        let before = std::fs::read(&path).expect("a picture: `UPDATE_PAGES=1` makes it");
        if let Some(why) = difference(&Greys::of(&before), &Greys::of(now)) {
            std::fs::write(&new, now).unwrap();
            told.push(format!("{name} looks otherwise ({why}): see {}", new.display()));
        }
    }
    assert!(told.is_empty(), "{}", told.join("\n"));
}

#[test]
fn a_head_that_moves_by_a_space_is_seen() {
    let blank = |dark: &[(usize, usize)]| {
        let mut dots = vec![255; 80 * 80];
        for (x, y) in dark {
            for dy in 0..3 {
                for dx in 0..4 {
                    dots[(y + dy) * 80 + x + dx] = 0;
                }
            }
        }
        Greys { width: 80, dots }
    };
    let page = blank(&[(20, 20), (40, 40)]);
    assert!(difference(&page, &blank(&[(20, 20), (40, 40)])).is_none());
    assert!(difference(&page, &blank(&[(20, 23), (40, 40)])).is_some());
    assert!(difference(&page, &blank(&[(20, 20)])).is_some());
}
