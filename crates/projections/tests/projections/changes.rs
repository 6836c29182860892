//! What an entry or a row says after changes, whoever made them and in whatever order.

use ledger::office::ItemPriced;
use ledger::roster::{Lacking, Standing};
use ledger::site::{Accepted, Changes, Corrected, JobListed, Struck};
use ledger::{Body, EventHash};
use projections::{Question, QuestionKind, questions};

use crate::world::{World, amount, day, entry, item, job, used};

const TOBI: &str = "Tobi Larch";
const INES: &str = "Ines Quill";
const MAREN: &str = "Maren Oake";

fn to(quantity: &str) -> Corrected {
    let changes = Changes { amount: Some(amount(quantity)), ..Changes::default() };
    Corrected { of: entry(TOBI, "e"), changes: Box::new(changes) }
}

/// What the entry says is used; none when it does not count.
fn gone(world: &World) -> Option<String> {
    let book = world.office();
    let found = book.entry(&entry(TOBI, "e"))?;
    match found.body.as_ref() {
        Body::Used(used) => Some(used.amount.quantity.to_string()),
        other => panic!("a use, not {other:?}"),
    }
}

fn used_ten() -> (World, EventHash) {
    let mut world = World::with_crew();
    let hash = world.log(TOBI, "e", "2026-11-02T12:00", used("MILL", "", "board", "10"));
    (world, hash)
}

fn strike(world: &mut World, who: &str, key: &str, of: (&str, &str)) -> EventHash {
    world.log(who, key, "2026-11-04T12:00", Body::Struck(Struck { of: entry(of.0, of.1) }))
}

fn of_kind(world: &World, kind: QuestionKind) -> Vec<Question> {
    questions(&world.office()).into_iter().filter(|question| question.kind == kind).collect()
}

#[test]
fn a_correction_follows_what_it_replaces_whatever_the_clocks_say() {
    let (mut world, hash) = used_ten();
    let first = world.correct(TOBI, "c1", "2026-11-03T12:00", &[hash], to("11"));
    world.correct(MAREN, "c2", "2026-11-02T09:00", &[first], to("12"));
    assert_eq!(gone(&world).as_deref(), Some("12"));
    assert_eq!(of_kind(&world, QuestionKind::ChangedApart), []);
}

#[test]
fn corrections_made_apart_go_by_when_they_were_written_and_are_asked_about() {
    let (mut world, hash) = used_ten();
    world.correct(MAREN, "c2", "2026-11-03T13:00", &[hash], to("12"));
    world.correct(TOBI, "c1", "2026-11-03T12:00", &[hash], to("11"));
    assert_eq!(gone(&world).as_deref(), Some("12"));
    let asked = of_kind(&world, QuestionKind::ChangedApart);
    assert_eq!(asked.len(), 1);
    assert!(asked[0].entries.contains(&entry(TOBI, "e")));
    // Whoever knows both settles it by replacing both.
    let book = world.office();
    let heads = book.entry(&entry(TOBI, "e")).unwrap().heads;
    assert_eq!(heads.len(), 2);
    world.correct(MAREN, "c3", "2026-11-03T08:00", &heads, to("13"));
    assert_eq!(gone(&world).as_deref(), Some("13"));
    assert_eq!(of_kind(&world, QuestionKind::ChangedApart), []);
}

#[test]
fn a_correction_that_comes_first_waits_for_its_entry() {
    let mut world = World::with_crew();
    world.correct(TOBI, "c", "2026-11-03T12:00", &[], to("11"));
    assert_eq!(gone(&world), None);
    world.log(TOBI, "e", "2026-11-02T12:00", used("MILL", "", "board", "10"));
    assert_eq!(gone(&world).as_deref(), Some("11"));
}

#[test]
fn a_strike_beats_a_later_correction_and_can_itself_be_crossed_out() {
    let (mut world, hash) = used_ten();
    strike(&mut world, MAREN, "s", (TOBI, "e"));
    world.correct(TOBI, "c", "2026-11-09T12:00", &[hash], to("11"));
    assert_eq!(gone(&world), None);
    strike(&mut world, MAREN, "undo", (MAREN, "s"));
    assert_eq!(gone(&world).as_deref(), Some("11"));
    strike(&mut world, MAREN, "no correction", (TOBI, "c"));
    assert_eq!(gone(&world).as_deref(), Some("10"));
}

#[test]
fn strikes_in_a_circle_end() {
    let (mut world, _) = used_ten();
    strike(&mut world, MAREN, "one", (INES, "other"));
    strike(&mut world, INES, "other", (MAREN, "one"));
    assert_eq!(gone(&world).as_deref(), Some("10"));
}

#[test]
fn the_same_form_on_two_phones_is_one_entry_and_two_contents_are_asked_about() {
    let (mut world, hash) = used_ten();
    let again = |world: &mut World, device: &str, quantity: &str| {
        let body = used("MILL", "", "board", quantity);
        world.event(device, TOBI, "e", "2026-11-02", "2026-11-02T12:00", &[], Standing::Counted, body)
    };
    again(&mut world, "Ines Quill", "10");
    assert_eq!(world.office().entries().count(), 1);
    assert_eq!(of_kind(&world, QuestionKind::SameEntry), []);
    let other = again(&mut world, "Maren Oake", "12");
    let book = world.office();
    let counted = book.entry(&entry(TOBI, "e")).unwrap().logged.hash;
    assert!(counted <= hash && counted <= other);
    assert_eq!(of_kind(&world, QuestionKind::SameEntry).len(), 1);
}

#[test]
fn what_a_mate_proposed_counts_once_it_is_accepted() {
    let mut world = World::with_crew();
    let body = used("MILL", "", "board", "10");
    world.event(INES, TOBI, "e", "2026-11-02", "2026-11-02T12:00", &[], Standing::Proposed, body);
    assert_eq!(gone(&world), None);
    assert_eq!(of_kind(&world, QuestionKind::Proposed).len(), 1);
    let accepted = || Body::Accepted(Accepted { of: entry(TOBI, "e") });
    let role = Standing::Without(Lacking::Role);
    world.event(INES, INES, "a1", "2026-11-02", "2026-11-02T13:00", &[], role, accepted());
    assert_eq!(gone(&world), None);
    world.log(TOBI, "a2", "2026-11-02T14:00", accepted());
    assert_eq!(gone(&world).as_deref(), Some("10"));
    assert_eq!(of_kind(&world, QuestionKind::Proposed), []);
}

#[test]
fn what_lacks_authority_is_asked_about_and_changes_nothing() {
    let (mut world, hash) = used_ten();
    let role = Standing::Without(Lacking::Role);
    let on = ("2026-11-03", "2026-11-03T12:00");
    world.event(INES, INES, "c", on.0, on.1, &[hash], role, Body::Corrected(to("99")));
    world.event(INES, INES, "s", on.0, on.1, &[hash], role, Body::Struck(Struck { of: entry(TOBI, "e") }));
    let rate = Body::ItemPriced(ItemPriced { item: item("board"), pack_cost: "1".parse().unwrap() });
    world.event(INES, INES, "p", on.0, on.1, &[], role, rate);
    assert_eq!(gone(&world).as_deref(), Some("10"));
    assert!(world.office().lists().prices.is_empty());
    assert_eq!(of_kind(&world, QuestionKind::NotCounted).len(), 3);
}

#[test]
fn a_row_follows_what_it_replaces_and_rows_written_apart_are_asked_about() {
    let mut world = World::with_crew();
    let titled = |title: &str| {
        let text = |text: &str| text.to_owned();
        Body::JobListed(JobListed {
            job: job("MILL"),
            code: text("MILL"),
            title: text(title),
            customer: text("Tollgate Contracting"),
            site_address: text("Old Mill, Wexcombe"),
            time_zone: text("Europe/London"),
        })
    };
    let title = |world: &World| world.office().lists().jobs[&job("MILL")].title.clone();
    let former = world.list("job MILL", "2026-11-02", titled("two rooms"));
    assert_eq!(title(&world), "two rooms");
    // Another office phone, with its clock an hour behind, knows the former row.
    let by = |world: &mut World, device: &str, at: &str, replaces: &[EventHash], title: &str| {
        let body = titled(title);
        world.event(device, MAREN, "job MILL", "2026-11-02", at, replaces, Standing::Counted, body)
    };
    let later = by(&mut world, "maren-phone", "2026-11-02T11:00", &[former], "three rooms");
    // It did not know the row that the world began with, which nobody replaced.
    assert_eq!(of_kind(&world, QuestionKind::ListedApart).len(), 1);
    let heads: Vec<_> = world
        .office()
        .list_heads()
        .filter(|row| matches!(&row.body, Body::JobListed(listed) if listed.job == job("MILL")))
        .map(|row| row.hash)
        .collect();
    assert!(heads.contains(&later) && !heads.contains(&former));
    by(&mut world, "maren-phone", "2026-11-02T09:00", &heads, "four rooms");
    assert_eq!(title(&world), "four rooms");
    assert_eq!(of_kind(&world, QuestionKind::ListedApart), []);
}

#[test]
fn a_later_price_never_changes_a_past_figure() {
    let mut world = World::with_crew();
    world.item("board", "each", "1", "1.00");
    let first = world.price("board", "2026-11-02", "2.00");
    let body = Body::ItemPriced(ItemPriced { item: item("board"), pack_cost: "3.00".parse().unwrap() });
    let on = ("2026-11-04", "2026-11-04T12:00");
    world.event(MAREN, MAREN, "new price", on.0, on.1, &[first], Standing::Counted, body);
    let book = world.office();
    let lists = book.lists();
    let price = |on: &str| lists.prices[&item("board")].on(day(on)).unwrap().pack_cost.to_string();
    assert_eq!(price("2026-11-01"), "1.00");
    assert_eq!(price("2026-11-03"), "2.00");
    assert_eq!(price("2026-11-04"), "3.00");
    // Before any was known, the first one.
    assert_eq!(price("2026-10-01"), "1.00");
}
