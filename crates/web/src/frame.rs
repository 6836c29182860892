//! What stands around every screen: whose phone, which job, how safe the entries are, and the way
//! to the other screens. `templates/frame.html` draws it.

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
    /// The title: `Garage · boarding`.
    pub(crate) title: String,
    /// The code of the job in hand; empty for none.
    pub(crate) job: String,
    /// `all safe on 2 others`, `3 on this phone only`.
    pub(crate) safety: String,
    /// What the last form led to, in a sentence; empty for nothing.
    pub(crate) notice: String,
}

impl Frame {
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
