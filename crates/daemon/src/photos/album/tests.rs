//! An album on a real folder.

use super::*;

const PEER: DeviceKey = DeviceKey([7; 32]);

fn bytes(length: usize) -> Vec<u8> {
    (0..length).map(|at| u8::try_from(at % 241).unwrap()).collect()
}

fn pieces(bytes: &[u8]) -> Vec<Bytes> {
    bytes.chunks(GROUP).map(Bytes::copy_from_slice).collect()
}

fn outline(bytes: &[u8]) -> Outline {
    let mut outliner = Outliner::default();
    bytes.chunks(GROUP).for_each(|group| outliner.push(group));
    outliner.finish().unwrap()
}

fn album(data: &Path) -> Album {
    Album::open(data, Portion::Whole)
}

fn write_all(album: &Album, photo: PhotoHash, bytes: &[u8], from: usize) {
    for (group, piece) in bytes.chunks(GROUP).enumerate().skip(from) {
        album.write(photo, group, bytes.len().div_ceil(GROUP), &pieces(piece)).unwrap();
    }
}

#[test]
fn a_photo_comes_in_pieces_over_a_new_start_and_is_whole_at_once() {
    let data = tempfile::tempdir().unwrap();
    let bytes = bytes(5 * GROUP + 9);
    let whole = outline(&bytes);
    let photo = whole.photo();
    let first = album(data.path());
    assert_eq!(first.claim(PEER, photo, Portion::Whole), Some(Vec::new()));
    assert_eq!(first.claim(PEER, photo, Portion::Whole), None, "one session at a time");
    first.write(photo, 0, 6, &pieces(&bytes[..3 * GROUP])).unwrap();
    assert_eq!(first.coming()[&photo], Coming { from: PEER, groups: 3, of: 6 });
    assert!(first.write(photo, 4, 6, &pieces(&bytes[4 * GROUP..5 * GROUP])).is_err(), "no hole");
    assert!(first.finish(photo, &whole).is_err(), "not all is here");
    drop(first);

    let second = album(data.path());
    let here = second.claim(PEER, photo, Portion::Whole).unwrap();
    assert_eq!(here, whole.groups()[..3]);
    second.trim(photo, 2).unwrap();
    write_all(&second, photo, &bytes, 2);
    assert_eq!(second.here(photo), Portion::Nothing);
    second.finish(photo, &whole).unwrap();
    assert_eq!(fs::read(path_of(data.path(), photo)).unwrap(), bytes);
    assert_eq!((second.here(photo), second.gained(0)), (Portion::Whole, (vec![photo], 1)));
    assert_eq!(second.outline(photo, 4..9), Some((whole, bytes[4 * GROUP..].to_vec())));
    assert_eq!(second.read(photo, 5, 16).unwrap(), bytes[5 * GROUP..]);
}

#[test]
fn a_file_that_is_not_its_photo_any_more_is_put_aside_and_wanted_again() {
    let data = tempfile::tempdir().unwrap();
    let album = album(data.path());
    let photo = crate::photos::keep_bytes(data.path(), b"\xff\xd8\xff wall").unwrap().hash;
    assert!(album.wanted([photo].into_iter(), 9).is_empty());
    fs::write(path_of(data.path(), photo), b"\xff\xd8\xff wal1").unwrap();
    assert_eq!(album.outline(photo, 0..1), None);
    assert_eq!(album.wanted([photo].into_iter(), 9), [(photo, Portion::Nothing)]);
    let aside = path_of(data.path(), photo).with_extension("damaged");
    assert_eq!(fs::read(aside).unwrap(), b"\xff\xd8\xff wal1");
}

#[test]
fn a_full_disk_keeps_photos_waiting_and_says_so() {
    let data = tempfile::tempdir().unwrap();
    let mut full = album(data.path());
    full.room = |_| Ok(KEPT_FREE - 1);
    let bytes = bytes(GROUP);
    let photo = outline(&bytes).photo();
    full.claim(PEER, photo, Portion::Whole).unwrap();
    let why = full.write(photo, 0, 1, &pieces(&bytes)).unwrap_err();
    assert!(why.contains("too full for photos; entries are still saved"), "{why}");
    assert_eq!(full.trouble(), Some(why));
    full.release(photo);
    assert!(full.wanted([photo].into_iter(), 9).is_empty(), "nothing is asked for in vain");
    full.room = |_| Ok(KEPT_FREE);
    full.try_again();
    assert_eq!(full.wanted([photo].into_iter(), 9), [(photo, Portion::Nothing)]);
    full.claim(PEER, photo, Portion::Whole).unwrap();
    full.write(photo, 0, 1, &pieces(&bytes)).unwrap();
    full.finish(photo, &outline(&bytes)).unwrap();
}

#[test]
fn a_small_picture_gives_way_to_the_photo() {
    let data = tempfile::tempdir().unwrap();
    let album = Album::open(data.path(), Portion::Small);
    let bytes = bytes(9);
    let photo = outline(&bytes).photo();
    assert_eq!(album.claim(PEER, photo, Portion::Small), Some(Vec::new()));
    assert!(album.keep_small(photo, b"<svg>").is_err());
    album.try_again();
    album.keep_small(photo, b"\xff\xd8\xff small").unwrap();
    assert_eq!((album.here(photo), album.coming().len()), (Portion::Small, 0));
    assert!(album.wanted([photo].into_iter(), 9).is_empty());
    album.set_keeps(Portion::Whole);
    assert_eq!(album.wanted([photo].into_iter(), 9), [(photo, Portion::Small)]);
    album.claim(PEER, photo, Portion::Whole).unwrap();
    write_all(&album, photo, &bytes, 0);
    album.finish(photo, &outline(&bytes)).unwrap();
    assert!(!pictures::small_path(data.path(), photo).exists());
}

#[test]
fn what_peers_have_is_known_over_a_new_start() {
    let data = tempfile::tempdir().unwrap();
    let (one, other) = (PhotoHash([1; 32]), PhotoHash([2; 32]));
    let first = album(data.path());
    first.note(PEER, &[(one, Portion::Whole), (other, Portion::Small)]);
    first.note(PEER, &[(one, Portion::Whole)]);
    first.note_keeps(PEER, Portion::Small);
    assert_eq!(first.peer(&PEER), (Some(Portion::Small), 1));
    let file = data.path().join(FOLDER).join(format!("{ON_PEER}{PEER}"));
    fs::OpenOptions::new().append(true).open(&file).unwrap().write_all(&[9; 5]).unwrap();
    let second = album(data.path());
    assert_eq!(second.said_to_have(one), [PEER]);
    assert!(second.said_to_have(other).is_empty());
    assert_eq!(second.peer(&PEER), (None, 1));
}

#[test]
fn who_keeps_less_gets_the_room_of_what_had_only_begun_and_nothing_else() {
    let data = tempfile::tempdir().unwrap();
    let album = album(data.path());
    let kept = crate::photos::keep_bytes(data.path(), b"\xff\xd8\xff wall").unwrap().hash;
    let bytes = bytes(2 * GROUP);
    let begun = outline(&bytes).photo();
    album.claim(PEER, begun, Portion::Whole).unwrap();
    album.write(begun, 0, 2, &pieces(&bytes[..GROUP])).unwrap();
    album.set_keeps(Portion::Nothing);
    assert!(album.part_of(begun).exists(), "a session still writes it");
    album.release(begun);
    album.set_keeps(Portion::Nothing);
    assert!(!album.part_of(begun).exists());
    assert_eq!(album.here(kept), Portion::Whole);
}

#[test]
fn a_peer_is_asked_only_about_what_it_keeps_and_is_not_known_to_have() {
    let data = tempfile::tempdir().unwrap();
    let album = album(data.path());
    let kept = crate::photos::keep_bytes(data.path(), b"\xff\xd8\xff wall").unwrap().hash;
    let unknown = || album.unknown_on(PEER, [kept, PhotoHash([9; 32])].into_iter(), 9);
    assert!(album.wanted([kept].into_iter(), 9).is_empty());
    assert!(unknown().is_empty(), "it has not said what it keeps");
    album.note_keeps(PEER, Portion::Whole);
    assert_eq!(unknown(), [kept]);
    album.note(PEER, &[(kept, Portion::Whole)]);
    assert!(unknown().is_empty());
}
