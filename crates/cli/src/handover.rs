//! The handover of a job on the command line: making one, and checking one on a machine that has no ledger.

use std::fs::{self, File};
use std::io::{self, BufReader, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use documents::handing_over::{Checked, Files, Signed, check_files, check_zip};
use serde_json::{Value, json};

use crate::pages::{list, text};

/// A folder that was handed over, or made by unpacking a zip.
struct Folder(PathBuf);

impl Folder {
    fn walk(&self, below: &str, names: &mut Vec<String>) -> io::Result<()> {
        for entry in fs::read_dir(self.0.join(below))? {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            let name = if below.is_empty() { name } else { format!("{below}/{name}") };
            if entry.file_type()?.is_dir() {
                self.walk(&name, names)?;
            } else {
                names.push(name);
            }
        }
        Ok(())
    }
}

impl Files for Folder {
    fn names(&mut self) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        self.walk("", &mut names)?;
        Ok(names)
    }

    fn read(&mut self, name: &str, most: u64) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        File::open(self.0.join(name))?.take(most).read_to_end(&mut bytes)?;
        Ok(bytes)
    }
}

/// Checks a file or folder, and says so by its exit code, too: 0 only if every byte is as it was signed.
pub(crate) fn verify(path: &Path, as_json: bool) -> ExitCode {
    let checked = if path.is_dir() {
        check_files(&mut Folder(path.to_owned()))
    } else {
        File::open(path).and_then(|file| check_zip(&mut BufReader::new(file)))
    };
    let checked = match checked {
        Ok(checked) => checked,
        Err(error) => {
            eprintln!("fivebar: {}: {error}", path.display());
            return ExitCode::FAILURE;
        }
    };
    let page = if as_json { format!("{:#}", json!(checked)) } else { checked_page(&checked) };
    // Whoever reads only the beginning (`| head`) has what they wanted; that is no failure.
    let _ = writeln!(io::stdout(), "{page}");
    if checked.is_as_signed { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn checked_page(checked: &Checked) -> String {
    let mut page = if checked.is_as_signed {
        format!("Every byte of its {} files is as it was signed.\n", checked.files)
    } else {
        "NOT AS IT WAS SIGNED\n".to_owned()
    };
    for fault in &checked.faults {
        let file = if fault.file.is_empty() { String::new() } else { format!("{}: ", fault.file) };
        page += &format!("  {file}{}\n", fault.what);
    }
    for note in &checked.notes {
        page += &format!("  note: {note}\n");
    }
    match &checked.signed {
        Some(signed) => page += &signed_page(signed),
        None => page += "\nWho signed it can’t be made out.",
    }
    page
}

fn signed_page(signed: &Signed) -> String {
    let Signed { crew_name, crew_code, device, person, job, title, customer, .. } = signed;
    format!(
        "\nJob        {job}, {title}\nFor        {customer}\nMade       {} on {device}, of {person}\n\
         Crew       {crew_name}\nCrew code  {crew_code}\n\n\
         {} signed entries and listings are in it; {} more of the same devices, about other jobs and the \
         office, stand there as hashes alone.\n\
         This tells whether anything was changed since that crew signed it. It does not tell who the crew is: \
         anybody can found one and call it so. Compare the crew code with the one on the crew’s quote, or ask them for it.\n\
         What was logged is compared and not certified.",
        signed.made_on, signed.events, signed.withheld
    )
}

/// What was made.
pub(crate) fn made(answer: &Value) -> String {
    let mut page = format!(
        "{} is handed over in {}\n{} signed entries and listings, {} photos. Crew code {}.",
        text(answer, "job"),
        text(answer, "file"),
        text(answer, "events"),
        text(answer, "photos"),
        text(answer, "crew_code"),
    );
    let open = list(answer, "open");
    if !open.is_empty() {
        page += "\n\nIts cover says that this is open:";
        for line in open {
            page += &format!("\n  {}", line.as_str().unwrap_or_default());
        }
    }
    page
}
