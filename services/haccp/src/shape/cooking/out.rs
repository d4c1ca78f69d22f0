//! Loads as messages: products and racks with their verdicts; the load as a whole has none.
//! It never leaves out what does not count: it says that it does not, and why.

use domain::exact::Exact;
use domain::haccp::chill::Limb;
use domain::haccp::cook::Cook;
use domain::haccp::gate::question::At;
use domain::rules::SUPPORT_CAUTION;
use domain::units::{Quantity, Unit};
use domain::verdict::Verdict;
use jiff::Timestamp;
use wire::v1;

use super::judged::{Chilled, Cooked, Judging};
use super::samples::NewBlock;
use crate::store::cooking::whole::{BlockRow, Head, LeftOutRow, ProbeRow, RackRow, StandingRow};

/// A load with what was recorded of it, and nothing judged anew.
pub fn head_out(head: &Head) -> v1::Load {
    let load = &head.load;
    v1::Load {
        load: load.id.to_string(),
        house: load.house.to_string(),
        house_name: load.house_name.clone(),
        observed_at: load.observed_at.to_jiff().to_string(),
        recorded_at: load.recorded_at.to_jiff().to_string(),
        entered_by_name: load.entered_by_name.clone(),
        note: load.note.clone(),
        day: load.day.to_jiff().to_string(),
        products: Vec::new(),
        racks: head.racks.iter().map(|rack| rack_out(rack, &head.standing)).collect(),
        probes: head.probes.iter().map(|row| probe_out(row, &head.left_out)).collect(),
        cautions: vec![SUPPORT_CAUTION.to_owned()],
    }
}

fn rack_out(rack: &RackRow, standing: &[StandingRow]) -> v1::LoadRack {
    let of_rack = standing.iter().filter(|row| row.lot == rack.lot);
    let chills = of_rack.map(|row| v1::RackChill {
        check: row.check_code.clone(),
        verdict: Some(verdict_of(&row.verdict).into()),
        reasons: vec![row.what.clone()],
        ..v1::RackChill::default()
    });
    v1::LoadRack {
        rack: rack.lot.to_string(),
        pulled_at: rack.pulled_at.map(|at| at.to_jiff().to_string()).unwrap_or_default(),
        cook: None,
        chills: chills.collect(),
        deviation: rack.deviation.map(|id| id.to_string()).unwrap_or_default(),
        code: rack.lot_code.clone(),
    }
}

fn probe_out(row: &ProbeRow, left_out: &[LeftOutRow]) -> v1::LoadProbe {
    let left_out = left_out.iter().find(|out| out.probe == row.probe);
    v1::LoadProbe {
        probe: row.probe.clone(),
        seat: row.seat.clone(),
        lot: row.lot.map(|lot| lot.to_string()).unwrap_or_default(),
        left_out_from: left_out.map(|o| o.left_out_from.to_jiff().to_string()).unwrap_or_default(),
        left_out_by_name: left_out.map(|out| out.entered_by_name.clone()).unwrap_or_default(),
        left_out_reason: left_out.map(|out| out.reason.clone()).unwrap_or_default(),
        ..v1::LoadProbe::default()
    }
}

/// A load with all that is proved of it now.
pub fn load_out(judging: &Judging<'_>, now: Timestamp) -> v1::Load {
    let (cooked, chilled) = (judging.cooked(), judging.chilled());
    let mut load = head_out(judging.head);
    load.products = cooked.iter().map(|one| product_out(one, now)).collect();
    for (message, rack) in load.racks.iter_mut().zip(&judging.head.racks) {
        let at_pull = cooked.iter().filter_map(|one| one.at_its_pull(rack));
        let verdicts: Vec<Verdict> = at_pull.map(|cook| cook.verdict).collect();
        if !verdicts.is_empty() {
            message.cook = Some(verdict_out(Verdict::of_all(verdicts)).into());
        }
        let of_rack = chilled.iter().filter(|one| one.racks.iter().any(|r| r.lot == rack.lot));
        message.chills = of_rack.map(chill_out).collect();
    }
    for message in &mut load.probes {
        probe_now(judging, message, &cooked);
    }
    load.cautions.extend(cautions(judging));
    load
}

fn product_out(cooked: &Cooked<'_>, now: Timestamp) -> v1::LoadProduct {
    let Cook { verdict, met_at, decided_by, reasons, coldest_f, .. } = cooked.now(now);
    let limit = &cooked.check.limit;
    let quantity = |value: Exact| v1::Quantity {
        value: Some(value.to_string()),
        unit: limit.unit.code().into(),
    };
    let coldest = coldest_f.map(|value_f| Quantity::from_base(&value_f, limit.unit).value);
    let least = limit.at_least.as_ref();
    let remaining = least.zip(coldest.as_ref()).map(|(least, coldest)| least - coldest);
    v1::LoadProduct {
        plan: cooked.plan.plan.to_string(),
        plan_version: cooked.plan.version,
        plan_name: cooked.plan.name.clone(),
        check: cooked.check.code.clone(),
        racks: cooked.racks.iter().map(|rack| rack.lot.to_string()).collect(),
        verdict: Some(verdict_out(verdict).into()),
        met_at: met_at.map(instant).unwrap_or_default(),
        decided_by: decided_by.to_owned(),
        reasons,
        support: cooked.support(now),
        limit: least.cloned().map(quantity),
        coldest: coldest.map(|value| quantity(hundredths(value, Exact::floor))),
        remaining: remaining.map(|value| quantity(hundredths(value, Exact::ceil))),
        look_due_at: cooked.look_due_at().map(instant).unwrap_or_default(),
    }
}

/// A value as it is, or cut to hundredths where its decimals have no end.
fn hundredths(value: Exact, towards: impl Fn(&Exact) -> Exact) -> Exact {
    let hundred = Exact::whole(100);
    match value.to_decimal() {
        Some(_) => value,
        None => towards(&(&value * &hundred)) / hundred,
    }
}

fn chill_out(chilled: &Chilled<'_>) -> v1::RackChill {
    let found = &chilled.found;
    v1::RackChill {
        check: chilled.check.code.clone(),
        judged_by: chilled.check.cooling.clone(),
        verdict: Some(verdict_out(found.verdict).into()),
        reasons: found.reasons.clone(),
        limbs: found.limbs.iter().map(limb_out).collect(),
        reading_due_at: found.reading_due_at.map(instant).unwrap_or_default(),
        seen_until: found.seen_until.map(instant).unwrap_or_default(),
    }
}

fn limb_out(limb: &Limb) -> v1::ChillLimb {
    v1::ChillLimb {
        from: Some(fahrenheit(limb.from_f.to_string())),
        to: Some(fahrenheit(limb.to_f.to_string())),
        limit_s: Some(limb.limit_s.to_string()),
        // To the microsecond, and never towards a pass.
        least_s: limb.taken.least_s.as_ref().map(|s| cut(s, Exact::floor)),
        most_s: limb.taken.most_s.as_ref().map(|s| cut(s, Exact::ceil)),
        verdict: Some(verdict_out(limb.verdict).into()),
    }
}

fn cut(seconds: &Exact, towards: impl Fn(&Exact) -> Exact) -> String {
    let million = Exact::whole(1_000_000);
    (towards(&(seconds * &million)) / million).to_string()
}

fn probe_now(judging: &Judging<'_>, message: &mut v1::LoadProbe, cooked: &[Cooked<'_>]) {
    let line = judging.lines.probes.get(&message.probe);
    if let Some(last) = line.and_then(|line| line.last()) {
        message.last_at = instant(last.at);
        message.last = Some(fahrenheit(last.lowest_f.normalize().to_string()));
    }
    let sits_in = |one: &&Cooked<'_>| one.racks.iter().any(|r| r.lot.to_string() == message.lot);
    let plan = cooked.iter().find(sits_in).map(|one| one.plan);
    if let Some(fall) = plan.and_then(|plan| judging.fall(&message.probe, plan)) {
        message.not_in_product_from = instant(fall.from);
        message.finding = fall.words();
    }
}

fn cautions(judging: &Judging<'_>) -> Vec<String> {
    let head = judging.head;
    let mut cautions = Vec::new();
    let has = |seat: &str| head.probes.iter().any(|row| row.seat == seat);
    if has("rack") && !has("air") {
        cautions.push("No probe is in the air: one that leaves the product is not found.".into());
    }
    for rack in head.racks.iter().filter(|rack| rack.bound().is_none()) {
        let code = &rack.lot_code;
        cautions.push(format!("Rack {code} is bound to no plan that is known here: not judged."));
    }
    cautions
}

/// A verdict as a message.
pub fn verdict_out(verdict: Verdict) -> v1::Verdict {
    match verdict {
        Verdict::Pass => v1::Verdict::Pass,
        Verdict::Fail => v1::Verdict::Fail,
        Verdict::Undetermined => v1::Verdict::Undetermined,
    }
}

fn verdict_of(word: &str) -> v1::Verdict {
    match word {
        "PASS" => v1::Verdict::Pass,
        "FAIL" => v1::Verdict::Fail,
        _ => v1::Verdict::Undetermined,
    }
}

fn fahrenheit(value: String) -> v1::Quantity {
    v1::Quantity { value: Some(value), unit: Unit::Fahrenheit.code().into() }
}

fn instant(at: At) -> String {
    Timestamp::from_microsecond(at).map(|at| at.to_string()).unwrap_or_default()
}

/// A stored block as a message.
pub fn block_out(new: &NewBlock, row: &BlockRow, reasons: Vec<String>) -> v1::SampleBlock {
    let at = |sample: Option<&(rust_decimal::Decimal, _)>| {
        sample.and_then(|(t_s, _)| new.block.instant(*t_s)).map(instant).unwrap_or_default()
    };
    let samples: &[(rust_decimal::Decimal, rust_decimal::Decimal)] = &new.block.samples;
    v1::SampleBlock {
        block: row.id.to_string(),
        load: new.load.to_string(),
        probe: row.probe.clone(),
        source: row.source.clone(),
        lot: row.lot.map(|lot| lot.to_string()).unwrap_or_default(),
        samples: i32::try_from(samples.len()).unwrap_or(i32::MAX),
        first_at: at(samples.first()),
        last_at: at(samples.last()),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        correction: row.correction.clone(),
        reasons,
    }
}

/// A stored block as a part of a curve.
pub fn curve_out(row: BlockRow) -> v1::LoadCurve {
    let samples = row.times.into_iter().zip(row.shown);
    let sample = |(t_s, value)| v1::Sample { t_s: Some(t_s), value: Some(value) };
    v1::LoadCurve {
        probe: row.probe,
        source: row.source,
        lot: row.lot.map(|lot| lot.to_string()).unwrap_or_default(),
        unit: row.unit,
        begun_at: row.begun_at.to_jiff().to_string(),
        samples: samples.map(sample).collect(),
    }
}
