//! Whether what ships is proved: the safety gate's judgement over the closure of what ships.
//! It never records anything, and what it cannot prove stands in the way.

pub mod items;
pub mod question;

mod bracket;
mod fates;
mod graph;
mod lots;
mod paths;
mod review;
mod rework;
mod spans;
mod words;

use items::{Item, Judged};
use question::{Obstacle, Question};

/// What every part of the judgement reads.
struct Facts<'q> {
    question: &'q Question,
    graph: graph::Graph,
    /// What became of the deviations that name each lot.
    fates: Vec<Vec<fates::Named>>,
    /// Each lot's checks on its own kind, but for bracket checks.
    judged: Vec<Vec<Judged>>,
    /// Ships whose lot is not reached by a later lethal step from everywhere it must.
    rework: rework::Rework,
}

impl<'q> Facts<'q> {
    fn of(question: &'q Question) -> Result<Self, String> {
        let graph = graph::Graph::of(question)?;
        let mut fates = vec![Vec::new(); question.lots.len()];
        let mut judged = vec![Vec::new(); question.lots.len()];
        for lot in (0..question.lots.len()).filter(|&lot| graph.is_in_any(lot)) {
            fates[lot] = fates::of(question, lot);
            judged[lot] = items::of_lot(question, lot, &fates[lot]);
        }
        let rework = rework::Rework::of(question, &graph, &fates, &judged);
        Ok(Self { question, graph, fates, judged, rework })
    }
}

/// Everything that stands in the way of what is asked; empty when it may leave.
///
/// A case may leave when no obstacle names its ship with no cases, or with it. Holds and labels are
/// not asked about here.
pub fn judge(question: &Question) -> Vec<Obstacle> {
    match Facts::of(question) {
        Ok(facts) => obstacles(&facts),
        Err(fault) => vec![words::broken(question, &fault)],
    }
}

fn obstacles(facts: &Facts) -> Vec<Obstacle> {
    let mut found = lots::obstacles(facts);
    found.extend(spans::obstacles(facts));
    found.extend(bracket::obstacles(facts));
    found.extend(paths::obstacles(facts));
    found.extend(review::obstacles(facts));
    found
}

/// What a reviewer is shown.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reviewable {
    /// Everything that stands in the way, as [`judge`] says it.
    pub obstacles: Vec<Obstacle>,
    /// Every check that a lot of the closure must meet on its own kind, and how it stands.
    pub items: Vec<Item>,
    /// What was ever not met of each ship, answered or not, by names that stay the same: a review
    /// keeps them, and does not stand for what comes to be known later.
    pub unmet: Vec<Vec<String>>,
}

/// Judges for a review. Of a question that refers to what it does not hold there are no items.
pub fn reviewable(question: &Question) -> Reviewable {
    match Facts::of(question) {
        Ok(facts) => Reviewable {
            obstacles: obstacles(&facts),
            items: items::all(&facts),
            unmet: review::unmet(&facts),
        },
        Err(fault) => Reviewable {
            obstacles: vec![words::broken(question, &fault)],
            items: Vec::new(),
            unmet: vec![Vec::new(); question.ships.len()],
        },
    }
}
