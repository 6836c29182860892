//! Applications for payment, what is certified of them, and the customer's own invoices.

use trade::Pence;

use super::priced::quoted;
use super::*;

pub(super) fn pounds(text: &str) -> Pence {
    text.parse().unwrap()
}

/// Work for a contractor by valuation, 5 % held back, under the reverse charge.
fn valued(stages: &[(&str, &str)]) -> JobWork {
    let mut work = quoted(stages);
    work.terms = JobTerms { basis: Basis::Valuation, cis_percent: rate("20"), ..mill_terms() };
    (work.code, work.customer) = ("MILL".into(), "Tollgate Contracting".into());
    work
}

fn part(work: &mut JobWork, stage: usize, percent: &str, number: u16, on: Day) {
    let progress = Progress::PartDone(quantity(percent));
    work.stages[stage].steps.push(StageStep { revision: hash(number), done_on: on, progress });
}

impl JobWork {
    /// Makes the next application on a day.
    pub(super) fn apply(&mut self, on: Day) -> Result<u32, NotApplied> {
        let days = ApplicationDays { made_on: on, until: on, due_on: None, final_on: None };
        let application = apply(self, &Wish::default(), days)?;
        let number = application.number;
        let (entry, revision) = (entry(INES, 500), hash(20_000 + u16::try_from(number).unwrap()));
        self.applications.push(ApplicationWork { entry, revision, application, certified: None });
        Ok(number)
    }

    pub(super) fn certify(&mut self, number: u32, sum: Pence, on: Day) {
        let own = self.applications.iter_mut().find(|work| work.application.number == number).unwrap();
        let revision = hash(30_000 + u16::try_from(number).unwrap());
        own.certified = Some(Certified { on, sum, reference: String::new(), revision });
    }

    fn preview_as(&self, certified: Certification, on: Day) -> Preview {
        let until = certified.application.map(|number| application(self, number).unwrap().application.until);
        let wish = Wish {
            until: until.or(Some(on)),
            tax_point: Some(on),
            certified: Some(certified),
            ..Wish::default()
        };
        preview_of(self, &wish).unwrap()
    }

    /// Issues the invoice of what was certified.
    pub(super) fn bill_application(&mut self, number: u32, on: Day) -> Result<InvoiceId, NotApplied> {
        let preview = self.preview_as(certification(self, number)?, on);
        let document = issue(self, &preview, self.next(), dates(on))?;
        Ok(self.push(document))
    }

    fn push(&mut self, document: ledger::office::Document) -> InvoiceId {
        let (event, invoice) = (self.event(), document.invoice);
        self.papers.push(IssuedPaper { event, document, credits: None, voided: false });
        invoice
    }
}

fn to_date(work: &JobWork, number: u32) -> Vec<(String, String, String)> {
    let lines = &application(work, number).unwrap().application.lines;
    let row = |line: &ledger::office::AppliedLine| {
        (line.what.clone(), format!("{}{}", line.quantity, line.unit), line.amount.to_string())
    };
    lines.iter().map(row).collect()
}

fn rows(rows: &[(&str, &str, &str)]) -> Vec<(String, String, String)> {
    rows.iter().map(|(a, b, c)| ((*a).into(), (*b).into(), (*c).into())).collect()
}

/// Work to date, less what is held back, less what came before: as an application is usually laid out
/// (holmes-hills.co.uk, December 2023); the figures are ours, computed by hand.
#[test]
fn an_application_asks_for_the_work_to_date_less_what_came_before() {
    let mut work = valued(&[("boarding", "2000.00"), ("skim", "1000.00")]);
    assert!(matches!(work.apply(day(0)), Err(NotApplied::Nothing { .. })));
    part(&mut work, 0, "50", 80, day(1));
    assert_eq!(work.apply(day(1)), Ok(1));
    let first = &application(&work, 1).unwrap().application;
    assert_eq!(to_date(&work, 1), rows(&[("boarding", "50%", "1000.00")]));
    let sums = |a: &ledger::office::Application| {
        [a.gross, a.retention, a.before, a.applied].map(|sum| sum.to_string())
    };
    assert_eq!(sums(first), ["1000.00", "50.00", "0.00", "950.00"]);
    // It bills nothing: all of it is still to bill, and no number was used.
    assert_eq!(preview(&work, None).unwrap().totals.taxable, pounds("950.00"));
    assert_eq!(work.next().number, 41);

    // 900 of it is certified and billed; then the boarding is finished and the skim begun. 2,400 to date less 5 %
    // is 2,280, less 900 is 1,380: the 50 that were not certified are in it.
    work.certify(1, pounds("900.00"), day(2));
    let invoice = work.bill_application(1, day(2)).unwrap();
    let document = &work.papers[0].document;
    assert_eq!((document.application, document.totals.taxable), (Some(1), pounds("900.00")));
    assert_eq!(document.lines[1].what, "not certified of application 1");
    assert_eq!(document.lines[1].amount, pounds("-50.00"));
    assert!(matches!(work.bill_application(1, day(2)), Err(NotApplied::Billed { number: 1, .. })));
    assert_eq!((double_claims(&work), proposed_credits(&work)), (vec![], vec![]));
    part(&mut work, 0, "100", 81, day(3));
    part(&mut work, 1, "40", 82, day(3));
    assert_eq!(work.apply(day(3)), Ok(2));
    assert_eq!(to_date(&work, 2), rows(&[("boarding", "100%", "2000.00"), ("skim", "40%", "400.00")]));
    assert_eq!(sums(&application(&work, 2).unwrap().application), ["2400.00", "120.00", "900.00", "1380.00"]);
    work.certify(2, pounds("1380.00"), day(4));
    work.bill_application(2, day(4)).unwrap();
    let said: Vec<_> = work.papers[1]
        .document
        .lines
        .iter()
        .map(|line| (line.what.as_str(), line.amount.to_string()))
        .collect();
    assert_eq!(
        said,
        [
            ("boarding, done, less 1000.00 billed before", "1000.00".to_owned()),
            ("skim, 40 % done", "400.00".into()),
            ("not certified before", "50.00".into()),
        ]
    );
    // What was certified and billed leaves nothing open, and the first invoice can still be given back whole.
    assert_eq!((preview(&work, None), proposed_credits(&work)), (None, vec![]));
    assert_eq!(whole_credit(&work, invoice).unwrap().totals.taxable, pounds("900.00"));
}

#[test]
fn what_is_certified_and_not_billed_is_not_asked_for_again_and_a_stale_one_is_not_billed() {
    let mut work = valued(&[("boarding", "2000.00")]);
    part(&mut work, 0, "50", 80, day(1));
    work.apply(day(1)).unwrap();
    work.certify(1, pounds("950.00"), day(1));
    assert!(matches!(work.apply(day(2)), Err(NotApplied::Nothing { .. })));
    part(&mut work, 0, "60", 81, day(3));
    assert_eq!(work.apply(day(3)), Ok(2));
    assert_eq!(application(&work, 2).unwrap().application.applied, pounds("190.00"));
    let stands: Vec<_> =
        applications(&work, day(3)).iter().map(|stand| (stand.stand, stand.open())).collect();
    assert_eq!(stands, [(Stand::Certified, pounds("950.00")), (Stand::AppliedFor, pounds("190.00"))]);
    // All at once, without an application: neither of the two bills anything then.
    work.bill(day(4));
    assert!(matches!(work.bill_application(1, day(4)), Err(NotApplied::Outdated { number: 1, .. })));
    assert!(matches!(work.bill_application(2, day(4)), Err(NotApplied::Outdated { number: 2, .. })));
    assert!(matches!(work.bill_application(7, day(4)), Err(NotApplied::NoSuch { number: 7, .. })));
}

#[test]
fn a_householder_is_sent_invoices() {
    let mut work = quoted(&[("skim", "900.00")]);
    work.step("skim", 80, day(1), true);
    assert!(matches!(work.apply(day(1)), Err(NotApplied::Householder(_))));
}

/// The days by the Scheme for Construction Contracts: designingbuildings.co.uk (due, notice, final), and for the last
/// day to say less from memory: claim 1 Jun, due 8 Jun, notice by 13 Jun, less by 18 Jun, final 25 Jun.
#[test]
fn the_days_are_the_contracts_or_the_schemes() {
    let mut work = valued(&[("boarding", "2000.00")]);
    let on = |text: &str| text.parse::<Day>().unwrap();
    part(&mut work, 0, "50", 80, on("2026-06-01"));
    let days =
        ApplicationDays { made_on: on("2026-06-01"), until: on("2026-06-01"), due_on: None, final_on: None };
    let application = |days| apply(&work, &Wish::default(), days);
    let made = application(days).unwrap();
    let dates = [made.due_on, made.notice_by, made.pay_less_by, made.final_on].map(|day| day.to_string());
    assert_eq!(dates, ["2026-06-08", "2026-06-13", "2026-06-18", "2026-06-25"]);
    // A claim that comes late makes its own day the due one.
    let late = application(ApplicationDays { made_on: on("2026-07-01"), ..days }).unwrap();
    assert_eq!(late.due_on, on("2026-07-01"));
    let own = ApplicationDays { due_on: Some(on("2026-06-30")), final_on: Some(on("2026-07-28")), ..days };
    let made = application(own).unwrap();
    let dates = [made.due_on, made.notice_by, made.pay_less_by, made.final_on].map(|day| day.to_string());
    assert_eq!(dates, ["2026-06-30", "2026-07-05", "2026-07-21", "2026-07-28"]);
    let wrong = ApplicationDays { final_on: Some(on("2026-06-07")), ..days };
    assert!(matches!(application(wrong), Err(NotApplied::FinalBeforeDue { .. })));
    let ahead = ApplicationDays { until: on("2026-06-02"), ..days };
    assert!(matches!(application(ahead), Err(NotApplied::NotIssued(NotIssued::InFuture { .. }))));
}

/// Labour 1,200.00 and materials 345.67 under the reverse charge with 5 % held back: 1,468.39 now, CIS 224.54, paid
/// 1,243.85; released later 77.28, CIS 15.46, paid 61.82 (CISR15120 on what is paid; figures computed).
#[test]
fn the_customers_own_invoice_bills_once_and_takes_no_number() {
    let mut work = valued(&[("patch and skim", "1545.67")]);
    work.material_costs.push(MaterialCost {
        stage: Some(work.stages[0].stage),
        done_on: day(1),
        quantity: quantity("1"),
        pack_cost: rate("345.67"),
        pack_size: quantity("1"),
    });
    work.step("patch and skim", 80, day(1), true);
    work.apply(day(1)).unwrap();
    assert_eq!(application(&work, 1).unwrap().application.applied, pounds("1468.39"));
    let certified = certification(&work, 1).unwrap();
    let preview_then = work.preview_as(certified, day(2));
    let theirs = |work: &JobWork, preview: &Preview| {
        self_billed(work, preview, InvoiceId(id(900)), "TC-207".into(), dates(day(2)))
    };
    assert!(matches!(theirs(&work, &preview_then), Err(NotIssued::NoAgreement { .. })));

    work.self_billing = Some(SelfBilling { from: day(0), until: day(300), revision: hash(90) });
    let ours = issue(&work, &preview_then, work.next(), dates(day(2)));
    assert!(matches!(ours, Err(NotIssued::CustomerIssues { .. })), "{ours:?}");
    let document = theirs(&work, &preview_then).unwrap();
    let totals = document.totals;
    let sums = [totals.taxable, totals.vat_charged, totals.vat_stated, totals.cis, totals.to_pay];
    assert_eq!(sums.map(|sum| sum.to_string()), ["1468.39", "0.00", "293.68", "224.54", "1243.85"]);
    assert_eq!((printed_number(&document).as_str(), &document.pay_to), ("TC-207", &None));
    work.push(document);
    assert_eq!((preview(&work, None), work.next().number), (None, 41));
    assert_eq!(applications(&work, day(2))[0].billed_by.as_deref(), Some("TC-207"));
    assert!(matches!(work.bill_application(1, day(2)), Err(NotApplied::Billed { .. })));

    // The whole is released after the defects period, by an own invoice: the agreement is over by then.
    work.completion =
        Some(crate::lists::Completion { on: day(2), defects_until: day(301), revision: hash(91) });
    work.bill(day(302));
    let totals = work.papers[1].document.totals;
    assert_eq!(
        [totals.total, totals.cis, totals.to_pay].map(|sum| sum.to_string()),
        ["77.28", "15.46", "61.82"]
    );
}

/// Two rates on one paper: what was not certified comes off in proportion, and the last share takes the odd penny.
#[test]
fn what_was_not_certified_keeps_its_rate_of_vat() {
    let mut work = valued(&[("house", "100.00"), ("loft", "50.00")]);
    work.terms.retention_percent = rate("0");
    work.terms.customer_kind = CustomerKind::Business;
    work.terms.customer_cis = Some(false);
    work.terms.reverse_charge = None;
    let loft = work.stage("loft");
    let set = ledger::office::VatRateSet {
        job: work.job,
        stage: Some(loft),
        rate: trade::VatRate::Reduced,
        evidence: "council's letter".into(),
    };
    work.vat_rates.insert(Some(loft), set);
    work.step("house", 80, day(1), true);
    work.step("loft", 81, day(1), true);
    work.apply(day(1)).unwrap();
    work.certify(1, pounds("149.99"), day(1));
    work.bill_application(1, day(1)).unwrap();
    // A penny less than 150.00: two thirds of it round to a penny on the 20 % share, and none is left for the other.
    let totals = work.papers[0].document.totals;
    assert_eq!((totals.taxable, totals.vat_charged), (pounds("149.99"), pounds("22.50")));
    let again = preview(&work, None).unwrap();
    assert_eq!(
        (again.printed.len(), again.printed[0].amount, again.totals.vat_charged),
        (1, pounds("0.01"), Pence::ZERO)
    );
}

/// More was certified than was asked for: it comes off what is done later, and is no invoice below nought meanwhile.
#[test]
fn what_was_certified_ahead_comes_off_later_work() {
    let mut work = valued(&[("boarding", "2000.00")]);
    work.terms.retention_percent = rate("0");
    part(&mut work, 0, "50", 80, day(1));
    work.apply(day(1)).unwrap();
    work.certify(1, pounds("1100.00"), day(1));
    work.bill_application(1, day(1)).unwrap();
    assert_eq!(work.papers[0].document.totals.taxable, pounds("1100.00"));
    assert_eq!(preview(&work, None), None);
    work.step("boarding", 81, day(2), true);
    assert_eq!(preview(&work, None).unwrap().totals.taxable, pounds("900.00"));
    work.bill(day(2));
    assert_eq!((preview(&work, None), double_claims(&work)), (None, vec![]));
}
