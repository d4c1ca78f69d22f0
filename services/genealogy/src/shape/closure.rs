//! A closure: lots with all their ancestors by every path, and what a clearance asks of them.
//! It never asks the database and never leaves out an ancestor.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::Arc;

use bigdecimal::BigDecimal;
use jiff::Timestamp;
use sha2::{Digest as _, Sha256};
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1;

use crate::store::holds::HoldRow;

/// Lots with all their ancestors, as one statement read them.
#[derive(Clone, Debug)]
pub struct Closure {
    /// In id order.
    pub lots: Vec<ClosedLot>,
    /// The version of the plant's own row, which every ship reads and locks.
    pub plant_version: i64,
    /// Holds that stand on any of the lots by name, with the lot; read after the versions, so one
    /// that was placed in between is either seen here or has raised a version since.
    pub holds: Vec<(Uuid, HoldRow)>,
}

/// A lot of a closure.
#[derive(Clone, Debug)]
pub struct ClosedLot {
    pub id: Uuid,
    pub code: String,
    pub kind: String,
    pub material: String,
    /// The safety version that was read.
    pub version: i64,
    /// When it was made, by the plant's clock.
    pub made_at: Timestamp,
    /// Its direct ancestors by their place in the list; lots of one making share them.
    pub inputs: Arc<[u32]>,
    /// Where it was and when.
    pub stays: Vec<Stay>,
}

/// What went into lots of a closure, by place in its list, in grams; lots of one making share it.
pub type MadeOf = HashMap<Uuid, Arc<[(u32, BigDecimal)]>>;

/// A time at a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stay {
    pub place: Uuid,
    pub from: Timestamp,
    /// None: it is still there.
    pub to: Option<Timestamp>,
}

/// A case that has neither left nor been destroyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OpenCase {
    pub serial: String,
    pub lot: Uuid,
    /// The pallet on which it stands.
    pub pallet: Option<Uuid>,
    /// Place and time of each passing, in the order of time; the first is its packing.
    pub passings: Vec<(Uuid, Timestamp)>,
}

impl Closure {
    /// The place of a lot in the list.
    pub fn index(&self, lot: Uuid) -> Option<usize> {
        self.lots.binary_search_by_key(&lot, |closed| closed.id).ok()
    }

    /// One lot with its own ancestors, as places in the list, in id order.
    pub fn own(&self, lot: usize) -> Vec<usize> {
        let mut seen = vec![false; self.lots.len()];
        let mut next = vec![lot];
        while let Some(at) = next.pop() {
            if !std::mem::replace(&mut seen[at], true) {
                next.extend(self.lots[at].inputs.iter().map(|input| *input as usize));
            }
        }
        seen.iter().enumerate().filter(|(_, is_in)| **is_in).map(|(at, _)| at).collect()
    }

    /// The closure of one of its lots alone, without stays.
    pub fn only(&self, lot: usize) -> Self {
        let own = self.own(lot);
        // Ancestors of its lots are its own.
        let place = |at: &u32| own.binary_search(&(*at as usize)).ok().map(|at| at as u32);
        let mut lots: Vec<ClosedLot> = Vec::with_capacity(own.len());
        for of in own.iter().map(|at| &self.lots[*at]) {
            let inputs = of.inputs.iter().filter_map(place).collect();
            lots.push(ClosedLot { inputs, stays: Vec::new(), ..of.clone() });
        }
        let mut only = Self { lots, plant_version: self.plant_version, holds: Vec::new() };
        let holds = self.holds.iter().filter(|(held, _)| only.index(*held).is_some());
        only.holds = holds.cloned().collect();
        only
    }

    /// SHA-256 over the lines `LOT:VERSION` of a lot's own closure: it changes with either.
    pub fn digest(&self, lot: usize) -> [u8; 32] {
        let mut hash = Sha256::new();
        let mut line = String::new();
        for at in self.own(lot) {
            let ClosedLot { id, version, .. } = &self.lots[at];
            line.clear();
            // Writing to a text never fails.
            writeln!(line, "{id}:{version}").ok();
            hash.update(line.as_bytes());
        }
        hash.finalize().into()
    }

    /// The lots as a clearance asks for them.
    pub fn lots_out(&self) -> Vec<internal::ClosureLot> {
        self.lots.iter().map(ClosedLot::out).collect()
    }

    /// The lots with what went into them, as labels and rework are judged by it.
    pub fn origins_out(&self, made_of: &MadeOf) -> Vec<internal::OriginLot> {
        let uses = |lot: &ClosedLot| made_of.get(&lot.id).map_or(&[][..], |uses| uses);
        let origin = |lot: &ClosedLot| internal::OriginLot {
            lot: lot.id.to_string(),
            code: lot.code.clone(),
            kind: lot.kind.clone(),
            material: lot.material.clone(),
            made_at_us: lot.made_at.as_microsecond(),
            uses: uses(lot).iter().map(|(at, mass_g)| use_out(*at, mass_g)).collect(),
        };
        self.lots.iter().map(origin).collect()
    }

    /// What is to ship, with the cases of each lot; a lot that the closure lacks is left out.
    pub fn ships_out(&self, lots: &[Uuid], cases: Vec<OpenCase>) -> Vec<internal::ShippingLot> {
        let mut by_lot: HashMap<Uuid, Vec<internal::ShippingCase>> = HashMap::new();
        for case in cases {
            by_lot.entry(case.lot).or_default().push(case.out());
        }
        let ships = lots.iter().filter_map(|lot| self.index(*lot).map(|at| (lot, at)));
        let out = ships.map(|(lot, at)| internal::ShippingLot {
            lot: at as u32,
            closure: self.digest(at).to_vec().into(),
            cases: by_lot.remove(lot).unwrap_or_default(),
        });
        out.collect()
    }

    /// The closure of its only ship as a message.
    pub fn out(&self, lot: Uuid) -> Option<v1::Closure> {
        let digest = self.digest(self.index(lot)?);
        let entry = |closed: &ClosedLot| v1::ClosureEntry {
            lot: closed.id.to_string(),
            code: closed.code.clone(),
            kind: closed.kind.clone(),
            material: closed.material.clone(),
            version: i32::try_from(closed.version).unwrap_or(i32::MAX),
        };
        Some(v1::Closure {
            lot: lot.to_string(),
            digest: digest.iter().map(|byte| format!("{byte:02x}")).collect(),
            lots: self.lots.iter().map(entry).collect(),
        })
    }
}

impl ClosedLot {
    fn out(&self) -> internal::ClosureLot {
        let stay = |stay: &Stay| internal::Stay {
            place: stay.place.to_string(),
            from_us: stay.from.as_microsecond(),
            to_us: stay.to.map_or(0, |to| to.as_microsecond()),
        };
        internal::ClosureLot {
            lot: self.id.to_string(),
            code: self.code.clone(),
            kind: self.kind.clone(),
            version: self.version,
            inputs: self.inputs.to_vec(),
            stays: self.stays.iter().map(stay).collect(),
            made_at_us: self.made_at.as_microsecond(),
        }
    }
}

impl OpenCase {
    fn out(self) -> internal::ShippingCase {
        let passings = self.passings.into_iter().map(|(place, at)| internal::Passing {
            place: place.to_string(),
            at_us: at.as_microsecond(),
        });
        internal::ShippingCase { serial: self.serial, passings: passings.collect() }
    }
}

/// A use of the lot at a place in the list.
pub fn use_out(lot: u32, mass_g: &BigDecimal) -> internal::OriginUse {
    internal::OriginUse { lot, mass_g: Some(mass_g.to_plain_string()) }
}

/// The stays that begin at these instants, until `end`. What began later is left out: the part
/// that counts had gone by then. A lot that was used before it came, by clocks that disagree, was
/// still there once.
pub fn stays(mut moves: Vec<(Timestamp, Uuid)>, end: Option<Timestamp>) -> Vec<Stay> {
    moves.sort_unstable();
    let mut stays: Vec<Stay> = Vec::with_capacity(moves.len());
    for (from, place) in moves {
        if let Some(last) = stays.last_mut() {
            if end.is_some_and(|end| from > end) {
                break;
            }
            last.to = Some(from);
        }
        stays.push(Stay { place, from, to: None });
    }
    if let Some(last) = stays.last_mut() {
        last.to = end.map(|end| end.max(last.from));
    }
    stays
}

#[cfg(test)]
mod tests;
