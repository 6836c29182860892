//! The page's sockets: a bounded number of connections, each with little patience for who says nothing.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio_rustls::TlsAcceptor;

/// Most connections at once.
const MOST_CONNECTIONS: usize = 512;
/// How long a browser may take to greet, to send the head of a request, or to say nothing between two.
const PATIENCE: Duration = Duration::from_secs(30);
/// Largest head of a request in bytes.
const MAX_HEAD: usize = 32 * 1024;

/// Answers browsers until the task is dropped.
pub(crate) async fn listen(listener: TcpListener, tls: Option<TlsAcceptor>, router: Router) {
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    loop {
        let Ok(place) = Arc::clone(&room).acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, peer)) => {
                let (tls, router) = (tls.clone(), router.clone());
                tokio::spawn(async move {
                    if let Err(error) = greet(stream, peer, tls, router).await {
                        tracing::debug!(%peer, %error, "a browser went away");
                    }
                    drop(place);
                });
            }
            Err(error) => {
                tracing::warn!(%error, "no browser could be let in");
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        }
    }
}

type Fault = Box<dyn std::error::Error + Send + Sync>;

async fn greet(
    stream: TcpStream,
    peer: SocketAddr,
    tls: Option<TlsAcceptor>,
    router: Router,
) -> Result<(), Fault> {
    stream.set_nodelay(true)?;
    match tls {
        None => answer(stream, peer, router).await,
        Some(tls) => {
            let stream = tokio::time::timeout(PATIENCE, tls.accept(stream)).await??;
            answer(stream, peer, router).await
        }
    }
}

async fn answer(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    peer: SocketAddr,
    router: Router,
) -> Result<(), Fault> {
    let router = TowerToHyperService::new(router);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo(peer));
        router.call(request)
    });
    hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(PATIENCE)
        .max_header_size(MAX_HEAD)
        .serve_connection(TokioIo::new(stream), service)
        .await?;
    Ok(())
}
