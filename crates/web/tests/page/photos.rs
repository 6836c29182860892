//! Photos: sent whole and in parts, and what is no photo.

use std::fs;

use std::io::{Cursor, Read as _, Write as _};
use std::net::TcpStream;

use daemon::Role;
use image::{DynamicImage, ImageFormat};

use crate::world::{Answer, Browser, World};

fn picture(width: u32, height: u32) -> Vec<u8> {
    let mut picture = image::RgbImage::new(width, height);
    for (x, y, pixel) in picture.enumerate_pixels_mut() {
        let byte = |value: u32| u8::try_from(value % 251).unwrap();
        *pixel = image::Rgb([byte(x * 7), byte(y * 13), byte(x * y)]);
    }
    let mut bytes = Vec::new();
    DynamicImage::from(picture).write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
    bytes
}

fn send_form(browser: &Browser, fields: &[(&str, &str)], name: &str, kind: &str, file: &[u8]) -> Answer {
    send_to(browser, "/photos", fields, (name, kind), file)
}

fn send_to(
    browser: &Browser,
    path: &str,
    fields: &[(&str, &str)],
    (name, kind): (&str, &str),
    file: &[u8],
) -> Answer {
    let mut body = Vec::new();
    for (name, value) in fields.iter().chain(&[("token", browser.token.as_str())]) {
        body.extend(
            format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").bytes(),
        );
    }
    body.extend(
        format!(
            "--edge\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"{name}\"\r\n\
             Content-Type: {kind}\r\n\r\n"
        )
        .bytes(),
    );
    body.extend_from_slice(file);
    body.extend_from_slice(b"\r\n--edge--\r\n");
    let request = browser.request("POST", path).header("accept", "application/json");
    request.header("content-type", "multipart/form-data; boundary=edge").body(&body).send(browser.address)
}

const BEHIND: [(&str, &str); 5] = [
    ("kind", "photo"),
    ("job", "GARAGE"),
    ("stage", "stud walls"),
    ("where", "long wall"),
    ("behind", "yes"),
];

#[test]
fn a_photo_comes_by_a_form_and_is_served_as_a_picture() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let fields = [BEHIND.as_slice(), &[("entry", "p1")]].concat();
    let sent = send_form(&tobi, &fields, "wall.png", "image/png", &picture(2000, 500));
    assert_eq!(sent.status, 200, "{}", sent.text());
    let hash = sent.json()["photos"][0].as_str().unwrap().to_owned();
    let shown = tobi.get(&format!("/photos/{hash}"));
    assert_eq!(shown.headers["content-security-policy"], "default-src 'none'; sandbox");
    assert_eq!(shown.headers["content-type"], "image/jpeg");
    assert_eq!(blake3::hash(&shown.body).to_hex().as_str(), hash);
    let read = image::load_from_memory(&shown.body).unwrap();
    assert_eq!((read.width(), read.height()), (1600, 400));
    let small = image::load_from_memory(&tobi.get(&format!("/photos/{hash}?small")).body).unwrap();
    assert_eq!(small.width(), 240);
    assert!(world.folder.path().join("data/photos").join(&hash).exists());
    // Sent again, it is the same entry.
    let again = send_form(&tobi, &fields, "wall.png", "image/png", &picture(2000, 500));
    assert_eq!((again.status, again.json()["new"].as_bool()), (200, Some(false)), "{}", again.text());
    assert_eq!(photos_logged(&world), 1);
    assert_eq!(world.stranger().get_json(&format!("/photos/{hash}")).status, 401);
}

#[test]
fn in_place_of_a_photo_that_is_not_here_stands_where_it_is() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let sent = send_form(&tobi, &BEHIND, "wall.png", "image/png", &picture(900, 500));
    let hash = sent.json()["photos"][0].as_str().unwrap().to_owned();
    let photos = world.folder.path().join("data/photos");
    let (file, small) = (photos.join(&hash), photos.join(format!("{hash}.thumbnail")));
    // As on a device that holds the entry, and of the photo nothing, and then a small picture that another made.
    let bytes = fs::read(&file).unwrap();
    let small_bytes = fs::read(&small).unwrap();
    fs::remove_file(&file).unwrap();
    fs::remove_file(&small).unwrap();
    let answer = tobi.get(&format!("/photos/{hash}?small"));
    assert_eq!((answer.status, answer.headers["content-type"].as_str()), (404, "image/svg+xml"));
    assert_eq!(answer.headers["cache-control"], "no-store");
    assert!(answer.text().contains("not here yet"), "{}", answer.text());
    fs::write(&small, &small_bytes).unwrap();
    let answer = tobi.get(&format!("/photos/{hash}?small"));
    assert_eq!((answer.status, answer.headers["cache-control"].as_str()), (200, "no-store"));
    assert!(tobi.get(&format!("/photos/{hash}")).text().contains("the whole photo is not here yet"));
    // Once it is here it is shown, for good.
    fs::write(&file, &bytes).unwrap();
    let answer = tobi.get(&format!("/photos/{hash}"));
    assert_eq!((answer.status, &answer.body), (200, &bytes));
    assert!(answer.headers["cache-control"].contains("immutable"));
    // Who may not see the entry is not told where its photo is.
    assert_eq!(world.stranger().get_json(&format!("/photos/{hash}")).status, 401);
}

fn photos_logged(world: &World) -> usize {
    world.holding.with(|node| {
        node.book().entries().filter(|entry| matches!(*entry.body, ledger::Body::Photo(_))).count()
    })
}

#[test]
fn what_is_no_photo_is_not_kept_whatever_it_is_called() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let page = b"<!doctype html><script>alert(1)</script>";
    let sent = send_form(&tobi, &BEHIND, "wall.jpg", "image/jpeg", page);
    assert_eq!(sent.status, 422);
    assert!(sent.json()["refused"].as_str().unwrap().contains("JPEG, PNG or WebP"));
    // A few hundred kilobytes that unfold to 900 million pixels.
    let mut bomb = picture(2, 2);
    bomb[16..20].copy_from_slice(&30_000_u32.to_be_bytes());
    bomb[20..24].copy_from_slice(&30_000_u32.to_be_bytes());
    let sent = send_form(&tobi, &BEHIND, "vast.png", "image/png", &bomb);
    assert_eq!(sent.status, 422, "{}", sent.text());
    let large = vec![0xff; 17 * 1024 * 1024];
    assert_eq!(send_form(&tobi, &BEHIND, "wall.jpg", "image/jpeg", &large).status, 413);
    assert_eq!(photos_logged(&world), 0);
    assert!(!world.folder.path().join("data/photos").exists());
    // Even a file that somebody put there by hand is only shown if it is a picture.
    let folder = world.folder.path().join("data/photos");
    std::fs::create_dir_all(&folder).unwrap();
    let hash = blake3::hash(page).to_hex();
    std::fs::write(folder.join(hash.as_str()), page).unwrap();
    assert_eq!(tobi.get(&format!("/photos/{hash}")).status, 404);
    assert_eq!(tobi.get("/photos/..%2fdevice.json").status, 404);
}

fn part(browser: &Browser, id: &str, offset: usize, length: usize, bytes: &[u8]) -> Answer {
    let request = browser.request("PATCH", &format!("/uploads/{id}")).header("x-form-token", &browser.token);
    let request =
        request.header("upload-offset", &offset.to_string()).header("upload-length", &length.to_string());
    request.header("accept", "application/json").body(bytes).send(browser.address)
}

#[test]
fn a_photo_comes_in_parts_and_goes_on_where_the_line_broke() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let (id, file) = ("0f0e0d0c0b0a09080706050403020100", picture(700, 700));
    let head = |browser: &Browser| browser.request("HEAD", &format!("/uploads/{id}")).send(browser.address);
    assert_eq!(head(&tobi).status, 404);
    let (half, length) = (file.len() / 2, file.len());
    let first = part(&tobi, id, 0, length, &file[..half]);
    assert_eq!((first.status, first.headers["upload-offset"].as_str()), (204, half.to_string().as_str()));
    // The line breaks in the middle of a part: what arrived stays.
    let request = tobi.request("PATCH", &format!("/uploads/{id}")).header("x-form-token", &tobi.token);
    let request =
        request.header("upload-offset", &half.to_string()).header("upload-length", &length.to_string());
    let whole = request.body(&file[half..]).bytes();
    let mut stream = TcpStream::connect(world.address).unwrap();
    stream.write_all(&whole[..whole.len() - 1000]).unwrap();
    stream.shutdown(std::net::Shutdown::Write).unwrap();
    let _ = stream.read_to_end(&mut Vec::new());
    let stands: usize = head(&tobi).headers["upload-offset"].parse().unwrap();
    assert!(stands > half && stands <= length - 1000, "{stands}");

    let misplaced = part(&tobi, id, half, length, &file[half..]);
    assert_eq!(
        (misplaced.status, misplaced.headers["upload-offset"].as_str()),
        (409, stands.to_string().as_str())
    );
    let last = part(&tobi, id, stands, length, &file[stands..]);
    assert_eq!((last.status, last.headers["upload-complete"].as_str()), (200, "?1"), "{}", last.text());
    // The answer may have been lost: asked again, it is the same.
    let again = part(&tobi, id, length, length, &[]);
    assert_eq!(again.json()["photo"], last.json()["photo"]);
    assert_eq!(head(&tobi).headers["upload-complete"], "?1");

    // The entry names it by the phone's own id for it; nobody else's phone can.
    let fields = [BEHIND.as_slice(), &[("entry", "q1"), ("photo", id)]].concat();
    let ines = world.browser("Ines Quill", Role::Hand);
    assert_eq!(ines.post_json("/log", &fields).status, 422);
    assert_eq!(head(&ines).status, 404);
    assert_eq!(tobi.post_json("/log", &fields).status, 200);
    assert_eq!(photos_logged(&world), 1);
}

#[test]
fn parts_that_make_no_photo_are_refused_and_forgotten() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let page = b"<!doctype html><script>alert(1)</script>";
    let sent = part(&tobi, "aaaaaaaaaaaaaaaa", 0, page.len(), page);
    assert_eq!(sent.status, 422);
    assert_eq!(tobi.request("HEAD", "/uploads/aaaaaaaaaaaaaaaa").send(world.address).status, 404);
    let without = Browser { token: String::new(), ..tobi.clone() };
    assert_eq!(part(&without, "bbbbbbbbbbbbbbbb", 0, 4, b"four").status, 403);
    assert_eq!(part(&tobi, "..%2f..%2fdevice", 0, 4, b"four").status, 404);
}

#[test]
fn a_photo_is_seen_by_whoever_may_see_its_entry() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let ines = world.browser("Ines Quill", Role::Hand);
    let maren = world.browser("Maren Oake", Role::Owner);
    let send = |fields: &[(&str, &str)], size| {
        let sent = send_form(&tobi, fields, "one.png", "image/png", &picture(size, 40));
        assert_eq!(sent.status, 200, "{}", sent.text());
        sent.json()["photos"][0].as_str().unwrap().to_owned()
    };
    let ticket = send(&[("kind", "bought"), ("job", "GARAGE"), ("net", "31.20"), ("entry", "t1")], 40);
    let wall = send(&[BEHIND.as_slice(), &[("entry", "w1")]].concat(), 50);
    let later = send(&[("kind", "photo"), ("job", "GARAGE"), ("sort", "later"), ("entry", "s1")], 60);
    let seen = |browser: &Browser| {
        [&ticket, &wall, &later].map(|hash| browser.get(&format!("/photos/{hash}?small")).status)
    };
    assert_eq!((seen(&tobi), seen(&maren), seen(&ines)), ([200; 3], [200; 3], [404, 200, 404]));
    // Naming it in an entry of one's own opens nothing.
    let note = [("kind", "note"), ("job", "GARAGE"), ("note", "x"), ("photo", &ticket), ("entry", "n1")];
    assert_eq!(ines.post_json("/log", &note).status, 422);
    assert!(!ines.get("/").text().contains("Photos not sorted yet"));
    assert!(maren.get("/").text().contains("Photos not sorted yet: 1"));
    // Sorted, it is the crew's.
    let sort = [("corrects", "s1"), ("onto", "GARAGE\tboarding"), ("where", "north wall"), ("entry", "c1")];
    let sorted = tobi.post_json("/do/correct", &sort);
    assert_eq!(sorted.status, 200, "{}", sorted.text());
    assert_eq!(seen(&ines), [404, 200, 200]);
    assert!(!tobi.get("/").text().contains("Photos not sorted yet"));
    assert!(ines.get("/behind?job=GARAGE").text().contains("north wall"));
}

#[test]
fn damage_that_was_there_is_photographed_with_the_survey() {
    let world = World::new();
    let tobi = world.browser("Tobi Larch", Role::Hand);
    let answer = |words: &'static str, entry| {
        [("job", "GARAGE"), ("point", "damage_there"), ("answer", words), ("entry", entry)]
    };
    for (entry, size) in [("d1", 40), ("d2", 60)] {
        let sent = send_to(
            &tobi,
            "/photos/survey",
            &answer("a crack", entry),
            ("c.png", "image/png"),
            &picture(size, 40),
        );
        assert_eq!(sent.status, 200, "{}", sent.text());
    }
    assert_eq!(tobi.post_json("/do/survey", &answer("a crack over the door", "d3")).status, 200);
    // The same press again is the same answer.
    assert!(tobi.post_json("/do/survey", &answer("a crack", "d1")).json()["done_already"].is_string());
    let photos: Vec<String> = world.holding.with(|node| {
        let lists = node.book().lists();
        lists.surveys.values().flat_map(|said| said.photos.iter().map(ToString::to_string)).collect()
    });
    assert_eq!(photos.len(), 2);
    let page = tobi.get("/job?job=GARAGE").text();
    assert!(photos.iter().all(|photo| page.contains(photo)) && page.contains("a crack over the door"));
    let ines = world.browser("Ines Quill", Role::Hand);
    assert_eq!(ines.get(&format!("/photos/{}", photos[0])).status, 200);
}
