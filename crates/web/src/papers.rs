//! Papers to take away. Issued ones (PDF, e-invoices, a table, text) only who sees money gets, and what is handed out
//! is what was frozen when it was issued. The handover of a job is for the boss and the foreman.

use std::io::Cursor;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use daemon::handing_over;
use daemon::node::now_ms;
use documents::Form;
use projections::billing;

use crate::app::App;
use crate::look::{Asked, Look};
use crate::problem::Problem;
use crate::viewer::Viewer;

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/papers/{number}/{form}", get(paper)).route("/handover/{job}", get(handover))
}

/// Most bytes of photos that go with a handover by the page, which makes it in memory.
const MOST_PHOTOS: u64 = 200 * 1024 * 1024;

async fn paper(
    State(app): State<App>,
    viewer: Viewer,
    Path((number, form)): Path<(String, String)>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    let form: Form = form.parse().map_err(|_| Problem::NotHere)?;
    let found = app.node(move |node| {
        let look = Look::new(node, &viewer, &Asked::default(), now_ms()).map_err(|error| {
            tracing::error!(%error, "the clock");
            Problem::Broken
        })?;
        let works = billing::job_works(look.book, &look.lists);
        let mut papers = works.into_iter().flat_map(|work| work.papers);
        let paper = papers.find(|paper| billing::printed_number(&paper.document) == number);
        // A voided number bills nothing, so nobody should be handed a demand for it.
        paper.filter(|paper| !paper.voided).map(|paper| paper.document).ok_or(Problem::NotHere)
    });
    let document = found.await??;
    let name = documents::file_name(&document, form);
    let made = tokio::task::spawn_blocking(move || documents::paper(&document, form)).await;
    let bytes = made.map_err(|_| Problem::Broken)?.map_err(|error| {
        tracing::error!(%error, "a paper could not be made");
        Problem::Broken
    })?;
    Ok(to_take_away(form.media_type(), &name, bytes))
}

async fn handover(
    State(app): State<App>,
    viewer: Viewer,
    Path(code): Path<String>,
) -> Result<Response, Problem> {
    viewer.must_lead()?;
    let made = app.node(move |node| {
        let look = Look::new(node, &viewer, &Asked::default(), now_ms()).map_err(|error| {
            tracing::error!(%error, "the clock");
            Problem::Broken
        })?;
        if !look.lists.jobs.values().any(|job| job.code == code) {
            return Err(Problem::NotHere);
        }
        let today = look.today;
        handing_over::make(node, viewer.person, &code, today)
            .map_err(|error| Problem::Refused(error.to_string()))
    });
    let made = made.await??;
    if made.photo_bytes() > MOST_PHOTOS {
        return Err(Problem::TooLarge(
            "more than 200 MB of photos; `fivebar handover` on the laptop takes any number",
        ));
    }
    let name = format!("{}.zip", made.name);
    let zip = tokio::task::spawn_blocking(move || made.zip_into(Cursor::new(Vec::new()))).await;
    let zip = zip.map_err(|_| Problem::Broken)?.map_err(|error| {
        tracing::error!(%error, "a handover could not be made");
        Problem::Broken
    })?;
    Ok(to_take_away("application/zip", &name, zip.into_inner()))
}

/// A file that a browser keeps and does not show.
fn to_take_away(media_type: &str, name: &str, bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, media_type.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::CACHE_CONTROL, "no-store".to_owned()),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox".to_owned()),
    ];
    (headers, bytes).into_response()
}
