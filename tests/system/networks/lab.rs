//! Hosts and networks made of Linux's network namespaces and virtual cables. Nothing leaves them.

use std::path::Path;
use std::process::{Child, Command, Stdio};

use crate::device::wait_for;

/// Does a command of the system, and says what it complained of.
fn system(words: &[&str]) -> Result<String, String> {
    let (program, rest) = words.split_first().ok_or("no command")?;
    let done = Command::new(program).args(rest).stdin(Stdio::null()).output();
    let done = done.map_err(|error| format!("{program}: {error}"))?;
    if done.status.success() {
        Ok(String::from_utf8_lossy(&done.stdout).into_owned())
    } else {
        Err(format!("{}: {}", words.join(" "), String::from_utf8_lossy(&done.stderr).trim()))
    }
}

#[track_caller]
fn done(words: &[&str]) {
    if let Err(complaint) = system(words) {
        panic!("{complaint}");
    }
}

/// Why no networks can be made here, if so.
pub(crate) fn why_not() -> Option<String> {
    let (host, road) = (format!("fb{}-why", std::process::id()), "fbwhy0");
    let tried = system(&["ip", "netns", "add", &host])
        .and_then(|_| {
            system(&["ip", "-n", &host, "link", "add", road, "type", "veth", "peer", "name", "fbwhy1"])
        })
        .and_then(|_| system(&["ip", "-n", &host, "link", "add", "fbwhy2", "type", "bridge"]))
        .and_then(|_| system(&["python3", "--version"]));
    let _ = system(&["ip", "netns", "del", &host]);
    tried.err()
}

/// Hosts, and the networks between them. All is gone when it is dropped.
pub(crate) struct Lab {
    /// The namespace of the switches.
    middle: String,
    hosts: Vec<String>,
    roads: Vec<Child>,
}

impl Lab {
    /// A lab with no hosts.
    pub(crate) fn new(name: &str) -> Self {
        let middle = format!("fb{}-{name}", std::process::id());
        done(&["ip", "netns", "add", &middle]);
        Self { middle, hosts: Vec::new(), roads: Vec::new() }
    }

    /// Adds a host, and gives the namespace it lives in.
    pub(crate) fn host(&mut self, name: &str) -> String {
        let host = format!("{}-{name}", self.middle);
        done(&["ip", "netns", "add", &host]);
        done(&["ip", "-n", &host, "link", "set", "lo", "up"]);
        self.hosts.push(host.clone());
        host
    }

    /// Lays a cable of this name from a host to the middle.
    pub(crate) fn cable(&self, host: &str, cable: &str) {
        let far = format!("{cable}-far");
        let pair = ["type", "veth", "peer", "name", &far, "netns", &self.middle];
        done(&[&["ip", "-n", host, "link", "add", cable], &pair[..]].concat());
        done(&["ip", "-n", host, "link", "set", cable, "up"]);
        done(&["ip", "-n", &self.middle, "link", "set", &far, "up"]);
    }

    /// Joins cables in a switch.
    pub(crate) fn switch(&self, name: &str, cables: &[&str]) {
        done(&["ip", "-n", &self.middle, "link", "add", name, "type", "bridge", "mcast_snooping", "0"]);
        done(&["ip", "-n", &self.middle, "link", "set", name, "up"]);
        for cable in cables {
            done(&["ip", "-n", &self.middle, "link", "set", &format!("{cable}-far"), "master", name]);
        }
    }

    /// Joins cables by a road on which frames come late and some are lost. Gives what makes it so: the kernel, or
    /// else a small program in its place.
    pub(crate) fn poor_road(
        &mut self,
        cables: &[(&str, &str)],
        delay_ms: u32,
        loss_percent: u32,
    ) -> &'static str {
        let (delay, loss) = (format!("{delay_ms}ms"), format!("{loss_percent}%"));
        let fars: Vec<String> = cables.iter().map(|(_, cable)| format!("{cable}-far")).collect();
        let netem = fars.iter().try_for_each(|far| {
            let act = ["tc", "-n", &self.middle, "qdisc", "add", "dev", far, "root", "netem"];
            system(&[&act[..], &["delay", &delay, "loss", &loss]].concat()).map(drop)
        });
        if netem.is_ok() {
            self.switch("road", &cables.iter().map(|(_, cable)| *cable).collect::<Vec<_>>());
            return "tc netem";
        }
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/system/networks/road.py");
        for (host, cable) in cables {
            let whole = ["python3", script.to_str().unwrap(), "--whole", cable];
            done(&[&["ip", "netns", "exec", host], &whole[..]].concat());
        }
        let mut road = Command::new("ip");
        road.args(["netns", "exec", &self.middle, "python3"]).arg(&script);
        road.args([delay_ms.to_string(), loss_percent.to_string(), "7".to_owned()]).args(&fars);
        let mut road = road.stdin(Stdio::null()).stdout(Stdio::piped()).spawn().unwrap();
        let mut opened = String::new();
        let said = std::io::BufReader::new(road.stdout.take().unwrap());
        std::io::BufRead::read_line(&mut { said }, &mut opened).unwrap();
        assert_eq!(opened.trim(), "open", "the road did not open");
        self.roads.push(road);
        "a program of the tests, as this kernel has no netem"
    }

    /// Gives a host an address on a cable.
    pub(crate) fn address(&self, host: &str, cable: &str, address: &str) {
        // An address of IPv6 is used at once; nobody else can have it here.
        let nodad: &[&str] = if address.contains("::") { &["nodad"] } else { &[] };
        done(&[&["ip", "-n", host, "address", "add", address, "dev", cable], nodad].concat());
    }

    /// Takes a host's address away.
    pub(crate) fn no_address(&self, host: &str, cable: &str, address: &str) {
        done(&["ip", "-n", host, "address", "del", address, "dev", cable]);
    }

    /// Pulls a cable, or puts it back. The host is not told.
    pub(crate) fn pull(&self, cable: &str) {
        done(&["ip", "-n", &self.middle, "link", "set", &format!("{cable}-far"), "nomaster"]);
    }

    /// Puts a cable back into a switch.
    pub(crate) fn put_back(&self, cable: &str, switch: &str) {
        done(&["ip", "-n", &self.middle, "link", "set", &format!("{cable}-far"), "master", switch]);
    }

    /// Starts to listen to all that a host's cable carries to the multicast of names, until the child is killed.
    pub(crate) fn listen(&self, host: &str, cable: &str, into: &Path) -> Child {
        let program = "import socket, sys\n\
            ear = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3))\n\
            ear.bind((sys.argv[1], 0))\n\
            out = open(sys.argv[2], 'wb', buffering=0)\n\
            while True:\n    frame = ear.recv(65536)\n    if b'\\x14\\xe9' in frame[34:60]: out.write(frame)\n";
        let mut ear = Command::new("ip");
        ear.args(["netns", "exec", host, "python3", "-c", program, cable]).arg(into);
        let ear = ear.stdin(Stdio::null()).spawn().unwrap();
        // It makes the file once it listens.
        wait_for("the ear to listen", || into.exists());
        ear
    }
}

impl Drop for Lab {
    fn drop(&mut self) {
        for road in &mut self.roads {
            let _ = road.kill();
            let _ = road.wait();
        }
        for host in self.hosts.iter().chain([&self.middle]) {
            let _ = system(&["ip", "netns", "del", host]);
        }
    }
}
