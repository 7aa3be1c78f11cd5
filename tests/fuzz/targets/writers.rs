//! Whatever music fits its bars, the writers write it whole.
#![no_main]

#[path = "../../shared/mod.rs"]
mod shared;

use shared::choices::Choices;
use shared::generator::small_source;
use shared::outputs::{assert_all_holds, assert_each_holds, unpacked};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let mut choices = Choices::new(bytes);
    let (one, twice) = (choices.byte(), choices.one_in(8));
    let formats = unpacked();
    let one = &formats[usize::from(one) % formats.len()..][..1];
    let source = small_source(&mut choices);
    if twice {
        assert_all_holds(&source, one);
    } else {
        assert_each_holds(&source, one);
    }
});
