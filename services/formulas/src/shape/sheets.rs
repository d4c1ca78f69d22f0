//! Batch sheets: messages, rows and entries.
//! It never asks the database.

pub mod suggest;

use domain::fault::Faults;
use domain::units::Quantity;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape::{id, record_id};
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::{entry_of, kept, mass, quantity_out};
use crate::book::Book;
use crate::judge::sheet::SheetLine;
use crate::store::formulas::FormulaRow;
use crate::store::sheets::SheetRow;

/// What is asked for.
#[derive(Clone)]
pub struct Asked {
    pub formula: (Uuid, i32),
    pub block: Quantity,
    pub stamp: Stamp,
}

/// A sheet about to be recorded.
#[derive(Clone)]
pub struct NewSheet {
    pub formula: (Uuid, i32),
    /// The sheet as it is kept.
    pub content: Vec<u8>,
    pub entry: Value,
    pub stamp: Stamp,
}

/// Reads a sheet to make.
pub fn asked_in(
    call: &Call,
    plant: &Plant,
    request: &v1::MakeBatchSheetRequest,
) -> Result<Asked, Failure> {
    let mut faults = Faults::new();
    let record = record_id(&request.id, "id", &mut faults);
    let formula = id(&request.formula, "formula", &mut faults);
    let block = mass(request.block.as_ref(), "block", &mut faults);
    let ((record, formula), block) = faults.into_result(record.zip(formula).zip(block))?;
    let stamp = Stamp::of(call, plant, record, format!("formula:{formula}"), request)?;
    Ok(Asked { formula: (formula, request.formula_version.unwrap_or_default()), block, stamp })
}

/// The refusal of a version that is not in force.
pub fn not_in_force((formula, version): (Uuid, i32)) -> Failure {
    Failure::refused(vec![Reason {
        code: "FORMULA_NOT_IN_FORCE",
        subject: format!("formula {formula} version {version}"),
        message: "This version is not in force.".into(),
        who: "QA".into(),
        way_on: "Read the formula again and make the sheet of the version in force.".into(),
    }])
}

/// The sheet of scaled lines.
pub fn sheet(
    asked: &Asked,
    formula: &FormulaRow,
    lines: &[SheetLine<'_>],
    book: &Book,
) -> Result<NewSheet, Failure> {
    let content: v1::FormulaContent = kept(&formula.content)?;
    let product = book.products.get(&formula.product);
    let sheet = v1::BatchSheet {
        sheet: asked.stamp.id.to_string(),
        formula: formula.id.to_string(),
        formula_version: formula.version,
        formula_name: formula.name.clone(),
        product_name: product.map(|product| product.name.clone()).unwrap_or_default(),
        block: Some(quantity_out(&asked.block)),
        lines: lines.iter().map(line_out).collect(),
        kits: content.kits,
        steps: content.steps,
        ..Default::default()
    };
    let entry = json!({
        "formula": sheet.formula, "version": sheet.formula_version,
        "block": entry_of(sheet.block.as_ref()),
        "lines": sheet.lines.iter().map(line_entry).collect::<Vec<_>>(),
    });
    let stamp = asked.stamp.clone();
    Ok(NewSheet { formula: asked.formula, content: sheet.encode_to_vec(), entry, stamp })
}

fn line_out(line: &SheetLine<'_>) -> v1::BatchSheetLine {
    v1::BatchSheetLine {
        material: line.material.id.to_string(),
        material_name: line.material.name.clone(),
        kind: line.material.kind_word.clone(),
        kit: line.kit.clone(),
        exact: Some(quantity_out(&line.exact)),
        target: Some(quantity_out(&line.target)),
        at_least: Some(quantity_out(&line.at_least)),
        at_most: Some(quantity_out(&line.at_most)),
        limit: line.limit.as_ref().map(quantity_out),
        ..Default::default()
    }
}

fn line_entry(line: &v1::BatchSheetLine) -> Value {
    json!({
        "material": line.material, "material_name": line.material_name, "kit": line.kit,
        "target": entry_of(line.target.as_ref()), "at_least": entry_of(line.at_least.as_ref()),
        "at_most": entry_of(line.at_most.as_ref()),
    })
}

/// A sheet as a message, as it was recorded.
pub fn sheet_out(row: &SheetRow) -> Result<v1::BatchSheet, Failure> {
    let sheet: v1::BatchSheet = kept(&row.content)?;
    Ok(v1::BatchSheet {
        entered_by_name: row.entered_by_name.clone(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        ..sheet
    })
}
