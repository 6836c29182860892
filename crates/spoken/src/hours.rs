//! Hours: from–to with a break, or a length on a day, on a stage or on none.
//!
//! What has not been yet is refused, and what the line leaves open (a stage, a beginning) is asked.

use rust_decimal::Decimal;
use trade::Day;

use crate::clauses::{Clause, StageSaid, job_of, stage_said};
use crate::draft::{Draft, Scene, choice, stage_choices};
use crate::heard::{Choice, Column, Kind};
use crate::logged::{self, clock_part};
use crate::pieces::{Piece, What};
use crate::signs::{Sign, time_verb_before};
use crate::times::{Clock, written};
use crate::words::text_at;

/// The longest that anybody works in a day, in minutes.
const MOST_IN_A_DAY: u32 = 24 * 60;

/// From how many minutes on a shift without a break is remarked on.
const LONG_WITHOUT_BREAK: u32 = 6 * 60;

/// What a clause says of the time worked.
#[derive(Debug, Clone, Copy, Default)]
struct Times {
    from: Option<Clock>,
    to: Option<Clock>,
    minutes: Option<u32>,
    break_minutes: Option<u32>,
    /// "Ten to four": a time, or a range.
    range_or_time: Option<(Clock, (Clock, Clock))>,
    is_day_part: Option<bool>,
    by_sound: bool,
}

/// Reads a clause that says a time. `taken` are the pieces that say materials.
pub(crate) fn read(scene: &Scene<'_>, clause: &Clause, taken: &[usize]) -> Vec<Draft> {
    let pieces: Vec<&Piece> = clause
        .pieces
        .iter()
        .enumerate()
        .filter(|(at, _)| !taken.contains(at))
        .map(|(_, piece)| piece)
        .collect();
    let mut draft = Draft::new(Kind::Hours);
    let mut times = Times::default();
    for piece in &pieces {
        if note_time(&mut times, piece) {
            draft.take(piece);
            take_verb(scene, piece, &mut draft);
            show_left_half(scene, piece, &mut draft);
        }
        if matches!(piece.what, What::Job(_) | What::Day(_) | What::Person(_)) {
            draft.take(piece);
        }
        if let What::Place(place) = &piece.what {
            draft.set(Column::Where, place.clone());
            draft.take(piece);
        }
    }
    let job = job_of(scene, clause);
    draft.set(Column::Job, job.clone());
    read_stage(scene, clause, &pieces, &mut draft);
    let day = clause.about.day.unwrap_or(scene.now.day);
    if day != scene.now.day {
        draft.show(crate::days::shown(day));
    }
    write_times(scene, times, day, &mut draft);
    if times.by_sound {
        let heard =
            [Column::From, Column::To].map(|column| clock_part(draft.get(column)).to_owned()).join(" till ");
        draft.ask(format!("was that {heard}?"), vec![choice("yes", [])], None);
    }
    for_each_person(scene, clause, draft)
}

/// "Finished the tiling at three": the verb is the time's.
fn take_verb(scene: &Scene<'_>, piece: &Piece, draft: &mut Draft) {
    let words = scene.words();
    if text_at(words, piece.start) == "at"
        && let Some((verb, _)) = time_verb_before(words, piece.start)
    {
        draft.take_words(verb, verb + 1);
    }
}

/// "An hour and half a bag": the half was not heard as the hour's.
fn show_left_half(scene: &Scene<'_>, piece: &Piece, draft: &mut Draft) {
    let words = scene.words();
    let is_half =
        text_at(words, piece.end) == "and" && matches!(text_at(words, piece.end + 1), "half" | "quarter");
    if matches!(piece.what, What::Length(_)) && is_half {
        let (said, half) = (scene.line.said(piece.start, piece.end), text_at(words, piece.end + 1));
        draft.show(format!("\"{said} and a {half}\" was not heard"));
    }
}

fn note_time(times: &mut Times, piece: &Piece) -> bool {
    match &piece.what {
        What::Range(range) => {
            (times.from, times.to) = (Some(range.from), Some(range.to));
            times.by_sound |= range.homophone;
        }
        What::RangeOrTime(time, range) => times.range_or_time = Some((*time, *range)),
        What::From(clock) => times.from = Some(*clock),
        What::Till(clock) => times.to = Some(*clock),
        What::Length(minutes) => times.minutes = Some(*minutes),
        // "A quarter for breakfast, half an hour for dinner".
        What::Break(minutes) => {
            times.break_minutes = Some(times.break_minutes.unwrap_or(0).saturating_add(*minutes));
        }
        What::SomeTime => {}
        What::DayPart { is_half } => times.is_day_part = Some(*is_half),
        _ => return false,
    }
    true
}

/// The stage, or what was done without one, or the question.
fn read_stage(scene: &Scene<'_>, clause: &Clause, pieces: &[&Piece], draft: &mut Draft) {
    let vocabulary = scene.vocabulary();
    let job = job_of(scene, clause);
    let errand = pieces.iter().find_map(|piece| match piece.what {
        What::Sign(Sign::NoStage(activity)) => Some(activity),
        What::Sign(Sign::Merchant | Sign::FromMerchant) => Some("merchant's"),
        _ => None,
    });
    if let Some(activity) = errand {
        draft.set(Column::What, activity);
        let loose = |piece: &&&Piece| {
            matches!(
                piece.what,
                What::Unknown
                    | What::Filler
                    | What::Name(..)
                    | What::Sign(_)
                    | What::Place(_)
                    | What::Unit(_)
            )
        };
        let said: Vec<&&Piece> = pieces.iter().filter(loose).collect();
        if said.iter().any(|piece| matches!(piece.what, What::Unknown | What::Name(..))) {
            let from = said
                .iter()
                .find(|piece| !piece.carries_nothing())
                .map_or(clause.start(), |piece| piece.start);
            let to = said.last().map_or(from, |piece| piece.end);
            draft.note(&scene.line.said(from, to));
        }
        said.iter().for_each(|piece| draft.take(piece));
        return;
    }
    let named: Vec<&Piece> =
        pieces.iter().filter(|piece| matches!(piece.what, What::Name(_, Some(_)))).copied().collect();
    match stage_said(scene, clause, &named) {
        StageSaid::One(_, stage, fit) => {
            for piece in named {
                draft.show_near(fit, &scene.line.said(piece.start, piece.end), &stage);
                draft.take(piece);
            }
            draft.set(Column::Stage, stage);
        }
        StageSaid::Several(stages) => {
            // "First fix pipes": what else was said of the stage is part of its name to the crew.
            let first = named.first().map_or(0, |piece| piece.start);
            let last = named.last().map_or(first, |piece| piece.end);
            let more = pieces.iter().find(|piece| {
                piece.start == last && matches!(piece.what, What::Name(Some(_), None) | What::Unknown)
            });
            let end = more.map_or(last, |piece| piece.end);
            draft.take_words(first, end);
            let phrase = scene.line.said(first, end);
            let question = format!("which stage is \"{phrase}\"?");
            let learnt = if end > last { phrase.as_str() } else { "" };
            draft.ask_about(learnt, question, stage_choices(vocabulary, &job, &stages), Some(Column::Stage));
        }
        StageSaid::OtherJob(code, stage) => {
            named.iter().for_each(|piece| draft.take(piece));
            let sets = [(Column::Job, code.clone()), (Column::Stage, stage.clone())];
            draft.ask(format!("{stage} is a stage of {code}: there?"), vec![choice(code, sets)], None);
        }
        StageSaid::None => stage_by_test_or_ask(scene, &job, pieces, draft),
    }
}

fn stage_by_test_or_ask(scene: &Scene<'_>, job: &str, pieces: &[&Piece], draft: &mut Draft) {
    let vocabulary = scene.vocabulary();
    let stages = vocabulary.job(job).map(|job| job.stages.as_slice()).unwrap_or_default();
    for piece in pieces {
        let What::Test(test) = &piece.what else { continue };
        draft.take(piece);
        let needing: Vec<String> = stages
            .iter()
            .filter(|stage| stage.tests.contains(test))
            .map(|stage| stage.name.clone())
            .collect();
        if let [stage] = needing.as_slice() {
            draft.set(Column::Stage, stage.clone());
            draft.show(format!("stage from: {test}"));
            return;
        }
    }
    // What was said after the time and is on no list is asked about; what was said before it is not used.
    let time = pieces.iter().rposition(|piece| piece.is_time()).unwrap_or(0);
    let after = pieces.get(time + 1..).unwrap_or_default();
    let is_loose = |piece: &Piece| {
        matches!(
            piece.what,
            What::Unknown
                | What::Name(Some(_), None)
                | What::Sign(Sign::Used | Sign::Returned | Sign::Back | Sign::Moved)
        )
    };
    let begin = after.iter().position(|piece| !piece.carries_nothing());
    let phrase: Vec<&&Piece> = match begin {
        Some(begin) => {
            let run = after.get(begin..).unwrap_or_default();
            let len = run.iter().take_while(|piece| is_loose(piece) || piece.carries_nothing()).count();
            let len = run.iter().take(len).rposition(|piece| !piece.carries_nothing()).map_or(0, |at| at + 1);
            run.iter().take(len).collect()
        }
        None => Vec::new(),
    };
    let choices = stage_choices(vocabulary, job, &[]);
    match (phrase.first(), phrase.last()) {
        (Some(first), Some(last)) => {
            draft.take_words(first.start, last.end);
            let said = scene.line.said(first.start, last.end);
            draft.ask_about(
                &said,
                format!("no stage is called \"{said}\": which stage?"),
                choices,
                Some(Column::Stage),
            );
        }
        _ => draft.ask("on what: which stage?", choices, Some(Column::Stage)),
    }
}

/// A time of a day, for the row.
fn at(day: Day, minute: u16) -> String {
    let day = day.plus_days(i32::from(minute / 1440));
    format!("{day}T{}", written(minute))
}

fn write_times(scene: &Scene<'_>, times: Times, day: Day, draft: &mut Draft) {
    let is_today = day == scene.now.day;
    if let Some((time, (from, to))) = times.range_or_time {
        // Beside another time it is a time; alone it may be either.
        let start = from.as_start(false);
        let range = [(Column::From, at(day, start)), (Column::To, at(day, to.as_end_after(start)))];
        let end = time.as_end_before(scene.now.minute);
        let label = format!("{} till {}", written(start), written(to.as_end_after(start)));
        let sets = [(Column::To, at(day, end))];
        draft.ask(
            "a time, or from and till?",
            vec![choice(label, range), choice(format!("till {}", written(end)), sets)],
            None,
        );
        return;
    }
    if let Some(minutes) = times.break_minutes.filter(|_| times.minutes.is_none()) {
        draft.set(Column::BreakMin, minutes.to_string());
    }
    match (times.from, times.to, times.minutes) {
        (Some(from), Some(to), _) => {
            let start = from.as_start(false);
            write_span(scene, (start, to.as_end_after(start)), times.break_minutes, day, draft);
        }
        (Some(from), None, Some(minutes)) => {
            let start = from.as_start(false);
            let end =
                u32::from(start).saturating_add(minutes).saturating_add(times.break_minutes.unwrap_or(0));
            match u16::try_from(end) {
                Ok(end) if minutes <= MOST_IN_A_DAY => {
                    write_span(scene, (start, end), times.break_minutes, day, draft)
                }
                _ => refuse_length(minutes, draft),
            }
        }
        (None, to, Some(minutes)) => {
            let minutes = minutes.saturating_sub(times.break_minutes.unwrap_or(0));
            if minutes == 0 || minutes > MOST_IN_A_DAY {
                refuse_length(minutes, draft);
            }
            draft.set(Column::Minutes, minutes.to_string());
            if let Some(to) = to {
                draft.note(&format!("till {}", written(to.as_end_before(scene.now.minute))));
            }
            if !is_today {
                draft.set(Column::DoneOn, day.to_string());
            }
        }
        (Some(from), None, None) => {
            draft.set(Column::From, at(day, from.as_start(false)));
            let now = quarter_before(scene.now.minute);
            let until_now =
                is_today.then(|| choice(format!("till {}", written(now)), [(Column::To, at(day, now))]));
            draft.ask("till when?", until_now.into_iter().collect(), Some(Column::To));
        }
        (None, Some(to), None) => {
            draft.set(Column::To, at(day, to.as_end_before(if is_today { scene.now.minute } else { 1439 })));
            let usual = scene.vocabulary().usual_start;
            let choices = usual
                .map(|start| choice(format!("from {}", written(start)), [(Column::From, at(day, start))]));
            draft.ask("from when?", choices.into_iter().collect(), Some(Column::From));
        }
        (None, None, None) if times.is_day_part.is_some() => {
            write_day_part(scene, times.is_day_part, day, draft)
        }
        (None, None, None) => {
            draft.ask("how long, or from when till when?", Vec::new(), Some(Column::Minutes))
        }
    }
}

/// A half day, or a whole one: as long as the crew has said, else asked.
fn write_day_part(scene: &Scene<'_>, is_half: Option<bool>, day: Day, draft: &mut Draft) {
    if day != scene.now.day {
        draft.set(Column::DoneOn, day.to_string());
    }
    let half = scene.vocabulary().half_day_minutes;
    let known = if is_half == Some(true) { half } else { half.map(|half| half.saturating_mul(2)) };
    match known {
        Some(minutes) => draft.set(Column::Minutes, minutes.to_string()),
        None if is_half == Some(true) => {
            let choices = [210, 240, 270].map(length_choice).into_iter().collect();
            draft.ask("how long is your half day?", choices, Some(Column::Minutes));
        }
        None => {
            let choices = [420, 450, 480].map(length_choice).into_iter().collect();
            draft.ask("how long was the day, without breaks?", choices, Some(Column::Minutes));
        }
    }
}

fn length_choice(minutes: u32) -> Choice {
    choice(spoken_length(minutes), [(Column::Minutes, minutes.to_string())])
}

/// 3 h 50, for showing.
pub(crate) fn spoken_length(minutes: u32) -> String {
    match (minutes / 60, minutes % 60) {
        (0, rest) => format!("{rest} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, rest) => format!("{hours} h {rest:02}"),
    }
}

fn quarter_before(minute: u16) -> u16 {
    minute - minute % 15
}

fn refuse_length(minutes: u32, draft: &mut Draft) {
    let said = spoken_length(minutes);
    draft.refuse(if minutes == 0 {
        "nothing is left of it after the break".to_owned()
    } else {
        format!("{said} is longer than a day; several days? Log each by itself")
    });
}

fn write_span(scene: &Scene<'_>, (from, to): (u16, u16), rest: Option<u32>, day: Day, draft: &mut Draft) {
    draft.set(Column::From, at(day, from));
    draft.set(Column::To, at(day, to));
    let minutes = u32::from(to - from);
    let worked = minutes.saturating_sub(rest.unwrap_or(0));
    if rest.is_some_and(|rest| rest >= minutes) {
        draft.refuse("the break is as long as the work");
    }
    if day == scene.now.day && to > scene.now.minute {
        let now = written(scene.now.minute);
        draft.refuse(format!("it is {now}, {} hasn't been", written(to)));
        let until = quarter_before(scene.now.minute);
        if until > from {
            let label = format!("{} till {}", written(from), written(until));
            draft.ask("till when?", vec![choice(label, [(Column::To, at(day, until))])], Some(Column::To));
        }
        return;
    }
    draft.comes_to = spoken_length(worked);
    match rest {
        Some(0) if worked > LONG_WITHOUT_BREAK => draft.show("over 6 h: was there no break?"),
        Some(_) => {}
        None if worked > LONG_WITHOUT_BREAK => {
            let choices = [0_u32, 15, 30, 45, 60]
                .map(|minutes| choice(minutes.to_string(), [(Column::BreakMin, minutes.to_string())]));
            draft.offer("any break?", choices.into_iter().collect(), Some(Column::BreakMin));
        }
        None => {}
    }
}

/// "We did four hours" does not say who.
fn ask_who(scene: &Scene<'_>, clause: &Clause, draft: &mut Draft) {
    let is_several =
        |at: &usize| matches!(text_at(scene.words(), *at), "we" | "we've" | "us" | "both" | "lads");
    let Some(at) = (clause.start()..clause.end()).find(is_several) else { return };
    draft.take_words(at, at + 1);
    let vocabulary = scene.vocabulary();
    let others = vocabulary.people.iter().filter(|person| **person != vocabulary.me);
    let mut choices = vec![choice("only me", [])];
    choices.extend(others.map(|person| choice(format!("only {person}"), [(Column::Person, person.clone())])));
    draft.ask("who? For several, say their names", choices, Some(Column::Person));
}

/// One draft for each person that was named. What is for a mate stays proposed.
fn for_each_person(scene: &Scene<'_>, clause: &Clause, draft: Draft) -> Vec<Draft> {
    let me = &scene.vocabulary().me;
    if clause.about.people.is_empty() {
        let mut draft = draft;
        ask_who(scene, clause, &mut draft);
        logged::ask(scene, &mut draft);
        return vec![draft];
    }
    let people = clause.about.people.iter().map(|person| {
        let mut draft = draft.clone();
        if person != me {
            draft.set(Column::Person, person.clone());
            draft.show(format!("proposed until {person} or the boss accepts"));
        } else {
            logged::ask(scene, &mut draft);
        }
        draft
    });
    people.collect()
}

/// A bare number of minutes: "and forty at the merchant's", after "twenty minutes".
pub(crate) fn as_minutes(value: Decimal) -> Option<u32> {
    u32::try_from(value).ok().filter(|minutes| value.fract().is_zero() && (1..=600).contains(minutes))
}

/// "Skim from eight till eleven then boarding till three": where one's hours end and the next have no
/// beginning, that end is offered before the usual start.
pub(crate) fn offer_following_start(before: &Draft, draft: &mut Draft) {
    let end = before.get(Column::To);
    let follows = !end.is_empty() && end < draft.get(Column::To);
    if !follows || before.get(Column::Person) != draft.get(Column::Person) {
        return;
    }
    let asked = draft.questions.iter_mut().find(|asked| asked.typed == Some(Column::From));
    if let Some(asked) = asked {
        let label = format!("from {}", clock_part(end));
        asked.choices.insert(0, choice(label, [(Column::From, end.to_owned())]));
    }
}

/// Sets the break of hours that were read before it was said.
pub(crate) fn set_break(draft: &mut Draft, minutes: u32) {
    // "A quarter for breakfast, half an hour for dinner".
    let minutes = minutes.saturating_add(draft.get(Column::BreakMin).parse().unwrap_or(0));
    draft.questions.retain(|asked| asked.typed != Some(Column::BreakMin));
    let spans = [Column::From, Column::To].map(|column| minute_of(draft.get(column)));
    let [Some(from), Some(to)] = spans else {
        let length = draft.get(Column::Minutes).parse::<u32>().ok();
        match length.map(|length| length.saturating_sub(minutes)) {
            // A length is what was worked, so the break comes off it.
            Some(0) => draft.refuse("nothing is left of it after the break"),
            Some(rest) => draft.set(Column::Minutes, rest.to_string()),
            None => draft.set(Column::BreakMin, minutes.to_string()),
        }
        return;
    };
    draft.set(Column::BreakMin, minutes.to_string());
    let length = u32::from((to + 1440 - from) % 1440);
    if minutes >= length {
        draft.refuse("the break is as long as the work");
    }
    let worked = length.saturating_sub(minutes);
    draft.comes_to = spoken_length(worked);
    if minutes == 0 && worked > LONG_WITHOUT_BREAK {
        draft.show("over 6 h: was there no break?");
    }
}

fn minute_of(moment: &str) -> Option<u16> {
    let (hour, minute) = moment.get(11..16)?.split_once(':')?;
    Some(hour.parse::<u16>().ok()? * 60 + minute.parse::<u16>().ok()?)
}
