//! *How we're doing*: what was priced beside what went, in hours, material and pounds.
//!
//! Over and under are only told where there is something to be over: at a price that was fixed before.
//! Money is for who sees money; the foreman sees hours and amounts.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use ledger::office::Basis;
use ledger::site::LineKind;
use ledger::{ItemId, JobId, StageId};
use projections::OtherCosts;
use projections::billing::{self, JobWork};
use projections::materials::{MaterialKey, MaterialRow};
use projections::stages::{Condition, Stage};
use projections::time_on_job::{Spell, cost_of};
use rust_decimal::Decimal;
use trade::money::hours_and_minutes;
use trade::number::half_up;
use trade::{Pence, Quantity, UnitCost};

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::Look;
use crate::shapes::Bar;
use projections::words;

/// A figure against its price.
pub(crate) struct Figure {
    pub(crate) label: String,
    pub(crate) bar: Bar,
    /// `15 h 45 of 14 h 00`.
    pub(crate) words: String,
    /// `1 h 45 over`, `£3.65 left`, or empty.
    pub(crate) rest: String,
    /// The address of the entries behind it.
    pub(crate) why: String,
}

/// A stage on the screen.
pub(crate) struct StageDoing {
    pub(crate) name: String,
    pub(crate) state: String,
    pub(crate) figures: Vec<Figure>,
    /// The stage's items, one by one.
    pub(crate) items: Vec<Figure>,
    /// What is said where nothing was priced.
    pub(crate) clock: String,
}

impl StageDoing {
    /// The stage's name as it may stand in an address.
    pub(crate) fn link(&self) -> String {
        encoded(&self.name)
    }
}

/// What a stage comes to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Sums {
    pub(crate) minutes: i64,
    pub(crate) priced_minutes: i64,
    /// What the hours cost; none where a rate is not known.
    pub(crate) labour: Option<Pence>,
    pub(crate) priced_labour: Pence,
    /// What the material cost; none where a price is not known.
    pub(crate) material: Option<Pence>,
    pub(crate) priced_material: Pence,
}

/// The screen.
#[derive(Template)]
#[template(path = "doing.html")]
pub(crate) struct Doing {
    pub(crate) frame: Frame,
    /// What the job comes to: label and sum.
    money: Vec<(&'static str, String)>,
    pub(crate) stages: Vec<StageDoing>,
}

/// What the figures are worked out from.
struct Facts<'a> {
    spells: Vec<Spell>,
    materials: BTreeMap<MaterialKey, MaterialRow>,
    work: Option<JobWork>,
    job: JobId,
    sees_money: bool,
    look: &'a Look<'a>,
}

/// Fills the screen.
pub(crate) fn doing(look: &Look<'_>) -> Doing {
    let title = look.job.map_or_else(String::new, |job| format!("{} · how we’re doing", job.code));
    let frame = look.frame(Tab::Doing, title);
    let Some(job) = look.job.map(|job| job.job) else {
        return Doing { frame, money: Vec::new(), stages: Vec::new() };
    };
    let sees_money = look.viewer.sees_money;
    let works = if sees_money { billing::job_works(look.book, &look.lists) } else { Vec::new() };
    let facts = Facts {
        spells: look.book.spells(),
        materials: look.book.materials(&look.lists),
        work: works.into_iter().find(|work| work.job == job),
        job,
        sees_money,
        look,
    };
    let stages = look.book.stages(&look.lists);
    let stages: Vec<&Stage> = stages.iter().filter(|stage| stage.job == job).collect();
    let sums: Vec<Sums> = stages.iter().map(|stage| facts.sums(Some(stage.stage))).collect();
    let no_stage = facts.sums(None);
    let scale = Scale::of(&sums);
    let mut rows: Vec<StageDoing> =
        stages.iter().zip(&sums).map(|(stage, sums)| facts.row(stage, *sums, &scale)).collect();
    if no_stage != Sums::default() && (no_stage.minutes > 0 || no_stage.material != Some(Pence::ZERO)) {
        rows.push(facts.without_stage(no_stage));
    }
    let all: Vec<Sums> = sums.into_iter().chain([no_stage]).collect();
    Doing { frame, money: facts.money(&all), stages: rows }
}

/// The largest figure of each sort, so that bars can be compared.
struct Scale {
    minutes: i64,
    pence: i64,
}

impl Scale {
    fn of(sums: &[Sums]) -> Self {
        let minutes = sums.iter().map(|sums| sums.minutes.max(sums.priced_minutes)).max();
        let pence = sums.iter().flat_map(|sums| {
            [sums.labour, Some(sums.priced_labour), sums.material, Some(sums.priced_material)]
        });
        let pence = pence.flatten().map(|pence| pence.0).max();
        Self { minutes: minutes.unwrap_or(0), pence: pence.unwrap_or(0) }
    }
}

impl Facts<'_> {
    fn sums(&self, stage: Option<StageId>) -> Sums {
        let lists = &self.look.lists;
        let mut hours = Decimal::ZERO;
        let mut sums = Sums::default();
        let lines = lists.lines.values().filter(|line| line.job == self.job && Some(line.stage) == stage);
        for line in lines {
            let cost = lists.line_money.get(&line.line).map(|money| UnitCost::of_unit(money.unit_cost));
            let cost = cost.map_or(Pence::ZERO, |unit| unit.cost_of(line.quantity).to_pence());
            match line.kind {
                LineKind::Labour => {
                    hours = hours.saturating_add(line.quantity.value());
                    sums.priced_labour += cost;
                }
                LineKind::Material => sums.priced_material += cost,
            }
        }
        let minutes = half_up(hours.saturating_mul(Decimal::from(60)), 0);
        sums.priced_minutes = i64::try_from(minutes.mantissa()).unwrap_or(i64::MAX);
        let at = |spell: &&Spell| spell.site.job == self.job && spell.site.stage == stage;
        let spells: Vec<&Spell> = self.spells.iter().filter(at).collect();
        sums.minutes = spells.iter().map(|spell| spell.minutes).sum();
        sums.labour = self.sees_money.then(|| cost_of(&spells, lists)).flatten();
        let rows = self.materials.iter().filter(|((job, of, _), _)| *job == self.job && *of == stage);
        let costs: Option<Vec<Pence>> = rows.map(|(_, row)| row.cost).collect();
        sums.material = costs.filter(|_| self.sees_money).map(|costs| costs.into_iter().sum());
        sums
    }

    /// Whether a stage is billed by time and materials.
    fn is_on_the_clock(&self, stage: StageId) -> bool {
        let daywork = self.work.as_ref().is_some_and(|work| work.terms.basis == Basis::Daywork);
        daywork || self.look.lists.lines.values().any(|line| line.stage == stage && line.on_the_clock)
    }

    fn row(&self, stage: &Stage, sums: Sums, scale: &Scale) -> StageDoing {
        let name = self.look.lists.stage(Some(stage.stage));
        if self.is_on_the_clock(stage.stage) || sums.priced_minutes == 0 && sums.priced_material.0 == 0 {
            return self.by_the_clock(stage, name, sums);
        }
        let untouched = sums.minutes == 0 && sums.material.is_none_or(|sum| sum.0 == 0);
        let state = match stage.condition {
            Condition::SignedOff => "final".to_owned(),
            _ if untouched => "not started".to_owned(),
            _ => match stage.part_done {
                Some(part) => format!("so far, {}% done", words::number(part)),
                None => "so far".to_owned(),
            },
        };
        let is_final = stage.condition == Condition::SignedOff;
        let why = |what: &str| self.why(&name, what);
        let hours = hours_and_minutes;
        let pounds = |pence: i64| words::pounds(Pence(pence));
        let mut figures = vec![figure(
            "hours",
            (sums.priced_minutes, sums.minutes),
            scale.minutes,
            is_final,
            hours,
            why("hours"),
        )];
        if let Some(labour) = sums.labour {
            let both = (sums.priced_labour.0, labour.0);
            figures.push(figure("labour", both, scale.pence, is_final, pounds, why("hours")));
        }
        if let Some(material) = sums.material {
            let both = (sums.priced_material.0, material.0);
            figures.push(figure("material", both, scale.pence, is_final, pounds, why("material")));
        }
        if untouched && !is_final {
            for figure in &mut figures {
                let priced = figure.words.rsplit(" of ").next().unwrap_or_default();
                (figure.words, figure.rest) = (format!("priced {priced}"), "–".to_owned());
            }
        }
        let items = self.items(stage.stage, &name);
        StageDoing { name, state, figures, items, clock: String::new() }
    }

    /// Each item of a stage, priced and gone, each at its own scale.
    fn items(&self, stage: StageId, name: &str) -> Vec<Figure> {
        let rows = self.materials.iter().filter(|((job, of, _), _)| *job == self.job && *of == Some(stage));
        let mut items: Vec<Figure> = rows
            .filter(|(_, row)| !row.estimated.is_zero() || !row.gone.is_zero() || !row.used.is_zero())
            .filter_map(|((_, _, item), row)| self.item(*item, row, name))
            .collect();
        items.sort_by(|one, other| one.label.cmp(&other.label));
        items
    }

    fn item(&self, item: ItemId, row: &MaterialRow, stage: &str) -> Option<Figure> {
        let listed = self.look.lists.items.get(&item)?;
        let thousandths = |quantity: Quantity| {
            let scaled = half_up(quantity.value().saturating_mul(Decimal::from(1_000)), 0);
            i64::try_from(scaled.mantissa()).unwrap_or(i64::MAX)
        };
        let (priced, gone) = (thousandths(row.estimated), thousandths(row.gone));
        let over = row.gone.value().saturating_sub(row.estimated.value());
        let rest = Quantity::new(over.abs()).map(|over| words::in_packs(listed, over)).unwrap_or_default();
        let rest = match over.cmp(&Decimal::ZERO) {
            std::cmp::Ordering::Greater if !row.estimated.is_zero() => format!("{rest} over"),
            std::cmp::Ordering::Greater => "not priced".to_owned(),
            std::cmp::Ordering::Less => format!("{rest} left"),
            std::cmp::Ordering::Equal => "as priced".to_owned(),
        };
        let of = if row.estimated.is_zero() {
            String::new()
        } else {
            format!(" of {}", words::in_packs(listed, row.estimated))
        };
        Some(Figure {
            label: listed.name.clone(),
            bar: Bar::of(priced, gone, priced.max(gone)),
            words: format!("{}{of}", words::in_packs(listed, row.gone)),
            rest,
            why: self.why(stage, &listed.name),
        })
    }

    /// On the clock nothing can be over: what it cost stands beside what it bills.
    fn by_the_clock(&self, stage: &Stage, name: String, sums: Sums) -> StageDoing {
        let items = self.items(stage.stage, &name);
        StageDoing {
            clock: self.clock_words(&name, sums),
            state: "on the clock".to_owned(),
            name,
            figures: Vec::new(),
            items,
        }
    }

    fn without_stage(&self, sums: Sums) -> StageDoing {
        let name = "no stage".to_owned();
        let clock = self.clock_words("", sums);
        StageDoing { name, state: String::new(), figures: Vec::new(), items: Vec::new(), clock }
    }

    fn clock_words(&self, stage: &str, sums: Sums) -> String {
        if sums.minutes == 0 && sums.material.is_none_or(|sum| sum.0 == 0) {
            return "–".to_owned();
        }
        let hours = hours_and_minutes(sums.minutes);
        let (Some(labour), Some(material), Some(work)) = (sums.labour, sums.material, &self.work) else {
            return hours;
        };
        let preview = billing::preview(work, None);
        let to_bill = preview.iter().flat_map(|preview| &preview.lines).filter(|line| line.stage == stage);
        let to_bill: Pence = to_bill.map(|line| line.amount).sum();
        let billed: Pence = self
            .papers()
            .flat_map(|(sign, document)| {
                let lines = document.lines.iter().filter(|line| line.stage == stage);
                lines.map(move |line| Pence(line.amount.0.saturating_mul(sign)))
            })
            .sum();
        let cost = words::pounds(labour + material);
        format!("{hours}, cost {cost}; billed {}, to bill {}", words::pounds(billed), words::pounds(to_bill))
    }

    /// The papers that hold, credit notes below nought.
    fn papers(&self) -> impl Iterator<Item = (i64, &ledger::office::Document)> {
        let papers = self.work.iter().flat_map(|work| &work.papers).filter(|paper| !paper.voided);
        papers.map(|paper| (if paper.credits.is_some() { -1 } else { 1 }, &paper.document))
    }

    fn money(&self, sums: &[Sums]) -> Vec<(&'static str, String)> {
        let Some(work) = self.work.as_ref().filter(|_| self.sees_money) else { return Vec::new() };
        let lists = &self.look.lists;
        let agreed = lists.quotes.values().filter(|quote| quote.job == self.job);
        let agreed: Vec<Pence> =
            agreed.filter(|quote| lists.agreed.contains_key(&quote.quote)).map(|quote| quote.price).collect();
        let priced: Pence = work
            .lines
            .iter()
            .filter(|line| !line.on_the_clock)
            .filter_map(|line| Some(UnitCost::of_unit(line.unit_price?).cost_of(line.quantity).to_pence()))
            .sum();
        let billed: Pence =
            self.papers().map(|(sign, document)| Pence(document.totals.net.0.saturating_mul(sign))).sum();
        let to_bill = billing::preview(work, None).map(|preview| preview.totals.net).unwrap_or_default();
        let cost: Option<Vec<Pence>> = sums.iter().map(|sums| Some(sums.labour? + sums.material?)).collect();
        let other = OtherCosts::of(self.look.book, lists, self.job).all();
        let cost = cost.zip(other).map_or_else(
            || "not known: a rate or a price is missing".to_owned(),
            |(cost, other)| words::pounds(cost.into_iter().sum::<Pence>() + other),
        );
        let mut money = Vec::new();
        match agreed.is_empty() {
            false => money.push(("quote", words::pounds(agreed.into_iter().sum()))),
            true if priced.0 != 0 => money.push(("priced", words::pounds(priced))),
            true => {}
        }
        money.extend([
            ("billed", words::pounds(billed)),
            ("to bill now", words::pounds(to_bill)),
            ("cost so far", cost),
        ]);
        money.extend(
            other
                .filter(|other| *other != Pence::ZERO)
                .map(|other| ("of that hire, skips, parking and miles", words::pounds(other))),
        );
        money
    }

    fn why(&self, stage: &str, what: &str) -> String {
        let job = self.look.lists.job(self.job);
        let (job, stage, what) = (encoded(&job), encoded(stage), encoded(what));
        format!("/why?job={job}&stage={stage}&what={what}")
    }
}

fn figure(
    label: &str,
    (priced, used): (i64, i64),
    scale: i64,
    is_final: bool,
    say: impl Fn(i64) -> String,
    why: String,
) -> Figure {
    let rest = match used - priced {
        over if over > 0 => format!("{} over", say(over)),
        0 if is_final => "as priced".to_owned(),
        left if is_final => format!("{} under", say(-left)),
        left => format!("{} left", say(-left)),
    };
    Figure {
        label: label.to_owned(),
        bar: Bar::of(priced, used, scale),
        words: format!("{} of {}", say(used), say(priced)),
        rest,
        why,
    }
}

/// An entry behind a figure.
pub(crate) struct Because {
    pub(crate) day: String,
    pub(crate) person: String,
    pub(crate) text: String,
}

/// *Why*: the entries behind a figure.
#[derive(Template)]
#[template(path = "why.html")]
pub(crate) struct Why {
    pub(crate) frame: Frame,
    what: String,
    entries: Vec<Because>,
    back: String,
}

/// Fills the screen: of a stage's hours, of its material, or of one item.
pub(crate) fn why(look: &Look<'_>, stage: &str, what: &str) -> Why {
    let job = look.job.map(|job| job.job);
    let stages: BTreeSet<Option<StageId>> = match stage {
        "" | "-" | "no stage" => BTreeSet::from([None]),
        name => look.stages().iter().filter(|s| s.name == name).map(|s| Some(s.stage)).collect(),
    };
    let mut found = Vec::new();
    for (job, stage) in job.into_iter().flat_map(|job| stages.iter().map(move |stage| (job, *stage))) {
        match what {
            "hours" => found.extend(look.book.why_time(&look.lists, job, stage, None)),
            _ => {
                let items = look.lists.items.values().filter(|item| what == "material" || item.name == what);
                for item in items {
                    found.extend(look.book.why_material(&look.lists, job, stage, item.item));
                }
            }
        }
    }
    found.sort_by_key(|because| (because.done_on, because.entry));
    let line = |because: &projections::why::Because| {
        let entry = look.book.entry(&because.entry);
        let timed = what == "hours";
        let text = entry.filter(|_| !timed).map(|entry| look.told(&entry));
        Because {
            day: words::day(because.done_on),
            person: because.person.clone(),
            text: text.unwrap_or_else(|| because.text.clone()),
        }
    };
    let title = look.job.map(|job| job.code.clone()).unwrap_or_default();
    Why {
        what: format!("{what}, {}", if stage.is_empty() { "no stage" } else { stage }),
        entries: found.iter().map(line).collect(),
        back: look.frame(Tab::Doing, String::new()).to(Tab::Doing),
        frame: look.frame(Tab::Doing, format!("{title} · why")),
    }
}
