//! What was made of a line that somebody said or typed: proposals to tick, questions that one press
//! answers, and the words that nothing was made of. Nothing is logged before the button is pressed.
//!
//! The screen keeps no state of its own: each form carries the line and the answers given so far
//! (`question.choice`, or `question:words`, a line each), and the line is read anew with them.

use askama::Template;
use axum::Router;
use axum::extract::State;
use axum::response::Response;
use axum::routing::post;
use daemon::Command;
use daemon::command::{self, Answer, Pressed};
use serde_json::Value;
use spoken::{Column, Heard, Kind, Proposal};
use trade::money::hours_and_minutes;

use crate::app::App;
use crate::frame::{Frame, Tab};
use crate::look::{Asked, Look};
use crate::orders::Outcome;
use crate::posting::Posted;
use crate::problem::Problem;

/// A word of the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Word {
    pub(crate) text: String,
    pub(crate) understood: bool,
}

/// An entry as it would be logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Proposed {
    /// What it says, in the words of the list of entries.
    pub(crate) text: String,
    /// It can be logged as it stands.
    pub(crate) ready: bool,
    /// What is to be shown beside it.
    pub(crate) remarks: Vec<String>,
}

/// A question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OneAsked {
    pub(crate) question: String,
    /// The words of each answer.
    pub(crate) choices: Vec<String>,
    /// An answer may be typed.
    pub(crate) typed: bool,
    /// A proposal waits for it.
    pub(crate) must: bool,
}

/// The screen.
#[derive(Template)]
#[template(path = "said.html")]
pub(crate) struct Said {
    pub(crate) frame: Frame,
    /// The line as it was said.
    pub(crate) line: String,
    /// When it was said, if that was before it came here.
    pub(crate) at: String,
    pub(crate) words: Vec<Word>,
    pub(crate) proposals: Vec<Proposed>,
    pub(crate) questions: Vec<OneAsked>,
    /// What is to be shown for the line as a whole.
    pub(crate) remarks: Vec<String>,
    /// The answers given so far.
    pub(crate) answers: String,
}

impl Said {
    /// Whether anything can be logged.
    fn has_ready(&self) -> bool {
        self.proposals.iter().any(|proposed| proposed.ready)
    }

    /// Whether there are words that nothing was made of.
    fn has_unknown(&self) -> bool {
        self.words.iter().any(|word| !word.understood)
    }
}

pub(super) fn routes() -> Router<App> {
    Router::new().route("/said", post(hear)).route("/said/log", post(log))
}

/// The line of a form, with the answers given before and the one that was given now.
fn said(posted: &Posted) -> Result<(command::Said, String), Problem> {
    let field = |name: &str| posted.fields.get(name).map_or("", |value| value.trim());
    let mut given: Vec<String> = field("answers").lines().map(str::to_owned).collect();
    if let Some((question, words)) = field("typed_for").parse::<usize>().ok().zip(posted.fields.get("typed"))
        && !words.trim().is_empty()
    {
        given.push(format!("{question}:{}", words.trim()));
    }
    given.extend(Some(field("answer")).filter(|answer| !answer.is_empty()).map(str::to_owned));
    let answers = given.iter().map(|answer| read_answer(answer)).collect::<Option<Vec<_>>>();
    let answers =
        answers.ok_or_else(|| Problem::Refused("that is no answer; say the line again".to_owned()))?;
    let at = posted.fields.get("at").map(|at| trade::Moment::parse(at, crate::posting::HOME_ZONE));
    let at = at.transpose().map_err(|error| Problem::Refused(error.to_string()))?;
    let job = Some(field("job")).filter(|job| !job.is_empty()).map(str::to_owned);
    Ok((command::Said { job, line: field("said").to_owned(), answers, at }, given.join("\n")))
}

fn read_answer(text: &str) -> Option<Answer> {
    if let Some((question, choice)) = text.split_once('.')
        && let (Ok(question), Ok(choice)) = (question.parse(), choice.parse())
    {
        return Some(Answer { question, answer: Pressed::Choice(choice) });
    }
    let (question, words) = text.split_once(':')?;
    Some(Answer { question: question.parse().ok()?, answer: Pressed::Words(words.to_owned()) })
}

/// Shows what was made of a line.
async fn hear(State(app): State<App>, posted: Posted) -> Result<Response, Problem> {
    let (said, answers) = match said(&posted) {
        Ok(said) => said,
        Err(Problem::Refused(why)) => return Ok(posted.refuse(&app, &why)),
        Err(problem) => return Err(problem),
    };
    let (person, line) = (posted.viewer.person, said.line.clone());
    let at = posted.fields.get("at").cloned().unwrap_or_default();
    let job = said.job.clone().unwrap_or_default();
    let heard = app.node(move |node| command::run_for(node, person, Command::Hear(said))).await?;
    let heard = match heard {
        Ok(heard) => heard,
        Err(error) => return Ok(posted.answer(&app, Err(error))),
    };
    let heard = read(&heard)?;
    let asked = Asked { job, ..Asked::default() };
    super::show(&app, posted.viewer, asked, move |look, _| Ok(screen(look, line, at, answers, &heard))).await
}

/// Logs what is ticked.
async fn log(State(app): State<App>, posted: Posted) -> Result<Response, Problem> {
    let said = match said(&posted) {
        Ok((said, _)) => said,
        Err(Problem::Refused(why)) => return Ok(posted.refuse(&app, &why)),
        Err(problem) => return Err(problem),
    };
    let ticked = posted.fields.get("take").map_or("", String::as_str);
    let only: Vec<usize> = ticked.split_whitespace().filter_map(|number| number.parse().ok()).collect();
    if only.is_empty() {
        return Ok(posted.refuse(&app, "nothing was ticked"));
    }
    let (person, key) = (posted.viewer.person, posted.fields.get("entry").cloned());
    let logged =
        app.node(move |node| command::run_for(node, person, Command::LogSaid { said, only, key })).await?;
    let outcome = logged.map(|answer| {
        let taught = answer["taught"].as_array().is_some_and(|taught| !taught.is_empty());
        let said = if taught { "Saved, and the word is kept for next time." } else { "Saved." };
        Outcome {
            said: said.to_owned(),
            answer: serde_json::json!({ "saved": true, "logged": answer["logged"] }),
        }
    });
    Ok(posted.answer(&app, outcome))
}

fn read(answer: &Value) -> Result<Heard, Problem> {
    serde_json::from_value(answer["heard"].clone()).map_err(|error| {
        tracing::error!(%error, "what was heard can't be read");
        Problem::Broken
    })
}

fn screen(look: &Look<'_>, line: String, at: String, answers: String, heard: &Heard) -> Said {
    let is_left =
        |number: usize| heard.not_understood.iter().any(|span| (span.first..=span.last).contains(&number));
    let words = line.split_whitespace().enumerate();
    let words = words.map(|(number, text)| Word { text: text.to_owned(), understood: !is_left(number) });
    let remarks_of = |about: Option<usize>| {
        heard.remarks.iter().filter(move |remark| remark.about == about).map(|remark| remark.text.clone())
    };
    let proposed = |(number, proposal): (usize, &Proposal)| Proposed {
        text: told(proposal),
        ready: proposal.ready,
        remarks: remarks_of(Some(number)).collect(),
    };
    let questions = heard.questions.iter().map(|asked| OneAsked {
        question: asked.question.clone(),
        choices: asked.choices.iter().map(|choice| choice.label.clone()).collect(),
        typed: asked.typed.is_some(),
        must: asked.must,
    });
    Said {
        frame: look.frame(Tab::Now, "Heard".to_owned()),
        words: words.collect(),
        line,
        at,
        proposals: heard.proposals.iter().enumerate().map(proposed).collect(),
        questions: questions.collect(),
        remarks: remarks_of(None).collect(),
        answers,
    }
}

/// A proposal in the words of the list of entries.
fn told(proposal: &Proposal) -> String {
    let get = |column| proposal.get(column).to_owned();
    // A time on its day is long; the day is said once, behind.
    let clock = |column| get(column).get(11..16).map(str::to_owned).unwrap_or_else(|| get(column));
    let day = get(Column::From).get(..10).map(str::to_owned).unwrap_or_else(|| get(Column::DoneOn));
    let times = match (clock(Column::From), clock(Column::To)) {
        (from, to) if from.is_empty() && to.is_empty() => String::new(),
        (from, to) => format!("{from}–{to}"),
    };
    let less = Some(get(Column::BreakMin)).filter(|minutes| !matches!(minutes.as_str(), "" | "0"));
    let length = Some(get(Column::Minutes)).filter(|minutes| !minutes.is_empty());
    let amount = format!("{} {}", get(Column::Quantity), get(Column::Unit));
    let price = Some(get(Column::Price)).filter(|price| !price.is_empty());
    let person = Some(get(Column::Person)).filter(|person| !person.is_empty());
    let place = |column, lead: &str| match proposal.get(column) {
        "" => String::new(),
        place @ ("van" | "merchant") => format!("{lead} the {place}"),
        job => format!("{lead} {job}"),
    };
    let parts = [
        kind_words(proposal.kind).to_owned(),
        amount.trim().to_owned(),
        get(Column::What),
        times,
        less.map(|minutes| format!("break {minutes} min")).unwrap_or_default(),
        length.and_then(|minutes| minutes.parse().ok()).map(hours_and_minutes).unwrap_or_default(),
        price.map(|price| format!("£{price} {}", get(Column::Vat))).unwrap_or_default(),
        get(Column::Stage),
        get(Column::Where),
        place(Column::OutOf, "from"),
        place(Column::Into, "to"),
        person.map(|person| format!("for {person}")).unwrap_or_default(),
        day,
        get(Column::Note),
    ];
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
}

const fn kind_words(kind: Kind) -> &'static str {
    match kind {
        Kind::Hours => "hours",
        Kind::Used => "used",
        Kind::Wasted => "wasted",
        Kind::Returned => "back",
        Kind::Moved => "moved",
        Kind::Delivered => "came",
        Kind::Bought => "bought",
        Kind::Reading => "test",
        Kind::Note => "note",
        Kind::Snag => "snag",
        Kind::Asked => "extra asked",
        Kind::Agreed => "extra: said yes",
        Kind::Declined => "extra: said no",
        Kind::LeftOff => "left like this",
        Kind::SignedOff => "signed off",
        Kind::Corrected => "change",
        Kind::Struck => "cross out",
        Kind::Away => "away",
        Kind::Ready => "ready for checking",
        Kind::Cleared => "snag put right",
        Kind::Plan => "to do",
        Kind::Stopped => "stop work",
    }
}
