//! Checks of thermometers in ice or boiling water and of scales under a known load.
//! It never judges by a rounded number and never judges a reading that was not taken.

use crate::exact::Exact;
use crate::rules::{Row, Rule};
use crate::units::{Quantity, Unit};
use crate::verdict::{Judgement, Verdict};

/// The rule for thermometers: ice point, boiling points by altitude, tolerance.
pub const THERMOMETER_RULE_ID: &str = "us.instrument.thermometer";
/// The rule for scales of class III.
pub const SCALE_RULE_ID: &str = "us.instrument.scale-iii";

/// What a thermometer stands in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bath {
    /// Ice slush.
    Ice,
    /// Boiling water.
    Boiling,
}

impl Bath {
    /// The words, in the order of [`Bath::from_word`].
    pub const WORDS: &'static str = "ice boiling";

    /// The bath of a word of the contract.
    pub fn from_word(word: &str) -> Option<Self> {
        match word {
            "ice" => Some(Self::Ice),
            "boiling" => Some(Self::Boiling),
            _ => None,
        }
    }
}

/// A thermometer's check. Temperatures in any unit; the tolerance is a difference, at least 0.
#[derive(Clone, Debug)]
pub struct ThermometerCheck {
    /// What it showed.
    pub reading: Option<Quantity>,
    /// What it stood in.
    pub bath: Bath,
    /// Where it stood; needed for boiling water.
    pub altitude_m: Option<Exact>,
    /// The plan's own tolerance in place of the rule's.
    pub tolerance: Option<Quantity>,
}

/// A class III scale's check. All masses in any unit and at least 0; the division is above 0.
#[derive(Clone, Debug)]
pub struct ScaleCheck {
    /// The scale's division.
    pub division: Quantity,
    /// The known load.
    pub load: Quantity,
    /// What it showed.
    pub reading: Option<Quantity>,
    /// True: the tolerance for a scale that is new or was just adjusted.
    pub acceptance: bool,
    /// The plan's own tolerance in place of the rule's.
    pub tolerance: Option<Quantity>,
}

/// The outcome of a check. Quantities in the unit of the reading (a scale: of the load).
#[derive(Clone, Debug)]
pub struct Outcome {
    /// What a true instrument shows; nothing when the rule gives no number.
    pub expected: Option<Quantity>,
    /// Reading minus expected.
    pub error: Option<Quantity>,
    /// The most that the error may be, to either side; that itself passes.
    pub tolerance: Quantity,
    /// The verdict.
    pub judgement: Judgement,
    /// The rule used.
    pub rule: &'static Rule,
    /// What a person should know beside the rule's own cautions.
    pub cautions: Vec<String>,
}

/// Judges a thermometer. Nothing only when the rule file lacks a number that the build would miss.
pub fn thermometer(check: &ThermometerCheck) -> Option<Outcome> {
    let rule = Rule::newest(THERMOMETER_RULE_ID)?;
    let given_unit = check.reading.as_ref().or(check.tolerance.as_ref()).map(|q| q.unit);
    let unit = given_unit.unwrap_or(Unit::Fahrenheit);
    let tolerance = match &check.tolerance {
        Some(own) => own.difference_to(unit)?,
        None => Quantity::from_base_difference(&rule.number("tolerance_f")?, unit),
    };
    let expected_f = match check.bath {
        Bath::Ice => Ok(rule.number("ice_f")?),
        Bath::Boiling => boiling_point_f(rule, check.altitude_m.as_ref()),
    };
    let expected = expected_f.map(|expected_f| Quantity::from_base(&expected_f, unit));
    Some(judge(rule, expected, check.reading.clone(), tolerance))
}

/// Judges a scale; nothing in the case of [`thermometer`].
pub fn scale(check: &ScaleCheck) -> Option<Outcome> {
    let rule = Rule::newest(SCALE_RULE_ID)?;
    let unit = check.load.unit;
    let row = scale_row(rule, &check.load.base().checked_div(&check.division.base())?)?;
    let column = if check.acceptance { "acceptance_divisions" } else { "maintenance_divisions" };
    let (tolerance, recalled) = match &check.tolerance {
        Some(own) => (own.to(unit)?, false),
        None => {
            let divisions = row.number(column)?;
            let tolerance_g = divisions * check.division.base();
            (Quantity::from_base(&tolerance_g, unit), row.word("known") == Some("recalled"))
        }
    };
    let reading = check.reading.as_ref().and_then(|reading| reading.to(unit));
    let mut outcome = judge(rule, Ok(check.load.clone()), reading, tolerance);
    if recalled {
        outcome.cautions.push(format!(
            "{}: the tolerance of this row is recalled, not read; confirm it in {}.",
            rule.id, rule.citation
        ));
    }
    Some(outcome)
}

/// The boiling point of water by the straight line between two rows; else the reason for none.
fn boiling_point_f(rule: &'static Rule, altitude_m: Option<&Exact>) -> Result<Exact, String> {
    let altitude_m = altitude_m
        .ok_or("The altitude is not given, so the boiling point is not known.".to_owned())?;
    // A foot is 0.3048 m exactly.
    let altitude_ft = altitude_m * &Exact::ratio(10_000, 3048).unwrap_or_else(Exact::one);
    let point = |row: &Row| Some((row.number("altitude_ft")?, row.number("boiling_f")?));
    let points: Vec<_> = rule.rows.iter().filter_map(point).collect();
    let pair = points.windows(2).find(|pair| pair[0].0 <= altitude_ft && altitude_ft <= pair[1].0);
    let Some([(low_ft, low_f), (high_ft, high_f)]) = pair else {
        return Err(format!("The table holds no boiling point at {altitude_m} m."));
    };
    let part = (&altitude_ft - low_ft).checked_div(&(high_ft - low_ft));
    Ok(low_f + &((high_f - low_f) * part.unwrap_or_else(Exact::zero)))
}

/// The last row that the load has reached, so that a load between two rows has the smaller
/// tolerance.
fn scale_row(rule: &'static Rule, divisions: &Exact) -> Option<&'static Row> {
    let reached = |row: &&Row| row.number("from_divisions").is_some_and(|from| from <= *divisions);
    rule.rows.iter().rfind(reached)
}

fn judge(
    rule: &'static Rule,
    expected: Result<Quantity, String>,
    reading: Option<Quantity>,
    tolerance: Quantity,
) -> Outcome {
    let error =
        expected.as_ref().ok().zip(reading.as_ref()).map(|(expected, reading)| {
            Quantity::new(&reading.value - &expected.value, reading.unit)
        });
    let judgement = match (&expected, &error) {
        (Err(reason), _) => Judgement::because(Verdict::Undetermined, reason.clone()),
        (Ok(_), None) => Judgement::because(Verdict::Undetermined, "No reading is given."),
        (Ok(expected), Some(error)) => {
            let verdict = Verdict::met(error.value.abs() <= tolerance.value);
            let reason = format!("Off by {error} from {expected}; {tolerance} is allowed.");
            Judgement::because(verdict, reason)
        }
    };
    Outcome { expected: expected.ok(), error, tolerance, judgement, rule, cautions: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn quantity(value: &str, unit: Unit) -> Quantity {
        Quantity::new(value.parse().expect("a decimal"), unit)
    }

    fn in_bath(bath: Bath, altitude_m: Option<&str>, reading: Quantity) -> Outcome {
        let altitude_m = altitude_m.map(|text| text.parse().expect("a decimal"));
        let check = ThermometerCheck { reading: Some(reading), bath, altitude_m, tolerance: None };
        thermometer(&check).expect("an outcome")
    }

    fn on_scale(load: &str, reading: Option<&str>, acceptance: bool) -> Outcome {
        let pounds = |text| quantity(text, Unit::Pound);
        let (division, load) = (pounds("0.1"), pounds(load));
        let reading = reading.map(pounds);
        scale(&ScaleCheck { division, load, reading, acceptance, tolerance: None })
            .expect("an outcome")
    }

    #[test]
    fn two_degrees_to_either_side_pass_in_ice() {
        // State-university extension guidance: within 2 F of 32 F.
        for (reading, verdict) in [
            ("30", Verdict::Pass),
            ("34", Verdict::Pass),
            ("34.000000000000000000000001", Verdict::Fail),
            ("29.999999999999999999999999", Verdict::Fail),
        ] {
            let outcome = in_bath(Bath::Ice, None, quantity(reading, Unit::Fahrenheit));
            assert_eq!(outcome.judgement.verdict, verdict, "{reading}");
        }
        let outcome = in_bath(Bath::Ice, None, quantity("1.0", Unit::Celsius));
        assert_eq!(outcome.error.map(|e| e.value), Some(Exact::one()));
        assert_eq!(outcome.tolerance.value, Exact::ratio(10, 9).expect("a number"));
    }

    #[test]
    fn water_boils_lower_on_a_hill() {
        // State-university extension guidance: 212 F at the sea, 210 F at 1000 ft (210.2 in the
        // table), 203 F at 5000 ft; linear between.
        for (altitude_m, want) in
            [("0", "212"), ("304.8", "210.2"), ("1524", "203"), ("76.2", "211.55")]
        {
            let at = in_bath(Bath::Boiling, Some(altitude_m), quantity("212", Unit::Fahrenheit));
            assert_eq!(at.expected, Some(quantity(want, Unit::Fahrenheit)), "{altitude_m}");
        }
    }

    #[test]
    fn an_altitude_without_a_row_is_undetermined() {
        for altitude_m in [None, Some("-1"), Some("3048.01")] {
            let at = in_bath(Bath::Boiling, altitude_m, quantity("212", Unit::Fahrenheit));
            assert_eq!(at.judgement.verdict, Verdict::Undetermined);
            assert!(at.expected.is_none() && at.error.is_none());
        }
    }

    #[test]
    fn scale_tolerance_comes_from_load_over_division() {
        // NIST Handbook 44, Scales Code, table 6, class III.
        for (load, maintenance, acceptance) in [
            ("50", "0.1", "0.05"),
            ("50.05", "0.1", "0.05"),
            ("50.1", "0.2", "0.1"),
            ("200", "0.2", "0.1"),
            ("250", "0.3", "0.15"),
            ("400", "0.3", "0.15"),
            ("400.1", "0.5", "0.25"),
        ] {
            let tolerance = |acceptance| on_scale(load, None, acceptance).tolerance;
            assert_eq!(tolerance(false), quantity(maintenance, Unit::Pound), "{load}");
            assert_eq!(tolerance(true), quantity(acceptance, Unit::Pound), "{load}");
        }
        assert_eq!(on_scale("250", Some("250.3"), false).judgement.verdict, Verdict::Pass);
        assert_eq!(on_scale("250", Some("250.2"), true).judgement.verdict, Verdict::Fail);
        assert_eq!(on_scale("250", None, false).judgement.verdict, Verdict::Undetermined);
        assert_eq!(on_scale("50", Some("50"), false).cautions.len(), 1);
        assert_eq!(on_scale("51", Some("51"), false).cautions.len(), 0);
    }

    proptest! {
        #[test]
        fn the_unit_of_a_reading_does_not_change_its_verdict(tenths in 280i64..360) {
            let fahrenheit = Quantity::new(
                Exact::ratio(tenths, 10).expect("a number"),
                Unit::Fahrenheit,
            );
            let celsius = fahrenheit.to(Unit::Celsius).expect("a temperature");
            let verdict = |reading| in_bath(Bath::Ice, None, reading).judgement.verdict;
            prop_assert_eq!(verdict(fahrenheit), verdict(celsius));
        }

        #[test]
        fn a_heavier_load_has_no_smaller_tolerance(load in 0u32..100_000, more in 0u32..100_000) {
            let tolerance = |load: u32| on_scale(&load.to_string(), None, false).tolerance.value;
            prop_assert!(tolerance(load) <= tolerance(load + more));
        }
    }
}
