//! Writes invented papers of every kind in every form into a folder: `cargo run -p fivebar-documents --example
//! papers -- FOLDER`. The checks against the official rules, and people who want to see a page, read them there.

#![allow(clippy::print_stderr, reason = "an example says what went wrong")]

mod invented;

use std::fs;
use std::path::PathBuf;
use std::process::ExitCode;

use documents::{Form, paper};

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("say into which folder");
        return ExitCode::FAILURE;
    };
    for (name, document) in invented::documents() {
        for form in Form::ALL {
            let path = folder.join(format!("{name}.{}", form.word()));
            let written = paper(&document, form).map_err(|error| error.to_string());
            if let Err(error) = written.and_then(|bytes| fs::write(&path, bytes).map_err(|e| e.to_string())) {
                eprintln!("{}: {error}", path.display());
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}
