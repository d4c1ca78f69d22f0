//! What lots cost, and what the inputs of a lot cost through the lot graph.
//! It never adds up money of two currencies, and never guesses a price.

use std::collections::{BTreeSet, HashMap};

use bigdecimal::BigDecimal;
use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::{Quantity, Unit};
use domain::yields::cost::{self, Cost, Price};
use domain::yields::stages::{Stage, Weighing, found};
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::graph::Around;
use super::{ROUNDING, exact, exact_out, mass_above_0, number_out, stored};
use crate::store::costs::CostRow;
use crate::store::weighings::Whole;

/// A cost about to be recorded.
#[derive(Clone, Debug)]
pub struct NewCost {
    pub lot: Uuid,
    /// The least coin, a whole number.
    pub amount_minor: BigDecimal,
    pub currency: String,
    /// For this mass.
    pub per: (BigDecimal, Unit),
    pub source: String,
    pub stamp: Stamp,
}

/// Reads a cost; every fault is named.
pub fn cost_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PutCostRequest,
) -> Result<NewCost, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let lot = shape::id(&request.lot, "lot", &mut faults);
    let text = request.amount_minor.as_deref().unwrap_or_default();
    let amount = shape::decimal(text, "amount_minor", &mut faults);
    if let Some(amount) = amount.filter(|amount| !amount.fract().is_zero()) {
        let whole = "must be a whole number of the least coin: 18900 for 189.00";
        faults.add_value("amount_minor", amount, whole);
    }
    let amount = amount.and_then(|amount| stored(&amount.to_string()));
    let per = mass_above_0(request.per.as_ref(), "per", &mut faults);
    let all = (|| Some((id?, lot?, amount?, per?)))();
    let (id, lot, amount_minor, per) = faults.into_result(all)?;
    Ok(NewCost {
        lot,
        amount_minor,
        currency: request.currency.clone(),
        per,
        source: request.source.clone(),
        stamp: Stamp::of(call, plant, id, format!("lot:{lot}"), request)?,
    })
}

/// The lot of a cost must be one that nothing of the plant made.
pub fn check_lot(lot: Uuid, kind: &str) -> Result<(), Failure> {
    match kind {
        "received" | "opening_stock" => Ok(()),
        kind => {
            let text = format!(
                "must be a received lot or opening stock; the cost of a {kind} lot is that of \
                 what went into it"
            );
            Err(Failure::fault("lot", lot, text))
        }
    }
}

/// The entry of a cost.
pub fn cost_entry(new: &NewCost, version: i32) -> Value {
    let (value, unit) = &new.per;
    json!({
        "lots": [new.lot.to_string()], "version": version,
        "amount_minor": new.amount_minor.to_plain_string(), "currency": new.currency,
        "per": { "value": value.to_plain_string(), "unit": unit.code() }, "source": new.source,
    })
}

/// A cost as a message.
pub fn cost_out(row: CostRow) -> v1::LotCost {
    v1::LotCost {
        cost: row.id.to_string(),
        lot: row.lot.to_string(),
        version: row.version,
        amount_minor: number_out(&row.amount_minor),
        currency: row.currency,
        per: Some(v1::Quantity { value: number_out(&row.per_value), unit: row.per_unit }),
        source: row.source,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}

fn price(row: &CostRow) -> Result<Price, Failure> {
    let unit = Unit::from_code(&row.per_unit);
    let unit = unit.ok_or_else(|| Failure::internal(format!("the unit {}", row.per_unit)))?;
    let per_g = Quantity::new(exact(&row.per_value)?, unit).base();
    Ok(Price { amount_minor: exact(&row.amount_minor)?, per_g })
}

/// The cost of the inputs of a lot, by the newest cost of each, and per kilogram packed.
pub fn input_cost_out(
    mut around: Around,
    costs: &[CostRow],
    whole: &[Whole],
) -> Result<v1::InputCost, Failure> {
    let (_, weighings) = around.weighed(whole)?;
    let around = &around;
    let rows: HashMap<Uuid, &CostRow> = costs.iter().map(|row| (row.lot, row)).collect();
    let row_of = |at: usize| rows.get(&around.ids[at]).copied();
    let prices = (0..around.ids.len()).map(|at| row_of(at).map(price).transpose());
    let prices: Vec<Option<Price>> = prices.collect::<Result<_, _>>()?;
    let cost = cost::of(&around.graph, &around.roots, &prices);
    let used = cost.lines.iter().filter_map(|line| row_of(line.lot));
    let currencies: BTreeSet<&str> = used.map(|row| row.currency.as_str()).collect();
    let packed_kg = packed_kg(around, &weighings);
    let reasons = reasons(around, &cost, &currencies, packed_kg.is_some());
    let is_one = currencies.len() == 1;
    let total = cost.total_minor().filter(|_| is_one);
    let per_kg = total.as_ref().zip(packed_kg.as_ref());
    let per_kg = per_kg.and_then(|(total, packed_kg)| total.checked_div(packed_kg));
    let inputs = cost.lines.iter().map(|line| v1::InputCostLine {
        lot: Some(around.lots[line.lot].clone()),
        mass_g: exact_out(&line.mass_g),
        cost_minor: line.cost_minor.as_ref().and_then(exact_out),
        cost: row_of(line.lot).map(|row| row.id.to_string()).unwrap_or_default(),
    });
    let currency = currencies.first().filter(|_| is_one).map(|code| (*code).to_owned());
    Ok(v1::InputCost {
        lot: around.named(&around.roots).pop(),
        currency: currency.unwrap_or_default(),
        inputs: inputs.collect(),
        total_minor: total.as_ref().and_then(exact_out),
        known_minor: is_one.then(|| exact_out(&cost.known_minor)).flatten(),
        packed_kg: packed_kg.as_ref().and_then(exact_out),
        minor_per_packed_kg: per_kg.as_ref().and_then(exact_out),
        verdict: (!reasons.is_empty()).then(|| v1::Verdict::Undetermined.into()),
        reasons,
        cautions: cautions(around),
        rounding: ROUNDING.to_owned(),
    })
}

/// What was packed of the lot, net, in kilograms; nothing where that stage is not whole.
fn packed_kg(around: &Around, weighings: &[Weighing]) -> Option<Exact> {
    let found = found(&around.graph, &around.roots, weighings);
    let packed = found.iter().find(|one| one.stage == Stage::Packed && one.is_whole());
    packed.map(|packed| Quantity::from_base(&packed.mass_g(), Unit::Kilogram).value)
}

/// Why a number is not known.
fn reasons(
    around: &Around,
    cost: &Cost,
    currencies: &BTreeSet<&str>,
    is_packed: bool,
) -> Vec<String> {
    let unknown = cost.lines.iter().filter(|line| line.cost_minor.is_none());
    let unknown: Vec<usize> = unknown.map(|line| line.lot).collect();
    let mut reasons = Vec::new();
    if !unknown.is_empty() {
        reasons.push(format!("The cost is not known of {}.", around.codes(&unknown)));
    }
    if currencies.len() > 1 {
        let codes: Vec<&str> = currencies.iter().copied().collect();
        reasons.push(format!("Costs are in {}, which are not added up.", codes.join(" and ")));
    }
    if !is_packed {
        reasons.push(
            "packed was not weighed whole, so no cost per kilogram packed is known.".to_owned(),
        );
    }
    reasons
}

/// What goes with the numbers.
fn cautions(around: &Around) -> Vec<String> {
    let mut said = vec![
        "Inputs alone: work, energy and what no lot tracks are not in it. A lot is taken to be \
         alike throughout."
            .to_owned(),
    ];
    if around.has_additions {
        said.push("Water and process aids that no lot tracks count as free.".to_owned());
    }
    said
}
