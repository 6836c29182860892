//! Materials: used, wasted, sent back, delivered, bought; each of an item, in how it is counted.
//!
//! What happened to a thing is read from its own clause; "the other half" and "twelve metres left" are
//! about the thing before.

use rust_decimal::Decimal;

use crate::amounts::{self, Amount, Count, Named, plain};
use crate::clauses::{Clause, StageSaid, job_of, stage_said};
use crate::draft::{Draft, Scene, choice, stage_choices};
use crate::heard::{Column, Kind};
use crate::moves;
use crate::pieces::{Piece, What};
use crate::remains::{ask_how_much, ask_left_of, left_of_what_was_opened, show_net};
use crate::signs::Sign;

/// Reads the amounts of a clause into drafts, which may complete those before.
pub(crate) fn read(scene: &Scene<'_>, clause: &Clause, amounts: &[Amount], drafts: &mut Vec<Draft>) {
    let ends = moves::ends(scene, clause).filter(|_| clause.has_sign(Sign::Moved));
    let kind = match kind_of(clause, drafts) {
        Kind::Used if ends.as_ref().is_some_and(moves::Ends::are_jobs) => Kind::Moved,
        kind => kind,
    };
    ask_whether_both(clause, amounts, kind, drafts);
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
        draft.is_said_used = clause.has_sign(Sign::Used) || clause.has_sign(Sign::Opened);
        draft.is_opened = clause.has_sign(Sign::Opened);
        take_modifiers(scene, clause, &mut draft);
        if kind == Kind::Returned {
            show_net(item, &amount, before.as_ref(), &mut draft);
        }
        if clause.has_sign(Sign::Left) && kind == Kind::Used {
            ask_left_of(item, &amount, &mut draft);
        }
        if kind == Kind::Returned && draft.get(Column::Into).is_empty() {
            let to =
                ["van", "merchant"].map(|to| choice(format!("to the {to}"), [(Column::Into, to.to_owned())]));
            let used = choice("no, used", [(Column::Kind, Kind::Used.word().to_owned())]);
            draft.ask("back where?", to.into_iter().chain([used]).collect(), None);
        }
        if clause.has_sign(Sign::Dropped) && kind == Kind::Used {
            let wasted =
                [(Column::Kind, Kind::Wasted.word().to_owned()), (Column::Counts, "on top".to_owned())];
            draft.ask("dropped: wasted, or used?", vec![choice("wasted", wasted), choice("used", [])], None);
        } else if let Some(ends) = &ends
            && kind == Kind::Moved
        {
            ends.write(&mut draft);
        } else if let Some(ends) = &ends
            && kind == Kind::Used
        {
            ends.ask(&mut draft);
        } else {
            draft.has_unknown_word = has_unknown(clause, &draft);
        }
        drafts.push(draft);
    }
}

/// Asks whether what nothing else became of was used: a word that is not known may say that it was ordered,
/// or is missing.
pub(crate) fn ask_if_used(draft: &mut Draft) {
    if draft.kind == Kind::Used && draft.has_unknown_word {
        let other = choice("no, a note", [(Column::Kind, Kind::Note.word().to_owned())]);
        draft.ask("was that used?", vec![choice("used", []), other], None);
    }
}

fn has_unknown(clause: &Clause, draft: &Draft) -> bool {
    clause.has(|piece| matches!(piece.what, What::Unknown) && !draft.words.contains(&piece.start))
        && !clause.has_time()
}

/// "Ten boards and two studs delivered": whether the sign is of both is asked.
fn ask_whether_both(clause: &Clause, amounts: &[Amount], kind: Kind, drafts: &mut [Draft]) {
    let is_joined = clause.pieces.first().is_some_and(|piece| matches!(piece.what, What::And));
    let last_amount = amounts.iter().flat_map(|amount| amount.pieces.last()).max();
    let fate = clause.pieces.iter().position(Piece::is_fate);
    let is_after = last_amount.zip(fate).is_some_and(|(amount, fate)| fate > *amount);
    let is_new_thing =
        amounts.iter().all(|amount| amount.named != Named::Before && amount.count != Count::Other);
    if kind == Kind::Used || !is_joined || !is_after || !is_new_thing || amounts.is_empty() {
        return;
    }
    let Some(before) = drafts.last_mut().filter(|draft| draft.kind == Kind::Used && !draft.is_said_used)
    else {
        return;
    };
    let both = choice(format!("{} too", kind.word()), [(Column::Kind, kind.word().to_owned())]);
    before.ask(format!("{} too, or used?", kind.word()), vec![both, choice("used", [])], None);
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
            (Column::Into, "merchant".to_owned()),
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
        choice("out of them", [(Column::Counts, "out of used".to_owned())]),
        choice("on top", [(Column::Counts, "on top".to_owned())]),
    ];
    draft.ask(question, choices, None);
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
            What::Sign(Sign::Merchant) if draft.kind == Kind::Delivered => true,
            What::Sign(Sign::Back | Sign::Dropped) => draft.kind == Kind::Returned,
            What::Sign(Sign::Returned | Sign::Van | Sign::Merchant) if draft.kind == Kind::Returned => {
                let is_merchant = piece.is_sign(Sign::Merchant);
                if is_merchant {
                    draft.show("a credit is awaited");
                }
                if is_merchant || draft.get(Column::Into).is_empty() {
                    draft.set(Column::Into, if is_merchant { "merchant" } else { "van" });
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
                let said = format!("{} {}", draft.get(Column::Quantity), draft.get(Column::Unit));
                draft.ask(
                    format!("not exactly: log it as {said}?"),
                    vec![choice("yes", [])],
                    Some(Column::Quantity),
                );
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
