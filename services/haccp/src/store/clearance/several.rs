//! The facts of several closures read at once, and from them those of each alone.
//! It never lets a closure have a fact that reading it alone would not have given.

use std::collections::BTreeSet;

use uuid::Uuid;

use super::stations::Stations;
use super::{Asked, Facts};

impl Asked {
    /// All that is asked about by any of these.
    pub fn together(all: &[Asked]) -> Asked {
        let ids = |of: fn(&Asked) -> &Vec<Uuid>| -> Vec<Uuid> {
            all.iter().flat_map(of).copied().collect::<BTreeSet<_>>().into_iter().collect()
        };
        let passing = all.iter().filter(|asked| !asked.passed.is_empty());
        Asked {
            lots: ids(|asked| &asked.lots),
            stays: ids(|asked| &asked.stays),
            passed: ids(|asked| &asked.passed),
            first_passing: passing.map(|asked| asked.first_passing).min().unwrap_or(0),
            ships: all.iter().flat_map(|asked| asked.ships.iter().cloned()).collect(),
        }
    }
}

impl Facts {
    /// Those that are about what is asked here, of facts that were read for more.
    pub fn about(&self, asked: &Asked) -> Facts {
        let lots: BTreeSet<Uuid> = asked.lots.iter().copied().collect();
        let is_own = |lot: &Uuid| lots.contains(lot);
        let is_passed = |place: &Uuid| asked.passed.contains(place);
        let named = some(&self.named, |row| is_own(&row.lot));
        let deviations: BTreeSet<Uuid> = named.iter().map(|row| row.deviation).collect();
        let bindings = some(&self.stations.bindings, |row| asked.stays.contains(&row.place));
        let stations: BTreeSet<Uuid> = bindings.iter().map(|row| row.station).collect();
        Facts {
            bound: some(&self.bound, |row| is_own(&row.lot)),
            readings: some(&self.readings, |row| is_own(&row.lot)),
            judgements: some(&self.judgements, |row| is_own(&row.lot)),
            deviations: some(&self.deviations, |row| {
                deviations.contains(&row.id) || row.place.as_ref().is_some_and(is_passed)
            }),
            named,
            covers: some(&self.covers, |row| is_own(&row.lot)),
            blocks: some(&self.blocks, |row| is_own(&row.lot)),
            in_house: some(&self.in_house, |row| is_own(&row.lot)),
            stations: Stations {
                bindings,
                heard: some(&self.stations.heard, |row| stations.contains(&row.station)),
                looks: some(&self.stations.looks, |row| stations.contains(&row.station)),
            },
            challenges: some(&self.challenges, |row| {
                is_passed(&row.place) && row.at >= asked.first_passing
            }),
            reviews: some(&self.reviews, |row| {
                asked.ships.iter().any(|(lot, closure)| *lot == row.lot && *closure == row.closure)
            }),
        }
    }
}

fn some<T: Clone>(rows: &[T], is_own: impl Fn(&T) -> bool) -> Vec<T> {
    rows.iter().filter(|row| is_own(row)).cloned().collect()
}
