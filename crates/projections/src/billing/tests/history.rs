//! Random histories of one job beside a plain model that sees all: it knows what every unit is
//! worth because it was told, and adds the papers' claims up without knowing how they came about.

use ledger::office::BillableUnit;
use proptest::prelude::*;
use rust_decimal::Decimal;
use trade::Pence;

use super::*;

#[derive(Debug, Clone)]
enum Step {
    Work {
        minutes: i64,
    },
    Use {
        count: i64,
    },
    Return {
        count: i64,
    },
    Correct {
        which: usize,
        to: i64,
    },
    Strike {
        which: usize,
    },
    /// The other item: studs are battens, and battens are studs.
    ChangeItem {
        which: usize,
    },
    /// Screws, which have a price that changes and never come back.
    UseScrews {
        count: i64,
    },
    ChangePrice,
    ChangeRate {
        which: usize,
    },
    SignOff {
        stage: usize,
    },
    Reopen {
        stage: usize,
    },
    Issue,
    Credit {
        which: usize,
    },
    CreditWhole {
        which: usize,
    },
    Void {
        which: usize,
    },
}

/// Hours in steps of three minutes and prices of whole pence, so that no rounding hides a loss.
fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        3 => (1..200_i64).prop_map(|count| Step::Work { minutes: count * 3 }),
        3 => (1..60_i64).prop_map(|count| Step::Use { count }),
        2 => (1..30_i64).prop_map(|count| Step::Return { count }),
        3 => (0..12_usize, 0..200_i64).prop_map(|(which, to)| Step::Correct { which, to }),
        2 => (0..12_usize).prop_map(|which| Step::Strike { which }),
        2 => (0..12_usize).prop_map(|which| Step::ChangeItem { which }),
        2 => (1..60_i64).prop_map(|count| Step::UseScrews { count }),
        1 => Just(Step::ChangePrice),
        1 => (0..12_usize).prop_map(|which| Step::ChangeRate { which }),
        2 => (0..2_usize).prop_map(|stage| Step::SignOff { stage }),
        1 => (0..2_usize).prop_map(|stage| Step::Reopen { stage }),
        4 => Just(Step::Issue),
        2 => (0..3_usize).prop_map(|which| Step::Credit { which }),
        1 => (0..6_usize).prop_map(|which| Step::CreditWhole { which }),
        1 => (0..6_usize).prop_map(|which| Step::Void { which }),
    ]
}

const STAGE_PENCE: [i64; 2] = [48_000, 7_500];
/// What an hour is charged, and a minute of it in pence.
const RATES: [(&str, i64); 2] = [("36.00", 60), ("30.00", 50)];
/// What a unit costs, and sells for in pence with 15 %.
const STUD: (&str, i64) = ("4.00", 460);
const BATTEN: (&str, i64) = ("2.00", 230);
const SCREWS: [(&str, i64); 2] = [("1.00", 115), ("3.00", 345)];

fn whole(number: i64) -> Quantity {
    Quantity::new(Decimal::from(number)).unwrap()
}

fn start() -> JobWork {
    let mut garage = job("GARAGE", "J. Marrable", garage_terms(), &["skim", "boarding", "move the door"]);
    for (stage, price, on_the_clock) in
        [("skim", "40.00", false), ("boarding", "6.25", false), ("move the door", "0", true)]
    {
        garage.lines.push(CostingLine {
            stage: garage.stage(stage),
            kind: LineKind::Labour,
            what: format!("{stage} labour"),
            quantity: quantity("12"),
            unit_price: Some(rate(price)),
            on_the_clock,
        });
    }
    garage
}

/// What everything is worth, in pence, from the work alone.
fn worth_pence(job: &JobWork) -> i64 {
    let stages = job.stages.iter().zip(STAGE_PENCE);
    let stages = stages
        .filter(|(stage, _)| stage.steps.last().is_some_and(|step| step.progress == Progress::SignedOff));
    let mut labour = 0;
    let mut counts: BTreeMap<&str, (Decimal, i64)> = BTreeMap::new();
    for work in &job.entries {
        match &work.measure {
            Measure::Labour { minutes, charge_rate, .. } => {
                let (_, pence) = RATES.iter().find(|(text, _)| *charge_rate == Some(rate(text))).unwrap();
                labour += minutes * pence;
            }
            Measure::Material { item, quantity, unit_cost, .. } => {
                let mut prices = [STUD, BATTEN].into_iter().chain(SCREWS);
                let cost = |text| Some(UnitCost::of_pack(rate(text), whole(1)).unwrap());
                let (_, pence) = prices.find(|(text, _)| *unit_cost == cost(text)).unwrap();
                counts.entry(item).or_insert((Decimal::ZERO, pence)).0 += quantity.value();
            }
            Measure::Counted { .. } => panic!("no step of a history counts anything"),
        }
    }
    let material = counts.into_values();
    let material: i64 =
        material.map(|(count, pence)| i64::try_from(count.max(Decimal::ZERO)).unwrap() * pence).sum();
    stages.map(|(_, pence)| pence).sum::<i64>() + labour + material
}

/// The papers that hold, with 1 for an invoice and -1 for a credit note.
fn holding(job: &JobWork) -> Vec<(&IssuedPaper, i64)> {
    let voided: BTreeSet<_> =
        job.papers.iter().filter(|paper| paper.voided).map(|paper| paper.document.invoice).collect();
    let holds = job.papers.iter().filter(|paper| {
        !voided.contains(&paper.document.invoice) && paper.credits.is_none_or(|of| !voided.contains(&of))
    });
    holds.map(|paper| (paper, if paper.credits.is_some() { -1 } else { 1 })).collect()
}

fn billed_pence(job: &JobWork) -> i64 {
    holding(job).iter().map(|(paper, sign)| paper.document.totals.net.0 * sign).sum()
}

fn billed_units(job: &JobWork) -> BTreeMap<BillableUnit, Decimal> {
    let mut units = BTreeMap::new();
    for claim in
        holding(job).iter().flat_map(|(paper, _)| &paper.document.lines).flat_map(|line| &line.claims)
    {
        *units.entry(claim.unit).or_default() += claim.quantity.value();
    }
    units
}

fn take(job: &mut JobWork, number: u16, step: &Step) {
    let at = |which: usize, length: usize| (length > 0).then(|| which % length.max(1));
    match *step {
        Step::Work { minutes } => {
            job.work(number, "move the door", day(0), (TOBI, "Tobi Larch", RATES[0].0), minutes)
        }
        Step::Use { count } => {
            job.material(number, "move the door", day(0), "stud", &count.to_string(), (STUD.0, "1"));
        }
        Step::Return { count } => {
            job.material(number, "move the door", day(0), "stud", &format!("-{count}"), (STUD.0, "1"));
        }
        Step::Correct { which, to } => {
            let Some(which) = at(which, job.entries.len()) else { return };
            let work = &mut job.entries[which];
            work.revision = hash(number);
            match &mut work.measure {
                Measure::Labour { minutes, .. } => *minutes = to * 3,
                Measure::Material { quantity, .. } => {
                    *quantity = whole(if quantity.is_negative() { -to } else { to });
                }
                Measure::Counted { .. } => panic!("no step of a history counts anything"),
            }
        }
        Step::ChangeItem { which } => {
            let Some(which) = at(which, job.entries.len()) else { return };
            let work = &mut job.entries[which];
            let Measure::Material { item, unit_cost, .. } = &mut work.measure else { return };
            let (name, (cost, _)) = match item.as_str() {
                "stud" => ("batten", BATTEN),
                "batten" => ("stud", STUD),
                _ => return,
            };
            (*item, *unit_cost) = (name.to_owned(), UnitCost::of_pack(rate(cost), whole(1)).ok());
            work.revision = hash(number);
        }
        Step::UseScrews { count } => {
            let known = job.entries.iter().find_map(|work| match &work.measure {
                Measure::Material { item, unit_cost, .. } if item == "screws" => Some(*unit_cost),
                Measure::Material { .. } | Measure::Labour { .. } | Measure::Counted { .. } => None,
            });
            job.material(number, "move the door", day(0), "screws", &count.to_string(), (SCREWS[0].0, "1"));
            let added = job.entries.last_mut().map(|work| &mut work.measure);
            if let (Some(known), Some(Measure::Material { unit_cost, .. })) = (known, added) {
                *unit_cost = known;
            }
        }
        Step::ChangePrice => {
            let costs = SCREWS.map(|(cost, _)| UnitCost::of_pack(rate(cost), whole(1)).ok());
            for work in &mut job.entries {
                if let Measure::Material { item, unit_cost, .. } = &mut work.measure
                    && item == "screws"
                {
                    *unit_cost = if *unit_cost == costs[0] { costs[1] } else { costs[0] };
                }
            }
        }
        Step::ChangeRate { which } => {
            let Some(which) = at(which, job.entries.len()) else { return };
            if let Measure::Labour { charge_rate, .. } = &mut job.entries[which].measure {
                let [one, other] = RATES.map(|(text, _)| Some(rate(text)));
                *charge_rate = if *charge_rate == one { other } else { one };
            }
        }
        Step::Strike { which } => {
            if let Some(which) = at(which, job.entries.len()) {
                let gone = job.entries.remove(which);
                job.ended.insert(BillableUnit::Entry(gone.entry), hash(number));
            }
        }
        Step::SignOff { stage } | Step::Reopen { stage } => {
            let signed_off = matches!(step, Step::SignOff { .. });
            let progress = if signed_off { Progress::SignedOff } else { Progress::Reopened };
            job.stages[stage].steps.push(StageStep { revision: hash(number), done_on: day(0), progress });
        }
        Step::Issue => {
            if preview(job, Some(day(0))).is_some() {
                job.bill(day(0));
            }
        }
        Step::Credit { which } => {
            let credits = proposed_credits(job);
            if let Some(which) = at(which, credits.len()) {
                job.credit(&credits[which], day(0));
            }
        }
        Step::CreditWhole { which } => {
            if let Some(which) = at(which, job.papers.len())
                && let Some(credit) = whole_credit(job, job.papers[which].document.invoice)
            {
                job.credit(&credit, day(0));
            }
        }
        Step::Void { which } => {
            let invoices: Vec<_> =
                (0..job.papers.len()).filter(|at| job.papers[*at].credits.is_none()).collect();
            if let Some(which) = at(which, invoices.len()) {
                job.papers[invoices[which]].voided = true;
            }
        }
    }
}

/// Issues every credit note that is proposed, until none is.
fn give_back(job: &mut JobWork) {
    for _ in 0..200 {
        let Some(credit) = proposed_credits(job).into_iter().next() else { return };
        job.credit(&credit, day(0));
    }
    panic!("credit notes are proposed without end");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn worth_is_invoiced_less_credited_and_still_to_invoice(steps in prop::collection::vec(step(), 1..40)) {
        let mut job = start();
        for (number, step) in (1..).zip(&steps) {
            take(&mut job, number, step);
            prop_assert!(double_claims(&job).is_empty(), "one writer contradicts nobody");
            let shown = preview(&job, Some(day(0))).map_or(0, |preview| preview.totals.net.0);
            let back: i64 = proposed_credits(&job).iter().map(|credit| credit.totals.net.0).sum();
            if back == 0 {
                prop_assert_eq!(billed_pence(&job) + shown, worth_pence(&job));
            }
        }
        give_back(&mut job);
        let units = billed_units(&job);
        for work in &job.entries {
            if let Measure::Labour { minutes, .. } = work.measure {
                let billed = units.get(&BillableUnit::Entry(work.entry)).copied().unwrap_or_default();
                prop_assert!(billed <= Decimal::from(minutes), "billed above its worth");
            }
        }
        if preview(&job, Some(day(0))).is_some() {
            job.bill(day(0));
        }
        prop_assert_eq!(preview(&job, Some(day(0))), None, "an invoice was just issued");
        prop_assert_eq!(proposed_credits(&job), vec![]);
        prop_assert_eq!(billed_pence(&job), worth_pence(&job));
        let numbers: Vec<_> = job.papers.iter().map(|paper| paper.document.number).collect();
        prop_assert_eq!(numbers, (41..).take(job.papers.len()).collect::<Vec<u64>>());
    }

    /// A credit note for the whole gives back every sum, whatever was given back before.
    #[test]
    fn an_invoice_and_its_credit_notes_come_to_nought(steps in prop::collection::vec(step(), 1..30)) {
        let mut job = start();
        for (number, step) in (1..).zip(&steps) {
            take(&mut job, number, step);
        }
        let invoices: Vec<_> = holding(&job).iter().filter(|(_, sign)| *sign > 0)
            .map(|(paper, _)| paper.document.invoice).collect();
        for invoice in invoices {
            if let Some(credit) = whole_credit(&job, invoice) {
                job.credit(&credit, day(0));
            }
        }
        let sums = |of: fn(&trade::InvoiceTotals) -> Pence| -> i64 {
            holding(&job).iter().map(|(paper, sign)| of(&paper.document.totals).0 * sign).sum()
        };
        prop_assert_eq!((sums(|sums| sums.net), sums(|sums| sums.total), sums(|sums| sums.to_pay)), (0, 0, 0));
        // A use and its return stay claimed against each other; together they bill nothing.
        let sum: Decimal = billed_units(&job).into_values().sum();
        prop_assert!(sum.is_zero());
    }
}
