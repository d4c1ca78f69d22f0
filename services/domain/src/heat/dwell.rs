//! Tables of minimum times: a row is met by one unbroken stay at or above its temperature.
//! It never adds stays together and never reads between rows.

use super::fraction::Fraction;
use super::in_words;
use super::probes::{Probes, Stretch};
use super::product::{CookedProduct, not_stated, reasons_against};
use super::track::Run;
use crate::exact::Exact;
use crate::rules::{Row, Rule};
use crate::verdict::{Judgement, Verdict};

/// The published tables of lethality by their identifiers.
pub const TABLES: [&str; 5] = [
    "us.cook.meat-6.5-log",
    "us.cook.meat-7-log",
    "us.cook.poultry-7-log.chicken-12-fat",
    "us.cook.poultry-point",
    "us.cook.patty",
];

/// One row of a table against a cook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowResult {
    /// In [degF].
    pub temperature_f: Exact,
    /// What the row asks, in seconds.
    pub required_s: Exact,
    /// The longest unbroken stay; nothing when the temperature was never reached.
    pub longest: Option<Stretch>,
    /// True when the stay is long enough; a row of 0 s asks only that it is reached.
    pub met: bool,
}

/// A cook against a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableResult {
    /// False when the table may not be used for the product.
    pub applies: bool,
    /// Every row, in the order of the table; empty when it does not apply.
    pub rows: Vec<RowResult>,
    /// The hottest row met, by its place in `rows`.
    pub met_row: Option<usize>,
    /// PASS when one row is met.
    pub judgement: Judgement,
    /// What a person should know.
    pub cautions: Vec<String>,
}

/// Judges the coldest probe by a table; heat after the oven counts as long as the curve runs.
pub fn judge(probes: &Probes, rule: &Rule, product: &CookedProduct) -> TableResult {
    let against = reasons_against(rule, product);
    if !against.is_empty() {
        return TableResult {
            applies: false,
            rows: Vec::new(),
            met_row: None,
            judgement: Judgement { verdict: Verdict::Fail, reasons: against },
            cautions: Vec::new(),
        };
    }
    let cured = if product.cured { "true" } else { "false" };
    let of_product = |row: &&Row| row.word("cured").is_none_or(|word| word == cured);
    let rows: Vec<RowResult> =
        rule.rows.iter().filter(of_product).filter_map(|row| row_result(probes, row)).collect();
    let met = rows.iter().enumerate().filter(|(_, row)| row.met);
    let met_row = met.max_by(|a, b| a.1.temperature_f.cmp(&b.1.temperature_f)).map(|(at, _)| at);
    let judgement = judgement(probes, rule, &rows, met_row);
    let mut cautions = not_stated(rule, product);
    cautions.extend(met_row.and_then(|at| low_row_caution(rule, &rows[at])));
    TableResult { applies: true, rows, met_row, judgement, cautions }
}

fn row_result(probes: &Probes, row: &Row) -> Option<RowResult> {
    let temperature_f = row.number("temperature_f")?;
    let required_s = row.number("dwell_s")?;
    let longest = longest_stay(probes, &temperature_f);
    let met = longest.as_ref().is_some_and(|stay| stay.length_s() >= required_s);
    Some(RowResult { temperature_f, required_s, longest, met })
}

/// The longest unbroken time of the coldest probe at or above a temperature in [degF], the first of
/// equals; nothing when it was never reached. A touch has length 0.
pub fn longest_stay(probes: &Probes, temperature_f: &Exact) -> Option<Stretch> {
    let (start, _) = probes.span_ticks()?;
    let mut longest: Option<(Fraction, Run)> = None;
    for run in probes.good_runs(&probes.level(temperature_f), &start) {
        let length = run.to.minus(&run.from);
        if longest.as_ref().is_none_or(|(best, _)| length > *best) {
            longest = Some((length, run));
        }
    }
    longest.map(|(_, run)| probes.stretch(&run))
}

/// When the coldest probe is first at or above a temperature in [degF], in seconds on the curves'
/// clock.
pub fn first_reached_s(probes: &Probes, temperature_f: &Exact) -> Option<Exact> {
    first_held_s(probes, temperature_f, &Exact::zero())
}

/// When the coldest probe has first been at or above a temperature in [degF] for `required_s`
/// without a break, in seconds on the curves' clock.
pub fn first_held_s(probes: &Probes, temperature_f: &Exact, required_s: &Exact) -> Option<Exact> {
    let (start, _) = probes.span_ticks()?;
    let runs = probes.good_runs(&probes.level(temperature_f), &start);
    let mut stays = runs.iter().map(|run| probes.stretch(run));
    stays.find(|stay| stay.length_s() >= *required_s).map(|stay| &stay.from_s + required_s)
}

fn judgement(
    probes: &Probes,
    rule: &Rule,
    rows: &[RowResult],
    met_row: Option<usize>,
) -> Judgement {
    if let Some(row) = met_row.and_then(|at| rows.get(at)) {
        let held = row.longest.as_ref().map(Stretch::length_s).unwrap_or_else(Exact::zero);
        return Judgement::because(
            Verdict::Pass,
            format!(
                "held {} at or above {} [degF]; the row asks {} s",
                in_words(&held),
                row.temperature_f,
                row.required_s
            ),
        );
    }
    let last = rows.last().map(|row| &row.temperature_f);
    let is_partial = rule.word("partial") == Some("true");
    if let Some(last) = last.filter(|last| is_partial && goes_above(probes, last)) {
        return Judgement::because(
            Verdict::Undetermined,
            format!("no row is met, and rows above {last} [degF] are not held although they exist"),
        );
    }
    Judgement::because(Verdict::Fail, "no row of the table is met by one unbroken stay")
}

/// True when the coldest probe is at some instant above a temperature in [degF], not only at it.
fn goes_above(probes: &Probes, temperature_f: &Exact) -> bool {
    probes.peak().is_some_and(|peak| peak.value_f > *temperature_f)
}

/// Listeria outlived the table's times at 54.4 Cel in roast beef (Schoeni et al. 1991), so a pass
/// by the lowest rows alone is shown with that.
fn low_row_caution(rule: &Rule, row: &RowResult) -> Option<String> {
    let lowest_trusted_f = Exact::whole(135);
    (rule.rows.len() > 1 && row.temperature_f <= lowest_trusted_f).then(|| {
        format!(
            "{}: only rows up to {} [degF] are met; at about 130 [degF] the times of the table did \
             not hold for Listeria in one study (Schoeni et al. 1991).",
            rule.id, row.temperature_f
        )
    })
}
