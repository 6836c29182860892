//! The outline of a photo: its length and the hashes of its groups, which together are its hash.
//!
//! BLAKE3 is a tree of hashes over chunks of 1,024 bytes (its specification, section 2.1: the left subtree of a parent
//! is the largest that is full and a power of two, and the root alone is marked as such). The groups are the subtrees
//! over 32 chunks each. A photo of the largest size has 640 of them, and their hashes fit one frame, so no more of
//! the tree is ever sent.

use blake3::Hasher;
use blake3::hazmat::{HasherExt as _, Mode, left_subtree_len, merge_subtrees_non_root, merge_subtrees_root};
use ledger::PhotoHash;

/// Bytes of a group; the last of a photo may be shorter. A power of two of chunks, and with its kind less than a frame.
pub const GROUP: usize = 32 * 1024;
/// Most bytes of a photo.
pub const MAX_PHOTO: u64 = 20 * 1024 * 1024;
/// Most groups of a photo.
pub const MAX_GROUPS: usize = 640;

/// The hash of a group, as it stands in the tree. That of an only group is the photo's own.
pub type GroupHash = [u8; 32];

const GROUP_BYTES: u64 = GROUP as u64;
const HASH: usize = size_of::<GroupHash>();

/// What proves each group of a photo by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outline {
    length: u64,
    groups: Vec<GroupHash>,
}

impl Outline {
    /// How many bytes the photo has.
    #[must_use]
    pub const fn length(&self) -> u64 {
        self.length
    }

    /// The hashes of its groups; at least one.
    #[must_use]
    pub fn groups(&self) -> &[GroupHash] {
        &self.groups
    }

    /// The photo that it is of.
    #[must_use]
    pub fn photo(&self) -> PhotoHash {
        let root = match self.groups.as_slice() {
            [only] => *only,
            groups => {
                let (left, right) = halves(groups, self.length);
                *merge_subtrees_root(&subtree(left), &subtree(right), Mode::Hash).as_bytes()
            }
        };
        PhotoHash(root)
    }

    /// Whether these bytes are the photo's group of this number.
    #[must_use]
    pub fn proves(&self, number: usize, bytes: &[u8]) -> bool {
        let before = number as u64 * GROUP_BYTES;
        let length = self.length.saturating_sub(before).min(GROUP_BYTES);
        self.groups.get(number).is_some_and(|hash| {
            bytes.len() as u64 == length && *hash == group_hash(number, bytes, self.groups.len() == 1)
        })
    }

    /// Its bytes in a frame.
    pub(crate) fn encode(&self) -> Vec<u8> {
        let length = u32::try_from(self.length).unwrap_or(u32::MAX).to_le_bytes();
        [&length[..], self.groups.as_flattened()].concat()
    }

    /// Reads one; none for bytes that are none. Whose it is must then be asked of [`Outline::photo`].
    pub(crate) fn decode(bytes: &[u8]) -> Option<Self> {
        let (length, hashes) = bytes.split_first_chunk::<4>()?;
        let length = u64::from(u32::from_le_bytes(*length));
        let (groups, rest) = hashes.as_chunks::<HASH>();
        let fits = (1..=MAX_PHOTO).contains(&length) && groups.len() as u64 == length.div_ceil(GROUP_BYTES);
        (fits && rest.is_empty()).then(|| Self { length, groups: groups.to_vec() })
    }
}

/// Makes an outline of groups as they are read.
#[derive(Debug, Default)]
pub struct Outliner {
    length: u64,
    groups: Vec<GroupHash>,
    /// The hash of the first group, were it the only one.
    only: GroupHash,
}

impl Outliner {
    /// Adds the next group. All but the last have [`GROUP`] bytes.
    pub fn push(&mut self, bytes: &[u8]) {
        if self.groups.is_empty() {
            self.only = group_hash(0, bytes, true);
        }
        self.groups.push(group_hash(self.groups.len(), bytes, false));
        self.length += bytes.len() as u64;
    }

    /// The hashes so far, of groups that others follow.
    #[must_use]
    pub fn groups(&self) -> &[GroupHash] {
        &self.groups
    }

    /// The outline; none of nothing, or of more than a photo may have.
    #[must_use]
    pub fn finish(mut self) -> Option<Outline> {
        if let [first] = self.groups.as_mut_slice() {
            *first = self.only;
        }
        let fits = (1..=MAX_PHOTO).contains(&self.length)
            && self.groups.len() as u64 == self.length.div_ceil(GROUP_BYTES);
        fits.then_some(Outline { length: self.length, groups: self.groups })
    }
}

fn group_hash(number: usize, bytes: &[u8], is_only: bool) -> GroupHash {
    let mut hasher = Hasher::new();
    if is_only {
        return *hasher.update(bytes).finalize().as_bytes();
    }
    hasher.set_input_offset(number as u64 * GROUP_BYTES);
    hasher.update(bytes).finalize_non_root()
}

/// Some groups in a row that are a subtree, and how many bytes it is over.
type Subtree<'a> = (&'a [GroupHash], u64);

/// What is left and right below the parent of more than one group. What is over more bytes than a group is divided
/// between groups, because a group is a full subtree.
fn halves(groups: &[GroupHash], length: u64) -> (Subtree<'_>, Subtree<'_>) {
    let left = left_subtree_len(length);
    let at = usize::try_from(left / GROUP_BYTES).unwrap_or(usize::MAX).min(groups.len());
    let (before, after) = groups.split_at(at);
    ((before, left), (after, length - left))
}

fn subtree((groups, length): Subtree<'_>) -> GroupHash {
    match groups {
        [only] => *only,
        groups => {
            let (left, right) = halves(groups, length);
            merge_subtrees_non_root(&subtree(left), &subtree(right), Mode::Hash)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(length: usize) -> Vec<u8> {
        (0..length).map(|at| u8::try_from(at * at % 251).unwrap_or_default()).collect()
    }

    fn outline_of(photo: &[u8]) -> Option<Outline> {
        let mut outliner = Outliner::default();
        photo.chunks(GROUP).for_each(|group| outliner.push(group));
        outliner.finish()
    }

    #[test]
    fn the_hashes_of_the_groups_are_together_the_hash_of_the_photo() {
        let lengths =
            [1, 1023, 1024, 1025, GROUP - 1, GROUP, GROUP + 1, 2 * GROUP, 3 * GROUP - 5, 9 * GROUP + 1];
        for length in lengths {
            let photo = bytes(length);
            let outline = outline_of(&photo).expect("an outline");
            assert_eq!(outline.photo().0, *blake3::hash(&photo).as_bytes(), "{length}");
            assert_eq!(outline.length(), length as u64);
            assert_eq!(Outline::decode(&outline.encode()), Some(outline.clone()));
            for (number, group) in photo.chunks(GROUP).enumerate() {
                assert!(outline.proves(number, group));
                assert!(!outline.proves(number, &group[..group.len() - 1]));
                let mut changed = group.to_vec();
                changed[group.len() / 2] ^= 1;
                assert!(!outline.proves(number, &changed), "{length} {number}");
                assert!(!outline.proves(number + 1, group), "{length} {number}");
            }
        }
    }

    #[test]
    fn the_largest_photo_has_an_outline_that_fits_a_frame() {
        let photo = vec![7; usize::try_from(MAX_PHOTO).expect("20 MiB")];
        let outline = outline_of(&photo).expect("an outline");
        assert_eq!(outline.photo().0, *blake3::hash(&photo).as_bytes());
        assert_eq!(outline.groups().len(), MAX_GROUPS);
        assert!(outline.encode().len() < crate::MAX_FRAME);
        assert_eq!(outline_of(&[photo, vec![7]].concat()), None);
        assert_eq!(outline_of(&[]), None);
    }

    #[test]
    fn bytes_that_are_no_outline_are_none() {
        let good = outline_of(&bytes(GROUP + 1)).expect("an outline").encode();
        assert_eq!(good.len(), 4 + 2 * HASH);
        for bad in [
            &good[..3],
            &good[..4],
            &good[..good.len() - 1],
            &good[..4 + HASH],
            &[&good[..], &[0; HASH]].concat(),
        ] {
            assert_eq!(Outline::decode(bad), None);
        }
        for length in [0_u32, u32::MAX, 20 * 1024 * 1024 + 1] {
            let groups = usize::try_from(length.div_ceil(GROUP as u32)).expect("a count").min(641);
            let bytes = [&length.to_le_bytes()[..], &vec![0; groups * HASH]].concat();
            assert_eq!(Outline::decode(&bytes), None);
        }
    }

    /// An outline of a shorter photo can have the same hash, if a parent is passed off as a group. No bytes fit it.
    #[test]
    fn a_parent_passed_off_as_a_group_proves_no_bytes() {
        let photo = bytes(4 * GROUP);
        let honest = outline_of(&photo).expect("an outline");
        let [first, second, third, fourth] = honest.groups() else { panic!("four groups") };
        let parent = merge_subtrees_non_root(third, fourth, Mode::Hash);
        let lie = Outline { length: 3 * GROUP as u64, groups: vec![*first, *second, parent] };
        assert_eq!(lie.photo(), honest.photo());
        assert!(lie.proves(0, &photo[..GROUP]));
        for group in photo.chunks(GROUP) {
            assert!(!lie.proves(2, group));
        }
    }
}
