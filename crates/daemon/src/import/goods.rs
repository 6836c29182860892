//! What rows say of material and hired things that come, go and lie somewhere.
//!
//! What was paid for them is read apart, since only the office reads it.

use ledger::site::{Amount, Bought, HireBegan, HireEnded, Moved, StockPlace};
use ledger::{Body, ItemId, Kind};
use trade::Moment;

use super::actions::{PAID_BY, Reading};
use super::measures::{read_amount, read_item};

impl Reading<'_, '_, '_, '_> {
    /// Which item and how much of it.
    pub(super) fn material(&mut self) -> Option<(ItemId, Amount)> {
        let item = read_item(self.cells, self.known);
        let quantity = self.cells.quantity("quantity");
        let unit = self.cells.required("unit");
        let item = item?;
        let amount = read_amount(self.cells, &item, quantity?, unit?);
        Some((item.id, amount?))
    }

    /// A place that material can be at; the inner `None` where none was said.
    pub(super) fn stock_place(&mut self, column: &'static str) -> Option<Option<StockPlace>> {
        let text = self.cells.text(column);
        let own = self.entry.job.as_ref().map(|job| StockPlace::Job(job.id));
        let place = match text.to_lowercase().as_str() {
            "" => return Some(None),
            "merchant" | "merchant's" => Some(StockPlace::Merchant),
            "van" => Some(StockPlace::Van),
            "customer" | "customer's" => Some(StockPlace::Customer),
            "skip" => Some(StockPlace::Skip),
            "job" => own,
            _ => self.known.job(text).map(|job| StockPlace::Job(job.id)),
        };
        if place.is_none() {
            let reason =
                format!("{text:?} is no place; write van, job, merchant, customer, skip or a job's name");
            self.cells.complain(column, reason);
        }
        place.map(Some)
    }

    /// The least that a purchase says is a job, its ticket or a photo of it, and what was paid.
    pub(super) fn bought(&mut self) -> Option<Body> {
        let paid_by = self.cells.word("paid_by", &PAID_BY);
        let photos = self.photos()?;
        let (supplier, ticket) = (self.text("supplier"), self.text("ticket"));
        let own = self.entry.job.as_ref().map(|job| StockPlace::Job(job.id));
        let to = self.stock_place("into")?.or(own);
        if to.is_none() {
            self.cells.complain("job", "name the job it is for, or write van in column into");
        }
        let has_paper = !photos.is_empty() || !ticket.is_empty();
        let has_sum = !self.cells.text("net").is_empty() || !self.cells.text("total").is_empty();
        let items = if self.cells.text("what").is_empty() && has_paper && has_sum {
            Vec::new()
        } else if self.cells.text("what").is_empty() {
            let reason = "must not be empty, unless the ticket's number or photo and what was paid are there";
            self.cells.complain("what", reason);
            return None;
        } else {
            vec![self.material()?]
        };
        Some(Body::Bought(Bought { to: to?, supplier, ticket, items, paid_by: paid_by?, photos }))
    }

    pub(super) fn moved(&mut self) -> Option<Body> {
        let material = self.material();
        let from = self.stock_place("out_of")?;
        let to = self.stock_place("into")?;
        for (column, place) in [("out_of", from), ("into", to)] {
            if place.is_none() {
                let reason = "must not be empty; write van, job, merchant, customer, skip or a job's name";
                self.cells.complain(column, reason);
            }
        }
        let (from, to) = (from?, to?);
        if from == to {
            self.cells.complain("into", "is where it was already");
            return None;
        }
        let (item, amount) = material?;
        Some(Body::Moved(Moved { item, amount, from, to }))
    }

    /// When a hire came or went. A day without a clock time is the whole of it.
    fn hire_time(&mut self, column: &str, whole_day: &str) -> Option<Moment> {
        let zone = &self.entry.zone;
        if let Some(said) = self.cells.moment(column, zone)? {
            return Some(said);
        }
        match self.entry.done_on.filter(|day| *day != self.entry.at.day()) {
            None => Some(self.entry.at),
            Some(day) => Moment::parse(&format!("{day}T{whole_day}"), zone).ok(),
        }
    }

    pub(super) fn hire_on(&mut self) -> Option<Body> {
        let what = self.cells.required("what");
        let at = self.hire_time("from", "00:00")?;
        let supplier = self.text("supplier");
        Some(Body::HireBegan(HireBegan { site: self.site()?, what: what?.to_owned(), supplier, at }))
    }

    pub(super) fn hire_off(&mut self) -> Option<Body> {
        let at = self.hire_time("to", "23:59");
        let hire = self.must_name("a hire", &[Kind::HireBegan])?;
        Some(Body::HireEnded(HireEnded { hire, at: at? }))
    }
}
