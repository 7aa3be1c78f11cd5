//! What is hard to read.

pub mod ledger_lines;
pub mod no_such_way;
pub mod ragged_end;
pub mod typed_as_written;
pub mod worse_key;
