//! Questions about money: papers, quotes whose parts don't come to the whole, extras without a price or at their limit, and what
//! was said of the reverse charge against what the facts say.

use std::cell::LazyCell;
use std::collections::{BTreeMap, BTreeSet};

use ledger::office::Basis;
use ledger::site::ExtraTerms;
use ledger::{Body, EntryRef, InvoiceId, JobId};
use trade::Pence;
use trade::money::line_amount;

use super::{Facts, Question, QuestionKind, papers};
use crate::billing::{JobWork, job_works, limits, paper_of, printed_number, says_otherwise_of_vat};
use crate::book::Logged;
use crate::extras::{AgreedExtra, agreed_of};
use crate::quotes::{lacks_a_price, points, points_due, standing_quote};

/// Only the office knows prices, so only its book has these.
pub(super) fn ask(facts: &Facts<'_>, waiting: &[&Logged], found: &mut Vec<Question>) {
    if facts.book.audience() == ledger::Audience::Crew {
        return;
    }
    let lists = &facts.lists;
    let extras = agreed_of(&facts.entries);
    for extra in extras.values().filter(|extra| lacks_a_price(extra, lists)) {
        let what = if extra.what.is_empty() { "an extra" } else { extra.what.as_str() };
        let text = format!(
            "{}: {what} was agreed on {} and has no price, so no invoice has it. What was agreed?",
            lists.job(extra.job),
            extra.agreed_on,
        );
        let about = [extra.key.person.to_string(), extra.key.entry.to_string()];
        found.push(
            Question::new(QuestionKind::ExtraWithoutPrice, &about, text)
                .on(extra.agreed_on)
                .at(extra.job, extra.stage)
                .from([extra.key]),
        );
    }
    // What bills follow from is made out once, and only if something asks for it.
    let works = LazyCell::new(|| job_works(facts.book, &facts.lists));
    limits_reached(facts, &extras, &works, found);
    cis_taken(facts, found);
    certified_less(facts, found);
    papers::ask(facts, &works, waiting, found);
    for (job, terms) in &lists.terms {
        match terms.basis {
            Basis::Daywork => {}
            Basis::Fixed | Basis::Valuation => found.extend(points_off(facts, &extras, *job)),
        }
        if says_otherwise_of_vat(terms, lists.firm) {
            let text = format!(
                "{}: what was said of the reverse charge is not what the facts about both sides say. Which of them is \
                 wrong? The facts count until then.",
                lists.job(*job),
            );
            found.push(Question::new(QuestionKind::ReverseCharge, &[job.to_string()], text).at(*job, None));
        }
    }
}

/// Extras on the clock that are over what the customer said yes to, or near it.
fn limits_reached(
    facts: &Facts<'_>,
    extras: &BTreeMap<EntryRef, AgreedExtra>,
    works: &LazyCell<Vec<JobWork>, impl FnOnce() -> Vec<JobWork>>,
    found: &mut Vec<Question>,
) {
    let has_limit = |extra: &&AgreedExtra| {
        extra.terms == ExtraTerms::OnTheClock && facts.lists.extras.contains_key(&extra.key)
    };
    let limited: Vec<_> = extras.values().filter(has_limit).collect();
    if limited.is_empty() {
        return;
    }
    for work in works.iter() {
        for stand in limits(work) {
            let Some(extra) = limited.iter().find(|extra| extra.stage == Some(stand.stage)) else { continue };
            let (code, name, comes_to, limit) = (&work.code, &stand.extra, stand.comes_to, stand.limit);
            let (kind, text) = if stand.is_over() {
                let text = format!(
                    "{code}: {name} comes to {comes_to} on the clock, and the customer said yes up to {limit}. What is over \
                     is on no invoice. Do they say yes to more? Then set the new limit."
                );
                (QuestionKind::OverLimit, text)
            } else if stand.is_near() {
                let text = format!(
                    "{code}: {name} comes to {comes_to} on the clock, of the {limit} that the customer said yes to. Who \
                     asks them before it is over?"
                );
                (QuestionKind::NearLimit, text)
            } else {
                continue;
            };
            let about = [extra.key.person.to_string(), extra.key.entry.to_string(), limit.to_string()];
            found.push(Question::new(kind, &about, text).at(work.job, extra.stage).from([extra.key]));
        }
    }
}

/// The points of a quote, or where there are none its stages, come to the quote with its extras.
fn points_off(facts: &Facts<'_>, extras: &BTreeMap<EntryRef, AgreedExtra>, job: JobId) -> Option<Question> {
    let lists = &facts.lists;
    let points = points(lists, job);
    let (sum, due, parts) = if points.is_empty() {
        // Without an accepted quote the costing is the price.
        let quote = standing_quote(lists, job).filter(|quote| lists.agreed.contains_key(&quote.quote))?;
        let own: BTreeSet<_> =
            extras.values().filter(|extra| extra.job == job).filter_map(|extra| extra.stage).collect();
        let lines = lists
            .lines
            .values()
            .filter(|line| line.job == job && !line.on_the_clock && !own.contains(&line.stage));
        let amount = |line: &ledger::site::LineListed| {
            Some(line_amount(line.quantity, lists.line_money.get(&line.line)?.unit_price))
        };
        let sum: Option<Pence> = lines.map(|line| amount(line)).sum();
        (sum?, quote.price, "stages")
    } else {
        let sum = points.iter().map(|point| point.amount).sum::<Pence>();
        (sum, points_due(lists, extras, job)?, "payment points")
    };
    if sum == due {
        return None;
    }
    let what = if points.is_empty() { "the quote" } else { "the quote with its extras" };
    let text = format!(
        "{}: the {parts} come to {sum}, and {what} to {due}. Which of them is right?",
        lists.job(job),
    );
    let about = [job.to_string(), sum.to_string(), due.to_string()];
    Some(Question::new(QuestionKind::PointsOff, &about, text).at(job, None))
}

/// Applications of which the customer will pay less. They decide on it until somebody settles it with them, so
/// it is no debt.
fn certified_less(facts: &Facts<'_>, found: &mut Vec<Question>) {
    for entry in &facts.entries {
        let Body::PaymentApplied(applied) = entry.body.as_ref() else { continue };
        let application = &applied.application;
        let Some((on, certified, _)) = facts.lists.certified.get(&entry.entry_ref()) else { continue };
        if certified.certified >= application.applied {
            continue;
        }
        let (job, number) = (facts.lists.job(application.job), application.number);
        let text = format!(
            "{job}: {} was certified of application {number}, and {} was applied for. Do they say why? The difference is \
             asked for again on the next one.",
            certified.certified, application.applied
        );
        let about = [application.job.to_string(), number.to_string(), certified.certified.to_string()];
        found.push(
            Question::new(QuestionKind::CertifiedLess, &about, text)
                .on(*on)
                .at(application.job, None)
                .from([entry.entry_ref()]),
        );
    }
}

/// CIS that was taken and is not what we expected. The contractor decides on it, so nothing is owed by it.
fn cis_taken(facts: &Facts<'_>, found: &mut Vec<Question>) {
    let mut taken: BTreeMap<InvoiceId, (Pence, Vec<EntryRef>)> = BTreeMap::new();
    for entry in &facts.entries {
        if let Body::PaymentReceived(paid) = entry.body.as_ref()
            && let Some(invoice) = paid.invoice.filter(|_| paid.cis_taken != Pence::ZERO)
        {
            let (sum, entries) = taken.entry(invoice).or_default();
            *sum += paid.cis_taken;
            entries.push(entry.entry_ref());
        }
    }
    for entry in &facts.entries {
        let Some(document) =
            paper_of(entry.logged).filter(|paper| paper.credits.is_none()).map(|paper| paper.document)
        else {
            continue;
        };
        let expected = document.totals.cis;
        let Some((sum, entries)) = taken.remove(&document.invoice) else { continue };
        if sum == expected {
            continue;
        }
        let number = printed_number(document);
        let text = format!(
            "Invoice {number}: {sum} was taken for CIS, and {expected} was expected. Does their statement say why?"
        );
        let about = [number, sum.to_string()];
        found.push(
            Question::new(QuestionKind::CisTaken, &about, text)
                .on(document.issued_on)
                .at(document.job, None)
                .from(entries),
        );
    }
}
