//! What goes out: which runs the peer lacks, read one at a time and cut into frames.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use ledger::sabotage::Fault;
use ledger::{Audience, ChainId, ChainStart, Ledger, Run};

use crate::message;
use crate::output::Output;
use crate::receiving::Receiving;
use crate::sight::sort_parents_first;
use crate::tips::{Tip, Tips};

/// The next run is read when fewer bytes than this are left to send. So at most this and one run
/// are in memory, however much the peer lacks.
const READ_AHEAD: usize = 1024 * 1024;

/// The sending side of a session.
#[derive(Debug, Default)]
pub(crate) struct Sending {
    frames: VecDeque<Vec<u8>>,
    frame_bytes: usize,
    /// What the peer has said to hold.
    pub(crate) peer_holds: BTreeMap<ChainId, u64>,
    /// What was sent in this session.
    sent: BTreeMap<ChainId, u64>,
    /// The chains that the store could not read.
    unreadable: BTreeSet<ChainId>,
    /// The chains of which the peer lacks something, in the order of sending.
    lacking: VecDeque<ChainStart>,
    /// The chain that is being read.
    reading: Option<ChainId>,
    /// What was stored for the peer and is not acknowledged yet.
    unacknowledged: Tips,
}

impl Sending {
    pub(crate) fn push(&mut self, frame: Vec<u8>) {
        self.frame_bytes += frame.len();
        self.frames.push_back(frame);
    }

    /// Drops all that was still to be sent.
    pub(crate) fn clear(&mut self) {
        *self = Self { peer_holds: std::mem::take(&mut self.peer_holds), ..Self::default() };
    }

    pub(crate) fn acknowledge(&mut self, chain: ChainId, tip: Tip) {
        self.unacknowledged.insert(chain, tip);
    }

    /// Notes that the peer holds this many events of the chain.
    pub(crate) fn note_held(&mut self, chain: ChainId, next_seq: u64) {
        let held = self.peer_holds.entry(chain).or_default();
        *held = next_seq.max(*held);
    }

    /// An acknowledgement goes before anything else, even between the parts of a run.
    pub(crate) fn next_frame(&mut self) -> Option<Vec<u8>> {
        if !self.unacknowledged.is_empty() {
            return Some(message::held(&mut self.unacknowledged));
        }
        let frame = self.frames.pop_front()?;
        self.frame_bytes -= frame.len();
        Some(frame)
    }

    /// The next run to read, if there is room for it.
    pub(crate) fn next_read(&mut self) -> Option<Output> {
        if self.reading.is_some() || self.frame_bytes >= READ_AHEAD {
            return None;
        }
        let start = self.lacking.pop_front()?;
        self.reading = Some(start.chain);
        Some(Output::Read { chain: start.chain, from_seq: self.next_seq(&start.chain) })
    }

    /// Whether there is nothing left to read for the peer. Frames may still be waiting.
    pub(crate) fn has_read_all(&self) -> bool {
        self.lacking.is_empty() && self.reading.is_none()
    }

    pub(crate) fn is_idle(&self) -> bool {
        self.has_read_all() && self.frames.is_empty() && self.unacknowledged.is_empty()
    }

    /// The first sequence number that was neither announced by the peer nor sent.
    fn next_seq(&self, chain: &ChainId) -> u64 {
        let count = |map: &BTreeMap<ChainId, u64>| map.get(chain).copied().unwrap_or_default();
        count(&self.peer_holds).max(count(&self.sent))
    }

    /// Works out what the peer lacks. With a `farewell`, only as far as that and only of the crew's.
    pub(crate) fn plan(&mut self, ledger: &Ledger, receiving: &Receiving, farewell: Option<&Tips>) {
        let until = |chain| match farewell {
            Some(tips) => tips.get(chain).map_or(0, |tip| tip.next_seq),
            None => u64::MAX,
        };
        let mut lacking: Vec<ChainStart> = ledger
            .chains()
            .filter(|chain| {
                let id = &chain.start.chain;
                self.next_seq(id) < ledger.counted_tip(chain).0.min(until(id))
                    && self.reading.as_ref() != Some(id)
                    && !self.unreadable.contains(id)
                    && !receiving.is_set_aside(id)
                    && (farewell.is_none() || chain.start.audience == Audience::Crew)
                    && !(Fault::KeepOfficeChainsBack.is_set() && chain.start.audience == Audience::Office)
            })
            .map(|chain| chain.start)
            .collect();
        sort_parents_first(&mut lacking, ledger);
        self.lacking = lacking.into();
    }

    /// Cuts a run that was read into frames.
    pub(crate) fn handle_read(&mut self, chain: ChainId, run: Option<Run>, ledger: &Ledger) {
        if self.reading != Some(chain) {
            return; // Asked for before the session was closed.
        }
        self.reading = None;
        let from_seq = self.next_seq(&chain);
        // The peer may have come to hold it from elsewhere while it was read.
        let held_by_now = run.as_ref().is_some_and(|run| run.next_seq() <= from_seq);
        if held_by_now {
            return;
        }
        let run = run.filter(|run| run.chain() == chain && run.first_seq() <= from_seq);
        let start = ledger.chain(&chain).map(|chain| chain.start);
        let Some((run, start)) = run.and_then(|run| run.starting_at(from_seq)).zip(start) else {
            self.unreadable.insert(chain);
            return;
        };
        if from_seq == 0 {
            self.push(message::chain_start(&start));
        }
        message::run_parts(run.bytes()).for_each(|frame| self.push(frame));
        self.sent.insert(chain, run.next_seq());
    }

    /// Whether the peer has said to hold all that is held here.
    pub(crate) fn peer_holds_all(&self, ledger: &Ledger) -> bool {
        ledger.chains().all(|chain| {
            let held = self.peer_holds.get(&chain.start.chain).copied().unwrap_or_default();
            held >= ledger.counted_tip(chain).0
        })
    }
}
