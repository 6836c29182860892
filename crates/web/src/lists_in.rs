//! Lists and entries from CSV files: sent together, checked whole, shown, and taken in by a second press.
//!
//! Between the two presses the files stand in a folder of the session's own within the data folder. Nothing is
//! taken in that was not shown, and nothing half: one bad row anywhere, and there is only the list of them.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use axum::Router;
use axum::extract::multipart::MultipartError;
use axum::extract::{
    DefaultBodyLimit, FromRequest as _, FromRequestParts as _, Multipart, Query, Request, State,
};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::{get, post};
use daemon::import::Files;
use daemon::{Command, Node, NodeError};
use ledger::SessionId;
use serde_json::json;

use crate::app::App;
use crate::look::Asked;
use crate::orders::Outcome;
use crate::posting::{Posted, unreadable};
use crate::problem::Problem;
use crate::screens;
use crate::viewer::Viewer;

/// Most bytes of all files of one import.
const MAX_FILES: usize = 16 * 1024 * 1024;
const TOO_LARGE: Problem = Problem::TooLarge("the files of one import have at most 16 MiB together");

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/lists", get(show).merge(post(send).layer(DefaultBodyLimit::max(MAX_FILES))))
        .route("/lists/take", post(take))
        .route("/lists/drop", post(put_aside))
}

/// Where a session's files wait.
fn folder_of(data: &Path, session: SessionId) -> PathBuf {
    data.join("lists-in").join(session.to_string())
}

/// The files of a session that wait, and what would be taken in of them.
pub(crate) enum Waiting {
    Nothing,
    /// The command's own answer.
    Sound(serde_json::Value),
    /// Every bad row.
    Bad(Vec<String>),
}

/// Looks at the files that wait.
pub(crate) fn waiting(node: &mut Node, viewer: &Viewer) -> Waiting {
    let dir = folder_of(node.folder(), viewer.session);
    if !dir.is_dir() {
        return Waiting::Nothing;
    }
    match daemon::command::run_for(node, viewer.person, Command::CheckImport { dir }) {
        Ok(answer) => Waiting::Sound(answer),
        Err(NodeError::BadInput(rows)) => Waiting::Bad(rows),
        Err(other) => Waiting::Bad(vec![other.to_string()]),
    }
}

async fn show(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    let looking = viewer.clone();
    let waiting = app.node(move |node| waiting(node, &looking)).await?;
    screens::show_lists(&app, viewer, asked, waiting).await
}

fn of_multipart(error: &MultipartError) -> Problem {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE { TOO_LARGE } else { unreadable() }
}

/// Takes the files and lets them wait. What was sent before goes.
async fn send(State(app): State<App>, request: Request) -> Result<Response, Problem> {
    let (mut parts, body) = request.into_parts();
    let viewer = Viewer::from_request_parts(&mut parts, &app).await?;
    viewer.must_see_money()?;
    let headers = parts.headers.clone();
    let multipart = Multipart::from_request(Request::from_parts(parts, body), &app).await;
    let mut multipart = multipart.map_err(|_| unreadable())?;
    let (mut fields, mut files) = (Vec::new(), Vec::new());
    while let Some(field) = multipart.next_field().await.map_err(|error| of_multipart(&error))? {
        let name = field.name().unwrap_or_default().to_owned();
        match field.file_name().map(str::to_owned) {
            Some(file) => {
                let bytes = field.bytes().await.map_err(|error| of_multipart(&error))?;
                if !file.is_empty() {
                    files.push((file, bytes));
                }
            }
            None => fields.push((name, field.text().await.map_err(|error| of_multipart(&error))?)),
        }
    }
    let posted = Posted::new(&app, viewer, &headers, fields).await?;
    let known = |name: &str| Files::NAMES.contains(&name);
    let wrong: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).filter(|name| !known(name)).collect();
    if files.is_empty() || !wrong.is_empty() {
        let what = if files.is_empty() { "no file was chosen".to_owned() } else { wrong.join(", ") };
        let names = Files::NAMES.join(", ");
        return Ok(
            posted.refuse(&app, &format!("{what}: what is read is called {names}. Give the file that name"))
        );
    }
    let dir = folder_of(app.data(), posted.viewer.session);
    let kept = tokio::task::spawn_blocking(move || -> io::Result<()> {
        forget(&dir)?;
        fs::create_dir_all(&dir)?;
        files.iter().try_for_each(|(name, bytes)| fs::write(dir.join(name), bytes))
    });
    let kept = kept.await.map_err(|_| Problem::Broken)?;
    let told = kept.map(|()| Outcome { said: String::new(), answer: json!({ "saved": true }) });
    Ok(posted.answer(&app, told.map_err(|error| NodeError::folder(app.data(), &error))))
}

fn forget(dir: &Path) -> io::Result<()> {
    match fs::remove_dir_all(dir) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        Ok(()) | Err(_) => Ok(()),
    }
}

/// Takes in what was shown.
async fn take(State(app): State<App>, posted: Posted) -> Result<Response, Problem> {
    posted.viewer.must_see_money()?;
    let viewer = posted.viewer.clone();
    let taken = app.node(move |node| -> Result<Outcome, NodeError> {
        let dir = folder_of(node.folder(), viewer.session);
        if !dir.is_dir() {
            let said = "Nothing waits to be taken in; if it was pressed before, it is in.".to_owned();
            return Ok(Outcome { said, answer: json!({ "saved": true }) });
        }
        let import = Command::Import { dir: dir.clone(), devices: Vec::new() };
        let answer = daemon::command::run_for(node, viewer.person, import)?;
        forget(&dir).map_err(|error| NodeError::folder(&dir, &error))?;
        let said = format!("Taken in: {}. There already: {}.", answer["written"], answer["already_held"]);
        Ok(Outcome { said, answer: json!({ "saved": true, "answer": answer }) })
    });
    let taken = taken.await?;
    Ok(posted.answer(&app, taken))
}

/// Forgets what waits.
async fn put_aside(State(app): State<App>, posted: Posted) -> Result<Response, Problem> {
    posted.viewer.must_see_money()?;
    let dir = folder_of(app.data(), posted.viewer.session);
    let done = forget(&dir).map_err(|error| NodeError::folder(&dir, &error));
    let said = "Put aside; nothing was taken in.".to_owned();
    Ok(posted.answer(&app, done.map(|()| Outcome { said, answer: json!({ "saved": true }) })))
}
