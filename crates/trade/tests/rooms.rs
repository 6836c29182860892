//! Whole rooms: read from text, measured up, and what is said of bad ones.

mod table;

use proptest::prelude::*;
use table::rows;
use trade::takeoff::costing::{BookItem, CostingRates, cost};
use trade::takeoff::drawing::draw;
use trade::takeoff::measure::{Measured, measure};
use trade::takeoff::reading::read_room;
use trade::takeoff::{Setting, Settings, TakeoffError};
use trade::time::Day;

const SHOWER_ROOM: &str = "
    # Measured on the second of November.
    room: Shower room
    people: 2
    set stud centres: 400
    wall north: 4200 x 2400, studs from left, board, skim, paint
      door: 838 x 2032 at 1500
    wall east: 3000 x 2400, studs from left, board moisture board from right, prime, tank, tile wall tile 300x600x9 to 2100 weight 15 box 1.44, skim, paint
      window: 600 x 900 at 1200, up 1100
    ceiling: 4200 x 3000, joists already, board lying, skim, paint
    boxing soil stack: 2400, faces 200 + 150
    pipe hot: 3200 + 1500 + 800, tees 1, valves 2
    cable lights: 6000 + 2400, of 1.0, 5 A, lighting
    cable shower: 12000, of 10, 40 A
    cylinder: 150 litres, stored 60, mixed 40, cold 10, 3 kW
";

fn today() -> Day {
    "2026-11-02".parse().unwrap()
}

fn measured(text: &str) -> Result<Measured, TakeoffError> {
    let mut settings = Settings::on(today());
    let room = read_room("", text, &mut settings, today())?;
    measure(&room, &settings)
}

#[test]
fn a_room_gives_its_lines() {
    let found = measured(SHOWER_ROOM).unwrap();
    let expected = rows::<6>(
        "work | what | quantity | packs | waste | source
         stud walls | stud 95x38x2400 | 37 each | 37 each | 3.9 | counted by hand: 16 uprights north, 16 east less the short ones
         first fix water | pipe 15 plastic | 6.05 m | 7 m | 9.1 | computed: 5.5 m and 10 %
         first fix water | elbow 15 push-fit | 2 each | 2 each | 0 | computed
         first fix water | tee 15 push-fit | 1 each | 1 each | 0 | computed
         first fix water | isolating valve 15 | 2 each | 2 each | 0 | computed
         first fix water | pipe clip 15 | 12 each | 12 each | 0 | computed: 7 + 3 + 2
         first fix electrics | cable 1.0 twin and earth | 9.9 m | 10 m | 9.1 | computed: 8.4 + 0.6 m and 10 %
         first fix electrics | cable 10 twin and earth | 13.86 m | 14 m | 9.1 | computed: 12 + 0.6 m and 10 %
         first fix electrics | cable clip | 68 each | 68 each | 0 | computed: 20 + 8 + 40
         boarding | moisture board 2400x1200x12.5 | 3 each | 3 each | 22.9 | computed: 6.66 of 8.64 m2
         boarding | plasterboard 2400x1200x12.5 | 9 each | 9 each | 15.8 | computed: 21.824 of 25.92 m2
         boarding | drywall screw 38 | 562 each | 1 box | 4.8 | computed: 535 and 5 %
         skim | scrim tape | 44.73 m | 1 roll | 4.8 | computed: 42.6 m and 5 %
         boarding | corner bead | 2.52 m | 2 length | 4.8 | computed: 2.4 m and 5 %
         skim | plaster primer | 0.87 litre | 1 tin | 4.8 | computed: 6.66 m2 / 8 and 5 %
         skim | finish plaster | 72.55 kg | 3 bag | 4.8 | computed: 27.64 m2 / 10 x 25 kg and 5 %
         tanking | tanking slurry | 9.07 kg | 1 tub | 4.8 | computed: 5.76 m2 x 1.5 and 5 %
         tanking | tanking tape | 5.61 m | 1 roll | 9.1 | computed: 3 + 2.1 m and 10 %
         tiling | wall tile 300x600x9 | 6.48 m2 | 5 box | 11.1 | computed: 34 tiles and 5 %, 36 of 0.18 m2
         tiling | tile adhesive flexible | 24.19 kg | 2 bag | 4.8 | computed: 5.76 m2 x 4 and 5 %
         tiling | grout | 1.37 kg | 1 bag | 9.1 | computed: 0.216 kg/m2 and 10 %
         tiling | tile trim | 3.15 m | 2 length | 4.8 | computed: its free top edge and 5 %
         painting | emulsion | 3.65 litre | 1 tin | 0 | computed: 43.75 m2 / 12",
    );
    assert_eq!(found.lines.len(), expected.len());
    for (line, [work, what, quantity, packs, waste, source]) in found.lines.iter().zip(expected) {
        let packed = format!("{} {}", line.packs.count, line.packs.pack);
        let counted = format!("{} {}", line.quantity, line.unit);
        let waste_percent = line.waste_percent.to_string();
        assert_eq!(
            [line.work.as_str(), &line.what, &counted, &packed, &waste_percent],
            [work, what, quantity, packs, waste],
            "{source}"
        );
        assert!(!line.working.is_empty());
    }
    let says = |about: &str, part: &str| {
        found.notes.iter().any(|note| note.about == about && note.says.contains(part))
    };
    assert!(says("wall north", "whole boards from the left all land on a stud"));
    assert!(says(
        "wall east",
        "whole boards from the right miss the studs at 1800 mm (stud at 1819, 19 off), 600 mm"
    ));
    assert!(says("wall east", "cut the first board to 1000 mm"));
    assert!(says("wall east", "come to 19 kg/m2; skimmed plasterboard usually carries 20"));
    assert!(says("skim", "3 bags with 34.5 litres of clean water; a pair lays on one bag at a time"));
    assert!(says("cable lights", "the longest run within 3 % is 31.36 m"));
    assert!(says("cylinder", "150 litres at 60 give 250 litres at 40"));
    let hours: Vec<String> =
        found.hours.iter().map(|hours| format!("{} {}", hours.work, hours.hours)).collect();
    let expected = [
        "stud walls 6.5",
        "first fix water 1.5",
        "first fix electrics 2",
        "boarding 10.75",
        "skim 8",
        "tanking 2",
        "tiling 7.25",
        "painting 4.5",
    ];
    assert_eq!(hours, expected);
}

#[test]
fn a_room_goes_by_its_own_names_and_figures() {
    let found = measured(
        "room: Barn
         item finish plaster: board finish
         stage skim: plaster the barn
         set finish coverage: 8 m2 a bag
         wall a: 4m x 2500, skim",
    )
    .unwrap();
    let [line] = found.lines.as_slice() else { panic!("{:?}", found.lines) };
    assert_eq!((line.work.as_str(), line.what.as_str()), ("plaster the barn", "board finish"));
    assert_eq!(line.packs.count, 2, "10 m2 / 8 and 5 % are 1.32 bags");
    assert!(line.working.contains("8 m2 a bag (your own)"), "{}", line.working);
    assert_eq!(Setting::FinishCoverage.fact().unit, "m2 a bag");
}

#[test]
fn boards_want_uprights_near_enough() {
    for [thick, centres, on, verdict, source] in rows(
        "thick | centres | on      | verdict | source
         12.5  | 600     | wall    | fits    | seen: NHBC Standards 6.3.12, 9.2.4 Table 5
         9.5   | 600     | wall    | wants uprights at 450 mm or less, not 600 | seen
         9.5   | 450     | wall    | fits    | seen
         12.5  | 601     | wall    | wants uprights at 600 mm or less, not 601 | computed
         12.5  | 450     | ceiling | fits    | seen
         12.5  | 600     | ceiling | want noggings between them | seen
         15    | 600     | wall    | fits    | computed
         6     | 400     | wall    | thinner than any board | computed",
    ) {
        let found = measured(&format!(
            "room: A\n{on} a: 3600 x 2400, studs {centres}, board plasterboard 2400x1200x{thick} lying"
        ));
        let notes = found.unwrap().notes;
        let minded = |part: &str| notes.iter().any(|note| note.to_mind && note.says.contains(part));
        if verdict == "fits" {
            assert!(!minded("want") && !minded("thinner"), "{thick} at {centres}: {source}: {notes:?}");
        } else {
            assert!(minded(verdict), "{thick} at {centres}: {source}: {notes:?}");
        }
    }
}

#[test]
fn own_figures_come_first_and_from_their_day() {
    let read = |own: &str, text: &str| {
        let mut settings = Settings::on(today());
        read_room(own, text, &mut settings, today()).map(|room| (room, settings))
    };
    let own =
        "set stud centres: 450 from 2026-10-01\nset skim minutes: 12 from 2026-12-01\nitem grout: grey grout";
    let (room, settings) = read(own, "room: A").unwrap();
    assert_eq!(settings.whole(Setting::StudCentres), 450);
    assert_eq!(settings.whole(Setting::SkimMinutes), 17, "not yet");
    assert_eq!(room.item("grout"), "grey grout");
    let (_, settings) = read(own, "room: A\nset stud centres: 300").unwrap();
    assert_eq!(settings.whole(Setting::StudCentres), 300);
    let refused = read("wall a: 1000 x 1000", "room: A").unwrap_err().to_string();
    assert_eq!(
        refused,
        "line 1: of your own figures: \"wall a: 1000 x 1000\" belongs to a room; here go set, item, stage"
    );
    assert!(
        read("set stud centres: 450 from soon", "room: A")
            .unwrap_err()
            .to_string()
            .contains("from which day?")
    );
}

#[test]
fn bad_lines_are_named() {
    for [text, message] in rows(
        r#"text | message
        room: A;wall n: 4200 | line 2: wall n: "4200" is no size; write it like 4200 x 2400
        room: A;wall n: 4200 x 2400in | line 2: wall n: "in" in "2400in" is not a unit of length; say mm, cm or m
        room: A;wall n: -4200 x 2400 | line 2: wall n: "-4200": -4200 mm is no length; give whole millimetres from 1 to 100000
        room: A;wall n: 4200 x 2400, studz | line 2: wall n: "studz" is not known; say studs, joists, battens, board, bonding, prime, skim, tank, tile, paint, external
        room: A;wall n: 4200 x 2400, studs 0 | wall n: studs: 0 mm centres can't be set out; give from 100 to 1200 mm
        room: A;wall n: 4200 x 2400, studs -600 | wall n: studs: -600 mm centres can't be set out; give from 100 to 1200 mm
        room: A;wall n: 4200 x 2400, studs 600 from top | line 2: wall n: "top" is no end; say from left or from right
        room: A;wall n: 800 x 2400;door: 838 x 2032 at 0 | line 2: wall n: the door reaches 838 mm along, and the wall ends at 800 mm; measure the opening or where it begins again
        room: A;door: 838 x 2032 at 0 | line 2: door: an opening comes under its wall; say the wall first
        room: A;wall n: 4200 x 2400;wall n: 4200 x 2400 | line 3: "wall n" is on line 2 already; give it another name
        wall n: 4200 x 2400 | line 1: say which room it is: room: Shower room
        hello | line 1: "hello" has no colon; write it like wall north: 4200 x 2400
        roof: 1 x 1 | line 1: "roof" is not known; a line begins with room, people, set, item, stage, wall, ceiling, floor, door, window, opening, boxing, pipe, cable, cylinder
        room: A;set stud centres: 0 | line 2: stud centres: 0 is not possible; give from 100 to 1200 mm
        room: A;set stud centres: NaN | line 2: stud centres: "NaN" is not a number of mm; write it like set stud centres: 10
        room: A;set spacing: 3 | line 2: there is no setting "spacing"; there is noggin spacing, pipe clip spacing, cable clip spacing
        room: A;cable c: 1000, of 3, 5 A | size of the cable: 3 is not possible; give from 1.0 to 10 (1.0, 1.5, 2.5, 4, 6, 10) mm2
        room: A;cable c: 1000 | line 2: cable c: say its size and load: of 1.5, 6 A
        room: A;pipe p: 1000 + x | line 2: pipe p: "x" is no length; write it like 2400, 2400mm, 240cm or 2.4m
        room: A;cylinder: 150 gallons | line 2: cylinder: "150 gallons" is not known; say 150 litres, stored 60, mixed 40, cold 10, 3 kW
        room: A;wall n: 4200 x 2400, tile 0x600 | line 2: wall n: "0": 0 mm is no length; give whole millimetres from 1 to 100000
        room: A;wall n: 4200 x 2400, board 100x100x9 | line 2: wall n: width of a board: 100 is not possible; give from 300 to 100000 mm
        room: A;people: 0 | line 2: people: "0" is not a whole number from 1 to 12"#,
    ) {
        let text = text.replace(';', "\n");
        assert_eq!(measured(&text).unwrap_err().to_string(), message, "{text}");
    }
}

#[test]
fn a_drawing_has_every_stud_and_joint_and_escapes_names() {
    let found = measured(&SHOWER_ROOM.replace("wall north", "wall <north> & \"back\"")).unwrap();
    assert_eq!(found.framed.len(), 3);
    for face in &found.framed {
        let drawn = draw("Shower room", face);
        let studwork = face.studwork.as_ref().unwrap();
        assert_eq!(drawn.matches("class=\"wood\"").count(), studwork.uprights.len() + studwork.rails.len());
        assert_eq!(drawn.matches("class=\"hatch\"").count(), face.surface.openings().len());
        for piece in &face.layout.as_ref().unwrap().pieces {
            assert!(drawn.contains(&format!("{} x {}<", piece.outer.height_mm, piece.outer.width_mm)));
        }
        assert!(!drawn.contains("<north>") && !drawn.contains("& ") && !drawn.contains("NaN"));
        assert!(drawn.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"277.0mm\""));
    }
    let north = draw("Shower room", &found.framed[0]);
    assert!(north.contains("wall &lt;north&gt; &amp; &quot;back&quot;"));
    for mark in ["400", "800", "1200", "2800", "3200", "3600", "4000"] {
        assert!(north.contains(&format!(">{mark}</text>")), "{mark}");
    }
}

#[test]
fn a_take_off_is_costed() {
    let mut settings = Settings::on(today());
    let text = "room: A
        wall n: 4200 x 2400, studs 600, board, skim
        cable c: 9400, of 1.5, 6 A, lighting";
    let room = read_room("", text, &mut settings, today()).unwrap();
    let measured = measure(&room, &settings).unwrap();
    let book = |name: &str| {
        let [unit, pack, size, cost] = match name {
            "stud 95x38x2400" => ["each", "each", "1", "4.86"],
            "plasterboard 2400x1200x12.5" => ["each", "each", "1", "11.40"],
            "finish plaster" => ["kg", "bag", "25", "9.75"],
            "cable 1.5 twin and earth" => ["m", "drum", "100", "72.00"],
            "scrim tape" => ["litre", "tin", "1", "1.00"],
            _ => return None,
        };
        Some(BookItem {
            unit: unit.to_owned(),
            pack: pack.to_owned(),
            pack_size: size.parse().unwrap(),
            pack_cost: Some(cost.parse().unwrap()),
        })
    };
    let rates = CostingRates {
        hour_cost: "22.00".parse().unwrap(),
        hour_charge: "38.00".parse().unwrap(),
        markup_percent: "15".parse().unwrap(),
    };
    let costing = cost(&measured, &book, rates, &settings).unwrap();
    let expected = rows::<7>(
        "stage | what | quantity | unit | cost | price | source
         stud walls | stud walls labour | 4.25 | hour | 93.50 | 161.50 | computed: 10.08 m2 at 25 min are 252 min
         stud walls | contingency | 0.25 | hour | 5.50 | 9.50 | computed: 5 % of 4.25 h, up to a quarter
         stud walls | stud 95x38x2400 | 14 | each | 68.04 | 78.25 | computed: 8 uprights; 2 plates of 4.2 m, 7 noggins
         stud walls | sundries | 2.04 | pound | 2.04 | 2.35 | computed: 3 % of 68.04
         first fix electrics | first fix electrics labour | 1 | hour | 22.00 | 38.00 | computed: 10 m at 5 min
         first fix electrics | contingency | 0.25 | hour | 5.50 | 9.50 | computed
         first fix electrics | cable 1.5 twin and earth | 11 | m | 7.92 | 9.11 | computed: 10 m and 10 %, not the whole drum
         first fix electrics | sundries | 0.24 | pound | 0.24 | 0.28 | computed
         boarding | boarding labour | 3.25 | hour | 71.50 | 123.50 | computed: 10.08 m2 at 18 min are 181.44 min
         boarding | contingency | 0.25 | hour | 5.50 | 9.50 | computed
         boarding | plasterboard 2400x1200x12.5 | 4 | each | 45.60 | 52.44 | computed
         boarding | sundries | 1.37 | pound | 1.37 | 1.58 | computed
         skim | skim labour | 3 | hour | 66.00 | 114.00 | computed: 10.08 m2 at 17 min are 171.36 min
         skim | contingency | 0.25 | hour | 5.50 | 9.50 | computed
         skim | finish plaster | 50 | kg | 19.50 | 22.43 | computed: 1.06 bags are two; 0.39 and 15 % a kg
         skim | sundries | 0.59 | pound | 0.59 | 0.68 | computed: 0.585 half-up",
    );
    assert_eq!(costing.lines.len(), expected.len(), "{:#?}", costing.lines);
    for (line, [stage, what, quantity, unit, costs, price, source]) in costing.lines.iter().zip(expected) {
        let found = [line.quantity.to_string(), line.cost().to_string(), line.price().to_string()];
        assert_eq!([line.stage.as_str(), &line.what, &line.unit], [stage, what, unit], "{source}");
        assert_eq!(found, [quantity, costs, price], "{what} of {stage}: {source}");
    }
    assert_eq!(costing.left_out.len(), 3, "{:?}", costing.left_out);
    assert!(costing.left_out.iter().any(|why| why.starts_with("drywall screw 38 is not in the price book")));
    assert!(
        costing
            .left_out
            .iter()
            .any(|why| why.contains("measured in m and the price book counts it in litre"))
    );
}

proptest! {
    /// Whatever somebody writes, the answer is a take-off or a message.
    #[test]
    fn no_text_is_too_absurd(lines in prop::collection::vec(any_line(), 0..8)) {
        let text = format!("room: A\n{}", lines.join("\n"));
        match measured(&text) {
            Ok(found) => prop_assert!(found.lines.iter().all(|line| !line.quantity.is_negative())),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}

/// Lines that are nearly right: known words with odd numbers in odd places.
fn any_line() -> impl Strategy<Value = String> {
    let number = prop::sample::select(vec![
        "0",
        "1",
        "38",
        "76",
        "114",
        "115",
        "300",
        "838",
        "1200",
        "2032",
        "2400",
        "2401",
        "4200",
        "9999",
        "-1",
        "2.4m",
        "1in",
        "",
        "x",
        "99999999999999999999",
        "600",
        "12.5",
    ]);
    let subject = prop::sample::select(vec![
        "wall a",
        "wall b",
        "ceiling",
        "floor",
        "  door",
        "  window",
        "boxing b",
        "pipe p",
        "cable c",
        "cylinder",
        "set finish coverage",
        "set stud centres",
        "people",
        "stage skim",
        "roof",
    ]);
    let clause = prop::sample::select(vec![
        "studs",
        "studs from right",
        "joists already",
        "board",
        "board lying from right",
        "board both sides",
        "skim",
        "bonding",
        "prime",
        "tank",
        "tile 300x600x9",
        "tile 100x100 brick",
        "tile 600x600 diagonal",
        "paint",
        "external both",
        "up 900",
        "faces 200 + 150",
        "of 1.5",
        "6 A",
        "lighting",
        "tees 1",
        "stored 60",
        "150 litres",
    ]);
    let sized = prop_oneof![Just("N x N"), Just("N x N at N"), Just("N + N"), Just("N"), Just("")];
    let numbers = prop::collection::vec(number, 4);
    (subject, sized, numbers, prop::collection::vec(clause, 0..5)).prop_map(
        |(subject, sized, numbers, clauses)| {
            let mut said = format!("{subject}: {sized}");
            for number in numbers {
                said = said.replacen('N', number, 1);
            }
            for clause in clauses {
                said.push_str(", ");
                said.push_str(clause);
            }
            said
        },
    )
}
