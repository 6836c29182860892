//! Everything a device holds and may read, as JSON Lines and CSV, for any other program.

use std::fs;
use std::io::{BufWriter, Write as _};
use std::path::Path;

use serde_json::{Value, json};

use crate::error::NodeError;
use crate::node::Node;

/// Writes `events.jsonl`, an event a line with its hash, and the figures as CSV, into a new folder.
///
/// # Errors
/// [`NodeError`]; a folder that exists is left alone.
pub fn write(node: &mut Node, dir: &Path) -> Result<Value, NodeError> {
    fs::create_dir(dir).map_err(|error| NodeError::folder(dir, &error))?;
    let path = dir.join("events.jsonl");
    let failed = |error: &dyn std::fmt::Display| NodeError::folder(&path, error);
    let mut out = BufWriter::new(fs::File::create(&path).map_err(|error| failed(&error))?);
    let chains: Vec<_> = node.ledger().chains().cloned().collect();
    let mut count = 0_u64;
    for chain in chains {
        node.visit_events(&chain, |node, event| {
            let view = event.view;
            let payload = node.read_payload(chain.start.chain, event.seq, &view);
            let line = json!({
                "hash": event.hash, "chain": chain.start.chain, "device": chain.start.device,
                "audience": chain.start.audience, "seq": event.seq, "made_at": view.made_at,
                "kind": view.kind,
                "act": payload.as_ref().ok().map(|payload| &payload.act),
                "body": payload.as_ref().ok().map(|payload| &payload.body),
                "unreadable": payload.as_ref().err().map(ToString::to_string),
            });
            count += 1;
            writeln!(out, "{line}").map_err(|error| failed(&error))
        })?;
    }
    out.into_inner().map_err(|error| failed(&error))?.sync_all().map_err(|error| failed(&error))?;
    let figures = json!(projections::reconcile(node.book()));
    for table in ["time_on_job", "labour", "materials"] {
        write_csv(&dir.join(format!("{table}.csv")), figures[table].as_array().map_or(&[], Vec::as_slice))?;
    }
    Ok(json!({ "dir": dir, "events": count }))
}

/// Writes rows of one shape: the fields of the first are the columns.
fn write_csv(path: &Path, rows: &[Value]) -> Result<(), NodeError> {
    let failed = |error: csv::Error| NodeError::folder(path, &error);
    let mut out = csv::Writer::from_path(path).map_err(failed)?;
    let columns: Vec<&String> =
        rows.first().and_then(Value::as_object).map_or(Vec::new(), |row| row.keys().collect());
    out.write_record(&columns).map_err(failed)?;
    for row in rows {
        let cells = columns.iter().map(|column| match &row[column.as_str()] {
            Value::String(text) => text.clone(),
            Value::Null => String::new(),
            other => other.to_string(),
        });
        out.write_record(cells).map_err(failed)?;
    }
    out.flush().map_err(|error| NodeError::folder(path, &error))
}
