//! The words for applications for payment.

use clap::Subcommand;
use daemon::Command;
use daemon::command::ApplicationCommand;
use trade::{Day, Pence};

/// What to do with applications for payment.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum ApplicationWords {
    /// Ask a contractor for what is done: the work to date, less what is held back, less what came before. It is no
    /// invoice.
    #[command(
        after_help = "  fivebar application make MILL\n  fivebar application make MILL --until 2026-11-30 --due-on \
        2026-12-07 --final-on 2026-12-21\n  fivebar print application MILL 3\n\nThe days of the contract go first. Where \
        none are given, they are those of the\nScheme for Construction Contracts 1998."
    )]
    Make {
        /// The job.
        job: String,
        /// What was done up to this day, if not today.
        #[arg(long, value_name = "DAY")]
        until: Option<Day>,
        /// Put this extra on it although nobody logged the customer's yes. More than one may be given.
        #[arg(long, value_name = "NAME")]
        with_extra: Vec<String>,
        /// The day on which it falls due, where the contract names one.
        #[arg(long, value_name = "DAY")]
        due_on: Option<Day>,
        /// The last day to pay, where the contract names one.
        #[arg(long, value_name = "DAY")]
        final_on: Option<Day>,
    },
    /// Note what the customer says they will pay of one.
    #[command(
        after_help = "  fivebar application certified MILL 3 900 --reference PN-3\n\nThen `fivebar invoice issue MILL \
        --application 3` bills that sum; where the customer\nissues the invoices, record theirs by `fivebar invoice \
        self-billed`."
    )]
    Certified {
        /// The job.
        job: String,
        /// The application's number.
        number: u32,
        /// Without VAT, after what they hold back and before CIS, in pounds.
        sum: Pence,
        /// When they said so, if not today.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
        /// The number of their certificate or notice.
        #[arg(long, default_value = "")]
        reference: String,
    },
    /// The applications, and how each stands.
    List {
        /// One job only.
        job: Option<String>,
    },
}

impl ApplicationWords {
    pub(crate) fn command(self) -> Command {
        Command::Applications(match self {
            Self::Make { job, until, with_extra, due_on, final_on } => {
                ApplicationCommand::Make { job, until, with_extra, due_on, final_on }
            }
            Self::Certified { job, number, sum, on, reference } => {
                ApplicationCommand::Certify { job, number, sum, on, reference }
            }
            Self::List { job } => ApplicationCommand::List { job },
        })
    }
}
