//! Ripieno compiles plain-text arrangements into parts and scores.
//!
//! Data go one way, through seven stages, each a plain function of what comes before:
//!
//! 1. [`syntax`] reads text into a tree with spans, whatever the text.
//! 2. [`resolve`] links names and times: the [`resolve::Piece`].
//! 3. [`arrange`] works a scoring out: what every player sounds, every note with its role and its
//!    origin.
//! 4. [`check`] finds what will not work, one rule a file.
//! 5. [`notate`] sets what sounds on staves as players read them.
//! 6. [`edition`] says what stands on which pages: full score, condensed score, parts.
//! 7. [`render`] writes text, MusicXML and MIDI.
//!
//! A [`session`] keeps what they give out for whoever works on a source. [`import`] goes the other
//! way, from files of music to a source.
//!
//! Alongside them are [`music`] (pure theory), [`instruments`] (the catalogue) and
//! [`diagnostics`] (findings and how to show them). None of these reads or writes a file; the command
//! line does, which is no part of this library.
//!
//! The stages live in crates below this one: the compiler proper (`ripieno-compiler`: all up to
//! [`arrange`], and what stands beside), `ripieno-checker` ([`check`], [`advise`], [`session`]),
//! `ripieno-writers` ([`notate`], [`edition`], [`render`]) and `ripieno-import` ([`import`]). This library only
//! gathers them.
//!
//! ```
//! use ripieno::{arrange, diagnostics::Sources, notate, render, resolve};
//!
//! let mut sources = Sources::new();
//! let source = sources.add("bell.ripieno", r#"
//! piece "Bell" { }
//! form {
//!   1 metre 2/4, key D major
//!   1 end
//! }
//! voice tune { 1: 1/4 D5 A4 | }
//! ensemble duo {
//!   era 1770
//!   oboe
//! }
//! scoring plain for duo {
//!   oboe plays tune as melody
//! }
//! "#);
//! let (piece, findings) = resolve::resolve(&mut sources, source, &mut resolve::NoFiles);
//! assert!(findings.is_empty());
//! let arrangement = arrange::arrange(&piece, &piece.scorings[0]);
//! let score = notate::notate(&arrangement);
//! assert!(render::text::part(&score, 0).contains("Oboe"));
//! ```

pub use ripieno_checker::{advise, check, draft, session, write_out};
pub use ripieno_compiler::{
    arrange, diagnostics, format, harmony, instruments, limits, music, narrow, resolve, syntax,
};
#[cfg(feature = "pages")]
pub use ripieno_engrave as engrave;
pub use ripieno_import as import;
pub use ripieno_lsp as lsp;
pub use ripieno_writers::{edition, notate, perform, render};
