//! Photos over QUIC, beside the events: they arrive, and whoever lies about one loses the photos and not the events.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::{Arc, Mutex, MutexGuard};

use bytes::Bytes;
use ledger::{DeviceKey, PhotoHash};
use net::config::SYNC_PROTOCOL;
use net::{Endpoint, Fault, PhotoHolder};
use sync::photos::{GROUP, GroupHash, Outline, Outliner, Portion};
use sync::{Frame, FrameReader};
use tokio::sync::watch;

use crate::node::{LOOPBACK, Node, connect, key, soon};

/// A frame as it goes on a stream.
fn on_the_stream(frame: &[u8]) -> Vec<u8> {
    Frame::from(frame.to_vec()).on_stream().concat()
}

#[derive(Default)]
struct Held {
    whole: BTreeMap<PhotoHash, Vec<u8>>,
    parts: BTreeMap<PhotoHash, Vec<u8>>,
    named: BTreeSet<PhotoHash>,
    claimed: BTreeSet<PhotoHash>,
    gained: Vec<PhotoHash>,
}

/// The photos of a device, in memory.
pub(crate) struct Photos {
    held: Mutex<Held>,
    bell: watch::Sender<u64>,
}

fn groups_of(bytes: &[u8], groups: Range<usize>) -> Vec<u8> {
    bytes[(groups.start * GROUP).min(bytes.len())..(groups.end * GROUP).min(bytes.len())].to_vec()
}

fn outline(bytes: &[u8]) -> Outline {
    let mut outliner = Outliner::default();
    bytes.chunks(GROUP).for_each(|group| outliner.push(group));
    outliner.finish().expect("a photo")
}

impl Photos {
    fn new() -> Arc<Self> {
        Arc::new(Self { held: Mutex::default(), bell: watch::Sender::new(0) })
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().expect("no test panics while it holds the photos")
    }

    fn take(&self, bytes: Vec<u8>) -> PhotoHash {
        let photo = outline(&bytes).photo();
        self.held().whole.insert(photo, bytes);
        photo
    }

    fn name(&self, photo: PhotoHash) {
        self.held().named.insert(photo);
        self.bell.send_modify(|count| *count += 1);
    }

    async fn until_whole(&self, count: usize) {
        let mut bell = self.bell.subscribe();
        soon(async {
            while self.held().whole.len() < count {
                bell.changed().await.expect("the photos live");
            }
        })
        .await;
    }
}

impl PhotoHolder for Photos {
    fn keeps(&self) -> Portion {
        Portion::Whole
    }

    fn bell(&self) -> watch::Receiver<u64> {
        self.bell.subscribe()
    }

    fn wanted(&self, _peer: DeviceKey) -> Vec<(PhotoHash, Portion)> {
        let held = self.held();
        let is_wanted = |photo: &&PhotoHash| !held.whole.contains_key(photo) && !held.claimed.contains(photo);
        held.named.iter().filter(is_wanted).map(|photo| (*photo, Portion::Nothing)).collect()
    }

    fn look(&self, _peer: DeviceKey, photos: &[PhotoHash]) -> Vec<Portion> {
        let held = self.held();
        let here = |photo| if held.whole.contains_key(photo) { Portion::Whole } else { Portion::Nothing };
        photos.iter().map(here).collect()
    }

    fn claim(&self, _peer: DeviceKey, photo: PhotoHash, _portion: Portion) -> Option<Vec<GroupHash>> {
        self.held().claimed.insert(photo).then(Vec::new)
    }

    fn release(&self, photo: PhotoHash) {
        self.held().claimed.remove(&photo);
    }

    fn outline(
        &self,
        _peer: DeviceKey,
        photo: PhotoHash,
        groups: Range<usize>,
    ) -> Option<(Outline, Vec<u8>)> {
        let bytes = self.held().whole.get(&photo).cloned()?;
        Some((outline(&bytes), groups_of(&bytes, groups)))
    }

    fn read(&self, photo: PhotoHash, group: usize, groups: usize) -> Option<Vec<u8>> {
        let held = self.held();
        Some(groups_of(held.whole.get(&photo)?, group..group + groups))
    }

    fn read_small(&self, _peer: DeviceKey, _photo: PhotoHash) -> Option<Vec<u8>> {
        None
    }

    fn write(&self, photo: PhotoHash, group: usize, _of: usize, pieces: &[Bytes]) -> Result<(), Fault> {
        let mut held = self.held();
        let part = held.parts.entry(photo).or_default();
        assert_eq!(part.len(), group * GROUP, "groups come in a row");
        pieces.iter().for_each(|piece| part.extend_from_slice(piece));
        Ok(())
    }

    fn trim(&self, photo: PhotoHash, groups: usize) -> Result<(), Fault> {
        panic!("{photo} has no beginning to cut off at {groups}");
    }

    fn finish(&self, photo: PhotoHash, whole: &Outline) -> Result<(), Fault> {
        let mut held = self.held();
        let bytes = held.parts.remove(&photo).expect("what was written");
        assert_eq!(outline(&bytes), *whole);
        held.whole.insert(photo, bytes);
        held.claimed.remove(&photo);
        held.gained.push(photo);
        drop(held);
        self.bell.send_modify(|count| *count += 1);
        Ok(())
    }

    fn keep_small(&self, _peer: DeviceKey, photo: PhotoHash, _bytes: &[u8]) -> Result<(), Fault> {
        panic!("no small picture of {photo} was asked for");
    }

    fn note(&self, _peer: DeviceKey, _portions: &[(PhotoHash, Portion)]) {}

    fn note_keeps(&self, _peer: DeviceKey, _keeps: Portion) {}

    fn gained(&self, _peer: DeviceKey, since: u64) -> (Vec<PhotoHash>, u64) {
        let held = self.held();
        let from = usize::try_from(since).unwrap_or(usize::MAX);
        (held.gained.get(from..).unwrap_or_default().to_vec(), held.gained.len() as u64)
    }
}

/// A laptop and a phone of one crew that both hold the roster, each with photos.
fn laptop_and_phone() -> (Arc<Node>, Arc<Node>, [Arc<Photos>; 2]) {
    let photos = [Photos::new(), Photos::new()];
    let mut laptop = Node::founding();
    laptop.admit_device(key(2), "phone", laptop.maren());
    let mut phone = Node::copy_of(2, &laptop);
    (laptop.photos, phone.photos) = (Some(photos[0].clone()), Some(photos[1].clone()));
    (Arc::new(laptop), Arc::new(phone), photos)
}

fn wall(number: u8, length: usize) -> Vec<u8> {
    (0..length)
        .map(|at| u8::try_from((at + at / 256 * usize::from(number)) % 256).unwrap_or_default())
        .collect()
}

#[tokio::test]
async fn photos_go_both_ways_while_people_log() {
    let (laptop, phone, [of_laptop, of_phone]) = laptop_and_phone();
    let (_endpoint, address) = laptop.serve();
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let (dialling, holder) = (endpoint.clone(), Arc::clone(&phone));
    let touch = tokio::spawn(async move { dialling.keep_in_touch(key(1), vec![address], holder).await });
    for round in 1..=3 {
        // One of many groups, and one of a few bytes less than a group.
        let large = of_laptop.take(wall(round, 4 * 1024 * 1024 - usize::from(round)));
        let small = of_phone.take(wall(100 + round, GROUP - usize::from(round)));
        for photo in [large, small] {
            of_laptop.name(photo);
            of_phone.name(photo);
        }
        // Events that come while the photos are on their way are not held up by them.
        for _ in 0..5 {
            laptop.log(3);
            phone.until(|phone| phone.digest() == laptop.digest()).await;
        }
        of_phone.until_whole(2 * usize::from(round)).await;
        of_laptop.until_whole(2 * usize::from(round)).await;
    }
    assert_eq!(of_phone.held().whole, of_laptop.held().whole);
    endpoint.close().await;
    soon(touch).await.expect("to stop with its endpoint");
}

#[tokio::test]
async fn who_lies_about_a_photo_loses_the_photos_and_not_the_events() {
    let (laptop, _phone, [of_laptop, _]) = laptop_and_phone();
    let wanted = outline(&wall(1, 3 * GROUP));
    of_laptop.name(wanted.photo());
    let (_endpoint, address) = laptop.serve();
    let connection = connect(2, (address, key(1)), SYNC_PROTOCOL).await;
    let (mut events, mut heard) = soon(connection.open_bi()).await.expect("a stream");
    // A hello, by which both hold the same, so that nothing of events is on its way.
    let hello = [&[1, 1, 0][..], &laptop.crew().0, &laptop.digest(), &[0; 16]].concat();
    events.write_all(&on_the_stream(&hello)).await.expect("a hello");

    let (mut send, mut receive) = soon(connection.open_bi()).await.expect("a stream");
    let mut frames = FrameReader::default();
    let outline_frame = [
        &[5][..],
        &u32::try_from(wanted.length()).expect("a small photo").to_le_bytes(),
        wanted.groups().as_flattened(),
    ]
    .concat();
    let lie = [&[6][..], &[7; GROUP]].concat();
    send.write_all(&on_the_stream(&[1, 2])).await.expect("an opening");
    let (mut heard_of_photos, mut buffer) = (Vec::new(), [0; 4096]);
    while let Some(length) = soon(receive.read(&mut buffer)).await.expect("the stream") {
        let mut input = &buffer[..length];
        while !input.is_empty() {
            let Some(frame) = frames.take_in(&mut input).expect("a frame") else { continue };
            let answer = match frame[0] {
                2 => on_the_stream(&[3, 2]),
                4 => [on_the_stream(&outline_frame), on_the_stream(&lie)].concat(),
                _ => Vec::new(),
            };
            heard_of_photos.push(frame);
            send.write_all(&answer).await.expect("an answer");
        }
    }
    let kinds: Vec<u8> = heard_of_photos.iter().map(|frame| frame[0]).collect();
    assert_eq!(kinds, [1, 2, 4, 10], "opening, question, ask, goodbye");
    assert_eq!(heard_of_photos[3], [10, 60, 0]);
    assert!(of_laptop.held().whole.is_empty() && of_laptop.held().claimed.is_empty());

    // The events go on: what is logged now arrives here.
    let mut hello_of_laptop = [0; 1 + 83];
    soon(heard.read_exact(&mut hello_of_laptop)).await.expect("the other hello");
    laptop.log(1);
    let mut length_and_kind = [0; 3];
    soon(heard.read_exact(&mut length_and_kind)).await.expect("a frame");
    assert_eq!(length_and_kind[2], 4, "a part of a run");
    assert!(connection.close_reason().is_none());
}
