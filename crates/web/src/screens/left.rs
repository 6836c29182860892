//! What one finds: how the job was left, and what the others did since one last looked.

use std::collections::BTreeSet;

use ledger::{Body, EntryRef};
use projections::Entry;

use crate::look::Look;
use crate::screens::today::is_shown;
use projections::words;

/// Most lines of news on the screen; the rest is on the job's own.
const MOST_NEWS: usize = 6;

/// How somebody left the job.
#[derive(Debug, Clone)]
pub(crate) struct LeftOff {
    pub(crate) who: String,
    pub(crate) when: String,
    pub(crate) stage: String,
    /// The one line.
    pub(crate) words: String,
    /// What is off or live; empty for nothing said.
    pub(crate) off_or_live: String,
    /// Until when what is wet should be left; empty for nothing wet.
    pub(crate) wet_until: String,
    /// Who carries on; empty where nobody was named.
    pub(crate) carries_on: String,
}

/// What is new on the job.
#[derive(Debug, Clone, Default)]
pub(crate) struct Found {
    pub(crate) left: Vec<LeftOff>,
    pub(crate) news: Vec<(String, String)>,
    /// How many more there are.
    pub(crate) more: usize,
    /// What a tick says that one has seen: the entries' keys with `;` between.
    pub(crate) to_tick: String,
}

/// What a form names an entry by: the key of its row, or its id.
pub(crate) fn key_of(entry: &Entry<'_>) -> String {
    let key = entry.act.row_key.as_str();
    if key.is_empty() { entry.entry_ref().entry.to_string() } else { key.to_owned() }
}

/// What the viewer has not ticked as seen yet.
pub(crate) fn found(look: &Look<'_>) -> Found {
    let Some(job) = look.job else { return Found::default() };
    let me = look.viewer.person;
    let ticks = look.book.entries().filter(|entry| entry.act.person == me);
    let mut seen: BTreeSet<EntryRef> = BTreeSet::new();
    let mut last_look = None;
    for entry in ticks {
        if let Body::Seen(ticked) = entry.body.as_ref() {
            seen.extend(&ticked.entries);
            last_look = last_look.max(Some(entry.act.logged_at));
        }
    }
    // Who never ticked anything yet is told of today and yesterday.
    let since = |entry: &Entry<'_>| match last_look {
        Some(last) => entry.logged.act.logged_at > last,
        None => entry.logged.act.logged_at.day() >= look.today.plus_days(-1),
    };
    let here =
        |entry: &Entry<'_>| entry.act.person != me && entry.site().is_some_and(|site| site.job == job.job);
    let mut new: Vec<Entry<'_>> = look
        .book
        .entries()
        .filter(|entry| here(entry) && is_shown(&entry.body) && !seen.contains(&entry.entry_ref()))
        .filter(|entry| matches!(entry.body.as_ref(), Body::LeftOff(_)) || since(entry))
        .collect();
    new.sort_by_key(|entry| std::cmp::Reverse(entry.act.logged_at));
    let to_tick: Vec<_> = new.iter().map(key_of).take(crate::screens::MOST_TICKED).collect();
    let (left, news): (Vec<_>, Vec<_>) =
        new.iter().partition(|entry| matches!(entry.body.as_ref(), Body::LeftOff(_)));
    let more = news.len().saturating_sub(MOST_NEWS);
    let news = news.into_iter().take(MOST_NEWS).map(|entry| {
        let who = look.lists.person(entry.act.person);
        let stage = look.stage_of(entry);
        let on = if stage.is_empty() { String::new() } else { format!("{stage}: ") };
        (format!("{who}, {}", words::when(entry.act.logged_at, look.today)), on + &look.told(entry))
    });
    Found {
        left: left.into_iter().filter_map(|entry| left_off(look, entry)).collect(),
        news: news.collect(),
        more,
        to_tick: to_tick.join(";"),
    }
}

/// How the jobs were left last, whoever did it; for the boss's morning.
pub(crate) fn left_off(look: &Look<'_>, entry: &Entry<'_>) -> Option<LeftOff> {
    let Body::LeftOff(left) = entry.body.as_ref() else { return None };
    Some(LeftOff {
        who: look.lists.person(entry.act.person),
        when: words::when(entry.act.logged_at, look.today),
        stage: look.stage_of(entry),
        words: entry.act.note.clone(),
        off_or_live: left.off_or_live.clone(),
        wet_until: left.wet_until.map(|until| words::when(until, look.today)).unwrap_or_default(),
        carries_on: left.carries_on.map(|person| look.lists.person(person)).unwrap_or_default(),
    })
}
