//! Issued papers to take away.

use daemon::{Command, Role, command};

use crate::world::World;

#[test]
fn the_boss_takes_an_issued_paper_away_and_nobody_else_does() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let signed = [("kind", "signed-off"), ("job", "GARAGE"), ("stage", "stud walls"), ("entry", "s1")];
    assert_eq!(maren.post_json("/log", &signed).status, 200);
    let issued = maren.post_json("/do/invoice-issue", &[("job", "GARAGE"), ("sure", "yes")]);
    assert_eq!(issued.status, 200, "{}", issued.text());

    let screen = maren.get("/paper?what=41").text();
    for form in ["pdf", "ubl", "cii", "csv"] {
        assert!(screen.contains(&format!("href=\"/papers/41/{form}\"")), "{form} in {screen}");
    }
    let pdf = maren.get("/papers/41/pdf");
    assert_eq!((pdf.status, pdf.headers["content-type"].as_str()), (200, "application/pdf"));
    assert_eq!(pdf.headers["content-disposition"], "attachment; filename=\"invoice-41.pdf\"");
    assert!(pdf.body.starts_with(b"%PDF-1.7"));
    let ubl = maren.get("/papers/41/ubl").text();
    assert!(ubl.contains("<cbc:ID>41</cbc:ID>"), "{ubl}");
    // The same paper has the same bytes, today and tomorrow.
    assert_eq!(maren.get("/papers/41/pdf").body, pdf.body);

    for (path, status) in [("/papers/41/docx", 404), ("/papers/99/pdf", 404)] {
        assert_eq!(maren.get(path).status, status, "{path}");
    }
    assert_eq!(tobi.get("/papers/41/pdf").status, 403);
    let void = maren.post_json("/do/void", &[("number", "41"), ("reason", "never sent")]);
    assert_eq!(void.status, 200, "{}", void.text());
    assert_eq!(maren.get("/papers/41/pdf").status, 404);
}

#[test]
fn the_foreman_takes_a_handover_away_and_a_hand_does_not() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let lead = Command::SetRole { person: "Ines Quill".to_owned(), role: Role::Lead };
    world.holding.with(|node| command::run(node, lead)).unwrap();
    let ines = world.browser("Ines Quill", Role::Lead);
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let signed = [("kind", "signed-off"), ("job", "GARAGE"), ("stage", "stud walls"), ("entry", "s1")];
    assert_eq!(maren.post_json("/log", &signed).status, 200);
    for browser in [&maren, &ines] {
        assert!(browser.get("/job?job=GARAGE").text().contains("href=\"/handover/GARAGE\""));
        let zip = browser.get("/handover/GARAGE");
        assert_eq!((zip.status, zip.headers["content-type"].as_str()), (200, "application/zip"));
        assert_eq!(zip.headers["content-disposition"], "attachment; filename=\"handover-GARAGE.zip\"");
        let checked = documents::handing_over::check_zip(&mut std::io::Cursor::new(&zip.body)).unwrap();
        assert!(checked.is_as_signed, "{:?}", checked.faults);
        assert_eq!(checked.signed.unwrap().person, "Maren Oake");
    }
    assert!(!tobi.get("/job?job=GARAGE").text().contains("/handover/"));
    assert_eq!(tobi.get("/handover/GARAGE").status, 403);
    assert_eq!(maren.get("/handover/SHED").status, 404);
}
