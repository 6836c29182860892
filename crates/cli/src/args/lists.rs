//! The words for one row of a list: a job, a stage, an item, a costing line, a person, the firm.
//!
//! The options have the names of the columns in the list's file, and go through the same checks.

use std::collections::BTreeMap;

use clap::{Args, Subcommand, ValueEnum};
use daemon::Command;
use daemon::command::{Engagement, ListChange, TermsCommand};
use daemon::import::FileName;
use trade::{Day, Rate};

use super::RoleWord;

/// The cells that were said, by their columns.
pub(super) fn row<const COUNT: usize>(cells: [(&str, Option<String>); COUNT]) -> BTreeMap<String, String> {
    cells.into_iter().filter_map(|(column, said)| Some((column.to_owned(), said?))).collect()
}

pub(super) fn command(list: FileName, change: ListChange, row: BTreeMap<String, String>) -> Command {
    Command::List { list, change, row }
}

/// What to do with stages.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum StageRequest {
    /// Add a stage behind those that the job has.
    #[command(
        after_help = "  fivebar stage add BARN 'second fix' --trade electrical --after 'skim' --wait-hours 24"
    )]
    Add(StageWords),
    /// Change a stage; what you leave out stays as it is.
    #[command(after_help = "  fivebar stage change BARN 'second fix' --needs-photo yes")]
    Change(StageWords),
}

/// What there is to say of a stage.
#[derive(Debug, Clone, Args)]
pub(crate) struct StageWords {
    /// The job.
    job: String,
    /// What the stage is called.
    stage: String,
    /// The trades it needs, with ; between.
    #[arg(long)]
    trade: Option<String>,
    /// The stages it comes after, with ; between.
    #[arg(long)]
    after: Option<String>,
    /// Hours to wait after those.
    #[arg(long)]
    wait_hours: Option<String>,
    /// The stages that it covers up, with ; between.
    #[arg(long)]
    covers: Option<String>,
    /// The tests that its sign-off needs, with ; between.
    #[arg(long)]
    needs_reading: Option<String>,
    /// Whether its sign-off needs a photo: yes or no.
    #[arg(long)]
    needs_photo: Option<String>,
}

impl StageRequest {
    pub(crate) fn command(self) -> Command {
        let (words, change) = match self {
            Self::Add(words) => (words, ListChange::Add),
            Self::Change(words) => (words, ListChange::Change),
        };
        let cells = [
            ("job", Some(words.job)),
            ("stage", Some(words.stage)),
            ("trade", words.trade),
            ("after", words.after),
            ("wait_hours", words.wait_hours),
            ("covers", words.covers),
            ("needs_reading", words.needs_reading),
            ("needs_photo", words.needs_photo),
        ];
        command(FileName::Stages, change, row(cells))
    }
}

/// What to do with items.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum ItemRequest {
    /// Add an item to the price book.
    #[command(
        after_help = "  fivebar item add 'bonding coat' --unit kg --pack bag --pack-size 25 --pack-cost 11.40"
    )]
    Add(ItemWords),
    /// Change an item; what you leave out stays as it is. A new price alone is `fivebar price`.
    #[command(after_help = "  fivebar item change 'bonding coat' --pack-size 20")]
    Change(ItemWords),
}

/// What there is to say of an item.
#[derive(Debug, Clone, Args)]
pub(crate) struct ItemWords {
    /// What it is called.
    item: String,
    /// The unit it is counted in: each, m, m2, kg.
    #[arg(long)]
    unit: Option<String>,
    /// What it is bought in: bag, box, coil.
    #[arg(long)]
    pack: Option<String>,
    /// Units in a pack.
    #[arg(long)]
    pack_size: Option<String>,
    /// Pounds a pack, without VAT.
    #[arg(long)]
    pack_cost: Option<String>,
}

impl ItemRequest {
    pub(crate) fn command(self) -> Command {
        let (words, change) = match self {
            Self::Add(words) => (words, ListChange::Add),
            Self::Change(words) => (words, ListChange::Change),
        };
        let cells = [
            ("item", Some(words.item)),
            ("unit", words.unit),
            ("pack", words.pack),
            ("pack_size", words.pack_size),
            ("pack_cost", words.pack_cost),
        ];
        command(FileName::PriceBook, change, row(cells))
    }
}

/// What to do with costing lines.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum LineRequest {
    /// Add a line of labour or material to a stage's costing, or say it anew.
    #[command(
        after_help = "  fivebar line add BARN skim --kind labour --what plasterer --quantity 16 --unit hour \
        --unit-cost 19 --unit-price 36\n  fivebar line add BARN skim --kind material --what 'finish plaster' \
        --quantity 150 --unit kg --unit-cost 0.35 --unit-price 0.60"
    )]
    Add(LineWords),
}

/// What there is to say of a costing line.
#[derive(Debug, Clone, Args)]
pub(crate) struct LineWords {
    /// The job.
    job: String,
    /// The stage.
    stage: String,
    /// labour or material.
    #[arg(long)]
    kind: String,
    /// What it says; for material, the item.
    #[arg(long)]
    what: String,
    /// How much is expected.
    #[arg(long)]
    quantity: String,
    /// hour, or the item's own unit.
    #[arg(long)]
    unit: String,
    /// Pounds a unit that we expect to pay.
    #[arg(long)]
    unit_cost: String,
    /// Pounds a unit that the customer pays.
    #[arg(long)]
    unit_price: String,
    /// The stage is billed by time and materials.
    #[arg(long)]
    on_the_clock: bool,
}

impl LineRequest {
    pub(crate) fn command(self) -> Command {
        let Self::Add(words) = self;
        let cells = [
            ("job", Some(words.job)),
            ("stage", Some(words.stage)),
            ("kind", Some(words.kind)),
            ("what", Some(words.what)),
            ("quantity", Some(words.quantity)),
            ("unit", Some(words.unit)),
            ("unit_cost", Some(words.unit_cost)),
            ("unit_price", Some(words.unit_price)),
            ("variation", words.on_the_clock.then(|| "daywork".to_owned())),
        ];
        command(FileName::Estimate, ListChange::Either, row(cells))
    }
}

/// What to do with people.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum PersonRequest {
    /// Add somebody to the crew.
    #[command(after_help = "  fivebar person add 'Ines Quill' --role hand --cost 17.50 --charge 32")]
    Add {
        /// Their name, as everybody uses it.
        name: String,
        /// What they may do.
        #[arg(long, value_enum, default_value_t = RoleWord::Hand)]
        role: RoleWord,
        /// What an hour of theirs costs, in pounds.
        #[arg(long, requires = "charge")]
        cost: Option<Rate>,
        /// What an hour of theirs is charged at, in pounds.
        #[arg(long, requires = "cost")]
        charge: Option<Rate>,
    },
    /// Say how somebody works for you: as the owner, on the books, or self-employed.
    #[command(
        after_help = "  fivebar person engage 'Tobi Larch' self-employed --cis 20 --verified-on 2026-09-01"
    )]
    Engage {
        /// Who.
        name: String,
        /// How.
        #[arg(value_enum)]
        engagement: EngagementWord,
        /// What you take off for CIS, in per cent.
        #[arg(long, default_value = "0", value_name = "PERCENT")]
        cis: Rate,
        /// The day on which the tax office confirmed that.
        #[arg(long, value_name = "DAY")]
        verified_on: Option<Day>,
        /// Their VAT number, if they have one.
        #[arg(long, default_value = "")]
        vat_no: String,
        /// From this day, if not from the beginning.
        #[arg(long, value_name = "DAY")]
        from: Option<Day>,
    },
}

/// How somebody works for the crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum EngagementWord {
    /// Owns the business.
    Owner,
    /// On the books.
    OnTheBooks,
    /// Self-employed.
    SelfEmployed,
}

impl From<EngagementWord> for Engagement {
    fn from(word: EngagementWord) -> Self {
        match word {
            EngagementWord::Owner => Self::Owner,
            EngagementWord::OnTheBooks => Self::OnTheBooks,
            EngagementWord::SelfEmployed => Self::SelfEmployed,
        }
    }
}

impl PersonRequest {
    pub(crate) fn command(self) -> Command {
        match self {
            Self::Add { name, role, cost, charge } => {
                Command::AddPerson { name, role: role.into(), rates: cost.zip(charge) }
            }
            Self::Engage { name, engagement, cis, verified_on, vat_no, from } => {
                Command::Terms(TermsCommand::Engage {
                    person: name,
                    engagement: engagement.into(),
                    cis_percent: cis,
                    verified_on,
                    vat_number: vat_no,
                    from,
                })
            }
        }
    }
}

/// The firm.
#[derive(Debug, Clone, Args)]
#[command(
    after_help = "  fivebar firm --name 'Maren Oake' --trading-as 'Oake Rooms' --address '1 Mill Lane, Overby' \
    --terms-days 14"
)]
pub(crate) struct Firm {
    /// The legal name.
    #[arg(long)]
    name: Option<String>,
    /// The trading name.
    #[arg(long)]
    trading_as: Option<String>,
    /// The address.
    #[arg(long)]
    address: Option<String>,
    /// The VAT number, if you are registered.
    #[arg(long)]
    vat_no: Option<String>,
    /// Registered for VAT from this day.
    #[arg(long, value_name = "DAY")]
    vat_registered_from: Option<String>,
    /// The tax reference.
    #[arg(long)]
    utr: Option<String>,
    /// The bank.
    #[arg(long)]
    bank_name: Option<String>,
    /// The sort code.
    #[arg(long)]
    sort_code: Option<String>,
    /// The account number.
    #[arg(long)]
    account_no: Option<String>,
    /// Days to pay, where the job does not say.
    #[arg(long)]
    terms_days: Option<String>,
    /// The number of the first invoice that fivebar issues.
    #[arg(long)]
    next_invoice_no: Option<String>,
}

impl Firm {
    pub(crate) fn command(self) -> Command {
        let cells = [
            ("name", self.name),
            ("trading_as", self.trading_as),
            ("address", self.address),
            ("vat_no", self.vat_no),
            ("vat_registered_from", self.vat_registered_from),
            ("utr", self.utr),
            ("bank_name", self.bank_name),
            ("sort_code", self.sort_code),
            ("account_no", self.account_no),
            ("terms_days", self.terms_days),
            ("next_invoice_no", self.next_invoice_no),
        ];
        command(FileName::Firm, ListChange::Either, row(cells))
    }
}
