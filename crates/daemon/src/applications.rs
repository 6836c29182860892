//! Applications for payment: making them, noting what was certified, and billing that; and the invoices that a
//! customer issues in the crew's name. Those take no number of the crew's.

use ledger::{Body, InvoiceId, PersonId, office};
use projections::billing::{self, Certification, JobWork, PaperDates, Wish};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::{Day, Pence};

use crate::command::named;
use crate::command::office::write;
use crate::error::{NodeError, has_come};
use crate::invoices::{self, extras_called, issue_as, update_first, work_of, works};
use crate::node::Node;

/// What can be done with applications and the customer's own invoices.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "act", rename_all = "snake_case")]
pub enum ApplicationCommand {
    /// Makes the next application of a job.
    Make {
        /// The job.
        job: String,
        /// What was done up to this day; today without one.
        until: Option<Day>,
        /// The names of extras to put on it although nobody logged the customer's yes.
        with_extra: Vec<String>,
        /// The day on which the contract says that it falls due.
        due_on: Option<Day>,
        /// The contract's last day to pay.
        final_on: Option<Day>,
    },
    /// The applications, and how they stand.
    List {
        /// One job only.
        job: Option<String>,
    },
    /// Notes what the customer will pay of an application.
    Certify {
        /// The job.
        job: String,
        /// The application's number.
        number: u32,
        /// Without VAT, after what they hold back, before CIS.
        sum: Pence,
        /// When they said so; today without one.
        on: Option<Day>,
        /// The number of their certificate, or empty.
        reference: String,
    },
    /// Issues the invoice of what was certified of an application.
    Bill {
        /// The job.
        job: String,
        /// The application's number.
        number: u32,
        /// The day on which it was paid, if it was paid before.
        paid_on: Option<Day>,
    },
    /// Records an invoice that the customer issued in the crew's name.
    SelfBilled(SelfBilledWish),
    /// Records the customer's credit note on an invoice of theirs.
    SelfCredited {
        /// The invoice's number, as they gave it.
        of: String,
        /// The number of their credit note.
        number: String,
        /// It gives back all that is left.
        whole: bool,
        /// Its day; today without one.
        on: Option<Day>,
    },
}

/// An invoice that a customer issued in the crew's name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SelfBilledWish {
    /// The job.
    pub job: String,
    /// The number that they gave it.
    pub number: String,
    /// What it comes to without VAT, after what they hold back, before CIS.
    pub sum: Pence,
    /// The VAT that it charges, to check.
    pub vat: Option<Pence>,
    /// Its day; today without one.
    pub on: Option<Day>,
    /// What was done up to this day is on it; its own day without one.
    pub until: Option<Day>,
    /// The application that it pays.
    pub application: Option<u32>,
}

/// Does it.
///
/// # Errors
/// [`NodeError`]: what happened and what to do. Nothing is half done.
pub(crate) fn run(
    node: &mut Node,
    author: PersonId,
    command: ApplicationCommand,
    today: Day,
) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    match command {
        ApplicationCommand::Make { job, until, with_extra, due_on, final_on } => {
            let until = until.unwrap_or(today);
            let days = billing::ApplicationDays { made_on: today, until, due_on, final_on };
            make(node, author, &job, &with_extra, days)
        }
        ApplicationCommand::List { job } => list(node, job.as_deref(), today),
        ApplicationCommand::Certify { job, number, sum, on, reference } => {
            has_come("--on", on, today)?;
            certify(node, author, (&job, number), (sum, reference), on)
        }
        ApplicationCommand::Bill { job, number, paid_on } => {
            bill(node, author, (&job, number), paid_on, today)
        }
        ApplicationCommand::SelfBilled(wish) => self_billed(node, author, wish, today),
        ApplicationCommand::SelfCredited { of, number, whole, on } => {
            has_come("--on", on, today)?;
            self_credited(node, author, (&of, &number), whole, (on.unwrap_or(today), today))
        }
    }
}

fn make(
    node: &mut Node,
    author: PersonId,
    code: &str,
    with_extra: &[String],
    days: billing::ApplicationDays,
) -> Result<Value, NodeError> {
    update_first(node)?;
    let works = works(node);
    let work = work_of(&works, code)?;
    let wish = Wish { named: extras_called(work, with_extra)?, ..Wish::default() };
    let application = billing::apply(work, &wish, days).map_err(NodeError::refused)?;
    let answer = json!({ "application": application });
    let application = Box::new(application);
    write(node, author, None, Vec::new(), Body::PaymentApplied(office::PaymentApplied { application }))?;
    Ok(answer)
}

fn list(node: &Node, code: Option<&str>, today: Day) -> Result<Value, NodeError> {
    let mut works = works(node);
    if let Some(code) = code {
        work_of(&works, code)?;
        works.retain(|work| work.code == code);
    }
    let stands: Vec<_> = works.iter().flat_map(|work| billing::applications(work, today)).collect();
    let open: Pence = stands.iter().map(billing::ApplicationStand::open).sum();
    Ok(json!({ "today": today, "applications": stands, "open": open }))
}

fn certify(
    node: &mut Node,
    author: PersonId,
    (code, number): (&str, u32),
    (sum, reference): (Pence, String),
    on: Option<Day>,
) -> Result<Value, NodeError> {
    if sum < Pence::ZERO {
        return Err(NodeError::bad_input("what they will pay is nought or more"));
    }
    let works = works(node);
    let work = work_of(&works, code)?;
    let applied = billing::application(work, number).map_err(NodeError::refused)?;
    let (application, asked) = (applied.entry, applied.application.applied);
    let stands = billing::applications(work, applied.application.made_on);
    if let Some(by) =
        stands.iter().find(|stand| stand.number == number).and_then(|stand| stand.billed_by.as_ref())
    {
        return Err(NodeError::bad_input(format!(
            "application {number} of {code} is billed by invoice {by}; give back what is too much by a credit note"
        )));
    }
    let is_row =
        |body: &Body| matches!(body, Body::PaymentCertified(held) if held.application == application);
    let replaces = named::heads(node, is_row);
    let certified = office::PaymentCertified { application, certified: sum, reference: reference.clone() };
    let day = write(node, author, on, replaces, Body::PaymentCertified(certified))?;
    Ok(json!({ "job": code, "number": number, "applied": asked, "certified": sum, "less": asked - sum,
        "on": day, "reference": reference }))
}

fn bill(
    node: &mut Node,
    author: PersonId,
    (code, number): (&str, u32),
    paid_on: Option<Day>,
    today: Day,
) -> Result<Value, NodeError> {
    update_first(node)?;
    has_come("--paid-on", paid_on, today)?;
    let works = works(node);
    let work = work_of(&works, code)?;
    let certified = billing::certification(work, number).map_err(NodeError::refused)?;
    let tax_point = billing::tax_point(work, today, paid_on);
    let preview = preview_as(work, certified, None, tax_point)?;
    issue_as(node, author, (&works, work), &preview, PaperDates { today, issued_on: today, tax_point })
}

/// What an invoice says that comes to what the customer certified or billed.
fn preview_as(
    work: &JobWork,
    certified: Certification,
    until: Option<Day>,
    tax_point: Day,
) -> Result<billing::Preview, NodeError> {
    let applied = certified.application.map(|number| billing::application(work, number)).transpose();
    let applied = applied.map_err(NodeError::refused)?.map(|applied| &applied.application);
    let wish = Wish {
        until: applied.map(|application| application.until).or(until),
        tax_point: Some(tax_point),
        named: applied.iter().flat_map(|application| application.named.iter().copied()).collect(),
        certified: Some(certified),
    };
    billing::preview_of(work, &wish)
        .ok_or_else(|| NodeError::bad_input(format!("nothing to bill on {}; no number was used", work.code)))
}

fn self_billed(
    node: &mut Node,
    author: PersonId,
    wish: SelfBilledWish,
    today: Day,
) -> Result<Value, NodeError> {
    update_first(node)?;
    let SelfBilledWish { job, number, sum, vat, on, until, application } = wish;
    has_come("--on", on, today)?;
    let (on, number) = (on.unwrap_or(today), number.trim().to_owned());
    let works = works(node);
    let work = work_of(&works, &job)?;
    must_be_theirs(&works, &number)?;
    let agreed = work
        .self_billing
        .filter(|agreed| agreed.holds_on(on))
        .ok_or_else(|| NodeError::refused(billing::NotIssued::NoAgreement { job: job.clone(), day: on }))?;
    let certified = match application {
        Some(number) => {
            let certified = billing::certification(work, number).map_err(NodeError::refused)?;
            Certification { sum, ..certified }
        }
        None => Certification { sum, application: None, revision: agreed.revision },
    };
    let tax_point = billing::tax_point(work, on, None);
    let preview = preview_as(work, certified, Some(until.unwrap_or(on)), tax_point)?;
    let charged = preview.totals.vat_charged;
    if let Some(vat) = vat.filter(|vat| *vat != charged) {
        return Err(NodeError::bad_input(format!(
            "their invoice {number} charges {vat} VAT, and by what is known of both sides it is {charged}. The VAT on it is \
             yours to account for (HMRC Notice 700/62), so ask them to put it right, or put the job's terms right"
        )));
    }
    let dates = PaperDates { today, issued_on: on, tax_point };
    let document = billing::self_billed(work, &preview, InvoiceId(node.machine().random()?), number, dates)
        .map_err(NodeError::refused)?;
    let answer = json!({ "document": document });
    write(
        node,
        author,
        None,
        Vec::new(),
        Body::InvoiceSelfBilled(office::InvoiceSelfBilled { document: Box::new(document) }),
    )?;
    Ok(answer)
}

/// Refuses a number that could be taken for another paper's.
fn must_be_theirs(works: &[JobWork], number: &str) -> Result<(), NodeError> {
    if number.is_empty() {
        return Err(NodeError::bad_input("say which number they gave it; it stands on their invoice"));
    }
    if number.chars().all(|c| c.is_ascii_digit()) {
        return Err(NodeError::bad_input(format!(
            "{number} alone would be taken for a number of yours: put letters of theirs before it, such as TC-{number}"
        )));
    }
    let mut papers = works.iter().flat_map(|work| &work.papers).filter(|paper| !paper.voided);
    if papers.any(|paper| billing::printed_number(&paper.document) == number) {
        return Err(NodeError::bad_input(format!(
            "{number} is recorded already; `fivebar invoice list` shows it"
        )));
    }
    Ok(())
}

fn self_credited(
    node: &mut Node,
    author: PersonId,
    (of, number): (&str, &str),
    whole: bool,
    (on, today): (Day, Day),
) -> Result<Value, NodeError> {
    update_first(node)?;
    let works = works(node);
    let number = number.trim();
    must_be_theirs(&works, number)?;
    let (work, paper) = invoices::paper(&works, of)?;
    if paper.document.self_billed_as.is_empty() {
        return Err(NodeError::bad_input(format!(
            "{of} is an invoice of yours; `fivebar invoice credit {of}` without --theirs issues a credit note on it"
        )));
    }
    let proposed = invoices::proposed_credit(work, paper, of, whole)?;
    // The number is checked as if it were the crew's, and stands for nothing.
    let as_ours = billing::PaperNumber {
        invoice: InvoiceId(node.machine().random()?),
        series: String::new(),
        number: 1,
    };
    let dates = PaperDates { today, issued_on: on, tax_point: on };
    let mut credited = billing::credit_note(work, &proposed, as_ours, dates).map_err(NodeError::refused)?;
    credited.document.number = 0;
    number.clone_into(&mut credited.document.self_billed_as);
    let answer = json!({ "of_number": proposed.of_number, "of_date": proposed.of_date,
        "document": credited.document });
    write(node, author, None, Vec::new(), Body::InvoiceCredited(credited))?;
    Ok(answer)
}
