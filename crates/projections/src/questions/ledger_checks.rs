//! Questions about what was written: twice, apart, for a mate, without the right to, or in bytes
//! that can't be read.

use std::collections::{BTreeMap, BTreeSet};

use ledger::roster::{Lacking, Standing};
use ledger::{EntryRef, Unreadable};

use super::{Facts, Question, QuestionKind};
use crate::billing::paper_of;
use crate::book::{History, Logged};
use crate::entry::heads_of;

pub(super) fn ask(facts: &Facts<'_>, waiting: &[&Logged], found: &mut Vec<Question>) {
    for (entry, history) in &facts.book.entries {
        same_entry(facts, entry, history, found);
        changed_apart(facts, entry, history, found);
        let changes = history.changes().values().map(|change| &**change);
        for logged in history.events().chain(changes) {
            standing(facts, logged, found);
        }
    }
    for logged in facts.book.rows.values().flat_map(|versions| versions.values()) {
        standing(facts, logged, found);
    }
    set_aside(facts, waiting, found);
    listed_apart(facts, found);
    unreadable(facts, found);
}

/// Events with the same person and id that say different things.
fn same_entry(facts: &Facts<'_>, entry: &EntryRef, history: &History, found: &mut Vec<Question>) {
    let mut events = history.events().filter(|event| facts.book.counts(event));
    let Some(first) = events.next() else { return };
    let Some(other) = events.find(|event| !event.says_the_same(first)) else { return };
    let text = format!(
        "{} logged one entry on {} twice with different content. Is the second one an entry of its own?",
        facts.lists.person(entry.person),
        first.act.done_on,
    );
    let about = [entry.person.to_string(), entry.entry.to_string(), other.hash.to_string()];
    found.push(
        Question::new(QuestionKind::SameEntry, &about, text)
            .of(entry.person)
            .on(first.act.done_on)
            .from([*entry]),
    );
}

/// Changes whose writers did not know of each other. What one chain says is known to its writer.
fn changed_apart(facts: &Facts<'_>, entry: &EntryRef, history: &History, found: &mut Vec<Question>) {
    if history.changes().len() < 2 {
        return;
    }
    let mut changes = facts.book.corrections(history);
    changes.extend(facts.book.strikes(history));
    let heads = heads_of(&changes);
    let chains: BTreeSet<_> = heads.iter().map(|head| head.chain).collect();
    let Some((first, rest)) = heads.split_first() else { return };
    if chains.len() < 2 || rest.iter().all(|head| head.body == first.body) {
        return;
    }
    let who: BTreeSet<_> = heads.iter().map(|head| facts.lists.person(head.act.person)).collect();
    let who: Vec<_> = who.into_iter().collect();
    let day = history.events().next().map(|event| event.act.done_on);
    let text = format!(
        "An entry of {} was changed by {} without knowing of each other. How should it stand?",
        facts.lists.person(entry.person),
        who.join(" and "),
    );
    let mut hashes: Vec<_> = heads.iter().map(|head| head.hash.to_string()).collect();
    hashes.sort_unstable();
    let mut question = Question::new(QuestionKind::ChangedApart, &hashes, text).of(entry.person);
    question.day = day;
    found.push(question.from(std::iter::once(*entry).chain(heads.iter().map(|head| head.act.entry_ref()))));
}

/// What was logged for a mate and not accepted, or without the right to.
fn standing(facts: &Facts<'_>, logged: &Logged, found: &mut Vec<Question>) {
    let entry = logged.act.entry_ref();
    let name = || facts.lists.person(entry.person);
    let day = logged.act.done_on;
    let (kind, text) = match logged.standing {
        Standing::Counted => return,
        Standing::Proposed => {
            if facts.book.counts(logged) || facts.book.is_struck(&entry) {
                return;
            }
            (
                QuestionKind::Proposed,
                format!("Somebody logged an entry for {} on {day}. Is it right?", name()),
            )
        }
        // Asked about all at once, and each paper by itself.
        Standing::Without(Lacking::Forked) => return,
        Standing::Without(Lacking::BeyondCut) if is_asked_as_paper(logged) => return,
        Standing::Without(lacking) => {
            let text =
                format!("An entry of {} on {day} is kept and does not count: {}.", name(), why_not(lacking));
            (QuestionKind::NotCounted, text)
        }
    };
    let about = [logged.hash.to_string()];
    found.push(Question::new(kind, &about, text).of(entry.person).on(day).from([entry]));
}

const fn why_not(lacking: Lacking) -> &'static str {
    match lacking {
        Lacking::BeyondCut => "it was written on a phone after that phone was taken off the crew",
        Lacking::Forked => {
            "it was written by a device that was copied or set back, and that wrote something else there, too"
        }
        Lacking::Admission => "nobody with the right to added its phone",
        Lacking::Person => "that person is not of the crew",
        Lacking::Vouching => "the phone may not write for that person",
        Lacking::Role => "a foreman or the boss has to do that",
        Lacking::Audience => "it was written where such a thing does not belong",
    }
}

/// Whether it is a paper of the crew's, which is asked about by itself.
fn is_asked_as_paper(logged: &Logged) -> bool {
    paper_of(logged).is_some_and(|paper| paper.is_own())
}

/// What a copied or restored device wrote, one question a chain.
fn set_aside(facts: &Facts<'_>, waiting: &[&Logged], found: &mut Vec<Question>) {
    let forked = |logged: &Logged| logged.standing == Standing::Without(Lacking::Forked);
    let waiting = waiting.iter().filter(|logged| forked(logged) && !is_asked_as_paper(logged));
    let mut of_chain: BTreeMap<_, Vec<&Logged>> = BTreeMap::new();
    waiting.for_each(|logged| of_chain.entry(logged.chain).or_default().push(logged));
    for (chain, logged) in of_chain {
        let who: BTreeSet<_> = logged.iter().map(|logged| facts.lists.person(logged.act.person)).collect();
        let who: Vec<_> = who.into_iter().collect();
        let count = logged.len();
        let (entries, them) = if count == 1 { ("entry", "it") } else { ("entries", "them") };
        let text = format!(
            "{count} {entries} of {} set aside: the device that wrote {them} was copied or set back, and wrote on twice \
             from the same place. Enter {them} again?",
            format_args!("{} {}", who.join(" and "), if count == 1 { "is" } else { "are" }),
        );
        let about = [chain.to_string(), count.to_string()];
        let mut question = Question::new(QuestionKind::SetAside, &about, text)
            .from(logged.iter().map(|logged| logged.act.entry_ref()));
        question.day = logged.first().map(|logged| logged.act.done_on);
        found.push(question);
    }
}

fn listed_apart(facts: &Facts<'_>, found: &mut Vec<Question>) {
    for conflict in facts.book.row_conflicts() {
        let Some(last) = conflict.versions.last() else { continue };
        let who: BTreeSet<_> =
            conflict.versions.iter().map(|row| facts.lists.person(row.act.person)).collect();
        let who: Vec<_> = who.into_iter().collect();
        let text = format!(
            "A row of the lists was written differently by {} without knowing of each other; the last one of {} holds. Is that right?",
            who.join(" and "),
            last.act.logged_at,
        );
        let mut hashes: Vec<_> = conflict.versions.iter().map(|row| row.hash.to_string()).collect();
        hashes.sort_unstable();
        let entries = conflict.versions.iter().map(|row| row.act.entry_ref());
        found.push(
            Question::new(QuestionKind::ListedApart, &hashes, text)
                .of(last.act.person)
                .on(last.act.done_on)
                .from(entries),
        );
    }
}

fn unreadable(facts: &Facts<'_>, found: &mut Vec<Question>) {
    for (hash, event) in facts.book.unreadable() {
        let what = match event.reason {
            Unreadable::UnknownKind => "was written by a newer program. Update this one",
            Unreadable::Sealed => "is sealed with a key that this device does not hold. Ask the boss",
            Unreadable::Malformed => "can't be read. Ask whoever wrote it to log it again",
        };
        let text = format!("Entry {} of chain {} {what}.", event.seq, event.chain.short());
        found.push(Question::new(QuestionKind::Unreadable, &[hash.to_string()], text));
    }
}
