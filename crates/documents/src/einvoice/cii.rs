//! A document as UN/CEFACT Cross Industry Invoice, which is also what a hybrid PDF carries. The order of the
//! elements is that of the schema.

use std::io;

use ledger::office::{Document, EarlierPaper, InvoiceLine, Party};
use projections::billing::printed_number;
use trade::{Day, Pence, Rate, VatCategory, VatShare};

use super::{
    Address, EN_16931, POUNDS, category_code, earlier_papers, notes, payment_terms, quantity_and_price, rate,
    reason, reason_code, retention_reason, seller_identifier, states_vat_numbers, vat_number,
};
use crate::figures::plain;
use crate::kind::PaperKind;
use crate::units;
use crate::xml::Xml;

const NAMESPACES: [(&str, &str); 4] = [
    ("xmlns:rsm", "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100"),
    ("xmlns:ram", "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100"),
    ("xmlns:qdt", "urn:un:unece:uncefact:data:standard:QualifiedDataType:100"),
    ("xmlns:udt", "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100"),
];

/// The document as CII.
pub(crate) fn cii(document: &Document) -> io::Result<Vec<u8>> {
    Xml::document("rsm:CrossIndustryInvoice", &NAMESPACES, |xml| {
        xml.element("rsm:ExchangedDocumentContext", |xml| {
            xml.element("ram:GuidelineSpecifiedDocumentContextParameter", |xml| xml.text("ram:ID", EN_16931))
        })?;
        xml.element("rsm:ExchangedDocument", |xml| {
            xml.text("ram:ID", &printed_number(document))?;
            xml.text("ram:TypeCode", PaperKind::of(document).type_code())?;
            day(xml, "ram:IssueDateTime", document.issued_on)?;
            notes(document)
                .iter()
                .try_for_each(|note| xml.element("ram:IncludedNote", |xml| xml.text("ram:Content", note)))
        })?;
        xml.element("rsm:SupplyChainTradeTransaction", |xml| {
            for (number, one) in (1..).zip(&document.lines) {
                line(xml, number, one)?;
            }
            agreement(xml, document)?;
            xml.element("ram:ApplicableHeaderTradeDelivery", |xml| delivery(xml, document))?;
            xml.element("ram:ApplicableHeaderTradeSettlement", |xml| settlement(xml, document))
        })
    })
}

fn line(xml: &mut Xml, number: usize, line: &InvoiceLine) -> io::Result<()> {
    let (quantity, price) = quantity_and_price(line);
    xml.element("ram:IncludedSupplyChainTradeLineItem", |xml| {
        xml.element("ram:AssociatedDocumentLineDocument", |xml| {
            xml.text("ram:LineID", &number.to_string())?;
            line.earlier.as_ref().map_or(Ok(()), |paper| {
                let note = format!("Invoice {} of {}", paper.number, paper.issued_on);
                xml.element("ram:IncludedNote", |xml| xml.text("ram:Content", &note))
            })
        })?;
        xml.element("ram:SpecifiedTradeProduct", |xml| {
            xml.text("ram:Name", &line.what)?;
            if line.stage == line.what { Ok(()) } else { xml.text_if_any("ram:Description", &line.stage) }
        })?;
        xml.element("ram:SpecifiedLineTradeAgreement", |xml| {
            xml.element("ram:NetPriceProductTradePrice", |xml| xml.text("ram:ChargeAmount", &plain(price)))
        })?;
        xml.element("ram:SpecifiedLineTradeDelivery", |xml| {
            xml.text_with("ram:BilledQuantity", &[("unitCode", units::code(&line.unit))], &plain(quantity))
        })?;
        xml.element("ram:SpecifiedLineTradeSettlement", |xml| {
            xml.element("ram:ApplicableTradeTax", |xml| category(xml, line.vat_category, line.vat_percent))?;
            xml.element("ram:SpecifiedTradeSettlementLineMonetarySummation", |xml| {
                xml.text("ram:LineTotalAmount", &line.amount.to_string())
            })
        })
    })
}

fn agreement(xml: &mut Xml, document: &Document) -> io::Result<()> {
    xml.element("ram:ApplicableHeaderTradeAgreement", |xml| {
        party(xml, "ram:SellerTradeParty", &document.seller, document, seller_identifier(document))?;
        party(xml, "ram:BuyerTradeParty", &document.customer, document, None)?;
        if !document.order_number.is_empty() {
            xml.element("ram:BuyerOrderReferencedDocument", |xml| {
                xml.text("ram:IssuerAssignedID", &document.order_number)
            })?;
        }
        let work = &document.work;
        if work.code.is_empty() {
            return Ok(());
        }
        xml.element("ram:SpecifiedProcuringProject", |xml| {
            xml.text("ram:ID", &work.code)?;
            xml.text("ram:Name", if work.title.is_empty() { &work.code } else { &work.title })
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
        identifier.map_or(Ok(()), |identifier| xml.text("ram:ID", identifier))?;
        xml.text("ram:Name", &party.name)?;
        if !party.trading_as.trim().is_empty() {
            xml.element("ram:SpecifiedLegalOrganization", |xml| {
                xml.text("ram:TradingBusinessName", &party.trading_as)
            })?;
        }
        address(xml, &party.address, &party.country)?;
        let number = vat_number(party).filter(|_| states_vat_numbers(document));
        number.map_or(Ok(()), |number| {
            xml.element("ram:SpecifiedTaxRegistration", |xml| {
                xml.text_with("ram:ID", &[("schemeID", "VA")], &number)
            })
        })
    })
}

fn address(xml: &mut Xml, text: &str, country: &str) -> io::Result<()> {
    let address = Address::of(text);
    xml.element("ram:PostalTradeAddress", |xml| {
        xml.text_if_any("ram:PostcodeCode", &address.postcode)?;
        xml.text_if_any("ram:LineOne", address.line(0))?;
        xml.text_if_any("ram:LineTwo", address.line(1))?;
        xml.text_if_any("ram:LineThree", address.line(2))?;
        xml.text_if_any("ram:CityName", &address.city)?;
        xml.text("ram:CountryID", country)
    })
}

/// Where the work was done. A crew works in its own country.
fn delivery(xml: &mut Xml, document: &Document) -> io::Result<()> {
    if document.work.site_address.trim().is_empty() {
        return Ok(());
    }
    xml.element("ram:ShipToTradeParty", |xml| {
        address(xml, &document.work.site_address, &document.seller.country)
    })
}

fn settlement(xml: &mut Xml, document: &Document) -> io::Result<()> {
    let kind = PaperKind::of(document);
    if document.pay_to.is_some() {
        xml.text("ram:PaymentReference", &printed_number(document))?;
    }
    xml.text("ram:InvoiceCurrencyCode", POUNDS)?;
    if let Some(account) = &document.pay_to {
        xml.element("ram:SpecifiedTradeSettlementPaymentMeans", |xml| {
            // Credit transfer, of UNTDID 4461.
            xml.text("ram:TypeCode", "30")?;
            xml.element("ram:PayeePartyCreditorFinancialAccount", |xml| {
                xml.text_if_any("ram:AccountName", &account.holder)?;
                let number = format!("{} {}", account.sort_code, account.account_number);
                xml.text("ram:ProprietaryID", &number)
            })
        })?;
    }
    document.vat.iter().try_for_each(|share| tax(xml, share, document.tax_point))?;
    if kind == PaperKind::Invoice {
        xml.element("ram:BillingSpecifiedPeriod", |xml| day(xml, "ram:EndDateTime", document.until))?;
    }
    for share in document.vat.iter().filter(|share| share.retention != Pence::ZERO) {
        xml.element("ram:SpecifiedTradeAllowanceCharge", |xml| {
            xml.element("ram:ChargeIndicator", |xml| xml.text("udt:Indicator", "false"))?;
            xml.text("ram:ActualAmount", &share.retention.to_string())?;
            xml.text("ram:Reason", &retention_reason(document))?;
            xml.element("ram:CategoryTradeTax", |xml| category(xml, share.category, share.percent))
        })?;
    }
    xml.element("ram:SpecifiedTradePaymentTerms", |xml| {
        xml.text("ram:Description", &payment_terms(document))?;
        match kind {
            PaperKind::Invoice | PaperKind::Deposit => day(xml, "ram:DueDateDateTime", document.due_on),
            PaperKind::CreditNote => Ok(()),
        }
    })?;
    sums(xml, document)?;
    earlier_papers(document).into_iter().try_for_each(|paper| earlier(xml, paper))
}

fn tax(xml: &mut Xml, share: &VatShare, tax_point: Day) -> io::Result<()> {
    xml.element("ram:ApplicableTradeTax", |xml| {
        xml.text("ram:CalculatedAmount", &share.vat_charged().to_string())?;
        xml.text("ram:TypeCode", "VAT")?;
        reason(share).map_or(Ok(()), |reason| xml.text("ram:ExemptionReason", reason))?;
        xml.text("ram:BasisAmount", &share.taxable.to_string())?;
        xml.text("ram:CategoryCode", category_code(share.category))?;
        let code = reason_code(share.category);
        code.map_or(Ok(()), |code| xml.text("ram:ExemptionReasonCode", code))?;
        // A crew that is not registered has no tax point.
        if share.category != VatCategory::NotRegistered {
            xml.element("ram:TaxPointDate", |xml| date_of(xml, "udt:DateString", tax_point))?;
        }
        let rate = rate(share.category, share.percent);
        rate.map_or(Ok(()), |rate| xml.text("ram:RateApplicablePercent", &rate))
    })
}

fn category(xml: &mut Xml, category: VatCategory, percent: Rate) -> io::Result<()> {
    xml.text("ram:TypeCode", "VAT")?;
    xml.text("ram:CategoryCode", category_code(category))?;
    rate(category, percent).map_or(Ok(()), |rate| xml.text("ram:RateApplicablePercent", &rate))
}

fn sums(xml: &mut Xml, document: &Document) -> io::Result<()> {
    let totals = document.totals;
    xml.element("ram:SpecifiedTradeSettlementHeaderMonetarySummation", |xml| {
        xml.text("ram:LineTotalAmount", &totals.net.to_string())?;
        if totals.retention != Pence::ZERO {
            xml.text("ram:AllowanceTotalAmount", &totals.retention.to_string())?;
        }
        xml.text("ram:TaxBasisTotalAmount", &totals.taxable.to_string())?;
        let currency = [("currencyID", POUNDS)];
        xml.text_with("ram:TaxTotalAmount", &currency, &totals.vat_charged.to_string())?;
        xml.text("ram:GrandTotalAmount", &totals.total.to_string())?;
        xml.text("ram:DuePayableAmount", &totals.total.to_string())
    })
}

fn earlier(xml: &mut Xml, paper: &EarlierPaper) -> io::Result<()> {
    xml.element("ram:InvoiceReferencedDocument", |xml| {
        xml.text("ram:IssuerAssignedID", &paper.number)?;
        xml.element("ram:FormattedIssueDateTime", |xml| date_of(xml, "qdt:DateTimeString", paper.issued_on))
    })
}

fn day(xml: &mut Xml, name: &str, day: Day) -> io::Result<()> {
    xml.element(name, |xml| date_of(xml, "udt:DateTimeString", day))
}

/// A day as `20261106`, which format 102 of UNTDID 2379 stands for.
fn date_of(xml: &mut Xml, name: &str, day: Day) -> io::Result<()> {
    xml.text_with(name, &[("format", "102")], &day.to_string().replace('-', ""))
}
