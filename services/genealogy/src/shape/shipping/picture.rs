//! What one reading of the database says of what is to ship, and whether it still stands.
//! It never holds what was read at different moments.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use bigdecimal::BigDecimal;
use uuid::Uuid;

/// How old an answer of haccp may be when the shipment is written, by the monotonic clock.
pub const ANSWER_GOOD_FOR: Duration = Duration::from_secs(60);

/// A pallet that is to ship.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PalletSeen {
    pub id: Uuid,
    pub label: String,
    /// The shipment with which it left, if it did.
    pub left_with: Option<Uuid>,
}

/// A case on one of the pallets, neither shipped nor destroyed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseSeen {
    pub serial: String,
    pub pallet: Uuid,
    pub lot: Uuid,
    pub mass_g: BigDecimal,
    /// Each time that it passed a place: the place and when, in microseconds since 1970.
    pub passings: Vec<(Uuid, i64)>,
}

/// A lot of the closure. Lots refer to each other by their place in the list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LotSeen {
    pub id: Uuid,
    pub code: String,
    pub kind: String,
    /// The safety version.
    pub version: i64,
    /// Its direct ancestors.
    pub inputs: Vec<usize>,
    /// Where it was: the place, from when, and until when (0: it is still there), in microseconds
    /// since 1970.
    pub stays: Vec<(Uuid, i64, i64)>,
    pub made_at_us: i64,
}

/// A lot of which something is to ship.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShipSeen {
    pub lot: Uuid,
    /// SHA-256 over its closure and the versions of it.
    pub digest: Vec<u8>,
}

/// What a standing hold covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// Its lots with all that was or will be made of them.
    Whole,
    /// Only what is left of its lots.
    WhatIsLeft,
    /// These cases.
    Cases(BTreeSet<String>),
    /// What passed a place after an instant, if one is named, and up to another.
    Span { place: Uuid, from: Option<i64>, to: i64 },
}

/// A hold that has not ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HoldSeen {
    pub id: Uuid,
    pub reason: String,
    pub deviation: Option<Uuid>,
    pub held: Held,
    /// Its lots.
    pub lots: BTreeSet<Uuid>,
}

/// A message of another service that could not be carried out, and that nobody has answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedSeen {
    /// The open item that tells of it.
    pub item: Uuid,
    pub reason: String,
    pub lots: BTreeSet<Uuid>,
}

/// All that a shipment is judged by, but for haccp's answer.
#[derive(Clone, Debug, Default)]
pub struct Picture {
    /// In the order of the call.
    pub pallets: Vec<PalletSeen>,
    /// By serial.
    pub cases: Vec<CaseSeen>,
    /// Every lot that is to ship with all its ancestors.
    pub lots: Vec<LotSeen>,
    /// The version of the plant's own row.
    pub plant_version: i64,
    /// What is on hand of the lots that are to ship, in grams.
    pub on_hand: BTreeMap<Uuid, BigDecimal>,
    /// Those that stand on any lot of the closure, and every span at a place where a case passed.
    pub holds: Vec<HoldSeen>,
    /// Lots of which genealogy has owed others a message for over 60 s.
    pub owed: BTreeSet<Uuid>,
    pub refused: Vec<RefusedSeen>,
    /// In the order in which haccp is asked about them.
    pub ships: Vec<ShipSeen>,
}

impl Picture {
    /// The lots of which something is to ship, in the order in which haccp is asked about them.
    pub fn ships(&self) -> Vec<Uuid> {
        self.ships.iter().map(|ship| ship.lot).collect()
    }

    /// A lot with all its ancestors, by their places in the list.
    pub fn closure_of(&self, lot: Uuid) -> BTreeSet<usize> {
        let mut found = BTreeSet::new();
        let mut next: Vec<usize> = self.lots.iter().position(|seen| seen.id == lot).into_iter().collect();
        while let Some(at) = next.pop() {
            if let Some(seen) = self.lots.get(at)
                && found.insert(at)
            {
                next.extend(&seen.inputs);
            }
        }
        found
    }

    /// The cases of a lot.
    pub fn cases_of(&self, lot: Uuid) -> impl Iterator<Item = &CaseSeen> {
        self.cases.iter().filter(move |case| case.lot == lot)
    }

    /// What is to ship of each lot, in grams.
    pub fn masses(&self) -> BTreeMap<Uuid, BigDecimal> {
        let mut masses = BTreeMap::new();
        for case in &self.cases {
            *masses.entry(case.lot).or_insert_with(|| BigDecimal::from(0)) += &case.mass_g;
        }
        masses
    }

    /// The versions of the closure, and of the plant's own row under the nil id.
    pub fn versions(&self) -> BTreeMap<Uuid, i64> {
        let mut versions: BTreeMap<_, _> =
            self.lots.iter().map(|lot| (lot.id, lot.version)).collect();
        versions.insert(Uuid::nil(), self.plant_version);
        versions
    }

    /// Where each case stands and how often it has passed.
    pub fn standing(&self) -> BTreeMap<String, (Uuid, usize)> {
        let standing =
            |case: &CaseSeen| (case.serial.clone(), (case.pallet, case.passings.len()));
        self.cases.iter().map(standing).collect()
    }
}

/// What stands when the shipment is written, all its rows locked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Now {
    pub versions: BTreeMap<Uuid, i64>,
    pub standing: BTreeMap<String, (Uuid, usize)>,
    pub on_hand: BTreeMap<Uuid, BigDecimal>,
}

impl Now {
    /// True when every case is where it was seen and has passed nothing since: what is needed
    /// even of what has left already.
    pub fn has_cases_of(&self, picture: &Picture) -> bool {
        self.standing == picture.standing()
    }

    /// True when a shipment that was clear by the picture may be written now.
    pub fn lets_go(&self, picture: &Picture, answer_age: Duration) -> bool {
        let covers = |(lot, mass): (Uuid, BigDecimal)| {
            self.on_hand.get(&lot).is_some_and(|on_hand| *on_hand >= mass)
        };
        self.has_cases_of(picture)
            && self.versions == picture.versions()
            && answer_age < ANSWER_GOOD_FOR
            && picture.masses().into_iter().all(covers)
    }
}
