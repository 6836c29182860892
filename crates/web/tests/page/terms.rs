//! What the boss says of when and how a job is billed, and the papers beside the invoices.

use daemon::Role;

use crate::world::World;

#[test]
fn the_boss_asks_for_a_deposit_and_issues_its_invoice_once() {
    let world = World::new();
    let mut maren = world.browser("Maren Oake", Role::Owner);
    assert!(!maren.get("/job?job=GARAGE").text().contains("/do/deposit-issue"));
    let asked = maren.post_json("/do/deposit", &[("job", "GARAGE"), ("amount", "416.67"), ("entry", "d1")]);
    assert_eq!(asked.status, 200, "{}", asked.text());
    let screen = maren.get("/job?job=GARAGE").text();
    // 416.67 with 20% of VAT, rounded to the penny.
    assert!(screen.contains("/do/deposit-issue") && screen.contains("£500.00"), "{screen}");
    maren.learn_token();
    for _ in 0..2 {
        let issued = maren.post_json("/do/deposit-issue", &[("job", "GARAGE"), ("entry", "d2")]);
        assert_eq!(issued.status, 200, "{}", issued.text());
    }
    assert!(maren.get("/paper?what=41").text().contains("£500.00"));
    assert_eq!(maren.get("/paper?what=42").status, 404, "one press, one number");
    assert!(!maren.get("/job?job=GARAGE").text().contains("/do/deposit-issue"), "none waits any more");
}

#[test]
fn completion_a_rate_of_vat_and_a_point_that_is_due_stand_on_the_job() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let done = maren.post_json("/do/complete", &[("job", "GARAGE"), ("on", "2026-01-15")]);
    assert_eq!(done.status, 200, "{}", done.text());
    let rate = [
        ("job", "GARAGE"),
        ("stage", "skim"),
        ("rate", "reduced"),
        ("evidence", "empty two years, letter in the file"),
    ];
    assert_eq!(maren.post_json("/do/vat-rate", &rate).status, 200);
    let given = [("job", "GARAGE"), ("price", "1000.00"), ("included", "all of it")];
    assert_eq!(maren.post_json("/do/quote-give", &given).status, 200);
    let agreed = [("job", "GARAGE"), ("by", "J. Marrable"), ("how", "word")];
    assert_eq!(maren.post_json("/do/quote-agree", &agreed).status, 200);
    let points = [("job", "GARAGE"), ("label-1", "On starting"), ("amount-1", "1000.00")];
    let set = maren.post_json("/do/quote-points", &points);
    assert_eq!(set.status, 200, "{}", set.text());
    let screen = maren.get("/job?job=GARAGE").text();
    for words in [
        "since 15 Jan 2026",
        "until 15 Jan 2027",
        "reduced, 5%: empty two years",
        "On starting, when you say so",
    ] {
        assert!(screen.contains(words), "{words} in {screen}");
    }
    let due = maren.post_json("/do/point-due", &[("job", "GARAGE"), ("label", "On starting")]);
    assert_eq!(due.status, 200, "{}", due.text());
    assert!(maren.get("/job?job=GARAGE").text().contains("On starting, due since"));
    // A rate without proof is refused, in the page's words.
    let bare = maren.post_json("/do/vat-rate", &[("job", "GARAGE"), ("rate", "zero")]);
    assert!(bare.status == 422 && !bare.text().contains("--"), "{}", bare.text());
    assert_eq!(maren.post_json("/do/vat-rate", &[("job", "GARAGE"), ("rate", "half")]).status, 422);
}

#[test]
fn how_people_work_for_the_crew_is_said_on_the_page() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let engaged = [
        ("person", "Ines Quill"),
        ("engagement", "self_employed"),
        ("cis_percent", "20"),
        ("verified_on", "2026-01-12"),
    ];
    let done = maren.post_json("/do/engage", &engaged);
    assert_eq!(done.status, 200, "{}", done.text());
    assert!(maren.get("/crew").text().contains("self-employed, CIS 20% off labour, confirmed 12 Jan 2026"));
    // A share that nobody confirmed is for the tax office to say.
    let refused = maren.post_json("/do/engage", &engaged[..3]);
    assert!(refused.status == 422 && refused.text().contains("tax office"), "{}", refused.text());
    assert!(!refused.text().contains("verified-on"), "{}", refused.text());
}

#[test]
fn the_boss_takes_the_other_papers_and_a_hand_takes_none() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let ines = world.browser("Ines Quill", Role::Hand);
    let hours = [
        ("kind", "hours"),
        ("job", "MILL"),
        ("stage", "patching"),
        ("minutes", "90"),
        ("done_on", "2026-01-15"),
        ("entry", "h1"),
    ];
    let logged = maren.post_json("/log", &hours);
    assert_eq!(logged.status, 200, "{}", logged.text());
    let given = [("job", "GARAGE"), ("price", "1000.00"), ("included", "all of it")];
    assert_eq!(maren.post_json("/do/quote-give", &given).status, 200);
    let papers = [
        ("/papers/of/statement/pdf?job=GARAGE", "statement-GARAGE.pdf"),
        ("/papers/of/quote/pdf?job=GARAGE", "quote-GARAGE.pdf"),
        ("/papers/of/pay-list/pdf?until=2026-01-18", "pay-out-2026-01-18.pdf"),
        ("/papers/of/books/pdf?until=2026-01-18", "books-2026-01-31.pdf"),
        ("/papers/of/daywork/pdf?job=MILL&from=2026-01-12&until=2026-01-18", "daywork-MILL-2026-01-18.pdf"),
    ];
    for (path, name) in papers {
        let paper = maren.get(path);
        assert_eq!(paper.status, 200, "{path}: {}", paper.text());
        assert!(paper.body.starts_with(b"%PDF-"), "{path}");
        assert_eq!(paper.headers["content-disposition"], format!("attachment; filename=\"{name}\""));
        let refused = ines.get(path);
        assert!(refused.status == 403 && !refused.body.starts_with(b"%PDF-"), "{path}");
    }
    let table = maren.get("/papers/of/books/csv?until=2026-01-18");
    assert!(table.status == 200 && table.text().starts_with("row,day,number"), "{}", table.text());
    assert_eq!(ines.get("/papers/of/books/csv?until=2026-01-18").status, 403);
    let plain = maren.get("/papers/of/statement/text?job=GARAGE");
    assert_eq!((plain.status, plain.headers["content-type"].starts_with("text/plain")), (200, true));
    for (path, status) in [
        ("/papers/of/statement/pdf?job=BARN", 422),
        ("/papers/of/statement/ubl?job=GARAGE", 422),
        ("/papers/of/daywork/pdf?job=MILL&from=soon&until=2026-01-18", 422),
        ("/papers/of/secrets/pdf?job=GARAGE", 404),
        ("/papers/of/statement/docx?job=GARAGE", 404),
    ] {
        assert_eq!(maren.get(path).status, status, "{path}");
    }
}

#[test]
fn how_hours_are_counted_is_said_on_the_page() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let charged = [
        ("job", "MILL"),
        ("overtime", "x1.5"),
        ("after_day", "7.5"),
        ("saturday", "48"),
        ("call_out", "85"),
        ("covers", "1"),
        ("mile", "0.45"),
        ("from", "2026-01-12"),
    ];
    let done = maren.post_json("/do/hours-charge", &charged);
    assert_eq!(done.status, 200, "{}", done.text());
    let screen = maren.get("/job?job=MILL").text();
    let words = "from 12 Jan 2026: overtime x1.5 after 7 h 30 of a day; Saturday £48.00 an hour; call-out £85.00 with \
                 the first 1 h 00; £0.45 a mile";
    assert!(screen.contains(words), "{screen}");
    let paid = [("person", "Tobi Larch"), ("day", "150"), ("parts", "quarters"), ("from", "2026-01-12")];
    let done = maren.post_json("/do/hours-pay", &paid);
    assert_eq!(done.status, 200, "{}", done.text());
    assert!(maren.get("/crew").text().contains("£150.00 a day of 8 h 00, by quarters"));
    for bad in [("overtime", "one and a half"), ("after_day", "7.123"), ("on", "Christmas")] {
        let refused = maren.post_json("/do/hours-charge", &[("job", "MILL"), ("overtime", "x2"), bad][..]);
        assert!(refused.status == 422 && !refused.text().contains("--"), "{}", refused.text());
    }
    let tobi = world.browser("Tobi Larch", Role::Hand);
    assert_eq!(tobi.post_json("/do/hours-pay", &paid).status, 403);
}

#[test]
fn a_contractor_is_asked_certifies_less_and_issues_the_invoice_once() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let ines = world.browser("Ines Quill", Role::Hand);
    let hours =
        [("kind", "hours"), ("job", "MILL"), ("stage", "patching"), ("minutes", "600"), ("entry", "h1")];
    assert_eq!(maren.post_json("/log", &hours).status, 200);
    assert!(!maren.get("/job?job=GARAGE").text().contains("/do/apply"), "a householder is sent invoices");
    assert!(maren.get("/job?job=MILL").text().contains("/do/apply"));
    assert_eq!(ines.post_json("/do/apply", &[("job", "MILL")]).status, 403);
    for _ in 0..2 {
        let made = maren.post_json("/do/apply", &[("job", "MILL"), ("entry", "a1")]);
        assert_eq!(made.status, 200, "{}", made.text());
    }
    let screen = maren.get("/job?job=MILL").text();
    assert!(screen.contains("Number 1, applied for") && !screen.contains("Number 2"), "{screen}");
    let paper = maren.get("/papers/of/application/text?job=MILL&number=1");
    assert!(paper.text().contains("Application for payment 1"), "{}", paper.text());
    assert_eq!(ines.get("/papers/of/application/pdf?job=MILL&number=1").status, 403);
    assert_eq!(maren.get("/papers/of/application/pdf?job=MILL&number=9").status, 422);
    let certified = [("job", "MILL"), ("number", "1"), ("sum", "200.00"), ("reference", "PN-1")];
    assert_eq!(maren.post_json("/do/certified", &certified).status, 200);
    let week = maren.get("/week").text();
    assert!(
        week.contains("MILL, application 1, certified, not billed yet") && week.contains("£200.00"),
        "{week}"
    );
    assert!(week.contains("was certified of application 1"), "the difference is a question: {week}");

    // The number alone is not enough: the agreement is in writing.
    let theirs =
        [("job", "MILL"), ("application", "1"), ("theirs", "TC-207"), ("sum", "200.00"), ("entry", "t1")];
    let refused = maren.post_json("/do/self-billed", &theirs);
    assert!(refused.status == 422 && refused.text().contains("agreement"), "{}", refused.text());
    let agreed = [("job", "MILL"), ("evidence", "letter in the folder"), ("entry", "s1")];
    assert_eq!(maren.post_json("/do/self-billing", &agreed).status, 200);
    let ours = maren.post_json("/do/application-bill", &[("job", "MILL"), ("number", "1")]);
    assert!(ours.status == 422 && ours.text().contains("issue none"), "{}", ours.text());
    for _ in 0..2 {
        let recorded = maren.post_json("/do/self-billed", &theirs);
        assert_eq!(recorded.status, 200, "{}", recorded.text());
    }
    let paper = maren.get("/paper?what=TC-207").text();
    assert!(paper.contains("The customer issued it") && !paper.contains("/papers/TC-207/pdf"), "{paper}");
    assert_eq!(maren.get("/papers/TC-207/pdf").status, 404);
    assert!(maren.get("/job?job=MILL").text().contains("billed by TC-207"));
    assert!(!maren.get("/week").text().contains("application 1, certified"));
}
