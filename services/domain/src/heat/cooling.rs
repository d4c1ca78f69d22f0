//! Chilling after the cook against the options that a plant may adopt.
//! It never lets a reheat stop a clock and never lets a prediction of growth change a verdict.

use super::bounds::{self, Taken};
use super::fraction::Fraction;
use super::probes::{Probes, Stretch};
use super::track::Run;
use super::{Between, in_words};
use crate::exact::Exact;
use crate::rules::{Row, Rule};
use crate::verdict::{Judgement, Verdict};

/// The options in the order of the published list.
pub const OPTIONS: [&str; 3] = ["us.chill.option-1", "us.chill.option-2", "us.chill.option-3"];
/// The editions of the list.
pub const EDITIONS: [&str; 2] = ["1999", "2021"];

/// What is known of the product that was chilled; what is not recorded was not added.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ChilledProduct {
    /// Not stated is not cured.
    pub cured: bool,
    /// Ingoing nitrite on the raw meat, in ppm.
    pub ingoing_nitrite_ppm: Option<Exact>,
    /// Erythorbate or ascorbate, in ppm.
    pub erythorbate_ppm: Option<Exact>,
}

/// A chill as it was watched.
#[derive(Clone, Debug)]
pub struct Chill<'a> {
    /// Probes of which the warmest counts.
    pub probes: &'a Probes,
    /// The product.
    pub product: &'a ChilledProduct,
    /// End of the cook, in seconds on the curve's clock.
    pub cook_ended_s: Exact,
    /// Begin of chilling, in seconds on the curve's clock.
    pub chill_started_s: Option<Exact>,
    /// How the time between readings is understood.
    pub between: Between,
}

/// One limb of an option: from one temperature down to another within a time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LimbResult {
    /// The clock starts at or below it, in [degF].
    pub from_f: Exact,
    /// The clock stops when the product stays at or below it, in [degF].
    pub to_f: Exact,
    /// The most it may take, in seconds.
    pub limit_s: Exact,
    /// The time, as far as it is known; one number under [`Between::Linear`].
    pub taken: Option<Taken>,
    /// How long its clock has run where the curve ends above `to_f`: at least that it will take.
    pub running_s: Option<Exact>,
    /// From when to when its clock ran, where the curve shows both.
    pub timed: Option<Stretch>,
    /// Against the limit.
    pub judgement: Judgement,
}

/// One option.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OptionResult {
    /// Its rule.
    pub rule: &'static Rule,
    /// False when its gate is shut for the product.
    pub applies: bool,
    /// Its limbs, judged whether it applies or not.
    pub limbs: Vec<LimbResult>,
    /// Gate, begin of chilling and limbs together.
    pub judgement: Judgement,
}

/// Judges a chill by every option of an edition, in the published order.
pub fn judge(chill: &Chill<'_>, edition: &str) -> Vec<OptionResult> {
    let rules = OPTIONS.iter().filter_map(|id| Rule::edition(id, edition));
    let highest = chill.probes.worst_moment().map(|at| (chill.probes.worst_at(&at), at));
    rules.map(|rule| option(chill, highest.as_ref(), rule)).collect()
}

/// The best of the options that apply.
pub fn overall(options: &[OptionResult]) -> Judgement {
    let applying = || options.iter().filter(|option| option.applies);
    let best = [Verdict::Pass, Verdict::Undetermined]
        .into_iter()
        .find(|verdict| applying().any(|option| option.judgement.verdict == *verdict))
        .unwrap_or(Verdict::Fail);
    let ids: Vec<&str> =
        applying().filter(|o| o.judgement.verdict == best).map(|o| o.rule.id).collect();
    let reason = match best {
        Verdict::Pass => format!("met: {}", ids.join(", ")),
        Verdict::Undetermined => format!("not yet known: {}", ids.join(", ")),
        Verdict::Fail => "no option that applies is met".to_owned(),
    };
    Judgement::because(best, reason)
}

/// The first highest temperature, in [degF], and when it was; nothing when no time is shared.
type Highest<'a> = Option<&'a (Exact, Fraction)>;

fn option(chill: &Chill<'_>, highest: Highest<'_>, rule: &'static Rule) -> OptionResult {
    let limbs = rule.rows.iter().filter_map(|row| limb(chill, highest, row));
    let limbs: Vec<LimbResult> = limbs.collect();
    let against = gate(rule, chill.product);
    if !against.is_empty() {
        let judgement = Judgement { verdict: Verdict::Fail, reasons: against };
        return OptionResult { rule, applies: false, limbs, judgement };
    }
    let start = chill_start(chill, rule);
    let parts = limbs.iter().map(|limb| limb.judgement.verdict);
    let verdict = Verdict::of_all(parts.chain(start.iter().map(|start| start.verdict)));
    let mut reasons: Vec<String> = start.into_iter().flat_map(|start| start.reasons).collect();
    for limb in &limbs {
        let (from, to, found) = (&limb.from_f, &limb.to_f, limb.judgement.verdict);
        let why = limb.judgement.reasons.join("; ");
        reasons.push(format!("{from} to {to} [degF]: {found}, {why}"));
    }
    OptionResult { rule, applies: true, limbs, judgement: Judgement { verdict, reasons } }
}

/// Why the option's gate is shut; empty when it is open.
fn gate(rule: &Rule, product: &ChilledProduct) -> Vec<String> {
    let mut reasons = Vec::new();
    if rule.scope.cured == Some(true) && !product.cured {
        reasons.push(format!("{} is for cured product; no cure is stated", rule.id));
    }
    let gates = [
        ("nitrite_min_ppm", "ingoing nitrite", &product.ingoing_nitrite_ppm),
        ("erythorbate_min_ppm", "erythorbate", &product.erythorbate_ppm),
    ];
    for (number, agent, recorded) in gates {
        let Some(least) = rule.number(number) else { continue };
        let ppm = recorded.clone().unwrap_or_else(Exact::zero);
        if ppm < least {
            let record = if recorded.is_some() { "recorded" } else { "with none recorded" };
            reasons.push(format!("asks {least} ppm {agent}; {ppm} ppm {record}"));
        }
    }
    reasons
}

/// The time between the end of the cook and the begin of chilling, where the option limits it.
fn chill_start(chill: &Chill<'_>, rule: &Rule) -> Option<Judgement> {
    let limit_s = rule.number("chill_start_limit_s")?;
    let Some(started_s) = &chill.chill_started_s else {
        let reason = "the begin of chilling is not recorded";
        return Some(Judgement::because(Verdict::Undetermined, reason));
    };
    let waited_s = started_s - &chill.cook_ended_s;
    let (waited, most) = (in_words(&waited_s), in_words(&limit_s));
    let reason = format!("chilling began {waited} after the cook, of at most {most}");
    Some(Judgement::because(Verdict::met(waited_s <= limit_s), reason))
}

fn limb(chill: &Chill<'_>, highest: Highest<'_>, row: &Row) -> Option<LimbResult> {
    let from_f = row.number("from_f")?;
    let to_f = row.number("to_f")?;
    let limit_s = row.number("limit_s")?;
    let Timed { timed, taken, running_s, judgement } = match chill.between {
        Between::Linear => linear(chill.probes, highest, (&from_f, &to_f), &limit_s),
        Between::Bounds => by_readings(chill.probes, (&from_f, &to_f), &limit_s),
    };
    Some(LimbResult { from_f, to_f, limit_s, taken, running_s, timed, judgement })
}

/// When a limb's clock ran, how long it took as far as is known, and what follows.
struct Timed {
    timed: Option<Stretch>,
    taken: Option<Taken>,
    running_s: Option<Exact>,
    judgement: Judgement,
}

impl Timed {
    /// No time is known, or how long it has run.
    fn open(running_s: Option<Exact>, verdict: Verdict, reason: String) -> Self {
        let judgement = Judgement::because(verdict, reason);
        Self { timed: None, taken: None, running_s, judgement }
    }
}

fn linear(
    probes: &Probes,
    highest: Highest<'_>,
    (from_f, to_f): (&Exact, &Exact),
    limit_s: &Exact,
) -> Timed {
    let undetermined = |reason| Timed::open(None, Verdict::Undetermined, reason);
    let (Some((highest_f, highest)), Some((_, end))) = (highest, probes.span_ticks()) else {
        return undetermined("the probes share no time".to_owned());
    };
    if highest_f < from_f {
        return undetermined(format!("the curve starts below {from_f} [degF]"));
    }
    let started = probes.good_runs(&probes.level(from_f), highest).into_iter().next();
    let settled = settled_since(probes, to_f, highest, &end);
    match (started.map(|run| run.from), settled) {
        (Some(start), Some(stop)) => {
            let timed = Stretch { from_s: probes.time(&start), to_s: probes.time(&stop) };
            let taken_s = timed.length_s();
            let reason = format!("{} of at most {}", in_words(&taken_s), in_words(limit_s));
            let judgement = Judgement::because(Verdict::met(taken_s <= *limit_s), reason);
            let taken = Some(Taken::known(taken_s));
            Timed { timed: Some(timed), taken, running_s: None, judgement }
        }
        (None, _) => undetermined(format!("the curve ends above {from_f} [degF]")),
        (Some(start), None) => {
            let shown_s = probes.time(&end) - probes.time(&start);
            let missing = format!("the curve ends above {to_f} [degF]");
            if shown_s <= *limit_s {
                return Timed::open(Some(shown_s), Verdict::Undetermined, missing);
            }
            let (shown, most) = (in_words(&shown_s), in_words(limit_s));
            let reason = format!("{missing}, {shown} of at most {most} are over");
            Timed::open(Some(shown_s), Verdict::Fail, reason)
        }
    }
}

/// The instant from which every probe stays at or below a temperature to the end.
fn settled_since(
    probes: &Probes,
    to_f: &Exact,
    highest: &Fraction,
    end: &Fraction,
) -> Option<Fraction> {
    let last: Option<Run> = probes.good_runs(&probes.level(to_f), highest).pop();
    last.filter(|run| run.to == *end).map(|run| run.from)
}

fn by_readings(probes: &Probes, (from_f, to_f): (&Exact, &Exact), limit_s: &Exact) -> Timed {
    // The first highest reading of any probe; readings are upside down where the warmest counts.
    let readings = || probes.tracks.iter().flat_map(|t| t.values.iter().zip(&t.times));
    let highest = readings().min().map_or(0, |(_, time)| *time);
    let (from, to) = (probes.level(from_f), probes.level(to_f));
    let tracks = || probes.tracks.iter().map(|track| (track, bounds::since(track, highest)));
    let start = bounds::Between::last(tracks().map(|(t, since)| bounds::reaching(t, &from, since)));
    let end = bounds::Between::last(tracks().map(|(t, since)| bounds::settling(t, &to, since)));
    let taken = bounds::taken(probes, start, end);
    let judgement = taken.judge(limit_s);
    Timed { timed: None, taken: Some(taken), running_s: None, judgement }
}
