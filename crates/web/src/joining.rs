//! How a browser joins the page: a link shows whose phone it will be, and only the button joins.
//!
//! Looking at a link changes nothing, since programs that preview links look at them too.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

use askama::Template;
use axum::extract::{Form, Path, Query, RawQuery, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use daemon::Command;
use daemon::page::{LinkFault, NewLink};
use daemon::press;
use serde::{Deserialize, Serialize};
use serde_json::json;

use crate::app::App;
use crate::guard::Arrival;
use crate::posting::Posted;
use crate::problem::{Problem, page};
use crate::{orders, qr};

/// Wrong tries of one address before it must wait.
const MOST_TRIES: u32 = 10;
/// How long wrong tries are remembered.
const TRIES_KEPT: Duration = Duration::from_secs(15 * 60);
/// How long the answer to a wrong try takes at least.
const SLOWED: Duration = Duration::from_millis(500);
/// Most addresses whose tries are remembered.
const MOST_ADDRESSES: usize = 10_000;

/// How often each address tried wrong links lately.
#[derive(Debug, Default)]
pub(crate) struct Tries(BTreeMap<IpAddr, (u32, Instant)>);

impl Tries {
    fn may_try(&mut self, from: IpAddr, now: Instant) -> bool {
        self.0.retain(|_, (_, last)| now.duration_since(*last) < TRIES_KEPT);
        self.0.get(&from).is_none_or(|(count, _)| *count < MOST_TRIES)
    }

    fn note_wrong(&mut self, from: IpAddr, now: Instant) {
        if self.0.len() < MOST_ADDRESSES || self.0.contains_key(&from) {
            let tries = self.0.entry(from).or_insert((0, now));
            *tries = (tries.0.saturating_add(1), now);
        }
    }
}

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/join", get(how_to_get_in))
        .route("/join/open", get(open_typed))
        .route("/join/{link}", get(show).post(join))
        .route("/crew/add-phone", post(add_phone))
}

#[derive(Template)]
#[template(path = "door/in.html")]
struct HowToGetIn {
    closed: bool,
    unused: bool,
    idle_days: u16,
}

async fn how_to_get_in(State(app): State<App>, RawQuery(query): RawQuery) -> Result<Response, Problem> {
    let idle_days = app.node(|node| node.page_idle_days()).await?;
    let is = |why: &str| query.as_deref() == Some(why);
    Ok(page(StatusCode::OK, &HowToGetIn { closed: is("closed"), unused: is("unused"), idle_days }))
}

#[derive(Deserialize)]
struct Typed {
    link: String,
}

/// A link that was typed or pasted: whole, or its last part alone.
async fn open_typed(Query(typed): Query<Typed>) -> Response {
    let link = typed.link.trim().trim_end_matches('/').rsplit('/').next().unwrap_or_default();
    let link: String = link.chars().filter(char::is_ascii_alphanumeric).collect();
    Redirect::to(&format!("/join/{}", if link.is_empty() { "none" } else { &link })).into_response()
}

#[derive(Template)]
#[template(path = "door/join.html")]
struct Join {
    crew: String,
    person: String,
    link: String,
    idle_days: u16,
}

async fn show(
    State(app): State<App>,
    Extension(arrival): Extension<Arrival>,
    Path(link): Path<String>,
) -> Result<Response, Problem> {
    let wanted = link.clone();
    let found = try_link(&app, &arrival, move |node| {
        node.page_link_person(&wanted).map(|person| {
            let roster = node.ledger().roster();
            let name = roster.person(&person).map(|person| person.name.clone()).unwrap_or_default();
            (roster.crew_name().to_owned(), name, node.page_idle_days())
        })
    });
    let (crew, person, idle_days) = found.await?;
    Ok(page(StatusCode::OK, &Join { crew, person, link, idle_days }))
}

#[derive(Deserialize)]
struct Named {
    #[serde(default)]
    name: String,
}

async fn join(
    State(app): State<App>,
    Extension(arrival): Extension<Arrival>,
    Path(link): Path<String>,
    Form(named): Form<Named>,
) -> Result<Response, Problem> {
    let origin = arrival.origin.clone();
    let opened =
        try_link(&app, &arrival, move |node| node.open_page_session(&link, &named.name, &origin)).await?;
    let cookie = arrival.set_cookie(&opened.token);
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response())
}

#[derive(Template)]
#[template(path = "door/link.html")]
struct ShownLink {
    person: String,
    minutes: i64,
    links: Vec<LinkText>,
    /// Nobody but this machine reaches the page.
    only_here: bool,
}

/// A link as text and as a picture.
#[derive(Serialize)]
struct LinkText {
    text: String,
    picture: String,
}

/// Makes a link for a phone and shows it, once.
async fn add_phone(State(app): State<App>, posted: Posted) -> Result<Response, Problem> {
    posted.viewer.must_be_owner()?;
    let name = posted.fields.get("person").cloned().unwrap_or_default();
    let role = orders::role(posted.fields.get("role").map(String::as_str))?;
    let (author, press) = (posted.viewer.person, orders::press_of(&posted.fields)?);
    let made = app.node(move |node| {
        let wish = Command::PageLink { person: name, role };
        press::run(node, author, &press, wish).map(|made| (made, node.page_origins().to_vec()))
    });
    let (made, origins) = match made.await? {
        Ok(made) => made,
        Err(error) => return Ok(posted.answer(&app, Err(error))),
    };
    let link = NewLink::deserialize(&made["link"]).map_err(|_| Problem::Broken)?;
    let links = origins.iter().map(|origin| {
        let text = qr::link_at(origin, &link.token);
        LinkText { picture: qr::as_svg(&text), text }
    });
    let links: Vec<LinkText> = links.collect();
    if posted.reads_json() {
        let answer = json!({ "person": link.person, "minutes": link.minutes, "links": links });
        return Ok(axum::Json(answer).into_response());
    }
    let only_here = origins.iter().all(|origin| origin.starts_with("http://"));
    Ok(page(StatusCode::OK, &ShownLink { person: link.person, minutes: link.minutes, links, only_here }))
}

/// Does something with a link, unless its sender tried too many wrong ones; a wrong one is slow to answer.
async fn try_link<R: Send + 'static>(
    app: &App,
    arrival: &Arrival,
    work: impl FnOnce(&mut daemon::Node) -> Result<R, LinkFault> + Send + 'static,
) -> Result<R, Problem> {
    if !app.tries(|tries| tries.may_try(arrival.from, Instant::now())) {
        return Err(Problem::TooMany);
    }
    match app.node(work).await? {
        Ok(done) => Ok(done),
        Err(LinkFault::Node(error)) => {
            tracing::error!(%error, "a browser could not join");
            Err(Problem::Refused(error.to_string()))
        }
        Err(fault) => {
            if matches!(fault, LinkFault::Unknown) {
                tracing::warn!(from = %arrival.from, "a wrong link was tried");
                app.tries(|tries| tries.note_wrong(arrival.from, Instant::now()));
                tokio::time::sleep(SLOWED).await;
            }
            Err(Problem::Refused(fault.to_string()))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_that_tried_too_often_waits_and_others_do_not() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        let [one, other] = [IpAddr::from([192, 0, 2, 1]), IpAddr::from([192, 0, 2, 2])];
        for _ in 0..MOST_TRIES {
            assert!(tries.may_try(one, now));
            tries.note_wrong(one, now);
        }
        assert!(!tries.may_try(one, now) && tries.may_try(other, now));
        assert!(tries.may_try(one, now + TRIES_KEPT));
    }
}
