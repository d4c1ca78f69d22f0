//! The projection of a link's core and surface through a schedule.
//! It never judges: a limit is met by a probe in the product.

use domain::curve::{Curve, Sample};
use domain::exact::Exact;
use domain::fault::Faults;
use domain::process::cook::{self, Cook, Point, Projection, Stretch};
use domain::process::correction::Reading;
use domain::process::cylinder::Surface;
use domain::process::food::{self, Composition};
use domain::rules::Rule;
use domain::units::{Dimension, Quantity, Unit};
use rust_decimal::Decimal;
use wire::v1;
use wire::v1::{CookProjectionRequest, CookProjectionResponse};

use crate::shape;

/// The longest gap of a curve that is taken where the caller sets none, in seconds.
const MAX_GAP_S: i64 = 300;

/// A step as it was read.
struct ReadStep {
    minutes: Exact,
    medium: Quantity,
    film_w_m2k: Option<Exact>,
}

/// The food: what conduction needs, and where it comes from.
struct Food {
    properties: v1::FoodProperties,
    alpha_m2_s: f64,
    conductivity_w_mk: Option<f64>,
    rule: Option<&'static Rule>,
}

/// Projects the cook. Faults: a schedule of more than a week, a wet bulb above its dry bulb,
/// properties and composition both or neither, parts that do not sum to 99 to 101 %, a film without
/// a conductivity, a curve as of the common shapes.
pub fn calculate(request: CookProjectionRequest) -> Result<CookProjectionResponse, Faults> {
    let mut faults = Faults::new();
    let diameter = diameter(&request, &mut faults);
    let initial = needed_temperature(request.initial.as_ref(), "initial", &mut faults);
    let target = temperature(request.target.as_ref(), "target", &mut faults);
    let common = shape::positive(request.film_w_m2k.as_deref(), "film_w_m2k", &mut faults);
    let steps = steps(&request.steps, common.as_ref(), &mut faults);
    let curve = curve(&request, &mut faults);
    let first_medium = steps.as_ref().and_then(|steps| steps.first()).map(|step| &step.medium);
    let other = if request.target.is_some() { target.as_ref() } else { first_medium };
    let middle = initial.as_ref().zip(other).map(|(a, b)| (&a.base() + &b.base(), b.unit));
    let middle = middle.map(|(sum, unit)| Quantity::from_base(&(sum / Exact::whole(2)), unit));
    let food = food(&request, middle.as_ref(), &mut faults);
    let has_film = steps.iter().flatten().any(|step| step.film_w_m2k.is_some());
    if has_film && food.as_ref().is_some_and(|food| food.conductivity_w_mk.is_none()) {
        faults.add("properties.conductivity_w_mk", "is needed where there is a film");
    }
    let read = match (diameter, initial, steps, food) {
        (Some(diameter), Some(initial), Some(steps), Some(food)) => {
            Some((diameter, initial, steps, food))
        }
        _ => None,
    };
    let (diameter, initial, steps, food) = faults.into_result(read)?;
    let unit = curve.as_ref().map_or(initial.unit, |curve| curve.unit());
    let diameter_m = diameter.base().to_f64() / 1000.0;
    let projection = cook::project(&Cook {
        diameter_m,
        alpha_m2_s: food.alpha_m2_s,
        initial_c: shape::celsius(&initial),
        schedule: steps.iter().map(|step| stretch(step, diameter_m, &food)).collect(),
        target_c: target.as_ref().map(shape::celsius),
        readings: curve.as_ref().map(readings).unwrap_or_default(),
    });
    Ok(answer(&projection, food, unit))
}

fn diameter(request: &CookProjectionRequest, faults: &mut Faults) -> Option<Quantity> {
    if request.diameter.is_none() {
        shape::missing("diameter", faults);
    }
    let given = request.diameter.as_ref();
    let diameter = shape::quantity(given, Dimension::Length, "diameter", faults)?;
    if diameter.value.is_zero() {
        faults.add_value("diameter.value", &diameter.value, "must be above 0");
        return None;
    }
    Some(diameter)
}

fn temperature(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Quantity> {
    shape::quantity(given, Dimension::Temperature, field, faults)
}

fn needed_temperature(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    if given.is_none() {
        shape::missing(field, faults);
    }
    temperature(given, field, faults)
}

fn steps(
    given: &[v1::CookStep],
    common: Option<&Exact>,
    faults: &mut Faults,
) -> Option<Vec<ReadStep>> {
    if given.is_empty() {
        faults.add("steps", "must hold at least one step");
        return None;
    }
    if given.len() > cook::MOST_STEPS {
        faults.add("steps", format!("must hold at most {} steps", cook::MOST_STEPS));
        return None;
    }
    let read: Vec<_> = given
        .iter()
        .enumerate()
        .map(|(at, step)| read_step(step, common, &format!("steps[{at}]"), faults))
        .collect();
    let steps: Vec<ReadStep> = read.into_iter().collect::<Option<_>>()?;
    let total: Exact = steps.iter().map(|step| &step.minutes).sum();
    if total > Exact::whole(cook::MOST_MINUTES) {
        let allowed = format!("must last at most {} minutes together", cook::MOST_MINUTES);
        faults.add_value("steps", total, allowed);
        return None;
    }
    Some(steps)
}

fn read_step(
    given: &v1::CookStep,
    common: Option<&Exact>,
    field: &str,
    faults: &mut Faults,
) -> Option<ReadStep> {
    let name = |part: &str| format!("{field}.{part}");
    if given.minutes.is_none() {
        shape::missing(&name("minutes"), faults);
    }
    let minutes = shape::positive(given.minutes.as_deref(), &name("minutes"), faults);
    let dry_bulb = temperature(given.dry_bulb.as_ref(), &name("dry_bulb"), faults);
    let wet_bulb = given.wet_bulb.as_ref();
    let wet_bulb = shape::wet_bulb(wet_bulb, dry_bulb.as_ref(), &name("wet_bulb"), faults);
    if given.dry_bulb.is_none() && given.wet_bulb.is_none() {
        shape::missing(&name("dry_bulb"), faults);
    }
    let own = shape::positive(given.film_w_m2k.as_deref(), &name("film_w_m2k"), faults);
    let film_w_m2k = own.or_else(|| common.cloned());
    Some(ReadStep { minutes: minutes?, medium: wet_bulb.or(dry_bulb)?, film_w_m2k })
}

fn curve(request: &CookProjectionRequest, faults: &mut Faults) -> Option<Curve> {
    let text = request.max_gap_s.as_deref();
    let max_gap_s = match shape::not_negative(text, "max_gap_s", faults) {
        Some(gap_s) => gap_s.to_decimal(),
        None => Some(Decimal::from(MAX_GAP_S)),
    };
    shape::curve(request.curve.as_ref(), max_gap_s, "curve", faults)
}

/// The samples as floats: a fit has no use for more digits, and there may be very many.
fn readings(curve: &Curve) -> Vec<Reading> {
    let unit = curve.unit();
    let reading = |sample: &Sample| {
        let value = f64::try_from(sample.value).ok()?;
        let core_c = shape::celsius_of(value, unit);
        Some(Reading { t_s: f64::try_from(sample.t_s).ok()?, core_c })
    };
    curve.samples().iter().filter_map(reading).collect()
}

fn food(
    request: &CookProjectionRequest,
    middle: Option<&Quantity>,
    faults: &mut Faults,
) -> Option<Food> {
    let at = temperature(request.properties_at.as_ref(), "properties_at", faults);
    let at = if request.properties_at.is_some() { at } else { middle.cloned() };
    match (&request.properties, &request.composition) {
        (None, None) => {
            faults.add("properties", "is needed, or composition");
            None
        }
        (Some(_), Some(_)) => {
            faults.add("composition", "must not be given together with properties");
            None
        }
        (Some(properties), None) => given_food(properties, faults),
        (None, Some(parts)) => composed_food(parts, at.as_ref(), faults),
    }
}

fn given_food(given: &v1::ThermalProperties, faults: &mut Faults) -> Option<Food> {
    let (alpha, conductivity) = (given.alpha_m2_s.as_deref(), given.conductivity_w_mk.as_deref());
    if alpha.is_none() {
        shape::missing("properties.alpha_m2_s", faults);
    }
    let alpha = shape::positive(alpha, "properties.alpha_m2_s", faults);
    let conductivity = shape::positive(conductivity, "properties.conductivity_w_mk", faults);
    let alpha = alpha?;
    Some(Food {
        properties: v1::FoodProperties {
            density_kg_m3: None,
            cp_j_kgk: None,
            conductivity_w_mk: conductivity.as_ref().and_then(shape::number_out),
            alpha_m2_s: shape::number_out(&alpha),
        },
        alpha_m2_s: alpha.to_f64(),
        conductivity_w_mk: conductivity.as_ref().map(Exact::to_f64),
        rule: None,
    })
}

fn composed_food(
    parts: &v1::FoodComposition,
    at: Option<&Quantity>,
    faults: &mut Faults,
) -> Option<Food> {
    let given = [
        ("moisture_pct", &parts.moisture_pct),
        ("protein_pct", &parts.protein_pct),
        ("fat_pct", &parts.fat_pct),
        ("carbohydrate_pct", &parts.carbohydrate_pct),
        ("ash_pct", &parts.ash_pct),
    ];
    let read = given.map(|(name, text)| match text {
        None => Some(Exact::zero()),
        text => shape::percentage(text.as_deref(), &format!("composition.{name}"), faults),
    });
    let [Some(moisture), Some(protein), Some(fat), Some(carbohydrate), Some(ash)] = read else {
        return None;
    };
    let percentages = [moisture, protein, fat, carbohydrate, ash];
    let Some(composition) = Composition::new(&percentages) else {
        let sum: Exact = percentages.iter().sum();
        faults.add_value("composition", sum, "must sum to 99 to 101 %");
        return None;
    };
    let at = at?;
    let Some(properties) = composition.properties(shape::celsius(at)) else {
        let allowed = "must lie within 0 and 150 Cel, where the properties are tabulated";
        faults.add_value("properties_at", at, allowed);
        return None;
    };
    Some(Food {
        properties: v1::FoodProperties {
            density_kg_m3: shape::float_out(properties.density_kg_m3),
            cp_j_kgk: shape::float_out(properties.cp_j_kgk),
            conductivity_w_mk: shape::float_out(properties.conductivity_w_mk),
            alpha_m2_s: shape::float_out(properties.alpha_m2_s),
        },
        alpha_m2_s: properties.alpha_m2_s,
        conductivity_w_mk: Some(properties.conductivity_w_mk),
        rule: Rule::newest(food::RULE_ID),
    })
}

fn stretch(step: &ReadStep, diameter_m: f64, food: &Food) -> Stretch {
    let surface = match (&step.film_w_m2k, food.conductivity_w_mk) {
        (Some(film_w_m2k), Some(conductivity_w_mk)) => {
            Surface::of_film(film_w_m2k.to_f64(), diameter_m, conductivity_w_mk)
        }
        _ => Surface::Held,
    };
    let medium_c = shape::celsius(&step.medium);
    Stretch { minutes: step.minutes.clone(), medium_c, surface }
}

fn answer(projection: &Projection, food: Food, unit: Unit) -> CookProjectionResponse {
    let rules: Vec<&Rule> = Rule::newest(cook::RULE_ID).into_iter().chain(food.rule).collect();
    let seconds = |value: Option<f64>| value.and_then(shape::float_out);
    CookProjectionResponse {
        reached_at_s: seconds(projection.reached_at_s),
        core: curve_out(&projection.points, unit, |point| point.core_c),
        surface: curve_out(&projection.points, unit, |point| point.surface_c),
        properties: Some(food.properties),
        biot: projection.biot.and_then(shape::float_out),
        interval_s: projection.interval.map(|interval| v1::ProjectionInterval {
            low: seconds(interval.low_s),
            high: seconds(interval.high_s),
        }),
        rules: shape::rules_out(&rules),
        cautions: shape::cautions_out(&rules, &projection.cautions),
    }
}

/// A projected curve; nothing when a value is not finite.
fn curve_out(points: &[Point], unit: Unit, value: fn(&Point) -> f64) -> Option<v1::Curve> {
    let sample = |point: &Point| {
        let value = shape::float_out(shape::in_unit(value(point), unit))?;
        Some(v1::Sample { t_s: shape::number_out(&point.t_s), value: Some(value) })
    };
    let samples = points.iter().map(sample).collect::<Option<_>>()?;
    Some(v1::Curve { unit: unit.code().to_owned(), samples })
}
