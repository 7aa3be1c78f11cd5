//! What the property tests and the fuzz targets share: sources, the way through all stages, and
//! what must hold whatever comes in.
// Every test and every fuzz target takes what it needs.
#![allow(dead_code)]

pub mod arithmetic;
pub mod choices;
pub mod compiling;
pub mod editing;
pub mod generator;
pub mod importing;
pub mod outputs;
pub mod pieces;
pub mod random;
pub mod shelf;
pub mod small;
