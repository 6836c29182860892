//! The simulator as a test: many short seeds, the same seeds twice, and faults on purpose that it must find.

use std::sync::atomic::{AtomicU64, Ordering};

use ledger::sabotage::Fault;
use simulation::seed::{Plan, Ran, run};

/// Things that happen in a short seed.
const STEPS: u64 = 20;

/// Runs seeds on two threads, and gives those that break a rule.
fn broken(seeds: std::ops::Range<u64>, steps: u64) -> Vec<(u64, String)> {
    let next = AtomicU64::new(seeds.start);
    let work = || {
        let mut broken = Vec::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds.end || broken.len() > 3 {
                return broken;
            }
            let found = run(&Plan::new(seed, steps), false).broken;
            broken.extend(found.map(|found| (seed, found.to_string())));
        }
    };
    std::thread::scope(|scope| {
        let threads = [scope.spawn(work), scope.spawn(work)];
        threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect()
    })
}

/// `scripts/test` runs ten thousand of them, and `scripts/simulate` as many as anybody likes.
#[test]
fn short_seeds_break_no_rule() {
    assert_eq!(broken(0..400, STEPS), []);
}

#[test]
fn longer_seeds_break_no_rule() {
    assert_eq!(broken(1_000_000..1_000_060, 120), []);
}

#[test]
fn a_seed_lives_twice_in_the_same_way() {
    for seed in 0..20 {
        let [once, twice]: [Ran; 2] = [(), ()].map(|()| run(&Plan::new(seed, 60), true));
        assert_eq!(once.told, twice.told, "seed {seed}");
        assert_eq!(once.trace, twice.trace, "seed {seed}");
    }
    let traces: std::collections::BTreeSet<String> =
        (0..20).map(|seed| run(&Plan::new(seed, 60), false).trace).collect();
    assert_eq!(traces.len(), 20, "other seeds are other lives");
}

/// The rules by which a fault may be found.
fn found_by(fault: Fault) -> &'static [&'static str] {
    use simulation::bills::{CONSERVED, UPDATE_FIRST};
    use simulation::checks::{ALL_AGREE, CUT_HOLDS, FORK_HOLDS, SAME_REBUILT, SAME_STATE};
    use simulation::mishaps::SALVAGED;
    use simulation::model::{FORKED, READ_BACK, SAME_CHAINS};
    use simulation::office::BILLED_ONCE;
    use simulation::papers::{ASIDE_ASKED, TWICE_ASKED};
    use simulation::putting_right::TAKEN_ON;
    use simulation::world::{ACKNOWLEDGED_SURVIVES, OPENS_AGAIN};
    match fault {
        Fault::AcknowledgeBeforeSync => &[ACKNOWLEDGED_SURVIVES, OPENS_AGAIN, FORKED],
        Fault::AcknowledgeUnstored => &[ACKNOWLEDGED_SURVIVES, READ_BACK],
        Fault::BelieveEveryHead => &[SAME_CHAINS, ACKNOWLEDGED_SURVIVES, ALL_AGREE],
        Fault::CountBeyondCut => &[CUT_HOLDS, FORK_HOLDS],
        Fault::KeepOldStandings => &[SAME_STATE, SAME_REBUILT, CUT_HOLDS],
        Fault::DropStrikes => &[CONSERVED],
        Fault::InvoiceTwice => &[BILLED_ONCE],
        Fault::BillPastLaterEvents => &[UPDATE_FIRST],
        Fault::WriteOnAfterRestore => &[FORKED, SAME_CHAINS],
        Fault::KeepOfficeChainsBack => &[ALL_AGREE, ACKNOWLEDGED_SURVIVES],
        Fault::IgnoreForks => &[ALL_AGREE],
        Fault::CountBehindFork => &[FORK_HOLDS, CUT_HOLDS],
        Fault::LeaveLastOfFolder => &[SALVAGED],
        Fault::BelieveIndex => &[READ_BACK, ACKNOWLEDGED_SURVIVES, ALL_AGREE],
        Fault::AdoptAsAnother => &[TAKEN_ON, ASIDE_ASKED],
        Fault::HideSharedNumbers => &[TWICE_ASKED],
    }
}

#[test]
fn every_fault_on_purpose_is_found() {
    const AT_MOST: u64 = 400;
    // The crew's beginning is made once, and must not be made by a fault.
    assert_eq!(run(&Plan::new(0, 0), false).broken, None);
    let find = |fault: Fault| {
        fault.set_while(|| {
            (0..AT_MOST).find_map(|seed| Some((seed, run(&Plan::new(seed, 60), false).broken?)))
        })
    };
    let next = AtomicU64::new(0);
    let work = || {
        while let Some(fault) = Fault::ALL.get(next.fetch_add(1, Ordering::Relaxed) as usize) {
            let (seed, broken) = find(*fault).unwrap_or_else(|| panic!("{fault:?} is not found"));
            println!("{fault:?}: seed {seed}, {broken}");
            assert!(found_by(*fault).contains(&broken.rule), "{fault:?}: seed {seed}: {broken}");
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(work);
        scope.spawn(work);
    });
}
