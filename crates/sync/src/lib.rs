//! sync.
