//! For the bookkeeper: what was sold and bought, month by month, and what CIS is expected to be taken.

use askama::Template;
use projections::books;
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
    /// Its last day, by which its paper is asked for.
    until: Day,
    /// CIS taken off what customers paid; empty for none.
    cis_taken: String,
    /// CIS kept back from people in the tax month; empty for none.
    cis_kept_back: String,
    cis_month: String,
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
    let months = books::months(look.book);
    let months = months.iter().map(month).collect();
    Books { frame: look.frame(Tab::Week, "For the bookkeeper".to_owned()), months }
}

fn month(month: &books::Month) -> Month {
    let (net, vat) = month.sold();
    Month {
        name: words::month(month.from),
        until: month.to,
        net: words::pounds(net),
        vat: words::pounds(vat),
        sales: month.sales.iter().map(sale).collect(),
        purchases: month.purchases.iter().map(purchase).collect(),
        cis_taken: pounds_if_any(month.cis_taken.iter().map(|taken| taken.taken).sum()),
        cis_kept_back: pounds_if_any(month.cis_kept_back.iter().map(|kept| kept.kept_back).sum()),
        cis_month: format!("{} to {}", words::day(month.cis_month.0), words::day(month.cis_month.1)),
    }
}

fn pounds_if_any(sum: Pence) -> String {
    if sum == Pence::ZERO { String::new() } else { words::pounds(sum) }
}

fn sale(sale: &books::Sale) -> Sale {
    Sale {
        link: encoded(&sale.number),
        number: sale.number.clone(),
        day: words::day(sale.day),
        customer: sale.customer.clone(),
        net: words::pounds(sale.net),
        vat: words::pounds(sale.vat),
        cis: pounds_if_any(sale.cis_expected),
    }
}

fn purchase(bought: &books::Purchase) -> Purchase {
    Purchase {
        day: words::day(bought.day),
        what: bought.what.clone(),
        paid_by: books::paid_by(bought.paid_by),
        net: bought.net.map(words::pounds).unwrap_or_default(),
        vat: bought.vat.map(words::pounds).unwrap_or_default(),
        photos: bought.photos.iter().map(ToString::to_string).collect(),
    }
}
