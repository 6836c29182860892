//! What joining is measured against: automerge in memory, and the bare stream.

use std::error::Error;
use std::net::SocketAddr;
use std::time::{Duration, Instant};

use automerge::sync::{State, SyncDoc as _};
use automerge::transaction::Transactable as _;
use automerge::{AutoCommit, ObjType, ROOT, ReadDoc as _};
use ledger::event::KIND_VERSION;
use ledger::{Audience, ChainId, ChainStart, CrewId, DeviceSecret, Kind, RunBuilder, RunHasher};
use net::Power;
use net::certificate::DeviceCertificate;
use net::config::{SYNC_PROTOCOL, client_config, server_config};

use crate::join::start;
use crate::{BATCH_EVENTS, EVENT_BYTES};

/// Bytes that are written or read at a time.
const PIECE: usize = 256 * 1024;

/// How long a document of so many entries takes to come over to an empty one, in memory: no network, no
/// disk, no signatures. A change holds 1,000 entries, as a run does.
pub(crate) fn automerge(thousands: u32) -> Result<Duration, Box<dyn Error>> {
    let mut full = AutoCommit::new();
    let entries = full.put_object(ROOT, "entries", ObjType::List)?;
    for number in 0..thousands * BATCH_EVENTS {
        full.insert(&entries, number as usize, entry(number))?;
        if (number + 1).is_multiple_of(BATCH_EVENTS) {
            full.commit();
        }
    }
    let (mut empty, mut to_empty, mut to_full) = (AutoCommit::new(), State::new(), State::new());
    let began = Instant::now();
    loop {
        let ask = empty.sync().generate_sync_message(&mut to_full);
        if let Some(message) = ask.clone() {
            full.sync().receive_sync_message(&mut to_empty, message)?;
        }
        let answer = full.sync().generate_sync_message(&mut to_empty);
        if let Some(message) = answer.clone() {
            empty.sync().receive_sync_message(&mut to_full, message)?;
        }
        if ask.is_none() && answer.is_none() {
            break;
        }
    }
    let time = began.elapsed();
    if empty.length(&entries) != full.length(&entries) {
        return Err("automerge's documents differ after the sync".into());
    }
    Ok(time)
}

/// Bytes as long as an event's that no two entries share, so that neither side can be clever about them.
fn entry(number: u32) -> Vec<u8> {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&number.to_le_bytes());
    let mut bytes = vec![0; EVENT_BYTES];
    hasher.finalize_xof().fill(&mut bytes);
    bytes
}

/// How long one core takes over the hashes of so many thousands of events: what a join can't do without, besides the
/// stream.
pub(crate) fn hashing(thousands: u32) -> Result<Duration, Box<dyn Error>> {
    let secret = DeviceSecret::from_seed(&[8; 32]);
    let (crew, chain) = (CrewId([7; 32]), ChainId([7; 16]));
    let start = ChainStart { chain, device: secret.public(), audience: Audience::Crew };
    let mut tip = start.tip(&CrewId([0; 32]));
    let mut runs = Vec::new();
    for batch in 0..thousands {
        let mut builder = RunBuilder::new(start, tip);
        for number in 0..BATCH_EVENTS {
            let payload = entry(batch * BATCH_EVENTS + number);
            builder.push(0, Kind::Hours.number(), KIND_VERSION, payload.get(16..).unwrap_or_default())?;
        }
        let (run, behind) = builder.finish(&crew, &secret).ok_or("a run has events")?;
        tip = behind;
        runs.push(run);
    }
    let mut hasher = RunHasher::default();
    let began = Instant::now();
    let hashed = runs.into_iter().map(|run| hasher.hash(run)).collect::<Vec<_>>();
    let time = began.elapsed();
    drop(hashed);
    Ok(time)
}

/// The device that sends the bare stream, and the one that takes it.
const SENDER: [u8; 32] = [8; 32];
const RECEIVER: [u8; 32] = [9; 32];

/// Sends so many bytes over one QUIC stream to whoever connects first, with the settings of the program. Says where it
/// listens.
pub(crate) fn send_bare_stream(bytes: u64) -> Result<(), Box<dyn Error>> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let certificate = DeviceCertificate::of(&DeviceSecret::from_seed(&SENDER))?;
        let any: SocketAddr = "127.0.0.1:0".parse()?;
        let endpoint = quinn::Endpoint::server(server_config(&certificate, Power::Mains)?, any)?;
        println!("{}", endpoint.local_addr()?);
        let connection = endpoint.accept().await.ok_or("nobody connects")?.await?;
        let (mut stream, mut asked) = connection.accept_bi().await?;
        asked.read_to_end(0).await?;
        let piece = vec![7; PIECE];
        let mut left = bytes;
        while left > 0 {
            let length = usize::try_from(left).unwrap_or(PIECE).min(PIECE);
            stream.write_all(piece.get(..length).unwrap_or_default()).await?;
            left -= length as u64;
        }
        stream.finish()?;
        stream.stopped().await?;
        Ok(())
    })
}

/// How long so many bytes take over one QUIC stream on loopback, with the settings of the program and nothing done with
/// them: the limit. The two ends are processes of their own, as those are that are measured against it.
pub(crate) fn bare_stream(bytes: u64) -> Result<Duration, Box<dyn Error>> {
    let (mut sender, line) = start(&["send-stream".as_ref(), bytes.to_string().as_ref()])?;
    let address: SocketAddr = line.trim().parse()?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    let time = runtime.block_on(async {
        let (from, to) = (DeviceSecret::from_seed(&SENDER), DeviceSecret::from_seed(&RECEIVER));
        let receiver = quinn::Endpoint::client("127.0.0.1:0".parse()?)?;
        let certificate = DeviceCertificate::of(&to)?;
        let config = client_config(&certificate, Some(from.public()), SYNC_PROTOCOL, Power::Mains)?;
        let connection = receiver.connect_with(config, address, "fivebar")?.await?;
        let (mut ask, mut stream) = connection.open_bi().await?;
        let began = Instant::now();
        ask.finish()?;
        let (mut buffer, mut read) = (vec![0; PIECE], 0);
        while let Some(length) = stream.read(&mut buffer).await? {
            read += length as u64;
        }
        let time = began.elapsed();
        let is_all = read == bytes;
        is_all.then_some(time).ok_or_else(|| Box::<dyn Error>::from("the bare stream broke off"))
    })?;
    sender.wait()?;
    Ok(time)
}
