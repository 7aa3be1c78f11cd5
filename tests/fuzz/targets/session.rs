//! After any edits the findings of a session are those of a fresh run.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

use shared::choices::Choices;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    shared::editing::assert_session_agrees(&mut Choices::new(bytes));
});
