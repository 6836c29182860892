//! Papers that are set aside by a fork or a cut, and taking on those that went out.

#[path = "../../../../../tests/folders.rs"]
mod folders;

use folders::copy;
use ledger::fork::Comparison;
use projections::QuestionKind;
use serde_json::Value;

use super::*;

/// Two office devices that have met, of which each heard one of the two lines that a tablet of the boss's wrote: it was
/// set back, whole disk and all, after `shared`.
struct Forked {
    desk: Node,
    study: Node,
}

fn forked(
    folder: &Path,
    shared: impl FnOnce(&mut Node),
    one: impl FnOnce(&mut Node),
    other: impl FnOnce(&mut Node),
) -> Forked {
    let mut node = laptop(folder);
    run(&mut node, Command::Import { dir: SCENARIO.into(), devices: Vec::new() }).unwrap();
    let mut tablet = another(&mut node, folder, "tablet", "Maren Oake", true);
    let mut desk = another(&mut node, folder, "desk", "Maren Oake", true);
    let mut study = another(&mut node, folder, "study", "Maren Oake", true);
    bring(&mut node, &mut tablet);
    shared(&mut tablet);
    drop(tablet);
    let (data, image, lost) = (folder.join("tablet"), folder.join("image"), folder.join("lost"));
    copy(&data, &image);
    let mut tablet = Node::open(&data).unwrap();
    one(&mut tablet);
    bring(&mut tablet, &mut desk);
    drop(tablet);
    std::fs::rename(&data, &lost).unwrap();
    std::fs::rename(&image, &data).unwrap();
    std::fs::rename(lost.join("mark.json"), data.join("mark.json")).unwrap();
    let mut tablet = Node::open(&data).unwrap();
    other(&mut tablet);
    bring(&mut tablet, &mut study);
    meet(&mut desk, &mut study);
    Forked { desk, study }
}

/// Both come to hold what either holds, and the proof where their lines of a chain part.
fn meet(one: &mut Node, other: &mut Node) {
    let chains: Vec<_> = one.ledger().chains().map(|chain| chain.start.chain).collect();
    for chain in chains {
        let Some(shown) = one.read_run(chain, 0).unwrap() else { continue };
        if let Comparison::Forked(proof) = other.compare(&shown).unwrap() {
            one.store_fork(proof.clone()).unwrap().unwrap();
            other.store_fork(proof).unwrap().unwrap();
        }
    }
    bring(one, other);
    bring(other, one);
}

fn bill(node: &mut Node, job: &str) -> String {
    let until = Some(day("2026-11-06"));
    let command = Command::IssueInvoice { job: job.to_owned(), until, with_extra: Vec::new() };
    number_of(&run(node, command).unwrap()["document"])
}

fn credit(node: &mut Node, number: &str, whole: bool) -> String {
    let command = Command::CreditInvoice { number: number.to_owned(), whole };
    number_of(&run(node, command).unwrap()["document"])
}

fn number_of(document: &Value) -> String {
    format!("{}-{}", document["series"].as_str().unwrap(), document["number"])
}

fn adopt(number: &str) -> Command {
    Command::AdoptInvoice { number: number.to_owned() }
}

/// The keys of the papers that are set aside.
fn keys_aside(node: &mut Node) -> Vec<String> {
    let listed = run(node, Command::SetAside(SetAsideWish::List)).unwrap();
    let rows = listed["set_aside"].as_array().unwrap();
    let papers = rows.iter().filter(|row| row["by_hand"].as_str().is_some_and(|by| by.contains("adopt")));
    papers.map(|row| row["key"].as_str().unwrap().to_owned()).collect()
}

/// What is asked of this kind.
fn asked(node: &Node, kind: QuestionKind) -> Vec<String> {
    let found = projections::questions(node.book()).into_iter().filter(|question| question.kind == kind);
    found.map(|question| question.text).collect()
}

/// The numbers that are listed, each with its total.
fn listed(node: &mut Node) -> Vec<(String, String)> {
    let listed = run(node, Command::Invoices).unwrap();
    let rows = listed["invoices"].as_array().unwrap().iter();
    rows.map(|row| (row["number"].as_str().unwrap().to_owned(), row["total"].as_str().unwrap().to_owned()))
        .collect()
}

/// How many papers there are to issue on the job at the mill: invoices, and credit notes.
fn to_issue(node: &mut Node) -> (usize, usize) {
    let preview = Command::PreviewInvoice {
        until: Some(day("2026-11-06")),
        job: Some("MILL".to_owned()),
        with_extra: Vec::new(),
    };
    let answer = run(node, preview).unwrap();
    let count = |name: &str| answer[name].as_array().unwrap().len();
    (count("invoices"), count("credits"))
}

/// Some event of the office's, so that its chain has begun.
fn set_a_price(node: &mut Node) {
    let pack_cost = "9".parse().unwrap();
    run(node, Command::Price { item: "finish plaster".to_owned(), pack_cost, from: None }).unwrap();
}

fn strike(node: &mut Node) {
    log(node, &[("kind", "struck"), ("corrects", "e040")]);
}

#[test]
fn a_credit_note_of_a_lost_device_is_adopted_as_the_same_paper() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    run(&mut node, Command::Import { dir: SCENARIO.into(), devices: Vec::new() }).unwrap();
    let mut tablet = another(&mut node, folder.path(), "tablet", "Maren Oake", true);
    let mut desk = another(&mut node, folder.path(), "desk", "Maren Oake", true);
    let invoice = bill(&mut tablet, "MILL");
    bring(&mut tablet, &mut node);
    strike(&mut node);
    bring(&mut node, &mut tablet);
    let number = credit(&mut tablet, &invoice, false);
    bring(&mut tablet, &mut desk);
    // The laptop has not heard of the credit note when it takes the tablet off the crew.
    let retire = Command::Retire { device: "tablet".to_owned(), reason: "lost".to_owned(), words: None };
    run(&mut node, retire).unwrap();
    bring(&mut node, &mut desk);
    assert_eq!(to_issue(&mut desk), (0, 1), "it does not count, so it is still to give back");
    let [question] = &asked(&desk, QuestionKind::PaperSetAside)[..] else { panic!("it is asked about") };
    assert!(question.starts_with(&format!("Credit note {number} of ")), "{question}");
    assert!(
        question.contains("taken off the crew") && question.contains("fivebar invoice adopt"),
        "{question}"
    );
    assert_eq!(asked(&desk, QuestionKind::NotCounted), [""; 0], "it is asked about once");

    let before = listed(&mut desk);
    run(&mut desk, adopt(&number)).unwrap();
    let [_, (taken_on, total)] = &listed(&mut desk)[..] else { panic!("two papers count") };
    assert_eq!((before.len(), taken_on), (1, &number));
    assert!(total.starts_with('-'), "it gives back: {total}");
    assert_eq!((to_issue(&mut desk), keys_aside(&mut desk)), ((0, 0), Vec::new()));
    assert_eq!(asked(&desk, QuestionKind::PaperSetAside), [""; 0]);
    assert!(refused(&mut desk, adopt(&number)).contains("own already"));
    bring(&mut desk, &mut node);
    assert_eq!((listed(&mut node), to_issue(&mut node)), (listed(&mut desk), (0, 0)));
}

#[test]
fn two_papers_of_one_number_are_told_apart_by_their_keys_and_only_one_is_taken_on() {
    let folder = tempfile::tempdir().unwrap();
    let mut number = String::new();
    let bill_it = |node: &mut Node| number = bill(node, "MILL");
    let Forked { mut desk, .. } = forked(folder.path(), set_a_price, bill_it, |node| {
        log(
            node,
            &[
                ("kind", "hours"),
                ("job", "MILL"),
                ("stage", "skim"),
                ("minutes", "60"),
                ("done_on", "2026-11-05"),
            ],
        );
        bill(node, "MILL");
    });
    let keys = keys_aside(&mut desk);
    let [one, other] = &keys[..] else { panic!("{keys:?}") };
    assert_eq!(asked(&desk, QuestionKind::PaperSetAside).len(), 2);
    let message = refused(&mut desk, adopt(&number));
    assert!(message.contains(one) && message.contains(other), "{message}");
    assert!(refused(&mut desk, adopt(&one[..7])).contains("no paper"), "so little is no key");
    let wish = SetAsideWish::Again(vec![one.clone()]);
    assert!(refused(&mut desk, Command::SetAside(wish)).contains(&format!("adopt {one}")));
    run(&mut desk, adopt(other)).unwrap();
    assert_eq!(listed(&mut desk).iter().map(|(number, _)| number).collect::<Vec<_>>(), [&number]);
    let paper = |node: &Node| crate::invoices::works(node)[1].papers[0].document.invoice.short();
    assert_eq!(paper(&desk), *other, "the one that was named");
    assert!(refused(&mut desk, adopt(one)).contains("another paper with its number counts already"));
    let left = asked(&desk, QuestionKind::PaperSetAside);
    assert!(left.len() == 1 && left[0].contains("Issue it anew"), "{left:?}");
}

#[test]
fn papers_of_one_number_that_offices_apart_took_on_both_count_until_one_is_made_anew() {
    let folder = tempfile::tempdir().unwrap();
    let mut number = String::new();
    let bill_it = |node: &mut Node| number = bill(node, "MILL");
    let Forked { mut desk, mut study } =
        forked(folder.path(), set_a_price, bill_it, |node| drop(bill(node, "MILL")));
    let keys = keys_aside(&mut desk);
    run(&mut desk, adopt(&keys[0])).unwrap();
    run(&mut study, adopt(&keys[1])).unwrap();
    meet(&mut desk, &mut study);
    for node in [&mut desk, &mut study] {
        let numbers: Vec<String> = listed(node).into_iter().map(|(number, _)| number).collect();
        assert_eq!(numbers, [number.clone(), number.clone()], "both went out, and both are seen");
        let [question] = &asked(node, QuestionKind::NumberTwice)[..] else { panic!("it is asked about") };
        assert!(keys.iter().all(|key| question.contains(key)), "{question}");
        assert!(question.contains("--whole") && question.contains("issue it anew"), "{question}");
        let credit = Command::CreditInvoice { number: number.clone(), whole: true };
        let message = refused(node, credit);
        assert!(keys.iter().all(|key| message.contains(key)), "{message}");
    }
    // A person gives all of one back by its key. It was the same work, so nothing is to bill anew.
    credit(&mut desk, &keys[1], true);
    assert_eq!(asked(&desk, QuestionKind::NumberTwice), [""; 0]);
    assert_eq!((asked(&desk, QuestionKind::BilledTwice), to_issue(&mut desk)), (Vec::new(), (0, 0)));
    meet(&mut desk, &mut study);
    assert_eq!((listed(&mut study), to_issue(&mut study)), (listed(&mut desk), (0, 0)));
    assert_eq!(asked(&study, QuestionKind::NumberTwice), [""; 0]);
}

#[test]
fn what_speaks_against_taking_a_credit_note_on_is_said_and_asked() {
    let folder = tempfile::tempdir().unwrap();
    let (mut invoice, mut number) = (String::new(), String::new());
    let Forked { mut desk, mut study } = forked(
        folder.path(),
        set_a_price,
        |node| {
            invoice = bill(node, "MILL");
            strike(node);
            number = credit(node, &invoice, false);
        },
        set_a_price,
    );
    let question = |node: &Node| {
        let asked = asked(node, QuestionKind::PaperSetAside).into_iter();
        asked.filter(|text| text.starts_with("Credit note")).collect::<Vec<_>>().join("; ")
    };
    let message = refused(&mut desk, adopt(&number));
    assert!(message.contains("its invoice is set aside, too"), "{message}");
    assert!(question(&desk).contains("its invoice is set aside, too"));
    run(&mut desk, adopt(&invoice)).unwrap();
    assert!(question(&desk).contains("If the customer has it, take it on"));
    // The crossing-out is entered again, and somebody gives back what it made less by a credit note of their own.
    run(&mut desk, Command::SetAside(SetAsideWish::AllAgain)).unwrap();
    meet(&mut desk, &mut study);
    assert_eq!(to_issue(&mut study), (0, 1));
    let anew = credit(&mut study, &invoice, false);
    meet(&mut desk, &mut study);
    let message = refused(&mut desk, adopt(&number));
    assert!(message.contains(&format!("{anew} gave back the same")), "{message}");
    assert!(question(&desk).contains(&format!("{anew} gave back the same")));
    // That one never went out.
    let void =
        |number: &str| Command::VoidInvoice { number: number.to_owned(), reason: "never sent".to_owned() };
    run(&mut desk, void(&anew)).unwrap();
    run(&mut desk, adopt(&number)).unwrap();
    assert_eq!((to_issue(&mut desk), question(&desk)), ((0, 0), String::new()));
}
