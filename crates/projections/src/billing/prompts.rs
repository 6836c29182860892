//! What the owner is reminded of before an invoice: days that the law counts. Prompts, never a decision.

use ledger::office::CustomerKind;
use trade::{Day, Pence, Setting};

use super::applications::applications;
use super::work::JobWork;

/// What to think of on a day before this job is billed, each in one sentence.
#[must_use]
pub fn prompts(job: &JobWork, today: Day) -> Vec<String> {
    let mut prompts = Vec::new();
    let is_first = job.papers.iter().all(|paper| paper.voided);
    if let Some(completion) = job.completion.filter(|_| is_first) {
        let (on, after) = (completion.on, |setting: Setting| setting.days_on(completion.on));
        match (after(Setting::TaxPointDays), after(Setting::InvoiceDays)) {
            (Some(days), _) if today <= on.plus_days(days) => prompts.push(format!(
                "complete since {on}: an invoice by {} makes its own day the tax point (VAT Act 1994 s.6(5))",
                on.plus_days(days)
            )),
            (_, Some(days)) if today <= on.plus_days(days) => prompts.push(format!(
                "complete since {on}: that day is the tax point, and a VAT invoice is due by {} (SI 1995/2518 reg. 13)",
                on.plus_days(days)
            )),
            (_, Some(days)) => prompts.push(format!(
                "complete since {on}: a VAT invoice was due by {} (SI 1995/2518 reg. 13)",
                on.plus_days(days)
            )),
            (_, None) => {}
        }
    }
    if !job.terms.retention_percent.is_zero() {
        prompts.push(
            "retention: a law before Parliament in 2026 would ban such clauses in construction contracts; look whether \
             it is in force"
                .to_owned(),
        );
    }
    if job.terms.customer_kind != CustomerKind::Householder && job.terms.customer_cis.is_none() {
        prompts.push(
            "nobody said whether the customer is registered for CIS; the reverse charge and CIS follow from it"
                .to_owned(),
        );
    }
    prompts.extend(self_billing(job, today));
    for stand in applications(job, today).iter().filter(|stand| stand.open() != Pence::ZERO) {
        prompts.push(format!(
            "application {} of {} is {}: `fivebar invoice issue {} --application {}` bills it",
            stand.number,
            stand.open(),
            stand.stand.words(),
            job.code,
            stand.number
        ));
    }
    prompts
}

/// Days before the end of an agreement on self-billing from which a new one is thought of: common practice, no source.
const DAYS_BEFORE_END: i32 = 28;

fn self_billing(job: &JobWork, today: Day) -> Option<String> {
    let agreed = job.self_billing.filter(|agreed| agreed.from <= today)?;
    let text = if agreed.until < today {
        format!(
            "the agreement on self-billing ended on {}: invoices are the crew's own to issue until there is a new one",
            agreed.until
        )
    } else if today.plus_days(DAYS_BEFORE_END) >= agreed.until {
        format!(
            "the customer issues the invoices, and the agreement ends on {}: make a new one in time",
            agreed.until
        )
    } else {
        format!("the customer issues the invoices until {}; record theirs", agreed.until)
    };
    Some(text)
}
