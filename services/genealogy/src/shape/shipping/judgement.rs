//! What stands in the way of a shipment: holds, what genealogy itself owes, what others say.
//! It never lets go what it was not told of: no answer, or a strange one, concerns everything.

use std::collections::BTreeSet;

use jiff::Timestamp;
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1::RefusalReason;

use super::picture::{CaseSeen, Held, HoldSeen, PalletSeen, Picture, RefusedSeen};
use super::{cases_said, serials_said};

/// Something in the way.
#[derive(Clone, Debug, PartialEq)]
pub struct Obstacle {
    /// The lots in whose way it stands.
    pub lots: BTreeSet<Uuid>,
    /// The cases that it concerns; empty: all of those lots.
    pub cases: BTreeSet<String>,
    pub reason: RefusalReason,
}

impl Obstacle {
    fn concerns(&self, case: &CaseSeen) -> bool {
        let is_named = self.cases.is_empty() || self.cases.contains(&case.serial);
        self.lots.contains(&case.lot) && is_named
    }
}

/// What the others said, asked at once: haccp of what is proved, formulas of labels.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    pub clear: Told,
    pub cover: Told,
}

/// What one of them said.
#[derive(Clone, Debug, PartialEq)]
pub enum Told {
    /// It answered under this id.
    Answer { id: Uuid, obstacles: Vec<Obstacle> },
    /// It did not answer, or not in a way that can be read.
    Away,
    /// Nothing stands on the pallets, which alone refuses them.
    NotAsked,
}

impl Told {
    /// Reads haccp's answer to the picture's question.
    pub fn of(picture: &Picture, answer: internal::ClearResponse) -> Self {
        let Ok(id) = answer.answer.parse() else { return Self::Away };
        let obstacles = answer.obstacles.into_iter().map(|told| passed_on(picture, told));
        Self::Answer { id, obstacles: obstacles.collect() }
    }

    /// Reads the answer of formulas to the picture's question about labels; one that leaves out a
    /// lot is none.
    pub fn of_cover(picture: &Picture, answer: internal::LabelCoverResponse) -> Self {
        let Ok(id) = answer.answer.parse() else { return Self::Away };
        let labelled = picture.labelled();
        if labelled.len() != answer.lots.len() {
            return Self::Away;
        }
        let told = labelled.into_iter().zip(answer.lots);
        let obstacles = told.flat_map(|(labelled, cover)| {
            let is_all = labelled.serials.len() == picture.cases_of(labelled.lot).count();
            let cases = if is_all { BTreeSet::new() } else { labelled.serials };
            let lots = BTreeSet::from([labelled.lot]);
            let obstacle =
                move |reason| Obstacle { lots: lots.clone(), cases: cases.clone(), reason };
            cover.reasons.into_iter().map(obstacle)
        });
        Self::Answer { id, obstacles: obstacles.collect() }
    }

    /// The id of the answer.
    pub fn id(&self) -> Option<Uuid> {
        if let Self::Answer { id, .. } = self { Some(*id) } else { None }
    }
}

/// An obstacle as haccp told it. One that names no lot, no case or nothing of ours stands in the
/// way of everything.
fn passed_on(picture: &Picture, told: internal::Obstacle) -> Obstacle {
    let ships = &picture.ships;
    let reason = told.reason.unwrap_or_else(|| RefusalReason {
        code: "NOT_CLEAR".into(),
        subject: "shipment".into(),
        message: "haccp refuses it without a reason.".into(),
        who: "QA".into(),
        way_on: "Ask for the clearance of each lot: GET /v1/lots/LOT/clearance".into(),
    });
    let known = |at: &u32| ships.get(*at as usize).copied();
    let lots: BTreeSet<_> = told.ships.iter().filter_map(known).collect();
    let obstacle = Obstacle { lots, cases: told.cases.into_iter().collect(), reason };
    if told.ships.iter().all(|at| known(at).is_some())
        && picture.cases.iter().any(|case| obstacle.concerns(case))
    {
        return obstacle;
    }
    Obstacle { lots: ships.iter().copied().collect(), cases: BTreeSet::new(), ..obstacle }
}

/// All that stands in the way, genealogy's own first.
pub fn obstacles(picture: &Picture, said: &Said) -> Vec<Obstacle> {
    let mut found = held(picture);
    found.extend(owed(picture));
    found.extend(refused(picture));
    found.extend(short(picture));
    let asked = [
        (&said.clear, (AWAY[0], "haccp", "nothing is proved")),
        (&said.cover, (AWAY[1], "formulas", "no label is looked at")),
    ];
    for (told, silent) in asked {
        match told {
            Told::Answer { obstacles, .. } => found.extend(obstacles.iter().cloned()),
            Told::Away => found.push(away(picture, silent)),
            Told::NotAsked => {}
        }
    }
    found
}

/// That haccp or formulas cannot be asked: nothing leaves unproved.
pub const AWAY: [&str; 2] = ["HACCP_AWAY", "FORMULAS_AWAY"];

fn away(picture: &Picture, (code, service, so): (&str, &str, &str)) -> Obstacle {
    let reason = RefusalReason {
        code: code.into(),
        subject: format!("service:{service}"),
        message: format!("{service} does not answer, so {so}."),
        who: "operator of the servers".into(),
        way_on: format!(
            "Send the same call again when {service} answers; GET /readyz says how it stands."
        ),
    };
    whole(picture.ships.iter().copied().collect(), reason)
}

fn whole(lots: BTreeSet<Uuid>, reason: RefusalReason) -> Obstacle {
    Obstacle { lots, cases: BTreeSet::new(), reason }
}

/// The holds that stand in the way: a whole one on any lot of a closure, one on what is left on
/// the lot that ships, one on cases or a span on those cases alone.
pub fn held(picture: &Picture) -> Vec<Obstacle> {
    let closures = picture.closures();
    let mut found = Vec::new();
    for hold in &picture.holds {
        match &hold.held {
            Held::Whole => found.extend(held_whole(picture, hold, &closures)),
            Held::WhatIsLeft => {
                let lots = picture.ships.iter().filter(|lot| hold.lots.contains(lot));
                found.extend(lots.map(|lot| on_lot(picture, hold, *lot, BTreeSet::from([*lot]))));
            }
            Held::Cases(_) | Held::Span { .. } => found.extend(held_cases(picture, hold)),
        }
    }
    found
}

fn held_whole(
    picture: &Picture,
    hold: &HoldSeen,
    closures: &[(Uuid, Vec<usize>)],
) -> Vec<Obstacle> {
    let on = |lot: &Uuid| {
        let ships = below(picture, closures, &BTreeSet::from([*lot]));
        (!ships.is_empty()).then(|| on_lot(picture, hold, *lot, ships))
    };
    hold.lots.iter().filter_map(on).collect()
}

fn held_cases(picture: &Picture, hold: &HoldSeen) -> Vec<Obstacle> {
    let mut found = Vec::new();
    for lot in picture.ships.iter().copied() {
        let cases = picture.cases_of(lot).filter(|case| covers(hold, case));
        let serials: BTreeSet<_> = cases.map(|case| case.serial.clone()).collect();
        if serials.is_empty() {
            continue;
        }
        let said: Vec<_> = serials.iter().cloned().collect();
        let message = format!(
            "{} of lot {} on hold: {} ({})",
            cases_said(said.len()),
            picture.code_of(lot),
            hold.reason,
            serials_said(&said)
        );
        let reason = hold_reason(hold, lot, message);
        found.push(Obstacle { lots: BTreeSet::from([lot]), cases: serials, reason });
    }
    found
}

/// Whether a hold on cases or a span covers a case. A deviation's span covers whatever passed; a
/// person's only what passed of the lots that it names.
fn covers(hold: &HoldSeen, case: &CaseSeen) -> bool {
    match &hold.held {
        Held::Cases(serials) => serials.contains(&case.serial),
        Held::Span(span) => {
            let is_in = |(place, at): &(Uuid, Timestamp)| {
                *place == span.place && span.from.is_none_or(|from| *at > from) && *at <= span.to
            };
            let is_meant = hold.deviation.is_some() || hold.lots.contains(&case.lot);
            is_meant && case.passings.iter().any(is_in)
        }
        Held::Whole | Held::WhatIsLeft => hold.lots.contains(&case.lot),
    }
}

fn on_lot(picture: &Picture, hold: &HoldSeen, lot: Uuid, ships: BTreeSet<Uuid>) -> Obstacle {
    let code = picture.code_of(lot);
    let message = if ships.contains(&lot) {
        format!("Lot {code} is on hold: {}", hold.reason)
    } else {
        let below: Vec<_> = ships.iter().map(|ship| picture.code_of(*ship)).collect();
        format!("Lot {code}, of which {} came, is on hold: {}", below.join(", "), hold.reason)
    };
    whole(ships, hold_reason(hold, lot, message))
}

fn hold_reason(hold: &HoldSeen, lot: Uuid, message: String) -> RefusalReason {
    let way_on = match hold.deviation {
        Some(deviation) => format!(
            "Close the deviation with a disposition that frees the product: POST \
             /v1/deviations/{deviation}/close"
        ),
        None => format!("End the hold, signed: POST /v1/holds/{}/end", hold.id),
    };
    RefusalReason {
        code: "ON_HOLD".into(),
        subject: format!("lot:{lot}"),
        message,
        who: "QA".into(),
        way_on,
    }
}

/// The lots that ship and have one of these in their closure.
fn below(
    picture: &Picture,
    closures: &[(Uuid, Vec<usize>)],
    lots: &BTreeSet<Uuid>,
) -> BTreeSet<Uuid> {
    let places: Vec<_> = lots.iter().filter_map(|lot| picture.closure.index(*lot)).collect();
    let has = |own: &Vec<usize>| places.iter().any(|at| own.binary_search(at).is_ok());
    closures.iter().filter(|(_, own)| has(own)).map(|(ship, _)| *ship).collect()
}

fn owed(picture: &Picture) -> Vec<Obstacle> {
    let closures = picture.closures();
    let about = |lot: &Uuid| {
        let ships = below(picture, &closures, &BTreeSet::from([*lot]));
        let reason = RefusalReason {
            code: "MESSAGE_OWED".into(),
            subject: format!("lot:{lot}"),
            message: format!(
                "A message about lot {} was not delivered for over 60 s.",
                picture.code_of(*lot)
            ),
            who: "operator of the servers".into(),
            way_on: "It is sent again by itself once its receiver answers; GET /readyz says how \
                     the services stand."
                .into(),
        };
        (!ships.is_empty()).then(|| whole(ships, reason))
    };
    picture.owed.iter().filter_map(about).collect()
}

fn refused(picture: &Picture) -> Vec<Obstacle> {
    let closures = picture.closures();
    let about = |refused: &RefusedSeen| {
        let ships = below(picture, &closures, &refused.lots);
        let codes: Vec<_> = refused.lots.iter().map(|lot| picture.code_of(*lot)).collect();
        let lot = refused.lots.first().copied().unwrap_or_default();
        let reason = RefusalReason {
            code: "MESSAGE_REFUSED".into(),
            subject: format!("lot:{lot}"),
            message: format!(
                "A message about lot {} could not be carried out: {}",
                codes.join(", "),
                refused.reason
            ),
            who: "QA".into(),
            way_on: format!(
                "Look what it asked for, do it by hand, and answer the open item: POST \
                 /v1/lot-items/{}/answer",
                refused.item
            ),
        };
        (!ships.is_empty()).then(|| whole(ships, reason))
    };
    picture.refused.iter().filter_map(about).collect()
}

fn short(picture: &Picture) -> Vec<Obstacle> {
    let about = |(lot, mass): (Uuid, bigdecimal::BigDecimal)| {
        let on_hand = picture.on_hand.get(&lot).cloned().unwrap_or_default();
        let reason = RefusalReason {
            code: "MORE_THAN_ON_HAND".into(),
            subject: format!("lot:{lot}"),
            message: format!(
                "The cases of lot {} weigh {} g; {} g of it are on hand.",
                picture.code_of(lot),
                mass.to_plain_string(),
                on_hand.to_plain_string()
            ),
            who: "supervisor".into(),
            way_on: format!(
                "Look what used more of it: GET /v1/lots/{lot}/trace?direction=forward"
            ),
        };
        (on_hand < mass).then(|| whole(BTreeSet::from([lot]), reason))
    };
    picture.masses().into_iter().filter_map(about).collect()
}

/// What makes a pallet no shipment at all, whatever its product.
pub fn not_to_ship(picture: &Picture) -> Vec<(Uuid, RefusalReason)> {
    let reason = |pallet: &PalletSeen| {
        let has_cases = picture.cases.iter().any(|case| case.pallet == pallet.id);
        let (code, message, way_on) = match pallet.left_with {
            Some(shipment) => (
                "PALLET_SHIPPED",
                format!("Pallet {} has left with another shipment.", pallet.label),
                format!("Look at it: GET /v1/shipments/{shipment}"),
            ),
            None if !has_cases => (
                "PALLET_EMPTY",
                format!("No case stands on pallet {}.", pallet.label),
                format!("Put cases on it: POST /v1/pallets/{}/changes", pallet.id),
            ),
            None => return None,
        };
        let subject = format!("pallet:{}", pallet.id);
        let code = code.to_owned();
        Some((pallet.id, RefusalReason { code, subject, message, who: "dock".into(), way_on }))
    };
    picture.pallets.iter().filter_map(reason).collect()
}

/// What is said of one pallet.
#[derive(Clone, Debug, PartialEq)]
pub struct PalletSaid {
    pub reasons: Vec<RefusalReason>,
    /// Serials that could leave if the others were taken off.
    pub clear_cases: Vec<String>,
}

/// Judges each pallet by itself, in the order of the call.
pub fn by_pallet(picture: &Picture, obstacles: &[Obstacle]) -> Vec<PalletSaid> {
    let none = not_to_ship(picture);
    let said = |pallet: &PalletSeen| {
        let own = none.iter().filter(|(of, _)| *of == pallet.id).map(|(_, reason)| reason.clone());
        let cases: Vec<_> = picture.cases.iter().filter(|case| case.pallet == pallet.id).collect();
        let mut reasons: Vec<_> = own.collect();
        reasons.extend(obstacles.iter().filter_map(|obstacle| said_of(pallet, &cases, obstacle)));
        let is_clear = |case: &&&CaseSeen| !obstacles.iter().any(|o| o.concerns(case));
        let clear = cases.iter().filter(is_clear).map(|case| case.serial.clone()).collect();
        PalletSaid { reasons, clear_cases: clear }
    };
    picture.pallets.iter().map(said).collect()
}

/// Every reason why these pallets may not leave together; empty: they may.
pub fn reasons(picture: &Picture, obstacles: &[Obstacle]) -> Vec<RefusalReason> {
    let mut found: Vec<_> = not_to_ship(picture).into_iter().map(|(_, reason)| reason).collect();
    for obstacle in obstacles {
        let mut reason = obstacle.reason.clone();
        for pallet in &picture.pallets {
            let cases: Vec<_> =
                picture.cases.iter().filter(|case| case.pallet == pallet.id).collect();
            add_way_on(&mut reason, pallet, &cases, obstacle);
        }
        found.push(reason);
    }
    found
}

fn said_of(pallet: &PalletSeen, cases: &[&CaseSeen], obstacle: &Obstacle) -> Option<RefusalReason> {
    let is_concerned = cases.iter().any(|case| obstacle.concerns(case));
    is_concerned.then(|| {
        let mut reason = obstacle.reason.clone();
        add_way_on(&mut reason, pallet, cases, obstacle);
        reason
    })
}

/// Where only some of a pallet's cases are concerned, it may leave without them.
fn add_way_on(
    reason: &mut RefusalReason,
    pallet: &PalletSeen,
    cases: &[&CaseSeen],
    obstacle: &Obstacle,
) {
    let concerned = cases.iter().filter(|case| obstacle.concerns(case));
    let serials: Vec<_> = concerned.map(|case| case.serial.clone()).collect();
    if serials.is_empty() || serials.len() == cases.len() {
        return;
    }
    let way_on = format!(
        "; or take {} off pallet {} and ship the other {}: POST /v1/pallets/{}/changes takenOff {}",
        cases_said(serials.len()),
        pallet.label,
        cases.len() - serials.len(),
        pallet.id,
        serials_said(&serials)
    );
    reason.way_on.push_str(&way_on);
}

#[cfg(test)]
mod tests;
