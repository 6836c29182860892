//! *Now*: what one is doing, and all that one can log.

use askama::Template;
use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::get;

use crate::app::App;
use crate::frame::{Frame, Tab};
use crate::problem::page;
use crate::viewer::Viewer;

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/", get(show))
}

async fn show(State(app): State<App>, viewer: Viewer) -> Response {
    let notice = app.take_notice(&viewer).text;
    let frame = Frame {
        viewer,
        tab: Tab::Now,
        title: "Now".to_owned(),
        job: String::new(),
        safety: String::new(),
        notice,
    };
    page(StatusCode::OK, &Now { frame })
}

/// The screen.
#[derive(Debug, Template)]
#[template(path = "now.html")]
pub(crate) struct Now {
    pub(crate) frame: Frame,
}
