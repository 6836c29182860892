//! Bills: what could be invoiced, what is to be given back, and the papers themselves.
//!
//! What can be billed once is a *unit*: an entry on the clock, a payment point or a stage of a quote, an
//! extra at a price, what was held back, a deposit. An invoice
//! lists claims on units; a credit note gives claims back. For every unit, in its own measure,
//! worth now = invoiced − credited + still to invoice. Nothing of that is kept: it is worked out
//! from the work as it now stands and from the papers that were issued.
//!
//! What was billed as one item and is another now, or at a rate or price that is another now for its
//! day, is to credit as it was billed and to bill as it is. A new name of an item and a new mark-up
//! of the job leave issued papers alone. An extra on the clock waits apart until the customer's yes
//! is logged, or the owner bills it by name, and is never billed above the limit of that yes. Where a quote has payment points they bill it, with the
//! extras at a price and less what was left out; where it has none, its stages do, and each extra and
//! each omission is a line of its own.
//!
//! Nothing here reads a clock, makes a number up, issues or sends anything. It files no tax, and
//! what a contractor takes off for CIS is the contractor's to decide: the figure here is what we
//! expect.

mod applications;
mod claims;
mod clock;
mod credit;
mod deposits;
mod from_book;
mod held;
mod hours;
mod issue;
mod limit;
mod names;
mod owed;
mod preview;
mod priced;
mod prompts;
mod set_aside;
mod spent;
mod sums;
mod uncertified;
mod vat;
mod work;

#[cfg(test)]
mod tests;

pub use applications::{
    ApplicationDays, ApplicationStand, NotApplied, Stand, application, applications, applied_for, apply,
    certification,
};
pub use claims::{DoubleClaim, double_claims};
pub use credit::{ProposedCredit, proposed_credits, whole_credit};
pub use deposits::{NoDeposit, may_ask_deposit};
pub use from_book::job_works;
pub use held::still_held;
pub use issue::{
    Missing, NotIssued, PaperDates, PaperNumber, credit_note, issue, named, next_number, printed_number,
    self_billed,
};
pub use limit::{LimitStand, limits};
pub use names::{called, in_words, is_called, numbers_twice, paper_key, unmistakable};
pub use owed::{
    AccountMove, Age, Closed, NoLateClaim, Owed, StatementLine, by_age, late_claim, owed, statement,
};
pub use preview::{
    NoSuchExtra, Preview, WaitingExtra, Wish, WorkingLine, deposit_preview, entries_without_a_price,
    extra_called, preview, preview_of, previews, stages_without_a_price,
};
pub use prompts::prompts;
pub use set_aside::{Obstacle, PaperOf, invoice_aside, obstacle, paper_of};
pub(crate) use spent::cost_of;
pub use uncertified::Certification;
pub(crate) use vat::says_otherwise_of_vat;
pub use vat::{VatDecision, one_vat_percent, tax_point, vat_category, vat_decision};
pub use work::{
    ApplicationWork, Certified, ClockEntry, CostingLine, DepositWork, ExtraWork, IssuedPaper, JobWork,
    MaterialCost, Measure, PointWork, Progress, SelfBilling, StageStep, StageWork,
};
