//! The kinds of entry that a row may be, by the words people write, and the columns that each has a use for.
//!
//! Nothing is read here; what a row of a kind says is in [`super::actions`].

use ledger::Kind;

/// The kinds of entry that a row may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EntryKind {
    Hours,
    Away,
    Used,
    Wasted,
    Returned,
    Delivered,
    Bought,
    Moved,
    HireOn,
    HireOff,
    Expense,
    Mileage,
    Reading,
    Photo,
    Note,
    Snag,
    SnagCleared,
    Asked,
    Agreed,
    Declined,
    LeftOff,
    Seen,
    Ready,
    SignedOff,
    PartDone,
    Reopened,
    CalledBack,
    Told,
    Corrected,
    Struck,
}

pub(super) const KINDS: [(&str, EntryKind); 31] = [
    ("hours", EntryKind::Hours),
    ("away", EntryKind::Away),
    ("used", EntryKind::Used),
    ("wasted", EntryKind::Wasted),
    ("returned", EntryKind::Returned),
    ("delivered", EntryKind::Delivered),
    ("bought", EntryKind::Bought),
    ("moved", EntryKind::Moved),
    ("hire-on", EntryKind::HireOn),
    ("hire-off", EntryKind::HireOff),
    ("expense", EntryKind::Expense),
    ("mileage", EntryKind::Mileage),
    ("reading", EntryKind::Reading),
    ("test", EntryKind::Reading),
    ("photo", EntryKind::Photo),
    ("note", EntryKind::Note),
    ("snag", EntryKind::Snag),
    ("snag-cleared", EntryKind::SnagCleared),
    ("asked", EntryKind::Asked),
    ("agreed", EntryKind::Agreed),
    ("declined", EntryKind::Declined),
    ("left-off", EntryKind::LeftOff),
    ("seen", EntryKind::Seen),
    ("ready", EntryKind::Ready),
    ("signed-off", EntryKind::SignedOff),
    ("part-done", EntryKind::PartDone),
    ("reopened", EntryKind::Reopened),
    ("called-back", EntryKind::CalledBack),
    ("told", EntryKind::Told),
    ("corrected", EntryKind::Corrected),
    ("struck", EntryKind::Struck),
];

/// The columns that a file of entries may leave out. Each is empty then.
pub(super) const OPTIONAL: [&str; 31] = [
    "said",
    "room",
    "surface",
    "of",
    "out_of",
    "into",
    "supplier",
    "ticket",
    "paid_by",
    "net",
    "vat",
    "total",
    "per",
    "minimum",
    "photo",
    "behind",
    "whose",
    "counts",
    "until",
    "by",
    "how",
    "reopens",
    "method",
    "instrument",
    "limit",
    "limit_source",
    "registration",
    "certificate",
    "off_or_live",
    "carries_on",
    "cause",
];

const AMOUNT: [&str; 2] = ["quantity", "unit"];
const CLOCK: [&str; 4] = ["from", "to", "break_min", "minutes"];
const MONEY: [&str; 3] = ["net", "vat", "total"];

impl EntryKind {
    pub(super) fn word(self) -> &'static str {
        KINDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }

    pub(super) const fn is_change(self) -> bool {
        matches!(self, Self::Corrected | Self::Struck)
    }

    /// The kind of event that a row of it is.
    pub(super) const fn kind(self) -> Kind {
        match self {
            Self::Hours => Kind::Hours,
            Self::Away => Kind::Away,
            Self::Used => Kind::Used,
            Self::Wasted => Kind::Wasted,
            Self::Returned => Kind::Returned,
            Self::Delivered => Kind::Delivered,
            Self::Bought => Kind::Bought,
            Self::Moved => Kind::Moved,
            Self::HireOn => Kind::HireBegan,
            Self::HireOff => Kind::HireEnded,
            Self::Expense => Kind::Expense,
            Self::Mileage => Kind::Mileage,
            Self::Reading => Kind::Test,
            Self::Photo => Kind::Photo,
            Self::Note => Kind::Note,
            Self::Snag => Kind::SnagRaised,
            Self::SnagCleared => Kind::SnagCleared,
            Self::Asked => Kind::ExtraAsked,
            Self::Agreed => Kind::ExtraAgreed,
            Self::Declined => Kind::ExtraDeclined,
            Self::LeftOff => Kind::LeftOff,
            Self::Seen => Kind::Seen,
            Self::Ready => Kind::ReadyForChecking,
            Self::SignedOff => Kind::SignedOff,
            Self::PartDone => Kind::PartDone,
            Self::Reopened => Kind::Reopened,
            Self::CalledBack => Kind::CalledBack,
            Self::Told => Kind::SignOffTold,
            Self::Corrected => Kind::Corrected,
            Self::Struck => Kind::Struck,
        }
    }

    /// Whether it must say on which job. The rest name another entry or a place, or come from anywhere.
    pub(super) const fn needs_job(self) -> bool {
        match self {
            Self::Hours
            | Self::Used
            | Self::Wasted
            | Self::Returned
            | Self::Delivered
            | Self::HireOn
            | Self::Expense
            | Self::Mileage
            | Self::Reading
            | Self::Note
            | Self::Snag
            | Self::Asked
            | Self::Agreed
            | Self::Declined
            | Self::LeftOff
            | Self::Ready
            | Self::SignedOff
            | Self::PartDone
            | Self::Reopened
            | Self::CalledBack
            | Self::Told => true,
            Self::Away
            | Self::Bought
            | Self::Moved
            | Self::HireOff
            | Self::Photo
            | Self::SnagCleared
            | Self::Seen
            | Self::Corrected
            | Self::Struck => false,
        }
    }

    /// The columns among those that not every kind takes that a row of this kind has a use for.
    fn columns(self) -> Vec<&'static str> {
        let place = ["where", "room", "surface"];
        let of_stage = |more: &[&'static str]| [&["stage"], &place[..], more].concat();
        match self {
            Self::Hours => of_stage(&CLOCK),
            Self::Away => vec!["until"],
            Self::Used => of_stage(&[&AMOUNT[..], &["whose", "of"]].concat()),
            Self::Wasted => of_stage(&[&AMOUNT[..], &["whose", "counts"]].concat()),
            Self::Returned => of_stage(&[&AMOUNT[..], &["into"]].concat()),
            Self::Delivered => of_stage(&[&AMOUNT[..], &["supplier", "ticket"]].concat()),
            Self::Bought => {
                [&AMOUNT[..], &MONEY, &["into", "supplier", "ticket", "paid_by", "photo"]].concat()
            }
            Self::Moved => [&AMOUNT[..], &["out_of", "into"]].concat(),
            Self::HireOn => of_stage(&[&MONEY[..], &["from", "supplier", "per", "minimum"]].concat()),
            Self::HireOff => vec!["to", "of"],
            Self::Expense => of_stage(&[&MONEY[..], &["supplier", "ticket", "paid_by", "photo"]].concat()),
            Self::Mileage => of_stage(&AMOUNT),
            Self::Reading => of_stage(
                &[
                    &AMOUNT[..],
                    &["method", "instrument", "limit", "limit_source", "by", "registration", "certificate"],
                    &["photo"],
                ]
                .concat(),
            ),
            Self::Photo => of_stage(&["photo", "behind"]),
            Self::Note | Self::Snag => of_stage(&["photo"]),
            Self::SnagCleared | Self::Seen => vec!["of"],
            Self::Asked => of_stage(&["by"]),
            Self::Agreed => of_stage(&["by", "how", "of", "reopens"]),
            Self::Declined => of_stage(&["by", "of"]),
            Self::LeftOff => of_stage(&["off_or_live", "until", "carries_on", "photo"]),
            Self::Ready | Self::Reopened => of_stage(&[]),
            Self::SignedOff => of_stage(&["of"]),
            Self::PartDone => of_stage(&AMOUNT),
            Self::CalledBack => of_stage(&["whose", "cause"]),
            Self::Told => of_stage(&["by"]),
            Self::Corrected => of_stage(&[&AMOUNT[..], &CLOCK].concat()),
            Self::Struck => of_stage(&[]),
        }
    }

    /// The columns that a row of this kind has no use for.
    pub(super) fn idle_columns(self) -> Vec<&'static str> {
        let own = self.columns();
        let some = ["stage", "where"].iter().chain(&AMOUNT).chain(&CLOCK).chain(&OPTIONAL);
        // Any entry may come from a sentence, which is kept beside it.
        some.filter(|column| !own.contains(column) && **column != "said").copied().collect()
    }
}
