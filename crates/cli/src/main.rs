//! The `fivebar` program: reads the command line, asks the node, and prints what a builder reads.

mod application_pages;
mod args;
mod backup_pages;
mod handover;
mod invoice;
mod measure_pages;
mod money_pages;
mod office_pages;
mod pages;
mod photo_pages;
mod plan_pages;
mod progress;
mod recovery;
mod said_pages;
mod table;
mod test_pages;

use std::io::IsTerminal as _;
use std::io::Write as _;
use std::process::ExitCode;

use args::{Arguments, Request};
use clap::Parser;
use daemon::command::{FolderCommand, PlanCommand, SpellSplit, TestCommand};
use daemon::invites::InviteWish;
use daemon::{Command, Node, NodeError, local, serve};
use serde_json::{Value, json};
use tracing_subscriber::EnvFilter;

#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    log(matches!(arguments.request, Request::Run { .. }));
    if let Request::Verify { file: Some(file) } = &arguments.request {
        return handover::verify(file, arguments.json);
    }
    match run(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("fivebar: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Says where the log goes. A command says itself what went wrong, so it tells nothing but what became of its
/// folder; a daemon that runs for weeks also logs.
fn log(is_daemon: bool) {
    let log =
        tracing_subscriber::fmt().with_ansi(std::io::stderr().is_terminal()).with_writer(std::io::stderr);
    match EnvFilter::try_from_env("FIVEBAR_LOG") {
        Ok(asked) => log.with_env_filter(asked).init(),
        Err(_) if is_daemon => log.with_env_filter("warn").init(),
        Err(_) => {
            let only = format!("{}=warn", daemon::node::OF_THE_FOLDER);
            log.with_env_filter(only).without_time().with_level(false).with_target(false).init();
        }
    }
}

fn run(arguments: &Arguments) -> Result<(), NodeError> {
    let folder = &arguments.data;
    let command = match arguments.request.clone() {
        Request::Found { crew, person, device } => {
            let (crew, person) =
                (args::ask(crew, "What is the crew called?")?, args::ask(person, "And who are you?")?);
            let (node, words) = Node::found(folder, &crew, &person, &device)?;
            let answer =
                json!({ "crew": node.crew(), "device": node.key(), "recovery_words": words.words() });
            print(arguments, &answer, |_| {
                format!(
                    "{crew} is founded, and {person} is its boss. The ledger is in {}.\n\n{}\n\n\
                     Next: `fivebar import DIR` for lists you have, or `fivebar invite` for a mate's phone.",
                    folder.display(),
                    recovery::paper(&words)
                )
            });
            return Ok(());
        }
        Request::ComeBack(wish) => {
            let back = recovery::come_back(folder, &wish)?;
            let answer = json!({ "crew": back.crew, "name": back.crew_name, "person": back.person,
                "retired": back.retired, "events": back.events });
            print(arguments, &answer, |_| recovery::back(&back));
            return Ok(());
        }
        Request::Invite { person, role, shared, office, at, minutes } => {
            let role = role.into();
            Command::Invite(InviteWish { person, role, shared, office, addresses: at, minutes })
        }
        Request::Join { code, device } => {
            let bar = fetching();
            let joined = serve::join(folder, &code, &device, |progress| {
                bar.set_length(progress.announced.max(progress.held));
                bar.set_position(progress.held);
            });
            bar.finish_and_clear();
            let joined = joined?;
            let answer = json!({ "crew": joined.crew, "check": joined.check, "events": joined.events });
            print(arguments, &answer, |_| pages::joined(&joined));
            return Ok(());
        }
        Request::Move { to } => {
            let bar = progress::copying();
            let moved = daemon::moving::move_to(folder, &to, &|done, of| progress::reach(&bar, done, of));
            bar.finish_and_clear();
            let moved = moved?;
            print(arguments, &json!(moved), |_| {
                format!(
                    "Moved to {}: {} files. From now on start it with --data {}. What is left in {} can be deleted.",
                    moved.to.display(),
                    moved.files,
                    moved.to.display(),
                    folder.display()
                )
            });
            return Ok(());
        }
        Request::Run { meeting, page } => {
            let say = |line| println!("{line}");
            let metrics = meeting.metrics;
            return serve::run(folder, meeting.meeting(), say, async |holding| {
                if let Some(address) = metrics {
                    web::serve_metrics(std::sync::Arc::clone(&holding), address, say).await?;
                }
                web::serve(holding, page.wishes(), say).await
            });
        }
        Request::Page { person, role } => Command::PageLink { person, role: role.into() },
        Request::Import { dir, device: _, check: true } => Command::CheckImport { dir: args::absolute(&dir) },
        Request::Import { dir, device, check: false } => {
            Command::Import { dir: args::absolute(&dir), devices: device }
        }
        Request::Log(log) => Command::Log { row: log.row(folder)? },
        Request::Say(say) => say.command(),
        Request::Word(word) => word.command(),
        Request::Survey(survey) => survey.command(),
        Request::Undo { back } => Command::Undo { back },
        Request::Job(request) => request.command(),
        Request::Stage(request) => request.command(),
        Request::Item(request) => request.command(),
        Request::Line(request) => request.command(),
        Request::Person(request) => request.command(),
        Request::Firm(firm) => firm.command(),
        Request::Role { person, role } => Command::SetRole { person, role: role.into() },
        Request::Price { item, pack_cost, from } => Command::Price { item, pack_cost, from },
        Request::Rate(rate) => rate.command(),
        Request::Hours(hours) => hours.command(),
        Request::Paid(paid) => paid.command(),
        Request::Cost { entry, whose } => Command::BearCost { entry, whose: whose.into() },
        Request::Extra(request) => request.command(),
        Request::Quote(request) => request.command(),
        Request::Measure(measure) => return measure_up(arguments, &measure),
        Request::Start { job, stage } => Command::Start { job, stage },
        Request::Switch { job, stage, break_min } => Command::Switch { job, stage, break_minutes: break_min },
        Request::Stop { break_min, at } => Command::Stop { break_minutes: break_min, at },
        Request::Split { entry, at, minutes, stage, job, break_in_second } => {
            Command::SplitSpell(SpellSplit { entry, at, minutes, job, stage, break_in_second })
        }
        Request::Accept { entry } => Command::Accept { entry },
        Request::Entries { job, on } => Command::Entries { job, on },
        Request::Reconcile => Command::Reconcile,
        Request::Invoice(request) => request.command(),
        Request::Application(request) => request.command(),
        Request::Print(request) => request.command(),
        Request::PayOut { of } => Command::PayList { of },
        Request::SortOut => Command::SortOut,
        Request::Settle { question, answer } => Command::Settle { question, answer },
        Request::SetAside(request) => request.command(),
        Request::Stages => Command::Stages,
        Request::Morning { job } => Command::Plan(PlanCommand::Morning { job }),
        Request::Need(need) => need.command(),
        Request::FillIn(request) => request.command(),
        Request::Tests { job: None, .. } => Command::Tests(TestCommand::Kinds),
        Request::Tests { job: Some(job), what } => Command::Tests(TestCommand::Series { job, what }),
        Request::Closing { job, stage } => Command::Plan(PlanCommand::Closing { job, stage }),
        Request::Waits => Command::Plan(PlanCommand::Waits),
        Request::Slips(slips) => slips.command(),
        Request::Limit(limit) => limit.command()?,
        Request::Why { job, stage, what } => Command::Why { job, stage, what },
        Request::Roster => Command::Roster,
        Request::Retire { device, reason, words } => {
            let words = words.then(recovery::ask_for_words).transpose()?;
            Command::Retire { device, reason, words }
        }
        Request::Words { check } => {
            Command::Words { typed: check.then(recovery::ask_for_words).transpose()? }
        }
        Request::Export { dir } => Command::Folder(FolderCommand::Export { dir: args::absolute(&dir) }),
        Request::Backup(backup) if backup.check => {
            let bar = progress::copying();
            let checked = daemon::backup::check(&backup.dir, &|done, of| progress::reach(&bar, done, of));
            bar.finish_and_clear();
            print(arguments, &checked?, backup_pages::checked);
            return Ok(());
        }
        Request::Backup(backup) => {
            Command::Folder(FolderCommand::BackUp { dir: args::absolute(&backup.dir) })
        }
        Request::Restore(restore) => {
            let bar = progress::copying();
            let restored =
                daemon::backup::restore(&restore.dir, folder, &|done, of| progress::reach(&bar, done, of));
            bar.finish_and_clear();
            print(arguments, &restored?, backup_pages::restored);
            return Ok(());
        }
        Request::Salvage(salvage) => {
            Command::Folder(FolderCommand::Salvage { dir: args::absolute(&salvage.dir) })
        }
        Request::Handover(request) => request.command(),
        Request::Verify { .. } => Command::Verify,
        Request::Photos(photos) => photos.command(),
        Request::Status => Command::Status,
    };
    let bar = progress::bar(&command);
    let answer = local::call_saying(folder, command.clone(), &|reached| progress::show(&bar, reached));
    bar.finish_and_clear();
    print(arguments, &answer?, |answer| pages::page(&command, answer));
    Ok(())
}

/// Measures up here where no job is named, so that it works without a ledger too.
fn measure_up(arguments: &Arguments, measure: &args::Measure) -> Result<(), NodeError> {
    if measure.figures {
        let answer = daemon::command::figures(&measure.own(&arguments.data)?)?;
        print(arguments, &answer, measure_pages::figures);
        return Ok(());
    }
    let mut room = measure.room(&arguments.data)?;
    if let Some(command) = measure.rooms() {
        let answer = local::call(&arguments.data, Command::Measure(command))?;
        print(arguments, &answer, measure_pages::rooms);
        return Ok(());
    }
    if let Some(command) = measure.kept() {
        room.text = measure_pages::text_of(&local::call(&arguments.data, Command::Measure(command))?);
    }
    let mut answer = Value::Null;
    for command in measure.of_job(&room) {
        answer = local::call(&arguments.data, Command::Measure(command))?;
    }
    if answer.is_null() {
        answer = daemon::command::measure_up(&room)?;
    }
    let drawn = match &measure.drawings {
        Some(folder) => measure_pages::draw(&answer, folder)?,
        None => Vec::new(),
    };
    print(arguments, &answer, |answer| {
        let drawn = drawn.iter().map(|path| format!("\nDrawn: {}", path.display()));
        measure_pages::measured(answer) + "\n" + &drawn.collect::<String>()
    });
    Ok(())
}

/// A bar that fills as the ledger comes in. A terminal shows it; where there is none, nothing is printed.
pub(crate) fn fetching() -> indicatif::ProgressBar {
    let bar = indicatif::ProgressBar::no_length();
    let words = "{human_pos} of {human_len} events fetched and checked {wide_bar} {eta} to go";
    // The words are ours, so they are a good template; if not, the bar has the library's own.
    indicatif::ProgressStyle::with_template(words)
        .map_or_else(|_| bar.clone(), |style| bar.clone().with_style(style))
}

/// Prints an answer as JSON where that is wanted, and otherwise as a page.
fn print(arguments: &Arguments, answer: &Value, page: impl FnOnce(&Value) -> String) {
    let text = if arguments.json { format!("{answer:#}") } else { page(answer) };
    // Whoever reads only the beginning (`| head`) has what they wanted; that is no failure.
    let _ = writeln!(std::io::stdout(), "{text}");
}
