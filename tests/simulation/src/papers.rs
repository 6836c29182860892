//! Papers, once everybody has met: a number is given once; where two papers of one number were taken on, both are seen and
//! asked about; and whatever does not count, and may have gone out, is asked about.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use ledger::roster::{Lacking, Standing};
use ledger::{Body, EventHash, InvoiceId};
use projections::billing::{self, IssuedPaper, JobWork};
use projections::{Logged, Question, QuestionKind};

use crate::counted::Counted;
use crate::model::Broken;
use crate::office::works;
use crate::world::World;

/// The rule that a number is given to one paper that counts, whoever issues it and however far apart.
pub const NUMBERED_ONCE: &str = "no number is given twice";
/// Where two papers of one number went out, a person hears of it.
pub const TWICE_ASKED: &str = "two papers of one number are asked about";
/// A paper that may have gone out and does not count is asked about, and no other.
pub const ASIDE_ASKED: &str = "a paper that is set aside is asked about";
/// A credit note whose invoice does not count is asked about.
pub const NOTHING_ASKED: &str = "a credit note on an invoice that does not count is asked about";

/// Checks the papers of every device of the office.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn check(world: &World, places: &[usize], counted: &Counted) -> Result<(), Broken> {
    for place in places {
        let device = &world.devices[*place];
        let checked = device.with(|node| if node.is_office() { check_on(node, counted) } else { Ok(()) });
        checked
            .unwrap_or(Ok(()))
            .map_err(|broken| Broken::new(broken.rule, format!("{}: {}", device.name, broken.seen)))?;
    }
    Ok(())
}

fn check_on(node: &Node, counted: &Counted) -> Result<(), Broken> {
    let works = works(node);
    let questions = projections::questions(node.book());
    let mut given = BTreeSet::new();
    let issued = works.iter().flat_map(|work| &work.papers).filter(|paper| counted.counts(&paper.event));
    for number in issued.map(|paper| billing::printed_number(&paper.document)) {
        if !given.insert(number.clone()) {
            return Err(Broken::new(NUMBERED_ONCE, number));
        }
    }
    for (number, papers) in shared_numbers(&works) {
        let is_asked = |question: &Question| {
            question.kind == QuestionKind::NumberTwice
                && papers.iter().all(|paper| question.text.contains(&paper.document.invoice.short()))
        };
        if !questions.iter().any(is_asked) {
            return Err(Broken::new(TWICE_ASKED, number));
        }
    }
    let asked = |kind: QuestionKind, event: &EventHash| {
        questions.iter().any(|question| question.kind == kind && question.key.ends_with(&event.to_string()))
    };
    let counts: BTreeSet<EventHash> =
        works.iter().flat_map(|work| &work.papers).map(|paper| paper.event).collect();
    for event in node.book().events().filter_map(issued_aside) {
        let waits = !counts.contains(&event);
        // A job whose lists were lost has no papers that could be told apart.
        if asked(QuestionKind::PaperSetAside, &event) != waits && !works.is_empty() {
            return Err(Broken::new(ASIDE_ASKED, format!("{event} waits: {waits}")));
        }
    }
    for work in &works {
        let standing = || work.papers.iter().filter(|paper| !paper.voided);
        let bills: BTreeSet<InvoiceId> =
            standing().filter(|paper| paper.credits.is_none()).map(|paper| paper.document.invoice).collect();
        let of_nothing = standing().find(|paper| {
            let gives_back = paper.credits.is_none_or(|invoice| bills.contains(&invoice));
            gives_back == asked(QuestionKind::CreditOfNothing, &paper.event)
        });
        if let Some(paper) = of_nothing {
            return Err(Broken::new(NOTHING_ASKED, billing::printed_number(&paper.document)));
        }
    }
    Ok(())
}

/// The event of a paper that a fork or a cut set aside.
fn issued_aside(logged: &Logged) -> Option<EventHash> {
    let is_aside = matches!(logged.standing, Standing::Without(Lacking::BeyondCut | Lacking::Forked));
    let is_paper = matches!(logged.body, Body::InvoiceIssued(_) | Body::InvoiceCredited(_));
    (is_aside && is_paper).then_some(logged.hash)
}

/// The numbers that more than one paper has that stands: it was not made void, nor was all of it given back.
pub(crate) fn shared_numbers(works: &[JobWork]) -> BTreeMap<String, Vec<&IssuedPaper>> {
    let mut by_number: BTreeMap<String, Vec<&IssuedPaper>> = BTreeMap::new();
    for work in works {
        let standing = || work.papers.iter().filter(|paper| !paper.voided);
        let is_left = |paper: &IssuedPaper| {
            let credits = standing().filter(|credit| credit.credits == Some(paper.document.invoice));
            let given_back = credits.map(|credit| credit.document.totals.net.0).sum::<i64>();
            paper.document.totals.net.0 != given_back
        };
        for paper in standing().filter(|paper| paper.credits.is_some() || is_left(paper)) {
            by_number.entry(billing::printed_number(&paper.document)).or_default().push(paper);
        }
    }
    by_number.retain(|_, papers| papers.len() > 1);
    by_number
}
