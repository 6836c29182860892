//! What stands in the place of a photo that is not here: a picture that says where it is.
//!
//! It is drawn as SVG, so that every place of the page that shows photos shows it, and it is never kept by a browser:
//! the photo may come any moment.

use std::fmt::Write as _;

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use daemon::photos::Elsewhere;

/// Letters of a line. The picture is 240 wide, and on most screens it is shown at 96 px, where so few can still be read.
const LINE: usize = 14;

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
    // A letter is about 0.6 of its size wide, so a longer name is written smaller.
    let longest = lines.iter().map(|line| line.chars().count()).max().unwrap_or(1).max(1);
    let size = (380 / longest).clamp(12, 32);
    let step = (220 / lines.len().max(1)).min(size + 8);
    // Without a size of its own it is as large as there is room, opened by itself.
    let mut svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 240 240\" role=\"img\"><rect x=\"2\" y=\"2\" \
        width=\"236\" height=\"236\" fill=\"#f4f0e7\" stroke=\"#857c6a\" stroke-width=\"4\" stroke-dasharray=\"12 8\"/>"
        .to_owned();
    let _ = write!(svg, "<title>{}</title>", escaped(words));
    // The middle of the lines' small letters is the middle of the picture.
    let first = 120 + size / 3 - step * lines.len().saturating_sub(1) / 2;
    for (line, number) in lines.iter().zip(0..) {
        let _ = write!(
            svg,
            "<text x=\"120\" y=\"{}\" text-anchor=\"middle\" font-family=\"system-ui, sans-serif\" \
             font-size=\"{size}\" fill=\"#211f1b\">{}</text>",
            first + step * number,
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
        // However much there is to say, and however long a name is, it stands within the picture.
        for words in
            ["word-of-fifteen ".repeat(9), "a-phone-with-the-name-of-its-owner".to_owned(), String::new()]
        {
            let drawn = super::drawn(words.trim());
            let places = drawn.split(" y=\"").skip(2).map(|rest| rest.split_once('"').unwrap().0);
            let places: Vec<u32> = places.map(|place| place.parse().unwrap()).collect();
            assert!(places.iter().all(|place| (12..=234).contains(place)), "{places:?}");
        }
    }
}
