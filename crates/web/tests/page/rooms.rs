//! Rooms as measured: kept by whoever measured them, worked out for everybody, costed by the boss.

use daemon::Role;

use crate::world::World;

const ROOM: &str = "room: Store <b>\r\nwall back: 3600 x 2400, studs, board, skim";
const LINK: &str = "/rooms?job=GARAGE&what=store%20%3Cb%3E";

#[test]
fn a_room_is_kept_by_a_hand_and_costed_by_the_boss() {
    let world = World::new();
    let mut tobi = world.browser("Tobi Larch", Role::Hand);
    assert!(tobi.get("/rooms?job=GARAGE").text().contains("Measure a room"));
    assert_eq!(tobi.post("/do/room-keep", &[("job", "GARAGE"), ("text", ROOM)]).status, 303);
    let shown = tobi.get(LINK).text();
    for told in ["plasterboard 2400x1200x12.5", "boards", "How it was worked out", "uprights", "Cutting"] {
        assert!(shown.contains(told), "{told}: {shown}");
    }
    assert!(shown.contains("Store &#60;b&#62;") && !shown.contains("Store <b>"), "{shown}");
    assert!(!shown.contains("what we priced") && !shown.contains('£'), "no money for the crew");
    let cost = [("job", "GARAGE"), ("text", ROOM)];
    assert_eq!(tobi.post_json("/do/room-cost", &cost).status, 403);

    let drawing = tobi.get("/rooms/drawing?job=GARAGE&what=store%20%3Cb%3E&face=0");
    assert_eq!((drawing.status, drawing.headers["content-type"].as_str()), (200, "image/svg+xml"));
    assert!(drawing.headers["content-security-policy"].contains("sandbox"));
    assert!(drawing.text().contains("plasterboard 2400x1200x12.5 standing"));
    assert_eq!(tobi.get("/rooms/drawing?job=GARAGE&what=store%20%3Cb%3E&face=9").status, 404);

    let maren = world.browser("Maren Oake", Role::Owner);
    assert!(maren.get(LINK).text().contains("Put it into what we priced"));
    let saved = maren.post_json("/do/room-cost", &cost);
    assert_eq!(saved.status, 200, "{}", saved.text());
    assert!(maren.get("/job?job=GARAGE").text().contains("plasterboard 2400x1200x12.5"));

    // An extra is priced in the same way, by the boss alone.
    assert!(!maren.get(LINK).text().contains("Price the extra"), "there is none yet");
    let asked = [("kind", "asked"), ("job", "GARAGE"), ("what", "a store in the shed")];
    assert_eq!(maren.post_json("/log", &asked).status, 200);
    let shown = maren.get(LINK).text();
    let key =
        shown.split("<option value=\"").find(|option| option.contains(">a store in the shed<")).unwrap();
    let extra = ("extra", key.split('"').next().unwrap());
    assert_eq!(tobi.post_json("/do/room-cost", &[cost[0], cost[1], extra]).status, 403);
    assert!(maren.get("/job?job=GARAGE").text().contains("Set its price"));
    assert_eq!(maren.post_json("/do/room-cost", &[cost[0], cost[1], extra]).status, 200);
    assert!(maren.get("/job?job=GARAGE").text().contains("Change its price"));

    // What can't be built is not kept, and stands in the form to be mended.
    tobi.learn_token();
    let bad = ROOM.replace("3600", "3600 furlongs");
    let fields = [("kind", "room-keep"), ("job", "GARAGE"), ("text", &bad), ("back", LINK)];
    assert_eq!(tobi.post("/do/room-keep", &fields).headers["location"], LINK);
    let shown = tobi.get(LINK).text();
    assert!(shown.contains("not saved, because line 2") && shown.contains("3600 furlongs"), "{shown}");
    assert_eq!(tobi.post_json("/do/room-drop", &[("job", "GARAGE"), ("room", "STORE <B>")]).status, 200);
    assert!(!tobi.get("/rooms?job=GARAGE").text().contains("Store &#60;b"));
}
