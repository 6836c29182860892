//! The words for how time is counted: overtime, days with a rate of their own, day rates, call-outs, travel.

use clap::{Args, Subcommand};
use daemon::Command;
use daemon::command::{TermsCommand, TimeSide, TimeWish};
use trade::worktime::{
    CallOut, DayParts, DayRate, NoWholeMinutes, Overtime, TimeTerms, Uplift, WholeMinutes,
};
use trade::{Day, Pence, Rate};

const EXAMPLES: &str = "\
  fivebar hours charge --job MILL --overtime x1.5 --after-day 8 --saturday x1.5 --sunday x2
  fivebar hours charge --job MILL --call-out 85 --covers 1 --travel 20 --mile 0.45
  fivebar hours charge --job BARN --day 260 --day-hours 8 --parts quarters --overtime 48
  fivebar hours pay --person 'Tobi Larch' --overtime x1.25 --after-week 40
  fivebar hours pay --person 'Tobi Larch' --day 150
  fivebar hours show

A rate is a multiple of the ordinary hour (x1.5) or pounds an hour (48). The ordinary hour is that of
`fivebar rate`. Each command says all that holds from its day on, for the job and the person that it names:
what it leaves out does not hold. The nearest wins: job and person, job, person, everybody.

What a customer is charged counts the hours on that job alone; what a person is paid counts all their hours of
the day or week. On a Saturday, a Sunday or a day in --on with a rate of its own every hour is at that rate. A rate
for the day counts the nearest half or quarter; what is longer than the day is overtime if there is a rate for it,
and otherwise inside the day. Hours with the activity `travel` are travelling: `fivebar log hours --job MILL --what
travel --minutes 40`; miles are `fivebar log mileage --job MILL --quantity 24`.";

/// What to do about how time is counted.
#[derive(Debug, Clone, Subcommand)]
#[command(after_help = EXAMPLES)]
pub(crate) enum Hours {
    /// What customers are charged, of work on the clock.
    Charge(Box<Counting>),
    /// What people are paid.
    Pay(Box<Counting>),
    /// All that was set.
    Show,
}

/// How time is counted.
#[derive(Debug, Clone, Args)]
#[command(after_help = EXAMPLES)]
pub(crate) struct Counting {
    /// On this job only.
    #[arg(long)]
    job: Option<String>,
    /// Of this person only.
    #[arg(long)]
    person: Option<String>,
    /// The rate of overtime: x1.5, or pounds an hour.
    #[arg(long, value_name = "RATE")]
    overtime: Option<Uplift>,
    /// Overtime begins after so many hours of a day.
    #[arg(long, value_name = "HOURS", value_parser = minutes, requires = "overtime")]
    after_day: Option<u32>,
    /// Overtime begins after so many hours of a week, Monday to Sunday.
    #[arg(long, value_name = "HOURS", value_parser = minutes, requires = "overtime")]
    after_week: Option<u32>,
    /// The rate of every hour on a Saturday.
    #[arg(long, value_name = "RATE")]
    saturday: Option<Uplift>,
    /// The rate of every hour on a Sunday.
    #[arg(long, value_name = "RATE")]
    sunday: Option<Uplift>,
    /// The rate of every hour on the days in --on.
    #[arg(long, value_name = "RATE")]
    holiday: Option<Uplift>,
    /// A day for --holiday. More than one may be given.
    #[arg(long, value_name = "DAY")]
    on: Vec<Day>,
    /// By the day: pounds for a day.
    #[arg(long, value_name = "POUNDS")]
    day: Option<Rate>,
    /// How many hours a day has.
    #[arg(long, value_name = "HOURS", value_parser = minutes, default_value = "8", requires = "day")]
    day_hours: u32,
    /// Into which parts a day is counted.
    #[arg(long, value_enum, default_value_t = PartWord::Halves, requires = "day")]
    parts: PartWord,
    /// A fixed sum for coming out, for each person and day.
    #[arg(long, value_name = "POUNDS")]
    call_out: Option<Pence>,
    /// The first hours of the day that the call-out covers.
    #[arg(long, value_name = "HOURS", value_parser = minutes, default_value = "1", requires = "call_out")]
    covers: u32,
    /// Pounds an hour of travelling; 0 where it is not counted.
    #[arg(long, value_name = "POUNDS")]
    travel: Option<Rate>,
    /// Pounds a mile.
    #[arg(long, value_name = "POUNDS")]
    mile: Option<Rate>,
    /// From this day, if not today. Days before stay as they are.
    #[arg(long, value_name = "DAY")]
    from: Option<Day>,
}

/// The smallest part of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum PartWord {
    /// Half a day.
    Halves,
    /// A quarter of a day.
    Quarters,
}

/// Hours as whole minutes: 8, 7.5.
fn minutes(text: &str) -> Result<u32, NoWholeMinutes> {
    text.parse().map(|WholeMinutes(minutes)| minutes)
}

impl Hours {
    pub(crate) fn command(self) -> Command {
        Command::Terms(match self {
            Self::Charge(counting) => TermsCommand::Time(counting.wish(TimeSide::Charged)),
            Self::Pay(counting) => TermsCommand::Time(counting.wish(TimeSide::Paid)),
            Self::Show => TermsCommand::ShowTime,
        })
    }
}

impl Counting {
    fn wish(self, side: TimeSide) -> TimeWish {
        let parts = match self.parts {
            PartWord::Halves => DayParts::Halves,
            PartWord::Quarters => DayParts::Quarters,
        };
        let counting = Box::new(TimeTerms {
            day: self.day.map(|rate| DayRate { minutes: self.day_hours, rate, parts }),
            overtime: self.overtime.map(|rate| Overtime {
                day_minutes: self.after_day,
                week_minutes: self.after_week,
                rate,
            }),
            saturday: self.saturday,
            sunday: self.sunday,
            holiday: self.holiday,
            holidays: self.on,
            call_out: self.call_out.map(|sum| CallOut { sum, covers_minutes: self.covers }),
            travel: self.travel,
            mile: self.mile,
        });
        TimeWish { side, job: self.job, person: self.person, counting, from: self.from }
    }
}
