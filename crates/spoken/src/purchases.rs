//! What was bought: the price, with VAT or without, and who paid.
//!
//! A price is never guessed from the book, and whether it is with VAT is asked where it was not said.

use rust_decimal::Decimal;
use trade::Pence;

use crate::clauses::{Clause, job_of};
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Column, Kind};
use crate::pieces::{Piece, What};
use crate::signs::Sign;
use crate::words::text_at;

/// Money that was said: pounds, and the pieces of the clause that say it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Money {
    pub(crate) pounds: Pence,
    pub(crate) pieces: Vec<usize>,
    /// It was said to be money: pounds, or VAT.
    pub(crate) is_sure: bool,
}

fn is_money_word(text: &str) -> bool {
    matches!(text, "£" | "quid" | "pound" | "pounds" | "p" | "pence")
}

/// Pounds and pence: "48.75", "forty-eight seventy-five", "sixty quid", "£12".
///
/// Two bare numbers side by side are money only where something else says that this was a purchase.
pub(crate) fn money_in(scene: &Scene<'_>, clause: &Clause, is_purchase: bool) -> Option<Money> {
    let pieces = &clause.pieces;
    let number = |at: usize| match pieces.get(at).map(|piece| &piece.what) {
        Some(What::Number(value)) => Some(*value),
        _ => None,
    };
    let text = |at: usize| pieces.get(at).map_or("", |piece| text_at(scene.words(), piece.start));
    for at in 0..pieces.len() {
        let Some(value) = number(at) else { continue };
        let mut taken = vec![at];
        let has_sign = at > 0 && text(at - 1) == "£";
        if has_sign {
            taken.insert(0, at - 1);
        }
        let mut next = at + 1;
        let has_word = is_money_word(text(next));
        if has_word {
            taken.push(next);
            next += 1;
        }
        let pence = number(next).filter(|pence| {
            pence.fract().is_zero()
                && *pence >= Decimal::ONE
                && *pence < Decimal::ONE_HUNDRED
                && value.fract().is_zero()
        });
        let followed = |at: usize| {
            matches!(pieces.get(at).map(|piece| &piece.what), Some(What::Unit(_) | What::Name(Some(_), _)))
        };
        let pence = pence.filter(|pence| has_word || *pence >= Decimal::TEN).filter(|_| !followed(next + 1));
        if pence.is_some() {
            taken.push(next);
        }
        let two_places = value.scale() == 2;
        let with_vat = matches!(
            pieces.get(taken.last().map_or(at, |last| last + 1)).map(|piece| &piece.what),
            Some(What::Sign(Sign::Net | Sign::Gross))
        );
        let is_said = has_sign || has_word || with_vat || (is_purchase && (pence.is_some() || two_places));
        if !is_said || (pence.is_none() && !has_word && followed(at + 1)) {
            continue;
        }
        let total = value + pence.unwrap_or_default() / Decimal::ONE_HUNDRED;
        if total.normalize().scale() > 2 {
            continue;
        }
        let is_sure = has_sign || has_word || with_vat;
        return Some(Money { pounds: Pence::from_pounds_half_up(total), pieces: taken, is_sure });
    }
    None
}

/// Whether a clause says that something was bought.
pub(crate) fn is_purchase(clause: &Clause) -> bool {
    let says = |piece: &Piece| {
        matches!(
            piece.what,
            What::Sign(
                Sign::FromMerchant
                    | Sign::Bought
                    | Sign::Paid(_)
                    | Sign::Net
                    | Sign::Gross
                    | Sign::Sundries
                    | Sign::Merchant
            )
        )
    };
    clause.has(says)
        && !clause.has_sign(Sign::Returned)
        && !clause.has_sign(Sign::Back)
        && !clause.has_sign(Sign::Van)
}

/// Reads a clause's price and payment into the purchase before it, or into one of sundries.
pub(crate) fn read(
    scene: &Scene<'_>,
    clause: &Clause,
    money: Option<&Money>,
    drafts: &mut Vec<Draft>,
) -> bool {
    let has_payment =
        clause.has(|piece| matches!(piece.what, What::Sign(Sign::Paid(_) | Sign::Net | Sign::Gross)));
    if money.is_none() && !has_payment {
        return false;
    }
    let bought = drafts.iter().rposition(|draft| draft.kind == Kind::Bought);
    let at = match bought {
        Some(at) => at,
        None if money.is_some_and(|money| money.is_sure || is_purchase(clause)) => {
            let mut draft = Draft::new(Kind::Bought);
            draft.set(Column::Job, job_of(scene, clause));
            draft.set(Column::What, "sundries");
            draft.on_day(clause.about.day, scene.now);
            note_what_for(scene, clause, money, &mut draft);
            drafts.push(draft);
            drafts.len() - 1
        }
        None => return false,
    };
    let Some(draft) = drafts.get_mut(at) else { return false };
    if let Some(money) = money {
        draft.set(Column::Price, money.pounds.to_string());
        money.pieces.iter().filter_map(|at| clause.pieces.get(*at)).for_each(|piece| draft.take(piece));
        show_each(draft, money.pounds);
    }
    for piece in &clause.pieces {
        match piece.what {
            What::Sign(Sign::Net) => draft.set(Column::Vat, "net"),
            What::Sign(Sign::Gross) => draft.set(Column::Vat, "gross"),
            What::Sign(Sign::Paid(how)) => draft.set(Column::PaidBy, how),
            What::Sign(Sign::Sundries | Sign::Merchant | Sign::FromMerchant | Sign::Bought)
            | What::Job(_)
            | What::Day(_) => {}
            _ => continue,
        }
        draft.take(piece);
    }
    true
}

/// What the money went on, as it was said, where it is no item of the book.
fn note_what_for(scene: &Scene<'_>, clause: &Clause, money: Option<&Money>, draft: &mut Draft) {
    let is_said = |at: usize, piece: &Piece| {
        matches!(piece.what, What::Unknown | What::Name(..))
            && money.is_none_or(|money| !money.pieces.contains(&at))
    };
    let said: Vec<&Piece> = clause
        .pieces
        .iter()
        .enumerate()
        .filter(|(at, piece)| is_said(*at, piece))
        .map(|(_, piece)| piece)
        .collect();
    let texts: Vec<String> = said.iter().map(|piece| scene.line.said(piece.start, piece.end)).collect();
    said.iter().for_each(|piece| draft.take(piece));
    draft.note(&texts.join(" "));
}

/// What one of them cost, where that is whole pence.
fn show_each(draft: &mut Draft, pounds: Pence) {
    let Ok(count) = Decimal::from_str_exact(draft.get(Column::Quantity)) else { return };
    let Some(each) = pounds.pounds().checked_div(count) else { return };
    if each.normalize().scale() <= 2 {
        let each = Pence::from_pounds_half_up(each);
        draft.show(match draft.get(Column::Unit) {
            "each" => format!("{each} each"),
            unit => format!("{each} a {unit}"),
        });
    }
}

/// What every purchase is asked once the line is read.
pub(crate) fn finish(scene: &Scene<'_>, draft: &mut Draft) {
    if draft.kind != Kind::Bought {
        return;
    }
    if draft.get(Column::PaidBy) == "own pocket" {
        draft.show(format!("owed to {}", scene.vocabulary().me));
    }
    if !draft.get(Column::Price).is_empty() && draft.get(Column::Vat).is_empty() {
        let choices = vec![
            choice("with VAT", [(Column::Vat, "gross".to_owned())]),
            choice("plus VAT", [(Column::Vat, "net".to_owned())]),
        ];
        draft.ask("is that with VAT?", choices, None);
    }
    draft.offer("a photo of the ticket?", vec![choice("later", [])], None);
}
