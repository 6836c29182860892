//! Who looks at the page, and what they may see.

use daemon::Role;
use ledger::PersonId;

/// The person of a page session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Viewer {
    /// Who.
    pub(crate) person: PersonId,
    /// Their name.
    pub(crate) name: String,
    /// Their role now.
    pub(crate) role: Role,
    /// What the browser was called when it joined.
    pub(crate) phone: String,
    /// Rates, prices and invoices are shown: to an owner, on a device that reads the office's chains.
    pub(crate) sees_money: bool,
    /// What every form of this session carries, so that no other site can send one.
    pub(crate) form_token: String,
}

impl Viewer {
    /// Whether this is the boss.
    pub(crate) fn is_owner(&self) -> bool {
        self.role == Role::Owner
    }

    /// Whether this is the boss or the foreman.
    pub(crate) fn leads(&self) -> bool {
        self.role >= Role::Lead
    }
}
