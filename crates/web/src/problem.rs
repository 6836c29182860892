//! Why a request was not answered as it wished, and how that is told: as a page to a person, as JSON to
//! a script. It never says more than the person may know.

use askama::Template;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde_json::json;

/// Why not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Problem {
    /// The browser has no session.
    NoSession,
    /// The browser's session was closed.
    SessionClosed,
    /// Nobody had used the browser's session for so many days.
    SessionUnused(u16),
    /// The role does not allow it, or the request does not come from this page.
    Forbidden(&'static str),
    /// There is no such thing here.
    NotHere,
    /// Not saved, for this reason.
    Refused(String),
    /// Too many tries.
    TooMany,
    /// What was sent is larger than is taken.
    TooLarge(&'static str),
    /// Something broke; the log says what.
    Broken,
}

impl Problem {
    pub(crate) const fn status(&self) -> StatusCode {
        match self {
            Self::NoSession | Self::SessionClosed | Self::SessionUnused(_) => StatusCode::UNAUTHORIZED,
            Self::Forbidden(_) => StatusCode::FORBIDDEN,
            Self::NotHere => StatusCode::NOT_FOUND,
            Self::Refused(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::TooMany => StatusCode::TOO_MANY_REQUESTS,
            Self::TooLarge(_) => StatusCode::PAYLOAD_TOO_LARGE,
            Self::Broken => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// The reason in a person's words.
    pub(crate) fn words(&self) -> String {
        match self {
            Self::NoSession => "this browser has not joined the page; ask the boss for a link".to_owned(),
            Self::SessionClosed => {
                "this phone was taken off the page; what it has not sent yet can still be saved as a file, \
                 and the boss can give it a new link"
                    .to_owned()
            }
            Self::SessionUnused(days) => format!(
                "this phone was not used for {days} days, so it must join anew; what it has not sent yet stays on \
                 it, and the boss can give it a new link"
            ),
            Self::Forbidden(why) => (*why).to_owned(),
            Self::NotHere => "there is nothing at this address".to_owned(),
            Self::Refused(why) => why.clone(),
            Self::TooMany => "too many wrong tries from here; wait a quarter of an hour".to_owned(),
            Self::TooLarge(limit) => format!("that is larger than is taken here: {limit}"),
            Self::Broken => "something went wrong here; nothing unfinished was saved. Try again".to_owned(),
        }
    }

    /// As a script reads it.
    pub(crate) fn as_json(&self) -> Response {
        let closed = matches!(self, Self::SessionClosed | Self::SessionUnused(_));
        let answer = json!({ "refused": self.words(), "closed": closed });
        (self.status(), axum::Json(answer)).into_response()
    }

    /// As a person reads it. Without a session there is only one page to see.
    pub(crate) fn as_page(&self, is_get: bool) -> Response {
        let door = match self {
            Self::NoSession => Some("/join"),
            Self::SessionClosed => Some("/join?closed"),
            Self::SessionUnused(_) => Some("/join?unused"),
            _ => None,
        };
        if let Some(door) = door.filter(|_| is_get) {
            return Redirect::to(door).into_response();
        }
        let title = match self {
            Self::Refused(_) => "Not saved",
            Self::Forbidden(_) => "Not for this phone",
            Self::NotHere => "Nothing here",
            Self::NoSession | Self::SessionClosed | Self::SessionUnused(_) => "Not joined",
            Self::TooMany => "Too many tries",
            Self::TooLarge(_) => "Too large",
            Self::Broken => "Something went wrong",
        };
        page(self.status(), &Notice { title, words: &self.words() })
    }
}

#[derive(Template)]
#[template(path = "door/notice.html")]
struct Notice<'a> {
    title: &'a str,
    words: &'a str,
}

/// A template as an answer.
pub(crate) fn page(status: StatusCode, template: &impl Template) -> Response {
    match template.render() {
        Ok(text) => (status, Html(text)).into_response(),
        Err(error) => {
            tracing::error!(%error, "a page could not be written out");
            (StatusCode::INTERNAL_SERVER_ERROR, [(header::CONTENT_TYPE, "text/plain; charset=utf-8")])
                .into_response()
        }
    }
}

/// A problem travels with its answer, and the guard at the door writes it out as the asker reads it.
impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut response = self.status().into_response();
        response.extensions_mut().insert(self);
        response
    }
}
