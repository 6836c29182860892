//! What a contractor certifies of an application, and what is asked of it.

use super::*;
use crate::command::ApplicationCommand;

fn certified(node: &mut Node, sum: &str) {
    let (job, reference) = ("MILL".to_owned(), "PN-1".to_owned());
    let said = ApplicationCommand::Certify { job, number: 1, sum: pounds(sum), on: None, reference };
    run(node, Command::Applications(said)).unwrap();
}

fn asked(node: &mut Node) -> bool {
    run(node, Command::SortOut).unwrap().to_string().contains("was certified of application 1")
}

#[test]
fn less_than_was_applied_for_is_asked_about_and_more_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    log(&mut node, &[("kind", "hours"), ("job", "MILL"), ("stage", "skim"), ("minutes", "480")]);
    let (job, with_extra) = ("MILL".to_owned(), Vec::new());
    let make = ApplicationCommand::Make { job, until: None, with_extra, due_on: None, final_on: None };
    let made = run(&mut node, Command::Applications(make)).unwrap();
    // Eight hours of Maren's at 42.00, less 5 % held back.
    assert_eq!(made["application"]["applied"], "319.20", "{made:#}");
    certified(&mut node, "330");
    assert!(!asked(&mut node), "they pay more than was asked for");
    certified(&mut node, "200");
    assert!(asked(&mut node));
    certified(&mut node, "319.20");
    assert!(!asked(&mut node));
}
