//! Papers as files: issued invoices and credit notes as they were frozen, quotes, and daywork sheets to sign.
//! Nothing is issued or noted here.

use std::fs;
use std::path::{Path, PathBuf};

use documents::handing_over::crew_code;
use documents::{Fact, Form, PaperError, Sheet};
use ledger::office::FirmListed;
use projections::Lists;
use projections::billing::{self, JobWork};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::Day;

use crate::command::named::must_read_office;
use crate::command::standing_quote;
use crate::error::NodeError;
use crate::invoices;
use crate::node::Node;
use crate::payments;

/// Which paper is wanted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PaperWish {
    /// An issued invoice or credit note, by its number.
    Issued(String),
    /// The quote of a job that counts: the version that was accepted last, else the one given last.
    Quote(String),
    /// What was worked and used by the clock on a job, to sign.
    Daywork {
        /// The job.
        job: String,
        /// From this day.
        from: Day,
        /// To this day.
        until: Day,
    },
    /// An application for payment, as it was made.
    Application {
        /// The job.
        job: String,
        /// Its number.
        number: u32,
    },
    /// A job's account with its customer.
    Statement(String),
    /// What was sold and bought and the CIS of the month of a day, for the bookkeeper; of today without one.
    Books {
        /// The day.
        of: Option<Day>,
    },
    /// What is to pay out for the week of a day; of today without one.
    PayList {
        /// The day.
        of: Option<Day>,
    },
}

/// A file's name and what stands in it.
pub type Made = Vec<(PathBuf, Vec<u8>)>;

/// Writes a paper into a folder, in each form that is wanted. A file of that name is replaced.
///
/// # Errors
/// As [`make`]; and what the disk says.
pub(crate) fn print(
    node: &Node,
    wish: &PaperWish,
    forms: &[Form],
    dir: &Path,
    today: Day,
) -> Result<Value, NodeError> {
    // All of it is made before any of it is written.
    let made = make(node, wish, forms, today)?;
    fs::create_dir_all(dir).map_err(|error| NodeError::folder(dir, &error))?;
    let mut files = Vec::new();
    for (name, bytes) in made {
        let path = dir.join(name);
        fs::write(&path, bytes).map_err(|error| NodeError::folder(&path, &error))?;
        files.push(path);
    }
    Ok(json!({ "files": files }))
}

/// Makes a paper in each form that is wanted, and writes nothing.
///
/// # Errors
/// A number, job or quote that is not there, a voided number, or a form that the paper does not have.
pub fn make(node: &Node, wish: &PaperWish, forms: &[Form], today: Day) -> Result<Made, NodeError> {
    match wish {
        PaperWish::Issued(number) => issued(node, number, forms),
        PaperWish::Quote(job) => {
            let lists = node.book().lists();
            let mut sheet = quote(&lists, &of_job(node, job)?, today)?;
            // What is handed over at the end carries the same, and the customer can compare.
            sheet.facts.push(Fact::new("Crew code", crew_code(&node.crew())));
            sheets(&sheet, &format!("quote-{job}"), forms)
        }
        PaperWish::Daywork { job, from, until } => {
            let sheet = documents::daywork_sheet(&of_job(node, job)?, *from, *until).ok_or_else(|| {
                NodeError::bad_input(format!("nothing was worked or used by the clock on {job} then"))
            })?;
            sheets(&sheet, &format!("daywork-{job}-{until}"), forms)
        }
        PaperWish::Application { job, number } => {
            let work = of_job(node, job)?;
            let applied = billing::application(&work, *number).map_err(NodeError::refused)?;
            let sheet = documents::application_sheet(&applied.application);
            sheets(&sheet, &format!("application-{job}-{number}"), forms)
        }
        PaperWish::Statement(job) => {
            let work = of_job(node, job)?;
            let lines = billing::statement(node.book(), &work);
            let sheet = documents::statement_sheet(&work, &lines, billing::still_held(&work), today);
            sheets(&sheet, &format!("statement-{job}"), forms)
        }
        PaperWish::Books { of } => books(node, of.unwrap_or(today), forms),
        PaperWish::PayList { of } => {
            let list = payments::pay_list_of(node, of.unwrap_or(today))?;
            let lists = node.book().lists();
            sheets(
                &documents::pay_list_sheet(known_as(&lists), &list),
                &format!("pay-out-{}", list.to),
                forms,
            )
        }
    }
}

/// The crew as people know it.
fn known_as<'book>(lists: &Lists<'book>) -> &'book str {
    let name =
        |firm: &'book FirmListed| if firm.trading_as.is_empty() { &firm.name } else { &firm.trading_as };
    lists.firm.map_or("", |firm| name(firm).as_str())
}

/// The bookkeeper's month, which is also a table.
fn books(node: &Node, of: Day, forms: &[Form]) -> Result<Made, NodeError> {
    must_read_office(node)?;
    let month = projections::books::month(node.book(), of);
    let name = format!("books-{}", month.to);
    let made = forms.iter().map(|form| match form {
        Form::Csv => {
            let table = documents::books_csv(&month).map_err(|error| refused(&error.into()))?;
            Ok(vec![(PathBuf::from(format!("{name}.csv")), table)])
        }
        Form::Pdf | Form::Ubl | Form::Cii | Form::Text => {
            sheets(&documents::books_sheet(known_as(&node.book().lists()), &month), &name, &[*form])
        }
    });
    let made: Result<Vec<Made>, NodeError> = made.collect();
    Ok(made?.into_iter().flatten().collect())
}

fn issued(node: &Node, number: &str, forms: &[Form]) -> Result<Made, NodeError> {
    let works = invoices::works(node);
    let (_, issued) = invoices::paper(&works, number)?;
    if issued.voided {
        return Err(NodeError::bad_input(format!(
            "{number} was voided and bills nothing, so no paper is made of it"
        )));
    }
    let document = &issued.document;
    if !document.self_billed_as.is_empty() {
        return Err(NodeError::bad_input(format!(
            "the customer issued {number}, so the paper is theirs: keep the one that they sent"
        )));
    }
    let made = forms.iter().map(|form| {
        let bytes = documents::paper(document, *form).map_err(|error| refused(&error))?;
        Ok((PathBuf::from(documents::file_name(document, *form)), bytes))
    });
    made.collect()
}

fn sheets(sheet: &Sheet, name: &str, forms: &[Form]) -> Result<Made, NodeError> {
    let made = forms.iter().map(|form| {
        let bytes = documents::sheet_in(sheet, *form).map_err(|error| refused(&error))?;
        Ok((PathBuf::from(format!("{name}.{}", form.ending())), bytes))
    });
    made.collect()
}

fn refused(error: &PaperError) -> NodeError {
    NodeError::bad_input(error.to_string())
}

fn of_job(node: &Node, code: &str) -> Result<JobWork, NodeError> {
    invoices::works(node).into_iter().find(|work| work.code == code).ok_or_else(|| invoices::no_job(code))
}

fn quote(lists: &Lists<'_>, work: &JobWork, today: Day) -> Result<Sheet, NodeError> {
    let quote = standing_quote(lists, work.job).ok_or_else(|| {
        NodeError::bad_input(format!("no quote was given on {}; `fivebar quote give` notes one", work.code))
    })?;
    let mut points: Vec<_> =
        lists.points.values().filter(|point| point.quote == quote.quote).copied().collect();
    points.sort_by_key(|point| (point.order, point.point));
    Ok(documents::quote_sheet(work, quote, &points, today))
}
