//! The page's routes, and what they share.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use axum::Router;
use axum::http::HeaderMap;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use daemon::{Holding, Node};
use ledger::SessionId;

use crate::assets::ASSETS;
use crate::guard::guard;
use crate::joining::Tries;
use crate::problem::Problem;
use crate::settings::Settings;
use crate::viewer::Viewer;
use crate::{joining, posting, screens};

/// What every request can reach.
#[derive(Clone)]
pub struct App {
    holding: Arc<Holding>,
    desk: Arc<Desk>,
}

/// What the page itself remembers, until it is started anew.
struct Desk {
    settings: Settings,
    notices: Mutex<BTreeMap<SessionId, Notice>>,
    tries: Mutex<Tries>,
}

/// What the last form of a session led to; the next screen shows it once.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Notice {
    /// In a sentence; empty for nothing.
    pub(crate) text: String,
    /// The fields of a form that was refused, so that it can be mended and sent again; else empty.
    pub(crate) refused: BTreeMap<String, String>,
}

impl App {
    /// The page of a node.
    #[must_use]
    pub fn new(holding: Arc<Holding>, settings: Settings) -> Self {
        let desk = Desk { settings, notices: Mutex::default(), tries: Mutex::default() };
        Self { holding, desk: Arc::new(desk) }
    }

    /// How the page is served.
    pub(crate) fn settings(&self) -> &Settings {
        &self.desk.settings
    }

    /// The node, for who only wants to hear its bell.
    pub(crate) fn holding(&self) -> &Holding {
        &self.holding
    }

    /// Uses the node on a thread that may wait for it, and for the disk.
    ///
    /// # Errors
    /// [`Problem::Broken`] if the work stopped half-way.
    pub(crate) async fn node<R: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Node) -> R + Send + 'static,
    ) -> Result<R, Problem> {
        let holding = Arc::clone(&self.holding);
        let done = tokio::task::spawn_blocking(move || holding.with(work)).await;
        done.map_err(|error| {
            tracing::error!(%error, "a request stopped half-way");
            Problem::Broken
        })
    }

    /// What the last form of this session led to. It is told once.
    pub(crate) fn take_notice(&self, viewer: &Viewer) -> Notice {
        let mut notices = self.desk.notices.lock().unwrap_or_else(PoisonError::into_inner);
        notices.remove(&viewer.session).unwrap_or_default()
    }

    /// Keeps a notice for the next screen of a session.
    pub(crate) fn leave_notice(&self, viewer: &Viewer, notice: Notice) {
        let mut notices = self.desk.notices.lock().unwrap_or_else(PoisonError::into_inner);
        notices.insert(viewer.session, notice);
    }

    /// The wrong tries to join.
    pub(crate) fn tries<R>(&self, work: impl FnOnce(&mut Tries) -> R) -> R {
        work(&mut self.desk.tries.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// All routes.
#[must_use]
pub fn router(app: App) -> Router {
    let mut router = Router::new();
    for asset in ASSETS {
        router = router.route(asset.path, get(move |asked: HeaderMap| async move { asset.answer(&asked) }));
    }
    router
        .merge(joining::routes())
        .merge(posting::routes())
        .merge(crate::screens::routes())
        .merge(screens::routes())
        .fallback(|| async { Problem::NotHere })
        .layer(from_fn_with_state(app.clone(), guard))
        .with_state(app)
}
