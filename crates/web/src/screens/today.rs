//! The lines of entries: what was logged, how safe it is, and what can still be done about it.

use ledger::kinds::Chapter;
use ledger::roster::Standing;
use ledger::site::{Site, Worked};
use ledger::{Body, EntryRef};
use projections::time_on_job::{Spell, TimerEnd};
use projections::{Entry, QuestionKind};
use trade::Day;
use trade::money::hours_and_minutes;

use crate::frame;
use crate::look::{Look, Safety, as_logged};
use crate::photos_shown;
use crate::screens::left::key_of;
use projections::words;

/// An entry as a line.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// When it was logged: the clock time, or the day.
    pub(crate) at: String,
    /// Its stage, or empty.
    pub(crate) stage: String,
    /// Whose it is; empty where it is the viewer's own.
    pub(crate) person: String,
    /// What it says.
    pub(crate) text: String,
    pub(crate) safety: Safety,
    /// What changes name it by; empty where it can't be changed here.
    pub(crate) key: String,
    /// What a change of it may say.
    pub(crate) change: Change,
    /// Its photos that the viewer may see, by their hash.
    pub(crate) photos: Vec<String>,
    /// It waits for this person's yes; else empty.
    pub(crate) proposed: String,
    /// The viewer may say yes to it.
    pub(crate) may_accept: bool,
}

/// The fields that a change of an entry offers, as they stand; `None` where the entry has none.
#[derive(Debug, Clone, Default)]
pub(crate) struct Change {
    /// It can be changed, and not only crossed out.
    pub(crate) possible: bool,
    pub(crate) from_to: Option<(String, String, u32)>,
    pub(crate) minutes: Option<u32>,
    pub(crate) quantity: Option<(String, String)>,
    pub(crate) note: String,
    pub(crate) done_on: String,
    /// It is a timer's stretch: changed with its end, and without a day of its own.
    pub(crate) is_timer: bool,
    /// The clock time at which a timer that still runs began.
    pub(crate) since: Option<String>,
    /// The job and stage, as a form has them; `None` where it belongs to none, empty where it is not sorted yet.
    pub(crate) onto: Option<String>,
    /// It is a stretch of work that can be split.
    pub(crate) splits: bool,
    /// Minutes of break in it.
    pub(crate) pause: u32,
    /// Where in the room; `None` where that is not asked.
    pub(crate) place: Option<String>,
}

impl Change {
    /// The order of a form.
    pub(crate) const fn order(&self, timed: &'static str, other: &'static str) -> &'static str {
        if self.is_timer { timed } else { other }
    }
}

/// What is shown of the entries on *Now*.
pub(crate) struct Lines {
    /// The viewer's own of today, and what they logged for mates; the latest first.
    pub(crate) today: Vec<Line>,
    /// What somebody logged for the viewer and that waits for their yes.
    pub(crate) waiting: Vec<Line>,
    /// Minutes worked today, less the breaks, without the timer that runs.
    pub(crate) minutes_today: i64,
}

/// The entries that the viewer wants to see on *Now*.
pub(crate) fn lines(look: &Look<'_>) -> Lines {
    let spells = look.book.spells();
    let me = look.viewer.person;
    let is_mine = |entry: &Entry<'_>| entry.act.person == me || entry.logged.act.author == me;
    let is_todays =
        |entry: &Entry<'_>| entry.act.done_on == look.today || entry.act.logged_at.day() == look.today;
    let mut today: Vec<_> = look
        .book
        .entries()
        .filter(|entry| is_mine(entry) && is_todays(entry) && is_shown(&entry.body))
        .map(|entry| (entry.act.logged_at, line(look, &entry, &spells)))
        .collect();
    let mut waiting = Vec::new();
    for question in projections::questions(look.book) {
        if question.kind != QuestionKind::Proposed {
            continue;
        }
        for of in &question.entries {
            let Some(logged) = proposed(look, of) else { continue };
            let mut line = line(look, &as_logged(logged), &spells);
            line.proposed = look.lists.person(of.person);
            if of.person == me {
                line.person = look.lists.person(logged.act.author);
                line.may_accept = true;
                waiting.push(line);
            } else if logged.act.author == me {
                today.push((logged.act.logged_at, line));
            } else if look.viewer.leads() {
                line.person = look.lists.person(logged.act.author);
                line.may_accept = true;
                waiting.push(line);
            }
        }
    }
    today.sort_by(|(one, _), (other, _)| other.cmp(one));
    let own = spells.iter().filter(|spell| spell.person() == me && spell.day == look.today);
    let minutes_today = own.map(|spell| spell.minutes).sum();
    Lines { today: today.into_iter().map(|(_, line)| line).collect(), waiting, minutes_today }
}

fn proposed<'a>(look: &Look<'a>, of: &EntryRef) -> Option<&'a projections::Logged> {
    let history = look.book.history(of);
    history.into_iter().find(|logged| {
        logged.act.entry_ref() == *of && logged.standing == Standing::Proposed && is_shown(&logged.body)
    })
}

/// One entry as a line.
pub(crate) fn line(look: &Look<'_>, entry: &Entry<'_>, spells: &[Spell]) -> Line {
    let of = entry.entry_ref();
    let spell = spells.iter().find(|spell| spell.entry == of);
    let text = match (entry.body.as_ref(), spell) {
        (Body::WorkStarted(_) | Body::WorkSwitched(_), Some(spell)) => timed(spell),
        _ => look.told(entry),
    };
    let day = entry.act.logged_at.day();
    let at = if day == look.today { words::time(entry.act.logged_at) } else { words::day(entry.act.done_on) };
    let is_own = entry.act.person == look.viewer.person;
    // Who may change an entry, the ledger decides; the screen only leaves out what would be refused.
    let may_change = is_own || look.viewer.leads() || entry.logged.act.author == look.viewer.person;
    let key = if may_change { key_of(entry) } else { String::new() };
    let ends = look.book.ends_of(&of);
    let end = ends.first();
    // A stretch of work is as safe as its end.
    let mut places = look.places(&of);
    places.extend(end.into_iter().flat_map(|end| look.places(&end.entry)));
    Line {
        at,
        stage: look.stage_of(entry),
        person: if is_own { String::new() } else { look.lists.person(entry.act.person) },
        text,
        safety: look.safety(&places),
        key,
        change: change(look, entry, end),
        photos: photos_shown::seen_of(look.viewer, entry),
        proposed: String::new(),
        may_accept: false,
    }
}

fn timed(spell: &Spell) -> String {
    let clock = spell.clock.map(|(from, to)| format!("{}–{}: ", words::time(from), words::time(to)));
    format!("{}{}", clock.unwrap_or_default(), hours_and_minutes(spell.minutes))
}

fn change(look: &Look<'_>, entry: &Entry<'_>, end: Option<&TimerEnd>) -> Change {
    let site = entry.site();
    let is_unsorted = matches!(entry.body.as_ref(), Body::Photo(photo) if photo.site.is_none());
    let stage = |site: &Site| site.stage.map(|stage| look.lists.stage(Some(stage))).unwrap_or_default();
    let onto = site.map(|site| frame::onto(&look.lists.job(site.job), &stage(site)));
    let mut change = Change {
        possible: can_change(&entry.body),
        note: entry.act.note.clone(),
        done_on: entry.act.done_on.to_string(),
        onto: onto.or_else(|| is_unsorted.then(String::new)),
        place: matches!(entry.body.as_ref(), Body::Photo(_))
            .then(|| site.map(|site| words::place(&site.place)).unwrap_or_default()),
        ..Change::default()
    };
    let timer = match entry.body.as_ref() {
        Body::WorkStarted(started) => Some(started.at),
        Body::WorkSwitched(switched) => Some(switched.at),
        _ => None,
    };
    if let Some(since) = timer {
        (change.is_timer, change.splits) = (true, true);
        match end {
            Some(end) => {
                change.pause = end.break_minutes;
                change.from_to = Some((words::time(since), words::time(end.at), end.break_minutes));
            }
            None => change.since = Some(words::time(since)),
        }
    }
    let amount = |item, amount: &ledger::site::Amount| {
        let unit = look.lists.items.get(&item).map(|item| item.unit.clone()).unwrap_or_default();
        Some((words::number(amount.quantity), unit))
    };
    match entry.body.as_ref() {
        Body::Hours(hours) => match hours.worked {
            Worked::Span { from, to, break_minutes } => {
                change.from_to = Some((words::time(from), words::time(to), break_minutes));
                (change.splits, change.pause) = (true, break_minutes);
            }
            Worked::Length { minutes } => {
                (change.minutes, change.splits) = (Some(minutes), minutes > 1);
            }
        },
        Body::Used(used) => change.quantity = amount(used.item, &used.amount),
        Body::Wasted(wasted) => change.quantity = amount(wasted.item, &wasted.amount),
        Body::Returned(back) => change.quantity = amount(back.item, &back.amount),
        Body::Delivered(came) => change.quantity = amount(came.item, &came.amount),
        Body::Test(test) => change.quantity = Some((words::number(test.value), test.unit.clone())),
        _ => {}
    }
    change
}

/// Whether an entry can be changed; one of another kind is crossed out and logged again.
const fn can_change(body: &Body) -> bool {
    matches!(
        body,
        Body::Hours(_)
            | Body::WorkStarted(_)
            | Body::WorkSwitched(_)
            | Body::Photo(_)
            | Body::Used(_)
            | Body::Wasted(_)
            | Body::Returned(_)
            | Body::Delivered(_)
            | Body::Test(_)
            | Body::Note(_)
            | Body::SnagRaised(_)
            | Body::LeftOff(_)
            | Body::ExtraAsked(_)
            | Body::ExtraAgreed(_)
            | Body::ExtraDeclined(_)
            | Body::SignedOff(_)
            | Body::Reopened(_)
    )
}

/// Whether an entry is a line of its own. The end of a timer stands in the line of its beginning, and
/// what was ticked seen or answered is no news.
pub(crate) const fn is_shown(body: &Body) -> bool {
    matches!(body.kind().chapter(), Chapter::Site) && !matches!(body, Body::WorkStopped(_) | Body::Seen(_))
}

/// What was done on a day, for a heading: `today`, `Thu 5 Nov`.
pub(crate) fn heading(day: Day, today: Day) -> String {
    let words = words::near_day(day, today);
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
