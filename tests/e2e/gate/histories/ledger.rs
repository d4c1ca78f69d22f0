//! What the clients sent and were told that it was taken: the truth that the model judges.
//! It never asks the program.

use std::collections::BTreeSet;

use domain::haccp::gate::question::{
    self, Challenge, Deviation, Disposition, Finding, Lot, LotKind, Plan, Question, Review, Ship,
};
use domain::verdict::Verdict;

use super::model::Model;

/// A lot as it was made.
pub struct MadeLot {
    pub id: String,
    /// What made it, where inputs may join later.
    pub made_by: String,
    pub grams: u64,
    /// How often an eighth of it was used.
    pub uses: u64,
}

/// A first reading with its amendments.
pub struct Reading {
    pub id: String,
    pub lot: usize,
    pub check: usize,
    pub at: i64,
    pub is_late: bool,
    pub rows: Vec<Row>,
}

/// What one of them says, when it came to be known, and what it opened.
pub struct Row {
    pub verdict: Verdict,
    pub known_at: i64,
    pub deviation: Option<usize>,
}

/// What a hold of a person concerns.
pub enum Scope {
    Whole(usize),
    Left(usize),
    Cases(Vec<usize>),
    Span { lot: usize, place: usize, to: i64 },
}

pub struct Hold {
    pub id: String,
    pub scope: Scope,
    pub has_ended: bool,
}

pub struct Case {
    pub lot: usize,
    pub serial: String,
    pub pallet: String,
    pub passings: Vec<(usize, i64)>,
    pub has_left: bool,
}

/// A signed review of one lot.
pub struct Reviewed {
    pub lot: usize,
    pub closure: BTreeSet<usize>,
    pub excepted: Vec<String>,
    /// How many less safe writes there were when the reviewer was shown the records.
    pub after: usize,
}

/// What a less safe write concerns.
pub enum Concern {
    Lots(Vec<usize>),
    Span { place: usize, from: Option<i64>, to: i64 },
}

#[derive(Default)]
pub struct Ledger {
    pub plans: Vec<Plan>,
    /// The kinds, plans and inputs of lots; what was found about them stands below.
    pub lots: Vec<Lot>,
    pub made: Vec<MadeLot>,
    pub readings: Vec<Reading>,
    pub deviations: Vec<Deviation>,
    /// The lots that each deviation names.
    pub named: Vec<Vec<usize>>,
    pub challenges: Vec<Challenge>,
    pub holds: Vec<Hold>,
    pub cases: Vec<Case>,
    pub reviews: Vec<Reviewed>,
    pub concerns: Vec<Concern>,
}

impl Ledger {
    /// A lot and all its ancestors.
    pub fn closure(&self, lot: usize) -> BTreeSet<usize> {
        let mut all = BTreeSet::new();
        let mut open = vec![lot];
        while let Some(lot) = open.pop() {
            if all.insert(lot) {
                open.extend(&self.lots[lot].inputs);
            }
        }
        all
    }

    /// What the gate would be asked about cases of a lot, by what was sent.
    pub fn question(&self, lot: usize, cases: &[usize], at: i64) -> Question {
        let mut lots = self.lots.clone();
        for reading in &self.readings {
            lots[reading.lot].findings.extend(reading.findings());
        }
        for (deviation, named) in self.named.iter().enumerate() {
            for &lot in named {
                lots[lot].deviations.push(deviation);
            }
        }
        let case = |&case: &usize| question::Case {
            serial: self.cases[case].serial.clone(),
            passings: self.cases[case].passings.clone(),
        };
        let cases = cases.iter().map(case).collect();
        let mut question = Question {
            plans: self.plans.clone(),
            lots,
            deviations: self.deviations.clone(),
            challenges: self.challenges.clone(),
            ships: vec![Ship { lot, cases, review: Review::NotAsked }],
            at,
        };
        // Whether a review stands is asked apart, by what was written since it was shown.
        let mut seen = Model::of(&question, 0).unmet();
        seen.extend(self.deviations.iter().map(|one| format!("deviation:{}", one.id)));
        question.ships[0].review = Review::Signed { excepted: Vec::new(), seen };
        question
    }

    /// Why a case may not leave, by the plain model on what was sent; empty when it may.
    pub fn unsafe_to_leave(&self, case: usize, at: i64) -> Vec<String> {
        let question = self.question(self.cases[case].lot, &[case], at);
        let model = Model::of(&question, 0);
        let mut why = model.whole();
        why.extend(model.case(&question.ships[0].cases[0]));
        if self.is_held(case) {
            why.push("held".to_owned());
        }
        if !self.is_reviewed(case) {
            why.push("no review that stands".to_owned());
        }
        if self.cases[case].has_left {
            why.push("it has left before".to_owned());
        }
        why
    }

    /// Whether a hold of a person stands in its way; those of deviations are the deviations'.
    pub fn is_held(&self, case: usize) -> bool {
        let of = &self.cases[case];
        let closure = self.closure(of.lot);
        self.holds.iter().filter(|hold| !hold.has_ended).any(|hold| match &hold.scope {
            Scope::Whole(lot) => closure.contains(lot),
            Scope::Left(lot) => *lot == of.lot,
            Scope::Cases(cases) => cases.contains(&case),
            Scope::Span { lot, place, to } => *lot == of.lot && of.is_in(*place, None, *to),
        })
    }

    fn is_reviewed(&self, case: usize) -> bool {
        let of = &self.cases[case];
        let closure = self.closure(of.lot);
        self.reviews.iter().filter(|review| review.lot == of.lot).any(|review| {
            let mut since = self.concerns[review.after..].iter();
            review.closure == closure
                && !review.excepted.contains(&of.serial)
                && !since.any(|concern| match concern {
                    Concern::Lots(lots) => lots.iter().any(|lot| closure.contains(lot)),
                    Concern::Span { place, from, to } => of.is_in(*place, *from, *to),
                })
        })
    }

    /// Its cases that have not left.
    pub fn left(&self, lot: usize) -> Vec<usize> {
        let is_one = |case: &usize| self.cases[*case].lot == lot && !self.cases[*case].has_left;
        (0..self.cases.len()).filter(is_one).collect()
    }

    /// Finished lots with cases that have not left.
    pub fn shippable(&self) -> Vec<usize> {
        let is_finished = |lot: &usize| self.lots[*lot].kind == LotKind::Finished;
        let lots = (0..self.lots.len()).filter(is_finished);
        lots.filter(|lot| !self.left(*lot).is_empty()).collect()
    }

    /// The end of the span that a failed challenge at an instant puts in doubt.
    pub fn last_good(&self, place: usize, at: i64) -> Option<i64> {
        let good = self.challenges.iter().filter(|one| one.is_good && one.place == place);
        good.map(|one| one.at).filter(|&good| good < at).max()
    }
}

impl Case {
    fn is_in(&self, place: usize, from: Option<i64>, to: i64) -> bool {
        let is_in = |at: i64| from.is_none_or(|from| at > from) && at <= to;
        self.passings.iter().any(|&(at_place, at)| at_place == place && is_in(at))
    }
}

impl Reading {
    /// The worst of it and its amendments stands, once for each deviation that any of them opened.
    fn findings(&self) -> Vec<Finding> {
        let finding = Finding {
            check: self.check,
            at: self.at,
            known_at: self.rows.iter().map(|row| row.known_at).max().unwrap_or_default(),
            is_late: self.is_late,
            verdict: Verdict::of_all(self.rows.iter().map(|row| row.verdict)),
            deviation: None,
        };
        let opened: Vec<_> = self.rows.iter().filter_map(|row| row.deviation).collect();
        if opened.is_empty() {
            return vec![finding];
        }
        let of = |deviation| Finding { deviation: Some(deviation), ..finding };
        opened.into_iter().map(of).collect()
    }
}

/// A disposition as the program's word.
pub fn disposition_word(disposition: Disposition) -> &'static str {
    match disposition {
        Disposition::ReleaseWithSupport => "release_with_support",
        Disposition::Recook => "recook",
        Disposition::ReworkWithLethalStep => "rework_with_lethal_step",
        Disposition::Destroy => "destroy",
        Disposition::RecordedWrongly => "recorded_wrongly",
    }
}
