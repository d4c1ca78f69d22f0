//! What one reading of the database says of what is to ship, and whether it still stands.
//! It never holds what was read at different moments.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use bigdecimal::BigDecimal;
use jiff::Timestamp;
use uuid::Uuid;
use wire::internal::v1 as internal;

use crate::shape::closure::{Closure, MadeOf, OpenCase};
use crate::shape::holds::Span;

/// How old an answer of others may be when the shipment is written, by the monotonic clock.
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
    /// The revision of its label as scanned at packing; empty where it was not.
    pub label_revision: String,
    /// When its label was put on, by the plant's clock.
    pub packed_at: Timestamp,
    /// Each time that it passed a place, in the order of time; the first at packing.
    pub passings: Vec<(Uuid, Timestamp)>,
}

/// Cases of one lot under one label.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Labelled {
    pub lot: Uuid,
    pub revision: String,
    /// When the first and the last of them was packed.
    pub within: (Timestamp, Timestamp),
    pub serials: BTreeSet<String>,
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
    /// What passed a place in a span of time.
    Span(Span),
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

/// All that a shipment is judged by, but for the answers of haccp and formulas.
#[derive(Clone, Debug)]
pub struct Picture {
    /// In the order of the call.
    pub pallets: Vec<PalletSeen>,
    /// By serial.
    pub cases: Vec<CaseSeen>,
    /// The lots of which something is to ship, in the order in which haccp is asked about them.
    pub ships: Vec<Uuid>,
    /// Those lots with all their ancestors, and the plant's own version.
    pub closure: Closure,
    /// What went into each of those lots.
    pub made_of: MadeOf,
    /// What is on hand of the lots that are to ship, in grams.
    pub on_hand: BTreeMap<Uuid, BigDecimal>,
    /// Those that stand on any lot of the closure, and every span at a place where a case passed.
    pub holds: Vec<HoldSeen>,
    /// Lots of which genealogy has owed others a message for over 60 s.
    pub owed: BTreeSet<Uuid>,
    pub refused: Vec<RefusedSeen>,
}

impl Picture {
    /// The code of a lot of the closure.
    pub fn code_of(&self, lot: Uuid) -> String {
        let at = self.closure.index(lot);
        at.map_or_else(|| lot.to_string(), |at| self.closure.lots[at].code.clone())
    }

    /// The lots that ship, each with its own closure by place in the list, in id order.
    pub fn closures(&self) -> Vec<(Uuid, Vec<usize>)> {
        let own = |lot: &Uuid| self.closure.index(*lot).map(|at| (*lot, self.closure.own(at)));
        self.ships.iter().filter_map(own).collect()
    }

    /// What haccp is asked: the closure, and what ships of it.
    pub fn question(&self) -> internal::ClearRequest {
        let open = |case: &CaseSeen| OpenCase {
            serial: case.serial.clone(),
            lot: case.lot,
            pallet: Some(case.pallet),
            passings: case.passings.clone(),
        };
        let cases = self.cases.iter().map(open).collect();
        internal::ClearRequest {
            lots: self.closure.lots_out(),
            ships: self.closure.ships_out(&self.ships, cases),
        }
    }

    /// The cases by lot and label, as formulas is asked about them.
    pub fn labelled(&self) -> Vec<Labelled> {
        let mut found: BTreeMap<(Uuid, &str), Labelled> = BTreeMap::new();
        for case in &self.cases {
            let at = case.packed_at;
            let labelled =
                found.entry((case.lot, &case.label_revision)).or_insert_with(|| Labelled {
                    lot: case.lot,
                    revision: case.label_revision.clone(),
                    within: (at, at),
                    serials: BTreeSet::new(),
                });
            labelled.within = (labelled.within.0.min(at), labelled.within.1.max(at));
            labelled.serials.insert(case.serial.clone());
        }
        found.into_values().collect()
    }

    /// What formulas is asked: whether the labels of the cases cover what their lots hold.
    pub fn label_question(&self) -> internal::LabelCoverRequest {
        let asked = |one: Labelled| {
            let at = self.closure.index(one.lot)?;
            Some(internal::LabelledLot {
                lot: at as u32,
                product: self.closure.lots[at].material.clone(),
                revision: one.revision,
                from_us: one.within.0.as_microsecond(),
                to_us: one.within.1.as_microsecond(),
                ..Default::default()
            })
        };
        internal::LabelCoverRequest {
            lots: self.closure.origins_out(&self.made_of),
            labelled: self.labelled().into_iter().filter_map(asked).collect(),
            at_us: 0,
        }
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
        let lots = self.closure.lots.iter().map(|lot| (lot.id, lot.version));
        lots.chain([(Uuid::nil(), self.closure.plant_version)]).collect()
    }

    /// Where each case stands and how often it has passed.
    pub fn standing(&self) -> BTreeMap<String, (Uuid, usize)> {
        let standing = |case: &CaseSeen| (case.serial.clone(), (case.pallet, case.passings.len()));
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
