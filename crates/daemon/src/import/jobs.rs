//! Jobs, their stages and their costing.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use ledger::office::{Basis, CustomerKind, JobTerms, LinePriced};
use ledger::site::{JobListed, LineKind, LineListed, StageListed};
use ledger::{Body, ItemId, LineId, StageId};
use trade::waits::{self, Wait};
use trade::{Packing, Quantity, time::check_zone};

use super::cells::{Cells, complain_of_repeats};
use super::firm::MAX_TERMS_DAYS;
use super::known::{DEFAULT_ZONE, Known, KnownJob};
use super::lists::{ListRow, plan_list_row, row_key};
use super::table::Row;
use super::{BadRow, ListRows, ListSubject, Work};

const CUSTOMERS: [(&str, CustomerKind); 3] = [
    ("householder", CustomerKind::Householder),
    ("contractor", CustomerKind::Contractor),
    ("business", CustomerKind::Business),
];
const BASES: [(&str, Basis); 3] =
    [("fixed", Basis::Fixed), ("daywork", Basis::Daywork), ("valuation", Basis::Valuation)];
const LINE_KINDS: [(&str, LineKind); 2] = [("labour", LineKind::Labour), ("material", LineKind::Material)];
const VARIATIONS: [(&str, bool); 2] = [("", false), ("daywork", true)];
/// The words for hours. A costing line keeps the first.
const HOUR_WORDS: [(&str, &str); 4] = [("hour", "hour"), ("hours", "hour"), ("h", "hour"), ("hr", "hour")];
/// Longest wait after a stage that is taken for meant, in hours: a year.
const MAX_WAIT_HOURS: &str = "8784";

pub(super) fn plan_jobs(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    complain_of_repeats(rows, &["job"], &mut work.bad);
    for row in rows {
        let Some((listed, terms)) = read_job(row, known, &mut work.bad) else { continue };
        let (subject, key) = (ListSubject::Job(listed.job), row_key(&[&listed.code]));
        let body = Body::JobListed(listed);
        plan_list_row(
            ListRow { row, table: "jobs/job", key: key.clone(), subject, dated: false, body },
            work,
        );
        let body = Body::JobTerms(terms);
        plan_list_row(ListRow { row, table: "jobs/terms", key, subject, dated: false, body }, work);
    }
}

fn read_job(row: &Row, known: &Known<'_>, bad: &mut Vec<BadRow>) -> Option<(JobListed, JobTerms)> {
    let mut cells = Cells::new(row, bad);
    let code = cells.required("job");
    let title = cells.text("title");
    let customer = cells.required("customer");
    let customer_kind = cells.word("customer_kind", &CUSTOMERS);
    let basis = cells.word("basis", &BASES);
    let vat_percent = cells.required("vat_rate").and_then(|_| cells.percent("vat_rate"));
    let reverse_charge = cells.yes_or_no("reverse_charge");
    let cis_percent = cells.percent("cis_rate");
    let retention_percent = cells.percent("retention_pct");
    let markup_percent = cells.markup("markup_pct");
    let zone = Some(cells.text("timezone")).filter(|zone| !zone.is_empty()).unwrap_or(DEFAULT_ZONE);
    let zone_known = check_zone(zone);
    if let Err(error) = &zone_known {
        cells.complain("timezone", error.to_string());
    }
    let customer_cis = cells.yes_or_no("customer_cis");
    let end_user_statement = cells.yes_or_no("end_user_statement");
    let terms_days = cells.whole("terms_days", 0, MAX_TERMS_DAYS);
    let customer_country = cells.country("customer_country");
    zone_known.ok()?;
    let (code, customer) = (code?, customer?);
    let job = known.job(code)?.id;
    let text = |column| row.text(column).to_owned();
    let listed = JobListed {
        job,
        code: code.to_owned(),
        title: title.to_owned(),
        customer: customer.to_owned(),
        site_address: text("site_address"),
        time_zone: zone.to_owned(),
    };
    let terms = JobTerms {
        job,
        customer_kind: customer_kind?,
        basis: basis?,
        vat_percent: vat_percent?,
        reverse_charge: reverse_charge?,
        cis_percent: cis_percent?,
        retention_percent: retention_percent?,
        markup_percent: markup_percent?,
        billing_address: text("billing_address"),
        customer_vat_number: text("customer_vat_no"),
        customer_cis: customer_cis?,
        end_user_statement: end_user_statement?,
        terms_days: terms_days?,
        order_number: text("order_no"),
        customer_country: customer_country?,
    };
    Some((listed, terms))
}

pub(super) fn plan_stages(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    complain_of_repeats(rows, &["job", "stage"], &mut work.bad);
    complain_of_circles(rows, known, work);
    let mut places = BTreeMap::new();
    for row in rows {
        let place = places.entry(row.text("job")).or_insert(0_u32);
        *place += 1;
        let Some((mut listed, says_wait)) = read_stage(row, *place, known, &mut work.bad) else { continue };
        if let (false, Some(wait)) = (says_wait, usual_wait_of(row, rows, known, work)) {
            listed.wait_minutes = wait.minutes;
            let length = waits::length(wait.minutes);
            work.warn(format!(
                "{}: no wait was said, so it is {length} at the earliest: {}; {}. Write 0 for none.",
                listed.name, wait.what, wait.source
            ));
        }
        let held = work.context.held.stages_of(listed.job);
        let held: Vec<_> = held.iter().map(|held| (held.order, held.stage == listed.stage)).collect();
        listed.order = place_among(&held, *place, work.context.lists);
        let subject = ListSubject::Stage(listed.stage);
        let key = row_key(&[row.text("job"), &listed.name]);
        let body = Body::StageListed(listed);
        plan_list_row(ListRow { row, table: "stages/stage", key, subject, dated: false, body }, work);
    }
}

/// The place of a row in its list: its own in the file, or that of the one that is held, or behind all.
/// `held` has the place of each that is held, and whether it is this one.
fn place_among(held: &[(u32, bool)], in_file: u32, lists: ListRows) -> u32 {
    match lists {
        ListRows::Whole => in_file,
        ListRows::More => held.iter().find(|(_, is_this)| *is_this).map_or_else(
            || held.iter().map(|(place, _)| *place).max().unwrap_or(0).saturating_add(in_file),
            |(place, _)| *place,
        ),
    }
}

/// A stage, and whether its row says how long to wait.
fn read_stage(
    row: &Row,
    order: u32,
    known: &Known<'_>,
    bad: &mut Vec<BadRow>,
) -> Option<(StageListed, bool)> {
    let mut cells = Cells::new(row, bad);
    let job = read_job_code(&mut cells, known);
    let name = cells.required("stage");
    let wait_minutes = read_wait(&mut cells);
    let says_wait = wait_minutes.is_none_or(|said| said.is_some());
    let needs_photo = cells.yes_or_no("needs_photo");
    let job = job?;
    let after = read_stages(&mut cells, "after", &job, known);
    let covers = read_stages(&mut cells, "covers", &job, known);
    let name = name?;
    let texts = |column| cells.list(column).into_iter().map(str::to_owned).collect();
    let listed = StageListed {
        stage: known.stage(job.id, name)?,
        job: job.id,
        name: name.to_owned(),
        order,
        trades: texts("trade"),
        after: after?,
        wait_minutes: wait_minutes?.unwrap_or(0),
        covers: covers?,
        needs_tests: texts("needs_reading"),
        needs_photo: needs_photo?.unwrap_or(false),
    };
    Some((listed, says_wait))
}

fn read_job_code(cells: &mut Cells<'_, '_>, known: &Known<'_>) -> Option<KnownJob> {
    let code = cells.required("job")?;
    let job = known.job(code);
    if job.is_none() {
        cells.complain("job", format!("there is no job {code:?} in jobs.csv or in the ledger"));
    }
    job
}

fn read_stages(
    cells: &mut Cells<'_, '_>,
    column: &'static str,
    job: &KnownJob,
    known: &Known<'_>,
) -> Option<Vec<StageId>> {
    let mut stages = Vec::new();
    let mut all_known = true;
    for name in cells.list(column) {
        match known.stage(job.id, name) {
            Some(_) if name == cells.text("stage") => {
                cells.complain(column, "a stage can't name itself here");
                all_known = false;
            }
            Some(stage) if stages.contains(&stage) => {
                cells.complain(column, format!("{name:?} is there twice; keep one"));
                all_known = false;
            }
            Some(stage) => stages.push(stage),
            None => {
                cells.complain(column, known.no_stage(job.id, name));
                all_known = false;
            }
        }
    }
    all_known.then_some(stages)
}

/// Hours to wait, as minutes; "3 days" is as good. `None` inside where nothing is said.
fn read_wait(cells: &mut Cells<'_, '_>) -> Option<Option<u32>> {
    let text = cells.text("wait_hours");
    if text.is_empty() {
        return Some(None);
    }
    let days = ["days", "day", "d"].iter().find_map(|word| text.strip_suffix(word));
    let hours = match days {
        Some(days) => {
            let days = cells.parse_number::<Quantity>("wait_hours", days.trim())?;
            let day = "24".parse().ok().and_then(|size| Packing::new("hour", "day", size).ok());
            day.and_then(|day| day.in_units(days, "day").ok()).filter(|hours| !hours.is_negative())
        }
        None => Some(cells.quantity_or_nought("wait_hours")?),
    };
    let Some(hours) = hours else {
        cells.complain("wait_hours", "must not be below nought");
        return None;
    };
    let sixty = "60".parse::<Quantity>().ok()?;
    // Hours are a pack of sixty minutes, so the exact conversion of packs does for them.
    let minutes =
        Packing::new("minute", "hour", sixty).ok().and_then(|hour| hour.in_units(hours, "hour").ok());
    let whole = minutes.and_then(|minutes| minutes.to_string().parse::<u32>().ok());
    let whole = whole.filter(|_| MAX_WAIT_HOURS.parse().is_ok_and(|most: Quantity| hours <= most));
    if whole.is_none() {
        let reason = format!("must come to whole minutes, and to {MAX_WAIT_HOURS} hours at most");
        cells.complain("wait_hours", reason);
    }
    whole.map(Some)
}

/// The usual wait of a stage whose row says nothing of it: the longest after any of those that it follows,
/// each by its name and trades.
fn usual_wait_of(row: &Row, rows: &[Row], known: &Known<'_>, work: &Work<'_>) -> Option<&'static Wait> {
    let code = row.text("job");
    let words = |row: &Row| format!("{}, {}", row.text("stage"), row.text("trade"));
    let held = known.job(code).map(|job| work.context.held.stages_of(job.id)).unwrap_or_default();
    let before = row.text("after").split(';').map(str::trim).filter(|name| !name.is_empty());
    let waits = before.filter_map(|name| {
        let in_file = rows.iter().find(|row| row.text("job") == code && row.text("stage") == name).map(words);
        let in_ledger = || {
            let stage = held.iter().find(|stage| stage.name == name)?;
            Some(format!("{}, {}", stage.name, stage.trades.join(", ")))
        };
        waits::usual_wait(&in_file.or_else(in_ledger)?, &words(row), work.context.today)
    });
    waits.max_by_key(|wait| wait.minutes)
}

/// A stage by the code of its job and its own name.
type StageName = (String, String);

/// Which stages each stage comes after: as the rows say, and for the rest of their jobs as the ledger says.
fn stages_before(rows: &[Row], known: &Known<'_>, work: &Work<'_>) -> BTreeMap<StageName, Vec<StageName>> {
    let mut after = BTreeMap::new();
    let codes: BTreeSet<&str> = rows.iter().map(|row| row.text("job")).collect();
    for code in codes {
        let held = known.job(code).map(|job| work.context.held.stages_of(job.id)).unwrap_or_default();
        let name =
            |id: &StageId| held.iter().find(|stage| stage.stage == *id).map(|stage| stage.name.clone());
        for stage in &held {
            let before = stage.after.iter().filter_map(name).map(|name| (code.to_owned(), name)).collect();
            after.insert((code.to_owned(), stage.name.clone()), before);
        }
    }
    for row in rows {
        let names = row.text("after").split(';').map(str::trim).filter(|name| !name.is_empty());
        let before = names.map(|name| (row.text("job").to_owned(), name.to_owned())).collect();
        after.insert((row.text("job").to_owned(), row.text("stage").to_owned()), before);
    }
    after
}

/// Complains about every stage that would have to wait for itself, by way of others, and names those.
fn complain_of_circles(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    let after = stages_before(rows, known, work);
    for row in rows {
        let stage = (row.text("job").to_owned(), row.text("stage").to_owned());
        // A stage that names itself is complained about in its own cell.
        if after.get(&stage).is_some_and(|before| before.contains(&stage)) {
            continue;
        }
        let Some(circle) = circle_through(&stage, &after) else { continue };
        let words = circle.iter().map(|(_, name)| name.as_str()).collect::<Vec<_>>().join(", then ");
        let reason = format!("stages would come after each other in a circle: {words}; take one of them out");
        work.bad.push(row.bad("after", reason));
    }
}

/// The shortest way from a stage back to itself by what each comes after, in the order of the work.
fn circle_through<'a>(
    stage: &'a StageName,
    after: &'a BTreeMap<StageName, Vec<StageName>>,
) -> Option<Vec<&'a StageName>> {
    // What each was reached from, nearest first.
    let mut reached: BTreeMap<&StageName, &StageName> = BTreeMap::new();
    let mut next = VecDeque::from([stage]);
    while let Some(at) = next.pop_front() {
        for before in after.get(at).into_iter().flatten() {
            if before == stage {
                let mut circle = vec![stage];
                let mut back = at;
                while back != stage {
                    circle.push(back);
                    back = reached.get(back)?;
                }
                return Some(circle);
            }
            if !reached.contains_key(before) {
                reached.insert(before, at);
                next.push_back(before);
            }
        }
    }
    None
}

pub(super) fn plan_estimate(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    complain_of_repeats(rows, &["job", "stage", "kind", "what"], &mut work.bad);
    let mut places = BTreeMap::new();
    for row in rows {
        let place = places.entry(row.text("job")).or_insert(0_u32);
        *place += 1;
        let (crew, kind) = (work.context.crew, row.text("kind").to_ascii_lowercase());
        let line = LineId::named(&crew, row.text("job"), row.text("stage"), &kind, row.text("what"));
        let read = read_line(row, line, *place, known, &mut work.bad);
        let Some((mut listed, priced)) = read else { continue };
        let held = work.context.held.lines_of(listed.job);
        let held: Vec<_> = held.iter().map(|held| (held.order, held.line == line)).collect();
        listed.order = place_among(&held, *place, work.context.lists);
        let key = row_key(&["job", "stage", "kind", "what"].map(|column| row.text(column)));
        let (subject, body) = (ListSubject::Line(line), Body::LineListed(listed));
        let list = ListRow { row, table: "estimate/line", key: key.clone(), subject, dated: false, body };
        plan_list_row(list, work);
        let body = Body::LinePriced(priced);
        plan_list_row(ListRow { row, table: "estimate/money", key, subject, dated: false, body }, work);
    }
}

fn read_line(
    row: &Row,
    line: LineId,
    order: u32,
    known: &Known<'_>,
    bad: &mut Vec<BadRow>,
) -> Option<(LineListed, LinePriced)> {
    let mut cells = Cells::new(row, bad);
    let job = read_job_code(&mut cells, known);
    let stage_name = cells.required("stage");
    let kind = cells.word("kind", &LINE_KINDS);
    let what = cells.required("what");
    let quantity = cells.quantity_or_nought("quantity");
    let unit_cost = cells.pounds("unit_cost");
    let unit_price = cells.pounds("unit_price");
    let on_the_clock = cells.word("variation", &VARIATIONS);
    let stage = job.as_ref().zip(stage_name).and_then(|(job, name)| {
        let stage = known.stage(job.id, name);
        if stage.is_none() {
            cells.complain("stage", known.no_stage(job.id, name));
        }
        stage
    });
    let counted = kind.zip(what).and_then(|(kind, what)| match kind {
        LineKind::Labour => cells.word("unit", &HOUR_WORDS).map(|unit| (None, unit.to_owned())),
        LineKind::Material => {
            read_costed_item(&mut cells, what, known).map(|(item, unit)| (Some(item), unit))
        }
    });
    let (item, unit) = counted?;
    let listed = LineListed {
        line,
        job: job?.id,
        stage: stage?,
        order,
        kind: kind?,
        what: what?.to_owned(),
        item,
        quantity: quantity?,
        unit,
        on_the_clock: on_the_clock?,
    };
    Some((listed, LinePriced { line, unit_cost: unit_cost?, unit_price: unit_price? }))
}

/// The item of a costing line and its unit. Its money is for one unit, so packs are not taken here.
fn read_costed_item(cells: &mut Cells<'_, '_>, what: &str, known: &Known<'_>) -> Option<(ItemId, String)> {
    let Some(item) = known.item(what) else {
        cells.complain("what", format!("there is no item {what:?} in price-book.csv or in the ledger"));
        return None;
    };
    let said = cells.required("unit")?;
    let one = "1".parse::<Quantity>().ok()?;
    let same = Packing::new(&item.unit, &item.unit, one).is_ok_and(|unit| unit.in_units(one, said).is_ok());
    if !same {
        let reason = format!("a costing line counts this item in its own unit, {}", item.unit);
        cells.complain("unit", reason);
        return None;
    }
    Some((item.id, item.unit))
}
