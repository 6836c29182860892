//! The screens. Each reads what it shows from the node in one go and is then only text.

use axum::Router;

use crate::app::App;

pub(crate) mod now;

/// The routes of all screens.
pub(crate) fn routes() -> Router<App> {
    Router::new().merge(now::routes())
}
