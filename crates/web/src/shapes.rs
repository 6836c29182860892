//! What is drawn in pencil: the tally of devices that hold an entry, the bar of a figure against the
//! price, the mark of a stage's state. Each stands beside words that say the same.

use askama::Template;
use askama::filters::HtmlSafe;

/// Strokes, in fives, the fifth across.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "shapes/tally.html")]
pub(crate) struct Tally {
    width: usize,
    strokes: String,
}

impl HtmlSafe for Tally {}

/// Most strokes that are drawn; more than that nobody counts.
const MOST_STROKES: usize = 20;

impl Tally {
    /// A tally of so many.
    pub(crate) fn of(count: usize) -> Self {
        let mut strokes = String::new();
        let mut x = 4;
        for stroke in 1..=count.min(MOST_STROKES) {
            if stroke % 5 == 0 {
                strokes += &format!("M{} 17L{} 4", x - 26, x - 1);
                x += 4;
            } else {
                // A pencil in a hand leaves no two strokes alike.
                let (lean, rise) = (stroke % 2, stroke % 3);
                strokes += &format!("M{} {}L{} {}", x + lean, 2 + rise, x + 1 - lean, 19 - rise);
                x += 6;
            }
        }
        Self { width: x.max(10), strokes }
    }
}

/// Outline: what was priced. Solid: what is gone. Hatched past the line: over.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "shapes/bar.html")]
pub(crate) struct Bar {
    priced: u64,
    within: u64,
    over: u64,
}

impl HtmlSafe for Bar {}

/// How wide the widest bar of a screen is drawn.
const BAR_WIDTH: u64 = 238;

impl Bar {
    /// A bar of a figure against its price, both in the same small unit. The scale is the screen's:
    /// the largest of all its figures, so that two bars can be compared.
    pub(crate) fn of(priced: i64, used: i64, scale: i64) -> Self {
        let scale = u64::try_from(scale).unwrap_or(0).max(1);
        let width = |figure: i64| {
            let figure = u128::from(u64::try_from(figure).unwrap_or(0));
            let drawn = figure * u128::from(BAR_WIDTH) / u128::from(scale);
            u64::try_from(drawn).unwrap_or(BAR_WIDTH).min(BAR_WIDTH)
        };
        let (priced, used) = (width(priced), width(used));
        Self { priced, within: used.min(priced), over: used.saturating_sub(priced) }
    }

    /// Where the hatching begins.
    fn line(&self) -> u64 {
        self.priced + 1
    }
}

/// The course of a few values, in pencil: a dot each and a line between. The figures stand beside it.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "shapes/course.html")]
pub(crate) struct Course {
    points: Vec<(u32, u32)>,
}

impl HtmlSafe for Course {}

/// How wide and high the course of values is drawn.
const COURSE: (u32, u32) = (240, 60);

impl Course {
    /// The course of values by their heights, from 0 to 1000.
    pub(crate) fn of(heights: &[u16]) -> Self {
        let gaps = u32::try_from(heights.len()).unwrap_or(u32::MAX).saturating_sub(1).max(1);
        let (width, height) = (COURSE.0 - 12, COURSE.1 - 12);
        let points = (0_u32..).zip(heights).map(|(at, value)| {
            (6 + width * at / gaps, 6 + height - height * u32::from((*value).min(1000)) / 1000)
        });
        Self { points: points.collect() }
    }

    fn path(&self) -> String {
        let points: Vec<String> = self.points.iter().map(|(x, y)| format!("{x} {y}")).collect();
        format!("M{}", points.join("L"))
    }
}

/// A box that is empty, half filled, hatched or ticked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Template)]
#[template(path = "shapes/mark.html")]
pub(crate) struct Mark {
    pub(crate) condition: projections::stages::Condition,
}

impl HtmlSafe for Mark {}

impl Mark {
    fn is(&self, word: &str) -> bool {
        use projections::stages::Condition;
        word == match self.condition {
            Condition::SignedOff => "ticked",
            Condition::Reopened => "open",
            Condition::ReadyForChecking => "full",
            Condition::PartDone | Condition::InHand => "half",
            Condition::Free => "empty",
            Condition::Waiting => "waiting",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fifth_stroke_crosses() {
        assert_eq!(Tally::of(0).strokes, "");
        assert_eq!(Tally::of(4).strokes.matches('M').count(), 4);
        assert!(Tally::of(5).strokes.ends_with("M2 17L27 4"), "{}", Tally::of(5).strokes);
        assert_eq!(Tally::of(1000).strokes.matches('M').count(), MOST_STROKES);
    }

    #[test]
    fn a_course_goes_from_edge_to_edge_and_up_for_more() {
        assert_eq!(Course::of(&[0, 500, 1000]).points, [(6, 54), (120, 30), (234, 6)]);
        assert_eq!(Course::of(&[500]).points, [(6, 30)]);
        assert_eq!(Course::of(&[1000, 0]).path(), "M6 6L234 54");
    }

    #[test]
    fn a_bar_keeps_to_the_paper() {
        assert_eq!(Bar::of(100, 50, 200), Bar { priced: 119, within: 59, over: 0 });
        assert_eq!(Bar::of(100, 200, 200), Bar { priced: 119, within: 119, over: 119 });
        assert_eq!(Bar::of(0, -5, 0), Bar { priced: 0, within: 0, over: 0 });
        assert_eq!(Bar::of(i64::MAX, i64::MAX, 1), Bar { priced: 238, within: 238, over: 0 });
    }
}
