//! Instruments and their checks: what each shows too much, and whether it may be used.
//! It never asks the database.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::{Dimension, Quantity, Unit};
use domain::verdict::{Judgement, Verdict};
use platform::caller::Call;
use platform::error::Failure;
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::{NewVersion, Stamp};
use platform::shape::{self, Entered};
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::readings::verdict_out;
use crate::store::instruments::{CheckRow, InstrumentRow};

/// An instrument as a reading used it.
#[derive(Clone, Debug)]
pub struct Used {
    /// The instrument.
    pub instrument: Uuid,
    /// Its name as it was.
    pub name: String,
    /// Its last check before the reading, when that was good.
    pub good: Option<GoodCheck>,
}

/// A check within tolerance.
#[derive(Clone, Debug)]
pub struct GoodCheck {
    /// The record of the check.
    pub check: Uuid,
    /// What the instrument shows too much, as decimal text.
    pub error: String,
    /// The unit in which it was checked.
    pub unit: String,
}

impl Used {
    /// As it stands in the entry of what was read with it.
    pub fn entry(&self) -> Value {
        json!({
            "id": self.instrument.to_string(),
            "name": self.name,
            "check": self.good.as_ref().map(|good| good.check.to_string()),
            "correction": self.good.as_ref().map(|good| good.error.as_str()),
        })
    }
}

/// The sentence that says what was taken off.
pub fn correction_out(error: &Exact, unit: Unit) -> String {
    if error.is_zero() {
        return "The instrument showed no error at its last check.".to_owned();
    }
    let shows = if error.is_negative() { "too little" } else { "too much" };
    let size = Quantity::new(error.abs(), unit);
    format!("The instrument shows {size} {shows}; each value is judged without that.")
}

/// What a version of an instrument says.
#[derive(Clone)]
pub struct InstrumentContent {
    pub name: String,
    pub kind: String,
    pub tolerance: Entered,
    pub in_use: bool,
}

/// Reads an instrument to add.
pub fn instrument_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PutInstrumentRequest,
) -> Result<NewVersion<InstrumentContent>, Failure> {
    let mut faults = Faults::new();
    let given = request.tolerance.as_ref();
    let tolerance = shape::quantity(given, Dimension::Temperature, "tolerance", &mut faults);
    if tolerance.as_ref().is_some_and(|read| read.value.is_sign_negative()) {
        faults.add("tolerance.value", "must not be negative");
    }
    let Some(tolerance) = tolerance.filter(|_| faults.is_empty()) else {
        return Err(faults.into());
    };
    let content = InstrumentContent {
        name: request.name.clone(),
        kind: request.kind.clone(),
        tolerance,
        in_use: request.in_use.unwrap_or(true),
    };
    let names = (("id", request.id.as_str()), ("instrument", request.instrument.as_str()));
    NewVersion::read((call, plant), names, (request, faults), content)
}

/// The columns of a version, and its entry.
pub fn instrument_record(new: &NewVersion<InstrumentContent>, version: i32) -> (Value, Value) {
    let InstrumentContent { name, kind, tolerance, in_use } = &new.content;
    let said = json!({
        "version": version, "name": name, "kind": kind, "tolerance": tolerance.value.to_string(),
        "unit": tolerance.unit.code(), "in_use": in_use,
    });
    let (mut columns, mut entry) = (said.clone(), said);
    columns["id"] = json!(new.of.to_string());
    entry["instrument"] = json!(new.of.to_string());
    (columns, entry)
}

/// An instrument as a message, with its last check.
pub fn instrument_out(
    row: InstrumentRow,
    last_check: Option<v1::InstrumentCheck>,
) -> v1::Instrument {
    v1::Instrument {
        instrument: row.id.to_string(),
        version: row.version,
        name: row.name,
        kind: row.kind,
        tolerance: Some(v1::Quantity { value: Some(row.tolerance), unit: row.unit }),
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
        last_check,
    }
}

/// A check of an instrument about to be recorded.
#[derive(Clone)]
pub struct NewCheck {
    pub instrument: Uuid,
    pub reference: Entered,
    pub shown: Entered,
    /// What it shows too much.
    pub error: String,
    pub moments: Moments,
    pub note: String,
    pub stamp: Stamp,
}

/// Reads a check; both values are in the same unit, so that their difference is exact.
pub fn check_in(
    call: &Call,
    plant: &Plant,
    request: &v1::CheckInstrumentRequest,
) -> Result<NewCheck, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let instrument = shape::id(&request.instrument, "instrument", &mut faults);
    let mut read = |given: &Option<v1::Quantity>, field| {
        shape::quantity(given.as_ref(), Dimension::Temperature, field, &mut faults)
    };
    let reference = read(&request.reference, "reference");
    let shown = read(&request.shown, "shown");
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let both = reference.zip(shown);
    if let Some((reference, shown)) = both.as_ref().filter(|(r, s)| r.unit != s.unit) {
        let text = format!("must be {}, as the reference", reference.unit);
        faults.add_value("shown.unit", shown.unit, text);
    }
    let error = both.as_ref().and_then(|(reference, shown)| {
        (shown.quantity().value - reference.quantity().value).to_decimal()
    });
    let all = (|| Some((id?, instrument?, both?, error?, moments?)))();
    let (id, instrument, (reference, shown), error, moments) = faults.into_result(all)?;
    let stamp = Stamp::of(call, plant, id, format!("instrument:{instrument}"), request)?;
    let (error, note) = (error.to_string(), request.note.clone());
    Ok(NewCheck { instrument, reference, shown, error, moments, note, stamp })
}

/// Whether an error, either way, is within the tolerance; exactly at it is within.
pub fn judge_check(unit: Unit, error: &str, tolerance: &Quantity) -> Judgement {
    let Ok(error) = error.parse::<Exact>() else {
        return Judgement::because(Verdict::Undetermined, "The error is lost.");
    };
    let error = Quantity::new(error, unit);
    let is_good = error.base_difference().abs() <= tolerance.base_difference();
    let found = if is_good { "is within" } else { "is more than" };
    let text = format!("An error of {error} {found} the tolerance of {tolerance}.");
    Judgement::because(Verdict::met(is_good), text)
}

/// The columns of a check, and its entry.
pub fn check_record(new: &NewCheck, version: i32, judgement: &Judgement) -> (Value, Value) {
    let said = json!({
        "instrument": new.instrument.to_string(), "instrument_version": version,
        "reference": new.reference.value.to_string(), "shown": new.shown.value.to_string(),
        "unit": new.shown.unit.code(), "error": new.error, "verdict": judgement.verdict.word(),
        "note": new.note,
    });
    let mut entry = said.clone();
    entry["reasons"] = json!(judgement.reasons);
    (said, entry)
}

/// A check as a message; the tolerance is that of the version by which it was judged.
pub fn check_out(row: CheckRow) -> v1::InstrumentCheck {
    let unit = Unit::from_code(&row.unit);
    let tolerance = row.tolerance.parse().ok().zip(Unit::from_code(&row.tolerance_unit));
    let judged = unit.zip(tolerance).map(|(unit, (value, tolerance_unit))| {
        judge_check(unit, &row.error, &Quantity::new(value, tolerance_unit))
    });
    let quantity =
        |value: String| Some(v1::Quantity { value: Some(value), unit: row.unit.clone() });
    v1::InstrumentCheck {
        check: row.id.to_string(),
        instrument: row.instrument.to_string(),
        reference: quantity(row.reference),
        shown: quantity(row.shown),
        error: Some(row.error),
        verdict: Some(verdict_out(&row.verdict).into()),
        reasons: judged.map(|judged| judged.reasons).unwrap_or_default(),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        note: row.note,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tolerance(value: &str, unit: Unit) -> Quantity {
        Quantity::new(value.parse().expect("a decimal"), unit)
    }

    #[test]
    fn an_error_exactly_at_the_tolerance_is_within_it_either_way() {
        let two = tolerance("2", Unit::Fahrenheit);
        for (error, verdict) in
            [("2.0", Verdict::Pass), ("-2", Verdict::Pass), ("2.01", Verdict::Fail)]
        {
            assert_eq!(judge_check(Unit::Fahrenheit, error, &two).verdict, verdict, "{error}");
        }
    }

    #[test]
    fn tolerances_compare_as_differences_in_any_unit() {
        // 1 Cel of difference is 1.8 [degF] of difference: no zero point is added.
        let one = tolerance("1", Unit::Celsius);
        assert_eq!(judge_check(Unit::Fahrenheit, "1.8", &one).verdict, Verdict::Pass);
        assert_eq!(judge_check(Unit::Fahrenheit, "1.81", &one).verdict, Verdict::Fail);
    }
}
