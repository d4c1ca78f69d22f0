//! Kits: messages, rows and entries.
//! It never asks the database.

use domain::fault::Faults;
use domain::units::{Dimension, Quantity};
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape::{id, record_id};
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::{entry_of, id_out, kept, mass};
use crate::book::Book;
use crate::judge::batch::KitMade;
use crate::judge::kit::Held;
use crate::store::kits::{Kit, KitRow};

/// A kit about to be recorded.
#[derive(Clone)]
pub struct NewKit {
    pub lot: Uuid,
    pub formula: (Uuid, i32),
    pub code: String,
    pub block: Quantity,
    pub contents: Vec<Content>,
    /// The kit as it is kept.
    pub content: Vec<u8>,
    pub entry: Value,
    pub stamp: Stamp,
}

/// What a kit holds of one lot.
#[derive(Clone, Debug)]
pub struct Content {
    /// The id or name of the material.
    pub material: String,
    pub lot: Option<Uuid>,
    pub mass: Quantity,
}

/// Reads a kit to record.
pub fn kit_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordKitRequest,
) -> Result<NewKit, Failure> {
    let mut faults = Faults::new();
    let record = record_id(&request.id, "id", &mut faults);
    let lot = id(&request.lot, "lot", &mut faults);
    let formula = id(&request.formula, "formula", &mut faults);
    let block = mass(request.block.as_ref(), "block", &mut faults);
    let contents = contents_in(&request.contents, "contents", &mut faults);
    let read = record.zip(lot).zip(formula.zip(block)).zip(contents);
    let (((record, lot), (formula, block)), contents) = faults.into_result(read)?;
    let stamp = Stamp::of(call, plant, record, format!("lot:{lot}"), request)?;
    let version = request.formula_version.unwrap_or_default();
    let held = |one: &v1::KitContent| {
        json!({
            "material": one.material, "lot": one.lot, "mass": entry_of(one.mass.as_ref()),
        })
    };
    let entry = json!({
        "lot": lot.to_string(), "formula": formula.to_string(), "version": version,
        "kit": request.kit, "block": entry_of(request.block.as_ref()),
        "contents": request.contents.iter().map(held).collect::<Vec<_>>(),
    });
    let kept = v1::Kit {
        code: request.kit.clone(),
        block: request.block.clone(),
        contents: request.contents.clone(),
        ..Default::default()
    };
    let (code, content) = (request.kit.clone(), kept.encode_to_vec());
    Ok(NewKit { lot, formula: (formula, version), code, block, contents, content, entry, stamp })
}

/// Reads what a kit holds. A mass of 0 is one that was taken out again.
pub fn contents_in(
    given: &[v1::KitContent],
    field: &str,
    faults: &mut Faults,
) -> Option<Vec<Content>> {
    let mut contents = Vec::new();
    for (at, one) in given.iter().enumerate() {
        let name = |part: &str| format!("{field}[{at}].{part}");
        let lot = id(&one.lot, &name("lot"), faults);
        let mass = one.mass.as_ref();
        let mass = platform::shape::quantity(mass, Dimension::Mass, &name("mass"), faults);
        let (material, mass) = (one.material.clone(), mass.map(|mass| mass.quantity()));
        contents.push(lot.zip(mass).map(|(lot, mass)| Content { material, lot: Some(lot), mass }));
    }
    contents.into_iter().collect()
}

/// What a kept kit was made for, and what it holds.
pub fn kit_made((row, used_in): &Kit) -> Result<(KitMade, Vec<Content>), Failure> {
    let message: v1::Kit = kept(&row.content)?;
    let mut faults = Faults::new();
    let block = mass(message.block.as_ref(), "block", &mut faults);
    let contents = contents_in(&message.contents, "contents", &mut faults);
    let broken = |_| Failure::internal(format!("formulas.kit {} cannot be read", row.id));
    let (block, contents) = faults.into_result(block.zip(contents)).map_err(broken)?;
    let formula = (row.formula, row.formula_version);
    let made = KitMade { code: message.code, formula, block, used_in: *used_in };
    Ok((made, contents))
}

/// A kit as a message.
pub fn kit_out((row, used_in): Kit) -> Result<v1::Kit, Failure> {
    let message: v1::Kit = kept(&row.content)?;
    let KitRow { id, lot, formula, formula_version, .. } = row;
    Ok(v1::Kit {
        kit: id.to_string(),
        lot: lot.to_string(),
        formula: formula.to_string(),
        formula_version,
        used_in: id_out(used_in),
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
        ..message
    })
}

impl NewKit {
    /// What it holds, as it is judged.
    pub fn held<'b>(&self, book: &'b Book) -> Vec<Held<'b>> {
        let held = |one: &Content| Held {
            material: book.material(&one.material),
            named: one.material.clone(),
            lot: one.lot,
            mass: one.mass.clone(),
        };
        self.contents.iter().map(held).collect()
    }
}
