//! Lists from files: checked whole, shown, and taken in by a second press.

use daemon::Role;

use crate::world::{Answer, Browser, World};

fn send(browser: &Browser, files: &[(&str, &str)]) -> Answer {
    let mut body = String::new();
    for (name, value) in [("token", browser.token.as_str()), ("back", "/lists?job=GARAGE")] {
        body += &format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
    }
    for (name, text) in files {
        body += &format!(
            "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\
             Content-Type: text/csv\r\n\r\n{text}\r\n"
        );
    }
    body += "--edge--\r\n";
    let request = browser.request("POST", "/lists?job=GARAGE");
    let request = request.header("content-type", "multipart/form-data; boundary=edge");
    request.body(body.as_bytes()).send(browser.address)
}

const BOOK: &str = "item,unit,pack,pack_size,pack_cost\nlime putty,kg,tub,20,18.40\n";
const ENTRIES: &str = "entry,device,person,at,done_on,kind,job,stage,what,quantity,unit,from,to,break_min,minutes,where,corrects,note\n\
     x1,paper,Tobi Larch,2026-07-06T16:00,,used,GARAGE,skim,lime putty,1,tub,,,,,,,\n";

#[test]
fn files_are_shown_before_they_are_taken_in_and_taken_in_once() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let sent = send(&maren, &[("price-book.csv", BOOK), ("entries.csv", ENTRIES)]);
    assert_eq!((sent.status, sent.headers["location"].as_str()), (303, "/lists?job=GARAGE"));
    let shown = maren.get("/lists?job=GARAGE").text();
    assert!(shown.contains("This would be taken in") && shown.contains("item listed"), "{shown}");
    assert_eq!(world.logged(), Vec::<String>::new());
    for _ in 0..2 {
        assert_eq!(maren.post_json("/lists/take", &[]).status, 200);
    }
    assert_eq!(world.logged(), ["Used"]);
    assert!(maren.get("/job?job=GARAGE").text().contains("lime putty"));
    // Sent again, there is nothing new in them.
    send(&maren, &[("price-book.csv", BOOK), ("entries.csv", ENTRIES)]);
    assert!(maren.get("/lists").text().contains("Nothing new is in these files"));
    assert_eq!(maren.post_json("/lists/drop", &[]).status, 200);
    assert!(!maren.get("/lists").text().contains("Nothing new"));
}

#[test]
fn one_bad_row_and_nothing_is_taken_in() {
    let world = World::new();
    let maren = world.browser("Maren Oake", Role::Owner);
    let bad = format!(
        "{ENTRIES}x2,paper,Nobody Here,2026-07-06T16:00,,used,BARN,skim,lime putty,much,tub,,,,,,,\n"
    );
    send(&maren, &[("price-book.csv", BOOK), ("entries.csv", &bad)]);
    let shown = maren.get("/lists").text();
    for told in ["Nothing was taken in", "entries.csv line 3, column person", "column job", "Nobody Here"] {
        assert!(shown.contains(told), "{told}: {shown}");
    }
    assert_eq!(maren.post_json("/lists/take", &[]).status, 422);
    assert_eq!(world.logged(), Vec::<String>::new());
    assert!(!maren.get("/job").text().contains("lime putty"));
    // A file of another name, and somebody who is not the boss.
    send(&maren, &[("prices.csv", BOOK)]);
    assert!(maren.get("/lists").text().contains("price-book.csv"));
    let tobi = world.browser("Tobi Larch", Role::Hand);
    assert_eq!(send(&tobi, &[("price-book.csv", BOOK)]).status, 403);
    assert_eq!((tobi.get("/lists").status, tobi.post_json("/lists/take", &[]).status), (403, 403));
    assert!(!tobi.get("/job").text().contains("Lists from files"));
}
