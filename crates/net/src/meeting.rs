//! Keeping in touch with the crew: who is called, where, and when again.
//!
//! Each device of the roster is tried where it was reached before; each place that the owner named is tried for
//! whoever answers there. On mains a connection stays; on battery the two meet, settle and hang up, and look in again
//! after a while or when there is news. Whoever can't be reached is tried less and less often, until something
//! changes: a network, an address, a hint.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use ledger::{DeviceKey, Refusal};
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep};

use crate::back_off::{BackOff, spread};
use crate::config::SYNC_PROTOCOL;
use crate::endpoint::{Endpoint, is_of_crew, peer_key};
use crate::error::{PeerError, close_done, close_for};
use crate::holder::Holder;
use crate::local_addresses::local_addresses;
use crate::power::{LOOK_IN, Power};

/// A connection that lasted this long shows that the network is well.
const LASTING: Duration = Duration::from_secs(30);
/// What is logged within this time goes out together, where a connection is made for it.
const GATHERING: Duration = Duration::from_secs(4);
/// How often the roster is looked at while much comes in.
const ROSTER_PAUSE: Duration = Duration::from_secs(1);

/// How long to wait before the next try, and what else may end the wait.
struct Pause {
    back_off: BackOff,
    news: watch::Receiver<u64>,
    /// How many events were held when the two settled last.
    settled_at: Option<u64>,
}

impl Pause {
    fn new<H: Holder>(power: Power, holder: &H) -> Self {
        Self { back_off: BackOff::up_to(power.longest_wait()), news: holder.changes(), settled_at: None }
    }

    /// How many events are held, by the bell.
    fn held(&mut self) -> u64 {
        *self.news.borrow_and_update()
    }

    /// The wait after a try that ended so. `held` is how many events were held when it began.
    fn wait_after(&mut self, ended: &Result<(), PeerError>, lasted: Duration, held: u64) -> Duration {
        self.settled_at = None;
        if lasted >= LASTING {
            self.back_off.reset();
        }
        match ended {
            Ok(()) => {
                self.back_off.reset();
                self.settled_at = Some(held);
                return spread(LOOK_IN, random());
            }
            Err(PeerError::Refused(_) | PeerError::Dismissed(_) | PeerError::DismissedUnknown) => {
                self.back_off.exhaust();
            }
            Err(_) => {}
        }
        self.back_off.next_wait(random())
    }

    /// Waits until more is held than when the two settled. For ever if they did not.
    async fn for_news(&mut self) {
        let Some(settled_at) = self.settled_at else { return std::future::pending().await };
        while *self.news.borrow_and_update() == settled_at {
            if self.news.changed().await.is_err() {
                return std::future::pending().await;
            }
        }
        sleep(spread(GATHERING, random())).await;
    }
}

impl Endpoint {
    /// Meets the crew's other devices until the endpoint is closed: those that the roster names now or later, and
    /// whoever of the crew answers at `places`, each a `host:port`.
    pub async fn meet_crew<H: Holder>(&self, holder: Arc<H>, places: Vec<String>) {
        let mut tasks: BTreeMap<DeviceKey, JoinHandle<()>> = BTreeMap::new();
        for place in places {
            let (endpoint, holder) = (self.clone(), Arc::clone(&holder));
            tokio::spawn(async move { endpoint.meet_at(&place, holder).await });
        }
        let endpoint = self.clone();
        tokio::spawn(async move { endpoint.watch_networks().await });
        let mut changes = holder.changes();
        loop {
            tasks.retain(|_, task| !task.is_finished());
            for peer in self.crew(&*holder) {
                tasks.entry(peer).or_insert_with(|| {
                    let (endpoint, holder) = (self.clone(), Arc::clone(&holder));
                    tokio::spawn(async move { endpoint.keep_in_touch(peer, Vec::new(), holder).await })
                });
            }
            tokio::select! {
                () = self.stopped() => return,
                changed = changes.changed() => if changed.is_err() { return },
            }
            sleep(ROSTER_PAUSE).await;
        }
    }

    /// The crew's other devices.
    pub(crate) fn crew<H: Holder>(&self, holder: &H) -> Vec<DeviceKey> {
        let mut devices: Vec<DeviceKey> = holder.with_ledger(|ledger| {
            let devices = ledger.roster().devices().filter(|device| !device.retired);
            devices.map(|device| device.key).collect()
        });
        devices.extend(
            holder.vouched().into_iter().filter(|vouched| !devices.contains(vouched)).collect::<Vec<_>>(),
        );
        devices.retain(|device| *device != self.own && is_of_crew(holder, device));
        devices
    }

    /// Syncs with a peer whenever it can be reached, until the endpoint is closed or the peer is taken off the crew.
    /// A peer that refuses is tried rarely: it may learn of this device meanwhile.
    pub async fn keep_in_touch<H: Holder>(
        &self,
        peer: DeviceKey,
        addresses: Vec<SocketAddr>,
        holder: Arc<H>,
    ) {
        addresses.into_iter().rev().for_each(|address| self.contacts.learn(peer, address, true));
        let mut pause = Pause::new(self.power, &*holder);
        let mut held_before = None;
        loop {
            tokio::select! {
                () = self.stopped() => return,
                () = self.contacts.parted(&peer) => {}
            }
            if !is_of_crew(&*holder, &peer) {
                return;
            }
            let (began, held) = (Instant::now(), pause.held());
            // They may have met at a place, or by the other's call; without news since, there is nothing to call for.
            let is_settled = held_before.replace(held) == Some(held)
                && self.power == Power::Battery
                && self.contacts.settled_within(&peer, LOOK_IN / 2);
            let ended = if is_settled {
                Ok(())
            } else {
                let addresses = self.contacts.addresses(&peer);
                self.sync_with(peer, &addresses, Arc::clone(&holder), self.power.stay()).await
            };
            if let Err(error) = &ended {
                tracing::debug!(peer = %peer.short(), "not in touch: {error}");
            }
            let wait = pause.wait_after(&ended, began.elapsed(), held);
            let woken = tokio::select! {
                () = self.stopped() => return,
                () = sleep(wait) => false,
                () = pause.for_news(), if self.power == Power::Battery => false,
                () = self.contacts.woken(&peer) => true,
            };
            if woken {
                pause.back_off.reset();
                // Two that lost each other in the same moment don't call in the same moment.
                sleep(pause.back_off.next_wait(random())).await;
            }
        }
    }

    /// Syncs with whichever device of the crew answers at a place, until the endpoint is closed.
    async fn meet_at<H: Holder>(&self, place: &str, holder: Arc<H>) {
        let mut pause = Pause::new(self.power, &*holder);
        let mut reached = None;
        loop {
            if let Some(peer) = reached.take() {
                tokio::select! {
                    () = self.stopped() => return,
                    () = self.contacts.parted(&peer) => {}
                }
            }
            let (began, held) = (Instant::now(), pause.held());
            let ended = self.try_place(place, &holder, &mut reached).await;
            if let Err(error) = &ended {
                tracing::debug!(place, "nobody of the crew met: {error}");
            }
            let wait = pause.wait_after(&ended, began.elapsed(), held);
            // Whoever answered there is known by its key now, and is kept in touch with like all others; this
            // place is asked again in case another device stands there by then.
            tokio::select! {
                () = self.stopped() => return,
                () = sleep(wait) => {}
                () = pause.for_news(), if self.power == Power::Battery => {}
                () = self.places_woken() => pause.back_off.reset(),
            }
        }
    }

    async fn try_place<H: Holder>(
        &self,
        place: &str,
        holder: &Arc<H>,
        reached: &mut Option<DeviceKey>,
    ) -> Result<(), PeerError> {
        // A name may stand for another address each day.
        let found = tokio::net::lookup_host(place).await;
        let addresses: Vec<SocketAddr> = match found {
            Ok(found) => found.collect(),
            Err(error) => {
                tracing::debug!(place, %error, "the place has no address now");
                Vec::new()
            }
        };
        let connection = self.dial_any(&addresses, None, SYNC_PROTOCOL).await?;
        let peer = peer_key(&connection)?;
        if peer == self.own {
            close_done(&connection);
            return Err(PeerError::AnotherDevice);
        }
        if !is_of_crew(&**holder, &peer) {
            let is_listed = holder.with_ledger(|ledger| ledger.roster().device(&peer).is_some());
            let refused = if is_listed { Refusal::Retired } else { Refusal::Stranger }.into();
            close_for(&connection, &refused);
            return Err(refused);
        }
        *reached = Some(peer);
        self.meet(connection, peer, Arc::clone(holder), self.power.stay()).await
    }

    /// Watches this machine's addresses, and moves when they change.
    async fn watch_networks(&self) {
        let mut known = local_addresses();
        loop {
            tokio::select! {
                () = self.stopped() => return,
                () = sleep(self.power.address_interval()) => {}
            }
            let now = local_addresses();
            if now.is_some() && now != known {
                tracing::info!(?now, "this machine is on other networks than before");
                self.move_to(now.as_ref().unwrap_or(&std::collections::BTreeSet::new()));
                known = now;
            }
        }
    }
}

/// Without randomness the wait is the longest of its kind, and no worse.
fn random() -> u32 {
    getrandom::u32().unwrap_or(u32::MAX)
}
