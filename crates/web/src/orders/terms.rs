//! What the boss's forms ask for about when and how a job is billed, and how people work for the crew. All of it
//! is the office's.

use daemon::Command;
use daemon::command::{ApplicationCommand, SelfBilledWish, TermsCommand};
use trade::Rate;

use super::Fields;
use super::office::needed;
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
        "apply" => apply,
        "certified" => certified,
        "application-bill" => application_bill,
        "self-billing" => self_billing,
        "self-billed" => self_billed,
        "self-credited" => self_credited,
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

fn apply(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Applications(ApplicationCommand::Make {
        job: fields.text("job")?,
        until: fields.parsed("until")?,
        with_extra: Vec::new(),
        due_on: fields.parsed("due_on")?,
        final_on: fields.parsed("final_on")?,
    }))
}

fn certified(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Applications(ApplicationCommand::Certify {
        job: fields.text("job")?,
        number: needed("number", fields.parsed("number")?)?,
        sum: needed("sum", fields.parsed("sum")?)?,
        on: fields.parsed("on")?,
        reference: fields.optional("reference").unwrap_or_default(),
    }))
}

fn application_bill(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Applications(ApplicationCommand::Bill {
        job: fields.text("job")?,
        number: needed("number", fields.parsed("number")?)?,
        paid_on: fields.parsed("paid_on")?,
    }))
}

fn self_billing(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Terms(TermsCommand::SelfBilling {
        job: fields.text("job")?,
        from: fields.parsed("from")?,
        until: fields.parsed("until")?,
        evidence: fields.optional("evidence").unwrap_or_default(),
    }))
}

fn self_billed(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Applications(ApplicationCommand::SelfBilled(SelfBilledWish {
        job: fields.text("job")?,
        number: fields.text("theirs")?,
        sum: needed("sum", fields.parsed("sum")?)?,
        vat: fields.parsed("vat")?,
        on: fields.parsed("on")?,
        until: None,
        application: fields.parsed("application")?,
    })))
}

fn self_credited(fields: &Fields<'_>) -> Result<Command, Problem> {
    Ok(Command::Applications(ApplicationCommand::SelfCredited {
        of: fields.text("of")?,
        number: fields.text("theirs")?,
        whole: fields.optional("whole").is_some(),
        on: fields.parsed("on")?,
    }))
}
