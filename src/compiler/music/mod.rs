//! Pure theory of music: exact time, spelled pitch, intervals, keys, metres and chord symbols.
//!
//! Nothing here knows a file, a player or a staff. Everything later is built of these values.

mod chord;
mod figure;
mod interval;
mod key;
mod loudness_words;
mod metre;
mod pitch;
mod sign;
mod tempo_words;
mod time;
mod touch;

pub use chord::{Chord, ChordError, ChordQuality};
pub use figure::{Figure, Figures, all_figures, figures};
pub use interval::Interval;
pub use key::{Key, Mode};
pub use loudness_words::{says_growth, says_how_it_goes, says_how_loud};
pub use metre::{Metre, MetreSign};
pub use pitch::{Letter, Pitch, PitchName};
pub use sign::Sign;
pub use tempo_words::{TempoBack, TempoChange, TempoWords};
pub use time::Time;
pub use touch::Touch;
