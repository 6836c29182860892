//! An invoice or credit note as a person reads it, in the words of the trade.

use ledger::office::{Document, InvoiceLine, Party, PaymentAccount};
use projections::billing::printed_number;
use projections::words::{day_and_year as day, money};
use trade::{Pence, VatCategory, VatShare};

use crate::figures::{percent, price, quantity};
use crate::headed::headed;
use crate::kind::PaperKind;
use crate::sheet::{Block, Column, Fact, Part, Row, Sheet, Sum, Table};

/// The paper of a document.
pub(crate) fn sheet(document: &Document) -> Sheet {
    let kind = PaperKind::of(document);
    let title = format!("{} {}", kind.title(), printed_number(document));
    let mut parts = vec![Part::Table(lines(document)), Part::Sums(sums(document, kind))];
    let reasons = document.vat.iter().map(|share| share.reason.clone()).filter(|reason| !reason.is_empty());
    parts.extend(reasons.chain(document.notes.iter().cloned()).map(Part::Text));
    if let Some(account) = &document.pay_to {
        parts.push(Part::Text(pay_to(document, account)));
    }
    let seller = &document.seller;
    let known_as = if seller.trading_as.is_empty() { &seller.name } else { &seller.trading_as };
    let vat =
        if seller.vat_number.is_empty() { String::new() } else { format!(" · VAT {}", seller.vat_number) };
    Sheet {
        foot: format!("{title} · {known_as}{vat}"),
        title,
        from: from(document),
        to: Some(to(&document.customer, &document.seller.country)),
        facts: facts(document, kind),
        made_on: document.issued_on,
        parts,
    }
}

fn from(document: &Document) -> Block {
    let seller = &document.seller;
    let mut block = called(&seller.name, &seller.trading_as, &seller.address, &seller.vat_number);
    // Only who takes CIS off needs to know whom to report it for.
    if document.cis_percent.is_some() && !seller.tax_reference.is_empty() {
        block.lines.push(format!("Tax reference {}", seller.tax_reference));
    }
    block
}

/// The crew as a business: by its trading name where it has one, and its legal name below.
pub(crate) fn called(name: &str, trading_as: &str, address: &str, vat_number: &str) -> Block {
    let mut lines = Vec::new();
    if !trading_as.is_empty() {
        lines.push(name.to_owned());
    }
    lines.push(address.to_owned());
    if !vat_number.is_empty() {
        lines.push(format!("VAT number {vat_number}"));
    }
    let name = if trading_as.is_empty() { name } else { trading_as };
    Block { label: String::new(), name: name.to_owned(), lines }
}

/// The customer, with the country where it is not the crew's.
fn to(customer: &Party, own_country: &str) -> Block {
    let mut lines = lines_of(&customer.address);
    if customer.country != own_country {
        lines.push(customer.country.clone());
    }
    if !customer.vat_number.is_empty() {
        lines.push(format!("VAT number {}", customer.vat_number));
    }
    Block { label: "To".to_owned(), name: customer.name.clone(), lines }
}

/// An address in lines.
pub(crate) fn lines_of(address: &str) -> Vec<String> {
    let parts = address.split([',', '\n']).map(str::trim).filter(|part| !part.is_empty());
    parts.map(str::to_owned).collect()
}

/// Which job it is, and where.
pub(crate) fn job_facts(code: &str, title: &str, site_address: &str) -> Vec<Fact> {
    let job = [code, title].into_iter().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(" – ");
    let facts = [("Job", job.as_str()), ("At", site_address)].into_iter();
    facts.filter(|(_, says)| !says.is_empty()).map(|(label, says)| Fact::new(label, says)).collect()
}

fn facts(document: &Document, kind: PaperKind) -> Vec<Fact> {
    let mut facts = vec![Fact::new("Date", day(document.issued_on))];
    // A crew that is not registered for VAT has no tax point.
    if document.vat.iter().any(|share| share.category != VatCategory::NotRegistered) {
        facts.push(Fact::new("Tax point", day(document.tax_point)));
    }
    match kind {
        PaperKind::Invoice => {
            facts.push(Fact::new("Work up to", day(document.until)));
            facts.push(Fact::new("To be paid by", day(document.due_on)));
        }
        PaperKind::Deposit => facts.push(Fact::new("To be paid by", day(document.due_on))),
        PaperKind::CreditNote => {}
    }
    if let Some(paper) = &document.reduces {
        facts.push(Fact::new("On invoice", format!("{} of {}", paper.number, day(paper.issued_on))));
    }
    if !document.order_number.is_empty() {
        facts.push(Fact::new("Your order", document.order_number.as_str()));
    }
    if let Some(number) = document.application {
        facts.push(Fact::new("Application", number.to_string()));
    }
    let work = &document.work;
    facts.extend(job_facts(&work.code, &work.title, &work.site_address));
    facts
}

fn lines(document: &Document) -> Table {
    let several_rates = document.vat.len() > 1;
    let mut columns = vec![
        Column::words("What", 46),
        Column::figures("How much", 22),
        Column::figures("Price £", 14),
        Column::figures("Amount £", 18),
    ];
    if several_rates {
        columns.insert(3, Column::figures("VAT", 12));
    }
    let rows = headed(&document.lines, stage_of, |line| {
        let how_much = quantity(line);
        let each = if how_much.is_empty() { String::new() } else { price(line.unit_price) };
        let mut cells = vec![line.what.clone(), how_much, each, money(line.amount)];
        if several_rates {
            cells.insert(3, percent(line.vat_percent));
        }
        Row::Cells { cells, below: below(line) }
    });
    Table { columns, rows }
}

/// The stage that a line stands under. A stage at its price is its own heading.
fn stage_of(line: &InvoiceLine) -> &str {
    if line.stage == line.what { "" } else { &line.stage }
}

/// The earlier invoice that a line adds to, or comes off.
fn below(line: &InvoiceLine) -> String {
    line.earlier.as_ref().map_or_else(String::new, |paper| {
        let verb = if line.amount < Pence::ZERO { "billed by" } else { "adds to" };
        format!("{verb} invoice {} of {}", paper.number, day(paper.issued_on))
    })
}

fn sums(document: &Document, kind: PaperKind) -> Vec<Sum> {
    let totals = document.totals;
    let mut sums = vec![Sum::new("Net", money(totals.net))];
    if totals.retention != Pence::ZERO {
        let label = format!("Retention, {} held back", percent(document.retention_percent));
        sums.push(Sum::new(label, money(-totals.retention)));
        sums.push(Sum::new("Due now before VAT", money(totals.taxable)));
    }
    sums.extend(document.vat.iter().filter_map(|share| vat(share, document.vat.len() > 1)));
    let takes_off = totals.total != totals.to_pay;
    if document.cis_percent.is_some() || takes_off || totals.total != totals.net {
        sums.push(Sum::new("Total", money(totals.total)));
    }
    if let Some(rate) = document.cis_percent {
        let after = format!("after materials of {}", money(totals.cis_materials));
        let label = match kind {
            PaperKind::Invoice | PaperKind::Deposit => {
                format!("CIS {} {after}, expected to be taken off", percent(rate))
            }
            PaperKind::CreditNote => format!("CIS {} {after}, no longer expected", percent(rate)),
        };
        sums.push(Sum::new(label, money(-totals.cis)));
    }
    let to_pay = match kind {
        PaperKind::Invoice | PaperKind::Deposit => "To pay £",
        PaperKind::CreditNote => "Credited £",
    };
    sums.push(Sum::last(to_pay, money(totals.to_pay)));
    sums
}

/// What a share says of VAT. A crew that is not registered prints no VAT at all.
fn vat(share: &VatShare, one_of_several: bool) -> Option<Sum> {
    let rate = percent(share.percent);
    let on = if one_of_several { format!(" on {}", money(share.taxable)) } else { String::new() };
    match share.category {
        VatCategory::Standard | VatCategory::Zero => {
            Some(Sum::new(format!("VAT {rate}{on}"), money(share.vat_stated)))
        }
        VatCategory::Exempt => Some(Sum::new(format!("Exempt from VAT{on}"), money(Pence::ZERO))),
        VatCategory::ReverseCharge => {
            let stated = money(share.vat_stated);
            let label = format!("Reverse charge: the customer accounts for VAT {rate}{on} of {stated}");
            Some(Sum::new(label, money(Pence::ZERO)))
        }
        VatCategory::NotRegistered => None,
    }
}

fn pay_to(document: &Document, account: &PaymentAccount) -> String {
    let bank = if account.bank.is_empty() { String::new() } else { format!(", {}", account.bank) };
    format!(
        "Pay to {}{bank}, sort code {}, account number {}. Please give {} as the reference.",
        account.holder,
        account.sort_code,
        account.account_number,
        printed_number(document)
    )
}
