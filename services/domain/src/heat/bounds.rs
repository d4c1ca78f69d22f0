//! What hand readings prove of a time: the least and the most that it can have been.
//! It never draws a line between two readings.

use super::in_words;
use super::probes::Probes;
use super::track::{Level, Track};
use crate::exact::Exact;
use crate::verdict::{Judgement, Verdict};

/// How long something took, as far as readings prove it; a bound that lacks a reading is nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// It took at least this, in seconds.
    pub least_s: Option<Exact>,
    /// It took at most this, in seconds.
    pub most_s: Option<Exact>,
}

impl Taken {
    /// A time that is known.
    pub fn known(seconds: Exact) -> Self {
        Self { least_s: Some(seconds.clone()), most_s: Some(seconds) }
    }

    /// PASS when even the most is within the limit, FAIL when even the least is over it.
    pub fn judge(&self, limit_s: &Exact) -> Judgement {
        let verdict = match (&self.least_s, &self.most_s) {
            (_, Some(most)) if most <= limit_s => Verdict::Pass,
            (Some(least), _) if least > limit_s => Verdict::Fail,
            _ => Verdict::Undetermined,
        };
        let bound = |word: &str, seconds: &Option<Exact>| match seconds {
            Some(seconds) => format!("{word} {}", in_words(seconds)),
            None => format!("{word} unknown, a reading is missing"),
        };
        let (least, most) = (bound("at least", &self.least_s), bound("at most", &self.most_s));
        let limit = in_words(limit_s);
        Judgement::because(verdict, format!("by the readings: {least}; {most}; limit {limit}"))
    }
}

/// Two times, in ticks, between which something happened; nothing where no reading says so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Between {
    pub earliest: Option<i128>,
    pub latest: Option<i128>,
}

impl Between {
    /// When the last of several happened: one with no earliest time cannot move it, one with no
    /// latest time leaves it open.
    pub(super) fn last(all: impl Iterator<Item = Self> + Clone) -> Self {
        let open = all.clone().any(|one| one.latest.is_none());
        let latest = all.clone().filter_map(|one| one.latest).max();
        Self {
            earliest: all.filter_map(|one| one.earliest).max(),
            latest: latest.filter(|_| !open),
        }
    }

    /// When the first of several happened: one with no latest time cannot move it, one with no
    /// earliest time leaves it open.
    pub(super) fn first(all: impl Iterator<Item = Self> + Clone) -> Self {
        let open = all.clone().any(|one| one.earliest.is_none());
        let earliest = all.clone().filter_map(|one| one.earliest).min();
        Self {
            earliest: earliest.filter(|_| !open),
            latest: all.filter_map(|one| one.latest).min(),
        }
    }
}

/// The readings of one probe from a time on.
pub(super) fn since(track: &Track, ticks: i128) -> usize {
    track.times.partition_point(|time| *time < ticks)
}

/// Between the first reading on the good side of a level and the reading before it.
pub(super) fn reaching(track: &Track, level: &Level, from: usize) -> Between {
    let values = &track.values[from..];
    let times = &track.times[from..];
    let first = values.iter().position(|value| level.is_reached(*value));
    let before = first.unwrap_or(values.len()).checked_sub(1);
    Between {
        earliest: before.and_then(|at| times.get(at)).copied(),
        latest: first.and_then(|at| times.get(at)).copied(),
    }
}

/// Between the last reading on the bad side of a level and the reading after it.
pub(super) fn settling(track: &Track, level: &Level, from: usize) -> Between {
    let values = &track.values[from..];
    let times = &track.times[from..];
    let last = values.iter().rposition(|value| !level.is_reached(*value));
    let after = last.map_or(0, |at| at + 1);
    Between {
        earliest: last.and_then(|at| times.get(at)).copied(),
        latest: times.get(after).copied(),
    }
}

/// The least and the most time from a start to an end.
pub(super) fn taken(probes: &Probes, start: Between, end: Between) -> Taken {
    let seconds = |ticks: i128| probes.time(&super::fraction::Fraction::whole(ticks));
    let apart = |end: Option<i128>, start: Option<i128>| {
        end.zip(start).map(|(end, start)| (seconds(end) - seconds(start)).max(Exact::zero()))
    };
    Taken { least_s: apart(end.earliest, start.latest), most_s: apart(end.latest, start.earliest) }
}
