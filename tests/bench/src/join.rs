//! Joining a crew: a new device fetches a large ledger over QUIC on loopback, verified and durable,
//! beside what automerge does in memory and beside the bare stream.
//!
//! The two devices are processes of their own, as on two machines, so each has its own peak of memory.
//! Both run this same program, which calls what `fivebar run` and `fivebar join` call.

use std::error::Error;
use std::io::{BufRead, BufReader, Write as _};
use std::net::{SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use clap::Subcommand;
use daemon::invites::InviteWish;
use daemon::node::Write;
use daemon::serve::Meeting;
use daemon::{Node, Power, Role, local, serve};
use ledger::{Audience, Body, Payload};

use crate::open::{peak_memory, peak_memory_of};
use crate::rebuild::hours;
use crate::{BATCH_EVENTS, EVENT_BYTES, join_peers, per_second, photos, ratio};

/// Entries that automerge is given, in thousands. It is slow, so they are fewer than ours.
const AUTOMERGE_THOUSANDS: u32 = 100;

/// What a process that this program starts does.
#[derive(Subcommand)]
pub(crate) enum Part {
    /// Founds a crew with so many events, and lends them to whoever joins.
    Lend { folder: PathBuf, address: SocketAddr, thousands: u32 },
    /// Founds a crew with so many photos of so many bytes, and gives them to whoever joins.
    LendPhotos { folder: PathBuf, address: SocketAddr, count: u32, length: usize },
    /// Sends so many bytes to whoever connects, and does nothing else.
    SendStream { bytes: u64 },
    /// Joins as the program does and then opens the ledger as the next command does.
    Join { folder: PathBuf, code: String },
    /// Opens the ledger of a folder as a command does.
    Open { folder: PathBuf },
    /// Writes into as much fresh memory, by two threads, and does nothing else.
    Touch { kilobytes: usize },
}

/// Does a part of the measurement in a process of its own.
pub(crate) fn play(part: Part) -> Result<(), Box<dyn Error>> {
    match part {
        Part::Lend { folder, address, thousands } => lend(&folder, address, thousands),
        Part::LendPhotos { folder, address, count, length } => photos::lend(&folder, address, count, length),
        Part::SendStream { bytes } => join_peers::send_bare_stream(bytes),
        Part::Join { folder, code } => {
            let began = Instant::now();
            let events = serve::join(&folder, &code, "joiner", |_| {})?.events;
            let (fetching, peak) = (began.elapsed(), peak_memory());
            let began = Instant::now();
            let node = Node::open(&folder)?;
            println!("{events} {} {} {peak}", fetching.as_nanos(), began.elapsed().as_nanos());
            drop(node);
            Ok(())
        }
        Part::Open { folder } => {
            let began = Instant::now();
            let node = Node::open(&folder)?;
            println!("{} {} {}", began.elapsed().as_nanos(), node.verified_before(), peak_memory());
            Ok(())
        }
        Part::Touch { kilobytes } => {
            let began = Instant::now();
            std::thread::scope(|scope| {
                for _ in 0..2 {
                    scope.spawn(|| std::hint::black_box(vec![1_u8; kilobytes * 1024 / 2]));
                }
            });
            println!("{}", began.elapsed().as_nanos());
            Ok(())
        }
    }
}

fn lend(folder: &Path, address: SocketAddr, thousands: u32) -> Result<(), Box<dyn Error>> {
    let (mut node, _) = Node::found(folder, "Oake Rooms", "Maren Oake", "maren-laptop")?;
    for batch in 0..thousands {
        let first = u64::from(batch) * u64::from(BATCH_EVENTS);
        let writes: Result<Vec<_>, _> =
            (first..first + u64::from(BATCH_EVENTS)).map(|number| entry(&node, number)).collect();
        node.append(&writes?)?;
    }
    drop(node);
    let say = |line: String| {
        println!("{line}");
        let _ = std::io::stdout().flush();
    };
    serve::run(folder, alone(address), say, async |_| Ok(()))?;
    Ok(())
}

/// Hours with a note that makes the event as long as those of the other measurements.
fn entry(node: &Node, number: u64) -> Result<Write, Box<dyn Error>> {
    let mut act = node.act(node.device().person)?;
    let body = Body::Hours(hours(number)?);
    let bare = Payload { act: act.clone(), body: body.clone() }.encode()?.len() + 16;
    act.note = "n".repeat(EVENT_BYTES.saturating_sub(bare));
    Ok(Write { audience: Audience::Crew, payload: Payload { act, body } })
}

/// A process that is ended when this is dropped.
pub(crate) struct Lender(pub(crate) Child);

impl Drop for Lender {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts this program anew for a part, and gives it with its first line of output.
pub(crate) fn start(words: &[&std::ffi::OsStr]) -> Result<(Child, String), Box<dyn Error>> {
    let mut child = Command::new(std::env::current_exe()?)
        .args(words)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()?;
    let mut line = String::new();
    let output = child.stdout.take().ok_or("the output is piped")?;
    if BufReader::new(output).read_line(&mut line)? == 0 {
        return Err(format!("a part ended without a word: {}", child.wait()?).into());
    }
    Ok((child, line))
}

/// What a joiner did.
struct Joining {
    events: u64,
    fetching: Duration,
    opening: Duration,
    peak: String,
}

/// Lets a new device join.
fn joining(folder: &Path, (lender, address): (&Path, SocketAddr)) -> Result<Joining, Box<dyn Error>> {
    let wish = InviteWish {
        person: "Tobi Larch".to_owned(),
        role: Role::Hand,
        shared: false,
        office: false,
        addresses: vec![address],
        minutes: 60,
    };
    let answer = local::call(lender, daemon::Command::Invite(wish))?;
    let code = answer["code"].as_str().ok_or("an invite has a code")?;
    let (mut joiner, line) = start(&["join".as_ref(), folder.join("joiner").as_os_str(), code.as_ref()])?;
    joiner.wait()?;
    let mut words = line.trim().splitn(4, ' ');
    let mut word = || words.next().ok_or("a joiner says four things");
    let events = word()?.parse()?;
    let mut nanos = || Ok::<_, Box<dyn Error>>(Duration::from_nanos(word()?.parse()?));
    let (fetching, opening) = (nanos()?, nanos()?);
    Ok(Joining { events, fetching, opening, peak: word()?.to_owned() })
}

/// Measures joining, its peer and its limit.
pub(crate) fn join(folder: &Path, thousands: u32) -> Result<(), Box<dyn Error>> {
    let lender_folder = folder.join("lender");
    let address = UdpSocket::bind("127.0.0.1:0")?.local_addr()?;
    let (address_word, thousands_word) = (address.to_string(), thousands.to_string());
    let words = ["lend".as_ref(), lender_folder.as_os_str(), address_word.as_ref(), thousands_word.as_ref()];
    let lender = Lender(start(&words)?.0);
    let Joining { events, fetching, opening, peak } = joining(folder, (&lender_folder, address))?;
    let lender_peak = peak_memory_of(&lender.0.id().to_string());
    drop(lender);
    let limit = join_peers::bare_stream(events * EVENT_BYTES as u64)?;
    let hashing = join_peers::hashing(thousands)?;
    let theirs = join_peers::automerge(AUTOMERGE_THOUSANDS)?;

    println!("\na new device joins {events} events of {EVENT_BYTES} bytes over QUIC on loopback");
    let show = |what: &str, time: Duration| {
        let (rate, ratio) = (per_second(events, time), ratio(time, limit));
        println!("  {what:<32}{rate:>9} events/s, {ratio} of the bare stream's time");
    };
    show("paired, verified, durable", fetching);
    show("the same, opened and folded", fetching + opening);
    show("bare stream of the same bytes", limit);
    show("hashes of its events, one core", hashing);
    let count = u64::from(AUTOMERGE_THOUSANDS) * u64::from(BATCH_EVENTS);
    let (rate, ours) = (per_second(count, theirs), per_second(events, fetching));
    println!(
        "  {:<32}{rate:>9} events/s of {count}; ours is {} times as fast",
        "automerge, in memory",
        times(ours, rate)
    );
    println!("  peak memory while fetching: {peak}; of the device that lends, with its book: {lender_peak}");
    Ok(())
}

/// How many times as much, to two places.
fn times(one: u128, other: u128) -> String {
    let hundredths = one * 100 / other.max(1);
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

/// A daemon that waits to be called.
pub(crate) fn alone(listen: SocketAddr) -> Meeting {
    Meeting { listen, places: Vec::new(), power: Power::Mains, nearby: false }
}
