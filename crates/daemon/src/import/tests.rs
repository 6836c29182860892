//! Plans from files as people write them, good and bad.

mod kinds;
mod refusals;

use std::collections::{BTreeMap, BTreeSet};

use ledger::roster_events::Role;
use ledger::site::{Bound, ItemListed, JobListed, Worked};
use ledger::{Body, CrewId, EntryRef, EventHash, JobId, Kind, Payload, PersonId, StageId};
use trade::{Day, Moment};

use super::*;

const CREW: CrewId = CrewId([7; 32]);

/// A ledger of what plans have written, as far as an import asks.
#[derive(Default)]
struct Shelf {
    people: BTreeMap<String, (PersonId, Role)>,
    events: Vec<(EventHash, Payload)>,
    /// It is a crew phone's, which holds no prices.
    crew_only: bool,
}

impl Shelf {
    fn with_founder() -> Self {
        let founder = (maren(), Role::Owner);
        let people = BTreeMap::from([("Maren Oake".to_owned(), founder)]);
        Self { people, ..Self::default() }
    }

    fn take(&mut self, plan: Plan) {
        for planned in plan.writes {
            if let Body::PersonListed(listed) = &planned.payload.body {
                self.people.insert(listed.name.clone(), (listed.person, listed.role));
            }
            let mut hash = [0; 32];
            hash[..8].copy_from_slice(&u64::try_from(self.events.len()).unwrap().to_be_bytes());
            self.events.push((EventHash(hash), planned.payload));
        }
    }

    fn standing(&self) -> impl Iterator<Item = &(EventHash, Payload)> {
        let replaced: BTreeSet<_> = self.events.iter().flat_map(|(_, event)| &event.act.replaces).collect();
        self.events.iter().filter(move |(hash, _)| !replaced.contains(hash))
    }
}

impl Held for Shelf {
    fn event_of(&self, entry: &EntryRef) -> Option<(EventHash, Payload)> {
        self.events.iter().find(|(_, event)| event.act.entry_ref() == *entry).cloned()
    }

    fn change_of(&self, _entry: &EntryRef, change: &EntryRef) -> Option<(EventHash, Payload)> {
        self.event_of(change)
    }

    fn list_versions(&self, kind: Kind, subject: ListSubject) -> Vec<(EventHash, Payload)> {
        let about = |body: &Body| match body {
            Body::ItemListed(listed) => Some(ListSubject::Item(listed.item)),
            Body::ItemPriced(priced) => Some(ListSubject::Item(priced.item)),
            Body::JobListed(listed) => Some(ListSubject::Job(listed.job)),
            Body::JobTerms(terms) => Some(ListSubject::Job(terms.job)),
            Body::StageListed(listed) => Some(ListSubject::Stage(listed.stage)),
            Body::LineListed(listed) => Some(ListSubject::Line(listed.line)),
            Body::LinePriced(priced) => Some(ListSubject::Line(priced.line)),
            Body::PersonListed(listed) => Some(ListSubject::Person(listed.person)),
            Body::PersonRated(rated) => Some(ListSubject::Person(rated.person)),
            Body::FirmListed(_) => Some(ListSubject::Firm),
            Body::PricePaid(paid) => Some(ListSubject::Entry(paid.of)),
            _ => None,
        };
        let found = self.standing().filter(|(_, e)| e.body.kind() == kind && about(&e.body) == Some(subject));
        found.cloned().collect()
    }

    fn person(&self, name: &str) -> Option<(PersonId, Role)> {
        self.people.get(name).copied()
    }

    fn people(&self) -> Vec<PersonId> {
        self.people.values().map(|(person, _)| *person).collect()
    }

    fn job(&self, code: &str) -> Option<JobListed> {
        self.standing().find_map(|(_, event)| match &event.body {
            Body::JobListed(job) if job.code == code => Some(job.clone()),
            _ => None,
        })
    }

    fn stage(&self, job: JobId, name: &str) -> Option<StageId> {
        self.standing().find_map(|(_, event)| match &event.body {
            Body::StageListed(stage) if stage.job == job && stage.name == name => Some(stage.stage),
            _ => None,
        })
    }

    fn stages_of(&self, job: JobId) -> Vec<StageListed> {
        let stages = self.standing().filter_map(|(_, event)| match &event.body {
            Body::StageListed(stage) if stage.job == job => Some(stage.clone()),
            _ => None,
        });
        stages.collect()
    }

    fn lines_of(&self, job: JobId) -> Vec<LineListed> {
        let lines = self.standing().filter_map(|(_, event)| match &event.body {
            Body::LineListed(line) if line.job == job => Some(line.clone()),
            _ => None,
        });
        lines.collect()
    }

    fn entry_beginning(&self, beginning: &str) -> Option<(EntryRef, Kind)> {
        let begins = |event: &&(EventHash, Payload)| event.1.act.entry.to_string().starts_with(beginning);
        self.events.iter().find(begins).map(|(_, event)| (event.act.entry_ref(), event.body.kind()))
    }

    fn photo(&self, name: &str) -> Result<PhotoFile, String> {
        if name == "wall.jpg" { Ok(PHOTO) } else { Err(format!("{name}: no such file")) }
    }

    fn reads_office(&self) -> bool {
        !self.crew_only
    }

    fn item(&self, name: &str) -> Option<ItemListed> {
        self.standing().find_map(|(_, event)| match &event.body {
            Body::ItemListed(item) if item.name == name => Some(item.clone()),
            _ => None,
        })
    }
}

/// The one photo that every test's folder has.
const PHOTO: PhotoFile = PhotoFile { hash: PhotoHash([9; 32]), bytes: 1_234 };

fn maren() -> PersonId {
    PersonId::named(&CREW, "Maren Oake")
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn context<'a>(held: &'a Shelf, today: &str) -> Context<'a> {
    Context {
        crew: CREW,
        today: day(today),
        now: Moment::parse(&format!("{today}T18:00"), "Europe/London").unwrap(),
        devices: None,
        held,
        author: maren(),
        role: Role::Owner,
        lists: ListRows::Whole,
        say: &|_| (),
    }
}

fn scenario() -> Files {
    macro_rules! file {
        ($name:literal) => {
            Some(include_bytes!(concat!("../../../../tests/scenario/", $name)).to_vec())
        };
    }
    Files {
        crew: file!("crew.csv"),
        price_book: file!("price-book.csv"),
        firm: file!("firm.csv"),
        jobs: file!("jobs.csv"),
        stages: file!("stages.csv"),
        estimate: file!("estimate.csv"),
        entries: file!("entries.csv"),
    }
}

const HEADER: &str = "entry,device,person,at,done_on,kind,job,stage,what,quantity,unit,from,to,break_min,minutes,where,corrects,note";

/// The scenario's lists with entries of our own.
fn with_entries(rows: &str) -> Files {
    Files { entries: Some(format!("{HEADER}\n{rows}").into_bytes()), ..scenario() }
}

fn plan_of(files: &Files) -> Result<Plan, Vec<BadRow>> {
    plan(files, &context(&Shelf::with_founder(), "2026-11-09"))
}

fn entry_payloads(plan: &Plan) -> Vec<&Payload> {
    let number = |planned: &&Planned| (40..100).contains(&planned.payload.body.kind().number());
    plan.writes.iter().filter(number).map(|planned| &planned.payload).collect()
}

fn text(bytes: &Option<Vec<u8>>) -> String {
    String::from_utf8(bytes.clone().unwrap()).unwrap()
}

#[test]
fn the_week_is_planned_whole() {
    let plan = plan_of(&scenario()).unwrap();
    let mut kinds: BTreeMap<Kind, usize> = BTreeMap::new();
    for planned in &plan.writes {
        *kinds.entry(planned.payload.body.kind()).or_default() += 1;
        assert!(planned.payload.body.kind().carried().by(planned.audience));
    }
    let lists = [
        (Kind::PersonListed, 2), // The founder is on the roster already.
        (Kind::PersonRated, 3),
        (Kind::ItemListed, 18),
        (Kind::ItemPriced, 18),
        (Kind::FirmListed, 1),
        (Kind::JobListed, 2),
        (Kind::JobTerms, 2),
        (Kind::StageListed, 11),
        (Kind::LineListed, 26),
        (Kind::LinePriced, 26),
    ];
    for (kind, count) in lists {
        assert_eq!(kinds.get(&kind), Some(&count), "{kind:?}");
    }
    assert_eq!(entry_payloads(&plan).len(), 48);
    assert_eq!((plan.already_held, plan.warnings), (1, Vec::new()));
    let entries: BTreeSet<_> = plan.writes.iter().map(|planned| planned.payload.act.entry_ref()).collect();
    assert_eq!(entries.len(), plan.writes.len(), "no two events are one entry");
}

#[test]
fn quantities_bounds_and_corrections_say_what_the_rows_say() {
    let plan = plan_of(&scenario()).unwrap();
    let find = |key: &str| {
        let mut payloads = entry_payloads(&plan).into_iter();
        payloads.find(|payload| payload.act.row_key == key).unwrap().clone()
    };
    let Body::Used(bags) = find("e031").body else { panic!("not used") };
    let said = bags.amount.said.unwrap();
    assert_eq!((bags.amount.quantity.to_string(), said.count.to_string()), ("112.5".into(), "4.5".into()));
    assert_eq!(said.pack, "bag");
    let Body::Test(megohms) = find("e017").body else { panic!("not a test") };
    assert_eq!((megohms.bound, megohms.value.to_string()), (Bound::Above, "200".to_owned()));
    assert_eq!(find("e018").act.done_at, Some(9 * 60 + 45));
    let Body::Corrected(corrected) = find("e043").body else { panic!("not corrected") };
    assert_eq!(corrected.changes.to.unwrap().to_string(), "2026-11-05T17:20");
    assert_eq!(corrected.changes.break_minutes, None);
    let supersedes: Vec<_> = plan.writes.iter().filter(|planned| !planned.supersedes.is_empty()).collect();
    assert_eq!(supersedes.len(), 2);
    assert_eq!(supersedes[1].supersedes, [find("e037").act.entry_ref()]);
}

#[test]
fn importing_again_changes_nothing() {
    let mut shelf = Shelf::with_founder();
    let first = plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap();
    let count = first.writes.len() + first.already_held;
    shelf.take(first);
    let second = plan(&scenario(), &context(&shelf, "2026-11-20")).unwrap();
    assert_eq!((second.writes, second.warnings), (Vec::new(), Vec::new()));
    // Once listed, the two hands are on the roster like the founder.
    assert_eq!(second.already_held, count);
}

#[test]
fn a_changed_price_holds_from_today_and_a_changed_job_replaces() {
    let mut shelf = Shelf::with_founder();
    let first = plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap();
    assert!(first.writes.iter().any(|planned| planned.payload.act.done_on == day("1970-01-01")));
    shelf.take(first);
    let mut files = scenario();
    files.price_book = Some(text(&files.price_book).replace("4.86", "5.10").into_bytes());
    files.jobs = Some(text(&files.jobs).replace("J. Marrable", "J. and P. Marrable").into_bytes());
    let second = plan(&files, &context(&shelf, "2026-11-20")).unwrap();
    let acts: Vec<_> = second.writes.iter().map(|planned| &planned.payload.act).collect();
    assert!(acts.iter().all(|act| act.done_on == day("2026-11-20")));
    assert_eq!(acts.iter().map(|act| act.replaces.len()).collect::<Vec<_>>(), [0, 1]);
    shelf.take(second);
    assert_eq!(plan(&files, &context(&shelf, "2026-11-21")).unwrap().writes, []);
    // Back to the first files: again one price and one job, as entries of their own.
    let back = plan(&scenario(), &context(&shelf, "2026-11-22")).unwrap();
    assert_eq!(back.writes.len(), 2);
    shelf.take(back);
    assert_eq!(plan(&scenario(), &context(&shelf, "2026-11-23")).unwrap().writes, []);
}

#[test]
fn what_was_changed_by_hand_is_not_undone_by_the_old_file() {
    let mut shelf = Shelf::with_founder();
    shelf.take(plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap());
    let priced = shelf.events.iter().find(|(_, event)| event.body.kind() == Kind::ItemPriced).unwrap();
    let mut by_hand = priced.1.clone();
    let Body::ItemPriced(price) = &mut by_hand.body else { panic!("not priced") };
    price.pack_cost = "5.55".parse().unwrap();
    by_hand.act.entry = ledger::EntryId([1; 16]);
    by_hand.act.done_on = day("2026-11-10");
    by_hand.act.row_key.clear();
    shelf.events.push((EventHash([255; 32]), by_hand));
    let again = plan(&scenario(), &context(&shelf, "2026-11-20")).unwrap();
    assert_eq!(again.writes, []);
    assert_eq!(again.warnings, ["price-book.csv line 2: changed in the ledger since; the ledger's stands."]);
}

#[test]
fn an_entry_that_is_held_with_other_content_is_refused() {
    let mut shelf = Shelf::with_founder();
    shelf.take(plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap());
    let mut files = scenario();
    files.entries =
        Some(text(&files.entries).replace("stud 95x38x2400,22,", "stud 95x38x2400,23,").into_bytes());
    let bad = plan(&files, &context(&shelf, "2026-11-20")).unwrap_err();
    assert_eq!(bad.len(), 1);
    let expected = "entries.csv line 4, column entry: already imported with other content; \
                    log a correction instead (kind corrected)";
    assert_eq!(bad[0].to_string(), expected);
    // The bags of last week stay the bags they were, whatever a bag holds today.
    let mut files = scenario();
    files.price_book = Some(text(&files.price_book).replace("kg,bag,25,9.75", "kg,bag,20,9.75").into_bytes());
    assert_eq!(plan(&files, &context(&shelf, "2026-11-20")).unwrap().writes.len(), 1);
}

#[test]
fn one_device_gives_its_own_entries_and_no_list_but_the_owners() {
    let shelf = Shelf::with_founder();
    let phone = BTreeSet::from(["ines-phone".to_owned()]);
    let mut context = context(&shelf, "2026-11-09");
    context.devices = Some(&phone);
    assert_eq!(entry_payloads(&plan(&scenario(), &context).unwrap()).len(), 16);
    context.role = Role::Hand;
    context.author = PersonId::named(&CREW, "Ines Quill");
    let by_hand = plan(&scenario(), &context).unwrap();
    assert_eq!(by_hand.writes.len(), 16);
    assert_eq!(by_hand.warnings.len(), 1);
    assert!(by_hand.warnings[0].ends_with("Lists come from a boss's device."), "{:?}", by_hand.warnings);
    let nobody = BTreeSet::from(["ines-fone".to_owned()]);
    context.devices = Some(&nobody);
    let warnings = plan(&scenario(), &context).unwrap().warnings;
    assert!(warnings.contains(&"entries.csv: no row is from device \"ines-fone\".".to_owned()));
}

#[test]
fn the_order_of_rows_and_columns_does_not_matter() {
    let expected = plan_of(&scenario()).unwrap();
    assert_eq!(plan_of(&scenario()).unwrap(), expected);
    let entries = text(&scenario().entries);
    let mut rows: Vec<_> = entries.lines().skip(1).collect();
    // Some other orders: reversed, and every seventh row in turn (seven and 48 share no factor).
    rows.reverse();
    for step in [1, 7, 11] {
        let order = (0..rows.len()).map(|at| rows[at * step % rows.len()]);
        let shuffled = order.collect::<Vec<_>>().join("\n");
        assert_eq!(plan_of(&with_entries(&shuffled)).unwrap(), expected, "step {step}");
    }
    let mut files = scenario();
    let reordered = "charge_rate,extra,Person,cost_rate,role\n42.00,x,Maren Oake,28.00,owner\n\
                     36.00,,Tobi Larch,21.50,hand\n30.00,,Ines Quill,17.25,hand\n";
    files.crew = Some(reordered.into());
    let plan = plan_of(&files).unwrap();
    assert_eq!(plan.writes, expected.writes);
    assert_eq!(plan.warnings, ["crew.csv: Column \"extra\" is not known and was ignored."]);
}

#[test]
fn spreadsheets_habits_are_taken() {
    let expected = plan_of(&scenario()).unwrap();
    let mut files = scenario();
    let entries = text(&files.entries).replace('\n', "\r\n");
    files.entries = Some(format!("\u{feff}{entries},,,,,,,,,,,,,,,,,\r\n\r\n").into_bytes());
    assert_eq!(plan_of(&files).unwrap(), expected);
    let noted =
        "n1,maren-phone,Maren Oake,2026-11-04T09:20,,note,GARAGE,skim,,,,,,,,,,\"two\nlines, \"\"so\"\"\"\n";
    let plan = plan_of(&with_entries(noted)).unwrap();
    assert_eq!(entry_payloads(&plan)[0].act.note, "two\nlines, \"so\"");
    let crlf = format!("{}x1,maren-phone\r\n", noted.replace('\n', "\r\n"));
    assert_eq!(plan_of(&with_entries(&crlf)).unwrap_err()[0].line, 4);
}

#[test]
fn a_shift_over_a_clock_change_is_planned_and_a_length_has_no_times() {
    let rows = "a,p,Tobi Larch,2026-10-25T07:00,,hours,MILL,skim,,,,2026-10-24T22:00,2026-10-25T06:00,,,,,\n\
                b,p,Tobi Larch,2026-10-27T07:00,2026-10-26,hours,MILL,,loading,,,,,,90,,,\n";
    let plan = plan_of(&with_entries(rows)).unwrap();
    let payloads = entry_payloads(&plan);
    let Body::Hours(night) = &payloads[0].body else { panic!("not hours") };
    let Worked::Span { from, to, .. } = night.worked else { panic!("not a span") };
    assert_eq!((to.minutes_since(from), payloads[0].act.done_on), (9 * 60, day("2026-10-24")));
    let Body::Hours(loading) = &payloads[1].body else { panic!("not hours") };
    assert_eq!((loading.worked, loading.activity.as_str()), (Worked::Length { minutes: 90 }, "loading"));
    assert_eq!(payloads[1].act.done_on, day("2026-10-26"));
}

#[test]
fn folders_are_read_as_far_as_they_go() {
    let folder = tempfile::tempdir().unwrap();
    assert!(matches!(Files::read(&folder.path().join("gone")), Err(FilesError::NoFolder(_))));
    assert!(matches!(Files::read(folder.path()), Err(FilesError::NothingThere(_))));
    std::fs::write(folder.path().join("crew.csv"), "person").unwrap();
    let files = Files::read(folder.path()).unwrap();
    assert_eq!(files, Files { crew: Some(b"person".to_vec()), ..Files::default() });
    let large = std::fs::File::create(folder.path().join("entries.csv")).unwrap();
    large.set_len(MAX_FILE_BYTES + 1).unwrap();
    assert!(matches!(Files::read(folder.path()), Err(FilesError::TooLarge(_))));
}

#[test]
fn a_row_logged_by_hand_is_an_import_of_one() {
    let mut shelf = Shelf::with_founder();
    shelf.take(plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap());
    let cells = [
        ("entry", "c0ffee"),
        ("device", "maren-phone"),
        ("person", "Maren Oake"),
        ("at", "2026-11-09T17:00"),
        ("kind", "corrected"),
        ("quantity", "5"),
        ("corrects", "e031"),
        ("note", "a \"split\" bag, too"),
    ];
    let row = cells.map(|(name, value)| (name.to_owned(), value.to_owned())).into();
    let plan = plan(
        &Files::of_rows(FileName::Entries, std::slice::from_ref(&row)).unwrap(),
        &context(&shelf, "2026-11-09"),
    )
    .unwrap();
    let Body::Corrected(corrected) = &plan.writes[0].payload.body else { panic!("not corrected") };
    assert_eq!(corrected.of.person, PersonId::named(&CREW, "Ines Quill"));
    assert_eq!(corrected.changes.amount.as_ref().unwrap().quantity.to_string(), "125");
    assert_eq!(corrected.changes.note.as_deref(), Some("a \"split\" bag, too"));
    let row = BTreeMap::from([("colour".to_owned(), "magnolia".to_owned())]);
    assert!(matches!(
        Files::of_rows(FileName::Entries, std::slice::from_ref(&row)),
        Err(FilesError::NoSuchColumn { .. })
    ));
}
