//! What only the office reads: carried by every device, and read by none but the office's.

use std::collections::BTreeSet;
use std::path::Path;

use daemon::device::DeviceFile;
use daemon::node::Write;
use daemon::{Node, Role};
use ledger::office::{PersonRated, PricePaid};
use ledger::roster_events::{DeviceAdmitted, DeviceRetired, PersonListed, Position};
use ledger::{
    Audience, Body, ChainStart, DeviceKey, DeviceSecret, EntryId, EntryRef, OfficeKeyId, Payload, PersonId,
};
use trade::Pence;

/// £7,731.37 an hour: nothing else here has these bytes.
const RATE: &str = "7731.37";
const PAID: i64 = 773_149;

fn say(node: &mut Node, audience: Audience, body: Body) {
    let act = node.act(node.device().person).unwrap();
    node.append(&[Write { audience, payload: Payload { act, body } }]).unwrap();
}

fn rate(person: PersonId) -> Body {
    let (cost_rate, charge_rate) = (RATE.parse().unwrap(), RATE.parse().unwrap());
    Body::PersonRated(PersonRated { person, job: None, trade: String::new(), cost_rate, charge_rate })
}

fn price(person: PersonId) -> Body {
    let of = EntryRef { person, entry: EntryId([7; 16]) };
    let (net, none) = (Pence(PAID), Pence::default());
    Body::PricePaid(PricePaid { of, items: vec![], net, vat: none, per: String::new(), minimum: none })
}

/// How a payload's amounts stand in its bytes where nothing is sealed.
fn bytes_of(number: i64) -> [u8; 8] {
    number.to_le_bytes()
}

/// Whether any file below a folder has these bytes in it.
fn stand_in_files(folder: &Path, wanted: &[u8]) -> bool {
    std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).any(|path| {
        if path.is_dir() {
            return stand_in_files(&path, wanted);
        }
        std::fs::read(&path).unwrap().windows(wanted.len()).any(|bytes| bytes == wanted)
    })
}

/// Hands over all that one node holds and the other does not, the chains of one audience after the other and
/// the founding one first.
fn bring(from: &mut Node, to: &mut Node, order: [Audience; 2]) {
    for audience in order {
        let mut chains: Vec<ChainStart> = from.ledger().chains().map(|chain| chain.start).collect();
        chains.sort_by_key(|start| !from.ledger().is_founding(start));
        for start in chains.into_iter().filter(|start| start.audience == audience) {
            let mut next_seq = to.ledger().chain(&start.chain).map_or(0, |chain| chain.tip.next_seq);
            while let Some(run) = from.read_run(start.chain, next_seq).unwrap() {
                next_seq = run.next_seq();
                assert_eq!(to.store_runs(|_| Some(start), &[run]).unwrap(), [Ok(())]);
            }
        }
    }
}

const CREW_FIRST: [Audience; 2] = [Audience::Crew, Audience::Office];

/// Maren's laptop, with a rate.
fn laptop(folder: &Path) -> Node {
    let (mut laptop, _) = Node::found(&folder.join("laptop"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
    let maren = laptop.device().person;
    say(&mut laptop, Audience::Office, rate(maren));
    laptop
}

/// A device of somebody with a role, admitted by the laptop; it holds the founding and nothing else.
fn device(folder: &Path, laptop: &mut Node, name: &str, role: Role) -> Node {
    let person = PersonId::named(&laptop.crew(), name);
    let secret = DeviceSecret::from_seed(blake3::hash(name.as_bytes()).as_bytes());
    say(laptop, Audience::Crew, Body::PersonListed(PersonListed { person, name: name.to_owned(), role }));
    let device = secret.public();
    let admitted = DeviceAdmitted { device, name: name.to_owned(), person, shared: false, office: false };
    say(laptop, Audience::Crew, Body::DeviceAdmitted(admitted));
    Node::join(&folder.join(name), DeviceFile::new(&secret, laptop.crew(), name.to_owned(), person)).unwrap()
}

fn rates(node: &Node) -> usize {
    node.book().lists().rates.len()
}

/// The key that the last event of a node's own office chain is sealed with.
fn last_key(node: &mut Node) -> OfficeKeyId {
    let own = |chain: &&ledger::frontier::Chain| {
        chain.start.device == node.key() && chain.start.audience == Audience::Office
    };
    let chain = node.ledger().chains().find(own).unwrap().clone();
    let run = node.read_run(chain.start.chain, chain.tip.next_seq - 1).unwrap().unwrap();
    let payload = run.events().last().unwrap().payload;
    assert_eq!(payload[0], 1, "sealed");
    OfficeKeyId(payload[1..17].try_into().unwrap())
}

fn receivers(node: &Node, key: OfficeKeyId) -> BTreeSet<DeviceKey> {
    let given = node.ledger().given_keys().flat_map(|(_, given)| &given.keys);
    given.filter(|given| given.key == key).map(|given| given.to).collect()
}

#[test]
fn a_hands_phone_carries_the_rates_and_its_files_hold_no_amount() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    let mut tobi = device(folder.path(), &mut laptop, "Tobi Larch", Role::Hand);
    bring(&mut laptop, &mut tobi, CREW_FIRST);
    let wanted = bytes_of(773_137);
    let plain =
        Payload { act: laptop.act(laptop.device().person).unwrap(), body: rate(laptop.device().person) };
    let plain = plain.encode().unwrap();
    assert!(plain.windows(8).any(|bytes| bytes == wanted), "that is how the amount would stand there");
    assert!(!stand_in_files(tobi.folder(), &wanted));
    assert!(!stand_in_files(laptop.folder(), &wanted));
    assert_eq!((rates(&laptop), rates(&tobi)), (1, 0));
    assert_eq!(laptop.ledger().frontier(None), tobi.ledger().frontier(None));
    assert_eq!(tobi.book().unreadable().count(), 0, "it is no question for a hand");

    // The laptop is gone; the boss's phone, which was admitted, has all from the hand's.
    let mut phone = device(folder.path(), &mut laptop, "Ines Quill", Role::Owner);
    bring(&mut laptop, &mut tobi, CREW_FIRST);
    drop(laptop);
    bring(&mut tobi, &mut phone, CREW_FIRST);
    assert_eq!(rates(&phone), 1);
}

#[test]
fn keys_that_come_after_what_they_open_open_it_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    let mut tobi = device(folder.path(), &mut laptop, "Tobi Larch", Role::Hand);
    bring(&mut laptop, &mut tobi, CREW_FIRST);
    // He becomes a boss, and is given the key; the phone is opened anew, too.
    let person = tobi.device().person;
    let changed = ledger::roster_events::RoleChanged { person, role: Role::Owner, positions: vec![] };
    say(&mut laptop, Audience::Crew, Body::RoleChanged(changed));
    bring(&mut laptop, &mut tobi, [Audience::Office, Audience::Crew]);
    assert_eq!(rates(&tobi), 1);
    let (tobis, folder) = (tobi.book().clone(), tobi.folder().to_owned());
    drop(tobi);
    assert!(*Node::open(&folder).unwrap().book() == tobis, "the same when read in one go");
}

#[test]
fn what_a_hand_paid_is_read_by_the_office_and_by_no_other_hand() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    let mut tobi = device(folder.path(), &mut laptop, "Tobi Larch", Role::Hand);
    let mut wren = device(folder.path(), &mut laptop, "Wren Alder", Role::Hand);
    bring(&mut laptop, &mut tobi, CREW_FIRST);
    let person = tobi.device().person;
    say(&mut tobi, Audience::Office, price(person));
    assert!(!stand_in_files(tobi.folder(), &bytes_of(PAID)));
    bring(&mut tobi, &mut wren, CREW_FIRST);
    bring(&mut wren, &mut laptop, CREW_FIRST);
    let read = |node: &Node| format!("{:?}", node.book()).matches("PricePaid").count();
    assert_eq!((read(&laptop) > 0, read(&wren)), (true, 0));
    // The office goes on sealing with its own key: the hand holds the other.
    say(&mut laptop, Audience::Office, rate(person));
    let key = last_key(&mut laptop);
    assert!(!receivers(&laptop, key).contains(&tobi.key()));
}

#[test]
fn a_new_key_is_made_once_a_device_that_held_the_old_one_is_retired() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    let mut ines = device(folder.path(), &mut laptop, "Ines Quill", Role::Owner);
    bring(&mut laptop, &mut ines, CREW_FIRST);
    let person = laptop.device().person;
    say(&mut laptop, Audience::Office, rate(person));
    let before = last_key(&mut laptop);
    assert!(receivers(&laptop, before).contains(&ines.key()));
    say(&mut laptop, Audience::Office, rate(person));
    assert_eq!(last_key(&mut laptop), before, "a key is used as long as it is good");

    let cuts: Vec<Position> = vec![];
    let retired = DeviceRetired { device: ines.key(), cuts, reason: "lost".to_owned() };
    say(&mut laptop, Audience::Crew, Body::DeviceRetired(retired));
    say(&mut laptop, Audience::Office, rate(person));
    let after = last_key(&mut laptop);
    assert_ne!(after, before);
    let recovery = laptop.ledger().roster().founding().unwrap().recovery_key;
    assert_eq!(receivers(&laptop, after), BTreeSet::from([laptop.key(), recovery]));
    assert_eq!(laptop.book().unreadable().count(), 0, "the old one still opens what it sealed");
}
