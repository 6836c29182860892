//! What a form does. Each becomes a command of the person of its session; the ledger's roster decides what
//! they may write, and what is the boss's alone is turned away here before it is tried.

use std::collections::BTreeMap;

use axum::Router;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, FromRequest, FromRequestParts, Path, Request, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::post;
use daemon::{Command, Node, NodeError};
use ledger::SessionId;
use serde_json::{Value, json};
use trade::Moment;

use crate::app::{App, Notice};
use crate::guard::reads_json;
use crate::orders::{self, Outcome};
use crate::problem::Problem;
use crate::viewer::Viewer;

/// The zone of the wall clock that a day is told by, where no job says another.
pub(crate) const HOME_ZONE: &str = "Europe/London";
/// The field, and the header, in which a form's token stands.
const TOKEN: &str = "token";

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/log", post(log)).route("/do/{command}", post(act))
}

/// A form of this page, sent by its own session.
pub(crate) struct Posted {
    pub(crate) viewer: Viewer,
    /// The fields, without the token and the way back.
    pub(crate) fields: BTreeMap<String, String>,
    /// The screen to go back to.
    pub(crate) back: String,
    /// The sender reads JSON.
    pub(crate) json: bool,
}

impl FromRequest<App> for Posted {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let (mut parts, body) = request.into_parts();
        let viewer = Viewer::from_request_parts(&mut parts, app).await?;
        let headers = parts.headers.clone();
        let form = Form::<BTreeMap<String, String>>::from_request(Request::from_parts(parts, body), app);
        let Form(mut fields) = form.await.map_err(|rejection| match rejection {
            FormRejection::BytesRejection(_) => Problem::TooLarge("a form has at most 256 KiB"),
            _ => Problem::Refused("the form could not be read; load the page anew".to_owned()),
        })?;
        let in_header = headers.get("x-form-token").and_then(|token| token.to_str().ok());
        let token = fields.remove(TOKEN).or_else(|| in_header.map(str::to_owned)).unwrap_or_default();
        check_token(app, viewer.session, token).await?;
        let back = fields.remove("back").filter(|back| is_own_path(back)).unwrap_or_else(|| "/".to_owned());
        Ok(Self { viewer, fields, back, json: reads_json(&headers) })
    }
}

/// Lets only forms pass that this session was given.
pub(crate) async fn check_token(app: &App, session: SessionId, token: String) -> Result<(), Problem> {
    if app.node(move |node| node.is_form_token(session, &token)).await? {
        Ok(())
    } else {
        Err(Problem::Forbidden("this form is not of this phone's page; load the page anew and send it again"))
    }
}

/// A path of this page, and not another site written so that it looks like one.
fn is_own_path(path: &str) -> bool {
    path.starts_with('/')
        && !path.starts_with("//")
        && path.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\')
}

impl Posted {
    /// Answers: back to the screen with a notice, or as JSON.
    fn answer(self, app: &App, done: Result<Outcome, NodeError>) -> Response {
        match done {
            Ok(done) if self.json => axum::Json(done.answer).into_response(),
            Ok(done) => {
                app.leave_notice(&self.viewer, Notice { text: done.said, refused: BTreeMap::new() });
                Redirect::to(&self.back).into_response()
            }
            Err(error) => {
                let why = in_words_of_the_page(&error);
                if self.json {
                    return Problem::Refused(why).as_json();
                }
                app.leave_notice(&self.viewer, Notice { text: why, refused: self.fields });
                Redirect::to(&self.back).into_response()
            }
        }
    }
}

/// A reason without the words of the command line.
fn in_words_of_the_page(error: &NodeError) -> String {
    match error {
        NodeError::BadInput(reasons) => {
            format!("not saved, because {}", reasons.join("; ").replace("--", ""))
        }
        other => other.to_string(),
    }
}

/// Logs an entry, by the columns of `entries.csv`. `entry` is the browser's own id for it: the same form
/// sent twice is one entry.
async fn log(State(app): State<App>, posted: Posted) -> Response {
    let (person, mut row) = (posted.viewer.person, posted.fields.clone());
    row.retain(|_, value| !value.is_empty());
    row.remove("device");
    let logged = app.node(move |node| log_row(node, person, row)).await;
    match logged {
        Ok(done) => posted.answer(&app, done),
        Err(problem) => problem.into_response(),
    }
}

fn log_row(
    node: &mut Node,
    person: ledger::PersonId,
    mut row: BTreeMap<String, String>,
) -> Result<Outcome, NodeError> {
    settle_time(&mut row)?;
    let sent_key = row.get("entry").cloned();
    let answer = daemon::command::run_for(node, person, Command::Log { row })?;
    let is_new = answer["written"].as_u64().is_some_and(|written| written > 0);
    let key = sent_key.map_or_else(|| answer["key"].clone(), Value::from);
    let mut said = vec![if is_new { "Saved." } else { "Saved already." }.to_owned()];
    let warnings = answer["warnings"].as_array().into_iter().flatten();
    said.extend(warnings.filter_map(Value::as_str).map(str::to_owned));
    Ok(Outcome {
        said: said.join(" "),
        answer: json!({ "saved": true, "key": key, "new": is_new, "warnings": answer["warnings"] }),
    })
}

/// An entry that waited on a phone belongs to the day on which it was made there, by the clock on the
/// wall. A browser may say that instant in UTC.
fn settle_time(row: &mut BTreeMap<String, String>) -> Result<(), NodeError> {
    let Some(at) = row.get("at") else { return Ok(()) };
    let wrong = |error: &dyn std::fmt::Display| NodeError::BadInput(vec![format!("at {at}: {error}")]);
    let said = Moment::parse(at, HOME_ZONE).map_err(|error| wrong(&error))?;
    let on_wall = if at.ends_with('Z') {
        Moment::in_zone(said.utc_ms(), HOME_ZONE).map_err(|error| wrong(&error))?
    } else {
        said
    };
    let text = serde_json::to_value(on_wall).map_err(|error| wrong(&error))?;
    if !row.contains_key("corrects") {
        row.entry("done_on".to_owned()).or_insert_with(|| on_wall.day().to_string());
    }
    row.insert("at".to_owned(), text.as_str().unwrap_or_default().to_owned());
    Ok(())
}

/// Does what the path names.
async fn act(State(app): State<App>, Path(name): Path<String>, posted: Posted) -> Result<Response, Problem> {
    let order = match orders::read(&name, &posted.viewer, &posted.fields) {
        Ok(order) => order,
        // A field that is wrong is shown where the form stands.
        Err(Problem::Refused(why)) => return Ok(posted.answer(&app, Err(NodeError::BadInput(vec![why])))),
        Err(problem) => return Err(problem),
    };
    let viewer = posted.viewer.clone();
    let done = app.node(move |node| orders::carry_out(node, &viewer, order)).await?;
    Ok(posted.answer(&app, done))
}
