//! Another crew with other words: nothing in the crate knows plaster from paint.

use spoken::{Column, Heard, Item, Job, Now, Pack, Proposal, Stage, Vocabulary, understand};

const ITEMS: &str = "\
white emulsion matt|l|tin|10
undercoat grey|l|tin|2.5
masking tape 24|m|roll|50
batten 50x25|m|bundle|48
roof tile 420x330|each|pallet|240
ridge tile 450|each|each|1
sharp sand|kg|bulk bag|850
cement|kg|bag|25
copper tube 22|m|length|3
copper tube 15|m|length|3
radiator 600x1200|each|each|1";

const STAGES: &str = "\
CHAPEL|strip and batten|roofing|batten 50x25
CHAPEL|tiling the roof|roofing|roof tile 420x330;ridge tile 450
CHAPEL|bedding ridges|roofing|sharp sand;cement
FLAT4|prep|decorating|masking tape 24
FLAT4|two coats|decorating|white emulsion matt;undercoat grey
FLAT4|heating|plumbing|copper tube 22;copper tube 15;radiator 600x1200";

fn fields(line: &str) -> Vec<String> {
    line.split('|').map(str::to_owned).collect()
}

fn job(code: &str) -> Job {
    let stages = STAGES.lines().map(fields).filter(|fields| fields[0] == code).map(|fields| Stage {
        name: fields[1].clone(),
        trades: vec![fields[2].clone()],
        tests: Vec::new(),
        items: fields[3].split(';').map(str::to_owned).collect(),
    });
    Job { code: code.to_owned(), customer: String::new(), stages: stages.collect() }
}

fn hear(line: &str) -> Heard {
    let items = ITEMS.lines().map(fields).map(|fields| Item {
        name: fields[0].clone(),
        unit: fields[1].clone(),
        packs: vec![Pack { name: fields[2].clone(), size: fields[3].parse().unwrap() }],
    });
    let vocabulary = Vocabulary {
        jobs: vec![job("CHAPEL"), job("FLAT4")],
        current_job: "FLAT4".to_owned(),
        items: items.collect(),
        people: ["Una Sedge", "Col Marsh"].map(str::to_owned).to_vec(),
        me: "Una Sedge".to_owned(),
        ..Vocabulary::default()
    };
    // Wednesday 10 June 2026, half past five.
    let now = Now { day: "2026-06-10".parse().unwrap(), minute: 17 * 60 + 30 };
    understand(line, &vocabulary, &now, None)
}

/// Kind, item, quantity, unit, job and stage of each proposal that is ready.
#[track_caller]
fn says(line: &str, wanted: &[&str]) {
    let heard = hear(line);
    let columns = [
        Column::What,
        Column::Quantity,
        Column::Unit,
        Column::Minutes,
        Column::From,
        Column::To,
        Column::Job,
        Column::Stage,
    ];
    let told = |proposal: &Proposal| {
        let parts = columns.iter().map(|column| proposal.get(*column)).filter(|text| !text.is_empty());
        let parts = std::iter::once(proposal.kind.word()).chain(parts).collect::<Vec<_>>().join(" | ");
        if proposal.ready { parts } else { format!("waits: {parts}") }
    };
    let told: Vec<String> = heard.proposals.iter().map(told).collect();
    assert_eq!(told, wanted, "{line}\n{heard:#?}");
}

#[test]
fn a_painters_lines() {
    says("two and a half tins of emulsion", &["used | white emulsion matt | 2.5 | tin | FLAT4 | two coats"]);
    says("seven litres of white", &["used | white emulsion matt | 7 | l | FLAT4 | two coats"]);
    says("a tin and a quarter of undercoat", &["used | undercoat grey | 1.25 | tin | FLAT4 | two coats"]);
    says("two rolls of masking tape", &["used | masking tape 24 | 2 | roll | FLAT4 | prep"]);
    says(
        "kicked half a tin of undercoat, binned it",
        &["wasted | undercoat grey | 0.5 | tin | FLAT4 | two coats"],
    );
    says(
        "five hours prep and three hours two coats",
        &["hours | 300 | FLAT4 | prep", "hours | 180 | FLAT4 | two coats"],
    );
    says("decorating four hours", &["waits: hours | 240 | FLAT4"]);
}

#[test]
fn a_roofers_lines() {
    says(
        "six bundles of batten at the chapel",
        &["used | batten 50x25 | 6 | bundle | CHAPEL | strip and batten"],
    );
    says(
        "chapel two pallets of roof tiles",
        &["used | roof tile 420x330 | 2 | pallet | CHAPEL | tiling the roof"],
    );
    says("chapel forty tiles", &["waits: used | 40 | CHAPEL"]);
    says(
        "chapel nine ridge tiles and three cracked",
        &[
            "used | ridge tile 450 | 9 | each | CHAPEL | tiling the roof",
            "wasted | ridge tile 450 | 3 | each | CHAPEL | tiling the roof",
        ],
    );
    says(
        "chapel half eight till four bedding ridges",
        &["hours | 2026-06-10T08:30 | 2026-06-10T16:00 | CHAPEL | bedding ridges"],
    );
}

#[test]
fn a_plumbers_lines() {
    says("four lengths of twenty two copper", &["used | copper tube 22 | 4 | length | FLAT4 | heating"]);
    says("six metres of fifteen mil copper tube", &["used | copper tube 15 | 6 | m | FLAT4 | heating"]);
    says("six metres of copper", &["waits: used | 6 | m | FLAT4"]);
    says(
        "two six hundred by twelve hundred radiators",
        &["used | radiator 600x1200 | 2 | each | FLAT4 | heating"],
    );
    says("plumbing seven till two", &["hours | 2026-06-10T07:00 | 2026-06-10T14:00 | FLAT4 | heating"]);
}
