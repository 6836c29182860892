//! What the page's buttons ask for beside logging, by name and fields, and who may ask for it.
//!
//! The role is checked here whatever the screens show, and the ledger's roster checks again what is written.

mod hours;
pub(crate) mod office;
mod plan;
mod rooms;
mod terms;

use std::collections::BTreeMap;
use std::str::FromStr;

use daemon::command::{Received, SetAsideWish, SpellChange, SpellSplit};
use daemon::invites::InviteWish;
use daemon::press::{self, Press};
use daemon::{Command, Node, NodeError, Role};
use ledger::{PhotoHash, SessionId};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use trade::Moment;
use trade::money::hours_and_minutes;

use crate::posting::{HOME_ZONE, settle_time};
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Longest id that a phone gives a press of a button.
const MAX_PRESS_ID: usize = 64;

/// Something to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Order {
    /// A command of the node.
    Run(Command),
    /// Ends the viewer's own session.
    Leave,
    /// Ends another's session.
    Close(SessionId),
}

impl Order {
    /// With the photos of its form, where it is about something that has any.
    pub(crate) fn with_photos(self, found: Vec<PhotoHash>) -> Self {
        match self {
            Self::Run(Command::Survey { job, answer: Some(answer), .. }) => {
                Self::Run(Command::Survey { job, answer: Some(answer), photos: found })
            }
            other => other,
        }
    }
}

/// What an order led to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Outcome {
    pub(crate) said: String,
    pub(crate) answer: Value,
}

/// The fields of a form.
struct Fields<'f>(&'f BTreeMap<String, String>);

impl Fields<'_> {
    fn optional(&self, name: &str) -> Option<String> {
        self.0.get(name).map(|value| value.trim().to_owned()).filter(|value| !value.is_empty())
    }

    fn text(&self, name: &str) -> Result<String, Problem> {
        self.optional(name).ok_or_else(|| Problem::Refused(format!("{name} is empty")))
    }

    fn parsed<T: FromStr<Err: std::fmt::Display>>(&self, name: &str) -> Result<Option<T>, Problem> {
        let read = self.optional(name).map(|text| {
            text.parse().map_err(|error| Problem::Refused(format!("{name} {text:?} can't be read: {error}")))
        });
        read.transpose()
    }

    /// One of the names that a list of ours has.
    fn listed<T: DeserializeOwned>(&self, name: &str) -> Result<T, Problem> {
        let text = self.text(name)?;
        serde_json::from_value(json!(text))
            .map_err(|_| Problem::Refused(format!("{name} {text:?} is none of those in the list")))
    }

    fn number(&self, name: &str) -> Result<u32, Problem> {
        Ok(self.parsed(name)?.unwrap_or(0))
    }
}

/// Reads an order and checks that the viewer may give it.
///
/// # Errors
/// [`Problem::NotHere`] for a name that is none, [`Problem::Forbidden`], or [`Problem::Refused`] with what
/// is wrong with a field.
pub(crate) fn read(name: &str, viewer: &Viewer, fields: &BTreeMap<String, String>) -> Result<Order, Problem> {
    let fields = Fields(fields);
    let command = match name {
        "start" => Command::Start { job: fields.text("job")?, stage: fields.optional("stage") },
        "switch" => Command::Switch {
            job: fields.text("job")?,
            stage: fields.optional("stage"),
            break_minutes: fields.number("break_min")?,
        },
        "stop" => {
            Command::Stop { break_minutes: fields.number("break_min")?, at: fields.optional("at_time") }
        }
        "accept" => Command::Accept { entry: fields.text("of")? },
        "correct" | "strike" => {
            let kind = if name == "strike" { "struck" } else { "corrected" };
            let filled = fields.0.iter().filter(|(_, value)| !value.trim().is_empty());
            let mut row: BTreeMap<String, String> =
                filled.map(|(name, value)| (name.clone(), value.clone())).collect();
            row.insert("kind".to_owned(), kind.to_owned());
            fields.text("corrects")?;
            settle_time(&mut row).map_err(|error| Problem::Refused(error.to_string()))?;
            Command::Log { row }
        }
        "change-spell" => Command::ChangeSpell(SpellChange {
            entry: fields.text("of")?,
            job: fields.optional("job"),
            stage: fields.optional("stage"),
            from: fields.optional("from"),
            to: fields.optional("to"),
            break_minutes: fields.parsed("break_min")?,
            note: fields.0.get("note").map(|note| note.trim().to_owned()),
        }),
        "split-spell" => Command::SplitSpell(SpellSplit {
            entry: fields.text("of")?,
            at: fields.optional("at_time"),
            minutes: fields.parsed("minutes")?,
            job: fields.optional("job"),
            stage: fields.optional("stage").unwrap_or_default(),
            break_in_second: fields.optional("break_in").is_some_and(|part| part == "second"),
        }),
        "strike-spell" => Command::StrikeSpell { entry: fields.text("of")? },
        "survey" => Command::Survey {
            job: fields.text("job")?,
            answer: Some((fields.listed("point")?, fields.text("answer")?)),
            photos: Vec::new(),
        },
        "enter-again" => {
            viewer.must_lead()?;
            Command::SetAside(SetAsideWish::AllAgain)
        }
        "settle" => Command::Settle { question: fields.text("question")?, answer: fields.text("answer")? },
        "invoice-issue" => {
            viewer.must_see_money()?;
            Command::IssueInvoice {
                job: fields.text("job")?,
                until: fields.parsed("until")?,
                with_extra: fields
                    .optional("with_extra")
                    .map(|names| names.lines().map(|name| name.trim().to_owned()).collect())
                    .unwrap_or_default(),
            }
        }
        "pay" => {
            viewer.must_see_money()?;
            let received = Received {
                received: fields.parsed("received")?.unwrap_or_default(),
                cis_taken: fields.parsed("cis_taken")?.unwrap_or_default(),
                discount: fields.parsed("discount")?.unwrap_or_default(),
                contra: fields.parsed("contra")?.unwrap_or_default(),
                method: fields.optional("method").unwrap_or_else(|| "bank".to_owned()),
                on: fields.parsed("on")?,
                over: fields.optional("over").is_some(),
            };
            Command::Pay { number: fields.text("number")?, received }
        }
        "credit" => {
            viewer.must_see_money()?;
            Command::CreditInvoice {
                number: fields.text("number")?,
                whole: fields.optional("whole").is_some(),
            }
        }
        "void" => {
            viewer.must_see_money()?;
            Command::VoidInvoice { number: fields.text("number")?, reason: fields.text("reason")? }
        }
        "deposit" => {
            viewer.must_see_money()?;
            let amount = fields.parsed("amount")?;
            let empty = || Problem::Refused("amount is empty".to_owned());
            Command::AskDeposit { job: fields.text("job")?, amount: amount.ok_or_else(empty)? }
        }
        "set-role" => {
            viewer.must_be_owner()?;
            Command::SetRole { person: fields.text("person")?, role: role(Some(&fields.text("role")?))? }
        }
        "invite" => {
            viewer.must_be_owner()?;
            Command::Invite(InviteWish {
                person: fields.text("person")?,
                role: role(fields.optional("role").as_deref())?,
                shared: fields.optional("shared").is_some(),
                office: fields.optional("office").is_some(),
                addresses: Vec::new(),
                minutes: 15,
            })
        }
        "retire" => {
            viewer.must_be_owner()?;
            Command::Retire {
                device: fields.text("device")?,
                reason: fields.optional("reason").unwrap_or_default(),
                words: None,
            }
        }
        "leave" => return Ok(Order::Leave),
        "close-session" => {
            let wanted: SessionId = fields.parsed("session")?.ok_or(Problem::NotHere)?;
            // Anybody may close their own; the boss closes any.
            if wanted != viewer.session {
                viewer.must_be_owner()?;
            }
            return Ok(if wanted == viewer.session { Order::Leave } else { Order::Close(wanted) });
        }
        _ => match plan::read(name, &fields)?.or(rooms::read(name, viewer, &fields)?) {
            Some(command) => command,
            None => match terms::read(name, viewer, &fields)?.or(hours::read(name, viewer, &fields)?) {
                Some(command) => command,
                None => office::read(name, viewer, &fields)?.ok_or(Problem::NotHere)?,
            },
        },
    };
    Ok(Order::Run(command))
}

/// How the button was pressed: each form has an id, its own or made from what it says.
///
/// # Errors
/// [`Problem::Refused`]: no id, one that is too long, or a time that is none.
pub(crate) fn press_of(fields: &BTreeMap<String, String>) -> Result<Press, Problem> {
    let fields = Fields(fields);
    let wrong = |why: &dyn std::fmt::Display| Problem::Refused(format!("the phone's own note of it: {why}"));
    let id = fields.text("entry")?;
    if id.len() > MAX_PRESS_ID {
        return Err(wrong(&"its id is too long"));
    }
    let at = fields.optional("at").map(|at| Moment::parse(&at, HOME_ZONE)).transpose();
    Ok(Press { id, at: at.map_err(|error| wrong(&error))? })
}

/// A role by its name in the lists, or as people say it.
pub(crate) fn role(word: Option<&str>) -> Result<Role, Problem> {
    match word {
        None | Some("hand" | "crew") => Ok(Role::Hand),
        Some("lead" | "foreman") => Ok(Role::Lead),
        Some("owner" | "boss") => Ok(Role::Owner),
        Some(other) => Err(Problem::Refused(format!("there is no role {other:?}; crew, foreman or boss"))),
    }
}

/// Carries an order out.
///
/// # Errors
/// What the node says; nothing is half done.
pub(crate) fn carry_out(
    node: &mut Node,
    viewer: &Viewer,
    press: &Press,
    order: Order,
) -> Result<Outcome, NodeError> {
    let shows = matches!(&order, Order::Run(command) if press::shows_what_it_made(command));
    if let Some(said) = press::done_already(node, viewer.person, press).filter(|_| !shows) {
        let answer = json!({ "saved": true, "done_already": said });
        return Ok(Outcome { said: format!("Saved already: {said}."), answer });
    }
    match order {
        Order::Run(command) => {
            if let Command::Settle { question, .. } = &command {
                may_settle(node, viewer, question)?;
            }
            let said = said(&command);
            let answer = press::run(node, viewer.person, press, command)?;
            let said = told(&answer).unwrap_or_else(|| said.to_owned());
            Ok(Outcome { said, answer: json!({ "saved": true, "answer": answer }) })
        }
        Order::Leave => close(node, viewer.session, "This phone has left the page."),
        Order::Close(session) => close(node, session, "That phone is off the page, from now on."),
    }
}

/// A hand answers what is asked of them; the rest is for who leads.
fn may_settle(node: &Node, viewer: &Viewer, question: &str) -> Result<(), NodeError> {
    let is_theirs = || {
        let open = projections::questions(node.book());
        open.iter().any(|asked| asked.key == question && asked.person == Some(viewer.person))
    };
    if viewer.leads() || is_theirs() {
        return Ok(());
    }
    Err(NodeError::BadInput(vec![
        "that is asked of somebody else; the boss or the foreman can answer it".to_owned(),
    ]))
}

fn close(node: &mut Node, session: SessionId, said: &str) -> Result<Outcome, NodeError> {
    // A phone that is off the page already is what was wanted.
    if node.page_sessions().any(|open| open.session == session) {
        node.close_page_session(session)?;
    }
    Ok(Outcome { said: said.to_owned(), answer: json!({ "saved": true }) })
}

/// What an answer itself has to tell: the number that an invoice was given, or an invite's code.
fn told(answer: &Value) -> Option<String> {
    let text =
        |value: &Value| value.as_str().map(str::to_owned).or_else(|| Some(value.as_u64()?.to_string()));
    if let Some(number) = text(&answer["document"]["number"]) {
        let series = text(&answer["document"]["series"]).filter(|series| !series.is_empty());
        let series = series.map(|series| format!("{series}-")).unwrap_or_default();
        let what = match text(&answer["of_number"]) {
            Some(of) => format!("credit note {series}{number} on {of}"),
            None => format!("invoice {series}{number}"),
        };
        return Some(format!("This is {what}. It is issued."));
    }
    if let Some(parts) = answer["parts"].as_array().filter(|parts| parts.len() == 2) {
        let part = |part: &Value| Some(format!("{} {}", text(&part["stage"])?, length(&part["minutes"])?));
        let parts: Vec<String> = parts.iter().filter_map(part).collect();
        return Some(format!(
            "Split: {}. Together {} as before.",
            parts.join(", "),
            length(&answer["minutes"])?
        ));
    }
    let code = text(&answer["code"])?;
    Some(format!("On their phone or laptop, within 15 minutes: fivebar join {code}"))
}

fn length(minutes: &Value) -> Option<String> {
    minutes.as_i64().map(hours_and_minutes)
}

/// What is said when it is done.
const fn said(command: &Command) -> &'static str {
    match command {
        Command::Start { .. } => "Started.",
        Command::Switch { .. } => "Gone over.",
        Command::Stop { .. } => "Stopped.",
        Command::Accept { .. } => "Accepted.",
        Command::Settle { .. } => "Noted.",
        Command::SetAside(_) => "Entered again.",
        Command::IssueInvoice { .. } | Command::CreditInvoice { .. } => "Issued.",
        Command::Retire { .. } => "Taken off the crew.",
        _ => "Saved.",
    }
}
