//! Devices and connections with a stepped clock, delays, and connections that are cut.

use std::collections::VecDeque;

use ledger::{Refusal, Run};
use sync::{FrameReader, Output, Session, push_frame};

use crate::device::Device;

/// One end of a connection.
pub(crate) struct End {
    pub(crate) device: usize,
    pub(crate) session: Session,
    /// Bytes on their way to this end, with the step at which they arrive.
    wire: VecDeque<(u64, Vec<u8>)>,
    reader: FrameReader,
    pub(crate) sent_frames: Vec<Vec<u8>>,
    /// With their lengths.
    pub(crate) sent_bytes: usize,
    /// Of the runs that came from the other end.
    pub(crate) stored_bytes: usize,
    pub(crate) stored_new: u64,
    pub(crate) stored_known: u64,
    pub(crate) caught_up: u64,
    pub(crate) set_aside: Vec<Refusal>,
    pub(crate) ended: Option<Output>,
    pub(crate) most_queued: usize,
}

pub(crate) struct Link {
    pub(crate) ends: [End; 2],
    delay: u64,
}

pub(crate) struct World {
    pub(crate) devices: Vec<Device>,
    pub(crate) links: Vec<Link>,
    now: u64,
    /// Runs that are on their way to the disk: due step, link, end.
    storing: VecDeque<(u64, usize, usize, Run)>,
    /// Steps that the disk takes.
    pub(crate) disk: u64,
    random: u64,
}

impl World {
    pub(crate) fn new(devices: Vec<Device>) -> Self {
        Self { devices, links: Vec::new(), now: 0, storing: VecDeque::new(), disk: 2, random: 1 }
    }

    pub(crate) fn seeded(devices: Vec<Device>, seed: u64) -> Self {
        Self { random: seed | 1, ..Self::new(devices) }
    }

    /// xorshift64: all the chance there is in these tests, and the same for the same seed.
    pub(crate) fn random(&mut self, below: u64) -> u64 {
        self.random ^= self.random << 13;
        self.random ^= self.random >> 7;
        self.random ^= self.random << 17;
        self.random % below
    }

    /// Connects two devices. A device whose ledger is empty joins.
    pub(crate) fn connect(&mut self, a: usize, b: usize, delay: u64) -> usize {
        let end = |own: usize, peer: usize| {
            let (device, key) = (&self.devices[own], self.devices[peer].key());
            let common = device.common.get(&key).cloned().unwrap_or_default();
            let session = if device.events() == 0 {
                Session::joining(key, &device.ledger)
            } else {
                Session::new(key, common, &device.ledger)
            };
            End {
                device: own,
                session,
                wire: VecDeque::new(),
                reader: FrameReader::default(),
                sent_frames: Vec::new(),
                sent_bytes: 0,
                stored_bytes: 0,
                stored_new: 0,
                stored_known: 0,
                caught_up: 0,
                set_aside: Vec::new(),
                ended: None,
                most_queued: 0,
            }
        };
        self.links.push(Link { ends: [end(a, b), end(b, a)], delay });
        let link = self.links.len() - 1;
        self.pump(link, 0);
        self.pump(link, 1);
        link
    }

    /// Cuts a connection. What was on the way is lost; what the disk has been given is not.
    pub(crate) fn cut(&mut self, link: usize) {
        for end in &mut self.links[link].ends {
            end.session.handle_end();
            end.wire.clear();
            end.ended.get_or_insert(Output::Dismissed(None));
        }
    }

    pub(crate) fn cut_all(&mut self) {
        (0..self.links.len()).for_each(|link| self.cut(link));
        self.links.clear();
    }

    /// A device has something new of its own.
    pub(crate) fn appended(&mut self, device: usize) {
        for link in 0..self.links.len() {
            for side in 0..2 {
                if self.links[link].ends[side].device == device {
                    let ledger = &self.devices[device].ledger;
                    self.links[link].ends[side].session.handle_ledger_changed(ledger);
                    self.pump(link, side);
                }
            }
        }
    }

    /// Does everything that a session asks for.
    fn pump(&mut self, link: usize, side: usize) {
        let delay = self.links[link].delay;
        loop {
            let end = &mut self.links[link].ends[side];
            let device = &mut self.devices[end.device];
            let Some(output) = end.session.poll_output() else { break };
            assert!(
                end.ended.is_none() || !matches!(output, Output::Send(_)),
                "nothing is said after the end"
            );
            match output {
                Output::Send(frame) => {
                    let mut bytes = Vec::new();
                    push_frame(&mut bytes, &frame);
                    end.sent_bytes += bytes.len();
                    end.sent_frames.push(frame);
                    self.links[link].ends[1 - side].wire.push_back((self.now + delay, bytes));
                }
                Output::TakeInChain(start) => {
                    if let Err(refusal) = device.ledger.take_in_chain(start) {
                        end.session.handle_refused(start.chain, refusal, &device.ledger);
                    }
                }
                Output::Store(run) => self.storing.push_back((self.now + self.disk, link, side, run)),
                Output::Read { chain, from_seq } => {
                    let run = device.read(chain, from_seq);
                    end.session.handle_read(chain, run, &device.ledger);
                }
                Output::Show { chain, from_seq } => {
                    let run = device.read(chain, from_seq);
                    end.session.handle_shown(run, &device.ledger);
                }
                Output::Compare(run) => {
                    let found = device.compare(&run);
                    end.session.handle_compared(run.next_seq(), found, &device.ledger);
                }
                Output::StoreFork(proof) => {
                    let chain = proof.chain();
                    let outcome = device.store_fork(proof);
                    end.session.handle_fork_stored(chain, outcome, &device.ledger);
                }
                Output::CaughtUp => end.caught_up += 1,
                Output::SetAside { refusal, .. } => end.set_aside.push(refusal),
                Output::Close(_) | Output::Dismissed(_) => {
                    end.ended.get_or_insert(output);
                }
            }
        }
        let end = &self.links[link].ends[side];
        let device = &mut self.devices[end.device];
        if let Some(common) = end.session.common_ground(&device.ledger) {
            device.common.insert(end.session.peer(), common);
        }
    }

    /// One step of the clock. Says whether anything is still under way.
    pub(crate) fn step(&mut self) -> bool {
        self.now += 1;
        while self.storing.front().is_some_and(|(due, ..)| *due <= self.now) {
            let Some((_, link, side, run)) = self.storing.pop_front() else { break };
            let end = &mut self.links[link].ends[side];
            end.stored_bytes += run.bytes().len();
            let index = end.device;
            let device = &mut self.devices[index];
            match device.store(&run) {
                Ok(new) => {
                    end.stored_new += u64::from(new);
                    end.stored_known += u64::from(!new);
                    end.session.handle_stored(run.chain(), &device.ledger);
                }
                Err(refusal) => end.session.handle_refused(run.chain(), refusal, &device.ledger),
            }
            self.pump(link, side);
            self.appended(index);
        }
        for link in 0..self.links.len() {
            for side in 0..2 {
                self.deliver(link, side);
            }
        }
        let on_wires = self.links.iter().flat_map(|link| &link.ends).any(|end| !end.wire.is_empty());
        on_wires || !self.storing.is_empty()
    }

    fn deliver(&mut self, link: usize, side: usize) {
        loop {
            let end = &mut self.links[link].ends[side];
            let queued = self.storing.iter().filter(|(_, at, of, _)| (*at, *of) == (link, side));
            end.most_queued = end.most_queued.max(queued.map(|(.., run)| run.bytes().len()).sum());
            let due = end.wire.front().is_some_and(|(due, _)| *due <= self.now);
            if !due || !end.session.wants_frames() {
                return;
            }
            let Some((_, bytes)) = end.wire.pop_front() else { return };
            let mut input = bytes.as_slice();
            while !input.is_empty() {
                if let Some(frame) = end.reader.take_in(&mut input).expect("a session's frames are small") {
                    end.session.handle_frame(&frame, &self.devices[end.device].ledger);
                }
            }
            self.pump(link, side);
        }
    }

    /// Steps until nothing is under way.
    pub(crate) fn settle(&mut self) {
        for _ in 0..100_000 {
            if !self.step() {
                return;
            }
        }
        panic!("the devices never stop talking");
    }

    pub(crate) fn digest(&self, device: usize) -> [u8; 32] {
        self.devices[device].ledger.frontier(None).digest()
    }

    pub(crate) fn end(&self, link: usize, side: usize) -> &End {
        &self.links[link].ends[side]
    }

    /// Both ends know that all is equal.
    pub(crate) fn is_settled(&self, link: usize) -> bool {
        let settled = |end: &End| end.session.is_settled(&self.devices[end.device].ledger);
        self.links[link].ends.iter().all(settled)
    }
}
