//! Whole-system tests live in `tests/`; this library is empty on purpose.
