//! The words for papers as files: invoices, applications, quotes, daywork sheets, statements, the books, the pay list.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use daemon::Command;
use daemon::papers::PaperWish;
use documents::Form;
use trade::Day;

/// Which paper, in which form, and where to.
#[derive(Debug, Clone, Args)]
#[command(
    after_help = "  fivebar print invoice 41\n  fivebar print invoice 41 --as pdf --as ubl --to papers\n  \
    fivebar print daywork MILL --from 2026-11-02 --until 2026-11-06\n  fivebar print books --of 2026-11-30 --as pdf \
    --as csv\n\nForms: pdf and text; of the books also csv; of an invoice \
    also ubl and cii (e-invoices by EN 16931; the PDF carries the second inside it) and csv."
)]
pub(crate) struct Print {
    #[command(subcommand)]
    paper: Paper,
    /// In which form. More than one may be given.
    #[arg(long = "as", value_name = "FORM", default_value = "pdf", global = true)]
    forms: Vec<Form>,
    /// Into which folder.
    #[arg(long, value_name = "DIR", default_value = ".", global = true)]
    to: PathBuf,
}

/// The papers there are.
#[derive(Debug, Clone, Subcommand)]
enum Paper {
    /// An invoice or credit note, as it was issued.
    Invoice {
        /// Its number.
        number: String,
    },
    /// The quote that counts: the version accepted last, else the one given last.
    Quote {
        /// The job.
        job: String,
    },
    /// What was worked and used by the clock, without prices, for the customer to sign.
    Daywork {
        /// The job.
        job: String,
        /// From this day.
        #[arg(long, value_name = "DAY")]
        from: Day,
        /// To this day; the same day without one.
        #[arg(long, value_name = "DAY")]
        until: Option<Day>,
    },
    /// An application for payment, as it was made.
    Application {
        /// The job.
        job: String,
        /// Its number.
        number: u32,
    },
    /// A job's account with its customer.
    Statement {
        /// The job.
        job: String,
    },
    /// A month for the bookkeeper: sales, purchases with the photos of their tickets, and CIS. Also as csv.
    Books {
        /// A day of the month, if not today.
        #[arg(long, value_name = "DAY")]
        of: Option<Day>,
    },
    /// What is to pay out for a week.
    PayOut {
        /// A day of the week, if not today.
        #[arg(long, value_name = "DAY")]
        of: Option<Day>,
    },
}

impl Print {
    pub(crate) fn command(self) -> Command {
        let paper = match self.paper {
            Paper::Invoice { number } => PaperWish::Issued(number),
            Paper::Quote { job } => PaperWish::Quote(job),
            Paper::Daywork { job, from, until } => {
                PaperWish::Daywork { job, from, until: until.unwrap_or(from) }
            }
            Paper::Application { job, number } => PaperWish::Application { job, number },
            Paper::Statement { job } => PaperWish::Statement(job),
            Paper::Books { of } => PaperWish::Books { of },
            Paper::PayOut { of } => PaperWish::PayList { of },
        };
        Command::PrintPaper { paper, forms: self.forms, dir: super::absolute(&self.to) }
    }
}
