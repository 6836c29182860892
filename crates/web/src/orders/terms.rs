//! What the boss's forms ask for about when and how a job is billed, and how people work for the crew. All of it
//! is the office's.

use daemon::Command;
use daemon::command::TermsCommand;
use trade::Rate;

use super::Fields;
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Reads an order about terms; none for a name that is none of its.
///
/// # Errors
/// As [`super::read`].
pub(super) fn read(name: &str, viewer: &Viewer, fields: &Fields<'_>) -> Result<Option<Command>, Problem> {
    let read: fn(&Fields<'_>) -> Result<Command, Problem> = match name {
        "deposit-issue" => deposit_issue,
        "point-due" => point_due,
        "complete" => complete,
        "vat-rate" => vat_rate,
        "engage" => engage,
        _ => return Ok(None),
    };
    viewer.must_see_money()?;
    read(fields).map(Some)
}

fn deposit_issue(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::IssueDeposit { job: fields.text("job")?, paid_on: fields.parsed("paid_on")? })
}

fn point_due(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Terms(TermsCommand::PointDue {
        job: fields.text("job")?,
        label: fields.text("label")?,
        on: fields.parsed("on")?,
    }))
}

fn complete(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Terms(TermsCommand::Complete {
        job: fields.text("job")?,
        on: fields.parsed("on")?,
        defects_until: fields.parsed("defects_until")?,
    }))
}

fn vat_rate(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Terms(TermsCommand::VatRate {
        job: fields.text("job")?,
        stage: fields.optional("stage"),
        rate: fields.listed("rate")?,
        evidence: fields.optional("evidence").unwrap_or_default(),
    }))
}

fn engage(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Terms(TermsCommand::Engage {
        person: fields.text("person")?,
        engagement: fields.listed("engagement")?,
        cis_percent: fields.parsed("cis_percent")?.unwrap_or(Rate::ZERO),
        verified_on: fields.parsed("verified_on")?,
        vat_number: fields.optional("vat_number").unwrap_or_default(),
        from: fields.parsed("from")?,
    }))
}
