//! The screens. Each reads what it shows from the node in one go and is then only text.

use askama::Template;
use axum::Router;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;

use crate::app::{App, Notice};
use crate::frame::Frame;
use crate::lists_in::Waiting;
use crate::look::{Asked, Look};
use crate::problem::{Problem, page};
use crate::viewer::Viewer;

mod applications;
mod books;
mod careful;
mod counting;
mod crew;
mod doing;
mod gap;
mod job;
mod left;
mod lists;
mod log;
mod morning;
mod now;
mod paper;
mod quote;
pub(crate) mod rooms;
mod said;
mod stages;
mod survey;
mod terms;
#[cfg(test)]
mod tests;
mod today;
#[cfg(test)]
pub(crate) mod trial;
mod unsorted;
mod week;

/// Most entries that one tick says to have been seen: what one event can hold with room to spare.
const MOST_TICKED: usize = 200;

/// The screens' routes.
pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/", get(now_screen))
        .route("/stages", get(stages_screen))
        .route("/behind", get(behind_screen))
        .route("/doing", get(doing_screen))
        .route("/why", get(why_screen))
        .route("/week", get(week_screen))
        .route("/bill", get(bill_screen))
        .route("/paper", get(paper_screen))
        .route("/books", get(books_screen))
        .route("/crew", get(crew_screen))
        .route("/job", get(job_screen))
        .route("/rooms", get(rooms_screen))
        .route("/entries", get(entries_screen))
        .merge(said::routes())
}

/// A screen that stands in a frame.
trait Screen: Template + Send + 'static {
    fn frame(&mut self) -> &mut Frame;
}

macro_rules! screens {
    ($($screen:ty),* $(,)?) => { $(
        impl Screen for $screen {
            fn frame(&mut self) -> &mut Frame {
                &mut self.frame
            }
        }
    )* };
}

screens!(
    now::Now,
    stages::Stages,
    stages::Behind,
    doing::Doing,
    doing::Why,
    week::Week,
    paper::Paper,
    books::Books,
    crew::Crew,
    job::Job,
    lists::ListsIn,
    job::Entries,
    rooms::Rooms,
    said::Said,
);

/// Looks at the node once, and writes the screen out with what the last form led to.
async fn show<S: Screen>(
    app: &App,
    viewer: Viewer,
    asked: Asked,
    fill: impl FnOnce(&Look<'_>, &Asked) -> Result<S, Problem> + Send + 'static,
) -> Result<Response, Problem> {
    // What is told once must not be told to nobody.
    let Notice { text, refused } =
        if viewer.is_unseen { Notice::default() } else { app.take_notice(&viewer) };
    let cookie = viewer.cookie.clone();
    let rest = asked.rest();
    let filled = app.node(move |node| {
        let look = Look::now(node, &viewer, &asked)?;
        fill(&look, &asked)
    });
    let mut screen = filled.await??;
    let frame = screen.frame();
    (frame.notice, frame.fields, frame.asked) = (text, refused, rest);
    Ok(([(header::SET_COOKIE, cookie)], page(StatusCode::OK, &screen)).into_response())
}

/// *Lists from files*, with what became of those that were sent.
pub(crate) async fn show_lists(
    app: &App,
    viewer: Viewer,
    asked: Asked,
    waiting: Waiting,
) -> Result<Response, Problem> {
    show(app, viewer, asked, move |look, _| Ok(lists::lists(look, &waiting))).await
}

async fn now_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look, _| Ok(now::now(look))).await
}

async fn stages_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look, asked| Ok(stages::stages(look, asked))).await
}

async fn behind_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look, _| Ok(stages::behind(look))).await
}

async fn doing_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_lead()?;
    show(&app, viewer, asked, |look, _| Ok(doing::doing(look))).await
}

async fn why_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_lead()?;
    show(&app, viewer, asked, |look, asked| Ok(doing::why(look, &asked.stage, &asked.what))).await
}

async fn week_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    show(&app, viewer, asked, |look, asked| Ok(week::week(look, asked.on.parse().unwrap_or(look.today))))
        .await
}

async fn bill_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    show(&app, viewer, asked, |look, asked| paper::preview(look, &asked.what).ok_or(Problem::NotHere)).await
}

async fn paper_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    show(&app, viewer, asked, |look, asked| paper::paper(look, &asked.what).ok_or(Problem::NotHere)).await
}

async fn books_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_see_money()?;
    show(&app, viewer, asked, |look, _| Ok(books::books(look))).await
}

async fn crew_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    viewer.must_be_owner()?;
    show(&app, viewer, asked, |look, _| Ok(crew::crew(look))).await
}

async fn job_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look, _| Ok(job::job(look))).await
}

async fn rooms_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look, asked| Ok(rooms::rooms(look, asked))).await
}

async fn entries_screen(
    State(app): State<App>,
    viewer: Viewer,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    show(&app, viewer, asked, |look, asked| Ok(job::entries(look, asked))).await
}
