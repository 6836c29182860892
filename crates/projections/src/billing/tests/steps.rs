//! Random histories of a job at a quote: stages part done and signed off, extras agreed, priced anew and
//! left out, deposits, retention, invoices and credit notes, beside the sums that they must come to.

use ledger::office::InvoiceLineKind;
use proptest::prelude::*;
use trade::Pence;
use trade::money::percentage;

use super::priced::{extra, quoted};
use super::*;
use crate::lists::Completion;

#[derive(Debug, Clone)]
enum Step {
    PartDone { stage: usize, percent: u32 },
    SignOff { stage: usize },
    Reopen { stage: usize },
    Extra { amount: u32, stage: usize, left_out: bool },
    Reprice { which: usize, amount: u32 },
    Withdraw { which: usize },
    Deposit { amount: u32 },
    Complete,
    Issue,
    Credit,
    CreditWhole { which: usize },
    Apply,
    Certify { percent: u32 },
    BillApplication,
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        3 => (0..3_usize, 0..=100_u32).prop_map(|(stage, percent)| Step::PartDone { stage, percent }),
        3 => (0..3_usize).prop_map(|stage| Step::SignOff { stage }),
        1 => (0..3_usize).prop_map(|stage| Step::Reopen { stage }),
        2 => (1..20_000_u32, 0..3_usize, any::<bool>())
            .prop_map(|(amount, stage, left_out)| Step::Extra { amount, stage, left_out }),
        1 => (0..4_usize, 1..20_000_u32).prop_map(|(which, amount)| Step::Reprice { which, amount }),
        1 => (0..4_usize).prop_map(|which| Step::Withdraw { which }),
        1 => (1..30_000_u32).prop_map(|amount| Step::Deposit { amount }),
        1 => Just(Step::Complete),
        4 => Just(Step::Issue),
        2 => Just(Step::Credit),
        1 => (0..6_usize).prop_map(|which| Step::CreditWhole { which }),
        2 => Just(Step::Apply),
        2 => (0..=130_u32).prop_map(|percent| Step::Certify { percent }),
        2 => Just(Step::BillApplication),
    ]
}

const PRICES: [(&str, &str); 3] = [("boarding", "1234.57"), ("skim", "333.33"), ("tiling", "100.01")];

fn pence(amount: u32) -> Pence {
    Pence(i64::from(amount))
}

/// What everything at a price is worth, from the work alone: each stage as far as it is done, each extra
/// whose stage is signed off, less what was left out.
fn worth(work: &JobWork) -> Pence {
    let valued = work.terms.basis == Basis::Valuation;
    let done = |stage: &StageWork| {
        let (mut signed, mut part) = (false, "0".to_owned());
        for step in &stage.steps {
            match step.progress {
                Progress::SignedOff => signed = true,
                Progress::Reopened => {
                    if signed {
                        part = "0".to_owned();
                    }
                    signed = false;
                }
                Progress::PartDone(percent) if !signed => part = percent.to_string(),
                Progress::PartDone(_) => {}
            }
        }
        (signed, if signed { "100".to_owned() } else { part })
    };
    let stages = work.stages.iter().zip(PRICES).map(|(stage, (_, price))| {
        let (signed, percent) = done(stage);
        let price: Pence = price.parse().unwrap();
        if signed || valued { percentage(price, rate(&percent)) } else { Pence::ZERO }
    });
    let extras = work.extras.iter().map(|extra| {
        let amount = extra.amount.unwrap();
        let own = work.stages.iter().find(|stage| Some(stage.stage) == extra.stage);
        match (extra.left_out, own) {
            (true, _) => -amount,
            (false, Some(stage)) if done(stage).0 => amount,
            (false, _) => Pence::ZERO,
        }
    });
    stages.chain(extras).sum()
}

/// Lines of work, without deposits and what was held back.
fn work_of(lines: &[ledger::office::InvoiceLine]) -> Pence {
    let is_work = |line: &&ledger::office::InvoiceLine| match line.kind {
        InvoiceLineKind::Labour | InvoiceLineKind::Material | InvoiceLineKind::Price => true,
        InvoiceLineKind::Deposit | InvoiceLineKind::Retention | InvoiceLineKind::Uncertified => false,
    };
    lines.iter().filter(is_work).map(|line| line.amount).sum()
}

fn signed(paper: &IssuedPaper, sum: Pence) -> Pence {
    if paper.credits.is_some() { -sum } else { sum }
}

fn take(work: &mut JobWork, number: u16, step: &Step) {
    let today = day(i32::from(number));
    let progress = |work: &mut JobWork, stage: usize, progress| {
        work.stages[stage].steps.push(StageStep { revision: hash(number), done_on: today, progress });
    };
    match *step {
        Step::PartDone { stage, percent } => {
            progress(work, stage, Progress::PartDone(quantity(&percent.to_string())));
        }
        Step::SignOff { stage } => progress(work, stage, Progress::SignedOff),
        Step::Reopen { stage } => progress(work, stage, Progress::Reopened),
        Step::Extra { amount, stage, left_out } => {
            // An extra has a stage of its own: the fourth. What is left out belongs to one of the quote.
            let own = if left_out { work.stages[stage].stage } else { work.stages[3].stage };
            let new = extra(number, "something else", &pence(amount).to_string(), Some(own));
            work.extras.push(ExtraWork { left_out, agreed_on: today, ..new });
        }
        Step::Reprice { which, amount } => {
            if let Some(extra) = work.extras.get_mut(which) {
                extra.amount = Some(pence(amount));
            }
        }
        Step::Withdraw { which } => {
            if which < work.extras.len() {
                work.extras.remove(which);
            }
        }
        Step::Deposit { amount } => {
            if may_ask_deposit(work).is_ok() {
                let (entry, revision, amount) = (entry(INES, number), hash(number), pence(amount));
                work.deposits.push(DepositWork { entry, revision, amount, asked_on: today });
                let preview = deposit_preview(work, today).unwrap();
                let document = issue(work, &preview, work.next(), dates(today)).unwrap();
                let event = work.event();
                work.papers.push(IssuedPaper { event, document, credits: None, voided: false });
            }
        }
        Step::Complete => {
            work.completion =
                Some(Completion { on: today, defects_until: today.plus_days(5), revision: hash(number) });
        }
        Step::Issue => {
            let preview = preview(work, Some(today));
            if let Some(document) =
                preview.and_then(|preview| issue(work, &preview, work.next(), dates(today)).ok())
            {
                let event = work.event();
                work.papers.push(IssuedPaper { event, document, credits: None, voided: false });
            }
        }
        Step::Credit => {
            if let Some(credit) = proposed_credits(work).first() {
                work.credit(credit, today);
            }
        }
        Step::CreditWhole { which } => {
            let credit = work.papers.get(which).map(|paper| paper.document.invoice);
            let credit = credit.and_then(|invoice| whole_credit(work, invoice));
            if let Some(credit) = credit.filter(|credit| credit.totals.net > Pence::ZERO) {
                work.credit(&credit, today);
            }
        }
        // See below.
        Step::Apply | Step::Certify { .. } | Step::BillApplication => {}
    }
}

/// What the latest application is certified at is in per cent of what it asks for.
fn take_application(work: &mut JobWork, step: &Step, today: Day) -> Result<(), TestCaseError> {
    let last =
        work.applications.last().map(|applied| (applied.application.number, applied.application.applied));
    match (step, last) {
        (Step::Apply, _) => {
            if let Ok(number) = work.apply(today) {
                let made = &application(work, number).unwrap().application;
                let lines: Pence = made.lines.iter().map(|line| line.amount).sum();
                prop_assert_eq!(lines, made.gross);
                prop_assert_eq!(made.gross - made.retention - made.before, made.applied);
            }
        }
        (Step::Certify { percent }, Some((number, applied))) if certification(work, number).is_ok() => {
            work.certify(number, percentage(applied, rate(&percent.to_string())), today);
        }
        (Step::BillApplication, Some((number, _))) => {
            let Ok(certified) = certification(work, number) else { return Ok(()) };
            if work.bill_application(number, today).is_ok() {
                let billed = work.papers.last().map(|paper| paper.document.totals.taxable);
                prop_assert_eq!(billed, Some(certified.sum));
                prop_assert!(certification(work, number).is_err());
            }
        }
        _ => {}
    }
    Ok(())
}

fn check(work: &JobWork, today: Day) -> Result<(), TestCaseError> {
    for paper in &work.papers {
        let document = &paper.document;
        let totals = document.totals;
        prop_assert_eq!(document.lines.iter().map(|line| line.amount).sum::<Pence>(), totals.net);
        prop_assert_eq!(document.vat.iter().map(|share| share.net).sum::<Pence>(), totals.net);
        prop_assert_eq!(document.vat.iter().map(|share| share.retention).sum::<Pence>(), totals.retention);
        prop_assert_eq!(document.vat.iter().map(|share| share.taxable).sum::<Pence>(), totals.taxable);
        prop_assert_eq!(document.vat.iter().map(|share| share.vat_stated).sum::<Pence>(), totals.vat_stated);
        prop_assert_eq!(totals.net - totals.retention, totals.taxable);
        prop_assert_eq!(totals.taxable + totals.vat_charged, totals.total);
        prop_assert_eq!(totals.total - totals.cis, totals.to_pay);
    }
    // All that is proposed is given back first; then what was billed and what is to bill come to the worth.
    let mut settled = work.clone();
    for _ in 0..200 {
        let Some(credit) = proposed_credits(&settled).into_iter().next() else { break };
        settled.credit(&credit, today);
    }
    prop_assert_eq!(proposed_credits(&settled), vec![]);
    let billed: Pence =
        settled.papers.iter().map(|paper| signed(paper, work_of(&paper.document.lines))).sum();
    let to_bill = preview(&settled, Some(today)).map_or(Pence::ZERO, |next| work_of(&next.printed));
    prop_assert_eq!(worth(&settled), billed + to_bill);
    // What was certified less or more than was asked for is made even by the next paper that bills work.
    let uncertified = |lines: &[ledger::office::InvoiceLine]| -> Pence {
        let own = lines.iter().filter(|line| line.kind == InvoiceLineKind::Uncertified);
        own.map(|line| line.amount).sum()
    };
    let open: Pence =
        settled.papers.iter().map(|paper| signed(paper, uncertified(&paper.document.lines))).sum();
    let next = preview(&settled, Some(today)).map_or(Pence::ZERO, |next| uncertified(&next.printed));
    prop_assert!(open + next == Pence::ZERO || (open > Pence::ZERO && next == Pence::ZERO));
    // What was held back is held still or was released.
    let held: Pence = settled.papers.iter().map(|paper| signed(paper, paper.document.totals.retention)).sum();
    let is_release = |line: &&ledger::office::InvoiceLine| line.kind == InvoiceLineKind::Retention;
    let released = |paper: &IssuedPaper| {
        let own = paper.document.lines.iter().filter(is_release).map(|line| line.amount).sum();
        signed(paper, own)
    };
    let released: Pence = settled.papers.iter().map(released).sum();
    prop_assert_eq!(still_held(&settled), held - released);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn what_is_worth_is_billed_or_to_bill_and_sums_close(
        valued in any::<bool>(),
        steps in prop::collection::vec(step(), 1..24),
    ) {
        let mut work = quoted(&[PRICES[0], PRICES[1], PRICES[2], ("something else", "1.00")]);
        let basis = if valued { Basis::Valuation } else { Basis::Fixed };
        work.terms = JobTerms { basis, ..mill_terms() };
        for (number, step) in (1..).zip(&steps) {
            take(&mut work, number, step);
            take_application(&mut work, step, day(i32::from(number)))?;
            check(&work, day(i32::from(number)))?;
        }
    }
}
