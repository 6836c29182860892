//! The page's routes, and what they share.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::HeaderMap;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use daemon::{Holding, Node};
use ledger::SessionId;
use tower_http::compression::CompressionLayer;

use crate::assets::ASSETS;
use crate::guard::guard;
use crate::joining::Tries;
use crate::problem::Problem;
use crate::settings::Settings;
use crate::trust::{self, Trusted};
use crate::viewer::Viewer;
use crate::{drawings, handing_over, joining, lists_in, live, papers, posting, screens, uploads};

/// Largest form in bytes; an event is no larger.
const MAX_FORM: usize = 256 * 1024;

/// What every request can reach.
#[derive(Clone)]
pub struct App {
    holding: Arc<Holding>,
    desk: Arc<Desk>,
    /// The authority that phones must trust where this is served; none if there is no need.
    trusted: Option<Trusted>,
}

/// What the page itself remembers, until it is started anew.
#[derive(Default)]
struct Desk {
    data: PathBuf,
    uploads: Mutex<()>,
    listeners: Mutex<BTreeMap<SessionId, u32>>,
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
    pub fn new(holding: Arc<Holding>) -> Self {
        let data = holding.with(|node| node.folder().to_owned());
        Self { holding, desk: Arc::new(Desk { data, ..Desk::default() }), trusted: None }
    }

    /// The same, served where phones must trust an authority first.
    pub(crate) fn trusting(self, trusted: Trusted) -> Self {
        Self { trusted: Some(trusted), ..self }
    }

    /// The authority that phones must trust here.
    pub(crate) const fn trusted(&self) -> Option<&Trusted> {
        self.trusted.as_ref()
    }

    /// The node's folder, where photos stand.
    pub(crate) fn data(&self) -> &Path {
        &self.desk.data
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

    /// How many screens of each session are open.
    pub(crate) fn listeners<R>(&self, work: impl FnOnce(&mut BTreeMap<SessionId, u32>) -> R) -> R {
        work(&mut self.desk.listeners.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Works on uploads, one at a time.
    pub(crate) fn uploading<R>(&self, work: impl FnOnce() -> R) -> R {
        let _one = self.desk.uploads.lock().unwrap_or_else(PoisonError::into_inner);
        work()
    }

    /// The wrong tries to join.
    pub(crate) fn tries<R>(&self, work: impl FnOnce(&mut Tries) -> R) -> R {
        work(&mut self.desk.tries.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// All routes, as they are served at one address.
pub fn router(app: App, settings: Settings) -> Router {
    let mut router = Router::new();
    for asset in ASSETS {
        router = router.route(asset.path, get(move |asked: HeaderMap| async move { asset.answer(&asked) }));
    }
    router
        .merge(drawings::routes())
        .merge(joining::routes())
        .merge(lists_in::routes())
        .merge(live::routes())
        .merge(handing_over::routes())
        .merge(papers::routes())
        .merge(posting::routes())
        .merge(screens::routes())
        .merge(trust::routes())
        .merge(uploads::routes())
        .fallback(|| async { Problem::NotHere })
        .layer(CompressionLayer::new())
        .layer(DefaultBodyLimit::max(MAX_FORM))
        .layer(from_fn_with_state(Arc::new(settings), guard))
        .with_state(app)
}
