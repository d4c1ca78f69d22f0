//! The judgement against the plain model, case by case, on random questions.
//! It never looks at words: only at whether a case may leave, and whether a check is satisfied.

use domain::haccp::gate::items::State;
use domain::haccp::gate::question::{Obstacle, Question};
use domain::haccp::gate::{judge, reviewable};

use super::model::Model;

/// What differs, in words; none when the two say the same of every case.
pub fn difference(question: &Question) -> Option<String> {
    let obstacles = judge(question);
    for ship in 0..question.ships.len() {
        let model = Model::of(question, ship);
        let whole = model.whole();
        let mine: Vec<&Obstacle> =
            obstacles.iter().filter(|one| one.ships.contains(&ship)).collect();
        let judged: Vec<&&Obstacle> =
            mine.iter().filter(|one| one.cases.is_empty() && one.code != "NO_CASES").collect();
        if whole.is_empty() != judged.is_empty() {
            return Some(format!("ship {ship}: model {whole:?}, judged {judged:#?}"));
        }
        for case in &question.ships[ship].cases {
            let model = model.case(case);
            let judged: Vec<&&Obstacle> =
                mine.iter().filter(|one| one.cases.contains(&case.serial)).collect();
            if model.is_empty() != judged.is_empty() {
                let serial = &case.serial;
                return Some(format!("case {serial}: model {model:?}, judged {judged:#?}"));
            }
        }
    }
    satisfied(question)
}

/// Of a question about one ship, whether each item is satisfied.
fn satisfied(question: &Question) -> Option<String> {
    let [_] = question.ships.as_slice() else { return None };
    let model = Model::of(question, 0);
    for item in reviewable(question).items {
        let check =
            question.lots[item.lot].plan.map(|plan| &question.plans[plan].checks[item.check]);
        let is_bracket =
            check.is_none_or(|check| check.kind == domain::haccp::gate::question::Kind::Bracket);
        if is_bracket || !model.is_in(item.lot) {
            continue;
        }
        let is_met = matches!(item.state, State::Met | State::MetLate);
        let judged = (is_met || item.satisfied_by.is_some()) && !item.is_stale;
        if judged != model.is_satisfied(item.lot, item.check) {
            return Some(format!("{item:?}, in the model {}", !judged));
        }
    }
    None
}

/// How many cases could leave, and how many there are.
pub fn leaving(question: &Question) -> (usize, usize) {
    let obstacles = judge(question);
    let mut count = (0, 0);
    for (at, ship) in question.ships.iter().enumerate() {
        for case in &ship.cases {
            let stands = |one: &Obstacle| {
                one.ships.contains(&at)
                    && (one.cases.is_empty() || one.cases.contains(&case.serial))
            };
            count.0 += usize::from(!obstacles.iter().any(stands));
            count.1 += 1;
        }
    }
    count
}
