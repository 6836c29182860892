//! The zip of a handover: its files as they are, without compression, and at the very end a seal, which is the
//! signature of the device that made it over every byte before.

use std::io::{self, Read, Seek, SeekFrom, Write};

use ledger::chain::verify_signature;
use ledger::{CrewId, DeviceKey, DeviceSecret};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

use super::check::Files;
use super::list::unhex;

/// What the seal begins with; the signature follows in hex. It is the comment of the zip.
const SEAL: &str = "fivebar handover seal 1 ";
/// The bytes of a seal.
const SEAL_BYTES: usize = SEAL.len() + 128;

/// Why a zip could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ZipFault {
    /// The place it is written to.
    #[error("the zip could not be written: {0}")]
    Disk(#[from] io::Error),
    /// What a zip can't hold.
    #[error("the zip could not be written: {0}")]
    Zip(#[from] zip::result::ZipError),
}

/// Writes the zip of these files, in their order, and seals it. `out` must be empty.
///
/// # Errors
/// [`ZipFault`].
pub fn write_zip<W: Read + Write + Seek>(
    out: W,
    (crew, device): (&CrewId, &DeviceSecret),
    files: impl IntoIterator<Item = io::Result<(String, Vec<u8>)>>,
) -> Result<W, ZipFault> {
    let mut zip = ZipWriter::new(out);
    // The same files make the same bytes: neither the clock nor the machine is in them.
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    for file in files {
        let (name, bytes) = file?;
        zip.start_file(name, options)?;
        zip.write_all(&bytes)?;
    }
    zip.set_raw_comment(vec![b' '; SEAL_BYTES].into_boxed_slice())?;
    let mut out = zip.finish()?;
    let length = out.seek(SeekFrom::End(0))?;
    let before = length.saturating_sub(SEAL_BYTES as u64);
    let signature = device.sign(&sealed_bytes(crew, &hash_front(&mut out, before)?));
    out.seek(SeekFrom::Start(before))?;
    out.write_all(format!("{SEAL}{}", hex::encode(signature)).as_bytes())?;
    out.flush()?;
    Ok(out)
}

/// What a seal signs.
fn sealed_bytes(crew: &CrewId, hash: &[u8; 32]) -> Vec<u8> {
    [SEAL.as_bytes(), &crew.0, hash].concat()
}

/// The hash of the first so many bytes.
fn hash_front<R: Read + Seek>(file: &mut R, bytes: u64) -> io::Result<[u8; 32]> {
    file.seek(SeekFrom::Start(0))?;
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(file.take(bytes))?;
    Ok(*hasher.finalize().as_bytes())
}

/// Whether the last bytes of a file are the device's seal over all that is before.
pub(super) fn is_sealed<R: Read + Seek>(
    file: &mut R,
    (crew, device): (&CrewId, &DeviceKey),
) -> io::Result<bool> {
    let length = file.seek(SeekFrom::End(0))?;
    let Some(before) = length.checked_sub(SEAL_BYTES as u64) else { return Ok(false) };
    let hash = hash_front(file, before)?;
    let mut seal = String::new();
    file.seek(SeekFrom::Start(before))?;
    if file.take(SEAL_BYTES as u64).read_to_string(&mut seal).is_err() {
        return Ok(false);
    }
    let signature = seal.strip_prefix(SEAL).and_then(unhex::<64>);
    Ok(signature
        .is_some_and(|signature| verify_signature(device, &sealed_bytes(crew, &hash), &signature).is_ok()))
}

/// The files of a zip, whoever packed it.
pub(super) struct Zipped<'r, R: Read + Seek> {
    archive: ZipArchive<&'r mut R>,
    /// The folder that all of them stand in, where somebody packed a folder.
    below: String,
}

impl<'r, R: Read + Seek> Zipped<'r, R> {
    /// Opens a zip. None for what is none, or has lost its end.
    pub(super) fn open(file: &'r mut R) -> Option<Self> {
        let archive = ZipArchive::new(file).ok()?;
        let names = names_of(&archive);
        let is_flat = names.iter().any(|name| name == super::LIST);
        let folders = names.iter().filter_map(|name| name.strip_suffix(super::LIST));
        let below = folders.filter(|folder| folder.ends_with('/') && !is_flat).min();
        let below = below.map(str::to_owned).unwrap_or_default();
        Some(Self { archive, below })
    }
}

/// The names of the files. One that can't be read belongs to none of ours.
fn names_of<R: Read + Seek>(archive: &ZipArchive<R>) -> Vec<String> {
    let name = |name: Result<std::borrow::Cow<'_, str>, _>| match name {
        Ok(name) => name.into_owned(),
        Err(_) => "(a name that can’t be read)".to_owned(),
    };
    archive.file_names().map(name).filter(|name| !name.ends_with('/')).collect()
}

impl<R: Read + Seek> Files for Zipped<'_, R> {
    fn names(&mut self) -> io::Result<Vec<String>> {
        let names = names_of(&self.archive);
        Ok(names
            .into_iter()
            .map(|name| name.strip_prefix(&self.below).map(str::to_owned).unwrap_or(name))
            .collect())
    }

    fn read(&mut self, name: &str, most: u64) -> io::Result<Vec<u8>> {
        let file = self.archive.by_name(&format!("{}{name}", self.below)).map_err(io::Error::other)?;
        let mut bytes = Vec::new();
        file.take(most).read_to_end(&mut bytes)?;
        Ok(bytes)
    }
}
