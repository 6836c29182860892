//! *Week*: the boss's Friday, in the order in which it is done. Questions come first, since the figures
//! below depend on their answers.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use ledger::site::PaidBy;
use ledger::{Body, PersonId};
use projections::billing::{self, JobWork};
use projections::stages::Condition;
use projections::time_on_job::{Spell, cost_of};
use projections::{Question, QuestionKind};
use trade::money::hours_and_minutes;
use trade::tax::InvoiceTotals;
use trade::{Day, Pence};

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::Look;
use crate::screens::morning::{self, Morning};
use projections::words;

/// Most questions on a screen: more than that nobody answers.
const MOST_QUESTIONS: usize = 7;

/// A question, and what it costs to leave it.
pub(crate) struct ToSortOut {
    pub(crate) key: String,
    pub(crate) text: String,
    pub(crate) cost: &'static str,
    /// The usual answer, given by one press; empty where there is none.
    pub(crate) press: &'static str,
    /// What is set aside can be entered again.
    pub(crate) is_aside: bool,
}

/// An invoice on which something is owed.
pub(crate) struct Owed {
    pub(crate) number: String,
    /// Its number, or its key where another has that, too.
    pub(crate) called: String,
    pub(crate) link: String,
    pub(crate) customer: String,
    pub(crate) owed: String,
    /// `due Fri 20 Nov`, `12 days late`.
    pub(crate) age: String,
    pub(crate) late: bool,
    /// The sum as a field takes it: `1364.09`.
    pub(crate) plain: String,
}

/// A job on which something can be billed, or not yet.
pub(crate) struct ToBill {
    pub(crate) job: String,
    pub(crate) link: String,
    /// What it would come to, without VAT; empty for nothing.
    pub(crate) net: String,
    pub(crate) lines: Vec<(String, String)>,
    /// Stage, and what holds it up.
    pub(crate) held_up: Vec<(String, String)>,
    /// What was billed and is worth less now: of which invoice, and how much.
    pub(crate) credits: Vec<(String, String)>,
    /// Extras that wait for the customer's yes: name and how it stands, and the sum.
    pub(crate) waiting: Vec<(String, String)>,
}

/// What somebody is paid for.
pub(crate) struct ToPay {
    pub(crate) person: String,
    pub(crate) days: usize,
    pub(crate) hours: String,
    pub(crate) cost: String,
    /// What they paid out of their own pocket; empty for nothing.
    pub(crate) own_pocket: String,
}

/// The screen.
#[derive(Template)]
#[template(path = "week.html")]
pub(crate) struct Week {
    pub(crate) frame: Frame,
    /// `Mon 2 Nov to Sun 8 Nov`.
    week: String,
    sunday: Day,
    before: Day,
    after: Day,
    pub(crate) questions: Vec<ToSortOut>,
    more_questions: usize,
    owed: Vec<Owed>,
    /// What was applied for and no invoice bills yet: of which job and how it stands, where, and the sum before VAT.
    applied: Vec<(String, String, String)>,
    pub(crate) to_bill: Vec<ToBill>,
    pub(crate) to_pay: Vec<ToPay>,
    month: String,
    vat_put_by: String,
    cis_taken: String,
    morning: Morning,
}

/// Fills the screen for the week of a day.
pub(crate) fn week(look: &Look<'_>, of: Day) -> Week {
    let monday = words::monday_of(of);
    let sunday = monday.plus_days(6);
    let works = billing::job_works(look.book, &look.lists);
    let mut open = projections::timers_left_running(look.book, look.now);
    open.extend(projections::questions(look.book));
    let more_questions = open.len().saturating_sub(MOST_QUESTIONS);
    let (vat, cis) = taxes(&works, of);
    let names = format!("{} to {}", words::day(monday), words::day(sunday));
    Week {
        frame: look.frame(Tab::Week, "The week".to_owned()),
        week: names,
        sunday,
        before: monday.plus_days(-7),
        after: monday.plus_days(7),
        questions: open.iter().take(MOST_QUESTIONS).map(to_sort_out).collect(),
        more_questions,
        owed: owed(look, &works),
        applied: applied(look, &works),
        to_bill: works.iter().map(|work| to_bill(look, &works, work)).collect(),
        to_pay: to_pay(look, monday, sunday),
        month: words::month(of),
        vat_put_by: words::pounds(vat),
        cis_taken: words::pounds(cis),
        morning: morning::morning(look),
    }
}

fn to_sort_out(question: &Question) -> ToSortOut {
    let (key, text) = (question.key.clone(), in_words(&question.text));
    let press = match question.kind {
        QuestionKind::NoHours => "A day off",
        QuestionKind::SignedOffWithout => "There is none",
        QuestionKind::BeforeHours | QuestionKind::Overlap => "It is right as it stands",
        QuestionKind::ClosedUp
        | QuestionKind::ExtraWithoutYes
        | QuestionKind::ExtraWithoutPrice
        | QuestionKind::OverLimit
        | QuestionKind::NearLimit
        | QuestionKind::PointsOff
        | QuestionKind::ReverseCharge
        | QuestionKind::CisTaken
        | QuestionKind::CertifiedLess
        | QuestionKind::BilledTwice
        | QuestionKind::NumberTwice
        | QuestionKind::PaperSetAside
        | QuestionKind::CreditOfNothing
        | QuestionKind::TimerRunning
        | QuestionKind::Proposed
        | QuestionKind::SameEntry
        | QuestionKind::ChangedApart
        | QuestionKind::ListedApart
        | QuestionKind::InACircle
        | QuestionKind::NoRate
        | QuestionKind::NoPrice
        | QuestionKind::NotCounted
        | QuestionKind::SetAside
        | QuestionKind::Unreadable => "",
    };
    let is_aside = question.kind == QuestionKind::SetAside;
    ToSortOut { key, text, cost: cost_of_leaving(question.kind), press, is_aside }
}

/// A question with its days as people say them.
fn in_words(text: &str) -> String {
    let word = |word: &str| {
        let end = word.trim_end_matches(|mark: char| !mark.is_ascii_digit());
        let said = end.parse::<Day>().map(|day| words::day(day) + word.strip_prefix(end).unwrap_or(""));
        said.unwrap_or_else(|_| word.to_owned())
    };
    text.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// What it costs to leave a question.
const fn cost_of_leaving(kind: QuestionKind) -> &'static str {
    match kind {
        QuestionKind::ClosedUp => "Left: nobody can say later what is behind it.",
        QuestionKind::SignedOffWithout => "Left: it is missing when the job is handed over.",
        QuestionKind::ExtraWithoutYes => "Left: the customer can say they never agreed to pay.",
        QuestionKind::ExtraWithoutPrice => "Left: no invoice has it.",
        QuestionKind::OverLimit => "Left: what is over it is billed to nobody.",
        QuestionKind::NearLimit => "Left: work goes on that nobody said yes to.",
        QuestionKind::PointsOff => "Left: more or less is billed than was agreed.",
        QuestionKind::ReverseCharge => "Left: the VAT on the invoice may be wrong.",
        QuestionKind::CisTaken => "Left: the CIS in your books is not what the tax office hears.",
        QuestionKind::CertifiedLess => "Left: nobody asks for what they took off.",
        QuestionKind::BilledTwice => "Left: the customer owes the same work twice.",
        QuestionKind::NumberTwice => "Left: nobody can tell which of the two is meant.",
        QuestionKind::PaperSetAside => "Left: the customer may hold a paper that is not in your books.",
        QuestionKind::CreditOfNothing => "Left: the customer may hold a paper that gives nothing back here.",
        QuestionKind::NoHours => "Left: a day that nobody logged is neither paid nor billed.",
        QuestionKind::BeforeHours => "Left: the day’s hours may be short.",
        QuestionKind::Overlap => "Left: the same time counts twice.",
        QuestionKind::TimerRunning => "Left: those hours count for nothing until the timer ends.",
        QuestionKind::Proposed => "Left: it counts for nothing until somebody says yes.",
        QuestionKind::SameEntry => "Left: only the first of the two counts.",
        QuestionKind::ChangedApart => "Left: both changes stand, and the later one shows.",
        QuestionKind::ListedApart => "Left: both versions stand, and the later one shows.",
        QuestionKind::InACircle => "Left: none of those stages is ever ready.",
        QuestionKind::NoRate => "Left: those hours cost and bill nothing.",
        QuestionKind::NoPrice => "Left: that material costs and bills nothing.",
        QuestionKind::NotCounted | QuestionKind::SetAside | QuestionKind::Unreadable => {
            "Left: it counts for nothing."
        }
    }
}

/// The invoices on which something is owed, the oldest first.
fn owed(look: &Look<'_>, works: &[JobWork]) -> Vec<Owed> {
    let rows = billing::owed(look.book, works, look.today).into_iter().filter(|row| row.owed.0 > 0);
    let row = |row: billing::Owed| {
        let called = billing::unmistakable(works, row.invoice, &row.number);
        Owed {
            link: encoded(&called),
            called,
            number: row.number,
            customer: row.customer,
            owed: words::pounds(row.owed),
            age: match row.days_late {
                days if days > 1 => format!("{days} days late"),
                1 => "1 day late".to_owned(),
                _ => format!("due {}", words::day(row.due_on)),
            },
            late: row.days_late > 0,
            plain: row.owed.to_string(),
        }
    };
    rows.map(row).collect()
}

/// What was applied for, and is on no invoice yet.
fn applied(look: &Look<'_>, works: &[JobWork]) -> Vec<(String, String, String)> {
    let rows = billing::applied_for(works, look.today).into_iter().map(|stand| {
        let said = format!("{}, application {}, {}", stand.job, stand.number, stand.stand.words());
        (said, encoded(&stand.job), words::pounds(stand.open()))
    });
    rows.collect()
}

fn to_bill(look: &Look<'_>, works: &[JobWork], work: &JobWork) -> ToBill {
    let wish = billing::Wish { tax_point: Some(look.today), ..billing::Wish::default() };
    let preview = billing::preview_of(work, &wish);
    let mut lines: Vec<(String, Pence)> = Vec::new();
    for line in preview.iter().flat_map(|preview| &preview.printed) {
        let name = if line.stage.is_empty() { line.what.clone() } else { line.stage.clone() };
        match lines.iter_mut().find(|(known, _)| *known == name) {
            Some((_, sum)) => *sum += line.amount,
            None => lines.push((name, line.amount)),
        }
    }
    let credits = billing::proposed_credits(work);
    ToBill {
        job: work.code.clone(),
        link: encoded(&work.code),
        net: preview
            .as_ref()
            .filter(|preview| !preview.printed.is_empty())
            .map(|preview| words::pounds(preview.totals.net))
            .unwrap_or_default(),
        waiting: preview
            .iter()
            .flat_map(|preview| &preview.waiting)
            .map(|extra| (format!("{}, {}", extra.extra, extra.why), words::pounds(extra.net)))
            .collect(),
        lines: lines.into_iter().map(|(name, sum)| (name, words::pounds(sum))).collect(),
        held_up: held_up(look, work),
        credits: credits
            .iter()
            .map(|credit| {
                (
                    billing::unmistakable(works, credit.of, &credit.of_number),
                    words::pounds(credit.totals.total),
                )
            })
            .collect(),
    }
}

/// The priced stages that can't be billed, and why.
fn held_up(look: &Look<'_>, work: &JobWork) -> Vec<(String, String)> {
    let priced: BTreeSet<_> =
        work.lines.iter().filter(|line| !line.on_the_clock).map(|line| line.stage).collect();
    let stages = look.book.stages(&look.lists);
    let held = stages.iter().filter(|stage| {
        stage.job == work.job && priced.contains(&stage.stage) && stage.condition != Condition::SignedOff
    });
    let why = |condition: Condition| match condition {
        Condition::SignedOff => "",
        Condition::Reopened => "opened again",
        Condition::ReadyForChecking => "ready for checking, not signed off",
        Condition::PartDone | Condition::InHand => "in hand",
        Condition::Free => "not begun",
        Condition::Waiting => "waits for another",
    };
    held.map(|stage| (look.lists.stage(Some(stage.stage)), why(stage.condition).to_owned())).collect()
}

/// Who worked how long, and what they paid themselves.
fn to_pay(look: &Look<'_>, monday: Day, sunday: Day) -> Vec<ToPay> {
    let spells = look.book.spells();
    let is_in_week = |day: Day| day >= monday && day <= sunday;
    let mut own_pocket: BTreeMap<PersonId, Option<Pence>> = BTreeMap::new();
    for entry in look.book.entries().filter(|entry| is_in_week(entry.act.done_on)) {
        let paid_by = match entry.body.as_ref() {
            Body::Bought(bought) => bought.paid_by,
            Body::Expense(expense) => expense.paid_by,
            _ => continue,
        };
        if paid_by == PaidBy::OwnPocket {
            let paid = look.lists.paid.get(&entry.entry_ref()).map(|paid| paid.net + paid.vat);
            let sum = own_pocket.entry(entry.act.person).or_insert(Some(Pence::ZERO));
            *sum = sum.zip(paid).map(|(sum, paid)| sum + paid);
        }
    }
    let mut by_person: BTreeMap<PersonId, Vec<&Spell>> = BTreeMap::new();
    for spell in spells.iter().filter(|spell| is_in_week(spell.day)) {
        by_person.entry(spell.person()).or_default().push(spell);
    }
    for person in own_pocket.keys() {
        by_person.entry(*person).or_default();
    }
    let mut rows: Vec<ToPay> = by_person
        .into_iter()
        .map(|(person, spells)| ToPay {
            person: look.lists.person(person),
            days: spells.iter().map(|spell| spell.day).collect::<BTreeSet<_>>().len(),
            hours: hours_and_minutes(spells.iter().map(|spell| spell.minutes).sum()),
            cost: cost_of(&spells, &look.lists).map_or_else(|| "no rate".to_owned(), words::pounds),
            own_pocket: match own_pocket.get(&person) {
                None => String::new(),
                Some(Some(sum)) => words::pounds(*sum),
                Some(None) => "a ticket without a sum".to_owned(),
            },
        })
        .collect();
    rows.sort_by(|one, other| one.person.cmp(&other.person));
    rows
}

/// VAT that was charged, and CIS that is expected to be taken, on papers of a day's month.
fn taxes(works: &[JobWork], of: Day) -> (Pence, Pence) {
    let papers = works.iter().flat_map(|work| &work.papers).filter(|paper| !paper.voided);
    let month = papers.filter(|paper| is_same_month(paper.document.tax_point, of));
    month.fold((Pence::ZERO, Pence::ZERO), |(vat, cis), paper| {
        let InvoiceTotals { vat_charged, cis: taken, .. } = paper.document.totals;
        match paper.credits {
            None => (vat + vat_charged, cis + taken),
            Some(_) => (vat - vat_charged, cis - taken),
        }
    })
}

fn is_same_month(one: Day, other: Day) -> bool {
    let (one, other) = (one.date(), other.date());
    (one.year(), one.month()) == (other.year(), other.month())
}
