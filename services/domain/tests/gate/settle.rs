//! The end of a history: everything is delivered and every reason answered as it asks.
//! It never helps beyond the way on that a refusal names; what then still cannot leave is stuck.

use std::collections::BTreeSet;

use domain::haccp::gate::judge;
use domain::haccp::gate::question::{Disposition, Obstacle};
use domain::verdict::Verdict;

use super::history::{self, History};
use super::house::House;
use super::processes::Process;
use super::writes::Op;

const ROUNDS: usize = 30;

/// Mends and ships until nothing is left but what was disposed of otherwise.
pub fn settle(history: &mut History) -> Result<(), String> {
    history.drain();
    let mut dead = BTreeSet::new();
    for _ in 0..ROUNDS {
        let lots = history.house.shippable();
        let mut is_open = false;
        for lot in lots {
            is_open |= mend(history, lot, &mut dead);
        }
        if !is_open {
            return after_shipment(&history.house);
        }
    }
    Err(stuck(&history.house, &dead))
}

/// Ships what may leave of a lot and answers what stands in the way of the rest; false when
/// nothing of it is left but what was disposed of otherwise.
fn mend(history: &mut History, lot: usize, dead: &mut BTreeSet<usize>) -> bool {
    let left = history.house.left(lot);
    let question = history::asked(&history.house, lot);
    let obstacles = judge(&question);
    dead.extend(left.iter().copied().filter(|&case| {
        let serial = &history.house.cases[case].serial;
        obstacles.iter().any(|one| is_final(one) && concerns(one, serial))
    }));
    let open: Vec<usize> = left.into_iter().filter(|case| !dead.contains(case)).collect();
    if open.is_empty() {
        return false;
    }
    let clear: Vec<usize> = open
        .iter()
        .copied()
        .filter(|&case| {
            let serial = &history.house.cases[case].serial;
            !obstacles.iter().any(|one| concerns(one, serial)) && !history.house.is_held(case)
        })
        .collect();
    if !clear.is_empty() {
        disturb(history, clear[0]);
        history.alone(|id| Process::ship(id, lot, clear));
    }
    for hold in 0..history.house.holds.len() {
        let of = &history.house.holds[hold];
        if of.deviation.is_none() && !of.has_ended {
            history.asks(Op::EndHold(hold));
        }
    }
    for obstacle in obstacles {
        answer(history, lot, &obstacle);
    }
    history.drain();
    true
}

/// Now and then a failed challenge comes in late, about a case that is clear, and is released at
/// once: who reviewed the case before has not seen it.
fn disturb(history: &mut History, case: usize) {
    let last = history.house.cases[case].passings.iter().copied().max_by_key(|passing| passing.1);
    if let Some((place, truly)) = last
        && history.rng.chance(6)
    {
        history.asks(Op::Challenge { place, truly, device: 0, is_good: false });
        history.drain();
        release_all(history);
    }
}

fn is_final(obstacle: &Obstacle) -> bool {
    matches!(obstacle.code, "TO_DESTROY" | "REWORK_NOT_COOKED")
}

fn concerns(obstacle: &Obstacle, serial: &str) -> bool {
    obstacle.cases.is_empty() || obstacle.cases.iter().any(|case| case == serial)
}

fn answer(history: &mut History, shipped: usize, obstacle: &Obstacle) {
    let lot = obstacle.lot;
    match obstacle.code {
        "CHECK_STALE" => history.read_at_loading(lot, Verdict::Pass),
        "CHECK_MISSING" | "CHECK_MISSED" | "CHECK_UNDETERMINED" | "CHECK_NOT_MET" => {
            by_hand(history, lot, lot, &obstacle.check);
        }
        "RECOOK_MISSING" => read(history, lot, &obstacle.check),
        "DEVIATION_OPEN" => release_all(history),
        "STEP_NOT_PASSED" => {
            let plan = history.house.lots[shipped].plan.expect("every lot is made with a plan");
            let checks = history.house.plans[plan].checks.clone();
            for check in checks {
                by_hand(history, lot, shipped, &check.code);
            }
        }
        "CHALLENGE_AWAITED" | "CHALLENGE_FAILED" | "NEVER_PASSED" => challenge(history, obstacle),
        "NOT_REVIEWED" => history.alone(|id| Process::review(id, shipped)),
        "STATION_SILENT" => (0..history.house.heard.len()).for_each(|at| history.sync(at)),
        _ => {}
    }
}

/// Opens a deviation by hand about a check of another lot's plan, and releases it.
fn by_hand(history: &mut History, lot: usize, of: usize, check: &str) {
    let plan = history.house.lots[of].plan.expect("every lot is made with a plan");
    let plan = history.house.plans[plan].identity;
    history.asks(Op::ByHand { lot, plan, check: check.to_owned() });
    history.drain();
    release_all(history);
}

fn release_all(history: &mut History) {
    use domain::haccp::gate::question::Closing;
    for deviation in 0..history.house.deviations.len() {
        if history.house.deviations[deviation].closing == Closing::Open {
            let disposition = Disposition::ReleaseWithSupport;
            history.asks(Op::Close { deviation, disposition });
        }
    }
    history.drain();
}

fn read(history: &mut History, lot: usize, code: &str) {
    let plan = history.house.lots[lot].plan.expect("every lot is made with a plan");
    let checks = &history.house.plans[plan].checks;
    if let Some(check) = checks.iter().position(|check| check.code == code) {
        history.house.now += 1;
        let truly = history.house.now;
        let verdict = Verdict::Pass;
        history.asks(Op::Reading { lot, check, truly, device: 0, verdict });
    }
}

fn challenge(history: &mut History, obstacle: &Obstacle) {
    let cases = history.house.cases.iter().enumerate();
    let cases = cases.filter(|(_, case)| obstacle.cases.contains(&case.serial));
    let cases: Vec<usize> = cases.map(|(at, _)| at).collect();
    if obstacle.code != "CHALLENGE_AWAITED" {
        for case in cases {
            history.asks(Op::Rerun { case, place: 0 });
        }
        history.drain();
    }
    for place in 0..2 {
        let truly = history.house.now;
        history.asks(Op::Challenge { place, truly, device: 0, is_good: true });
    }
}

/// Whatever opened after something of it had left is listed, once.
fn after_shipment(house: &House) -> Result<(), String> {
    for deviation in 0..house.deviations.len() {
        let listed = house.after_shipment.iter().filter(|one| **one == deviation).count();
        let left_before = house.concerned(deviation).into_iter().any(|case| {
            house.cases[case].shipped.is_some_and(|left| left < house.opened[deviation])
        });
        if listed > 1 || (left_before && listed == 0) {
            return Err(format!("deviation {deviation} is listed {listed} times after shipment"));
        }
    }
    Ok(())
}

fn stuck(house: &House, dead: &BTreeSet<usize>) -> String {
    let mut why = Vec::new();
    for lot in house.shippable() {
        let open: Vec<usize> =
            house.left(lot).into_iter().filter(|at| !dead.contains(at)).collect();
        if open.is_empty() {
            continue;
        }
        let codes: Vec<String> = judge(&history::asked(house, lot))
            .into_iter()
            .map(|one| format!("{} lot {} {} {:?}", one.code, one.lot, one.check, one.cases))
            .collect();
        let held: Vec<bool> = open.iter().map(|&case| house.is_held(case)).collect();
        why.push(format!("lot {lot} cases {open:?} held {held:?}: {codes:#?}"));
    }
    format!("stuck: {}", why.join("\n"))
}
