//! Applications for payment on the job's screen: how each stands, and the customer's own invoices. A householder is sent
//! invoices, so there is none of it for them.

use ledger::office::CustomerKind;
use projections::billing::{self, JobWork, Stand};
use projections::words;

use crate::look::Look;

/// An application, and what can be done about it.
pub(crate) struct Applied {
    pub(crate) number: u32,
    /// `applied for`, `billed by 41`.
    pub(crate) stands: String,
    pub(crate) sum: String,
    /// What they certified, in words; empty while they said nothing.
    pub(crate) certified: String,
    /// The sum that is open, as a field takes it; empty if none is.
    pub(crate) open: String,
}

/// The applications of a job.
pub(crate) struct Applications {
    pub(crate) applied: Vec<Applied>,
    /// How long the customer issues the invoices, in words; empty if they don't.
    pub(crate) theirs_until: String,
    /// There is something to apply for.
    pub(crate) may_apply: bool,
}

/// Those of a job; none for a householder.
pub(crate) fn applications(look: &Look<'_>, work: &JobWork) -> Option<Applications> {
    match work.terms.customer_kind {
        CustomerKind::Householder => return None,
        CustomerKind::Contractor | CustomerKind::Business => {}
    }
    let row = |stand: billing::ApplicationStand| Applied {
        number: stand.number,
        stands: match (stand.stand, &stand.billed_by) {
            (Stand::Billed, Some(number)) => format!("billed by {number}"),
            (stand, _) => stand.words().to_owned(),
        },
        sum: words::pounds(stand.applied),
        certified: stand.certified.zip(stand.certified_on).map_or_else(String::new, |(sum, on)| {
            format!("{} certified on {}", words::pounds(sum), words::day_and_year(on))
        }),
        open: if stand.open().0 == 0 { String::new() } else { stand.open().to_string() },
    };
    let days =
        billing::ApplicationDays { made_on: look.today, until: look.today, due_on: None, final_on: None };
    let agreed = work.self_billing.filter(|agreed| agreed.holds_on(look.today));
    Some(Applications {
        applied: billing::applications(work, look.today).into_iter().map(row).collect(),
        theirs_until: agreed.map_or_else(String::new, |agreed| words::day_and_year(agreed.until)),
        may_apply: billing::apply(work, &billing::Wish::default(), days).is_ok(),
    })
}
