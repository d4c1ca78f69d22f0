//! The plant as a question: as the service reads it, table by table, and as it truly is.
//! It never holds back what was committed, nor adds what was not.

use domain::haccp::gate::question;
use domain::haccp::gate::question::{Finding, Lot, LotKind, Question, Review, Ship};
use domain::verdict::Verdict;

use super::house::{Broken, Concern, House, is_in_span};
use super::model::Model;

/// How old an answer may be when it ships.
pub const ANSWER_AGE: i64 = 60;

/// What genealogy tells of a closure: the lots and cases alone.
pub fn closure(house: &House, lot: usize, cases: &[usize]) -> Question {
    let of_case = |&case: &usize| question::Case {
        serial: house.cases[case].serial.clone(),
        passings: house.cases[case].passings.clone(),
    };
    let lots = house.lots.iter().enumerate();
    let members = house.closure(lot);
    let lots = lots.map(|(at, of)| if members.contains(&at) { of.clone() } else { nobody() });
    let lots = lots.collect();
    let ship = Ship { lot, cases: cases.iter().map(of_case).collect(), review: Review::NotAsked };
    Question {
        plans: house.plans.clone(),
        lots,
        deviations: Vec::new(),
        challenges: Vec::new(),
        ships: vec![ship],
        at: house.now,
    }
}

/// What stands for a lot of another closure, so that every lot keeps its place.
fn nobody() -> Lot {
    Lot::new(String::new(), LotKind::Kit)
}

/// Adds what is recorded of lots: their plans, findings, gaps and covers.
pub fn read_lots(house: &House, question: &mut Question) {
    for (lot, is_bound) in question.lots.iter_mut().zip(&house.bound) {
        lot.plan = lot.plan.filter(|_| *is_bound);
    }
    let is_there: Vec<bool> = question.lots.iter().map(|lot| lot.plan.is_some()).collect();
    for found in house.findings.iter().filter(|found| is_there[found.lot]) {
        question.lots[found.lot].findings.push(Finding {
            check: found.check,
            at: found.at,
            known_at: found.known_at,
            is_late: false,
            verdict: found.verdict,
            deviation: found.deviation,
        });
    }
    for (lot, gap) in house.gaps.iter().filter(|gap| is_there[gap.0]) {
        question.lots[*lot].gaps.push(*gap);
    }
    for (lot, cover) in house.covers.iter().filter(|cover| is_there[cover.0]) {
        question.lots[*lot].covers.push(*cover);
    }
}

/// Adds deviations and the lots that each names.
pub fn read_deviations(house: &House, question: &mut Question) {
    question.deviations.clone_from(&house.deviations);
    for (deviation, lots) in house.named.iter().enumerate() {
        for &lot in lots {
            question.lots[lot].deviations.push(deviation);
        }
    }
}

/// Adds challenges, and stations that were not heard since a lot left.
pub fn read_places(house: &House, question: &mut Question) {
    question.challenges.clone_from(&house.challenges);
    for (at, lot) in question.lots.iter_mut().enumerate() {
        let Some(station) = house.stations[at] else { continue };
        if house.heard[station] < house.left_at[at] && house.broken != Broken::SilenceNotRead {
            lot.silent.push(format!("station {station}"));
        }
    }
}

/// Adds the review of the closure with these versions.
pub fn read_review(house: &House, question: &mut Question, digest: &[(usize, u64)]) {
    let lot = question.ships[0].lot;
    let is_any = house.broken == Broken::ReviewOfAnyVersions;
    let mut reviews = house.reviews.iter().rev().filter(|review| review.lot == lot);
    let review = reviews.find(|review| is_any || review.closure == digest);
    question.ships[0].review = review.map_or(Review::Missing, |review| {
        let mut seen = review.seen.clone();
        if house.broken == Broken::ReviewForgetsWhatItSaw {
            seen.extend((0..house.deviations.len()).map(|at| format!("deviation:{at}")));
            let all = domain::haccp::gate::reviewable(question).unmet;
            seen.extend(all.into_iter().flatten());
        }
        Review::Signed { excepted: review.excepted.clone(), seen }
    });
}

/// Everything at once, for who asks what stands in the way.
pub fn now(house: &House, lot: usize, cases: &[usize]) -> Question {
    let mut question = closure(house, lot, cases);
    read_lots(house, &mut question);
    read_deviations(house, &mut question);
    read_places(house, &mut question);
    read_review(house, &mut question, &house.digest(lot));
    question
}

/// Why a case may truly not leave: by all that was committed and all that a watched station holds,
/// each at the time at which it truly was.
pub fn unsafe_to_leave(house: &House, case: usize) -> Vec<String> {
    let lot = house.cases[case].lot;
    let mut question = closure(house, lot, &[case]);
    read_lots(house, &mut question);
    let mut at = vec![0; house.lots.len()];
    for found in &house.findings {
        if question.lots[found.lot].plan.is_some() {
            question.lots[found.lot].findings[at[found.lot]].at = found.truly;
            at[found.lot] += 1;
        }
    }
    read_deviations(house, &mut question);
    question.challenges.clone_from(&house.challenges);
    for (challenge, truly) in question.challenges.iter_mut().zip(&house.challenged) {
        challenge.at = *truly;
    }
    // Fresh when it was judged is enough: the answer may be this old.
    question.at -= ANSWER_AGE;
    for (station, queue) in house.queues.iter().enumerate() {
        for entry in queue.iter().filter(|entry| entry.verdict != Verdict::Pass) {
            let of = &mut question.lots[entry.lot];
            if house.stations[entry.lot] == Some(station) && of.plan.is_some() {
                of.findings.push(Finding {
                    check: entry.check,
                    at: entry.truly,
                    known_at: house.now,
                    is_late: true,
                    verdict: entry.verdict,
                    deviation: None,
                });
            }
        }
    }
    // Whether the review stands is asked below, from what was written since.
    let mut seen = Model::of(&question, 0).unmet();
    seen.extend((0..house.deviations.len()).map(|at| format!("deviation:{at}")));
    question.ships[0].review = Review::Signed { excepted: Vec::new(), seen };
    let model = Model::of(&question, 0);
    let mut why = model.whole();
    why.extend(model.case(&question.ships[0].cases[0]));
    if house.is_held(case) {
        why.push("held".to_owned());
    }
    if !is_reviewed(house, case) {
        why.push("no review that stands".to_owned());
    }
    why
}

fn is_reviewed(house: &House, case: usize) -> bool {
    let of = &house.cases[case];
    let closure = house.closure(of.lot);
    house.reviews.iter().filter(|review| review.lot == of.lot).any(|review| {
        let reviewed: Vec<usize> = review.closure.iter().map(|lot| lot.0).collect();
        let mut since = house.less_safe[review.after..].iter();
        reviewed == closure.iter().copied().collect::<Vec<_>>()
            && !review.excepted.contains(&of.serial)
            && !since.any(|concern| match concern {
                Concern::Lots(lots) => lots.iter().any(|lot| closure.contains(lot)),
                Concern::Span { place, from, to } => is_in_span(of, *place, *from, *to),
            })
    })
}
