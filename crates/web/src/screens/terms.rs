//! When and how a job is billed, for the boss: deposits, completion, rates of VAT, and the papers beside the
//! invoices. All of it is money, so all of it is empty for whoever sees none.

use ledger::office::TimeSide;
use projections::billing::{self, JobWork};
use projections::words;
use trade::VatRate;

use crate::look::Look;
use crate::screens::applications::{Applications, applications};
use crate::screens::counting::counting;

/// What a deposit asked for comes to, and whether its invoice waits.
pub(crate) struct Terms {
    /// Each deposit with the day it was asked for.
    pub(crate) deposits: Vec<(String, String)>,
    /// What its invoice will come to, with VAT; empty if none waits.
    pub(crate) deposit_to_pay: String,
    /// Since when the job is complete and how long defects are put right; empty while it is not.
    pub(crate) completed: String,
    /// The rates that were set: of what, and which with its evidence.
    pub(crate) rates: Vec<(String, String)>,
    /// The rates to choose from: as a form names them, and as they are said.
    pub(crate) choices: Vec<(&'static str, String)>,
    pub(crate) stages: Vec<String>,
    /// The first and the last day of work on the clock; none if there was none.
    pub(crate) daywork: Option<(String, String)>,
    pub(crate) has_quote: bool,
    /// How hours on the clock are charged where not all are at one rate.
    pub(crate) counting: Vec<String>,
    /// None for a householder.
    pub(crate) applications: Option<Applications>,
}

/// What a rate is called, and what it comes to today.
fn rate_words(look: &Look<'_>, rate: VatRate) -> (&'static str, String) {
    let (name, said) = match rate {
        VatRate::Standard => ("standard", "the usual rate"),
        VatRate::Reduced => ("reduced", "reduced"),
        VatRate::Zero => ("zero", "zero-rated"),
        VatRate::EnergySaving => ("energy_saving", "energy-saving materials, installed"),
    };
    let percent = rate.percent_on(look.today).map(|rate| format!(", {}%", rate.value().normalize()));
    (name, format!("{said}{}", percent.unwrap_or_default()))
}

/// The terms of the job in hand.
pub(crate) fn terms(look: &Look<'_>) -> Option<Terms> {
    let job = look.job.filter(|_| look.viewer.sees_money)?;
    let works = billing::job_works(look.book, &look.lists);
    let work = works.into_iter().find(|work| work.job == job.job)?;
    let waiting = billing::deposit_preview(&work, look.today).ok();
    let deposits = work.deposits.iter().map(|deposit| {
        (format!("asked for {}", words::day_and_year(deposit.asked_on)), words::pounds(deposit.amount))
    });
    let rates = work.vat_rates.iter().map(|(stage, set)| {
        let what = stage.map_or_else(|| "All else".to_owned(), |stage| look.lists.stage(Some(stage)));
        let (_, rate) = rate_words(look, set.rate);
        (what, if set.evidence.is_empty() { rate } else { format!("{rate}: {}", set.evidence) })
    });
    Some(Terms {
        deposits: deposits.collect(),
        deposit_to_pay: waiting.map(|preview| words::pounds(preview.totals.to_pay)).unwrap_or_default(),
        completed: work.completion.as_ref().map_or_else(String::new, |done| {
            format!(
                "since {}; defects that show until {} are put right",
                words::day_and_year(done.on),
                words::day_and_year(done.defects_until)
            )
        }),
        rates: rates.collect(),
        choices: VatRate::ALL.map(|rate| rate_words(look, rate)).to_vec(),
        stages: work.stages.iter().map(|stage| stage.name.clone()).collect(),
        daywork: daywork(&work),
        applications: applications(look, &work),
        has_quote: projections::quotes::standing_quote(&look.lists, job.job).is_some(),
        counting: counting(look, TimeSide::Charged, Some(job.job), None),
    })
}

fn daywork(work: &JobWork) -> Option<(String, String)> {
    let days = || work.entries.iter().map(|entry| entry.done_on);
    Some((days().min()?.to_string(), days().max()?.to_string()))
}
