//! The invented week: every figure was computed by a second, independent program.

use super::*;

const EXPECTED: &str = include_str!("../../../../../tests/scenario/expected.json");

fn garage() -> JobWork {
    let names = [
        "stud walls",
        "first fix water",
        "first fix electrics",
        "boarding",
        "skim",
        "tiling",
        "move the door",
    ];
    let mut garage = job("GARAGE", "J. Marrable", garage_terms(), &names);
    let costing = include_str!("../../../../../tests/scenario/estimate.csv");
    for row in costing.lines().filter(|row| row.starts_with("GARAGE,")) {
        let cells: Vec<_> = row.split(',').collect();
        let [_, stage, kind, what, count, _, _, price, variation] = cells[..] else { panic!("{row}") };
        let Some(stage) = garage.stages.iter().find(|work| work.name == stage).map(|work| work.stage) else {
            continue;
        };
        garage.lines.push(CostingLine {
            stage,
            kind: if kind == "labour" { LineKind::Labour } else { LineKind::Material },
            what: what.into(),
            quantity: quantity(count),
            unit_price: Some(rate(price)),
            on_the_clock: variation == "daywork",
        });
    }
    for (number, stage) in
        (900..).zip(["stud walls", "first fix electrics", "first fix water", "boarding", "skim"])
    {
        garage.step(stage, number, day(i32::from(number) - 900), true);
    }
    garage.work(35, "move the door", day(3), (TOBI, "Tobi Larch", "36.00"), 230);
    garage.material(36, "move the door", day(3), "stud 95x38x2400", "5", ("4.86", "1"));
    garage
}

pub(super) fn mill_week() -> JobWork {
    let mut mill = mill();
    mill.work(40, "skim", day(4), (INES, "Ines Quill", "30.00"), 450);
    mill.work(39, "skim", day(4), (TOBI, "Tobi Larch", "36.00"), 450);
    mill.work(37, "patching", day(3), (TOBI, "Tobi Larch", "36.00"), 260);
    mill.material(42, "skim", day(4), "scrim tape", "25", ("3.90", "90"));
    mill.material(41, "skim", day(4), "finish plaster", "75", ("9.75", "25"));
    mill.material(38, "patching", day(3), "bonding coat", "37.5", ("11.60", "25"));
    mill
}

#[test]
fn both_jobs_come_to_the_expected_figures() {
    let expected: serde_json::Value = serde_json::from_str(EXPECTED).unwrap();
    let got = serde_json::to_value(previews(&[garage(), mill_week()], None)).unwrap();
    assert_eq!(got, expected["invoices"]);
}

#[test]
fn the_paper_says_a_stage_in_one_line_and_comes_to_the_same() {
    let preview = preview(&garage(), None).unwrap();
    let paper: Vec<_> =
        preview.printed.iter().map(|line| (line.what.as_str(), line.amount.to_string())).collect();
    assert_eq!(paper[0], ("stud walls", "742.80".into()));
    assert_eq!(paper.len(), 7);
    let working: trade::Pence = preview.lines.iter().map(|line| line.amount).sum();
    assert_eq!(preview.printed.iter().map(|line| line.amount).sum::<trade::Pence>(), working);
}

#[test]
fn a_day_cuts_by_when_it_was_done() {
    let nets = |until| preview(&mill_week(), Some(day(until))).map(|preview| preview.totals.net.to_string());
    assert_eq!(nets(2), None);
    assert_eq!(nets(3).as_deref(), Some("175.46")); // 155.88 + 19.58
    assert_eq!(nets(4).as_deref(), Some("704.59"));
    assert_eq!(preview(&garage(), Some(day(0))).unwrap().totals.net.to_string(), "742.80");
}

/// Demo figure: 124.33 is the sum over both papers as over one (Finance Act 2004 s.61, cumulative).
#[test]
fn cis_over_two_papers_adds_up_to_cis_over_one() {
    let mut mill = mill_week();
    mill.bill(day(3));
    mill.bill(day(4));
    let cis: trade::Pence = mill.papers.iter().map(|paper| paper.document.totals.cis).sum();
    let materials: trade::Pence = mill.papers.iter().map(|paper| paper.document.totals.cis_materials).sum();
    let taxable: trade::Pence = mill.papers.iter().map(|paper| paper.document.totals.taxable).sum();
    assert_eq!(materials.to_string(), "47.73");
    assert_eq!(cis, trade::money::percentage(taxable - materials, rate("20")));
}
