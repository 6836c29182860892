//! Where everything of a paper stands, page by page, before anything is drawn: so that each page can say of how
//! many it is one.

use krilla::image::Image;

use super::face::{Faces, Run, Weight};
use super::tree::{LeafId, PartId, Tree};
use super::{head, parts};
use crate::sheet::{Align, Sheet};

pub(super) const PAGE_WIDTH: f32 = 595.28;
pub(super) const PAGE_HEIGHT: f32 = 841.89;
pub(super) const LEFT: f32 = 48.0;
pub(super) const RIGHT: f32 = PAGE_WIDTH - 48.0;
pub(super) const WIDTH: f32 = RIGHT - LEFT;
/// Where the first baseline of a page may be.
pub(super) const TOP: f32 = 60.0;
/// Where the last baseline may be.
pub(super) const BOTTOM: f32 = PAGE_HEIGHT - 66.0;

/// The inks of a paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ink {
    Pencil,
    Soft,
    Rule,
}

/// How words are set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    pub(super) size: f32,
    pub(super) weight: Weight,
    pub(super) ink: Ink,
}

impl Style {
    pub(super) const BODY: Self = Self { size: 10.0, weight: Weight::Regular, ink: Ink::Pencil };
    pub(super) const STRONG: Self = Self { weight: Weight::Bold, ..Self::BODY };
    pub(super) const SMALL: Self = Self { size: 8.6, weight: Weight::Regular, ink: Ink::Soft };
    pub(super) const LABEL: Self = Self { weight: Weight::Bold, ..Self::SMALL };
    pub(super) const TITLE: Self = Self { size: 19.0, weight: Weight::Bold, ink: Ink::Pencil };
    pub(super) const TOTAL: Self = Self { size: 15.0, weight: Weight::Bold, ink: Ink::Pencil };

    /// From one baseline to the next.
    pub(super) fn leading(self) -> f32 {
        self.size * 1.36
    }
}

/// Something on a page.
pub(super) enum Mark {
    /// Words. Without a leaf they repeat what is said elsewhere, and are not read out.
    Words { x: f32, y: f32, style: Style, run: Run, leaf: Option<LeafId> },
    /// A straight line across.
    Rule { from: f32, to: f32, y: f32, thickness: f32, ink: Ink },
    /// The snapped line below the head.
    ChalkLine { y: f32 },
    /// A picture, from its upper left corner.
    Picture { x: f32, y: f32, width: f32, height: f32, image: Image, leaf: LeafId },
}

/// The pages in the making.
pub(super) struct Layout<'f> {
    pub(super) faces: &'f Faces,
    pub(super) pages: Vec<Vec<Mark>>,
    pub(super) tree: Tree,
    /// The next baseline is below this.
    pub(super) y: f32,
    /// What stands at the head of each page but the first.
    running: String,
}

impl<'f> Layout<'f> {
    pub(super) fn of(sheet: &Sheet, faces: &'f Faces) -> Self {
        let mut layout = Self {
            faces,
            pages: vec![Vec::new()],
            tree: Tree::default(),
            y: TOP,
            running: format!("{}, continued", sheet.title),
        };
        head::set(&mut layout, sheet);
        sheet.parts.iter().for_each(|part| parts::set(&mut layout, part));
        layout
    }

    pub(super) fn put(&mut self, mark: Mark) {
        if let Some(page) = self.pages.last_mut() {
            page.push(mark);
        }
    }

    pub(super) fn has_room(&self, height: f32) -> bool {
        self.y + height <= BOTTOM
    }

    pub(super) fn new_page(&mut self) {
        self.pages.push(Vec::new());
        self.y = TOP;
        let run = self.faces.of(Style::SMALL.weight).shape(&self.running);
        self.put(Mark::Words { x: LEFT, y: self.y - 14.0, style: Style::SMALL, run, leaf: None });
        self.rule(LEFT, RIGHT, self.y - 6.0, Ink::Rule);
        self.y += 14.0;
    }

    /// A new page, unless there is room for this much more.
    pub(super) fn make_room(&mut self, height: f32) {
        if !self.has_room(height) {
            self.new_page();
        }
    }

    pub(super) fn rule(&mut self, from: f32, to: f32, y: f32, ink: Ink) {
        self.put(Mark::Rule { from, to, y, thickness: 0.6, ink });
    }

    pub(super) fn wrap(&self, words: &str, style: Style, width: f32) -> Vec<Run> {
        self.faces.of(style.weight).wrap(words, width / style.size)
    }

    /// One line of words at a baseline, belonging to a part; without one it is not read out.
    pub(super) fn words(&mut self, run: Run, style: Style, place: Place, y: f32, part: Option<PartId>) {
        let x = match place.align {
            Align::Left => place.from,
            Align::Right => place.from + place.width - run.width * style.size,
        };
        let leaf = part.map(|part| self.tree.leaf(part));
        self.put(Mark::Words { x, y, style, run, leaf });
    }
}

/// From where, how far and on which side words stand.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) from: f32,
    pub(super) width: f32,
    pub(super) align: Align,
}

impl Place {
    pub(super) const WHOLE: Self = Self { from: LEFT, width: WIDTH, align: Align::Left };
}
