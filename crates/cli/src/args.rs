//! The words of the command line, and the help that teaches them.

mod application;
mod backup;
mod handover;
mod hours;
mod invoice;
mod jobs;
mod lists;
mod log;
mod measure;
mod meeting;
mod office;
mod papers;
mod photos;
mod plan;
mod recovery;
mod said;
mod set_aside;

use std::io::Write as _;
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};

use clap::{Args, Parser, Subcommand};
use daemon::{NodeError, Role};
use trade::{Day, Rate};

pub(crate) use application::ApplicationWords;
pub(crate) use handover::Handover;
pub(crate) use hours::Hours;
pub(crate) use invoice::Invoice;
pub(crate) use jobs::JobRequest;
pub(crate) use lists::{Firm, ItemRequest, LineRequest, PersonRequest, StageRequest};
pub(crate) use log::Log;
pub(crate) use measure::Measure;
use meeting::MeetingWords;
pub(crate) use office::{CostWord, ExtraRequest, Paid, Quote, RateWords};
pub(crate) use photos::Photos;
pub(crate) use plan::{FillIn, LimitWords, Need, Slips};
pub(crate) use recovery::ComeBack;
pub(crate) use said::{Say, Survey, Word};
pub(crate) use set_aside::SetAside;

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

const VERIFY: &str = "\
  fivebar verify                        this device's ledger
  fivebar verify handover-GARAGE.zip    what a crew handed over, on any machine and offline

It names what was changed since the crew's device signed it, and ends with 1 if anything was. Who the crew is it
can't tell: compare the crew code with the one that the crew gave you.";

const EXAMPLES: &str = "\
A first week:
  fivebar found --crew 'Oake Rooms' --person 'Maren Oake'
  fivebar import lists/                 people, price book, jobs, stages, costing
  fivebar run                           keeps the ledger open and meets the other devices
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
        device: String,
    },
    /// Come back on a new phone or laptop by the recovery words, when yours are lost.
    ComeBack(ComeBack),
    /// When the recovery words were printed, and whether yours are right. They are kept on paper alone.
    Words {
        /// Type the words, and be told whether they are this crew's.
        #[arg(long)]
        check: bool,
    },
    /// Keep the ledger open and meet the crew's other devices, until Ctrl-C.
    Run {
        #[command(flatten)]
        meeting: MeetingWords,
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
        /// Only check the files, and tell what would be taken in.
        #[arg(long, conflicts_with = "device")]
        check: bool,
    },
    /// Log what was done, in one line. Every kind of entry has an example.
    Log(Box<Log>),
    /// Say or type what you did, as you would tell a mate; what it would log is shown first.
    Say(Say),
    /// What the crew's own words mean.
    #[command(subcommand)]
    Word(Word),
    /// What was asked and answered before the job: asbestos, what carries load, where things are turned off.
    Survey(Survey),
    /// Cross out the last thing you logged on this device. It stays readable, crossed out.
    #[command(after_help = "  fivebar undo\n  fivebar undo --back    takes the last crossing-out back")]
    Undo {
        /// Take your last crossing-out back: what it crossed out stands again.
        #[arg(long)]
        back: bool,
    },
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
    /// Split hours, or a timer's stretch, in two that add up to it.
    Split {
        /// Its key, or the beginning of its id.
        entry: String,
        /// The clock time at which the second part began.
        #[arg(long, value_name = "TIME", required_unless_present = "minutes")]
        at: Option<String>,
        /// Of hours without clock times, the minutes of the first part.
        #[arg(long, conflicts_with = "at")]
        minutes: Option<u32>,
        /// The stage of the second part; without it, no stage.
        #[arg(long, default_value = "-")]
        stage: String,
        /// The job of the second part, if it is another.
        #[arg(long)]
        job: Option<String>,
        /// The break was in the second part.
        #[arg(long)]
        break_in_second: bool,
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
    /// Ask a contractor for what is done, and note what they certify. It is no invoice.
    #[command(subcommand)]
    Application(ApplicationWords),
    /// Write a paper to files: an invoice as it was issued, a quote, a daywork sheet to sign.
    Print(papers::Print),
    /// What is to pay out on Friday: people, what they paid themselves, and suppliers on account.
    #[command(after_help = "  fivebar pay-out\n  fivebar pay-out --of 2026-11-06")]
    PayOut {
        /// A day of the week, if not today.
        #[arg(long, value_name = "DAY")]
        of: Option<Day>,
    },
    /// What is to sort out: each question says who is asked, and what it costs to leave it.
    SortOut,
    /// Answer a question so that it is not asked again.
    Settle {
        /// The question's key, from `sort-out`.
        question: String,
        /// The answer.
        answer: String,
    },
    /// What was set aside because its device was copied, set back or taken off the crew; and enter it again.
    SetAside(SetAside),
    /// How the stages of every job stand.
    Stages,
    /// At seven: what is free and ready, what is missing, what to load and to get, whom you wait for.
    Morning {
        /// One job only.
        #[arg(long)]
        job: Option<String>,
    },
    /// What a stage needs before it is ready, beside material.
    Need(Need),
    /// Tasks for the hour in which something sets.
    #[command(subcommand)]
    FillIn(FillIn),
    /// The kinds of tests with their usual limits and who states them; of a job, its tests over time.
    #[command(after_help = "  fivebar tests\n  fivebar tests GARAGE --what 'timber moisture'")]
    Tests {
        /// The job.
        job: Option<String>,
        /// One kind only.
        #[arg(long, requires = "job")]
        what: Option<String>,
    },
    /// Check before closing up: what was not heard of, place by place, behind what a stage covers.
    #[command(after_help = "  fivebar closing GARAGE\n  fivebar closing GARAGE boarding")]
    Closing {
        /// The job.
        job: String,
        /// The stage that closes up; all of them without one.
        stage: Option<String>,
    },
    /// What slips if a stage takes longer.
    Slips(Slips),
    /// The usual waits for setting, drying and curing, and who states them.
    Waits,
    /// The limit that tests of a kind are compared with on a job, in place of the usual one.
    Limit(LimitWords),
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
    /// Measure up a room: what it takes, how long, drawings, and its lines in a job's costing.
    Measure(Box<Measure>),
    /// Add a job, or change its details and terms.
    #[command(subcommand)]
    Job(JobRequest),
    /// Add a stage of a job, or change it.
    #[command(subcommand)]
    Stage(StageRequest),
    /// Add an item to the price book, or change it.
    #[command(subcommand)]
    Item(ItemRequest),
    /// Add a line to a job's costing.
    #[command(subcommand)]
    Line(LineRequest),
    /// Add somebody to the crew.
    #[command(subcommand)]
    Person(PersonRequest),
    /// Set your business's details, as invoices print them. What you leave out stays as it is.
    Firm(Box<Firm>),
    /// Give somebody another role from now on.
    #[command(after_help = "  fivebar role 'Tobi Larch' lead")]
    Role {
        /// Who.
        person: String,
        /// What they may do from now on.
        #[arg(value_enum)]
        role: RoleWord,
    },
    /// What a pack of an item costs from a day on, without VAT. Days before keep their price.
    #[command(after_help = "  fivebar price 'finish plaster' 9.20 --from 2026-11-09")]
    Price {
        /// The item.
        item: String,
        /// Pounds a pack.
        pack_cost: Rate,
        /// From this day, if not today.
        #[arg(long, value_name = "DAY")]
        from: Option<Day>,
    },
    /// What an hour of somebody's costs and is charged at from a day on.
    Rate(RateWords),
    /// How time is counted where not every hour is at one rate: overtime, weekends, days, call-outs, travel.
    #[command(subcommand)]
    Hours(Hours),
    /// What was paid for a purchase, a hire or an expense; only the office reads it.
    Paid(Paid),
    /// Who bears the cost of a waste or a call-back: ours, the customer's or the maker's.
    #[command(after_help = "  fivebar cost 7f3a90c1 customer")]
    Cost {
        /// The entry's key.
        entry: String,
        /// Who bears it.
        #[arg(value_enum)]
        whose: CostWord,
    },
    /// Price what the customer asked for beyond the quote.
    #[command(subcommand)]
    Extra(ExtraRequest),
    /// Note quotes given and agreed, and set the points at which they are paid.
    #[command(subcommand)]
    Quote(Quote),
    /// The people and devices of the crew.
    Roster,
    /// Take a lost phone off the crew. What it logged up to now, as far as it is held here, still counts; if
    /// its folder can be read, `fivebar salvage` it first.
    Retire {
        /// The device's name, or the beginning of its key.
        device: String,
        /// Why.
        #[arg(long, default_value = "")]
        reason: String,
        /// By the recovery words, which are then asked for: for a boss's own device that was lost or stolen.
        #[arg(long)]
        words: bool,
    },
    /// Write everything into a folder, as JSON Lines and CSV.
    Export {
        /// The folder; it must not exist yet.
        dir: PathBuf,
    },
    /// Keep a backup of this device's folder elsewhere, also while `fivebar run` has it open.
    Backup(backup::Backup),
    /// Make this device's folder anew from a backup. It must not exist yet; see --data.
    Restore(backup::Restore),
    /// Take in what the folder of a broken device, or an old copy, holds and this device lacks.
    Salvage(backup::Salvage),
    /// Hand a job over: one file for the customer, with all that was signed off, tested and photographed.
    Handover(Handover),
    /// Read the whole ledger from disk and check every byte of it; or check a handover, without any ledger.
    #[command(after_help = VERIFY)]
    Verify {
        /// A handover, as a zip or as a folder.
        file: Option<PathBuf>,
    },
    /// Move this device to another folder, as to a new disk or laptop: it stays the same device.
    #[command(
        after_help = "  fivebar move /media/stick/fivebar\n  fivebar --data /media/stick/fivebar move ~/fivebar"
    )]
    Move {
        /// The new folder; it must not exist yet.
        to: PathBuf,
    },
    /// Which photos are here, which are on their way, and which device has the rest.
    Photos(Photos),
    /// How far each device's entries are held here.
    Status,
}

/// Where the page is served.
#[derive(Debug, Clone, Args)]
pub(crate) struct Page {
    /// Where the page for browsers is served, to this machine only or to a reverse proxy; without it at
    /// 127.0.0.1:5180, if that is free.
    #[arg(long, value_name = "ADDRESS")]
    page: Option<SocketAddr>,
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
    /// After so many days without use a phone must join the page anew; 60 until it is set, and then kept.
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u16).range(1..))]
    idle_days: Option<u16>,
}

const LAN: &str = "0.0.0.0:5181";

impl Page {
    pub(crate) fn wishes(self) -> web::Wishes {
        web::Wishes {
            page: Some(self.page.unwrap_or(web::USUAL_PAGE)).filter(|_| !self.no_page),
            page_is_usual: self.page.is_none(),
            lan: self.lan.filter(|_| !self.no_page),
            lan_name: self.lan_name,
            public: self.public,
            proxies: self.proxy,
            idle_days: self.idle_days,
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
