//! No fix that may be applied unseen makes a source worse.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

use shared::choices::Choices;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let text = shared::editing::changed_small(&mut Choices::new(bytes));
    shared::editing::assert_fixes_make_nothing_worse(&text, 2);
});
