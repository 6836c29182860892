//! Links as pictures for a phone's camera: on the page and on the terminal.

use daemon::page::NewLink;
use qrcode::QrCode;
use qrcode::render::{svg, unicode};

/// The link's text at an origin.
pub(crate) fn link_at(origin: &str, token: &str) -> String {
    format!("{origin}/join/{token}")
}

/// A picture for the page. It is black on white in every scheme, since cameras want it so.
pub(crate) fn as_svg(text: &str) -> String {
    let code = QrCode::new(text.as_bytes());
    code.map(|code| code.render::<svg::Color<'_>>().min_dimensions(240, 240).build()).unwrap_or_default()
}

/// What the terminal shows for a link, for each place where the page is served.
#[must_use]
pub fn on_terminal(link: &NewLink, origins: &[String]) -> String {
    let links: Vec<String> = origins.iter().map(|origin| link_at(origin, &link.token)).collect();
    // A camera is for another machine; who sits at this one clicks or copies.
    let for_phones = links.first().filter(|link| link.starts_with("https://"));
    let picture = for_phones.and_then(|link| QrCode::new(link.as_bytes()).ok()).map(|code| {
        let picture = code.render::<unicode::Dense1x2>().quiet_zone(true).build();
        format!("{picture}\n")
    });
    let links: Vec<String> = links.iter().map(|link| format!("  {link}")).collect();
    format!(
        "{}To open the page as {}, once, within {} minutes:\n{}",
        picture.unwrap_or_default(),
        link.person,
        link.minutes,
        links.join("\n")
    )
}
