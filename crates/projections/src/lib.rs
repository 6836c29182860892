//! projections.
