//! The handover of a job to take away, for the boss and the foreman. What goes with it is not decided here.

use std::io::Cursor;

use axum::Router;
use axum::extract::{Path, State};
use axum::response::Response;
use axum::routing::get;
use daemon::handing_over;

use crate::app::App;
use crate::papers::{download, looking};
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Most bytes of photos that go with a handover by the page, which makes it in memory.
const MOST_PHOTOS: u64 = 200 * 1024 * 1024;

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/handover/{job}", get(handover))
}

async fn handover(
    State(app): State<App>,
    viewer: Viewer,
    Path(code): Path<String>,
) -> Result<Response, Problem> {
    viewer.must_lead()?;
    let made = app.node(move |node| {
        let look = looking(node, &viewer)?;
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
    Ok(download("application/zip", &name, zip.into_inner()))
}
