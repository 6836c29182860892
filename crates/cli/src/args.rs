//! The words of the command line, and the help that teaches them.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};

use clap::{Args, Parser, Subcommand};
use daemon::{Command, NodeError, Role};
use trade::{Day, Pence};

/// The crew's own job ledger: hours, materials, tests and stages, on every phone, without a server.
#[derive(Debug, Parser)]
#[command(name = "fivebar", version, max_term_width = 100, after_help = EXAMPLES)]
pub(crate) struct Arguments {
    /// The folder that holds this device's ledger.
    #[arg(long, global = true, value_name = "DIR", default_value = "fivebar-data", env = "FIVEBAR_DATA")]
    pub(crate) data: PathBuf,
    /// Print JSON instead of a page.
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(subcommand)]
    pub(crate) request: Request,
}

const EXAMPLES: &str = "\
A first week:
  fivebar found --crew 'Oake Rooms' --person 'Maren Oake'
  fivebar import lists/                 people, price book, jobs, stages, costing
  fivebar run --listen 0.0.0.0:5105     keeps the ledger open and meets the other devices
  fivebar invite --person 'Tobi Larch'  prints a code; on the other device: fivebar join CODE
  fivebar log hours --job GARAGE --stage skim --from 08:00 --to 15:30 --break-min 30
  fivebar log used --job GARAGE --stage skim --what 'finish plaster' --quantity 4.5 --unit bag
  fivebar reconcile                     hours and materials against what was priced
  fivebar sort-out                      what somebody must answer before Friday
  fivebar invoice preview               what is to bill

A command works whether or not `fivebar run` has the ledger open.";

#[derive(Debug, Clone, Subcommand)]
pub(crate) enum Request {
    /// Found a crew; whoever founds it is its boss. Do it on the device that stays at home.
    Found {
        /// What the crew calls itself.
        #[arg(long)]
        crew: Option<String>,
        /// Your name, as it is on the crew's list.
        #[arg(long)]
        person: Option<String>,
        /// What this device is called.
        #[arg(long, default_value = "laptop")]
        device: String,
    },
    /// Give a mate a code to bring a phone or laptop into the crew. `fivebar run` must be running for it.
    Invite {
        /// Whose device it will be.
        #[arg(long)]
        person: String,
        /// Their role, if they are not on the list yet.
        #[arg(long, value_enum, default_value_t = RoleWord::Hand)]
        role: RoleWord,
        /// It is shared: several people log on it.
        #[arg(long)]
        shared: bool,
        /// It may read prices and invoices.
        #[arg(long)]
        office: bool,
        /// Where this device can be reached, host:port. More than one may be given.
        #[arg(long, value_name = "ADDRESS")]
        at: Vec<SocketAddr>,
        /// How long the code is good for.
        #[arg(long, default_value_t = 15)]
        minutes: u32,
    },
    /// Join a crew with the code from `fivebar invite`, and fetch its ledger.
    Join {
        /// The code.
        code: String,
        /// What this device is called.
        #[arg(long, default_value = "phone")]
        name: String,
    },
    /// Keep the ledger open and meet the crew's other devices, until Ctrl-C.
    Run {
        /// Where to listen for them.
        #[arg(long, default_value = "0.0.0.0:5105")]
        listen: SocketAddr,
        /// Where another device listens, host:port; known ones are tried by themselves.
        #[arg(long, value_name = "ADDRESS")]
        meet: Vec<SocketAddr>,
        #[command(flatten)]
        page: Page,
    },
    /// Give a phone's browser a link to the page that `fivebar run` serves. It works once.
    Page {
        /// Whose phone it will be.
        #[arg(long)]
        person: String,
        /// Their role, if they are not on the list yet.
        #[arg(long, value_enum, default_value_t = RoleWord::Hand)]
        role: RoleWord,
    },
    /// Import the CSV files in a folder: lists, costing and entries. A bad row refuses all of them.
    Import {
        /// The folder.
        dir: PathBuf,
        /// Only the entries of this device, as the file names it. More than one may be given.
        #[arg(long, value_name = "NAME")]
        device: Vec<String>,
    },
    /// Log what was done, in one line.
    Log(Box<Log>),
    /// Start your timer on a job.
    Start {
        /// The job.
        #[arg(long)]
        job: String,
        /// The stage; leave it out for "no stage".
        #[arg(long)]
        stage: Option<String>,
    },
    /// Go over to other work: one timer ends, the next begins.
    Switch {
        /// The job.
        #[arg(long)]
        job: String,
        /// The stage; leave it out for "no stage".
        #[arg(long)]
        stage: Option<String>,
        /// Minutes of break in the part that ends.
        #[arg(long, default_value_t = 0, value_name = "MINUTES")]
        break_min: u32,
    },
    /// Stop your timer.
    Stop {
        /// Minutes of break in the part that ends.
        #[arg(long, default_value_t = 0, value_name = "MINUTES")]
        break_min: u32,
        /// When you stopped, if not now: 16:30, the first one since the timer started.
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
    },
    /// Say yes to an entry that a mate logged for you.
    Accept {
        /// Its key, or the beginning of its id.
        entry: String,
    },
    /// The entries as they stand.
    Entries {
        /// One job only.
        #[arg(long)]
        job: Option<String>,
        /// One day only: 2026-11-05.
        #[arg(long, value_name = "DAY")]
        on: Option<Day>,
    },
    /// Hours and materials against what was priced, per stage.
    Reconcile,
    /// Preview, issue and list invoices, and record what was paid.
    #[command(subcommand)]
    Invoice(Invoice),
    /// What is to sort out: each question says who is asked, and what it costs to leave it.
    SortOut,
    /// Answer a question so that it is not asked again.
    Settle {
        /// The question's key, from `sort-out`.
        question: String,
        /// The answer.
        answer: String,
    },
    /// How the stages of every job stand.
    Stages,
    /// The entries behind a figure.
    Why {
        /// The job.
        job: String,
        /// The stage.
        #[arg(long)]
        stage: Option<String>,
        /// A person or an item.
        #[arg(long)]
        what: Option<String>,
    },
    /// The people and devices of the crew.
    Roster,
    /// Take a lost phone off the crew. What it logged up to now, as far as it is held here, still counts.
    Retire {
        /// The device's name, or the beginning of its key.
        device: String,
        /// Why.
        #[arg(long, default_value = "")]
        reason: String,
    },
    /// Write everything into a folder, as JSON Lines and CSV.
    Export {
        /// The folder; it must not exist yet.
        dir: PathBuf,
    },
    /// Read the whole ledger from disk and check every byte of it.
    Verify,
    /// How far each device's entries are held here.
    Status,
}

/// Where the page is served.
#[derive(Debug, Clone, Args)]
pub(crate) struct Page {
    /// Where the page for browsers is served: to this machine only, or to a reverse proxy.
    #[arg(long, value_name = "ADDRESS", default_value_t = web::USUAL_PAGE)]
    page: SocketAddr,
    /// Serve no page.
    #[arg(long)]
    no_page: bool,
    /// Also serve it to phones in the house, over HTTPS.
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, default_missing_value = LAN)]
    lan: Option<SocketAddr>,
    /// What the page is called on that network, if its router knows the name.
    #[arg(long, value_name = "NAME", default_value = web::USUAL_LAN_NAME)]
    lan_name: String,
    /// The public name under which a reverse proxy serves the page: jobs.example.
    #[arg(long, value_name = "NAME", requires = "proxy")]
    public: Option<String>,
    /// The address of that proxy, whose forwarded headers are believed. More than one may be given.
    #[arg(long, value_name = "ADDRESS")]
    proxy: Vec<IpAddr>,
}

const LAN: &str = "0.0.0.0:5181";

impl Page {
    pub(crate) fn wishes(self) -> web::Wishes {
        web::Wishes {
            page: Some(self.page).filter(|_| !self.no_page),
            lan: self.lan.filter(|_| !self.no_page),
            lan_name: self.lan_name,
            public: self.public,
            proxies: self.proxy,
        }
    }
}

/// A role, as the list of people has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum RoleWord {
    /// Crew: logs own work.
    Hand,
    /// Foreman: also signs off, and logs for others.
    Lead,
    /// Boss: does all.
    Owner,
}

impl From<RoleWord> for Role {
    fn from(word: RoleWord) -> Self {
        match word {
            RoleWord::Hand => Self::Hand,
            RoleWord::Lead => Self::Lead,
            RoleWord::Owner => Self::Owner,
        }
    }
}

#[derive(Debug, Clone, Subcommand)]
pub(crate) enum Invoice {
    /// What is to bill now, job by job.
    Preview {
        /// What was done up to this day.
        #[arg(long)]
        until: Option<Day>,
        /// One job only.
        #[arg(long)]
        job: Option<String>,
    },
    /// Issue a job's invoice: it gets its number, and what it says is fixed for good.
    Issue {
        /// The job.
        job: String,
        /// What was done up to this day.
        #[arg(long)]
        until: Option<Day>,
    },
    /// The invoices issued.
    List,
    /// Record a payment.
    Pay {
        /// The invoice's number.
        number: String,
        /// What arrived, in pounds.
        received: Pence,
        /// What the contractor took for CIS, in pounds.
        #[arg(long, default_value = "0")]
        cis_taken: Pence,
        /// How it came: bank, cash, card.
        #[arg(long, default_value = "bank")]
        by: String,
    },
}

impl Invoice {
    pub(crate) fn command(self) -> Command {
        match self {
            Self::Preview { until, job } => Command::PreviewInvoice { until, job },
            Self::Issue { job, until } => Command::IssueInvoice { job, until },
            Self::List => Command::Invoices,
            Self::Pay { number, received, cis_taken, by } => {
                Command::Pay { number, received, cis_taken, method: by }
            }
        }
    }
}

/// One entry. The options are the columns of `entries.csv`.
#[derive(Debug, Clone, Args)]
#[command(after_help = LOG_EXAMPLES)]
pub(crate) struct Log {
    /// hours, used, wasted, returned, delivered, bought, reading, note, snag, asked, agreed, declined,
    /// left-off, signed-off, reopened, corrected or struck.
    kind: String,
    /// The job.
    #[arg(long, default_value = "")]
    job: String,
    /// The stage; leave it out for "no stage".
    #[arg(long, default_value = "")]
    stage: String,
    /// The item, the test, the extra.
    #[arg(long, default_value = "")]
    what: String,
    /// How much; a bound like '>200' for a reading.
    #[arg(long, default_value = "")]
    quantity: String,
    /// In what: bag, box, coil, or the item's own unit.
    #[arg(long, default_value = "")]
    unit: String,
    /// When work began: 08:00, or 2026-11-05T08:00.
    #[arg(long, default_value = "")]
    from: String,
    /// When it ended.
    #[arg(long, default_value = "")]
    to: String,
    /// Minutes of break.
    #[arg(long, default_value = "", value_name = "MINUTES")]
    break_min: String,
    /// A length in minutes instead of clock times.
    #[arg(long, default_value = "")]
    minutes: String,
    /// The day it was done, if not today: 2026-11-05.
    #[arg(long, default_value = "", value_name = "DAY")]
    on: String,
    /// Where: long wall, behind the basin.
    #[arg(long, default_value = "", value_name = "WHERE")]
    at: String,
    /// For a mate: who did it.
    #[arg(long, default_value = "", value_name = "NAME")]
    person: String,
    /// The entry that is corrected or struck, by the key that was printed for it.
    #[arg(long, default_value = "", value_name = "ENTRY")]
    entry: String,
    /// A note.
    #[arg(long, default_value = "")]
    note: String,
}

const LOG_EXAMPLES: &str = "\
  fivebar log hours --job GARAGE --stage skim --from 08:00 --to 15:30 --break-min 30
  fivebar log used --job GARAGE --stage skim --what 'finish plaster' --quantity 4.5 --unit bag
  fivebar log reading --job GARAGE --stage 'first fix water' --what 'pressure test' --quantity 4.5 --unit bar
  fivebar log corrected --entry 7f3a90c1 --to 17:20
  fivebar log struck --entry 7f3a90c1";

impl Log {
    /// The row of `entries.csv` that says the same.
    pub(crate) fn row(self) -> BTreeMap<String, String> {
        let columns = [
            ("kind", self.kind),
            ("job", self.job),
            ("stage", self.stage),
            ("what", self.what),
            ("quantity", self.quantity),
            ("unit", self.unit),
            ("from", self.from),
            ("to", self.to),
            ("break_min", self.break_min),
            ("minutes", self.minutes),
            ("done_on", self.on),
            ("where", self.at),
            ("person", self.person),
            ("corrects", self.entry),
            ("note", self.note),
        ];
        columns
            .into_iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(column, value)| (column.to_owned(), value))
            .collect()
    }
}

/// The answer given on the command line, or typed in when asked.
pub(crate) fn ask(given: Option<String>, question: &str) -> Result<String, NodeError> {
    if let Some(given) = given {
        return Ok(given);
    }
    print!("{question} ");
    let mut line = String::new();
    let read = std::io::stdout().flush().and_then(|()| std::io::stdin().read_line(&mut line));
    read.map_err(|error| NodeError::BadInput(vec![format!("no answer: {error}")]))?;
    Ok(line.trim().to_owned())
}

/// The path as the daemon, which may have another working folder, must see it.
pub(crate) fn absolute(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}
