//! What decides when and how a job is billed: payment points that are due, completion, rates of VAT; and
//! how people work for the crew.

use ledger::office::{Engagement, JobCompleted, PersonEngaged, PointDue, SelfBillingAgreed, VatRateSet};
use ledger::{Body, PersonId};
use projections::quotes;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::{Day, Rate, Setting, VatRate};

use super::time_terms::{self, TimeWish};
use super::{named, office};
use crate::error::NodeError;
use crate::node::Node;

/// Months from practical completion to the end of the defects period, where nobody says otherwise: often
/// twelve (nockolds.co.uk).
const DEFECTS_MONTHS: i32 = 12;

/// What can be said of when and how a job is billed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "terms", rename_all = "snake_case")]
pub enum TermsCommand {
    /// A payment point is due because the owner says so.
    PointDue {
        /// The job.
        job: String,
        /// The point, as it is called.
        label: String,
        /// Since when; today without one.
        on: Option<Day>,
    },
    /// A job is practically complete.
    Complete {
        /// The job.
        job: String,
        /// Since when; today without one.
        on: Option<Day>,
        /// The last day of the defects period; a year later without one.
        defects_until: Option<Day>,
    },
    /// Which rate of VAT a job or a stage of it is at.
    VatRate {
        /// The job.
        job: String,
        /// One stage only.
        stage: Option<String>,
        /// The rate.
        rate: VatRate,
        /// What proves it.
        evidence: String,
    },
    /// The customer issues the invoices of a job.
    SelfBilling {
        /// The job.
        job: String,
        /// Since when; today without one.
        from: Option<Day>,
        /// The last day; twelve months later without one.
        until: Option<Day>,
        /// Where the written agreement is.
        evidence: String,
    },
    /// How time is counted where not every hour is at one rate.
    Time(TimeWish),
    /// All ways of counting time that were set.
    ShowTime,
    /// How a person works for the crew.
    Engage {
        /// The person.
        person: String,
        /// How.
        engagement: Engagement,
        /// What is taken off for CIS, in per cent.
        cis_percent: Rate,
        /// When the tax office confirmed that.
        verified_on: Option<Day>,
        /// The VAT number, or empty.
        vat_number: String,
        /// From this day; from the beginning without one.
        from: Option<Day>,
    },
}

/// Does it.
pub(super) fn run(node: &mut Node, author: PersonId, command: TermsCommand) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    match command {
        TermsCommand::PointDue { job, label, on } => point_due(node, author, (&job, &label), on),
        TermsCommand::Complete { job, on, defects_until } => complete(node, author, &job, on, defects_until),
        TermsCommand::VatRate { job, stage, rate, evidence } => {
            vat_rate(node, author, (&job, stage.as_deref()), rate, evidence)
        }
        TermsCommand::SelfBilling { job, from, until, evidence } => {
            self_billing(node, author, &job, (from, until), evidence)
        }
        TermsCommand::Time(wish) => time_terms::set(node, author, wish),
        TermsCommand::ShowTime => Ok(time_terms::show(node)),
        TermsCommand::Engage { person, engagement, cis_percent, verified_on, vat_number, from } => {
            let person = named::person(node, &person)?;
            let engaged = PersonEngaged { person, engagement, cis_percent, verified_on, vat_number };
            engage(node, author, engaged, from)
        }
    }
}

fn point_due(
    node: &mut Node,
    author: PersonId,
    (code, label): (&str, &str),
    on: Option<Day>,
) -> Result<Value, NodeError> {
    let (point, waits_for) = {
        let lists = node.book().lists();
        let points = quotes::points(&lists, named::job(&lists, code)?.job);
        let found = points.iter().find(|point| point.label == label).ok_or_else(|| {
            let there_are: Vec<_> = points.iter().map(|point| point.label.as_str()).collect();
            let there_are = if there_are.is_empty() { "none yet".to_owned() } else { there_are.join(", ") };
            NodeError::bad_input(format!("{code} has no payment point {label:?}; there are: {there_are}"))
        })?;
        (found.point, found.stage.map(|stage| lists.stage(Some(stage))))
    };
    let body = Body::PointDue(PointDue { point });
    let replaces = named::heads(node, |body| matches!(body, Body::PointDue(due) if due.point == point));
    let on = office::write_since(node, author, on, replaces, body)?;
    Ok(json!({ "job": code, "point": label, "due_on": on, "else_at": waits_for }))
}

fn complete(
    node: &mut Node,
    author: PersonId,
    code: &str,
    on: Option<Day>,
    defects_until: Option<Day>,
) -> Result<Value, NodeError> {
    let job = named::job(&node.book().lists(), code)?.job;
    let since = match on {
        Some(on) => on,
        None => node.act(author)?.done_on,
    };
    let defects_until = defects_until.unwrap_or_else(|| since.plus_months(DEFECTS_MONTHS));
    if defects_until < since {
        return Err(NodeError::bad_input(format!(
            "--defects-until: {defects_until} is before the completion on {since}"
        )));
    }
    let replaces = named::heads(node, |body| matches!(body, Body::JobCompleted(done) if done.job == job));
    let body = Body::JobCompleted(JobCompleted { job, defects_until });
    let on = office::write_since(node, author, Some(since), replaces, body)?;
    Ok(json!({ "job": code, "complete_on": on, "defects_until": defects_until }))
}

fn vat_rate(
    node: &mut Node,
    author: PersonId,
    (code, stage): (&str, Option<&str>),
    rate: VatRate,
    evidence: String,
) -> Result<Value, NodeError> {
    let (job, stage_id) = {
        let lists = node.book().lists();
        let job = named::job(&lists, code)?;
        let stage = stage.map(|stage| named::stage(&lists, job, stage)).transpose()?;
        (job.job, stage.map(|stage| stage.stage))
    };
    if rate != VatRate::Standard && evidence.trim().is_empty() {
        return Err(NodeError::bad_input(
            "a rate other than the standard one needs --evidence: who said what, and where the paper is. Whether the \
             work is at that rate is for your bookkeeper or the tax office to say",
        ));
    }
    let is_row =
        |body: &Body| matches!(body, Body::VatRateSet(set) if set.job == job && set.stage == stage_id);
    let replaces = named::heads(node, is_row);
    let answer = json!({ "job": code, "stage": stage, "rate": rate, "evidence": evidence });
    let body = Body::VatRateSet(VatRateSet { job, stage: stage_id, rate, evidence });
    office::write_since(node, author, None, replaces, body)?;
    Ok(answer)
}

fn self_billing(
    node: &mut Node,
    author: PersonId,
    code: &str,
    (from, until): (Option<Day>, Option<Day>),
    evidence: String,
) -> Result<Value, NodeError> {
    let (job, held) = {
        let lists = node.book().lists();
        let job = named::job(&lists, code)?.job;
        (job, lists.self_billing.get(&job).map(|&(from, agreed, _)| (from, agreed.evidence.clone())))
    };
    // Whoever only says when it ends speaks of the agreement that there is.
    let (held_from, held_evidence) = held.map_or((None, String::new()), |(from, held)| (Some(from), held));
    let from = match from.or(held_from) {
        Some(from) => from,
        None => node.act(author)?.done_on,
    };
    let evidence = if evidence.trim().is_empty() { held_evidence } else { evidence };
    if evidence.trim().is_empty() {
        return Err(NodeError::bad_input(
            "say by --evidence where the written agreement is: without one the customer's paper is no VAT invoice (HMRC \
             Notice 700/62, VATREC15030)",
        ));
    }
    let months = Setting::SelfBillingMonths.whole_on(from).unwrap_or_default();
    let until = until.unwrap_or_else(|| from.plus_months(months).plus_days(-1));
    let is_row = |body: &Body| matches!(body, Body::SelfBillingAgreed(held) if held.job == job);
    let replaces = named::heads(node, is_row);
    let answer = json!({ "job": code, "from": from, "until": until, "evidence": evidence });
    let body = Body::SelfBillingAgreed(SelfBillingAgreed { job, until, evidence });
    office::write(node, author, Some(from), replaces, body)?;
    Ok(answer)
}

fn engage(
    node: &mut Node,
    author: PersonId,
    engaged: PersonEngaged,
    from: Option<Day>,
) -> Result<Value, NodeError> {
    named::not_below_nought(&[engaged.cis_percent])?;
    let takes_cis = !engaged.cis_percent.is_zero();
    match engaged.engagement {
        Engagement::SelfEmployed if takes_cis && engaged.verified_on.is_none() => {
            return Err(NodeError::bad_input(
                "say on which day the tax office confirmed the share; until then it is for them to say",
            ));
        }
        Engagement::Owner | Engagement::OnTheBooks if takes_cis => {
            return Err(NodeError::bad_input(
                "CIS is taken off somebody who is self-employed; leave the share out",
            ));
        }
        Engagement::SelfEmployed | Engagement::Owner | Engagement::OnTheBooks => {}
    }
    let from = from.map_or_else(|| Day::from_number(0), Ok);
    let from = from.map_err(|error| NodeError::bad_input(error.to_string()))?;
    let person = engaged.person;
    let is_row = |body: &Body| matches!(body, Body::PersonEngaged(held) if held.person == person);
    let replaces = office::of_the_day(node, from, is_row);
    let answer = json!({ "person": node.book().lists().person(person), "engagement": engaged.engagement,
        "cis_percent": engaged.cis_percent, "verified_on": engaged.verified_on,
        "vat_number": engaged.vat_number, "from": from });
    office::write(node, author, Some(from), replaces, Body::PersonEngaged(engaged))?;
    Ok(answer)
}
