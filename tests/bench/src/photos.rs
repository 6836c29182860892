//! Photos: a device fetches those of another over QUIC on loopback, proved and durable, beside the bare stream.
//!
//! The device that has them is a process of its own. Both do what `fivebar run` does.

use std::error::Error;
use std::net::{SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use daemon::invites::InviteWish;
use daemon::node::Write;
use daemon::{Holding, Node, Role, local, photos, serve};
use ledger::{Audience, Body, Payload, PhotoHash, site};
use net::{Endpoint, Stay};

use crate::join::{Lender, alone, start};
use crate::{join_peers, ratio};

/// How long all photos may take before something is wrong.
const PATIENCE: Duration = Duration::from_secs(600);

/// Founds a crew with so many photos of so many bytes, and gives them to whoever joins.
pub(crate) fn lend(
    folder: &Path,
    address: SocketAddr,
    count: u32,
    length: usize,
) -> Result<(), Box<dyn Error>> {
    let (mut node, _) = Node::found(folder, "Oake Rooms", "Maren Oake", "maren-laptop")?;
    let mut bytes = vec![0; length.max(8)];
    for number in 0..count {
        // The beginning of a JPEG, and then what no other photo has.
        bytes[..8].copy_from_slice(&[0xff, 0xd8, 0xff, 0xe0, 0, 0, 0, 0]);
        bytes[4..8].copy_from_slice(&number.to_le_bytes());
        let photo = photos::keep_bytes(folder, &bytes)?.hash;
        let act = node.act(node.device().person)?;
        let body = Body::Photo(site::Photo { site: None, photo, size: bytes.len() as u64, behind: false });
        node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    }
    drop(node);
    let say = |line: String| println!("{line}");
    serve::run(folder, alone(address), say, async |_| Ok(()))?;
    Ok(())
}

/// Measures fetching photos, and its limit.
pub(crate) fn photos(folder: &Path, count: u32, length: usize) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(folder)?;
    let (lender_folder, joiner) = (folder.join("lender"), folder.join("joiner"));
    let address = UdpSocket::bind("127.0.0.1:0")?.local_addr()?;
    let words = [address.to_string(), count.to_string(), length.to_string()];
    let [address_word, count_word, length_word] = words.each_ref().map(AsRef::as_ref);
    let parts = ["lend-photos".as_ref(), lender_folder.as_os_str(), address_word, count_word, length_word];
    let lender = Lender(start(&parts)?.0);
    let wish = InviteWish {
        person: "Tobi Larch".to_owned(),
        role: Role::Lead,
        shared: false,
        office: false,
        addresses: vec![address],
        minutes: 60,
    };
    let answer = local::call(&lender_folder, daemon::Command::Invite(wish))?;
    serve::join(&joiner, answer["code"].as_str().ok_or("an invite has a code")?, "joiner", |_| {})?;

    let fetching = fetch(&joiner, address)?;
    drop(lender);
    let all = u64::from(count) * length as u64;
    let limit = join_peers::bare_stream(all)?;
    println!("\na device fetches {count} photos of {length} bytes over QUIC on loopback");
    let show = |what: &str, time: Duration| {
        let rate = u128::from(all) * 1_000 / time.as_nanos().max(1);
        println!("  {what:<32}{rate:>9} MB/s, {} of the bare stream's speed", ratio(limit, time));
    };
    show("met, proved, durable", fetching);
    show("bare stream of the same bytes", limit);
    Ok(())
}

/// Meets the device at the address until all photos are here.
fn fetch(joiner: &Path, address: SocketAddr) -> Result<Duration, Box<dyn Error>> {
    let node = Node::open(joiner)?;
    let mut missing: Vec<PhotoHash> = node.book().photos().map(|(photo, _)| photo).collect();
    let inviter = node.device().inviter.ok_or("who joined was invited")?;
    let (secret, album) = (node.secret(), Arc::clone(node.album()));
    let holding = Holding::with_photos(node);
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let endpoint = Endpoint::bind(&secret, "127.0.0.1:0".parse()?)?;
        let began = Instant::now();
        let meeting = endpoint.clone();
        tokio::spawn(async move { meeting.sync_with(inviter, &[address], holding, Stay::Connected).await });
        // One at a time: to look for hundreds again and again would take as much as to fetch them.
        while let Some(photo) = missing.last() {
            if album.here(*photo) == photos::Portion::Whole {
                missing.pop();
                continue;
            }
            if began.elapsed() > PATIENCE {
                return Err("the photos did not come".into());
            }
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        let time = began.elapsed();
        endpoint.close().await;
        Ok(time)
    })
}
