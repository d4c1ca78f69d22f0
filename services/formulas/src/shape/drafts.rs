//! Between the messages of drafts and their rows, and formulas ready to judge.
//! It never asks the database.

use std::collections::BTreeSet;

use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::Unit;
use jiff_diesel::ToDiesel as _;
use platform::caller::Call;
use platform::error::Failure;
use platform::shape::id;
use prost::Message;
use wire::v1;

use super::{kept, mass, number, optional_mass};
use crate::book::{Recipe, RecipeLine};
use crate::judge::formula::Judged;
use crate::store::book::Wanted;
use crate::store::drafts::DraftRow;

/// How far a meat block may lie from the block of a kit where the formula names nothing: common
/// practice, no source.
const BLOCK_TOLERANCE_PCT: i64 = 5;

/// Reads a draft: its form alone. What it would be judged is shown, and refuses no draft.
pub fn draft_in(call: &Call, request: v1::PutFormulaDraftRequest) -> Result<DraftRow, Failure> {
    let mut faults = Faults::new();
    let formula = id(&request.formula, "formula", &mut faults);
    let content = request.content.unwrap_or_default();
    let mut inner = Faults::new();
    let recipe = recipe_in(&content, &mut inner);
    steps(&content, &mut inner);
    faults.take_from("content", inner);
    let (formula, _) = faults.into_result(formula.zip(recipe))?;
    let person = call.person()?;
    Ok(DraftRow {
        formula,
        version: 0,
        content: content.encode_to_vec(),
        edited_by: person.id.to_string(),
        edited_by_name: person.name.clone(),
        edited_at: call.received_at.to_diesel(),
    })
}

/// The formula of a row.
pub fn recipe(content: &[u8]) -> Result<Recipe, Failure> {
    let mut faults = Faults::new();
    let recipe = recipe_in(&kept(content)?, &mut faults);
    faults.into_result(recipe).map_err(|_| Failure::internal("a kept formula cannot be read"))
}

/// What a judgement of a formula needs to know.
pub fn wanted(recipe: &Recipe) -> Wanted {
    Wanted {
        materials: recipe.lines.iter().map(|line| line.material).collect(),
        products: vec![recipe.product],
        labels: vec![recipe.label],
        ..Wanted::default()
    }
}

fn recipe_in(content: &v1::FormulaContent, faults: &mut Faults) -> Option<Recipe> {
    let product = id(&content.product, "product", faults);
    let label = id(&content.label, "label", faults);
    let block = mass(content.block.as_ref(), "block", faults);
    let division = optional_mass(content.block_division.as_ref(), "block_division", faults);
    let kits = kits(content, faults);
    let lines = lines(content, &kits, faults);
    let tolerance = number(content.block_tolerance_pct.as_deref());
    Some(Recipe {
        name: content.name.clone(),
        product: product?,
        label: label?,
        block: block?,
        block_division: division,
        block_tolerance_pct: tolerance.unwrap_or_else(|| Exact::whole(BLOCK_TOLERANCE_PCT)),
        expected_yield_pct: number(content.expected_yield_pct.as_deref())?,
        lines: lines?,
        kits,
    })
}

fn kits(content: &v1::FormulaContent, faults: &mut Faults) -> Vec<String> {
    let mut codes: Vec<String> = Vec::new();
    for (at, kit) in content.kits.iter().enumerate() {
        if codes.contains(&kit.code) {
            let field = format!("kits[{at}].code");
            faults.add_value(field, &kit.code, "must stand once in a formula");
        }
        codes.push(kit.code.clone());
    }
    codes
}

fn lines(
    content: &v1::FormulaContent,
    kits: &[String],
    faults: &mut Faults,
) -> Option<Vec<RecipeLine>> {
    let mut lines: Vec<RecipeLine> = Vec::new();
    let mut is_whole = true;
    for (at, line) in content.lines.iter().enumerate() {
        let field = |name: &str| format!("lines[{at}].{name}");
        let material = id(&line.material, &field("material"), faults);
        if material.is_some_and(|id| lines.iter().any(|other| other.material == id)) {
            faults.add_value(field("material"), &line.material, "must stand once in a formula");
        }
        if !line.kit.is_empty() && !kits.contains(&line.kit) {
            faults.add_value(field("kit"), &line.kit, "must be the code of one of kits");
        }
        let division = optional_mass(line.division.as_ref(), &field("division"), faults);
        let pct = number(line.pct.as_deref());
        let (Some(material), Some(pct)) = (material, pct) else {
            is_whole = false;
            continue;
        };
        let tolerance_pct = number(line.tolerance_pct.as_deref());
        lines.push(RecipeLine { material, pct, kit: line.kit.clone(), division, tolerance_pct });
    }
    is_whole.then_some(lines)
}

/// Codes that stand twice, and limits that cannot be met.
fn steps(content: &v1::FormulaContent, faults: &mut Faults) {
    let (mut codes, mut checks) = (BTreeSet::new(), BTreeSet::new());
    for (at, step) in content.steps.iter().enumerate() {
        if !codes.insert(step.code.as_str()) {
            let field = format!("steps[{at}].code");
            faults.add_value(field, &step.code, "must stand once in a formula");
        }
        for (of, check) in step.checks.iter().enumerate() {
            let field = |name: &str| format!("steps[{at}].checks[{of}].{name}");
            if !checks.insert(check.code.as_str()) {
                faults.add_value(field("code"), &check.code, "must stand once in a formula");
            }
            if Unit::from_code(&check.unit).is_none() {
                let allowed = format!("must be one of: {}", Unit::all_codes());
                faults.add_value(field("unit"), &check.unit, allowed);
            }
            match (number(check.at_least.as_deref()), number(check.at_most.as_deref())) {
                (None, None) => faults.add(field("at_least"), "at_least or at_most is needed"),
                (Some(least), Some(most)) if least > most => {
                    faults.add_value(field("at_most"), most, "must not be below at_least");
                }
                _ => {}
            }
        }
    }
}

/// A draft as a message, with what it would be judged.
pub fn draft_out(row: DraftRow, judged: &Judged) -> Result<v1::FormulaDraft, Failure> {
    Ok(v1::FormulaDraft {
        formula: row.formula.to_string(),
        version: row.version,
        content: Some(kept(&row.content)?),
        edited_by_name: row.edited_by_name,
        edited_at: row.edited_at.to_jiff().to_string(),
        checks: Some(super::checks::checks_out(judged)),
    })
}
