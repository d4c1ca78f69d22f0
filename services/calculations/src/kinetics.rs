//! Thermal death models as they are given: z and D, or the points to fit.
//! It never mixes the two and never extrapolates in silence.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::heat::model::{Model, NoFit, Point};
use domain::units::Dimension;
use wire::v1;

use crate::shape;

/// Reads a model, and the points to which it was fitted.
pub fn read(given: &v1::LethalityModel, faults: &mut Faults) -> (Option<Model>, Vec<Point>) {
    if given.reference.is_none() {
        shape::missing("model.reference", faults);
    }
    let reference = shape::quantity(
        given.reference.as_ref(),
        Dimension::Temperature,
        "model.reference",
        faults,
    );
    let floor =
        shape::quantity(given.floor.as_ref(), Dimension::Temperature, "model.floor", faults);
    let reference_f = reference.map(|reference| reference.base());
    let floor_f = floor.map(|floor| floor.base());
    let by_points = !given.points.is_empty();
    if by_points && (given.z.is_some() || given.d_s.is_some()) {
        faults.add("model.points", "must not stand beside z or d_s: give one or the other");
    }
    let (model, points) = if by_points {
        let points = points(&given.points, faults);
        (fitted(reference_f, &points, faults), points.unwrap_or_default())
    } else {
        (stated(given, reference_f, faults), Vec::new())
    };
    (model.map(|model| Model { floor_f, ..model }), points)
}

fn stated(
    given: &v1::LethalityModel,
    reference_f: Option<Exact>,
    faults: &mut Faults,
) -> Option<Model> {
    if given.z.is_none() {
        shape::missing("model.z", faults);
    }
    if given.d_s.is_none() && given.z.is_some() {
        shape::missing("model.d_s", faults);
    }
    let z = shape::temperature_difference(given.z.as_ref(), "model.z", faults);
    if let Some(z) = z.as_ref().filter(|z| z.value.is_zero()) {
        faults.add_value("model.z.value", &z.value, "must be above 0");
        return None;
    }
    let d_s = shape::positive(given.d_s.as_deref(), "model.d_s", faults);
    let z_f = z?.base_difference();
    Some(Model { reference_f: reference_f?, z_f, d_s: d_s?, floor_f: None, r_squared: None })
}

fn points(given: &[v1::DeathPoint], faults: &mut Faults) -> Option<Vec<Point>> {
    let read = given.iter().enumerate().map(|(at, point)| {
        let temperature = format!("model.points[{at}].temperature");
        let d_s = format!("model.points[{at}].d_s");
        if point.temperature.is_none() {
            shape::missing(&temperature, faults);
        }
        if point.d_s.is_none() {
            shape::missing(&d_s, faults);
        }
        let dimension = Dimension::Temperature;
        let read = shape::quantity(point.temperature.as_ref(), dimension, &temperature, faults);
        let d_s = shape::positive(point.d_s.as_deref(), &d_s, faults);
        read.zip(d_s).map(|(read, d_s)| Point { temperature_f: read.base(), d_s })
    });
    let read: Vec<Option<Point>> = read.collect();
    read.into_iter().collect()
}

fn fitted(
    reference_f: Option<Exact>,
    points: &Option<Vec<Point>>,
    faults: &mut Faults,
) -> Option<Model> {
    let fitted = Model::fitted(reference_f?, points.as_ref()?);
    let fault = match fitted {
        Ok(model) => return Some(model),
        Err(NoFit::OneTemperature) => "must hold at least two temperatures",
        Err(NoFit::NotFalling) => "must fall in d_s as the temperature rises",
    };
    faults.add("model.points", fault);
    None
}

/// What a person should know of a model: Thomas et al. (1966) advise not to reach more than
/// 5.56 Cel beyond the temperatures tested.
pub fn cautions(model: &Model, points: &[Point], hottest_f: Option<&Exact>) -> Vec<String> {
    let mut cautions = Vec::new();
    let temperatures = || points.iter().map(|point| &point.temperature_f);
    let reach_f = Exact::whole(10);
    if let Some((hottest, tested)) = hottest_f.zip(temperatures().max())
        && *hottest > tested + &reach_f
    {
        cautions.push(format!(
            "The curve is more than {reach_f} [degF] above the hottest point of the model \
             ({tested} [degF]); such extrapolation is advised against (Thomas et al. 1966)."
        ));
    }
    if let Some(coldest) = temperatures().min()
        && model.floor_f.is_none()
    {
        cautions.push(format!(
            "The model has no floor; its coldest point is {coldest} [degF], and what lies below it \
             is counted by extrapolation."
        ));
    }
    cautions
}
