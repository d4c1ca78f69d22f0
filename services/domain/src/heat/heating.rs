//! The clock of the come-up: how long the product spent warming through the zone of growth.
//! It never stops for a fall in between.

use super::bounds::{self, Taken};
use super::probes::Probes;
use super::{Between, in_words};
use crate::exact::Exact;
use crate::verdict::{Judgement, Verdict};

/// What is asked of the come-up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeatingLimit {
    /// The clock starts when the warmest probe reaches it, in [degF].
    pub from_f: Exact,
    /// The clock stops when the coldest probe reaches it, in [degF], above `from_f`.
    pub to_f: Exact,
    /// The most it may take, in seconds.
    pub limit_s: Exact,
    /// How the time between readings is understood.
    pub between: Between,
}

/// How long the come-up took.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeatingResult {
    /// The time, as far as it is known; one number under [`Between::Linear`].
    pub taken: Option<Taken>,
    /// Against the limit.
    pub judgement: Judgement,
}

/// Judges the come-up of probes of which the coldest counts.
pub fn judge(probes: &Probes, limit: &HeatingLimit) -> HeatingResult {
    match limit.between {
        Between::Linear => linear(probes, limit),
        Between::Bounds => by_readings(probes, limit),
    }
}

fn linear(probes: &Probes, limit: &HeatingLimit) -> HeatingResult {
    let unknown = |verdict, reason: String| HeatingResult {
        taken: None,
        judgement: Judgement::because(verdict, reason),
    };
    let Some((begin, end)) = probes.span_ticks() else {
        return unknown(Verdict::Undetermined, "the probes share no time".to_owned());
    };
    let Some(started) = probes.first_of_any(&probes.level(&limit.from_f)) else {
        let reason = format!("the product never reaches {} [degF]", limit.from_f);
        return unknown(Verdict::Undetermined, reason);
    };
    let starts_above = probes.best_at(&begin) > limit.from_f;
    let reached = probes.good_runs(&probes.level(&limit.to_f), &begin).into_iter().next();
    let stopped = reached.as_ref().map(|run| run.from.clone());
    let shown_s = probes.time(&stopped.clone().unwrap_or(end)) - probes.time(&started);
    if stopped.is_some() && !starts_above {
        let judgement = Judgement::because(
            Verdict::met(shown_s <= limit.limit_s),
            format!("{} of at most {}", in_words(&shown_s), in_words(&limit.limit_s)),
        );
        return HeatingResult { taken: Some(Taken::known(shown_s)), judgement };
    }
    let missing = if starts_above {
        format!("the curve starts above {} [degF]", limit.from_f)
    } else {
        format!("the curve ends before {} [degF] is reached", limit.to_f)
    };
    if shown_s > limit.limit_s {
        let (shown, most) = (in_words(&shown_s), in_words(&limit.limit_s));
        return unknown(Verdict::Fail, format!("{missing}, and shows {shown} of at most {most}"));
    }
    unknown(Verdict::Undetermined, missing)
}

fn by_readings(probes: &Probes, limit: &HeatingLimit) -> HeatingResult {
    let (from, to) = (probes.level(&limit.from_f), probes.level(&limit.to_f));
    let reaching = |level| probes.tracks.iter().map(move |track| bounds::reaching(track, level, 0));
    let start = bounds::Between::first(reaching(&from));
    let end = bounds::Between::last(reaching(&to));
    let taken = bounds::taken(probes, start, end);
    HeatingResult { judgement: taken.judge(&limit.limit_s), taken: Some(taken) }
}
