//! The files of the page that are the same for everybody: styles, scripts, icons. They are built
//! into the program, so that nothing is fetched from elsewhere.

use std::borrow::Cow;
use std::sync::LazyLock;

use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const WORKER: &str = "/worker.js";
/// What stands in the worker's text where the digest of all files belongs.
const SHELL_NAME: &str = "shell-development";

/// A file, and what it is.
pub(crate) struct Asset {
    pub(crate) path: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

macro_rules! asset {
    ($name:literal, $kind:expr) => {
        asset!(concat!("/static/", $name), $name, $kind)
    };
    ($path:expr, $name:literal, $kind:expr) => {
        Asset { path: $path, kind: $kind, bytes: include_bytes!(concat!("../static/", $name)) }
    };
}

/// Every file that is served.
pub(crate) const ASSETS: &[Asset] = &[
    // A worker rules the paths below its own, so it stands at the top.
    asset!(WORKER, "worker.js", SCRIPT),
    asset!("/manifest.webmanifest", "manifest.webmanifest", "application/manifest+json"),
    asset!("page.css", STYLE),
    asset!("made.css", STYLE),
    asset!("unsent.html", "text/html; charset=utf-8"),
    asset!("icon.svg", "image/svg+xml"),
    asset!("icon-180.png", "image/png"),
    asset!("icon-192.png", "image/png"),
    asset!("icon-512.png", "image/png"),
    asset!("icon-mask-512.png", "image/png"),
    asset!("announce.js", SCRIPT),
    asset!("dials.js", SCRIPT),
    asset!("export.js", SCRIPT),
    asset!("forms.js", SCRIPT),
    asset!("install.js", SCRIPT),
    asset!("live.js", SCRIPT),
    asset!("make.js", SCRIPT),
    asset!("moment.js", SCRIPT),
    asset!("morph.js", SCRIPT),
    asset!("node.js", SCRIPT),
    asset!("now.js", SCRIPT),
    asset!("offline.js", SCRIPT),
    asset!("page.js", SCRIPT),
    asset!("photos.js", SCRIPT),
    asset!("queue.js", SCRIPT),
    asset!("sending.js", SCRIPT),
    asset!("shelf.js", SCRIPT),
    asset!("waiting.js", SCRIPT),
];

/// Names the state of all files together: the worker's cache is made anew when any of them changes.
static DIGEST: LazyLock<String> = LazyLock::new(|| {
    let mut hasher = blake3::Hasher::new();
    for asset in ASSETS {
        hasher.update(&(asset.bytes.len() as u64).to_le_bytes());
        hasher.update(asset.bytes);
    }
    hasher.finalize().to_hex()[..16].to_owned()
});

impl Asset {
    fn content(&self) -> Cow<'static, [u8]> {
        match std::str::from_utf8(self.bytes) {
            Ok(text) if self.path == WORKER => {
                Cow::Owned(text.replace(SHELL_NAME, &format!("shell-{}", *DIGEST)).into_bytes())
            }
            _ => Cow::Borrowed(self.bytes),
        }
    }

    /// The file, or that the browser's copy is good. A browser asks each time, and is answered in a line.
    pub(crate) fn answer(&self, asked: &HeaderMap) -> Response {
        let tag = format!("\"{}\"", *DIGEST);
        let known = asked.get(header::IF_NONE_MATCH).and_then(|tags| tags.to_str().ok());
        // A proxy that compresses marks a tag as weak.
        let is_known = known.is_some_and(|tags| tags.contains(&tag));
        let headers =
            [(header::CACHE_CONTROL, "no-cache"), (header::ETAG, &tag), (header::CONTENT_TYPE, self.kind)];
        if is_known {
            return (StatusCode::NOT_MODIFIED, headers).into_response();
        }
        (headers, self.content()).into_response()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn the_worker_keeps_every_file_that_a_phone_without_signal_needs() {
        let worker = include_str!("../static/worker.js");
        let list = worker.split_once("SHELL_FILES = [").and_then(|(_, rest)| rest.split_once("];"));
        let kept: BTreeSet<&str> = list.unwrap().0.split('"').filter(|part| part.starts_with('/')).collect();
        let only_to_install = ["/static/icon-180.png", "/static/icon-512.png", "/static/icon-mask-512.png"];
        let needed = ASSETS.iter().map(|asset| asset.path);
        let needed = needed.filter(|path| *path != WORKER && !only_to_install.contains(path));
        assert_eq!(kept, needed.collect());
    }

    #[test]
    fn the_worker_names_its_cache_by_the_digest_of_all_files() {
        let worker = ASSETS.iter().find(|asset| asset.path == WORKER).unwrap();
        let text = String::from_utf8(worker.content().into_owned()).unwrap();
        assert!(text.contains(&format!("shell-{}", *DIGEST)) && !text.contains(SHELL_NAME));
    }

    #[test]
    fn a_known_file_is_not_sent_again() {
        let style = ASSETS.iter().find(|asset| asset.path == "/static/page.css").unwrap();
        let first = style.answer(&HeaderMap::new());
        assert_eq!(first.status(), StatusCode::OK);
        let mut asked = HeaderMap::new();
        asked.insert(header::IF_NONE_MATCH, first.headers()[header::ETAG].clone());
        assert_eq!(style.answer(&asked).status(), StatusCode::NOT_MODIFIED);
    }
}
