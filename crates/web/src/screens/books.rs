//! For the bookkeeper: what was sold and bought, month by month, and what CIS is expected to be taken.

use askama::Template;
use ledger::Body;
use ledger::site::PaidBy;
use projections::billing;
use trade::{Day, Pence};

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::Look;
use projections::words;

/// An invoice or credit note, credit notes below nought.
pub(crate) struct Sale {
    pub(crate) number: String,
    pub(crate) link: String,
    pub(crate) day: String,
    pub(crate) customer: String,
    pub(crate) net: String,
    pub(crate) vat: String,
    pub(crate) cis: String,
}

/// A purchase or an expense.
pub(crate) struct Purchase {
    pub(crate) day: String,
    pub(crate) what: String,
    pub(crate) paid_by: &'static str,
    /// Without VAT; empty where nobody said.
    pub(crate) net: String,
    pub(crate) vat: String,
    /// Photos of the ticket, by hash.
    pub(crate) photos: Vec<String>,
}

/// A month.
pub(crate) struct Month {
    pub(crate) name: String,
    pub(crate) sales: Vec<Sale>,
    pub(crate) purchases: Vec<Purchase>,
    pub(crate) net: String,
    pub(crate) vat: String,
}

/// The screen.
#[derive(Template)]
#[template(path = "books.html")]
pub(crate) struct Books {
    pub(crate) frame: Frame,
    months: Vec<Month>,
}

/// Fills the screen, the latest month first.
pub(crate) fn books(look: &Look<'_>) -> Books {
    let mut sales: Vec<(Day, (Pence, Pence), Sale)> = Vec::new();
    for work in billing::job_works(look.book, &look.lists) {
        for paper in work.papers.iter().filter(|paper| !paper.voided) {
            let (document, totals) = (&paper.document, paper.document.totals);
            let sign = |sum: Pence| if paper.credits.is_some() { -sum } else { sum };
            let number = billing::printed_number(document);
            let sale = Sale {
                link: encoded(&number),
                number,
                day: words::day(document.tax_point),
                customer: document.customer.name.clone(),
                net: words::pounds(sign(totals.taxable)),
                vat: words::pounds(sign(totals.vat_charged)),
                cis: if totals.cis.0 == 0 { String::new() } else { words::pounds(sign(totals.cis)) },
            };
            sales.push((document.tax_point, (sign(totals.taxable), sign(totals.vat_charged)), sale));
        }
    }
    let mut purchases = purchases(look);
    let mut days: Vec<Day> = sales.iter().map(|(day, ..)| *day).collect();
    days.extend(purchases.iter().map(|(day, _)| *day));
    days.sort_unstable_by(|one, other| other.cmp(one));
    let mut names: Vec<String> = days.into_iter().map(words::month).collect();
    names.dedup();
    sales.sort_by(|(one, _, a), (other, _, b)| (one, &a.number).cmp(&(other, &b.number)));
    purchases.sort_by_key(|(day, _)| *day);
    let months = names.into_iter().map(|name| {
        let (here, rest): (Vec<_>, Vec<_>) =
            std::mem::take(&mut sales).into_iter().partition(|(day, ..)| words::month(*day) == name);
        sales = rest;
        let (bought, rest): (Vec<_>, Vec<_>) =
            std::mem::take(&mut purchases).into_iter().partition(|(day, _)| words::month(*day) == name);
        purchases = rest;
        Month {
            name,
            net: words::pounds(here.iter().map(|(_, (net, _), _)| *net).sum()),
            vat: words::pounds(here.iter().map(|(_, (_, vat), _)| *vat).sum()),
            sales: here.into_iter().map(|(_, _, sale)| sale).collect(),
            purchases: bought.into_iter().map(|(_, purchase)| purchase).collect(),
        }
    });
    let months = months.collect();
    Books { frame: look.frame(Tab::Week, "For the bookkeeper".to_owned()), months }
}

fn purchases(look: &Look<'_>) -> Vec<(Day, Purchase)> {
    let found = look.book.entries().filter_map(|entry| {
        let (paid_by, photos) = match entry.body.as_ref() {
            Body::Bought(bought) => (bought.paid_by, &bought.photos),
            Body::Expense(expense) => (expense.paid_by, &expense.photos),
            _ => return None,
        };
        let paid = look.lists.paid.get(&entry.entry_ref());
        let purchase = Purchase {
            day: words::day(entry.act.done_on),
            what: look.told(&entry),
            paid_by: match paid_by {
                PaidBy::Account => "on account",
                PaidBy::Card => "card",
                PaidBy::OwnPocket => "own pocket",
            },
            net: paid.map(|paid| words::pounds(paid.net)).unwrap_or_default(),
            vat: paid.map(|paid| words::pounds(paid.vat)).unwrap_or_default(),
            photos: photos.iter().map(ToString::to_string).collect(),
        };
        Some((entry.act.done_on, purchase))
    });
    found.collect()
}
