//! Sentences: shown, answered, logged once, and what they teach.

use super::*;

#[test]
fn a_sentence_is_shown_before_it_is_logged_and_teaches_the_crew_its_words() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let said = |line: &str, answers: &[Pressed]| Said {
        job: Some("GARAGE".to_owned()),
        line: line.to_owned(),
        answers: answers.iter().map(|answer| Answer { question: 0, answer: answer.clone() }).collect(),
        at: None,
    };
    let boards = said("three bags of finish and two hours on the studs", &[]);
    let heard = run(&mut node, Command::Hear(boards.clone())).unwrap();
    assert_eq!(heard["heard"]["proposals"][0]["columns"]["what"], "finish plaster");
    let before = node.book().entries().count();
    let log = |said: Said| Command::LogSaid { said, only: Vec::new(), key: Some("once".to_owned()) };
    let logged = run(&mut node, log(boards.clone())).unwrap();
    assert_eq!(logged["logged"], json!(["once-0", "once-1"]));
    // A form that is sent twice is one.
    run(&mut node, log(boards)).unwrap();
    assert_eq!(node.book().entries().count(), before + 2);
    let kept = node.book().entries().find(|entry| entry.act.row_key == "once-0").unwrap();
    assert_eq!(kept.act.said, "three bags of finish and two hours on the studs");

    // What is open is not logged, and nothing of the line is.
    let open = run(&mut node, Command::LogSaid { said: said("six boards", &[]), only: vec![], key: None });
    assert!(open.unwrap_err().to_string().contains("a question about it is open"));
    let wrong = run(&mut node, Command::Hear(said("six boards", &[Pressed::Choice(9)])));
    assert!(wrong.unwrap_err().to_string().contains("answers no open question"));

    // An answer about a phrase is kept with the price book, and the phrase is asked about no more.
    let pipes = "two hours first fix pipes";
    let asked = run(&mut node, Command::Hear(said(pipes, &[]))).unwrap();
    assert_eq!(asked["heard"]["questions"][0]["phrase"], "first fix pipes");
    let answered = Command::LogSaid { said: said(pipes, &[Pressed::Choice(0)]), only: vec![], key: None };
    assert_eq!(run(&mut node, answered).unwrap()["taught"], json!(["first fix pipes"]));
    let known = run(&mut node, Command::Hear(said(pipes, &[]))).unwrap();
    assert_eq!(known["heard"]["proposals"][0]["columns"]["stage"], "first fix water");
    run(&mut node, Command::Teach { phrase: "First fix pipes".to_owned(), means: None }).unwrap();
    let again = run(&mut node, Command::Hear(said(pipes, &[]))).unwrap();
    assert_eq!(again["heard"]["questions"][0]["phrase"], "first fix pipes");
}
