//! Several probes in one product, judged by the worst of them at each instant.
//! It never averages probes and never looks beyond the time that all of them cover.

use std::sync::OnceLock;

use super::fraction::Fraction;
use super::sweep::{self, Piece};
use super::track::{Level, Run, Track, decimals_needed, shared};
use crate::curve::Curve;
use crate::exact::Exact;

/// Which probe counts: the one that is worst for what is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worst {
    /// Heating kills least where it is coldest.
    Coldest,
    /// Chilling is slowest where it is warmest.
    Warmest,
}

/// The curves cannot be judged as they stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unusable {
    /// There is no curve.
    NoCurve,
    /// Numbers of such size and fineness in one curve do not fit exact arithmetic.
    TooManyDigits,
}

/// The curves of one product, moved by the probes' tolerance against the product.
///
/// Inside, temperatures are whole ticks of [degF]; for [`Worst::Warmest`] they stand upside down,
/// so that the worst probe is always the lowest.
#[derive(Clone, Debug)]
pub struct Probes {
    pub(super) tracks: Vec<Track>,
    pub(super) worst: Worst,
    pub(super) decimals: u32,
    pub(super) time_decimals: u32,
    /// The worst probe as one line, once it was asked for.
    line: OnceLock<Vec<Piece>>,
}

/// An unbroken stretch of time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// First instant, in seconds on the curves' clock.
    pub from_s: Exact,
    /// Last instant, in seconds on the curves' clock.
    pub to_s: Exact,
}

impl Stretch {
    /// Its length in seconds.
    pub fn length_s(&self) -> Exact {
        &self.to_s - &self.from_s
    }
}

/// The first time at which the worst probe stands furthest from harm or closest to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Extreme {
    /// In seconds on the curves' clock.
    pub at_s: Exact,
    /// In [degF].
    pub value_f: Exact,
}

impl Probes {
    /// The curves, each reading moved by `tolerance_f` (a difference in [degF], not negative): down
    /// where the coldest counts, up where the warmest does.
    /// Errors: no curve; numbers that do not fit exact arithmetic.
    pub fn new(curves: &[Curve], worst: Worst, tolerance_f: &Exact) -> Result<Self, Unusable> {
        if curves.is_empty() {
            return Err(Unusable::NoCurve);
        }
        let samples = || curves.iter().flat_map(|c| c.samples().iter().map(|s| (c.unit(), s)));
        let time_decimals = samples().map(|(_, s)| s.t_s.scale()).max().unwrap_or(0);
        let needed = samples().map(|(unit, s)| decimals_needed(s.value, unit)).max().unwrap_or(0);
        let (decimals, offset) = (needed..=needed.max(30))
            .find_map(|decimals| match tolerance_f.floor_at(decimals) {
                Some((ticks, true)) => Some((decimals, ticks)),
                _ => None,
            })
            .ok_or(Unusable::TooManyDigits)?;
        let offset = if worst == Worst::Coldest { -offset } else { offset };
        let tracks = curves.iter().map(|curve| {
            let mut track = Track::new(curve, time_decimals, decimals)?;
            track.prepare(offset, worst == Worst::Warmest, decimals)?;
            Some(track)
        });
        let tracks = tracks.collect::<Option<Vec<_>>>().ok_or(Unusable::TooManyDigits)?;
        Ok(Self { tracks, worst, decimals, time_decimals, line: OnceLock::new() })
    }

    /// Which probe counts.
    pub fn worst(&self) -> Worst {
        self.worst
    }

    /// The time that every curve covers; nothing when they share less than an instant more.
    pub fn span(&self) -> Option<Stretch> {
        let (start, end) = self.span_ticks()?;
        Some(Stretch { from_s: self.time(&start), to_s: self.time(&end) })
    }

    /// The first time of any curve, in seconds.
    pub fn first_s(&self) -> Exact {
        let first = self.tracks.iter().map(Track::start).min().unwrap_or(0);
        self.time(&Fraction::whole(first))
    }

    /// The last time of any curve, in seconds.
    pub fn last_s(&self) -> Exact {
        let last = self.tracks.iter().map(Track::end).max().unwrap_or(0);
        self.time(&Fraction::whole(last))
    }

    /// The span in ticks: samples bound it, so both ends are whole.
    pub(super) fn whole_span(&self) -> Option<(i128, i128)> {
        let start = self.tracks.iter().map(Track::start).max()?;
        let end = self.tracks.iter().map(Track::end).min()?;
        (start < end).then_some((start, end))
    }

    pub(super) fn span_ticks(&self) -> Option<(Fraction, Fraction)> {
        self.whole_span().map(|(start, end)| (Fraction::whole(start), Fraction::whole(end)))
    }

    /// The worst probe as straight pieces in order of time, for numerical integration.
    pub(super) fn line(&self) -> &[Piece] {
        self.line.get_or_init(|| sweep::pieces(self))
    }

    /// A level in [degF] as this set of probes searches it.
    pub(super) fn level(&self, value_f: &Exact) -> Level {
        match self.worst {
            Worst::Coldest => Level::new(value_f, self.decimals),
            Worst::Warmest => Level::new(&-value_f.clone(), self.decimals),
        }
    }

    /// Ticks of time in seconds.
    pub(super) fn time(&self, ticks: &Fraction) -> Exact {
        ticks.exact() / self.ticks(self.time_decimals)
    }

    fn ticks(&self, decimals: u32) -> Exact {
        // Decimals of a curve stay below 39, so the power fits and is not 0.
        Exact::ratio_wide(10i128.saturating_pow(decimals), 1).unwrap_or_else(Exact::one)
    }

    /// Ticks of temperature in [degF], the right way up.
    fn fahrenheit(&self, ticks: &Exact) -> Exact {
        let value = ticks / &self.ticks(self.decimals);
        if self.worst == Worst::Warmest { -value } else { value }
    }

    pub(super) fn stretch(&self, run: &Run) -> Stretch {
        Stretch { from_s: self.time(&run.from), to_s: self.time(&run.to) }
    }

    /// Every stretch, from `since` on, in which all probes are at the level or on its good side.
    pub(super) fn good_runs(&self, level: &Level, since: &Fraction) -> Vec<Run> {
        let Some((start, end)) = self.span_ticks() else { return Vec::new() };
        let mut runs = vec![Run { from: start.max(since.clone()), to: end }];
        for track in &self.tracks {
            if runs.is_empty() {
                break;
            }
            runs = shared(&track.runs(level), &runs);
        }
        runs
    }

    /// The first instant within the span at which any probe is at the level or on its good side.
    pub(super) fn first_of_any(&self, level: &Level) -> Option<Fraction> {
        let (from, to) = self.span_ticks()?;
        let span = [Run { from, to }];
        let firsts = self.tracks.iter().filter_map(|track| {
            shared(&track.runs(level), &span).into_iter().next().map(|run| run.from)
        });
        firsts.min()
    }

    /// The worst reading of all at an instant of the span, in [degF].
    pub(super) fn worst_at(&self, time: &Fraction) -> Exact {
        let lowest = self.tracks.iter().map(|track| track.value_at(time)).min();
        self.fahrenheit(&lowest.unwrap_or_else(Exact::zero))
    }

    /// The most harmless reading of all at an instant of the span, in [degF].
    pub(super) fn best_at(&self, time: &Fraction) -> Exact {
        let highest = self.tracks.iter().map(|track| track.value_at(time)).max();
        self.fahrenheit(&highest.unwrap_or_else(Exact::zero))
    }

    /// When the worst probe is first furthest on the bad side within the span: for chilling, the
    /// first highest reading.
    pub(super) fn worst_moment(&self) -> Option<Fraction> {
        let (start, end) = self.whole_span()?;
        let of_track = |track: &Track| {
            let from = track.times.partition_point(|time| *time < start);
            let to = track.times.partition_point(|time| *time <= end);
            let value = track.values.get(from..to)?.iter().min()?;
            let at = track.values[from..to].iter().position(|other| other == value)?;
            Some((*value, track.times[from + at]))
        };
        let (value, time) = self.tracks.iter().filter_map(of_track).min()?;
        let mut found = (Fraction::whole(value).exact(), time);
        // A track that begins before the span may be worst just where the span begins or ends.
        for edge in [start, end] {
            let at = Fraction::whole(edge);
            let lowest = self.tracks.iter().map(|track| track.value_at(&at)).min()?;
            found = found.min((lowest, edge));
        }
        Some(Fraction::whole(found.1))
    }

    /// A float time in ticks: the whole tick that it stands for, if it stands for one.
    fn tick_of(&self, seconds: f64) -> Option<Fraction> {
        let scale = 10i128.saturating_pow(self.time_decimals) as f64;
        let tick = (seconds * scale).round();
        let seconds =
            Exact::from_float(if tick / scale == seconds { tick } else { seconds * scale });
        seconds.map(Fraction::big)
    }

    /// The first highest value of the worst probe within the span.
    pub fn peak(&self) -> Option<Extreme> {
        let mut pieces = self.line().iter();
        let first = pieces.next()?;
        let best = pieces.fold(first, |best, piece| match piece.from_f > best.from_f {
            true => piece,
            false => best,
        });
        let last = self.line().last()?;
        let at_s = if last.to_f > best.from_f { last.to_s } else { best.from_s };
        let (start, end) = self.span_ticks()?;
        let at = self.tick_of(at_s)?.max(start).min(end);
        Some(Extreme { at_s: self.time(&at), value_f: self.worst_at(&at) })
    }
}
