//! The folder that another device of the crew left, or this one: what only it holds is taken in. A broken phone's, one
//! whose key was damaged, an old copy, a backup. Nothing in it is changed, not even a lock is made.
//!
//! Its entries are for [`Node::salvage`]. Its photos are taken where the ledger names them, this device keeps such, and
//! their bytes are what the name says.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use ledger::{Payload, PhotoHash, Refusal};
use serde_json::{Value, json};
use store::{OpenError, Store, StoreOptions};

use crate::error::NodeError;
use crate::machine::JOURNAL;
use crate::node::Node;
use crate::node::salvage::{Left, Salvaged, WhyLeft};
use crate::photos::{self, Album, Portion};

/// A folder whose entries are taken in, and whose photos are left to take.
#[must_use]
pub(crate) struct Salvage {
    dir: PathBuf,
    answer: Value,
    /// The photos that this device carries.
    carried: Vec<PhotoHash>,
    album: Arc<Album>,
}

impl Salvage {
    /// Takes in the entries of a folder. `say` is told how many bytes of its journal are read, of how many.
    ///
    /// # Errors
    /// A folder that holds no journal of this crew, or that is in use, or a disk that fails. What was taken in before
    /// that stays.
    pub(crate) fn begin(node: &mut Node, dir: &Path, say: &dyn Fn(u64, u64)) -> Result<Self, NodeError> {
        let mut old = open(node, dir)?;
        let salvaged = node.salvage(&mut old, say)?;
        let Salvaged { new, held, left, damage, of_later } = &salvaged;
        let left: Vec<Value> = left.iter().map(|left| row(node, left)).collect();
        let answer = json!({ "dir": dir, "new": new, "held": held, "left": left, "damage": damage,
            "of_later": of_later });
        let (dir, carried, album) = (dir.to_owned(), node.carried_photos(), Arc::clone(node.album()));
        Ok(Self { dir, answer, carried, album })
    }

    /// Takes the photos. `say` is told how many of them are looked at, of how many.
    pub(crate) fn take_photos(self, say: &dyn Fn(u64, u64)) -> Value {
        let Self { dir, mut answer, carried, album } = self;
        let lacking = carried.into_iter().filter(|photo| album.here(*photo) < Portion::Whole);
        let there = |photo: &PhotoHash| photos::path_of(&dir, *photo).is_file();
        let wanted: Vec<PhotoHash> = lacking.filter(there).collect();
        let of = wanted.len() as u64;
        let (mut new, mut damaged, mut trouble) = (0_u64, 0_u64, None);
        let wanted = if album.keeps() == Portion::Whole { wanted } else { Vec::new() };
        for (photo, done) in wanted.into_iter().zip(1..) {
            match photos::read_whole(&dir, photo) {
                Some(bytes) => match album.keep_whole(photo, &bytes) {
                    Ok(()) => new += 1,
                    Err(why) => {
                        trouble = Some(why);
                        break;
                    }
                },
                None => damaged += 1,
            }
            say(done, of);
        }
        answer["photos"] =
            json!({ "new": new, "damaged": damaged, "left": of - new - damaged, "why": trouble });
        answer
    }
}

/// Opens the journal of a folder, which may be a data folder or a journal that was put aside.
fn open(node: &Node, dir: &Path) -> Result<Store, NodeError> {
    let own = node.folder().join(JOURNAL);
    for journal in [dir.join(JOURNAL), dir.to_owned()] {
        if journal.canonicalize().is_ok_and(|journal| own.canonicalize().is_ok_and(|own| own == journal)) {
            return Err(NodeError::bad_input("that is this device's own folder; name another one"));
        }
        match Store::open(StoreOptions::reading(&journal)?.taken_for(node.crew())) {
            Err(OpenError::Empty) => {}
            opened => return Ok(opened?),
        }
    }
    Err(NodeError::bad_input(format!(
        "no journal in {}; name a data folder: the one with a folder {JOURNAL} in it",
        dir.display()
    )))
}

fn row(node: &Node, left: &Left) -> Value {
    let device = left.device.and_then(|device| node.ledger().roster().device(&device));
    let (why, next) = explain(left.why);
    let lists = node.book().lists();
    let said = left.said.iter().map(|Payload { act, body }| {
        json!({ "person": lists.person(act.person), "day": act.done_on,
            "what": projections::words::words(&lists, node.book(), act, body) })
    });
    json!({ "device": device.map(|device| &device.name), "events": left.events, "why": why, "next": next,
        "said": said.collect::<Vec<_>>() })
}

/// Why entries were not taken in, and what to do next.
const fn explain(why: WhyLeft) -> (&'static str, &'static str) {
    match why {
        WhyLeft::Forked => (
            "written by a device that was copied or set back and wrote twice from the same place; set aside",
            "`fivebar set-aside` lists what is set aside, and enters it again",
        ),
        WhyLeft::Refused(Refusal::BeyondCut) => (
            "written beyond what was held of the device when it was taken off the crew; does not count",
            "enter it again by hand. What is salvaged before `fivebar retire` is taken in",
        ),
        WhyLeft::Refused(Refusal::OutOfOrder) => (
            "what stood before is damaged there and is not here",
            "meet a device that may have it (`fivebar run`), then do the same once more",
        ),
        WhyLeft::Refused(Refusal::NotAdmitted | Refusal::UnknownChain) => (
            "nothing that is here lets the device into the crew",
            "meet a device that knows it (`fivebar run`), then do the same once more",
        ),
        WhyLeft::Refused(_) => (
            "not what a device of the crew signed",
            "nothing uses it; keep the folder, and look for another copy of it",
        ),
    }
}
