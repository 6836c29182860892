//! What a job cost beside hours and material: hired gear, what was spent on skips and parking, and miles.
//!
//! VAT is part of it only where the crew gets none back, and what is not paid yet is in it. Hired gear counts when it went back, because only then is it
//! known for how long.

use ledger::office::TimeSide;
use ledger::{Body, JobId};
use trade::Pence;
use trade::money::line_amount;

use crate::billing::cost_of;
use crate::book::Book;
use crate::lists::Lists;
use crate::pay::ended_hires;

/// What was spent on a job beside hours and material. None is not known: a sum is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OtherCosts {
    /// Gear that was hired and went back.
    pub hires: Option<Pence>,
    /// Skips, tips, parking and such.
    pub expenses: Option<Pence>,
    /// Miles driven, at what is paid for a mile. Where nothing is paid for it, a mile costs nothing.
    pub miles: Pence,
}

impl OtherCosts {
    /// Of a job.
    #[must_use]
    pub fn of(book: &Book, lists: &Lists<'_>, job: JobId) -> Self {
        let entries: Vec<_> = book.entries().collect();
        let hires = ended_hires(&entries, lists).into_iter().filter(|hire| hire.site.job == job);
        let hires = hires.map(|hire| {
            let paid = hire.paid?;
            Some(cost_of(lists, hire.to, hire.cost(paid.net, paid.minimum), hire.vat(paid)))
        });
        let mut found = Self { hires: hires.sum(), expenses: Some(Pence::ZERO), miles: Pence::ZERO };
        for entry in &entries {
            match entry.body.as_ref() {
                Body::Expense(expense) if expense.site.job == job => {
                    let paid = lists.paid.get(&entry.entry_ref());
                    let paid = paid.map(|paid| cost_of(lists, entry.act.done_on, paid.net, paid.vat));
                    found.expenses = found.expenses.zip(paid).map(|(sum, paid)| sum + paid);
                }
                Body::Mileage(driven) if driven.site.job == job => {
                    let (person, day) = (entry.act.person, entry.act.done_on);
                    let mile = lists.mile(TimeSide::Paid, job, person, day);
                    found.miles += mile.map_or(Pence::ZERO, |mile| line_amount(driven.miles, mile));
                }
                _ => {}
            }
        }
        found
    }

    /// All of it; none while a sum is missing.
    #[must_use]
    pub fn all(&self) -> Option<Pence> {
        Some(self.hires? + self.expenses? + self.miles)
    }
}
