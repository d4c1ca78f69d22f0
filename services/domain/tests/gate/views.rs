//! The plant as a question: as the service reads it, table by table, and as it truly is.
//! It never holds back what was committed, nor adds what was not.

use domain::haccp::gate::question;
use domain::haccp::gate::question::{Finding, Question, Review, Ship};
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
    let ship = Ship { lot, cases: cases.iter().map(of_case).collect(), review: Review::NotAsked };
    Question {
        plans: house.plans.clone(),
        lots: house.lots.clone(),
        deviations: Vec::new(),
        challenges: Vec::new(),
        ships: vec![ship],
        at: house.now,
    }
}

/// Adds what is recorded of lots: their plans, findings, gaps and covers.
pub fn read_lots(house: &House, question: &mut Question) {
    for (at, lot) in question.lots.iter_mut().enumerate() {
        lot.plan = lot.plan.filter(|_| house.bound[at]);
        if lot.plan.is_none() {
            continue;
        }
        let findings = house.findings.iter().filter(|found| found.lot == at);
        lot.findings = findings
            .map(|found| Finding {
                check: found.check,
                at: found.at,
                known_at: found.known_at,
                is_late: false,
                verdict: found.verdict,
                deviation: found.deviation,
            })
            .collect();
        let gaps = house.gaps.iter().filter(|gap| gap.0 == at);
        lot.gaps = gaps.map(|gap| gap.1).collect();
        let covers = house.covers.iter().filter(|cover| cover.0 == at);
        lot.covers = covers.map(|cover| cover.1).collect();
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
            let all = domain::haccp::gate::unmet(question);
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
