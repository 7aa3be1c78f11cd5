//! From a file to a source that compiles.
