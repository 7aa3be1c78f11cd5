//! Whatever music fits its bars, the writers write it whole.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

use shared::choices::Choices;
use shared::generator::source;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let source = source(&mut Choices::new(bytes));
    shared::outputs::assert_all_holds(&source, &shared::outputs::unpacked());
});
