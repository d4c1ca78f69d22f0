//! Between the contract's messages of making lots and this service's rows.
//! It never asks the database or haccp: what they know is handed in.

pub mod batch;
pub mod items;
pub mod judge;
pub mod moves;
pub mod trace;

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use jiff::civil::Date;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use self::batch::{By, NewBatch, Told};
use self::judge::Broken;
use super::lots::{Content, Mass, NewLot, Origin, PlanVersion, mass_in, named, use_by_in};
use crate::store::making::{Made, Used};
use crate::store::places::PlaceRow;

/// A lot that is used, and how much of it.
#[derive(Clone, Debug)]
pub struct Use {
    pub lot: Uuid,
    pub mass: Mass,
}

/// Something used that no lot tracks.
#[derive(Clone, Debug)]
pub struct Addition {
    pub name: String,
    pub mass: Mass,
}

/// A lot to make, as it was asked for.
#[derive(Clone, Debug)]
pub struct Wanted {
    pub lot: Uuid,
    pub kind: String,
    pub material: String,
    pub mass: Mass,
    pub plan: Option<Uuid>,
    pub use_by: Option<Date>,
    pub run: Option<String>,
}

/// What the message alone says of a transformation.
pub struct Transformation {
    pub kind: String,
    pub uses: Vec<Use>,
    pub additions: Vec<Addition>,
    pub wanted: Vec<Wanted>,
    pub moments: Moments,
    /// The date by which what it uses must not be out of date.
    pub used_on: Date,
    /// By what it is judged besides its masses.
    pub by: By,
}

/// A message read as far as it goes: the place that it names is still to be looked up.
pub struct Placed<T> {
    pub stamp: Stamp,
    pub place: Uuid,
    content: Option<T>,
    faults: Faults,
}

impl<T> Placed<T> {
    /// Holds the faults of a message back until its place is known.
    pub fn new(stamp: Stamp, place: Uuid, content: Option<T>, faults: Faults) -> Self {
        Self { stamp, place, content, faults }
    }

    /// The message with its place, which must be in use; gives all faults.
    pub fn at(mut self, place: Option<PlaceRow>) -> Result<(Stamp, T, PlaceRow), Failure> {
        let place = super::lots::place_in_use(self.place, place, &mut self.faults);
        let (content, place) = self.faults.into_result(self.content.zip(place))?;
        Ok((self.stamp, content, place))
    }
}

/// A transformation about to be recorded.
pub struct NewTransformation {
    pub stamp: Stamp,
    pub kind: String,
    pub place: PlaceRow,
    pub uses: Vec<Use>,
    pub additions: Vec<Addition>,
    pub outputs: Vec<NewLot>,
    pub moments: Moments,
    pub used_on: Date,
    /// What is known to be wrong before anything is read: plans that bind no such lot.
    pub broken: Vec<Broken>,
    /// What formulas has against it.
    pub told: Vec<Told>,
    /// What somebody must look at, though it refuses nothing.
    pub waits: Vec<Broken>,
    /// How the batch was judged.
    pub batch: Option<NewBatch>,
}

/// Reads a transformation to record.
pub fn transformation_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordTransformationRequest,
) -> Result<Placed<Transformation>, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let happened = request.happened.unwrap_or(false);
    let claimed =
        Claimed { observed_at: &request.observed_at, entered_at: &request.entered_at, happened };
    let moments = Moments::of(call, claimed, &mut faults);
    let uses = uses_in(&request.inputs, &mut faults);
    let wanted = outputs_in(&request.outputs, happened, &mut faults);
    let additions = additions_in(&request.additions, &mut faults);
    refuse_twice(&uses, &wanted, &mut faults);
    let by = batch::by_in(request, &mut faults);
    let content = moments.zip(by).map(|(moments, by)| Transformation {
        by,
        kind: request.kind.clone(),
        uses,
        additions,
        wanted,
        used_on: used_on(plant, &moments),
        moments,
    });
    let (Some(id), Some(place)) = (id, place) else { return Err(faults.into()) };
    let stamp = Stamp::of(call, plant, id, format!("transformation:{id}"), request)?;
    Ok(Placed::new(stamp, place, content, faults))
}

/// The date that counts for what may be used: of a fact when it was done, else now.
pub fn used_on(plant: &Plant, moments: &Moments) -> Date {
    let at = match moments.happened {
        true => moments.by_the_plant(moments.observed_at),
        false => moments.recorded_at,
    };
    plant.date_of(at)
}

fn uses_in(inputs: &[v1::Input], faults: &mut Faults) -> Vec<Use> {
    let uses = inputs.iter().enumerate().filter_map(|(at, input)| {
        let lot = shape::id(&input.lot, &format!("inputs[{at}].lot"), faults);
        let mass = mass_in(input.mass.as_ref(), &format!("inputs[{at}].mass"), faults);
        Some(Use { lot: lot?, mass: mass? })
    });
    uses.collect()
}

fn outputs_in(outputs: &[v1::Output], happened: bool, faults: &mut Faults) -> Vec<Wanted> {
    let wanted = outputs.iter().enumerate().filter_map(|(at, output)| {
        let field = |name: &str| format!("outputs[{at}].{name}");
        let lot = shape::record_id(&output.lot, &field("lot"), faults);
        let mass = mass_in(output.mass.as_ref(), &field("mass"), faults);
        let plan = shape::optional_id(&output.plan, &field("plan"), faults);
        let use_by = use_by_in(&output.use_by, &field("use_by"), faults);
        if output.plan.is_empty() && !happened {
            faults.add(field("plan"), "is needed, unless it has happened");
        }
        let (kind, material) = (output.kind.clone(), output.material.clone());
        let run = run_in(output, field("run"), faults);
        Some(Wanted { lot: lot?, kind, material, mass: mass?, plan, use_by, run })
    });
    wanted.collect()
}

/// The run of a batch as it was typed, without the blanks around it.
fn run_in(output: &v1::Output, field: String, faults: &mut Faults) -> Option<String> {
    let run = output.run.trim();
    if !run.is_empty() && output.kind != "batch" {
        faults.add_value(field, run, "is only of a batch");
    }
    (!run.is_empty()).then(|| run.to_owned())
}

fn additions_in(additions: &[v1::Addition], faults: &mut Faults) -> Vec<Addition> {
    let read = additions.iter().enumerate().filter_map(|(at, addition)| {
        let mass = mass_in(addition.mass.as_ref(), &format!("additions[{at}].mass"), faults)?;
        Some(Addition { name: addition.name.clone(), mass })
    });
    read.collect()
}

/// A lot stands once, and is never made of itself.
fn refuse_twice(uses: &[Use], wanted: &[Wanted], faults: &mut Faults) {
    for (at, one) in uses.iter().enumerate() {
        if uses[..at].iter().any(|earlier| earlier.lot == one.lot) {
            faults.add_value(format!("inputs[{at}].lot"), one.lot, "is named twice");
        }
    }
    for (at, one) in wanted.iter().enumerate() {
        if wanted[..at].iter().any(|earlier| earlier.lot == one.lot) {
            faults.add_value(format!("outputs[{at}].lot"), one.lot, "is named twice");
        }
        if uses.iter().any(|used| used.lot == one.lot) {
            let text = "is an input too: no lot is made of itself";
            faults.add_value(format!("outputs[{at}].lot"), one.lot, text);
        }
    }
}

impl Transformation {
    /// The lots to make, bound to the plans that haccp knows for them; those that it does not are
    /// bound to nothing, with the reason.
    pub fn bound(
        self,
        (stamp, place): (Stamp, PlaceRow),
        plans: &[Result<PlanVersion, Reason>],
        pattern: domain::lot_code::Pattern,
    ) -> NewTransformation {
        let mut broken: Vec<Broken> = Vec::new();
        let outputs = self.wanted.into_iter().zip(plans).map(|(wanted, plan)| {
            if let Err(reason) = plan {
                match broken.iter_mut().find(|broken| broken.reason == *reason) {
                    Some(known) => known.lots.push(wanted.lot),
                    None => broken.push(Broken::no_plan(reason.clone(), vec![wanted.lot])),
                }
            }
            let lot = wanted.lot;
            NewLot {
                stamp: Stamp { id: lot, subject: format!("lot:{lot}"), ..stamp.clone() },
                kind: wanted.kind,
                content: Content {
                    material: wanted.material,
                    mass: wanted.mass,
                    use_by: wanted.use_by,
                    run: wanted.run,
                    moments: self.moments,
                },
                origin: Origin::Made(stamp.id),
                place: place.clone(),
                plan: plan.clone().ok(),
                pattern: pattern.clone(),
            }
        });
        let outputs: Vec<_> = outputs.collect();
        let (kind, uses, additions) = (self.kind, self.uses, self.additions);
        let (moments, used_on) = (self.moments, self.used_on);
        NewTransformation {
            stamp,
            kind,
            place,
            uses,
            additions,
            outputs,
            moments,
            used_on,
            broken,
            told: Vec::new(),
            waits: Vec::new(),
            batch: None,
        }
    }
}

/// The reason of a lot for which no plan was named.
pub fn no_plan_named(lot: Uuid) -> Reason {
    Reason {
        code: "PLAN_NOT_IN_FORCE",
        subject: format!("lot:{lot}"),
        message: "No plan was named for the lot.".into(),
        who: "QA".into(),
        way_on: "Look at the lot: without a plan it cannot leave, only be destroyed.".into(),
    }
}

/// Additions as they are stored and stand in the entry.
pub fn additions_entry(additions: &[Addition]) -> Value {
    let entry = |addition: &Addition| {
        let mut entry = addition.mass.entry();
        entry["name"] = json!(addition.name);
        entry
    };
    additions.iter().map(entry).collect()
}

/// The entry of a transformation with what it took of each input, and the codes of what it made.
pub fn transformation_entry(new: &NewTransformation, taken: &[Value], codes: &[String]) -> Value {
    let output = |(lot, code): (&NewLot, &String)| {
        json!({
            "lot": lot.stamp.id.to_string(), "code": code, "kind": lot.kind,
            "mass": lot.content.mass.entry(),
        })
    };
    let place = &new.place;
    json!({
        "transformation": new.stamp.id.to_string(),
        "kind": new.kind,
        "place": named(place.id, place.version, &place.name),
        "inputs": taken,
        "outputs": new.outputs.iter().zip(codes).map(output).collect::<Vec<_>>(),
        "additions": additions_entry(&new.additions),
        "times": Value::from(new.moments),
    })
}

/// An input as it stands in an entry: its mass, and what of it was covered by what was on hand.
pub fn input_entry(one: &Use, code: &str, taken_g: &BigDecimal) -> Value {
    json!({
        "lot": one.lot.to_string(), "code": code, "mass": one.mass.entry(),
        "taken_g": taken_g.to_plain_string(),
    })
}

/// An input to add to a transformation.
#[derive(Clone)]
pub struct NewInput {
    pub stamp: Stamp,
    pub transformation: Uuid,
    pub used: Use,
    pub reason: String,
    pub moments: Moments,
    pub used_on: Date,
    /// Of a kit weighed again: what it holds now.
    pub again: Vec<v1::KitContent>,
    /// Of a kit: the batch that it goes into.
    pub kit_for: Option<Uuid>,
    /// The judgement of the batch that was read before this one was asked for.
    pub judged_before: Option<Uuid>,
    /// What formulas has against it.
    pub told: Vec<Told>,
    /// What somebody must look at, though it refuses nothing.
    pub waits: Vec<Broken>,
    /// How the batch is judged with it.
    pub batch: Option<NewBatch>,
}

/// Reads an input to add.
pub fn input_in(
    call: &Call,
    plant: &Plant,
    request: &v1::AddInputRequest,
) -> Result<NewInput, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let transformation = shape::id(&request.transformation, "transformation", &mut faults);
    let lot = shape::id(&request.lot, "lot", &mut faults);
    let mass = mass_in(request.mass.as_ref(), "mass", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    batch::contents_in(&request.contents, "contents", &mut faults);
    let read = id.zip(transformation).zip(lot).zip(mass).zip(moments);
    let ((((id, transformation), lot), mass), moments) = faults.into_result(read)?;
    Ok(NewInput {
        stamp: Stamp::of(call, plant, id, format!("transformation:{transformation}"), request)?,
        transformation,
        used: Use { lot, mass },
        reason: request.reason.clone(),
        used_on: used_on(plant, &moments),
        moments,
        again: request.contents.clone(),
        kit_for: None,
        judged_before: None,
        told: Vec::new(),
        waits: Vec::new(),
        batch: None,
    })
}

/// The entry of an added input. One that would close a ring stands apart, and is not linked.
pub fn added_entry(new: &NewInput, linked: &[Value], ring: Value, outputs: &[Uuid]) -> Value {
    json!({
        "input_added": new.stamp.id.to_string(),
        "transformation": new.transformation.to_string(),
        "inputs": linked,
        "ring": ring,
        // Each counts as less safe from now on.
        "outputs": outputs.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        "reason": new.reason,
        "times": Value::from(new.moments),
    })
}

/// A mass as a message.
pub fn mass_out(value: &BigDecimal, unit: &str) -> v1::Quantity {
    v1::Quantity { value: Some(value.to_plain_string()), unit: unit.to_owned() }
}

/// A transformation as a message.
pub fn transformation_out(made: Made) -> v1::Transformation {
    let loss = made.loss_g();
    let Made { row, inputs, outputs, items, batch } = made;
    v1::Transformation {
        transformation: row.id.to_string(),
        kind: row.kind,
        place: row.place.to_string(),
        place_name: row.place_name,
        inputs: inputs.into_iter().map(used_out).collect(),
        outputs: outputs
            .into_iter()
            .map(|lot| v1::MadeLot {
                lot: lot.id.to_string(),
                code: lot.code,
                kind: lot.kind,
                material: lot.material,
                mass: Some(mass_out(&lot.mass_value, &lot.mass_unit)),
                plan: super::lots::id_or_empty(lot.plan),
                plan_version: lot.plan_version.unwrap_or_default(),
                run: lot.run.unwrap_or_default(),
            })
            .collect(),
        additions: additions_out(&row.additions),
        loss_g: Some(judge::grams(&loss)),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        day: row.day.to_jiff().to_string(),
        happened: row.happened,
        items: items.into_iter().map(items::item_out).collect(),
        batch: batch.as_ref().and_then(batch::judgement_out),
    }
}

fn used_out(used: Used) -> v1::UsedLot {
    v1::UsedLot {
        lot: used.lot.to_string(),
        code: used.code,
        material: used.material,
        mass: Some(mass_out(&used.mass_value, &used.mass_unit)),
        reason: used.reason.unwrap_or_default(),
    }
}

/// Additions as they were stored.
fn additions_out(stored: &Value) -> Vec<v1::Addition> {
    let text = |one: &Value, name: &str| one[name].as_str().unwrap_or_default().to_owned();
    let one = |stored: &Value| v1::Addition {
        name: text(stored, "name"),
        mass: Some(v1::Quantity { value: Some(text(stored, "value")), unit: text(stored, "unit") }),
    };
    stored.as_array().map(Vec::as_slice).unwrap_or_default().iter().map(one).collect()
}

/// The grams of additions as they were stored.
pub fn additions_g(stored: &Value) -> BigDecimal {
    let all = stored.as_array().map(Vec::as_slice).unwrap_or_default();
    all.iter().filter_map(|one| one["g"].as_str()?.parse::<BigDecimal>().ok()).sum()
}

#[cfg(test)]
mod tests;
