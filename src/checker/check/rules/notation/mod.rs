//! What is hard to read.

pub mod ledger_lines;
pub mod no_such_way;
pub mod worse_key;
