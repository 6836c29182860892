//! Reading a line from beginning to end: each clause by whoever knows its kind, then the words left over.

use crate::amounts::{self, amounts};
use crate::clauses::{Clause, split};
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Ambiguity, Column, Heard, Kind, Proposal, Remark, Tone};
use crate::names::Names;
use crate::pieces::{Piece, Scanner, What, is_filler};
use crate::signs::Sign;
use crate::vocabulary::{Now, Vocabulary};
use crate::words::{Line, Stop};
use crate::{changes, doubts, hours, materials, purchases, readings, sayings};

/// Longest line that is read, in words; what is beyond is listed as not understood.
const MOST_WORDS: usize = 400;

/// What a line says, as proposals. `last` is the entry logged before it, which "no, eleven not ten" and
/// "scrub that" are about.
#[must_use]
pub fn understand(line: &str, vocabulary: &Vocabulary, now: &Now, last: Option<&Proposal>) -> Heard {
    let mut line = Line::read(line);
    line.words.truncate(MOST_WORDS);
    let names = Names::read(vocabulary);
    let scene = Scene { line: &line, names: &names, now, last };
    let pieces = Scanner { words: &line.words, names: &names, now }.pieces();
    let clauses = join(split(&scene, pieces));
    let mut drafts = Vec::new();
    let mut remarks = Vec::new();
    let mut at = 0;
    while let Some(rest) = clauses.get(at..).filter(|rest| !rest.is_empty()) {
        at += read_clause(&scene, rest, &mut drafts, &mut remarks).max(1);
    }
    drafts.iter_mut().for_each(materials::ask_if_used);
    doubts::ask(&scene, &clauses, &mut drafts);
    drafts.iter_mut().for_each(|draft| purchases::finish(&scene, draft));
    drafts.iter_mut().for_each(|draft| ask_job(&scene, draft));
    heard(&line, drafts, remarks)
}

/// Where no job is chosen and none was said.
fn ask_job(scene: &Scene<'_>, draft: &mut Draft) {
    let needs_none = matches!(draft.kind, Kind::Away | Kind::Corrected | Kind::Struck | Kind::Stopped);
    let is_refused = draft.remarks.iter().any(|(tone, _)| *tone == Tone::Refused);
    if needs_none || is_refused || !draft.get(Column::Job).is_empty() {
        return;
    }
    let jobs = scene.vocabulary().jobs.iter();
    let choices = jobs.map(|job| choice(job.code.clone(), [(Column::Job, job.code.clone())])).collect();
    draft.ask("which job?", choices, Some(Column::Job));
}

/// Puts together what commas part and one reader must see whole.
fn join(clauses: Vec<Clause>) -> Vec<Clause> {
    let mut joined: Vec<Clause> = Vec::new();
    for clause in clauses {
        match joined.last_mut() {
            Some(before) if belongs_to(before, &clause) => {
                before.pieces.extend(clause.pieces);
                before.about = clause.about;
            }
            Some(_) | None => joined.push(clause),
        }
    }
    joined
}

fn belongs_to(before: &Clause, clause: &Clause) -> bool {
    let has_unknown = |clause: &Clause| clause.has(|piece| matches!(piece.what, What::Unknown));
    let is_full =
        clause.pieces.first().is_some_and(|piece| piece.stop == Stop::Full || piece.is_sign(Sign::Then));
    let names_stage =
        |clause: &Clause| clause.has(|piece| matches!(piece.what, What::Name(_, Some(_)) | What::Test(_)));
    let names_item = |clause: &Clause| clause.has(|piece| matches!(piece.what, What::Name(Some(_), _)));
    let is_errand = |clause: &Clause| {
        clause.has(|piece| matches!(piece.what, What::Sign(Sign::NoStage(_) | Sign::Merchant)))
    };
    let only_stage = |clause: &Clause| {
        names_stage(clause)
            && !clause.has_head()
            && !clause.has(|piece| matches!(piece.what, What::Unknown | What::Sign(_)))
    };
    let only_errand = |clause: &Clause| is_errand(clause) && !clause.has_head() && !names_item(clause);
    if is_full {
        return false;
    }
    // "Twelve metres left, that's on the van".
    let goes = clause.has_sign(Sign::Van) || clause.has_sign(Sign::Returned) || clause.has_sign(Sign::Back);
    let is_left = before.has_sign(Sign::Left) && goes && !clause.has_head();
    // "Seven till three, first fix pipes", "eight till ten, waiting".
    let open_time = before.has_time() && !names_stage(before) && !is_errand(before) && !has_unknown(before);
    let is_stage_after = open_time && !names_item(before) && (only_stage(clause) || only_errand(clause));
    // "Boarding, eight till four".
    let is_stage_before =
        only_stage(before) && clause.has_time() && !names_stage(clause) && !is_errand(clause);
    // "The customer's own tiles, nine boxes".
    let has_count = clause.has(|piece| piece.is_count() && !matches!(piece.what, What::Sign(_)));
    let is_item_before = names_item(before)
        && !before.has_head()
        && !has_unknown(before)
        && has_count
        && !names_item(clause)
        && !clause.has_time();
    is_left || is_stage_after || is_stage_before || is_item_before
}

/// Reads the first of some clauses, and gives back how many it took.
fn read_clause(
    scene: &Scene<'_>,
    clauses: &[Clause],
    drafts: &mut Vec<Draft>,
    remarks: &mut Vec<Remark>,
) -> usize {
    let Some(clause) = clauses.first() else { return 1 };
    if let Some(draft) = changes::strike(scene, clause) {
        drafts.push(draft);
        return 1;
    }
    if let Some(len) = changes::is_correction(scene, clauses) {
        changes::read(scene, clauses.get(..len).unwrap_or(clauses), drafts);
        return len;
    }
    if let Some((found, len)) = sayings::read(scene, clauses) {
        drafts.extend(found);
        return len;
    }
    if let Some((draft, len)) = readings::read(scene, clauses) {
        drafts.push(draft);
        return len;
    }
    if let Some(before_not) = whole_before_not(clause) {
        // "Four hours boarding not skim".
        let mut found = Vec::new();
        read_work(scene, &before_not, &mut found);
        if let Some(draft) = found.last_mut() {
            draft.take_words(before_not.end(), clause.end());
        }
        drafts.append(&mut found);
        return 1;
    }
    if clause.has_sign(Sign::Not)
        && !clause.has(|piece| matches!(piece.what, What::Break(_)))
        && clause.pieces.len() > 1
    {
        let text = format!("nothing is logged of \"{}\"", scene.line.said(clause.start(), clause.end()));
        remarks.push(Remark { about: None, tone: Tone::Shown, text });
        return 1;
    }
    read_work(scene, clause, drafts);
    1
}

/// What stands before a "not", where it is an entry by itself.
fn whole_before_not(clause: &Clause) -> Option<Clause> {
    let at = clause.pieces.iter().position(|piece| piece.is_sign(Sign::Not))?;
    let mut before = clause.clone();
    before.pieces.truncate(at);
    let after = clause.pieces.get(at + 1)?;
    let is_value = after.is_count() || after.is_time() || matches!(after.what, What::Name(..));
    (is_value && changes::is_whole(&before)).then_some(before)
}

/// Hours, materials and prices of a clause.
fn read_work(scene: &Scene<'_>, clause: &Clause, drafts: &mut Vec<Draft>) {
    let was_bought = drafts.last().is_some_and(|draft| draft.kind == Kind::Bought);
    let money = purchases::money_in(scene, clause, purchases::is_purchase(clause) || was_bought);
    let mut clause = clause.clone();
    if is_more_minutes(&clause, drafts) {
        // "Twenty minutes loading and forty at the merchant's": forty of the same.
        for piece in &mut clause.pieces {
            if let What::Number(value) = piece.what
                && let Some(minutes) = hours::as_minutes(value)
            {
                piece.what = What::Length(minutes);
            }
        }
    }
    let has_time = clause.has_time();
    let in_money = |at: &usize| money.as_ref().is_some_and(|money| money.pieces.contains(at));
    let mut found = amounts(&clause, has_time);
    found.retain(|amount| !amount.pieces.iter().any(&in_money));
    if money.as_ref().is_some_and(|money| money.is_sure) {
        // "Twelve pounds fifty on screws" says no number of screws.
        found.retain(|amount| amount.count != amounts::Count::Missing);
    }
    if has_time {
        // "Two men four hours": what is on no list is no material of these hours.
        found.retain(|amount| !matches!(amount.named, amounts::Named::Unknown(..)));
    } else {
        found.retain(|amount| amount.count != amounts::Count::Missing || !is_stage_alone(&clause, amount));
    }
    let taken: Vec<usize> = found.iter().flat_map(|amount| amount.pieces.iter().copied()).collect();
    let more_of_before = !has_time && found.is_empty() && money.is_none();
    if has_time && !ends_the_shift(scene, &clause, drafts) {
        if is_timer_stop(scene, &clause) {
            drafts.push(stop_timer(scene, &clause));
        } else {
            let mut found = hours::read(scene, &clause, &taken);
            if let Some(before) = drafts.last().filter(|draft| draft.kind == Kind::Hours) {
                found.iter_mut().for_each(|draft| hours::offer_following_start(before, draft));
            }
            drafts.append(&mut found);
        }
    }
    materials::read(scene, &clause, &found, drafts);
    let priced = purchases::read(scene, &clause, money.as_ref(), drafts);
    if more_of_before && !priced && !add_break(&clause, drafts) {
        materials::read_more(scene, &clause, drafts);
    }
}

/// An item that was named without a number, where a stage of that name may be meant.
fn is_stage_alone(clause: &Clause, amount: &amounts::Amount) -> bool {
    let named = amount.pieces.iter().filter_map(|at| clause.pieces.get(*at));
    let is_sized = matches!(&amount.named, amounts::Named::Items(found, ..) if found.size.is_some());
    let has_sign = clause.has(|piece| matches!(piece.what, What::Sign(_)));
    named.clone().any(|piece| matches!(piece.what, What::Name(_, Some(_))))
        || (!has_sign && !is_sized && clause.pieces.len() > 3)
}

/// A bare number of an errand right after a length in minutes.
fn is_more_minutes(clause: &Clause, drafts: &[Draft]) -> bool {
    let before = drafts
        .last()
        .is_some_and(|draft| draft.kind == Kind::Hours && !draft.get(Column::Minutes).is_empty());
    let is_errand = clause.has(|piece| matches!(piece.what, What::Sign(Sign::NoStage(_) | Sign::Merchant)));
    let is_countable = clause.has(|piece| matches!(piece.what, What::Name(Some(_), _) | What::Unit(_)));
    before && is_errand && !is_countable && !clause.has_time()
}

/// "Started at eight …, finished at four": the end of the shift before, said in a clause of its own.
fn ends_the_shift(scene: &Scene<'_>, clause: &Clause, drafts: &mut Vec<Draft>) -> bool {
    let only_end = clause.has(|piece| matches!(piece.what, What::Till(_)))
        && !clause.has(|piece| matches!(piece.what, What::Range(_) | What::From(_) | What::Length(_)));
    let Some(before) = drafts.last().filter(|draft| draft.kind == Kind::Hours) else { return false };
    let is_open = !before.get(Column::From).is_empty() && before.get(Column::To).is_empty();
    if !only_end || !is_open {
        return false;
    }
    // Both are read again as one clause, so that the one set of checks sees the whole shift.
    let Some(from) = before.get(Column::From).get(11..16).map(str::to_owned) else { return false };
    let Some(before) = drafts.pop() else { return false };
    let start = Line::read(&from);
    let clock = crate::times::clock_at(&start.words, 0, false).map(|read| read.clock);
    let mut whole = clause.clone();
    if let (Some(clock), Some(first)) = (clock, clause.pieces.first()) {
        let at = first.start;
        whole.pieces.insert(0, Piece { what: What::From(clock), start: at, end: at, stop: first.stop });
    }
    for mut draft in hours::read(scene, &whole, &[]) {
        draft.words.extend(&before.words);
        if draft.get(Column::Stage).is_empty() && !before.get(Column::Stage).is_empty() {
            draft.set(Column::Stage, before.get(Column::Stage));
            draft.questions.retain(|asked| asked.typed != Some(Column::Stage));
        } else if draft.get(Column::Stage).is_empty() {
            let asked = before.questions.iter().filter(|asked| asked.typed == Some(Column::Stage));
            draft.questions.retain(|asked| asked.typed != Some(Column::Stage));
            draft.questions.extend(asked.cloned());
        }
        drafts.push(draft);
    }
    true
}

fn is_timer_stop(scene: &Scene<'_>, clause: &Clause) -> bool {
    scene.vocabulary().timer_running
        && clause.has(|piece| matches!(piece.what, What::Till(_)))
        && !clause.has(|piece| {
            matches!(piece.what, What::Range(_) | What::From(_) | What::Length(_) | What::RangeOrTime(..))
        })
}

fn stop_timer(scene: &Scene<'_>, clause: &Clause) -> Draft {
    let mut draft = Draft::new(Kind::Stopped);
    for piece in &clause.pieces {
        match piece.what {
            What::Till(clock) => {
                let minute = clock.as_end_before(scene.now.minute);
                draft.set(Column::To, format!("{}T{}", scene.now.day, crate::times::written(minute)));
                if minute > scene.now.minute {
                    draft.refuse(format!(
                        "it is {}, that hasn't been",
                        crate::times::written(scene.now.minute)
                    ));
                }
            }
            What::Break(minutes) => draft.set(Column::BreakMin, minutes.to_string()),
            _ => continue,
        }
        draft.take(piece);
    }
    draft
}

/// "Half hour off", in a clause of its own, belongs to the hours before.
fn add_break(clause: &Clause, drafts: &mut [Draft]) -> bool {
    let rest = clause.pieces.iter().find_map(|piece| match piece.what {
        What::Break(minutes) => Some((minutes, piece)),
        _ => None,
    });
    let Some((minutes, piece)) = rest else { return false };
    let mut found = false;
    for draft in drafts.iter_mut().rev().take_while(|draft| draft.kind == Kind::Hours) {
        let is_first = !found;
        // Mates of one line share its break; earlier hours do not.
        if !is_first && draft.words.is_empty() {
            break;
        }
        hours::set_break(draft, minutes);
        draft.take(piece);
        found = true;
    }
    found
}

/// Numbers the drafts, and lists the words that none of them used.
fn heard(line: &Line<'_>, mut drafts: Vec<Draft>, remarks: Vec<Remark>) -> Heard {
    let mut used = vec![false; line.words.len()];
    for at in drafts.iter().flat_map(|draft| &draft.words) {
        if let Some(word) = used.get_mut(*at) {
            *word = true;
        }
    }
    absorb_fillers(line, &mut used, &mut drafts);
    let mut heard = Heard { remarks, ..Heard::default() };
    for (about, draft) in drafts.into_iter().enumerate() {
        let spoken: Vec<usize> =
            draft.words.iter().filter_map(|at| line.words.get(*at)).map(|word| word.spoken).collect();
        let words = line.spans(|number| spoken.contains(&number));
        heard.questions.extend(draft.questions.into_iter().map(|asked| Ambiguity { about, ..asked }));
        if !draft.comes_to.is_empty() {
            heard.remarks.push(Remark { about: Some(about), tone: Tone::Shown, text: draft.comes_to });
        }
        heard.remarks.extend(draft.remarks.into_iter().map(|(tone, text)| Remark {
            about: Some(about),
            tone,
            text,
        }));
        let Draft { kind, columns, .. } = draft;
        heard.proposals.push(Proposal { kind, columns, words, ready: false, entry: String::new() });
    }
    heard.not_understood = line.spans(|number| {
        let mut parts = line.words.iter().zip(&used).filter(|(word, _)| word.spoken == number).peekable();
        parts.peek().is_none() || parts.any(|(_, used)| !used)
    });
    heard.mark_ready();
    heard
}

/// Little words between words that were used were used with them.
fn absorb_fillers(line: &Line<'_>, used: &mut [bool], drafts: &mut [Draft]) {
    let mut at = 0;
    while at < used.len() {
        let end = (at..used.len()).find(|at| used.get(*at).copied().unwrap_or(true)).unwrap_or(used.len());
        if end == at {
            at += 1;
            continue;
        }
        let carries_nothing =
            (at..end).all(|at| line.words.get(at).is_some_and(|word| is_filler(&word.text)));
        let neighbour = drafts
            .iter_mut()
            .find(|draft| (at > 0 && draft.words.contains(&(at - 1))) || draft.words.contains(&end));
        if let Some(draft) = neighbour.filter(|_| carries_nothing) {
            draft.words.extend(at..end);
            used.iter_mut().take(end).skip(at).for_each(|word| *word = true);
        }
        at = end;
    }
}
