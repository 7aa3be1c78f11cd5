//! Pages that are hard to engrave, as pictures: `tests/snapshots/pages/` has them as they were when
//! somebody looked at them last, small and in greys. What looks otherwise fails, with the new picture
//! beside the old one; `UPDATE_PAGES=1 cargo test --test pages` takes over all. Look before you do.

use std::path::{Path, PathBuf};

use ripieno::arrange::arrange;
use ripieno::diagnostics::Sources;
use ripieno::engrave::outputs::{Drawn, Of, Setups, each_output};
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

#[test]
fn hard_pages_look_as_they_did() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let text = std::fs::read_to_string(root.join("fixtures/hard-page.ripieno")).unwrap();
    let mut sources = Sources::new();
    let file = sources.add("hard-page.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let mut wanted = Wanted::formats(&[]);
    wanted.scores = vec![ScoreKind::Full, ScoreKind::Condensed];
    let mut pictures: Vec<(String, Vec<u8>)> = Vec::new();
    let drawn = Drawn::Png { resolution: RESOLUTION };
    let done = each_output(&arrangement, &wanted, &Setups::default(), &[drawn], 1, |of, file| {
        let name = match of {
            Of::Score(ScoreKind::Condensed) => "condensed".to_string(),
            Of::Score(_) => "score".to_string(),
            Of::Part(part) => arrangement.parts[part].player.id.replace('.', "-"),
        };
        pictures.push((format!("{name}{}", file.0), file.2));
        Ok::<(), ()>(())
    });
    assert!(done.is_ok());
    let mut told = Vec::new();
    for name in ["score-1", "score-2", "condensed-1", "flute-2", "harp"] {
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
