//! Entries that say more than a row of `entries.csv` can: who answered for an extra, what is off and who
//! carries on, a ticket with its total, a tick that one has seen. They come in the same columns and with a
//! few more; what the file can say is left to [`crate::import`].

use std::collections::BTreeMap;

use ledger::office::PricePaid;
use ledger::site::{
    Amount, Away, Bought, ExtraAgreed, ExtraAsked, ExtraDeclined, ExtraTerms, ItemListed, LeftOff, Packs,
    PaidBy, PartDone, Place, ReadyForChecking, SaidHow, Seen, Site, SnagCleared, StockPlace,
};
use ledger::{Act, Audience, Body, EntryId, EntryRef, Payload, PersonId};
use serde_json::{Value, json};
use trade::{Day, Moment, Packing, Pence, Quantity};

use crate::error::NodeError;
use crate::node::{Node, Write, moment, now_ms, random};

/// A row on its way into an entry.
struct Telling<'a> {
    node: &'a Node,
    row: &'a BTreeMap<String, String>,
}

/// Logs a row that says more than the file can; gives none for one that the file can say.
///
/// # Errors
/// Which column is wrong, or why nothing was saved.
pub(crate) fn log(
    node: &mut Node,
    author: PersonId,
    row: &BTreeMap<String, String>,
) -> Result<Option<Value>, NodeError> {
    let telling = Telling { node, row };
    let Some(body) = telling.body()? else { return Ok(None) };
    let paid = telling.paid()?;
    let (key, act) = telling.act(author)?;
    if !node.book().history(&act.entry_ref()).is_empty() {
        return Ok(Some(json!({ "written": 0, "key": key, "warnings": [] })));
    }
    let mut writes = Vec::new();
    if let Some((net, vat)) = paid {
        let row_key = format!("{key}-paid");
        let entry = EntryId::of_row(&node.crew(), "entries", &row_key);
        let body = Body::PricePaid(PricePaid {
            of: act.entry_ref(),
            items: Vec::new(),
            net,
            vat,
            per: String::new(),
            minimum: Pence::ZERO,
        });
        let act = Act { entry, row_key, note: String::new(), ..act.clone() };
        writes.push(Write { audience: Audience::Office, payload: Payload { act, body } });
    }
    writes.insert(0, Write { audience: Audience::Crew, payload: Payload { act, body } });
    node.append(&writes)?;
    Ok(Some(json!({ "written": writes.len(), "key": key, "warnings": [] })))
}

/// Puts an amount that was said in packs, or by what is left, into the columns of the file.
///
/// # Errors
/// An item that is not listed, or an amount that can't be.
pub(crate) fn settle_amount(node: &Node, row: &mut BTreeMap<String, String>) -> Result<(), NodeError> {
    let telling = Telling { node, row };
    let settled = if let Some(count) = telling.parsed::<Quantity>("packs")? {
        let item = telling.item()?;
        let pack = if item.pack.is_empty() { &item.unit } else { &item.pack };
        Some((count, pack.clone()))
    } else if let Some(left) = telling.parsed::<Quantity>("left")? {
        let item = telling.item()?;
        let opened = telling.parsed("opened")?.map_or_else(|| "1".parse(), Ok);
        let opened = opened.map_err(|error: trade::NumberError| wrong("opened", &error))?;
        let packing = Packing::new(&item.unit, &item.pack, item.pack_size);
        let used = packing.and_then(|packing| packing.used_from_left(opened, left, &item.unit));
        Some((used.map_err(|error| wrong("left", &error))?, item.unit.clone()))
    } else {
        None
    };
    let is_purchase = telling.cell("kind") == "bought";
    if let Some((quantity, unit)) = settled.filter(|_| !is_purchase) {
        ["packs", "left", "opened"].into_iter().for_each(|column| drop(row.remove(column)));
        row.insert("quantity".to_owned(), quantity.to_string());
        row.insert("unit".to_owned(), unit);
    }
    Ok(())
}

fn wrong(column: &str, why: &dyn std::fmt::Display) -> NodeError {
    NodeError::bad_input(format!("{column}: {why}"))
}

impl Telling<'_> {
    fn cell(&self, column: &str) -> &str {
        self.row.get(column).map_or("", |cell| cell.trim())
    }

    fn says_any(&self, columns: &[&str]) -> bool {
        columns.iter().any(|column| !self.cell(column).is_empty())
    }

    fn parsed<T: std::str::FromStr<Err: std::fmt::Display>>(
        &self,
        column: &str,
    ) -> Result<Option<T>, NodeError> {
        let cell = Some(self.cell(column)).filter(|cell| !cell.is_empty());
        cell.map(|cell| cell.parse().map_err(|error: T::Err| wrong(column, &error))).transpose()
    }

    fn required<T: std::str::FromStr<Err: std::fmt::Display>>(&self, column: &str) -> Result<T, NodeError> {
        self.parsed(column)?.ok_or_else(|| wrong(column, &"must not be empty"))
    }

    /// One of some words; the first where nothing is said.
    fn word<T: Copy>(&self, column: &str, words: &[(&str, T)]) -> Result<T, NodeError> {
        let said = self.cell(column);
        let found = words.iter().find(|(word, _)| *word == said || said.is_empty());
        found.map(|(_, value)| *value).ok_or_else(|| {
            let words: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            wrong(column, &format!("{said:?} is none of {}", words.join(", ")))
        })
    }

    /// What the entry says; none where the file can say it.
    fn body(&self) -> Result<Option<Body>, NodeError> {
        Ok(Some(match self.cell("kind") {
            "seen" => Body::Seen(Seen { entries: self.entries("entries")? }),
            "ready" => Body::ReadyForChecking(ReadyForChecking { site: self.site_of_stage()? }),
            "part-done" => Body::PartDone(PartDone { site: self.site_of_stage()?, percent: self.percent()? }),
            "away" => Body::Away(Away { until: self.last_day_away()? }),
            "cleared" => Body::SnagCleared(SnagCleared { snag: self.snag()? }),
            "left-off" if self.says_any(&["off_or_live", "wet_until", "carries_on"]) => {
                if self.cell("note").is_empty() {
                    return Err(wrong("note", &"must not be empty; say what there is to know"));
                }
                let zone = self.zone();
                let wet_until = Some(self.cell("wet_until")).filter(|until| !until.is_empty());
                let wet_until = wet_until.map(|until| Moment::parse(until, &zone)).transpose();
                Body::LeftOff(LeftOff {
                    site: self.site()?,
                    off_or_live: self.cell("off_or_live").to_owned(),
                    wet_until: wet_until.map_err(|error| wrong("wet_until", &error))?,
                    carries_on: self.person("carries_on")?,
                    photos: Vec::new(),
                })
            }
            "asked" if self.says_any(&["asked_by"]) => {
                let what: String = self.required("what")?;
                Body::ExtraAsked(ExtraAsked {
                    site: self.site()?,
                    what,
                    asked_by: self.cell("asked_by").to_owned(),
                })
            }
            "agreed" if self.says_any(&["extra", "said_by", "how", "terms"]) => self.agreed()?,
            "declined" if self.says_any(&["extra", "said_by"]) => {
                let extra = self.extra()?;
                let site = extra.as_ref().map_or_else(|| self.site(), |(_, site)| Ok(site.clone()))?;
                let said_by = self.cell("said_by").to_owned();
                Body::ExtraDeclined(ExtraDeclined { site, extra: extra.map(|(extra, _)| extra), said_by })
            }
            "bought" if self.cell("quantity").is_empty() => self.bought()?,
            _ => return Ok(None),
        }))
    }

    fn agreed(&self) -> Result<Body, NodeError> {
        let extra = self.extra()?;
        let site = extra.as_ref().map_or_else(|| self.site(), |(_, site)| Ok(site.clone()))?;
        let how = [("word", SaidHow::Word), ("message", SaidHow::Message), ("signature", SaidHow::Signature)];
        let terms = [
            ("price", ExtraTerms::AtAPrice),
            ("hour", ExtraTerms::OnTheClock),
            ("free", ExtraTerms::Free),
            ("left-out", ExtraTerms::LeftOut),
        ];
        Ok(Body::ExtraAgreed(ExtraAgreed {
            site,
            extra: extra.map(|(extra, _)| extra),
            said_by: self.cell("said_by").to_owned(),
            how: self.word("how", &how)?,
            terms: self.word("terms", &terms)?,
            reopens: Vec::new(),
        }))
    }

    fn bought(&self) -> Result<Body, NodeError> {
        if !self.says_any(&["ticket", "net", "what", "photos"]) {
            return Err(wrong("ticket", &"a photo of the ticket, its number or its total is wanted"));
        }
        let paid_by = [
            ("account", PaidBy::Account),
            ("card", PaidBy::Card),
            ("own-pocket", PaidBy::OwnPocket),
            ("own pocket", PaidBy::OwnPocket),
        ];
        let to = if self.cell("to") == "van" { StockPlace::Van } else { StockPlace::Job(self.site()?.job) };
        let items = if self.cell("what").is_empty() {
            Vec::new()
        } else {
            let item = self.item()?;
            let count: Quantity = self.required("packs")?;
            let pack = if item.pack.is_empty() { item.unit.clone() } else { item.pack.clone() };
            let packing = Packing::new(&item.unit, &item.pack, item.pack_size);
            let quantity = packing.and_then(|packing| packing.in_units(count, &pack));
            let quantity = quantity.map_err(|error| wrong("packs", &error))?;
            vec![(item.item, Amount { quantity, said: Some(Packs { count, pack }) })]
        };
        Ok(Body::Bought(Bought {
            to,
            supplier: self.cell("supplier").to_owned(),
            ticket: self.cell("ticket").to_owned(),
            items,
            paid_by: self.word("paid_by", &paid_by)?,
            photos: Vec::new(),
        }))
    }

    /// What a purchase cost: without VAT, and the VAT. Only the office reads it.
    fn paid(&self) -> Result<Option<(Pence, Pence)>, NodeError> {
        if self.cell("kind") != "bought" {
            return Ok(None);
        }
        let (net, vat) = (self.parsed::<Pence>("net")?, self.parsed::<Pence>("vat")?);
        if net.is_some_and(|net| net.0 < 0) || vat.is_some_and(|vat| vat.0 < 0) {
            return Err(wrong("net", &"a ticket's total is not below nought"));
        }
        Ok(net.map(|net| (net, vat.unwrap_or_default())))
    }

    fn act(&self, author: PersonId) -> Result<(String, Act), NodeError> {
        let mut act = self.node.act(author)?;
        if let Some(at) = Some(self.cell("at")).filter(|at| !at.is_empty()) {
            act.logged_at = Moment::parse(at, &self.zone()).map_err(|error| wrong("at", &error))?;
        } else {
            act.logged_at = moment(now_ms())?;
        }
        act.done_on = self.parsed::<Day>("done_on")?.unwrap_or_else(|| act.logged_at.day());
        act.person = self.person("person")?.unwrap_or(author);
        act.note = self.cell("note").to_owned();
        act.said = self.cell("said").to_owned();
        let key = match self.cell("entry") {
            "" => random::<4>()?.iter().map(|byte| format!("{byte:02x}")).collect(),
            key => key.to_owned(),
        };
        act.entry = EntryId::of_row(&self.node.crew(), "entries", &key);
        act.row_key.clone_from(&key);
        Ok((key, act))
    }

    fn zone(&self) -> String {
        let lists = self.node.book().lists();
        let job = lists.jobs.values().find(|job| job.code == self.cell("job"));
        job.map_or_else(|| "Europe/London".to_owned(), |job| job.time_zone.clone())
    }

    fn site(&self) -> Result<Site, NodeError> {
        let lists = self.node.book().lists();
        let code = self.cell("job");
        let job = lists.jobs.values().find(|job| job.code == code);
        let job = job.ok_or_else(|| wrong("job", &format!("there is no job {code:?}")))?.job;
        let stage = match self.cell("stage") {
            "" => None,
            name => {
                let stage = lists.stages.values().find(|stage| stage.job == job && stage.name == name);
                let missing = || wrong("stage", &format!("there is no stage {name:?} of this job"));
                Some(stage.ok_or_else(missing)?.stage)
            }
        };
        let place = Place { words: self.cell("where").to_owned(), ..Place::default() };
        Ok(Site { job, stage, place })
    }

    fn site_of_stage(&self) -> Result<Site, NodeError> {
        let site = self.site()?;
        if site.stage.is_none() { Err(wrong("stage", &"must not be empty")) } else { Ok(site) }
    }

    fn item(&self) -> Result<ItemListed, NodeError> {
        let (lists, name) = (self.node.book().lists(), self.cell("what"));
        let item = lists.items.values().find(|item| item.name == name);
        item.map(|item| (*item).clone())
            .ok_or_else(|| wrong("what", &format!("there is no item {name:?} in the price book")))
    }

    fn person(&self, column: &str) -> Result<Option<PersonId>, NodeError> {
        let name = self.cell(column);
        if name.is_empty() {
            return Ok(None);
        }
        let mut people = self.node.ledger().roster().people();
        let person = people.find(|person| person.name == name).map(|person| person.person);
        person.map(Some).ok_or_else(|| wrong(column, &format!("there is nobody called {name:?}")))
    }

    fn percent(&self) -> Result<Quantity, NodeError> {
        let percent: Quantity = self.required("quantity")?;
        if percent.is_negative() || percent.value() > 100.into() {
            return Err(wrong("quantity", &"how much is done is between 0 and 100 per cent"));
        }
        Ok(percent)
    }

    fn last_day_away(&self) -> Result<Day, NodeError> {
        let until: Day = self.required("to")?;
        if self.parsed::<Day>("done_on")?.is_some_and(|from| from > until) {
            return Err(wrong("to", &"the last day away is before the first"));
        }
        Ok(until)
    }

    /// Entries as the page names them: person and id with a colon between, parted by blanks.
    fn entries(&self, column: &str) -> Result<Vec<EntryRef>, NodeError> {
        let read = |word: &str| {
            let (person, entry) = word.split_once(':')?;
            Some(EntryRef { person: person.parse().ok()?, entry: entry.parse().ok()? })
        };
        let found: Option<Vec<EntryRef>> = self.cell(column).split_whitespace().map(read).collect();
        found
            .filter(|found| !found.is_empty())
            .ok_or_else(|| wrong(column, &"names no entry; load the page anew"))
    }

    fn entry(&self, column: &str) -> Result<Option<EntryRef>, NodeError> {
        if self.cell(column).is_empty() {
            return Ok(None);
        }
        Ok(self.entries(column)?.first().copied())
    }

    fn snag(&self) -> Result<EntryRef, NodeError> {
        let snag = self.entry("snag")?.ok_or_else(|| wrong("snag", &"must not be empty"))?;
        let entry = self.node.book().entry(&snag);
        let is_snag = entry.is_some_and(|entry| matches!(*entry.body, Body::SnagRaised(_)));
        if is_snag { Ok(snag) } else { Err(wrong("snag", &"there is no such snag")) }
    }

    /// The extra that an answer is for, and where it was asked for.
    fn extra(&self) -> Result<Option<(EntryRef, Site)>, NodeError> {
        let Some(extra) = self.entry("extra")? else { return Ok(None) };
        let entry = self.node.book().entry(&extra);
        let site = entry.and_then(|entry| match &*entry.body {
            Body::ExtraAsked(asked) => Some(asked.site.clone()),
            _ => None,
        });
        let site = site.ok_or_else(|| wrong("extra", &"there is no such extra"))?;
        Ok(Some((extra, site)))
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::command::{Command, run};

    const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scenario");

    fn found(folder: &Path) -> Node {
        let mut node = Node::found(&folder.join("data"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
        run(&mut node, Command::Import { dir: SCENARIO.into(), devices: Vec::new() }).unwrap();
        node
    }

    fn tell(node: &mut Node, row: &[(&str, &str)]) -> Result<Value, NodeError> {
        let row = row.iter().map(|(column, cell)| ((*column).to_owned(), (*cell).to_owned())).collect();
        run(node, Command::Log { row })
    }

    fn refused(node: &mut Node, row: &[(&str, &str)]) -> String {
        let before = node.ledger().chains().map(|chain| chain.tip.next_seq).sum::<u64>();
        let why = tell(node, row).unwrap_err().to_string();
        assert_eq!(before, node.ledger().chains().map(|chain| chain.tip.next_seq).sum::<u64>());
        why
    }

    fn body(node: &Node, key: &str) -> Body {
        let entry = node.book().entries().find(|entry| entry.act.row_key == key).unwrap();
        (*entry.body).clone()
    }

    #[test]
    fn a_ticket_is_logged_for_all_and_its_total_for_the_office_alone() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let ticket = [
            ("kind", "bought"),
            ("job", "GARAGE"),
            ("ticket", "T-204"),
            ("net", "19.50"),
            ("vat", "3.90"),
            ("what", "finish plaster"),
            ("packs", "2"),
            ("paid_by", "own-pocket"),
            ("entry", "k1"),
        ];
        assert_eq!(tell(&mut node, &ticket).unwrap()["written"], 2);
        // The same form sent twice is one ticket.
        assert_eq!(tell(&mut node, &ticket).unwrap()["written"], 0);
        let Body::Bought(bought) = body(&node, "k1") else { panic!("not a purchase") };
        assert_eq!((bought.paid_by, bought.items.len()), (PaidBy::OwnPocket, 1));
        assert_eq!(bought.items[0].1.quantity, "50".parse().unwrap()); // two bags of 25 kg
        let lists = node.book().lists();
        assert_eq!(lists.paid.values().map(|paid| paid.net).collect::<Vec<_>>(), [Pence(1950)]);

        let why = refused(&mut node, &[("kind", "bought"), ("job", "GARAGE")]);
        assert!(why.contains("photo of the ticket"), "{why}");
        let why = refused(&mut node, &[("kind", "bought"), ("job", "GARAGE"), ("net", "a tenner")]);
        assert!(why.contains("net"), "{why}");
    }

    #[test]
    fn an_amount_may_be_said_in_packs_or_by_what_is_left() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let coil =
            [("kind", "used"), ("job", "GARAGE"), ("stage", "first fix water"), ("what", "pipe 15 plastic")];
        let mut left = coil.to_vec();
        left.extend([("opened", "1"), ("left", "12"), ("entry", "k2")]);
        tell(&mut node, &left).unwrap();
        let Body::Used(used) = body(&node, "k2") else { panic!("not a use") };
        assert_eq!(used.amount.quantity, "38".parse().unwrap()); // 12 m left of a coil of 50
        let mut packs = coil.to_vec();
        packs.extend([("packs", "0.5"), ("entry", "k3")]);
        tell(&mut node, &packs).unwrap();
        let Body::Used(used) = body(&node, "k3") else { panic!("not a use") };
        assert_eq!(used.amount.quantity, "25".parse().unwrap());
        let mut too_much = coil.to_vec();
        too_much.extend([("opened", "1"), ("left", "60")]);
        assert!(refused(&mut node, &too_much).contains("left"));
    }

    #[test]
    fn an_extra_is_answered_where_it_was_asked() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let asked = [
            ("kind", "asked"),
            ("job", "GARAGE"),
            ("what", "a second socket"),
            ("asked_by", "J. Marrable"),
            ("entry", "k4"),
        ];
        tell(&mut node, &asked).unwrap();
        let extra = node.book().entries().find(|entry| entry.act.row_key == "k4").unwrap().entry_ref();
        let named = format!("{}:{}", extra.person, extra.entry);
        let yes = [
            ("kind", "agreed"),
            ("job", "GARAGE"),
            ("extra", named.as_str()),
            ("said_by", "J. Marrable"),
            ("how", "message"),
            ("terms", "hour"),
            ("entry", "k5"),
        ];
        tell(&mut node, &yes).unwrap();
        let Body::ExtraAgreed(agreed) = body(&node, "k5") else { panic!("not a yes") };
        assert_eq!((agreed.extra, agreed.how), (Some(extra), SaidHow::Message));
        assert_eq!(agreed.terms, ExtraTerms::OnTheClock);
        let why = refused(&mut node, &[("kind", "agreed"), ("job", "GARAGE"), ("extra", "nobody:nothing")]);
        assert!(why.contains("load the page anew"), "{why}");
    }

    #[test]
    fn how_the_job_is_left_says_who_carries_on_and_is_ticked_seen() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let left = [
            ("kind", "left-off"),
            ("job", "GARAGE"),
            ("stage", "skim"),
            ("note", "second coat to do"),
            ("off_or_live", "water off at the stopcock"),
            ("wet_until", "2026-11-07T09:00"),
            ("carries_on", "Ines Quill"),
            ("entry", "k6"),
        ];
        tell(&mut node, &left).unwrap();
        let Body::LeftOff(found) = body(&node, "k6") else { panic!("not left off") };
        assert!(found.carries_on.is_some() && found.wet_until.is_some());
        let entry = node.book().entries().find(|entry| entry.act.row_key == "k6").unwrap().entry_ref();
        let named = format!("{}:{}", entry.person, entry.entry);
        tell(&mut node, &[("kind", "seen"), ("entries", &named), ("entry", "k7")]).unwrap();
        assert_eq!(body(&node, "k7"), Body::Seen(Seen { entries: vec![entry] }));

        let why =
            refused(&mut node, &[("kind", "left-off"), ("job", "GARAGE"), ("carries_on", "Ines Quill")]);
        assert!(why.contains("note"), "{why}");
        let why = refused(&mut node, &[("kind", "ready"), ("job", "GARAGE")]);
        assert!(why.contains("stage"), "{why}");
        let half = [("kind", "part-done"), ("job", "GARAGE"), ("stage", "tanking"), ("quantity", "150")];
        assert!(refused(&mut node, &half).contains("between 0 and 100"));
        let away = [("kind", "away"), ("done_on", "2026-11-10"), ("to", "2026-11-09")];
        assert!(refused(&mut node, &away).contains("before the first"));
    }
}
