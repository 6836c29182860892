//! What the store is measured against: SQLite, and a bare file.

use std::error::Error;
use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;

use rusqlite::Connection;

use crate::EVENT_BYTES;

/// SQLite as it is set up where nothing acknowledged may be lost: WAL, and a sync at each commit.
pub(crate) struct Sqlite(Connection);

impl Sqlite {
    pub(crate) fn open(path: &Path) -> Result<Self, Box<dyn Error>> {
        let connection = Connection::open(path)?;
        connection.pragma_update(None, "journal_mode", "WAL")?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.execute("CREATE TABLE event (seq INTEGER PRIMARY KEY, bytes BLOB NOT NULL)", ())?;
        Ok(Self(connection))
    }

    /// Inserts so many events in one transaction.
    pub(crate) fn append(&mut self, bytes: &[u8], events: u32) -> Result<(), Box<dyn Error>> {
        let transaction = self.0.transaction()?;
        let mut insert = transaction.prepare_cached("INSERT INTO event (bytes) VALUES (?1)")?;
        for _ in 0..events {
            insert.execute([bytes])?;
        }
        drop(insert);
        transaction.commit()?;
        Ok(())
    }
}

/// A file with its room made ready, so that each sync has only the bytes to write: the limit.
pub(crate) struct BareFile(File);

impl BareFile {
    pub(crate) fn create(path: &Path, events: u32) -> Result<Self, Box<dyn Error>> {
        let mut file = File::create_new(path)?;
        file.write_all(&vec![0; EVENT_BYTES * events as usize])?;
        file.sync_all()?;
        file.seek(SeekFrom::Start(0))?;
        Ok(Self(file))
    }

    /// Writes the bytes and waits until they are durable.
    pub(crate) fn append(&mut self, bytes: &[u8]) -> Result<(), Box<dyn Error>> {
        self.0.write_all(bytes)?;
        Ok(self.0.sync_data()?)
    }
}
