//! Faults on purpose, to show that the simulator finds them. Without the feature `sabotage` no fault can be set, and
//! every question about one is answered by the compiler.
//!
//! Only `tests/simulation` turns the feature on, and sets a fault for its own thread and for a while.

/// A fault: a rule that somebody forgot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// The store says that a group is durable before it has synced it.
    AcknowledgeBeforeSync,
    /// A node says that runs are saved which it gave to no store.
    AcknowledgeUnstored,
    /// A run is taken in without looking at the signature of its head.
    BelieveEveryHead,
    /// What is beyond the cut of a retired device counts.
    CountBeyondCut,
    /// What counts is not judged anew when somebody's rights changed.
    KeepOldStandings,
    /// A crossing-out crosses nothing out.
    DropStrikes,
    /// What was invoiced is forgotten.
    InvoiceTwice,
    /// Papers are issued past events that only a later program reads.
    BillPastLaterEvents,
    /// A folder that was copied or restored goes on in its old chains.
    WriteOnAfterRestore,
    /// A session does not send what only the office reads.
    KeepOfficeChainsBack,
    /// A device believes no proof of a fork.
    IgnoreForks,
    /// A device knows of a fork, and counts what is behind it.
    CountBehindFork,
    /// What is left of a device is taken in but for the last of it.
    LeaveLastOfFolder,
    /// A start believes that the index has all of the journal.
    BelieveIndex,
    /// A paper that is taken on is another than the one that went out.
    AdoptAsAnother,
    /// Nobody hears of two papers that have one number.
    HideSharedNumbers,
}

impl Fault {
    /// All of them.
    pub const ALL: [Self; 16] = [
        Self::AcknowledgeBeforeSync,
        Self::AcknowledgeUnstored,
        Self::BelieveEveryHead,
        Self::CountBeyondCut,
        Self::KeepOldStandings,
        Self::DropStrikes,
        Self::InvoiceTwice,
        Self::BillPastLaterEvents,
        Self::WriteOnAfterRestore,
        Self::KeepOfficeChainsBack,
        Self::IgnoreForks,
        Self::CountBehindFork,
        Self::LeaveLastOfFolder,
        Self::BelieveIndex,
        Self::AdoptAsAnother,
        Self::HideSharedNumbers,
    ];

    /// Whether this fault is set on this thread.
    #[must_use]
    pub fn is_set(self) -> bool {
        #[cfg(feature = "sabotage")]
        {
            SET.get() == Some(self)
        }
        #[cfg(not(feature = "sabotage"))]
        {
            false
        }
    }

    /// Does something with this fault set on this thread.
    #[cfg(feature = "sabotage")]
    pub fn set_while<T>(self, work: impl FnOnce() -> T) -> T {
        let before = SET.replace(Some(self));
        let done = work();
        SET.set(before);
        done
    }
}

#[cfg(feature = "sabotage")]
std::thread_local! {
    static SET: std::cell::Cell<Option<Fault>> = const { std::cell::Cell::new(None) };
}
