//! Points, stages, extras, what was left out, and what is part done.

use ledger::PointId;
use ledger::office::BillableUnit;

use super::*;

/// A job at a quote with these stages, each with one costing line.
pub(super) fn quoted(stages: &[(&str, &str)]) -> JobWork {
    let names: Vec<&str> = stages.iter().map(|(name, _)| *name).collect();
    let mut work = job("GARAGE", "J. Marrable", garage_terms(), &names);
    for (name, price) in stages {
        work.lines.push(CostingLine {
            stage: work.stage(name),
            kind: LineKind::Labour,
            what: format!("{name} labour"),
            quantity: quantity("1"),
            unit_price: Some(rate(price)),
            on_the_clock: false,
        });
    }
    work
}

pub(super) fn extra(number: u16, what: &str, amount: &str, stage: Option<StageId>) -> ExtraWork {
    ExtraWork {
        extra: entry(TOBI, number),
        revision: hash(number),
        what: what.into(),
        left_out: false,
        amount: Some(amount.parse().unwrap()),
        stage,
        agreed_on: day(0),
    }
}

fn point(number: u8, label: &str, amount: &str, stage: Option<StageId>) -> PointWork {
    let (label, amount) = (label.into(), amount.parse().unwrap());
    PointWork { point: PointId([number; 16]), label, amount, stage, said_due: None }
}

fn said(preview: &Preview) -> Vec<(String, String)> {
    preview.printed.iter().map(|line| (line.what.clone(), line.amount.to_string())).collect()
}

fn lines(lines: &[(&str, &str)]) -> Vec<(String, String)> {
    lines.iter().map(|(what, amount)| ((*what).to_owned(), (*amount).to_owned())).collect()
}

#[test]
fn points_bill_at_their_stage_or_at_the_owners_word_and_the_stages_do_not() {
    let mut work = quoted(&[("boarding", "1500.00"), ("skim", "900.00")]);
    work.points = vec![
        point(1, "on starting", "800.00", None),
        point(2, "boarded", "1000.00", Some(work.stage("boarding"))),
        point(3, "finished", "600.00", Some(work.stage("skim"))),
    ];
    assert_eq!(preview(&work, None), None);
    work.points[0].said_due = Some((day(1), hash(80)));
    work.step("boarding", 81, day(2), true);
    assert_eq!(said(&preview(&work, Some(day(1))).unwrap()), lines(&[("on starting", "800.00")]));
    let both = preview(&work, None).unwrap();
    assert_eq!(said(&both), lines(&[("on starting", "800.00"), ("boarded", "1000.00")]));
    assert_eq!(both.printed[1].stage, "boarding");
    work.bill(day(2));
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));
    // Opened again: the point is not due any more.
    work.step("boarding", 82, day(3), false);
    assert_eq!(proposed_credits(&work)[0].totals.net.to_string(), "1000.00");
}

#[test]
fn a_point_at_another_amount_is_credited_whole_and_billed_anew() {
    let mut work = quoted(&[("skim", "900.00")]);
    work.points = vec![point(1, "finished", "900.00", Some(work.stage("skim")))];
    work.step("skim", 80, day(1), true);
    work.bill(day(1));
    work.points[0].amount = "950.00".parse().unwrap();
    let credit = proposed_credits(&work).remove(0);
    assert_eq!(credit.totals.net.to_string(), "900.00");
    work.credit(&credit, day(2));
    assert_eq!(said(&preview(&work, None).unwrap()), lines(&[("finished", "950.00")]));
    work.bill(day(2));
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));
}

#[test]
fn an_extra_at_a_price_bills_in_place_of_its_stage_and_without_one_waits_to_be_named() {
    let mut work = quoted(&[("skim", "900.00"), ("move the socket", "111.00")]);
    let own = work.stage("move the socket");
    work.extras =
        vec![extra(60, "a socket further left", "80.00", Some(own)), extra(61, "a shelf", "45.00", None)];
    work.step("skim", 80, day(1), true);
    work.step("move the socket", 81, day(1), true);
    let found = preview(&work, None).unwrap();
    assert_eq!(said(&found), lines(&[("skim", "900.00"), ("a socket further left", "80.00")]));
    assert_eq!(
        (found.waiting[0].extra.as_str(), found.waiting[0].net.to_string()),
        ("a shelf", "45.00".into())
    );
    let named = BTreeSet::from([extra_called(&work, "a shelf").unwrap()]);
    let all = preview_of(&work, &Wish { named, ..Wish::default() }).unwrap();
    assert_eq!((all.waiting.len(), all.totals.net.to_string()), (0, "1025.00".into()));
}

#[test]
fn what_is_left_out_comes_off_the_next_invoice_or_is_credited_where_its_stage_is_billed() {
    let mut work = quoted(&[("skim", "900.00"), ("tiling", "700.00")]);
    work.extras = vec![ExtraWork { left_out: true, ..extra(60, "the niche", "120.00", None) }];
    work.step("skim", 80, day(1), true);
    let next = preview(&work, None).unwrap();
    assert_eq!(said(&next), lines(&[("skim", "900.00"), ("left out: the niche", "-120.00")]));
    assert_eq!(next.printed[1].quantity, quantity("-1"));
    assert_eq!(next.totals.net.to_string(), "780.00");
    let first = work.bill(day(1));
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));

    let skim = work.stage("skim");
    work.extras.push(ExtraWork { left_out: true, ..extra(61, "the reveal", "50.00", Some(skim)) });
    let credit = proposed_credits(&work).remove(0);
    assert_eq!((credit.of, credit.totals.net.to_string()), (first, "50.00".into()));
    assert_eq!(credit.totals.vat_charged.to_string(), "10.00");
    work.credit(&credit, day(2));
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));
    // The rest of the invoice: 780 less the 50 that were given back.
    assert_eq!(whole_credit(&work, first).unwrap().totals.net.to_string(), "730.00");

    // Back in: what came off is billed again.
    work.extras.remove(0);
    assert_eq!(said(&preview(&work, None).unwrap()), lines(&[("back in, left out: the niche", "120.00")]));
}

/// Steps add up to the price: a third and two thirds of 100.01 are 33.34 and 66.67 by rounding each.
#[test]
fn a_valuation_bills_what_is_done_so_far_less_what_was_billed() {
    let mut work = quoted(&[("skim", "100.01")]);
    work.terms.basis = Basis::Valuation;
    let part = |percent: &str, number: u16, on: i32| StageStep {
        revision: hash(number),
        done_on: day(on),
        progress: Progress::PartDone(quantity(percent)),
    };
    work.stages[0].steps.push(part("33.33", 80, 1));
    assert_eq!(said(&preview(&work, None).unwrap()), lines(&[("skim, 33.33 % done", "33.33")]));
    work.bill(day(1));
    assert_eq!(preview(&work, None), None);
    work.stages[0].steps.push(part("50", 81, 2));
    let second = preview(&work, None).unwrap();
    assert_eq!(said(&second), lines(&[("skim, 50 % done, less 33.33 billed before", "16.68")]));
    let newest = work.bill(day(2));
    // Less was done than was said: the newest step is given back whole, and what is due of it billed anew.
    work.stages[0].steps.push(part("40", 82, 3));
    let credit = proposed_credits(&work).remove(0);
    assert_eq!((credit.of, credit.totals.net.to_string()), (newest, "16.68".into()));
    work.credit(&credit, day(3));
    assert_eq!(
        said(&preview(&work, None).unwrap()),
        lines(&[("skim, 40 % done, less 33.33 billed before", "6.67")])
    );
    work.bill(day(3));
    work.step("skim", 83, day(4), true);
    assert_eq!(
        said(&preview(&work, None).unwrap()),
        lines(&[("skim, done, less 40.00 billed before", "60.01")])
    );
    work.bill(day(4));
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));
}

#[test]
fn two_papers_for_one_point_are_found_and_shown() {
    let mut work = quoted(&[("skim", "900.00")]);
    work.points = vec![point(1, "finished", "900.00", Some(work.stage("skim")))];
    work.step("skim", 80, day(1), true);
    let twice = preview(&work, Some(day(1))).unwrap();
    let first = work.bill(day(1));
    let document = issue(&work, &twice, work.next(), dates(day(1))).unwrap();
    let (event, second) = (work.event(), document.invoice);
    work.papers.push(IssuedPaper { event, document, credits: None, voided: false });
    let double = double_claims(&work);
    assert_eq!(double[0].unit, BillableUnit::Point(PointId([1; 16])));
    assert_eq!(double[0].papers, [first, second]);
    let credit = whole_credit(&work, second).unwrap();
    work.credit(&credit, day(2));
    assert_eq!((double_claims(&work), preview(&work, None), proposed_credits(&work)), (vec![], None, vec![]));
}
