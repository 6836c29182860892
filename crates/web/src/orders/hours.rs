//! What the boss's forms ask for about how time is counted: overtime, days with a rate of their own, day rates,
//! call-outs, travel and miles.

use daemon::Command;
use daemon::command::{TermsCommand, TimeSide, TimeWish};
use trade::worktime::{CallOut, DayRate, Overtime, TimeTerms, WholeMinutes};

use super::Fields;
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Reads an order about how time is counted; none for a name that is none of its.
///
/// # Errors
/// As [`super::read`].
pub(super) fn read(name: &str, viewer: &Viewer, fields: &Fields<'_>) -> Result<Option<Command>, Problem> {
    let side = match name {
        "hours-charge" => TimeSide::Charged,
        "hours-pay" => TimeSide::Paid,
        _ => return Ok(None),
    };
    viewer.must_see_money()?;
    Ok(Some(Command::Terms(TermsCommand::Time(TimeWish {
        side,
        job: fields.optional("job"),
        person: fields.optional("person"),
        counting: Box::new(counting(fields)?),
        from: fields.parsed("from")?,
    }))))
}

fn counting(fields: &Fields<'_>) -> Result<TimeTerms, Problem> {
    let minutes = |name: &str| -> Result<Option<u32>, Problem> {
        Ok(fields.parsed(name)?.map(|WholeMinutes(minutes)| minutes))
    };
    let day = match fields.parsed("day")? {
        Some(rate) => Some(DayRate {
            minutes: minutes("day_hours")?.unwrap_or(8 * 60),
            rate,
            parts: fields.listed("parts")?,
        }),
        None => None,
    };
    let overtime = match fields.parsed("overtime")? {
        Some(rate) => {
            Some(Overtime { day_minutes: minutes("after_day")?, week_minutes: minutes("after_week")?, rate })
        }
        None => None,
    };
    let call_out = match fields.parsed("call_out")? {
        Some(sum) => Some(CallOut { sum, covers_minutes: minutes("covers")?.unwrap_or(60) }),
        None => None,
    };
    let days = fields.optional("on").unwrap_or_default();
    let days = days.split([',', ' ', ';']).filter(|day| !day.is_empty()).map(|day| {
        day.parse().map_err(|error| Problem::Refused(format!("the day {day:?} can't be read: {error}")))
    });
    Ok(TimeTerms {
        day,
        overtime,
        saturday: fields.parsed("saturday")?,
        sunday: fields.parsed("sunday")?,
        holiday: fields.parsed("holiday")?,
        holidays: days.collect::<Result<_, _>>()?,
        call_out,
        travel: fields.parsed("travel")?,
        mile: fields.parsed("mile")?,
    })
}
