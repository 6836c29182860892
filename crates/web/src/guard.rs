//! What stands before every route: who is asked for, who asks, and what a browser may do with the answer.
//!
//! Nothing follows from where a request comes from but how often it may try. A request for a name that
//! is not this page's is turned away, so that another site's name can't be pointed here; one that changes
//! anything must come from this page, by what the browser itself says.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::problem::Problem;
use crate::settings::{Scheme, Settings};

/// Scripts, styles and pictures of this page only; no frames around it and no forms to elsewhere.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
     img-src 'self' blob: data:; connect-src 'self'; manifest-src 'self'; worker-src 'self'; \
     form-action 'self'; frame-ancestors 'none'; base-uri 'none'";
/// The camera is for photos of the job; nothing else is asked of a phone.
const PERMISSIONS: &str = "camera=(self), microphone=(), geolocation=(), payment=(), usb=()";

/// A browser forgets a cookie after 400 days at the latest, so each screen gives it anew.
const COOKIE_SECONDS: u32 = 400 * 24 * 3_600;

/// How long a request may take, from its head to the answer's.
const PATIENCE: Duration = Duration::from_secs(60);
/// The same for a part of a photo, which comes over a bad line.
const UPLOAD_PATIENCE: Duration = Duration::from_secs(180);

/// How a request came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Arrival {
    /// Scheme, host and port that the browser shows.
    pub(crate) origin: String,
    /// Whether the browser speaks HTTPS.
    pub(crate) scheme: Scheme,
    /// The browser's address, as far as it can be believed.
    pub(crate) from: IpAddr,
}

impl Arrival {
    /// Reads where a request was meant to go and where it is from.
    fn read(settings: &Settings, peer: IpAddr, headers: &HeaderMap) -> Option<Self> {
        let host = headers.get(header::HOST)?.to_str().ok()?.to_ascii_lowercase();
        // What a stranger says was forwarded is not even read.
        if settings.proxies.contains(&peer) && settings.public_host.as_ref() == Some(&host) {
            let from = last_forwarded(headers).unwrap_or(peer);
            let origin = format!("https://{host}");
            return Some(Self { origin, scheme: Scheme::Https, from });
        }
        if !settings.hosts.contains(&host) {
            return None;
        }
        let origin = format!("{}://{host}", settings.scheme.word());
        Some(Self { origin, scheme: settings.scheme, from: peer })
    }

    /// The name of the session's cookie. The port is in it, since a browser sends a cookie to every port of
    /// a host; the prefix keeps other hosts and plain HTTP from setting it.
    pub(crate) fn cookie_name(&self) -> String {
        let port = self.origin.rsplit_once(':').map(|(_, port)| port).filter(|port| !port.starts_with('/'));
        let prefix = if self.scheme == Scheme::Https { "__Host-" } else { "" };
        port.map_or_else(|| format!("{prefix}fivebar"), |port| format!("{prefix}fivebar-{port}"))
    }

    /// The header that gives a browser its session, and lets it keep that for longer.
    pub(crate) fn set_cookie(&self, token: &str) -> String {
        let secure = if self.scheme == Scheme::Https { "; Secure" } else { "" };
        let name = self.cookie_name();
        format!("{name}={token}; Path=/; HttpOnly; SameSite=Lax; Max-Age={COOKIE_SECONDS}{secure}")
    }
}

/// The address that the proxy itself saw: the last one, since those before it are what it was told.
fn last_forwarded(headers: &HeaderMap) -> Option<IpAddr> {
    let line = headers.get_all("x-forwarded-for").into_iter().next_back()?.to_str().ok()?;
    line.rsplit(',').next()?.trim().parse().ok()
}

/// Whether a request that changes something was sent by a page of this origin. Every browser of the last
/// years says so itself in one of two headers; a request with neither is turned away.
fn is_from_this_page(headers: &HeaderMap, origin: &str) -> bool {
    let said = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?").to_owned());
    let site = said(HeaderName::from_static("sec-fetch-site"));
    let from = said(header::ORIGIN);
    match (&site, &from) {
        (None, None) => false,
        (site, from) => {
            site.as_deref().is_none_or(|site| site == "same-origin")
                && from.as_deref().is_none_or(|from| from == origin)
        }
    }
}

/// Whether the asker is a script. A browser that loads a screen or sends a form asks for HTML by name.
pub(crate) fn reads_json(headers: &HeaderMap) -> bool {
    let accepts = headers.get(header::ACCEPT).and_then(|accepts| accepts.to_str().ok());
    !accepts.is_some_and(|accepts| accepts.contains("text/html"))
}

/// Stands before every route.
pub(crate) async fn guard(
    State(settings): State<Arc<Settings>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    mut request: Request,
    next: Next,
) -> Response {
    let json = reads_json(request.headers());
    let (is_get, is_safe) = (request.method() == Method::GET, request.method().is_safe());
    let Some(arrival) = Arrival::read(&settings, peer.ip().to_canonical(), request.headers()) else {
        let status = StatusCode::MISDIRECTED_REQUEST;
        return dressed((status, "This page is not served under that name.\n").into_response(), None);
    };
    let response = if !is_safe && !is_from_this_page(request.headers(), &arrival.origin) {
        Problem::Forbidden("that was not sent by this page; go back, load it anew and try again")
            .into_response()
    } else {
        request.extensions_mut().insert(arrival.clone());
        let patience = if request.uri().path().starts_with("/uploads/") { UPLOAD_PATIENCE } else { PATIENCE };
        let answered = tokio::time::timeout(patience, next.run(request)).await;
        answered.unwrap_or_else(|_| StatusCode::REQUEST_TIMEOUT.into_response())
    };
    let response = match response.extensions().get::<Problem>() {
        Some(problem) if json => problem.as_json(),
        Some(problem) => problem.as_page(is_get),
        None => response,
    };
    dressed(response, Some(arrival.scheme))
}

/// Puts the headers on that every answer has.
fn dressed(mut response: Response, scheme: Option<Scheme>) -> Response {
    let headers = response.headers_mut();
    // A file to look at or take away has a policy of its own, which lets it do less than a screen.
    headers
        .entry(header::CONTENT_SECURITY_POLICY)
        .or_insert_with(|| HeaderValue::from_static(CONTENT_POLICY));
    let mut always = vec![
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // Not `no-referrer`, under which a browser hides even from us whence a form was sent.
        (header::REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("permissions-policy"), PERMISSIONS),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ];
    if scheme == Some(Scheme::Https) {
        always.push((header::STRICT_TRANSPORT_SECURITY, "max-age=31536000"));
    }
    for (name, value) in always {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // What is personal stays out of shared and disk caches; the service worker keeps its own copy.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
