//! The handover of a job to take away, for the boss and the foreman. What goes with it is not decided here.

use std::io::Cursor;

use axum::Router;
use axum::extract::{Path, State};
use axum::response::Response;
use axum::routing::get;
use daemon::{NodeError, handing_over};

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
    let begun = app.node(move |node| {
        let look = looking(node, &viewer)?;
        if !look.lists.jobs.values().any(|job| job.code == code) {
            return Err(Problem::NotHere);
        }
        let today = look.today;
        handing_over::begin(node, viewer.person, &code, today).map_err(refused)
    });
    let begun = begun.await??;
    // Photos take their time; others use the node meanwhile.
    let made = tokio::task::spawn_blocking(move || zip(begun)).await.map_err(|_| Problem::Broken)?;
    let (name, zip) = made?;
    Ok(download("application/zip", &name, zip))
}

/// Makes the zip, with what it is called.
fn zip(begun: handing_over::Begun) -> Result<(String, Vec<u8>), Problem> {
    let made = begun.make().map_err(refused)?;
    if made.photo_bytes() > MOST_PHOTOS {
        return Err(Problem::TooLarge(
            "more than 200 MB of photos; `fivebar handover` on the laptop takes any number",
        ));
    }
    let zip = made.zip_into(Cursor::new(Vec::new())).map_err(|error| {
        tracing::error!(%error, "a handover could not be made");
        Problem::Broken
    })?;
    Ok((format!("{}.zip", made.name), zip.into_inner()))
}

fn refused(error: NodeError) -> Problem {
    Problem::Refused(error.to_string())
}
