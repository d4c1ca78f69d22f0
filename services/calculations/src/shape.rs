//! Between messages and the domain's quantities: every fault gathered, named by its field.
//! It never judges and never fills in a value that was not given.

use domain::curve::{Curve, Sample};
use domain::exact::{self, Exact};
use domain::fault::Faults;
use domain::rules::Rule;
use domain::units::{Dimension, Quantity, Unit};
use domain::verdict::Verdict;
use rust_decimal::Decimal;
use wire::v1;

/// Reads decimal text; absent is nothing without a fault.
pub fn decimal(text: Option<&str>, field: &str, faults: &mut Faults) -> Option<Decimal> {
    let text = text?;
    match exact::decimal(text) {
        Ok(value) => Some(value),
        Err(error) => {
            faults.add_value(field, text, error.to_string());
            None
        }
    }
}

/// Reads an exact number; absent is nothing without a fault.
pub fn number(text: Option<&str>, field: &str, faults: &mut Faults) -> Option<Exact> {
    decimal(text, field, faults).map(Exact::from)
}

/// Reads a percentage within 0 to 100; absent is nothing without a fault.
pub fn percentage(text: Option<&str>, field: &str, faults: &mut Faults) -> Option<Exact> {
    let value = number(text, field, faults)?;
    if value.is_negative() || value > Exact::whole(100) {
        faults.add_value(field, value, "must be a percentage from 0 to 100");
        return None;
    }
    Some(value)
}

/// A number that must not be negative; absent is nothing without a fault.
pub fn not_negative(text: Option<&str>, field: &str, faults: &mut Faults) -> Option<Exact> {
    let value = number(text, field, faults)?;
    if value.is_negative() {
        faults.add_value(field, value, "must not be negative");
        return None;
    }
    Some(value)
}

/// A number above 0; absent is nothing without a fault.
pub fn positive(text: Option<&str>, field: &str, faults: &mut Faults) -> Option<Exact> {
    let value = number(text, field, faults)?;
    if !value.is_positive() {
        faults.add_value(field, value, "must be above 0");
        return None;
    }
    Some(value)
}

/// Says that a needed field is missing.
pub fn missing(field: &str, faults: &mut Faults) {
    faults.add(field, "is needed");
}

/// Reads a unit code of any dimension.
pub fn unit(code: &str, field: &str, faults: &mut Faults) -> Option<Unit> {
    let unit = Unit::from_code(code);
    if unit.is_none() {
        faults.add_value(field, code, format!("must be one of: {}", Unit::all_codes()));
    }
    unit
}

/// Reads a unit code of one dimension.
pub fn unit_of(code: &str, dimension: Dimension, field: &str, faults: &mut Faults) -> Option<Unit> {
    let unit = Unit::from_code(code).filter(|unit| unit.dimension() == dimension);
    if unit.is_none() {
        faults.add_value(field, code, format!("must be one of: {}", Unit::codes(dimension)));
    }
    unit
}

/// Reads a quantity of any dimension; a negative mass or length and a temperature below absolute
/// zero are faults. Absent is nothing without a fault.
pub fn any_quantity(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    let quantity = any_difference(given, field, faults)?;
    let fault = match quantity.unit.dimension() {
        Dimension::Temperature if quantity.is_below_absolute_zero() => {
            "must not be below absolute zero"
        }
        Dimension::Mass | Dimension::Length if quantity.value.is_negative() => {
            "must not be negative"
        }
        _ => return Some(quantity),
    };
    faults.add_value(format!("{field}.value"), &quantity.value, fault);
    None
}

/// Reads a difference of any dimension, which may be negative.
pub fn any_difference(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    let given = given?;
    if given.value.is_none() {
        missing(&format!("{field}.value"), faults);
    }
    let value = number(given.value.as_deref(), &format!("{field}.value"), faults);
    let unit = unit(&given.unit, &format!("{field}.unit"), faults);
    Some(Quantity::new(value?, unit?))
}

/// Reads a quantity of one dimension (as [`any_quantity`] otherwise).
pub fn quantity(
    given: Option<&v1::Quantity>,
    dimension: Dimension,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    let given = given?;
    unit_of(&given.unit, dimension, &format!("{field}.unit"), faults)?;
    any_quantity(Some(given), field, faults)
}

/// Reads a temperature difference that must not be negative.
pub fn temperature_difference(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    let given = given?;
    unit_of(&given.unit, Dimension::Temperature, &format!("{field}.unit"), faults)?;
    let difference = any_difference(Some(given), field, faults)?;
    if difference.value.is_negative() {
        faults.add_value(format!("{field}.value"), &difference.value, "must not be negative");
        return None;
    }
    Some(difference)
}

/// Reads a wet bulb, which is not above its dry bulb; absent is nothing without a fault.
pub fn wet_bulb(
    given: Option<&v1::Quantity>,
    dry_bulb: Option<&Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    let wet_bulb = quantity(given, Dimension::Temperature, field, faults)?;
    if let Some(dry_bulb) = dry_bulb.filter(|dry_bulb| wet_bulb.base() > dry_bulb.base()) {
        faults.add_value(field, &wet_bulb, format!("must not be above its dry bulb ({dry_bulb})"));
        return None;
    }
    Some(wet_bulb)
}

/// A temperature in Cel, for numerical methods.
pub fn celsius(temperature: &Quantity) -> f64 {
    celsius_of(temperature.base().to_f64(), Unit::Fahrenheit)
}

/// A number of a unit of temperature in Cel; the inverse of [`in_unit`].
pub fn celsius_of(value: f64, unit: Unit) -> f64 {
    match unit {
        Unit::Fahrenheit => (value - 32.0) / 1.8,
        Unit::Kelvin => value - 273.15,
        _ => value,
    }
}

/// Reads a curve: rising times, at least two samples, readings that a working sensor can give
/// (-30 to 200 Cel), no gap above `max_gap_s` where one is set.
pub fn curve(
    given: Option<&v1::Curve>,
    max_gap_s: Option<Decimal>,
    field: &str,
    faults: &mut Faults,
) -> Option<Curve> {
    let given = given?;
    let unit = unit_of(&given.unit, Dimension::Temperature, &format!("{field}.unit"), faults);
    let (lowest, highest) = unit.and_then(sensor_range)?;
    let mut samples: Vec<Sample> = Vec::with_capacity(given.samples.len());
    let mut whole = true;
    for (at, sample) in given.samples.iter().enumerate() {
        let (t_s, value) = (sample.t_s.as_deref(), sample.value.as_deref());
        let name = |part: &str| format!("{field}.samples[{at}].{part}");
        let read = read_sample(t_s, value, &name, faults);
        let Some(read) = read else {
            whole = false;
            continue;
        };
        if read.value < lowest || read.value > highest {
            let allowed = format!("must lie within {lowest} and {highest} of its unit");
            faults.add_value(name("value"), read.value, allowed);
        }
        if let Some(fault) = samples.last().and_then(|last| time_fault(last, &read, max_gap_s)) {
            faults.add_value(name("t_s"), read.t_s, fault);
            whole = false;
        }
        samples.push(read);
    }
    if given.samples.len() < 2 {
        faults.add(format!("{field}.samples"), "must hold at least two samples");
    }
    if !whole {
        return None;
    }
    Curve::new(unit?, samples)
}

fn read_sample(
    t_s: Option<&str>,
    value: Option<&str>,
    name: &dyn Fn(&str) -> String,
    faults: &mut Faults,
) -> Option<Sample> {
    for (given, part) in [(t_s, "t_s"), (value, "value")] {
        if given.is_none() {
            missing(&name(part), faults);
        }
    }
    let t_s = t_s.map(|text| decimal(Some(text), &name("t_s"), faults));
    let value = value.map(|text| decimal(Some(text), &name("value"), faults));
    Some(Sample { t_s: t_s??, value: value?? })
}

fn time_fault(last: &Sample, next: &Sample, max_gap_s: Option<Decimal>) -> Option<String> {
    if next.t_s <= last.t_s {
        return Some(format!("must be later than the sample before it ({})", last.t_s));
    }
    let gap = max_gap_s.filter(|most| next.t_s - last.t_s > *most)?;
    Some(format!("must follow the sample before it within {gap} s"))
}

/// -30 to 200 Cel in a unit; readings outside mean a broken sensor.
fn sensor_range(unit: Unit) -> Option<(Decimal, Decimal)> {
    let bound =
        |celsius| Quantity::new(Exact::whole(celsius), Unit::Celsius).to(unit)?.value.to_decimal();
    bound(-30).zip(bound(200))
}

/// A quantity as a message.
pub fn quantity_out(quantity: &Quantity) -> v1::Quantity {
    v1::Quantity { value: Some(quantity.value.to_string()), unit: quantity.unit.code().to_owned() }
}

/// A number as a message field.
pub fn number_out(value: &Exact) -> Option<String> {
    Some(value.to_string())
}

/// A float as a message field; nothing when it is not finite.
pub fn float_out(value: f64) -> Option<String> {
    value.is_finite().then(|| value.to_string())
}

/// A temperature of a numerical method, in a unit; nothing when it is not finite.
pub fn celsius_out(celsius: f64, unit: Unit) -> Option<v1::Quantity> {
    let value = float_out(in_unit(celsius, unit));
    value.map(|value| v1::Quantity { value: Some(value), unit: unit.code().to_owned() })
}

/// A temperature of a numerical method as a number of a unit of temperature.
pub fn in_unit(celsius: f64, unit: Unit) -> f64 {
    match unit {
        Unit::Fahrenheit => celsius * 1.8 + 32.0,
        Unit::Kelvin => celsius + 273.15,
        _ => celsius,
    }
}

/// A verdict as a message field.
pub fn verdict_out(verdict: Verdict) -> Option<i32> {
    let verdict = match verdict {
        Verdict::Pass => v1::Verdict::Pass,
        Verdict::Fail => v1::Verdict::Fail,
        Verdict::Undetermined => v1::Verdict::Undetermined,
    };
    Some(verdict.into())
}

/// The rules of a result, each named once.
pub fn rules_out(rules: &[&Rule]) -> Vec<v1::RuleReference> {
    let mut out: Vec<v1::RuleReference> = Vec::new();
    for rule in rules {
        let reference = v1::RuleReference {
            id: rule.id.to_owned(),
            title: rule.title.to_owned(),
            citation: rule.citation.to_owned(),
            edition: rule.edition.to_owned(),
        };
        if !out.contains(&reference) {
            out.push(reference);
        }
    }
    out
}

/// What a judged result says: that it replaces nothing, and each caution of its rules, once.
pub fn cautions_out(rules: &[&Rule], own: &[String]) -> Vec<String> {
    let mut out = vec![domain::rules::SUPPORT_CAUTION.to_owned()];
    for caution in rules.iter().flat_map(|rule| rule.cautions()).chain(own.iter().cloned()) {
        if !out.contains(&caution) {
            out.push(caution);
        }
    }
    out
}
