//! *Crew*: the people, their phones, when each was last heard and how far it has the ledger.

use askama::Template;
use daemon::Role;
use ledger::PersonId;
use ledger::office::{Engagement, TimeSide};
use projections::lists::RateKey;
use trade::{Moment, Rate};

use crate::frame::{Frame, Tab};
use crate::look::Look;
use crate::screens::counting::counting;
use projections::words;

/// Somebody of the crew.
pub(crate) struct Person {
    pub(crate) name: String,
    pub(crate) role: &'static str,
    /// Each role as a form names it and as it is said, and whether it is theirs.
    pub(crate) roles: Vec<(&'static str, &'static str, bool)>,
    /// `costs £21.50, charged £36.00 an hour`, each with where it holds; empty without money.
    pub(crate) rates: Vec<String>,
    /// How they work for the crew: `self-employed, CIS 20%, confirmed 1 Oct 2026`; empty while nobody said, and
    /// without money.
    pub(crate) engaged: String,
    /// How their hours are paid where not all are at one rate; empty without money.
    pub(crate) counting: Vec<String>,
}

/// A phone or laptop with the ledger on it.
pub(crate) struct Device {
    pub(crate) name: String,
    /// What a form names it by.
    pub(crate) key: String,
    pub(crate) person: String,
    pub(crate) heard: String,
    pub(crate) holds: String,
    pub(crate) is_this: bool,
    pub(crate) lost: bool,
}

/// A browser that uses this page.
pub(crate) struct Browser {
    pub(crate) session: String,
    pub(crate) name: String,
    pub(crate) person: String,
    pub(crate) seen: String,
    pub(crate) is_this: bool,
}

/// The screen.
#[derive(Template)]
#[template(path = "crew.html")]
pub(crate) struct Crew {
    pub(crate) frame: Frame,
    pub(crate) people: Vec<Person>,
    pub(crate) devices: Vec<Device>,
    browsers: Vec<Browser>,
    /// When, by whom and on what the recovery words were printed.
    words: String,
    jobs: Vec<String>,
    /// After so many days without use a browser is off the page.
    idle_days: u16,
    today: String,
}

/// What a role is called on site.
pub(crate) const fn role_word(role: Role) -> &'static str {
    match role {
        Role::Owner => "boss",
        Role::Lead => "foreman",
        Role::Hand => "crew",
    }
}

/// Fills the screen.
pub(crate) fn crew(look: &Look<'_>) -> Crew {
    let roster = look.node.ledger().roster();
    let mut people: Vec<(Role, Person)> = roster
        .people()
        .map(|person| {
            let rates = if look.viewer.sees_money { rates(look, person.person) } else { Vec::new() };
            let named = [("hand", Role::Hand), ("lead", Role::Lead), ("owner", Role::Owner)];
            let roles = named.map(|(name, role)| (name, role_word(role), role == person.role)).to_vec();
            let engaged = if look.viewer.sees_money { engaged(look, person.person) } else { String::new() };
            let name = person.name.clone();
            let counting = counting(look, TimeSide::Paid, None, Some(person.person));
            let shown = Person { name, role: role_word(person.role), roles, rates, engaged, counting };
            (person.role, shown)
        })
        .collect();
    people.sort_by(|(one, a), (other, b)| (other, &a.name).cmp(&(one, &b.name)));
    let mut browsers: Vec<Browser> = look
        .node
        .page_sessions()
        .map(|session| Browser {
            session: session.session.to_string(),
            name: session.name.clone(),
            person: look.lists.person(session.person),
            seen: ago(look, session.seen_ms),
            is_this: session.session == look.viewer.session,
        })
        .collect();
    browsers.sort_by(|one, other| (&one.person, &one.name).cmp(&(&other.person, &other.name)));
    Crew {
        frame: look.frame(Tab::Crew, roster.crew_name().to_owned()),
        people: people.into_iter().map(|(_, person)| person).collect(),
        devices: devices(look),
        browsers,
        words: recovery_words(look),
        jobs: look.job_codes(),
        idle_days: look.node.page_idle_days(),
        today: look.today.to_string(),
    }
}

/// That the recovery words were printed, and where to look for the paper. They are kept nowhere else.
fn recovery_words(look: &Look<'_>) -> String {
    let roster = look.node.ledger().roster();
    let Some(founding) = roster.founding() else { return String::new() };
    let on = roster.device(&founding.device).map(|device| device.name.clone()).unwrap_or_default();
    let (by, at) = (look.lists.person(founding.founder), words::when(founding.at, look.today));
    format!("printed {at} on {on}, when {by} founded the crew")
}

fn devices(look: &Look<'_>) -> Vec<Device> {
    let (node, roster) = (look.node, look.node.ledger().roster());
    let mut devices: Vec<Device> = roster
        .devices()
        .map(|device| {
            let is_this = device.key == node.key();
            let reach = node.reach_of(device.key);
            let heard = reach.met_ms.map(|at| ago(look, at));
            Device {
                name: device.name.clone(),
                key: device.key.to_string(),
                person: look.lists.person(device.person),
                holds: match (is_this, &heard, reach.missing) {
                    (true, ..) => "has everything that is here".to_owned(),
                    (false, None, _) => "not known how far it has the ledger".to_owned(),
                    (false, Some(_), 0) => "has everything".to_owned(),
                    (false, Some(_), 1) => "1 entry behind".to_owned(),
                    (false, Some(_), missing) => format!("{missing} entries behind"),
                },
                heard: match (is_this, heard) {
                    (true, _) => "this one".to_owned(),
                    (false, Some(heard)) => format!("last heard {heard}"),
                    (false, None) => "not heard from here yet".to_owned(),
                },
                is_this,
                lost: device.retired,
            }
        })
        .collect();
    devices.sort_by(|one, other| {
        (one.lost, !one.is_this, &one.person, &one.name).cmp(&(
            other.lost,
            !other.is_this,
            &other.person,
            &other.name,
        ))
    });
    devices
}

fn ago(look: &Look<'_>, at_ms: i64) -> String {
    let at = Moment::new(at_ms, look.now.offset_min());
    at.map(|at| words::when(at, look.today)).unwrap_or_default()
}

/// A person's rates that hold today, the general one first.
fn rates(look: &Look<'_>, person: PersonId) -> Vec<String> {
    let of_person = look.lists.rates.iter().filter(|((whose, ..), _)| *whose == person);
    let line = |(key, rates): (&RateKey<'_>, &projections::Dated<&ledger::office::PersonRated>)| {
        let rate = rates.on(look.today)?;
        let (_, job, trade) = key;
        let on = job.map(|job| format!(" on {}", look.lists.job(job))).unwrap_or_default();
        let of = if trade.is_empty() { String::new() } else { format!(" for {trade}") };
        Some(format!(
            "costs {}, charged {} an hour{on}{of}",
            hourly(rate.cost_rate),
            hourly(rate.charge_rate)
        ))
    };
    of_person.filter_map(line).collect()
}

/// How a person works for the crew today.
fn engaged(look: &Look<'_>, person: PersonId) -> String {
    let Some(engaged) = look.lists.engagements.get(&person).and_then(|engaged| engaged.on(look.today)) else {
        return String::new();
    };
    let how = match engaged.engagement {
        Engagement::Owner => "owns the business",
        Engagement::OnTheBooks => "on the books",
        Engagement::SelfEmployed => "self-employed",
    };
    let cis = (!engaged.cis_percent.is_zero())
        .then(|| format!(", CIS {}% off labour", engaged.cis_percent.value().normalize()));
    let confirmed = engaged.verified_on.map(|on| format!(", confirmed {}", words::day_and_year(on)));
    let vat = (!engaged.vat_number.is_empty()).then(|| format!(", VAT number {}", engaged.vat_number));
    [Some(how.to_owned()), cis, confirmed, vat].into_iter().flatten().collect()
}

fn hourly(rate: Rate) -> String {
    format!("£{}", rate.rounded(2))
}
