//! Whatever an editor sends, the language server answers.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

use shared::choices::Choices;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    shared::editing::assert_server_answers(&mut Choices::new(bytes));
});
