//! Links, sessions, and their end.

use daemon::Role;

use crate::world::{World, note};

#[test]
fn the_first_link_is_for_whose_device_it_is_and_is_shown_until_somebody_joined() {
    let world = World::new();
    let shown = world.said.join("\n");
    assert!(shown.contains("as Maren Oake"), "{shown}");
    let link = shown.lines().find_map(|line| line.trim().strip_prefix("http://")).unwrap();
    let (_, token) = link.split_once("/join/").unwrap();
    let browser = world.stranger();
    assert!(browser.get(&format!("/join/{token}")).text().contains("Maren Oake"));
    assert_eq!(browser.post(&format!("/join/{token}"), &[("name", "laptop")]).status, 303);
    let world = world.restarted();
    assert!(!world.said.join("\n").contains("/join/"), "{:?}", world.said);
}

#[test]
fn a_look_at_a_link_does_not_use_it_and_a_press_does_for_good() {
    let world = World::new();
    let path = format!("/join/{}", world.link("Tobi Larch", Role::Hand));
    let browser = world.stranger();
    for _ in 0..3 {
        let shown = browser.get(&path);
        assert_eq!(shown.status, 200);
        assert!(shown.text().contains("Tobi Larch") && shown.text().contains("<button>Join</button>"));
        assert!(!shown.headers.contains_key("set-cookie"));
    }
    let joined = browser.post(&path, &[("name", "blue phone")]);
    assert_eq!((joined.status, joined.headers["location"].as_str()), (303, "/"));
    let cookie = &joined.headers["set-cookie"];
    for part in ["HttpOnly", "SameSite=Lax", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    let names: Vec<String> =
        world.holding.with(|node| node.page_sessions().map(|kept| kept.name.clone()).collect());
    assert_eq!(names, ["blue phone"]);

    let again = browser.post(&path, &[("name", "another")]);
    assert_eq!(again.status, 422);
    assert!(again.text().contains("used already"), "{}", again.text());
    // Used up also after a new start.
    let world = world.restarted();
    assert_eq!(world.stranger().post(&path, &[("name", "another")]).status, 422);
}

#[test]
fn no_token_stands_on_the_disk() {
    let world = World::new();
    let link = world.link("Tobi Larch", Role::Hand);
    let browser = world.browser("Ines Quill", Role::Hand);
    let (_, session) = browser.cookie.split_once('=').unwrap();
    let kept = std::fs::read_to_string(world.folder.path().join("data/page.json")).unwrap();
    assert!(kept.contains("Tobi") || kept.contains("test phone"), "{kept}");
    assert!(!kept.contains(&link) && !kept.contains(session));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let mode =
            std::fs::metadata(world.folder.path().join("data/page.json")).unwrap().permissions().mode();
        assert_eq!(mode & 0o077, 0, "{mode:o}");
    }
}

#[test]
fn who_guesses_links_must_wait() {
    let world = World::new();
    let stranger = world.stranger();
    for _ in 0..10 {
        assert_eq!(stranger.get("/join/0000").status, 422);
    }
    assert_eq!(stranger.get("/join/0000").status, 429);
    // From the same address also a right one waits.
    let path = format!("/join/{}", world.link("Tobi Larch", Role::Hand));
    assert_eq!(stranger.post(&path, &[("name", "phone")]).status, 429);
}

#[test]
fn a_session_lasts_over_a_new_start_and_ends_at_once_when_it_is_closed() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let world = world.restarted();
    assert!(tobi.get("/").text().contains("test phone"));

    let ines = world.browser("Ines Quill", Role::Hand);
    let maren = world.browser("Maren Oake", Role::Owner);
    assert_eq!(ines.post("/log", &note("a1", "before")).status, 303);
    let session_of = |name: &str| {
        world.holding.with(|node| {
            let person = ledger::PersonId::named(&node.crew(), name);
            node.page_sessions().find(|kept| kept.person == person).unwrap().session.to_string()
        })
    };
    let (session, marens) = (session_of("Ines Quill"), session_of("Maren Oake"));
    // A hand closes nobody else's.
    assert_eq!(ines.post_json("/do/close-session", &[("session", &marens)]).status, 403);
    assert_eq!(maren.post_json("/do/close-session", &[("session", &session)]).status, 200);

    let refused = ines.post_json("/log", &note("a2", "after"));
    assert_eq!((refused.status, refused.json()["closed"].as_bool()), (401, Some(true)));
    assert_eq!(ines.get("/").headers["location"], "/join?closed");
    assert!(ines.get("/join?closed").text().contains("saved as a file"));
    assert_eq!(world.logged(), ["before"]);
    // The ledger says so too: the device no longer vouches for Ines.
    let closed = world.holding.with(|node| {
        daemon::command::run_for(
            node,
            ledger::PersonId::named(&node.crew(), "Ines Quill"),
            daemon::Command::Log {
                row: note("a3", "after")
                    .into_iter()
                    .filter(|(name, _)| *name != "back")
                    .map(|(name, value)| (name.to_owned(), value.to_owned()))
                    .collect(),
            },
        )
    });
    assert!(closed.unwrap_err().to_string().contains("does not log for that person"));
}

#[test]
fn who_leaves_is_out() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    assert_eq!(tobi.post_json("/do/leave", &[]).status, 200);
    assert_eq!(tobi.get_json("/").status, 401);
}

#[test]
fn the_boss_adds_a_phone_with_a_picture_of_the_link_and_nobody_else_does() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let shown = maren.post("/crew/add-phone", &[("person", "New Mate"), ("role", "foreman")]);
    assert_eq!(shown.status, 200);
    assert!(shown.text().contains("<svg") && shown.text().contains("/join/"), "{}", shown.text());
    let told = maren.post_json("/crew/add-phone", &[("person", "New Mate")]).json();
    let link = told["links"][0]["text"].as_str().unwrap().to_owned();
    let (_, path) = link.split_once(&world.address.to_string()).unwrap();
    assert!(world.stranger().get(path).text().contains("New Mate"));
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let refused = tobi.post_json("/crew/add-phone", &[("person", "Tobi Larch")]);
    assert_eq!(refused.status, 403);
    assert!(!refused.text().contains("/join/"));
}

#[test]
fn a_button_that_is_pressed_twice_leaves_one_link_for_somebody_new_too() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let pressed = |entry| {
        let shown = maren.post_json("/crew/add-phone", &[("person", "New Mate"), ("entry", entry)]).json();
        let link = shown["links"][0]["text"].as_str().unwrap().to_owned();
        link.split_once(&world.address.to_string()).unwrap().1.to_owned()
    };
    let [first, second, other] = ["p1", "p1", "p2"].map(pressed);
    // What is on the boss's screen is the second answer, so that is the one that works.
    let status = |path: &str| world.stranger().get(path).status;
    assert_eq!([&first, &second, &other].map(|path| status(path)), [422, 200, 200]);
}

#[test]
fn a_session_that_is_used_is_kept_by_the_browser_for_as_long_again() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let cookie = tobi.get("/").headers["set-cookie"].clone();
    assert!(cookie.starts_with(&format!("{};", tobi.cookie)), "{cookie}");
    for part in ["Max-Age=34560000", "HttpOnly", "SameSite=Lax", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    assert!(!world.stranger().get("/join").headers.contains_key("set-cookie"));
}

#[test]
fn a_phone_that_nobody_used_for_long_joins_anew() {
    let mut world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let ines = world.browser("Ines Quill", Role::Hand);
    assert!(world.link_page("Ines Quill").contains("not used for 60 days"));
    // The file says that Tobi's was last seen 61 days ago.
    let file = world.folder.path().join("data/page.json");
    world = world.stopped_while(|| {
        let text = std::fs::read_to_string(&file).unwrap();
        let (text, _) = text.rsplit_once("\nblake3 ").unwrap();
        let mut kept: serde_json::Value = serde_json::from_str(text).unwrap();
        let seen = &mut kept["sessions"][0]["seen_ms"];
        *seen = (seen.as_i64().unwrap() - 61 * 24 * 3_600_000).into();
        let text = kept.to_string();
        std::fs::write(&file, format!("{text}\nblake3 {}\n", blake3::hash(text.as_bytes()))).unwrap();
    });
    assert_eq!(ines.get("/").status, 200);
    let told = tobi.get_json("/");
    assert_eq!((told.status, told.json()["closed"].as_bool()), (401, Some(true)));
    assert!(told.text().contains("not used for 60 days"), "{}", told.text());
    assert_eq!(tobi.get("/").headers["location"], "/join?unused");
    assert!(tobi.get("/join?unused").text().contains("This phone was not used for 60 days"));
    let open: Vec<String> =
        world.holding.with(|node| node.page_sessions().map(|kept| kept.session.to_string()).collect());
    assert_eq!(open.len(), 1);
    assert_eq!(world.browser("Tobi Larch", Role::Hand).get("/").status, 200);
}

#[test]
fn a_damaged_list_of_sessions_lets_nobody_in_and_keeps_nothing_shut() {
    let mut world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let file = world.folder.path().join("data/page.json");
    world = world.stopped_while(|| {
        let mut bytes = std::fs::read(&file).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        std::fs::write(&file, bytes).unwrap();
    });
    assert_eq!(tobi.get("/").headers["location"], "/join");
    assert_eq!(world.browser("Tobi Larch", Role::Hand).get("/").status, 200);
}
