//! The words of the command line for coming back by the recovery words.

use std::net::SocketAddr;

use clap::Args;

/// What somebody says who comes back.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar come-back --at 192.168.1.23:5105 --device new-laptop

It asks for the twelve words. Any phone or laptop of the crew will do to fetch the ledger from, as long as
`fivebar run` is running on it; whose it is makes no difference.")]
pub(crate) struct ComeBack {
    /// Where a phone or laptop of the crew listens, host:port. More than one may be given.
    #[arg(long, value_name = "ADDRESS", required = true)]
    pub(crate) at: Vec<SocketAddr>,
    /// What this device is called.
    #[arg(long, default_value = "new-laptop")]
    pub(crate) device: String,
    /// Who you are, if you did not found the crew. Only a boss comes back.
    #[arg(long)]
    pub(crate) person: Option<String>,
    /// A device of yours that is lost, by its name; it is taken off. More than one may be given.
    #[arg(long, value_name = "NAME")]
    pub(crate) lost: Vec<String>,
    /// All your devices are lost.
    #[arg(long, conflicts_with = "lost")]
    pub(crate) all_lost: bool,
}
