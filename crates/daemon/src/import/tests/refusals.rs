//! Bad files: each refusal names its file, line and column and says what to do.

use super::*;

/// One row of entries, and the column and the words that its refusal must have.
#[test]
fn bad_entries_are_refused_with_their_place() {
    let cases = [
        ("", "p,Tobi Larch,2026-11-02T16:35,,note,MILL,,,,,,,,,,,x", "entry", "must not be empty"),
        (
            "a",
            "p,Tobi Larsh,2026-11-02T16:35,,note,MILL,,,,,,,,,,,x",
            "person",
            "nobody called \"Tobi Larsh\"",
        ),
        ("a", "p,Tobi Larch,02/11/2026 16:35,,note,MILL,,,,,,,,,,,x", "at", "write it like 2026-11-05T07:45"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,05/11/2026,note,MILL,,,,,,,,,,,x", "done_on", "like 2026-11-05"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,lunch,MILL,,,,,,,,,,,x", "kind", "\"lunch\" is not known here"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,note,WEIR,,,,,,,,,,,x", "job", "no job \"WEIR\""),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,note,MILL,tiling,,,,,,,,,,x", "stage", "no stage \"tiling\""),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,note,MILL,,,,,,,,,,,", "note", "must not be empty"),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,used,MILL,skim,gypsum,1,kg,,,,,,,",
            "what",
            "no item \"gypsum\"",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,used,MILL,skim,scrim tape,1,kg,,,,,,,",
            "unit",
            "m or roll (90 m)",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,used,MILL,skim,scrim tape,0,m,,,,,,,",
            "quantity",
            "more than nought",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,used,MILL,skim,scrim tape,\"4,5\",m,,,,,,,",
            "quantity",
            "a point",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,used,MILL,skim,scrim tape,lots,m,,,,,,,",
            "quantity",
            "not a number",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,reading,MILL,skim,damp,>wet,%,,,,,,,",
            "quantity",
            "not a number",
        ),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,reading,MILL,skim,damp,4,,,,,,,,", "unit", "needs its unit"),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,test,MILL,skim,pressure test,4.5,,,,,,,,",
            "unit",
            "read in bar",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,reading,MILL,skim,pressure test,4.5,furlong,,,,,,,",
            "unit",
            "\"furlong\" is no unit",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,reading,MILL,skim,Insulation Resistance,2,V,,,,,,,",
            "unit",
            "V is a voltage; this test is read in megohm",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,reading,MILL,skim,pressure test,no fall at all,bar,,,,,,,",
            "quantity",
            "no fall at all",
        ),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,told,MILL,skim,,,,,,,,,,", "by", "must not be empty"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,signed-off,MILL,,,,,,,,,,,", "stage", "must not be empty"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,,,,,,,", "from", "or the length in minutes"),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,2026-11-02T16:00,2026-11-02T08:00,,,,,",
            "to",
            "work ends at",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,2026-11-02T08:00,2026-11-03T08:01,,,,,",
            "to",
            "longer than 24 hours",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,2026-11-02T08:00,2026-11-02T08:30,31,,,,",
            "break_min",
            "longer than the 30 minutes",
        ),
        (
            "a",
            "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,2026-10-25T01:30,2026-10-25T08:30,,,,,",
            "from",
            "happened twice",
        ),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,2026-11-02T08:00,,,,,,", "to", "where from"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,,,,1441,,,", "minutes", "from 1 to 1440"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,,,30,60,,,", "break_min", "without breaks"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,struck,MILL,,,,,,,,,,zz,", "corrects", "no entry \"zz\""),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,struck,MILL,,,,,,,,,,,", "corrects", "must name the entry"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,struck,MILL,,,,,,,,,,a,", "corrects", "itself a correction"),
        ("a", "p,Tobi Larch,2026-11-02T16:35,,note,MILL,,,,,,,,,,zz,x", "corrects", "leave this empty"),
        ("a", "p,Tobi Larch,2026-11-02T16:35", "", "4 fields, but the header names 18"),
    ];
    for (key, rest, column, words) in cases {
        let bad = plan_of(&with_entries(&format!("{key},{rest}\n"))).unwrap_err();
        assert_eq!(bad.len(), 1, "{rest}: {bad:?}");
        assert_eq!((bad[0].file, bad[0].line, bad[0].column.as_str()), ("entries.csv", 2, column), "{bad:?}");
        assert!(bad[0].reason.contains(words), "{:?} has no {words:?}", bad[0].reason);
    }
}

#[test]
fn corrections_are_checked_against_the_entry_as_it_stands() {
    let first = "h,p,Tobi Larch,2026-11-02T16:35,,hours,MILL,skim,,,,2026-11-02T08:00,2026-11-02T16:00,30,,,,\n\
                 u,p,Tobi Larch,2026-11-02T16:35,,used,MILL,skim,finish plaster,2,bag,,,,,,,\n\
                 t,p,Tobi Larch,2026-11-02T16:36,,test,MILL,skim,Pressure test,4.5,bar,,,,,,,\n";
    let good = format!(
        "{first}c1,p,Tobi Larch,2026-11-02T17:00,,corrected,,,,,,,2026-11-02T17:30,,,,h,\n\
         c2,p,Tobi Larch,2026-11-02T17:01,,corrected,,,,,,2026-11-02T17:00,,0,,,h,\n\
         c3,p,Tobi Larch,2026-11-02T17:02,,corrected,,,,3,,,,,,,u,\n\
         c4,p,Tobi Larch,2026-11-02T17:03,,corrected,,,,no fall in 60 min,,,,,,,t,\n\
         c5,p,Tobi Larch,2026-11-02T17:04,,corrected,,,,no fall in 30 min,,,,,,,t,\n"
    );
    let plan = plan_of(&with_entries(&good)).unwrap();
    let changes = |at: usize| match &entry_payloads(&plan)[at].body {
        Body::Corrected(corrected) => corrected.changes.clone(),
        other => panic!("not corrected: {other:?}"),
    };
    assert_eq!(changes(5).amount.unwrap().quantity.to_string(), "75");
    assert_eq!(changes(6).unit.as_deref(), Some("bar fall in 60 min"));
    assert_eq!(changes(7).unit.as_deref(), Some("bar fall in 30 min"));
    let cases = [
        (",,,,,,2026-11-02T07:00,,,,h,", "to", "not after it began"),
        (",,,,,,,,,,h,", "kind", "nothing is filled in"),
        (",,,2,,,,,,,h,", "quantity", "has no such thing"),
        (",,scrim tape,,,,,,,,u,", "quantity", "another item is counted by itself"),
        (",,,,kg,,,,,,u,", "quantity", "where a unit is given"),
        ("GARAGE,,,3,kg,,,,,,u,", "stage", "name the stage of the new job"),
        (",,,,degC,,,,,,t,", "unit", "bar"),
        (",,,4,degC,,,,,,t,", "unit", "bar"),
        (",,hot water temperature,,,,,,,,t,", "unit", "°C"),
        (",,,,,,,,,,h", "", "17 fields"),
    ];
    for (rest, column, words) in cases {
        let row = format!("{first}c,p,Tobi Larch,2026-11-02T17:00,,corrected,{rest}\n");
        let bad = plan_of(&with_entries(&row)).unwrap_err();
        assert_eq!((bad.len(), bad[0].line, bad[0].column.as_str()), (1, 5, column), "{bad:?}");
        assert!(bad[0].reason.contains(words), "{:?} has no {words:?}", bad[0].reason);
    }
}

/// A change of one word in a good file, and the place and words of its refusal.
#[test]
fn bad_lists_are_refused_with_their_place() {
    let edit = |bytes: &mut Option<Vec<u8>>, from: &str, to: &str| {
        let before = text(bytes);
        assert!(before.contains(from), "{from:?}");
        *bytes = Some(before.replacen(from, to, 1).into_bytes());
    };
    type Pick = fn(&mut Files) -> &mut Option<Vec<u8>>;
    let crew: Pick = |files| &mut files.crew;
    let prices: Pick = |files| &mut files.price_book;
    let jobs: Pick = |files| &mut files.jobs;
    let stages: Pick = |files| &mut files.stages;
    let estimate: Pick = |files| &mut files.estimate;
    let firm: Pick = |files| &mut files.firm;
    let cases = [
        (crew, "17.25", "-1", "crew.csv line 4, column cost_rate: must not be below nought"),
        (
            crew,
            "Larch,hand",
            "Larch,boss",
            "crew.csv line 3, column role: \"boss\" is not known here; write owner, lead, hand",
        ),
        (
            crew,
            "Ines Quill",
            "Tobi Larch",
            "crew.csv line 4, column person: line 3 says this already; keep one of them",
        ),
        (
            crew,
            "cost_rate",
            "cost",
            "crew.csv line 1, column cost_rate: this column is missing; the header must name person, role, cost_rate, charge_rate",
        ),
        (
            crew,
            "charge_rate",
            "person",
            "crew.csv line 1, column person: this column is there twice; keep one",
        ),
        (prices, "roll,90", "roll,0", "price-book.csv line 6, column pack_size: must be more than nought"),
        (
            prices,
            "each,each,1,4.86",
            "each,each,2,4.86",
            "price-book.csv line 2, column pack_size: the pack is called each like the unit, so it must hold exactly 1; name the pack otherwise",
        ),
        (jobs, "fixed,20", "fixed,120", "jobs.csv line 2, column vat_rate: must be from 0 to 100 per cent"),
        (
            jobs,
            "Europe/London",
            "Europe/Wexcombe",
            "jobs.csv line 2, column timezone: unknown time zone \"Europe/Wexcombe\"; write it like Europe/London",
        ),
        (
            stages,
            "plastering,boarding",
            "plastering,boards",
            "stages.csv line 6, column after: there is no stage \"boards\" of this job; it has boarding, first fix \
             electrics, first fix water, move the door, second fix, skim, stud walls, tanking, tiling",
        ),
        (
            stages,
            "stud walls,carpentry,,",
            "stud walls,carpentry,stud walls,",
            "stages.csv line 2, column after: a stage can't name itself here",
        ),
        (
            estimate,
            "125,kg",
            "5,bag",
            "estimate.csv line 17, column unit: a costing line counts this item in its own unit, kg",
        ),
        (
            estimate,
            "skim,labour",
            "skim,lunch",
            "estimate.csv line 16, column kind: \"lunch\" is not known here; write labour, material",
        ),
        (
            firm,
            ",41",
            ",no",
            "firm.csv line 2, column next_invoice_no: \"no\" is not a whole number from 1 to 999999999",
        ),
        (
            crew,
            "Tobi Larch,hand,",
            "\"Tobi Larch,hand,",
            "crew.csv line 3: a quote opens here and never closes",
        ),
        (
            crew,
            "Tobi Larch,",
            "\"Tobi\" Larch,",
            "crew.csv line 3: there is text behind a closing quote; inside a quoted text, double each quote: \"\"",
        ),
    ];
    for (pick, from, to, expected) in cases {
        let mut files = Files { entries: None, ..scenario() };
        edit(pick(&mut files), from, to);
        let bad: Vec<_> = plan_of(&files).unwrap_err().iter().map(BadRow::to_string).collect();
        assert!(bad.iter().any(|bad| bad == expected), "{expected}\n{bad:#?}");
    }
    let mut files = scenario();
    edit(&mut files.stages, "stud walls,carpentry,,", "stud walls,carpentry,boarding,");
    let bad = plan_of(&files).unwrap_err();
    let circle: Vec<_> = bad.iter().map(|bad| bad.line).collect();
    assert_eq!(circle, [2, 3, 4, 5], "stud walls, both first fixes, boarding");
    let electrics = "circle: first fix electrics, then boarding, then stud walls; take one of them out";
    assert!(bad[2].reason.ends_with(electrics), "{bad:?}");
}

#[test]
fn files_that_are_no_csv_are_named_as_what_they_are() {
    let utf16: Vec<u8> =
        [0xff, 0xfe].into_iter().chain("person".bytes().flat_map(|byte| [byte, 0])).collect();
    let cases: [(Vec<u8>, u64, &str); 5] = [
        (utf16, 1, "UTF-16"),
        (b"person;role;cost_rate;charge_rate\n".to_vec(), 1, "separated by semicolons; save it as CSV"),
        (b"person\trole\tcost_rate\tcharge_rate\n".to_vec(), 1, "separated by tabs"),
        (
            b"person,role,cost_rate,charge_rate\nMaren Oake,owner,1,1\nTobi L\xe4rch,hand,1,1\n".to_vec(),
            3,
            "UTF-8",
        ),
        (Vec::new(), 1, "the file is empty"),
    ];
    for (bytes, line, words) in cases {
        let bad = plan_of(&Files { crew: Some(bytes), ..Files::default() }).unwrap_err();
        assert_eq!((bad.len(), bad[0].line), (1, line), "{bad:?}");
        assert!(bad[0].reason.contains(words), "{:?} has no {words:?}", bad[0].reason);
    }
}

#[test]
fn every_bad_row_of_every_file_is_reported_in_order() {
    let mut files = with_entries("a,p,Nobody,never,,lunch,,,,,,,,,,,,\nb,p\n");
    files.crew = Some(text(&files.crew).replace("17.25", "x").replace("36.00", "y").into_bytes());
    let bad = plan_of(&files).unwrap_err();
    let places: Vec<_> = bad.iter().map(|bad| (bad.file, bad.line, bad.column.as_str())).collect();
    assert_eq!(
        places,
        [
            ("crew.csv", 3, "charge_rate"),
            ("crew.csv", 4, "cost_rate"),
            ("entries.csv", 2, "kind"),
            ("entries.csv", 2, "person"),
            ("entries.csv", 2, "job"),
            ("entries.csv", 2, "at"),
            ("entries.csv", 3, ""),
        ]
    );
}
