//! Writes generated arrangements into a folder, for the checks from outside:
//! `arrangements FOLDER COUNT SEED`. The same seed gives the same sources.

#[path = "mod.rs"]
mod shared;

use std::path::Path;

use proptest::prelude::Rng;
use proptest::test_runner::{RngAlgorithm, TestRng};

use shared::choices::Choices;
use shared::generator::{paired_source, source};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, count, seed] = arguments.as_slice() else {
        return Err("usage: arrangements FOLDER COUNT SEED".into());
    };
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.parse::<u64>()?.to_le_bytes());
    let mut random = TestRng::from_seed(RngAlgorithm::ChaCha, &key);
    std::fs::create_dir_all(folder)?;
    for number in 0..count.parse::<u32>()? {
        let mut bytes = vec![0; 200 + (random.next_u32() % 1300) as usize];
        random.fill_bytes(&mut bytes);
        let choices = &mut Choices::new(&bytes);
        // Every other one has two players who share a staff of a condensed score.
        let text = if number % 2 == 0 { source(choices) } else { paired_source(choices) };
        std::fs::write(Path::new(folder).join(format!("{number:03}.ripieno")), text)?;
    }
    Ok(())
}
