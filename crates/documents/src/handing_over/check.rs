//! Checks a handover: whether each byte is as the crew's device signed it, and what that says.
//!
//! Files in, findings out. It needs no ledger and no key, so it can say that nothing was changed, and never who
//! the crew is: anybody can found one and sign what they like in its name. That is why a report names the crew by
//! a code that the customer can compare.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read, Seek};

use ledger::excerpt::Proved;
use ledger::roster_events::Role;
use ledger::{CrewId, Excerpt};
use projections::handover::{Added, handover};
use serde::Serialize;
use trade::Day;

use super::archive::{Zipped, is_sealed};
use super::list::{Listed, SignedList, hash_of, read_list};
use super::pictures::{Pictures, photo_of};
use super::{DATA, EVENTS, FORMAT, LIST, ReadAgain, VERSION, crew_code, follow};

/// Most bytes of the signed list.
const MOST_LIST: u64 = 16 * 1024 * 1024;

/// Files by their names, wherever they stand.
pub trait Files {
    /// Their names, with `/` between folders.
    ///
    /// # Errors
    /// What the place says.
    fn names(&mut self) -> io::Result<Vec<String>>;

    /// The first `most` bytes of a file.
    ///
    /// # Errors
    /// What the place says; also for a file whose own check sum does not fit.
    fn read(&mut self, name: &str, most: u64) -> io::Result<Vec<u8>>;
}

/// Something that is not as it was signed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The file it is in; empty where it is in none.
    pub file: String,
    /// What is wrong.
    pub what: String,
}

/// Who signed a handover, and of what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Signed {
    /// The crew's id.
    pub crew: CrewId,
    /// The code by which people compare it.
    pub crew_code: String,
    /// What the crew calls itself.
    pub crew_name: String,
    /// The device that made the file.
    pub device: String,
    /// Whose device it is.
    pub person: String,
    /// The job's code.
    pub job: String,
    /// What was done.
    pub title: String,
    /// For whom.
    pub customer: String,
    /// The day on which it says it was made.
    pub made_on: Day,
    /// How many events are shown.
    pub events: usize,
    /// How many stand as hashes alone.
    pub withheld: u64,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Checked {
    /// Every byte is as it was signed.
    pub is_as_signed: bool,
    /// What is not.
    pub faults: Vec<Fault>,
    /// What else is to know.
    pub notes: Vec<String>,
    /// How many files the list names.
    pub files: usize,
    /// Who signed; none where that can't be made out.
    pub signed: Option<Signed>,
}

/// Findings in the making.
#[derive(Default)]
struct Findings {
    faults: Vec<Fault>,
    notes: Vec<String>,
}

impl Findings {
    fn fault(&mut self, file: &str, what: impl Into<String>) {
        self.faults.push(Fault { file: file.to_owned(), what: what.into() });
    }

    fn checked(self, files: usize, signed: Option<Signed>) -> Checked {
        let Self { faults, notes } = self;
        Checked { is_as_signed: faults.is_empty(), faults, notes, files, signed }
    }
}

/// A list, and those files that are as it says and not photos.
type Held = (SignedList, BTreeMap<String, Vec<u8>>);

/// Checks a zip.
///
/// # Errors
/// What the disk says; never what is in the zip.
pub fn check_zip<R: Read + Seek>(zip: &mut R) -> io::Result<Checked> {
    let mut found = Findings::default();
    let read = match Zipped::open(zip) {
        Some(mut files) => read(&mut files, &mut found)?,
        None => {
            found.fault("", "this is no whole zip: it is something else, was cut off, or has lost its end");
            None
        }
    };
    let Some((list, held)) = read else { return Ok(found.checked(0, None)) };
    if !is_sealed(zip, (&list.crew, &list.device))? {
        let what = if found.faults.is_empty() {
            "every file in it is as it was signed, and the zip around them is not the one that was handed over: \
             either somebody packed them again, or a byte between the files was changed; unpack it, and check \
             the folder"
        } else {
            "the zip is not the one that was handed over"
        };
        found.fault("", what);
    }
    let signed = tell(&held, &list, &mut found);
    Ok(found.checked(list.files.len() + 1, signed))
}

/// Checks files that stand by themselves, as in a folder.
///
/// # Errors
/// What the place says when it is asked for names.
pub fn check_files(files: &mut dyn Files) -> io::Result<Checked> {
    let mut found = Findings::default();
    let Some((list, held)) = read(files, &mut found)? else { return Ok(found.checked(0, None)) };
    let signed = tell(&held, &list, &mut found);
    Ok(found.checked(list.files.len() + 1, signed))
}

/// Reads the list and holds the files against it. None where there is no list to go by.
fn read(files: &mut dyn Files, found: &mut Findings) -> io::Result<Option<Held>> {
    let names: BTreeSet<String> = files.names()?.into_iter().collect();
    if !names.contains(LIST) {
        found.fault(LIST, "it is missing, so this is no handover, or the list was taken out of it");
        return Ok(None);
    }
    let Some(list) = files.read(LIST, MOST_LIST).ok().and_then(|bytes| read_list(&bytes)) else {
        found.fault(LIST, "it was changed: it is not written as the program writes it");
        return Ok(None);
    };
    if !list.is_signed {
        found.fault(LIST, "it was changed: the signature is not that device’s over this list");
    }
    let held = compare(files, &names, &list, found);
    Ok(Some((list, held)))
}

/// Holds each file against the list. Gives those that follow from the events, and the events.
fn compare(
    files: &mut dyn Files,
    names: &BTreeSet<String>,
    list: &SignedList,
    found: &mut Findings,
) -> BTreeMap<String, Vec<u8>> {
    let mut held = BTreeMap::new();
    let by_hash: BTreeMap<[u8; 32], &String> =
        list.files.iter().map(|(name, listed)| (listed.hash, name)).collect();
    let mut renamed = BTreeSet::new();
    // One byte more than the longest shows a file that is none of them.
    let most = list.files.values().map(|listed| listed.bytes).max().unwrap_or(0).saturating_add(1);
    for name in names.iter().filter(|name| *name != LIST && !list.files.contains_key(*name)) {
        let bytes = files.read(name, most);
        match bytes.ok().and_then(|bytes| by_hash.get(&hash_of(&bytes))).filter(|was| !names.contains(**was))
        {
            Some(was) => {
                renamed.insert((*was).clone());
                found.fault(name, format!("it was called {was} when it was signed"));
            }
            None => found.fault(name, "it was added: it was not there when the rest was signed"),
        }
    }
    for (name, listed) in &list.files {
        if !names.contains(name) {
            if !renamed.contains(name) {
                found.fault(name, "it is missing");
            }
            continue;
        }
        let Ok(bytes) = files.read(name, most) else {
            found.fault(name, "it was changed: it can’t be read whole");
            continue;
        };
        let is = Listed { bytes: bytes.len() as u64, hash: hash_of(&bytes) };
        if is == *listed {
            // Photos are large and need no second look.
            if !name.starts_with("photos/") {
                held.insert(name.clone(), bytes);
            }
        } else if let Some(other) = by_hash.get(&is.hash) {
            found.fault(name, format!("it was changed: what stands in it was signed as {other}"));
        } else {
            found.fault(name, "it was changed");
        }
    }
    held
}

/// What the events say, and whether the rest follows from them.
fn tell(held: &BTreeMap<String, Vec<u8>>, list: &SignedList, found: &mut Findings) -> Option<Signed> {
    let proved = match Excerpt::decode(held.get(EVENTS)?) {
        Ok(excerpt) if excerpt.crew() != list.crew => {
            found.fault(EVENTS, "its events are of another crew than the list says");
            return None;
        }
        Ok(excerpt) => excerpt.prove(),
        Err(fault) => Err(fault),
    };
    let proved = proved.map_err(|fault| found.fault(EVENTS, fault.to_string())).ok()?;
    let device = check_device(list, &proved, found);
    let read: Option<ReadAgain> = serde_json::from_slice(held.get(DATA)?).ok();
    let Some(read) = read.filter(|read| read.format == FORMAT) else {
        found
            .notes
            .push(format!("{DATA} is of a shape that this program does not read; its bytes are as signed"));
        return None;
    };
    let (device, person) = device?;
    let told = handover(list.crew, &proved, &read.added)
        .map_err(|error| found.fault(DATA, error.to_string()))
        .ok()?;
    // What is changed already tells nothing more by being made again.
    if found.faults.is_empty() {
        check_rest(held, list, &proved, &read, found);
    }
    let unread = proved.events.iter().filter(|event| event.payload.is_err()).count();
    if unread > 0 {
        found.notes.push(format!("{unread} events are of kinds that this program does not know"));
    }
    Some(Signed {
        crew: list.crew,
        crew_code: crew_code(&list.crew),
        crew_name: told.crew_name,
        device,
        person,
        job: told.code,
        title: told.title,
        customer: told.customer,
        made_on: told.made_on,
        events: proved.events.len(),
        withheld: proved.withheld,
    })
}

/// The device that signed, and its person, as the crew's own events say.
fn check_device(list: &SignedList, proved: &Proved, found: &mut Findings) -> Option<(String, String)> {
    let Some(device) = proved.roster.device(&list.device) else {
        found.fault(LIST, "it was signed by a device that does not belong to the crew");
        return None;
    };
    if device.retired {
        found.fault(LIST, "it was signed by a device that had been taken off the crew");
    }
    let person = proved.roster.person(&device.person);
    if person.is_none_or(|person| person.role == Role::Hand) {
        found
            .fault(LIST, "it was signed by a device of somebody who leads no work, and so hands no job over");
    }
    Some((device.name.clone(), person.map_or_else(String::new, |person| person.name.clone())))
}

/// Makes the other files again from the events, and compares.
fn check_rest(
    held: &BTreeMap<String, Vec<u8>>,
    list: &SignedList,
    proved: &Proved,
    read: &ReadAgain,
    found: &mut Findings,
) {
    check_photos(list, &read.added, found);
    if read.made_with != VERSION {
        found.notes.push(format!(
            "it was made with version {} and this is {VERSION}, so its pages were not made again from the events \
             to compare them; they are as they were signed",
            read.made_with
        ));
        return;
    }
    let pictures = held.iter().filter_map(|(name, bytes)| Some((photo_of(name)?, bytes.clone())));
    let pictures: Pictures = pictures.collect();
    let follows = match follow(list.crew, proved, &read.added, &pictures) {
        Ok(follows) => follows,
        Err(error) => return found.fault(DATA, error.to_string()),
    };
    for (name, bytes) in &follows {
        match held.get(name) {
            Some(is) if is == bytes => {}
            Some(_) => found.fault(name, "it does not follow from the signed events"),
            None if list.files.contains_key(name) => {} // It was changed, which is said already.
            None => found.fault(name, "it is missing from the list, and follows from the signed events"),
        }
    }
    for name in list.files.keys() {
        let is_of_photo = name.starts_with("photos/")
            || photo_of(name).is_some_and(|of| read.added.photos.contains_key(&of));
        if !follows.contains_key(name) && name != EVENTS && !is_of_photo {
            found.fault(name, "nothing in the signed events leads to it");
        }
    }
}

/// The photos that are listed are those that are named, each under its own hash.
fn check_photos(list: &SignedList, added: &Added, found: &mut Findings) {
    let named: BTreeMap<String, [u8; 32]> =
        added.photos.iter().map(|(photo, ending)| (format!("photos/{photo}.{ending}"), photo.0)).collect();
    for (name, listed) in list.files.iter().filter(|(name, _)| name.starts_with("photos/")) {
        match named.get(name) {
            Some(hash) if *hash == listed.hash => {}
            Some(_) => found.fault(name, "it is not the photo that the entry names"),
            None => found.fault(name, "no entry names this photo"),
        }
    }
    for name in named.keys().filter(|name| !list.files.contains_key(*name)) {
        found.fault(name, "it is missing from the list");
    }
}
