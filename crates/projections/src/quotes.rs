//! The quote of a job that counts, and what it comes to with its extras and less what was left out.

use std::collections::BTreeMap;

use ledger::office::{PaymentPointSet, QuoteGiven};
use ledger::site::ExtraTerms;
use ledger::{EntryRef, JobId, QuoteId};
use trade::Pence;

use crate::extras::AgreedExtra;
use crate::lists::Lists;

/// The versions of a job's quote, first to last.
#[must_use]
pub fn versions<'book>(lists: &Lists<'book>, job: JobId) -> Vec<&'book QuoteGiven> {
    let mut versions: Vec<_> = lists.quotes.values().copied().filter(|quote| quote.job == job).collect();
    versions.sort_by_key(|quote| (quote.version, quote.quote));
    versions
}

/// The version that counts: the last one accepted, else the last one given.
#[must_use]
pub fn standing_quote<'book>(lists: &Lists<'book>, job: JobId) -> Option<&'book QuoteGiven> {
    let versions = versions(lists, job);
    let agreed = versions.iter().rev().find(|quote| lists.agreed.contains_key(&quote.quote));
    agreed.or(versions.last()).copied()
}

/// The payment points of a job, in their order. They stay when a new version of the quote is given,
/// until they are set anew: what they billed stays billed.
#[must_use]
pub fn points<'book>(lists: &Lists<'book>, job: JobId) -> Vec<&'book PaymentPointSet> {
    let of_job = |quote: QuoteId| lists.quotes.get(&quote).is_some_and(|quote| quote.job == job);
    let mut points: Vec<_> = lists.points.values().copied().filter(|point| of_job(point.quote)).collect();
    points.sort_by_key(|point| (point.order, point.point));
    points
}

/// What an extra adds to the quote; below nought for what was left out, and nothing while its price is
/// not set. What is billed by what is done, or not at all, is no part of the quote.
#[must_use]
pub fn adds(extra: &AgreedExtra, lists: &Lists<'_>) -> Pence {
    let amount = lists.extras.get(&extra.key).map_or(Pence::ZERO, |priced| priced.amount);
    match extra.terms {
        ExtraTerms::AtAPrice => amount,
        ExtraTerms::LeftOut => -amount,
        ExtraTerms::OnTheClock | ExtraTerms::Free => Pence::ZERO,
    }
}

/// Whether an extra needs a price and has none yet.
#[must_use]
pub fn lacks_a_price(extra: &AgreedExtra, lists: &Lists<'_>) -> bool {
    let priced = matches!(extra.terms, ExtraTerms::AtAPrice | ExtraTerms::LeftOut);
    priced && !lists.extras.contains_key(&extra.key)
}

/// What a job's payment points must come to: the quote that counts with its agreed extras, less what
/// was left out. None without a quote.
#[must_use]
pub fn points_due(lists: &Lists<'_>, extras: &BTreeMap<EntryRef, AgreedExtra>, job: JobId) -> Option<Pence> {
    let quote = standing_quote(lists, job)?;
    let extras = extras.values().filter(|extra| extra.job == job);
    Some(quote.price + extras.map(|extra| adds(extra, lists)).sum::<Pence>())
}
