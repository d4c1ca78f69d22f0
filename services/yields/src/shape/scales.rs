//! Scales, from what somebody enters to what is stored and shown.
//! It never judges a scale: no check of one is kept yet.

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use domain::units::Unit;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::NewVersion;
use serde_json::{Value, json};
use wire::v1;

use super::{mass_above_0, number_out};
use crate::store::scales::ScaleRow;

/// What a version of a scale says.
#[derive(Clone)]
pub struct ScaleContent {
    pub name: String,
    /// The least step that it shows.
    pub division: BigDecimal,
    pub unit: Unit,
    pub in_use: bool,
}

/// Reads a scale to add.
pub fn scale_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PutScaleRequest,
) -> Result<NewVersion<ScaleContent>, Failure> {
    let mut faults = Faults::new();
    let Some((division, unit)) = mass_above_0(request.division.as_ref(), "division", &mut faults)
    else {
        return Err(faults.into());
    };
    let in_use = request.in_use.unwrap_or(true);
    let content = ScaleContent { name: request.name.clone(), division, unit, in_use };
    let names = (("id", request.id.as_str()), ("scale", request.scale.as_str()));
    NewVersion::read((call, plant), names, (request, faults), content)
}

/// The entry of a scale's version.
pub fn scale_entry(new: &NewVersion<ScaleContent>, version: i32) -> Value {
    let ScaleContent { name, division, unit, in_use } = &new.content;
    json!({
        "scale": new.of.to_string(), "version": version, "name": name, "in_use": in_use,
        "division": { "value": division.to_plain_string(), "unit": unit.code() },
    })
}

/// A scale as a message.
pub fn scale_out(row: ScaleRow) -> v1::Scale {
    v1::Scale {
        scale: row.id.to_string(),
        version: row.version,
        name: row.name,
        division: Some(v1::Quantity { value: number_out(&row.division), unit: row.unit }),
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}
