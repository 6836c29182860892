//! The words for sentences, for what the crew's own words mean, and for the survey.

use clap::{Args, Subcommand, ValueEnum};
use daemon::Command;
use daemon::command::{Answer, Pressed, Said, SurveyPoint, WordMeaning};

/// A sentence.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar say 'three bags of finish on the long wall'       shows what it would log
  fivebar say 'three bags of finish on the long wall' --log
  fivebar say 'six boards' --answer 2 --log                 the second of the answers offered
  fivebar say 'eight till four' --answer skim --log         or an answer in words")]
pub(crate) struct Say {
    /// What you did, as you would tell a mate.
    line: String,
    /// The job; without it that of your last entry.
    #[arg(long)]
    job: Option<String>,
    /// An answer to the next open question: the number of one that is offered, or words.
    #[arg(long, value_name = "ANSWER")]
    answer: Vec<String>,
    /// Log it, once nothing is open.
    #[arg(long)]
    log: bool,
}

impl Say {
    pub(crate) fn command(self) -> Command {
        let answers = self.answer.into_iter().map(|answer| {
            let number = answer.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
            // Each answers the first question that is open by then.
            Answer { question: 0, answer: number.map_or(Pressed::Words(answer), Pressed::Choice) }
        });
        let said = Said { job: self.job, line: self.line, answers: answers.collect(), at: None };
        if self.log { Command::LogSaid { said, only: Vec::new(), key: None } } else { Command::Hear(said) }
    }
}

/// The crew's own words.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum Word {
    /// Say what a phrase means. It is asked about no more.
    #[command(after_help = "  fivebar word means 'the studs' --job GARAGE --stage 'stud walls'\n  \
        fivebar word means finish --item 'finish plaster'")]
    Means {
        /// The phrase.
        phrase: String,
        /// An item of the price book.
        #[arg(long, group = "meaning")]
        item: Option<String>,
        /// A stage; its job goes with it.
        #[arg(long, group = "meaning", requires = "job")]
        stage: Option<String>,
        /// The job of the stage.
        #[arg(long)]
        job: Option<String>,
        /// A person.
        #[arg(long, group = "meaning")]
        person: Option<String>,
        /// A place.
        #[arg(long, group = "meaning")]
        place: Option<String>,
    },
    /// Forget what a phrase meant.
    Forget {
        /// The phrase.
        phrase: String,
    },
}

impl Word {
    pub(crate) fn command(self) -> Command {
        match self {
            Self::Forget { phrase } => Command::Teach { phrase, means: None },
            Self::Means { phrase, item, stage, job, person, place } => {
                let stage = job.zip(stage).map(|(job, stage)| WordMeaning::Stage(job, stage));
                let means = item
                    .map(WordMeaning::Item)
                    .or(stage)
                    .or(person.map(WordMeaning::Person))
                    .or(place.map(WordMeaning::Place));
                Command::Teach { phrase, means }
            }
        }
    }
}

/// A question of the survey, and its answer.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar survey BARN                                       what was answered
  fivebar survey BARN stopcock 'under the kitchen sink'
  fivebar survey BARN asbestos 'built 1974; roof sheets to be sampled before anybody touches them'")]
pub(crate) struct Survey {
    /// The job.
    job: String,
    /// What was asked.
    #[arg(value_enum, requires = "answer")]
    point: Option<SurveyWord>,
    /// The answer.
    answer: Option<String>,
}

impl Survey {
    pub(crate) fn command(self) -> Command {
        let answer = self.point.map(SurveyPoint::from).zip(self.answer);
        Command::Survey { job: self.job, answer, photos: Vec::new() }
    }
}

/// What the survey asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum SurveyWord {
    /// May there be asbestos? Asked of every building from before 2000.
    Asbestos,
    /// What carries load?
    CarriesLoad,
    /// Where is the water turned off?
    Stopcock,
    /// Where is the fuse board?
    FuseBoard,
    /// What damage is there already?
    Damage,
    /// How does one get in, and when?
    Access,
    /// What was told to or asked of building control?
    BuildingControl,
    /// What does the customer supply?
    CustomersOwn,
    /// When may work start?
    Start,
    /// Anything else.
    Other,
}

impl From<SurveyWord> for SurveyPoint {
    fn from(word: SurveyWord) -> Self {
        match word {
            SurveyWord::Asbestos => Self::Asbestos,
            SurveyWord::CarriesLoad => Self::CarriesLoad,
            SurveyWord::Stopcock => Self::Stopcock,
            SurveyWord::FuseBoard => Self::FuseBoard,
            SurveyWord::Damage => Self::DamageThere,
            SurveyWord::Access => Self::Access,
            SurveyWord::BuildingControl => Self::BuildingControl,
            SurveyWord::CustomersOwn => Self::CustomersOwn,
            SurveyWord::Start => Self::Start,
            SurveyWord::Other => Self::Other,
        }
    }
}
