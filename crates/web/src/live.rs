//! What arrives while a screen is open: the browser is told that something changed, and asks anew. No
//! content goes this way, so nothing has to be kept from anybody here.

use std::convert::Infallible;
use std::time::Duration;

use axum::Router;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::routing::get;
use futures_util::stream::{self, Stream};
use ledger::SessionId;
use tokio::sync::watch;

use crate::app::App;
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Most open screens of one session that are told.
pub(crate) const MOST_LISTENERS: u32 = 6;
/// The least time between two messages, so that a long replication is told of a few times and not a thousand.
const PAUSE: Duration = Duration::from_millis(300);
/// How often a connection that is quiet is proved alive.
const ALIVE: Duration = Duration::from_secs(25);

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/live", get(live))
}

async fn live(State(app): State<App>, viewer: Viewer) -> Result<impl IntoResponse, Problem> {
    let place = Place::take(&app, viewer.session).ok_or(Problem::TooMany)?;
    let bell = app.holding().bell();
    Ok(Sse::new(tell(place, bell)).keep_alive(KeepAlive::new().interval(ALIVE)))
}

/// One of the few places that a session has.
struct Place {
    app: App,
    session: SessionId,
}

impl Place {
    fn take(app: &App, session: SessionId) -> Option<Self> {
        let taken = app.listeners(|listeners| {
            let count = listeners.entry(session).or_insert(0);
            let is_free = *count < MOST_LISTENERS;
            *count += u32::from(is_free);
            is_free
        });
        taken.then(|| Self { app: app.clone(), session })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.app.listeners(|listeners| {
            if let Some(count) = listeners.get_mut(&self.session) {
                *count -= 1;
                if *count == 0 {
                    listeners.remove(&self.session);
                }
            }
        });
    }
}

/// Rings whenever the ledger grows, until the session is closed; that is told last.
/// A browser passes on no event without data.
fn tell(place: Place, bell: watch::Receiver<u64>) -> impl Stream<Item = Result<Event, Infallible>> {
    stream::unfold(Some((place, bell)), |listening| async {
        let (place, mut bell) = listening?;
        bell.changed().await.ok()?;
        tokio::time::sleep(PAUSE).await;
        bell.borrow_and_update();
        let session = place.session;
        let is_open = place.app.node(move |node| node.page_sessions().any(|kept| kept.session == session));
        if is_open.await.ok()? {
            Some((Ok(Event::default().event("changed").data("ledger")), Some((place, bell))))
        } else {
            Some((Ok(Event::default().event("closed").data("session")), None))
        }
    })
}
