//! A bar of a scoring as text: what everybody plays there.

use crate::diagnostics::FileId;
use crate::notate::notate;
use crate::render::text;
use crate::session::Session;

/// A bar of a scoring as text, by its number in the source; `None` where there is no such scoring
/// or bar.
pub fn show_bar(session: &mut Session, root: FileId, scoring: &str, bar: i32) -> Option<String> {
    let arrangement = session.arrangement(root, scoring)?;
    let index = arrangement.piece.form.index_of(bar)?;
    Some(text::bar(&notate(&arrangement), index))
}
