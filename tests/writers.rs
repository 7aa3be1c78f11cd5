//! Whatever music fits its bars, the writers write it whole.

mod shared;

use proptest::prelude::*;

use shared::choices::Choices;
use shared::generator::source;
use shared::outputs::{assert_all_holds, formats};

/// A source, shown as it is where it fails.
struct Made(String);

impl std::fmt::Debug for Made {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "\n{}", self.0)
    }
}

fn made() -> impl Strategy<Value = Made> {
    let bytes = proptest::collection::vec(any::<u8>(), 0..1500);
    bytes.prop_map(|bytes| Made(source(&mut Choices::new(&bytes))))
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(200) })]

    #[test]
    fn every_file_of_every_scoring_holds_the_music_that_was_written(
        made in made()
    ) {
        assert_all_holds(&made.0, &formats());
    }
}
