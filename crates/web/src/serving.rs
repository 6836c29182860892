//! Opens the page: on this machine, on the network of the house, behind a reverse proxy; and says where.

use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

use daemon::page::NewLink;
use daemon::{Holding, NodeError, Role};
use tokio::net::TcpListener;

use crate::app::{App, router};
use crate::listen::listen;
use crate::settings::Settings;
use crate::tls::{Authority, PageCertificate, acceptor, is_private};
use crate::{qr, trust};

/// Where the page listens on this machine when nothing else is said.
pub const USUAL_PAGE: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), 5180);
/// Where it listens for the network of the house.
pub const USUAL_LAN: SocketAddr = SocketAddr::new(IpAddr::V4(Ipv4Addr::UNSPECIFIED), 5181);
/// The local name of the page: RFC 8375 keeps `home.arpa` for names within a house.
pub const USUAL_LAN_NAME: &str = "fivebar.home.arpa";
/// How often the page's certificate is made anew; it is good for three times as long.
const RENEWAL: Duration = Duration::from_secs(30 * 24 * 3_600);

/// Where the page is wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wishes {
    /// Plain HTTP for this machine, or for a reverse proxy; none to leave it off.
    pub page: Option<SocketAddr>,
    /// Nobody named that address: where another program has it, there is no page, and the rest goes on.
    pub page_is_usual: bool,
    /// HTTPS for the network of the house; none to leave it off.
    pub lan: Option<SocketAddr>,
    /// What the page is called on that network.
    pub lan_name: String,
    /// The public name under which reverse proxies serve it: `jobs.example`.
    pub public: Option<String>,
    /// Those proxies' addresses.
    pub proxies: Vec<IpAddr>,
    /// After so many days without use a phone must join anew; none to leave that as it is.
    pub idle_days: Option<u16>,
}

/// Opens the page where it is wanted, and keeps answering until the runtime ends.
///
/// # Errors
/// An address that can't be listened on, or wishes that don't go together.
pub async fn serve(holding: Arc<Holding>, wishes: Wishes, say: impl Fn(String)) -> Result<(), NodeError> {
    check(&wishes)?;
    if wishes.page.is_none() && wishes.lan.is_none() {
        return Ok(());
    }
    let app = App::new(Arc::clone(&holding));
    let mut origins = Vec::new();
    if let Some(public) = &wishes.public {
        origins.push(format!("https://{}", public.to_ascii_lowercase()));
    }
    if let Some(address) = wishes.lan {
        origins.push(open_lan(&app, address, &wishes.lan_name, &say).await?);
    }
    let bound = match wishes.page {
        Some(address) => match bind(address).await {
            Ok(bound) => Some(bound),
            Err(Unbound { cause, .. }) if wishes.page_is_usual && cause == ErrorKind::AddrInUse => {
                say(format!(
                    "There is no page: {address} is taken, perhaps by another fivebar. --page gives another place."
                ));
                None
            }
            Err(unbound) => return Err(unbound.error),
        },
        None => None,
    };
    if let Some((listener, address)) = bound {
        let port = address.port();
        let mut settings =
            if address.ip().is_loopback() { Settings::loopback(port) } else { Settings::nowhere() };
        if let Some(public) = &wishes.public {
            settings = settings.behind(public, wishes.proxies.iter().copied());
        }
        if address.ip().is_loopback() {
            origins.push(format!("http://{}", SocketAddr::new(address.ip(), port)));
        }
        tokio::spawn(listen(listener, None, router(app.clone(), settings)));
    }
    if origins.is_empty() {
        return Ok(());
    }
    say(format!("The page is at {}", origins.join(" and ")));
    let link = holding.with(|node| -> Result<Option<NewLink>, NodeError> {
        node.log_closed_sessions()?;
        wishes.idle_days.map_or(Ok(()), |days| node.set_page_idle_days(days))?;
        node.set_page_origins(origins.clone())?;
        if node.page_sessions().next().is_some() {
            return Ok(None);
        }
        let person = node.device().person;
        // Until the ledger has come, a device that joined knows nobody by name.
        let Some(name) = node.ledger().roster().person(&person).map(|person| person.name.clone()) else {
            return Ok(None);
        };
        node.make_page_link(person, &name, Role::Hand).map(Some)
    })?;
    if let Some(link) = link {
        say(qr::on_terminal(&link, &origins));
    }
    Ok(())
}

fn check(wishes: &Wishes) -> Result<(), NodeError> {
    let wrong = |what: String| Err(NodeError::BadInput(vec![what]));
    if let Some(address) = wishes.page.filter(|address| !address.ip().is_loopback())
        && (wishes.public.is_none() || wishes.proxies.is_empty())
    {
        return wrong(format!(
            "--page {address} would serve the page unencrypted to the network; use --lan for phones in the \
             house, or --public NAME with --proxy ADDRESS for a reverse proxy"
        ));
    }
    if wishes.public.is_some() && (wishes.proxies.is_empty() || wishes.page.is_none()) {
        return wrong("--public needs --proxy with the address of the reverse proxy, and --page".to_owned());
    }
    if let Some(address) = wishes.lan.filter(|lan| !lan.ip().is_unspecified() && !is_private(lan.ip())) {
        return wrong(format!(
            "--lan {address} is not an address of a house's network; behind a public one stands a reverse \
             proxy, see deploy/"
        ));
    }
    Ok(())
}

/// Why an address could not be listened on.
struct Unbound {
    cause: ErrorKind,
    error: NodeError,
}

/// Listens on an address, and gives the one that it became: a port of nought becomes a free one.
async fn bind(address: SocketAddr) -> Result<(TcpListener, SocketAddr), Unbound> {
    let lost = |error: std::io::Error| {
        let what =
            format!("the page can't listen on {address}: {error}. Give another with --page, or --no-page");
        Unbound { cause: error.kind(), error: NodeError::Network(what) }
    };
    let listener = TcpListener::bind(address).await.map_err(lost)?;
    let bound = listener.local_addr().map_err(lost)?;
    Ok((listener, bound))
}

/// Opens the page for the network of the house, and gives its origin.
async fn open_lan(
    app: &App,
    address: SocketAddr,
    local_name: &str,
    say: &impl Fn(String),
) -> Result<String, NodeError> {
    let (listener, bound) = bind(address).await.map_err(|unbound| unbound.error)?;
    let port = bound.port();
    let addresses = own_addresses(address.ip());
    let authority = app.holding().with(|node| {
        let crew = node.ledger().roster().crew_name().to_owned();
        Authority::open(node.folder(), &node.secret().seed(), &crew, local_name)
    })?;
    let authority = Arc::new(authority);
    let certificate = Arc::new(PageCertificate::new(&authority, &addresses)?);
    let mut names: BTreeSet<String> = addresses.iter().map(|address| in_brackets(*address)).collect();
    names.insert(local_name.to_owned());
    let settings = Settings::network(port, names.iter().map(String::as_str));
    let trusted = trust::Trusted::of(&authority);
    let routes = router(app.clone().trusting(trusted.clone()), settings);
    tokio::spawn(listen(listener, Some(acceptor(Arc::clone(&certificate))?), routes));
    say(format!(
        "Phones in the house trust the page once: /trust there shows how. It is the right one if the phone \
         shows this SHA-256 fingerprint:\n  {}",
        trusted.fingerprint
    ));
    let shown = addresses.iter().find(|address| !address.is_loopback()).copied();
    let host = shown.map_or_else(|| local_name.to_owned(), in_brackets);
    tokio::spawn(async move {
        loop {
            tokio::time::sleep(RENEWAL).await;
            if let Err(error) = certificate.renew(&authority, &addresses) {
                tracing::error!(%error, "the page's certificate was not renewed");
            }
        }
    });
    Ok(format!("https://{host}:{port}"))
}

fn in_brackets(address: IpAddr) -> String {
    match address {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => format!("[{address}]"),
    }
}

/// The private addresses by which phones in the house reach this machine, with loopback.
fn own_addresses(listening: IpAddr) -> Vec<IpAddr> {
    let mut addresses = vec![IpAddr::V4(Ipv4Addr::LOCALHOST)];
    let own = if listening.is_unspecified() {
        // Connecting a UDP socket sends nothing; it only asks the system which way a packet would go. The
        // address is kept for documentation (RFC 5737), so that no real one is named.
        UdpSocket::bind("0.0.0.0:0")
            .and_then(|socket| {
                socket.connect("192.0.2.1:9")?;
                socket.local_addr()
            })
            .map(|own| own.ip())
            .ok()
    } else {
        Some(listening)
    };
    addresses.extend(own.filter(|own| is_private(*own) && !own.is_loopback()));
    addresses
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wishes(page: &str, public: Option<&str>, proxies: &[&str]) -> Wishes {
        Wishes {
            page_is_usual: false,
            page: page.parse().ok(),
            lan: None,
            lan_name: USUAL_LAN_NAME.to_owned(),
            public: public.map(str::to_owned),
            proxies: proxies.iter().filter_map(|proxy| proxy.parse().ok()).collect(),
            idle_days: None,
        }
    }

    #[test]
    fn nothing_unencrypted_is_served_beyond_this_machine_but_to_a_proxy() {
        assert!(check(&wishes("127.0.0.1:5180", None, &[])).is_ok());
        assert!(check(&wishes("0.0.0.0:5180", None, &[])).is_err());
        assert!(check(&wishes("0.0.0.0:5180", Some("jobs.example"), &[])).is_err());
        assert!(check(&wishes("0.0.0.0:5180", Some("jobs.example"), &["192.0.2.7"])).is_ok());
        let public = Wishes { lan: "203.0.113.5:5181".parse().ok(), ..wishes("127.0.0.1:5180", None, &[]) };
        assert!(check(&public).is_err());
    }
}
