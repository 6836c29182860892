//! What stands around every screen: whose phone, which job, how safe the entries are, and the way
//! to the other screens. `templates/frame.html` draws it.

use crate::links::encoded;
use std::collections::BTreeMap;

use crate::viewer::Viewer;

/// A screen's name in the row at the foot of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tab {
    /// What one is doing.
    Now,
    /// The stages of the job.
    Stages,
    /// Hours and material against the price.
    Doing,
    /// Friday's work.
    Week,
    /// People and phones.
    Crew,
    /// The job itself; it is reached from the head of the page.
    Job,
}

impl Tab {
    /// Where it is.
    pub(crate) const fn path(self) -> &'static str {
        match self {
            Self::Now => "/",
            Self::Stages => "/stages",
            Self::Doing => "/doing",
            Self::Week => "/week",
            Self::Crew => "/crew",
            Self::Job => "/job",
        }
    }

    /// What it is called.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Now => "Now",
            Self::Stages => "Stages",
            Self::Doing => "Doing",
            Self::Week => "Week",
            Self::Crew => "Crew",
            Self::Job => "Job",
        }
    }
}

/// What the frame shows.
#[derive(Debug, Clone)]
pub(crate) struct Frame {
    /// Who looks.
    pub(crate) viewer: Viewer,
    /// The screen.
    pub(crate) tab: Tab,
    /// Where the screen is, if not where its tab leads.
    pub(crate) own_path: Option<&'static str>,
    /// The title: `Garage · boarding`.
    pub(crate) title: String,
    /// The code of the job in hand; empty for none.
    pub(crate) job: String,
    /// `all safe on 2 others`, `3 on this phone only`.
    pub(crate) safety: String,
    /// The rest of the screen's own address: what it was asked for beside the job.
    pub(crate) asked: String,
    /// What the last form led to, in a sentence; empty for nothing.
    pub(crate) notice: String,
    /// The fields of a form that was refused; else empty.
    pub(crate) fields: BTreeMap<String, String>,
    /// Where an entry can belong: the job in hand first.
    pub(crate) sites: Vec<JobSites>,
}

/// A job with its stages, as a form offers them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct JobSites {
    pub(crate) job: String,
    pub(crate) stages: Vec<String>,
}

/// What stands between a job and its stage in the value of a form's choice: no name has one in it.
pub(crate) const ONTO: char = '\t';
/// How a form says "no stage", where an empty field would say nothing.
pub(crate) const NO_STAGE: &str = "-";

/// A job and a stage as one value of a form.
pub(crate) fn onto(job: &str, stage: &str) -> String {
    format!("{job}{ONTO}{}", if stage.is_empty() { NO_STAGE } else { stage })
}

impl JobSites {
    /// Whether this is the choice that a form says.
    pub(crate) fn is_at(&self, was: impl AsRef<str>, stage: &str) -> bool {
        was.as_ref() == self.onto(stage)
    }

    /// The value of a stage in a form; empty for none.
    pub(crate) fn onto(&self, stage: &str) -> String {
        onto(&self.job, stage)
    }
}

impl Frame {
    /// The frame of a screen that is elsewhere than its tab leads, so that its forms lead back to it.
    pub(crate) fn at(self, path: &'static str) -> Self {
        Self { own_path: Some(path), ..self }
    }

    /// The job in hand as it may stand in an address.
    pub(crate) fn job_link(&self) -> String {
        encoded(&self.job)
    }

    /// The way to a screen with the job in hand.
    pub(crate) fn to(&self, tab: Tab) -> String {
        self.to_path(tab.path())
    }

    fn to_path(&self, path: &str) -> String {
        if self.job.is_empty() { path.to_owned() } else { format!("{path}?job={}", self.job_link()) }
    }

    /// Whether the title leads to the job in hand.
    pub(crate) fn is_of_the_job(&self) -> bool {
        !self.job.is_empty() && matches!(self.tab, Tab::Now | Tab::Stages | Tab::Doing)
    }

    /// The way to the job in hand.
    pub(crate) fn to_job(&self) -> String {
        self.to(Tab::Job)
    }

    /// The way back to this very screen.
    pub(crate) fn back(&self) -> String {
        let join = if self.job.is_empty() { "?" } else { "&" };
        let rest = if self.asked.is_empty() { String::new() } else { format!("{join}{}", self.asked) };
        self.to_path(self.own_path.unwrap_or(self.tab.path())) + &rest
    }

    /// The way to *Now* with another stage in hand.
    pub(crate) fn at_stage(&self, stage: &str) -> String {
        format!("/?job={}&stage={}", encoded(&self.job), encoded(stage))
    }

    /// Whether the form of this kind of entry was refused: the reason then stands in the form.
    pub(crate) fn refused(&self, kind: &str) -> bool {
        !self.notice.is_empty() && self.fields.get("kind").is_some_and(|refused| refused == kind)
    }

    /// What was entered in a field of a form that was refused, so that it can be mended; else the usual.
    pub(crate) fn entered<'a>(&'a self, kind: &str, field: &str, usual: &'a str) -> &'a str {
        let entered = self.fields.get(field).filter(|_| self.refused(kind));
        entered.map_or(usual, String::as_str)
    }

    /// Whether the notice stands at the top of the screen.
    pub(crate) fn has_news(&self) -> bool {
        let stands_in_its_form = self.tab == Tab::Now && self.fields.contains_key("kind");
        !self.notice.is_empty() && !stands_in_its_form
    }

    /// The screens that this person has at the foot of the page.
    pub(crate) fn tabs(&self) -> Vec<Tab> {
        let mut tabs = vec![Tab::Now, Tab::Stages];
        if self.viewer.leads() {
            tabs.push(Tab::Doing);
        }
        if self.viewer.is_owner() {
            tabs.extend([Tab::Week, Tab::Crew]);
        }
        tabs
    }
}
