//! Control charts of means and ranges, or of single values, with the signals that ask for a look.
//! It never calls a process good: a chart without a signal only says that nothing stands out.

use crate::exact::Exact;
use crate::fault::Faults;

/// The fewest and the most values in a subgroup.
const SUBGROUP_SIZES: std::ops::RangeInclusive<usize> = 2..=25;

/// The constants of one size of subgroup, as decimal text (computed for the normal distribution;
/// they agree with the three decimals of ASTM E2587 and the NIST e-Handbook, section 6.3.2).
struct Constants {
    /// Mean range over sigma.
    d2: &'static str,
    /// A2: limits of the mean chart, in mean ranges.
    mean_limit: &'static str,
    /// D3: lower limit of the range chart, in mean ranges.
    range_lower: &'static str,
    /// D4: upper limit of the range chart, in mean ranges.
    range_upper: &'static str,
    /// E2: limits of single values, in mean ranges.
    individual_limit: &'static str,
}

include!(concat!(env!("OUT_DIR"), "/spc.rs"));

/// The values of a chart, of a shape that can be charted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Points {
    means: Vec<Exact>,
    ranges: Vec<Exact>,
    /// The point to which the first range belongs.
    first_range_at: usize,
    size: usize,
}

impl Points {
    /// Subgroups of one size, 2 to 25. Faults name `[i]`, or nothing for the whole.
    pub fn of_subgroups(subgroups: &[Vec<Exact>]) -> Result<Self, Faults> {
        let mut faults = Faults::new();
        let size = subgroups.first().map_or(0, Vec::len);
        if subgroups.is_empty() {
            faults.add("", "must hold at least one subgroup");
        } else if !SUBGROUP_SIZES.contains(&size) {
            faults.add_value("[0]", size, "must hold 2 to 25 values");
        }
        for (at, subgroup) in subgroups.iter().enumerate().filter(|(_, s)| s.len() != size) {
            let asked = format!("must hold as many values as the first subgroup ({size})");
            faults.add_value(format!("[{at}]"), subgroup.len(), asked);
        }
        let means = subgroups.iter().map(|subgroup| mean(subgroup)).collect::<Option<_>>();
        let ranges = subgroups.iter().map(|subgroup| range(subgroup)).collect::<Option<_>>();
        let points = means.zip(ranges);
        faults.into_result(points.map(|(means, ranges)| Self {
            means,
            ranges,
            first_range_at: 0,
            size,
        }))
    }

    /// Single values, at least two, with the moving range of two. Faults name nothing.
    pub fn of_individuals(values: Vec<Exact>) -> Result<Self, Faults> {
        let mut faults = Faults::new();
        if values.len() < 2 {
            faults.add("", "must hold at least two values");
        }
        let ranges = values.windows(2).map(|pair| (&pair[1] - &pair[0]).abs()).collect();
        faults.into_result(Some(Self { means: values, ranges, first_range_at: 1, size: 2 }))
    }

    fn is_individual(&self) -> bool {
        self.first_range_at == 1
    }
}

fn mean(values: &[Exact]) -> Option<Exact> {
    values.iter().sum::<Exact>().checked_div(&Exact::whole(i64::try_from(values.len()).ok()?))
}

fn range(values: &[Exact]) -> Option<Exact> {
    values.iter().max().zip(values.iter().min()).map(|(most, least)| most - least)
}

/// A rule for signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RunRule {
    /// A point outside its limits; always on, on both charts.
    BeyondLimits,
    /// Eight means in a row on one side of the centre.
    EightOneSide,
    /// Six means in a row, each above, or each below, the one before.
    SixTrend,
    /// Two of three means in a row beyond two thirds of the way to one limit.
    TwoOfThreeBeyondTwoSigma,
}

impl RunRule {
    /// Every rule, in the order in which signals are listed.
    pub const ALL: [RunRule; 4] =
        [Self::BeyondLimits, Self::EightOneSide, Self::SixTrend, Self::TwoOfThreeBeyondTwoSigma];

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::BeyondLimits => "beyond_limits",
            Self::EightOneSide => "eight_one_side",
            Self::SixTrend => "six_trend",
            Self::TwoOfThreeBeyondTwoSigma => "two_of_three_beyond_2s",
        }
    }

    /// The rule of a word.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.word() == word)
    }

    /// Every word, for a message that says what is allowed.
    pub fn words() -> String {
        Self::ALL.map(Self::word).join(" ")
    }
}

/// Which of the two charts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chart {
    /// Of means, or of single values.
    Mean,
    /// Of ranges.
    Range,
}

impl Chart {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mean => "mean",
            Self::Range => "range",
        }
    }
}

/// A pattern that asks for a look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signal {
    /// The rule that it breaks.
    pub rule: RunRule,
    /// Where it shows.
    pub chart: Chart,
    /// The point that completes it, from 0. A moving range belongs to the later of its two values.
    pub at: usize,
}

/// A centre line with its limits, three standard errors away.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The centre line.
    pub centre: Exact,
    /// The lower limit.
    pub lower: Exact,
    /// The upper limit.
    pub upper: Exact,
}

/// What is asked of single values; a side may be open.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Specification {
    /// The least value allowed.
    pub lower: Option<Exact>,
    /// The greatest value allowed.
    pub upper: Option<Exact>,
}

/// How the spread fits between the limits asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Capability {
    /// (upper - lower) / 6 sigma; nothing with an open side.
    pub cp: Option<Exact>,
    /// The distance from the centre to the nearer limit / 3 sigma.
    pub cpk: Exact,
}

/// A chart, all numbers exact for exact values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ControlChart {
    /// Of means, or of single values.
    pub mean: Limits,
    /// Of ranges.
    pub range: Limits,
    /// Mean range over d2.
    pub sigma: Exact,
    /// Nothing without a limit asked for, or when sigma is 0.
    pub capability: Option<Capability>,
    /// By rule, then chart, then point.
    pub signals: Vec<Signal>,
}

/// Charts the points: mean +- A2 (single values: E2) x mean range, D3 to D4 x mean range, sigma =
/// mean range / d2 (NIST e-Handbook, sections 6.3.2.1 and 6.3.2.2).
/// Nothing when the points are of no charted size, which [`Points`] rules out.
pub fn chart(
    points: &Points,
    run_rules: &[RunRule],
    specification: &Specification,
) -> Option<ControlChart> {
    let constants = CONSTANTS.get(points.size.checked_sub(2)?)?;
    let constant = |text: &str| text.parse::<Exact>().ok();
    let centre = mean(&points.means)?;
    let mean_range = mean(&points.ranges)?;
    let single = points.is_individual();
    let factor = if single { constants.individual_limit } else { constants.mean_limit };
    let reach = constant(factor)? * &mean_range;
    let mean = Limits { lower: &centre - &reach, upper: &centre + &reach, centre: centre.clone() };
    let range = Limits {
        lower: constant(constants.range_lower)? * &mean_range,
        upper: constant(constants.range_upper)? * &mean_range,
        centre: mean_range.clone(),
    };
    let sigma = mean_range.checked_div(&constant(constants.d2)?)?;
    let mut signals = beyond_limits(points, &mean, &range);
    let wanted = RunRule::ALL.into_iter().filter(|rule| run_rules.contains(rule));
    signals.extend(wanted.flat_map(|rule| runs(rule, &points.means, &mean)));
    Some(ControlChart {
        capability: capability(&centre, &sigma, specification),
        mean,
        range,
        sigma,
        signals,
    })
}

fn capability(centre: &Exact, sigma: &Exact, asked: &Specification) -> Option<Capability> {
    let reach = sigma * &Exact::whole(3);
    let above = asked.upper.as_ref().map(|upper| upper - centre);
    let below = asked.lower.as_ref().map(|lower| centre - lower);
    let nearer = above.iter().chain(below.iter()).min()?.clone();
    let both = above.zip(below).map(|(above, below)| above + below);
    let cp = both.and_then(|width| width.checked_div(&(&reach * &Exact::whole(2))));
    Some(Capability { cp, cpk: nearer.checked_div(&reach)? })
}

fn beyond_limits(points: &Points, mean: &Limits, range: &Limits) -> Vec<Signal> {
    let of = |values: &[Exact], limits: &Limits, chart, first: usize| {
        let out =
            values.iter().enumerate().filter(|(_, v)| **v < limits.lower || **v > limits.upper);
        let signal = |(at, _)| Signal { rule: RunRule::BeyondLimits, chart, at: at + first };
        out.map(signal).collect::<Vec<_>>()
    };
    let mut signals = of(&points.means, mean, Chart::Mean, 0);
    signals.extend(of(&points.ranges, range, Chart::Range, points.first_range_at));
    signals
}

/// The points of the mean chart at which a pattern is first complete, on either side; while the
/// next points only continue it, nothing is added.
fn runs(rule: RunRule, means: &[Exact], limits: &Limits) -> Vec<Signal> {
    let warn = (&limits.upper - &limits.centre) * Exact::whole(2) / Exact::whole(3);
    let (low, high) = (&limits.centre - &warn, &limits.centre + &warn);
    // Each mark says of every point whether it belongs to the pattern, upwards and downwards.
    let marks = |up: &dyn Fn(usize) -> bool, down: &dyn Fn(usize) -> bool| {
        [(0..means.len()).map(up).collect(), (0..means.len()).map(down).collect()]
    };
    let (sides, fewest): ([Vec<bool>; 2], usize) = match rule {
        RunRule::BeyondLimits => return Vec::new(),
        RunRule::EightOneSide => {
            (marks(&|i| means[i] > limits.centre, &|i| means[i] < limits.centre), 8)
        }
        // Six points are five steps.
        RunRule::SixTrend => {
            let up = |i: usize| i > 0 && means[i] > means[i - 1];
            let down = |i: usize| i > 0 && means[i] < means[i - 1];
            (marks(&up, &down), 5)
        }
        RunRule::TwoOfThreeBeyondTwoSigma => (marks(&|i| means[i] > high, &|i| means[i] < low), 2),
    };
    let complete = |marks: &[bool], at: usize| match rule {
        RunRule::TwoOfThreeBeyondTwoSigma => {
            marks[at] && marks[at.saturating_sub(2)..at].contains(&true)
        }
        _ => at + 1 >= fewest && marks[at + 1 - fewest..=at].iter().all(|mark| *mark),
    };
    let first =
        |at: usize| sides.iter().any(|s| complete(s, at) && !(at > 0 && complete(s, at - 1)));
    let found = (0..means.len()).filter(|at| first(*at));
    found.map(|at| Signal { rule, chart: Chart::Mean, at }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn values(texts: &[&str]) -> Vec<Exact> {
        texts.iter().map(|text| text.parse().expect("a decimal")).collect()
    }

    fn individuals(texts: &[&str], rules: &[RunRule]) -> ControlChart {
        let points = Points::of_individuals(values(texts)).expect("points");
        chart(&points, rules, &Specification::default()).expect("a chart")
    }

    fn whole(numbers: &[i64]) -> Points {
        let values = numbers.iter().map(|n| Exact::whole(*n)).collect();
        Points::of_individuals(values).expect("points")
    }

    fn at(numbers: &[i64], rule: RunRule) -> Vec<usize> {
        let chart = chart(&whole(numbers), &[rule], &Specification::default()).expect("a chart");
        chart.signals.iter().filter(|s| s.rule == rule).map(|s| s.at).collect()
    }

    fn near(value: &Exact, wanted: f64, within: f64) {
        assert!((value.to_f64() - wanted).abs() <= within, "{value} {wanted}");
    }

    #[test]
    fn single_values_of_the_e_handbook() {
        // NIST e-Handbook, section 6.3.2.2 (data from memory): 50.81, 1.8778, 45.8159, 55.8041
        // with 1.128 for d2; five decimals move the limits by 0.002.
        let chart = individuals(
            &["49.6", "47.6", "49.9", "51.3", "47.8", "51.2", "52.6", "52.4", "53.6", "52.1"],
            &RunRule::ALL,
        );
        assert_eq!(chart.mean.centre, "50.81".parse().expect("a decimal"));
        assert_eq!(chart.range.centre, Exact::ratio(169, 90).expect("not 0"));
        near(&chart.mean.lower, 45.8159, 0.005);
        near(&chart.mean.upper, 55.8041, 0.005);
        assert_eq!(chart.signals, []);
    }

    #[test]
    fn subgroups_of_five_give_exact_limits() {
        // A2 0.57682, D3 0, D4 2.11450 for five (ASTM E2587: 0.577, 0, 2.114).
        let subgroups = [
            values(&["14.00", "14.30", "14.10", "14.05", "14.05"]),
            values(&["13.95", "14.25", "14.10", "14.05", "14.15"]),
        ];
        let points = Points::of_subgroups(&subgroups).expect("points");
        let asked = Specification { lower: "13.8".parse().ok(), upper: "14.7".parse().ok() };
        let chart = chart(&points, &[], &asked).expect("a chart");
        assert_eq!(chart.mean.lower, "13.926954".parse().expect("a decimal"));
        assert_eq!(chart.mean.upper, "14.273046".parse().expect("a decimal"));
        assert_eq!(chart.range.lower, Exact::zero());
        assert_eq!(chart.range.upper, "0.63435".parse().expect("a decimal"));
        let capability = chart.capability.expect("limits");
        near(&capability.cp.expect("two sides"), 0.9 / (6.0 * 0.3 / 2.32593), 1e-12);
        near(&capability.cpk, 0.3 / (3.0 * 0.3 / 2.32593), 1e-12);
    }

    #[test]
    fn a_point_on_its_limit_gives_no_signal() {
        let subgroups: Vec<_> =
            [[0, 2], [0, 2], [0, 2]].map(|s| s.map(Exact::whole).to_vec()).into();
        let points = Points::of_subgroups(&subgroups).expect("points");
        let mut limits = chart(&points, &[], &Specification::default()).expect("a chart");
        assert_eq!(limits.signals, []);
        limits.mean.upper = Exact::one();
        assert_eq!(beyond_limits(&points, &limits.mean, &limits.range), []);
        limits.mean.upper = "0.9999999".parse().expect("a decimal");
        assert_eq!(beyond_limits(&points, &limits.mean, &limits.range).len(), 3);
    }

    #[test]
    fn a_moving_range_belongs_to_its_later_value() {
        let chart = individuals(&["10", "10.1", "9.9", "10", "10.1", "9.9", "10", "12"], &[]);
        let found: Vec<_> = chart.signals.iter().map(|s| (s.rule, s.chart, s.at)).collect();
        let beyond = RunRule::BeyondLimits;
        assert_eq!(found, [(beyond, Chart::Mean, 7), (beyond, Chart::Range, 7)]);
    }

    #[test]
    fn eight_on_one_side_are_one_signal() {
        let rule = RunRule::EightOneSide;
        let run = [-20, -20, 9, 5, 3, 5, 3, 5, 3, 5, 3, 5];
        assert_eq!(at(&run, rule), [9]);
        assert_eq!(at(&run[..9], rule), [0usize; 0]);
        // A point on the centre line ends the run.
        assert_eq!(at(&[1, 1, 1, 1, 0, 1, 1, 1, 1, -8], rule), [0usize; 0]);
    }

    #[test]
    fn six_rising_or_falling_are_a_trend() {
        let rule = RunRule::SixTrend;
        assert_eq!(at(&[5, 1, 2, 3, 4, 5, 6, 7], rule), [6]);
        assert_eq!(at(&[1, 2, 3, 4, 5], rule), [0usize; 0]);
        assert_eq!(at(&[6, 5, 4, 3, 2, 1], rule), [5]);
        assert_eq!(at(&[1, 2, 3, 3, 4, 5, 6], rule), [0usize; 0]);
    }

    #[test]
    fn two_of_three_beyond_two_sigma_stand_on_one_side() {
        let rule = RunRule::TwoOfThreeBeyondTwoSigma;
        let calm = [0, 1, 0, -1, 0, 1, 0, -1, 0, 1, 0, -1, 0, 1, 0, -1];
        let with = |tail: &[i64]| at(&[&calm[..], tail].concat(), rule);
        assert_eq!(with(&[3, 2, 3]), [18]);
        assert_eq!(with(&[3, 3, 3]), [17]);
        assert_eq!(with(&[4, -4]), [0usize; 0]);
        assert_eq!(with(&[3, 1, 1, 3]), [0usize; 0]);
    }

    #[test]
    fn a_spread_of_nothing_has_no_capability() {
        let points = Points::of_individuals(values(&["5", "5", "5"])).expect("points");
        let asked = Specification { lower: Some(Exact::one()), upper: None };
        let chart = chart(&points, &RunRule::ALL, &asked).expect("a chart");
        assert_eq!((chart.sigma, chart.capability), (Exact::zero(), None));
        assert_eq!(chart.signals, []);
    }

    #[test]
    fn an_open_side_has_cpk_only() {
        let points = Points::of_individuals(values(&["4", "5", "6"])).expect("points");
        let asked = Specification { lower: Some(Exact::one()), upper: None };
        let capability = chart(&points, &[], &asked).and_then(|chart| chart.capability);
        let capability = capability.expect("a limit");
        assert_eq!(capability.cp, None);
        // Mean 5, mean range 1: 4 below, sigma 1 / 1.12838.
        let d2 = "1.12838".parse::<Exact>().expect("a decimal");
        assert_eq!(capability.cpk, d2 * Exact::whole(4) / Exact::whole(3));
    }

    #[test]
    fn uneven_subgroups_are_named() {
        let subgroups = [values(&["1", "2", "3"]), values(&["1", "2"]), values(&[])];
        let faults = Points::of_subgroups(&subgroups).expect_err("faults").into_vec();
        let fields: Vec<_> = faults.iter().map(|f| f.field.as_str()).collect();
        assert_eq!(fields, ["[1]", "[2]"]);
        assert!(Points::of_subgroups(&[]).is_err());
        assert!(Points::of_subgroups(&[values(&["1"])]).is_err());
        assert!(Points::of_subgroups(&[vec![Exact::one(); 26]]).is_err());
        assert!(Points::of_individuals(values(&["3"])).is_err());
    }

    #[test]
    fn the_constants_agree_with_each_other() {
        // A2 = 3 / (d2 sqrt n), E2 = 3 / d2, D3 and D4 = 1 -+ 3 d3 / d2 (D3 not below 0).
        let table = include_str!("../../data/spc-constants.csv");
        for (row, line) in CONSTANTS.iter().zip(table.lines().skip(1)) {
            let number = |text: &str| text.parse::<f64>().expect("a number");
            let cells: Vec<f64> = line.split(',').map(number).collect();
            let (n, d2, d3) = (cells[0], number(row.d2), cells[2]);
            for (found, wanted) in [
                (row.mean_limit, 3.0 / (d2 * n.sqrt())),
                (row.individual_limit, 3.0 / d2),
                (row.range_lower, (1.0 - 3.0 * d3 / d2).max(0.0)),
                (row.range_upper, 1.0 + 3.0 * d3 / d2),
            ] {
                assert!((number(found) - wanted).abs() < 3e-5, "{n}: {found} {wanted}");
            }
        }
        assert_eq!(CONSTANTS.len(), SUBGROUP_SIZES.count());
    }

    proptest! {
        #[test]
        fn shifting_and_stretching_keeps_the_signals(
            numbers in prop::collection::vec(-20i64..20, 2..40),
            shift in -100i64..100,
            stretch in 1i64..50,
        ) {
            let none = Specification::default();
            let before = chart(&whole(&numbers), &RunRule::ALL, &none).expect("a chart");
            let moved: Vec<_> = numbers.iter().map(|n| n * stretch + shift).collect();
            let after = chart(&whole(&moved), &RunRule::ALL, &none).expect("a chart");
            prop_assert_eq!(before.signals, after.signals);
            prop_assert_eq!(&before.sigma * &Exact::whole(stretch), after.sigma);
            prop_assert!(before.mean.lower <= before.mean.centre);
            prop_assert!(before.range.lower <= before.range.upper);
        }
    }
}
