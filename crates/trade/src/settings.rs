//! Every rate and threshold that a law or an office may change, with the days for which it holds and
//! where it was read.
//!
//! This is the one place to change when a rate changes: add a row with its first day, and leave the
//! rows before it, because a paper takes the value in force on its tax point. Nothing here is advice;
//! a row whose source is memory says so.

use jiff::civil::{Date, date};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::number::{Pence, Rate};
use crate::time::Day;

/// A rate of VAT by what it is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VatRate {
    /// The standard rate.
    Standard,
    /// The reduced rate: among others a dwelling that stood empty, or a changed number of dwellings.
    Reduced,
    /// The zero rate: among others a new dwelling.
    Zero,
    /// Energy-saving materials, installed.
    EnergySaving,
}

impl VatRate {
    /// Every rate.
    pub const ALL: [Self; 4] = [Self::Standard, Self::Reduced, Self::Zero, Self::EnergySaving];

    /// What it comes to on a tax point, in per cent; none before the first day that is known.
    #[must_use]
    pub fn percent_on(self, tax_point: Day) -> Option<Rate> {
        let setting = match self {
            Self::Standard => Setting::VatStandard,
            Self::Reduced => Setting::VatReduced,
            Self::Zero => Setting::VatZero,
            Self::EnergySaving => Setting::VatEnergySaving,
        };
        setting.on(tax_point)
    }
}

/// A value that can change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Setting {
    /// Per cent of VAT at the standard rate.
    VatStandard,
    /// Per cent of VAT at the reduced rate.
    VatReduced,
    /// Per cent of VAT at the zero rate.
    VatZero,
    /// Per cent of VAT on energy-saving materials, installed.
    VatEnergySaving,
    /// The share of a paper, in per cent, up to which the reverse charge is left aside.
    ReverseChargeDisregard,
    /// Per cent of CIS off a registered subcontractor.
    CisRegistered,
    /// Per cent of CIS off a subcontractor whom the tax office could not match.
    CisUnverified,
    /// Days after the basic tax point within which an invoice makes its own day the tax point.
    TaxPointDays,
    /// Days after the time of supply within which a VAT invoice is to be issued.
    InvoiceDays,
    /// Days after a decrease within which a credit note is to be issued.
    CreditDays,
    /// Per cent above the base rate, for a business that pays late.
    LateInterestAboveBase,
    /// The Bank of England's base rate that serves a half-year, in per cent.
    BaseRate,
    /// The fixed sum for a small late debt, in pounds.
    LateSumSmall,
    /// The fixed sum for a middling late debt, in pounds.
    LateSumMiddle,
    /// The fixed sum for a large late debt, in pounds.
    LateSumLarge,
    /// From this debt on, in pounds, it is middling.
    LateMiddleFrom,
    /// From this debt on, in pounds, it is large.
    LateLargeFrom,
    /// Days after the work of an application for payment until it falls due, where the contract says nothing.
    ApplicationDueDays,
    /// Days after that within which the customer says what they will pay.
    PaymentNoticeDays,
    /// Days after it falls due until the last day to pay, where the contract says nothing.
    FinalDateDays,
    /// Days before the last day to pay by which the customer says that they will pay less, likewise.
    PayLessDays,
    /// Months for which an agreement on self-billing is made where no contract says how long.
    SelfBillingMonths,
}

/// A value for some days.
struct Row {
    setting: Setting,
    from: Date,
    /// The last day; none for a value that holds until the next row of its setting.
    until: Option<Date>,
    hundredths: i64,
    source: &'static str,
}

const fn row(setting: Setting, from: Date, hundredths: i64, source: &'static str) -> Row {
    Row { setting, from, until: None, hundredths, source }
}

const fn half_year(from: Date, until: Date, hundredths: i64, source: &'static str) -> Row {
    Row { setting: Setting::BaseRate, from, until: Some(until), hundredths, source }
}

const RATES: &str =
    "HMRC, hmrc.gov.uk/vat/forms-rates/rates/calculating.htm (rates); the first day is from memory";
const ENERGY: &str = "HMRC manual VENSAV2083 (until 31 March 2027); the first day is from memory";
const CIS: &str = "gov.uk/what-you-must-do-as-a-cis-contractor/make-deductions-and-pay-subcontractors; the first day is from memory";
const LATE: &str = "Late Payment of Commercial Debts (Interest) Act 1998, s.5A; the first day is from memory";
const BASE: &str =
    "8 % above the base rate of 31 December or 30 June, payontime.co.uk; the base rate from memory";

const SCHEME: &str = "Scheme for Construction Contracts (SI 1998/649), Part II, by \
                      designingbuildings.co.uk/wiki/Due_date; the first day is from memory";

/// The values. Of two rows of a setting the later one holds from its day on.
const ROWS: &[Row] = &[
    row(Setting::VatStandard, date(2011, 1, 4), 2_000, RATES),
    row(Setting::VatReduced, date(1997, 9, 1), 500, RATES),
    row(Setting::VatZero, date(1973, 4, 1), 0, RATES),
    row(Setting::VatEnergySaving, date(2022, 4, 1), 0, ENERGY),
    row(Setting::VatEnergySaving, date(2027, 4, 1), 500, "HMRC manual VENSAV2083"),
    row(
        Setting::ReverseChargeDisregard,
        date(2021, 3, 1),
        500,
        "dfcaccountancy.co.uk, a third party's page; HMRC VATREVCON24000 was not read",
    ),
    row(Setting::CisRegistered, date(2007, 4, 6), 2_000, CIS),
    row(Setting::CisUnverified, date(2007, 4, 6), 3_000, CIS),
    row(Setting::TaxPointDays, date(1994, 9, 1), 1_400, "VAT Act 1994 s.6(5); HMRC VATTOS2230"),
    row(Setting::InvoiceDays, date(1995, 10, 20), 3_000, "SI 1995/2518 reg. 13(5); HMRC VATREC6010"),
    row(Setting::CreditDays, date(1995, 10, 20), 1_400, "SI 1995/2518 reg. 15C"),
    row(
        Setting::LateInterestAboveBase,
        date(2002, 8, 7),
        800,
        "payontime.co.uk; the first day is from memory",
    ),
    half_year(date(2025, 1, 1), date(2025, 6, 30), 475, BASE),
    half_year(date(2025, 7, 1), date(2025, 12, 31), 425, BASE),
    half_year(date(2026, 1, 1), date(2026, 6, 30), 375, BASE),
    half_year(date(2026, 7, 1), date(2026, 12, 31), 375, "3.75 % in the middle of 2026, payontime.co.uk"),
    row(Setting::LateSumSmall, date(2002, 8, 7), 4_000, LATE),
    row(Setting::LateSumMiddle, date(2002, 8, 7), 7_000, LATE),
    row(Setting::LateSumLarge, date(2002, 8, 7), 10_000, LATE),
    row(Setting::LateMiddleFrom, date(2002, 8, 7), 100_000, LATE),
    row(Setting::LateLargeFrom, date(2002, 8, 7), 1_000_000, LATE),
    row(Setting::ApplicationDueDays, date(1998, 5, 1), 700, SCHEME),
    row(
        Setting::PaymentNoticeDays,
        date(2011, 10, 1),
        500,
        "Housing Grants, Construction and Regeneration Act 1996 s.110A, by designingbuildings.co.uk/wiki/Due_date; in \
         force from 1 October 2011 by constructionblog.practicallaw.com",
    ),
    row(Setting::FinalDateDays, date(1998, 5, 1), 1_700, SCHEME),
    row(
        Setting::PayLessDays,
        date(2011, 10, 1),
        700,
        "Scheme for Construction Contracts (SI 1998/649), Part II, paragraph 10, from memory",
    ),
    row(
        Setting::SelfBillingMonths,
        date(2004, 1, 1),
        1_200,
        "HMRC Notice 700/62, section 3; twelve months by a third party's page; the first day is from memory",
    ),
];

impl Setting {
    /// The value in force on a day; none where no row covers it.
    #[must_use]
    pub fn on(self, day: Day) -> Option<Rate> {
        self.row_on(day).map(|row| Rate::from_mantissa(row.hundredths, 2).plain())
    }

    /// Where the value in force on a day was read.
    #[must_use]
    pub fn source_on(self, day: Day) -> Option<&'static str> {
        self.row_on(day).map(|row| row.source)
    }

    /// A setting that counts days, as a number of days.
    #[must_use]
    pub fn days_on(self, day: Day) -> Option<i32> {
        self.whole_on(day)
    }

    /// A setting that is a whole number: of days, or of months.
    #[must_use]
    pub fn whole_on(self, day: Day) -> Option<i32> {
        self.row_on(day).and_then(|row| i32::try_from(row.hundredths / 100).ok())
    }

    /// A setting that is a sum, in pence.
    #[must_use]
    pub fn sum_on(self, day: Day) -> Option<Pence> {
        self.row_on(day).map(|row| Pence(row.hundredths))
    }

    fn row_on(self, day: Day) -> Option<&'static Row> {
        let date = day.date();
        let mut own = ROWS.iter().rev().filter(|row| row.setting == self && row.from <= date);
        own.next().filter(|row| row.until.is_none_or(|until| date <= until))
    }
}

impl Rate {
    /// The same value without zeros at its end: 20.00 is 20.
    #[must_use]
    fn plain(self) -> Self {
        let value: Decimal = self.value().normalize();
        Self::new(value).unwrap_or(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn the_row_in_force_on_the_day_is_taken() {
        // HMRC VENSAV2083: 0 % until 31 March 2027, 5 % from 1 April 2027.
        let energy = |text| VatRate::EnergySaving.percent_on(day(text)).unwrap().to_string();
        assert_eq!(energy("2027-03-31"), "0");
        assert_eq!(energy("2027-04-01"), "5");
        assert_eq!(VatRate::Standard.percent_on(day("2026-11-06")).unwrap().to_string(), "20");
        assert_eq!(VatRate::Standard.percent_on(day("1999-01-01")), None);
    }

    #[test]
    fn a_base_rate_serves_its_half_year_and_no_other() {
        assert_eq!(Setting::BaseRate.on(day("2026-12-31")).unwrap().to_string(), "3.75");
        assert_eq!(Setting::BaseRate.on(day("2027-01-01")), None);
        assert_eq!(Setting::BaseRate.on(day("2024-12-31")), None);
    }

    #[test]
    fn rows_of_a_setting_ascend_and_name_their_source() {
        for (at, row) in ROWS.iter().enumerate() {
            assert!(!row.source.is_empty());
            let later = ROWS[at + 1..].iter().filter(|later| later.setting == row.setting);
            assert!(later.into_iter().all(|later| later.from > row.from), "{:?}", row.setting);
        }
    }
}
