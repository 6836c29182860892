//! *Now*: what one is doing, and all that one can log.

use askama::Template;

use crate::frame::Frame;

/// The screen.
#[derive(Debug, Template)]
#[template(path = "now.html")]
pub(crate) struct Now {
    pub(crate) frame: Frame,
}
