//! Which series of numbers this device's invoices and credit notes belong to.
//!
//! A series belongs to one chain, so that two devices that bill apart never give one number twice. The first, which goes on
//! from the firm's own numbers, is for the chain in which the founding device wrote first; every other chain has letters
//! of its own, which follow from its id, so that nobody has to agree on them. A device that left its chain (it was set
//! back, or damaged) may not remember its last number, and so begins a series too.

use std::collections::BTreeSet;

use ledger::{Audience, Body, ChainId};

use crate::error::NodeError;
use crate::node::Node;

/// The letters: without vowels, so that no series is a word.
const LETTERS: &[u8; 20] = b"BCDFGHJKLMNPQRSTVWXZ";
/// So many of them: 3,200,000 series, of which a crew has as many as chains that bill.
const LENGTH: usize = 5;

/// The series of the chain that this device writes for the office; empty for the first.
///
/// # Errors
/// As for beginning a chain, where there is none yet.
pub(crate) fn own(node: &mut Node) -> Result<String, NodeError> {
    let chain = node.office_chain()?;
    Ok(if is_first(node, chain) { String::new() } else { letters(chain) })
}

/// Whether the first series is this chain's.
fn is_first(node: &Node, own: ChainId) -> bool {
    let in_first = node.book().entries().filter(|entry| match entry.body.as_ref() {
        Body::InvoiceIssued(issued) => {
            issued.document.series.is_empty() && issued.document.self_billed_as.is_empty()
        }
        Body::InvoiceCredited(credited) => credited.document.series.is_empty(),
        _ => false,
    });
    let chains: BTreeSet<ChainId> = in_first.map(|entry| entry.logged.chain).collect();
    if !chains.is_empty() {
        return chains.contains(&own);
    }
    let founded_here =
        node.ledger().roster().founding().is_some_and(|founding| founding.device == node.key());
    let mut written = node.ledger().chains().filter(|chain| {
        let start = chain.start;
        start.device == node.key() && start.audience == Audience::Office && chain.tip.next_seq > 0
    });
    founded_here && written.all(|chain| chain.start.chain == own)
}

/// The letters of a chain's series.
fn letters(chain: ChainId) -> String {
    let hash = blake3::derive_key("fivebar series of numbers 1", &chain.0);
    let letter = |byte: &u8| char::from(LETTERS[usize::from(*byte) % LETTERS.len()]);
    hash.iter().take(LENGTH).map(letter).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_has_the_same_letters_everywhere_and_others_have_others() {
        let series: BTreeSet<String> = (0..200).map(|byte| letters(ChainId([byte; 16]))).collect();
        assert_eq!(series.len(), 200);
        assert!(series.iter().all(|letters| letters.len() == LENGTH));
        assert_eq!(letters(ChainId([7; 16])), letters(ChainId([7; 16])));
    }
}
