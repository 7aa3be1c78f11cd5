//! Thrift: what is kept back tells when it comes.

pub mod nothing_new;
pub mod overused;
