//! A press of a button that may reach the node later than it was made, and more than once.
//!
//! What remembers a press is the ledger: the first event of the command that it gives has an id made from the
//! press's own. So a press acts once also if the node was started anew in between. A command that writes no
//! event is done each time.

use ledger::{Act, EntryId, PersonId};
use projections::words;
use serde_json::{Value, json};
use trade::Moment;

use crate::command::{Command, run_for};
use crate::error::NodeError;
use crate::node::{Node, act_at};

/// A press of a button.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Press {
    /// The phone's own id for it.
    pub id: String,
    /// When it was, by the phone's clock; without it, when it arrives.
    pub at: Option<Moment>,
}

/// A press as the command at work sees it: the id of its event, and when it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pressed {
    pub(crate) entry: EntryId,
    pub(crate) at_ms: i64,
}

/// Runs a command that came by a press. The second time it does nothing and answers what the first one wrote,
/// in words, under `done_already`.
///
/// # Errors
/// As [`crate::command::run`].
pub fn run(node: &mut Node, author: PersonId, press: &Press, command: Command) -> Result<Value, NodeError> {
    if let Some(said) = done_already(node, author, press).filter(|_| !shows_what_it_made(&command)) {
        return Ok(json!({ "done_already": said }));
    }
    // Nothing is pressed in the future, whatever a phone's clock says.
    let now = node.now_ms();
    let at_ms = press.at.map_or(now, |at| at.utc_ms().min(now));
    node.press.set(Some(Pressed { entry: id_of_event(node, press), at_ms }));
    let done = run_for(node, author, command);
    node.press.set(None);
    done
}

/// Whether a command shows something that has to be shown again when its button is pressed twice, since the
/// second answer is the one that a person sees. Such a command looks itself whether its press came before.
#[must_use]
pub const fn shows_what_it_made(command: &Command) -> bool {
    matches!(command, Command::Invite(_) | Command::PageLink { .. })
}

/// What a person's press wrote when it came before, in words; none where it did not.
#[must_use]
pub fn done_already(node: &Node, author: PersonId, press: &Press) -> Option<String> {
    let book = node.book();
    let event = book.written_by(author, id_of_event(node, press))?;
    Some(words::words(&book.lists(), book, &event.act, &event.body))
}

fn id_of_event(node: &Node, press: &Press) -> EntryId {
    EntryId::of_row(&node.crew(), "press", &press.id)
}

impl Node {
    /// An act of a person, here and now. The first act of a command that came by a press of a button has the
    /// press's id and time: what is sent twice is then one event, however long after and whoever was started
    /// anew in between.
    ///
    /// # Errors
    /// [`NodeError::NoRandomness`], or a clock far outside of this millennium.
    pub fn act(&self, person: PersonId) -> Result<Act, NodeError> {
        let (at_ms, entry) = match self.press.take() {
            Some(press) => (press.at_ms, press.entry),
            None => (self.now_ms(), EntryId(self.machine().random()?)),
        };
        act_at(at_ms, person, entry)
    }

    /// The instant of what is done: now, or when its button was pressed.
    pub(crate) fn instant_ms(&self) -> i64 {
        self.press.get().map_or_else(|| self.now_ms(), |press| press.at_ms)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timers::tests::found;

    fn press(id: &str, at: &str) -> Press {
        Press { id: id.to_owned(), at: Some(Moment::parse(at, "Europe/London").unwrap()) }
    }

    #[test]
    fn what_a_phone_sends_again_counts_once_and_from_when_it_was_pressed() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let maren = node.device().person;
        let (begun, ended) = (press("1", "2026-07-06T08:00"), press("2", "2026-07-06T09:30"));
        let start = || Command::Start { job: "GARAGE".to_owned(), stage: None };
        let stop = || Command::Stop { break_minutes: 0, at: None };
        for _ in 0..2 {
            run(&mut node, maren, &begun, start()).unwrap();
        }
        for _ in 0..2 {
            run(&mut node, maren, &ended, stop()).unwrap();
        }
        let again = run(&mut node, maren, &begun, start()).unwrap();
        assert_eq!(again["done_already"], "started 08:00");
        assert!(node.book().running().is_empty());
        assert_eq!(node.book().spells().iter().map(|spell| spell.minutes).collect::<Vec<_>>(), [90]);
    }

    #[test]
    fn a_code_is_shown_again_and_not_made_again() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let maren = node.device().person;
        let invite = || {
            Command::Invite(crate::invites::InviteWish {
                person: "Ada Sorrel".to_owned(),
                role: crate::Role::Hand,
                shared: false,
                office: false,
                addresses: vec![([192, 0, 2, 1], 5105).into()],
                minutes: 15,
            })
        };
        let on = "2026-07-06T08:00";
        let code = |node: &mut Node, id| run(node, maren, &press(id, on), invite()).unwrap()["code"].clone();
        let first = code(&mut node, "1");
        drop(node);
        let mut node = Node::open(&folder.path().join("data")).unwrap();
        assert_eq!(code(&mut node, "1"), first);
        assert_eq!(node.device().invites.len(), 1);
        assert_ne!(code(&mut node, "2"), first);
    }

    #[test]
    fn a_press_acts_once_also_on_lists_and_after_a_restart() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let maren = node.device().person;
        let on = "2026-07-06T08:00";
        let price = || Command::Price {
            item: "finish plaster".to_owned(),
            pack_cost: "12.50".parse().unwrap(),
            from: "2026-07-06".parse().ok(),
        };
        let deposit_on =
            |job: &str| Command::AskDeposit { job: job.to_owned(), amount: "100".parse().unwrap() };
        run(&mut node, maren, &press("price", on), price()).unwrap();
        run(&mut node, maren, &press("deposit", on), deposit_on("GARAGE")).unwrap();
        let events = |node: &Node| node.ledger().chains().map(|chain| chain.tip.next_seq).sum::<u64>();
        let before = events(&node);
        drop(node);
        let mut node = Node::open(&folder.path().join("data")).unwrap();
        let again = run(&mut node, maren, &press("price", on), price()).unwrap();
        assert_eq!(again["done_already"], "price set");
        let again = run(&mut node, maren, &press("deposit", on), deposit_on("GARAGE")).unwrap();
        assert_eq!(again["done_already"], "deposit asked for, £100.00");
        assert_eq!(events(&node), before);
        // What failed wrote nothing, and may be pressed again.
        assert!(run(&mut node, maren, &press("other", on), deposit_on("BARN")).is_err());
        run(&mut node, maren, &press("other", on), deposit_on("MILL")).unwrap();
        assert_eq!(events(&node), before + 1);
    }
}
