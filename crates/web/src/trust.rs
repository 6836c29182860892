//! How a phone is told to trust the crew's own certificate authority: what it is, the fingerprint to
//! compare, and the certificate itself. Everybody may read it; it holds no secret.

use std::sync::Arc;

use askama::Template;
use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use crate::app::App;
use crate::problem::{Problem, page};
use crate::tls::Authority;

/// The authority's certificate, as it is given out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Trusted {
    certificate: Arc<[u8]>,
    /// SHA-256, in pairs of hex digits.
    pub(crate) fingerprint: String,
    name: String,
    local_name: String,
}

impl Trusted {
    pub(crate) fn of(authority: &Authority) -> Self {
        Self {
            certificate: authority.certificate().into(),
            fingerprint: authority.fingerprint(),
            name: authority.name().to_owned(),
            local_name: authority.local_name().to_owned(),
        }
    }
}

pub(crate) fn routes() -> Router<App> {
    Router::new().route("/trust", get(explain)).route("/trust/authority.crt", get(certificate))
}

#[derive(Template)]
#[template(path = "door/trust.html")]
struct Explanation<'a> {
    trusted: &'a Trusted,
}

async fn explain(State(app): State<App>) -> Result<Response, Problem> {
    let trusted = app.trusted().ok_or(Problem::NotHere)?;
    Ok(page(StatusCode::OK, &Explanation { trusted }))
}

async fn certificate(State(app): State<App>) -> Result<Response, Problem> {
    let trusted = app.trusted().ok_or(Problem::NotHere)?;
    let headers = [
        (header::CONTENT_TYPE, "application/x-x509-ca-cert"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"fivebar-authority.crt\""),
    ];
    Ok((headers, trusted.certificate.to_vec()).into_response())
}
