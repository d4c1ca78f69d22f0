//! The check of a thermometer in a known bath or of a scale under a known load.
//! It never judges without a reading, nor where the rule holds no number.

use domain::fault::Faults;
use domain::process::instrument::{self, Bath, Outcome, ScaleCheck, ThermometerCheck};
use domain::units::{Dimension, Quantity};
use wire::v1;
use wire::v1::{InstrumentCheckRequest, InstrumentCheckResponse};

use crate::shape;

/// The one class of scales whose tolerances are held.
const SCALE_CLASS: &str = "III";

/// Judges the instrument. Faults: none or both given, an unknown bath or class, a division of 0, a
/// tolerance of the wrong dimension.
pub fn calculate(request: InstrumentCheckRequest) -> Result<InstrumentCheckResponse, Faults> {
    let mut faults = Faults::new();
    let tolerance = request.tolerance.as_ref();
    let outcome = match (&request.thermometer, &request.scale) {
        (None, None) => {
            faults.add("thermometer", "is needed, or scale");
            None
        }
        (Some(_), Some(_)) => {
            faults.add("scale", "must not be given together with thermometer");
            None
        }
        (Some(given), None) => {
            thermometer(given, tolerance, &mut faults).as_ref().and_then(instrument::thermometer)
        }
        (None, Some(given)) => {
            scale(given, tolerance, &mut faults).as_ref().and_then(instrument::scale)
        }
    };
    faults.into_result(outcome).map(|outcome| answer(&outcome))
}

fn thermometer(
    given: &v1::ThermometerCheck,
    tolerance: Option<&v1::Quantity>,
    faults: &mut Faults,
) -> Option<ThermometerCheck> {
    let field = "thermometer.reading";
    let reading = shape::quantity(given.reading.as_ref(), Dimension::Temperature, field, faults);
    let bath = Bath::from_word(&given.bath);
    if bath.is_none() {
        let allowed = format!("must be one of: {}", Bath::WORDS);
        faults.add_value("thermometer.bath", &given.bath, allowed);
    }
    let altitude_m = shape::number(given.altitude_m.as_deref(), "thermometer.altitude_m", faults);
    let tolerance = shape::temperature_difference(tolerance, "tolerance", faults);
    Some(ThermometerCheck { reading, bath: bath?, altitude_m, tolerance })
}

fn scale(
    given: &v1::ScaleCheck,
    tolerance: Option<&v1::Quantity>,
    faults: &mut Faults,
) -> Option<ScaleCheck> {
    if given.class != SCALE_CLASS {
        faults.add_value("scale.class", &given.class, format!("must be one of: {SCALE_CLASS}"));
    }
    let division = needed_mass(given.division.as_ref(), "scale.division", faults);
    if let Some(division) = division.as_ref().filter(|division| division.value.is_zero()) {
        faults.add_value("scale.division.value", &division.value, "must be above 0");
    }
    let load = needed_mass(given.load.as_ref(), "scale.load", faults);
    let reading = given.reading.as_ref();
    let reading = shape::quantity(reading, Dimension::Mass, "scale.reading", faults);
    let tolerance = shape::quantity(tolerance, Dimension::Mass, "tolerance", faults);
    let acceptance = given.acceptance.unwrap_or(false);
    Some(ScaleCheck { division: division?, load: load?, reading, acceptance, tolerance })
}

fn needed_mass(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Quantity> {
    if given.is_none() {
        shape::missing(field, faults);
    }
    shape::quantity(given, Dimension::Mass, field, faults)
}

fn answer(outcome: &Outcome) -> InstrumentCheckResponse {
    let rules = [outcome.rule];
    InstrumentCheckResponse {
        expected: outcome.expected.as_ref().map(shape::quantity_out),
        error: outcome.error.as_ref().map(shape::quantity_out),
        tolerance: Some(shape::quantity_out(&outcome.tolerance)),
        verdict: shape::verdict_out(outcome.judgement.verdict),
        reasons: outcome.judgement.reasons.clone(),
        rules: shape::rules_out(&rules),
        cautions: shape::cautions_out(&rules, &outcome.cautions),
    }
}
