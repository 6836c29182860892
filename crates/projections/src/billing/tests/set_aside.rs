//! Papers that a fork set aside: which can be taken on, and what is asked about the others.

use ledger::Body;
use ledger::office::{CreditAdopted, InvoiceAdopted, InvoiceIssued, InvoiceVoided};
use ledger::site::{Changes, Struck};

use super::from_book::{Said, hours, listed};
use super::*;
use crate::{QuestionKind, questions};

impl Said {
    /// Gives all that is left of an invoice back.
    fn credit_whole(&mut self, invoice: u16) -> u16 {
        let work = self.work();
        let invoice = self.paper(invoice).invoice;
        let whole = whole_credit(&work, invoice).unwrap();
        let credited = credit_note(&work, &whole, work.next(), dates(day(5))).unwrap();
        self.say(TOBI, day(5), Body::InvoiceCredited(credited))
    }

    fn paper(&self, number: u16) -> ledger::office::Document {
        match &self.0[usize::from(number) - 1].3 {
            Body::InvoiceIssued(issued) => *issued.document.clone(),
            Body::InvoiceCredited(credited) => *credited.document.clone(),
            _ => panic!("no paper"),
        }
    }

    /// Takes a paper on.
    fn adopt(&mut self, number: u16) {
        let event = hash(number);
        let body = match &self.0[usize::from(number) - 1].3 {
            Body::InvoiceCredited(credited) => {
                let (of, document) = (credited.of, credited.document.clone());
                Body::CreditAdopted(CreditAdopted { of, event, document })
            }
            _ => {
                let document = Box::new(self.paper(number));
                Body::InvoiceAdopted(InvoiceAdopted { invoice: document.invoice, event, document })
            }
        };
        self.say(TOBI, day(6), body);
    }

    /// What speaks against taking a paper on that waits.
    fn obstacle(&self, number: u16) -> Option<Obstacle> {
        let book = self.book();
        let waiting = crate::set_aside(&book);
        let logged = waiting.iter().find(|logged| logged.hash == hash(number)).unwrap();
        obstacle(&job_works(&book, &book.lists()), &waiting, &paper_of(logged).unwrap())
    }

    fn asked(&self, kind: QuestionKind) -> Vec<String> {
        let found = questions(&self.book()).into_iter().filter(|question| question.kind == kind);
        found.map(|question| question.text).collect()
    }
}

/// Hours that were billed, with the numbers of their entry and the invoice.
fn billed() -> (Said, u16, u16) {
    let mut told = listed();
    let door = told.say(TOBI, day(3), hours(240, 2));
    let invoice = told.bill();
    (told, door, invoice)
}

#[test]
fn a_credit_note_that_is_taken_on_counts_as_the_same_paper() {
    let (mut told, door, _) = billed();
    told.say(TOBI, day(4), Body::Struck(Struck { of: entry(TOBI, door) }));
    let work = told.work();
    let [proposed] = &proposed_credits(&work)[..] else { panic!("one credit note") };
    let credited = credit_note(&work, proposed, work.next(), dates(day(5))).unwrap();
    let credit = told.say(TOBI, day(5), Body::InvoiceCredited(credited));
    let before = told.work().papers;
    told.1 = BTreeSet::from([credit]);
    assert_eq!((told.work().papers.len(), proposed_credits(&told.work()).len()), (1, 1));
    assert_eq!((told.obstacle(credit), told.asked(QuestionKind::PaperSetAside).len()), (None, 1));
    told.adopt(credit);
    told.adopt(credit);
    assert_eq!(told.work().papers, before, "the same paper, however often somebody takes it on");
    assert_eq!((proposed_credits(&told.work()), told.to_bill()), (vec![], vec![]));
    assert_eq!((crate::set_aside(&told.book()), told.asked(QuestionKind::PaperSetAside)), (vec![], vec![]));
    // And where a retirement names its line later, so that it counts by itself.
    told.1.clear();
    assert_eq!(told.work().papers, before);
}

#[test]
fn a_credit_note_on_an_invoice_that_does_not_count_is_asked_about() {
    let (mut told, _, invoice) = billed();
    let credit = told.credit_whole(invoice);
    assert_eq!(told.asked(QuestionKind::CreditOfNothing), [""; 0]);
    // The invoice is set aside, and the credit note, which another device wrote, is not.
    told.1 = BTreeSet::from([invoice]);
    let [question] = &told.asked(QuestionKind::CreditOfNothing)[..] else { panic!("it is asked about") };
    let key = paper_key(&told.paper(invoice));
    assert!(question.contains(&format!("fivebar invoice adopt {key}")), "{question}");
    assert_eq!(
        told.to_bill(),
        ["move the door: 4.00 Tobi Larch = 144.00"],
        "nothing is billed, or given back"
    );
    told.adopt(invoice);
    assert_eq!(told.asked(QuestionKind::CreditOfNothing), [""; 0]);
    // Both set aside: the credit note waits for its invoice.
    let (mut told, _, invoice) = billed();
    let credit_note = told.credit_whole(invoice);
    assert_eq!(credit_note, credit);
    told.1 = BTreeSet::from([invoice, credit]);
    assert_eq!(told.obstacle(credit), Some(Obstacle::InvoiceSetAside(key)));
    told.adopt(invoice);
    assert_eq!(told.obstacle(credit), None);
    told.say(TOBI, day(6), Body::InvoiceVoided(InvoiceVoided { invoice: told.paper(invoice).invoice }));
    assert_eq!(told.obstacle(credit), Some(Obstacle::InvoiceVoid));
}

#[test]
fn what_was_given_back_otherwise_is_not_given_back_again() {
    let (mut told, door, invoice) = billed();
    let credit = told.credit_whole(invoice);
    told.1 = BTreeSet::from([credit]);
    let mut apart = Said(told.0.clone(), told.1.clone());
    let anew = told.credit_whole(invoice);
    let number = printed_number(&told.paper(anew));
    assert_eq!(told.obstacle(credit), Some(Obstacle::NumberTaken), "this one has the same number");
    let Body::InvoiceCredited(other) = &mut told.0[usize::from(anew) - 1].3 else { panic!("a credit note") };
    other.document.series = "B".to_owned();
    assert_eq!(told.obstacle(credit), Some(Obstacle::GivenBack(vec![format!("B-{number}")])));
    // By one that went on from another claim, so that only the sum tells.
    apart.correct(door, Changes { minutes: Some(300), ..Changes::default() });
    apart.bill();
    let anew = apart.credit_whole(invoice);
    for paper in [anew - 1, anew] {
        match &mut apart.0[usize::from(paper) - 1].3 {
            Body::InvoiceIssued(InvoiceIssued { document }) => document.series = "B".to_owned(),
            Body::InvoiceCredited(credited) => credited.document.series = "B".to_owned(),
            _ => panic!("no paper"),
        }
    }
    assert_eq!(apart.obstacle(credit), Some(Obstacle::MoreThanIsLeft));
    // Without its invoice nothing is known of it.
    let of_others = told.0.iter().filter(|(number, ..)| *number != invoice && *number != anew);
    let alone = Said(of_others.cloned().collect(), told.1);
    assert_eq!(alone.obstacle(credit), Some(Obstacle::InvoiceNotHere));
}

#[test]
fn two_papers_of_one_number_are_asked_about_until_one_stands_for_nothing() {
    let (mut told, _, invoice) = billed();
    let first = told.paper(invoice);
    told.say(TOBI, day(4), hours(60, 2));
    let other = told.bill();
    let Body::InvoiceIssued(issued) = &mut told.0[usize::from(other) - 1].3 else { panic!("an invoice") };
    issued.document.number = first.number;
    let other_key = paper_key(&told.paper(other));
    let [question] = &told.asked(QuestionKind::NumberTwice)[..] else { panic!("it is asked about") };
    assert!(question.contains(&paper_key(&first)) && question.contains(&other_key), "{question}");
    let works = [told.work()];
    assert_eq!(called(&works, &printed_number(&first)).len(), 2);
    let by_key = called(&works, &other_key);
    assert_eq!(by_key.iter().map(|(_, paper)| paper.event).collect::<Vec<_>>(), [hash(other)]);
    assert_eq!(unmistakable(&works, first.invoice, "41"), paper_key(&first));
    told.credit_whole(other);
    assert_eq!(told.asked(QuestionKind::NumberTwice), [""; 0]);
    told.say(TOBI, day(6), Body::InvoiceVoided(InvoiceVoided { invoice: first.invoice }));
    assert_eq!(unmistakable(&[told.work()], told.paper(other).invoice, "41"), "41");
}
