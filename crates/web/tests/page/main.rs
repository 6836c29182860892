//! The page on a real socket: who gets in, what they may do, and what a stranger can't.
#![allow(missing_docs, reason = "a test has no callers")]

mod forms;
mod guards;
mod house;
mod joining;
mod lists;
mod papers;
mod photos;
mod rooms;
mod terms;
mod world;
