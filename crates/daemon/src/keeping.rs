//! What is done beside while the daemon runs: checkpoints, so that a start after a power cut is as fast as one after a
//! stop, and another try where photos found no room.

use std::sync::Arc;
use std::time::Duration;

use net::Holder as _;

use crate::holding::Holding;
use crate::photos::Album;

/// How long photos that could not be kept wait for the next try.
const UNTIL_NEXT_TRY: Duration = Duration::from_secs(60);

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

/// Tries again and again to keep photos for which the disk had no room.
pub(crate) async fn try_photos_again(album: Arc<Album>) {
    loop {
        tokio::time::sleep(UNTIL_NEXT_TRY).await;
        album.try_again();
    }
}
