//! Words of singers.

pub mod no_words;
