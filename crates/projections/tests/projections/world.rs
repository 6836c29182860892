//! A small crew's ledger, made by hand: real payloads and real hashes, without signatures.

use std::collections::BTreeMap;

use ledger::office::{ItemPriced, LinePriced, PersonRated};
use ledger::roster::Standing;
use ledger::roster_events::{PersonListed, Role};
use ledger::site::{
    Amount, Bound, Corrected, Hours, ItemListed, JobListed, LineKind, LineListed, Place, Site, StageListed,
    Test, Used, Whose, Worked,
};
use ledger::{
    Act, Audience, Body, ChainId, CrewId, EntryId, EntryRef, Event, EventHash, ItemId, JobId, LineId,
    Payload, PersonId, StageId,
};
use projections::{Book, Taken};
use trade::{Day, Moment};

pub(crate) const CREW: CrewId = CrewId([7; 32]);

pub(crate) fn day(text: &str) -> Day {
    text.parse().unwrap()
}

pub(crate) fn at(text: &str) -> Moment {
    Moment::parse(text, "Europe/London").unwrap()
}

pub(crate) fn person(name: &str) -> PersonId {
    PersonId::named(&CREW, name)
}

pub(crate) fn job(code: &str) -> JobId {
    JobId::named(&CREW, code)
}

pub(crate) fn stage(code: &str, name: &str) -> StageId {
    StageId::named(&CREW, code, name)
}

pub(crate) fn item(name: &str) -> ItemId {
    ItemId::named(&CREW, name)
}

pub(crate) fn site(code: &str, name: &str) -> Site {
    Site { job: job(code), stage: (!name.is_empty()).then(|| stage(code, name)), place: Place::default() }
}

pub(crate) fn entry(name: &str, key: &str) -> EntryRef {
    EntryRef { person: person(name), entry: EntryId::of_row(&CREW, "entries", key) }
}

pub(crate) fn amount(quantity: &str) -> Amount {
    Amount { quantity: quantity.parse().unwrap(), said: None }
}

pub(crate) fn span(code: &str, name: &str, from: &str, to: &str, break_minutes: u32) -> Body {
    let worked = Worked::Span { from: at(from), to: at(to), break_minutes };
    Body::Hours(Hours { site: site(code, name), activity: String::new(), worked })
}

pub(crate) fn used(code: &str, name: &str, what: &str, quantity: &str) -> Body {
    Body::Used(Used {
        site: site(code, name),
        item: item(what),
        amount: amount(quantity),
        whose: Whose::Ours,
        bought: None,
    })
}

pub(crate) fn test(code: &str, name: &str, what: &str) -> Body {
    Body::Test(Test {
        site: site(code, name),
        what: what.to_owned(),
        bound: Bound::Exactly,
        value: "4.5".parse().unwrap(),
        unit: "bar".to_owned(),
        method: String::new(),
        instrument: String::new(),
        limit: None,
        outside: None,
        photos: Vec::new(),
    })
}

/// Everything that was logged, as it would reach a book.
#[derive(Default)]
pub(crate) struct World {
    tips: BTreeMap<String, (u64, EventHash)>,
    pub(crate) events: Vec<Taken>,
}

impl World {
    /// The crew of three, their rates, and both jobs.
    pub(crate) fn with_crew() -> Self {
        let mut world = Self::default();
        let crew = [
            ("Maren Oake", Role::Owner, "28.00", "42.00"),
            ("Tobi Larch", Role::Hand, "21.50", "36.00"),
            ("Ines Quill", Role::Hand, "17.25", "30.00"),
        ];
        for (name, role, cost, charge) in crew {
            let listed = PersonListed { person: person(name), name: name.to_owned(), role };
            world.list(&format!("crew {name}"), "2026-11-01", Body::PersonListed(listed));
            world.rate(&format!("rate {name}"), name, "2026-11-01", cost, charge);
        }
        for code in ["GARAGE", "MILL"] {
            let text = |text: &str| text.to_owned();
            let listed = JobListed {
                job: job(code),
                code: text(code),
                title: text("rooms"),
                customer: text("J. Marrable"),
                site_address: text("4 Saltmarsh Lane, Wexcombe"),
                time_zone: text("Europe/London"),
            };
            world.list(&format!("job {code}"), "2026-11-01", Body::JobListed(listed));
        }
        world
    }

    /// Anything at all, with every part of it named.
    #[expect(clippy::too_many_arguments, reason = "a test names each part of an event once")]
    pub(crate) fn event(
        &mut self,
        device: &str,
        who: &str,
        key: &str,
        done_on: &str,
        logged_at: &str,
        replaces: &[EventHash],
        standing: Standing,
        body: Body,
    ) -> EventHash {
        let mut replaces = replaces.to_vec();
        replaces.sort_unstable();
        let act = Act {
            person: person(who),
            author: person(who),
            entry: entry(who, key).entry,
            done_on: day(done_on),
            done_at: None,
            logged_at: at(logged_at),
            row_key: key.to_owned(),
            said: String::new(),
            note: String::new(),
            replaces,
        };
        let payload = Payload { act, body };
        let mut chain = [0; 16];
        chain.iter_mut().zip(device.bytes()).for_each(|(to, from)| *to = from);
        let tip = self.tips.entry(device.to_owned()).or_insert((0, EventHash([0; 32])));
        let event = Event {
            chain: ChainId(chain),
            seq: tip.0,
            prev: tip.1,
            made_at: at(logged_at).utc_ms(),
            kind: payload.body.kind().number(),
            kind_version: 1,
            payload: payload.encode().unwrap(),
        };
        let hash = event.hash();
        *tip = (tip.0 + 1, hash);
        let (chain, seq, made_at) = (event.chain, event.seq, event.made_at);
        self.events.push(Taken { hash, chain, seq, made_at, standing, payload });
        hash
    }

    /// An entry, logged from the person's own phone on the day it was done.
    pub(crate) fn log(&mut self, who: &str, key: &str, logged_at: &str, body: Body) -> EventHash {
        self.event(who, who, key, &logged_at[..10], logged_at, &[], Standing::Counted, body)
    }

    /// A row of a list, written by the owner.
    pub(crate) fn list(&mut self, key: &str, from: &str, body: Body) -> EventHash {
        let noon = format!("{from}T12:00");
        self.event("Maren Oake", "Maren Oake", key, from, &noon, &[], Standing::Counted, body)
    }

    pub(crate) fn rate(&mut self, key: &str, who: &str, from: &str, cost: &str, charge: &str) -> EventHash {
        let (cost_rate, charge_rate) = (cost.parse().unwrap(), charge.parse().unwrap());
        let rated =
            PersonRated { person: person(who), job: None, trade: String::new(), cost_rate, charge_rate };
        self.list(key, from, Body::PersonRated(rated))
    }

    pub(crate) fn stage(&mut self, code: &str, name: &str, with: impl FnOnce(&mut StageListed)) {
        self.stage_from(code, name, "2026-11-01", with);
    }

    /// A stage as it was listed on a day: of two listings the later one stands.
    pub(crate) fn stage_from(
        &mut self,
        code: &str,
        name: &str,
        from: &str,
        with: impl FnOnce(&mut StageListed),
    ) {
        let mut listed = StageListed {
            stage: stage(code, name),
            job: job(code),
            name: name.to_owned(),
            order: 0,
            trades: Vec::new(),
            after: Vec::new(),
            wait_minutes: 0,
            covers: Vec::new(),
            needs_tests: Vec::new(),
            needs_photo: false,
        };
        with(&mut listed);
        self.list(&format!("stage {code} {name}"), from, Body::StageListed(listed));
    }

    /// An item with its pack, and what a pack costs.
    pub(crate) fn item(&mut self, name: &str, unit: &str, pack_size: &str, pack_cost: &str) {
        let listed = ItemListed {
            item: item(name),
            name: name.to_owned(),
            unit: unit.to_owned(),
            pack: "pack".to_owned(),
            pack_size: pack_size.parse().unwrap(),
        };
        self.list(&format!("item {name}"), "2026-11-01", Body::ItemListed(listed));
        self.price(name, "2026-11-01", pack_cost);
    }

    pub(crate) fn price(&mut self, name: &str, from: &str, pack_cost: &str) -> EventHash {
        let priced = ItemPriced { item: item(name), pack_cost: pack_cost.parse().unwrap() };
        self.list(&format!("price {name} {from}"), from, Body::ItemPriced(priced))
    }

    /// A costing line with the unit cost that we expect; an empty item is labour.
    pub(crate) fn line(&mut self, code: &str, name: &str, what: &str, quantity: &str, unit_cost: &str) {
        let kind = if what.is_empty() { LineKind::Labour } else { LineKind::Material };
        let line = LineId::named(&CREW, code, name, "line", what);
        let listed = LineListed {
            line,
            job: job(code),
            stage: stage(code, name),
            order: 0,
            kind,
            what: what.to_owned(),
            item: (!what.is_empty()).then(|| item(what)),
            quantity: quantity.parse().unwrap(),
            unit: "each".to_owned(),
            on_the_clock: false,
        };
        self.list(&format!("line {code} {name} {what}"), "2026-11-01", Body::LineListed(listed));
        let (unit_cost, unit_price) = (unit_cost.parse().unwrap(), "1".parse().unwrap());
        let priced = LinePriced { line, unit_cost, unit_price };
        self.list(&format!("money {code} {name} {what}"), "2026-11-01", Body::LinePriced(priced));
    }

    /// A correction from somebody's own phone.
    pub(crate) fn correct(
        &mut self,
        who: &str,
        key: &str,
        logged_at: &str,
        replaces: &[EventHash],
        corrected: Corrected,
    ) -> EventHash {
        let body = Body::Corrected(corrected);
        self.event(who, who, key, &logged_at[..10], logged_at, replaces, Standing::Counted, body)
    }

    pub(crate) fn book(&self, audience: Audience) -> Book {
        let mut book = Book::new(audience);
        self.events.iter().cloned().for_each(|taken| book.take_in(taken));
        book
    }

    pub(crate) fn office(&self) -> Book {
        self.book(Audience::Office)
    }
}
