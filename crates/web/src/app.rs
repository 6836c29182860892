//! The page's routes, and what they share.

use std::sync::Arc;

use axum::Router;
use axum::routing::get;
use daemon::Holding;

use crate::assets::ASSETS;

/// What every request can reach.
#[derive(Clone)]
pub struct App {
    /// The node.
    pub(crate) holding: Arc<Holding>,
}

impl App {
    /// The page of a node.
    #[must_use]
    pub const fn new(holding: Arc<Holding>) -> Self {
        Self { holding }
    }
}

/// All routes.
#[must_use]
pub fn router(app: App) -> Router {
    let mut router = Router::new();
    for asset in ASSETS {
        router = router.route(asset.path, get(move || async move { asset }));
    }
    router.with_state(app)
}
