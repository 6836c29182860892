//! A crew with the demo's week, for the tests of screens.

use std::path::Path;

use daemon::{Command, Node, Role};
use ledger::SessionId;
use tempfile::TempDir;
use trade::Moment;

use crate::look::{Asked, Look};
use crate::viewer::Viewer;

const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scenario");

/// A crew whose ledger stands in a folder that goes when the test ends.
pub(crate) struct Trial {
    pub(crate) node: Node,
    _folder: TempDir,
}

impl Trial {
    /// Founded by Maren Oake, with the week in it.
    pub(crate) fn with_the_week() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("data");
        let (mut node, _) = Node::found(&data, "Oake Rooms", "Maren Oake", "maren-laptop").unwrap();
        let import = Command::Import { dir: Path::new(SCENARIO).to_owned(), devices: Vec::new() };
        daemon::command::run(&mut node, import).unwrap();
        Self { node, _folder: folder }
    }

    /// Somebody of the crew at a page.
    pub(crate) fn viewer(&self, name: &str) -> Viewer {
        let mut people = self.node.ledger().roster().people();
        let person = people.find(|person| person.name == name).unwrap();
        Viewer {
            person: person.person,
            name: name.to_owned(),
            role: person.role,
            session: SessionId([7; 16]),
            phone: format!("{name}’s phone"),
            sees_money: person.role == Role::Owner && self.node.is_office(),
            form_token: "token".to_owned(),
            cookie: String::new(),
            is_unseen: false,
        }
    }

    /// What a look of somebody at a time gives.
    pub(crate) fn look<R>(
        &self,
        name: &str,
        at: &str,
        asked: &Asked,
        look: impl FnOnce(&Look<'_>) -> R,
    ) -> R {
        let viewer = self.viewer(name);
        let now = Moment::parse(at, "Europe/London").unwrap();
        look(&Look::new(&self.node, &viewer, asked, now.utc_ms()).unwrap())
    }
}

/// A question to a screen.
pub(crate) fn asked(job: &str, stage: &str) -> Asked {
    Asked { job: job.to_owned(), stage: stage.to_owned(), ..Asked::default() }
}
