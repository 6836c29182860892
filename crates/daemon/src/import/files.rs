//! The files of an import, as bytes. The one place of the import that touches the disk.

use std::collections::BTreeMap;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

/// The largest file that is read, in bytes.
pub const MAX_FILE_BYTES: u64 = 64 * 1024 * 1024;

/// The bytes of the files that exist.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Files {
    /// `crew.csv`: a row is a person.
    pub crew: Option<Vec<u8>>,
    /// `price-book.csv`: a row is an item.
    pub price_book: Option<Vec<u8>>,
    /// `firm.csv`: its one row is the crew as a business.
    pub firm: Option<Vec<u8>>,
    /// `jobs.csv`: a row is a job.
    pub jobs: Option<Vec<u8>>,
    /// `stages.csv`: a row is a stage.
    pub stages: Option<Vec<u8>>,
    /// `estimate.csv`: a row is a costing line.
    pub estimate: Option<Vec<u8>>,
    /// `entries.csv`: a row is a site action.
    pub entries: Option<Vec<u8>>,
}

/// Why the files could not be read.
#[derive(Debug, thiserror::Error)]
pub enum FilesError {
    /// No such folder.
    #[error("there is no folder {0}; give the folder that holds the CSV files")]
    NoFolder(PathBuf),
    /// The folder holds none of the files.
    #[error("{0} holds none of the files that can be imported: {names}", names = Files::NAMES.join(", "))]
    NothingThere(PathBuf),
    /// A file is too large.
    #[error("{0} is larger than 64 MiB; split it into folders and import one after the other")]
    TooLarge(PathBuf),
    /// A column that entries don't have.
    #[error("there is no column {name:?}; there are {known}")]
    NoSuchColumn {
        /// The column.
        name: String,
        /// Those that there are.
        known: String,
    },
    /// The row could not be written as CSV.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// The system said no.
    #[error("{path} can't be read: {cause}")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
}

impl Files {
    /// The names of the files, in the order in which they are read.
    pub const NAMES: [&'static str; 7] =
        ["crew.csv", "price-book.csv", "firm.csv", "jobs.csv", "stages.csv", "estimate.csv", "entries.csv"];

    /// Reads whichever of the files a folder holds.
    ///
    /// # Errors
    /// [`FilesError`]: no such folder, none of the files in it, one too large or unreadable.
    pub fn read(folder: &Path) -> Result<Self, FilesError> {
        if !folder.is_dir() {
            return Err(FilesError::NoFolder(folder.to_owned()));
        }
        let [crew, price_book, firm, jobs, stages, estimate, entries] =
            Self::NAMES.map(|name| read_file(&folder.join(name)));
        let files = Self {
            crew: crew?,
            price_book: price_book?,
            firm: firm?,
            jobs: jobs?,
            stages: stages?,
            estimate: estimate?,
            entries: entries?,
        };
        if files == Self::default() {
            return Err(FilesError::NothingThere(folder.to_owned()));
        }
        Ok(files)
    }

    /// A file of some rows, from their columns by name; those left out are empty. What is typed goes
    /// through the same checks as what is imported.
    ///
    /// # Errors
    /// [`FilesError::NoSuchColumn`], or [`FilesError::Csv`] when a row can't be written.
    pub fn of_rows(file: FileName, rows: &[BTreeMap<String, String>]) -> Result<Self, FilesError> {
        let shape = file.shape();
        let columns = || shape.required.iter().chain(shape.optional);
        let mut names = rows.iter().flat_map(BTreeMap::keys);
        if let Some(name) = names.find(|name| !columns().any(|column| column == name)) {
            let known = columns().copied().collect::<Vec<_>>().join(", ");
            return Err(FilesError::NoSuchColumn { name: name.clone(), known });
        }
        // A column that is left out says nothing, where an empty one may say "none".
        let is_said = |column: &str| rows.iter().any(|row| row.contains_key(column));
        let named = columns().filter(|column| shape.required.contains(column) || is_said(column));
        let named: Vec<&str> = named.copied().collect();
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&named)?;
        for row in rows {
            writer.write_record(named.iter().map(|name| row.get(*name).map_or("", String::as_str)))?;
        }
        let bytes = Some(writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?);
        let none = Self::default();
        Ok(match file {
            FileName::Crew => Self { crew: bytes, ..none },
            FileName::PriceBook => Self { price_book: bytes, ..none },
            FileName::Firm => Self { firm: bytes, ..none },
            FileName::Jobs => Self { jobs: bytes, ..none },
            FileName::Stages => Self { stages: bytes, ..none },
            FileName::Estimate => Self { estimate: bytes, ..none },
            FileName::Entries => Self { entries: bytes, ..none },
        })
    }
}

/// Which of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FileName {
    /// `crew.csv`.
    Crew,
    /// `price-book.csv`.
    PriceBook,
    /// `firm.csv`.
    Firm,
    /// `jobs.csv`.
    Jobs,
    /// `stages.csv`.
    Stages,
    /// `estimate.csv`.
    Estimate,
    /// `entries.csv`.
    Entries,
}

/// The file's bytes, or `None` where there is no such file.
fn read_file(path: &Path) -> Result<Option<Vec<u8>>, FilesError> {
    let unreadable = |cause| FilesError::Unreadable { path: path.to_owned(), cause };
    let file = match std::fs::File::open(path) {
        Ok(file) => file,
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(cause) => return Err(unreadable(cause)),
    };
    let mut bytes = Vec::new();
    // One byte more than is allowed shows a file that is too large, even one that grows meanwhile.
    let read = file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if u64::try_from(read).is_ok_and(|read| read > MAX_FILE_BYTES) {
        return Err(FilesError::TooLarge(path.to_owned()));
    }
    Ok(Some(bytes))
}
