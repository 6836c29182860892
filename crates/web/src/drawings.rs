//! Drawings of a room that is kept: a wall's or ceiling's studs and boards, for the screen and for paper.

use axum::Router;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use serde::Deserialize;

use crate::app::App;
use crate::look::{Asked, Look};
use crate::problem::Problem;
use crate::screens::rooms;
use crate::viewer::Viewer;

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/rooms/drawing", get(drawing))
}

/// Which face of the room.
#[derive(Debug, Deserialize)]
struct Face {
    face: usize,
}

async fn drawing(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
    Query(Face { face }): Query<Face>,
) -> Result<Response, Problem> {
    let found = app.node(move |node| {
        let look = Look::now(node, &viewer, &asked)?;
        let room = rooms::kept(&look, &asked.what).ok_or(Problem::NotHere)?;
        let answer = rooms::worked_out(&look, &room.text).map_err(|_| Problem::NotHere)?;
        answer["drawings"][face]["svg"].as_str().map(str::to_owned).ok_or(Problem::NotHere)
    });
    let drawn = found.await??;
    let headers = [
        (header::CONTENT_TYPE, "image/svg+xml"),
        (header::CACHE_CONTROL, "no-store"),
        // Its own style stands in it, and nothing else may.
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; style-src 'unsafe-inline'; sandbox"),
    ];
    Ok((headers, drawn).into_response())
}
