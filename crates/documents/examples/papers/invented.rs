//! Invented documents: the sums are those of worked examples that are named where they are checked.

use ledger::office::{
    BillableUnit, Claim, Document, EarlierPaper, InvoiceLine, InvoiceLineKind, Party, PaymentAccount, Work,
};
use ledger::{EntryId, EntryRef, EventHash, InvoiceId, JobId, PersonId};
use trade::money::{hours, line_amount, percentage};
use trade::tax::vat_on;
use trade::{InvoiceTotals, Pence, Quantity, Rate, VatCategory, VatShare};

const SECTION_55A: &str =
    "Reverse charge: VAT Act 1994 Section 55A applies. Customer to pay the VAT to HMRC.";

/// Every document, by a name for its file.
pub(crate) fn documents() -> Vec<(&'static str, Document)> {
    vec![
        ("standard", standard()),
        ("retention", invoice(vec![price("walls and ceilings", "2000.00")], Terms { retention: "5", ..VAT })),
        ("release", invoice(vec![price("half of the retention of invoice 38", "50.00")], VAT)),
        ("two-rates", two_rates()),
        ("reverse-charge", reverse_charge()),
        ("reverse-charge-retention", reverse_charge_with_retention()),
        ("reverse-and-ordinary", reverse_and_ordinary()),
        ("not-registered", not_registered()),
        ("zero-rate", of_category(VatCategory::Zero)),
        ("exempt", of_category(VatCategory::Exempt)),
        ("deposit", deposit()),
        ("after-deposit", after_deposit()),
        ("time", time()),
        ("credit-note", credit_note()),
        ("four-decimals", four_decimals()),
        ("ordered-abroad", ordered_abroad()),
        ("long", long()),
        ("awkward", awkward()),
    ]
}

struct Terms {
    retention: &'static str,
    cis: Option<&'static str>,
    cis_materials: &'static str,
    cis_taken: &'static str,
}

const VAT: Terms = Terms { retention: "0", cis: None, cis_materials: "0", cis_taken: "0" };

fn pence(text: &str) -> Pence {
    text.parse().unwrap()
}

fn rate(text: &str) -> Rate {
    text.parse().unwrap()
}

fn line(kind: InvoiceLineKind, what: &str, quantity: Quantity, unit: &str, price: &str) -> InvoiceLine {
    InvoiceLine {
        kind,
        stage: String::new(),
        what: what.to_owned(),
        quantity,
        unit: unit.to_owned(),
        unit_price: rate(price),
        amount: line_amount(quantity, rate(price)),
        vat_category: VatCategory::Standard,
        vat_percent: rate("20"),
        earlier: None,
        claims: Vec::new(),
    }
}

fn material(what: &str, quantity: &str, unit: &str, price: &str) -> InvoiceLine {
    line(InvoiceLineKind::Material, what, quantity.parse().unwrap(), unit, price)
}

/// Hours on the clock, with the minutes that they are printed from.
fn labour(what: &str, minutes: i64, price: &str) -> InvoiceLine {
    let claim = Claim {
        unit: BillableUnit::Entry(EntryRef { person: PersonId([1; 16]), entry: EntryId([1; 16]) }),
        revision: EventHash([7; 32]),
        quantity: minutes.to_string().parse().unwrap(),
        follows: None,
    };
    InvoiceLine { claims: vec![claim], ..line(InvoiceLineKind::Labour, what, hours(minutes), "hour", price) }
}

fn price(what: &str, amount: &str) -> InvoiceLine {
    line(InvoiceLineKind::Price, what, "1".parse().unwrap(), "", amount)
}

fn at(category: VatCategory, percent: &str, mut lines: Vec<InvoiceLine>) -> Vec<InvoiceLine> {
    for line in &mut lines {
        line.vat_category = category;
        line.vat_percent = rate(percent);
    }
    lines
}

fn on_stage(stage: &str, mut lines: Vec<InvoiceLine>) -> Vec<InvoiceLine> {
    for line in &mut lines {
        line.stage = stage.to_owned();
    }
    lines
}

fn reason(category: VatCategory) -> &'static str {
    match category {
        VatCategory::Standard | VatCategory::Zero => "",
        VatCategory::Exempt => "Exempt from VAT.",
        VatCategory::ReverseCharge => SECTION_55A,
        VatCategory::NotRegistered => "Not registered for VAT: no VAT is charged.",
    }
}

fn shares(lines: &[InvoiceLine], retention: Rate) -> Vec<VatShare> {
    let mut shares: Vec<VatShare> = Vec::new();
    for line in lines {
        let same =
            |share: &&mut VatShare| share.category == line.vat_category && share.percent == line.vat_percent;
        if let Some(share) = shares.iter_mut().find(same) {
            share.net += line.amount;
        } else {
            shares.push(VatShare {
                category: line.vat_category,
                percent: line.vat_percent,
                net: line.amount,
                retention: Pence::ZERO,
                taxable: Pence::ZERO,
                vat_stated: Pence::ZERO,
                reason: reason(line.vat_category).to_owned(),
            });
        }
    }
    for share in &mut shares {
        share.retention = percentage(share.net, retention);
        share.taxable = share.net - share.retention;
        share.vat_stated = vat_on(share.taxable, share.percent);
    }
    shares
}

fn invoice(lines: Vec<InvoiceLine>, terms: Terms) -> Document {
    let vat = shares(&lines, rate(terms.retention));
    let sum = |part: fn(&VatShare) -> Pence| vat.iter().map(part).sum::<Pence>();
    let (taxable, vat_charged) = (sum(|share| share.taxable), sum(VatShare::vat_charged));
    let total = taxable + vat_charged;
    let cis = pence(terms.cis_taken);
    let totals = InvoiceTotals {
        net: sum(|share| share.net),
        retention: sum(|share| share.retention),
        taxable,
        vat_stated: sum(|share| share.vat_stated),
        vat_charged,
        total,
        cis_materials: pence(terms.cis_materials),
        cis,
        to_pay: total - cis,
    };
    Document {
        invoice: InvoiceId([9; 16]),
        job: JobId([1; 16]),
        work: Work {
            code: "GARAGE".to_owned(),
            title: "Attached garage into utility room and shower room".to_owned(),
            site_address: "4 Saltmarsh Lane, Wexcombe, WX4 4ZZ".to_owned(),
        },
        reduces: None,
        series: String::new(),
        number: 41,
        self_billed_as: String::new(),
        order_number: String::new(),
        application: None,
        issued_on: "2026-11-06".parse().unwrap(),
        tax_point: "2026-11-06".parse().unwrap(),
        until: "2026-11-06".parse().unwrap(),
        due_on: "2026-11-20".parse().unwrap(),
        seller: Party {
            name: "Maren Oake".to_owned(),
            trading_as: "Oake Rooms".to_owned(),
            address: "The Lean-to, 2 Saltmarsh Lane, Wexcombe, WX4 4ZZ".to_owned(),
            country: "GB".to_owned(),
            vat_number: "GB000000001".to_owned(),
            tax_reference: "0000000000".to_owned(),
        },
        customer: Party {
            name: "J. Marrable".to_owned(),
            address: "4 Saltmarsh Lane, Wexcombe, WX4 4ZZ".to_owned(),
            country: "GB".to_owned(),
            ..Party::default()
        },
        pay_to: Some(PaymentAccount {
            holder: "Maren Oake".to_owned(),
            bank: "Example Bank".to_owned(),
            sort_code: "00-00-00".to_owned(),
            account_number: "00000000".to_owned(),
        }),
        lines,
        retention_percent: rate(terms.retention),
        cis_percent: terms.cis.map(rate),
        vat,
        totals,
        notes: Vec::new(),
    }
}

fn contractor(document: Document) -> Document {
    Document {
        work: Work {
            code: "MILL".to_owned(),
            title: "Patch and skim two rooms at the mill".to_owned(),
            site_address: "Old Mill, Millrace Road, Wexcombe, WX2 2ZZ".to_owned(),
        },
        customer: Party {
            name: "Tollgate Contracting".to_owned(),
            address: "Unit 9, Weir Yard, Wexcombe, WX1 9ZZ".to_owned(),
            country: "GB".to_owned(),
            vat_number: "GB000000000".to_owned(),
            ..Party::default()
        },
        ..document
    }
}

fn standard() -> Document {
    let lines = [
        on_stage(
            "lining",
            vec![
                material("plasterboard, walls and ceiling", "42.75", "m2", "18.40"),
                material("insulation between the studs", "42.75", "m2", "11.33"),
            ],
        ),
        on_stage(
            "skim",
            vec![labour("plastering", 450, "38.00"), material("board finish", "5", "bag", "9.49")],
        ),
    ];
    invoice(lines.concat(), VAT)
}

fn two_rates() -> Document {
    let reduced = at(VatCategory::Standard, "5", vec![price("grab rails and level shower", "1000.00")]);
    invoice([reduced, vec![price("tiling of the niche", "90.00")]].concat(), VAT)
}

fn reverse_charge_lines() -> Vec<InvoiceLine> {
    let lines = vec![price("patch and skim, two rooms", "1200.00"), price("materials", "345.67")];
    at(VatCategory::ReverseCharge, "20", lines)
}

fn reverse_charge() -> Document {
    let terms = Terms { cis: Some("20"), cis_materials: "345.67", cis_taken: "240.00", ..VAT };
    contractor(invoice(reverse_charge_lines(), terms))
}

fn reverse_charge_with_retention() -> Document {
    let terms = Terms { retention: "5", cis: Some("20"), cis_materials: "345.67", cis_taken: "224.54" };
    contractor(invoice(reverse_charge_lines(), terms))
}

fn reverse_and_ordinary() -> Document {
    let reversed = at(VatCategory::ReverseCharge, "20", vec![price("skim, two rooms", "500.00")]);
    contractor(invoice(
        [reversed, vec![price("hire of a heater, without an operator", "80.00")]].concat(),
        VAT,
    ))
}

fn not_registered() -> Document {
    let lines = at(VatCategory::NotRegistered, "0", vec![labour("hanging doors", 240, "42.00")]);
    let document = invoice(lines, VAT);
    let seller = Party { vat_number: String::new(), ..document.seller.clone() };
    Document { seller, ..document }
}

fn of_category(category: VatCategory) -> Document {
    invoice(at(category, "0", vec![price("insulation of the loft", "640.00")]), VAT)
}

fn deposit() -> Document {
    let line = InvoiceLine { kind: InvoiceLineKind::Deposit, ..price("deposit, before the work", "416.67") };
    Document { number: 40, issued_on: "2026-10-30".parse().unwrap(), ..invoice(vec![line], VAT) }
}

fn after_deposit() -> Document {
    let off = InvoiceLine {
        kind: InvoiceLineKind::Deposit,
        earlier: Some(EarlierPaper { number: "40".to_owned(), issued_on: "2026-10-30".parse().unwrap() }),
        ..line(InvoiceLineKind::Deposit, "deposit that you paid", "-1".parse().unwrap(), "", "416.67")
    };
    invoice(vec![price("first fix and lining", "1553.41"), off], VAT)
}

/// Time that is not all at one rate.
fn time() -> Document {
    let days = "1.75".parse().unwrap();
    let lines = vec![
        line(InvoiceLineKind::Labour, "Tobi Larch", days, "day", "260"),
        labour("Ines Quill, overtime", 120, "54.00"),
        price("Ines Quill, call-out 2026-11-03, first 1 h 00 inside", "85.00"),
        line(InvoiceLineKind::Price, "Ines Quill, miles driven", "24.5".parse().unwrap(), "mile", "0.45"),
    ];
    invoice(lines, VAT)
}

fn credit_note() -> Document {
    let lines = vec![material("insulation between the studs, not used", "2.5", "m2", "11.33")];
    Document {
        number: 42,
        reduces: Some(EarlierPaper { number: "41".to_owned(), issued_on: "2026-11-06".parse().unwrap() }),
        issued_on: "2026-11-09".parse().unwrap(),
        tax_point: "2026-11-09".parse().unwrap(),
        pay_to: None,
        ..invoice(lines, VAT)
    }
}

fn four_decimals() -> Document {
    let lines = vec![
        material("drywall screws 3.5 x 35", "150", "each", "0.0132"),
        material("bonding coat", "1.5", "bag", "13.05"),
        labour("patching", 230, "36.00"),
    ];
    invoice(lines, VAT)
}

/// For a customer in another country, by an order of theirs, and as they certified it.
fn ordered_abroad() -> Document {
    let less = line(
        InvoiceLineKind::Uncertified,
        "not certified of application 3",
        "-1".parse().unwrap(),
        "",
        "50.00",
    );
    let document = invoice(vec![price("patch and skim, two rooms", "1000.00"), less], VAT);
    let customer = Party {
        name: "Slipway Rooms".to_owned(),
        address: "1 Quay Row, Ardmore".to_owned(),
        country: "IE".to_owned(),
        vat_number: "IE0000000A".to_owned(),
        ..Party::default()
    };
    Document { order_number: "PO-7712".to_owned(), application: Some(3), customer, ..document }
}

fn long() -> Document {
    let mut lines = Vec::new();
    for number in 1..=200 {
        let stage = format!("room {}", 1 + number / 20);
        let what = if number % 17 == 0 {
            format!(
                "door {number}: hung, trimmed at the foot over the new floor, latch and handles fitted, the \
                 frame packed out where the old wall leans, the stop planted on, and the lot left ready for \
                 the painter with the dust swept up and the old door carried down to the skip"
            )
        } else {
            format!("socket {number}, moved and made good")
        };
        lines.extend(on_stage(&stage, vec![material(&what, "1.25", "each", "17.37")]));
    }
    Document { notes: vec!["Signed daywork sheets go with it.".to_owned()], ..invoice(lines, VAT) }
}

fn awkward() -> Document {
    let document = invoice(
        vec![
            price("<b>making good</b> & \"touching up\" – ¼ day, ≥ 12.5 mm, 20 °C", "75.00"),
            price(&"unbroken".repeat(30), "12.00"),
            price("two\nlines\tand a \u{1} bell", "1.00"),
        ],
        VAT,
    );
    let customer =
        Party { name: "Łucja Żółć & Søn, Ŵyn, Жук".to_owned(), ..document.customer.clone() };
    Document { customer, ..document }
}
