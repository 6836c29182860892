//! Issued papers to take away.

use daemon::Role;

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
