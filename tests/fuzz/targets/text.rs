//! No text makes the compiler panic or hang, and no finding points outside its source.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    shared::compiling::compile(&String::from_utf8_lossy(bytes));
});
