//! The handover of a small job: what is in it, and that no byte of it can be changed without being named.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Cursor, Read as _, Write as _};

use documents::handing_over::{
    Checked, Files, LIST, Pictures, check_files, check_zip, handover_files, hash_of, picture_of, signed_list,
    write_zip,
};
use ledger::event::KIND_VERSION;
use ledger::roster_events::{CrewFounded, DeviceAdmitted, PersonListed, Role};
use ledger::site::{
    Bound, ItemListed, JobListed, Photo, Place, SignedOff, Site, StageListed, Test, Used, Whose,
};
use ledger::{
    Act, Body, ChainId, CrewId, DeviceSecret, EntryId, Excerpt, FrontBuilder, ItemId, JobId, Ledger, Payload,
    PersonId, PhotoHash, RunBuilder, StageId,
};
use projections::handover::{Added, Firm};
use trade::Moment;

const PHOTO: &[u8] = b"\xff\xd8\xff\xe0 the north wall, before the boards";

/// A crew of two, one job of theirs, and another whose words must not get out.
struct Week {
    laptop: DeviceSecret,
    phone: DeviceSecret,
    crew: CrewId,
    excerpt: Excerpt,
    added: Added,
}

fn moment(text: &str) -> Moment {
    Moment::parse(text, "Europe/London").unwrap()
}

fn act(person: PersonId, number: u8, note: &str) -> Act {
    let logged_at = moment("2026-11-04T09:50");
    Act {
        person,
        author: person,
        entry: EntryId([number; 16]),
        done_on: logged_at.day(),
        done_at: None,
        logged_at,
        row_key: String::new(),
        said: String::new(),
        note: note.to_owned(),
        replaces: Vec::new(),
    }
}

fn week() -> Week {
    let (laptop, phone) = (DeviceSecret::from_seed(&[1; 32]), DeviceSecret::from_seed(&[2; 32]));
    let named = str::to_owned;
    let founded = CrewFounded {
        crew: named("Oake Rooms"),
        founder: named("Maren Oake"),
        device: named("maren-laptop"),
        seed: [3; 32],
        recovery_key: DeviceSecret::from_seed(&[4; 32]).public(),
    };
    let founding = Payload { act: act(PersonId([0; 16]), 0, ""), body: Body::CrewFounded(founded) };
    let (ledger, start, first) =
        Ledger::found(ChainId([5; 16]), &laptop, 1, &founding.encode().unwrap()).unwrap();
    let crew = ledger.crew();
    let (maren, tobi) = (PersonId::named(&crew, "Maren Oake"), PersonId::named(&crew, "Tobi Larch"));
    let (job, other) = (JobId::named(&crew, "GARAGE"), JobId::named(&crew, "MILL"));
    let (stage, item) =
        (StageId::named(&crew, "GARAGE", "first fix water"), ItemId::named(&crew, "elbow 15"));
    let site = |job| Site {
        job,
        stage: Some(stage),
        place: Place { room: String::new(), surface: None, words: named("north wall") },
    };
    let listed = |job, code: &str, customer: &str| {
        Body::JobListed(JobListed {
            job,
            code: named(code),
            title: named("Garage into shower room"),
            customer: named(customer),
            site_address: named("4 Saltmarsh Lane, Wexcombe"),
            time_zone: named("Europe/London"),
        })
    };
    let admitted = DeviceAdmitted {
        device: phone.public(),
        name: named("tobi-phone"),
        person: tobi,
        shared: false,
        office: false,
    };
    let test = Test {
        site: site(job),
        what: named("pressure test"),
        bound: Bound::Exactly,
        value: "4.5".parse().unwrap(),
        unit: named("bar"),
        method: String::new(),
        instrument: named("gauge 7"),
        limit: None,
        outside: None,
        photos: vec![PhotoHash(hash_of(PHOTO))],
    };
    let stage_listed = StageListed {
        stage,
        job,
        name: named("first fix water"),
        order: 1,
        trades: vec![named("plumbing")],
        after: Vec::new(),
        wait_minutes: 0,
        covers: Vec::new(),
        needs_tests: vec![named("pressure test")],
        needs_photo: true,
    };
    let item_listed = ItemListed {
        item,
        name: named("elbow 15"),
        unit: named("each"),
        pack: named("each"),
        pack_size: "1".parse().unwrap(),
    };
    let missing = Photo { site: Some(site(job)), photo: PhotoHash([9; 32]), size: 1, behind: true };
    let used = |job| {
        let amount = ledger::site::Amount { quantity: "16".parse().unwrap(), said: None };
        Body::Used(Used { site: site(job), item, amount, whose: Whose::Ours, bought: None })
    };
    let on_laptop = [
        Body::PersonListed(PersonListed { person: tobi, name: named("Tobi Larch"), role: Role::Hand }),
        Body::DeviceAdmitted(admitted),
        listed(job, "GARAGE", "J. Marrable"),
        listed(other, "MILL", "Tollgate Contracting"),
        Body::StageListed(stage_listed),
        Body::ItemListed(item_listed),
        used(other),
        Body::SignedOff(SignedOff { site: site(job), evidence: Vec::new() }),
    ];
    let on_phone = [
        (used(job), "batch 4711"),
        (used(other), "words of another customer"),
        (Body::Test(test), "plastic, test A"),
        (Body::Photo(missing), "behind the basin"),
    ];
    let mut builder = RunBuilder::new(start, ledger.chain(&start.chain).unwrap().tip);
    for (number, body) in (1..).zip(on_laptop) {
        let kind = body.kind().number();
        let payload = Payload { act: act(maren, number, ""), body }.encode().unwrap();
        builder.push(2, kind, KIND_VERSION, &payload).unwrap();
    }
    let (second, _) = builder.finish(&crew, &laptop).unwrap();
    let on_phone_start = ledger::ChainStart { chain: ChainId([6; 16]), device: phone.public(), ..start };
    let mut builder = RunBuilder::new(on_phone_start, on_phone_start.tip(&crew));
    for (number, (body, note)) in (21..).zip(on_phone) {
        let kind = body.kind().number();
        let payload = Payload { act: act(tobi, number, note), body }.encode().unwrap();
        builder.push(3, kind, KIND_VERSION, &payload).unwrap();
    }
    let (third, _) = builder.finish(&crew, &phone).unwrap();
    // All but what is of the other job.
    let (laptops, phones) = (BTreeSet::from([0, 1, 2, 3, 5, 6, 8]), BTreeSet::from([0, 2, 3]));
    let mut fronts = Vec::new();
    for (start, shown, runs) in
        [(start, &laptops, vec![first, second]), (on_phone_start, &phones, vec![third])]
    {
        let mut front = FrontBuilder::new(start, shown);
        runs.iter().for_each(|run| front.add(run));
        fronts.extend(front.finish());
    }
    let firm = Firm {
        name: named("Maren Oake"),
        trading_as: named("Oake Rooms"),
        address: named("The Lean-to, 2 Saltmarsh Lane, Wexcombe"),
        vat_number: String::new(),
    };
    let photos = BTreeMap::from([(PhotoHash(hash_of(PHOTO)), named("jpg"))]);
    let made_on = moment("2026-11-09T08:00").day();
    let added = Added { job, made_on, firm: Some(firm), extras: Vec::new(), photos };
    Week { laptop, phone, crew, excerpt: Excerpt::new(crew, fronts), added }
}

/// A photo of a wall, as a phone writes it: darker from left to right.
fn taken(width: u32, height: u32) -> Vec<u8> {
    let shade = |x: u32, _| image::Rgb([u8::try_from(x * 250 / width).unwrap(); 3]);
    let picture = image::RgbImage::from_fn(width, height, shade);
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    bytes.into_inner()
}

/// The picture that goes with the one photo. The bytes of the photo itself are none that can be read.
fn pictures() -> Pictures {
    BTreeMap::from([(PhotoHash(hash_of(PHOTO)), picture_of(&taken(32, 24)).unwrap())])
}

impl Week {
    /// All files, signed by a device.
    fn files(&self, device: &DeviceSecret) -> BTreeMap<String, Vec<u8>> {
        let mut files = handover_files(&self.excerpt, &self.added, &pictures()).unwrap();
        files.insert(format!("photos/{}.jpg", PhotoHash(hash_of(PHOTO))), PHOTO.to_vec());
        self.sign(&mut files, device);
        files
    }

    fn sign(&self, files: &mut BTreeMap<String, Vec<u8>>, device: &DeviceSecret) {
        files.remove(LIST);
        let each = files.iter().map(|(name, bytes)| (name.clone(), bytes.len() as u64, hash_of(bytes)));
        let list = signed_list(&self.crew, device, each);
        files.insert(LIST.to_owned(), list.into_bytes());
    }

    fn zip(&self) -> Vec<u8> {
        let files = self.files(&self.laptop).into_iter().map(Ok);
        write_zip(Cursor::new(Vec::new()), (&self.crew, &self.laptop), files).unwrap().into_inner()
    }
}

/// What somebody does to files that they were given.
type Change<'c> = dyn Fn(&mut BTreeMap<String, Vec<u8>>) + 'c;

struct Memory(BTreeMap<String, Vec<u8>>);

impl Files for Memory {
    fn names(&mut self) -> io::Result<Vec<String>> {
        Ok(self.0.keys().cloned().collect())
    }

    fn read(&mut self, name: &str, most: u64) -> io::Result<Vec<u8>> {
        let bytes = self.0.get(name).ok_or_else(|| io::Error::other("not there"))?;
        let mut read = Vec::new();
        bytes.as_slice().take(most).read_to_end(&mut read)?;
        Ok(read)
    }
}

fn check(files: &BTreeMap<String, Vec<u8>>) -> Checked {
    check_files(&mut Memory(files.clone())).unwrap()
}

fn named(checked: &Checked) -> Vec<&str> {
    checked.faults.iter().map(|fault| fault.file.as_str()).collect()
}

#[test]
fn it_says_what_was_done_who_signed_it_and_nothing_of_another_job() {
    let week = week();
    let files = week.files(&week.laptop);
    let checked = check(&files);
    assert!(checked.is_as_signed, "{:?}", checked.faults);
    let signed = checked.signed.unwrap();
    assert_eq!((signed.person.as_str(), signed.device.as_str()), ("Maren Oake", "maren-laptop"));
    assert_eq!((signed.job.as_str(), signed.customer.as_str()), ("GARAGE", "J. Marrable"));
    assert_eq!((signed.events, signed.withheld), (10, 3));
    assert!(week.crew.to_string().starts_with(&signed.crew_code.replace(' ', "")));
    let text = String::from_utf8(files["handover.txt"].clone()).unwrap();
    for words in
        ["first fix water", "pressure test", "4.5 bar", "gauge 7", "batch 4711", "Behind this: north wall"]
    {
        assert!(text.contains(words), "{words}: {text}");
    }
    // A photo whose file did not come is open, and named.
    assert!(text.contains("09090909") && text.contains("is missing"), "{text}");
    for (name, bytes) in &files {
        for words in ["another customer", "Tollgate"] {
            let holds = bytes.windows(words.len()).any(|window| window == words.as_bytes());
            assert!(!holds, "{name}: {words}");
        }
    }
}

#[test]
fn a_changed_byte_anywhere_in_the_zip_is_noticed_and_its_file_is_named() {
    let week = week();
    let zip = week.zip();
    let checked = check_zip(&mut Cursor::new(&zip)).unwrap();
    assert!(checked.is_as_signed, "{:?}", checked.faults);
    assert_eq!(zip, week.zip(), "the same handover has the same bytes");
    let files = week.files(&week.laptop);
    let find = |bytes: &[u8]| zip.windows(bytes.len()).position(|window| window == bytes).unwrap();
    let places: Vec<_> =
        files.iter().map(|(name, bytes)| (name.as_str(), find(bytes)..find(bytes) + bytes.len())).collect();
    let (_, pdf) = places.iter().find(|(name, _)| *name == "handover.pdf").unwrap();
    // Each byte of each file and of the zip around them; of the large PDF, whose bytes are all alike to the check,
    // some of each part of it.
    let offsets = (0..zip.len()).filter(|at| !pdf.contains(at) || (at - pdf.start) % 97 == 0);
    let mut flipped = zip.clone();
    let mut count = 0;
    for at in offsets {
        flipped[at] ^= if at % 2 == 0 { 0x01 } else { 0x20 };
        let checked = check_zip(&mut Cursor::new(&flipped)).unwrap();
        assert!(!checked.is_as_signed, "byte {at}");
        if let Some((name, _)) = places.iter().find(|(_, place)| place.contains(&at)) {
            assert!(named(&checked).contains(name), "byte {at} of {name}: {:?}", checked.faults);
        }
        flipped[at] = zip[at];
        count += 1;
    }
    assert!(count > 5_000, "{count}");
    for end in [0, 1, 100, zip.len() / 2, zip.len() - 153, zip.len() - 1] {
        assert!(!check_zip(&mut Cursor::new(&zip[..end])).unwrap().is_as_signed, "cut at {end}");
    }
    for more in [&b"\0"[..], b"PK\x05\x06", &zip] {
        let longer = [zip.as_slice(), more].concat();
        assert!(!check_zip(&mut Cursor::new(&longer)).unwrap().is_as_signed, "{} bytes more", more.len());
        let before = [more, zip.as_slice()].concat();
        assert!(!check_zip(&mut Cursor::new(&before)).unwrap().is_as_signed, "{} bytes before", more.len());
    }
}

#[test]
fn files_that_are_packed_again_are_told_from_files_that_were_changed() {
    let week = week();
    let files = week.files(&week.laptop);
    for (below, method) in [
        ("", zip::CompressionMethod::Stored),
        ("", zip::CompressionMethod::Deflated),
        ("handover-GARAGE/", zip::CompressionMethod::Deflated),
    ] {
        let mut again = zip::ZipWriter::new(Cursor::new(Vec::new()));
        let options = zip::write::SimpleFileOptions::default().compression_method(method);
        for (name, bytes) in &files {
            again.start_file(format!("{below}{name}"), options).unwrap();
            again.write_all(bytes).unwrap();
        }
        let mut again = again.finish().unwrap();
        let checked = check_zip(&mut again).unwrap();
        assert_eq!(named(&checked), [""], "{below}");
        assert!(checked.faults[0].what.contains("every file in it is as it was signed"), "{checked:?}");
        assert_eq!(checked.signed.unwrap().crew_name, "Oake Rooms");
    }
}

#[test]
fn a_file_that_is_added_taken_out_swapped_or_renamed_is_named() {
    let week = week();
    let files = week.files(&week.laptop);
    let changed = |change: &Change<'_>| {
        let mut changed = files.clone();
        change(&mut changed);
        check(&changed)
    };
    for name in files.keys() {
        let gone = changed(&|files| drop(files.remove(name)));
        assert_eq!(named(&gone), [name.as_str()]);
        let longer = changed(&|files| files.get_mut(name).unwrap().push(b'\n'));
        assert!(named(&longer).contains(&name.as_str()), "{longer:?}");
    }
    assert_eq!(
        named(&changed(&|files| drop(files.insert("more.txt".to_owned(), b"x".to_vec())))),
        ["more.txt"]
    );
    let renamed = changed(&|files| {
        let bytes = files.remove("tests.csv").unwrap();
        files.insert("checks.csv".to_owned(), bytes);
    });
    assert_eq!(named(&renamed), ["checks.csv"]);
    assert!(renamed.faults[0].what.contains("tests.csv"), "{renamed:?}");
    let swapped = changed(&|files| {
        let (one, other) = (files["tests.csv"].clone(), files["stages.csv"].clone());
        files.extend([("stages.csv".to_owned(), one), ("tests.csv".to_owned(), other)]);
    });
    assert_eq!(named(&swapped), ["stages.csv", "tests.csv"]);
    assert!(swapped.faults[0].what.contains("signed as tests.csv"), "{swapped:?}");
}

#[test]
fn what_a_device_signs_must_follow_from_the_events_and_the_device_must_lead() {
    let week = week();
    // A paper that says something else, and is signed all the same by the crew's own laptop.
    let mut files = week.files(&week.laptop);
    let data = String::from_utf8(files["handover.json"].clone()).unwrap();
    assert!(data.contains("4.5 bar"));
    files.insert("handover.json".to_owned(), data.replace("4.5 bar", "6.5 bar").into_bytes());
    week.sign(&mut files, &week.laptop);
    let checked = check(&files);
    assert_eq!(named(&checked), ["handover.json"]);
    assert!(checked.faults[0].what.contains("does not follow"), "{checked:?}");
    // A hand's phone and a stranger's sign as they like; neither hands a job of the crew over.
    for device in [&week.phone, &DeviceSecret::from_seed(&[8; 32])] {
        let checked = check(&week.files(device));
        assert_eq!(named(&checked), [LIST], "{checked:?}");
    }
    // A photo under the name of another.
    let mut files = week.files(&week.laptop);
    let name = format!("photos/{}.jpg", PhotoHash(hash_of(PHOTO)));
    files.insert(name.clone(), b"\xff\xd8\xff another wall".to_vec());
    week.sign(&mut files, &week.laptop);
    assert_eq!(named(&check(&files)), [name.as_str()]);
}

#[test]
fn photos_stand_on_the_paper_as_small_pictures() {
    let week = week();
    let pdf = |pictures: &Pictures| {
        handover_files(&week.excerpt, &week.added, pictures).unwrap().remove("handover.pdf").unwrap()
    };
    let holds = |pdf: &[u8], words: &[u8]| pdf.windows(words.len()).any(|window| window == words);
    let (with, without) = (pdf(&pictures()), pdf(&Pictures::new()));
    let picture = pictures().into_values().next().unwrap();
    let large = picture_of(&taken(1200, 900)).unwrap();
    assert!(large.len() < 60_000, "{}", large.len());
    let size = image::load_from_memory(&large).unwrap();
    assert_eq!((size.width(), size.height()), (900, 675));
    // The picture's own bytes are in the paper, and nothing stands there where there is no picture.
    assert!(holds(&with, &picture) && holds(&with, b"/DCTDecode") && !holds(&without, b"/DCTDecode"));
    assert_eq!(picture_of(PHOTO), None, "what can't be read is no picture");
    // A picture that was put in the place of another was not signed, and one of no photo leads nowhere.
    let mut files = week.files(&week.laptop);
    let name = format!("pictures/{}.jpg", PhotoHash(hash_of(PHOTO)));
    files.insert(name.clone(), large);
    assert_eq!(named(&check(&files)), [name.as_str()]);
    let mut files = week.files(&week.laptop);
    let stray = format!("pictures/{}.jpg", PhotoHash([8; 32]));
    files.insert(stray.clone(), picture);
    week.sign(&mut files, &week.laptop);
    assert_eq!(named(&check(&files)), [stray.as_str()]);
}
