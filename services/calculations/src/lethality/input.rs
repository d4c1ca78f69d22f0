//! The input of a lethality calculation, read with every fault named.
//! It never fills in a species, a form or a limit.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::heat::dwell::TABLES;
use domain::heat::heating::HeatingLimit;
use domain::heat::humidity::{self, Reading};
use domain::heat::model::{Model, Point};
use domain::heat::product::{CookedProduct, FORMS, MEATS, POULTRY};
use domain::rules::Rule;
use domain::units::Dimension;
use wire::v1;

use crate::{kinetics, probes, shape};

/// What was asked, as far as it could be read.
#[derive(Default)]
pub struct Input {
    pub model: Option<Model>,
    /// The points to which the model was fitted, if it was.
    pub points: Vec<Point>,
    pub target_log: Option<Exact>,
    pub table: Option<&'static Rule>,
    pub product: CookedProduct,
    pub cook_ended_s: Option<Exact>,
    pub humidity: Option<Humidity>,
    pub heating: Option<HeatingLimit>,
}

/// Humidity readings and the rule to judge them by.
pub struct Humidity {
    pub rule: &'static Rule,
    pub readings: Vec<Reading>,
}

/// Reads everything but the curves.
pub fn read(request: &v1::LethalityRequest, faults: &mut Faults) -> Input {
    if request.model.is_none() && request.rule_id.is_none() && request.heating.is_none() {
        faults.add("model", "is needed, or rule_id, or heating");
    }
    let (model, points) = match &request.model {
        Some(model) => kinetics::read(model, faults),
        None => (None, Vec::new()),
    };
    Input {
        model,
        points,
        target_log: shape::positive(request.target_log.as_deref(), "target_log", faults),
        table: request.rule_id.as_deref().and_then(|id| table(id, faults)),
        product: request.product.as_ref().map(|p| product(p, faults)).unwrap_or_default(),
        cook_ended_s: shape::number(request.cook_ended_t_s.as_deref(), "cook_ended_t_s", faults),
        humidity: request.humidity.as_ref().and_then(|given| humidity_readings(given, faults)),
        heating: request.heating.as_ref().and_then(|given| heating(given, faults)),
    }
}

fn table(id: &str, faults: &mut Faults) -> Option<&'static Rule> {
    let rule = TABLES.contains(&id).then(|| Rule::newest(id)).flatten();
    if rule.is_none() {
        faults.add_value("rule_id", id, format!("must be one of: {}", TABLES.join(" ")));
    }
    rule
}

fn product(given: &v1::CookedProduct, faults: &mut Faults) -> CookedProduct {
    let known = |word: &str| MEATS.contains(&word) || POULTRY.contains(&word);
    for (at, species) in given.species.iter().enumerate().filter(|(_, word)| !known(word)) {
        let words = format!("must be one of: {} {}", MEATS.join(" "), POULTRY.join(" "));
        faults.add_value(format!("product.species[{at}]"), species, words);
    }
    if let Some(form) = given.form.as_deref().filter(|form| !FORMS.contains(form)) {
        let words = format!("must be one of: {}", FORMS.join(" "));
        faults.add_value("product.form", form, words);
    }
    CookedProduct {
        species: given.species.clone(),
        cured: given.cured.unwrap_or(false),
        form: given.form.clone(),
    }
}

fn humidity_readings(given: &v1::HumidityReadings, faults: &mut Faults) -> Option<Humidity> {
    let rule = Rule::newest(humidity::RULE).filter(|rule| rule.id == given.rule_id);
    if rule.is_none() {
        let words = format!("must be one of: {}", humidity::RULE);
        faults.add_value("humidity.rule_id", &given.rule_id, words);
    }
    let mut readings: Vec<Reading> = Vec::with_capacity(given.samples.len());
    let mut whole = given.samples.len() >= 2;
    if !whole {
        faults.add("humidity.samples", "must hold at least two samples");
    }
    for (at, sample) in given.samples.iter().enumerate() {
        let Some(reading) = reading(sample, &format!("humidity.samples[{at}]"), faults) else {
            whole = false;
            continue;
        };
        if readings.last().is_some_and(|last| reading.0 <= last.0) {
            let field = format!("humidity.samples[{at}].t_s");
            faults.add_value(field, &reading.0, "must be later than the sample before it");
            whole = false;
        }
        readings.push(reading);
    }
    rule.filter(|_| whole).map(|rule| Humidity { rule, readings })
}

fn reading(sample: &v1::Sample, field: &str, faults: &mut Faults) -> Option<Reading> {
    let (t_s, value) = (format!("{field}.t_s"), format!("{field}.value"));
    for (given, field) in [(&sample.t_s, &t_s), (&sample.value, &value)] {
        if given.is_none() {
            shape::missing(field, faults);
        }
    }
    let time = shape::number(sample.t_s.as_deref(), &t_s, faults);
    let humidity = shape::percentage(sample.value.as_deref(), &value, faults);
    time.zip(humidity)
}

fn heating(given: &v1::HeatingLimit, faults: &mut Faults) -> Option<HeatingLimit> {
    let mut temperature = |quantity: Option<&v1::Quantity>, field: &str| {
        if quantity.is_none() {
            shape::missing(field, faults);
        }
        shape::quantity(quantity, Dimension::Temperature, field, faults).map(|q| q.base())
    };
    let from_f = temperature(given.from.as_ref(), "heating.from");
    let to_f = temperature(given.to.as_ref(), "heating.to");
    if given.limit_s.is_none() {
        shape::missing("heating.limit_s", faults);
    }
    let limit_s = shape::not_negative(given.limit_s.as_deref(), "heating.limit_s", faults);
    let between =
        probes::between(given.between_readings.as_deref(), "heating.between_readings", faults);
    let (from_f, to_f) = from_f.zip(to_f)?;
    if to_f <= from_f {
        faults.add("heating.to", "must be above heating.from");
        return None;
    }
    Some(HeatingLimit { from_f, to_f, limit_s: limit_s?, between })
}
