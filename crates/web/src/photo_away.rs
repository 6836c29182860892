//! What stands in the place of a photo that is not here: a picture that says where it is.
//!
//! It is drawn as SVG, so that every place of the page that shows photos shows it, and it is never kept by a browser:
//! the photo may come any moment.

use std::fmt::Write as _;

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use daemon::photos::Elsewhere;

/// Letters of a line in the small picture.
const LINE: usize = 20;

/// The answer for a photo that is not here.
pub(crate) fn stand_in(elsewhere: &Elsewhere) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "image/svg+xml"),
        (header::CACHE_CONTROL, "no-store"),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox"),
    ];
    // It is not the photo, so nothing may take it for one; a browser shows the picture all the same.
    (StatusCode::NOT_FOUND, headers, drawn(&words(elsewhere))).into_response()
}

/// `on tobi-phone, not here yet`.
pub(crate) fn words(elsewhere: &Elsewhere) -> String {
    let whole = if elsewhere.is_small_here { "the whole photo is " } else { "" };
    match elsewhere.on.as_slice() {
        [] => format!("{whole}not here yet"),
        [only] => format!("{whole}on {only}, not here yet"),
        [first, rest @ ..] => format!("{whole}on {first} and {} more, not here yet", rest.len()),
    }
}

fn drawn(words: &str) -> String {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < LINE => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) | None => lines.push(word.to_owned()),
        }
    }
    let mut svg =
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"240\" height=\"240\" viewBox=\"0 0 240 240\" \
        role=\"img\"><rect x=\"1\" y=\"1\" width=\"238\" height=\"238\" fill=\"#eee\" stroke=\"#666\" \
        stroke-width=\"2\" stroke-dasharray=\"8 6\"/>"
            .to_owned();
    let _ = write!(svg, "<title>{}</title>", escaped(words));
    let top = 126_usize.saturating_sub(15 * lines.len());
    for (line, number) in lines.iter().zip(0..) {
        let _ = write!(
            svg,
            "<text x=\"120\" y=\"{}\" text-anchor=\"middle\" font-family=\"sans-serif\" font-size=\"22\" \
             fill=\"#222\">{}</text>",
            top + 20 + 30 * number,
            escaped(line)
        );
    }
    svg + "</svg>"
}

/// A device is called what its owner likes.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_photo_that_is_not_here_says_where_it_is() {
        let on = |names: &[&str], is_small_here| Elsewhere {
            is_small_here,
            on: names.iter().map(ToString::to_string).collect(),
        };
        assert_eq!(words(&on(&["tobi-phone"], false)), "on tobi-phone, not here yet");
        assert_eq!(words(&on(&["a", "b", "c"], false)), "on a and 2 more, not here yet");
        assert_eq!(words(&on(&[], false)), "not here yet");
        assert_eq!(words(&on(&["tobi-phone"], true)), "the whole photo is on tobi-phone, not here yet");
        let drawn = drawn(&words(&on(&["<b>'s & phone"], false)));
        assert!(drawn.contains("<title>on &lt;b&gt;'s &amp; phone, not here yet</title>"), "{drawn}");
        // Many lines still begin within the picture.
        assert!(super::drawn(&"word-of-fifteen ".repeat(9)).contains("</svg>"));
    }
}
