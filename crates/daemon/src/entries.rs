//! The entries, listed as they stand, and yes to what a mate logged.

use std::collections::BTreeMap;

use ledger::kinds::Carried;
use ledger::site::Accepted;
use ledger::{Audience, Body, EntryRef, Payload, PersonId};
use serde_json::{Value, json};
use trade::Day;

use crate::command::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// Everything that was logged, of one job or of all, of one day or of all. What was changed or
/// crossed out, waits or does not count is marked, and has its history.
///
/// # Errors
/// A job that is not listed.
pub(crate) fn entries(node: &Node, job: Option<&str>, on: Option<Day>) -> Result<Value, NodeError> {
    let book = node.book();
    let job = job.map(|code| named::job(&book.lists(), code).map(|listed| listed.job)).transpose()?;
    Ok(json!({ "entries": projections::log(book, job, on) }))
}

/// Accepts what was logged for a person by somebody else, named by its row key or the beginning of
/// its id.
///
/// # Errors
/// A name that means none or several of what waits, or no right to accept it.
pub(crate) fn accept(node: &mut Node, author: PersonId, wanted: &str) -> Result<Value, NodeError> {
    let proposed = node.book().proposed();
    let waiting: BTreeMap<EntryRef, (String, Carried)> = proposed
        .map(|logged| (logged.act.entry_ref(), (logged.key(), logged.body.kind().carried())))
        .collect();
    let mut meant = waiting.iter().filter(|(entry, (key, _))| {
        !wanted.is_empty() && (key == wanted || entry.entry.to_string().starts_with(wanted))
    });
    let (Some((&of, (key, carried))), None) = (meant.next(), meant.next()) else {
        let keys: Vec<&str> = waiting.values().map(|(key, _)| key.as_str()).collect();
        return Err(NodeError::bad_input(if keys.is_empty() {
            "nothing waits to be accepted".to_owned()
        } else {
            format!("{wanted:?} means none, or more than one, of what waits: {}", keys.join(", "))
        }));
    };
    let audience = match carried {
        Carried::Office => Audience::Office,
        Carried::Crew | Carried::Either => Audience::Crew,
    };
    let act = node.act(author)?;
    let body = Body::Accepted(Accepted { of });
    node.append(&[Write { audience, payload: Payload { act, body } }])?;
    Ok(json!({ "accepted": key, "person": node.book().lists().person(of.person) }))
}

#[cfg(test)]
mod tests {
    use ledger::DeviceSecret;
    use ledger::roster_events::DeviceAdmitted;
    use ledger::site::QuestionSettled;

    use super::*;
    use crate::command::{Command, run};
    use crate::device::DeviceFile;
    use crate::timers::tests::{found, refused};

    /// Hands over the crew's events that one node holds and the other does not.
    fn bring(from: &mut Node, to: &mut Node) {
        let chains: Vec<_> = from.ledger().chains().map(|chain| chain.start).collect();
        for start in chains.into_iter().filter(|start| start.audience == Audience::Crew) {
            let mut next_seq = to.ledger().chain(&start.chain).map_or(0, |chain| chain.tip.next_seq);
            while let Some(run) = from.read_run(start.chain, next_seq).unwrap() {
                next_seq = run.next_seq();
                let outcomes = to.store_runs(|_| Some(start), &[run]).unwrap();
                assert!(outcomes.iter().all(Result::is_ok), "{outcomes:?}");
            }
        }
    }

    #[test]
    fn what_is_not_listed_or_does_not_wait_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let maren = node.device().person;
        let message = refused(accept(&mut node, maren, "7f3a"));
        assert!(message.contains("nothing waits to be accepted"), "{message}");
        let message = refused(entries(&node, Some("GARGE"), None));
        assert!(message.contains("there are: GARAGE, MILL"), "{message}");
        assert_eq!(entries(&node, None, None).unwrap()["entries"], json!([]));
    }

    #[test]
    fn what_a_mate_logged_counts_once_it_is_accepted() {
        let folder = tempfile::tempdir().unwrap();
        let mut laptop = found(folder.path());
        let maren = laptop.device().person;
        let person = |node: &Node, name: &str| {
            node.ledger().roster().people().find(|person| person.name == name).unwrap().person
        };
        let (ines, crew) = (person(&laptop, "Ines Quill"), laptop.crew());
        let secret = DeviceSecret::from_seed(&[9; 32]);
        let admitted = DeviceAdmitted {
            device: secret.public(),
            name: "ines-phone".to_owned(),
            person: ines,
            shared: false,
            office: false,
        };
        let act = laptop.act(laptop.device().person).unwrap();
        let payload = Payload { act, body: Body::DeviceAdmitted(admitted) };
        laptop.append(&[Write { audience: Audience::Crew, payload }]).unwrap();
        let file = DeviceFile::new(&secret, crew, "ines-phone".to_owned(), ines);
        let mut phone = Node::join(&folder.path().join("phone"), file).unwrap();
        bring(&mut laptop, &mut phone);

        let row = [
            ("kind", "hours"),
            ("job", "GARAGE"),
            ("stage", "stud walls"),
            ("minutes", "60"),
            ("person", "Tobi Larch"),
        ];
        let row = row.into_iter().map(|(column, value)| (column.to_owned(), value.to_owned())).collect();
        let logged = run(&mut phone, Command::Log { row }).unwrap();
        let key = logged["key"].as_str().unwrap();
        bring(&mut phone, &mut laptop);

        assert!(laptop.book().spells().is_empty());
        // Whoever logged it can't also say yes to it.
        let message = refused(accept(&mut phone, ines, key));
        assert!(message.contains("that is for the boss or the foreman"), "{message}");
        let message = refused(accept(&mut laptop, maren, "no-such-key"));
        assert!(message.contains(key), "{message}");
        // Whoever answers the question about it first can still say yes to it.
        let question = projections::questions(laptop.book()).remove(0).key;
        let settled = Payload {
            act: laptop.act(maren).unwrap(),
            body: Body::QuestionSettled(QuestionSettled { question }),
        };
        laptop.append(&[Write { audience: Audience::Crew, payload: settled }]).unwrap();
        assert_eq!(projections::questions(laptop.book()), []);
        let waits = entries(&laptop, Some("GARAGE"), None).unwrap();
        assert_eq!(waits["entries"][0]["text"], "waits for a yes: 1 h 00");
        let accepted = accept(&mut laptop, maren, key).unwrap();
        assert_eq!((&accepted["accepted"], &accepted["person"]), (&json!(key), &json!("Tobi Larch")));
        assert_eq!(laptop.book().spells().iter().map(|spell| spell.minutes).collect::<Vec<_>>(), [60]);
    }
}
