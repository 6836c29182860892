//! A joiner that checks and keeps what it is sent and makes nothing of it: it tells what verifying and
//! making durable cost from what the folding costs that the program does beside.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use ledger::{ChainId, ChainStart, DeviceKey, DeviceSecret, Ledger, Refusal, Run, TakenIn};
use net::{Endpoint, Fault, Holder, Invite, Stay};
use store::{Record, RecordKind, Store, StoreOptions};
use tokio::sync::watch;

struct Keeper {
    store: Mutex<Store>,
    ledger: RwLock<Ledger>,
    inviter: DeviceKey,
    changed: watch::Sender<u64>,
}

impl Holder for Keeper {
    fn with_ledger<R>(&self, look: impl FnOnce(&Ledger) -> R) -> R {
        look(&self.ledger.read().unwrap_or_else(PoisonError::into_inner))
    }

    fn take_in_chain(&self, start: ChainStart) -> Result<(), Refusal> {
        self.ledger.write().unwrap_or_else(PoisonError::into_inner).take_in_chain(start)
    }

    fn store(&self, runs: Vec<Run>) -> Result<Vec<Result<(), Refusal>>, Fault> {
        let mut next = self.with_ledger(Ledger::clone);
        let (mut outcomes, mut checked, mut starts) = (Vec::new(), Vec::new(), Vec::new());
        for run in &runs {
            let begins = next.chain(&run.chain()).filter(|chain| chain.tip.next_seq == 0);
            starts.extend(begins.map(|chain| chain.start.encode()));
            outcomes.push(next.check_run(run).map(|taken| {
                if let TakenIn::New(new) = taken {
                    next.take_in(&new);
                    checked.push(new);
                }
            }));
        }
        let starts = starts.iter().map(|start| Record { kind: RecordKind::ChainDeclaration, bytes: start });
        let runs = checked.iter().map(|new| Record { kind: RecordKind::Run, bytes: new.run().bytes() });
        let group: Vec<_> = starts.chain(runs).collect();
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        store.append(&group).map_err(|error| Fault(error.to_string()))?;
        *self.ledger.write().unwrap_or_else(PoisonError::into_inner) = next;
        self.changed.send_modify(|changes| *changes += 1);
        Ok(outcomes)
    }

    fn read(&self, _chain: ChainId, _from_seq: u64) -> Option<Run> {
        None
    }

    fn changes(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    fn inviter(&self) -> Option<DeviceKey> {
        Some(self.inviter)
    }

    fn note_peer(&self, _peer: DeviceKey, _holds: &BTreeMap<ChainId, u64>) {}
}

/// Joins as the program does, and keeps the events without a book. Gives how many there are.
pub(crate) fn join(folder: &Path, code: &str) -> Result<u64, Box<dyn Error>> {
    let invite = Invite::from_code(code)?;
    let secret = DeviceSecret::from_seed(&[6; 32]);
    tokio::runtime::Builder::new_multi_thread().enable_all().build()?.block_on(async {
        let endpoint = Endpoint::bind(&secret, "127.0.0.1:0".parse()?)?;
        let admission = endpoint.join(&invite, "keeper", |_| {}).await?;
        let keeper = Arc::new(Keeper {
            store: Mutex::new(Store::create(StoreOptions::folder(folder)?, admission.crew)?),
            ledger: RwLock::new(Ledger::new(admission.crew)),
            inviter: invite.inviter,
            changed: watch::Sender::new(0),
        });
        let kept = Arc::clone(&keeper);
        endpoint.sync_with(invite.inviter, &invite.addresses, kept, Stay::UntilSettled).await?;
        endpoint.close().await;
        Ok(keeper.with_ledger(|ledger| ledger.chains().map(|chain| chain.tip.next_seq).sum()))
    })
}
