//! What can come of a connection, and the numbers it is closed with.

use ledger::Refusal;
use quinn::{Connection, ConnectionError, VarInt};

use crate::config::ConfigError;
use crate::holder::{Fault, HoldError};

/// The number of a close without a complaint.
const DONE: u32 = 0;
/// The number of a close for a fault of one's own. Refusals have at most 16 bits, so it is none.
const FAULT: u32 = 0x1_0000;
/// The number of a close because the two are connected already.
const MET: u32 = 0x1_0001;
/// The number of a close because this side goes, or goes to another network. The peer may call again.
const LEFT: u32 = 0x1_0002;
/// What TLS makes of [`crate::verifier::WrongKey`]: QUIC's 0x100 and alert 46, RFC 9001 section 4.8.
const CERTIFICATE_UNKNOWN: u64 = 0x100 + 46;

/// Why a connection did not do what it was for.
#[derive(Debug, thiserror::Error)]
pub enum PeerError {
    /// This side refused the peer.
    #[error("this device refused the other (reason {number}): {0}", number = .0.number())]
    Refused(Refusal),
    /// The peer refused this side.
    #[error("the other device refused (reason {number}): {0}", number = .0.number())]
    Dismissed(Refusal),
    /// The peer refused this side for a reason that this version does not know.
    #[error("the other device refused for a reason that this version does not know; update fivebar")]
    DismissedUnknown,
    /// The peer has a fault of its own.
    #[error("the other device has a fault of its own; look at its log")]
    PeerFault,
    /// This side has a fault of its own.
    #[error(transparent)]
    Fault(#[from] Fault),
    /// No answer.
    #[error("no answer; is the other device on, and on the same network?")]
    NoAnswer,
    /// There is no address to try.
    #[error("no address of the other device is known")]
    NoAddress,
    /// Another device has the address by now, or pretends to be the one that was dialled.
    #[error("another device answers at the address")]
    AnotherDevice,
    /// The connection was not made, or broke.
    #[error("the connection failed: {0}")]
    Lost(ConnectionError),
    /// The address can't be dialled.
    #[error("the address can't be dialled: {0}")]
    Dial(#[from] quinn::ConnectError),
    /// Connections can't be set up.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The two are connected already.
    #[error("the two devices are connected already")]
    MetAlready,
    /// The peer went away in order.
    #[error("the other device went away")]
    Left,
    /// This endpoint was closed.
    #[error("the network was shut down on this device")]
    Stopped,
}

impl From<Refusal> for PeerError {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<HoldError> for PeerError {
    fn from(error: HoldError) -> Self {
        match error {
            HoldError::Refused(refusal) => Self::Refused(refusal),
            HoldError::Fault(fault) => Self::Fault(fault),
        }
    }
}

impl From<ConnectionError> for PeerError {
    fn from(error: ConnectionError) -> Self {
        match error {
            ConnectionError::ApplicationClosed(close) => Self::from_close(close.error_code),
            ConnectionError::LocallyClosed => Self::Stopped,
            ConnectionError::TimedOut => Self::NoAnswer,
            ConnectionError::TransportError(error) if u64::from(error.code) == CERTIFICATE_UNKNOWN => {
                Self::AnotherDevice
            }
            ConnectionError::VersionMismatch
            | ConnectionError::TransportError(_)
            | ConnectionError::ConnectionClosed(_)
            | ConnectionError::Reset
            | ConnectionError::CidsExhausted => Self::Lost(error),
        }
    }
}

impl PeerError {
    fn from_close(code: VarInt) -> Self {
        for (number, error) in [(FAULT, Self::PeerFault), (MET, Self::MetAlready), (LEFT, Self::Left)] {
            if code == VarInt::from_u32(number) {
                return error;
            }
        }
        match u16::try_from(code.into_inner()).ok().and_then(Refusal::from_number) {
            Some(refusal) => Self::Dismissed(refusal),
            None => Self::DismissedUnknown,
        }
    }

    /// The peer's refusal as a session reports it.
    #[must_use]
    pub fn dismissed(refusal: Option<Refusal>) -> Self {
        refusal.map_or(Self::DismissedUnknown, Self::Dismissed)
    }
}

/// Whether the peer closed because it was done.
pub(crate) fn is_done(error: &ConnectionError) -> bool {
    matches!(error, ConnectionError::ApplicationClosed(close) if close.error_code == VarInt::from_u32(DONE))
}

/// Closes without a complaint.
pub(crate) fn close_done(connection: &Connection) {
    connection.close(VarInt::from_u32(DONE), b"");
}

/// Closes because there is another connection with the same device.
pub(crate) fn close_met(connection: &Connection) {
    connection.close(VarInt::from_u32(MET), b"connected already");
}

/// Closes because this side is gone from where the connection was made.
pub(crate) fn close_left(connection: &Connection) {
    connection.close(VarInt::from_u32(LEFT), b"");
}

/// The number that an endpoint closes all with when it stops.
pub(crate) const fn stopping() -> VarInt {
    VarInt::from_u32(LEFT)
}

/// Closes with the number of what went wrong, in the close and in the log.
pub(crate) fn close_for(connection: &Connection, error: &PeerError) {
    let remote = connection.remote_address();
    match error {
        PeerError::Refused(refusal) => {
            let number = refusal.number();
            tracing::warn!(number, %remote, "refused a peer: {refusal}");
            connection.close(VarInt::from_u32(u32::from(number)), refusal.to_string().as_bytes());
        }
        PeerError::Fault(fault) => {
            tracing::error!(%remote, "closed a connection for a fault of our own: {fault}");
            connection.close(VarInt::from_u32(FAULT), b"");
        }
        PeerError::Dismissed(_)
        | PeerError::DismissedUnknown
        | PeerError::PeerFault
        | PeerError::NoAnswer
        | PeerError::NoAddress
        | PeerError::AnotherDevice
        | PeerError::Lost(_)
        | PeerError::Dial(_)
        | PeerError::Config(_)
        | PeerError::MetAlready
        | PeerError::Left
        | PeerError::Stopped => {
            tracing::info!(%remote, "a connection ended: {error}");
            close_done(connection);
        }
    }
}
