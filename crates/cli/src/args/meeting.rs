//! The words of the command line for how the crew's devices meet.

use std::net::SocketAddr;

use clap::Args;
use daemon::Power;
use daemon::serve::Meeting;

/// How this device meets the others.
#[derive(Debug, Clone, Args)]
pub(crate) struct MeetingWords {
    /// Where to listen for them: by IPv4 and IPv6 on every network this device is on.
    #[arg(long, default_value = "[::]:5105")]
    listen: SocketAddr,
    /// Where another device listens, host:port, by name or address: the one that is always on, say. More than one
    /// may be given; where others were met before is tried by itself.
    #[arg(long, value_name = "PLACE", value_parser = place)]
    meet: Vec<String>,
    /// This device lives on a battery: it meets the others, hangs up once all hold the same, and looks in again
    /// after some minutes or when something was logged. Without it, it stays connected.
    #[arg(long)]
    battery: bool,
    /// Don't look for the crew on the same network, nor be found there.
    #[arg(long)]
    no_nearby: bool,
    /// Answer programs on this machine that watch whether it is well, like at 127.0.0.1:5185: /health and /metrics.
    #[arg(long, value_name = "ADDRESS")]
    pub(crate) metrics: Option<SocketAddr>,
}

impl MeetingWords {
    pub(crate) fn meeting(self) -> Meeting {
        let power = if self.battery { Power::Battery } else { Power::Mains };
        Meeting { listen: self.listen, places: self.meet, power, nearby: !self.no_nearby }
    }
}

/// A place is looked up each time it is tried, so here only its form is checked.
fn place(text: &str) -> Result<String, String> {
    let parts = text.rsplit_once(':').filter(|(host, _)| !host.is_empty());
    let has_port = |(_, port): (&str, &str)| port.parse::<u16>().is_ok_and(|port| port > 0);
    if parts.is_some_and(has_port) {
        Ok(text.to_owned())
    } else {
        Err("give the port too, like jobs.example:5105 or 192.168.1.20:5105".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_has_a_host_and_a_port() {
        for text in ["jobs.example:5105", "192.0.2.7:5105", "[2001:db8::7]:5105"] {
            assert_eq!(place(text).as_deref(), Ok(text));
        }
        for text in ["jobs.example", ":5105", "192.0.2.7:", "192.0.2.7:0", "192.0.2.7:99999"] {
            assert!(place(text).is_err(), "{text}");
        }
    }
}
