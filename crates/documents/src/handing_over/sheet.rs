//! The paper of a handover: a cover that says what is open, then what was signed off, tested, photographed, agreed and
//! built in.

use projections::handover::{Added, HandedPhoto, HandedTest, Handover};
use projections::words::{day_and_year as day, money};

use super::crew_code;
use super::pictures::{Pictures, shown};
use crate::invoice::{called, lines_of};
use crate::sheet::{Block, Column, Fact, Part, Picture, Row, Sheet, Table};

/// The paper.
pub(super) fn sheet(handover: &Handover, added: &Added, pictures: &Pictures) -> Sheet {
    let title = format!("Handover of {}", handover.code);
    let from = match &added.firm {
        Some(firm) => called(&firm.name, &firm.trading_as, &firm.address, &firm.vat_number),
        None => Block { name: handover.crew_name.clone(), ..Block::default() },
    };
    let mut facts = vec![Fact::new("Date", day(handover.made_on)), Fact::new("Work", handover.title.clone())];
    facts.push(Fact::new("Crew code", crew_code(&handover.crew)));
    let mut parts = cover(handover);
    parts.push(Part::NewPage);
    parts.extend(stages(handover));
    parts.extend(tests(handover));
    parts.extend(places(handover));
    parts.extend(pictures_of(handover, pictures));
    parts.extend(extras(handover));
    parts.extend(materials(handover));
    parts.extend(certificates(handover));
    parts.extend(survey(handover));
    parts.extend(cautions(handover));
    Sheet {
        foot: format!("{title} · {} · crew code {}", from.name, crew_code(&handover.crew)),
        title,
        from,
        to: Some(Block {
            label: "For".to_owned(),
            name: handover.customer.clone(),
            lines: lines_of(&handover.site_address),
        }),
        facts,
        made_on: handover.made_on,
        parts,
    }
}

fn heading(words: &str) -> Part {
    Part::Heading(words.to_owned())
}

fn text(words: &str) -> Part {
    Part::Text(words.to_owned())
}

fn cover(handover: &Handover) -> Vec<Part> {
    let photos = || handover.places.iter().flat_map(|place| &place.photos);
    let signed = handover.stages.iter().filter(|stage| stage.signed_off_on.is_some()).count();
    let missing = photos().filter(|photo| photo.file.is_empty()).count();
    let with_number =
        handover.certificates.iter().filter(|certificate| !certificate.certificate.is_empty()).count();
    let mut rows = vec![
        ("Stages signed off", format!("{signed} of {}", handover.stages.len())),
        ("Tests logged", handover.tests.len().to_string()),
        (
            "Photos",
            match missing {
                0 => photos().count().to_string(),
                missing => format!("{}, of which {missing} missing", photos().count()),
            },
        ),
        ("Extras agreed", handover.extras.len().to_string()),
        ("Certificates", format!("{with_number} held, {} missing", handover.certificates_missing.len())),
    ];
    rows.retain(|(_, says)| says != "0");
    let rows = rows.into_iter().map(|(what, says)| Row::cells([what.to_owned(), says]));
    let columns = vec![Column::words("What is in it", 70), Column::figures("", 30)];
    let mut parts = vec![Part::Table(Table { columns, rows: rows.collect() })];
    parts.push(heading("Open on this day"));
    if handover.open.is_empty() {
        parts.push(text("Nothing, as far as it was logged."));
    } else {
        let rows = handover.open.iter().map(|open| Row::cells([open.clone()]));
        let columns = vec![Column::words("What was not signed off, tested or found", 100)];
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    parts.push(heading("What this is"));
    parts.push(text(
        "A record of what the crew logged on this job. It compares tests with the limits that were set. It \
         certifies nothing, and takes the place of no certificate: the local code, the maker and the licensed \
         person decide.",
    ));
    parts.push(heading("Whether it was changed"));
    parts.push(text(
        "The file that this came in is signed by the crew’s device, and holds the entries behind each line as \
         they were signed on site. `fivebar verify FILE` checks it, on any machine and without a network, and \
         names what was changed. It can’t tell who the crew is: compare the crew code above with the one on \
         the crew’s quote, or ask them for it.",
    ));
    parts
}

fn stages(handover: &Handover) -> Vec<Part> {
    let columns = vec![
        Column::words("Stage", 40),
        Column::words("Signed off by", 24),
        Column::words("On", 18),
        Column::words("Device", 18),
    ];
    let rows = handover.stages.iter().map(|stage| {
        let missing =
            (!stage.missing.is_empty()).then(|| format!("not logged: {}", stage.missing.join(", ")));
        let trades = stage.trades.join(", ");
        let places = (!stage.places_signed_off.is_empty())
            .then(|| format!("signed off: {}", stage.places_signed_off.join("; ")));
        let below = [Some(trades), Some(stage.note.clone()), places, missing];
        let (by, on) = match stage.signed_off_on {
            Some(on) => (stage.signed_off_by.clone(), day(on)),
            None => ("not signed off".to_owned(), String::new()),
        };
        Row::Cells { cells: vec![stage.stage.clone(), by, on, stage.device.clone()], below: lines(below) }
    });
    vec![heading("Stages"), Part::Table(Table { columns, rows: rows.collect() })]
}

/// What is said, one after the other.
fn lines<const N: usize>(parts: [Option<String>; N]) -> String {
    parts.into_iter().flatten().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" · ")
}

/// Rows below the name of what they belong to.
fn grouped<'l, L>(
    items: impl IntoIterator<Item = &'l L>,
    group: impl Fn(&L) -> String,
    row: impl Fn(&L) -> Row,
) -> Vec<Row>
where
    L: 'l,
{
    let mut rows = Vec::new();
    let mut last = None;
    for item in items {
        let name = group(item);
        if last.as_ref() != Some(&name) {
            rows.push(Row::Group(name.clone()));
            last = Some(name);
        }
        rows.push(row(item));
    }
    rows
}

fn tests(handover: &Handover) -> Vec<Part> {
    if handover.tests.is_empty() {
        return Vec::new();
    }
    let columns = vec![
        Column::words("Test", 36),
        Column::words("Value", 16),
        Column::words("Limit", 26),
        Column::words("How it stands", 22),
    ];
    let row = |test: &HandedTest| {
        let source = match (test.source.is_empty(), test.confidence.is_empty()) {
            (true, _) => String::new(),
            (false, true) => format!("limit by {}", test.source),
            (false, false) => format!("limit by {} ({})", test.source, test.confidence),
        };
        let instrument = (!test.instrument.is_empty()).then(|| format!("with {}", test.instrument));
        let by = format!("{}, {}", test.person, day(test.on));
        let below =
            lines([Some(test.place.clone()), Some(test.how.clone()), instrument, Some(by), Some(source)]);
        let cells = [&test.what, &test.value, &test.limit, &test.verdict].map(Clone::clone);
        Row::Cells { cells: cells.into(), below }
    };
    let rows = grouped(&handover.tests, |test| test.stage.clone(), row);
    vec![
        heading("Tests"),
        text(
            "“Within the limit set” compares a number with a number. It says nothing of what was not tested.",
        ),
        Part::Table(Table { columns, rows }),
    ]
}

fn places(handover: &Handover) -> Vec<Part> {
    if handover.places.is_empty() {
        return Vec::new();
    }
    let columns = vec![
        Column::words("Photo", 46),
        Column::words("Stage", 20),
        Column::words("Taken", 16),
        Column::words("File in photos/", 18),
    ];
    let mut rows = Vec::new();
    for place in &handover.places {
        let name = if place.place.is_empty() { "No place said" } else { &place.place };
        let behind = place.photos.iter().any(|photo| photo.behind);
        rows.push(Row::Group(if behind { format!("Behind this: {name}") } else { name.to_owned() }));
        rows.extend(place.photos.iter().map(photo_row));
    }
    vec![heading("Photos by place"), Part::Table(Table { columns, rows })]
}

/// The photos as pictures, those of one place together. What they show is said below each.
fn pictures_of(handover: &Handover, pictures: &Pictures) -> Vec<Part> {
    let shown = shown(handover);
    let (mut parts, mut count) = (Vec::new(), 0);
    for place in &handover.places {
        let of_place =
            place.photos.iter().filter(|photo| shown.iter().any(|shown| shown.photo == photo.photo));
        let of_place: Vec<Picture> = of_place
            .filter_map(|photo| {
                let by = format!("{}, {}", photo.person, day(photo.on));
                let parts = [Some(photo.stage.clone()), Some(photo.words.clone()), Some(by)];
                Some(Picture { jpeg: pictures.get(&photo.photo)?.clone(), says: lines(parts) })
            })
            .collect();
        if of_place.is_empty() {
            continue;
        }
        count += of_place.len();
        let name = if place.place.is_empty() { "No place said" } else { &place.place };
        let behind = place.photos.iter().any(|photo| photo.behind);
        let heading = if behind { format!("Behind this: {name}") } else { name.to_owned() };
        parts.push(Part::Pictures { heading, pictures: of_place });
    }
    let all: usize = handover.places.iter().map(|place| place.photos.len()).sum();
    if count > 0 && all > count {
        parts.push(text(&format!("{count} of {all} photos are shown here; those that came are in photos/.")));
    }
    parts
}

fn photo_row(photo: &HandedPhoto) -> Row {
    let file = match photo.file.rsplit_once('.') {
        // So much tells it apart in a folder that is sorted by name.
        Some((_, ending)) => format!("{}….{ending}", photo.photo.short()),
        None => format!("{}… is missing", photo.photo.short()),
    };
    Row::Cells {
        cells: vec![photo.words.clone(), photo.stage.clone(), day(photo.on), file],
        below: photo.person.clone(),
    }
}

fn extras(handover: &Handover) -> Vec<Part> {
    if handover.extras.is_empty() {
        return Vec::new();
    }
    let columns = vec![
        Column::words("Extra", 44),
        Column::words("Terms", 18),
        Column::words("Yes said", 20),
        Column::figures("Before VAT £", 18),
    ];
    let rows = handover.extras.iter().map(|extra| {
        let amount = match (extra.amount, extra.terms.as_str()) {
            (Some(amount), "on the clock") => format!("at most {}", money(amount)),
            (Some(amount), _) => money(amount),
            (None, _) => String::new(),
        };
        let said = match extra.said_by.as_str() {
            "" => extra.how.clone(),
            who => format!("{who}, {}", extra.how),
        };
        let (name, below) = match extra.stage.as_str() {
            "" => (&extra.what, said),
            _ => (&extra.stage, lines([Some(extra.what.clone()), Some(said)])),
        };
        Row::Cells { cells: vec![name.clone(), extra.terms.clone(), day(extra.on), amount], below }
    });
    vec![heading("Extras agreed"), Part::Table(Table { columns, rows: rows.collect() })]
}

fn materials(handover: &Handover) -> Vec<Part> {
    if handover.materials.is_empty() {
        return Vec::new();
    }
    let columns = vec![Column::words("Material", 72), Column::figures("Used, less what went back", 28)];
    let rows = grouped(
        &handover.materials,
        |material| material.stage.clone(),
        |material| {
            let own = material.customers_own.then(|| "partly or wholly your own".to_owned());
            let notes = (!material.notes.is_empty()).then(|| material.notes.join("; "));
            Row::Cells {
                cells: vec![material.item.clone(), material.much.clone()],
                below: lines([own, notes]),
            }
        },
    );
    vec![heading("Materials"), Part::Table(Table { columns, rows })]
}

fn certificates(handover: &Handover) -> Vec<Part> {
    let mut parts = vec![heading("Certificates")];
    if !handover.certificates.is_empty() {
        let columns = vec![
            Column::words("What was checked", 34),
            Column::words("By", 26),
            Column::words("Registration", 20),
            Column::words("Certificate", 20),
        ];
        let rows = handover.certificates.iter().map(|held| {
            let number = if held.certificate.is_empty() { "missing" } else { &held.certificate };
            Row::Cells {
                cells: vec![
                    held.what.clone(),
                    held.name.clone(),
                    held.registration.clone(),
                    number.to_owned(),
                ],
                below: format!("{}, {}", held.stage, day(held.on)),
            }
        });
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    if !handover.certificates_missing.is_empty() {
        let columns = vec![Column::words("Missing", 100)];
        let rows = handover.certificates_missing.iter().map(|missing| Row::cells([missing.clone()]));
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    if parts.len() == 1 {
        parts.push(text("Nobody from outside the crew is logged to have checked, and none was asked for."));
    }
    parts
}

fn survey(handover: &Handover) -> Vec<Part> {
    if handover.survey.is_empty() {
        return Vec::new();
    }
    let columns = vec![Column::words("Asked before the work", 40), Column::words("Answered", 60)];
    let rows = handover.survey.iter().map(|said| Row::cells([said.question.clone(), said.answer.clone()]));
    vec![heading("The building"), Part::Table(Table { columns, rows: rows.collect() })]
}

fn cautions(handover: &Handover) -> Vec<Part> {
    let columns = vec![Column::words("To mind", 46), Column::words("What to do", 54)];
    let rows = handover.cautions.iter().map(|caution| Row::Cells {
        cells: vec![caution.sentence.clone(), caution.what_to_do.clone()],
        below: caution.source.clone(),
    });
    vec![heading("To mind afterwards"), Part::Table(Table { columns, rows: rows.collect() })]
}
