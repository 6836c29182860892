//! From events to points, extras, hire, expenses, what is owed and what is to pay out, by the book.

use ledger::office::{
    DepositAsked, Engagement, ExtraPriced, InvoiceIssued, PaymentPointSet, PaymentReceived, PersonEngaged,
    PointDue, PricePaid, QuoteAgreed, QuoteGiven,
};
use ledger::site::{
    Expense, ExpenseKind, ExtraAgreed, ExtraAsked, ExtraTerms, HireBegan, HireEnded, PaidBy, SaidHow,
    SignedOff,
};
use ledger::{Body, PointId, QuoteId};
use trade::{Moment, Pence};

use super::from_book::{JOB, Said, at, hours, listed, without_a_yes};
use super::*;
use crate::pay::pay_list;
use crate::{QuestionKind, questions};

const QUOTE: QuoteId = QuoteId([5; 16]);

fn pounds(text: &str) -> Pence {
    text.parse().unwrap()
}

fn quote(said: &mut Said, price: &str) {
    let price = pounds(price);
    let (included, excluded) = (String::new(), String::new());
    let given = QuoteGiven { quote: QUOTE, job: JOB, version: 1, price, included, excluded };
    said.say(TOBI, day(-9), Body::QuoteGiven(given));
    let yes = QuoteAgreed { quote: QUOTE, said_by: String::new(), how: SaidHow::Word };
    said.say(TOBI, day(-8), Body::QuoteAgreed(yes));
}

fn point(said: &mut Said, number: u8, amount: &str, stage: Option<StageId>) {
    let (point, label) = (PointId([number; 16]), format!("point {number}"));
    let order = number.into();
    let set = PaymentPointSet { point, quote: QUOTE, order, label, amount: pounds(amount), stage };
    said.say(TOBI, day(-7), Body::PaymentPointSet(set));
}

fn kinds(said: &Said) -> Vec<QuestionKind> {
    questions(&said.book()).into_iter().map(|question| question.kind).collect()
}

#[test]
fn points_of_the_book_bill_at_sign_off_or_word_and_must_come_to_the_quote() {
    let mut told = without_a_yes();
    quote(&mut told, "480.00");
    assert!(!kinds(&told).contains(&QuestionKind::PointsOff), "the stage comes to the quote");
    point(&mut told, 1, "180.00", None);
    point(&mut told, 2, "300.00", Some(StageId(id(1))));
    assert!(!kinds(&told).contains(&QuestionKind::PointsOff));
    told.say(TOBI, day(1), Body::PointDue(PointDue { point: PointId([1; 16]) }));
    told.say(TOBI, day(3), Body::SignedOff(SignedOff { site: at(1), evidence: Vec::new() }));
    let net = |until| preview(&told.work(), Some(day(until))).map(|preview| preview.totals.net.to_string());
    assert_eq!((net(0), net(1), net(3)), (None, Some("180.00".into()), Some("480.00".into())));
    // An extra at a price: the points must come to more now.
    let asked = told.say(
        TOBI,
        day(4),
        Body::ExtraAsked(ExtraAsked { site: at(1), what: "a niche".into(), asked_by: String::new() }),
    );
    let extra = Some(entry(TOBI, asked));
    let agreed = ExtraAgreed {
        site: ledger::site::Site { stage: None, ..at(1) },
        extra,
        said_by: String::new(),
        how: SaidHow::Word,
        terms: ExtraTerms::AtAPrice,
        reopens: Vec::new(),
    };
    told.say(TOBI, day(4), Body::ExtraAgreed(agreed));
    assert!(kinds(&told).contains(&QuestionKind::ExtraWithoutPrice));
    told.say(
        TOBI,
        day(4),
        Body::ExtraPriced(ExtraPriced { extra: entry(TOBI, asked), amount: pounds("60.00") }),
    );
    let asked: Vec<_> =
        questions(&told.book()).into_iter().filter(|q| q.kind == QuestionKind::PointsOff).collect();
    assert_eq!(
        asked[0].text,
        "GARAGE: the payment points come to 480.00, and the quote with its extras to 540.00. Which of them is right?"
    );
    // The extra is keyed by what was asked for.
    assert_eq!(told.work().extras[0].extra, entry(TOBI, asked_number(&told)));
}

fn asked_number(said: &Said) -> u16 {
    said.0.iter().find(|(_, _, _, body)| matches!(body, Body::ExtraAsked(_))).unwrap().0
}

fn paid(said: &mut Said, of: u16, net: &str, per: &str, minimum: &str) {
    let (of, net, vat) = (entry(TOBI, of), pounds(net), Pence::ZERO);
    let paid = PricePaid { of, items: Vec::new(), net, vat, per: per.into(), minimum: pounds(minimum) };
    said.say(TOBI, day(5), Body::PricePaid(paid));
}

pub(super) fn moment(on: Day) -> Moment {
    Moment::new(i64::from(on.number()) * 86_400_000 + 9 * 3_600_000, 0).unwrap()
}

/// Days begun at the rate, and never less than the minimum; 15 % mark-up. Common practice, no source.
#[test]
fn hire_that_went_back_and_expenses_are_billed_on_the_clock() {
    let mut told = listed();
    let hire = |said: &mut Said, from: Day, to: Day| {
        let (what, supplier) = ("breaker".into(), "the hire shop".into());
        let began = said.say(
            TOBI,
            from,
            Body::HireBegan(HireBegan { site: at(2), what, supplier, at: moment(from) }),
        );
        said.say(TOBI, to, Body::HireEnded(HireEnded { hire: entry(TOBI, began), at: moment(to) }));
        began
    };
    let first = hire(&mut told, day(1), day(3));
    let second = hire(&mut told, day(4), day(4));
    let skip = Expense {
        site: at(2),
        kind: ExpenseKind::Skip,
        supplier: String::new(),
        ticket: String::new(),
        paid_by: PaidBy::OwnPocket,
        photos: Vec::new(),
    };
    let skip = told.say(TOBI, day(4), Body::Expense(skip));
    assert_eq!(entries_without_a_price(&told.work()).len(), 3);
    paid(&mut told, first, "20.00", "day", "50.00");
    paid(&mut told, second, "20.00", "day", "50.00");
    paid(&mut told, skip, "200.00", "", "0");
    let found = preview(&told.work(), Some(day(5))).unwrap();
    let lines: Vec<_> = found
        .printed
        .iter()
        .map(|line| (line.what.clone(), line.quantity.to_string(), line.amount.to_string()))
        .collect();
    assert_eq!(
        lines,
        [
            ("hire of breaker".into(), "1.000".into(), "57.50".into()),
            ("hire of breaker".into(), "3.000".into(), "69.00".into()),
            ("skip".to_owned(), "1.000".to_owned(), "230.00".to_owned()),
        ]
    );
    // Hire of plant comes off before CIS, a skip does not (HMRC CISR15060; FA 2004 s.61).
    assert_eq!(found.totals.cis_materials, Pence::ZERO, "a householder takes no CIS");
    let costs: Vec<_> = told.work().material_costs.iter().map(|cost| cost.pack_cost.to_string()).collect();
    assert_eq!(costs, ["20.00", "50.00"]);

    // What is paid out: hours less CIS, and what came out of their own pocket; the hire shop on account.
    told.say(TOBI, day(4), hours(600, 1));
    let engaged = PersonEngaged {
        person: TOBI,
        engagement: Engagement::SelfEmployed,
        cis_percent: rate("20"),
        verified_on: Some(day(-60)),
        vat_number: String::new(),
    };
    told.say(TOBI, day(-30), Body::PersonEngaged(engaged));
    let list = pay_list(&told.book(), day(0), day(6));
    let tobi = &list.people[0];
    assert_eq!((tobi.days, tobi.minutes, tobi.labour), (1, 600, Some(pounds("215.00"))));
    assert_eq!(
        (tobi.cis, tobi.own_pocket, tobi.net),
        (pounds("43.00"), Some(pounds("200.00")), Some(pounds("372.00")))
    );
    assert_eq!(
        (list.suppliers[0].supplier.as_str(), list.suppliers[0].on_account),
        ("the hire shop", pounds("110.00"))
    );
}

/// 40.00 at 8 % above a base rate of 3.75 % for 10 days, and the fixed sum (Act of 1998, s.5A): computed.
#[test]
fn what_is_owed_is_known_by_age_and_late_payment_is_for_businesses() {
    let mut told = listed();
    told.say(TOBI, day(1), hours(600, 2));
    let work = told.work();
    let preview = preview(&work, Some(day(1))).unwrap();
    let document = issue(&work, &preview, work.next(), dates(day(1))).unwrap();
    let invoice = document.invoice;
    told.say(TOBI, day(1), Body::InvoiceIssued(InvoiceIssued { document: Box::new(document) }));
    let payment = |received: &str| {
        Body::PaymentReceived(PaymentReceived {
            job: JOB,
            invoice: Some(invoice),
            received: pounds(received),
            cis_taken: Pence::ZERO,
            discount: pounds("2.00"),
            contra: Pence::ZERO,
            method: "bank".into(),
        })
    };
    told.say(TOBI, day(9), payment("130.00"));
    let rows = |today| owed(&told.book(), &[told.work()], today);
    let row = rows(day(20)).remove(0);
    assert_eq!(
        (row.total, row.owed, row.days_late, row.age),
        (pounds("432.00"), pounds("300.00"), 5, Age::To30)
    );
    assert_eq!(rows(day(15))[0].age, Age::NotDue);
    assert_eq!(rows(day(46))[0].age, Age::To60);
    assert_eq!(by_age(&rows(day(120)))[4], (Age::Over90, pounds("300.00")));
    let account = statement(&told.book(), &told.work());
    let balances: Vec<_> = account.iter().map(|line| (line.what, line.balance.to_string())).collect();
    assert_eq!(
        balances,
        [(AccountMove::Invoice, "432.00".to_owned()), (AccountMove::Payment, "300.00".to_owned()),]
    );
    let mut work = told.work();
    assert!(matches!(late_claim(&work, &row, day(25), None), Err(NoLateClaim::Consumer(_))));
    work.terms.customer_kind = CustomerKind::Business;
    // Due on 17 November 2026: 10 days late on the 27th, 300 x 11.75 % x 10 / 365 = 0.97.
    let claim = late_claim(&work, &row, day(25), None).unwrap();
    assert_eq!((claim.days_late, claim.interest, claim.fixed_sum), (10, pounds("0.97"), pounds("40.00")));
}

#[test]
fn a_deposit_of_the_book_is_known_to_billing() {
    let mut told = listed();
    told.say(TOBI, day(0), Body::DepositAsked(DepositAsked { job: JOB, amount: pounds("416.67") }));
    let found = deposit_preview(&told.work(), day(0)).unwrap();
    assert_eq!((found.totals.net, found.totals.total), (pounds("416.67"), pounds("500.00")));
}

/// 12 h at 36.00 come to 432.00, and the yes goes up to 400.00: 666 minutes are 11.10 h and 399.60, and a minute
/// more is 11.12 h and 400.32. Computed.
#[test]
fn an_extra_on_the_clock_bills_no_more_than_its_limit() {
    let mut told = listed();
    let limit = |told: &mut Said, amount: &str| {
        let agreed = |(number, _, _, body): &(u16, PersonId, Day, Body)| {
            matches!(body, Body::ExtraAgreed(_)).then_some(*number)
        };
        let extra = entry(TOBI, told.0.iter().find_map(agreed).unwrap());
        let replaces = ExtraPriced { extra, amount: pounds(amount) };
        told.say(TOBI, day(0), Body::ExtraPriced(replaces));
    };
    limit(&mut told, "400.00");
    told.say(TOBI, day(1), hours(300, 2));
    assert!(!kinds(&told).contains(&QuestionKind::NearLimit), "180.00 is far from it");
    told.say(TOBI, day(2), hours(240, 2));
    assert!(kinds(&told).contains(&QuestionKind::NearLimit), "324.00 is 81 % of it");
    told.say(TOBI, day(3), hours(180, 2));
    assert!(kinds(&told).contains(&QuestionKind::OverLimit));
    let mut work = told.work();
    let found = preview(&work, Some(day(3))).unwrap();
    assert_eq!(found.printed.len(), 1);
    assert_eq!(
        (found.printed[0].quantity.to_string(), found.totals.net),
        ("11.10".to_owned(), pounds("399.60"))
    );
    let minutes = |lines: &[ledger::office::InvoiceLine]| -> rust_decimal::Decimal {
        lines.iter().flat_map(|line| &line.claims).map(|claim| claim.quantity.value()).sum()
    };
    assert_eq!(minutes(&found.printed), 666.into());
    assert_eq!(found.waiting[0].net, pounds("32.40"), "54 minutes are over it");
    assert!(found.waiting[0].why.starts_with("over the 400.00"));
    // Naming it bills no more, and what was billed counts towards the limit.
    let named = BTreeSet::from([extra_called(&work, "move the door").unwrap()]);
    let wish = Wish { until: Some(day(3)), named, ..Wish::default() };
    assert_eq!(preview_of(&work, &wish).unwrap().totals.net, pounds("399.60"));
    work.bill(day(3));
    assert!(preview(&work, Some(day(3))).unwrap().printed.is_empty());
    assert_eq!(limits(&work)[0].comes_to, pounds("432.00"));
    // A yes to more: the rest is billed, and the minutes add up.
    let papers = work.papers.clone();
    limit(&mut told, "500.00");
    let mut work = JobWork { papers, ..told.work() };
    let rest = preview(&work, Some(day(3))).unwrap();
    assert_eq!((rest.totals.net, minutes(&rest.printed)), (pounds("32.40"), 54.into()));
    work.bill(day(3));
    assert!(preview(&work, None).is_none() && proposed_credits(&work).is_empty());
}
