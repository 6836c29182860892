//! Strangers, forged names, other sites, and proxies.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::time::Duration;

use daemon::Role;

use crate::world::{World, note};

#[test]
fn a_stranger_is_told_how_to_get_in_and_nothing_else() {
    let world = World::new();
    let stranger = world.stranger();
    for path in ["/", "/week", "/live", "/photos/00"] {
        let told = stranger.get_json(path);
        assert_eq!(told.status, 401, "{path}");
        assert_eq!(told.json()["closed"], false);
    }
    assert_eq!(stranger.request("HEAD", "/uploads/0123456789").send(world.address).status, 401);
    let sent_on = stranger.get("/");
    assert_eq!((sent_on.status, sent_on.headers["location"].as_str()), (303, "/join"));
    assert!(stranger.get("/join").text().contains("fivebar page --person"));
    assert_eq!(stranger.post_json("/log", &note("e1", "x")).status, 401);
    let made_up = crate::world::Browser {
        cookie: format!("fivebar-{}={}", world.address.port(), "ab".repeat(32)),
        ..stranger
    };
    assert_eq!(made_up.get_json("/").status, 401);
    assert_eq!(world.logged(), Vec::<String>::new());
}

#[test]
fn every_answer_has_the_headers_that_keep_a_browser_safe() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    for answer in
        [tobi.get("/"), tobi.get("/nowhere"), world.stranger().get("/join"), tobi.get("/static/page.css")]
    {
        let policy = &answer.headers["content-security-policy"];
        assert!(policy.starts_with("default-src 'none'") && policy.contains("frame-ancestors 'none'"));
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(answer.headers["x-content-type-options"], "nosniff");
        assert_eq!(answer.headers["referrer-policy"], "same-origin");
        assert!(!answer.headers.contains_key("strict-transport-security"));
    }
    assert_eq!(tobi.get("/").headers["cache-control"], "no-store");
    let style = tobi.get("/static/page.css");
    let again = tobi.request("GET", "/static/page.css").header("if-none-match", &style.headers["etag"]);
    assert_eq!(again.send(world.address).status, 304);
    let packed = tobi.request("GET", "/join").header("accept-encoding", "gzip").send(world.address);
    assert_eq!(packed.headers["content-encoding"], "gzip");
}

#[test]
fn another_name_for_this_address_is_not_served() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let port = world.address.port();
    for host in ["elsewhere.example", "127.0.0.1", "127.0.0.1:1", &format!("elsewhere.example:{port}")] {
        let answer = tobi.request("GET", "/").header("host", host).send(world.address);
        assert_eq!(answer.status, 421, "{host}");
        assert!(!answer.text().contains("Tobi"), "{host}");
    }
    // The same machine under its other name is another origin, at which nobody has joined.
    let answer = tobi
        .request("GET", "/")
        .header("host", &format!("localhost:{port}"))
        .header("accept", "application/json");
    assert_eq!(answer.send(world.address).status, 401);
}

#[test]
fn another_site_can_t_send_a_form() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let (own, token) = (format!("http://{}", world.address), tobi.token.clone());
    let fields = note("f1", "forged");
    let signed: Vec<_> = fields.iter().copied().chain([("token", token.as_str())]).collect();
    let send = |origin: Option<&str>, site: Option<&str>, fields: &[(&str, &str)]| {
        let mut request =
            tobi.request("POST", "/log").without("origin").without("sec-fetch-site").form(fields);
        if let Some(origin) = origin {
            request = request.header("origin", origin);
        }
        if let Some(site) = site {
            request = request.header("sec-fetch-site", site);
        }
        request.send(world.address).status
    };
    assert_eq!(send(Some("https://elsewhere.example"), None, &signed), 403);
    assert_eq!(send(Some("null"), None, &signed), 403);
    assert_eq!(send(None, None, &signed), 403);
    assert_eq!(send(Some(&own), Some("cross-site"), &signed), 403);
    assert_eq!(send(Some(&own), Some("same-site"), &signed), 403);
    assert_eq!(send(None, Some("none"), &signed), 403);
    // From this page, and yet without the session's token, or with another's.
    assert_eq!(send(Some(&own), Some("same-origin"), &fields), 403);
    let ines = world.browser("Ines Quill", Role::Hand);
    let others: Vec<_> = fields.iter().copied().chain([("token", ines.token.as_str())]).collect();
    assert_eq!(send(Some(&own), Some("same-origin"), &others), 403);
    assert_eq!(world.logged(), Vec::<String>::new());
    assert_eq!(send(Some(&own), None, &signed), 303);
    assert_eq!(world.logged(), ["forged"]);
    // Joining is a form too.
    let path = format!("/join/{}", world.link("Ines Quill", Role::Hand));
    let join = world.stranger().request("POST", &path).form(&[("name", "x")]);
    assert_eq!(join.header("origin", "https://elsewhere.example").send(world.address).status, 403);
    assert_eq!(world.stranger().get(&path).status, 200);
}

#[test]
fn what_a_stranger_says_was_forwarded_is_not_believed() {
    let world = World::new();
    let stranger = world.stranger();
    for number in 0..10 {
        let request =
            stranger.request("GET", "/join/0000").header("x-forwarded-for", &format!("192.0.2.{number}"));
        assert_eq!(request.header("x-forwarded-proto", "https").send(world.address).status, 422);
    }
    // Ten tries were of one address, and it was not those that it named.
    let request = stranger.request("GET", "/join/0000").header("x-forwarded-for", "192.0.2.99");
    assert_eq!(request.send(world.address).status, 429);
    let path = "/join";
    let request = stranger.request("GET", path).header("x-forwarded-host", "jobs.example");
    assert!(!request.send(world.address).headers.contains_key("strict-transport-security"));
}

#[test]
fn behind_a_proxy_the_public_name_is_https_and_each_visitor_has_tries_of_their_own() {
    let world = World::with(|wishes| web::Wishes {
        public: Some("jobs.example".to_owned()),
        proxies: vec![[127, 0, 0, 1].into()],
        ..wishes
    });
    let stranger = world.stranger();
    let through = |method, path: &str, from: &str| {
        let request = stranger.request(method, path).header("host", "jobs.example");
        request.header("x-forwarded-for", from).header("origin", "https://jobs.example")
    };
    for _ in 0..10 {
        // What a visitor wrote stands before what the proxy saw.
        let wrong = through("GET", "/join/0000", "198.51.100.1, 192.0.2.1").send(world.address);
        assert_eq!(wrong.status, 422);
    }
    assert_eq!(through("GET", "/join/0000", "198.51.100.7, 192.0.2.1").send(world.address).status, 429);
    let path = format!("/join/{}", world.link("Tobi Larch", Role::Hand));
    let joined = through("POST", &path, "192.0.2.2").form(&[("name", "phone")]).send(world.address);
    assert_eq!(joined.status, 303, "{}", joined.text());
    let cookie = &joined.headers["set-cookie"];
    assert!(cookie.starts_with("__Host-fivebar=") && cookie.contains("; Secure"), "{cookie}");
    assert_eq!(joined.headers["strict-transport-security"], "max-age=31536000");
    let cookie = cookie.split(';').next().unwrap();
    assert_eq!(through("GET", "/", "192.0.2.2").header("cookie", cookie).send(world.address).status, 200);
}

#[test]
fn a_name_that_only_the_proxy_may_ask_for_is_no_way_in_for_others() {
    let world = World::with(|wishes| web::Wishes {
        public: Some("jobs.example".to_owned()),
        proxies: vec![[192, 0, 2, 7].into()],
        ..wishes
    });
    let answer = world.stranger().request("GET", "/join").header("host", "jobs.example").send(world.address);
    assert_eq!(answer.status, 421);
}

#[test]
fn a_form_is_not_endless() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let words = "x".repeat(300 * 1024);
    assert_eq!(tobi.post_json("/log", &note("g1", &words)).status, 413);
}

#[test]
fn an_open_screen_is_told_when_something_arrives_and_when_its_session_ends() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let ines = world.browser("Ines Quill", Role::Hand);
    let mut stream = TcpStream::connect(world.address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    stream.write_all(&tobi.request("GET", "/live").header("accept", "text/event-stream").bytes()).unwrap();
    let mut lines = BufReader::new(stream).lines().map(Result::unwrap);
    assert!(lines.next().unwrap().contains("200"));
    assert!(lines.any(|line| line.is_empty()));
    assert_eq!(ines.post("/log", &note("h1", "from another phone")).status, 303);
    assert!(lines.any(|line| line == "event: changed"));
    assert_eq!(tobi.post_json("/do/leave", &[]).status, 200);
    assert!(lines.any(|line| line == "event: closed"));
}

#[test]
fn a_session_has_a_few_open_screens_and_no_more() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let open = || {
        let mut stream = TcpStream::connect(world.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.write_all(&tobi.request("GET", "/live").bytes()).unwrap();
        let mut reader = BufReader::new(stream);
        let mut first = String::new();
        reader.read_line(&mut first).unwrap();
        (reader, first)
    };
    let screens: Vec<_> = (0..6).map(|_| open()).collect();
    assert!(screens.iter().all(|(_, first)| first.contains("200")));
    assert!(open().1.contains("429"));
    assert_eq!(tobi.get("/").status, 200);
}
