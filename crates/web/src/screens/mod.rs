//! The screens. Each reads what it shows from the node in one go and is then only text.

pub(crate) mod now;
