//! The files of the page that are the same for everybody: styles, scripts, icons. They are built
//! into the program, so that nothing is fetched from elsewhere.

use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// A file, and what it is.
pub(crate) struct Asset {
    pub(crate) path: &'static str,
    pub(crate) kind: &'static str,
    pub(crate) bytes: &'static [u8],
}

/// Every file that is served.
pub(crate) const ASSETS: &[Asset] = &[Asset {
    path: "/static/page.css",
    kind: "text/css; charset=utf-8",
    bytes: include_bytes!("../static/page.css"),
}];

impl Asset {
    /// The file, or that the browser has it. It is asked for each time, and only sent when it is another.
    pub(crate) fn answer(&self, headers: &HeaderMap) -> Response {
        let tag = format!("\"{}\"", &blake3::hash(self.bytes).to_hex()[..16]);
        let kept = headers.get(header::IF_NONE_MATCH).and_then(|kept| kept.to_str().ok());
        let is_kept = kept.is_some_and(|kept| kept.split(',').any(|one| one.trim().ends_with(&tag)));
        let always = [(header::ETAG, tag), (header::CACHE_CONTROL, "no-cache".to_owned())];
        if is_kept {
            return (StatusCode::NOT_MODIFIED, always).into_response();
        }
        (always, [(header::CONTENT_TYPE, self.kind)], self.bytes).into_response()
    }
}
