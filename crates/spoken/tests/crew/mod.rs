//! A crew whose words the tests use: the price book and stages of the week in `tests/scenario`, on
//! Tobi's phone, on Thursday 5 November 2026 at 17:10.

#![allow(dead_code, reason = "each test uses its own part of it")]

use spoken::{Column, Heard, Item, Job, Kind, Limit, Now, Pack, Proposal, Stage, Vocabulary};

const ITEMS: &str = "\
stud 95x38x2400|each|each|1
plasterboard 2400x1200x12.5|each|each|1
moisture board 2400x1200x12.5|each|each|1
drywall screw 38|each|box|1000
scrim tape|m|roll|90
finish plaster|kg|bag|25
bonding coat|kg|bag|25
cable 1.5 twin and earth|m|drum|100
cable 2.5 twin and earth|m|drum|100
back box 35|each|each|1
downlight|each|each|1
earth sleeving 3|m|pack|10
pipe 15 plastic|m|coil|50
elbow 15 push-fit|each|each|1
isolating valve 15|each|each|1
wall tile 300x600|m2|box|1.44
tile adhesive flexible|kg|bag|20
tanking slurry|kg|tub|10";

const STAGES: &str = "\
GARAGE|stud walls|carpentry||stud 95x38x2400
GARAGE|first fix water|plumbing|pressure test|pipe 15 plastic;elbow 15 push-fit;isolating valve 15
GARAGE|first fix electrics|electrical|continuity;insulation resistance|cable 1.5 twin and earth;cable 2.5 twin and earth;back box 35
GARAGE|boarding|drylining||plasterboard 2400x1200x12.5;moisture board 2400x1200x12.5;drywall screw 38
GARAGE|skim|plastering||finish plaster;scrim tape
GARAGE|tanking|tiling||tanking slurry
GARAGE|tiling|tiling||wall tile 300x600;tile adhesive flexible
GARAGE|second fix|plumbing;electrical|hot water temperature|downlight;earth sleeving 3
GARAGE|move the door|carpentry||
MILL|patching|plastering||
MILL|skim|plastering||";

fn parts(text: &str) -> Vec<String> {
    text.split(';').filter(|part| !part.is_empty()).map(str::to_owned).collect()
}

fn job(code: &str, customer: &str) -> Job {
    let stages = STAGES.lines().filter_map(|line| {
        let fields: Vec<&str> = line.split('|').collect();
        (fields[0] == code).then(|| Stage {
            name: fields[1].to_owned(),
            trades: parts(fields[2]),
            tests: parts(fields[3]),
            items: parts(fields[4]),
        })
    });
    Job { code: code.to_owned(), customer: customer.to_owned(), stages: stages.collect() }
}

/// Hours that are logged already.
pub(crate) fn logged(from: &str, to: &str, stage: &str) -> Proposal {
    let columns = [(Column::Job, "GARAGE"), (Column::Stage, stage), (Column::From, from), (Column::To, to)];
    let columns = columns.into_iter().map(|(column, value)| (column, value.to_owned())).collect();
    Proposal { kind: Kind::Hours, columns, words: Vec::new(), ready: true, entry: "e007".to_owned() }
}

/// What this crew's words mean.
pub(crate) fn vocabulary() -> Vocabulary {
    let items = ITEMS.lines().map(|line| {
        let fields: Vec<&str> = line.split('|').collect();
        let pack = Pack { name: fields[2].to_owned(), size: fields[3].parse().unwrap() };
        Item { name: fields[0].to_owned(), unit: fields[1].to_owned(), packs: vec![pack] }
    });
    let limit = |test: &str, least: Option<&str>, most: Option<&str>, outside: &str| Limit {
        test: test.to_owned(),
        least: least.map(|text| text.parse().unwrap()),
        most: most.map(|text| text.parse().unwrap()),
        outside: outside.to_owned(),
    };
    Vocabulary {
        jobs: vec![job("GARAGE", "J. Marrable"), job("MILL", "Tollgate Contracting")],
        current_job: "GARAGE".to_owned(),
        recent_stages: ["skim", "boarding", "first fix water"].map(str::to_owned).to_vec(),
        items: items.collect(),
        people: ["Maren Oake", "Tobi Larch", "Ines Quill"].map(str::to_owned).to_vec(),
        me: "Tobi Larch".to_owned(),
        places: ["long wall", "window wall", "shower room"].map(str::to_owned).to_vec(),
        usual_start: Some(8 * 60),
        open_snags: ["chip in the tile behind the basin", "chip in the sill"].map(str::to_owned).to_vec(),
        limits: vec![
            limit("stored hot water", Some("60"), None, "below what is set for stored hot water"),
            limit("moisture", None, Some("20"), "over 20, don't line over it yet"),
        ],
        ..Vocabulary::default()
    }
}

/// Thursday 5 November 2026, 17:10.
pub(crate) fn now() -> Now {
    Now { day: "2026-11-05".parse().unwrap(), minute: 17 * 60 + 10 }
}

/// What was heard, as text: one line a proposal, question, remark and run of words that was not used.
pub(crate) fn told(line: &str, heard: &Heard) -> String {
    use std::fmt::Write as _;
    let mut text = format!("> {line}\n");
    for (number, proposal) in heard.proposals.iter().enumerate() {
        let columns = proposal.columns.iter().map(|(column, value)| format!("{}={value}", column.name()));
        let columns = columns.collect::<Vec<_>>().join(" | ");
        let ready = if proposal.ready { "" } else { "(waits) " };
        let proposed = format!("  {ready}{} {columns}", proposal.kind.word());
        writeln!(text, "{}", proposed.trim_end()).unwrap();
        for asked in heard.questions.iter().filter(|asked| asked.about == number) {
            let choices: Vec<&str> = asked.choices.iter().map(|choice| choice.label.as_str()).collect();
            let sign = if asked.must { "?" } else { "(?)" };
            writeln!(text, "    {sign} {} [{}]", asked.question, choices.join(" / ")).unwrap();
        }
        for remark in heard.remarks.iter().filter(|remark| remark.about == Some(number)) {
            writeln!(text, "    {:?}: {}", remark.tone, remark.text).unwrap();
        }
    }
    for remark in heard.remarks.iter().filter(|remark| remark.about.is_none()) {
        writeln!(text, "  {:?}: {}", remark.tone, remark.text).unwrap();
    }
    for span in &heard.not_understood {
        writeln!(text, "  not understood: {}", span.text).unwrap();
    }
    text
}
