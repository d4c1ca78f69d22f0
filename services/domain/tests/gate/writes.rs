//! What people and devices write, each in one transaction with its versions and messages.
//! It never asks whether something may be written: facts are recorded, and what they break shows.

use domain::haccp::gate::question::{
    Challenge, Closing, Concerns, Cover, Deviation, Disposition, Gap, Kind,
};
use domain::verdict::Verdict;

use super::house::{Body, Broken, Concern, Found, Hold, House, Message, PLANT, Scope};

/// A write.
#[derive(Clone, Debug)]
pub enum Op {
    Reading { lot: usize, check: usize, truly: i64, device: usize, verdict: Verdict },
    Amend { finding: usize, verdict: Verdict },
    InstrumentOut { instrument: usize },
    Gap { lot: usize, gap: Gap },
    Cover { lot: usize, cover: Cover },
    ByHand { lot: usize, plan: usize, check: String },
    Close { deviation: usize, disposition: Disposition },
    Challenge { place: usize, truly: i64, device: usize, is_good: bool },
    PlaceHold(Scope),
    EndHold(usize),
    AddInput { lot: usize, input: usize },
    Rerun { case: usize, place: usize },
}

/// The rows of lot safety that a write locks and adds to, in their order.
pub fn names(house: &House, op: &Op) -> Vec<usize> {
    let mut keys = match op {
        Op::Reading { lot, check, verdict, .. } => {
            if *verdict == Verdict::Pass || !gates(house, *lot, *check) {
                vec![]
            } else {
                vec![*lot]
            }
        }
        Op::Amend { finding, .. } => vec![house.findings[*finding].lot],
        Op::Gap { lot, .. } | Op::ByHand { lot, .. } => vec![*lot],
        Op::AddInput { .. } if house.broken == Broken::InputAddsNothing => vec![],
        Op::AddInput { lot, .. } => vec![*lot],
        Op::InstrumentOut { .. } | Op::Challenge { is_good: false, .. } => vec![PLANT],
        Op::PlaceHold(scope) => of_scope(house, scope),
        Op::Cover { .. }
        | Op::Close { .. }
        | Op::Challenge { .. }
        | Op::EndHold(_)
        | Op::Rerun { .. } => vec![],
    };
    keys.sort_unstable();
    keys.dedup();
    keys
}

/// What a hold adds to.
pub fn of_scope(house: &House, scope: &Scope) -> Vec<usize> {
    match scope {
        _ if house.broken == Broken::HoldAddsNothing => vec![],
        Scope::Whole(lots) => lots.clone(),
        Scope::Left(lot) | Scope::SpanOf { lot, .. } => vec![*lot],
        Scope::Cases(cases) => cases.iter().map(|&case| house.cases[case].lot).collect(),
        Scope::Span { .. } => vec![PLANT],
    }
}

/// Whether a check of a lot gates.
pub fn gates(house: &House, lot: usize, check: usize) -> bool {
    let plan = house.lots[lot].plan.expect("every lot is made with a plan");
    house.plans[plan].checks[check].class.gates()
}

/// Commits a write: rows, versions and messages at once.
pub fn commit(house: &mut House, op: &Op) {
    for key in names(house, op) {
        house.add_version(key);
    }
    house.commits += 1;
    match op.clone() {
        Op::Reading { lot, check, truly, device, verdict } => {
            let offset =
                if house.broken == Broken::OffsetNotAdded { 0 } else { -house.skews[device] };
            let at = truly + house.skews[device] + offset;
            let deviation = (verdict == Verdict::Fail).then(|| failed(house, lot, check)).flatten();
            let known_at = house.now;
            let instrument = device;
            house.findings.push(Found {
                lot,
                check,
                at,
                truly,
                known_at,
                verdict,
                deviation,
                instrument,
            });
            if verdict != Verdict::Pass && gates(house, lot, check) {
                house.less_safe.push(Concern::Lots(vec![lot]));
            }
        }
        Op::Amend { finding, verdict } => amend(house, finding, verdict),
        Op::InstrumentOut { instrument } => instrument_out(house, instrument),
        Op::Gap { lot, gap } => {
            house.gaps.push((lot, gap));
            house.less_safe.push(Concern::Lots(vec![lot]));
        }
        Op::Cover { lot, cover } => house.covers.push((lot, cover)),
        Op::ByHand { lot, plan, check } => {
            open(house, vec![lot], (plan, check), true, Concerns::Lots);
            house.less_safe.push(Concern::Lots(vec![lot]));
        }
        Op::Close { deviation, disposition } => close(house, deviation, disposition),
        Op::Challenge { place, truly, device, is_good } => {
            challenge(house, place, (truly, device), is_good);
        }
        Op::PlaceHold(scope) => place_hold(house, scope, None),
        Op::EndHold(hold) => house.holds[hold].has_ended = true,
        Op::AddInput { lot, input } => {
            house.lots[lot].inputs.push(input);
            house.less_safe.push(Concern::Lots(vec![lot]));
            list_what_left(house);
        }
        Op::Rerun { case, place } => {
            let now = house.now;
            let case = &mut house.cases[case];
            if case.shipped.is_none() {
                case.pallet += 1;
                case.passings.push((place, now));
            }
        }
    }
}

/// A failed reading opens a deviation: of a limit to be reached only some do, once the step ended.
fn failed(house: &mut House, lot: usize, check: usize) -> Option<usize> {
    let plan = house.lots[lot].plan.expect("every lot is made with a plan");
    let of = &house.plans[plan].checks[check];
    if !of.class.gates() || (of.kind == Kind::Attain && of.fresh_for_us.is_some()) {
        return None;
    }
    let about = (house.plans[plan].identity, of.code.clone());
    Some(open(house, vec![lot], about, false, Concerns::Lots))
}

fn open(
    house: &mut House,
    lots: Vec<usize>,
    about: (usize, String),
    by_hand: bool,
    concerns: Concerns,
) -> usize {
    let deviation = house.deviations.len();
    house.deviations.push(Deviation {
        name: format!("D{deviation}"),
        id: deviation.to_string(),
        check: about.1,
        plan: about.0,
        by_hand,
        concerns,
        closing: Closing::Open,
    });
    house.named.push(lots);
    house.opened.push(house.commits);
    tell(house, deviation, Body::Hold(deviation));
    deviation
}

/// An input that is added late brings its deviations to what has left; those whose message is still
/// on its way are listed when it comes.
fn list_what_left(house: &mut House) {
    for message in 0..house.messages.len() {
        let Body::Hold(deviation) = house.messages[message].body else { continue };
        let is_listed = house.after_shipment.contains(&deviation);
        let has_come = house.received.contains(&message);
        let mut concerned = house.concerned(deviation).into_iter();
        let has_left = concerned.any(|case| house.cases[case].shipped.is_some());
        if has_come && has_left && !is_listed {
            house.after_shipment.push(deviation);
        }
    }
}

/// Puts a message into the outbox.
pub fn tell(house: &mut House, subject: usize, body: Body) {
    house.messages.push(Message { subject, body, is_delivered: false });
}

fn close(house: &mut House, deviation: usize, disposition: Disposition) {
    if house.deviations[deviation].closing != Closing::Open {
        return;
    }
    house.deviations[deviation].closing = Closing::Closed { disposition, at: house.now };
    if disposition != Disposition::Destroy {
        tell(house, deviation, Body::EndHold(deviation));
    }
}

fn amend(house: &mut House, finding: usize, verdict: Verdict) {
    let Found { lot, check, verdict: before, .. } = house.findings[finding];
    house.less_safe.push(Concern::Lots(vec![lot]));
    let worst = Verdict::of_all([before, verdict]);
    house.findings[finding].verdict = worst;
    if verdict != Verdict::Pass {
        house.findings[finding].known_at = house.now;
    }
    if worst == Verdict::Fail && before != Verdict::Fail {
        house.findings[finding].deviation = failed(house, lot, check);
    }
}

fn instrument_out(house: &mut House, instrument: usize) {
    let mut lots = Vec::new();
    for at in 0..house.findings.len() {
        let found = &house.findings[at];
        if found.instrument != instrument || found.verdict != Verdict::Pass {
            continue;
        }
        let (lot, check, when) = (found.lot, found.check, found.at);
        let plan = house.lots[lot].plan.expect("every lot is made with a plan");
        let is_last =
            house.findings.iter().all(|one| one.lot != lot || one.check != check || one.at <= when);
        let counts = house.plans[plan].checks[check].kind == Kind::Each || is_last;
        if gates(house, lot, check) && counts {
            lots.push(lot);
        }
        house.findings[at].verdict = Verdict::Undetermined;
        house.findings[at].known_at = house.now;
    }
    house.less_safe.push(Concern::Lots(lots));
}

fn challenge(house: &mut House, place: usize, when: (i64, usize), is_good: bool) {
    let (truly, device) = when;
    let offset = if house.broken == Broken::OffsetNotAdded { 0 } else { -house.skews[device] };
    let at = truly + house.skews[device] + offset;
    for device in ["metal_detector", "film"] {
        let mut deviation = None;
        if !is_good {
            let before = house.challenges.iter().filter(|one| {
                one.place == place && one.device == device && one.is_good && one.at < at
            });
            let from = before.map(|one| one.at).max();
            let concerns = Concerns::Span { place, from, to: at };
            let about = (usize::MAX, "CCP-3".to_owned());
            deviation = Some(open(house, Vec::new(), about, false, concerns));
            house.less_safe.push(Concern::Span { place, from, to: at });
        }
        let device = device.to_owned();
        house.challenges.push(Challenge { place, device, at, is_good, deviation });
        house.challenged.push(truly);
    }
}

/// A hold begins. That of a span follows of a failed challenge and says nothing that this did not
/// say when it was recorded: who signed after that has seen it, however late the hold comes.
pub fn place_hold(house: &mut House, scope: Scope, deviation: Option<usize>) {
    let lots = match &scope {
        Scope::Whole(lots) => Some(lots.clone()),
        Scope::Left(lot) | Scope::SpanOf { lot, .. } => Some(vec![*lot]),
        Scope::Cases(cases) => Some(cases.iter().map(|&case| house.cases[case].lot).collect()),
        Scope::Span { .. } => None,
    };
    house.less_safe.extend(lots.map(Concern::Lots));
    house.holds.push(Hold { scope, deviation, has_ended: false });
}
