//! Deposits, what is held back, CIS over all steps, several rates of VAT, and what is refused.

use ledger::office::{BillableUnit, VatRateSet};
use trade::{Pence, VatCategory, VatRate};

use super::priced::quoted;
use super::week::mill_week;
use super::*;
use crate::lists::Completion;

fn deposit(number: u16, amount: &str) -> DepositWork {
    let amount = amount.parse().unwrap();
    DepositWork { entry: entry(TOBI, number), revision: hash(number), amount, asked_on: day(0) }
}

impl JobWork {
    fn bill_deposit(&mut self, on: Day) -> InvoiceId {
        let preview = deposit_preview(self, on).unwrap();
        let document = issue(self, &preview, self.next(), dates(on)).unwrap();
        let (event, invoice) = (self.event(), document.invoice);
        self.papers.push(IssuedPaper { event, document, credits: None, voided: false });
        invoice
    }

    fn total(&self, part: fn(&trade::InvoiceTotals) -> Pence) -> Pence {
        let sign = |paper: &IssuedPaper, sum: Pence| if paper.credits.is_some() { -sum } else { sum };
        self.papers.iter().map(|paper| sign(paper, part(&paper.document.totals))).sum()
    }
}

/// 1,553.41 − 416.67 = 1,136.74, VAT 227.35, to pay 1,364.09; VAT over both papers 310.68: computed.
#[test]
fn a_deposit_has_its_own_invoice_and_comes_off_the_next_at_the_same_rate() {
    let mut work = quoted(&[("skim", "1553.41")]);
    work.deposits = vec![deposit(70, "416.67")];
    let own = work.bill_deposit(day(0));
    let first = &work.papers[0].document;
    assert_eq!(
        (first.totals.vat_charged.to_string(), first.totals.total.to_string()),
        ("83.33".into(), "500.00".into())
    );
    assert!(deposit_preview(&work, day(1)).is_err(), "it is billed already");
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));
    work.step("skim", 80, day(1), true);
    let next = preview(&work, Some(day(1))).unwrap();
    let off = &next.printed[1];
    assert_eq!(
        (off.what.as_str(), off.amount.to_string()),
        ("less deposit, invoice 41 of 2026-11-02", "-416.67".into())
    );
    assert_eq!((off.quantity, off.vat_percent), (quantity("-1"), rate("20")));
    assert_eq!(off.earlier.as_ref().map(|paper| paper.number.as_str()), Some("41"));
    let totals = next.totals;
    assert_eq!(totals.net.to_string(), "1136.74");
    assert_eq!(totals.vat_charged.to_string(), "227.35");
    assert_eq!(totals.to_pay.to_string(), "1364.09");
    let invoice = work.bill(day(1));
    assert_eq!(work.total(|totals| totals.vat_charged).to_string(), "310.68");
    assert_eq!(work.total(|totals| totals.net).to_string(), "1553.41");
    assert_eq!((preview(&work, None), proposed_credits(&work), double_claims(&work)), (None, vec![], vec![]));
    // Given back as a whole, the invoice leaves the deposit to come off the next one.
    let credit = whole_credit(&work, invoice).unwrap();
    assert_eq!(credit.totals.net.to_string(), "1136.74");
    work.credit(&credit, day(2));
    assert_eq!(preview(&work, None).unwrap().totals.net.to_string(), "1136.74");
    // And the deposit given back is no more to come off.
    let credit = whole_credit(&work, own).unwrap();
    work.credit(&credit, day(3));
    assert_eq!(preview(&work, None).unwrap().totals.net.to_string(), "1553.41");
    assert_eq!(work.total(|totals| totals.net), Pence::ZERO);
}

#[test]
fn overlapping_deposits_and_one_that_covers_the_work_are_refused_with_what_to_do() {
    let mut work = quoted(&[("skim", "400.00")]);
    assert_eq!(may_ask_deposit(&work), Ok(()));
    assert!(deposit_preview(&work, day(0)).unwrap_err().to_string().contains("no deposit was asked for"));
    work.deposits = vec![deposit(70, "400.00")];
    let refusal = may_ask_deposit(&work).unwrap_err().to_string();
    assert!(refusal.contains("has a deposit of 400.00 already"), "{refusal}");
    work.deposits.push(deposit(71, "50.00"));
    assert!(matches!(deposit_preview(&work, day(0)), Err(NoDeposit::Overlaps { .. })));
    work.deposits.pop();
    work.bill_deposit(day(0));
    assert!(may_ask_deposit(&work).is_err());
    work.step("skim", 80, day(1), true);
    let covered = preview(&work, Some(day(1))).unwrap();
    let refusal = issue(&work, &covered, work.next(), dates(day(1))).unwrap_err();
    assert!(refusal.to_string().contains("the deposit of 400.00 covers it"), "{refusal}");
}

/// The second job of the demo: 124.33 now, 7.04 at release, 131.37 in all, by the cumulative rule
/// (Finance Act 2004 s.61; HMRC CISR15120: the deduction is made from payments as they fall due).
#[test]
fn what_is_held_back_is_released_in_halves_and_cis_over_all_steps_adds_up() {
    let mut mill = mill_week();
    mill.bill(day(4));
    assert_eq!(mill.papers[0].document.totals.cis.to_string(), "124.33");
    let held = mill.papers[0].document.totals.retention;
    assert_eq!((still_held(&mill), held.to_string()), (held, "35.23".into()));
    assert_eq!(preview(&mill, Some(day(10))), None);
    mill.completion = Some(Completion { on: day(5), defects_until: day(370), revision: hash(90) });
    assert_eq!(preview(&mill, Some(day(4))), None);
    let half = preview(&mill, Some(day(5))).unwrap();
    // 35.23 in halves: the odd penny comes first.
    assert_eq!(half.totals.net.to_string(), "17.62");
    assert_eq!((half.totals.retention, half.totals.cis_materials), (Pence::ZERO, Pence::ZERO));
    assert_eq!(
        (half.printed[0].vat_category, half.totals.vat_charged),
        (VatCategory::ReverseCharge, Pence::ZERO)
    );
    mill.bill(day(5));
    assert_eq!(preview(&mill, Some(day(370))), None);
    mill.bill(day(371));
    assert_eq!(mill.papers[2].document.totals.net.to_string(), "17.61");
    assert_eq!(still_held(&mill), Pence::ZERO);
    let released: Pence = mill.papers[1..].iter().map(|paper| paper.document.totals.cis).sum();
    assert_eq!(released.to_string(), "7.04");
    assert_eq!(mill.total(|totals| totals.cis).to_string(), "131.37");
    assert_eq!((preview(&mill, Some(day(400))), proposed_credits(&mill)), (None, vec![]));
    // What the releases paid out is given back once the invoice they belong to is.
    let credit = whole_credit(&mill, mill.papers[0].document.invoice).unwrap();
    mill.credit(&credit, day(400));
    assert_eq!(still_held(&mill).to_string(), "-35.23");
    for _ in 0..2 {
        let credit = proposed_credits(&mill).remove(0);
        mill.credit(&credit, day(400));
    }
    assert_eq!((still_held(&mill), mill.total(|totals| totals.cis)), (Pence::ZERO, Pence::ZERO));
}

fn set(rate: VatRate, evidence: &str) -> VatRateSet {
    VatRateSet { job: JobId([1; 16]), stage: None, rate, evidence: evidence.into() }
}

#[test]
fn several_rates_on_one_invoice_are_summed_each_before_it_is_rounded() {
    let mut work = quoted(&[("skim", "33.33"), ("tiling", "33.33"), ("loft", "33.33"), ("paint", "0.03")]);
    let loft = work.stage("loft");
    for (number, stage) in (80..).zip(["skim", "tiling", "loft", "paint"]) {
        work.step(stage, number, day(1), true);
    }
    work.vat_rates
        .insert(Some(loft), VatRateSet { stage: Some(loft), ..set(VatRate::Reduced, "council's letter") });
    let both = preview(&work, Some(day(1))).unwrap();
    let shares: Vec<_> = both
        .vat_shares
        .iter()
        .map(|share| (share.percent.to_string(), share.net.to_string(), share.vat_stated.to_string()))
        .collect();
    // 20 % of 66.69 is 13.338; by lines it would be 6.67 + 6.67 + 0.01 = 13.35 (HMRC VATREC12030, half up).
    assert_eq!(
        shares,
        [
            ("20".into(), "66.69".into(), "13.34".into()),
            ("5".to_owned(), "33.33".to_owned(), "1.67".to_owned()),
        ]
    );
    assert_eq!(both.totals.vat_charged.to_string(), "15.01");
    assert_eq!(both.totals.total.to_string(), "115.03");
    let document = issue(&work, &both, work.next(), dates(day(1))).unwrap();
    assert_eq!(document.vat, both.vat_shares);
    work.vat_rates.insert(Some(loft), VatRateSet { stage: Some(loft), ..set(VatRate::Reduced, " ") });
    let unproven = issue(&work, &both, work.next(), dates(day(1))).unwrap_err();
    assert_eq!(unproven, NotIssued::Lacks(vec![Missing::VatEvidence]));
}

/// HMRC VENSAV2083: 0 % until 31 March 2027, 5 % from 1 April 2027: the tax point decides.
#[test]
fn the_rate_in_force_on_the_tax_point_is_used() {
    let mut work = quoted(&[("loft", "100.00")]);
    work.step("loft", 80, day(1), true);
    work.vat_rates.insert(None, set(VatRate::EnergySaving, "insulation of the loft"));
    let vat = |tax_point: &str| {
        let wish = Wish { tax_point: Some(tax_point.parse().unwrap()), ..Wish::default() };
        preview_of(&work, &wish).unwrap().totals.vat_charged.to_string()
    };
    assert_eq!((vat("2027-03-31").as_str(), vat("2027-04-01").as_str()), ("0.00", "5.00"));
}

/// 500 of 10,500 is 4.76 %: ordinary VAT on all (a third party's page; HMRC VATREVCON24000 was not read).
#[test]
fn a_small_part_under_the_reverse_charge_is_charged_as_usual() {
    let mut work = quoted(&[("skim", "500.00"), ("new house", "10000.00")]);
    work.terms = JobTerms {
        basis: Basis::Fixed,
        retention_percent: rate("0"),
        cis_percent: rate("0"),
        ..mill_terms()
    };
    let house = work.stage("new house");
    work.vat_rates
        .insert(Some(house), VatRateSet { stage: Some(house), ..set(VatRate::Zero, "a new dwelling") });
    work.step("skim", 80, day(1), true);
    let alone = preview(&work, Some(day(1))).unwrap();
    assert_eq!((alone.disregarded, alone.totals.vat_charged), (false, Pence::ZERO));
    assert_eq!(alone.totals.vat_stated.to_string(), "100.00");
    work.step("new house", 81, day(1), true);
    let both = preview(&work, Some(day(1))).unwrap();
    assert_eq!((both.disregarded, both.totals.vat_charged.to_string()), (true, "100.00".into()));
}

#[test]
fn a_crew_that_is_not_registered_charges_no_vat_and_says_so() {
    let mut work = quoted(&[("skim", "900.00")]);
    work.step("skim", 80, day(1), true);
    work.firm = Some(FirmListed { vat_number: String::new(), vat_from: None, ..firm() });
    let preview = preview(&work, Some(day(1))).unwrap();
    let document = issue(&work, &preview, work.next(), dates(day(1))).unwrap();
    assert_eq!(document.totals.total.to_string(), "900.00");
    assert_eq!(document.vat[0].category, VatCategory::NotRegistered);
    assert_eq!(document.vat[0].reason, "Not registered for VAT: no VAT is charged.");
}

#[test]
fn a_rule_that_does_not_go_with_the_customer_and_a_rate_that_is_none_are_refused() {
    let mut work = quoted(&[("skim", "900.00")]);
    work.step("skim", 80, day(1), true);
    let refusal = |work: &JobWork| {
        let preview = preview(work, Some(day(1))).unwrap();
        issue(work, &preview, work.next(), dates(day(1))).unwrap_err().to_string()
    };
    work.terms.cis_percent = rate("20");
    // A householder never takes CIS off, so the preview has none either.
    assert_eq!(preview(&work, None).unwrap().totals.cis, Pence::ZERO);
    assert!(refusal(&work).contains("a householder never takes it off"));
    work.terms.cis_percent = rate("0");
    work.terms.reverse_charge = Some(true);
    assert!(refusal(&work).contains("a householder never accounts for VAT"));
    work.terms.reverse_charge = None;
    work.terms.vat_percent = rate("17.5");
    assert!(refusal(&work).contains("17.5 % is no rate of VAT on 2026-11-03"), "{}", refusal(&work));
}

/// VAT Act 1994 s.6(5): 14 days (HMRC VATTOS2230); reg. 93 for payment in steps (VATTOS9105, 9110).
#[test]
fn the_tax_point_follows_from_completion_only_where_one_payment_pays_for_the_job() {
    let mut work = quoted(&[("skim", "900.00")]);
    assert_eq!(tax_point(&work, day(20), None), day(20));
    work.completion = Some(Completion { on: day(1), defects_until: day(366), revision: hash(90) });
    assert_eq!(tax_point(&work, day(15), None), day(15));
    assert_eq!(tax_point(&work, day(16), None), day(1));
    work.step("skim", 80, day(0), true);
    work.bill(day(0));
    assert_eq!(tax_point(&work, day(16), None), day(16));
    assert_eq!(work.papers[0].document.lines[0].claims[0].unit, BillableUnit::Stage(work.stage("skim")));
}

#[test]
fn what_was_billed_and_is_set_aside_by_a_fork_is_neither_given_back_nor_billed_again() {
    let mut work = mill();
    let stage = work.stages[0].name.clone();
    work.work(1, &stage, day(0), (TOBI, "Tobi Larch", "38.00"), 240);
    work.work(2, &stage, day(0), (TOBI, "Tobi Larch", "38.00"), 60);
    work.bill(day(0));
    let before = work.entries.clone();
    work.strike(1);
    assert_eq!(proposed_credits(&work).len(), 1, "crossed out, it would be given back");
    work.set_aside = BTreeSet::from([hash(1)]);
    assert_eq!(proposed_credits(&work), []);
    assert_eq!(preview(&work, Some(day(0))), None);
    // Entered again, as it was and then shorter.
    work.entries = before;
    work.entries[0].revision = hash(300);
    assert_eq!(proposed_credits(&work), []);
    assert_eq!(preview(&work, Some(day(0))), None);
    work.set_minutes(1, 180);
    assert_eq!(proposed_credits(&work).len(), 1);
}
