//! The survey of a job: what is asked before the work, and what was answered. It records what was said or
//! seen. It clears nothing, and nothing here says that it does.

use ledger::site::SurveyPoint;

use crate::look::Look;

/// A question of the survey.
pub(crate) struct Point {
    /// What a form names it by.
    pub(crate) name: String,
    pub(crate) question: &'static str,
    /// Empty where nobody answered yet.
    pub(crate) answer: String,
    /// Photos of it, by their hash.
    pub(crate) photos: Vec<String>,
    /// What must be said beside it; empty for nothing.
    pub(crate) caution: &'static str,
}

/// The questions in the order in which they are asked: what can hurt first.
const POINTS: [SurveyPoint; 10] = [
    SurveyPoint::Asbestos,
    SurveyPoint::CarriesLoad,
    SurveyPoint::FuseBoard,
    SurveyPoint::Stopcock,
    SurveyPoint::DamageThere,
    SurveyPoint::Access,
    SurveyPoint::BuildingControl,
    SurveyPoint::CustomersOwn,
    SurveyPoint::Start,
    SurveyPoint::Other,
];

const fn question(point: SurveyPoint) -> &'static str {
    match point {
        SurveyPoint::Asbestos => "Asbestos: is any of it from before 2000, and who looked?",
        SurveyPoint::CarriesLoad => "What carries load, and who says so?",
        SurveyPoint::Stopcock => "Where is the stopcock, and does it turn?",
        SurveyPoint::FuseBoard => "Where is the fuse board?",
        SurveyPoint::DamageThere => "What is damaged already?",
        SurveyPoint::Access => "How does one get in, and when?",
        SurveyPoint::BuildingControl => "What does building control know, or want?",
        SurveyPoint::CustomersOwn => "What does the customer supply?",
        SurveyPoint::Start => "When may work start?",
        SurveyPoint::Other => "Anything else?",
    }
}

const fn caution(point: SurveyPoint) -> &'static str {
    match point {
        SurveyPoint::Asbestos => {
            "An answer here clears nothing. Who may say that there is none is a competent surveyor, and who may \
             work on it the law and the licensed contractor decide. In doubt, don’t drill, cut, sand or pull \
             down: stop and ask."
        }
        SurveyPoint::CarriesLoad => {
            "An answer here clears nothing. Before anything is cut or taken out, ask a structural engineer or \
             building control."
        }
        SurveyPoint::Stopcock
        | SurveyPoint::FuseBoard
        | SurveyPoint::DamageThere
        | SurveyPoint::Access
        | SurveyPoint::BuildingControl
        | SurveyPoint::CustomersOwn
        | SurveyPoint::Start
        | SurveyPoint::Other => "",
    }
}

/// The survey of the job in hand; empty without a job.
pub(crate) fn survey(look: &Look<'_>) -> Vec<Point> {
    let Some(job) = look.job else { return Vec::new() };
    let point = |point: SurveyPoint| Point {
        name: serde_json::json!(point).as_str().unwrap_or_default().to_owned(),
        question: question(point),
        answer: look.lists.surveys.get(&(job.job, point)).map(|said| said.answer.clone()).unwrap_or_default(),
        photos: look
            .lists
            .surveys
            .get(&(job.job, point))
            .map(|said| said.photos.iter().map(ToString::to_string).collect())
            .unwrap_or_default(),
        caution: caution(point),
    };
    POINTS.into_iter().map(point).collect()
}
