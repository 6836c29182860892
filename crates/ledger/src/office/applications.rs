//! Applications for payment: what the crew asks a contractor for by what is done, and what is certified of it.
//!
//! An application is no invoice: it has no VAT and no tax point, and bills nothing.

use serde::{Deserialize, Serialize};
use trade::{Day, Pence, Quantity, Rate};

use super::papers::{BillableUnit, Party, Work};
use crate::ids::{EntryRef, JobId};

/// A line of an application: what is done of something, from the beginning of the job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AppliedLine {
    /// The stage's name, or empty.
    pub stage: String,
    /// What it says.
    pub what: String,
    /// How much is done. Of what has a price as a whole: in per cent of it.
    pub quantity: Quantity,
    /// The unit; `%` for what has a price as a whole.
    pub unit: String,
    /// Pounds a unit; the price of the whole for what is counted in per cent.
    pub unit_price: Rate,
    /// What that comes to, without VAT.
    pub amount: Pence,
}

/// Everything that an application prints. Later changes of names or prices never alter it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Application {
    /// The job.
    pub job: JobId,
    /// 1, 2, 3… of the job. Applications have numbers of their own, beside those of invoices.
    pub number: u32,
    /// The job as it is printed.
    pub work: Work,
    /// The number of the customer's order, or empty.
    pub order_number: String,
    /// The day it was made.
    pub made_on: Day,
    /// What was done up to this day is on it.
    pub until: Day,
    /// Extras that the owner put on it by name, although nobody logged the customer's yes.
    pub named: Vec<BillableUnit>,
    /// Who asks.
    pub seller: Party,
    /// Who is asked.
    pub customer: Party,
    /// The lines in printed order. They add up to the work done to date.
    pub lines: Vec<AppliedLine>,
    /// The work done to date.
    pub gross: Pence,
    /// The share that is held back, in per cent.
    pub retention_percent: Rate,
    /// What is held back of the work to date and not released.
    pub retention: Pence,
    /// What was certified or billed before, without VAT and after what was held back.
    pub before: Pence,
    /// What is asked for now: the work to date, less what is held back, less what came before.
    pub applied: Pence,
    /// The day on which it falls due.
    pub due_on: Day,
    /// The last day for the customer to say what they will pay.
    pub notice_by: Day,
    /// The last day for the customer to say that they will pay less.
    pub pay_less_by: Day,
    /// The last day to pay.
    pub final_on: Day,
}

/// An application for payment was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PaymentApplied {
    /// All that it prints. Kept apart, so that every other event stays small.
    pub application: Box<Application>,
}

/// The customer said, on the act's day, what they will pay of an application.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PaymentCertified {
    /// The entry of the application.
    pub application: EntryRef,
    /// What they will pay, without VAT, after what they hold back, and before CIS.
    pub certified: Pence,
    /// The number of their certificate or notice, or empty.
    pub reference: String,
}
