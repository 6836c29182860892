//! How the page is served: where, under which names, and behind what.

use std::collections::BTreeSet;
use std::net::IpAddr;

/// How the page is served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// `http` or `https`, as this process speaks it.
    pub(crate) scheme: Scheme,
    /// What a browser may call this page by: host and port as they stand in `Host`, in lower case.
    pub(crate) hosts: BTreeSet<String>,
    /// The public name behind a reverse proxy, without scheme: `jobs.example`.
    pub(crate) public_host: Option<String>,
    /// Reverse proxies whose forwarded headers are believed.
    pub(crate) proxies: BTreeSet<IpAddr>,
}

/// How a browser speaks to the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scheme {
    Http,
    Https,
}

impl Scheme {
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Http => "http",
            Self::Https => "https",
        }
    }

    const fn usual_port(self) -> u16 {
        match self {
            Self::Http => 80,
            Self::Https => 443,
        }
    }
}

impl Settings {
    /// Plain HTTP for this machine, at the port that was bound.
    #[must_use]
    pub fn loopback(port: u16) -> Self {
        let mut settings = Self::nowhere();
        for name in ["127.0.0.1", "localhost", "[::1]"] {
            settings.add_host(name, port);
        }
        settings
    }

    /// Plain HTTP under no name of its own, for a reverse proxy.
    #[must_use]
    pub const fn nowhere() -> Self {
        Self { scheme: Scheme::Http, hosts: BTreeSet::new(), public_host: None, proxies: BTreeSet::new() }
    }

    /// HTTPS for the network of the house, under the names that the certificate is for.
    #[must_use]
    pub fn network<'a>(port: u16, names: impl IntoIterator<Item = &'a str>) -> Self {
        let mut settings = Self { scheme: Scheme::Https, ..Self::loopback(port) };
        for name in names {
            settings.add_host(name, port);
        }
        settings
    }

    /// Also served under a public name, by reverse proxies at these addresses.
    #[must_use]
    pub fn behind(mut self, public_host: &str, proxies: impl IntoIterator<Item = IpAddr>) -> Self {
        self.public_host = Some(public_host.to_ascii_lowercase());
        self.proxies.extend(proxies);
        self
    }

    fn add_host(&mut self, name: &str, port: u16) {
        let name = name.to_ascii_lowercase();
        self.hosts.insert(format!("{name}:{port}"));
        // A browser leaves the usual port out.
        if port == self.scheme.usual_port() {
            self.hosts.insert(name);
        }
    }
}
