//! Papers to take away: PDF, e-invoices, a table, text. Only who sees money gets one. Of an invoice what is handed
//! out is what was frozen when it was issued; quotes, statements, daywork sheets and what is to pay out say how
//! things stand now.

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use daemon::NodeError;
use daemon::papers::{self, PaperWish};
use documents::Form;
use projections::billing::{self, IssuedPaper};
use serde::Deserialize;
use trade::Day;

use crate::app::App;
use crate::look::{Asked, Look};
use crate::problem::Problem;
use crate::viewer::Viewer;

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/papers/{number}/{form}", get(paper)).route("/papers/of/{kind}/{form}", get(sheet))
}

async fn paper(
    State(app): State<App>,
    viewer: Viewer,
    Path((number, form)): Path<(String, String)>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    let form: Form = form.parse().map_err(|_| Problem::NotHere)?;
    let found = app.node(move |node| {
        let look = looking(node, &viewer)?;
        let works = billing::job_works(look.book, &look.lists);
        let paper = billing::called(&works, &number).first().map(|(_, paper)| *paper);
        // A voided number bills nothing, so nobody should be handed a demand for it. What the customer issued is theirs.
        let is_ours = |paper: &IssuedPaper| !paper.voided && paper.document.self_billed_as.is_empty();
        paper.filter(|paper| is_ours(paper)).map(|paper| paper.document.clone()).ok_or(Problem::NotHere)
    });
    let document = found.await??;
    let name = documents::file_name(&document, form);
    let made = tokio::task::spawn_blocking(move || documents::paper(&document, form)).await;
    let bytes = made.map_err(|_| Problem::Broken)?.map_err(|error| {
        tracing::error!(%error, "a paper could not be made");
        Problem::Broken
    })?;
    Ok(download(form.media_type(), &name, bytes))
}

/// Which sheet of its kind.
#[derive(Deserialize)]
struct Which {
    #[serde(default)]
    job: String,
    #[serde(default)]
    from: String,
    #[serde(default)]
    until: String,
    #[serde(default)]
    number: u32,
}

impl Which {
    fn wish(self, kind: &str) -> Result<PaperWish, Problem> {
        let day = |text: &str| text.parse::<Day>().map_err(|error| Problem::Refused(error.to_string()));
        Ok(match kind {
            "quote" => PaperWish::Quote(self.job),
            "statement" => PaperWish::Statement(self.job),
            "daywork" => {
                PaperWish::Daywork { from: day(&self.from)?, until: day(&self.until)?, job: self.job }
            }
            "application" => PaperWish::Application { job: self.job, number: self.number },
            "books" => PaperWish::Books { of: Some(day(&self.until)?) },
            "pay-list" => PaperWish::PayList { of: Some(day(&self.until)?) },
            _ => return Err(Problem::NotHere),
        })
    }
}

async fn sheet(
    State(app): State<App>,
    viewer: Viewer,
    Path((kind, form)): Path<(String, String)>,
    Query(which): Query<Which>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    let form: Form = form.parse().map_err(|_| Problem::NotHere)?;
    let wish = which.wish(&kind)?;
    let made = app.node(move |node| {
        let today = looking(node, &viewer)?.today;
        papers::make(node, &wish, &[form], today).map_err(|error| match error {
            NodeError::BadInput(reasons) => Problem::Refused(reasons.join("; ")),
            other => Problem::Refused(other.to_string()),
        })
    });
    let (name, bytes) = made.await??.pop().ok_or(Problem::Broken)?;
    // A job's code is in it, and not every letter may stand in a header.
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '.' | '_');
    let name = name.to_string_lossy().replace(|letter: char| !is_plain(letter), "-");
    Ok(download(form.media_type(), &name, bytes))
}

/// What a request looks at.
pub(crate) fn looking<'a>(node: &'a daemon::Node, viewer: &'a Viewer) -> Result<Look<'a>, Problem> {
    Look::now(node, viewer, &Asked::default())
}

/// A file that a browser keeps and does not show.
pub(crate) fn download(media_type: &str, name: &str, bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, media_type.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::CACHE_CONTROL, "no-store".to_owned()),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox".to_owned()),
    ];
    (headers, bytes).into_response()
}
