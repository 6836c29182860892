//! Every target for a bounded while, the same inputs each time.

use fuzz::mutation::{Dice, bend, feed};
use fuzz::targets::TARGETS;

#[test]
fn no_decoder_breaks() {
    std::thread::scope(|scope| {
        for half in 0..2 {
            scope.spawn(move || {
                for (name, target) in TARGETS.iter().skip(half).step_by(2) {
                    let broken = feed(name, *target, 7, 2_000);
                    assert_eq!(broken, None, "{name} breaks on these bytes");
                }
            });
        }
    });
}

#[test]
fn a_target_that_breaks_is_found_out() {
    let breaks = |bytes: &[u8]| assert!(bytes.len() < 150, "it claims more than it has");
    assert!(feed("run", breaks, 7, 2_000).is_some());
}

#[test]
fn bent_inputs_follow_from_the_seed() {
    let others = [b"a second input".to_vec()];
    let bent = |seed| bend(b"an honest input, and a longer one", &others, &mut Dice(seed));
    assert_eq!(bent(1), bent(1));
    assert_ne!(bent(1), bent(2));
}

#[test]
fn sessions_begin_with_a_whole_conversation() {
    let (_, _, runs) = fuzz::corpus::crew();
    let head = runs.last().map(|run| run.bytes()[run.bytes().len() - 64..].to_vec()).unwrap();
    let said = fuzz::peer::recorded();
    assert!(said[0].windows(64).any(|piece| piece == head), "the crew's last head is in what home says");
}

#[test]
fn another_fuzzer_has_the_same_targets() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/libfuzzer/fuzz_targets");
    let files =
        std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap());
    let mut named: Vec<String> = files.map(|file| file.trim_end_matches(".rs").to_owned()).collect();
    let mut targets: Vec<&str> = TARGETS.iter().map(|(name, _)| *name).collect();
    named.sort_unstable();
    targets.sort_unstable();
    assert_eq!(named, targets);
    let listed = include_str!("../libfuzzer/Cargo.toml");
    for name in targets {
        assert!(listed.contains(&format!("name = \"{name}\"")), "{name} is not in its Cargo.toml");
    }
}
