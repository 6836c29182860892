//! The words for papers as files: in which form, into which folder, and a daywork sheet to sign.

use std::path::PathBuf;

use clap::Args;
use daemon::Command;
use daemon::papers::PaperWish;
use documents::Form;
use trade::Day;

/// In which form, and where to.
#[derive(Debug, Clone, Args)]
pub(crate) struct Printing {
    /// In which form. More than one may be given.
    #[arg(long = "as", value_name = "FORM", default_value = "pdf")]
    forms: Vec<Form>,
    /// Into which folder.
    #[arg(long, value_name = "DIR", default_value = ".")]
    to: PathBuf,
}

impl Printing {
    pub(crate) fn command(self, paper: PaperWish) -> Command {
        Command::PrintPaper { paper, forms: self.forms, dir: super::absolute(&self.to) }
    }
}

/// What was worked and used by the clock, without prices, for the customer to sign.
#[derive(Debug, Clone, Args)]
#[command(after_help = "  fivebar daywork MILL --from 2026-11-02 --until 2026-11-06\n\nForms: pdf, text.")]
pub(crate) struct Daywork {
    /// The job.
    job: String,
    /// From this day.
    #[arg(long, value_name = "DAY")]
    from: Day,
    /// To this day; the same day without one.
    #[arg(long, value_name = "DAY")]
    until: Option<Day>,
    #[command(flatten)]
    printing: Printing,
}

impl Daywork {
    pub(crate) fn command(self) -> Command {
        let Self { job, from, until, printing } = self;
        printing.command(PaperWish::Daywork { job, from, until: until.unwrap_or(from) })
    }
}
