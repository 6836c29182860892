//! Whether the node is well, for programs that watch: `/health`, and `/metrics` in the text format of OpenMetrics 1.0.
//!
//! It is served on this machine alone, at an address of its own, and only if that is asked for.

use std::fmt::Write as _;
use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use axum::routing::get;
use daemon::measures::{self, Measures};
use daemon::{Holding, NodeError};
use tokio::net::TcpListener;

use crate::listen::listen;

/// What OpenMetrics 1.0 calls its text format.
const TEXT: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Answers at an address of this machine until the runtime ends.
///
/// # Errors
/// An address that others reach, or that can't be listened on.
pub async fn serve_metrics(
    holding: Arc<Holding>,
    address: SocketAddr,
    say: impl Fn(String),
) -> Result<(), NodeError> {
    if !address.ip().is_loopback() {
        let what =
            format!("--metrics {address} could be read from elsewhere; give an address like 127.0.0.1:5185");
        return Err(NodeError::BadInput(vec![what]));
    }
    let lost = |error: std::io::Error| {
        NodeError::Network(format!("--metrics can't listen on {address}: {error}. Give another port"))
    };
    let listener = TcpListener::bind(address).await.map_err(lost)?;
    say(format!("Metrics are at http://{}/metrics", listener.local_addr().map_err(lost)?));
    let routes = Router::new().route("/health", get(health)).route("/metrics", get(metrics));
    tokio::spawn(listen(listener, None, routes.with_state(holding)));
    Ok(())
}

async fn health(State(holding): State<Arc<Holding>>) -> impl IntoResponse {
    match tokio::task::block_in_place(|| measures::stopped(&holding)) {
        None => (StatusCode::OK, "well\n".to_owned()),
        Some(why) => {
            (StatusCode::SERVICE_UNAVAILABLE, format!("nothing is saved until the next start: {why}\n"))
        }
    }
}

async fn metrics(State(holding): State<Arc<Holding>>) -> impl IntoResponse {
    let text = written(&tokio::task::block_in_place(|| Measures::of(&holding)));
    ([(header::CONTENT_TYPE, TEXT)], text)
}

/// The figures, each with its type, its unit where it has one, and what it means.
fn written(measures: &Measures) -> String {
    let mut text = String::new();
    let mut gauge = |name: &str, unit: Option<&str>, help: &str, value: String| {
        let _ = writeln!(text, "# TYPE fivebar_{name} gauge");
        if let Some(unit) = unit {
            let _ = writeln!(text, "# UNIT fivebar_{name} {unit}");
        }
        let _ = writeln!(text, "# HELP fivebar_{name} {help}\nfivebar_{name} {value}");
    };
    gauge("events", None, "Events held, of all devices.", measures.events.to_string());
    gauge("chains", None, "Chains held.", measures.chains.to_string());
    gauge("devices", None, "Devices of the crew, this one among them.", measures.devices.to_string());
    gauge("devices_connected", None, "Devices that are connected now.", measures.connected.to_string());
    let bytes = Some("bytes");
    gauge("journal_bytes", bytes, "Bytes of the journal's files.", measures.journal_bytes.to_string());
    if let Some(free) = measures.free_bytes {
        gauge("disk_free_bytes", bytes, "Bytes free on the disk of the data folder.", free.to_string());
    }
    let to_come = "Photos of which more is kept here than has come yet.";
    gauge("photos_to_come", None, to_come, measures.photos_to_come.to_string());
    // An age that is written down is wrong by when it is read, so what is told is when it began.
    let moments = [
        ("last_met_timestamp_seconds", "When another device was met last, since 1970.", measures.last_met_ms),
        (
            "checkpoint_timestamp_seconds",
            "When the last checkpoint was written, since 1970.",
            measures.checkpoint_ms,
        ),
    ];
    for (name, help, moment_ms) in moments {
        let Some(ms) = moment_ms else { continue };
        let seconds = format!("{}.{:03}", ms.div_euclid(1_000), ms.rem_euclid(1_000));
        gauge(name, Some("seconds"), help, seconds);
    }
    gauge("questions", None, "Questions that wait for somebody.", measures.questions.to_string());
    let stopped = u8::from(measures.stopped.is_some());
    gauge("writer_stopped", None, "1 once nothing is saved until the next start.", stopped.to_string());
    text.push_str("# EOF\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_as_the_format_wants_them() {
        let measures = Measures {
            events: 160,
            chains: 2,
            devices: 3,
            connected: 1,
            last_met_ms: Some(1_764_000_000_007),
            journal_bytes: 1_048_576,
            free_bytes: Some(2_097_152),
            checkpoint_ms: Some(1_764_000_001_250),
            photos_to_come: 5,
            questions: 4,
            stopped: None,
        };
        let text = written(&measures);
        assert!(text.starts_with("# TYPE fivebar_events gauge\n"));
        assert!(text.contains("\nfivebar_last_met_timestamp_seconds 1764000000.007\n"));
        assert!(text.contains("\n# UNIT fivebar_journal_bytes bytes\n"));
        assert!(text.contains("\n# UNIT fivebar_disk_free_bytes bytes\n"));
        assert!(text.contains("\nfivebar_disk_free_bytes 2097152\n"));
        assert!(text.contains("\nfivebar_checkpoint_timestamp_seconds 1764000001.250\n"));
        assert!(text.contains("\nfivebar_photos_to_come 5\n"));
        assert!(text.contains("\nfivebar_writer_stopped 0\n") && text.ends_with("\n# EOF\n"));
        let stopped = Some("the disk fails".to_owned());
        let unknown =
            Measures { stopped, last_met_ms: None, free_bytes: None, checkpoint_ms: None, ..measures };
        let text = written(&unknown);
        assert!(text.contains("\nfivebar_writer_stopped 1\n"));
        for name in ["last_met", "disk_free", "checkpoint"] {
            assert!(!text.contains(name), "{name} is not known, which is not nought");
        }
    }
}
