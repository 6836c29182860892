//! From a preview to a paper: everything that it prints, frozen.
//!
//! What an invoice must show is checked before (VAT Regulations 1995, SI 1995/2518, reg. 14 for an
//! invoice, reg. 15C for a credit note). What is missing is named, with where to set it. This is no
//! advice on tax, and makes no document: that is done from the event, once it is durable.

use std::fmt;

use ledger::InvoiceId;
use ledger::office::{
    CustomerKind, Document, EarlierPaper, FirmListed, InvoiceCredited, InvoiceLine, InvoiceLineKind, Party,
    PaymentAccount, Work,
};
use trade::{Day, Pence, Rate, VatCategory, VatRate, VatShare};

use super::credit::ProposedCredit;
use super::preview::Preview;
use super::sums::cis_percent;
use super::work::JobWork;

/// The crew's country: the rules of tax that a paper is issued by are those of the United Kingdom. It is that of
/// the customer too, where the job's terms name no other.
const COUNTRY: &str = "GB";

/// What a paper is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaperNumber {
    /// Its id.
    pub invoice: InvoiceId,
    /// The series that the number belongs to, or empty for the first.
    pub series: String,
    /// The number in the series, from [`next_number`].
    pub number: u64,
}

/// The days of a paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PaperDates {
    /// The day it is today, on the wall of whoever issues.
    pub today: Day,
    /// The day of issue.
    pub issued_on: Day,
    /// The tax point.
    pub tax_point: Day,
}

/// Something that a paper must show and that nobody has said yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Missing {
    /// The crew as a business.
    SellerName,
    /// Where the crew is.
    SellerAddress,
    /// The crew's VAT number, on a paper that states VAT.
    SellerVatNumber,
    /// Who pays.
    CustomerName,
    /// Where the invoice goes.
    CustomerAddress,
    /// The customer's VAT number, under the reverse charge.
    CustomerVatNumber,
    /// What proves a rate of VAT other than the standard one.
    VatEvidence,
    /// The paper's number.
    Number,
}

impl fmt::Display for Missing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::SellerName => "your business's name (set it in the firm's details)",
            Self::SellerAddress => "your business's address (set it in the firm's details)",
            Self::SellerVatNumber => {
                "your VAT number (set it in the firm's details, or clear the date of registration there)"
            }
            Self::CustomerName => "the customer's name (set it on the job)",
            Self::CustomerAddress => "the customer's billing address (set it in the job's terms)",
            Self::CustomerVatNumber => "the customer's VAT number (set it in the job's terms)",
            Self::VatEvidence => {
                "what proves that the work is not at the standard rate of VAT (set it by `fivebar job vat`)"
            }
            Self::Number => {
                "the paper's number (it starts from the next invoice number in the firm's details)"
            }
        })
    }
}

/// Why a paper may not be issued. Nothing was issued, and no number is used up.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotIssued {
    /// It would come to nothing.
    #[error("there is nothing to bill: the paper would come to 0.00")]
    NothingToBill,
    /// It would come to nothing without an extra that waits for a yes.
    #[error(
        "there is nothing to bill but what waits for the customer's yes: {}; log the yes, or name it to bill it all the same; over a limit, set the higher one that they said yes to",
        .0.join(", ")
    )]
    OnlyWaiting(Vec<String>),
    /// It would give money back.
    #[error("the paper would come to {0}: give money back by a credit note")]
    BelowNought(Pence),
    /// A deposit is more than what there is to bill.
    #[error(
        "the work to bill comes to {work}, and the deposit of {deposit} covers it: bill when there is more, or give the          deposit back by a credit note and bill the work"
    )]
    CoveredByDeposit {
        /// What there is to bill, before VAT.
        work: Pence,
        /// The deposit, before VAT.
        deposit: Pence,
    },
    /// A rule that does not go with the customer.
    #[error("{0}, or the kind of customer to a contractor or a business (`fivebar job change`)")]
    WrongCustomer(&'static str),
    /// A rate of VAT that is not in force.
    #[error("{percent} % is no rate of VAT on {tax_point}: set the job's VAT, or `fivebar job vat`")]
    NotARate {
        /// The rate.
        percent: Rate,
        /// The tax point.
        tax_point: Day,
    },
    /// The preview was made without a last day.
    #[error("say up to which day the invoice goes")]
    UntilNotSaid,
    /// A day that has not come.
    #[error("{what} is {day}, and today is {today}: choose today or a day before")]
    InFuture {
        /// Which of the paper's days.
        what: &'static str,
        /// The day given.
        day: Day,
        /// Today.
        today: Day,
    },
    /// VAT is charged for a day before the crew was registered.
    #[error(
        "VAT is charged with tax point {tax_point}, but you are registered from {from}: check the date of registration in the firm's details, or the job's VAT"
    )]
    NotRegisteredYet {
        /// The tax point.
        tax_point: Day,
        /// The first day of registration.
        from: Day,
    },
    /// The customer issues the invoices.
    #[error(
        "the customer of {job} issues its invoices until {until}, by the agreement on self-billing, and the crew must \
         issue none (HMRC Notice 700/62): record theirs by `fivebar invoice self-billed {job} NUMBER SUM`, or end the \
         agreement by `fivebar job self-billing {job} --until DAY`"
    )]
    CustomerIssues {
        /// The job's code.
        job: String,
        /// The last day of the agreement.
        until: Day,
    },
    /// No agreement covers the day.
    #[error(
        "no agreement on self-billing of {job} covers {day}, and without one their paper is no VAT invoice (HMRC \
         VATREC15030): note the written agreement by `fivebar job self-billing {job} --from DAY --until DAY --evidence \
         WHERE`, or issue an invoice of your own"
    )]
    NoAgreement {
        /// The job's code.
        job: String,
        /// The day of their paper.
        day: Day,
    },
    /// Something that the law wants on the paper is missing.
    #[error("the paper lacks {}", list(.0))]
    Lacks(Vec<Missing>),
}

fn list(missing: &[Missing]) -> String {
    missing.iter().map(Missing::to_string).collect::<Vec<_>>().join("; ")
}

/// The next number of a series: gapless, because every number is that of a paper that exists.
///
/// `documents` are all papers of the crew, of any job; voided ones keep their numbers. The first
/// series (empty) begins where the firm says, every other with 1.
#[must_use]
pub fn next_number<'d>(
    firm: &FirmListed,
    series: &str,
    documents: impl IntoIterator<Item = &'d Document>,
) -> u64 {
    let first = if series.is_empty() { firm.next_invoice_number.max(1) } else { 1 };
    // What a customer issues has their number, and takes none of the crew's.
    let is_own = |document: &&Document| document.series == series && document.self_billed_as.is_empty();
    let own = documents.into_iter().filter(is_own);
    let (next, highest) = own
        .fold((first, 0), |(next, highest), document| (next.saturating_add(1), document.number.max(highest)));
    // Of a series that a fork has cut into, papers are taken on one by one, and those before them may lack.
    next.max(highest.saturating_add(1))
}

/// The number as it is printed: "41", "B-41" in the series B, or the customer's where they issued it.
#[must_use]
pub fn printed_number(document: &Document) -> String {
    if !document.self_billed_as.is_empty() {
        document.self_billed_as.clone()
    } else if document.series.is_empty() {
        document.number.to_string()
    } else {
        format!("{}-{}", document.series, document.number)
    }
}

/// A paper as a later one names it.
#[must_use]
pub fn named(document: &Document) -> EarlierPaper {
    EarlierPaper { number: printed_number(document), issued_on: document.issued_on }
}

/// Freezes an invoice. Later changes of names, prices or terms never alter it.
///
/// # Errors
/// [`NotIssued`] names what is wrong or missing, and where to set it.
pub fn issue(
    job: &JobWork,
    preview: &Preview,
    number: PaperNumber,
    dates: PaperDates,
) -> Result<Document, NotIssued> {
    match job.self_billing.filter(|agreed| agreed.holds_on(dates.issued_on)) {
        Some(agreed) => Err(NotIssued::CustomerIssues { job: job.code.clone(), until: agreed.until }),
        None => freeze(job, preview, number, dates),
    }
}

/// Freezes an invoice that the customer issued in the crew's name, under the number that they gave it.
///
/// # Errors
/// [`NotIssued::NoAgreement`], and as [`issue`].
pub fn self_billed(
    job: &JobWork,
    preview: &Preview,
    invoice: InvoiceId,
    their_number: String,
    dates: PaperDates,
) -> Result<Document, NotIssued> {
    if !job.self_billing.is_some_and(|agreed| agreed.holds_on(dates.issued_on)) {
        return Err(NotIssued::NoAgreement { job: job.code.clone(), day: dates.issued_on });
    }
    // The number is checked as if it were the crew's, and stands for nothing.
    let number = PaperNumber { invoice, series: String::new(), number: 1 };
    let document = freeze(job, preview, number, dates)?;
    Ok(Document { number: 0, self_billed_as: their_number, pay_to: None, ..document })
}

fn freeze(
    job: &JobWork,
    preview: &Preview,
    number: PaperNumber,
    dates: PaperDates,
) -> Result<Document, NotIssued> {
    let until = preview.until.ok_or(NotIssued::UntilNotSaid)?;
    check_days(&[("the last day to bill", until), ("the day of issue", dates.issued_on)], dates.today)?;
    if preview.printed.is_empty() && !preview.waiting.is_empty() {
        return Err(NotIssued::OnlyWaiting(
            preview.waiting.iter().map(|extra| extra.extra.clone()).collect(),
        ));
    }
    check_sum(preview.totals.net).map_err(|refusal| covered_by_deposit(preview).unwrap_or(refusal))?;
    check_customer(job)?;
    check_rates(&preview.printed, dates.tax_point)?;
    let mut missing = missing_evidence(job, &preview.printed, dates.tax_point);
    let (seller, customer) = parties(job, &number, &preview.vat_shares, &mut missing, dates)?;
    let firm_terms = job.firm.as_ref().map_or(0, |firm| firm.terms_days);
    let terms_days = job.terms.terms_days.unwrap_or(firm_terms);
    Ok(Document {
        invoice: number.invoice,
        job: job.job,
        work: work(job),
        reduces: None,
        series: number.series,
        number: number.number,
        self_billed_as: String::new(),
        order_number: job.terms.order_number.clone(),
        application: preview.application,
        issued_on: dates.issued_on,
        tax_point: dates.tax_point,
        until,
        due_on: dates.issued_on.plus_days(i32::from(terms_days)),
        seller,
        customer,
        pay_to: job.firm.as_ref().and_then(pay_to),
        lines: preview.printed.clone(),
        retention_percent: job.terms.retention_percent,
        cis_percent: cis_percent(job),
        vat: preview.vat_shares.clone(),
        totals: preview.totals,
        notes: Vec::new(),
    })
}

/// Freezes a credit note on an invoice. The parties are printed as they are today.
///
/// # Errors
/// [`NotIssued`] names what is wrong or missing, and where to set it.
pub fn credit_note(
    job: &JobWork,
    credit: &ProposedCredit,
    number: PaperNumber,
    dates: PaperDates,
) -> Result<InvoiceCredited, NotIssued> {
    check_days(&[("the day of issue", dates.issued_on)], dates.today)?;
    check_sum(credit.totals.net)?;
    let of = job.papers.iter().map(|paper| &paper.document).find(|of| of.invoice == credit.of);
    let (seller, customer) = parties(job, &number, &credit.vat, &mut Vec::new(), dates)?;
    let document = Document {
        invoice: number.invoice,
        job: job.job,
        work: work(job),
        reduces: Some(EarlierPaper { number: credit.of_number.clone(), issued_on: credit.of_date }),
        series: number.series,
        number: number.number,
        self_billed_as: String::new(),
        order_number: of.map_or_else(|| job.terms.order_number.clone(), |of| of.order_number.clone()),
        application: None,
        issued_on: dates.issued_on,
        tax_point: dates.tax_point,
        until: dates.issued_on,
        due_on: dates.issued_on,
        seller,
        customer,
        pay_to: None,
        lines: credit.lines.clone(),
        retention_percent: of.map_or(job.terms.retention_percent, |of| of.retention_percent),
        cis_percent: of.map_or_else(|| cis_percent(job), |of| of.cis_percent),
        vat: credit.vat.clone(),
        totals: credit.totals,
        notes: Vec::new(),
    };
    Ok(InvoiceCredited { of: credit.of, document: Box::new(document) })
}

fn check_days(days: &[(&'static str, Day)], today: Day) -> Result<(), NotIssued> {
    let late = days.iter().find(|(_, day)| *day > today);
    late.map_or(Ok(()), |(what, day)| Err(NotIssued::InFuture { what, day: *day, today }))
}

fn check_sum(net: Pence) -> Result<(), NotIssued> {
    match net.cmp(&Pence::ZERO) {
        std::cmp::Ordering::Greater => Ok(()),
        std::cmp::Ordering::Equal => Err(NotIssued::NothingToBill),
        std::cmp::Ordering::Less => Err(NotIssued::BelowNought(net)),
    }
}

/// A deposit that takes all off that there is to bill.
fn covered_by_deposit(preview: &Preview) -> Option<NotIssued> {
    let deposits = preview.printed.iter().filter(|line| line.kind == InvoiceLineKind::Deposit);
    let taken_off: Pence = deposits.map(|line| line.amount).sum();
    let work = preview.totals.net - taken_off;
    (taken_off < Pence::ZERO && work > Pence::ZERO)
        .then_some(NotIssued::CoveredByDeposit { work, deposit: -taken_off })
}

/// What only some customers do, said of one who never does it.
fn check_customer(job: &JobWork) -> Result<(), NotIssued> {
    let terms = &job.terms;
    let wrong = match terms.customer_kind {
        CustomerKind::Householder if !terms.cis_percent.is_zero() => {
            Some("CIS is set, and a householder never takes it off: set the job's CIS to 0")
        }
        CustomerKind::Householder if terms.reverse_charge == Some(true) => {
            Some("the reverse charge is set, and a householder never accounts for VAT: set it to no")
        }
        CustomerKind::Householder | CustomerKind::Contractor | CustomerKind::Business => None,
    };
    wrong.map_or(Ok(()), |wrong| Err(NotIssued::WrongCustomer(wrong)))
}

/// The rates of VAT must be such that are in force on the tax point.
fn check_rates(lines: &[InvoiceLine], tax_point: Day) -> Result<(), NotIssued> {
    let known: Vec<_> = VatRate::ALL.into_iter().filter_map(|rate| rate.percent_on(tax_point)).collect();
    let unknown = lines.iter().map(|line| line.vat_percent).find(|percent| !known.contains(percent));
    unknown.map_or(Ok(()), |percent| Err(NotIssued::NotARate { percent, tax_point }))
}

/// What proves a rate other than the standard one is kept with the job.
fn missing_evidence(job: &JobWork, lines: &[InvoiceLine], tax_point: Day) -> Vec<Missing> {
    let standard = VatRate::Standard.percent_on(tax_point);
    let proven = |percent: Rate| {
        let sets = || job.vat_rates.values().filter(|set| set.rate.percent_on(tax_point) == Some(percent));
        sets().any(|set| !set.evidence.trim().is_empty())
    };
    let unproven = lines.iter().any(|line| {
        line.vat_category != VatCategory::NotRegistered
            && Some(line.vat_percent) != standard
            && !proven(line.vat_percent)
    });
    if unproven { vec![Missing::VatEvidence] } else { Vec::new() }
}

/// The two letters of the customer's country.
fn customer_country(job: &JobWork) -> &str {
    let country = job.terms.customer_country.trim();
    if country.is_empty() { COUNTRY } else { country }
}

pub(super) fn parties(
    job: &JobWork,
    number: &PaperNumber,
    vat: &[VatShare],
    missing: &mut Vec<Missing>,
    dates: PaperDates,
) -> Result<(Party, Party), NotIssued> {
    let seller = job.firm.as_ref().map(seller).unwrap_or_default();
    let customer = Party {
        name: job.customer.clone(),
        trading_as: String::new(),
        address: job.terms.billing_address.clone(),
        country: customer_country(job).to_owned(),
        vat_number: job.terms.customer_vat_number.clone(),
        tax_reference: String::new(),
    };
    let states_vat = vat.iter().any(|share| share.vat_stated != Pence::ZERO);
    let reverse_charge = vat.iter().any(|share| share.category == VatCategory::ReverseCharge);
    let is_blank = |text: &str| text.trim().is_empty();
    let wanted = [
        (Missing::SellerName, is_blank(&seller.name)),
        (Missing::SellerAddress, is_blank(&seller.address)),
        (Missing::SellerVatNumber, states_vat && is_blank(&seller.vat_number)),
        (Missing::CustomerName, is_blank(&customer.name)),
        (Missing::CustomerAddress, is_blank(&customer.address)),
        (Missing::CustomerVatNumber, reverse_charge && is_blank(&customer.vat_number)),
        (Missing::Number, number.number == 0),
    ];
    missing.extend(wanted.into_iter().filter_map(|(field, lacks)| lacks.then_some(field)));
    missing.sort_unstable();
    if !missing.is_empty() {
        return Err(NotIssued::Lacks(std::mem::take(missing)));
    }
    let from = job.firm.as_ref().and_then(|firm| firm.vat_from);
    match from.filter(|from| states_vat && *from > dates.tax_point) {
        Some(from) => Err(NotIssued::NotRegisteredYet { tax_point: dates.tax_point, from }),
        None => Ok((seller, customer)),
    }
}

fn seller(firm: &FirmListed) -> Party {
    Party {
        name: firm.name.clone(),
        trading_as: firm.trading_as.clone(),
        address: firm.address.clone(),
        country: COUNTRY.to_owned(),
        vat_number: firm.vat_number.clone(),
        tax_reference: firm.tax_reference.clone(),
    }
}

fn pay_to(firm: &FirmListed) -> Option<PaymentAccount> {
    (!firm.account_number.trim().is_empty()).then(|| PaymentAccount {
        holder: firm.name.clone(),
        bank: firm.bank.clone(),
        sort_code: firm.sort_code.clone(),
        account_number: firm.account_number.clone(),
    })
}

pub(super) fn work(job: &JobWork) -> Work {
    Work { code: job.code.clone(), title: job.title.clone(), site_address: job.site_address.clone() }
}
