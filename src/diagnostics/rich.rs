//! rich.
