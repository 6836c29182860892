//! Who looks at the page, and what they may see.

use axum::extract::FromRequestParts;
use axum::http::{HeaderMap, header, request::Parts};
use daemon::page::TokenMeans;
use daemon::{Node, Role};
use ledger::{PersonId, SessionId};

use crate::app::App;
use crate::guard::Arrival;
use crate::problem::Problem;

/// The header by which the phone's worker says that it fetches a screen before anybody opens it.
const UNSEEN: &str = "x-unseen";

/// The person of a page session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Viewer {
    /// Who.
    pub(crate) person: PersonId,
    /// Their name.
    pub(crate) name: String,
    /// Their role now.
    pub(crate) role: Role,
    /// The session.
    pub(crate) session: SessionId,
    /// What the browser was called when it joined.
    pub(crate) phone: String,
    /// Rates, prices and invoices are shown: to an owner, on a device that reads the office's chains.
    pub(crate) sees_money: bool,
    /// What every form of this session carries, so that no other site can send one.
    pub(crate) form_token: String,
    /// The header that lets the browser keep its session for as long again.
    pub(crate) cookie: String,
    /// Nobody looks: the phone keeps the screen for where there is no signal.
    pub(crate) is_unseen: bool,
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

    /// Lets the boss pass.
    ///
    /// # Errors
    /// [`Problem::Forbidden`] for anybody else.
    pub(crate) fn must_be_owner(&self) -> Result<(), Problem> {
        if self.is_owner() { Ok(()) } else { Err(Problem::Forbidden("this is for the boss")) }
    }

    /// Lets the boss and the foreman pass.
    ///
    /// # Errors
    /// [`Problem::Forbidden`] for a hand.
    pub(crate) fn must_lead(&self) -> Result<(), Problem> {
        if self.leads() { Ok(()) } else { Err(Problem::Forbidden("this is for the boss or the foreman")) }
    }

    /// Lets pass who sees rates, prices and invoices.
    ///
    /// # Errors
    /// [`Problem::Forbidden`]: not the boss, or a device that does not read the office's chains.
    pub(crate) fn must_see_money(&self) -> Result<(), Problem> {
        self.must_be_owner()?;
        if self.sees_money {
            Ok(())
        } else {
            Err(Problem::Forbidden("this device holds no prices or invoices"))
        }
    }

    /// The viewer whose token a browser showed at an origin, by what the ledger says now.
    pub(crate) fn find(node: &mut Node, token: &str, origin: &str) -> Result<Self, Problem> {
        let session = match node.page_session(token, origin) {
            TokenMeans::Nothing => return Err(Problem::NoSession),
            TokenMeans::Closed => return Err(Problem::SessionClosed),
            TokenMeans::Unused => return Err(Problem::SessionUnused(node.page_idle_days())),
            TokenMeans::Open(session) => session,
        };
        let roster = node.ledger().roster();
        if roster.device(&node.key()).is_none_or(|device| device.retired) {
            return Err(Problem::Forbidden("the machine that serves this page was taken off the crew"));
        }
        let person = roster.person(&session.person).ok_or(Problem::SessionClosed)?;
        let form_token = node.form_token(session.session).map_err(|error| {
            tracing::error!(%error, "no form token");
            Problem::Broken
        })?;
        Ok(Self {
            person: person.person,
            name: person.name.clone(),
            role: person.role,
            session: session.session,
            phone: session.name,
            sees_money: person.role == Role::Owner && node.is_office(),
            form_token,
            cookie: String::new(),
            is_unseen: false,
        })
    }
}

/// The value of a cookie.
pub(crate) fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let lines = headers.get_all(header::COOKIE).into_iter().filter_map(|line| line.to_str().ok());
    let mut pairs = lines.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(key, _)| *key == name).map(|(_, value)| value)
}

impl FromRequestParts<App> for Viewer {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let arrival = parts.extensions.get::<Arrival>().ok_or(Problem::Broken)?.clone();
        let token = cookie(&parts.headers, &arrival.cookie_name()).ok_or(Problem::NoSession)?.to_owned();
        let cookie = arrival.set_cookie(&token);
        let found = app.node(move |node| Self::find(node, &token, &arrival.origin)).await??;
        Ok(Self { cookie, is_unseen: parts.headers.contains_key(UNSEEN), ..found })
    }
}
