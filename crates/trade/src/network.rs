//! Networks of activities: earliest and latest times, floats, and what stands in a circle.
//!
//! Activities follow each other finish to start, each link with a lag. Times are whole units that the
//! caller chooses; nothing here knows a calendar. The method is the usual forward and backward pass
//! (Hendrickson, *Project Management for Construction*, chapter 10).

use std::collections::BTreeSet;

/// A link from the activity that must end first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link {
    /// The place of that activity in the list.
    pub from: usize,
    /// How long to wait after its end.
    pub lag: u64,
}

/// An activity.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Activity {
    /// How long it takes.
    pub duration: u64,
    /// What it follows.
    pub after: Vec<Link>,
}

/// When an activity can and must be, counted from the start of the first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Times {
    /// The earliest start.
    pub early_start: u64,
    /// The earliest finish.
    pub early_finish: u64,
    /// The latest start that keeps the end.
    pub late_start: u64,
    /// The latest finish that keeps the end.
    pub late_finish: u64,
    /// How far it can slip before the end does.
    pub total_float: u64,
    /// How far it can slip before anything that follows it does.
    pub free_float: u64,
}

/// Why a network has no times.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NetworkError {
    /// Activities follow each other in a circle: each of these follows the one before it, and the first
    /// follows the last.
    #[error("activities follow each other in a circle")]
    Circle(Vec<usize>),
    /// A link leads from an activity that is not in the list.
    #[error("activity {at} follows one that is not there")]
    NotThere {
        /// The activity with the link.
        at: usize,
    },
}

/// The activities in an order in which each comes after all that it follows; of two that may come in either
/// order, the one that stands first in the list.
///
/// # Errors
/// [`NetworkError`].
pub fn in_order(activities: &[Activity]) -> Result<Vec<usize>, NetworkError> {
    for (at, activity) in activities.iter().enumerate() {
        if activity.after.iter().any(|link| link.from >= activities.len()) {
            return Err(NetworkError::NotThere { at });
        }
    }
    let mut followers: Vec<Vec<usize>> = vec![Vec::new(); activities.len()];
    let mut open: Vec<usize> = activities.iter().map(|activity| activity.after.len()).collect();
    for (at, activity) in activities.iter().enumerate() {
        for link in &activity.after {
            if let Some(followers) = followers.get_mut(link.from) {
                followers.push(at);
            }
        }
    }
    let mut free: BTreeSet<usize> =
        open.iter().enumerate().filter(|(_, open)| **open == 0).map(|(at, _)| at).collect();
    let mut order = Vec::with_capacity(activities.len());
    while let Some(next) = free.pop_first() {
        order.push(next);
        for follower in followers.get(next).into_iter().flatten() {
            if let Some(open) = open.get_mut(*follower) {
                *open -= 1;
                if *open == 0 {
                    free.insert(*follower);
                }
            }
        }
    }
    if order.len() == activities.len() {
        Ok(order)
    } else {
        Err(NetworkError::Circle(circle(activities, &open)))
    }
}

/// A circle among the activities that still wait for something. Each of them waits for another of them, so
/// that going back from any one leads into a circle.
fn circle(activities: &[Activity], open: &[usize]) -> Vec<usize> {
    let waits = |at: usize| open.get(at).is_some_and(|open| *open > 0);
    let before = |at: usize| activities.get(at)?.after.iter().map(|link| link.from).find(|from| waits(*from));
    let mut path: Vec<usize> = Vec::new();
    let mut next = (0..activities.len()).find(|at| waits(*at));
    while let Some(at) = next {
        if let Some(first) = path.iter().position(|known| *known == at) {
            let mut circle = path.split_off(first);
            circle.reverse();
            return circle;
        }
        path.push(at);
        next = before(at);
    }
    path
}

/// The times of every activity, in the order of the list.
///
/// # Errors
/// [`NetworkError`].
pub fn times(activities: &[Activity]) -> Result<Vec<Times>, NetworkError> {
    let order = in_order(activities)?;
    let mut times = vec![Times::default(); activities.len()];
    for at in &order {
        let Some(activity) = activities.get(*at) else { continue };
        let ends = activity
            .after
            .iter()
            .filter_map(|link| Some(times.get(link.from)?.early_finish.saturating_add(link.lag)));
        let start = ends.max().unwrap_or(0);
        if let Some(own) = times.get_mut(*at) {
            (own.early_start, own.early_finish) = (start, start.saturating_add(activity.duration));
        }
    }
    let end = times.iter().map(|own| own.early_finish).max().unwrap_or(0);
    for own in &mut times {
        (own.late_finish, own.free_float) = (end, end.saturating_sub(own.early_finish));
    }
    for at in order.iter().rev() {
        let Some((activity, own)) = activities.get(*at).zip(times.get_mut(*at)) else { continue };
        own.late_start = own.late_finish.saturating_sub(activity.duration);
        own.total_float = own.late_start.saturating_sub(own.early_start);
        let own = *own;
        for link in &activity.after {
            if let Some(before) = times.get_mut(link.from) {
                before.late_finish = before.late_finish.min(own.late_start.saturating_sub(link.lag));
                let gap = own.early_start.saturating_sub(link.lag).saturating_sub(before.early_finish);
                before.free_float = before.free_float.min(gap);
            }
        }
    }
    Ok(times)
}
