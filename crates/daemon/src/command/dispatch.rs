//! Doing what a command says.

use ledger::PersonId;
use serde_json::{Value, json};

use super::{
    Command, FolderCommand, Progress, Step, health, importing, judging, office, plan, quotes, rooms, roster,
    said, set_aside, settling, spells, survey, terms, undo,
};
use crate::backup::Backup;
use crate::error::NodeError;
use crate::handing_over::HandOverWish;
use crate::node::Node;
use crate::salvage::Salvage;
use crate::{applications, entries, export, handing_over, invoices, papers, payments, photos, timers};

/// A command for which the node has given what it must. Others may use the node while the rest is done.
#[must_use]
pub(crate) enum Begun {
    /// Nothing is left to do.
    Done(Value),
    /// Files are left to copy.
    BackUp(Backup),
    /// Photos of another folder are left to take.
    Salvage(Salvage),
    /// Photos are left to read and to draw small, and a file is left to write.
    HandOver(Box<handing_over::Begun>, HandOverWish),
}

impl Begun {
    /// Does the rest.
    pub(crate) fn finish(self, say: &dyn Fn(Progress)) -> Result<Value, NodeError> {
        match self {
            Self::Done(answer) => Ok(answer),
            Self::BackUp(backup) => {
                backup.write(&|done, of| say(Progress { step: Step::BytesCopied, done, of }))
            }
            Self::Salvage(salvage) => {
                Ok(salvage.take_photos(&|done, of| say(Progress { step: Step::PhotosTaken, done, of })))
            }
            Self::HandOver(begun, wish) => handing_over::write(*begun, &wish),
        }
    }
}

/// Runs a command of the person whose device this is.
///
/// # Errors
/// [`NodeError`]: what happened and what to do. Nothing is half done.
pub fn run(node: &mut Node, command: Command) -> Result<Value, NodeError> {
    run_saying(node, command, &|_| ())
}

/// As [`run`], and says how far it is where that takes its time.
///
/// # Errors
/// As [`run`].
pub fn run_saying(node: &mut Node, command: Command, say: &dyn Fn(Progress)) -> Result<Value, NodeError> {
    begin(node, command, say)?.finish(say)
}

/// Runs a command as far as it needs the node.
///
/// # Errors
/// As [`run`].
pub(crate) fn begin(node: &mut Node, command: Command, say: &dyn Fn(Progress)) -> Result<Begun, NodeError> {
    let author = node.device().person;
    dispatch(node, author, command, say)
}

/// Runs a command of somebody whom this device vouches for. What they may write, the ledger's
/// roster decides; what they may read is for the caller to decide.
///
/// # Errors
/// As [`run`].
pub fn run_for(node: &mut Node, author: PersonId, command: Command) -> Result<Value, NodeError> {
    dispatch(node, author, command, &|_| ())?.finish(&|_| ())
}

fn dispatch(
    node: &mut Node,
    author: PersonId,
    command: Command,
    say: &dyn Fn(Progress),
) -> Result<Begun, NodeError> {
    // An error only of those commands that ask for it.
    let today = node.today();
    let answer = match command {
        Command::Import { dir, devices } => importing::import(node, author, &dir, &devices, say),
        Command::CheckImport { dir } => importing::check(node, author, &dir),
        Command::Log { row } => importing::log(node, author, row),
        Command::List { list, change, row } => importing::list(node, author, list, change, row),
        Command::Hear(said) => said::hear(node, author, &said),
        Command::LogSaid { said, only, key } => said::log(node, author, &said, &only, key.as_deref()),
        Command::Teach { phrase, means } => said::teach_named(node, author, &phrase, means.as_ref()),
        Command::Survey { job, answer: Some((point, answer)), photos } => {
            survey::answer(node, author, &job, point, (answer, photos))
        }
        Command::Survey { job, answer: None, photos: _ } => survey::show(node, &job),
        Command::Undo { back } => undo::undo(node, author, back),
        Command::Start { job, stage } => {
            let at_ms = node.instant_ms();
            timers::start(node, author, &job, stage.as_deref(), at_ms)
        }
        Command::Switch { job, stage, break_minutes } => {
            let at_ms = node.instant_ms();
            timers::switch(node, author, &job, stage.as_deref(), break_minutes, at_ms)
        }
        Command::Stop { break_minutes, at } => {
            let at_ms = node.instant_ms();
            timers::stop(node, author, break_minutes, at.as_deref(), at_ms)
        }
        Command::ChangeSpell(change) => spells::change(node, author, &change),
        Command::SplitSpell(split) => spells::split(node, author, &split),
        Command::StrikeSpell { entry } => spells::strike(node, author, &entry),
        Command::Accept { entry } => entries::accept(node, author, &entry),
        Command::Entries { job, on } => entries::entries(node, job.as_deref(), on),
        Command::Reconcile => Ok(json!(projections::reconcile(node.book()))),
        Command::PreviewInvoice { until, job, with_extra } => {
            invoices::previews(node, until, job.as_deref(), &with_extra, today?)
        }
        Command::IssueInvoice { job, until, with_extra } => {
            invoices::issue(node, author, &job, until, &with_extra, today?)
        }
        Command::IssueDeposit { job, paid_on } => {
            invoices::issue_deposit(node, author, &job, paid_on, today?)
        }
        Command::Invoices => Ok(invoices::list(node)),
        Command::PrintPaper { paper, forms, dir } => papers::print(node, &paper, &forms, &dir, today?),
        Command::HandOver(wish) => {
            let begun = handing_over::begin(node, author, &wish.job, today?)?;
            return Ok(Begun::HandOver(Box::new(begun), wish));
        }
        Command::CreditInvoice { number, whole } => invoices::credit(node, author, &number, whole, today?),
        Command::VoidInvoice { number, reason } => invoices::void(node, author, &number, reason),
        Command::AdoptInvoice { number } => invoices::adopt(node, author, &number),
        Command::AskDeposit { job, amount } => invoices::ask_deposit(node, author, &job, amount),
        Command::Pay { number, received } => payments::pay(node, author, &number, received, today?),
        Command::Applications(command) => applications::run(node, author, command, today?),
        Command::Owed => Ok(payments::owed(node, today?)),
        Command::Statement { job } => payments::statement(node, &job, today?),
        Command::LateClaim { number, base_rate } => payments::late(node, &number, base_rate, today?),
        Command::PayList { of } => payments::pay_list(node, of.map_or(today, Ok)?),
        Command::Price { item, pack_cost, from } => {
            office::price(node, author, &item, pack_cost, from.map_or(today, Ok)?)
        }
        Command::Rate(rate) => {
            let from = rate.from.map_or(today, Ok)?;
            office::rate(node, author, &rate, from)
        }
        Command::Paid(paid) => office::paid(node, author, paid),
        Command::BearCost { entry, whose } => office::bear_cost(node, author, &entry, whose),
        Command::PriceExtra { entry, amount } => office::price_extra(node, author, &entry, amount),
        Command::Measure(wish) => rooms::run(node, author, wish),
        Command::Quote(command) => quotes::run(node, author, command),
        Command::Terms(command) => terms::run(node, author, command),
        Command::SortOut => Ok(json!({ "questions": projections::questions(node.book()) })),
        Command::Settle { question, answer } => settling::settle(node, author, &question, answer),
        Command::Plan(command) => plan::run(node, author, command),
        Command::Tests(command) => judging::run(node, &command),
        Command::Stages => Ok(json!({ "stages": projections::stages(node.book()) })),
        Command::Why { job, stage, what } => {
            Ok(json!({ "entries": projections::why(node.book(), &job, stage.as_deref(), what.as_deref()) }))
        }
        Command::Invite(wish) => node.invite(&wish),
        Command::PageLink { person, role } => {
            let link = node.make_page_link(author, &person, role)?;
            Ok(json!({ "link": link, "origins": node.page_origins() }))
        }
        Command::AddPerson { name, role, rates } => roster::add_person(node, author, &name, role, rates),
        Command::SetRole { person, role } => roster::set_role(node, author, &person, role),
        Command::Roster => Ok(roster::show(node)),
        Command::Retire { device, reason, words: None } => roster::retire(node, author, &device, reason),
        Command::Retire { device, reason, words: Some(words) } => {
            roster::retire_by_words(node, author, &device, reason, &words)
        }
        Command::Words { typed } => roster::words(node, typed.as_deref()),
        Command::Folder(FolderCommand::Export { dir }) => export::write(node, &dir),
        Command::Folder(FolderCommand::BackUp { dir }) => {
            return Backup::begin(node, &dir).map(Begun::BackUp);
        }
        Command::Folder(FolderCommand::Salvage { dir }) => {
            let say = |done, of| say(Progress { step: Step::BytesRead, done, of });
            return Salvage::begin(node, &dir, &say).map(Begun::Salvage);
        }
        Command::Photos { keep } => photos::photos(node, keep),
        Command::Verify => health::verify(node),
        Command::SetAside(wish) => set_aside::run(node, author, &wish),
        Command::Status => Ok(health::status(node)),
    };
    answer.map(Begun::Done)
}
