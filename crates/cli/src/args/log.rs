//! The words of `fivebar log`: one site action in one short line.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::Args;
use daemon::{NodeError, photos};

/// One entry. The options are the columns of `entries.csv`.
#[derive(Debug, Clone, Args)]
#[command(after_help = EXAMPLES)]
pub(crate) struct Log {
    /// What kind of entry: each is in the examples below.
    kind: String,
    /// The job.
    #[arg(long)]
    job: Option<String>,
    /// The stage; leave it out for "no stage".
    #[arg(long)]
    stage: Option<String>,
    /// The item, the test, the extra, what was hired, what an expense was for.
    #[arg(long)]
    what: Option<String>,
    /// How much; a bound like '>200' for a reading; per cent for part-done.
    #[arg(long)]
    quantity: Option<String>,
    /// In what: bag, box, coil, or the item's own unit.
    #[arg(long)]
    unit: Option<String>,
    /// When work or a hire began: 08:00, or 2026-11-05T08:00.
    #[arg(long)]
    from: Option<String>,
    /// When it ended.
    #[arg(long)]
    to: Option<String>,
    /// Minutes of break.
    #[arg(long, value_name = "MINUTES")]
    break_min: Option<String>,
    /// A length in minutes instead of clock times.
    #[arg(long)]
    minutes: Option<String>,
    /// The day it was done, if not today: 2026-11-05.
    #[arg(long, value_name = "DAY")]
    on: Option<String>,
    /// Where: long wall, behind the basin.
    #[arg(long, value_name = "WHERE")]
    at: Option<String>,
    /// The room.
    #[arg(long)]
    room: Option<String>,
    /// Which surface of the room: wall, ceiling, floor.
    #[arg(long)]
    surface: Option<String>,
    /// For a mate: who did it.
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    /// The entry that is meant, by the key that was printed for it. Seen takes several, with ; between.
    #[arg(long, value_name = "ENTRY")]
    entry: Option<String>,
    /// Where material comes from: van, job, merchant, customer, skip, or a job's name.
    #[arg(long, value_name = "PLACE")]
    out_of: Option<String>,
    /// Where material goes to.
    #[arg(long, value_name = "PLACE")]
    into: Option<String>,
    /// From whom it was bought or hired.
    #[arg(long, value_name = "NAME")]
    supplier: Option<String>,
    /// The number of the ticket, delivery note or waste note.
    #[arg(long, value_name = "NUMBER")]
    ticket: Option<String>,
    /// How it was paid: account, card, own.
    #[arg(long, value_name = "HOW")]
    paid_by: Option<String>,
    /// What was paid without VAT, in pounds. Only the office reads sums.
    #[arg(long, value_name = "POUNDS")]
    net: Option<String>,
    /// The VAT on it.
    #[arg(long, value_name = "POUNDS")]
    vat: Option<String>,
    /// What was paid with VAT, where the ticket says only that.
    #[arg(long, value_name = "POUNDS")]
    total: Option<String>,
    /// What a hire's rate is for: day or week.
    #[arg(long)]
    per: Option<String>,
    /// The least that a hire costs.
    #[arg(long, value_name = "POUNDS")]
    minimum: Option<String>,
    /// A photo: a JPEG, PNG or WebP file. A copy is kept. More than one may be given.
    #[arg(long, value_name = "FILE")]
    photo: Vec<PathBuf>,
    /// The photo shows what will be closed up.
    #[arg(long)]
    behind: bool,
    /// Whose it is or who bears the cost: ours, customer, maker.
    #[arg(long)]
    whose: Option<String>,
    /// How waste counts: 'on top' of what was used, or 'out of used'.
    #[arg(long)]
    counts: Option<String>,
    /// The last day away; or until when it is wet: 2026-11-05T18:00.
    #[arg(long)]
    until: Option<String>,
    /// Who asked, said yes or no; who checked from outside the crew; who told you of a sign-off.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// How the customer said yes: word, message, signature.
    #[arg(long)]
    how: Option<String>,
    /// The stages that an extra opens again, with ; between.
    #[arg(long, value_name = "STAGES")]
    reopens: Option<String>,
    /// How a test was done.
    #[arg(long)]
    method: Option<String>,
    /// With what it was measured.
    #[arg(long)]
    instrument: Option<String>,
    /// The limit to compare with: '>1' at least, '<0.1' at most.
    #[arg(long)]
    limit: Option<String>,
    /// Who sets the limit: the maker, the drawing, a standard.
    #[arg(long, value_name = "WHO")]
    limit_source: Option<String>,
    /// The registration of who checked from outside.
    #[arg(long, value_name = "NUMBER")]
    registration: Option<String>,
    /// The number of the certificate.
    #[arg(long, value_name = "NUMBER")]
    certificate: Option<String>,
    /// What was left off or live.
    #[arg(long, value_name = "WHAT")]
    off_or_live: Option<String>,
    /// Who carries on.
    #[arg(long, value_name = "NAME")]
    carries_on: Option<String>,
    /// The cause that was found.
    #[arg(long)]
    cause: Option<String>,
    /// A note.
    #[arg(long)]
    note: Option<String>,
}

const EXAMPLES: &str = "\
Hours, and days without:
  fivebar log hours --job GARAGE --stage skim --from 08:00 --to 15:30 --break-min 30
  fivebar log away --on 2026-11-09 --until 2026-11-10 --note 'at the dentist'
Material:
  fivebar log bought --job GARAGE --photo ticket.jpg --total 54.30
  fivebar log bought --job GARAGE --what 'finish plaster' --quantity 6 --unit bag --ticket 4471
      --supplier 'the merchant' --paid-by own --net 45.25 --vat 9.05
  fivebar log delivered --job GARAGE --stage skim --what 'finish plaster' --quantity 6 --unit bag
  fivebar log used --job GARAGE --stage skim --what 'finish plaster' --quantity 4.5 --unit bag
  fivebar log wasted --job GARAGE --stage skim --what 'finish plaster' --quantity 1 --unit bag --note 'gone off'
  fivebar log returned --job GARAGE --stage skim --what 'finish plaster' --quantity 1 --unit bag --into merchant
  fivebar log moved --job GARAGE --what 'finish plaster' --quantity 2 --unit bag --out-of van --into job
Hire and expenses:
  fivebar log hire-on --job GARAGE --what tower --supplier 'the yard' --net 30 --per week --minimum 60
  fivebar log hire-off --entry 7f3a90c1
  fivebar log expense --job GARAGE --what parking --total 8.40 --paid-by own
  fivebar log mileage --job GARAGE --quantity 24
What there is to see:
  fivebar log reading --job GARAGE --stage 'first fix water' --what 'pressure test' --quantity 4.5 --unit bar
  fivebar log photo --job GARAGE --stage 'first fix water' --photo wall.jpg --behind
  fivebar log note --job GARAGE --note 'key is with the neighbour'
  fivebar log snag --job GARAGE --at 'long wall' --note 'nail pops'
  fivebar log snag-cleared --entry 7f3a90c1
  fivebar log called-back --job GARAGE --note 'tap drips' --cause 'washer' --whose maker
What the customer says:
  fivebar log asked --job GARAGE --what 'outside tap' --by 'the customer'
  fivebar log agreed --job GARAGE --entry 7f3a90c1 --what 'by the hour' --by 'the customer' --how message
  fivebar log declined --job GARAGE --entry 7f3a90c1 --by 'the customer'
How a stage stands:
  fivebar log left-off --job GARAGE --stage skim --note 'second coat tomorrow' --off-or-live 'ring is off'
      --until 2026-11-05T20:00 --carries-on 'Ines Quill'
  fivebar log seen --entry 7f3a90c1
  fivebar log ready --job GARAGE --stage skim
  fivebar log signed-off --job GARAGE --stage skim
  fivebar log told --job GARAGE --stage skim --by 'Maren Oake' --note 'on site'
  fivebar log part-done --job GARAGE --stage skim --quantity 60
  fivebar log reopened --job GARAGE --stage skim --note 'crack along the beam'
Second thoughts:
  fivebar log corrected --entry 7f3a90c1 --to 17:20
  fivebar log struck --entry 7f3a90c1";

impl Log {
    /// The row of `entries.csv` that says the same. Photos are kept in the data folder first.
    pub(crate) fn row(self, data: &Path) -> Result<BTreeMap<String, String>, NodeError> {
        let mut hashes = Vec::new();
        for file in &self.photo {
            hashes.push(photos::keep(data, file)?.hash.to_string());
        }
        let is_change = matches!(self.kind.as_str(), "corrected" | "struck");
        let columns = [
            ("kind", Some(self.kind)),
            ("job", self.job),
            ("stage", self.stage),
            ("what", self.what),
            ("quantity", self.quantity),
            ("unit", self.unit),
            ("from", self.from),
            ("to", self.to),
            ("break_min", self.break_min),
            ("minutes", self.minutes),
            ("done_on", self.on),
            ("where", self.at),
            ("room", self.room),
            ("surface", self.surface),
            ("person", self.person),
            (if is_change { "corrects" } else { "of" }, self.entry),
            ("out_of", self.out_of),
            ("into", self.into),
            ("supplier", self.supplier),
            ("ticket", self.ticket),
            ("paid_by", self.paid_by),
            ("net", self.net),
            ("vat", self.vat),
            ("total", self.total),
            ("per", self.per),
            ("minimum", self.minimum),
            ("photo", (!hashes.is_empty()).then(|| hashes.join(";"))),
            ("behind", self.behind.then(|| "yes".to_owned())),
            ("whose", self.whose),
            ("counts", self.counts),
            ("until", self.until),
            ("by", self.by),
            ("how", self.how),
            ("reopens", self.reopens),
            ("method", self.method),
            ("instrument", self.instrument),
            ("limit", self.limit),
            ("limit_source", self.limit_source),
            ("registration", self.registration),
            ("certificate", self.certificate),
            ("off_or_live", self.off_or_live),
            ("carries_on", self.carries_on),
            ("cause", self.cause),
            ("note", self.note),
        ];
        Ok(super::lists::row(columns))
    }
}
