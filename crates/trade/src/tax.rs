//! Value added tax, the construction industry's deduction (CIS) and the reverse charge.
//!
//! The rules are those of the United Kingdom as named beside each item. They work out what to print
//! and what to expect; they file nothing and replace neither bookkeeper nor tax office. Rates are
//! always arguments, because they change.

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::percentage;
use crate::number::{Pence, Rate, ratio_half_up};
use crate::settings::Setting;
use crate::time::Day;

/// VAT on a taxable sum: the whole invoice at once, half-up to the penny (HMRC VATREC12030).
///
/// One rounding for the whole sum at one rate, never line by line.
#[must_use]
pub fn vat_on(taxable: Pence, vat_percent: Rate) -> Pence {
    percentage(taxable, vat_percent)
}

/// The VAT that is inside a gross sum: gross × rate ÷ (100 + rate), half-up to the penny.
///
/// At 20 % that is one sixth, at 5 % one twenty-first.
#[must_use]
pub fn vat_within(gross: Pence, vat_percent: Rate) -> Pence {
    let rate = vat_percent.value();
    Pence(ratio_half_up(gross.pounds(), rate, Decimal::ONE_HUNDRED + rate, 2))
}

/// What an invoice's sums depend on, beside its net.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InvoiceTerms {
    /// Per cent of the net that the customer holds back.
    pub retention_percent: Rate,
    /// Per cent of VAT; nought for a crew that is not registered.
    pub vat_percent: Rate,
    /// The customer accounts for the VAT, see [`ReverseChargeFacts::treatment`].
    pub reverse_charge: bool,
    /// Per cent that a CIS customer takes off; nothing for any other customer.
    pub cis_percent: Option<Rate>,
}

/// How VAT applies to a line of a paper: the categories of EN 16931 (UNTDID 5305) that a building crew
/// meets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VatCategory {
    /// VAT is charged, at a rate above nought. Code S, whatever the rate.
    Standard,
    /// VAT is charged at nought per cent. Code Z.
    Zero,
    /// No VAT is charged, because the supply is exempt. Code E; a reason is stated.
    Exempt,
    /// The customer accounts for the VAT, which is stated and not charged. Code AE; a reason is stated.
    ReverseCharge,
    /// The crew is not registered for VAT. Code O; a reason is stated, and no other category stands beside it.
    NotRegistered,
}

/// The part of a paper that is of one VAT category and rate (BG-23 of EN 16931).
///
/// The shares of a paper add up to its [`InvoiceTotals`]: net, retention, taxable, and what is stated and
/// charged of VAT.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VatShare {
    /// The category.
    pub category: VatCategory,
    /// Per cent. Under the reverse charge, the rate at which the customer accounts.
    pub percent: Rate,
    /// The lines of this category and rate, before VAT.
    pub net: Pence,
    /// What is held back of them.
    pub retention: Pence,
    /// Net less retention: what VAT is reckoned on.
    pub taxable: Pence,
    /// VAT as stated, charged or not.
    pub vat_stated: Pence,
    /// Why no VAT is charged, as it is printed; empty where it is.
    pub reason: String,
}

impl VatShare {
    /// The share of these lines, with VAT on what is not held back; no reason is given yet.
    #[must_use]
    pub fn of(category: VatCategory, percent: Rate, net: Pence, retention: Pence) -> Self {
        let taxable = net - retention;
        let vat_stated = vat_on(taxable, percent);
        Self { category, percent, net, retention, taxable, vat_stated, reason: String::new() }
    }

    /// VAT as charged: nothing where the customer accounts for it.
    #[must_use]
    pub fn vat_charged(&self) -> Pence {
        match self.category {
            VatCategory::Standard => self.vat_stated,
            VatCategory::Zero
            | VatCategory::Exempt
            | VatCategory::ReverseCharge
            | VatCategory::NotRegistered => Pence::ZERO,
        }
    }
}

/// The sums at the foot of an invoice or credit note. The order of the fields is that of their bytes in an
/// event, so it stays.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceTotals {
    /// All lines, before VAT.
    pub net: Pence,
    /// Held back out of the net before VAT; its VAT is due when it is released (HMRC VATTOS5170).
    pub retention: Pence,
    /// Net less retention: what VAT is reckoned on.
    pub taxable: Pence,
    /// VAT as stated, charged or not.
    pub vat_stated: Pence,
    /// VAT as charged: nothing under the reverse charge.
    pub vat_charged: Pence,
    /// Taxable plus VAT charged: what the invoice says. CIS never lowers it.
    pub total: Pence,
    /// Cost of materials that come off before CIS; nothing for a customer outside CIS.
    pub cis_materials: Pence,
    /// What we expect the customer to take off; nothing for a customer outside CIS.
    pub cis: Pence,
    /// Total less CIS.
    pub to_pay: Pence,
}

impl InvoiceTotals {
    /// Works the sums out from the net of all lines and what the billed materials cost the crew.
    ///
    /// `earlier` is the contract's CIS account before this invoice; [`CisSoFar::after`] gives it
    /// after. For a customer outside CIS it is not looked at.
    #[must_use]
    pub fn of(net: Pence, material_cost: Pence, terms: InvoiceTerms, earlier: CisSoFar) -> Self {
        let category = if terms.reverse_charge { VatCategory::ReverseCharge } else { VatCategory::Standard };
        let retention = percentage(net, terms.retention_percent);
        let share = VatShare::of(category, terms.vat_percent, net, retention);
        Self::of_shares(&[share], material_cost, terms.cis_percent, earlier)
    }

    /// The sums of all shares of a paper, with the CIS expected on it.
    #[must_use]
    pub fn of_shares(
        shares: &[VatShare],
        material_cost: Pence,
        cis_percent: Option<Rate>,
        earlier: CisSoFar,
    ) -> Self {
        let sum = |part: fn(&VatShare) -> Pence| shares.iter().map(part).sum::<Pence>();
        let (net, retention) = (sum(|share| share.net), sum(|share| share.retention));
        let (taxable, vat_stated) = (sum(|share| share.taxable), sum(|share| share.vat_stated));
        let vat_charged = sum(VatShare::vat_charged);
        let total = taxable + vat_charged;
        let (cis_materials, cis) = match cis_percent {
            Some(percent) => (material_cost, earlier.expected_on(taxable, material_cost, percent)),
            None => (Pence::ZERO, Pence::ZERO),
        };
        let to_pay = total - cis;
        Self { net, retention, taxable, vat_stated, vat_charged, total, cis_materials, cis, to_pay }
    }
}

/// Whether the part of a paper that the reverse charge would apply to is so small that ordinary VAT is
/// charged on all of it: five per cent or less of the whole (a third party's page, dfcaccountancy.co.uk;
/// HMRC VATREVCON24000 was not read). A paper that is all of one kind is never so.
#[must_use]
pub fn is_disregarded(reverse_charged: Pence, whole: Pence, tax_point: Day) -> bool {
    let Some(limit) = Setting::ReverseChargeDisregard.on(tax_point) else { return false };
    let (part, whole) = (reverse_charged.pounds(), whole.pounds());
    part > Decimal::ZERO && part < whole && part * Decimal::ONE_HUNDRED <= limit.value() * whole
}

/// The day that decides on the rate and the quarter of a paper's VAT.
///
/// Under a contract paid in steps it is the day of payment or of the invoice, whichever is first (SI
/// 1995/2518 reg. 93; HMRC VATTOS9105, 9110). Where one payment pays for the whole job, it is the day the
/// work was complete, unless the invoice follows within 14 days (VAT Act 1994 s.6(5); HMRC VATTOS2230);
/// money that came in before makes its own day the tax point (HMRC VATTOS5105).
#[must_use]
pub fn tax_point(completed_on: Option<Day>, issued_on: Day, paid_on: Option<Day>) -> Day {
    let by_completion = completed_on.filter(|completed| {
        let days = Setting::TaxPointDays.days_on(*completed).unwrap_or_default();
        issued_on > completed.plus_days(days)
    });
    let day = by_completion.unwrap_or(issued_on);
    paid_on.map_or(day, |paid| paid.min(day))
}

/// What has been due under one contract so far, and the CIS expected on it.
///
/// The deduction is made from payments as they fall due (HMRC CISR15120), on what is left when the
/// cost of materials is off (Finance Act 2004 s.61). Reckoning it on *all so far* each time makes the
/// steps add up to the deduction on the whole, whatever each step rounds to, and carries materials
/// that one payment is too small for over to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CisSoFar {
    /// Net sums due, without VAT and without what is still held back.
    pub due: Pence,
    /// Cost of the materials on those sums.
    pub materials: Pence,
    /// CIS expected on those sums.
    pub expected: Pence,
}

impl CisSoFar {
    /// The CIS expected on one more payment:
    /// rate × max(0, due so far − materials so far), half-up, less what was expected before.
    ///
    /// Never below nought: a payment takes nothing back, what is too much comes off later ones.
    #[must_use]
    pub fn expected_on(self, due: Pence, materials: Pence, cis_percent: Rate) -> Pence {
        let base = (self.due + due) - (self.materials + materials);
        let in_all = percentage(base.max(Pence::ZERO), cis_percent);
        (in_all - self.expected).max(Pence::ZERO)
    }

    /// The account after one more payment.
    #[must_use]
    pub fn after(self, due: Pence, materials: Pence, cis_percent: Rate) -> Self {
        Self {
            due: self.due + due,
            materials: self.materials + materials,
            expected: self.expected + self.expected_on(due, materials, cis_percent),
        }
    }
}

/// The facts about both parties that decide on the reverse charge.
///
/// Staff that an employment business hires out are outside it; this does not ask about them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReverseChargeFacts {
    /// The work is a construction operation under CIS.
    pub within_cis: bool,
    /// The crew is registered for VAT.
    pub supplier_vat_registered: bool,
    /// The customer is registered for VAT.
    pub customer_vat_registered: bool,
    /// The customer is registered as a contractor under CIS.
    pub customer_cis_registered: bool,
    /// Per cent of VAT on the work.
    pub vat_percent: Rate,
    /// The customer has said in writing that they are end user or intermediary.
    pub end_user_statement: bool,
}

/// Who accounts for the VAT, and why.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum VatTreatment {
    /// The customer does: VAT is stated and not charged.
    ReverseCharge,
    /// Nobody: the crew is not registered.
    SupplierNotRegistered,
    /// The crew does, at nought per cent.
    ZeroRated,
    /// The crew does, because the work is outside CIS.
    OutsideCis,
    /// The crew does, because the customer is not registered for VAT.
    CustomerNotVatRegistered,
    /// The crew does, because the customer is not registered under CIS.
    CustomerNotCisRegistered,
    /// The crew does, because the customer is end user or intermediary.
    EndUser,
}

impl ReverseChargeFacts {
    /// Works the treatment out (SI 2019/892; HMRC VATREVCON45000): the reverse charge applies when
    /// every fact speaks for it, and the first that speaks against it is the reason.
    #[must_use]
    pub fn treatment(self) -> VatTreatment {
        if !self.supplier_vat_registered {
            VatTreatment::SupplierNotRegistered
        } else if self.vat_percent.is_zero() {
            VatTreatment::ZeroRated
        } else if !self.within_cis {
            VatTreatment::OutsideCis
        } else if !self.customer_vat_registered {
            VatTreatment::CustomerNotVatRegistered
        } else if !self.customer_cis_registered {
            VatTreatment::CustomerNotCisRegistered
        } else if self.end_user_statement {
            VatTreatment::EndUser
        } else {
            VatTreatment::ReverseCharge
        }
    }
}

impl VatTreatment {
    /// True when the customer accounts for the VAT.
    #[must_use]
    pub fn is_reverse_charge(self) -> bool {
        self == Self::ReverseCharge
    }

    /// The decision and its reason in one plain sentence.
    #[must_use]
    pub const fn reason(self) -> &'static str {
        match self {
            Self::ReverseCharge => {
                "Reverse charge: both sides are registered for VAT, the customer is registered under CIS \
                 and has not said in writing that they are end user or intermediary."
            }
            Self::SupplierNotRegistered => "No VAT: the crew is not registered for VAT.",
            Self::ZeroRated => "Ordinary VAT: the reverse charge does not apply to work at 0 %.",
            Self::OutsideCis => "Ordinary VAT: the work is outside CIS.",
            Self::CustomerNotVatRegistered => "Ordinary VAT: the customer is not registered for VAT.",
            Self::CustomerNotCisRegistered => "Ordinary VAT: the customer is not registered under CIS.",
            Self::EndUser => {
                "Ordinary VAT: the customer has said in writing that they are end user or intermediary."
            }
        }
    }
}

impl fmt::Display for VatTreatment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.reason())
    }
}
