//! The page that the crew's phones use: screens written out as HTML, forms that work without
//! JavaScript, and the HTTP around them.
//!
//! A request becomes a [`daemon::Command`] for the person of its session, or a look at the node's
//! book; nothing here writes to the ledger by itself. What a person may see is decided once, in
//! `viewer`; what they may write, the ledger's roster decides.

mod amounts;
mod app;
mod assets;
mod drawings;
mod frame;
mod guard;
mod handing_over;
mod joining;
mod links;
mod listen;
mod lists_in;
mod live;
mod look;
mod metrics;
mod orders;
mod papers;
mod photo_away;
mod photos_named;
mod photos_shown;
mod posting;
mod problem;
mod qr;
mod screens;
mod serving;
mod settings;
mod shapes;
mod tls;
mod trust;
mod uploads;
mod viewer;

pub use app::{App, router};
pub use metrics::serve_metrics;
pub use qr::on_terminal;
pub use serving::{USUAL_LAN, USUAL_LAN_NAME, USUAL_PAGE, Wishes, serve};
pub use settings::Settings;
