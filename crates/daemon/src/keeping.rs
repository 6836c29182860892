//! Checkpoints while the daemon runs, so that a start after a power cut is as fast as one after a stop.

use std::sync::Arc;

use net::Holder as _;

use crate::holding::Holding;

/// Writes a checkpoint whenever enough is new, for as long as the node is held. Whoever appends waits while
/// its bytes are put together, a few milliseconds for a million events, and not while they are written.
pub(crate) async fn keep_checkpoints(holding: Arc<Holding>) {
    let mut changes = holding.changes();
    while changes.changed().await.is_ok() {
        let holding = Arc::clone(&holding);
        let writing = tokio::task::spawn_blocking(move || {
            if let Some(checkpoint) = holding.with(|node| node.due_checkpoint()) {
                checkpoint.write_or_warn();
            }
        });
        if let Err(error) = writing.await {
            tracing::warn!(%error, "the task that writes checkpoints ended");
            return;
        }
    }
}
