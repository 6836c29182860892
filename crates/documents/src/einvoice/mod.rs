//! E-invoices by EN 16931, in its two syntaxes: UBL 2.1 and UN/CEFACT Cross Industry Invoice.
//!
//! Both say the same from the same frozen content. CIS never lowers what an invoice says: it is no tax of
//! the invoice's, and stands in the terms of payment. What is held back is an allowance on the document.

mod cii;
mod ubl;

use ledger::office::{Document, EarlierPaper, InvoiceLine, Party};
use projections::words::day_and_year;
use rust_decimal::Decimal;
use trade::{Rate, VatCategory, VatShare};

pub(crate) use cii::cii;
pub(crate) use ubl::ubl;

use crate::figures::{self, plain};
use crate::kind::PaperKind;

/// The rules that the invoice keeps to (BT-24).
const EN_16931: &str = "urn:cen.eu:en16931:2017";

const POUNDS: &str = "GBP";

/// The code of UNTDID 5305.
const fn category_code(category: VatCategory) -> &'static str {
    match category {
        VatCategory::Standard => "S",
        VatCategory::Zero => "Z",
        VatCategory::Exempt => "E",
        VatCategory::ReverseCharge => "AE",
        VatCategory::NotRegistered => "O",
    }
}

/// The code of the reason why no VAT is charged (BT-121), of the list VATEX, where it has one.
const fn reason_code(category: VatCategory) -> Option<&'static str> {
    match category {
        VatCategory::ReverseCharge => Some("VATEX-EU-AE"),
        VatCategory::NotRegistered => Some("VATEX-EU-O"),
        VatCategory::Standard | VatCategory::Zero | VatCategory::Exempt => None,
    }
}

/// The rate as the standard wants it: nought where the customer accounts for the VAT, none where the crew is
/// not registered.
fn rate(category: VatCategory, percent: Rate) -> Option<String> {
    match category {
        VatCategory::Standard => Some(plain(percent.value())),
        VatCategory::Zero | VatCategory::Exempt | VatCategory::ReverseCharge => Some("0".to_owned()),
        VatCategory::NotRegistered => None,
    }
}

/// A price is never below nought (BR-27), so a line that takes off has a quantity below nought.
fn quantity_and_price(line: &InvoiceLine) -> (Decimal, Decimal) {
    let (quantity, price) = (line.quantity.value(), line.unit_price.value());
    if price.is_sign_negative() { (-quantity, -price) } else { (quantity, price) }
}

/// No VAT number may stand on the invoice of a crew that is not registered (BR-O-02).
fn states_vat_numbers(document: &Document) -> bool {
    !document.vat.iter().any(|share| share.category == VatCategory::NotRegistered)
}

/// A VAT number with its country before it (BR-CO-09); none where there is no number.
fn vat_number(party: &Party) -> Option<String> {
    let number: String = party.vat_number.chars().filter(|c| c.is_alphanumeric()).collect();
    let number = number.to_uppercase();
    let has_prefix = number.starts_with(|c: char| c.is_ascii_alphabetic());
    match (number.is_empty(), has_prefix) {
        (true, _) => None,
        (false, true) => Some(number),
        (false, false) => Some(format!("{}{number}", party.country)),
    }
}

/// By what a customer's program can tell the seller (BR-CO-26), where no VAT number may stand: the tax
/// reference, or else the name.
fn seller_identifier(document: &Document) -> Option<&str> {
    if states_vat_numbers(document) && vat_number(&document.seller).is_some() {
        return None;
    }
    let reference = document.seller.tax_reference.trim();
    Some(if reference.is_empty() { document.seller.name.trim() } else { reference })
}

/// An address in the parts that the standard has.
#[derive(Debug, Default, PartialEq, Eq)]
struct Address {
    lines: Vec<String>,
    city: String,
    postcode: String,
}

impl Address {
    /// From one text with commas or new lines. A postcode at the end is told by its shape, and what stands
    /// before it is the town; without one, all stays in lines.
    fn of(text: &str) -> Self {
        let mut lines: Vec<String> = text
            .split([',', '\n'])
            .map(str::trim)
            .filter(|part| !part.is_empty())
            .map(str::to_owned)
            .collect();
        let postcode = lines.pop_if(|last| is_postcode(last)).unwrap_or_default();
        let city = if postcode.is_empty() { None } else { lines.pop() };
        // The standard has three lines.
        if lines.len() > 3 {
            let rest = lines.split_off(2).join(", ");
            lines.push(rest);
        }
        Self { lines, city: city.unwrap_or_default(), postcode }
    }

    fn line(&self, place: usize) -> &str {
        self.lines.get(place).map_or("", String::as_str)
    }
}

/// The shape of a postcode of the United Kingdom: an outward code of two to four characters, and an inward
/// one of a digit and two letters.
fn is_postcode(text: &str) -> bool {
    let Some((outward, inward)) = text.split_once(' ') else { return false };
    let mut inward_letters = inward.chars();
    let inward = inward.len() == 3
        && inward_letters.next().is_some_and(|c| c.is_ascii_digit())
        && inward_letters.all(|c| c.is_ascii_uppercase());
    inward
        && (2..=4).contains(&outward.len())
        && outward.starts_with(|c: char| c.is_ascii_uppercase())
        && outward.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit())
        && outward.contains(|c: char| c.is_ascii_digit())
}

/// The earlier invoices that this one names, each once, in the order of the paper (BG-3).
fn earlier_papers(document: &Document) -> Vec<&EarlierPaper> {
    let mut papers: Vec<&EarlierPaper> = document.reduces.iter().collect();
    for paper in document.lines.iter().filter_map(|line| line.earlier.as_ref()) {
        if !papers.contains(&paper) {
            papers.push(paper);
        }
    }
    papers
}

/// Why an amount is held back (BT-97).
fn retention_reason(document: &Document) -> String {
    format!("Retention, {} held back", figures::percent(document.retention_percent))
}

/// The text of the terms of payment (BT-20).
fn payment_terms(document: &Document) -> String {
    let totals = document.totals;
    let mut terms = match PaperKind::of(document) {
        PaperKind::CreditNote => "Set against what is owed, or paid back.".to_owned(),
        PaperKind::Invoice | PaperKind::Deposit => {
            format!("To be paid by {}.", day_and_year(document.due_on))
        }
    };
    if let Some(percent) = document.cis_percent {
        terms += &format!(
            " CIS at {} after materials of {}: we expect {} to be taken off, which leaves {}.",
            figures::percent(percent),
            totals.cis_materials,
            totals.cis,
            totals.to_pay
        );
    }
    terms
}

/// What is said of the whole paper (BT-22): the notes, and the VAT that is stated and not charged.
fn notes(document: &Document) -> Vec<String> {
    let stated =
        document.vat.iter().filter(|share| share.category == VatCategory::ReverseCharge).map(|share| {
            format!(
                "{} VAT at {}: {} {POUNDS}.",
                share.reason,
                figures::percent(share.percent),
                share.vat_stated
            )
        });
    stated.chain(document.notes.iter().cloned()).collect()
}

/// The reason why a share charges no VAT, where there is one (BT-120).
fn reason(share: &VatShare) -> Option<&str> {
    Some(share.reason.trim()).filter(|reason| !reason.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_cut_where_its_shape_says_so() {
        let full = Address::of("The Lean-to, 2 Saltmarsh Lane, Wexcombe, WX4 4ZZ");
        assert_eq!(full.lines, ["The Lean-to", "2 Saltmarsh Lane"]);
        assert_eq!((full.city.as_str(), full.postcode.as_str()), ("Wexcombe", "WX4 4ZZ"));
        let bare = Address::of("Old Mill\nMillrace Road");
        assert_eq!((bare.lines.len(), bare.city.as_str(), bare.postcode.as_str()), (2, "", ""));
        assert_eq!(Address::of("a, b, c, d, e").lines, ["a", "b", "c, d, e"]);
        assert_eq!(Address::of("WX4 4ZZ"), Address { postcode: "WX4 4ZZ".to_owned(), ..Address::default() });
    }

    #[test]
    fn a_vat_number_gets_the_country_that_it_lacks() {
        let party =
            |number: &str| Party { vat_number: number.into(), country: "GB".into(), ..Party::default() };
        assert_eq!(vat_number(&party("000 0000 01")).as_deref(), Some("GB000000001"));
        assert_eq!(vat_number(&party("GB 000000001")).as_deref(), Some("GB000000001"));
        assert_eq!(vat_number(&party(" ")), None);
    }
}
