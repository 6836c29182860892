//! A crew with lists and a page on a real socket, and browsers that speak plain HTTP/1.1 to it.

use std::collections::BTreeMap;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use daemon::{Command, Holding, Node, Role, command};
use serde_json::Value;
use tempfile::TempDir;
use tokio::runtime::Runtime;

const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scenario");

pub(crate) struct World {
    pub(crate) holding: Arc<Holding>,
    pub(crate) folder: TempDir,
    pub(crate) address: SocketAddr,
    /// What the terminal showed.
    pub(crate) said: Vec<String>,
    _runtime: Runtime,
}

fn founded(folder: &Path) -> Node {
    let lists = folder.join("lists");
    std::fs::create_dir(&lists).unwrap();
    for name in ["crew.csv", "price-book.csv", "firm.csv", "jobs.csv", "stages.csv", "estimate.csv"] {
        std::fs::copy(Path::new(SCENARIO).join(name), lists.join(name)).unwrap();
    }
    let (mut node, _) = Node::found(&folder.join("data"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
    command::run(&mut node, Command::Import { dir: lists, devices: Vec::new() }).unwrap();
    node
}

impl World {
    pub(crate) fn new() -> Self {
        Self::with(|wishes| wishes)
    }

    pub(crate) fn with(wish: impl FnOnce(web::Wishes) -> web::Wishes) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let node = founded(folder.path());
        Self::served(folder, node, wish)
    }

    fn served(folder: TempDir, node: Node, wish: impl FnOnce(web::Wishes) -> web::Wishes) -> Self {
        let holding = Arc::new(Holding::new(node));
        let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
        let said = Mutex::new(Vec::new());
        let wishes = wish(web::Wishes {
            page_is_usual: false,
            page: "127.0.0.1:0".parse().ok(),
            lan: None,
            lan_name: web::USUAL_LAN_NAME.to_owned(),
            public: None,
            proxies: Vec::new(),
            idle_days: None,
        });
        let say = |line| said.lock().unwrap().push(line);
        runtime.block_on(web::serve(Arc::clone(&holding), wishes, say)).unwrap();
        let origins = holding.with(|node| node.page_origins().to_vec());
        let plain = origins.iter().find_map(|origin| origin.strip_prefix("http://"));
        let address = plain.and_then(|host| host.parse().ok()).unwrap_or_else(|| ([127, 0, 0, 1], 0).into());
        Self { holding, folder, address, said: said.into_inner().unwrap(), _runtime: runtime }
    }

    /// What a new link of somebody's shows.
    pub(crate) fn link_page(&self, person: &str) -> String {
        self.stranger().get(&format!("/join/{}", self.link(person, Role::Hand))).text()
    }

    /// The same crew at the same address, stopped and started.
    pub(crate) fn restarted(self) -> Self {
        self.stopped_while(|| ())
    }

    /// The same, with something done while it is stopped.
    pub(crate) fn stopped_while(self, meanwhile: impl FnOnce()) -> Self {
        let Self { holding, folder, address, _runtime, .. } = self;
        drop(_runtime);
        drop(holding);
        meanwhile();
        let node = Node::open(&folder.path().join("data")).unwrap();
        Self::served(folder, node, |wishes| web::Wishes { page: Some(address), ..wishes })
    }

    /// A link that the boss made for somebody.
    pub(crate) fn link(&self, person: &str, role: Role) -> String {
        self.holding.with(|node| node.make_page_link(node.device().person, person, role)).unwrap().token
    }

    /// A browser that has not joined.
    pub(crate) fn stranger(&self) -> Browser {
        Browser { address: self.address, cookie: String::new(), token: String::new() }
    }

    /// A browser that joined as somebody.
    pub(crate) fn browser(&self, person: &str, role: Role) -> Browser {
        let mut browser = self.stranger();
        let joined = browser.post(&format!("/join/{}", self.link(person, role)), &[("name", "test phone")]);
        assert_eq!(joined.status, 303, "{joined:?}");
        let cookie = joined.headers["set-cookie"].clone();
        browser.cookie = cookie.split(';').next().unwrap().to_owned();
        browser.learn_token();
        browser
    }

    /// What is logged: of a note its words, of the rest its kind.
    pub(crate) fn logged(&self) -> Vec<String> {
        self.holding.with(|node| {
            let words = |entry: &projections::Entry<'_>| match &*entry.body {
                ledger::Body::Note(_) => entry.act.note.clone(),
                other => format!("{:?}", other.kind()),
            };
            node.book()
                .entries()
                .filter(|entry| !entry.body.kind().is_roster())
                .map(|entry| words(&entry))
                .collect()
        })
    }
}

#[derive(Debug, Clone)]
pub(crate) struct Browser {
    pub(crate) address: SocketAddr,
    pub(crate) cookie: String,
    pub(crate) token: String,
}

#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: BTreeMap<String, String>,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.text()))
    }
}

/// A request, as bytes on the wire.
pub(crate) struct Request {
    method: &'static str,
    path: String,
    headers: BTreeMap<String, String>,
    body: Vec<u8>,
}

impl Request {
    pub(crate) fn header(mut self, name: &str, value: &str) -> Self {
        self.headers.insert(name.to_owned(), value.to_owned());
        self
    }

    pub(crate) fn without(mut self, name: &str) -> Self {
        self.headers.remove(name);
        self
    }

    pub(crate) fn body(mut self, body: &[u8]) -> Self {
        self.body = body.to_vec();
        self
    }

    pub(crate) fn form(self, fields: &[(&str, &str)]) -> Self {
        let pairs = fields.iter().map(|(name, value)| format!("{}={}", escaped(name), escaped(value)));
        let body = pairs.collect::<Vec<_>>().join("&");
        self.header("content-type", "application/x-www-form-urlencoded").body(body.as_bytes())
    }

    pub(crate) fn bytes(&self) -> Vec<u8> {
        let mut text = format!("{} {} HTTP/1.1\r\n", self.method, self.path);
        for (name, value) in &self.headers {
            text += &format!("{name}: {value}\r\n");
        }
        text += &format!("content-length: {}\r\nconnection: close\r\n\r\n", self.body.len());
        [text.as_bytes(), &self.body].concat()
    }

    pub(crate) fn send(&self, address: SocketAddr) -> Answer {
        let mut stream = TcpStream::connect(address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        // A server that refuses a large body hangs up before all of it was sent.
        let _ = stream.write_all(&self.bytes());
        let mut bytes = Vec::new();
        let _ = stream.read_to_end(&mut bytes);
        read_answer(&bytes)
    }
}

pub(crate) fn read_answer(bytes: &[u8]) -> Answer {
    let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").expect("an answer with a head");
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let mut lines = head.lines();
    let status = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
    let headers = lines.filter_map(|line| line.split_once(": "));
    let headers: BTreeMap<String, String> =
        headers.map(|(name, value)| (name.to_lowercase(), value.to_owned())).collect();
    let body = &bytes[end + 4..];
    let chunked = headers.get("transfer-encoding").is_some_and(|coding| coding == "chunked");
    let body = if chunked { unchunked(body) } else { body.to_vec() };
    Answer { status, headers, body }
}

fn unchunked(mut rest: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    while let Some(end) = rest.windows(2).position(|two| two == b"\r\n") {
        let length = usize::from_str_radix(std::str::from_utf8(&rest[..end]).unwrap(), 16).unwrap();
        if length == 0 {
            break;
        }
        body.extend_from_slice(&rest[end + 2..end + 2 + length]);
        rest = &rest[end + 4 + length..];
    }
    body
}

fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            byte if byte.is_ascii_alphanumeric() => char::from(byte).to_string(),
            byte => format!("%{byte:02X}"),
        })
        .collect()
}

impl Browser {
    /// A request as a browser makes it from this page.
    pub(crate) fn request(&self, method: &'static str, path: &str) -> Request {
        let mut headers = BTreeMap::from([
            ("host".to_owned(), self.address.to_string()),
            ("accept".to_owned(), "text/html".to_owned()),
        ]);
        if !self.cookie.is_empty() {
            headers.insert("cookie".to_owned(), self.cookie.clone());
        }
        if method != "GET" && method != "HEAD" {
            headers.insert("origin".to_owned(), format!("http://{}", self.address));
            headers.insert("sec-fetch-site".to_owned(), "same-origin".to_owned());
        }
        Request { method, path: path.to_owned(), headers, body: Vec::new() }
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.request("GET", path).send(self.address)
    }

    pub(crate) fn get_json(&self, path: &str) -> Answer {
        self.request("GET", path).header("accept", "application/json").send(self.address)
    }

    pub(crate) fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.request("POST", path).form(&self.signed(fields)).send(self.address)
    }

    pub(crate) fn post_json(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let request = self.request("POST", path).form(&self.signed(fields));
        request.header("accept", "application/json").send(self.address)
    }

    fn signed<'f>(&'f self, fields: &[(&'f str, &'f str)]) -> Vec<(&'f str, &'f str)> {
        let token = (!self.token.is_empty()).then_some(("token", self.token.as_str()));
        fields.iter().copied().chain(token).collect()
    }

    /// Reads the token that stands in every page of this session.
    pub(crate) fn learn_token(&mut self) {
        let page = self.get("/").text();
        let (_, rest) = page.split_once("data-form-token=\"").expect("a token in the page");
        self.token = rest.split('"').next().unwrap().to_owned();
    }
}

/// An entry of half an hour's note.
pub(crate) fn note<'f>(entry: &'f str, words: &'f str) -> Vec<(&'f str, &'f str)> {
    vec![("kind", "note"), ("job", "GARAGE"), ("note", words), ("entry", entry), ("back", "/?after")]
}
