//! Issued papers to take away: PDF, e-invoices, a table, text. Only who sees money gets one, and what is handed
//! out is what was frozen when it was issued.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use daemon::node::now_ms;
use documents::Form;
use projections::billing;

use crate::app::App;
use crate::look::{Asked, Look};
use crate::problem::Problem;
use crate::viewer::Viewer;

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/papers/{number}/{form}", get(paper))
}

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
    let headers = [
        (header::CONTENT_TYPE, form.media_type().to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::CACHE_CONTROL, "no-store".to_owned()),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox".to_owned()),
    ];
    Ok((headers, bytes).into_response())
}
