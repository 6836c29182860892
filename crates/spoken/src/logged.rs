//! What is logged already of the day that hours are said of: they may be part of it, or lie over it.

use crate::draft::{Draft, Scene, choice};
use crate::heard::{Column, Kind, Tone};
use crate::hours::spoken_length;

/// The clock times that are logged on a day already.
fn spans_on<'a>(scene: &Scene<'a>, day: &str) -> Vec<(&'a str, &'a str, &'a str, &'a str)> {
    let recent = scene.vocabulary().recent.iter().filter(|entry| entry.kind == Kind::Hours);
    recent
        .filter(|entry| entry.get(Column::From).starts_with(day) && !entry.get(Column::To).is_empty())
        .map(|entry| {
            let stage =
                if entry.get(Column::Stage).is_empty() { "no stage" } else { entry.get(Column::Stage) };
            (entry.get(Column::From), entry.get(Column::To), stage, entry.entry.as_str())
        })
        .collect()
}

/// Asks about what this person has logged already of the time that a draft says.
pub(crate) fn ask(scene: &Scene<'_>, draft: &mut Draft) {
    let is_refused = draft.remarks.iter().any(|(tone, _)| *tone == Tone::Refused);
    match draft.get(Column::Minutes).parse() {
        _ if is_refused => {}
        Ok(minutes) => ask_about_the_day(scene, minutes, draft),
        Err(_) if draft.get(Column::From).is_empty() || draft.get(Column::To).is_empty() => {}
        Err(_) => ask_about_overlap(scene, draft),
    }
}

/// 07:45 of a time with its day.
pub(crate) fn clock_part(moment: &str) -> &str {
    moment.get(11..16).unwrap_or(moment)
}

/// A length on a day that has its hours already may be part of them.
fn ask_about_the_day(scene: &Scene<'_>, minutes: u32, draft: &mut Draft) {
    let today = scene.now.day.to_string();
    let day = Some(draft.get(Column::DoneOn)).filter(|day| !day.is_empty()).unwrap_or(&today);
    let spans = spans_on(scene, day);
    let (Some(first), Some(last)) =
        (spans.iter().map(|span| span.0).min(), spans.iter().map(|span| span.1).max())
    else {
        return;
    };
    let stages: Vec<&str> = spans.iter().map(|span| span.2).collect();
    let (from, to) = (clock_part(first), clock_part(last));
    let length = spoken_length(minutes);
    let choices = vec![
        choice(format!("before {from}"), [(Column::Note, format!("before {from}"))]),
        choice(format!("after {to}"), [(Column::Note, format!("after {to}"))]),
        choice(
            "part of that",
            [
                (Column::Kind, Kind::Note.word().to_owned()),
                (Column::Minutes, String::new()),
                (
                    Column::Note,
                    format!("{length} of {from} to {to} was on {}: to be split", draft.get(Column::Stage)),
                ),
            ],
        ),
    ];
    let stage = stages.first().copied().unwrap_or("no stage");
    draft.ask(
        format!("you have {from} to {to} on {stage} that day: before, after or part of it?"),
        choices,
        None,
    );
}

/// Hours over hours are asked about.
fn ask_about_overlap(scene: &Scene<'_>, draft: &mut Draft) {
    let (from, to) = (draft.get(Column::From).to_owned(), draft.get(Column::To).to_owned());
    let spans = spans_on(scene, from.get(..10).unwrap_or_default());
    let Some((start, end, stage, entry)) =
        spans.iter().find(|span| span.0 < to.as_str() && from.as_str() < span.1)
    else {
        return;
    };
    let mut choices = vec![choice("as well", [])];
    if !entry.is_empty() {
        let sets =
            [(Column::Kind, Kind::Corrected.word().to_owned()), (Column::Corrects, (*entry).to_owned())];
        choices.push(choice("instead of that", sets));
    }
    let (start, end) = (clock_part(start), clock_part(end));
    draft.ask(format!("you have {start} to {end} on {stage} already"), choices, None);
}
