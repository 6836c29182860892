//! The screens. Each reads what it shows from the node in one go and is then only text.

use askama::Template;
use axum::Router;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::get;
use trade::TimeError;

use crate::app::{App, Notice};
use crate::frame::Frame;
use crate::look::{Asked, Look};
use crate::problem::{Problem, page};
use crate::viewer::Viewer;

mod left;
mod log;
mod morning;
mod now;
mod today;

/// Most entries that one tick says to have been seen: what one event can hold with room to spare.
const MOST_TICKED: usize = 200;

/// The screens' routes.
pub(crate) fn routes() -> Router<App> {
    Router::new().route("/", get(now_screen))
}

/// A screen that stands in a frame.
trait Screen: Template + Send + 'static {
    fn frame(&mut self) -> &mut Frame;
}

impl Screen for now::Now {
    fn frame(&mut self) -> &mut Frame {
        &mut self.frame
    }
}

/// What the wall clock shows, in milliseconds since 1970.
fn now_ms() -> i64 {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    since.ok().and_then(|since| i64::try_from(since.as_millis()).ok()).unwrap_or(0)
}

/// Looks at the node once, and writes the screen out with what the last form led to.
async fn show<S: Screen>(
    app: &App,
    viewer: Viewer,
    asked: Asked,
    fill: impl FnOnce(&Look<'_>) -> Result<S, Problem> + Send + 'static,
) -> Result<Response, Problem> {
    let Notice { text, refused } = app.take_notice(&viewer);
    let filled = app.node(move |node| {
        let look = Look::new(node, &viewer, &asked, now_ms()).map_err(|error: TimeError| {
            tracing::error!(%error, "the clock");
            Problem::Broken
        })?;
        fill(&look)
    });
    let mut screen = filled.await??;
    let frame = screen.frame();
    (frame.notice, frame.fields) = (text, refused);
    Ok(page(StatusCode::OK, &screen))
}

async fn now_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look| Ok(now::now(look))).await
}
