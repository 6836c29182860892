//! Samples of the crew's lists, of what happens on site, and of changes to entries.

use ledger::Body;
use ledger::site::{
    Accepted, AliasMeaning, AliasTaught, Amount, Away, Bought, Bound, CalledBack, Changes, Corrected,
    Delivered, Expense, ExpenseKind, ExtraAgreed, ExtraAsked, ExtraDeclined, ExtraTerms, FillInListed,
    FillInState, HireBegan, HireEnded, Hours, ItemListed, JobListed, LeftOff, Limit, LimitSet, LineKind,
    LineListed, Mileage, Moved, NeedKind, NeedListed, NeedState, Note, OutsideCheck, Packs, PaidBy, PartDone,
    Photo, Place, QuestionSettled, Reach, ReadyForChecking, Reopened, Returned, RoomMeasured, SaidHow, Seen,
    SignOffTold, SignedOff, Site, SnagCleared, SnagRaised, StageListed, StockPlace, Struck, Surface,
    SurveyPoint, Surveyed, Test, Used, WasteCount, Wasted, Whose, WorkStarted, WorkStopped, WorkSwitched,
    Worked,
};

use super::{at, day, entry, garage, item, line, mill, number, person, photo, stage, words};

fn on(stage_name: &str) -> Site {
    Site { job: garage(), stage: Some(stage(stage_name)), place: Place::default() }
}

fn at_the_wall(surface: Surface) -> Site {
    let place = Place {
        room: "Büro".to_owned(),
        surface: Some(surface),
        words: "behind the basin – left".to_owned(),
    };
    Site { place, ..on("skim") }
}

fn whole_job() -> Site {
    Site { job: mill(), stage: None, place: Place::default() }
}

fn plain(quantity: &str) -> Amount {
    Amount { quantity: number(quantity), said: None }
}

fn bags() -> Amount {
    Amount { quantity: number("112.50"), said: Some(Packs { count: number("4.5"), pack: "bag".to_owned() }) }
}

pub(super) fn bodies() -> Vec<Body> {
    [
        lists(),
        surveys(),
        plans(),
        hours(),
        material(),
        spent(),
        tests_and_notes(),
        extras(),
        standing(),
        changes(),
    ]
    .concat()
}

fn lists() -> Vec<Body> {
    let skim = StageListed {
        stage: stage("skim"),
        job: garage(),
        name: "skim".to_owned(),
        order: 4,
        trades: words(&["plastering"]),
        after: vec![stage("boarding")],
        wait_minutes: 24 * 60,
        covers: vec![stage("first fix water"), stage("first fix electrics")],
        needs_tests: words(&["pressure test", "continuity"]),
        needs_photo: true,
    };
    let plaster = LineListed {
        line: line("finish plaster"),
        job: garage(),
        stage: stage("skim"),
        order: 7,
        kind: LineKind::Material,
        what: "finish plaster".to_owned(),
        item: Some(item("finish plaster")),
        quantity: number("112.5"),
        unit: "kg".to_owned(),
        on_the_clock: false,
    };
    vec![
        Body::ItemListed(ItemListed {
            item: item("wall tile 300x600"),
            name: "wall tile 300×600".to_owned(),
            unit: "m2".to_owned(),
            pack: "box".to_owned(),
            pack_size: number("1.44"),
        }),
        Body::JobListed(JobListed {
            job: mill(),
            code: "MILL".to_owned(),
            title: "Patch and skim two rooms at the mill".to_owned(),
            customer: "Tollgate Contracting".to_owned(),
            site_address: "Old Mill, Millrace Road, Wexcombe, WX2 2ZZ".to_owned(),
            time_zone: "Europe/London".to_owned(),
        }),
        Body::StageListed(skim.clone()),
        Body::StageListed(StageListed {
            trades: Vec::new(),
            after: Vec::new(),
            wait_minutes: 0,
            covers: Vec::new(),
            needs_tests: Vec::new(),
            needs_photo: false,
            ..skim
        }),
        Body::LineListed(plaster.clone()),
        Body::LineListed(LineListed {
            kind: LineKind::Labour,
            what: "hours".to_owned(),
            item: None,
            unit: "hour".to_owned(),
            on_the_clock: true,
            ..plaster
        }),
        taught("finish", Some(AliasMeaning::Item(item("finish plaster")))),
        taught("the studs", Some(AliasMeaning::Stage(stage("stud walls")))),
        taught("the gaffer", Some(AliasMeaning::Person(person("Maren Oake")))),
        taught("by the hatch", Some(AliasMeaning::Place("north wall".to_owned()))),
        taught("the studs", None),
    ]
}

/// Every question of the survey once.
fn surveys() -> Vec<Body> {
    let answers = [
        (SurveyPoint::Asbestos, "roof sheets look old; to be sampled before we touch them"),
        (SurveyPoint::CarriesLoad, "the wall to the kitchen"),
        (SurveyPoint::Stopcock, "under the sink"),
        (SurveyPoint::FuseBoard, "in the hall cupboard"),
        (SurveyPoint::DamageThere, "crack over the side door"),
        (SurveyPoint::Access, "side gate, after eight"),
        (SurveyPoint::BuildingControl, "notice given by the owner"),
        (SurveyPoint::CustomersOwn, "tiles and basin"),
        (SurveyPoint::Start, "2 November"),
        (SurveyPoint::Other, ""),
    ];
    let surveyed = |(point, answer): (SurveyPoint, &str)| {
        let photos = if point == SurveyPoint::DamageThere { vec![photo(0x51)] } else { Vec::new() };
        Body::Surveyed(Surveyed { job: garage(), point, answer: answer.to_owned(), photos })
    };
    answers.into_iter().map(surveyed).collect()
}

/// Every sort of need, every state of one, and of a fill-in task.
fn plans() -> Vec<Body> {
    let need = |kind, what: &str, count, state| {
        let (job, stage, what) = (garage(), stage("second fix"), what.to_owned());
        Body::NeedListed(NeedListed { job, stage, kind, what, count, state })
    };
    let fill_in = |what: &str, stage, reach, state| {
        Body::FillInListed(FillInListed {
            job: garage(),
            what: what.to_owned(),
            stage,
            room: if reach == Reach::SameRoom { "utility".to_owned() } else { String::new() },
            minutes: 35,
            can_be_dropped: reach != Reach::OutOfEarshot,
            dusty: reach == Reach::OutOfEarshot,
            reach,
            state,
        })
    };
    let limit = Limit { bound: Bound::Above, value: number("5"), source: "the maker's sheet".to_owned() };
    let set = |limit, unit: &str| {
        Body::LimitSet(LimitSet {
            job: mill(),
            what: "screed moisture".to_owned(),
            unit: unit.to_owned(),
            limit,
        })
    };
    vec![
        need(NeedKind::People, "", 2, NeedState::Open),
        need(NeedKind::HiredGear, "tile saw", 0, NeedState::Dropped),
        need(
            NeedKind::CustomersChoice,
            "which grout",
            0,
            NeedState::Met("light grey, by message".to_owned()),
        ),
        need(NeedKind::Inspector, "building control", 0, NeedState::Open),
        fill_in("cut the reveal beads", None, Reach::SameRoom, FillInState::Open),
        fill_in(
            "clip the cables",
            Some(stage("first fix electrics")),
            Reach::WithinEarshot,
            FillInState::Done,
        ),
        fill_in("chase the back boxes", None, Reach::OutOfEarshot, FillInState::Dropped),
        set(Some(limit), "megohm"),
        set(None, ""),
        measured("room: Store\nwall back: 3600 x 2400, studs, board, skim"),
        measured(""),
    ]
}

fn measured(text: &str) -> Body {
    Body::RoomMeasured(RoomMeasured { job: garage(), room: "Store".to_owned(), text: text.to_owned() })
}

fn taught(phrase: &str, means: Option<AliasMeaning>) -> Body {
    Body::AliasTaught(AliasTaught { phrase: phrase.to_owned(), means })
}

fn hours() -> Vec<Body> {
    vec![
        Body::Hours(Hours {
            site: at_the_wall(Surface::Wall),
            activity: String::new(),
            worked: Worked::Span {
                from: at("2026-11-02T07:45"),
                to: at("2026-11-02T16:30"),
                break_minutes: 45,
            },
        }),
        Body::Hours(Hours {
            site: whole_job(),
            activity: "loading".to_owned(),
            worked: Worked::Length { minutes: 50 },
        }),
        Body::WorkStarted(WorkStarted {
            site: on("boarding"),
            activity: String::new(),
            // In the hour that the clocks showed twice.
            at: at("2026-10-25T01:30+01:00"),
        }),
        Body::WorkSwitched(WorkSwitched {
            running: entry("e001"),
            site: whole_job(),
            activity: "merchant's".to_owned(),
            at: at("2026-07-01T10:00"),
            break_minutes: 15,
        }),
        Body::WorkStopped(WorkStopped {
            running: entry("e001"),
            // West of Greenwich, and before 1970.
            at: at("1969-12-31T23:59-02:30"),
            break_minutes: 0,
        }),
        Body::Away(Away { until: day("2026-11-06") }),
        Body::Away(Away { until: day("1900-01-01") }),
        Body::Away(Away { until: day("2999-12-31") }),
    ]
}

fn material() -> Vec<Body> {
    let plaster = item("finish plaster");
    let wasted = |counts, cost_to| {
        Body::Wasted(Wasted { site: on("skim"), item: plaster, amount: plain("0.25"), counts, cost_to })
    };
    let moved = |from, to| Body::Moved(Moved { item: plaster, amount: bags(), from, to });
    let bought = |to, paid_by| Bought {
        to,
        supplier: "Weir Yard Supplies".to_owned(),
        ticket: "44-017".to_owned(),
        items: vec![(plaster, bags()), (item("downlight"), plain("6"))],
        paid_by,
        photos: vec![photo(1), photo(2)],
    };
    vec![
        Body::Bought(bought(StockPlace::Job(garage()), PaidBy::Account)),
        Body::Bought(bought(StockPlace::Van, PaidBy::Card)),
        Body::Bought(Bought {
            supplier: String::new(),
            ticket: String::new(),
            items: Vec::new(),
            photos: Vec::new(),
            ..bought(StockPlace::Van, PaidBy::OwnPocket)
        }),
        Body::Delivered(Delivered {
            site: on("boarding"),
            item: item("plasterboard 2400x1200x12.5"),
            amount: plain("15"),
            supplier: "Weir Yard Supplies".to_owned(),
            ticket: "D-9".to_owned(),
        }),
        Body::Used(Used {
            site: at_the_wall(Surface::Ceiling),
            item: plaster,
            amount: bags(),
            whose: Whose::Ours,
            bought: Some(entry("e009")),
        }),
        Body::Used(Used {
            site: at_the_wall(Surface::Floor),
            item: plaster,
            // The most digits that a number may have, below nought.
            amount: plain("-999999999.999999999"),
            whose: Whose::Customers,
            bought: None,
        }),
        wasted(WasteCount::OutOfUsed, Whose::Makers),
        wasted(WasteCount::OnTop, Whose::Ours),
        Body::Returned(Returned {
            site: on("skim"),
            item: plaster,
            amount: plain("8.5"),
            to: StockPlace::Merchant,
        }),
        moved(StockPlace::Merchant, StockPlace::Van),
        moved(StockPlace::Job(mill()), StockPlace::Customer),
        moved(StockPlace::Van, StockPlace::Skip),
    ]
}

fn spent() -> Vec<Body> {
    let expense = |kind| Expense {
        site: on("boarding"),
        kind,
        supplier: "Wexcombe tip".to_owned(),
        ticket: "WN 5".to_owned(),
        paid_by: PaidBy::OwnPocket,
        photos: vec![photo(3)],
    };
    let kinds = [
        ExpenseKind::Skip,
        ExpenseKind::Tip,
        ExpenseKind::Parking,
        ExpenseKind::Permit,
        ExpenseKind::Delivery,
        ExpenseKind::Sundries,
        ExpenseKind::Other,
    ];
    let mut bodies = vec![
        Body::HireBegan(HireBegan {
            site: whole_job(),
            what: "tower 4 m".to_owned(),
            supplier: "Weir Yard Hire".to_owned(),
            at: at("2026-11-05T08:10"),
        }),
        Body::HireEnded(HireEnded { hire: entry("e040"), at: at("2026-11-09T17:00") }),
    ];
    bodies.extend(kinds.map(|kind| Body::Expense(expense(kind))));
    bodies.push(Body::Mileage(Mileage { site: whole_job(), miles: number("24.5") }));
    bodies
}

fn tests_and_notes() -> Vec<Body> {
    let resistance = Test {
        site: on("first fix electrics"),
        what: "insulation resistance".to_owned(),
        bound: Bound::Above,
        value: number("200"),
        unit: "megohm".to_owned(),
        method: "500 V".to_owned(),
        instrument: "multifunction tester".to_owned(),
        limit: Some(Box::new(Limit {
            bound: Bound::Above,
            value: number("1.0"),
            source: "the limit that Maren set".to_owned(),
        })),
        outside: Some(Box::new(OutsideCheck {
            name: "the scheme's inspector".to_owned(),
            registration: "R-0".to_owned(),
            certificate: "C-0".to_owned(),
        })),
        photos: vec![photo(4)],
    };
    let bare = |bound, value: &str, unit: &str| Test {
        bound,
        value: number(value),
        unit: unit.to_owned(),
        method: String::new(),
        instrument: String::new(),
        limit: None,
        outside: None,
        photos: Vec::new(),
        ..resistance.clone()
    };
    vec![
        Body::Test(resistance.clone()),
        Body::Test(bare(Bound::Exactly, "-3.50", "°C")),
        Body::Test(bare(Bound::Below, "0.1", "Ω")),
        Body::Photo(Photo {
            site: Some(on("first fix water")),
            photo: photo(5),
            size: 3_145_728,
            behind: true,
        }),
        Body::Photo(Photo { site: None, photo: photo(6), size: u64::MAX, behind: false }),
        Body::Note(Note { site: whole_job(), photos: vec![photo(7)] }),
        Body::SnagRaised(SnagRaised { site: at_the_wall(Surface::Wall), photos: Vec::new() }),
        Body::SnagCleared(SnagCleared { snag: entry("e050") }),
    ]
}

fn extras() -> Vec<Body> {
    let agreed = |how, terms| ExtraAgreed {
        site: on("move the door"),
        extra: Some(entry("e060")),
        said_by: "J. Marrable".to_owned(),
        how,
        terms,
        reopens: vec![stage("stud walls")],
    };
    vec![
        Body::ExtraAsked(ExtraAsked {
            site: on("move the door"),
            what: "move the door 300 mm".to_owned(),
            asked_by: "J. Marrable".to_owned(),
        }),
        Body::ExtraAgreed(agreed(SaidHow::Word, ExtraTerms::AtAPrice)),
        Body::ExtraAgreed(agreed(SaidHow::Message, ExtraTerms::OnTheClock)),
        Body::ExtraAgreed(agreed(SaidHow::Signature, ExtraTerms::Free)),
        Body::ExtraAgreed(ExtraAgreed {
            extra: None,
            reopens: Vec::new(),
            ..agreed(SaidHow::Word, ExtraTerms::LeftOut)
        }),
        Body::ExtraDeclined(ExtraDeclined {
            site: whole_job(),
            extra: Some(entry("e061")),
            said_by: String::new(),
        }),
        Body::ExtraDeclined(ExtraDeclined {
            site: whole_job(),
            extra: None,
            said_by: "J. Marrable".to_owned(),
        }),
    ]
}

fn standing() -> Vec<Body> {
    let left = LeftOff {
        site: on("skim"),
        off_or_live: "water off at the stop tap".to_owned(),
        wet_until: Some(at("2026-11-06T09:00")),
        carries_on: Some(person("Ines Quill")),
        photos: vec![photo(8)],
    };
    let called_back = |cause: &str, whose| {
        Body::CalledBack(CalledBack { site: on("tiling"), cause: cause.to_owned(), whose })
    };
    vec![
        Body::SignOffTold(SignOffTold { site: at_the_wall(Surface::Wall), by: person("Maren Oake") }),
        Body::LeftOff(left.clone()),
        Body::LeftOff(LeftOff {
            off_or_live: String::new(),
            wet_until: None,
            carries_on: None,
            photos: Vec::new(),
            ..left
        }),
        Body::Seen(Seen { entries: vec![entry("e070"), entry("e071")] }),
        Body::ReadyForChecking(ReadyForChecking { site: on("skim") }),
        Body::SignedOff(SignedOff { site: on("first fix water"), evidence: vec![entry("e018")] }),
        Body::SignedOff(SignedOff { site: on("skim"), evidence: Vec::new() }),
        Body::PartDone(PartDone { site: on("tiling"), percent: number("62.5") }),
        Body::Reopened(Reopened { site: on("stud walls") }),
        called_back("a tile is hollow", Whose::Ours),
        called_back("", Whose::Customers),
        called_back("batch of glaze", Whose::Makers),
    ]
}

fn changes() -> Vec<Body> {
    let everything = Changes {
        done_on: Some(day("2026-11-03")),
        job: Some(mill()),
        stage: Some(Some(stage("skim"))),
        place: Some(Place { room: "Küche".to_owned(), surface: Some(Surface::Floor), words: String::new() }),
        what: Some("waiting".to_owned()),
        item: Some(item("bonding coat")),
        amount: Some(bags()),
        from: Some(at("2026-11-03T07:50")),
        to: Some(at("2026-11-03T12:30")),
        break_minutes: Some(0),
        minutes: Some(280),
        value: Some((Bound::Below, number("0.05"))),
        unit: Some("bar".to_owned()),
        note: Some("read the wrong dial".to_owned()),
    };
    let corrected = |changes| Body::Corrected(Corrected { of: entry("e008"), changes: Box::new(changes) });
    vec![
        corrected(everything),
        corrected(Changes::default()),
        // No stage any more, which is not the same as a stage that stays.
        corrected(Changes { stage: Some(None), note: Some(String::new()), ..Changes::default() }),
        Body::Struck(Struck { of: entry("e026") }),
        Body::Accepted(Accepted { of: entry("e027") }),
        Body::QuestionSettled(QuestionSettled { question: "hours 2026-11-03 Tobi Larch".to_owned() }),
    ]
}
