//! The trade's arithmetic: exact numbers, money, units, tax, civil time, measuring up, the limits of tests and
//! networks of stages.
//!
//! This crate computes and never reads a clock, a file or a network. There are no floats: a
//! quantity or a price is an exact decimal, money is whole pence, and every rounding is named.
//! Its arithmetic never panics: a sum too large for its type stays at the largest that fits, so
//! that an absurd number from outside spoils its own line and nothing else.

pub mod country;
pub mod late;
pub mod measure;
pub mod money;
pub mod network;
pub mod number;
pub mod settings;
pub mod takeoff;
pub mod tax;
pub mod time;
pub mod unit;
pub mod waits;
pub mod worktime;

pub use late::{LateClaim, LateError};
pub use money::{MoneyError, Pounds, RetentionHalves, UnitCost};
pub use number::{NumberError, Pence, Quantity, Rate};
pub use settings::{Setting, VatRate};
pub use tax::{
    CisSoFar, InvoiceTerms, InvoiceTotals, ReverseChargeFacts, VatCategory, VatShare, VatTreatment,
};
pub use time::{Day, Moment, TimeError};
pub use unit::{Packing, UnitError};
pub use worktime::TimeTerms;
