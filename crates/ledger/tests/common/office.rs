//! Samples of what only the office reads.

use ledger::office::{
    Application, AppliedLine, Basis, BillableUnit, Claim, ClaimRef, CostBorneBy, CreditAdopted, CustomerKind,
    DepositAsked, Document, EarlierPaper, Engagement, ExtraPriced, FirmListed, InvoiceAdopted,
    InvoiceCredited, InvoiceIssued, InvoiceLine, InvoiceLineKind, InvoiceSelfBilled, InvoiceVoided,
    ItemPriced, JobCompleted, JobTerms, LinePriced, Party, PaymentAccount, PaymentApplied, PaymentCertified,
    PaymentPointSet, PaymentReceived, PersonEngaged, PersonRated, PointDue, PricePaid, QuoteAgreed,
    QuoteGiven, SelfBillingAgreed, TimeSide, TimeTermsSet, VatRateSet, Work,
};
use ledger::site::{SaidHow, Whose};
use ledger::{Body, InvoiceId, PointId, QuoteId};
use trade::worktime::{CallOut, DayParts, DayRate, Overtime, TimeTerms, Uplift};
use trade::{InvoiceTotals, VatCategory, VatRate, VatShare};

use super::{day, entry, event, garage, item, line, mill, number, person, stage, words};

const QUOTE: QuoteId = QuoteId([0x90; 16]);
const POINT: PointId = PointId([0x91; 16]);
const INVOICE: InvoiceId = InvoiceId([0x92; 16]);

pub(super) fn bodies() -> Vec<Body> {
    [prices(), engagements(), time(), terms(), rates_of_vat(), quotes(), invoices(), payments()].concat()
}

fn prices() -> Vec<Body> {
    let firm = FirmListed {
        name: "Maren Oake".to_owned(),
        trading_as: "Oake Rooms".to_owned(),
        address: "The Lean-to, 2 Saltmarsh Lane, Wexcombe, WX4 4ZZ".to_owned(),
        vat_number: "GB000000001".to_owned(),
        vat_from: Some(day("2021-04-01")),
        tax_reference: "0000000000".to_owned(),
        bank: "Example Bank".to_owned(),
        sort_code: "00-00-00".to_owned(),
        account_number: "00000000".to_owned(),
        terms_days: 14,
        next_invoice_number: 41,
    };
    let rated = |job, trade: &str, cost: &str, charge: &str| {
        Body::PersonRated(PersonRated {
            person: person("Tobi Larch"),
            job,
            trade: trade.to_owned(),
            cost_rate: number(cost),
            charge_rate: number(charge),
        })
    };
    let paid = PricePaid {
        of: entry("e009"),
        items: vec![number("46.50"), number("-0.05")],
        net: number("46.45"),
        vat: number("9.29"),
        per: String::new(),
        minimum: number("0.00"),
    };
    let borne = |whose| Body::CostBorneBy(CostBorneBy { of: entry("e005"), whose });
    vec![
        Body::FirmListed(firm.clone()),
        Body::FirmListed(FirmListed { vat_number: String::new(), vat_from: None, ..firm }),
        rated(Some(mill()), "plastering", "21.50", "36.00"),
        rated(None, "", "0.123456789", "36"),
        Body::ItemPriced(ItemPriced { item: item("drywall screw 38"), pack_cost: number("13.20") }),
        Body::PricePaid(paid.clone()),
        Body::PricePaid(PricePaid {
            items: Vec::new(),
            per: "week".to_owned(),
            minimum: number("120.00"),
            ..paid
        }),
        borne(Whose::Ours),
        borne(Whose::Customers),
        borne(Whose::Makers),
        Body::LinePriced(LinePriced {
            line: line("finish plaster"),
            unit_cost: number("0.39"),
            unit_price: number("0.45"),
        }),
        Body::ExtraPriced(ExtraPriced { extra: entry("e060"), amount: number("-180.00") }),
    ]
}

fn engagements() -> Vec<Body> {
    let tobi = PersonEngaged {
        person: person("Tobi Larch"),
        engagement: Engagement::SelfEmployed,
        cis_percent: number("20"),
        verified_on: Some(day("2026-09-01")),
        vat_number: "GB000000002".to_owned(),
    };
    let plain = |engagement| {
        Body::PersonEngaged(PersonEngaged {
            engagement,
            cis_percent: number("0"),
            verified_on: None,
            vat_number: String::new(),
            ..tobi.clone()
        })
    };
    vec![plain(Engagement::Owner), plain(Engagement::OnTheBooks), Body::PersonEngaged(tobi)]
}

fn time() -> Vec<Body> {
    let all = TimeTerms {
        day: Some(DayRate { minutes: 480, rate: number("260"), parts: DayParts::Quarters }),
        overtime: Some(Overtime {
            day_minutes: Some(480),
            week_minutes: None,
            rate: Uplift::Times(number("1.5")),
        }),
        saturday: Some(Uplift::Times(number("1.5"))),
        sunday: Some(Uplift::Hour(number("68.00"))),
        holiday: Some(Uplift::Times(number("2"))),
        holidays: vec![day("2026-12-25"), day("2026-12-26")],
        call_out: Some(CallOut { sum: number("85.00"), covers_minutes: 60 }),
        travel: Some(number("20")),
        mile: Some(number("0.45")),
    };
    let halves = TimeTerms {
        day: Some(DayRate { minutes: 450, rate: number("150"), parts: DayParts::Halves }),
        overtime: Some(Overtime {
            day_minutes: None,
            week_minutes: Some(2_400),
            rate: Uplift::Hour(number("27.50")),
        }),
        ..TimeTerms::default()
    };
    let set = |side, job, person, terms| {
        Body::TimeTermsSet(TimeTermsSet { side, job, person, terms: Box::new(terms) })
    };
    vec![
        set(TimeSide::Charged, Some(mill()), Some(person("Tobi Larch")), all),
        set(TimeSide::Paid, None, Some(person("Tobi Larch")), halves),
        set(TimeSide::Paid, None, None, TimeTerms::default()),
    ]
}

fn rates_of_vat() -> Vec<Body> {
    let set = |stage, rate, evidence: &str| {
        Body::VatRateSet(VatRateSet { job: garage(), stage, rate, evidence: evidence.to_owned() })
    };
    vec![
        set(None, VatRate::Standard, ""),
        set(Some(stage("skim")), VatRate::Reduced, "empty since 2024: the council's letter is in the folder"),
        set(None, VatRate::Zero, "a new dwelling"),
        Body::SelfBillingAgreed(SelfBillingAgreed {
            job: mill(),
            until: day("2027-11-01"),
            evidence: "letter of 2 March, in the folder".to_owned(),
        }),
        set(None, VatRate::EnergySaving, "insulation of the loft"),
    ]
}

fn terms() -> Vec<Body> {
    let mill_terms = JobTerms {
        job: mill(),
        customer_kind: CustomerKind::Contractor,
        basis: Basis::Daywork,
        vat_percent: number("20"),
        reverse_charge: Some(true),
        cis_percent: number("20"),
        retention_percent: number("5"),
        markup_percent: number("12.5"),
        billing_address: "Unit 9, Weir Yard, Wexcombe, WX1 9ZZ".to_owned(),
        order_number: "PO-7712".to_owned(),
        customer_country: "IE".to_owned(),
        customer_vat_number: "GB000000000".to_owned(),
        customer_cis: Some(true),
        end_user_statement: Some(false),
        terms_days: Some(30),
    };
    let garage_terms = JobTerms {
        job: garage(),
        customer_kind: CustomerKind::Householder,
        basis: Basis::Fixed,
        reverse_charge: None,
        cis_percent: number("0"),
        order_number: String::new(),
        customer_country: String::new(),
        customer_vat_number: String::new(),
        customer_cis: None,
        end_user_statement: None,
        terms_days: None,
        ..mill_terms.clone()
    };
    let business = JobTerms { customer_kind: CustomerKind::Business, ..garage_terms.clone() };
    let by_progress = JobTerms { basis: Basis::Valuation, ..mill_terms.clone() };
    let all = [mill_terms, garage_terms, business, by_progress];
    all.into_iter().map(Body::JobTerms).collect()
}

fn quotes() -> Vec<Body> {
    let agreed =
        |how| Body::QuoteAgreed(QuoteAgreed { quote: QUOTE, said_by: "J. Marrable".to_owned(), how });
    let point = PaymentPointSet {
        point: POINT,
        quote: QUOTE,
        order: 2,
        label: "boarded and skimmed".to_owned(),
        amount: number("2400.00"),
        stage: Some(stage("skim")),
    };
    vec![
        Body::QuoteGiven(QuoteGiven {
            quote: QUOTE,
            job: garage(),
            version: 2,
            price: number("9850.00"),
            included: "walls, first fix, boarding, skim".to_owned(),
            excluded: "decoration".to_owned(),
        }),
        agreed(SaidHow::Word),
        agreed(SaidHow::Message),
        agreed(SaidHow::Signature),
        Body::PaymentPointSet(point.clone()),
        Body::PaymentPointSet(PaymentPointSet { stage: None, ..point }),
        Body::PointDue(PointDue { point: POINT }),
        Body::JobCompleted(JobCompleted { job: mill(), defects_until: day("2027-11-12") }),
    ]
}

fn claim(unit: BillableUnit, quantity: &str) -> Claim {
    Claim { unit, revision: event(0x31), quantity: number(quantity), follows: None }
}

fn document() -> Document {
    let labour = InvoiceLine {
        kind: InvoiceLineKind::Labour,
        stage: "skim".to_owned(),
        what: "plastering, Tobi Larch".to_owned(),
        quantity: number("7.50"),
        unit: "hour".to_owned(),
        unit_price: number("36.00"),
        amount: number("270.00"),
        vat_category: VatCategory::ReverseCharge,
        vat_percent: number("20"),
        earlier: None,
        claims: vec![claim(BillableUnit::Entry(entry("e001")), "450")],
    };
    let like = |kind, amount: &str, earlier, claims| InvoiceLine {
        kind,
        quantity: number("1"),
        unit: String::new(),
        unit_price: number(amount),
        amount: number(amount),
        earlier,
        claims,
        ..labour.clone()
    };
    let follows = ClaimRef { event: event(0x32), line: 3, claim: 1 };
    let lines = vec![
        labour.clone(),
        like(
            InvoiceLineKind::Material,
            "48.75",
            None,
            vec![Claim { follows: Some(follows), ..claim(BillableUnit::Entry(entry("e003")), "-2.5") }],
        ),
        like(
            InvoiceLineKind::Price,
            "100.00",
            Some(EarlierPaper { number: "41".to_owned(), issued_on: day("2026-10-30") }),
            vec![
                claim(BillableUnit::Stage(stage("skim")), "0.5"),
                claim(BillableUnit::Point(POINT), "1"),
                claim(BillableUnit::Extra(entry("e060")), "1"),
                claim(BillableUnit::Retention(garage()), "38.64"),
                claim(BillableUnit::Overtime(entry("e001")), "90"),
                claim(BillableUnit::CallOut { person: person("Tobi Larch"), day: day("2026-11-03") }, "1"),
            ],
        ),
        like(
            InvoiceLineKind::Deposit,
            "-50.00",
            None,
            vec![claim(BillableUnit::Deposit(entry("e062")), "-1")],
        ),
        like(
            InvoiceLineKind::Retention,
            "38.64",
            None,
            vec![claim(BillableUnit::Retention(mill()), "38.64")],
        ),
        like(
            InvoiceLineKind::Uncertified,
            "-50.00",
            None,
            vec![claim(BillableUnit::Uncertified(mill()), "-50")],
        ),
    ];
    Document {
        invoice: INVOICE,
        job: mill(),
        work: Work {
            code: "MILL".to_owned(),
            title: "Patch and skim two rooms at the mill".to_owned(),
            site_address: "Old Mill, Millrace Road, Wexcombe, WX2 2ZZ".to_owned(),
        },
        reduces: None,
        series: String::new(),
        number: 42,
        self_billed_as: String::new(),
        order_number: "PO-7712".to_owned(),
        application: Some(3),
        issued_on: day("2026-11-13"),
        tax_point: day("2026-11-12"),
        until: day("2026-11-11"),
        due_on: day("2026-12-13"),
        seller: Party {
            name: "Maren Oake".to_owned(),
            trading_as: "Oake Rooms".to_owned(),
            address: "The Lean-to, 2 Saltmarsh Lane, Wexcombe, WX4 4ZZ".to_owned(),
            country: "GB".to_owned(),
            vat_number: "GB000000001".to_owned(),
            tax_reference: "0000000000".to_owned(),
        },
        customer: Party { name: "Tollgate Contracting".to_owned(), ..Party::default() },
        pay_to: Some(PaymentAccount {
            holder: "Maren Oake".to_owned(),
            bank: "Example Bank".to_owned(),
            sort_code: "00-00-00".to_owned(),
            account_number: "00000000".to_owned(),
        }),
        lines,
        retention_percent: number("5"),
        cis_percent: Some(number("20")),
        vat: vec![VatShare {
            category: VatCategory::ReverseCharge,
            percent: number("20"),
            net: number("368.75"),
            retention: number("18.44"),
            taxable: number("350.31"),
            vat_stated: number("70.06"),
            reason: "Reverse charge: VAT Act 1994 Section 55A applies. Customer to pay the VAT to HMRC."
                .to_owned(),
        }],
        totals: InvoiceTotals {
            net: number("368.75"),
            retention: number("18.44"),
            taxable: number("350.31"),
            vat_stated: number("70.06"),
            vat_charged: number("0.00"),
            total: number("350.31"),
            cis_materials: number("39.00"),
            cis: number("62.26"),
            to_pay: number("288.05"),
        },
        notes: words(&["Daywork sheets 14 to 16 – signed on site – go with it."]),
    }
}

fn invoices() -> Vec<Body> {
    // A choice is met in some sample, so each category is in one.
    let categories =
        [VatCategory::Standard, VatCategory::Zero, VatCategory::Exempt, VatCategory::NotRegistered];
    let shares = categories.map(|category| VatShare {
        category,
        percent: number("0"),
        net: number("0.00"),
        retention: number("0.00"),
        taxable: number("0.00"),
        vat_stated: number("0.00"),
        reason: String::new(),
    });
    let empty = Document {
        series: "laptop".to_owned(),
        order_number: String::new(),
        application: None,
        lines: Vec::new(),
        pay_to: None,
        cis_percent: None,
        vat: shares.to_vec(),
        totals: InvoiceTotals::default(),
        ..document()
    };
    let credit_note = || Document {
        invoice: InvoiceId([0x93; 16]),
        number: 43,
        reduces: Some(EarlierPaper { number: "42".to_owned(), issued_on: day("2026-11-13") }),
        notes: Vec::new(),
        ..document()
    };
    vec![
        Body::InvoiceIssued(InvoiceIssued { document: Box::new(document()) }),
        Body::InvoiceIssued(InvoiceIssued { document: Box::new(empty.clone()) }),
        Body::InvoiceCredited(InvoiceCredited { of: INVOICE, document: Box::new(credit_note()) }),
        Body::InvoiceSelfBilled(InvoiceSelfBilled {
            document: Box::new(Document { number: 0, self_billed_as: "TC-207".to_owned(), ..document() }),
        }),
        Body::InvoiceVoided(InvoiceVoided { invoice: INVOICE }),
        Body::InvoiceAdopted(InvoiceAdopted {
            invoice: INVOICE,
            event: event(0x33),
            document: Box::new(empty),
        }),
        Body::CreditAdopted(CreditAdopted {
            of: INVOICE,
            event: event(0x34),
            document: Box::new(credit_note()),
        }),
    ]
}

fn applied() -> Application {
    let document = document();
    let line = AppliedLine {
        stage: "skim".to_owned(),
        what: "skim".to_owned(),
        quantity: number("40"),
        unit: "%".to_owned(),
        unit_price: number("2500"),
        amount: number("1000.00"),
    };
    Application {
        job: mill(),
        number: 3,
        work: document.work,
        order_number: document.order_number,
        made_on: day("2026-11-13"),
        until: day("2026-11-11"),
        named: vec![BillableUnit::Extra(entry("e060"))],
        seller: document.seller,
        customer: document.customer,
        lines: vec![line],
        gross: number("1000.00"),
        retention_percent: number("5"),
        retention: number("50.00"),
        before: number("0.00"),
        applied: number("950.00"),
        due_on: day("2026-11-18"),
        notice_by: day("2026-11-23"),
        pay_less_by: day("2026-11-28"),
        final_on: day("2026-12-05"),
    }
}

fn payments() -> Vec<Body> {
    let payment = PaymentReceived {
        job: mill(),
        invoice: Some(INVOICE),
        received: number("288.05"),
        cis_taken: number("62.26"),
        discount: number("0.00"),
        contra: number("-1.00"),
        method: "bank".to_owned(),
    };
    vec![
        Body::PaymentApplied(PaymentApplied { application: Box::new(applied()) }),
        Body::PaymentCertified(PaymentCertified {
            application: entry("e070"),
            certified: number("900.00"),
            reference: "PN-3".to_owned(),
        }),
        Body::DepositAsked(DepositAsked { job: garage(), amount: number("500.00") }),
        Body::PaymentReceived(payment.clone()),
        Body::PaymentReceived(PaymentReceived { invoice: None, method: String::new(), ..payment }),
    ]
}
