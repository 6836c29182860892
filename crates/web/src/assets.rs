//! The files of the page that are the same for everybody: styles, scripts, icons. They are built
//! into the program, so that nothing is fetched from elsewhere.

use axum::http::header;
use axum::response::{IntoResponse, Response};

/// A file, and what it is.
pub(crate) struct Asset {
    pub(crate) path: &'static str,
    pub(crate) kind: &'static str,
    pub(crate) text: &'static str,
}

/// Every file that is served.
pub(crate) const ASSETS: &[Asset] = &[Asset {
    path: "/static/page.css",
    kind: "text/css; charset=utf-8",
    text: include_str!("../static/page.css"),
}];

impl IntoResponse for &'static Asset {
    fn into_response(self) -> Response {
        ([(header::CONTENT_TYPE, self.kind)], self.text).into_response()
    }
}
