//! Late payment between businesses: interest and the fixed sum that the law gives.
//!
//! Late Payment of Commercial Debts (Interest) Act 1998. It does not apply to consumers; that is for the
//! caller to know. Nothing here claims anything: it works out what could be claimed.

use rust_decimal::Decimal;

use crate::number::{Pence, Rate, ratio_half_up};
use crate::settings::Setting;
use crate::time::Day;

/// Days of a year, in which the rate is given.
const DAYS: i64 = 365;

/// What could be claimed on a late debt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LateClaim {
    /// Days after the last day to pay.
    pub days_late: i32,
    /// Per cent a year.
    pub percent: Rate,
    /// Simple interest on the debt.
    pub interest: Pence,
    /// The fixed sum.
    pub fixed_sum: Pence,
}

/// Why it can't be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LateError {
    /// It is not late.
    #[error("it is not late: the last day to pay is {0}")]
    NotLate(Day),
    /// No base rate is known for the half-year.
    #[error(
        "no base rate is known here for the half-year of {0}; look it up at the Bank of England and give it"
    )]
    NoBaseRate(Day),
}

/// Simple interest for some days: debt × rate × days ÷ 365, rounded half up once, at the end. A rate for a
/// day is never rounded before.
#[must_use]
pub fn simple_interest(debt: Pence, percent: Rate, days: i32) -> Pence {
    let days_by_rate = percent.value().saturating_mul(Decimal::from(days));
    Pence(ratio_half_up(debt.pounds(), days_by_rate, Decimal::from(DAYS * 100), 2))
}

/// The fixed sum for a debt that became late on a day (s.5A of the Act).
#[must_use]
pub fn fixed_sum(debt: Pence, late_from: Day) -> Option<Pence> {
    let middle = Setting::LateMiddleFrom.sum_on(late_from)?;
    let large = Setting::LateLargeFrom.sum_on(late_from)?;
    let size = match debt {
        debt if debt >= large => Setting::LateSumLarge,
        debt if debt >= middle => Setting::LateSumMiddle,
        _ => Setting::LateSumSmall,
    };
    size.sum_on(late_from)
}

/// What could be claimed on `debt`, due by `due_on`, if it is still owed on `today`.
///
/// The rate is that of the half-year in which the debt became late: 8 % above the base rate of the 31
/// December or 30 June before (payontime.co.uk). `base_rate` stands in where it is given.
///
/// # Errors
/// [`LateError`]: it is not late, or no base rate is known.
pub fn late_claim(
    debt: Pence,
    due_on: Day,
    today: Day,
    base_rate: Option<Rate>,
) -> Result<LateClaim, LateError> {
    let late_from = due_on.plus_days(1);
    let days_late = today.number() - due_on.number();
    if days_late <= 0 || debt <= Pence::ZERO {
        return Err(LateError::NotLate(due_on));
    }
    let base =
        base_rate.or_else(|| Setting::BaseRate.on(late_from)).ok_or(LateError::NoBaseRate(late_from))?;
    let above = Setting::LateInterestAboveBase.on(late_from).ok_or(LateError::NoBaseRate(late_from))?;
    let percent = Rate::new(base.value().saturating_add(above.value())).unwrap_or(base);
    let interest = simple_interest(debt, percent, days_late);
    let fixed_sum = fixed_sum(debt, late_from).unwrap_or_default();
    Ok(LateClaim { days_late, percent, interest, fixed_sum })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pence(text: &str) -> Pence {
        text.parse().unwrap()
    }

    /// Sources beside each row; where a page prints another figure, it rounded the daily rate first.
    #[test]
    fn interest_is_rounded_once() {
        let rows = [
            ("5000", "12", 90, "147.95"),     // garfield.law
            ("10000", "11.75", 1, "3.22"),    // computed
            ("5000", "12.25", 101, "169.49"), // computed; a page prints 169.68
            ("2000", "13.25", 45, "32.67"),   // computed; a page prints 32.66
        ];
        for (debt, percent, days, expected) in rows {
            let got = simple_interest(pence(debt), percent.parse().unwrap(), days);
            assert_eq!(got.to_string(), expected, "{debt} at {percent} % for {days} days");
        }
    }

    /// Late Payment of Commercial Debts (Interest) Act 1998 s.5A (text at liquisearch; payontime.co.uk).
    #[test]
    fn the_fixed_sum_goes_by_the_debt() {
        let day = "2026-11-06".parse().unwrap();
        for (debt, sum) in [("999.99", 40), ("1000", 70), ("9999.99", 70), ("10000", 100)] {
            assert_eq!(fixed_sum(pence(debt), day), Some(Pence(sum * 100)), "{debt}");
        }
    }

    /// Base rate 3.75 % in the middle of 2026: 11.75 % (payontime.co.uk).
    #[test]
    fn the_rate_is_that_of_the_half_year_in_which_it_became_late() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let claim = late_claim(pence("10000"), day("2026-11-05"), day("2026-11-06"), None).unwrap();
        assert_eq!((claim.days_late, claim.percent.to_string()), (1, "11.75".to_owned()));
        assert_eq!(
            (claim.interest.to_string(), claim.fixed_sum.to_string()),
            ("3.22".into(), "100.00".into())
        );
        let on_time = late_claim(pence("10000"), day("2026-11-05"), day("2026-11-05"), None);
        assert_eq!(on_time, Err(LateError::NotLate(day("2026-11-05"))));
        let unknown = late_claim(pence("100"), day("2027-01-15"), day("2027-02-01"), None);
        assert_eq!(unknown, Err(LateError::NoBaseRate(day("2027-01-16"))));
        let given = late_claim(pence("100"), day("2027-01-15"), day("2027-02-01"), "4".parse().ok()).unwrap();
        assert_eq!(given.percent.to_string(), "12");
    }
}
