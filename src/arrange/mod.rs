//! From a piece and a scoring to what each player sounds.

mod arrangement;

pub use arrangement::{Arrangement, LineId, LineOrigin, Part, SoundingNote};
