//! No file makes the import panic or hang, and what is imported compiles.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    shared::importing::import_in_turn(bytes);
});
