//! The humid part of a cook, as the lethality tables ask for it.
//! It never reads a wet bulb as humidity and never fills time without readings.

use super::in_words;
use super::probes::Stretch;
use crate::exact::Exact;
use crate::rules::Rule;
use crate::verdict::{Judgement, Verdict};

/// The rule by its identifier.
pub const RULE: &str = "us.cook.humidity-90";

/// A humidity reading: seconds on the curve's clock, relative humidity in percent.
pub type Reading = (Exact, Exact);

/// How long the air was humid.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HumidityResult {
    /// What the rule asks of this cook, in seconds.
    pub required_s: Exact,
    /// Time at or above the limit, in seconds.
    pub held_s: Exact,
    /// PASS when it is long enough; UNDETERMINED when time without readings might make it so.
    pub judgement: Judgement,
}

/// Sums the time at or above the rule's humidity within `cook`, linear between readings in rising
/// time. Nothing when the rule lacks a number.
pub fn judge(rule: &Rule, readings: &[Reading], cook: &Stretch) -> Option<HumidityResult> {
    let level = rule.number("humidity_pct")?;
    let share = rule.number("share_of_cook")?;
    let least_s = rule.number("least_s")?;
    let required_s = (share * cook.length_s()).max(least_s);
    let mut held_s = Exact::zero();
    let mut read_s = Exact::zero();
    for pair in readings.windows(2) {
        let (read, held) = within(&pair[0], &pair[1], &level, cook);
        read_s = read_s + read;
        held_s = held_s + held;
    }
    let unread_s = cook.length_s() - read_s;
    let verdict = if held_s >= required_s {
        Verdict::Pass
    } else if &held_s + &unread_s >= required_s {
        Verdict::Undetermined
    } else {
        Verdict::Fail
    };
    let mut reasons = vec![format!(
        "{} at or above {level} % relative humidity, {} asked",
        in_words(&held_s),
        in_words(&required_s)
    )];
    if unread_s.is_positive() {
        reasons.push(format!("no humidity reading for {} of the cook", in_words(&unread_s)));
    }
    Some(HumidityResult { required_s, held_s, judgement: Judgement { verdict, reasons } })
}

/// The time of one segment within the cook, and the part of it at or above the level.
fn within(from: &Reading, to: &Reading, level: &Exact, cook: &Stretch) -> (Exact, Exact) {
    let start = from.0.clone().max(cook.from_s.clone());
    let end = to.0.clone().min(cook.to_s.clone());
    if end <= start {
        return (Exact::zero(), Exact::zero());
    }
    let length = &end - &start;
    match (from.1 >= *level, to.1 >= *level) {
        (true, true) => (length.clone(), length),
        (false, false) => (length, Exact::zero()),
        (from_above, _) => {
            let part = (level - &from.1) / (&to.1 - &from.1);
            let crossing = &from.0 + &((&to.0 - &from.0) * part);
            let held =
                if from_above { crossing.min(end) - start } else { end - crossing.max(start) };
            (length, held.max(Exact::zero()))
        }
    }
}
