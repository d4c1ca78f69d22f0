//! Stations that watched a place where a lot was and have not been heard since.
//! It never takes a station for heard that still had something to send.

use std::collections::HashMap;

use domain::haccp::gate::question::{At, Lot};
use uuid::Uuid;
use wire::internal::v1::Stay;

use super::Closure;
use crate::store::clearance::stations::{Binding, Stations};

/// A time over which a station watched a place.
struct Watch<'s> {
    station: Uuid,
    name: &'s str,
    from: At,
    to: At,
}

/// Adds to each lot the names of the stations that were silent.
pub fn add(lots: &mut [Lot], closure: &Closure, stations: &Stations, now: At) {
    let watches = watches(&stations.bindings, now);
    for (lot, of) in lots.iter_mut().zip(&closure.lots) {
        for stay in &of.said.stays {
            let Some(watched) = stay.place.parse().ok().and_then(|id: Uuid| watches.get(&id))
            else {
                continue;
            };
            let silent = watched.iter().filter(|watch| is_silent(watch, stay, stations, now));
            lot.silent.extend(silent.map(|watch| watch.name.to_owned()));
        }
        lot.silent.sort_unstable();
        lot.silent.dedup();
    }
}

/// From each binding to the next word about the same station and place.
fn watches(bindings: &[Binding], now: At) -> HashMap<Uuid, Vec<Watch<'_>>> {
    let mut watches: HashMap<Uuid, Vec<Watch<'_>>> = HashMap::new();
    for (at, binding) in bindings.iter().enumerate().filter(|(_, binding)| binding.is_bound) {
        let is_same =
            |next: &&Binding| next.station == binding.station && next.place == binding.place;
        let to = bindings[at + 1..].iter().find(is_same).map_or(now, |next| next.at);
        let (station, name) = (binding.station, binding.station_name.as_str());
        let watch = Watch { station, name, from: binding.at, to };
        watches.entry(binding.place).or_default().push(watch);
    }
    watches
}

/// Whether a station was not heard with nothing left to send since the lot left; while the lot is
/// still there, since it came, and nothing else was heard of it later. A signed look covers a time.
fn is_silent(watch: &Watch<'_>, stay: &Stay, stations: &Stations, now: At) -> bool {
    let is_there = stay.to_us == 0;
    let left = if is_there { now } else { stay.to_us };
    let (from, to) = (stay.from_us.max(watch.from), left.min(watch.to));
    if from > to {
        return false;
    }
    let heard = |is_empty: bool| {
        let of = stations.heard.iter().filter(|heard| heard.station == watch.station);
        of.filter(|heard| (heard.queued == 0) == is_empty).map(|heard| heard.at).max()
    };
    let is_still = is_there && watch.to >= now;
    let since = if is_still { from } else { to };
    let is_heard = heard(true).is_some_and(|at| {
        at >= since && (!is_still || heard(false).is_none_or(|queued| queued <= at))
    });
    let is_looked_at = stations.looks.iter().any(|look| {
        let covers = look.from_us <= from && look.to_us >= since;
        let is_last = !is_still || heard(false).is_none_or(|queued| queued <= look.to_us);
        look.station == watch.station && covers && is_last
    });
    !(is_heard || is_looked_at)
}
