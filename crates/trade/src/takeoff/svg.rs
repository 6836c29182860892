//! A small writer of SVG: lines, boxes, hatching and text on a sheet of paper, in whole tenths of a millimetre.
//!
//! It knows nothing of walls. Everything that is put in as text is escaped, and nothing is fetched.

use std::fmt::Write as _;

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stroke {
    /// Thin: dimensions, openings.
    Fine,
    /// The snapped line: board joints.
    Chalk,
}

impl Stroke {
    const fn class(self) -> &'static str {
        match self {
            Self::Fine => "fine",
            Self::Chalk => "chalk",
        }
    }
}

/// Where a text begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    /// At the point.
    Start,
    /// Around it.
    Middle,
    /// It ends there.
    End,
}

/// A sheet of paper to draw on. The origin is at its upper left, in tenths of a millimetre.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    width: i64,
    height: i64,
    body: String,
}

const STYLE: &str = "\
svg{background:#f4f0e7}\
.pencil,.fine,.chalk{fill:none;stroke:#211f1b;stroke-width:4;stroke-linecap:round;stroke-linejoin:round}\
.fine{stroke-width:1.6}\
.chalk{stroke:#174a86;stroke-width:7;stroke-dasharray:120 3 190 5 84 3}\
.wood{fill:#e8e1d2;stroke:#211f1b;stroke-width:2.4}\
text{font-family:system-ui,sans-serif;fill:#211f1b;font-size:30px;paint-order:stroke;stroke:#f4f0e7;stroke-width:9px}\
.small{font-size:26px}.soft{fill:#57524a}.blue{fill:#174a86}.title{font-size:52px;font-weight:600}\
@media print{svg{background:none}text{stroke:#fff}}";

impl Sheet {
    /// An empty sheet.
    #[must_use]
    pub(super) const fn new(width: i64, height: i64) -> Self {
        Self { width, height, body: String::new() }
    }

    /// A straight line.
    pub(super) fn line(&mut self, (x1, y1): (i64, i64), (x2, y2): (i64, i64), stroke: Stroke) {
        let class = stroke.class();
        // Writing to a string does not fail.
        let _ = writeln!(self.body, r#"<line class="{class}" x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"/>"#);
    }

    /// A box, of this class: a stroke's, or `wood`, or `hatch`.
    pub(super) fn rectangle(&mut self, (x, y): (i64, i64), (width, height): (i64, i64), class: &str) {
        let fill = if class == "hatch" { r#" fill="url(#hatch)""# } else { "" };
        let _ = writeln!(
            self.body,
            r#"<rect class="{class}"{fill} x="{x}" y="{y}" width="{width}" height="{height}"/>"#
        );
    }

    /// A text on a level line, or with its foot to the right.
    pub(super) fn text(
        &mut self,
        (x, y): (i64, i64),
        anchor: Anchor,
        class: &str,
        upright: bool,
        text: &str,
    ) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let turn = if upright { format!(r#" transform="rotate(-90 {x} {y})""#) } else { String::new() };
        let text = escape(text);
        let _ = writeln!(
            self.body,
            r#"<text class="{class}" x="{x}" y="{y}" text-anchor="{anchor}"{turn}>{text}</text>"#
        );
    }

    /// The whole drawing. `title` is what a screen reader says.
    #[must_use]
    pub(super) fn finish(&self, title: &str) -> String {
        let Self { width, height, body } = self;
        let title = escape(title);
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {width} {height}\" \
             role=\"img\">\n<title>{title}</title>\n<style>{STYLE}</style>\n<defs><pattern id=\"hatch\" width=\"22\" \
             height=\"22\" patternTransform=\"rotate(45)\" patternUnits=\"userSpaceOnUse\"><line x1=\"0\" y1=\"0\" \
             x2=\"0\" y2=\"22\" stroke=\"#57524a\" stroke-width=\"2\"/></pattern></defs>\n{body}</svg>\n",
            tenths(*width),
            tenths(*height),
        )
    }
}

fn tenths(length: i64) -> String {
    format!("{}.{}", length / 10, length % 10)
}

fn escape(text: &str) -> String {
    let mut safe = String::new();
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            // What XML does not take.
            control if control.is_control() => safe.push(' '),
            other => safe.push(other),
        }
    }
    safe
}
