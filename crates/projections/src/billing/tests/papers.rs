//! One thing after another on one job: issue, change, credit, void.

use super::week::mill_week;
use super::*;

const TOBI_LARCH: (PersonId, &str, &str) = (TOBI, "Tobi Larch", "36.00");

fn amounts(lines: &[ledger::office::InvoiceLine]) -> Vec<String> {
    lines.iter().map(|line| line.amount.to_string()).collect()
}

#[test]
fn nothing_is_left_to_bill_right_after_an_invoice() {
    let mut mill = mill_week();
    mill.bill(day(4));
    assert_eq!(preview(&mill, None), None);
    assert_eq!(proposed_credits(&mill), vec![]);
    assert_eq!(mill.next().number, 42);
}

#[test]
fn what_is_logged_late_comes_on_the_next_invoice() {
    let mut mill = mill_week();
    mill.bill(day(4));
    mill.work(60, "patching", day(2), TOBI_LARCH, 60);
    let next = preview(&mill, None).unwrap();
    assert_eq!(amounts(&next.printed), ["36.00"]);
    assert_eq!(next.printed[0].earlier, None);
}

#[test]
fn more_worth_adds_to_the_invoice_that_billed_it_and_less_is_credited() {
    let mut mill = mill_week();
    mill.bill(day(4));
    mill.set_minutes(37, 290);
    let next = preview(&mill, None).unwrap();
    let first = EarlierPaper { number: "41".to_owned(), issued_on: day(4) };
    assert_eq!(next.printed[0].earlier, Some(first));
    assert_eq!(amounts(&next.printed), ["18.00"]);
    mill.bill(day(5));
    // 260 minutes on 41, 30 on 42; now 250: 30 off 42 first, then 10 off 41.
    mill.set_minutes(37, 250);
    let credit = proposed_credits(&mill);
    assert_eq!(credit.iter().map(|credit| credit.of_number.as_str()).collect::<Vec<_>>(), ["42"]);
    assert_eq!(amounts(&credit[0].lines), ["18.00"]);
    assert_eq!(credit[0].totals, mill.papers[1].document.totals, "the whole invoice goes back");
    mill.credit(&credit[0], day(6));
    let credit = proposed_credits(&mill);
    assert_eq!((credit[0].of_number.as_str(), amounts(&credit[0].lines)), ("41", vec!["6.12".into()])); // 0.17 h
    mill.credit(&credit[0], day(6));
    assert_eq!((proposed_credits(&mill), preview(&mill, None), double_claims(&mill)), (vec![], None, vec![]));
}

/// 230 minutes are 3.83 h, 10 are 0.17 and 220 are 3.67: the parts come to 3.84, the last gives what is left.
#[test]
fn parts_that_are_credited_come_to_what_was_billed() {
    let mut mill = mill();
    mill.work(1, "patching", day(0), TOBI_LARCH, 230);
    mill.bill(day(0));
    mill.set_minutes(1, 220);
    let first = proposed_credits(&mill).remove(0);
    mill.credit(&first, day(1));
    mill.strike(1);
    let second = proposed_credits(&mill).remove(0);
    mill.credit(&second, day(1));
    assert_eq!(
        (first.totals.net.to_string(), second.totals.net.to_string()),
        ("6.12".into(), "131.76".into())
    );
    let billed = mill.papers[0].document.totals;
    assert_eq!(first.totals.to_pay + second.totals.to_pay, billed.to_pay);
    assert_eq!(first.totals.vat_stated + second.totals.vat_stated, billed.vat_stated);
    assert_eq!(first.totals.cis + second.totals.cis, billed.cis);
}

#[test]
fn a_reopened_stage_is_credited_and_billed_again_when_signed_off() {
    let mut garage = job("GARAGE", "J. Marrable", garage_terms(), &["skim"]);
    garage.lines.push(CostingLine {
        stage: garage.stage("skim"),
        kind: LineKind::Labour,
        what: "skim labour".into(),
        quantity: quantity("12"),
        unit_price: Some(rate("40.00")),
        on_the_clock: false,
    });
    assert_eq!(preview(&garage, None), None);
    garage.step("skim", 1, day(0), true);
    garage.bill(day(0));
    garage.step("skim", 3, day(1), false);
    assert_eq!(preview(&garage, Some(day(0))), None, "it is billed already");
    let credit = proposed_credits(&garage).remove(0);
    assert_eq!(credit.totals, garage.papers[0].document.totals);
    garage.credit(&credit, day(1));
    assert_eq!((preview(&garage, None), proposed_credits(&garage)), (None, vec![]));
    garage.step("skim", 2, day(2), true);
    assert_eq!(preview(&garage, None).unwrap().totals.total.to_string(), "576.00");
}

#[test]
fn what_goes_back_to_the_van_is_netted_or_credited() {
    let mut mill = mill();
    mill.material(1, "skim", day(0), "scrim tape", "64", ("3.90", "90"));
    mill.material(2, "skim", day(1), "scrim tape", "-14", ("3.90", "90"));
    let netted = preview(&mill, None).unwrap();
    assert_eq!(netted.printed[0].quantity.to_string(), "50.000");
    mill.bill(day(0));
    let credit = proposed_credits(&mill).remove(0);
    assert_eq!(credit.lines[0].quantity.to_string(), "14.000");
    mill.credit(&credit, day(1));
    assert_eq!((preview(&mill, None), proposed_credits(&mill)), (None, vec![]));
    let rest = whole_credit(&mill, InvoiceId(id(41))).unwrap();
    assert_eq!(rest.lines[0].quantity.to_string(), "50.000");
    mill.credit(&rest, day(2));
    assert_eq!(preview(&mill, None).unwrap().printed[0].quantity.to_string(), "50.000");
    assert_eq!(whole_credit(&mill, InvoiceId(id(41))), None);
}

#[test]
fn a_voided_invoice_bills_nothing_and_keeps_its_number() {
    let mut mill = mill_week();
    let before = preview(&mill, Some(day(4)));
    mill.bill(day(4));
    mill.papers[0].voided = true;
    assert_eq!(preview(&mill, Some(day(4))), before);
    assert_eq!(mill.next().number, 42);
}

#[test]
fn a_number_that_is_given_is_not_given_again_where_one_before_it_lacks() {
    let mut mill = mill_week();
    assert_eq!(mill.next().number, 41);
    mill.bill(day(4));
    mill.papers[0].document.number = 43;
    assert_eq!(mill.next().number, 44);
}

/// Two devices apart bill the same work.
fn billed_twice() -> JobWork {
    let mut mill = mill_week();
    let mut apart = mill.clone();
    mill.bill(day(4));
    apart.bill(day(4));
    let mut other = apart.papers.remove(0);
    (other.event, other.document.invoice, other.document.series) =
        (hash(20_000), InvoiceId(id(99)), "B".into());
    mill.papers.push(other);
    mill
}

#[test]
fn a_double_invoice_is_owed_until_a_person_credits_one() {
    let mut mill = billed_twice();
    let double = double_claims(&mill);
    assert_eq!(double.len(), 6);
    assert_eq!(double[0].papers, [InvoiceId(id(41)), InvoiceId(id(99))]);
    assert_eq!((proposed_credits(&mill), preview(&mill, None)), (vec![], None));
    let credit = whole_credit(&mill, InvoiceId(id(99))).unwrap();
    mill.credit(&credit, day(5));
    assert_eq!((double_claims(&mill), proposed_credits(&mill), preview(&mill, None)), (vec![], vec![], None));
    // Settled is settled: a later change is credited by itself again.
    mill.set_minutes(37, 200);
    assert_eq!((double_claims(&mill), proposed_credits(&mill).len()), (vec![], 1));
}

#[test]
fn crediting_the_older_of_two_settles_it_also_where_another_went_on_from_it() {
    let mut mill = mill_week();
    let mut apart = mill.clone();
    mill.bill(day(4));
    for job in [&mut mill, &mut apart] {
        job.set_minutes(37, 900);
        job.bill(day(5));
    }
    let mut other = apart.papers.remove(0);
    (other.event, other.document.invoice, other.document.series) =
        (hash(20_000), InvoiceId(id(99)), "B".into());
    mill.papers.push(other);
    assert_eq!(double_claims(&mill)[0].papers, [InvoiceId(id(41)), InvoiceId(id(99))]);
    let credit = whole_credit(&mill, InvoiceId(id(41))).unwrap();
    mill.credit(&credit, day(6));
    assert_eq!(double_claims(&mill), []);
    // What the second invoice went on to bill is too much now, and is proposed for giving back.
    let proposed = proposed_credits(&mill);
    assert_eq!(proposed.len(), 1);
    mill.credit(&proposed[0], day(6));
    assert_eq!((double_claims(&mill), proposed_credits(&mill), preview(&mill, None)), (vec![], vec![], None));
}

#[test]
fn two_owners_who_credit_both_leave_it_still_to_invoice() {
    let mut mill = billed_twice();
    let (one, two) = (whole_credit(&mill, InvoiceId(id(41))), whole_credit(&mill, InvoiceId(id(99))));
    mill.credit(&one.unwrap(), day(5));
    mill.credit(&two.unwrap(), day(5));
    assert_eq!((double_claims(&mill), proposed_credits(&mill)), (vec![], vec![]));
    assert_eq!(preview(&mill, None).unwrap().totals.net.to_string(), "704.59");
}

#[test]
fn a_credit_given_twice_is_found_and_not_billed_by_itself() {
    let mut mill = mill_week();
    mill.bill(day(4));
    mill.strike(37);
    let credit = proposed_credits(&mill).remove(0);
    mill.credit(&credit, day(5));
    mill.credit(&credit, day(5));
    let double = double_claims(&mill);
    assert_eq!(double[0].papers, [InvoiceId(id(42)), InvoiceId(id(43))]);
    mill.papers[2].voided = true;
    assert_eq!((double_claims(&mill), proposed_credits(&mill)), (vec![], vec![]));
}

#[test]
fn a_credit_note_gives_nothing_back_where_its_invoice_does_not_count() {
    let mut mill = mill_week();
    let before = preview(&mill, Some(day(4)));
    mill.bill(day(4));
    let credit = whole_credit(&mill, InvoiceId(id(41))).unwrap();
    mill.credit(&credit, day(5));
    assert_eq!(preview(&mill, Some(day(4))).map(|preview| preview.totals), before.clone().map(|p| p.totals));
    // Its invoice is set aside: then nothing was billed, and nothing may be billed twice for what was given back.
    let invoice = mill.papers.remove(0);
    assert_eq!(preview(&mill, Some(day(4))), before);
    assert_eq!((double_claims(&mill), proposed_credits(&mill)), (vec![], vec![]));
    assert_eq!(still_held(&mill), trade::Pence::ZERO);
    // It is taken on, and made void.
    mill.papers.push(IssuedPaper { voided: true, ..invoice });
    assert_eq!(preview(&mill, Some(day(4))), before);
}

#[test]
fn credit_notes_that_give_back_more_than_an_invoice_bills_are_found_whatever_each_went_on_from() {
    let mut mill = mill_week();
    mill.bill(day(4));
    let mut apart = mill.clone();
    // One gives all of the invoice back. The other bills more first, and gives all of the first invoice back then.
    let credit = whole_credit(&mill, InvoiceId(id(41))).unwrap();
    mill.credit(&credit, day(5));
    apart.set_minutes(37, 300);
    apart.bill(day(5));
    let other = whole_credit(&apart, InvoiceId(id(41))).unwrap();
    apart.credit(&other, day(6));
    for (number, mut paper) in (90..).zip(apart.papers.drain(1..)) {
        paper.event = hash(20_000 + number);
        (paper.document.invoice, paper.document.series) = (InvoiceId(id(number)), "B".into());
        let moved = |event| if event == hash(10_001) { hash(20_090) } else { event };
        for claim in paper.document.lines.iter_mut().flat_map(|line| &mut line.claims) {
            claim.follows = claim.follows.map(|at| ledger::office::ClaimRef { event: moved(at.event), ..at });
        }
        mill.papers.push(paper);
    }
    mill.strike(37);
    // 260 + 40 minutes were billed and twice 260 given back.
    let double = double_claims(&mill);
    let struck = double.iter().find(|double| double.unit == BillableUnit::Entry(entry(TOBI, 37)));
    assert_eq!(struck.map(|double| &double.papers[..]), Some(&[InvoiceId(id(42)), InvoiceId(id(91))][..]));
}

/// VAT Regulations 1995 (SI 1995/2518) reg. 14(1): drop each field in turn, and the paper is refused.
#[test]
fn a_paper_that_lacks_what_the_law_wants_is_refused() {
    type Drop = fn(&mut JobWork, &mut PaperNumber);
    let cases: [(Missing, Drop); 7] = [
        (Missing::SellerName, |job, _| job.firm.as_mut().unwrap().name.clear()),
        (Missing::SellerAddress, |job, _| job.firm.as_mut().unwrap().address = " ".into()),
        (Missing::SellerVatNumber, |job, _| job.firm.as_mut().unwrap().vat_number.clear()),
        (Missing::CustomerName, |job, _| job.customer.clear()),
        (Missing::CustomerAddress, |job, _| job.terms.billing_address.clear()),
        (Missing::CustomerVatNumber, |job, _| {
            job.terms.customer_cis = None;
            job.terms.customer_vat_number.clear();
        }),
        (Missing::Number, |_, number| number.number = 0),
    ];
    for (field, drop) in cases {
        let mut mill = mill_week();
        let mut number = mill.next();
        drop(&mut mill, &mut number);
        let preview = preview(&mill, Some(day(4))).unwrap();
        let refused = issue(&mill, &preview, number, dates(day(4))).unwrap_err();
        assert_eq!(refused, NotIssued::Lacks(vec![field]));
        assert!(refused.to_string().contains(&field.to_string()));
    }
}

#[test]
fn a_paper_without_a_day_or_with_one_to_come_is_refused() {
    let mill = mill_week();
    let try_it = |until: Option<Day>, today| {
        issue(&mill, &preview(&mill, until).unwrap(), mill.next(), dates(today)).unwrap_err()
    };
    assert_eq!(try_it(None, day(4)), NotIssued::UntilNotSaid);
    let future = NotIssued::InFuture { what: "the last day to bill", day: day(5), today: day(4) };
    assert_eq!(try_it(Some(day(5)), day(4)), future);
    let mut early = mill_week();
    early.firm.as_mut().unwrap().vat_from = Some(day(5));
    let shown = preview(&early, Some(day(4))).unwrap();
    let refused = issue(&early, &shown, early.next(), dates(day(4))).unwrap_err();
    assert_eq!(refused, NotIssued::NotRegisteredYet { tax_point: day(4), from: day(5) });
    let mut nothing = preview(&mill, Some(day(4))).unwrap();
    nothing.totals.net = trade::Pence::ZERO;
    assert_eq!(issue(&mill, &nothing, mill.next(), dates(day(4))), Err(NotIssued::NothingToBill));
}

#[test]
fn the_facts_decide_on_the_reverse_charge_and_a_word_against_them_is_found() {
    let mut mill = mill_week();
    assert!(vat_decision(&mill).reverse_charge && !vat_decision(&mill).disagrees);
    mill.terms.end_user_statement = Some(true);
    assert!(!vat_decision(&mill).reverse_charge && vat_decision(&mill).disagrees);
    mill.terms.customer_cis = None;
    assert!(vat_decision(&mill).reverse_charge && !vat_decision(&mill).disagrees);
}

#[test]
fn an_entry_without_a_rate_is_named_and_waits() {
    let mut mill = mill_week();
    if let Measure::Labour { charge_rate, .. } = &mut mill.entries[0].measure {
        *charge_rate = None;
    }
    assert_eq!(preview(&mill, None).unwrap().without_a_price, [entry(INES, 40)]);
    assert_eq!(entries_without_a_price(&mill), [entry(INES, 40)]);
    mill.entries.truncate(1);
    assert_eq!(preview(&mill, None), None);
}
