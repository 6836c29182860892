//! Questions about papers: two that bill the same or have one number, those that a fork or a cut set aside, and credit
//! notes on an invoice that does not count.

use std::cell::LazyCell;
use std::collections::BTreeSet;

use ledger::InvoiceId;
use ledger::roster::{Lacking, Standing};

use super::{Facts, Question, QuestionKind};
use crate::billing::{
    JobWork, PaperOf, double_claims, in_words, invoice_aside, numbers_twice, obstacle, paper_key, paper_of,
    printed_number,
};
use crate::book::Logged;

/// Asks about papers. `works` is made out only if there is a paper.
pub(super) fn ask(
    facts: &Facts<'_>,
    works: &LazyCell<Vec<JobWork>, impl FnOnce() -> Vec<JobWork>>,
    waiting: &[&Logged],
    found: &mut Vec<Question>,
) {
    set_aside(works, waiting, found);
    let papers: BTreeSet<_> =
        facts.entries.iter().filter_map(|entry| paper_of(entry.logged)).map(|paper| paper.event).collect();
    if papers.len() >= 2 {
        billed_twice(works, found);
        number_twice(works, found);
    }
    let mut credits = facts.entries.iter().filter_map(|entry| paper_of(entry.logged)?.credits);
    if credits.next().is_some() {
        credits_of_nothing(works, waiting, found);
    }
}

/// Papers that claim the same work and don't know of each other, one question for those that do.
fn billed_twice(works: &[JobWork], found: &mut Vec<Question>) {
    for work in works {
        let rivals: BTreeSet<Vec<InvoiceId>> =
            double_claims(work).into_iter().map(|double| double.papers).collect();
        for papers in rivals {
            let own = work.papers.iter().filter(|paper| papers.contains(&paper.document.invoice));
            let does = if own.clone().all(|paper| paper.credits.is_some()) { "give back" } else { "bill" };
            let mut numbers: Vec<String> = own.map(|paper| printed_number(&paper.document)).collect();
            numbers.sort_unstable();
            let text = format!(
                "{}: {} {does} the same work, and whoever made one did not know of the other. Which one is credited or \
                 made void?",
                work.code,
                numbers.join(" and "),
            );
            found.push(Question::new(QuestionKind::BilledTwice, &numbers, text).at(work.job, None));
        }
    }
}

/// Papers that went out under one number.
fn number_twice(works: &[JobWork], found: &mut Vec<Question>) {
    for (number, papers) in numbers_twice(works) {
        let named = papers.iter().map(|(_, paper)| {
            let document = &paper.document;
            format!("{} (key {})", in_words(document, paper.credits), paper_key(document))
        });
        let credit = papers.iter().find(|(_, paper)| paper.credits.is_some());
        // Common practice, no source: what went out under a wrong number is taken back and made anew.
        let next = match credit {
            Some((_, credit)) => {
                let key = paper_key(&credit.document);
                format!("Make the credit note void (`fivebar invoice void {key} WHY`) and issue it anew")
            }
            None => {
                let key = papers.last().map(|(_, paper)| paper_key(&paper.document)).unwrap_or_default();
                format!("Give all of one back (`fivebar invoice credit {key} --whole`) and issue it anew")
            }
        };
        let text = format!(
            "Two papers have the number {number}, and both went out: {}. {next}: it gets a number of its own. Tell the \
             customer which one takes its place.",
            named.collect::<Vec<_>>().join("; "),
        );
        let about: Vec<String> = papers.iter().map(|(_, paper)| paper.document.invoice.to_string()).collect();
        let mut question = Question::new(QuestionKind::NumberTwice, &about, text);
        question.day = papers.last().map(|(_, paper)| paper.document.issued_on);
        question.job = papers.last().map(|(work, _)| work.job);
        found.push(question);
    }
}

/// Papers that are set aside. Whether they went out, only people know.
fn set_aside(
    works: &LazyCell<Vec<JobWork>, impl FnOnce() -> Vec<JobWork>>,
    waiting: &[&Logged],
    found: &mut Vec<Question>,
) {
    let papers = waiting.iter().filter_map(|logged| Some((*logged, paper_of(logged)?)));
    for (logged, paper) in papers.filter(|(_, paper)| paper.is_own()) {
        let why = match logged.standing {
            Standing::Without(Lacking::Forked) => {
                "was copied or set back, and wrote on twice from the same place"
            }
            _ => "was taken off the crew before it came",
        };
        let what_now = obstacle(works, waiting, &paper).map_or_else(
            || {
                let key = paper_key(paper.document);
                format!("If the customer has it, take it on: `fivebar invoice adopt {key}`. If it never went out, settle this")
            },
            |obstacle| format!("If the customer has it: {obstacle}"),
        );
        let text = format!(
            "{} does not count, because the device that issued it {why}. {what_now}.",
            capital(&in_words(paper.document, paper.credits))
        );
        found.push(of_paper(QuestionKind::PaperSetAside, &paper, text).from([logged.act.entry_ref()]));
    }
}

/// Credit notes that count and give nothing back.
fn credits_of_nothing(works: &[JobWork], waiting: &[&Logged], found: &mut Vec<Question>) {
    for work in works {
        let bills = work.papers.iter().filter(|paper| paper.credits.is_none() && !paper.voided);
        let bills: BTreeSet<InvoiceId> = bills.map(|paper| paper.document.invoice).collect();
        for paper in work.papers.iter().filter(|paper| !paper.voided) {
            let Some(of) = paper.credits.filter(|of| !bills.contains(of)) else { continue };
            let document = &paper.document;
            let aside = invoice_aside(waiting, of).map(|invoice| {
                format!(
                    "If that one went out, take it on: `fivebar invoice adopt {}`. ",
                    paper_key(invoice.document)
                )
            });
            let text = format!(
                "{} gives nothing back, because its invoice does not count. {}If neither holds, make it void: `fivebar \
                 invoice void {} WHY`.",
                capital(&in_words(document, paper.credits)),
                aside.unwrap_or_default(),
                paper_key(document),
            );
            let paper = PaperOf { event: paper.event, document, credits: paper.credits };
            found.push(of_paper(QuestionKind::CreditOfNothing, &paper, text));
        }
    }
}

fn of_paper(kind: QuestionKind, paper: &PaperOf<'_>, text: String) -> Question {
    let document = paper.document;
    Question::new(kind, &[paper.event.to_string()], text).on(document.issued_on).at(document.job, None)
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
