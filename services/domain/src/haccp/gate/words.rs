//! What an obstacle says: its code, one sentence, who can mend it, and the way on.
//! It never decides whether something stands in the way.

use super::bracket::Proof;
use super::fates::{Fate, Named};
use super::items::{Judged, State};
use super::question::{At, Block, Check, Deviation, Lot, Obstacle, Question};

const QA: &str = "QA";
const LISTED: usize = 5;

fn obstacle(code: &'static str, lot: usize, message: String) -> Obstacle {
    Obstacle {
        code,
        ships: Vec::new(),
        lot,
        cases: Vec::new(),
        check: String::new(),
        message,
        who: QA,
        way_on: String::new(),
    }
}

/// The question refers to what it does not hold: nothing of it is proved.
pub(super) fn broken(question: &Question, fault: &str) -> Obstacle {
    let lot = question.ships.first().map_or(0, |ship| ship.lot);
    Obstacle {
        ships: (0..question.ships.len()).collect(),
        who: "operator of the servers",
        way_on: "Run hankbook check replay, and ship once it holds.".to_owned(),
        ..obstacle("RECORDS_BROKEN", lot, format!("The records cannot be judged: {fault}."))
    }
}

/// A lot bound to no known plan.
pub(super) fn unbound(at: usize, lot: &Lot) -> Obstacle {
    Obstacle {
        way_on: "Its plan is told when it is made. If this stays for a minute, look for a refused \
                 message among the open items."
            .to_owned(),
        ..obstacle("NO_PLAN", at, format!("Lot {} is bound to no plan that is known.", lot.name))
    }
}

/// Something that stands in the lot's way whatever its plan.
pub(super) fn blocked(at: usize, block: &Block) -> Obstacle {
    Obstacle {
        who: block.who,
        way_on: block.way_on.clone(),
        ..obstacle(block.code, at, block.what.clone())
    }
}

/// Stations that were not heard.
pub(super) fn silent(at: usize, lot: &Lot) -> Obstacle {
    let stations = list(lot.silent.iter().map(String::as_str));
    let message = format!("{stations} watched lot {} and has not been heard since.", lot.name);
    Obstacle {
        who: "supervisor",
        way_on: "Let the station send what it holds, or look at it and sign: \
                 POST /v1/stations/{station}/looks."
            .to_owned(),
        ..obstacle("STATION_SILENT", at, message)
    }
}

/// A check that nothing satisfies; without a state it was met too long ago.
pub(super) fn check(lot: &Lot, check: &Check, state: Option<State>) -> Obstacle {
    let (code, what, who, way_on) = match state {
        None => ("CHECK_STALE", "was met too long ago", "operator", READ_AGAIN),
        Some(State::Missing) => ("CHECK_MISSING", "has no record", QA, COVER),
        Some(State::Missed) => ("CHECK_MISSED", "was not looked at as often as asked", QA, COVER),
        Some(State::Undetermined) => ("CHECK_UNDETERMINED", "cannot be determined", QA, COVER),
        Some(_) => ("CHECK_NOT_MET", "is not met", QA, MEET),
    };
    let fresh = check.fresh_for_us.map_or(String::new(), |us| {
        format!(" It must be met within {} before it ships.", duration(us))
    });
    let message = format!("{} ({}) of lot {} {what}.{fresh}", check.code, check.title, lot.name);
    Obstacle {
        check: check.code.clone(),
        who,
        way_on: way_on.to_owned(),
        ..obstacle(code, 0, message)
    }
}

const READ_AGAIN: &str = "Read it again: POST /v1/readings.";
const COVER: &str = "Cover it by other evidence that met the same limit over the whole time, signed: \
                     POST /v1/missed-checks; or open a deviation for it: POST /v1/deviations. If it \
                     can still be read: POST /v1/readings.";
const MEET: &str = "Go on until it is met and read it again: POST /v1/readings; or open a deviation \
                    for it: POST /v1/deviations.";

/// Deviations of one check that name the lot, all of one fate.
pub(super) fn deviations(question: &Question, at: usize, group: &[&Named]) -> Obstacle {
    let name = &question.lots[at].name;
    let of = |named: &&Named| &question.deviations[named.deviation];
    let said = list(group.iter().map(|named| of(named).name.as_str()));
    let ids = list(group.iter().map(|named| of(named).id.as_str()));
    let (code, what) = match group[0].fate {
        Fate::Destroy => ("TO_DESTROY", "is to be destroyed"),
        Fate::NotRecooked => ("RECOOK_MISSING", "was to be cooked again and has not met it since"),
        Fate::Reworked => ("REWORK_NOT_COOKED", "went on without a later lethal step that was met"),
        _ => ("DEVIATION_OPEN", "has an open deviation"),
    };
    let way_on = match group[0].fate {
        Fate::Destroy => "It does not ship. Record its destruction.".to_owned(),
        Fate::NotRecooked => "Cook it again, and record what the check finds.".to_owned(),
        Fate::Reworked => {
            "It ships only as part of a batch whose cook was met after it joined.".to_owned()
        }
        _ => format!("Close it with its four parts: POST /v1/deviations/{ids}/close."),
    };
    Obstacle {
        check: of(&group[0]).check.clone(),
        way_on,
        ..obstacle(code, at, format!("Lot {name} {what}: {}", ended(&said)))
    }
}

/// A deviation over what passed a place in a span.
pub(super) fn span(deviation: &Deviation, fate: Fate, cases: Vec<String>) -> Obstacle {
    let count = counted(cases.len());
    let (code, message, way_on) = match fate {
        Fate::Open => (
            "DEVIATION_OPEN",
            format!("{count} passed in the span of an open deviation: {}", ended(&deviation.name)),
            format!(
                "Take them off; pass them again after a good challenge, then close the deviation: \
                 POST /v1/deviations/{}/close.",
                deviation.id
            ),
        ),
        _ => (
            "TO_DESTROY",
            format!("{count} may not leave by the disposition of: {}", ended(&deviation.name)),
            "Take them off and record their destruction.".to_owned(),
        ),
    };
    Obstacle { cases, check: deviation.check.clone(), way_on, ..obstacle(code, 0, message) }
}

/// Cases that a bracket check does not prove.
pub(super) fn bracket(check: &Check, reason: Proof, cases: Vec<String>) -> Obstacle {
    let count = counted(cases.len());
    let about = format!("{} ({})", check.code, check.title);
    let (code, what, way_on) = match reason {
        Proof::NeverPassed => (
            "NEVER_PASSED",
            format!("{count} never passed what {about} asks for."),
            "Pass them and challenge the device after them: POST /v1/challenges.",
        ),
        Proof::Waiting => (
            "CHALLENGE_AWAITED",
            format!("{count} passed after the last challenge of {about}."),
            "Wait for the next challenge, or make it now: POST /v1/challenges.",
        ),
        _ => (
            "CHALLENGE_FAILED",
            format!("{count} passed before a failed challenge of {about}."),
            "Take them off and pass them again after a good challenge.",
        ),
    };
    Obstacle {
        cases,
        check: check.code.clone(),
        who: if reason == Proof::Failed { QA } else { "operator" },
        way_on: way_on.to_owned(),
        ..obstacle(code, 0, what)
    }
}

/// A finished lot that went on into another, whose cases nobody can judge any more.
pub(super) fn passed_unseen(at: usize, lot: &Lot, check: &Check, ships: Vec<usize>) -> Obstacle {
    let message = format!(
        "Finished lot {} went on into what ships, where {} ({}) is not asked for.",
        lot.name, check.code, check.title
    );
    Obstacle {
        check: check.code.clone(),
        ships,
        way_on: "Open a deviation for it and close it with support: POST /v1/deviations."
            .to_owned(),
        ..obstacle("CHECK_MISSING", at, message)
    }
}

/// A path on which a step was not passed in its order.
pub(super) fn path(question: &Question, ship: usize, path: &[usize], step: &str) -> Obstacle {
    let name = |lot: &usize| question.lots[*lot].name.as_str();
    let way = match path {
        [first, .., last] if path.len() > LISTED => format!("{} … {}", name(first), name(last)),
        path => path.iter().map(name).collect::<Vec<_>>().join(" → "),
    };
    let shipped = &question.lots[question.ships[ship].lot].name;
    let message = format!("On the way {way} step {step} of {shipped} was not passed in its order.");
    Obstacle {
        ships: vec![ship],
        way_on: format!(
            "Do {step} on what it went into; or, with support, open a deviation for each check of \
             {step} on a lot of this way and close it: POST /v1/deviations."
        ),
        ..obstacle("STEP_NOT_PASSED", path[0], message)
    }
}

/// Nothing to ship.
pub(super) fn no_cases(ship: usize, lot: usize) -> Obstacle {
    Obstacle {
        ships: vec![ship],
        who: "dock",
        way_on: "Scan the pallet again.".to_owned(),
        ..obstacle("NO_CASES", lot, "There is no case to ship.".to_owned())
    }
}

/// No review that stands.
pub(super) fn not_reviewed(ship: usize, lot: usize) -> Obstacle {
    let message = "Nobody has reviewed its records as they stand now.".to_owned();
    Obstacle {
        ships: vec![ship],
        way_on: "Review and sign: POST /v1/reviews.".to_owned(),
        ..obstacle("NOT_REVIEWED", lot, message)
    }
}

/// Cases that the review does not cover.
pub(super) fn excepted(ship: usize, lot: usize, cases: Vec<String>) -> Obstacle {
    let message = format!("{} were not clear when the lot was reviewed.", counted(cases.len()));
    Obstacle {
        ships: vec![ship],
        cases,
        way_on: "Take them off, or review the lot again: POST /v1/reviews.".to_owned(),
        ..obstacle("NOT_REVIEWED", lot, message)
    }
}

/// How a check of a lot stands, in one sentence.
pub(super) fn item(lot: &Lot, judged: &Judged) -> String {
    let last = lot.findings.iter().filter(|found| found.check == judged.check);
    let last = last.map(|found| found.at).max().map(time);
    let gap = lot.gaps.iter().find(|gap| gap.check == judged.check);
    match (judged.state, last, gap) {
        (State::Missing, ..) => "There is no record of it.".to_owned(),
        (State::Missed, _, Some(gap)) => {
            format!("Nobody looked from {} to {}.", time(gap.from), time(gap.to))
        }
        (state, Some(last), _) => format!("{}; the last record is of {last}.", word(state)),
        (state, ..) => format!("{}.", word(state)),
    }
}

/// How the cases of a bracket check stand, in one sentence.
pub(super) fn bracket_item(check: &Check, proofs: &[Proof]) -> String {
    if proofs.is_empty() {
        return "No case of it is in the plant now.".to_owned();
    }
    let proved = proofs.iter().filter(|proof| **proof == Proof::Proved).count();
    format!("{proved} of {} are proved by {}.", counted(proofs.len()), check.code)
}

fn word(state: State) -> &'static str {
    match state {
        State::Met => "Met",
        State::MetLate => "Met, entered late",
        State::Missing | State::Missed => "Missed",
        State::Undetermined => "It cannot be determined",
        State::Failed => "Not met",
    }
}

/// A sentence with one full stop at its end.
fn ended(text: &str) -> String {
    format!("{}.", text.trim_end_matches('.'))
}

fn counted(cases: usize) -> String {
    if cases == 1 { "1 case".to_owned() } else { format!("{cases} cases") }
}

fn list<'a>(all: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<&str> = all.collect();
    let shown = all.iter().take(LISTED).copied().collect::<Vec<_>>().join(", ");
    match all.len().saturating_sub(LISTED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

fn duration(us: i64) -> String {
    let minutes = us / 60_000_000;
    if minutes * 60_000_000 == us && minutes > 0 {
        format!("{minutes} min")
    } else {
        format!("{} s", us / 1_000_000)
    }
}

fn time(at: At) -> String {
    jiff::Timestamp::from_microsecond(at).map_or_else(|_| at.to_string(), |time| time.to_string())
}
