//! A document as UBL 2.1: an Invoice or a CreditNote. The order of the elements is that of the schema.

use std::io;

use ledger::office::{Document, EarlierPaper, InvoiceLine, Party};
use projections::billing::printed_number;
use trade::{Pence, Rate, VatCategory};

use super::{
    Address, EN_16931, POUNDS, category_code, earlier_papers, notes, payment_terms, quantity_and_price, rate,
    reason, reason_code, retention_reason, seller_identifier, states_vat_numbers, vat_number,
};
use crate::figures::plain;
use crate::kind::PaperKind;
use crate::units;
use crate::xml::Xml;

const COMPONENTS: &str = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2";
const BASICS: &str = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2";

/// The names that differ between an invoice and a credit note.
struct Names {
    root: &'static str,
    namespace: &'static str,
    type_code: &'static str,
    line: &'static str,
    quantity: &'static str,
}

const INVOICE: Names = Names {
    root: "Invoice",
    namespace: "urn:oasis:names:specification:ubl:schema:xsd:Invoice-2",
    type_code: "cbc:InvoiceTypeCode",
    line: "cac:InvoiceLine",
    quantity: "cbc:InvoicedQuantity",
};

const CREDIT_NOTE: Names = Names {
    root: "CreditNote",
    namespace: "urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2",
    type_code: "cbc:CreditNoteTypeCode",
    line: "cac:CreditNoteLine",
    quantity: "cbc:CreditedQuantity",
};

/// The document as UBL.
pub(crate) fn ubl(document: &Document) -> io::Result<Vec<u8>> {
    let kind = PaperKind::of(document);
    let names = match kind {
        PaperKind::Invoice | PaperKind::Deposit => INVOICE,
        PaperKind::CreditNote => CREDIT_NOTE,
    };
    let namespaces = [("xmlns", names.namespace), ("xmlns:cac", COMPONENTS), ("xmlns:cbc", BASICS)];
    Xml::document(names.root, &namespaces, |xml| {
        head(xml, document, kind, &names)?;
        party(xml, "cac:AccountingSupplierParty", &document.seller, document, seller_identifier(document))?;
        party(xml, "cac:AccountingCustomerParty", &document.customer, document, None)?;
        delivery(xml, document)?;
        payment(xml, document)?;
        xml.element("cac:PaymentTerms", |xml| xml.text("cbc:Note", &payment_terms(document)))?;
        allowances(xml, document)?;
        taxes(xml, document)?;
        sums(xml, document)?;
        for (number, one) in (1..).zip(&document.lines) {
            line(xml, number, one, &names)?;
        }
        Ok(())
    })
}

fn head(xml: &mut Xml, document: &Document, kind: PaperKind, names: &Names) -> io::Result<()> {
    xml.text("cbc:CustomizationID", EN_16931)?;
    xml.text("cbc:ID", &printed_number(document))?;
    xml.text("cbc:IssueDate", &document.issued_on.to_string())?;
    let said = notes(document);
    let write_notes = |xml: &mut Xml| said.iter().try_for_each(|note| xml.text("cbc:Note", note));
    let tax_point = document.tax_point.to_string();
    match kind {
        PaperKind::Invoice | PaperKind::Deposit => {
            xml.text("cbc:DueDate", &document.due_on.to_string())?;
            xml.text(names.type_code, kind.type_code())?;
            write_notes(xml)?;
            xml.text("cbc:TaxPointDate", &tax_point)?;
        }
        PaperKind::CreditNote => {
            xml.text("cbc:TaxPointDate", &tax_point)?;
            xml.text(names.type_code, kind.type_code())?;
            write_notes(xml)?;
        }
    }
    xml.text("cbc:DocumentCurrencyCode", POUNDS)?;
    if kind == PaperKind::Invoice {
        xml.element("cac:InvoicePeriod", |xml| xml.text("cbc:EndDate", &document.until.to_string()))?;
    }
    if !document.order_number.is_empty() {
        xml.element("cac:OrderReference", |xml| xml.text("cbc:ID", &document.order_number))?;
    }
    earlier_papers(document).into_iter().try_for_each(|paper| earlier(xml, paper))?;
    match kind {
        PaperKind::Invoice | PaperKind::Deposit if !document.work.code.is_empty() => {
            xml.element("cac:ProjectReference", |xml| xml.text("cbc:ID", &document.work.code))
        }
        PaperKind::Invoice | PaperKind::Deposit | PaperKind::CreditNote => Ok(()),
    }
}

fn earlier(xml: &mut Xml, paper: &EarlierPaper) -> io::Result<()> {
    xml.element("cac:BillingReference", |xml| {
        xml.element("cac:InvoiceDocumentReference", |xml| {
            xml.text("cbc:ID", &paper.number)?;
            xml.text("cbc:IssueDate", &paper.issued_on.to_string())
        })
    })
}

fn party(
    xml: &mut Xml,
    role: &str,
    party: &Party,
    document: &Document,
    identifier: Option<&str>,
) -> io::Result<()> {
    xml.element(role, |xml| {
        xml.element("cac:Party", |xml| {
            if let Some(identifier) = identifier {
                xml.element("cac:PartyIdentification", |xml| xml.text("cbc:ID", identifier))?;
            }
            if !party.trading_as.trim().is_empty() {
                xml.element("cac:PartyName", |xml| xml.text("cbc:Name", &party.trading_as))?;
            }
            address(xml, "cac:PostalAddress", &party.address, &party.country)?;
            if let Some(number) = vat_number(party).filter(|_| states_vat_numbers(document)) {
                xml.element("cac:PartyTaxScheme", |xml| {
                    xml.text("cbc:CompanyID", &number)?;
                    tax_scheme(xml)
                })?;
            }
            xml.element("cac:PartyLegalEntity", |xml| xml.text("cbc:RegistrationName", &party.name))
        })
    })
}

fn address(xml: &mut Xml, name: &str, text: &str, country: &str) -> io::Result<()> {
    let address = Address::of(text);
    xml.element(name, |xml| {
        xml.text_if_any("cbc:StreetName", address.line(0))?;
        xml.text_if_any("cbc:AdditionalStreetName", address.line(1))?;
        xml.text_if_any("cbc:CityName", &address.city)?;
        xml.text_if_any("cbc:PostalZone", &address.postcode)?;
        if !address.line(2).is_empty() {
            xml.element("cac:AddressLine", |xml| xml.text("cbc:Line", address.line(2)))?;
        }
        xml.element("cac:Country", |xml| xml.text("cbc:IdentificationCode", country))
    })
}

/// Where the work was done. A crew works in its own country.
fn delivery(xml: &mut Xml, document: &Document) -> io::Result<()> {
    if document.work.site_address.trim().is_empty() {
        return Ok(());
    }
    xml.element("cac:Delivery", |xml| {
        xml.element("cac:DeliveryLocation", |xml| {
            address(xml, "cac:Address", &document.work.site_address, &document.seller.country)
        })
    })
}

/// By credit transfer (code 30 of UNTDID 4461), where the account is known.
fn payment(xml: &mut Xml, document: &Document) -> io::Result<()> {
    let Some(account) = &document.pay_to else { return Ok(()) };
    xml.element("cac:PaymentMeans", |xml| {
        xml.text("cbc:PaymentMeansCode", "30")?;
        xml.text("cbc:PaymentID", &printed_number(document))?;
        xml.element("cac:PayeeFinancialAccount", |xml| {
            xml.text("cbc:ID", format!("{} {}", account.sort_code, account.account_number).trim())?;
            xml.text_if_any("cbc:Name", &account.holder)
        })
    })
}

fn allowances(xml: &mut Xml, document: &Document) -> io::Result<()> {
    for share in document.vat.iter().filter(|share| share.retention != Pence::ZERO) {
        xml.element("cac:AllowanceCharge", |xml| {
            xml.text("cbc:ChargeIndicator", "false")?;
            xml.text("cbc:AllowanceChargeReason", &retention_reason(document))?;
            amount(xml, "cbc:Amount", share.retention)?;
            category(xml, "cac:TaxCategory", share.category, share.percent, |_| Ok(()))
        })?;
    }
    Ok(())
}

fn taxes(xml: &mut Xml, document: &Document) -> io::Result<()> {
    xml.element("cac:TaxTotal", |xml| {
        amount(xml, "cbc:TaxAmount", document.totals.vat_charged)?;
        document.vat.iter().try_for_each(|share| {
            xml.element("cac:TaxSubtotal", |xml| {
                amount(xml, "cbc:TaxableAmount", share.taxable)?;
                amount(xml, "cbc:TaxAmount", share.vat_charged())?;
                category(xml, "cac:TaxCategory", share.category, share.percent, |xml| {
                    let code = reason_code(share.category);
                    code.map_or(Ok(()), |code| xml.text("cbc:TaxExemptionReasonCode", code))?;
                    reason(share).map_or(Ok(()), |reason| xml.text("cbc:TaxExemptionReason", reason))
                })
            })
        })
    })
}

fn sums(xml: &mut Xml, document: &Document) -> io::Result<()> {
    let totals = document.totals;
    xml.element("cac:LegalMonetaryTotal", |xml| {
        amount(xml, "cbc:LineExtensionAmount", totals.net)?;
        amount(xml, "cbc:TaxExclusiveAmount", totals.taxable)?;
        amount(xml, "cbc:TaxInclusiveAmount", totals.total)?;
        if totals.retention != Pence::ZERO {
            amount(xml, "cbc:AllowanceTotalAmount", totals.retention)?;
        }
        amount(xml, "cbc:PayableAmount", totals.total)
    })
}

fn line(xml: &mut Xml, number: usize, line: &InvoiceLine, names: &Names) -> io::Result<()> {
    let (quantity, price) = quantity_and_price(line);
    xml.element(names.line, |xml| {
        xml.text("cbc:ID", &number.to_string())?;
        if let Some(paper) = &line.earlier {
            xml.text("cbc:Note", &format!("Invoice {} of {}", paper.number, paper.issued_on))?;
        }
        xml.text_with(names.quantity, &[("unitCode", units::code(&line.unit))], &plain(quantity))?;
        amount(xml, "cbc:LineExtensionAmount", line.amount)?;
        xml.element("cac:Item", |xml| {
            if line.stage != line.what {
                xml.text_if_any("cbc:Description", &line.stage)?;
            }
            xml.text("cbc:Name", &line.what)?;
            category(xml, "cac:ClassifiedTaxCategory", line.vat_category, line.vat_percent, |_| Ok(()))
        })?;
        xml.element("cac:Price", |xml| {
            xml.text_with("cbc:PriceAmount", &[("currencyID", POUNDS)], &plain(price))
        })
    })
}

fn category(
    xml: &mut Xml,
    name: &str,
    category: VatCategory,
    percent: Rate,
    reason: impl FnOnce(&mut Xml) -> io::Result<()>,
) -> io::Result<()> {
    xml.element(name, |xml| {
        xml.text("cbc:ID", category_code(category))?;
        if let Some(rate) = rate(category, percent) {
            xml.text("cbc:Percent", &rate)?;
        }
        reason(xml)?;
        tax_scheme(xml)
    })
}

fn tax_scheme(xml: &mut Xml) -> io::Result<()> {
    xml.element("cac:TaxScheme", |xml| xml.text("cbc:ID", "VAT"))
}

fn amount(xml: &mut Xml, name: &str, sum: Pence) -> io::Result<()> {
    xml.text_with(name, &[("currencyID", POUNDS)], &sum.to_string())
}
