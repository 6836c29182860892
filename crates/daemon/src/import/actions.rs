//! What a row of each kind says: the content of its event, read from the columns that the kind takes.
//!
//! Nothing is decided here about who may do it; a cell that is empty is what was not said.

use ledger::site::{
    Away, CalledBack, Delivered, Expense, ExpenseKind, ExtraAgreed, ExtraAsked, ExtraDeclined, ExtraTerms,
    Hours, LeftOff, Limit, Mileage, Note, OutsideCheck, PaidBy, PartDone, Photo, ReadyForChecking, Reopened,
    Returned, SaidHow, Seen, SignOffTold, SignedOff, Site, SnagCleared, SnagRaised, StockPlace, Test, Used,
    WasteCount, Wasted, Whose, Worked,
};
use ledger::{Body, EntryRef, Kind, PersonId, StageId};
use trade::{Day, Quantity};

use super::BadRow;
use super::cells::Cells;
use super::entries::{Entry, Keys};
use super::kinds::EntryKind;
use super::known::{Known, KnownJob};
use super::measures::{read_place, read_test_value, read_value, read_worked};
use super::named::{named_entries, named_entry};
use super::paid::{Price, read_price};

/// What a row says, once read.
pub(super) struct Told {
    pub(super) body: Body,
    pub(super) done_on: Day,
    pub(super) note: String,
    pub(super) said: String,
    /// What was paid, for the office.
    pub(super) price: Option<Price>,
    pub(super) supersedes: Vec<EntryRef>,
}

const WHOSE: [(&str, Whose); 6] = [
    ("ours", Whose::Ours),
    ("customer", Whose::Customers),
    ("customer's", Whose::Customers),
    ("maker", Whose::Makers),
    ("maker's", Whose::Makers),
    ("", Whose::Ours),
];
pub(super) const PAID_BY: [(&str, PaidBy); 5] = [
    ("account", PaidBy::Account),
    ("card", PaidBy::Card),
    ("own pocket", PaidBy::OwnPocket),
    ("own", PaidBy::OwnPocket),
    ("", PaidBy::Account),
];
const EXPENSES: [(&str, ExpenseKind); 7] = [
    ("skip", ExpenseKind::Skip),
    ("tip", ExpenseKind::Tip),
    ("parking", ExpenseKind::Parking),
    ("permit", ExpenseKind::Permit),
    ("delivery", ExpenseKind::Delivery),
    ("sundries", ExpenseKind::Sundries),
    ("other", ExpenseKind::Other),
];
const COUNTS: [(&str, WasteCount); 3] =
    [("out of used", WasteCount::OutOfUsed), ("on top", WasteCount::OnTop), ("", WasteCount::OnTop)];
const SAID_HOW: [(&str, SaidHow); 4] = [
    ("word", SaidHow::Word),
    ("message", SaidHow::Message),
    ("signature", SaidHow::Signature),
    ("", SaidHow::Word),
];

/// A row that is being read, with all that it may name.
pub(super) struct Reading<'c, 'r, 'b, 'k> {
    pub(super) cells: &'c mut Cells<'r, 'b>,
    pub(super) entry: &'c Entry<'r>,
    keys: &'c Keys<'c, 'r>,
    pub(super) known: &'c Known<'k>,
    site: Option<Site>,
}

/// Reads a row that is no change of another.
pub(super) fn read_action<'r>(
    entry: &Entry<'r>,
    keys: &Keys<'_, 'r>,
    known: &Known<'_>,
    bad: &mut Vec<BadRow>,
) -> Option<Told> {
    let before = bad.len();
    let mut cells = Cells::new(entry.row, bad);
    let site = entry.job.as_ref().and_then(|job| read_site(&mut cells, job, known));
    let mut reading = Reading { cells: &mut cells, entry, keys, known, site };
    let body = reading.body();
    let price = reading.price();
    let row = entry.row;
    let (what, note) = (row.text("what"), row.text("note").to_owned());
    // Whatever was wrong is said by now; a body that was read all the same is not to be trusted.
    let body = body.filter(|_| bad.len() == before)?;
    let mut day = entry.day();
    let mut told_note = note;
    let mut said = String::new();
    match entry.kind {
        EntryKind::Hours => {
            if let (Body::Hours(Hours { worked: Worked::Span { from, .. }, .. }), None) =
                (&body, entry.done_on)
            {
                day = from.day();
            }
            // With a stage, the stage says what was done; more words are kept as they were said.
            said = if row.text("stage").is_empty() { String::new() } else { what.to_owned() };
        }
        EntryKind::Note
        | EntryKind::Snag
        | EntryKind::LeftOff
        | EntryKind::CalledBack
        | EntryKind::Away
        | EntryKind::Photo
        | EntryKind::Seen => told_note = join_words(what, &told_note),
        EntryKind::Agreed
        | EntryKind::Declined
        | EntryKind::SignedOff
        | EntryKind::Ready
        | EntryKind::PartDone
        | EntryKind::SnagCleared
        | EntryKind::HireOff
        | EntryKind::Mileage
        | EntryKind::Reopened
        | EntryKind::Told => said = what.to_owned(),
        EntryKind::Used
        | EntryKind::Wasted
        | EntryKind::Returned
        | EntryKind::Delivered
        | EntryKind::Bought
        | EntryKind::Moved
        | EntryKind::HireOn
        | EntryKind::Expense
        | EntryKind::Reading
        | EntryKind::Asked
        | EntryKind::Corrected
        | EntryKind::Struck => {}
    }
    Some(Told { body, done_on: day, note: told_note, said, price: price?, supersedes: Vec::new() })
}

impl<'r> Reading<'_, 'r, '_, '_> {
    /// The content. Complaints are made about the cells as they are read.
    fn body(&mut self) -> Option<Body> {
        Some(match self.entry.kind {
            EntryKind::Hours => {
                let worked = read_worked(self.cells, &self.entry.zone);
                let site = self.site()?;
                let activity = if site.stage.is_none() { self.text("what") } else { String::new() };
                Body::Hours(Hours { site, activity, worked: worked? })
            }
            EntryKind::Away => self.away()?,
            EntryKind::Used => {
                let (item, amount) = self.material()?;
                let whose = self.cells.word("whose", &WHOSE)?;
                let bought = self.named("a purchase", &[Kind::Bought])?;
                Body::Used(Used { site: self.site()?, item, amount, whose, bought })
            }
            EntryKind::Wasted => {
                let (item, amount) = self.material()?;
                let counts = self.cells.word("counts", &COUNTS)?;
                let cost_to = self.cells.word("whose", &WHOSE)?;
                Body::Wasted(Wasted { site: self.site()?, item, amount, counts, cost_to })
            }
            EntryKind::Returned => {
                let (item, amount) = self.material()?;
                let to = self.stock_place("into")?.unwrap_or(StockPlace::Van);
                Body::Returned(Returned { site: self.site()?, item, amount, to })
            }
            EntryKind::Delivered => {
                let (item, amount) = self.material()?;
                let (supplier, ticket) = (self.text("supplier"), self.text("ticket"));
                Body::Delivered(Delivered { site: self.site()?, item, amount, supplier, ticket })
            }
            EntryKind::Bought => self.bought()?,
            EntryKind::Moved => self.moved()?,
            EntryKind::HireOn => self.hire_on()?,
            EntryKind::HireOff => self.hire_off()?,
            EntryKind::Expense => {
                let kind = self.cells.word("what", &EXPENSES);
                let paid_by = self.cells.word("paid_by", &PAID_BY);
                let photos = self.photos()?;
                let (supplier, ticket) = (self.text("supplier"), self.text("ticket"));
                let (kind, paid_by) = (kind?, paid_by?);
                Body::Expense(Expense { site: self.site()?, kind, supplier, ticket, paid_by, photos })
            }
            EntryKind::Mileage => self.mileage()?,
            EntryKind::Reading => self.test()?,
            EntryKind::Photo => self.photo()?,
            EntryKind::Note => {
                self.must_say()?;
                Body::Note(Note { site: self.site()?, photos: self.photos()? })
            }
            EntryKind::Snag => {
                self.must_say()?;
                Body::SnagRaised(SnagRaised { site: self.site()?, photos: self.photos()? })
            }
            EntryKind::SnagCleared => {
                let snag = self.must_name("a snag", &[Kind::SnagRaised])?;
                Body::SnagCleared(SnagCleared { snag })
            }
            EntryKind::Asked => {
                let what = self.cells.required("what")?.to_owned();
                Body::ExtraAsked(ExtraAsked { site: self.site()?, what, asked_by: self.text("by") })
            }
            EntryKind::Agreed => {
                let how = self.cells.word("how", &SAID_HOW)?;
                let extra = self.named("an extra that was asked for", &[Kind::ExtraAsked])?;
                let terms = read_terms(self.cells.text("what"));
                let (said_by, reopens) = (self.text("by"), self.reopens()?);
                Body::ExtraAgreed(ExtraAgreed { site: self.site()?, extra, said_by, how, terms, reopens })
            }
            EntryKind::Declined => {
                let extra = self.named("an extra that was asked for", &[Kind::ExtraAsked])?;
                Body::ExtraDeclined(ExtraDeclined { site: self.site()?, extra, said_by: self.text("by") })
            }
            EntryKind::LeftOff => self.left_off()?,
            EntryKind::Seen => {
                let entries = named_entries(self.cells, self.keys, self.known)?;
                if entries.is_empty() {
                    self.cells.complain("of", "must name what was seen, with ; between entries");
                    return None;
                }
                Body::Seen(Seen { entries })
            }
            EntryKind::Ready => Body::ReadyForChecking(ReadyForChecking { site: self.stage()? }),
            EntryKind::SignedOff => {
                let evidence = named_entries(self.cells, self.keys, self.known)?;
                Body::SignedOff(SignedOff { site: self.stage()?, evidence })
            }
            EntryKind::PartDone => self.part_done()?,
            EntryKind::Reopened => Body::Reopened(Reopened { site: self.stage()? }),
            EntryKind::CalledBack => {
                self.must_say()?;
                let whose = self.cells.word("whose", &WHOSE)?;
                Body::CalledBack(CalledBack { site: self.site()?, cause: self.text("cause"), whose })
            }
            EntryKind::Told => {
                self.cells.required("by")?;
                let by = self.person("by")??;
                Body::SignOffTold(SignOffTold { site: self.stage()?, by })
            }
            EntryKind::Corrected | EntryKind::Struck => return None,
        })
    }

    /// What was paid, where the kind has money; the inner `None` where none was said.
    fn price(&mut self) -> Option<Option<Price>> {
        match self.entry.kind {
            EntryKind::Bought | EntryKind::HireOn | EntryKind::Expense => {
                read_price(self.cells, self.entry.kind == EntryKind::HireOn)
            }
            _ => Some(None),
        }
    }

    pub(super) fn text(&self, column: &str) -> String {
        self.cells.text(column).to_owned()
    }

    pub(super) fn site(&self) -> Option<Site> {
        self.site.clone()
    }

    /// A site that names a stage.
    fn stage(&mut self) -> Option<Site> {
        self.cells.required("stage")?;
        self.site()
    }

    /// What and note must say something between them.
    fn must_say(&mut self) -> Option<()> {
        let says = !self.cells.text("what").is_empty() || !self.cells.text("note").is_empty();
        if !says {
            self.cells.complain("note", "must not be empty; say what there is to know");
        }
        says.then_some(())
    }

    fn named(&mut self, what: &str, kinds: &[Kind]) -> Option<Option<EntryRef>> {
        if self.cells.text("of").is_empty() {
            return Some(None);
        }
        named_entry(self.cells, self.keys, self.known, what, kinds).map(Some)
    }

    pub(super) fn must_name(&mut self, what: &str, kinds: &[Kind]) -> Option<EntryRef> {
        if self.cells.text("of").is_empty() {
            self.cells.complain("of", format!("must name {what} by its entry's key"));
            return None;
        }
        named_entry(self.cells, self.keys, self.known, what, kinds)
    }

    pub(super) fn photos(&mut self) -> Option<Vec<ledger::PhotoHash>> {
        let names = self.cells.list("photo");
        let mut photos = Vec::new();
        for name in &names {
            match self.known.photo(name) {
                Ok(found) => photos.push(found.hash),
                Err(reason) => self.cells.complain("photo", reason),
            }
        }
        (photos.len() == names.len()).then_some(photos)
    }

    fn reopens(&mut self) -> Option<Vec<StageId>> {
        let job = self.entry.job.clone()?;
        let mut stages = Vec::new();
        for name in self.cells.list("reopens") {
            let Some(stage) = self.known.stage(job.id, name) else {
                self.cells.complain("reopens", self.known.no_stage(job.id, name));
                return None;
            };
            stages.push(stage);
        }
        Some(stages)
    }

    fn away(&mut self) -> Option<Body> {
        let from = self.entry.day();
        let until = self.cells.day("until")?.unwrap_or(from);
        if until < from {
            self.cells.complain("until", format!("{until} is before the first day away, {from}"));
            return None;
        }
        Some(Body::Away(Away { until }))
    }

    fn test(&mut self) -> Option<Body> {
        let what = self.cells.required("what");
        let (text, unit) = (self.cells.required("quantity"), self.cells.text("unit"));
        let value = read_test_value(self.cells, what.unwrap_or_default(), text, unit);
        let limit = self.limit();
        let outside = self.outside();
        let photos = self.photos()?;
        let ((bound, value, unit), what) = (value?, what?);
        Some(Body::Test(Test {
            site: self.site()?,
            what: what.to_owned(),
            bound,
            value,
            unit,
            method: self.text("method"),
            instrument: self.text("instrument"),
            limit: limit?.map(Box::new),
            outside: outside?.map(Box::new),
            photos,
        }))
    }

    /// A limit and who sets it: neither is worth anything without the other.
    fn limit(&mut self) -> Option<Option<Limit>> {
        match (self.cells.text("limit"), self.cells.text("limit_source")) {
            ("", "") => Some(None),
            ("", _) => {
                self.cells.complain("limit", "must not be empty where its source is given");
                None
            }
            (_, "") => {
                self.cells
                    .complain("limit_source", "say who sets the limit: the maker, the drawing, a standard");
                None
            }
            (text, source) => {
                let (bound, value) = read_value(self.cells, "limit", text)?;
                Some(Some(Limit { bound, value, source: source.to_owned() }))
            }
        }
    }

    fn outside(&mut self) -> Option<Option<OutsideCheck>> {
        let name = self.text("by");
        let (registration, certificate) = (self.text("registration"), self.text("certificate"));
        if name.is_empty() && (!registration.is_empty() || !certificate.is_empty()) {
            self.cells.complain("by", "name the person from outside whose registration or certificate it is");
            return None;
        }
        Some((!name.is_empty()).then_some(OutsideCheck { name, registration, certificate }))
    }

    fn photo(&mut self) -> Option<Body> {
        let names = self.cells.list("photo");
        let [name] = names[..] else {
            self.cells.complain("photo", "must name one photo; log each by itself");
            return None;
        };
        let behind = self.cells.yes_or_no("behind")?.unwrap_or(false);
        if self.entry.job.is_none() && !self.cells.text("stage").is_empty() {
            self.cells.complain("job", "must not be empty where a stage is named");
            return None;
        }
        match self.known.photo(name) {
            Ok(found) => {
                let site = if self.entry.job.is_some() { Some(self.site()?) } else { None };
                Some(Body::Photo(Photo { site, photo: found.hash, size: found.bytes, behind }))
            }
            Err(reason) => {
                self.cells.complain("photo", reason);
                None
            }
        }
    }

    /// Somebody of the crew; nothing is `None` inside.
    fn person(&mut self, column: &str) -> Option<Option<PersonId>> {
        let name = self.cells.text(column);
        if name.is_empty() {
            return Some(None);
        }
        let person = self.known.person(name);
        if person.is_none() {
            self.cells.complain(column, format!("there is nobody called {name:?} in the crew"));
        }
        person.map(Some)
    }

    fn left_off(&mut self) -> Option<Body> {
        self.must_say()?;
        let wet_until = self.cells.moment("until", &self.entry.zone)?;
        let carries_on = self.person("carries_on")?;
        let (off_or_live, photos) = (self.text("off_or_live"), self.photos()?);
        Some(Body::LeftOff(LeftOff { site: self.site()?, off_or_live, wet_until, carries_on, photos }))
    }

    /// Miles driven, there and back.
    fn mileage(&mut self) -> Option<Body> {
        let miles = self.cells.quantity("quantity")?;
        if !matches!(self.cells.text("unit"), "" | "mile" | "miles") {
            self.cells.complain("unit", "driving is counted in miles; leave this empty or write miles");
            return None;
        }
        Some(Body::Mileage(Mileage { site: self.site()?, miles }))
    }

    fn part_done(&mut self) -> Option<Body> {
        let percent = self.cells.quantity_or_nought("quantity")?;
        if !matches!(self.cells.text("unit"), "" | "%") {
            self.cells
                .complain("unit", "how much is done is counted in per cent; leave this empty or write %");
            return None;
        }
        if "100".parse().is_ok_and(|most: Quantity| percent > most) {
            self.cells.complain("quantity", "must be from 0 to 100 per cent");
            return None;
        }
        Some(Body::PartDone(PartDone { site: self.stage()?, percent }))
    }
}

fn read_site(cells: &mut Cells<'_, '_>, job: &KnownJob, known: &Known<'_>) -> Option<Site> {
    let stage = match cells.text("stage") {
        "" => None,
        name => match known.stage(job.id, name) {
            Some(stage) => Some(stage),
            None => {
                cells.complain("stage", known.no_stage(job.id, name));
                return None;
            }
        },
    };
    Some(Site { job: job.id, stage, place: read_place(cells)? })
}

fn read_terms(what: &str) -> ExtraTerms {
    match what.to_lowercase().as_str() {
        "by the hour" => ExtraTerms::OnTheClock,
        "free" => ExtraTerms::Free,
        "left out" => ExtraTerms::LeftOut,
        _ => ExtraTerms::AtAPrice,
    }
}

/// Two texts of which either may be empty, as one.
pub(super) fn join_words(what: &str, note: &str) -> String {
    [what, note].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join("; ")
}
