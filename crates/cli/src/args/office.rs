//! The words for money that only the office reads: rates, what was paid, extras and quotes.

use clap::{Args, Subcommand, ValueEnum};
use daemon::Command;
use daemon::command::{self, PersonRate, PointWish, QuoteCommand, QuoteWish, SaidHow, TermsCommand, Whose};
use trade::{Day, Pence, Rate};

/// What an hour of somebody's costs and is charged at.
#[derive(Debug, Clone, Args)]
#[command(after_help = "  fivebar rate 'Tobi Larch' --cost 18 --charge 34 --from 2026-12-01\n  \
    fivebar rate 'Tobi Larch' --cost 18 --charge 40 --trade electrical")]
pub(crate) struct RateWords {
    /// Who.
    person: String,
    /// What an hour costs the crew, in pounds.
    #[arg(long)]
    cost: Rate,
    /// What an hour is charged at, in pounds.
    #[arg(long)]
    charge: Rate,
    /// On this job only.
    #[arg(long)]
    job: Option<String>,
    /// For this trade only.
    #[arg(long)]
    trade: Option<String>,
    /// From this day, if not today.
    #[arg(long, value_name = "DAY")]
    from: Option<Day>,
}

impl RateWords {
    pub(crate) fn command(self) -> Command {
        let Self { person, cost, charge, job, trade, from } = self;
        Command::Rate(PersonRate { person, job, trade, cost, charge, from })
    }
}

/// What was paid.
#[derive(Debug, Clone, Args)]
#[command(after_help = "  fivebar paid 7f3a90c1 --net 45.25 --vat 9.05\n  \
    fivebar paid 2b90aa17 --net 30 --per week --minimum 60    a hire's rate")]
pub(crate) struct Paid {
    /// The key of the purchase, the hire or the expense.
    entry: String,
    /// Without VAT, in pounds.
    #[arg(long, value_name = "POUNDS")]
    net: Pence,
    /// The VAT.
    #[arg(long, value_name = "POUNDS", default_value = "0")]
    vat: Pence,
    /// For a hire, what the rate is for: day or week.
    #[arg(long, default_value = "")]
    per: String,
    /// For a hire, the least that is charged.
    #[arg(long, value_name = "POUNDS", default_value = "0")]
    minimum: Pence,
}

impl Paid {
    pub(crate) fn command(self) -> Command {
        let Self { entry, net, vat, per, minimum } = self;
        Command::Paid(command::Paid { entry, net, vat, per, minimum })
    }
}

/// Who bears a cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum CostWord {
    /// We do.
    Ours,
    /// The customer does.
    Customer,
    /// The maker or supplier does.
    Maker,
}

impl From<CostWord> for Whose {
    fn from(word: CostWord) -> Self {
        match word {
            CostWord::Ours => Self::Ours,
            CostWord::Customer => Self::Customers,
            CostWord::Maker => Self::Makers,
        }
    }
}

/// What to do with extras.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum ExtraRequest {
    /// Set what an extra sells for, or its limit on the clock, without VAT. The crew logs `asked` and `agreed`.
    #[command(
        after_help = "  fivebar extra price 7f3a90c1 180\n\nOf an extra on the clock it is the limit: no invoice bills \
        more, `fivebar sort-out`\nwarns from 80 % of it, and what is over waits until a higher limit is set."
    )]
    Price {
        /// The key of the entry in which it was asked for or agreed.
        entry: String,
        /// Pounds.
        amount: Pence,
    },
}

impl ExtraRequest {
    pub(crate) fn command(self) -> Command {
        let Self::Price { entry, amount } = self;
        Command::PriceExtra { entry, amount }
    }
}

/// What to do with quotes.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum Quote {
    /// Note a version as you gave it to the customer.
    #[command(after_help = "  fivebar quote give BARN 4200 --included 'boards, skim' --excluded 'paint'")]
    Give {
        /// The job.
        job: String,
        /// The price without VAT, in pounds.
        price: Pence,
        /// What is in it.
        #[arg(long, default_value = "")]
        included: String,
        /// What is not.
        #[arg(long, default_value = "")]
        excluded: String,
    },
    /// Note that the customer accepted a version.
    #[command(after_help = "  fivebar quote agree BARN --by 'Jo Holt' --how signature")]
    Agree {
        /// The job.
        job: String,
        /// The version, if not the last.
        #[arg(long)]
        version: Option<u16>,
        /// Who said yes.
        #[arg(long, default_value = "")]
        by: String,
        /// How they said it.
        #[arg(long, value_enum, default_value_t = HowWord::Word)]
        how: HowWord,
        /// The day, if not today.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
    },
    /// Set all payment points at once. They must come to the quote with its agreed extras.
    #[command(
        after_help = "  fivebar quote points BARN 'on starting=1200' 'boarded=1500@board' 'finished=1500@skim'"
    )]
    Points {
        /// The job.
        job: String,
        /// WORDS=POUNDS, or WORDS=POUNDS@STAGE: due when that stage is signed off.
        #[arg(required = true, value_parser = point)]
        points: Vec<PointWish>,
    },
    /// Say that a payment point is due, where no stage's sign-off says it.
    #[command(after_help = "  fivebar quote due BARN 'on starting'")]
    Due {
        /// The job.
        job: String,
        /// The point, as it is called.
        point: String,
        /// Since when, if not today.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
    },
    /// A job's versions, agreed extras and payment points, and whether they come to the same.
    Show {
        /// The job.
        job: String,
    },
}

/// How somebody said yes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum HowWord {
    /// By word of mouth.
    Word,
    /// By message.
    Message,
    /// By signature.
    Signature,
}

impl From<HowWord> for SaidHow {
    fn from(word: HowWord) -> Self {
        match word {
            HowWord::Word => Self::Word,
            HowWord::Message => Self::Message,
            HowWord::Signature => Self::Signature,
        }
    }
}

fn point(text: &str) -> Result<PointWish, String> {
    let (label, rest) =
        text.rsplit_once('=').ok_or("write it like 'on starting=1200' or 'finished=1500@skim'")?;
    let (amount, stage) = match rest.split_once('@') {
        Some((amount, stage)) => (amount, Some(stage.to_owned())),
        None => (rest, None),
    };
    let amount = amount.parse::<Pence>().map_err(|error| format!("{amount:?} is {error}"))?;
    Ok(PointWish { label: label.to_owned(), amount, stage })
}

impl Quote {
    pub(crate) fn command(self) -> Command {
        Command::Quote(match self {
            Self::Due { job, point, on } => {
                return Command::Terms(TermsCommand::PointDue { job, label: point, on });
            }
            Self::Give { job, price, included, excluded } => {
                QuoteCommand::Give(QuoteWish { job, price, included, excluded })
            }
            Self::Agree { job, version, by, how, on } => {
                QuoteCommand::Agree { job, version, by, how: how.into(), on }
            }
            Self::Points { job, points } => QuoteCommand::Points { job, points },
            Self::Show { job } => QuoteCommand::Show { job },
        })
    }
}
