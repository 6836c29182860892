//! Devices as real processes, for the tests of the whole: each has a data folder of its own, and nothing
//! leaves the loopback interface.

#![allow(dead_code, reason = "every test program uses its own part of this")]

#[path = "../../folders.rs"]
pub(crate) mod folders;

use std::ffi::OsStr;
use std::fs;
use std::io::Write as _;
use std::net::{SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use serde_json::Value;

/// How long anything between processes may take. Far more than it needs, so that a busy machine passes.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);

/// The folder with the week's files.
pub(crate) fn scenario() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scenario")
}

/// The week's figures, from a program that shares no code with this one.
pub(crate) fn expected() -> Value {
    serde_json::from_slice(&fs::read(scenario().join("expected.json")).unwrap()).unwrap()
}

/// A folder with the week's lists, without its entries.
pub(crate) fn lists_only(folder: &Path) -> PathBuf {
    let lists = folder.join("lists");
    fs::create_dir(&lists).unwrap();
    for file in ["crew", "price-book", "firm", "jobs", "stages", "estimate"] {
        let name = format!("{file}.csv");
        fs::copy(scenario().join(&name), lists.join(&name)).unwrap();
    }
    lists
}

/// An address of loopback where nobody listens now.
pub(crate) fn free_address() -> SocketAddr {
    UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap()
}

/// One device: its data folder, and its `fivebar run` while it has one.
pub(crate) struct Device {
    pub(crate) data: PathBuf,
    pub(crate) address: SocketAddr,
    /// The network namespace that it lives in; none for this machine's own.
    pub(crate) host: Option<String>,
    running: Option<Child>,
}

impl Device {
    /// A device that holds nothing yet.
    pub(crate) fn new(folder: &Path, name: &str) -> Self {
        Self { data: folder.join(name), address: free_address(), host: None, running: None }
    }

    /// The program, on this device's folder.
    pub(crate) fn fivebar<I: AsRef<OsStr>>(&self, words: impl IntoIterator<Item = I>) -> Command {
        let program = env!("CARGO_BIN_EXE_fivebar");
        let mut command = match &self.host {
            None => Command::new(program),
            Some(host) => {
                let mut command = Command::new("ip");
                command.args(["netns", "exec", host, program]);
                command
            }
        };
        command.arg("--data").arg(&self.data).args(words).stdin(Stdio::null());
        command.env_remove("FIVEBAR_DATA").env_remove("FIVEBAR_LOG");
        command
    }

    /// Does a command and gives what it printed.
    pub(crate) fn output(&self, words: &[&str]) -> Output {
        self.fivebar(words).output().unwrap()
    }

    /// Does a command that must succeed, and gives its answer.
    #[track_caller]
    pub(crate) fn ask(&self, words: &[&str]) -> Value {
        let output = self.output(&[&["--json"], words].concat());
        let complaint = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{words:?} failed: {complaint}");
        serde_json::from_slice(&output.stdout).unwrap()
    }

    /// Does a command that must fail, and gives its complaint.
    #[track_caller]
    pub(crate) fn refused(&self, words: &[&str]) -> String {
        let output = self.output(words);
        let printed = String::from_utf8_lossy(&output.stdout);
        assert!(!output.status.success(), "{words:?} should have been refused, but printed: {printed}");
        String::from_utf8(output.stderr).unwrap()
    }

    /// Does a command that asks for something, and types it.
    pub(crate) fn typing(&self, typed: &str, words: &[&str]) -> Output {
        let mut command = self.fivebar(words);
        let piped = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = piped.spawn().unwrap();
        // One that has refused already reads nothing; what it says is looked at by whoever called.
        let _ = child.stdin.take().unwrap().write_all(typed.as_bytes());
        child.wait_with_output().unwrap()
    }

    /// Founds the crew of the week, and gives its recovery words.
    pub(crate) fn found(&self) -> String {
        let words = ["found", "--crew", "Oake Rooms", "--person", "Maren Oake", "--device", "maren-laptop"];
        let answer = self.ask(&words);
        let words = answer["recovery_words"].as_array().unwrap().iter();
        words.map(|word| word.as_str().unwrap()).collect::<Vec<_>>().join(" ")
    }

    /// Imports a folder.
    #[track_caller]
    pub(crate) fn import(&self, folder: &Path) -> Value {
        self.ask(&["import", folder.to_str().unwrap()])
    }

    /// Imports this folder's entries of some devices.
    #[track_caller]
    pub(crate) fn import_entries(&self, folder: &Path, devices: &[&str]) -> Value {
        let mut words = vec!["import", folder.to_str().unwrap()];
        for device in devices {
            words.extend(["--device", device]);
        }
        self.ask(&words)
    }

    /// Starts `fivebar run`, and waits until it takes commands.
    pub(crate) fn start(&mut self, meet: &[SocketAddr]) {
        self.start_with(meet, &[]);
    }

    /// Starts `fivebar run` with more words, and waits until it takes commands.
    pub(crate) fn start_with(&mut self, meet: &[SocketAddr], more: &[&str]) {
        let mut words = vec!["run".to_owned(), "--listen".to_owned(), self.address.to_string()];
        for address in meet {
            words.extend(["--meet".to_owned(), address.to_string()]);
        }
        words.extend(more.iter().map(|word| (*word).to_owned()));
        // A daemon that was killed left its door behind; only another one is the new daemon's.
        let door = self.data.join("daemon.json");
        let former = fs::read(&door).ok();
        let log = fs::File::create(self.log()).unwrap();
        let child = self
            .fivebar(words)
            .env("FIVEBAR_LOG", "debug")
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap();
        self.running = Some(child);
        wait_for("the daemon to open its door", || {
            let ended = self.running.as_mut().unwrap().try_wait().unwrap();
            assert!(ended.is_none(), "`fivebar run` ended by itself: {ended:?}");
            let now = fs::read(&door).ok();
            now.is_some() && now != former
        });
    }

    /// Where `fivebar run` tells what it does.
    pub(crate) fn log(&self) -> PathBuf {
        self.data.with_extension("log")
    }

    /// Ends `fivebar run` as Ctrl-C does.
    pub(crate) fn stop(&mut self) {
        let Some(mut child) = self.running.take() else { return };
        let told = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        assert!(told.success());
        assert!(child.wait().unwrap().success(), "`fivebar run` ended with a complaint");
    }

    /// Ends `fivebar run` as a power cut does.
    pub(crate) fn kill(&mut self) {
        let Some(mut child) = self.running.take() else { return };
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// What this device's frontier of the crew's chains is.
    pub(crate) fn frontier(&self) -> String {
        self.ask(&["status"])["crew_frontier"].as_str().unwrap().to_owned()
    }

    /// How many events held here have this note.
    #[track_caller]
    pub(crate) fn times_noted(&self, note: &str) -> usize {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("out");
        self.ask(&["export", out.to_str().unwrap()]);
        let lines = fs::read_to_string(out.join("events.jsonl")).unwrap();
        let noted = |line: &&str| line.contains(&format!("\"{note}\""));
        lines.lines().filter(noted).count()
    }

    /// A code of this device's, for a device of somebody.
    pub(crate) fn invite(&self, person: &str) -> String {
        let answer = self.ask(&["invite", "--person", person, "--at", &self.address.to_string()]);
        answer["code"].as_str().unwrap().to_owned()
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        if let Some(mut child) = self.running.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Waits until something is so.
#[track_caller]
pub(crate) fn wait_for(what: &str, mut so: impl FnMut() -> bool) {
    let since = Instant::now();
    while !so() {
        assert!(since.elapsed() < PATIENCE, "waited {PATIENCE:?} in vain for {what}");
        sleep(Duration::from_millis(100));
    }
}
