//! The words for a job: what is listed of it, when it is complete, at which rate of VAT it is, and who issues its
//! invoices.

use clap::{Args, Subcommand, ValueEnum};
use daemon::Command;
use daemon::command::{ListChange, TermsCommand};
use daemon::import::FileName;
use trade::{Day, VatRate};

use super::lists::{command, row};

/// What to do with jobs.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum JobRequest {
    /// Add a job.
    #[command(after_help = "  fivebar job add BARN --title 'Dry-line the barn' --customer 'the Holts' \
        --customer-kind householder --basis fixed --vat-rate 20")]
    Add(Box<JobWords>),
    /// Change a job; what you leave out stays as it is.
    #[command(
        after_help = "  fivebar job change BARN --markup-pct 15 --billing-address '1 Mill Lane, Overby'"
    )]
    Change(Box<JobWords>),
    /// A job is practically complete: half of what was held back is due, the rest after the defects period.
    #[command(after_help = "  fivebar job complete BARN --defects-until 2027-11-12")]
    Complete {
        /// The job.
        code: String,
        /// Since when, if not today.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
        /// The last day of the defects period, if not a year later.
        #[arg(long, value_name = "DAY")]
        defects_until: Option<Day>,
    },
    /// Say which rate of VAT a job, or one stage of it, is at, and what proves it. fivebar only records it.
    #[command(
        after_help = "  fivebar job vat BARN reduced --evidence 'empty since 2023: letter of the council'"
    )]
    Vat {
        /// The job.
        code: String,
        /// The rate.
        #[arg(value_enum)]
        rate: VatWord,
        /// One stage only.
        #[arg(long)]
        stage: Option<String>,
        /// Who said what, and where the paper is.
        #[arg(long, default_value = "")]
        evidence: String,
    },
    /// The customer issues this job's invoices in your name, by a written agreement. You issue none meanwhile.
    #[command(
        after_help = "  fivebar job self-billing MILL --evidence 'letter of 2 March, in the folder'\n  fivebar job \
        self-billing MILL --until 2026-12-31    it ends then"
    )]
    SelfBilling {
        /// The job.
        code: String,
        /// Since when, if not today.
        #[arg(long, value_name = "DAY")]
        from: Option<Day>,
        /// The last day, if not twelve months later.
        #[arg(long, value_name = "DAY")]
        until: Option<Day>,
        /// Where the written agreement is.
        #[arg(long, default_value = "")]
        evidence: String,
    },
}

/// A rate of VAT.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum VatWord {
    /// The standard rate.
    Standard,
    /// The reduced rate.
    Reduced,
    /// The zero rate.
    Zero,
    /// Energy-saving materials, installed.
    EnergySaving,
}

impl From<VatWord> for VatRate {
    fn from(word: VatWord) -> Self {
        match word {
            VatWord::Standard => Self::Standard,
            VatWord::Reduced => Self::Reduced,
            VatWord::Zero => Self::Zero,
            VatWord::EnergySaving => Self::EnergySaving,
        }
    }
}

/// What there is to say of a job.
#[derive(Debug, Clone, Args)]
pub(crate) struct JobWords {
    /// The short code people call it by.
    code: String,
    /// What is being done.
    #[arg(long)]
    title: Option<String>,
    /// The customer's name.
    #[arg(long)]
    customer: Option<String>,
    /// householder, contractor or business.
    #[arg(long)]
    customer_kind: Option<String>,
    /// fixed, daywork, or valuation: at a quote, billed by how much is done.
    #[arg(long)]
    basis: Option<String>,
    /// VAT in per cent.
    #[arg(long)]
    vat_rate: Option<String>,
    /// yes or no, if somebody said so; the facts decide.
    #[arg(long)]
    reverse_charge: Option<String>,
    /// What the contractor takes for CIS, in per cent.
    #[arg(long)]
    cis_rate: Option<String>,
    /// What is held back, in per cent.
    #[arg(long)]
    retention_pct: Option<String>,
    /// The mark-up on materials on the clock, in per cent.
    #[arg(long)]
    markup_pct: Option<String>,
    /// The time zone of the site.
    #[arg(long)]
    timezone: Option<String>,
    /// Where the invoice goes.
    #[arg(long)]
    billing_address: Option<String>,
    /// Where the work is.
    #[arg(long)]
    site_address: Option<String>,
    /// The customer's VAT number.
    #[arg(long)]
    customer_vat_no: Option<String>,
    /// Whether the customer is registered for CIS: yes or no.
    #[arg(long)]
    customer_cis: Option<String>,
    /// Whether they said in writing that they are end user or intermediary: yes or no.
    #[arg(long)]
    end_user_statement: Option<String>,
    /// Days to pay.
    #[arg(long)]
    terms_days: Option<String>,
    /// The number of the customer's order; it stands on the invoice.
    #[arg(long)]
    order_no: Option<String>,
    /// The country of the billing address by its two letters, if not GB.
    #[arg(long)]
    customer_country: Option<String>,
}

impl JobRequest {
    pub(crate) fn command(self) -> Command {
        let (words, change) = match self {
            Self::Add(words) => (words, ListChange::Add),
            Self::Change(words) => (words, ListChange::Change),
            Self::Complete { code, on, defects_until } => {
                return Command::Terms(TermsCommand::Complete { job: code, on, defects_until });
            }
            Self::Vat { code, rate, stage, evidence } => {
                let rate = rate.into();
                return Command::Terms(TermsCommand::VatRate { job: code, stage, rate, evidence });
            }
            Self::SelfBilling { code: job, from, until, evidence } => {
                return Command::Terms(TermsCommand::SelfBilling { job, from, until, evidence });
            }
        };
        let cells = [
            ("job", Some(words.code)),
            ("title", words.title),
            ("customer", words.customer),
            ("customer_kind", words.customer_kind),
            ("basis", words.basis),
            ("vat_rate", words.vat_rate),
            ("reverse_charge", words.reverse_charge),
            ("cis_rate", words.cis_rate),
            ("retention_pct", words.retention_pct),
            ("markup_pct", words.markup_pct),
            ("timezone", words.timezone),
            ("billing_address", words.billing_address),
            ("site_address", words.site_address),
            ("customer_vat_no", words.customer_vat_no),
            ("customer_cis", words.customer_cis),
            ("end_user_statement", words.end_user_statement),
            ("terms_days", words.terms_days),
            ("order_no", words.order_no),
            ("customer_country", words.customer_country),
        ];
        command(FileName::Jobs, change, row(cells))
    }
}
