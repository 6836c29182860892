//! The world that the ledger's tests speak of, and one payload or more of every kind.
//!
//! Nothing here is random and no clock is read, so that the bytes are the same on every machine.

mod office;
mod roster;
mod site;

use std::collections::BTreeMap;

use ledger::{
    Act, Body, ChainId, CrewId, DeviceSecret, EntryId, EntryRef, EventHash, ItemId, JobId, Kind, LineId,
    Payload, PersonId, PhotoHash, StageId,
};
use trade::{Day, Moment};

/// The crew that the samples' ids are derived for. No founding event leads to it.
pub(crate) const CREW: CrewId = CrewId([0xc5; 32]);

/// 2 November 2026, 16:35 in Wexcombe, in milliseconds since 1970.
pub(crate) const MONDAY_MS: i64 = 1_793_637_300_000;

/// The device secret made from 32 equal bytes.
pub(crate) fn secret(byte: u8) -> DeviceSecret {
    DeviceSecret::from_seed(&[byte; 32])
}

/// The chain whose id is 16 equal bytes.
pub(crate) const fn chain_id(byte: u8) -> ChainId {
    ChainId([byte; 16])
}

fn person(name: &str) -> PersonId {
    PersonId::named(&CREW, name)
}

fn garage() -> JobId {
    JobId::named(&CREW, "GARAGE")
}

fn mill() -> JobId {
    JobId::named(&CREW, "MILL")
}

fn stage(name: &str) -> StageId {
    StageId::named(&CREW, "GARAGE", name)
}

fn item(name: &str) -> ItemId {
    ItemId::named(&CREW, name)
}

fn line(what: &str) -> LineId {
    LineId::named(&CREW, "GARAGE", "skim", "material", what)
}

fn entry(row: &str) -> EntryRef {
    EntryRef { person: person("Tobi Larch"), entry: EntryId::of_row(&CREW, "entries", row) }
}

const fn photo(byte: u8) -> PhotoHash {
    PhotoHash([byte; 32])
}

pub(crate) const fn event(byte: u8) -> EventHash {
    EventHash([byte; 32])
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn at(text: &str) -> Moment {
    Moment::parse(text, "Europe/London").unwrap()
}

/// A number, a rate or a sum, as people write it.
fn number<T: std::str::FromStr<Err: std::fmt::Debug>>(text: &str) -> T {
    text.parse().unwrap()
}

fn words(list: &[&str]) -> Vec<String> {
    list.iter().map(|&word| word.to_owned()).collect()
}

/// The act of the first sample of a kind says all that an act can say; those after it say little,
/// so that both forms of every optional part are among the samples.
pub(crate) fn act(kind: Kind, place: u8) -> Act {
    let entry =
        EntryId([u8::try_from(kind.number()).unwrap(), place, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13]);
    let bare = Act {
        person: person("Tobi Larch"),
        author: person("Tobi Larch"),
        entry,
        done_on: day("2026-11-02"),
        done_at: None,
        logged_at: Moment::new(MONDAY_MS, 0).unwrap(),
        row_key: String::new(),
        said: String::new(),
        note: String::new(),
        replaces: Vec::new(),
    };
    if place > 0 {
        return bare;
    }
    Act {
        person: person("Maren Oake"),
        done_at: Some(16 * 60 + 35),
        // A clock in summer time, and not on the whole second.
        logged_at: Moment::new(MONDAY_MS - 120 * 86_400_000 + 789, 60).unwrap(),
        row_key: "e017".to_owned(),
        said: "halb fünf: skim fertig, Ø 1,5 mm".to_owned(),
        note: "kept at 21 °C – £5 of wood 🪵".to_owned(),
        replaces: vec![event(0x11), event(0x2f)],
        ..bare
    }
}

/// At least one payload of every kind, in the order of the kinds' numbers.
pub(crate) fn samples() -> Vec<Payload> {
    let mut places: BTreeMap<Kind, u8> = BTreeMap::new();
    let bodies = roster::bodies().into_iter().chain(site::bodies()).chain(office::bodies());
    let mut samples: Vec<Payload> = bodies
        .map(|body: Body| {
            let place = places.entry(body.kind()).or_default();
            let act = act(body.kind(), *place);
            *place += 1;
            Payload { act, body }
        })
        .collect();
    samples.sort_by_key(|payload| payload.body.kind());
    samples
}
