//! What forms do, and for whom.

use daemon::{Command, Role, command};

use crate::world::{World, note};

#[test]
fn a_form_sent_twice_is_one_entry_and_a_notice_is_told_once() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let first = tobi.post("/log", &note("0123456789abcdef", "insulation in the long wall"));
    assert_eq!((first.status, first.headers["location"].as_str()), (303, "/?after"));
    // What the phone only keeps for later tells nobody.
    let kept = tobi.request("GET", "/").header("x-unseen", "1").send(tobi.address);
    assert!(kept.status == 200 && !kept.text().contains("Saved."));
    assert!(tobi.get("/").text().contains("Saved."));
    assert!(!tobi.get("/").text().contains("Saved."));
    let again = tobi.post_json("/log", &note("0123456789abcdef", "insulation in the long wall"));
    assert_eq!(again.status, 200, "{again:?}");
    let told = again.json();
    assert_eq!((told["saved"].as_bool(), told["new"].as_bool()), (Some(true), Some(false)), "{told}");
    assert_eq!(told["key"], "0123456789abcdef");
    assert_eq!(world.logged(), ["insulation in the long wall"]);
    // The same id with another content is no second entry either.
    let other = tobi.post_json("/log", &note("0123456789abcdef", "something else"));
    assert_eq!(other.status, 422);
    assert!(other.json()["refused"].as_str().unwrap().contains("already"), "{}", other.text());
    assert_eq!(world.logged().len(), 1);
}

#[test]
fn without_a_script_a_button_pressed_twice_counts_once() {
    let world = World::new();
    let mut maren = world.browser("Maren Oake", Role::Owner);
    let used = [
        ("kind", "used"),
        ("job", "GARAGE"),
        ("stage", "skim"),
        ("what", "finish plaster"),
        ("quantity", "1"),
        ("unit", "bag"),
    ];
    for _ in 0..2 {
        assert_eq!(maren.post("/log", &used).status, 303);
    }
    assert_eq!(world.logged().len(), 1);
    // Another bag from a page that was loaded since is another bag.
    maren.learn_token();
    assert_eq!(maren.post("/log", &used).status, 303);
    assert_eq!(world.logged().len(), 2);
    let start = [("job", "GARAGE"), ("stage", "skim")];
    let stop = [("break_min", "0")];
    for (path, fields) in [("/do/start", &start[..]), ("/do/stop", &stop[..])] {
        for _ in 0..2 {
            let answer = maren.post_json(path, fields);
            assert_eq!(answer.status, 200, "{path}: {}", answer.text());
        }
    }
}

#[test]
fn what_waited_on_the_phone_belongs_to_the_day_on_which_it_was_made() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    // Half past midnight on the wall in British Summer Time, as a browser says it in UTC.
    let at = [("at", "2026-07-06T23:30:00.000Z")];
    let fields: Vec<_> = note("b1", "late").into_iter().chain(at).collect();
    assert_eq!(tobi.post_json("/log", &fields).status, 200);
    let hours = [
        ("kind", "hours"),
        ("job", "GARAGE"),
        ("stage", "stud walls"),
        ("from", "08:00"),
        ("to", "16:30"),
        ("entry", "b2"),
        ("at", "2026-07-03T16:40:00+01:00"),
    ];
    assert_eq!(tobi.post_json("/log", &hours).status, 200);
    let told = world.holding.with(|node| {
        command::run(node, Command::Entries { job: Some("GARAGE".to_owned()), on: None }).unwrap()
    });
    let days: Vec<&str> =
        told["entries"].as_array().unwrap().iter().filter_map(|row| row["done_on"].as_str()).collect();
    assert_eq!(days, ["2026-07-03", "2026-07-07"]);
}

#[test]
fn a_form_that_is_refused_says_why() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let wrong = [("kind", "note"), ("job", "GARGE"), ("note", "x"), ("entry", "c1")];
    let told = tobi.post_json("/log", &wrong);
    assert_eq!(told.status, 422);
    assert!(told.json()["refused"].as_str().unwrap().contains("GARGE"));
    assert_eq!(tobi.post("/log", &wrong).status, 303);
    let page = tobi.get("/").text();
    assert!(page.contains("not saved, because") && page.contains("GARGE"), "{page}");
}

#[test]
fn a_hostile_note_stays_text_and_a_way_back_stays_here() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    for back in ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example"] {
        let fields = [("kind", "note"), ("job", "<script>alert(1)</script>"), ("note", "x"), ("back", back)];
        assert_eq!(tobi.post("/log", &fields).headers["location"], "/");
        let page = tobi.get("/").text();
        assert!(!page.contains("<script>alert") && page.contains("&#60;script&#62;alert"), "{page}");
    }
}

#[test]
fn a_hand_does_nothing_that_is_the_boss_s_and_a_role_changes_at_once() {
    let world = World::new();
    let ines = world.browser("Ines Quill", Role::Hand);
    let forbidden = [
        ("/do/invoice-issue", vec![("job", "GARAGE")]),
        ("/do/pay", vec![("number", "OR-0001"), ("received", "1.00")]),
        ("/do/credit", vec![("number", "OR-0001")]),
        ("/do/void", vec![("number", "OR-0001"), ("reason", "x")]),
        ("/do/quote-give", vec![("job", "GARAGE"), ("price", "1.00")]),
        ("/do/quote-agree", vec![("job", "GARAGE"), ("by", "x"), ("how", "word")]),
        ("/do/quote-points", vec![("job", "GARAGE"), ("label-1", "x"), ("amount-1", "1.00")]),
        ("/do/deposit", vec![("job", "GARAGE"), ("amount", "1.00")]),
        ("/do/deposit-issue", vec![("job", "GARAGE")]),
        ("/do/point-due", vec![("job", "GARAGE"), ("label", "On starting")]),
        ("/do/complete", vec![("job", "GARAGE")]),
        ("/do/vat-rate", vec![("job", "GARAGE"), ("rate", "zero"), ("evidence", "x")]),
        ("/do/engage", vec![("person", "Ines Quill"), ("engagement", "owner")]),
        ("/do/price-extra", vec![("of", "x"), ("amount", "1.00")]),
        ("/do/price", vec![("item", "finish plaster"), ("pack_cost", "1.00")]),
        ("/do/rate", vec![("person", "Ines Quill"), ("cost", "1.00"), ("charge", "99.00")]),
        ("/do/add-person", vec![("name", "Ada Sorrel")]),
        ("/do/set-role", vec![("person", "Ines Quill"), ("role", "owner")]),
        ("/do/invite", vec![("person", "Ines Quill")]),
        ("/do/retire", vec![("device", "laptop")]),
        ("/crew/add-phone", vec![("person", "Ines Quill")]),
    ];
    let before = events(&world);
    for (path, fields) in &forbidden {
        let answer = ines.post_json(path, fields);
        assert_eq!(answer.status, 403, "{path}");
        assert!(!answer.text().contains("OR-"), "{path}");
    }
    // A page of the boss's shows nothing either, whatever it is called.
    for path in ["/week", "/books", "/bill?job=GARAGE", "/paper?what=41", "/papers/41/pdf", "/crew"] {
        let answer = ines.get(path);
        assert_eq!(answer.status, 403, "{path}");
        assert!(!answer.text().contains('£'), "{path}");
    }
    assert_eq!(events(&world), before);

    // Signing off is for who leads; the ledger says no to a hand and yes right after the change.
    let signed = [("kind", "signed-off"), ("job", "GARAGE"), ("stage", "stud walls"), ("entry", "d1")];
    let refused = ines.post_json("/log", &signed);
    assert_eq!(refused.status, 422, "{refused:?}");
    make_lead(&world, "Ines Quill");
    let allowed = ines.post_json("/log", &[signed.as_slice(), &[("note", "seen")]].concat());
    assert_eq!(allowed.status, 200, "{}", allowed.text());
}

fn events(world: &World) -> u64 {
    world.holding.with(|node| node.ledger().chains().map(|chain| chain.tip.next_seq).sum())
}

fn make_lead(world: &World, name: &str) {
    use daemon::node::Write;
    use ledger::roster_events::RoleChanged;
    use ledger::{Audience, Body, Payload, PersonId};
    world.holding.with(|node| {
        let person = PersonId::named(&node.crew(), name);
        let act = node.act(node.device().person).unwrap();
        let body = Body::RoleChanged(RoleChanged { person, role: Role::Lead, positions: Vec::new() });
        node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }]).unwrap();
    });
}

#[test]
fn a_question_is_answered_by_whom_it_is_asked_or_by_who_leads() {
    let world = World::new();
    let (tobi, ines) = (world.browser("Tobi Larch", Role::Hand), world.browser("Ines Quill", Role::Hand));
    let maren = world.browser("Maren Oake", Role::Owner);
    let overlapping = |browser: &crate::world::Browser, day| {
        for (from, to) in [("08:00", "12:00"), ("11:00", "15:00")] {
            let hours = [("kind", "hours"), ("job", "GARAGE"), ("done_on", day), ("from", from), ("to", to)];
            assert_eq!(browser.post_json("/log", &hours).status, 200);
        }
    };
    let asked = |name: &str| {
        let name = name.to_owned();
        world.holding.with(move |node| {
            let open = projections::questions(node.book());
            let of = |question: &&projections::Question| question.person_name.as_deref() == Some(&*name);
            open.iter().find(of).map(|question| question.key.clone())
        })
    };
    overlapping(&tobi, "2026-07-06");
    let question = asked("Tobi Larch").expect("hours that overlap are asked about");
    let answer = [("question", question.as_str()), ("answer", "both are right")];
    assert_eq!(ines.post_json("/do/settle", &answer).status, 422);
    assert!(asked("Tobi Larch").is_some());
    assert_eq!(tobi.post_json("/do/settle", &answer).status, 200);
    assert_eq!(asked("Tobi Larch"), None);
    overlapping(&tobi, "2026-07-07");
    let question = asked("Tobi Larch").expect("the next day's too");
    assert_eq!(
        maren.post_json("/do/settle", &[("question", question.as_str()), ("answer", "yes")]).status,
        200
    );
}

#[test]
fn only_who_leads_enters_again_what_is_set_aside() {
    let world = World::new();
    let (ines, maren) = (world.browser("Ines Quill", Role::Hand), world.browser("Maren Oake", Role::Owner));
    assert_eq!(ines.post_json("/do/enter-again", &[]).status, 403);
    assert_eq!(maren.post_json("/do/enter-again", &[]).status, 200);
}

#[test]
fn a_timer_is_started_and_stopped_by_buttons() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let started = tobi.post_json("/do/start", &[("job", "GARAGE"), ("stage", "stud walls")]);
    assert_eq!(started.status, 200, "{}", started.text());
    assert_eq!(started.json()["answer"]["running"]["stage"], "stud walls");
    let stopped = tobi.post_json("/do/stop", &[]);
    assert_eq!(stopped.json()["answer"]["running"], serde_json::Value::Null, "{}", stopped.text());
    assert_eq!(tobi.post_json("/do/nothing-known", &[]).status, 404);
}

#[test]
fn anybody_answers_the_survey_and_reads_it_and_only_the_boss_prices() {
    let world = World::new();
    let (ines, maren) = (world.browser("Ines Quill", Role::Hand), world.browser("Maren Oake", Role::Owner));
    let answer = [("job", "GARAGE"), ("point", "stopcock"), ("answer", "under the stairs <b>stiff</b>")];
    let kept = ines.post_json("/do/survey", &answer);
    assert_eq!(kept.status, 200, "{}", kept.text());
    let page = ines.get("/job?job=GARAGE").text();
    assert!(page.contains("under the stairs &#60;b&#62;stiff&#60;/b&#62;"), "{page}");
    let price = [("item", "finish plaster"), ("pack_cost", "11.40"), ("from", "2026-12-01")];
    let set = maren.post_json("/do/price", &price);
    assert_eq!(set.status, 200, "{}", set.text());
    assert!(maren.get("/job?job=GARAGE").text().contains("£11.40 a bag from 1 Dec 2026"));
    assert!(!ines.get("/job?job=GARAGE").text().contains("11.40"));
    // What is wrong is told where it was sent from, and nothing is saved.
    for wrong in [[price[0], ("pack_cost", "-1"), price[2]], [price[0], ("pack_cost", "a lot"), price[2]]] {
        assert_eq!(maren.post_json("/do/price", &wrong).status, 422);
    }
}

#[test]
fn a_payment_pressed_twice_is_one_also_over_a_new_start() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let deposit = [("job", "GARAGE"), ("amount", "500"), ("entry", "press-1")];
    assert_eq!(maren.post_json("/do/deposit", &deposit).status, 200);
    let work = [("kind", "hours"), ("job", "MILL"), ("stage", ""), ("minutes", "60"), ("entry", "h1")];
    assert_eq!(maren.post_json("/log", &work).status, 200);
    let issue = [("job", "MILL"), ("entry", "press-2")];
    let issued = maren.post_json("/do/invoice-issue", &issue);
    assert_eq!(issued.status, 200, "{}", issued.text());
    let number = issued.json()["answer"]["document"]["number"].to_string();
    let pay = [("number", number.as_str()), ("received", "10"), ("entry", "press-3")];
    let plain = [("number", number.as_str()), ("received", "5")];
    assert_eq!(maren.post_json("/do/pay", &pay).status, 200);
    assert_eq!(maren.post("/do/pay", &plain).status, 303);
    let written = |world: &World| world.logged().len();
    let before = written(&world);
    let world = world.restarted();
    for (path, fields) in [
        ("/do/deposit", &deposit[..]),
        ("/do/invoice-issue", &issue[..]),
        ("/do/pay", &pay[..]),
        ("/do/pay", &plain[..]),
    ] {
        let again = maren.post_json(path, fields);
        assert_eq!((again.status, again.json()["saved"].as_bool()), (200, Some(true)), "{}", again.text());
        assert!(again.json()["done_already"].is_string(), "{}", again.text());
    }
    assert_eq!(written(&world), before);
}

#[test]
fn a_timer_s_stretch_is_changed_split_and_crossed_out_on_the_page() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let press = |path: &str, fields: &[(&str, &str)]| {
        let answer = tobi.post_json(path, fields);
        assert_eq!(answer.status, 200, "{path}: {}", answer.text());
        answer.json()
    };
    let at = |time: &'static str| ("at", time);
    press(
        "/do/start",
        &[("job", "GARAGE"), ("stage", "stud walls"), at("2026-07-06T08:00:00+01:00"), ("entry", "1")],
    );
    press("/do/stop", &[("break_min", "0"), at("2026-07-06T16:00:00+01:00"), ("entry", "2")]);
    let key = world.holding.with(|node| node.book().spells()[0].entry.entry.to_string());
    let page = tobi.get("/entries?job=GARAGE").text();
    assert!(page.contains("/do/split-spell") && page.contains(&key), "{page}");
    let was = ("was", "GARAGE\tstud walls");
    press(
        "/do/change-spell",
        &[("of", &key), ("from", "07:30"), ("to", "16:00"), ("break_min", "30"), ("onto", was.1), was],
    );
    let split = press("/do/split-spell", &[("of", &key), ("at_time", "12:01"), ("onto", "GARAGE\tboarding")]);
    assert_eq!(split["answer"]["minutes"], 480);
    press("/do/strike-spell", &[("of", &key)]);
    let minutes: Vec<i64> =
        world.holding.with(|node| node.book().spells().iter().map(|spell| spell.minutes).collect());
    assert_eq!(minutes, [239]);
    let ines = world.browser("Ines Quill", Role::Hand);
    let left = world.holding.with(|node| node.book().spells()[0].entry.entry.to_string());
    assert_eq!(ines.post_json("/do/strike-spell", &[("of", &left)]).status, 422);
}

#[test]
fn what_is_changed_among_all_entries_leads_back_to_them() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    assert_eq!(maren.post_json("/log", &note("n1", "the stopcock is under the sink")).status, 200);
    let shown = maren.get("/entries?job=GARAGE&what=Maren%20Oake").text();
    assert!(shown.contains("under the sink"), "{shown}");
    assert!(shown.contains("name=\"back\" value=\"/entries?job=GARAGE&#38;what=Maren"), "{shown}");
}
