//! What is hard to read.

pub mod ledger_lines;
