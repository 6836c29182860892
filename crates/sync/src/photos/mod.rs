//! Photos between devices: what two devices say to each other until each has of the photos what it keeps.
//!
//! A [`PhotoSession`] is the state of one stream beside the events, as pure as the crate's other one. It never takes
//! a byte that does not fit the hash that an event names: a photo comes as its [`Outline`], which the hash proves, and
//! then group by group, each proved by the outline. So a transfer that was cut goes on behind the last whole group,
//! with whoever has the photo, and nothing but the bytes themselves has to be kept for it.
//!
//! Which photos are wanted, who may have which, and where they lie is the shell's to say.

mod asking;
mod frames;
mod outline;
mod serving;
mod session;

pub use frames::{MAX_ASKED_ABOUT, MAX_SMALL, Portion};
pub use outline::{GROUP, GroupHash, MAX_GROUPS, MAX_PHOTO, Outline, Outliner};
pub use session::{MAX_WANTED, PhotoOutput, PhotoSession};
