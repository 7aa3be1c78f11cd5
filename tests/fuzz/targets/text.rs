//! No text makes the compiler panic or hang, no finding points outside its source, and the canonical
//! form settles at once.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    shared::compiling::compile_in_turn(&String::from_utf8_lossy(bytes));
});
