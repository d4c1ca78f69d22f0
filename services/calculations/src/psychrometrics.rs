//! Humid air in a house: humidity, wet bulb, dew point, and how fast it dries a wet link.
//! It never answers for air that cannot be.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::process::air::{self, Air, Impossible};
use domain::rules::Rule;
use domain::units::{Dimension, Quantity, Unit};
use wire::v1::{PsychrometricsRequest, PsychrometricsResponse};

use crate::shape;

/// What is known of the moisture.
enum Moisture {
    WetBulb(Quantity),
    RelativeHumidity(Exact),
}

/// The wet link that the air dries.
struct Link {
    film_w_m2k: Option<Exact>,
    diameter: Option<Quantity>,
    density_kg_m3: Option<Exact>,
}

/// The state of the air. Faults: a dry bulb outside 0 to 200 Cel, a wet bulb above it or so low
/// that the air would be drier than dry, moisture that the pressure cannot hold, pressure given
/// twice.
pub fn calculate(request: PsychrometricsRequest) -> Result<PsychrometricsResponse, Faults> {
    let mut faults = Faults::new();
    let dry_bulb = dry_bulb(&request, &mut faults);
    let moisture = moisture(&request, dry_bulb.as_ref(), &mut faults);
    let pressure_pa = pressure_pa(&request, &mut faults);
    let link = link(&request, &mut faults);
    let state = match (dry_bulb, moisture, pressure_pa) {
        (Some(dry_bulb), Some(moisture), Some(pressure_pa)) => {
            let air = state(&dry_bulb, &moisture, pressure_pa, &mut faults);
            air.map(|air| (dry_bulb, moisture, pressure_pa, air))
        }
        _ => None,
    };
    let (dry_bulb, moisture, pressure_pa, air) = faults.into_result(state)?;
    Ok(answer(&dry_bulb, moisture, pressure_pa, &air, &link))
}

fn dry_bulb(request: &PsychrometricsRequest, faults: &mut Faults) -> Option<Quantity> {
    if request.dry_bulb.is_none() {
        shape::missing("dry_bulb", faults);
    }
    let given = request.dry_bulb.as_ref();
    let dry_bulb = shape::quantity(given, Dimension::Temperature, "dry_bulb", faults)?;
    let (lowest, highest) = air::DRY_BULB_RANGE_C;
    let bound = |celsius| Quantity::new(Exact::whole(celsius), Unit::Celsius).base();
    if dry_bulb.base() < bound(lowest) || dry_bulb.base() > bound(highest) {
        let allowed = format!("must lie within {lowest} and {highest} Cel");
        faults.add_value("dry_bulb.value", &dry_bulb.value, allowed);
        return None;
    }
    Some(dry_bulb)
}

fn moisture(
    request: &PsychrometricsRequest,
    dry_bulb: Option<&Quantity>,
    faults: &mut Faults,
) -> Option<Moisture> {
    let wet_bulb = shape::wet_bulb(request.wet_bulb.as_ref(), dry_bulb, "wet_bulb", faults);
    let text = request.relative_humidity_pct.as_deref();
    let humidity = shape::percentage(text, "relative_humidity_pct", faults);
    match (&request.wet_bulb, text) {
        (None, None) => {
            faults.add("wet_bulb", "is needed, or relative_humidity_pct");
            None
        }
        (Some(_), Some(text)) => {
            let fault = "must not be given together with wet_bulb";
            faults.add_value("relative_humidity_pct", text, fault);
            None
        }
        (Some(_), None) => wet_bulb.map(Moisture::WetBulb),
        (None, Some(_)) => humidity.map(Moisture::RelativeHumidity),
    }
}

fn pressure_pa(request: &PsychrometricsRequest, faults: &mut Faults) -> Option<f64> {
    let pressure = request.pressure_pa.as_deref();
    let altitude = request.altitude_m.as_deref();
    if let (Some(_), Some(altitude)) = (pressure, altitude) {
        faults.add_value("altitude_m", altitude, "must not be given together with pressure_pa");
        return None;
    }
    if let Some(text) = pressure {
        return within(text, air::PRESSURE_RANGE_PA, "pressure_pa", faults);
    }
    let Some(text) = altitude else {
        return Some(air::STANDARD_PRESSURE_PA);
    };
    let altitude_m = within(text, air::ALTITUDE_RANGE_M, "altitude_m", faults)?;
    Some(air::pressure_at_altitude_pa(altitude_m))
}

fn within(
    text: &str,
    (lowest, highest): (i64, i64),
    field: &str,
    faults: &mut Faults,
) -> Option<f64> {
    let value = shape::number(Some(text), field, faults)?;
    if value < Exact::whole(lowest) || value > Exact::whole(highest) {
        faults.add_value(field, value, format!("must lie within {lowest} and {highest}"));
        return None;
    }
    Some(value.to_f64())
}

fn link(request: &PsychrometricsRequest, faults: &mut Faults) -> Link {
    let film_w_m2k = shape::not_negative(request.film_w_m2k.as_deref(), "film_w_m2k", faults);
    let given = request.diameter.as_ref();
    let diameter = shape::quantity(given, Dimension::Length, "diameter", faults);
    if let Some(diameter) = diameter.as_ref().filter(|diameter| diameter.value.is_zero()) {
        faults.add_value("diameter.value", &diameter.value, "must be above 0");
    }
    let density_kg_m3 = shape::positive(request.density_kg_m3.as_deref(), "density_kg_m3", faults);
    Link { film_w_m2k, diameter, density_kg_m3 }
}

fn state(
    dry_bulb: &Quantity,
    moisture: &Moisture,
    pressure_pa: f64,
    faults: &mut Faults,
) -> Option<Air> {
    let dry_c = shape::celsius(dry_bulb);
    let (field, value, air) = match moisture {
        Moisture::WetBulb(wet_bulb) => {
            let air = air::by_wet_bulb(dry_c, shape::celsius(wet_bulb), pressure_pa);
            ("wet_bulb", wet_bulb.to_string(), air)
        }
        Moisture::RelativeHumidity(humidity) => {
            let air = air::by_relative_humidity(dry_c, humidity.to_f64(), pressure_pa);
            ("relative_humidity_pct", humidity.to_string(), air)
        }
    };
    air.map_err(|impossible| faults.add_value(field, value, refusal(impossible))).ok()
}

fn refusal(impossible: Impossible) -> &'static str {
    match impossible {
        Impossible::DrierThanDry => {
            "must not be so low: the air would have to be drier than dry at this dry bulb"
        }
        Impossible::WetBulbBoils => "must be below the boiling point of water at this pressure",
        Impossible::VapourAbovePressure => {
            "must be lower: at this dry bulb the vapour alone would exceed the pressure"
        }
    }
}

fn answer(
    dry_bulb: &Quantity,
    moisture: Moisture,
    pressure_pa: f64,
    air: &Air,
    link: &Link,
) -> PsychrometricsResponse {
    let unit = dry_bulb.unit;
    let temperature = |celsius| shape::celsius_out(celsius, unit);
    // What was given is given back as it was, not as a calculation reproduces it.
    let (wet_bulb, relative_humidity_pct) = match moisture {
        Moisture::WetBulb(wet_bulb) => {
            let wet_bulb = wet_bulb.to(unit).as_ref().map(shape::quantity_out);
            (wet_bulb, shape::float_out(air.relative_humidity_pct))
        }
        Moisture::RelativeHumidity(humidity) => {
            (temperature(air.wet_bulb_c), shape::number_out(&humidity))
        }
    };
    let evaporation = link.film_w_m2k.as_ref().map(|film_w_m2k| {
        let dry_c = shape::celsius(dry_bulb);
        air::evaporation_kg_m2h(dry_c, air.wet_bulb_c, film_w_m2k.to_f64())
    });
    let drying = match (evaporation, &link.diameter, &link.density_kg_m3) {
        (Some(evaporation), Some(diameter), Some(density)) => {
            let diameter_m = diameter.base().to_f64() / 1000.0;
            Some(air::drying_pct_per_h(evaporation, diameter_m, density.to_f64()))
        }
        _ => None,
    };
    let drying_rule = evaporation.and(Rule::newest(air::DRYING_RULE_ID));
    let rules: Vec<&Rule> = Rule::newest(air::RULE_ID).into_iter().chain(drying_rule).collect();
    PsychrometricsResponse {
        relative_humidity_pct,
        wet_bulb,
        dew_point: air.dew_point_c.and_then(temperature),
        humidity_ratio: shape::float_out(air.humidity_ratio),
        pressure_pa: shape::float_out(pressure_pa),
        saturation_pressure_pa: shape::float_out(air.saturation_pressure_pa),
        evaporation_kg_m2h: evaporation.and_then(shape::float_out),
        drying_pct_per_h: drying.and_then(shape::float_out),
        rules: shape::rules_out(&rules),
        cautions: shape::cautions_out(&rules, &[]),
    }
}
