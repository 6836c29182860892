//! Places as they are compared: by the words that were said, in any order.

use std::collections::BTreeSet;

use ledger::site::Place;

use crate::words;

/// The words of a place, in any order: room, surface and what was said.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlaceWords(BTreeSet<String>);

impl PlaceWords {
    /// The words of a place.
    #[must_use]
    pub fn of(place: &Place) -> Self {
        let said = [place.room.as_str(), words::surface(place), place.words.as_str()];
        if said.iter().all(|part| part.is_empty()) {
            return Self::default();
        }
        let said = said.join(" ").to_lowercase();
        let said = said.split(|letter: char| !letter.is_alphanumeric());
        let said = said.filter(|word| !matches!(*word, "" | "the" | "of" | "in" | "on" | "at" | "and"));
        Self(said.map(str::to_owned).collect())
    }

    /// Nothing was said of where.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        self.0.is_empty()
    }

    /// Both may be the same place: what one says of where, the other does not gainsay. The north wall is in
    /// the utility room's north wall, and not in the south wall.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        self.0.is_subset(&other.0) || other.0.is_subset(&self.0)
    }

    /// It says more of where than the other does, and nothing else: the utility room's north wall lies within
    /// the utility room.
    #[must_use]
    pub fn is_within(&self, other: &Self) -> bool {
        self != other && other.0.is_subset(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use ledger::site::Surface;

    use super::*;

    fn place(room: &str, surface: Option<Surface>, words: &str) -> PlaceWords {
        PlaceWords::of(&Place { room: room.to_owned(), surface, words: words.to_owned() })
    }

    #[test]
    fn places_meet_where_neither_gainsays_the_other() {
        let north = place("", None, "north wall");
        assert!(north.meets(&place("utility", None, "the north wall")));
        assert!(north.meets(&place("", Some(Surface::Wall), "North")));
        assert!(place("", None, "behind the basin, north wall").meets(&north));
        assert!(!north.meets(&place("", None, "south wall")));
        assert!(!north.meets(&place("utility", Some(Surface::Ceiling), "")));
        assert!(place("", None, " ").is_unknown());
    }

    #[test]
    fn a_wall_is_within_its_room_and_not_the_other_way_round() {
        let (room, wall) = (place("utility", None, ""), place("utility", None, "north wall"));
        assert!(wall.is_within(&room) && !room.is_within(&wall) && !room.is_within(&room));
        assert!(!place("kitchen", None, "north wall").is_within(&room));
        assert!(room.is_within(&PlaceWords::default()));
    }
}
