//! What a form does. Each becomes a command of the person of its session; the ledger's roster decides what
//! they may write, and what is the boss's alone is turned away here before it is tried.

use std::collections::BTreeMap;

use axum::Router;
use axum::extract::rejection::FormRejection;
use axum::extract::{Form, FromRequest, FromRequestParts, Path, Request, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::post;
use daemon::{Command, Node, NodeError};
use ledger::{PhotoHash, SessionId};
use serde_json::{Value, json};
use trade::Moment;

use crate::amounts;
use crate::app::{App, Notice};
use crate::frame::ONTO;
use crate::guard::reads_json;
use crate::orders::{self, Outcome};
use crate::photos_named;
use crate::problem::Problem;
use crate::viewer::Viewer;

/// The zone of the wall clock that a day is told by, where no job says another.
pub(crate) const HOME_ZONE: &str = "Europe/London";
/// The field in which a form's token stands.
const TOKEN: &str = "token";

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/log", post(log)).route("/do/{command}", post(act))
}

/// A form of this page, sent by its own session.
pub(crate) struct Posted {
    pub(crate) viewer: Viewer,
    /// The fields, without the token, the photos and the way back. Of a name that stands twice, the last.
    pub(crate) fields: BTreeMap<String, String>,
    /// Photos by their hash, or by the id under which this session sent them.
    pub(crate) photos: Vec<String>,
    /// Photos that came with the form itself.
    pub(crate) kept: Vec<PhotoHash>,
    /// The screen to go back to.
    back: String,
    /// The sender reads JSON.
    json: bool,
}

impl FromRequest<App> for Posted {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let (mut parts, body) = request.into_parts();
        let viewer = Viewer::from_request_parts(&mut parts, app).await?;
        let headers = parts.headers.clone();
        let form = Form::<Vec<(String, String)>>::from_request(Request::from_parts(parts, body), app);
        let Form(fields) = form.await.map_err(|rejection| match rejection {
            FormRejection::BytesRejection(_) => Problem::TooLarge("a form has at most 256 KiB"),
            _ => unreadable(),
        })?;
        Self::new(app, viewer, &headers, fields).await
    }
}

/// A form that is no form.
pub(crate) fn unreadable() -> Problem {
    Problem::Refused("the form could not be read; load the page anew".to_owned())
}

/// A form's token where a script puts it.
pub(crate) fn token_of(headers: &HeaderMap) -> Option<String> {
    headers.get("x-form-token").and_then(|token| token.to_str().ok()).map(str::to_owned)
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
    /// Checks that the form is of this session.
    ///
    /// # Errors
    /// [`Problem::Forbidden`].
    pub(crate) async fn new(
        app: &App,
        viewer: Viewer,
        headers: &HeaderMap,
        pairs: Vec<(String, String)>,
    ) -> Result<Self, Problem> {
        let (mut fields, mut photos) = (BTreeMap::new(), Vec::new());
        for (name, value) in pairs {
            match name.as_str() {
                "photo" if value.is_empty() => {}
                "photo" => photos.push(value),
                // Of several ticks all are meant.
                "take" => {
                    let ticked: &mut String = fields.entry(name).or_default();
                    ticked.push(' ');
                    ticked.push_str(&value);
                }
                _ => _ = fields.insert(name, value),
            }
        }
        let token = fields.remove(TOKEN).or_else(|| token_of(headers)).unwrap_or_default();
        check_token(app, viewer.session, token.clone()).await?;
        let back = fields.remove("back").filter(|back| is_own_path(back)).unwrap_or_else(|| "/".to_owned());
        // Without a script, a form that is pressed twice comes twice, from one page and with one content. Each
        // page has a token of its own, so these two make the id that the script would have made.
        let mut hasher = blake3::Hasher::new_derive_key("fivebar page entry 1");
        for part in std::iter::once(&token).chain(fields.iter().flat_map(|(name, value)| [name, value])) {
            hasher.update(&u64::try_from(part.len()).unwrap_or(u64::MAX).to_le_bytes());
            hasher.update(part.as_bytes());
        }
        let derived = hasher.finalize().to_hex()[..16].to_owned();
        fields
            .entry("entry".to_owned())
            .and_modify(|given| {
                if given.trim().is_empty() {
                    given.clone_from(&derived);
                }
            })
            .or_insert(derived);
        settle_onto(&mut fields);
        Ok(Self { viewer, fields, photos, kept: Vec::new(), back, json: reads_json(headers) })
    }

    /// Logs an entry, and that its photos were taken.
    pub(crate) async fn log(self, app: &App) -> Result<Response, Problem> {
        let (viewer, photos) = (self.viewer.clone(), self.photos.clone());
        let kept = self.kept.clone();
        let mut row = self.fields.clone();
        row.retain(|_, value| !value.trim().is_empty());
        row.remove("device");
        let logged = app.node(move |node| log_row(node, &viewer, row, (&photos, kept))).await?;
        Ok(self.answer(app, logged))
    }

    /// Whether the sender reads JSON.
    pub(crate) const fn reads_json(&self) -> bool {
        self.json
    }

    /// Answers that nothing was saved, and why.
    pub(crate) fn refuse(self, app: &App, why: &str) -> Response {
        self.answer(app, Err(NodeError::BadInput(vec![why.to_owned()])))
    }

    /// Answers: back to the screen with a notice, or as JSON.
    pub(crate) fn answer(self, app: &App, done: Result<Outcome, NodeError>) -> Response {
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
async fn log(State(app): State<App>, posted: Posted) -> Result<Response, Problem> {
    posted.log(&app).await
}

fn log_row(
    node: &mut Node,
    viewer: &Viewer,
    mut row: BTreeMap<String, String>,
    (photos, kept): (&[String], Vec<PhotoHash>),
) -> Result<Outcome, NodeError> {
    settle_time(&mut row)?;
    amounts::settle(node, &mut row)?;
    // A photo that is sorted later belongs nowhere yet.
    if row.remove("sort").is_some_and(|when| when == "later") {
        for column in ["job", "stage", "where"] {
            row.remove(column);
        }
    }
    let mut photos = photos_named::find(node, viewer, photos)?;
    photos.extend(kept);
    let photos: Vec<String> = photos.iter().map(ToString::to_string).collect();
    let key = row.get("entry").cloned().unwrap_or_default();
    let answers = if row.get("kind").is_some_and(|kind| kind == "photo") && photos.len() > 1 {
        // Each photo is an entry of its own; those that were saved before one is refused are held already
        // when the form is sent again.
        let rows = photos.iter().enumerate().map(|(place, photo)| {
            let mut one = row.clone();
            one.insert("photo".to_owned(), photo.clone());
            if place > 0 {
                one.insert("entry".to_owned(), format!("{key}-{place}"));
            }
            one
        });
        let log_one = |row| daemon::command::run_for(node, viewer.person, Command::Log { row });
        rows.map(log_one).collect::<Result<Vec<_>, _>>()?
    } else {
        if !photos.is_empty() {
            row.insert("photo".to_owned(), photos.join(";"));
        }
        vec![daemon::command::run_for(node, viewer.person, Command::Log { row })?]
    };
    let is_new = answers.iter().any(|answer| answer["written"].as_u64().is_some_and(|written| written > 0));
    let warnings: Vec<&Value> =
        answers.iter().filter_map(|answer| answer["warnings"].as_array()).flatten().collect();
    let mut said = vec![if is_new { "Saved." } else { "Saved already." }];
    said.extend(warnings.iter().copied().filter_map(Value::as_str));
    let judged: Vec<String> = answers.iter().filter_map(|answer| judged(&answer["judged"])).collect();
    said.extend(judged.iter().map(String::as_str));
    Ok(Outcome {
        said: said.join(" "),
        answer: json!({ "saved": true, "key": key, "new": is_new, "warnings": warnings, "photos": photos }),
    })
}

/// What a test says against its limit, in a sentence or two.
fn judged(judged: &Value) -> Option<String> {
    let text = |name: &str| judged[name].as_str().unwrap_or_default();
    let verdict = text("verdict");
    let limit = match (text("limit"), text("source")) {
        ("", _) => String::new(),
        (limit, source) => format!(" ({limit}; {source})"),
    };
    let mut letters = verdict.chars();
    let first = letters.next()?.to_uppercase();
    Some(format!("{first}{}{limit}.", letters.as_str()))
}

/// A job and a stage that were chosen in one press, as two columns. What was not changed is not said.
fn settle_onto(fields: &mut BTreeMap<String, String>) {
    let was = fields.remove("was");
    let Some(onto) = fields.remove("onto").filter(|onto| Some(onto) != was.as_ref()) else { return };
    if let Some((job, stage)) = onto.split_once(ONTO) {
        fields.insert("job".to_owned(), job.to_owned());
        fields.insert("stage".to_owned(), stage.to_owned());
    }
}

/// An entry that waited on a phone belongs to the day on which it was made there, by the clock on the
/// wall. A browser may say that instant in UTC.
pub(crate) fn settle_time(row: &mut BTreeMap<String, String>) -> Result<(), NodeError> {
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

/// Does what the path names, and once, however often one press of the button arrives: the event that it
/// writes has the press's own id.
async fn act(State(app): State<App>, Path(name): Path<String>, posted: Posted) -> Result<Response, Problem> {
    act_on(&app, name, posted).await
}

/// The same with a form that was read, and its photos.
pub(crate) async fn act_on(app: &App, name: String, posted: Posted) -> Result<Response, Problem> {
    let order = match orders::read(&name, &posted.viewer, &posted.fields) {
        Ok(order) => order,
        // A field that is wrong is shown where the form stands.
        Err(Problem::Refused(why)) => return Ok(posted.answer(app, Err(NodeError::BadInput(vec![why])))),
        Err(problem) => return Err(problem),
    };
    let press = match orders::press_of(&posted.fields) {
        Ok(press) => press,
        Err(problem) => return Ok(posted.refuse(app, &problem.words())),
    };
    let (viewer, photos, kept) = (posted.viewer.clone(), posted.photos.clone(), posted.kept.clone());
    let done = app.node(move |node| {
        let mut photos = photos_named::find(node, &viewer, &photos)?;
        photos.extend(kept);
        orders::carry_out(node, &viewer, &press, order.with_photos(photos))
    });
    Ok(posted.answer(app, done.await?))
}
