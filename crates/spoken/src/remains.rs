//! What is left of what was opened: how much was used follows from it, or is asked.
//!
//! Nothing is used that was only said to be left, and "one left" beside "used three" may be a fourth.

use rust_decimal::Decimal;

use crate::amounts::{self, Amount, Count, Named, plain};
use crate::clauses::Clause;
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Column, Kind};
use crate::pieces::What;
use crate::signs::Sign;
use crate::vocabulary::Item;
use crate::words::text_at;

/// "Twelve metres left": the draft before used the rest of what was opened.
pub(crate) fn left_of_what_was_opened(
    scene: &Scene<'_>,
    clause: &Clause,
    amount: &Amount,
    drafts: &mut [Draft],
) -> bool {
    let Count::Exactly(left) = amount.count else { return false };
    let Some(opened) = drafts.iter_mut().rev().find(|draft| draft.kind == Kind::Used) else { return false };
    let vocabulary = scene.vocabulary();
    let Some(item) = vocabulary.item(opened.get(Column::What)) else { return false };
    if let Named::Items(found, ..) = &amount.named
        && !found
            .items
            .iter()
            .any(|at| vocabulary.items.get(*at).is_some_and(|named| named.name == item.name))
    {
        return false;
    }
    let Ok(packs) = Decimal::from_str_exact(opened.get(Column::Quantity)) else { return false };
    let pack = opened.get(Column::Unit).to_owned();
    // "Three bags, one left" is one bag; "a coil, twelve left" can't be twelve coils.
    let in_packs = if left <= packs { &pack } else { &item.unit };
    let unit = amount.unit.clone().unwrap_or_else(|| in_packs.clone());
    for piece in &clause.pieces {
        if matches!(piece.what, What::Sign(Sign::Left)) {
            opened.take(piece);
        }
    }
    amount.pieces.iter().filter_map(|at| clause.pieces.get(*at)).for_each(|piece| opened.take(piece));
    match amounts::used_from_left(item, packs, &pack, left, &unit) {
        Ok(used) => {
            let is_used = opened.words.iter().any(|at| text_at(scene.words(), *at) == "used");
            if !opened.is_opened && (is_used || unit == pack) {
                // "Used three bags, one left": of the three, or a fourth.
                let left = format!("{} {unit} left", plain(left));
                let sets = [(Column::Quantity, plain(used.value())), (Column::Unit, item.unit.clone())];
                let of_them = choice(format!("of them: {} {} used", plain(used.value()), item.unit), sets);
                let besides = choice(format!("besides: {} {pack} used", plain(packs)), []);
                opened.ask(
                    format!("{left}: of the {} {pack}, or besides?", plain(packs)),
                    vec![of_them, besides],
                    None,
                );
                opened.note(&left);
                return true;
            }
            opened.note(&format!("{} {unit} left of {} {pack}", plain(left), plain(packs)));
            opened.comes_to = format!("{} {} used", plain(used.value()), item.unit);
            opened.set(Column::Quantity, plain(used.value()));
            opened.set(Column::Unit, item.unit.clone());
        }
        Err(error) => opened.refuse(error),
    }
    true
}

/// What is left says what was used only with what was opened.
pub(crate) fn ask_left_of(item: Option<&Item>, amount: &Amount, draft: &mut Draft) {
    let Some(item) = item else { return };
    let Count::Exactly(left) = &amount.count else { return };
    let unit = amount.unit.as_ref().unwrap_or(&item.unit);
    let said = format!("{} {unit} left", plain(*left));
    let packs = item.packs.iter().filter(|pack| pack.name != item.unit);
    let choices = packs.flat_map(|pack| {
        (1..=3).filter_map(|opened| {
            let used = amounts::used_from_left(item, Decimal::from(opened), &pack.name, *left, unit).ok()?;
            if used.is_zero() {
                return None;
            }
            let sets = [(Column::Quantity, plain(used.value())), (Column::Unit, item.unit.clone())];
            Some(choice(
                format!("of {opened} {}: {} {} used", pack.name, plain(used.value()), item.unit),
                sets,
            ))
        })
    });
    let choices = choices.collect();
    draft.set(Column::Quantity, "");
    draft.note(&said);
    draft.comes_to.clear();
    draft.ask(format!("{said}: of how much?"), choices, Some(Column::Quantity));
}

/// What was used of what was opened, where some of it went back.
pub(crate) fn show_net(item: Option<&Item>, amount: &Amount, before: Option<&Draft>, draft: &mut Draft) {
    let Some(used) = before
        .filter(|before| before.kind == Kind::Used && before.get(Column::What) == draft.get(Column::What))
    else {
        return;
    };
    let (Some(item), Count::Exactly(back), Some(unit)) = (item, &amount.count, &amount.unit) else { return };
    let Ok(packs) = Decimal::from_str_exact(used.get(Column::Quantity)) else { return };
    if let Ok(net) = amounts::used_from_left(item, packs, used.get(Column::Unit), *back, unit) {
        draft.show(format!("{} {} net", plain(net.value()), item.unit));
    }
}

/// "Not finished it": how much is used or left is asked.
pub(crate) fn ask_how_much(scene: &Scene<'_>, draft: &mut Draft) {
    let unit = draft.get(Column::Unit).to_owned();
    let item = scene.vocabulary().item(draft.get(Column::What));
    let all = item.and_then(|item| {
        let pack = item.packs.iter().find(|pack| pack.name == unit)?;
        Some(format!("the {} {}", plain(pack.size.value()), item.unit))
    });
    let of = all.unwrap_or_else(|| "it".to_owned());
    let choices = [("a quarter used", "0.25"), ("half used", "0.5"), ("three quarters used", "0.75")];
    let choices = choices.map(|(label, value)| choice(label, [(Column::Quantity, value.to_owned())]));
    draft.ask(
        format!("how much of {of} is used, or left?"),
        choices.into_iter().collect(),
        Some(Column::Quantity),
    );
}
