//! The one row of `firm.csv`: the crew as a business.

use ledger::Body;
use ledger::office::FirmListed;

use super::cells::Cells;
use super::lists::{ListRow, plan_list_row};
use super::table::Row;
use super::{ListSubject, Work};

/// Days to pay where the file says none: the statutory 30 of the Late Payment of Commercial Debts
/// (Interest) Act 1998, section 4 (from memory).
const DEFAULT_TERMS_DAYS: u16 = 30;
/// Longest term that is taken for meant: a year.
pub(super) const MAX_TERMS_DAYS: u16 = 366;

pub(super) fn plan_firm(rows: &[Row], work: &mut Work<'_>) {
    for row in rows.iter().skip(1) {
        work.bad.push(row.bad("name", "there is one firm; keep one row"));
    }
    let Some(row) = rows.first() else { return };
    let mut cells = Cells::new(row, &mut work.bad);
    let read = (
        cells.required("name"),
        cells.day("vat_registered_from"),
        cells.whole("terms_days", 0, MAX_TERMS_DAYS),
        cells.whole("next_invoice_no", 1, 999_999_999_u64),
    );
    let (Some(name), Some(vat_from), Some(terms_days), Some(next_invoice_number)) = read else { return };
    let text = |column| row.text(column).to_owned();
    let body = Body::FirmListed(FirmListed {
        name: name.to_owned(),
        trading_as: text("trading_as"),
        address: text("address"),
        vat_number: text("vat_no"),
        vat_from,
        tax_reference: text("utr"),
        bank: text("bank_name"),
        sort_code: text("sort_code"),
        account_number: text("account_no"),
        terms_days: terms_days.unwrap_or(DEFAULT_TERMS_DAYS),
        next_invoice_number: next_invoice_number.unwrap_or(1),
    });
    let (subject, key) = (ListSubject::Firm, "firm".to_owned());
    plan_list_row(ListRow { row, table: "firm", key, subject, dated: false, body }, work);
}
