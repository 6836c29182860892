//! A device for tests: an endpoint, and a ledger and invites in memory.

use std::collections::{BTreeMap, BTreeSet};
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use ledger::fork::Comparison;
use ledger::roster_events::{CrewFounded, DeviceAdmitted, DeviceRetired};
use ledger::{
    Act, Audience, Body, ChainId, ChainStart, CrewId, DeviceKey, DeviceSecret, EntryId, ForkProof, Ledger,
    Payload, PersonId, Refusal, Run, RunBuilder, TakenIn,
};
use net::certificate::DeviceCertificate;
use net::config::client_config;
use net::{Endpoint, Fault, HoldError, Holder, Host, Invite, InviteId, Joiner, Offer, PhotoHolder};
use quinn::Connection;
use sync::CommonGround;
use tokio::sync::watch;
use tokio::time::timeout;
use trade::{Day, Moment};

use crate::photos::Photos;

/// A kind that no version knows: an event of it is stored and passed on like any other.
const UNKNOWN_KIND: u16 = 60_000;

pub(crate) fn secret(number: u8) -> DeviceSecret {
    DeviceSecret::from_seed(&[number; 32])
}

pub(crate) fn key(number: u8) -> DeviceKey {
    secret(number).public()
}

pub(crate) const LOOPBACK: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(Ipv4Addr::LOCALHOST), 0);

/// Waits, but not for ever.
pub(crate) async fn soon<T>(what: impl Future<Output = T>) -> T {
    timeout(Duration::from_secs(20), what).await.expect("within 20 seconds")
}

pub(crate) struct Held {
    ledger: Ledger,
    runs: BTreeMap<ChainId, Vec<Run>>,
    offers: BTreeMap<InviteId, Offer>,
}

pub(crate) struct Node {
    pub(crate) secret: DeviceSecret,
    pub(crate) start: ChainStart,
    pub(crate) held: Mutex<Held>,
    pub(crate) changes: watch::Sender<u64>,
    pub(crate) inviter: Option<DeviceKey>,
    pub(crate) joiners: Mutex<Vec<Joiner>>,
    pub(crate) declines: bool,
    pub(crate) photos: Option<Arc<Photos>>,
}

impl Node {
    fn with(number: u8, chain: ChainId, ledger: Ledger, runs: Vec<Run>) -> Self {
        let secret = secret(number);
        let start = ChainStart { chain, device: secret.public(), audience: Audience::Crew };
        let runs = BTreeMap::from([(chain, runs)]);
        Self {
            secret,
            start,
            held: Mutex::new(Held { ledger, runs, offers: BTreeMap::new() }),
            changes: watch::Sender::new(0),
            inviter: None,
            joiners: Mutex::default(),
            declines: false,
            photos: None,
        }
    }

    /// The device that founds the crew: Maren Oake's laptop.
    pub(crate) fn founding() -> Self {
        let founded = CrewFounded {
            crew: "Oake Rooms".to_owned(),
            founder: "Maren Oake".to_owned(),
            device: "laptop".to_owned(),
            seed: [7; 32],
            recovery_key: key(99),
        };
        let payload = payload(PersonId([0; 16]), Body::CrewFounded(founded));
        let chain = ChainId([1; 16]);
        let (ledger, _, run) = Ledger::found(chain, &secret(1), 0, &payload).expect("a founding event");
        Self::with(1, chain, ledger, vec![run])
    }

    /// A device that holds nothing yet.
    pub(crate) fn empty(number: u8, crew: CrewId) -> Self {
        Self::with(number, ChainId([number; 16]), Ledger::new(crew), Vec::new())
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().expect("no test panics while it holds the ledger")
    }

    pub(crate) fn crew(&self) -> CrewId {
        self.held().ledger.crew()
    }

    pub(crate) fn maren(&self) -> PersonId {
        PersonId::named(&self.crew(), "Maren Oake")
    }

    pub(crate) fn digest(&self) -> [u8; 32] {
        self.held().ledger.frontier(None).digest()
    }

    pub(crate) fn has_device(&self, device: DeviceKey) -> bool {
        self.held().ledger.roster().device(&device).is_some()
    }

    fn append(&self, kind: u16, payloads: &[Vec<u8>]) {
        let mut held = self.held();
        held.ledger.take_in_chain(self.start).expect("its own chain");
        let tip = held.ledger.chain(&self.start.chain).expect("its own chain").tip;
        let mut builder = RunBuilder::new(self.start, tip);
        for payload in payloads {
            builder.push(0, kind, ledger::event::KIND_VERSION, payload).expect("a small event");
        }
        let (run, _) = builder.finish(&held.ledger.crew(), &self.secret).expect("an event");
        drop(held);
        assert_eq!(self.store(vec![run]), Ok(vec![Ok(())]));
    }

    /// Appends this many events of an unknown kind.
    pub(crate) fn log(&self, count: usize) {
        let payloads: Vec<Vec<u8>> = (0..count).map(|_| vec![5; 240]).collect();
        payloads.chunks(2_000).for_each(|chunk| self.append(UNKNOWN_KIND, chunk));
    }

    pub(crate) fn say(&self, body: Body) {
        self.append(body.kind().number(), &[payload(self.maren(), body)]);
    }

    pub(crate) fn admit_device(&self, device: DeviceKey, name: &str, person: PersonId) {
        let (shared, office) = (false, false);
        self.say(Body::DeviceAdmitted(DeviceAdmitted {
            device,
            name: name.to_owned(),
            person,
            shared,
            office,
        }));
    }

    pub(crate) fn retire_device(&self, device: DeviceKey) {
        let reason = "fell into the mixer".to_owned();
        self.say(Body::DeviceRetired(DeviceRetired { device, cuts: Vec::new(), reason }));
    }

    /// A copy of what another device holds, as if it had synced.
    pub(crate) fn copy_of(number: u8, other: &Self) -> Self {
        let node = Self::empty(number, other.crew());
        let (mut own, others) = (node.held(), other.held());
        own.ledger = others.ledger.clone();
        own.runs.clone_from(&others.runs);
        drop((own, others));
        node
    }

    /// Gives out an invite for another device of Maren's.
    pub(crate) fn invite(&self, address: SocketAddr, expires_ms: i64) -> Invite {
        let invite = Invite::make(self.crew(), self.secret.public(), vec![address], expires_ms);
        let invite = invite.expect("random bytes");
        let person = self.maren();
        let offer = Offer { invite: invite.clone(), person, shared: false, office: false, used: false };
        self.held().offers.insert(invite.id, offer);
        invite
    }

    /// Opens an endpoint, and answers on it in the background.
    pub(crate) fn serve(self: &Arc<Self>) -> (Endpoint, SocketAddr) {
        let endpoint = Endpoint::bind(&self.secret, LOOPBACK).expect("a free port");
        let address = endpoint.local_address().expect("an address");
        let (listening, node) = (endpoint.clone(), Arc::clone(self));
        tokio::spawn(async move { listening.listen(node).await });
        (endpoint, address)
    }

    /// Waits until something is so, looking at each change, and now and then: it may be so by the change of another.
    pub(crate) async fn until(&self, is_so: impl Fn(&Self) -> bool) {
        let mut changes = self.changes.subscribe();
        soon(async {
            while !is_so(self) {
                let _ = timeout(Duration::from_millis(50), changes.changed()).await;
            }
        })
        .await;
    }
}

fn payload(person: PersonId, body: Body) -> Vec<u8> {
    let act = Act {
        person,
        author: person,
        entry: EntryId([9; 16]),
        done_on: Day::from_number(20_000).expect("a day"),
        done_at: None,
        logged_at: Moment::new(0, 0).expect("a moment"),
        row_key: String::new(),
        said: String::new(),
        note: String::new(),
        replaces: Vec::new(),
    };
    Payload { act, body }.encode().expect("a payload")
}

impl Holder for Node {
    fn with_ledger<R>(&self, look: impl FnOnce(&Ledger) -> R) -> R {
        look(&self.held().ledger)
    }

    fn take_in_chain(&self, start: ChainStart) -> Result<(), Refusal> {
        self.held().ledger.take_in_chain(start)
    }

    fn store(&self, runs: Vec<Run>) -> Result<Vec<Result<(), Refusal>>, Fault> {
        let mut held = self.held();
        let outcomes = runs.iter().map(|run| {
            if let TakenIn::New(checked) = held.ledger.check_run(run)? {
                held.runs.entry(run.chain()).or_default().push(checked.run().clone());
                held.ledger.take_in(&checked);
            }
            Ok(())
        });
        let outcomes = outcomes.collect();
        drop(held);
        self.changes.send_modify(|count| *count += 1);
        Ok(outcomes)
    }

    fn read(&self, chain: ChainId, from_seq: u64) -> Option<Run> {
        let held = self.held();
        let mut runs = held.runs.get(&chain)?.iter().skip_while(|run| run.next_seq() <= from_seq);
        let mut joined = runs.next()?.clone();
        while runs.next().is_some_and(|run| joined.join(run)) {}
        Some(joined)
    }

    fn compare(&self, _shown: &Run) -> Result<Comparison, Fault> {
        Ok(Comparison::Elsewhere) // Devices in these tests keep to one line.
    }

    fn store_fork(&self, proof: ForkProof) -> Result<Result<(), Refusal>, Fault> {
        Ok(self.held().ledger.check_fork(&proof, None).map(drop))
    }

    fn changes(&self) -> watch::Receiver<u64> {
        self.changes.subscribe()
    }

    fn vouched(&self) -> BTreeSet<DeviceKey> {
        self.inviter.into_iter().collect()
    }

    fn photos(&self) -> Option<Arc<dyn PhotoHolder>> {
        self.photos.clone().map(|photos| photos as Arc<dyn PhotoHolder>)
    }

    fn common_ground(&self, _peer: DeviceKey) -> CommonGround {
        CommonGround::default()
    }

    fn note_peer(&self, _peer: DeviceKey, _holds: &BTreeMap<ChainId, u64>, _common: Option<CommonGround>) {}
}

impl Host for Node {
    fn offer(&self, id: &InviteId) -> Option<Offer> {
        self.held().offers.get(id).cloned()
    }

    fn use_up(&self, id: &InviteId) -> Result<(), HoldError> {
        let mut held = self.held();
        let offer = held.offers.get_mut(id).ok_or(Refusal::WrongInvite)?;
        if std::mem::replace(&mut offer.used, true) { Err(Refusal::UsedInvite.into()) } else { Ok(()) }
    }

    async fn admit(&self, joiner: Joiner) -> Result<CrewId, HoldError> {
        if self.declines {
            return Err(Refusal::Declined.into());
        }
        self.admit_device(joiner.device, &joiner.name, joiner.offer.person);
        self.joiners.lock().expect("no test panics while it holds the joiners").push(joiner);
        Ok(self.crew())
    }
}

/// Now, in milliseconds since 1970.
pub(crate) fn now_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("a clock past 1970");
    i64::try_from(since.as_millis()).expect("a clock before the year 292 million")
}

/// A connection that says whatever a test wants.
pub(crate) async fn connect(from: u8, to: (SocketAddr, DeviceKey), protocol: &[u8]) -> Connection {
    let certificate = DeviceCertificate::of(&secret(from)).expect("a certificate");
    let config =
        client_config(&certificate, Some(to.1), protocol, net::Power::Mains).expect("a configuration");
    let endpoint = quinn::Endpoint::client(LOOPBACK).expect("a free port");
    let connecting = endpoint.connect_with(config, to.0, "fivebar").expect("an address");
    soon(connecting).await.expect("a connection")
}

/// The number that the peer closed the connection with.
pub(crate) async fn closed_with(connection: &Connection) -> u64 {
    match soon(connection.closed()).await {
        quinn::ConnectionError::ApplicationClosed(close) => close.error_code.into_inner(),
        other => panic!("not closed with a number: {other}"),
    }
}
