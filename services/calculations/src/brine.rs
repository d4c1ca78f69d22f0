//! The brine of a product, from message to message.
//! It never judges: a claim on water activity needs a measured value.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::formula::brine;
use wire::v1::{BrineRequest, BrineResponse, WaterActivityEstimate};

use crate::shape;

/// The published formula of the estimate.
const METHOD: &str = "Resnik and Chirife 1988, polynomial for sodium chloride";

/// Brine strength, estimated water activity, salt for a target. Faults: no moisture, neither salt
/// nor target, salt and moisture above 100 % together, a target of 100 %.
pub fn calculate(request: BrineRequest) -> Result<BrineResponse, Faults> {
    let mut faults = Faults::new();
    let salt = shape::percentage(request.salt_pct.as_deref(), "salt_pct", &mut faults);
    let moisture = shape::percentage(request.moisture_pct.as_deref(), "moisture_pct", &mut faults);
    let target = shape::percentage(request.target_pct.as_deref(), "target_pct", &mut faults);
    let hundred = Exact::whole(100);
    if request.moisture_pct.is_none() {
        shape::missing("moisture_pct", &mut faults);
    }
    if request.salt_pct.is_none() && request.target_pct.is_none() {
        faults.add("salt_pct", "is needed, or target_pct");
    }
    if let Some(moisture) = moisture.as_ref().filter(|moisture| !moisture.is_positive()) {
        faults.add_value("moisture_pct", moisture, "must be above 0");
    }
    if let Some(target) = target.as_ref().filter(|target| **target == hundred) {
        faults.add_value("target_pct", target, "must be below 100");
    }
    if let Some((salt, moisture)) = salt.as_ref().zip(moisture.as_ref())
        && salt + moisture > hundred
    {
        faults.add_value("salt_pct", salt, "must not be above 100 % together with moisture_pct");
        faults.add_value(
            "moisture_pct",
            moisture,
            "must not be above 100 % together with salt_pct",
        );
    }
    let moisture = faults.into_result(moisture)?;
    Ok(answer(salt.as_ref(), &moisture, target.as_ref()))
}

fn answer(salt: Option<&Exact>, moisture: &Exact, target: Option<&Exact>) -> BrineResponse {
    let mut cautions = Vec::new();
    let brine_pct = salt.and_then(|salt| brine::water_phase_salt_pct(salt, moisture));
    let estimate = brine_pct.as_ref().and_then(brine::water_activity);
    if estimate.is_some() {
        cautions.push(
            "The water activity is an estimate for salt alone, its coefficients recalled; a claim \
             needs a measured value."
                .to_owned(),
        );
    } else if brine_pct.is_some() {
        cautions.push("No water activity is estimated above a brine of 20 %.".to_owned());
    }
    let needed = target.and_then(|target| brine::salt_pct_needed(target, moisture));
    if target.is_some() && needed.is_none() {
        cautions.push(
            "The brine wanted cannot be had at this moisture: salt and moisture would be more than \
             100 %."
                .to_owned(),
        );
    }
    BrineResponse {
        water_phase_salt_pct: brine_pct.as_ref().and_then(shape::number_out),
        water_activity: estimate.as_ref().map(|estimate| WaterActivityEstimate {
            estimate: shape::number_out(estimate),
            method: Some(METHOD.to_owned()),
        }),
        salt_pct_needed: needed.as_ref().and_then(shape::number_out),
        cautions,
    }
}
