//! Tests: the kinds with their usual limits, series over time, and what one that was logged says.
//!
//! A verdict is on what was written down. It certifies nothing.

use ledger::Body;
use projections::judged::JudgedLine;
use projections::{judged_entry, series};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::measure::catalogue::{KINDS, StatedLimit};
use trade::measure::{Sense, kind_of};

use super::named;
use crate::error::NodeError;
use crate::node::Node;

/// What can be asked about tests.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "tests", rename_all = "snake_case")]
pub enum TestCommand {
    /// The kinds with their units and usual limits.
    Kinds,
    /// The tests of a job as series.
    Series {
        /// The job.
        job: String,
        /// One kind only.
        what: Option<String>,
    },
}

pub(super) fn run(node: &Node, command: &TestCommand) -> Result<Value, NodeError> {
    match command {
        TestCommand::Kinds => Ok(kinds()),
        TestCommand::Series { job, what } => {
            let lists = node.book().lists();
            let job = named::job(&lists, job)?;
            // "Insulation" is the insulation resistance.
            let plain = |what: &str| {
                kind_of(what).map_or_else(|| what.trim().to_lowercase(), |kind| kind.name.to_owned())
            };
            let mut found = series(node.book(), &lists, job.job);
            found.retain(|series| what.as_ref().is_none_or(|what| plain(what) == plain(&series.what)));
            Ok(json!({ "job": job.code, "series": found }))
        }
    }
}

fn kinds() -> Value {
    let limit = |limit: StatedLimit| {
        let words = match limit.sense {
            Sense::AtLeast(least) => format!("at least {least}"),
            Sense::AtMost(most) => format!("at most {most}"),
            Sense::Under(under) => format!("less than {under}"),
            Sense::Between(least, most) => format!("{least} to {most}"),
        };
        json!({ "words": format!("{words} {}", limit.unit), "unit": limit.unit, "source": limit.source,
            "confidence": limit.confidence.words(), "from": limit.from })
    };
    let kinds = KINDS.iter().map(|kind| {
        let cases = kind
            .cases
            .iter()
            .map(|case| json!({ "words": case.words, "what": case.what, "limit": case.limit.map(limit) }));
        json!({ "name": kind.name, "names": kind.names, "unit": kind.unit, "caution": kind.caution,
            "cases": cases.collect::<Vec<_>>() })
    });
    json!({ "kinds": kinds.collect::<Vec<_>>() })
}

/// What the test that was just logged says against its limit, beside the answer to its logging.
pub(super) fn with_verdict(node: &Node, mut answer: Value) -> Value {
    let Some(key) = answer["key"].as_str().map(str::to_owned) else { return answer };
    let lists = node.book().lists();
    let mut tests = node.book().entries().filter(|entry| matches!(entry.body.as_ref(), Body::Test(_)));
    let logged = tests.find(|entry| entry.act.row_key == key);
    if let (Some(judged), Some(fields)) =
        (logged.and_then(|entry| judged_entry(&lists, &entry)), answer.as_object_mut())
    {
        fields.insert("judged".to_owned(), json!(JudgedLine::from(judged)));
    }
    answer
}
