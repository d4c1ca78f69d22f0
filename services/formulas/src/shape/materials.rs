//! Materials and specifications: messages, rows and entries.
//! It never asks the database.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::formula::agents::Agent;
use jiff::Timestamp;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::{NewVersion, Stamp};
use platform::shape::{id, instant, optional_id, record_id};
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::{id_out, kept, number};
use crate::book::Kind;
use crate::store::materials::{MaterialRow, SpecificationRow};

/// What a version of a material says.
#[derive(Clone)]
pub struct MaterialContent {
    pub name: String,
    pub kind: String,
    pub in_use: bool,
}

/// Reads a material to add.
pub fn material_in(
    call: &Call,
    plant: &Plant,
    request: v1::PutMaterialRequest,
) -> Result<NewVersion<MaterialContent>, Failure> {
    let content = MaterialContent {
        name: request.name.trim().to_owned(),
        kind: request.kind.clone(),
        in_use: request.in_use.unwrap_or(true),
    };
    let mut faults = Faults::new();
    if content.name.is_empty() {
        faults.add("name", "is needed");
    }
    let names = (("id", request.id.as_str()), ("material", request.material.as_str()));
    NewVersion::read((call, plant), names, (&request, faults), content)
}

/// The entry of a material's version.
pub fn material_entry(new: &NewVersion<MaterialContent>, version: i32) -> Value {
    let MaterialContent { name, kind, in_use } = &new.content;
    json!({
        "material": new.of.to_string(), "version": version,
        "name": name, "kind": kind, "in_use": in_use,
    })
}

/// A material as a message.
pub fn material_out(
    row: MaterialRow,
    specification: Option<SpecificationRow>,
) -> Result<v1::Material, Failure> {
    Ok(v1::Material {
        material: row.id.to_string(),
        version: row.version,
        name: row.name,
        kind: row.kind,
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
        specification: specification.map(specification_out).transpose()?,
    })
}

/// A specification about to be recorded.
#[derive(Clone)]
pub struct NewSpecification {
    pub material: Uuid,
    pub lot: Option<Uuid>,
    pub in_force_from: Timestamp,
    /// The content as it is kept.
    pub content: Vec<u8>,
    pub stamp: Stamp,
}

/// Reads a specification to add.
pub fn specification_in(
    call: &Call,
    plant: &Plant,
    request: &v1::AddSpecificationRequest,
) -> Result<NewSpecification, Failure> {
    let mut faults = Faults::new();
    let record = record_id(&request.id, "id", &mut faults);
    let material = id(&request.material, "material", &mut faults);
    let lot = optional_id(&request.lot, "lot", &mut faults);
    let from = instant(&request.in_force_from, "in_force_from", &mut faults);
    let content = request.content.clone().unwrap_or_default();
    faults.take_from("content", content_faults(&content));
    let read = record.zip(material).zip(from);
    let ((record, material), in_force_from) = faults.into_result(read)?;
    let subject = format!("material:{material}");
    let stamp = Stamp::of(call, plant, record, subject, request)?;
    Ok(NewSpecification { material, lot, in_force_from, content: content.encode_to_vec(), stamp })
}

fn content_faults(content: &v1::SpecificationContent) -> Faults {
    let mut faults = Faults::new();
    let sum: Exact = percentages(content).into_iter().flatten().sum();
    if sum > Exact::whole(100) {
        let message = "the percentages must not be above 100 together";
        faults.add_value("fat_pct", sum, message);
    }
    let agents: Vec<_> = content.agents.iter().map(|one| Agent::of_line_word(&one.agent)).collect();
    for (at, agent) in agents.iter().enumerate() {
        if agents[..at].contains(agent) {
            let field = format!("agents[{at}].agent");
            let message = "must stand once; a potassium salt counts under the same agent";
            faults.add_value(field, &content.agents[at].agent, message);
        }
    }
    for (at, allergen) in content.allergens.iter().enumerate() {
        if content.allergens[..at].contains(allergen) {
            faults.add_value(format!("allergens[{at}]"), allergen, "must stand once");
        }
    }
    faults
}

/// Fat, moisture, protein, salt.
pub fn percentages(content: &v1::SpecificationContent) -> [Option<Exact>; 4] {
    [&content.fat_pct, &content.moisture_pct, &content.protein_pct, &content.salt_pct]
        .map(|text| number(text.as_deref()))
}

impl NewSpecification {
    /// What the kind of its material does not allow: raw meat that brings a restricted agent.
    pub fn check(&self, kind: &str) -> Result<(), Failure> {
        let content: v1::SpecificationContent = kept(&self.content)?;
        match content.agents.first() {
            Some(first) if Kind::from_word(kind).is_some_and(Kind::is_raw) => Err(Failure::fault(
                "content.agents",
                &first.agent,
                "raw meat brings none: meat with an agent in it is no part of a meat block",
            )),
            _ => Ok(()),
        }
    }

    /// The entry of the record.
    pub fn entry(&self, version: i32) -> Result<Value, Failure> {
        let content: v1::SpecificationContent = kept(&self.content)?;
        Ok(json!({
            "material": self.material.to_string(), "version": version,
            "lot": self.lot.map(|lot| lot.to_string()),
            "in_force_from": self.in_force_from.to_string(),
            "fat_pct": content.fat_pct, "moisture_pct": content.moisture_pct,
            "protein_pct": content.protein_pct, "salt_pct": content.salt_pct,
            "allergens": content.allergens,
            "agents": content.agents.iter().map(agent_entry).collect::<Vec<_>>(),
            "statement": content.statement, "source": content.source,
        }))
    }
}

fn agent_entry(one: &v1::AgentStrength) -> Value {
    json!({ "agent": one.agent, "strength_pct": one.strength_pct })
}

/// A specification as a message.
pub fn specification_out(row: SpecificationRow) -> Result<v1::Specification, Failure> {
    Ok(v1::Specification {
        specification: row.id.to_string(),
        material: row.material.to_string(),
        version: row.version,
        lot: id_out(row.lot),
        content: Some(kept(&row.content)?),
        in_force_from: row.in_force_from.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    })
}
