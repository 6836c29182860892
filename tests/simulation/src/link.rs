//! A link between two devices: an ordered stream each way that can be cut at any moment. What the network's driver
//! does with a session in tasks is done here one small step after the other, in the order that the dice say.

use std::collections::VecDeque;

use daemon::Holding;
use ledger::{ChainId, Run, RunHasher};
use net::Holder as _;
use sync::{Output, Session};

use crate::device::Device;
use crate::dice::Dice;

/// One side of a link.
struct End {
    device: usize,
    session: Session,
    /// Frames that the other side has sent and that have not arrived.
    on_the_way: VecDeque<Vec<u8>>,
    to_store: VecDeque<Run>,
    hasher: RunHasher,
    /// What the device is asked for besides storing.
    to_ask: VecDeque<Output>,
    /// The device holds more than the session was told.
    bell: bool,
    /// This side has closed, or has a fault.
    over: bool,
}

/// A link.
pub struct Link {
    ends: [End; 2],
}

/// What a side did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Did {
    /// Nothing: it waits for the other.
    Nothing,
    /// Something without a disk.
    Talked,
    /// It gave runs to its store.
    Stored,
}

fn session(peer: &Device, holding: &Holding) -> Session {
    // As the network decides it: whoever let this device in, or was met, is believed until the roster is here.
    let (is_vouched, common) = (holding.vouched().contains(&peer.key), holding.common_ground(peer.key));
    holding.with_ledger(|ledger| {
        if is_vouched && ledger.roster().device(&peer.key).is_none() {
            Session::joining(peer.key, ledger)
        } else {
            Session::new(peer.key, common, ledger)
        }
    })
}

impl End {
    /// Asks the device what the session wants to know, and tells it. A device with a fault ends the link.
    fn ask(&mut self, holding: &Holding, ask: Output) {
        match ask {
            Output::Read { chain, from_seq } => {
                let run = holding.read(chain, from_seq);
                holding.with_ledger(|ledger| self.session.handle_read(chain, run, ledger));
            }
            Output::Show { chain, from_seq } => {
                let run = holding.read(chain, from_seq);
                holding.with_ledger(|ledger| self.session.handle_shown(run, ledger));
            }
            Output::Compare(run) => match holding.compare(&run) {
                Ok(found) => {
                    holding.with_ledger(|ledger| self.session.handle_compared(run.next_seq(), found, ledger));
                }
                Err(_) => self.over = true,
            },
            Output::StoreFork(proof) => {
                let chain = proof.chain();
                match holding.store_fork(proof) {
                    Ok(outcome) => {
                        holding.with_ledger(|ledger| self.session.handle_fork_stored(chain, outcome, ledger));
                    }
                    Err(_) => self.over = true,
                }
            }
            Output::Send(_)
            | Output::TakeInChain(_)
            | Output::Store(_)
            | Output::CaughtUp
            | Output::SetAside { .. }
            | Output::Close(_)
            | Output::Dismissed(_) => {}
        }
    }

    fn new(device: usize, own: &Device, peer: &Device) -> Option<Self> {
        let holding = own.holding.as_ref()?;
        Some(Self {
            device,
            session: session(peer, holding),
            on_the_way: VecDeque::new(),
            to_store: VecDeque::new(),
            hasher: RunHasher::default(),
            to_ask: VecDeque::new(),
            bell: false,
            over: false,
        })
    }

    fn note_peer(&self, holding: &Holding) {
        let common = holding.with_ledger(|ledger| self.session.common_ground(ledger));
        holding.note_peer(self.session.peer(), self.session.peer_holds(), common);
    }

    fn store(&mut self, holding: &Holding, most: usize) {
        let count = self.to_store.len().min(most);
        let runs: Vec<Run> = self.to_store.drain(..count).collect();
        let chains: Vec<ChainId> = runs.iter().map(Run::chain).collect();
        let hashed = holding.with_ledger(|ledger| {
            let hash = |run: Run| {
                self.hasher.begin_at(run.chain(), ledger);
                self.hasher.hash(run)
            };
            runs.into_iter().map(hash).collect()
        });
        match holding.store(hashed) {
            Ok(outcomes) => {
                for (chain, outcome) in chains.into_iter().zip(outcomes) {
                    holding.with_ledger(|ledger| match outcome {
                        Ok(()) => self.session.handle_stored(chain, ledger),
                        Err(refusal) => self.session.handle_refused(chain, refusal, ledger),
                    });
                }
            }
            Err(_) => self.over = true,
        }
    }
}

impl Link {
    /// Connects two devices that are switched on.
    #[must_use]
    pub fn connect(devices: &[Device], one: usize, other: usize) -> Option<Self> {
        let (a, b) = (devices.get(one)?, devices.get(other)?);
        let mut link = Self { ends: [End::new(one, a, b)?, End::new(other, b, a)?] };
        for side in 0..2 {
            link.do_outputs(devices, side);
        }
        Some(link)
    }

    /// The devices at its ends.
    #[must_use]
    pub const fn devices(&self) -> [usize; 2] {
        [self.ends[0].device, self.ends[1].device]
    }

    /// Whether a device is at one of its ends.
    #[must_use]
    pub fn has(&self, device: usize) -> bool {
        self.devices().contains(&device)
    }

    /// Tells both sides of a device that it holds more.
    pub fn ring(&mut self, device: usize) {
        self.ends.iter_mut().filter(|end| end.device == device).for_each(|end| end.bell = true);
    }

    /// One small step of one side. `whole` does all that is there of it at once.
    pub fn step(&mut self, devices: &[Device], side: usize, dice: &mut Dice, whole: bool) -> Did {
        match devices.get(self.ends[side].device) {
            Some(device) => device.as_program(|| self.step_as_program(devices, side, dice, whole)),
            None => Did::Nothing,
        }
    }

    fn step_as_program(&mut self, devices: &[Device], side: usize, dice: &mut Dice, whole: bool) -> Did {
        let end = &mut self.ends[side];
        let Some(holding) = devices.get(end.device).and_then(|device| device.holding.as_ref()) else {
            end.over = true;
            return Did::Nothing;
        };
        if end.over {
            return Did::Nothing;
        }
        if std::mem::take(&mut end.bell) {
            holding.with_ledger(|ledger| end.session.handle_ledger_changed(ledger));
            self.do_outputs(devices, side);
            return Did::Talked;
        }
        let may_take = end.session.wants_frames() && !end.on_the_way.is_empty();
        let mut able = [may_take, !end.to_store.is_empty(), !end.to_ask.is_empty()];
        let first = dice.place(able.len());
        able.rotate_left(first);
        let Some(found) = able.iter().position(|able| *able) else { return Did::Nothing };
        let did = match (found + first) % able.len() {
            0 => {
                if let Some(frame) = end.on_the_way.pop_front() {
                    holding.with_ledger(|ledger| end.session.handle_frame(&frame, ledger));
                }
                Did::Talked
            }
            1 => {
                let most = if whole { usize::MAX } else { 1 + dice.place(4) };
                end.store(holding, most);
                Did::Stored
            }
            _ => {
                if let Some(ask) = end.to_ask.pop_front() {
                    end.ask(holding, ask);
                }
                Did::Talked
            }
        };
        self.do_outputs(devices, side);
        did
    }

    /// Cuts it. What came whole is verified like any other, so it is kept, unless the device was cut off from its
    /// own power too. Says whose store was written to.
    pub fn cut(mut self, devices: &[Device]) -> Vec<usize> {
        let mut wrote = Vec::new();
        for end in &mut self.ends {
            let Some(device) = devices.get(end.device) else { continue };
            let Some(holding) = device.holding.as_ref() else { continue };
            if !end.to_store.is_empty() {
                device.as_program(|| end.store(holding, usize::MAX));
                wrote.push(end.device);
            }
            end.note_peer(holding);
        }
        wrote
    }

    /// Whether neither side has anything left to do.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        self.ends.iter().all(|end| {
            end.over
                || (!end.bell
                    && end.to_store.is_empty()
                    && end.to_ask.is_empty()
                    && (end.on_the_way.is_empty() || !end.session.wants_frames()))
        })
    }

    fn do_outputs(&mut self, devices: &[Device], side: usize) {
        let [one, other] = &mut self.ends;
        let (end, peer) = if side == 0 { (one, other) } else { (other, one) };
        let Some(holding) = devices.get(end.device).and_then(|device| device.holding.as_ref()) else {
            return;
        };
        while !end.over {
            let Some(output) = end.session.poll_output() else { break };
            match output {
                Output::Send(frame) => peer.on_the_way.push_back(frame.content()),
                Output::TakeInChain(start) => {
                    if let Err(refusal) = holding.take_in_chain(start) {
                        holding.with_ledger(|ledger| {
                            end.session.handle_refused(start.chain, refusal, ledger);
                        });
                    }
                }
                Output::Store(run) => end.to_store.push_back(run),
                Output::Read { .. } | Output::Show { .. } | Output::Compare(_) | Output::StoreFork(_) => {
                    end.to_ask.push_back(output);
                }
                Output::CaughtUp => end.note_peer(holding),
                Output::SetAside { .. } => {}
                Output::Close(_) | Output::Dismissed(_) => end.over = true,
            }
        }
    }
}
