//! The laws of time, pitch, keys, metres and chords hold.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

use shared::choices::Choices;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    shared::arithmetic::assert_laws(&mut Choices::new(bytes));
});
