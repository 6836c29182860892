//! Who uses this device's page: its sessions, and the links by which a browser joins.
//!
//! They stand in a small file of their own beside the device's, written whole and read by its owner only.
//! It holds hashes of tokens and never a token: who reads the file can't be anybody. That a session was
//! opened or closed is an event as well, so that other devices know for whom this one vouches.

use ledger::roster_events::{PersonListed, Role, SessionClosed, SessionOpened};
use ledger::{Audience, Body, EntryId, Payload, PersonId, SessionId};
use serde::{Deserialize, Serialize};

use crate::error::NodeError;
use crate::hashed;
use crate::machine::Machine;
use crate::node::{Node, OF_THE_FOLDER, Write};

const FILE: &str = "page.json";
/// How long a link is good for.
pub const LINK_MINUTES: i64 = 15;
/// After so many days without use a session is over, where nobody set another number.
pub const USUAL_IDLE_DAYS: u16 = 60;
const DAY_MS: i64 = 24 * 3_600_000;
/// How long a closed session is told apart from one that never was.
const CLOSED_KEPT_MS: i64 = 90 * 24 * 3_600_000;
/// How much older than the truth "last seen" may be on disk.
const SEEN_STEP_MS: i64 = 10 * 60_000;
/// Longest name of a browser, in characters.
const MAX_NAME: usize = 60;

/// A browser's session.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PageSession {
    /// The session.
    pub session: SessionId,
    /// Whose it is.
    pub person: PersonId,
    /// What the browser is called.
    pub name: String,
    /// Scheme, host and port it was opened for. A cookie is sent to every port of a host; a session is not
    /// good at another.
    pub origin: String,
    /// When it was opened, in milliseconds since 1970.
    pub opened_ms: i64,
    /// When it was last used; up to ten minutes behind.
    pub seen_ms: i64,
    /// When it was closed.
    pub closed_ms: Option<i64>,
    /// It was closed because nobody had used it for long.
    #[serde(default)]
    pub unused: bool,
    token_hash: String,
    closing_is_logged: bool,
}

/// A link that lets one browser join.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Link {
    person: PersonId,
    token_hash: String,
    /// The press of the button that made it.
    #[serde(default)]
    press: Option<EntryId>,
    expires_ms: i64,
    used: bool,
}

/// The file.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct PageFile {
    /// Keys the tokens in forms; 64 hex digits.
    form_key: String,
    /// Where the page is served or was last, the best for phones first: `https://192.168.1.20:5181`.
    #[serde(default)]
    origins: Vec<String>,
    /// After so many days without use a session is over.
    #[serde(default = "usual_idle_days")]
    idle_days: u16,
    sessions: Vec<PageSession>,
    links: Vec<Link>,
}

const fn usual_idle_days() -> u16 {
    USUAL_IDLE_DAYS
}

/// A link, as it is shown once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewLink {
    /// What stands in the link.
    pub token: String,
    /// Whose phone it will be.
    pub person: String,
    /// How long it is good for.
    pub minutes: i64,
}

/// A session that was just opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenedSession {
    /// What the browser keeps in its cookie.
    pub token: String,
    /// The session.
    pub session: SessionId,
}

/// What a token of a browser stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TokenMeans {
    /// Nothing that was ever given out here, or not for this address.
    Nothing,
    /// A session that was closed.
    Closed,
    /// A session that was closed because nobody had used it for long.
    Unused,
    /// A session.
    Open(PageSession),
}

/// Why a link does not let a browser join.
#[derive(Debug, thiserror::Error)]
pub enum LinkFault {
    /// Not a link of this page.
    #[error("this link is not one of this page's; ask the boss for a new one")]
    Unknown,
    /// Its time is over.
    #[error("this link was good for 15 minutes, which are over; ask the boss for a new one")]
    Expired,
    /// Another browser joined with it.
    #[error("this link was used already, and works once; ask the boss for a new one")]
    Used,
    /// Something went wrong beside it.
    #[error(transparent)]
    Node(#[from] NodeError),
}

impl PageFile {
    /// Reads the file, or begins one. One that is damaged is begun anew: it must not let in whom it never let in, and
    /// must not keep the ledger shut.
    pub(crate) fn open(machine: &dyn Machine) -> Result<Self, NodeError> {
        let Some(file) = machine.read(FILE)? else { return Self::begin(machine) };
        let path = machine.folder().join(FILE);
        match hashed::text_of(&file) {
            Some(text) => serde_json::from_slice(text).map_err(|error| NodeError::folder(&path, &error)),
            None => {
                tracing::warn!(
                    target: OF_THE_FOLDER,
                    "Take note: {} is damaged and begun anew. Phones join the page anew",
                    path.display()
                );
                Self::begin(machine)
            }
        }
    }

    fn begin(machine: &dyn Machine) -> Result<Self, NodeError> {
        Ok(Self {
            form_key: hex::encode(machine.random::<32>()?),
            origins: Vec::new(),
            idle_days: USUAL_IDLE_DAYS,
            sessions: Vec::new(),
            links: Vec::new(),
        })
    }

    fn write(&self, machine: &dyn Machine) -> Result<(), NodeError> {
        let text =
            serde_json::to_vec_pretty(self).map_err(|error| NodeError::folder(machine.folder(), &error))?;
        machine.write(FILE, &hashed::with_hash(text))
    }
}

/// The hash under which a token is kept. It has 256 random bits, so a plain fast hash hides it.
fn hash_of(token: &str) -> String {
    hex::encode(blake3::derive_key("fivebar page token 1", token.as_bytes()))
}

impl Node {
    /// Changes who uses the device's page, durably.
    ///
    /// # Errors
    /// [`NodeError::Folder`]; the file is then as it was.
    fn change_page(&mut self, change: impl FnOnce(&mut PageFile)) -> Result<(), NodeError> {
        let mut changed = self.page.clone();
        change(&mut changed);
        changed.write(self.machine())?;
        self.page = changed;
        Ok(())
    }

    /// Where the page is served, the best for phones first.
    #[must_use]
    pub fn page_origins(&self) -> &[String] {
        &self.page.origins
    }

    /// Notes where the page is served.
    ///
    /// # Errors
    /// The disk.
    pub fn set_page_origins(&mut self, origins: Vec<String>) -> Result<(), NodeError> {
        self.change_page(|page| page.origins = origins)
    }

    /// Makes a link for a person, who is listed now if nobody of that name is. A button that is pressed twice
    /// leaves one link that works, the one that is shown last: the first one's token is kept nowhere.
    ///
    /// # Errors
    /// Not the boss, a device that opens its page to its own person alone, or the disk.
    pub fn make_page_link(&mut self, author: PersonId, name: &str, role: Role) -> Result<NewLink, NodeError> {
        let name = name.trim();
        let press = self.press.get().map(|press| press.entry);
        let roster = self.ledger().roster();
        let is_owner = roster.person(&author).is_some_and(|person| person.role == Role::Owner);
        let listed = roster.people().find(|person| person.name == name).map(|person| person.person);
        let own = self.device().person;
        let shared = roster.device(&self.key()).is_some_and(|device| device.shared);
        if listed != Some(author) && !is_owner {
            return Err(NodeError::bad_input("only the boss adds phones for others"));
        }
        if listed != Some(own) && !shared {
            return Err(NodeError::bad_input(
                "this device opens its page to its own person alone; add mates on the shared one, where the crew was founded",
            ));
        }
        let person = match listed {
            Some(person) => person,
            None if name.is_empty() => return Err(NodeError::bad_input("whose phone is it? Give a name")),
            None => {
                let person = PersonId::named(&self.crew(), name);
                let body = Body::PersonListed(PersonListed { person, name: name.to_owned(), role });
                let payload = Payload { act: self.act(author)?, body };
                self.append(&[Write { audience: Audience::Crew, payload }])?;
                person
            }
        };
        let token = hex::encode(self.machine().random::<32>()?);
        let now = self.now_ms();
        let link = Link {
            person,
            token_hash: hash_of(&token),
            press,
            expires_ms: now + LINK_MINUTES * 60_000,
            used: false,
        };
        self.change_page(|page| {
            // A used or expired link is remembered for a day, so that its reason can be told.
            page.links.retain(|link| link.expires_ms > now - 24 * 3_600_000);
            page.links.retain(|link| link.used || press.is_none() || link.press != press);
            page.links.push(link);
        })?;
        Ok(NewLink { token, person: name.to_owned(), minutes: LINK_MINUTES })
    }

    /// Whose phone a link is for. Looking does not use it up.
    ///
    /// # Errors
    /// [`LinkFault`].
    pub fn page_link_person(&self, token: &str) -> Result<PersonId, LinkFault> {
        let hash = hash_of(token);
        let link = self.page.links.iter().find(|link| link.token_hash == hash).ok_or(LinkFault::Unknown)?;
        if link.used {
            return Err(LinkFault::Used);
        }
        if link.expires_ms <= self.now_ms() {
            return Err(LinkFault::Expired);
        }
        Ok(link.person)
    }

    /// Opens a session with a link, which is used up first and for good.
    ///
    /// # Errors
    /// [`LinkFault`]. A fault of the disk may leave the link used up and no session.
    pub fn open_page_session(
        &mut self,
        link: &str,
        name: &str,
        origin: &str,
    ) -> Result<OpenedSession, LinkFault> {
        let person = self.page_link_person(link)?;
        let hash = hash_of(link);
        self.change_page(|page| {
            page.links.iter_mut().filter(|link| link.token_hash == hash).for_each(|link| link.used = true);
        })?;
        let name: String = name.chars().filter(|letter| !letter.is_control()).take(MAX_NAME).collect();
        let name = if name.trim().is_empty() { "phone".to_owned() } else { name.trim().to_owned() };
        let session = SessionId(self.machine().random()?);
        let token = hex::encode(self.machine().random::<32>()?);
        let body = Body::SessionOpened(SessionOpened { session, person, name: name.clone() });
        let payload = Payload { act: self.act(self.device().person)?, body };
        self.append(&[Write { audience: Audience::Crew, payload }])?;
        let now = self.now_ms();
        let opened = PageSession {
            session,
            person,
            name,
            origin: origin.to_owned(),
            opened_ms: now,
            seen_ms: now,
            closed_ms: None,
            unused: false,
            token_hash: hash_of(&token),
            closing_is_logged: false,
        };
        self.change_page(|page| page.sessions.push(opened))?;
        Ok(OpenedSession { token, session })
    }

    /// What the token in a browser's cookie means at an origin; an open session is noted as seen now.
    pub fn page_session(&mut self, token: &str, origin: &str) -> TokenMeans {
        let now = self.now_ms();
        if let Err(error) = self.close_unused_sessions(now) {
            // They are told to be over all the same: by what is in memory, or the next time.
            tracing::warn!(%error, "sessions that nobody uses could not be closed");
        }
        let hash = hash_of(token);
        let found = self.page.sessions.iter().find(|kept| kept.token_hash == hash && kept.origin == origin);
        let Some(found) = found.cloned() else { return TokenMeans::Nothing };
        if found.unused || self.is_unused(&found, now) {
            return TokenMeans::Unused;
        }
        if found.closed_ms.is_some() {
            return TokenMeans::Closed;
        }
        if now - found.seen_ms > SEEN_STEP_MS {
            let noted = self.change_page(|page| {
                let same = page.sessions.iter_mut().filter(|kept| kept.session == found.session);
                same.for_each(|kept| kept.seen_ms = now);
            });
            // Who was seen when is for showing; a full disk must not keep anybody from reading.
            if let Err(error) = noted {
                tracing::warn!(%error, "when a phone was seen could not be written down");
            }
        }
        TokenMeans::Open(found)
    }

    /// The sessions that are open.
    pub fn page_sessions(&self) -> impl Iterator<Item = &PageSession> {
        self.page.sessions.iter().filter(|kept| kept.closed_ms.is_none())
    }

    /// After how many days without use a session is over.
    #[must_use]
    pub const fn page_idle_days(&self) -> u16 {
        self.page.idle_days
    }

    /// Sets after how many days without use a session is over.
    ///
    /// # Errors
    /// The disk.
    pub fn set_page_idle_days(&mut self, days: u16) -> Result<(), NodeError> {
        if days == self.page.idle_days {
            return Ok(());
        }
        self.change_page(|page| page.idle_days = days)
    }

    fn is_unused(&self, session: &PageSession, now: i64) -> bool {
        session.closed_ms.is_none() && now - session.seen_ms > i64::from(self.page.idle_days) * DAY_MS
    }

    /// Closes the sessions that nobody has used for long: a phone in a drawer is a door that stands open.
    fn close_unused_sessions(&mut self, now: i64) -> Result<(), NodeError> {
        let unused: Vec<SessionId> =
            self.page_sessions().filter(|kept| self.is_unused(kept, now)).map(|kept| kept.session).collect();
        if unused.is_empty() {
            return Ok(());
        }
        self.change_page(|page| {
            for kept in page.sessions.iter_mut().filter(|kept| unused.contains(&kept.session)) {
                (kept.closed_ms, kept.unused) = (Some(now), true);
            }
        })?;
        self.log_closed_sessions()
    }

    /// Closes a session. It is closed at once; other devices learn it by the event.
    ///
    /// # Errors
    /// No open session of that id, or the disk.
    pub fn close_page_session(&mut self, session: SessionId) -> Result<(), NodeError> {
        if !self.page_sessions().any(|kept| kept.session == session) {
            return Err(NodeError::bad_input("that phone is not on this page, or was closed already"));
        }
        let now = self.now_ms();
        self.change_page(|page| {
            page.sessions.retain(|kept| kept.closed_ms.is_none_or(|closed| closed > now - CLOSED_KEPT_MS));
            let same = page.sessions.iter_mut().filter(|kept| kept.session == session);
            same.for_each(|kept| kept.closed_ms = Some(now));
        })?;
        self.log_closed_sessions()
    }

    /// Writes the events of sessions that were closed just before the power went.
    ///
    /// # Errors
    /// The disk; the sessions stay closed here.
    pub fn log_closed_sessions(&mut self) -> Result<(), NodeError> {
        let is_due = |kept: &PageSession| kept.closed_ms.is_some() && !kept.closing_is_logged;
        let due: Vec<SessionId> =
            self.page.sessions.iter().filter(|kept| is_due(kept)).map(|kept| kept.session).collect();
        for session in due {
            let body = Body::SessionClosed(SessionClosed { session });
            let payload = Payload { act: self.act(self.device().person)?, body };
            self.append(&[Write { audience: Audience::Crew, payload }])?;
            self.change_page(|page| {
                let same = page.sessions.iter_mut().filter(|kept| kept.session == session);
                same.for_each(|kept| kept.closing_is_logged = true);
            })?;
        }
        Ok(())
    }

    /// Forgets every session and link: whoever used the page joins it anew.
    ///
    /// # Errors
    /// The disk.
    pub(crate) fn forget_page_sessions(&mut self) -> Result<(), NodeError> {
        self.change_page(|page| {
            page.sessions.clear();
            page.links.clear();
        })
    }

    /// A token for the forms of a session. Each call gives another, so that the size of a compressed page
    /// tells nothing about it; all of them stay good as long as the session.
    ///
    /// # Errors
    /// [`NodeError::NoRandomness`].
    pub fn form_token(&self, session: SessionId) -> Result<String, NodeError> {
        let nonce = hex::encode(self.machine().random::<16>()?);
        Ok(format!("{nonce}{}", self.form_mac(session, &nonce).to_hex()))
    }

    /// Whether a form's token was made for this session.
    #[must_use]
    pub fn is_form_token(&self, session: SessionId, token: &str) -> bool {
        let Some((nonce, mac)) = token.split_at_checked(32) else { return false };
        // The comparison of hashes takes the same time wherever they differ.
        blake3::Hash::from_hex(mac).is_ok_and(|mac| mac == self.form_mac(session, nonce))
    }

    fn form_mac(&self, session: SessionId, nonce: &str) -> blake3::Hash {
        let key = blake3::derive_key("fivebar page form 1", self.page.form_key.as_bytes());
        let mut mac = blake3::Hasher::new_keyed(&key);
        mac.update(&session.0).update(nonce.as_bytes());
        mac.finalize()
    }
}
