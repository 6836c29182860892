//! Materials: used, wasted, sent back, delivered, bought; each of an item, in how it is counted.
//!
//! What happened to a thing is read from its own clause; "the other half" and "twelve metres left" are
//! about the thing before.

use rust_decimal::Decimal;

use crate::amounts::{self, Amount, Count, Named, plain};
use crate::clauses::{Clause, StageSaid, job_of, stage_said};
use crate::draft::{Draft, Scene, choice, stage_choices};
use crate::heard::{Column, Kind};
use crate::pieces::{Piece, What};
use crate::signs::Sign;
use crate::vocabulary::Item;

/// Reads the amounts of a clause into drafts, which may complete those before.
pub(crate) fn read(scene: &Scene<'_>, clause: &Clause, amounts: &[Amount], drafts: &mut Vec<Draft>) {
    let kind = kind_of(clause, drafts);
    for (number, amount) in amounts.iter().enumerate() {
        let pieces: Vec<&Piece> = amount.pieces.iter().filter_map(|at| clause.pieces.get(*at)).collect();
        if clause.has_sign(Sign::Left)
            && !returns(clause)
            && left_of_what_was_opened(scene, clause, amount, drafts)
        {
            continue;
        }
        let mut draft = Draft::new(kind);
        pieces.iter().for_each(|piece| draft.take(piece));
        let before = drafts.iter().rev().find(|draft| draft.kind.is_material()).cloned();
        let before_name = before.as_ref().map(|before| before.get(Column::What).to_owned());
        let amount = completed(amount, before.as_ref());
        let is_about_before = amount.count == Count::Other || clause.has(says_more);
        if matches!(amount.named, Named::Before)
            && (!is_about_before || before_name.as_deref().is_none_or(str::is_empty))
        {
            // A number of nothing: it stays with the words that were not understood.
            continue;
        }
        let item = amounts::write(scene, &amount, before_name.as_deref(), &mut draft);
        let item_name = item.map(|item| item.name.clone()).unwrap_or_default();
        draft.set(Column::Job, job_of(scene, clause));
        if matches!(kind, Kind::Used | Kind::Wasted | Kind::Returned) {
            write_stage(scene, clause, &item_name, before.as_ref(), &mut draft);
        }
        if kind == Kind::Wasted {
            let unit_is_each = item.is_some_and(|item| item.unit == "each");
            write_waste(
                amount.count == Count::Other || is_other(amounts.get(number)),
                unit_is_each,
                before.as_ref(),
                &mut draft,
            );
        }
        take_modifiers(scene, clause, &mut draft);
        if kind == Kind::Returned {
            show_net(item, &amount, before.as_ref(), &mut draft);
        }
        if clause.has_sign(Sign::Left) && kind == Kind::Used {
            ask_left_of(item, &amount, &mut draft);
        }
        if kind == Kind::Returned && draft.get(Column::ReturnedTo).is_empty() {
            let to = ["van", "merchant"]
                .map(|to| choice(format!("to the {to}"), [(Column::ReturnedTo, to.to_owned())]));
            let used = choice("no, used", [(Column::Kind, Kind::Used.word().to_owned())]);
            draft.ask("back where?", to.into_iter().chain([used]).collect(), None);
        }
        if clause.has_sign(Sign::Dropped) && kind == Kind::Used {
            let wasted =
                [(Column::Kind, Kind::Wasted.word().to_owned()), (Column::Counts, "on top".to_owned())];
            draft.ask("dropped: wasted, or used?", vec![choice("wasted", wasted), choice("used", [])], None);
        } else if clause.has_sign(Sign::Moved) && kind == Kind::Used {
            let only_moved = choice("only moved", [(Column::Kind, Kind::Note.word().to_owned())]);
            draft.ask("used, or only moved?", vec![choice("used", []), only_moved], None);
        } else if kind == Kind::Used && has_unknown(clause, &draft) {
            // A word that is not known may say that they were ordered, or are missing.
            let other = choice("no, a note", [(Column::Kind, Kind::Note.word().to_owned())]);
            draft.ask("was that used?", vec![choice("used", []), other], None);
        }
        drafts.push(draft);
    }
}

fn has_unknown(clause: &Clause, draft: &Draft) -> bool {
    clause.has(|piece| matches!(piece.what, What::Unknown) && !draft.words.contains(&piece.start))
        && !clause.has_time()
}

/// What was used of what was opened, where some of it went back.
fn show_net(item: Option<&Item>, amount: &Amount, before: Option<&Draft>, draft: &mut Draft) {
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

/// What is left says what was used only with what was opened.
fn ask_left_of(item: Option<&Item>, amount: &Amount, draft: &mut Draft) {
    let Some(item) = item else { return };
    let (Count::Exactly(left), Some(unit)) = (&amount.count, &amount.unit) else { return };
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
    draft.remarks.retain(|(_, text)| !text.contains(" = "));
    draft.ask(format!("{said}: of how much?"), choices, Some(Column::Quantity));
}

fn is_other(amount: Option<&Amount>) -> bool {
    amount.is_some_and(|amount| amount.count == Count::Other)
}

fn returns(clause: &Clause) -> bool {
    clause.has_sign(Sign::Returned) || clause.has_sign(Sign::Back) || clause.has_sign(Sign::Van)
}

/// What was done with the things of a clause.
fn kind_of(clause: &Clause, drafts: &[Draft]) -> Kind {
    let is_after_used = drafts.last().is_some_and(|draft| draft.kind == Kind::Used);
    if clause.has_sign(Sign::Wasted)
        || clause.has_sign(Sign::Ruined)
        || (clause.has_sign(Sign::Spoilt) && is_after_used)
    {
        Kind::Wasted
    } else if clause.has_sign(Sign::Spoilt) && !clause.has_sign(Sign::Returned) {
        // A bag split in the van did not go back to it.
        Kind::Wasted
    } else if returns(clause) && !clause.has_sign(Sign::FromMerchant) {
        Kind::Returned
    } else if clause.has_sign(Sign::Delivered) {
        Kind::Delivered
    } else if clause.has_sign(Sign::Bought) || clause.has_sign(Sign::FromMerchant) {
        Kind::Bought
    } else {
        Kind::Used
    }
}

/// "The other half" is a half, "two" are two of the same.
fn completed(amount: &Amount, before: Option<&Draft>) -> Amount {
    let mut amount = amount.clone();
    let Some(before) = before.filter(|_| amount.named == Named::Before || amount.count == Count::Other)
    else {
        return amount;
    };
    if amount.count == Count::Other {
        let said = Decimal::from_str_exact(before.get(Column::Quantity)).ok();
        let whole = said.map(|said| said.ceil() - said).filter(|rest| !rest.is_zero());
        amount.count = whole.map_or(Count::Missing, Count::Exactly);
    }
    if amount.unit.is_none() && !before.get(Column::Unit).is_empty() && amount.count != Count::Missing {
        let is_pack_of_many = before.get(Column::Unit) != "each";
        // "Two tiles" after "ten boxes" are not two boxes.
        if !is_pack_of_many || matches!(amount.named, Named::Before) {
            amount.unit = Some(before.get(Column::Unit).to_owned());
        }
    }
    amount
}

/// The stage: as said, else the one that the item was priced for, else asked.
fn write_stage(scene: &Scene<'_>, clause: &Clause, item: &str, before: Option<&Draft>, draft: &mut Draft) {
    let vocabulary = scene.vocabulary();
    let job = job_of(scene, clause);
    let is_free =
        |piece: &&Piece| matches!(piece.what, What::Name(_, Some(_))) && !draft.words.contains(&piece.start);
    let named: Vec<&Piece> = clause.pieces.iter().filter(is_free).collect();
    match stage_said(scene, clause, &named) {
        StageSaid::One(_, stage, _) => {
            named.iter().for_each(|piece| draft.take(piece));
            draft.set(Column::Stage, stage);
            return;
        }
        StageSaid::Several(stages) => {
            named.iter().for_each(|piece| draft.take(piece));
            draft.ask("which stage?", stage_choices(vocabulary, &job, &stages), Some(Column::Stage));
            return;
        }
        StageSaid::OtherJob(code, stage) => {
            named.iter().for_each(|piece| draft.take(piece));
            let sets = [(Column::Job, code.clone()), (Column::Stage, stage.clone())];
            draft.ask(format!("{stage} is a stage of {code}: there?"), vec![choice(code, sets)], None);
            return;
        }
        StageSaid::None => {}
    }
    if item.is_empty() {
        return;
    }
    if let Some(before) = before.filter(|before| before.get(Column::What) == item) {
        draft.set(Column::Stage, before.get(Column::Stage));
        return;
    }
    let priced: Vec<String> = vocabulary.stages_with(&job, item).into_iter().map(str::to_owned).collect();
    match priced.as_slice() {
        [one] => {
            draft.set(Column::Stage, one.clone());
            draft.show(format!("on {one}, where {item} was priced"));
        }
        several => draft.ask("which stage?", stage_choices(vocabulary, &job, several), Some(Column::Stage)),
    }
}

/// Whether what went to waste is part of what was said to be used.
fn write_waste(is_rest: bool, is_each: bool, before: Option<&Draft>, draft: &mut Draft) {
    let same = before
        .filter(|before| before.kind == Kind::Used && before.get(Column::What) == draft.get(Column::What));
    if let Some(came) =
        before.filter(|before| before.kind == Kind::Delivered && !before.get(Column::What).is_empty())
    {
        let back = [
            (Column::Kind, Kind::Returned.word().to_owned()),
            (Column::ReturnedTo, "merchant".to_owned()),
            (Column::Counts, String::new()),
        ];
        let question = format!("{} came so: back to the merchant's, or ours?", came.get(Column::What));
        draft.ask(question, vec![choice("back", back), choice("ours", [])], None);
    }
    let Some(used) = same else {
        draft.set(Column::Counts, "on top");
        return;
    };
    let sum = Decimal::from_str_exact(used.get(Column::Quantity))
        .ok()
        .zip(Decimal::from_str_exact(draft.get(Column::Quantity)).ok())
        .filter(|_| used.get(Column::Unit) == draft.get(Column::Unit))
        .and_then(|(used, wasted)| used.checked_add(wasted));
    if is_rest || is_each {
        draft.set(Column::Counts, "on top");
        if let Some(sum) = sum {
            let unit = Some(used.get(Column::Unit)).filter(|unit| *unit != "each");
            let sum = plain(sum);
            draft.show(
                unit.map_or_else(|| format!("{sum} gone in all"), |unit| format!("{sum} {unit} gone in all")),
            );
        }
        return;
    }
    let question =
        format!("out of the {} {}, or on top?", used.get(Column::Quantity), used.get(Column::Unit));
    let choices = vec![
        choice("out of them", [(Column::Counts, "out of".to_owned())]),
        choice("on top", [(Column::Counts, "on top".to_owned())]),
    ];
    draft.ask(question, choices, None);
}

/// "Twelve metres left": the draft before used the rest of what was opened.
fn left_of_what_was_opened(
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
    let unit = amount.unit.clone().unwrap_or_else(|| item.unit.clone());
    for piece in &clause.pieces {
        if matches!(piece.what, What::Sign(Sign::Left)) {
            opened.take(piece);
        }
    }
    amount.pieces.iter().filter_map(|at| clause.pieces.get(*at)).for_each(|piece| opened.take(piece));
    match amounts::used_from_left(item, packs, &pack, left, &unit) {
        Ok(used) => {
            opened.note(&format!("{} {unit} left of {} {pack}", plain(left), plain(packs)));
            opened.show(format!("{} {} used", plain(used.value()), item.unit));
            opened.set(Column::Quantity, plain(used.value()));
            opened.set(Column::Unit, item.unit.clone());
            opened.remarks.retain(|(_, text)| !text.contains(" = "));
        }
        Err(error) => opened.refuse(error),
    }
    true
}

/// What else a clause says of its things.
pub(crate) fn take_modifiers(scene: &Scene<'_>, clause: &Clause, draft: &mut Draft) {
    for piece in &clause.pieces {
        if draft.words.contains(&piece.start) {
            continue;
        }
        let is_used = match &piece.what {
            What::Sign(Sign::Wasted | Sign::Ruined | Sign::Spoilt) => {
                if draft.kind == Kind::Wasted && !piece.is_sign(Sign::Wasted) {
                    draft.note(&scene.line.said(piece.start, piece.end));
                }
                draft.kind == Kind::Wasted
            }
            What::Sign(Sign::Van) if draft.kind == Kind::Wasted => {
                draft.note(&scene.line.said(piece.start, piece.end));
                true
            }
            What::Sign(Sign::Back | Sign::Dropped) => draft.kind == Kind::Returned,
            What::Sign(Sign::Returned | Sign::Van | Sign::Merchant) if draft.kind == Kind::Returned => {
                let is_merchant = piece.is_sign(Sign::Merchant);
                if is_merchant {
                    draft.show("a credit is awaited");
                }
                if is_merchant || draft.get(Column::ReturnedTo).is_empty() {
                    draft.set(Column::ReturnedTo, if is_merchant { "merchant" } else { "van" });
                }
                true
            }
            What::Sign(Sign::CustomersOwn) => {
                draft.set(Column::Whose, "customer");
                draft.show("the customer's own: costs nothing, is never billed");
                true
            }
            What::Sign(
                Sign::Used
                | Sign::Moved
                | Sign::Opened
                | Sign::Delivered
                | Sign::Bought
                | Sign::FromMerchant
                | Sign::Left,
            ) => true,
            What::Sign(Sign::About) => {
                draft.show("said as about");
                true
            }
            What::Sign(Sign::NotFinished) => {
                ask_how_much(scene, draft);
                true
            }
            What::Day(read) => {
                draft.on_day(Some(read.day), scene.now);
                true
            }
            What::Job(_) => true,
            What::Person(person) => {
                if *person != scene.vocabulary().me {
                    draft.set(Column::Person, person.clone());
                }
                true
            }
            What::Place(place) => {
                draft.set(Column::Where, place.clone());
                true
            }
            _ => false,
        };
        if is_used {
            draft.take(piece);
        }
    }
    if draft.get(Column::DoneOn).is_empty() {
        draft.on_day(clause.about.day, scene.now);
    }
    if draft.get(Column::Whose) == "customer"
        && let Some(item) = scene.vocabulary().item(draft.get(Column::What))
        && let Some(pack) =
            item.packs.iter().find(|pack| pack.name == draft.get(Column::Unit) && pack.name != item.unit)
    {
        let held = format!("{} {}", plain(pack.size.value()), item.unit);
        draft.offer(
            format!("{held} in a {}, as the book's?", pack.name),
            vec![choice("as the book's", [])],
            Some(Column::Note),
        );
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

/// A sign of what happened to a thing.
fn says_more(piece: &Piece) -> bool {
    matches!(
        piece.what,
        What::Sign(
            Sign::Wasted
                | Sign::Ruined
                | Sign::Spoilt
                | Sign::Returned
                | Sign::Back
                | Sign::Van
                | Sign::Merchant
                | Sign::CustomersOwn
                | Sign::Used
                | Sign::Left
                | Sign::NotFinished
        ) | What::Place(_)
    )
}

/// A clause without an amount that says more of the things before it: "that's on the van", "bowed".
pub(crate) fn read_more(scene: &Scene<'_>, clause: &Clause, drafts: &mut [Draft]) -> bool {
    let has_unknown = clause.has(|piece| matches!(piece.what, What::Unknown | What::Name(..)));
    if !clause.has(says_more) || has_unknown {
        return false;
    }
    let Some(at) = drafts.iter().rposition(|draft| draft.kind.is_material()) else { return false };
    let Some(draft) = drafts.get_mut(at) else { return false };
    let kind = kind_of(clause, &[]);
    if draft.kind == Kind::Used && kind != Kind::Used {
        draft.kind = kind;
        if kind == Kind::Wasted {
            draft.set(Column::Counts, "on top");
        }
    }
    if draft.kind == Kind::Wasted && kind == Kind::Returned {
        // "Twisted, sent back to the merchant's" is no waste of ours.
        draft.kind = kind;
        draft.set(Column::Counts, "");
    }
    take_modifiers(scene, clause, draft);
    true
}
