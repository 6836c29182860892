//! Commands on a node of its own, and what they refuse.

mod applications;
mod closing;
mod measuring;
mod said;
mod set_aside;

use std::cell::RefCell;
use std::path::Path;

use ledger::roster_events::DeviceAdmitted;
use ledger::{Audience, Body, DeviceSecret, ItemId, JobId, Kind, Payload};
use serde_json::json;

use super::*;
use crate::device::DeviceFile;
use crate::node::{Node, Write};

const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scenario");

/// The boss's laptop with the week's lists.
fn laptop(folder: &Path) -> Node {
    let lists = folder.join("lists");
    std::fs::create_dir(&lists).unwrap();
    for name in ["crew.csv", "price-book.csv", "firm.csv", "jobs.csv", "stages.csv", "estimate.csv"] {
        std::fs::copy(Path::new(SCENARIO).join(name), lists.join(name)).unwrap();
    }
    let (mut node, _) = Node::found(&folder.join("data"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
    run(&mut node, Command::Import { dir: lists, devices: Vec::new() }).unwrap();
    node
}

/// Another device of somebody's, with all that the laptop holds.
fn another(laptop: &mut Node, folder: &Path, name: &str, person: &str, office: bool) -> Node {
    let person = named::person(laptop, person).unwrap();
    let secret = DeviceSecret::from_seed(blake3::hash(name.as_bytes()).as_bytes());
    let (device, shared) = (secret.public(), false);
    let admitted = DeviceAdmitted { device, name: name.to_owned(), person, shared, office };
    let act = laptop.act(laptop.device().person).unwrap();
    let payload = Payload { act, body: Body::DeviceAdmitted(admitted) };
    laptop.append(&[Write { audience: Audience::Crew, payload }]).unwrap();
    let file = DeviceFile::new(&secret, laptop.crew(), name.to_owned(), person);
    let mut node = Node::join(&folder.join(name), file).unwrap();
    bring(laptop, &mut node);
    node
}

/// Hands over what one node holds and the other does not.
fn bring(from: &mut Node, to: &mut Node) {
    for audience in [Audience::Crew, Audience::Office] {
        let chains: Vec<_> = from.ledger().chains().map(|chain| chain.start).collect();
        for start in chains.into_iter().filter(|start| start.audience == audience) {
            let mut next_seq = to.ledger().chain(&start.chain).map_or(0, |chain| chain.tip.next_seq);
            while let Some(run) = from.read_run(start.chain, next_seq).unwrap() {
                next_seq = run.next_seq();
                to.store_runs(|_| Some(start), &[run]).unwrap();
            }
        }
    }
}

fn row(cells: &[(&str, &str)]) -> BTreeMap<String, String> {
    cells.iter().map(|(column, value)| ((*column).to_owned(), (*value).to_owned())).collect()
}

fn log(node: &mut Node, cells: &[(&str, &str)]) -> String {
    let answer = run(node, Command::Log { row: row(cells) }).unwrap();
    answer["key"].as_str().unwrap().to_owned()
}

#[track_caller]
fn refused(node: &mut Node, command: Command) -> String {
    let before: u64 = node.ledger().chains().map(|chain| chain.tip.next_seq).sum();
    let message = run(node, command).unwrap_err().to_string();
    let after: u64 = node.ledger().chains().map(|chain| chain.tip.next_seq).sum();
    assert_eq!(before, after, "something was written: {message}");
    message
}

fn list(list: FileName, change: ListChange, cells: &[(&str, &str)]) -> Command {
    Command::List { list, change, row: row(cells) }
}

fn pounds(text: &str) -> Pence {
    text.parse().unwrap()
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

#[test]
fn a_job_is_added_and_changed_by_one_line_each() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let barn = [
        ("job", "BARN"),
        ("customer", "the Holts"),
        ("customer_kind", "householder"),
        ("basis", "fixed"),
        ("vat_rate", "20"),
    ];
    let message = refused(&mut node, list(FileName::Jobs, ListChange::Change, &barn));
    assert!(message.contains("add it with `add`"), "{message}");
    let no_customer: Vec<_> = barn.iter().copied().filter(|(column, _)| *column != "customer").collect();
    let message = refused(&mut node, list(FileName::Jobs, ListChange::Add, &no_customer));
    assert!(message.contains("--customer: must not be empty"), "{message}");
    run(&mut node, list(FileName::Jobs, ListChange::Add, &barn)).unwrap();
    let message = refused(&mut node, list(FileName::Jobs, ListChange::Add, &barn));
    assert!(message.contains("change it with `change`"), "{message}");
    run(&mut node, list(FileName::Jobs, ListChange::Change, &[("job", "BARN"), ("markup_pct", "15")]))
        .unwrap();

    let lists = node.book().lists();
    let job = lists.jobs.values().find(|job| job.code == "BARN").unwrap();
    let terms = lists.terms[&job.job];
    assert_eq!((job.customer.as_str(), terms.markup_percent), ("the Holts", "15".parse().unwrap()));
    assert_eq!(terms.vat_percent, "20".parse().unwrap());

    let message = refused(&mut node, list(FileName::Jobs, ListChange::Either, &[("jobb", "BARN")]));
    assert!(message.contains("no column \"jobb\""), "{message}");
}

#[test]
fn a_stage_that_changes_keeps_what_is_not_named() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let find = |node: &Node| {
        let lists = node.book().lists();
        lists.stages.values().find(|stage| stage.name == "second fix").map(|stage| (*stage).clone()).unwrap()
    };
    let before = find(&node);
    let words = [("job", "GARAGE"), ("stage", "second fix"), ("needs_photo", "yes")];
    run(&mut node, list(FileName::Stages, ListChange::Change, &words)).unwrap();
    assert_eq!(find(&node), ledger::site::StageListed { needs_photo: true, ..before });
}

#[test]
fn a_price_and_a_rate_hold_from_their_day() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let set = |node: &mut Node, cost: &str, from: &str| {
        let command = Command::Price {
            item: "finish plaster".to_owned(),
            pack_cost: cost.parse().unwrap(),
            from: Some(day(from)),
        };
        run(node, command).unwrap()
    };
    set(&mut node, "9.20", "2026-11-09");
    let answer = set(&mut node, "9.40", "2026-11-09");
    assert_eq!(answer["prices"].as_array().unwrap().len(), 2, "{answer}");
    let item = ItemId::named(&node.crew(), "finish plaster");
    let lists = node.book().lists();
    assert_ne!(lists.prices[&item].on(day("2026-11-08")).unwrap().pack_cost, "9.40".parse().unwrap());
    assert_eq!(lists.prices[&item].on(day("2026-11-09")).unwrap().pack_cost, "9.40".parse().unwrap());

    let rate = PersonRate {
        person: "Tobi Larch".to_owned(),
        job: Some("MILL".to_owned()),
        trade: None,
        cost: "20".parse().unwrap(),
        charge: "41".parse().unwrap(),
        from: Some(day("2026-11-09")),
    };
    run(&mut node, Command::Rate(rate.clone())).unwrap();
    let (tobi, mill) = (named::person(&node, "Tobi Larch").unwrap(), JobId::named(&node.crew(), "MILL"));
    let charge = |node: &Node, job: &str| {
        let job = JobId::named(&node.crew(), job);
        node.book().lists().rate(tobi, job, None, day("2026-11-10")).unwrap().charge_rate
    };
    assert_eq!(charge(&node, "MILL"), rate.charge);
    assert_ne!(charge(&node, "GARAGE"), rate.charge);
    assert_eq!(mill, JobId::named(&node.crew(), "MILL"));
    let message =
        refused(&mut node, Command::Rate(PersonRate { cost: "-1".parse().unwrap(), ..rate.clone() }));
    assert!(message.contains("below nought"), "{message}");
    let message = refused(&mut node, Command::Rate(PersonRate { person: "Tobi".to_owned(), ..rate }));
    assert!(message.contains("Tobi Larch"), "{message}");
}

#[test]
fn what_was_paid_is_set_right_and_only_for_what_is_paid() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let key = log(&mut node, &[("kind", "expense"), ("job", "MILL"), ("what", "tip"), ("total", "12")]);
    let paid = |entry: &str, net: &str, per: &str| {
        let (vat, minimum) = (pounds("2"), Pence::ZERO);
        Command::Paid(Paid { entry: entry.to_owned(), net: pounds(net), vat, per: per.to_owned(), minimum })
    };
    run(&mut node, paid(&key, "10", "")).unwrap();
    let lists = node.book().lists();
    let [price] = lists.paid.values().collect::<Vec<_>>()[..] else { panic!("{:?}", lists.paid) };
    assert_eq!((price.net, price.vat), (pounds("10"), pounds("2")));
    assert!(projections::questions(node.book()).iter().all(|question| !question.text.contains("apart")));
    assert!(refused(&mut node, paid(&key, "10", "day")).contains("for a hire"));
    let note = log(&mut node, &[("kind", "note"), ("job", "MILL"), ("note", "x")]);
    assert!(refused(&mut node, paid(&note, "10", "")).contains("is not a purchase"));
    assert!(refused(&mut node, paid("nowhere", "10", "")).contains("key of no entry"));
}

#[test]
fn a_hand_logs_a_ticket_with_its_sum_and_reads_no_price() {
    let folder = tempfile::tempdir().unwrap();
    let mut boss = laptop(folder.path());
    let mut phone = another(&mut boss, folder.path(), "ines-phone", "Ines Quill", false);
    let ticket = [("kind", "bought"), ("job", "MILL"), ("ticket", "4471"), ("net", "45.25"), ("vat", "9.05")];
    log(&mut phone, &ticket);
    assert!(phone.book().lists().paid.is_empty());
    bring(&mut phone, &mut boss);
    assert_eq!(boss.book().lists().paid.values().map(|paid| paid.net).collect::<Vec<_>>(), [pounds("45.25")]);
    let price =
        Command::Price { item: "finish plaster".to_owned(), pack_cost: "1".parse().unwrap(), from: None };
    assert!(refused(&mut phone, price).contains("office"));
    let job = list(FileName::Jobs, ListChange::Change, &[("job", "MILL"), ("markup_pct", "1")]);
    assert!(refused(&mut phone, job).contains("boss"));
}

#[test]
fn payment_points_come_to_the_quote_with_its_extras_or_are_not_saved() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let job = || "GARAGE".to_owned();
    let quote = |node: &mut Node, command| run(node, Command::Quote(command));
    let points = |points: &[(&str, &str)]| {
        let wish = |(label, amount): &(&str, &str)| PointWish {
            label: (*label).to_owned(),
            amount: pounds(amount),
            stage: None,
        };
        Command::Quote(QuoteCommand::Points { job: job(), points: points.iter().map(wish).collect() })
    };
    assert!(refused(&mut node, points(&[("all", "1")])).contains("no quote was given"));
    let wish = QuoteWish {
        job: job(),
        price: pounds("4200"),
        included: "boards, skim".to_owned(),
        excluded: "paint".to_owned(),
    };
    quote(&mut node, QuoteCommand::Give(wish.clone())).unwrap();
    quote(&mut node, QuoteCommand::Give(QuoteWish { price: pounds("4000"), ..wish })).unwrap();
    let agree = |version| QuoteCommand::Agree {
        job: job(),
        version,
        by: "the customer".to_owned(),
        how: SaidHow::Signature,
        on: None,
    };
    assert!(refused(&mut node, Command::Quote(agree(Some(3)))).contains("there are: 1, 2"));
    let answer = quote(&mut node, agree(Some(1))).unwrap();
    assert_eq!(answer["due"], "4200.00", "the version that was accepted counts: {answer}");

    let asked = log(&mut node, &[("kind", "asked"), ("job", "GARAGE"), ("what", "outside tap")]);
    let yes = [("kind", "agreed"), ("job", "GARAGE"), ("of", asked.as_str()), ("what", "at a price")];
    let agreed = log(&mut node, &yes);
    let message = refused(&mut node, points(&[("start", "2000"), ("finished", "2100")]));
    assert!(message.contains("100.00 too little") && message.contains("outside tap"), "{message}");
    run(&mut node, Command::PriceExtra { entry: agreed, amount: pounds("180") }).unwrap();
    log(&mut node, &[("kind", "agreed"), ("job", "GARAGE"), ("what", "left out"), ("note", "the loft")]);
    let message = refused(&mut node, points(&[("start", "2000"), ("finished", "2381")]));
    assert!(message.contains("1.00 too much"), "{message}");
    run(&mut node, points(&[("start", "2000"), ("finished", "2380")])).unwrap();
    let answer = run(&mut node, points(&[("start", "1000"), ("boarded", "3380")])).unwrap();
    assert_eq!((&answer["points_sum"], &answer["off"]), (&json!("4380.00"), &json!("0.00")));
    let labels: Vec<&str> =
        answer["points"].as_array().unwrap().iter().map(|point| point["label"].as_str().unwrap()).collect();
    assert_eq!(labels, ["start", "boarded"], "a point that is no longer named is gone");
    assert!(refused(&mut node, points(&[("start", "2190"), ("start", "2190")])).contains("twice"));
}

#[test]
fn a_role_changes_from_now_on_and_a_boss_always_remains() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let role = |person: &str, role| Command::SetRole { person: person.to_owned(), role };
    let held = |node: &Node, name: &str| {
        node.ledger().roster().people().find(|person| person.name == name).map(|person| person.role)
    };
    run(&mut node, role("Ines Quill", Role::Lead)).unwrap();
    assert_eq!(held(&node, "Ines Quill"), Some(Role::Lead));
    assert!(refused(&mut node, role("Maren Oake", Role::Hand)).contains("only boss"));
    let add = |name: &str| {
        let rates = Some(("17".parse().unwrap(), "30".parse().unwrap()));
        Command::AddPerson { name: name.to_owned(), role: Role::Hand, rates }
    };
    run(&mut node, add("Sef Moor")).unwrap();
    assert_eq!(held(&node, "Sef Moor"), Some(Role::Hand));
    assert!(refused(&mut node, add("Sef Moor")).contains("of the crew already"));
    assert!(refused(&mut node, add(" ")).contains("needs a name"));
}

#[test]
fn undo_goes_back_step_by_step_and_can_be_taken_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let notes = |node: &Node| {
        let mut notes: Vec<String> = node
            .book()
            .entries()
            .filter(|entry| entry.body.kind() == Kind::Note)
            .map(|entry| entry.act.note.clone())
            .collect();
        notes.sort_unstable();
        notes
    };
    log(&mut node, &[("kind", "note"), ("job", "MILL"), ("note", "one")]);
    let second = log(&mut node, &[("kind", "note"), ("job", "MILL"), ("note", "two")]);
    log(&mut node, &[("kind", "corrected"), ("corrects", &second), ("note", "three")]);
    assert_eq!(notes(&node), ["one", "three"]);
    let undo = |node: &mut Node| run(node, Command::Undo { back: false }).unwrap();
    assert_eq!(undo(&mut node)["struck"]["kind"], "corrected");
    assert_eq!(notes(&node), ["one", "two"]);
    assert_eq!(undo(&mut node)["struck"]["note"], "two");
    assert_eq!(undo(&mut node)["struck"]["note"], "one");
    assert_eq!(notes(&node), Vec::<String>::new());
    let back = run(&mut node, Command::Undo { back: true }).unwrap();
    assert_eq!(back["back"]["note"], "one");
    assert_eq!(notes(&node), ["one"]);
    assert_eq!(undo(&mut node)["struck"]["note"], "one");
    assert_eq!(notes(&node), Vec::<String>::new());
}

#[test]
fn a_purchase_is_undone_with_its_price_and_a_payment_is_undone_in_the_office() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    log(&mut node, &[("kind", "note"), ("job", "MILL"), ("note", "before")]);
    log(&mut node, &[("kind", "bought"), ("job", "MILL"), ("ticket", "7"), ("net", "12")]);
    let undone = run(&mut node, Command::Undo { back: false }).unwrap();
    assert_eq!(undone["struck"]["kind"], "bought");
    let undone = run(&mut node, Command::Undo { back: false }).unwrap();
    assert_eq!(undone["struck"]["note"], "before");
    run(&mut node, Command::AskDeposit { job: "MILL".to_owned(), amount: pounds("50") }).unwrap();
    let undone = run(&mut node, Command::Undo { back: false }).unwrap();
    assert_eq!(undone["struck"]["kind"], "deposit_asked");
    let deposits = node.book().entries().filter(|entry| entry.body.kind() == Kind::DepositAsked).count();
    assert_eq!(deposits, 0);
    run(&mut node, Command::SetRole { person: "Ines Quill".to_owned(), role: Role::Lead }).unwrap();
    assert!(refused(&mut node, Command::Undo { back: false }).contains("fivebar role"));
}

/// A week's invoice, issued on the laptop.
fn issued(node: &mut Node, job: &str) -> String {
    let entries = Path::new(SCENARIO);
    run(node, Command::Import { dir: entries.to_owned(), devices: Vec::new() }).unwrap();
    let command =
        Command::IssueInvoice { job: job.to_owned(), until: Some(day("2026-11-06")), with_extra: Vec::new() };
    let answer = run(node, command).unwrap();
    let document = &answer["document"];
    match document["series"].as_str().unwrap() {
        "" => document["number"].to_string(),
        series => format!("{series}-{}", document["number"]),
    }
}

#[test]
fn a_paper_is_credited_voided_and_paid_by_its_number() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let number = issued(&mut node, "GARAGE");
    let credit = |whole| Command::CreditInvoice { number: number.clone(), whole };
    assert!(refused(&mut node, credit(false)).contains("--whole"));
    // The sign-off of a stage that is billed.
    log(&mut node, &[("kind", "struck"), ("corrects", "e006")]);
    let preview =
        Command::PreviewInvoice { until: None, job: Some("GARAGE".to_owned()), with_extra: Vec::new() };
    let answer = run(&mut node, preview).unwrap();
    let [proposed] = answer["credits"].as_array().unwrap().as_slice() else { panic!("{answer}") };
    assert_eq!(proposed["of_number"], number);
    let answer = run(&mut node, credit(false)).unwrap();
    assert_eq!(answer["document"]["totals"], proposed["totals"]);
    let void = |number: &str, reason: &str| Command::VoidInvoice {
        number: number.to_owned(),
        reason: reason.to_owned(),
    };
    assert!(refused(&mut node, void(&number, "never sent")).contains("credit note"));
    assert!(refused(&mut node, void(&number, " ")).contains("say why"));
    let pay = |received: &str, cis_taken: &str| Command::Pay {
        number: number.clone(),
        received: Received {
            received: pounds(received),
            cis_taken: pounds(cis_taken),
            discount: pounds("3"),
            contra: pounds("1.50"),
            method: "bank".to_owned(),
            on: None,
            over: false,
        },
    };
    assert!(refused(&mut node, pay("100", "20")).contains("a householder, who never takes CIS off"));
    assert!(refused(&mut node, pay("100000", "0")).contains("add --over"));
    assert!(refused(&mut node, pay("-100", "0")).contains("more than nought"));
    let answer = run(&mut node, pay("120", "0")).unwrap();
    assert_eq!(answer["invoices"][0]["paid"], "124.50", "{answer}");
    let owed = run(&mut node, Command::Owed).unwrap();
    assert_eq!(owed["owed"][0]["closed"]["received"], "120.00", "{owed}");
    let late = Command::LateClaim { number: number.clone(), base_rate: None };
    assert!(refused(&mut node, late).contains("is a householder"));
    run(&mut node, credit(true)).unwrap();
    assert!(refused(&mut node, credit(true)).contains("nothing is left"));
    assert!(refused(&mut node, void("99", "x")).contains("there is no invoice 99"));
}

#[test]
fn an_invoice_that_never_went_out_is_made_void_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let number = issued(&mut node, "MILL");
    let void = || Command::VoidInvoice { number: number.clone(), reason: "never sent".to_owned() };
    let answer = run(&mut node, void()).unwrap();
    assert_eq!(answer["invoices"][0]["voided"], true);
    assert!(refused(&mut node, void()).contains("void already"));
    assert!(refused(&mut node, Command::AdoptInvoice { number }).contains("no paper 41 is set aside"));
}

#[test]
fn an_invoice_of_a_lost_device_is_adopted_where_it_came_before_the_cut() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let mut tablet = another(&mut node, folder.path(), "tablet", "Maren Oake", true);
    let mut desk = another(&mut node, folder.path(), "desk", "Maren Oake", true);
    let number = issued(&mut tablet, "MILL");
    bring(&mut tablet, &mut desk);
    // The laptop has not heard of the invoice when it takes the tablet off the crew.
    run(&mut node, Command::Retire { device: "tablet".to_owned(), reason: "lost".to_owned(), words: None })
        .unwrap();
    bring(&mut node, &mut desk);
    let listed =
        |node: &mut Node| run(node, Command::Invoices).unwrap()["invoices"].as_array().unwrap().len();
    assert_eq!(listed(&mut desk), 0);
    let adopt = || Command::AdoptInvoice { number: number.clone() };
    assert!(refused(&mut node, adopt()).contains("is set aside"));
    let answer = run(&mut desk, adopt()).unwrap();
    assert_eq!(answer["invoices"][0]["number"], number);
    assert!(refused(&mut desk, adopt()).contains("own already"));
    bring(&mut desk, &mut node);
    assert_eq!(listed(&mut node), 1, "the adoption brings all that the paper prints");
}

#[test]
fn an_import_says_how_far_it_is_to_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let (mut node, _) =
        Node::found(&folder.path().join("data"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
    let said = RefCell::new(Vec::new());
    let say = |progress: Progress| said.borrow_mut().push(progress);
    let command = Command::Import { dir: SCENARIO.into(), devices: Vec::new() };
    let answer = run_saying(&mut node, command, &say).unwrap();
    let said = said.into_inner();
    for step in [Step::RowsRead, Step::EventsWritten] {
        let steps: Vec<_> = said.iter().filter(|progress| progress.step == step).collect();
        assert!(steps.windows(2).all(|pair| pair[0].done <= pair[1].done), "{steps:?}");
        assert_eq!(steps.last().map(|last| last.done), steps.last().map(|last| last.of));
    }
    assert_eq!(said.last().map(|last| json!(last.of)), Some(answer["written"].clone()));
}

#[test]
fn a_folder_brings_its_photos_and_a_bad_row_keeps_none() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let week = folder.path().join("week");
    std::fs::create_dir(&week).unwrap();
    std::fs::write(week.join("wall.png"), b"\x89PNG\r\n\x1a\n a wall").unwrap();
    let header = "entry,device,person,at,done_on,kind,job,stage,what,quantity,unit,from,to,break_min,minutes,\
        where,corrects,note,photo";
    let with = |photo: &str| {
        format!("{header}\np1,laptop,Maren Oake,2026-11-05T16:00,,photo,MILL,,,,,,,,,,,,{photo}\n")
    };
    let import = || Command::Import { dir: week.clone(), devices: Vec::new() };
    for outside in ["../lists/crew.csv", "/etc/hostname", "nowhere.png"] {
        std::fs::write(week.join("entries.csv"), with(outside)).unwrap();
        assert!(refused(&mut node, import()).contains("column photo"), "{outside}");
    }
    assert!(!node.folder().join("photos").exists());
    std::fs::write(week.join("entries.csv"), with("wall.png")).unwrap();
    run(&mut node, import()).unwrap();
    let kept = std::fs::read_dir(node.folder().join("photos")).unwrap().count();
    assert_eq!(kept, 1);
    let hash = blake3::hash(b"\x89PNG\r\n\x1a\n a wall").to_hex();
    let of_hash = [("kind", "photo"), ("job", "MILL"), ("photo", hash.as_str())];
    run(&mut node, Command::Log { row: row(&of_hash) }).unwrap();
    let unknown = "0".repeat(64);
    let message = refused(&mut node, Command::Log { row: row(&[("kind", "photo"), ("photo", &unknown)]) });
    assert!(message.contains("not on this device"), "{message}");
}
