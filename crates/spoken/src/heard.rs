//! What was heard in a line: proposals, the questions that they leave open, and the words left over.
//!
//! Plain data for a page. A proposal is never logged by this crate, and one with an open question or
//! a refusal is not ready to be.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::vocabulary::{Alias, Meaning};

/// What was heard in one line.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Heard {
    /// The entries that the line seems to say, in its order.
    pub proposals: Vec<Proposal>,
    /// What must or may be answered, each by one press.
    pub questions: Vec<Ambiguity>,
    /// What is to be shown beside the proposals.
    pub remarks: Vec<Remark>,
    /// The words that nothing was made of.
    pub not_understood: Vec<Span>,
}

/// One entry as it would be logged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Proposal {
    /// What kind of entry.
    pub kind: Kind,
    /// Its columns; those that are empty are left out.
    pub columns: BTreeMap<Column, String>,
    /// The words of the line that it came from.
    pub words: Vec<Span>,
    /// It can be logged as it stands: nothing is open, nothing refused.
    pub ready: bool,
    /// The key that the ledger gave it, once it was logged. Never filled by this crate.
    #[serde(default)]
    pub entry: String,
}

/// Kinds of proposal, by the words that `entries.csv` has for them. It has none for [`Kind::Plan`], which
/// is noted, and for [`Kind::Stopped`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each is the word that `entries.csv` has for it")]
pub enum Kind {
    Hours,
    Used,
    Wasted,
    Returned,
    Moved,
    Delivered,
    Bought,
    Reading,
    Note,
    Snag,
    Asked,
    Agreed,
    Declined,
    LeftOff,
    SignedOff,
    Corrected,
    Struck,
    /// A person will not be in on a day.
    Away,
    /// A stage is ready for checking.
    Ready,
    /// A snag was put right.
    Cleared,
    /// Something for another day's list.
    Plan,
    /// The running timer ended.
    Stopped,
}

impl Kind {
    const WORDS: &[(Self, &'static str)] = &[
        (Self::Hours, "hours"),
        (Self::Used, "used"),
        (Self::Wasted, "wasted"),
        (Self::Returned, "returned"),
        (Self::Moved, "moved"),
        (Self::Delivered, "delivered"),
        (Self::Bought, "bought"),
        (Self::Reading, "reading"),
        (Self::Note, "note"),
        (Self::Snag, "snag"),
        (Self::Asked, "asked"),
        (Self::Agreed, "agreed"),
        (Self::Declined, "declined"),
        (Self::LeftOff, "left-off"),
        (Self::SignedOff, "signed-off"),
        (Self::Corrected, "corrected"),
        (Self::Struck, "struck"),
        (Self::Away, "away"),
        (Self::Ready, "ready"),
        (Self::Cleared, "snag-cleared"),
        (Self::Plan, "plan"),
        (Self::Stopped, "stopped"),
    ];

    /// The word for it, in `entries.csv` or beside it.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(kind, _)| *kind == self).map_or("", |(_, word)| word)
    }

    fn of_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(_, own)| *own == word).map(|(kind, _)| *kind)
    }

    pub(crate) fn is_material(self) -> bool {
        matches!(
            self,
            Self::Used | Self::Wasted | Self::Returned | Self::Moved | Self::Delivered | Self::Bought
        )
    }
}

/// The columns of `entries.csv`. [`Column::Price`] and [`Column::Vat`] are one column there: `net` or `total`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "each is the column of that name")]
pub enum Column {
    /// Only in a choice: the proposal becomes one of this kind.
    Kind,
    Job,
    Stage,
    What,
    Quantity,
    Unit,
    From,
    To,
    BreakMin,
    Minutes,
    DoneOn,
    Where,
    Person,
    /// The entry that is changed: its key, or `last` for the one before this line.
    Corrects,
    Note,
    /// Where a thing was: `van`, or a job.
    OutOf,
    /// Where it went: `van`, `merchant`, or a job.
    Into,
    /// `customer` where the thing is the customer's own.
    Whose,
    /// `on top` of what was used, or `out of used`.
    Counts,
    /// Pounds that were paid.
    Price,
    /// Whether the price is `net` or `gross`.
    Vat,
    /// `account`, `card`, or `own pocket`.
    PaidBy,
    /// Who said yes or no.
    SaidBy,
}

impl Column {
    /// Its name in a row.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Kind => "kind",
            Self::Job => "job",
            Self::Stage => "stage",
            Self::What => "what",
            Self::Quantity => "quantity",
            Self::Unit => "unit",
            Self::From => "from",
            Self::To => "to",
            Self::BreakMin => "break_min",
            Self::Minutes => "minutes",
            Self::DoneOn => "done_on",
            Self::Where => "where",
            Self::Person => "person",
            Self::Corrects => "corrects",
            Self::Note => "note",
            Self::OutOf => "out_of",
            Self::Into => "into",
            Self::Whose => "whose",
            Self::Counts => "counts",
            Self::Price => "price",
            Self::Vat => "vat",
            Self::PaidBy => "paid_by",
            Self::SaidBy => "by",
        }
    }
}

/// Why a proposal can't be a row of `entries.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NotARow {
    /// A question about it is open, or it is refused.
    NotReady,
    /// It stops the running timer, which is no entry of its own.
    NoTimer,
    /// It says of a material neither how much nor how many.
    NoQuantity,
}

impl Proposal {
    /// What a column says; may be empty.
    #[must_use]
    pub fn get(&self, column: Column) -> &str {
        self.columns.get(&column).map_or("", String::as_str)
    }

    /// The row of `entries.csv` that says the same.
    ///
    /// # Errors
    /// [`NotARow`] where the file can't say it: a row must not mean another thing than the sentence.
    pub fn row(&self) -> Result<BTreeMap<String, String>, NotARow> {
        if !self.ready {
            return Err(NotARow::NotReady);
        }
        if self.kind == Kind::Stopped {
            return Err(NotARow::NoTimer);
        }
        if self.kind.is_material() && self.get(Column::Quantity).is_empty() {
            return Err(NotARow::NoQuantity);
        }
        let mut row: BTreeMap<String, String> =
            self.columns.iter().map(|(column, value)| (column.name().to_owned(), value.clone())).collect();
        row.remove(Column::Vat.name());
        if self.kind == Kind::Moved {
            // What lies on the van or at another job is on no stage yet.
            row.remove(Column::Stage.name());
        }
        if let Some(price) = row.remove(Column::Price.name()) {
            let with_vat = self.get(Column::Vat) != "net";
            row.insert(if with_vat { "total" } else { "net" }.to_owned(), price);
        }
        let kind = match self.kind {
            // What was judged by eye has no number, and what is planned is not done: both are noted.
            Kind::Reading if self.get(Column::Quantity).is_empty() => Kind::Note,
            Kind::Plan => Kind::Note,
            kind => kind,
        };
        if kind == Kind::Note {
            let plan = (self.kind == Kind::Plan).then_some("to do");
            let what = row.remove(Column::What.name());
            let note = row.remove(Column::Note.name());
            let words: Vec<String> = plan.map(str::to_owned).into_iter().chain(what).chain(note).collect();
            row.insert(Column::Note.name().to_owned(), words.join("; "));
        }
        row.insert(Column::Kind.name().to_owned(), kind.word().to_owned());
        Ok(row)
    }
}

/// Some words of the line that stand together. Words are counted from 0, as white space parts them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Span {
    /// The first word's number.
    pub first: usize,
    /// The last word's number.
    pub last: usize,
    /// The words, as they stand in the line.
    pub text: String,
}

/// A question that one press answers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ambiguity {
    /// The number of the proposal that it is about.
    pub about: usize,
    /// The question, short.
    pub question: String,
    /// The answers to press.
    pub choices: Vec<Choice>,
    /// The column that a typed answer goes into, where one can be typed.
    pub typed: Option<Column>,
    /// The proposal waits for the answer. Else the question may be skipped.
    pub must: bool,
    /// The words that were not on any list, where the question is what they mean.
    pub phrase: String,
}

/// One answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Choice {
    /// The words on the button.
    pub label: String,
    /// The columns that it fills; an empty value clears one, and a note is added to what stands there.
    pub sets: BTreeMap<Column, String>,
}

/// Something to show beside a proposal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// The number of the proposal that it is about; none for the line as a whole.
    pub about: Option<usize>,
    /// How it is meant.
    pub tone: Tone,
    /// One plain sentence.
    pub text: String,
}

/// How a remark is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// How something was taken, so that it can be seen and changed.
    Shown,
    /// The usual caution.
    Caution,
    /// Why a proposal is refused.
    Refused,
}

impl Heard {
    /// Answers a question by one of its choices; false when there is no such question or choice.
    pub fn answer(&mut self, question: usize, choice: usize) -> bool {
        let Some(asked) = self.questions.get(question) else { return false };
        let (about, Some(chosen)) = (asked.about, asked.choices.get(choice).cloned()) else { return false };
        self.settle(question, about, chosen.sets)
    }

    /// Answers a question by typed words; false when it does not take any.
    pub fn answer_typed(&mut self, question: usize, words: &str) -> bool {
        let Some(asked) = self.questions.get(question) else { return false };
        let (about, Some(column)) = (asked.about, asked.typed) else { return false };
        self.settle(question, about, BTreeMap::from([(column, words.trim().to_owned())]))
    }

    fn settle(&mut self, question: usize, about: usize, sets: BTreeMap<Column, String>) -> bool {
        let Some(proposal) = self.proposals.get_mut(about) else { return false };
        for (column, value) in sets {
            if column == Column::Kind {
                proposal.kind = Kind::of_word(&value).unwrap_or(proposal.kind);
            } else if column == Column::Note && !proposal.get(Column::Note).is_empty() {
                let note = format!("{}; {value}", proposal.get(Column::Note));
                proposal.columns.insert(column, note);
            } else if value.is_empty() {
                proposal.columns.remove(&column);
            } else {
                proposal.columns.insert(column, value);
            }
        }
        let asked = self.questions.remove(question);
        if asked.must {
            // The refusal was what the question offered a way round.
            self.remarks.retain(|remark| remark.about != Some(about) || remark.tone != Tone::Refused);
        }
        self.mark_ready();
        true
    }

    pub(crate) fn mark_ready(&mut self) {
        for (number, proposal) in self.proposals.iter_mut().enumerate() {
            let asked = self.questions.iter().any(|question| question.about == number && question.must);
            let refused = self
                .remarks
                .iter()
                .any(|remark| remark.about == Some(number) && remark.tone == Tone::Refused);
            proposal.ready = !asked && !refused;
        }
    }
}

/// The alias to keep once a question was answered by a choice: what the unknown phrase means to this
/// crew. None where the question was not about a phrase, or the answer names nothing on a list.
#[must_use]
pub fn alias(question: &Ambiguity, choice: &Choice) -> Option<Alias> {
    let named = |column| choice.sets.get(&column).filter(|name: &&String| !name.is_empty()).cloned();
    let means = named(Column::Stage)
        .map(Meaning::Stage)
        .or_else(|| named(Column::What).map(Meaning::Item))
        .or_else(|| named(Column::Person).map(Meaning::Person))
        .or_else(|| named(Column::Where).map(Meaning::Place))?;
    (!question.phrase.is_empty()).then(|| Alias { phrase: question.phrase.clone(), means })
}
