//! Rows of the crew's lists into events: how a first import, a changed row and an unchanged one
//! differ, and the two plainest lists, the people and the price book.
//!
//! What a list says when it is first imported stands from the beginning, so that work done before
//! the import is priced too. A changed price or rate holds from the day of the import on; any other
//! change replaces what it changes. A file that says what it said at an earlier import does not
//! undo what somebody has changed by hand since.

use ledger::ids::derive_id;
use ledger::kinds::Carried;
use ledger::office::{ItemPriced, PersonRated};
use ledger::roster_events::{PersonListed, Role};
use ledger::site::ItemListed;
use ledger::{Act, Audience, Body, EntryId, EntryRef, EventHash, Payload};
use trade::{Day, Packing};

use super::cells::{Cells, complain_of_repeats};
use super::known::Known;
use super::table::Row;
use super::{ListSubject, Planned, Work};

/// What one row of a list says about one subject.
pub(super) struct ListRow<'r> {
    pub(super) row: &'r Row,
    /// The list and what of it: "crew/rate". Part of the entry's id.
    pub(super) table: &'static str,
    pub(super) key: String,
    pub(super) subject: ListSubject,
    /// It holds from its day on, beside what held before, instead of replacing it.
    pub(super) dated: bool,
    pub(super) body: Body,
}

/// The key of a row from the cells that make it up; no two rows have the same.
pub(super) fn row_key(parts: &[&str]) -> String {
    let escaped = parts.iter().map(|part| part.replace('\\', "\\\\").replace('/', "\\/"));
    escaped.collect::<Vec<_>>().join("/")
}

/// Plans the event of a list row, unless the ledger says the same already.
pub(super) fn plan_list_row(list: ListRow<'_>, work: &mut Work<'_>) {
    let context = work.context;
    let kind = list.body.kind();
    let mut versions = context.held.list_versions(kind, list.subject);
    versions.retain(|(_, version)| has_same_scope(&list.body, &version.body));
    versions.sort_by_key(|(hash, version)| (version.act.done_on, version.act.logged_at, *hash));
    let latest = versions.last();
    if latest.is_some_and(|(_, version)| version.body == list.body) {
        work.plan.already_held += 1;
        return;
    }
    let entry_of = |key: &str| EntryId::of_row(&context.crew, list.table, key);
    let held = |entry| context.held.event_of(&EntryRef { person: context.author, entry });
    let first = entry_of(&list.key);
    let content = serde_json::to_string(&list.body).unwrap_or_default();
    let content = EntryId(derive_id(&context.crew, "content", &[&content]));
    let changed_key = format!("{}@{content}", list.key);
    let changed = entry_of(&changed_key);
    let said_before =
        held(first).is_some_and(|(_, event)| event.body == list.body) || held(changed).is_some();
    let by_hand = latest.is_none_or(|(_, version)| version.act.row_key.is_empty());
    if said_before && by_hand {
        work.plan.already_held += 1;
        if latest.is_some() {
            let (file, line) = (list.row.file, list.row.line);
            work.warn(format!("{file} line {line}: changed in the ledger since; the ledger's stands."));
        }
        return;
    }
    // A file that goes back to what it said before needs an entry of its own once more.
    let again = latest.map(|(hash, _)| entry_of(&format!("{changed_key}@{hash}")));
    let is_first = latest.is_none() && held(first).is_none();
    let entry = if is_first {
        Some(first)
    } else {
        [Some(changed), again].into_iter().flatten().find(|entry| held(*entry).is_none())
    };
    let Some(entry) = entry else {
        work.plan.already_held += 1;
        return;
    };
    if context.role != Role::Owner {
        // The office's versions are not on other devices, so there is no knowing what is new.
        work.lists_left_out += usize::from(kind.carried() == Carried::Crew);
        return;
    }
    let mut replaces: Vec<EventHash> = versions
        .iter()
        .filter(|(_, version)| !list.dated || version.act.done_on == context.today)
        .map(|(hash, _)| *hash)
        .collect();
    replaces.sort_unstable();
    let beginning = Day::from_number(0).unwrap_or(context.today);
    let act = Act {
        person: context.author,
        author: context.author,
        entry,
        done_on: if is_first { beginning } else { context.today },
        done_at: None,
        logged_at: context.now,
        row_key: list.key,
        said: String::new(),
        note: String::new(),
        replaces,
    };
    let audience = audience_of(&list.body);
    let payload = Payload { act, body: list.body };
    work.write(list.row, Planned { payload, audience, supersedes: Vec::new() });
}

/// Which chain an imported event goes to. Changes of entries go where the entries are: to the crew.
pub(super) fn audience_of(body: &Body) -> Audience {
    match body.kind().carried() {
        Carried::Crew | Carried::Either => Audience::Crew,
        Carried::Office => Audience::Office,
    }
}

/// Whether a version says the same kind of thing. A rate for one job or trade is none for all.
fn has_same_scope(body: &Body, version: &Body) -> bool {
    match (body, version) {
        (Body::PersonRated(rate), Body::PersonRated(other)) => {
            (&rate.job, &rate.trade) == (&other.job, &other.trade)
        }
        _ => true,
    }
}

pub(super) fn plan_crew(rows: &[Row], work: &mut Work<'_>) {
    complain_of_repeats(rows, &["person"], &mut work.bad);
    let roles = [("owner", Role::Owner), ("lead", Role::Lead), ("hand", Role::Hand)];
    for row in rows {
        let mut cells = Cells::new(row, &mut work.bad);
        let read = (
            cells.required("person"),
            cells.word("role", &roles),
            cells.pounds("cost_rate"),
            cells.pounds("charge_rate"),
        );
        let (Some(name), Some(role), Some(cost_rate), Some(charge_rate)) = read else { continue };
        let person = match work.context.held.person(name) {
            Some((person, held_role)) => {
                if held_role != role {
                    let held_role =
                        roles.iter().find(|(_, role)| *role == held_role).map_or("", |(word, _)| word);
                    work.warn(format!(
                        "crew.csv line {}: {name} is {held_role} in the ledger, and an import changes no roles.",
                        row.line
                    ));
                } else {
                    work.plan.already_held += 1;
                }
                person
            }
            None => {
                let person = ledger::PersonId::named(&work.context.crew, name);
                plan_list_row(
                    ListRow {
                        row,
                        table: "crew/person",
                        key: row_key(&[name]),
                        subject: ListSubject::Person(person),
                        dated: false,
                        body: Body::PersonListed(PersonListed { person, name: name.to_owned(), role }),
                    },
                    work,
                );
                person
            }
        };
        plan_list_row(
            ListRow {
                row,
                table: "crew/rate",
                key: row_key(&[name]),
                subject: ListSubject::Person(person),
                dated: true,
                body: Body::PersonRated(PersonRated {
                    person,
                    job: None,
                    trade: String::new(),
                    cost_rate,
                    charge_rate,
                }),
            },
            work,
        );
    }
}

pub(super) fn plan_price_book(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    complain_of_repeats(rows, &["item"], &mut work.bad);
    for row in rows {
        let mut cells = Cells::new(row, &mut work.bad);
        let read = (
            cells.required("item"),
            cells.required("unit"),
            cells.quantity("pack_size"),
            cells.pounds("pack_cost"),
        );
        let (Some(name), Some(unit), Some(pack_size), Some(pack_cost)) = read else { continue };
        let pack = Some(cells.text("pack")).filter(|pack| !pack.is_empty()).unwrap_or(unit);
        if let Err(error) = Packing::new(unit, pack, pack_size) {
            cells.complain("pack_size", error.to_string());
            continue;
        }
        let Some(item) = known.item(name).map(|item| item.id) else { continue };
        let listed = ItemListed {
            item,
            name: name.to_owned(),
            unit: unit.to_owned(),
            pack: pack.to_owned(),
            pack_size,
        };
        let subject = ListSubject::Item(item);
        let (key, priced) = (row_key(&[name]), Body::ItemPriced(ItemPriced { item, pack_cost }));
        let listed = Body::ItemListed(listed);
        let list =
            ListRow { row, table: "price-book/item", key: key.clone(), subject, dated: false, body: listed };
        plan_list_row(list, work);
        let list = ListRow { row, table: "price-book/price", key, subject, dated: true, body: priced };
        plan_list_row(list, work);
    }
}
