//! net.
