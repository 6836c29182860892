//! The handover of a job: made from the ledger, signed by this device, written as a zip or as a folder.
//!
//! What goes with it and how it looks is decided elsewhere; this finds the events, the photos and the office's part.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};

use documents::handing_over::{
    HandoverError, LIST, Pictures, ZipFault, crew_code, handover_files, hash_of, picture_of, signed_list,
    wanted_pictures, write_zip,
};
use ledger::{Audience, CrewId, DeviceSecret, Excerpt, FrontBuilder, JobId, PersonId, PhotoHash};
use projections::handover::{Added, ExtraPrice, Firm, Handover, handover, picked};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::Day;

use crate::Role;
use crate::error::NodeError;
use crate::invoices;
use crate::node::Node;
use crate::photos;

/// Which job is handed over, and into which folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HandOverWish {
    /// The job.
    pub job: String,
    /// Into which folder.
    pub dir: PathBuf,
    /// As a plain folder instead of a zip.
    pub as_folder: bool,
}

/// What a handover is made from, as the node had it. What is left takes its time, because photos are read and drawn
/// small, and needs no node.
pub struct Begun {
    crew: CrewId,
    device: DeviceSecret,
    data: PathBuf,
    code: String,
    excerpt: Excerpt,
    added: Added,
}

/// A handover in the making: all of it but the photos, which are read when it is written.
pub struct Made {
    crew: CrewId,
    device: DeviceSecret,
    /// What is called after the job: `handover-GARAGE`.
    pub name: String,
    handover: Handover,
    events: usize,
    /// The files by their names, the signed list among them.
    files: BTreeMap<String, Vec<u8>>,
    /// The photos by the names of their files in the handover, each with where it is kept and how long it is.
    photos: BTreeMap<String, (PhotoHash, PathBuf, u64)>,
}

impl From<HandoverError> for NodeError {
    fn from(error: HandoverError) -> Self {
        Self::bad_input(error.to_string())
    }
}

/// Begins the handover of a job, as it stands today.
///
/// # Errors
/// A job that is not there, somebody who leads no work, and what the disk says.
pub fn begin(node: &mut Node, author: PersonId, code: &str, today: Day) -> Result<Begun, NodeError> {
    let owner = node.device().person;
    let leads =
        |person| node.ledger().roster().person(&person).is_some_and(|person| person.role >= Role::Lead);
    if !leads(author) || !leads(owner) {
        return Err(NodeError::bad_input(
            "a job is handed over by the boss or the foreman, on a phone or laptop of theirs",
        ));
    }
    let job = job_named(node, code)?;
    let excerpt = excerpt(node, job)?;
    // What an extra was agreed at is for who sees prices here; the foreman's page does not.
    let sees_prices = author == owner
        || node.ledger().roster().person(&author).is_some_and(|person| person.role == Role::Owner);
    let mut added = added(node, job, today);
    if !sees_prices {
        added.extras.clear();
    }
    let (crew, device, data) = (node.crew(), node.secret(), node.folder().to_owned());
    Ok(Begun { crew, device, data, code: code.to_owned(), excerpt, added })
}

impl Begun {
    /// Makes the rest of it.
    ///
    /// # Errors
    /// Entries that prove nothing any more, and what the disk says.
    pub fn make(self) -> Result<Made, NodeError> {
        let Self { crew, device, data, code, excerpt, mut added } = self;
        let proved = excerpt.prove().map_err(HandoverError::from)?;
        let without_photos = handover(crew, &proved, &added).map_err(HandoverError::from)?;
        let mut kept = BTreeMap::new();
        for photo in without_photos.places.iter().flat_map(|place| &place.photos).map(|photo| photo.photo) {
            if let Some((ending, bytes)) = photos::whole(&data, photo) {
                added.photos.insert(photo, ending.to_owned());
                let path = photos::path_of(&data, photo);
                kept.insert(format!("photos/{photo}.{ending}"), (photo, path, bytes));
            }
        }
        let handover = handover(crew, &proved, &added).map_err(HandoverError::from)?;
        // One after the other, because a photo in memory is large and its picture is small.
        let small =
            |photo: PhotoHash| Some((photo, picture_of(&fs::read(photos::path_of(&data, photo)).ok()?)?));
        let pictures: Pictures = wanted_pictures(&handover).into_iter().filter_map(small).collect();
        let mut files = handover_files(&excerpt, &added, &pictures)?;
        let own = files.iter().map(|(name, bytes)| (name.clone(), bytes.len() as u64, hash_of(bytes)));
        let photos = kept.iter().map(|(name, (photo, _, bytes))| (name.clone(), *bytes, photo.0));
        let list = signed_list(&crew, &device, own.chain(photos));
        files.insert(LIST.to_owned(), list.into_bytes());
        // A code may hold what no file's name may.
        let sign = |sign: char| if sign.is_ascii_alphanumeric() || "-_".contains(sign) { sign } else { '-' };
        let name = format!("handover-{}", code.chars().map(sign).collect::<String>());
        let events = proved.events.len();
        Ok(Made { crew, device, name, handover, events, files, photos: kept })
    }
}

fn job_named(node: &Node, code: &str) -> Result<JobId, NodeError> {
    let lists = node.book().lists();
    let found = lists.jobs.values().find(|listed| listed.code == code).map(|listed| listed.job);
    found.ok_or_else(|| invoices::no_job(code))
}

/// The events that go with it, out of the journal.
fn excerpt(node: &mut Node, job: JobId) -> Result<Excerpt, NodeError> {
    let mut fronts = Vec::new();
    for (chain, shown) in picked(node.book(), job) {
        let Some(start) = node.ledger().chain(&chain).map(|chain| chain.start) else { continue };
        // What stands in the office's chains is sealed, and nobody outside could read it.
        if start.audience == Audience::Office {
            continue;
        }
        let mut front = FrontBuilder::new(start, &shown);
        while let Some(next_seq) = front.next_seq() {
            let run = node.read_run(chain, next_seq)?.ok_or_else(|| {
                NodeError::bad_input(format!(
                    "entries of the chain {} are not on the disk; `fivebar verify` says what is",
                    chain.short()
                ))
            })?;
            front.add(&run);
        }
        fronts.extend(front.finish());
    }
    Ok(Excerpt::new(node.crew(), fronts))
}

/// What the office adds, as far as this device reads it.
fn added(node: &Node, job: JobId, made_on: Day) -> Added {
    let lists = node.book().lists();
    let firm = lists.firm.map(|firm| Firm {
        name: firm.name.clone(),
        trading_as: firm.trading_as.clone(),
        address: firm.address.clone(),
        vat_number: firm.vat_number.clone(),
    });
    let of_job = projections::agreed_extras(node.book()).into_values().filter(|extra| extra.job == job);
    let extras = of_job.filter_map(|extra| {
        let priced = lists.extras.get(&extra.key)?;
        Some(ExtraPrice { extra: extra.key, amount: priced.amount })
    });
    Added { job, made_on, firm, extras: extras.collect(), photos: BTreeMap::new() }
}

impl Made {
    /// How many bytes its photos have.
    #[must_use]
    pub fn photo_bytes(&self) -> u64 {
        self.photos.values().map(|(_, _, bytes)| bytes).sum()
    }

    /// Its files in their order, one by one: first what is read, then the photos.
    fn each(&self) -> impl Iterator<Item = io::Result<(String, Vec<u8>)>> {
        let own = self.files.iter().map(|(name, bytes)| Ok((name.clone(), bytes.clone())));
        let photos = self.photos.iter().map(|(name, (photo, path, _))| {
            let bytes = fs::read(path)?;
            if hash_of(&bytes) == photo.0 {
                Ok((name.clone(), bytes))
            } else {
                Err(io::Error::other(format!("the photo {} was changed meanwhile", photo.short())))
            }
        });
        own.chain(photos)
    }

    /// Writes it as one zip into an empty file, or into memory.
    ///
    /// # Errors
    /// What the disk says.
    pub fn zip_into<W: Read + Write + Seek>(&self, out: W) -> Result<W, ZipFault> {
        write_zip(out, (&self.crew, &self.device), self.each())
    }

    /// Writes the zip into a folder. One of that name is replaced once the new one is whole.
    fn write_zip(&self, dir: &Path) -> Result<PathBuf, NodeError> {
        fs::create_dir_all(dir).map_err(|error| NodeError::folder(dir, &error))?;
        let path = dir.join(format!("{}.zip", self.name));
        let beside = dir.join(format!("{}.zip.new", self.name));
        let failed = |error: &dyn std::fmt::Display| NodeError::folder(&beside, error);
        let mut options = fs::OpenOptions::new();
        let file = options.read(true).write(true).create(true).truncate(true).open(&beside);
        let written = self.zip_into(file.map_err(|error| failed(&error))?).map_err(|error| failed(&error));
        let done = written.and_then(|file| {
            file.sync_all().and_then(|()| fs::rename(&beside, &path)).map_err(|error| failed(&error))
        });
        if done.is_err() {
            // Half a zip helps nobody; that it is in the way is no reason for another error.
            let _ = fs::remove_file(&beside);
        }
        done.map(|()| path)
    }

    /// Writes it as a folder within a folder.
    fn write_folder(&self, dir: &Path) -> Result<PathBuf, NodeError> {
        let folder = dir.join(&self.name);
        fs::create_dir_all(dir).map_err(|error| NodeError::folder(dir, &error))?;
        fs::create_dir(&folder).map_err(|error| NodeError::folder(&folder, &error))?;
        for file in self.each() {
            let (name, bytes) = file.map_err(|error| NodeError::folder(&folder, &error))?;
            let path = folder.join(name);
            let written =
                path.parent().map_or(Ok(()), fs::create_dir_all).and_then(|()| fs::write(&path, bytes));
            written.map_err(|error| NodeError::folder(&path, &error))?;
        }
        Ok(folder)
    }
}

/// Makes and writes a handover: as one zip, or as a folder.
///
/// # Errors
/// As [`Begun::make`].
pub(crate) fn write(begun: Begun, wish: &HandOverWish) -> Result<Value, NodeError> {
    let made = begun.make()?;
    let written = if wish.as_folder { made.write_folder(&wish.dir)? } else { made.write_zip(&wish.dir)? };
    Ok(json!({
        "file": written, "job": made.handover.code, "crew_code": crew_code(&made.crew),
        "open": made.handover.open, "events": made.events, "photos": made.photos.len(),
    }))
}
