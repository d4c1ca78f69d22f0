//! Readings: from what a tablet sends to what is judged, stored and shown.
//! It never asks the database.

use domain::exact::{self, Exact};
use domain::fault::Faults;
use domain::haccp::gate::question::Kind;
use domain::haccp::reading::judge;
use domain::rules::SUPPORT_CAUTION;
use domain::units::{Dimension, Quantity, Unit};
use domain::verdict::{Judgement, Verdict};
use platform::caller::Call;
use platform::error::Failure;
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::instruments::{Used, correction_out};
use super::plans::{Check, PlanVersion};
use crate::store::readings::{Amends, ReadingRow};

/// The values of a reading as they were read.
#[derive(Clone, Debug)]
pub struct Values {
    /// Each value's text as it was entered.
    pub texts: Vec<String>,
    /// Their unit.
    pub unit: Unit,
}

impl Values {
    fn quantities(&self) -> Vec<Quantity> {
        let values = self.texts.iter().filter_map(|text| text.parse().ok());
        values.map(|value| Quantity::new(value, self.unit)).collect()
    }
}

/// A reading about to be judged.
#[derive(Clone, Debug)]
pub struct NewReading {
    /// Its lots, in id order.
    pub lots: Vec<Uuid>,
    /// The plan, its version and the code of the check.
    pub plan: (Uuid, i32, String),
    /// What was read.
    pub values: Values,
    /// When.
    pub moments: Moments,
    /// What it was read with, where an instrument is named.
    pub used: Option<Used>,
    /// A remark.
    pub note: String,
    /// Who recorded it.
    pub stamp: Stamp,
}

/// Reads a reading, and the instrument that it names; every fault is named.
pub fn reading_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordReadingRequest,
) -> Result<(NewReading, Option<Uuid>), Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let instrument = shape::optional_id(&request.instrument, "instrument", &mut faults);
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let lots = lots(&request.lots, &mut faults);
    let values = values(&request.readings, &request.unit, &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let all = (|| Some((id?, plan?, values?, moments?)))();
    let (id, plan, values, moments) = faults.into_result(all)?;
    let stamp = Stamp::of(call, plant, id, format!("lot:{}", lots[0]), request)?;
    let version = request.plan_version.unwrap_or_default();
    let plan = (plan, version, request.check.clone());
    let note = request.note.clone();
    let new = NewReading { lots, plan, values, moments, used: None, note, stamp };
    Ok((new, instrument))
}

/// Reads lots, in id order; each stands once.
pub fn lots(given: &[String], faults: &mut Faults) -> Vec<Uuid> {
    let mut lots = super::ids(given, "lots", faults);
    lots.sort_unstable();
    lots
}

fn values(given: &[String], code: &str, faults: &mut Faults) -> Option<Values> {
    let unit = Unit::from_code(code);
    if unit.is_none() {
        faults.add_value("unit", code, format!("must be one of: {}", Unit::all_codes()));
    }
    for (at, text) in given.iter().enumerate() {
        let Ok(value) = exact::decimal(text) else {
            faults.add_value(format!("readings[{at}]"), text, exact::NotADecimal.to_string());
            continue;
        };
        let quantity = unit.map(|unit| Quantity::new(value.into(), unit));
        if quantity.is_some_and(|quantity| is_impossible(&quantity)) {
            faults.add_value(format!("readings[{at}]"), text, "no instrument can show this");
        }
    }
    Some(Values { texts: given.to_vec(), unit: unit? })
}

fn is_impossible(quantity: &Quantity) -> bool {
    match quantity.unit.dimension() {
        Dimension::Temperature => quantity.is_below_absolute_zero(),
        _ => quantity.value.is_negative(),
    }
}

/// The check of a reading with its judgement. Faults: a code that the plan does not have, a unit of
/// another dimension, a kind of check that single readings do not settle, a unit in which the error
/// of the instrument is not known.
pub fn judged<'p>(
    new: &NewReading,
    plan: &'p PlanVersion,
) -> Result<(&'p Check, Judgement), Failure> {
    let code = &new.plan.2;
    let check = check_of(plan, code)?;
    if check.kind == Kind::Bracket || !check.cooling.is_empty() {
        let text = "this check is not settled by single readings on a lot";
        return Err(Failure::fault("check", code, text));
    }
    let dimension = check.limit.unit.dimension();
    if new.values.unit.dimension() != dimension {
        let text = format!("must be one of: {}", Unit::codes(dimension));
        return Err(Failure::fault("unit", new.values.unit, text));
    }
    let good = new.used.as_ref().and_then(|used| used.good.as_ref());
    if let Some(good) = good.filter(|good| good.unit != new.values.unit.code()) {
        let text = format!("must be {}, in which the instrument was checked", good.unit);
        return Err(Failure::fault("unit", new.values.unit, text));
    }
    let correction = good.map(|good| good.error.as_str());
    Ok((check, judge_read(check, &new.values, (new.used.is_some(), correction))))
}

/// The check of a code; a code that the plan does not have is a fault.
pub fn check_of<'p>(plan: &'p PlanVersion, code: &str) -> Result<&'p Check, Failure> {
    let allowed = || plan.checks.iter().map(|check| check.code.as_str()).collect::<Vec<_>>();
    plan.check(code).ok_or_else(|| {
        let text = format!("must be a check of the plan: {}", allowed().join(" "));
        Failure::fault("check", code, text)
    })
}

/// Judges what was read, the instrument's own error being taken off each value, exactly. Without a
/// good check of its instrument nothing is known.
pub fn judge_read(
    check: &Check,
    values: &Values,
    (has_instrument, correction): (bool, Option<&str>),
) -> Judgement {
    let mut read = values.quantities();
    let Some(correction) = correction else {
        return match has_instrument {
            true => Judgement::because(
                Verdict::Undetermined,
                "The instrument had no good check before this reading, so nothing is known.",
            ),
            false => judge(&check.limit, &read),
        };
    };
    let Ok(error) = correction.parse::<Exact>() else {
        return Judgement::because(Verdict::Undetermined, "The error of the instrument is lost.");
    };
    read.iter_mut().for_each(|quantity| quantity.value = &quantity.value - &error);
    let mut judgement = judge(&check.limit, &read);
    judgement.reasons.insert(0, correction_out(&error, values.unit));
    judgement
}

/// The row of a judged reading.
pub fn row(new: &NewReading, verdict: Verdict, amends: Option<Amends>) -> ReadingRow {
    let stamp = &new.stamp;
    let good = new.used.as_ref().and_then(|used| used.good.as_ref());
    ReadingRow {
        id: stamp.id,
        lots: new.lots.clone(),
        plan: new.plan.0,
        plan_version: new.plan.1,
        check_code: new.plan.2.clone(),
        readings: new.values.texts.clone(),
        unit: new.values.unit.code().to_owned(),
        verdict: verdict.word().to_owned(),
        instrument: new.used.as_ref().map(|used| used.instrument),
        instrument_check: good.map(|good| good.check),
        correction: good.map(|good| good.error.clone()),
        amends,
        moments: new.moments,
        day: stamp.day,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        station: stamp.station.clone(),
        note: new.note.clone(),
        fingerprint: stamp.fingerprint.clone(),
        deviation: None,
        is_less_safe: false,
    }
}

/// The form of a reading's entry: the first one knew no instruments.
pub fn form(new: &NewReading) -> &'static str {
    if new.used.is_some() { "haccp.reading/2" } else { "haccp.reading/1" }
}

/// The entry of a reading; values are texts, exactly as they were entered.
pub fn entry(
    new: &NewReading,
    judgement: &Judgement,
    amends: Option<(Uuid, &str, &Ticket)>,
) -> Value {
    let mut entry = json!({
        "kind": "reading",
        "scope": "whole_lots",
        "lots": new.lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        "plan": new.plan.0.to_string(),
        "plan_version": new.plan.1,
        "check": new.plan.2,
        "readings": new.values.texts,
        "unit": new.values.unit.code(),
        "verdict": judgement.verdict.word(),
        "reasons": judgement.reasons,
        "times": Value::from(new.moments),
        "note": new.note,
    });
    if let Some(used) = &new.used {
        entry["instrument"] = used.entry();
    }
    if let Some((supersedes, reason, ticket)) = amends {
        entry["kind"] = json!("amendment");
        entry["supersedes"] = json!(supersedes.to_string());
        entry["reason"] = json!(reason);
        entry["signature"] = ticket.entry();
    }
    entry
}

/// An amendment: what it amends, why, and what was truly read.
#[derive(Clone, Debug)]
pub struct NewAmendment {
    /// The first reading.
    pub of: Uuid,
    /// Its id.
    pub id: Uuid,
    /// What was truly read.
    pub values: Values,
    /// When.
    pub moments: Moments,
    /// Why.
    pub reason: String,
    /// A remark.
    pub note: String,
}

/// Reads an amendment. It tells of what has happened, so no device clock refuses it.
pub fn amendment_in(
    call: &Call,
    request: &v1::AmendReadingRequest,
) -> Result<NewAmendment, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let of = shape::id(&request.reading, "reading", &mut faults);
    let values = values(&request.readings, &request.unit, &mut faults);
    let claimed = Claimed { observed_at: &request.observed_at, entered_at: "", happened: true };
    let moments = Moments::of(call, claimed, &mut faults);
    let all = (|| Some((id?, of?, values?, moments?)))();
    let (id, of, values, moments) = faults.into_result(all)?;
    let (reason, note) = (request.reason.clone(), request.note.clone());
    Ok(NewAmendment { of, id, values, moments, reason, note })
}

impl NewAmendment {
    /// The amendment as a reading of the same check on the same lots.
    pub fn reading(
        &self,
        first: &ReadingRow,
        (call, plant): (&Call, &Plant),
        (request, used): (&impl Message, Option<Used>),
    ) -> Result<NewReading, Failure> {
        let subject = format!("lot:{}", first.lots[0]);
        Ok(NewReading {
            lots: first.lots.clone(),
            plan: (first.plan, first.plan_version, first.check_code.clone()),
            values: self.values.clone(),
            moments: self.moments,
            used,
            note: self.note.clone(),
            stamp: Stamp::of(call, plant, self.id, subject, request)?,
        })
    }
}

/// A reading as a message, with the amendments of it.
pub fn reading_out(
    row: ReadingRow,
    plan: &PlanVersion,
    amendments: Vec<v1::Reading>,
) -> v1::Reading {
    let values =
        Unit::from_code(&row.unit).map(|unit| Values { texts: row.readings.clone(), unit });
    let check = plan.check(&row.check_code);
    let source = check.map(|check| check.source.clone()).unwrap_or_default();
    let check = check.zip(values);
    let with = (row.instrument.is_some(), row.correction.as_deref());
    let judged = check.map(|(check, values)| judge_read(check, &values, with));
    let verdict = verdict_out(&row.verdict);
    let (supersedes, reason) =
        row.amends.map(|a| (a.supersedes.to_string(), a.reason)).unwrap_or_default();
    v1::Reading {
        reading: row.id.to_string(),
        lots: row.lots.iter().map(Uuid::to_string).collect(),
        plan: row.plan.to_string(),
        plan_version: row.plan_version,
        check: row.check_code,
        readings: row.readings,
        unit: row.unit,
        verdict: Some(verdict.into()),
        reasons: judged.map(|judged| judged.reasons).unwrap_or_default(),
        deviation: row.deviation.map(|id| id.to_string()).unwrap_or_default(),
        observed_at: row.moments.observed_at.to_string(),
        entered_at: row.moments.entered_at.to_string(),
        recorded_at: row.moments.recorded_at.to_string(),
        late_s: i32::try_from(row.moments.late_s()).unwrap_or(i32::MAX),
        clock_off: row.moments.is_clock_off(),
        happened: row.moments.happened,
        entered_by_name: row.entered_by_name,
        station: row.station,
        day: row.day.to_string(),
        note: row.note,
        supersedes,
        reason,
        amendments,
        cautions: vec![SUPPORT_CAUTION.to_owned()],
        source,
        instrument: row.instrument.map(|id| id.to_string()).unwrap_or_default(),
        instrument_check: row.instrument_check.map(|id| id.to_string()).unwrap_or_default(),
        correction: row.correction,
    }
}

/// A verdict's word as a message.
pub fn verdict_out(word: &str) -> v1::Verdict {
    match word {
        "PASS" => v1::Verdict::Pass,
        "FAIL" => v1::Verdict::Fail,
        _ => v1::Verdict::Undetermined,
    }
}

#[cfg(test)]
mod tests;
