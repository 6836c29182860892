//! The words for invoices, credit notes and payments.

use clap::Subcommand;
use daemon::Command;
use daemon::command::{ApplicationCommand, Received, SelfBilledWish};
use trade::{Day, Pence, Rate};

/// What to do with invoices.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum Invoice {
    /// What is to bill now, job by job, and what is to give back.
    Preview {
        /// What was done up to this day.
        #[arg(long)]
        until: Option<Day>,
        /// One job only.
        #[arg(long)]
        job: Option<String>,
        /// Bill this extra although nobody logged the customer's yes. More than one may be given.
        #[arg(long, value_name = "NAME")]
        with_extra: Vec<String>,
    },
    /// Issue a job's invoice: it gets its number, and what it says is fixed for good.
    #[command(
        after_help = "  fivebar invoice issue BARN\n  fivebar invoice issue MILL --application 3    what was \
        certified of it, and no more"
    )]
    Issue {
        /// The job.
        job: String,
        /// What was done up to this day.
        #[arg(long)]
        until: Option<Day>,
        /// Bill this extra although nobody logged the customer's yes. More than one may be given.
        #[arg(long, value_name = "NAME")]
        with_extra: Vec<String>,
        /// Issue the deposit's own invoice instead. It comes off the next one.
        #[arg(long, conflicts_with_all = ["until", "with_extra"])]
        deposit: bool,
        /// Bill what was certified of this application for payment; where nothing was, what was applied for.
        #[arg(long, value_name = "NUMBER", conflicts_with_all = ["until", "with_extra", "deposit"])]
        application: Option<u32>,
        /// The day on which the deposit or the application was paid, if it was paid before.
        #[arg(long, value_name = "DAY")]
        paid_on: Option<Day>,
    },
    /// Issue the credit note that the preview proposes on an invoice.
    #[command(after_help = "  fivebar invoice credit 41\n  fivebar invoice credit 41 --whole    \
        the invoice was wrong: give all of it back, and issue it anew\n  fivebar invoice credit TC-207 --theirs TC-211    \
        a credit note of the customer's on an invoice of theirs")]
    Credit {
        /// The invoice's number.
        number: String,
        /// Give back all that is left of it.
        #[arg(long)]
        whole: bool,
        /// The customer issued the invoice, and so this credit note too: the number that they gave it.
        #[arg(long, value_name = "NUMBER")]
        theirs: Option<String>,
        /// The day of theirs, if not today.
        #[arg(long, value_name = "DAY", requires = "theirs")]
        on: Option<Day>,
    },
    /// Record an invoice that the customer issued in your name, by an agreement on self-billing. You issue none for it.
    #[command(
        after_help = "  fivebar job self-billing MILL --evidence 'letter of 2 March, in the folder'\n  \
        fivebar invoice self-billed MILL TC-207 900 --application 3 --vat 0\n\nIt takes no number of yours. What they \
        bill less is asked for again on the next\napplication. Keep the paper that they sent: the VAT on it is yours to \
        account for\n(HMRC Notice 700/62)."
    )]
    SelfBilled {
        /// The job.
        job: String,
        /// The number that they gave it.
        number: String,
        /// What it comes to without VAT, after what they hold back and before CIS, in pounds.
        sum: Pence,
        /// The VAT that it charges, to be checked; nought under the reverse charge.
        #[arg(long, value_name = "POUNDS")]
        vat: Option<Pence>,
        /// Its day, if not today.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
        /// What was done up to this day is on it, if not up to its own day.
        #[arg(long, value_name = "DAY", conflicts_with = "application")]
        until: Option<Day>,
        /// The application for payment that it pays.
        #[arg(long, value_name = "NUMBER")]
        application: Option<u32>,
    },
    /// Make an issued number stand for nothing. Only for one that never went out; otherwise credit it.
    #[command(after_help = "  fivebar invoice void 42 'issued twice, never sent'")]
    Void {
        /// The invoice's number.
        number: String,
        /// Why.
        reason: String,
    },
    /// Take an invoice or credit note for your own that went out and does not count: a lost device issued it after it was
    /// taken off the crew, or one that was copied or set back.
    #[command(
        after_help = "  fivebar invoice adopt 43\n  fivebar invoice adopt 7f3a02c1    by its key in `fivebar \
        set-aside`, where more than one has that number"
    )]
    Adopt {
        /// Its number, or its key in `fivebar set-aside`.
        number: String,
    },
    /// Ask for a deposit. Its own invoice is issued by `issue JOB --deposit`, and comes off the next one.
    #[command(after_help = "  fivebar invoice deposit BARN 500\n  fivebar invoice issue BARN --deposit")]
    Deposit {
        /// The job.
        job: String,
        /// Pounds, without VAT.
        amount: Pence,
    },
    /// The invoices issued.
    List,
    /// Record a payment, and what the customer took off.
    #[command(
        after_help = "  fivebar invoice pay 41 1364.09\n  fivebar invoice pay 42 480 --cis-taken 120 --discount 10"
    )]
    Pay {
        /// The invoice's number.
        number: String,
        /// What arrived, in pounds.
        received: Pence,
        /// What the contractor took for CIS, in pounds.
        #[arg(long, default_value = "0")]
        cis_taken: Pence,
        /// What was taken as discount, in pounds.
        #[arg(long, default_value = "0")]
        discount: Pence,
        /// What was set against something that you owe them, in pounds.
        #[arg(long, default_value = "0")]
        contra: Pence,
        /// How it came: bank, cash, card.
        #[arg(long, default_value = "bank")]
        by: String,
        /// The day on which it came, if not today.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
        /// It is right that this is more than is owed.
        #[arg(long)]
        over: bool,
    },
    /// What customers owe you, by age.
    Owed,
    /// A job's account with its customer, day by day.
    #[command(after_help = "  fivebar invoice statement BARN")]
    Statement {
        /// The job.
        job: String,
    },
    /// What you could claim from a business that pays late: interest and a fixed sum. It claims nothing.
    #[command(after_help = "  fivebar invoice late 42\n  fivebar invoice late 42 --base-rate 3.75")]
    Late {
        /// The invoice's number.
        number: String,
        /// The Bank of England's base rate for that half-year, in per cent, where none is known here.
        #[arg(long, value_name = "PERCENT")]
        base_rate: Option<Rate>,
    },
}

impl Invoice {
    pub(crate) fn command(self) -> Command {
        match self {
            Self::Preview { until, job, with_extra } => Command::PreviewInvoice { until, job, with_extra },
            Self::Issue { job, application: Some(number), paid_on, .. } => {
                Command::Applications(ApplicationCommand::Bill { job, number, paid_on })
            }
            Self::Issue { job, deposit: true, paid_on, .. } => Command::IssueDeposit { job, paid_on },
            Self::Issue { job, until, with_extra, .. } => Command::IssueInvoice { job, until, with_extra },
            Self::Credit { number: of, whole, theirs: Some(number), on } => {
                Command::Applications(ApplicationCommand::SelfCredited { of, number, whole, on })
            }
            Self::SelfBilled { job, number, sum, vat, on, until, application } => {
                let wish = SelfBilledWish { job, number, sum, vat, on, until, application };
                Command::Applications(ApplicationCommand::SelfBilled(wish))
            }
            Self::Credit { number, whole, .. } => Command::CreditInvoice { number, whole },
            Self::Void { number, reason } => Command::VoidInvoice { number, reason },
            Self::Adopt { number } => Command::AdoptInvoice { number },
            Self::Deposit { job, amount } => Command::AskDeposit { job, amount },
            Self::List => Command::Invoices,
            Self::Pay { number, received, cis_taken, discount, contra, by, on, over } => Command::Pay {
                number,
                received: Received { received, cis_taken, discount, contra, method: by, on, over },
            },
            Self::Owed => Command::Owed,
            Self::Statement { job } => Command::Statement { job },
            Self::Late { number, base_rate } => Command::LateClaim { number, base_rate },
        }
    }
}
