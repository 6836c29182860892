//! Undoing: the last thing that somebody logged on this device is crossed out, or a crossing-out is taken
//! back. Each is a later event; nothing is removed.
//!
//! What others may have acted on already (who belongs to the crew, papers with a number, an answer, a yes) is
//! not undone here: each has a command of its own that says what it does.

use std::collections::BTreeSet;

use ledger::kinds::Carried;
use ledger::roster::Standing;
use ledger::site::Struck;
use ledger::{Act, Audience, Body, ChainId, EntryRef, Kind, Payload, PersonId};
use serde_json::{Value, json};

use super::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// An event of somebody's on this device.
struct Own {
    audience: Audience,
    made_at: i64,
    act: Act,
    body: Body,
}

/// Crosses out this person's last entry or change on this device; with `back`, takes their last
/// crossing-out back.
pub(super) fn undo(node: &mut Node, author: PersonId, back: bool) -> Result<Value, NodeError> {
    let Some(found) = last(node, author, back)? else {
        return Err(NodeError::bad_input(if back {
            "you crossed nothing out on this device that could be taken back"
        } else {
            "there is nothing of yours on this device that could be crossed out"
        }));
    };
    if let Some(instead) = other_way(found.body.kind()) {
        let what = projections::words::kind_words(found.body.kind());
        return Err(NodeError::bad_input(format!("your last act was: {what}. It is not undone; {instead}")));
    }
    let of = found.act.entry_ref();
    let shown = named::shown(node, &found.act, &found.body);
    let mut act = node.act(author)?;
    act.replaces = named::said_of(node, &of);
    let payload = Payload { act, body: Body::Struck(Struck { of }) };
    let stands_again = if let Body::Struck(struck) = &found.body { Some(struck.of) } else { None };
    node.append(&[Write { audience: found.audience, payload }])?;
    Ok(match stands_again {
        Some(entry) => json!({ "back": named::described(node, &entry) }),
        None => json!({ "struck": shown }),
    })
}

/// What to do about a kind that is not undone; none for one that is.
const fn other_way(kind: Kind) -> Option<&'static str> {
    match kind {
        Kind::CrewFounded | Kind::PersonListed | Kind::DeviceAdmitted | Kind::Recovered => {
            Some("`fivebar retire` takes a phone or laptop off the crew")
        }
        Kind::OfficeKeysGiven => Some("it goes with what was sealed by it"),
        Kind::RoleChanged => Some("`fivebar role` gives the former role back"),
        Kind::DeviceRetired => Some("invite the phone or laptop anew"),
        Kind::SessionOpened | Kind::SessionClosed => Some("open or close the page where it stands"),
        Kind::Accepted => Some("if it is wrong, cross it out by `fivebar log struck --entry KEY`"),
        Kind::QuestionSettled => {
            Some("log what is so; the question is asked again when something new speaks for it")
        }
        Kind::InvoiceIssued
        | Kind::InvoiceCredited
        | Kind::InvoiceVoided
        | Kind::InvoiceAdopted
        | Kind::InvoiceSelfBilled
        | Kind::CreditAdopted => Some(
            "a number stands for good: `fivebar invoice credit` gives money back, `fivebar invoice void` empties it",
        ),
        Kind::ItemListed
        | Kind::JobListed
        | Kind::StageListed
        | Kind::LineListed
        | Kind::AliasTaught
        | Kind::Surveyed
        | Kind::NeedListed
        | Kind::FillInListed
        | Kind::LimitSet
        | Kind::RoomMeasured
        | Kind::Hours
        | Kind::WorkStarted
        | Kind::WorkSwitched
        | Kind::WorkStopped
        | Kind::Away
        | Kind::Bought
        | Kind::Delivered
        | Kind::Used
        | Kind::Wasted
        | Kind::Returned
        | Kind::Moved
        | Kind::HireBegan
        | Kind::HireEnded
        | Kind::Expense
        | Kind::Test
        | Kind::Photo
        | Kind::Note
        | Kind::SnagRaised
        | Kind::SnagCleared
        | Kind::ExtraAsked
        | Kind::ExtraAgreed
        | Kind::ExtraDeclined
        | Kind::LeftOff
        | Kind::Seen
        | Kind::ReadyForChecking
        | Kind::SignedOff
        | Kind::PartDone
        | Kind::Reopened
        | Kind::CalledBack
        | Kind::SignOffTold
        | Kind::Mileage
        | Kind::Corrected
        | Kind::Struck
        | Kind::FirmListed
        | Kind::PersonRated
        | Kind::ItemPriced
        | Kind::JobTerms
        | Kind::LinePriced
        | Kind::QuoteGiven
        | Kind::QuoteAgreed
        | Kind::PaymentPointSet
        | Kind::ExtraPriced
        | Kind::PricePaid
        | Kind::PointDue
        | Kind::JobCompleted
        | Kind::VatRateSet
        | Kind::PersonEngaged
        | Kind::TimeTermsSet
        | Kind::SelfBillingAgreed
        | Kind::CostBorneBy
        | Kind::DepositAsked
        | Kind::PaymentReceived
        | Kind::PaymentApplied
        | Kind::PaymentCertified => None,
    }
}

/// The last event of this person's on this device that holds and is, or is not, a crossing-out.
fn last(node: &mut Node, author: PersonId, strikes: bool) -> Result<Option<Own>, NodeError> {
    let own = node.ledger().chains().map(|chain| chain.start).filter(|start| start.device == node.key());
    let chains: Vec<_> = own.map(|start| (start.audience, start.chain)).collect();
    let mut found: Option<Own> = None;
    for (audience, chain) in chains {
        if let Some(own) = last_in(node, author, strikes, (audience, chain))?
            && found.as_ref().is_none_or(|found| found.made_at < own.made_at)
        {
            found = Some(own);
        }
    }
    Ok(found)
}

fn last_in(
    node: &mut Node,
    author: PersonId,
    strikes: bool,
    (audience, chain): (Audience, ChainId),
) -> Result<Option<Own>, NodeError> {
    /// Events that are read at once, from the chain's end towards its beginning.
    const WINDOW: u64 = 256;
    // A phone's book has nothing of the office's, so what its chain crosses out is noted on the way back.
    let mut struck = BTreeSet::new();
    let mut end = node.ledger().chain(&chain).map_or(0, |chain| chain.tip.next_seq);
    while end > 0 {
        let begin = end.saturating_sub(WINDOW);
        let mut events = Vec::new();
        let mut next_seq = begin;
        while next_seq < end {
            let Some(run) = node.read_run(chain, next_seq)? else { break };
            next_seq = run.next_seq();
            let read = (run.first_seq()..).zip(run.events()).filter_map(|(seq, event)| {
                let payload = node.read_payload(chain, seq, &event).ok()?;
                Some((event.made_at, payload))
            });
            events.extend(read.collect::<Vec<_>>());
        }
        for (made_at, Payload { act, body }) in events.into_iter().rev() {
            let own = act.entry_ref();
            if let Body::Struck(strike) = &body
                && !struck.contains(&own)
            {
                struck.insert(strike.of);
            }
            let is_said = body.kind() != Kind::OfficeKeysGiven;
            let is_wanted = is_said && act.author == author && matches!(body, Body::Struck(_)) == strikes;
            let stands = !struck.contains(&own) && !is_struck(node, &own);
            if is_wanted && stands && !goes_with_its_entry(node, &act, &body) {
                return Ok(Some(Own { audience: audience_of(audience, &body), made_at, act, body }));
            }
        }
        end = begin;
    }
    Ok(None)
}

/// A change of an entry goes where the entry is.
fn audience_of(chain: Audience, body: &Body) -> Audience {
    match body.kind().carried() {
        Carried::Crew => Audience::Crew,
        Carried::Office => Audience::Office,
        Carried::Either => chain,
    }
}

/// Whether it is the price that was logged in one line with its purchase, which is undone as one.
fn goes_with_its_entry(node: &Node, act: &Act, body: &Body) -> bool {
    let Body::PricePaid(paid) = body else { return false };
    let history = node.book().history(&paid.of);
    history.iter().any(|logged| logged.act.entry_ref() == paid.of && logged.act.row_key == act.row_key)
        && !act.row_key.is_empty()
}

/// Whether something is crossed out by an event that counts and is not itself crossed out.
fn is_struck(node: &Node, entry: &EntryRef) -> bool {
    let strikes = |of: &EntryRef| -> BTreeSet<EntryRef> {
        let history = node.book().history(of);
        let strikes = history
            .into_iter()
            .filter(|logged| matches!(logged.body, Body::Struck(_)) && logged.standing == Standing::Counted);
        strikes.map(|logged| logged.act.entry_ref()).collect()
    };
    strikes(entry).iter().any(|strike| strikes(strike).is_empty())
}
