//! The two fonts of a paper, and words shaped into glyphs by them. Widths are in ems.

use std::ops::Range;

use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::ttf_parser::Tag;
use rustybuzz::{Feature, UnicodeBuffer};

const REGULAR: &[u8] = include_bytes!("../../fonts/Karla-Regular.otf");
const BOLD: &[u8] = include_bytes!("../../fonts/Karla-Bold.otf");

/// What is drawn for a character that the fonts don't have. Whoever copies it gets the character.
const UNKNOWN: char = '?';

/// The weight of words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// Both fonts.
pub(super) struct Faces {
    regular: Face,
    bold: Face,
}

/// One font, to shape with and to draw with.
pub(super) struct Face {
    shaper: rustybuzz::Face<'static>,
    font: Font,
    features: [Feature; 2],
}

/// Shaped words.
#[derive(Debug, Clone)]
pub(super) struct Run {
    pub(super) text: String,
    pub(super) glyphs: Vec<KrillaGlyph>,
    pub(super) width: f32,
}

impl Faces {
    pub(super) fn load() -> Option<Self> {
        Some(Self { regular: Face::of(REGULAR)?, bold: Face::of(BOLD)? })
    }

    pub(super) fn of(&self, weight: Weight) -> &Face {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }
}

impl Face {
    fn of(bytes: &'static [u8]) -> Option<Self> {
        // Figures of one width stand in columns; without ligatures each letter can be searched for.
        let feature = |name, value| Feature::new(Tag::from_bytes(name), value, ..);
        Some(Self {
            shaper: rustybuzz::Face::from_slice(bytes, 0)?,
            font: Font::new(bytes.into(), 0)?,
            features: [feature(b"tnum", 1), feature(b"liga", 0)],
        })
    }

    pub(super) fn font(&self) -> Font {
        self.font.clone()
    }

    /// Shapes words on one line.
    pub(super) fn shape(&self, text: &str) -> Run {
        let text = &crate::figures::untied(text);
        let mut shown = String::new();
        // Where each shown character begins, and the bytes of the text that it stands for.
        let mut places: Vec<(usize, Range<usize>)> = Vec::new();
        for (at, letter) in text.char_indices() {
            places.push((shown.len(), at..at + letter.len_utf8()));
            shown.push(self.shown(letter));
        }
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(&shown);
        buffer.guess_segment_properties();
        let shaped = rustybuzz::shape(&self.shaper, &self.features, buffer);
        let units = self.font.units_per_em();
        let ems = |length: i32| length as f32 / units;
        let infos = shaped.glyph_infos();
        let mut run = Run { text: text.clone(), glyphs: Vec::new(), width: 0.0 };
        for (place, (info, position)) in infos.iter().zip(shaped.glyph_positions()).enumerate() {
            let next = infos.iter().skip(place).map(|info| info.cluster).find(|next| *next != info.cluster);
            let start = place_in_text(&places, info.cluster).map_or(0, |range| range.start);
            let end =
                next.and_then(|next| place_in_text(&places, next)).map_or(text.len(), |range| range.start);
            run.width += ems(position.x_advance);
            run.glyphs.push(KrillaGlyph::new(
                GlyphId::new(info.glyph_id),
                ems(position.x_advance),
                ems(position.x_offset),
                ems(position.y_offset),
                ems(position.y_advance),
                start..end.max(start),
                None,
            ));
        }
        run
    }

    fn shown(&self, letter: char) -> char {
        if letter.is_whitespace() || letter.is_control() {
            ' '
        } else if self.shaper.glyph_index(letter).is_some() {
            letter
        } else {
            UNKNOWN
        }
    }

    /// Words in lines that are at most `width` ems wide. A word that is wider is cut.
    pub(super) fn wrap(&self, text: &str, width: f32) -> Vec<Run> {
        let mut lines: Vec<String> = Vec::new();
        let mut line = String::new();
        for word in crate::figures::words(text) {
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if self.shape(&longer).width <= width {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for letter in word.chars() {
                line.push(letter);
                if self.shape(&line).width > width && line.chars().nth(1).is_some() {
                    line.pop();
                    lines.push(std::mem::replace(&mut line, letter.to_string()));
                }
            }
        }
        if !line.is_empty() || lines.is_empty() {
            lines.push(line);
        }
        lines.iter().map(|line| self.shape(line)).collect()
    }
}

fn place_in_text(places: &[(usize, Range<usize>)], cluster: u32) -> Option<Range<usize>> {
    let cluster = usize::try_from(cluster).ok()?;
    let found = places.binary_search_by_key(&cluster, |(shown, _)| *shown).ok()?;
    places.get(found).map(|(_, range)| range.clone())
}
