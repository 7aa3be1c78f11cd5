//! short.
