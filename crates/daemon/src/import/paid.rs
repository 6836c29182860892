//! What was paid for a purchase, a hire or an expense: money on a row of the crew's, kept for the office.
//!
//! The entry itself never says a sum. Whoever held the ticket writes the price in their own name.

use ledger::office::PricePaid;
use ledger::{Act, Audience, Body, EntryId, EventHash, Kind, Payload};
use trade::{Day, Pence};

use super::cells::Cells;
use super::entries::Entry;
use super::{ListSubject, Planned, Work};

/// The list of prices, as it goes into the entries' ids.
const TABLE: &str = "entries/paid";

/// What a row says that was paid.
pub(super) struct Price {
    net: Pence,
    vat: Pence,
    per: &'static str,
    minimum: Pence,
    /// Only the sum with VAT was said, so nobody knows how much of it is VAT.
    vat_unsaid: bool,
}

const PER: [(&str, &str); 3] = [("day", "day"), ("week", "week"), ("", "")];

/// Two of net, VAT and total; the inner `None` where no sum was said.
pub(super) fn read_price(cells: &mut Cells<'_, '_>, is_hire: bool) -> Option<Option<Price>> {
    let sums = ["net", "vat", "total"].map(|column| cells.pence(column));
    let (per, minimum) =
        if is_hire { (cells.word("per", &PER), cells.pence("minimum")) } else { (Some(""), Some(None)) };
    let [net, vat, total] = sums;
    let (net, vat, total, per, minimum) = (net?, vat?, total?, per?, minimum?);
    let (net, vat, vat_unsaid) = match (net, vat, total) {
        (None, None, None) => {
            if !per.is_empty() || minimum.is_some() {
                cells.complain("net", "must not be empty where per or minimum is given");
                return None;
            }
            return Some(None);
        }
        (Some(net), vat, None) => (net, vat.unwrap_or(Pence::ZERO), false),
        (Some(net), None, Some(total)) => (net, total - net, false),
        (Some(net), Some(vat), Some(total)) => {
            if net + vat != total {
                cells.complain("total", format!("{net} and {vat} VAT come to {}, not to {total}", net + vat));
                return None;
            }
            (net, vat, false)
        }
        (None, Some(vat), Some(total)) => (total - vat, vat, false),
        (None, None, Some(total)) => (total, Pence::ZERO, true),
        (None, Some(_), None) => {
            cells.complain("net", "must not be empty where VAT is given; or give the total");
            return None;
        }
    };
    if net < Pence::ZERO || vat < Pence::ZERO {
        cells.complain("total", "must not be less than its parts");
        return None;
    }
    if is_hire && per.is_empty() {
        cells.complain("per", "say what the rate is for: day or week");
        return None;
    }
    Some(Some(Price { net, vat, per, minimum: minimum.unwrap_or(Pence::ZERO), vat_unsaid }))
}

/// Plans the price of an entry, unless the ledger says it already.
pub(super) fn plan_price(entry: &Entry<'_>, done_on: Day, price: Price, work: &mut Work<'_>) {
    let context = work.context;
    let of = entry.reference;
    let key = entry.key();
    let Price { net, vat, per, minimum, vat_unsaid } = price;
    let body = Body::PricePaid(PricePaid { of, items: Vec::new(), net, vat, per: per.to_owned(), minimum });
    let versions = context.held.list_versions(Kind::PricePaid, ListSubject::Entry(of));
    let is_held = versions.iter().any(|(_, version)| version.body == body);
    // A phone does not read the office's list, so what it imported before it wrote before.
    let was_written = context.held.event_of(&of).is_some() && !context.held.reads_office();
    if is_held || was_written {
        work.plan.already_held += 1;
        return;
    }
    if !versions.is_empty() {
        let reason =
            format!("the office has another price for this already; set it with `fivebar paid {key} …`");
        work.bad.push(entry.row.bad("net", reason));
        return;
    }
    if vat_unsaid {
        work.warn(format!(
            "{key}: only the total is known, so no VAT is noted; `fivebar paid {key} --net … --vat …` sets it right."
        ));
    }
    let act = Act {
        person: context.author,
        author: context.author,
        entry: EntryId::of_row(&context.crew, TABLE, key),
        done_on,
        done_at: None,
        logged_at: entry.at,
        row_key: key.to_owned(),
        said: String::new(),
        note: String::new(),
        replaces: Vec::<EventHash>::new(),
    };
    let payload = Payload { act, body };
    work.write(entry.row, Planned { payload, audience: Audience::Office, supersedes: Vec::new() });
}
