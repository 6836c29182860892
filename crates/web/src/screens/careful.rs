//! The cautions that are due where somebody stands. Each block is open until its own act is logged that day,
//! and shut after it, so that it is read once a day and is still there to be read again.

use ledger::Body;
use ledger::site::StageListed;
use projections::Entry;
use projections::cautions::{self, Caution, Occasion};

use crate::look::Look;

/// The cautions of one moment.
#[derive(Debug, Clone, Default)]
pub(crate) struct Careful {
    pub(crate) cautions: Vec<&'static Caution>,
    /// Nothing of it was logged yet today by whoever looks.
    pub(crate) open: bool,
}

/// Before work on the stage in hand.
pub(crate) fn before_work(look: &Look<'_>) -> Careful {
    let trades: Vec<String> =
        look.stage.iter().flat_map(|stage| &stage.trades).map(|trade| trade.to_lowercase()).collect();
    let closes = look.stage.is_some_and(|stage| !stage.covers.is_empty());
    let stage = look.stage.map(|stage| stage.stage);
    Careful {
        cautions: cautions::due(|occasion| match occasion {
            Occasion::Work => true,
            Occasion::Trade(word) => trades.iter().any(|trade| trade.contains(word)),
            Occasion::ClosingUp => closes,
            Occasion::Test(_) | Occasion::KnockingOff => false,
        }),
        open: !logged_today(look, |entry| entry.site().is_some_and(|site| site.stage == stage)),
    }
}

/// Before a test of the stage in hand.
pub(crate) fn before_test(look: &Look<'_>) -> Careful {
    let tests: Vec<String> =
        look.stage.iter().flat_map(|stage| &stage.needs_tests).map(|test| test.to_lowercase()).collect();
    Careful {
        cautions: cautions::due(|occasion| match occasion {
            Occasion::Test(word) => tests.iter().any(|test| test.contains(word)),
            Occasion::Work | Occasion::Trade(_) | Occasion::ClosingUp | Occasion::KnockingOff => false,
        }),
        open: !logged_today(look, |entry| matches!(entry.body.as_ref(), Body::Test(_))),
    }
}

/// Before a stage is signed off that closes others up: the last look at what is in there.
pub(crate) fn before_signing_off(look: &Look<'_>, stage: &StageListed) -> Careful {
    if stage.covers.is_empty() {
        return Careful::default();
    }
    let is_off = |entry: &Entry<'_>| matches!(entry.body.as_ref(), Body::SignedOff(off) if off.site.stage == Some(stage.stage));
    Careful {
        cautions: cautions::due(|occasion| occasion == Occasion::ClosingUp),
        open: !logged_today(look, is_off),
    }
}

/// Before knocking off.
pub(crate) fn before_knocking_off(look: &Look<'_>) -> Careful {
    Careful {
        cautions: cautions::due(|occasion| occasion == Occasion::KnockingOff),
        open: !logged_today(look, |entry| matches!(entry.body.as_ref(), Body::LeftOff(_))),
    }
}

/// Whether whoever looks logged such a thing today on the job in hand.
fn logged_today(look: &Look<'_>, is_such: impl Fn(&Entry<'_>) -> bool) -> bool {
    let job = look.job.map(|job| job.job);
    look.book.entries().any(|entry| {
        entry.act.author == look.viewer.person
            && entry.act.logged_at.day() == look.today
            && entry.site().map(|site| site.job) == job
            && !matches!(entry.body.as_ref(), Body::Seen(_))
            && is_such(&entry)
    })
}
