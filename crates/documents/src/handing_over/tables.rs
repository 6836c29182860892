//! The open data once more as tables, for a spreadsheet.

use std::collections::BTreeMap;
use std::io;

use projections::handover::Handover;

/// A file a table, by its name.
pub(super) fn tables(handover: &Handover) -> io::Result<BTreeMap<String, Vec<u8>>> {
    let stages = handover.stages.iter().map(|stage| {
        let on = stage.signed_off_on.map(|on| on.to_string()).unwrap_or_default();
        let (missing, places) = (stage.missing.join("; "), stage.places_signed_off.join("; "));
        [&stage.stage, &stage.signed_off_by, &on, &stage.device, &places, &missing, &stage.note]
            .map(Clone::clone)
    });
    let tests = handover.tests.iter().map(|test| {
        let on = test.on.to_string();
        [
            &test.stage,
            &test.place,
            &test.what,
            &test.value,
            &test.limit,
            &test.source,
            &test.verdict,
            &test.how,
            &test.instrument,
            &test.person,
            &on,
        ]
        .map(Clone::clone)
    });
    let photos = handover.places.iter().flat_map(|place| {
        place.photos.iter().map(|photo| {
            let (on, hash) = (photo.on.to_string(), photo.photo.to_string());
            let behind = if photo.behind { "yes" } else { "no" }.to_owned();
            [&place.place, &behind, &photo.stage, &photo.words, &photo.person, &on, &photo.file, &hash]
                .map(Clone::clone)
        })
    });
    let materials = handover.materials.iter().map(|material| {
        let notes = material.notes.join("; ");
        [&material.stage, &material.item, &material.much, &notes].map(Clone::clone)
    });
    Ok(BTreeMap::from([
        table(
            "stages.csv",
            ["stage", "signed off by", "on", "device", "places signed off", "missing", "note"],
            stages,
        )?,
        table(
            "tests.csv",
            [
                "stage",
                "where",
                "test",
                "value",
                "limit",
                "who states it",
                "stands",
                "how",
                "instrument",
                "by",
                "on",
            ],
            tests,
        )?,
        table("photos.csv", ["where", "closed up", "stage", "what", "by", "on", "file", "hash"], photos)?,
        table("materials.csv", ["stage", "item", "how much", "notes"], materials)?,
    ]))
}

fn table<const N: usize>(
    name: &str,
    columns: [&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> io::Result<(String, Vec<u8>)> {
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    out.write_record(columns)?;
    for row in rows {
        out.write_record(row)?;
    }
    Ok((name.to_owned(), out.into_inner().map_err(csv::IntoInnerError::into_error)?))
}
