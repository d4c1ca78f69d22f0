//! Approved formulas: messages, rows and entries.
//! It never asks the database.

use platform::error::{Failure, Kind};
use platform::records::Stamp;
use platform::tickets::Ticket;
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::checks::warning_out;
use super::{entry_of, kept};
use crate::book::Recipe;
use crate::judge::formula::{Judged, Warning, refusals, to_accept};
use crate::store::drafts::DraftRow;
use crate::store::formulas::FormulaRow;

/// What an approval asks.
#[derive(Clone)]
pub struct Approval {
    pub formula: Uuid,
    /// The draft that the signer read.
    pub draft_version: i32,
    pub accept_warnings: bool,
    pub stamp: Stamp,
}

/// A formula that may be put in force.
pub struct Approved {
    pub formula: Uuid,
    pub recipe: Recipe,
    /// The content as it is kept.
    pub content: Vec<u8>,
    pub warnings: Vec<Warning>,
    pub stamp: Stamp,
}

impl Approval {
    /// The draft that was read, or that it has changed since.
    pub fn of_draft(&self, draft: Option<DraftRow>) -> Result<DraftRow, Failure> {
        let draft = draft.ok_or_else(|| Failure::not_found("draft"))?;
        if draft.version != self.draft_version {
            let text = "The draft has changed since it was read; read it again before you sign.";
            return Err(Failure::new(Kind::Stale, text));
        }
        Ok(draft)
    }

    /// What may be put in force by what was judged. Refused: a check that is not met, and warnings
    /// that the signer has not accepted.
    pub fn by(&self, recipe: Recipe, draft: DraftRow, judged: Judged) -> Result<Approved, Failure> {
        let mut reasons = refusals(&judged);
        if !self.accept_warnings {
            reasons.extend(to_accept(&judged));
        }
        if !reasons.is_empty() {
            return Err(Failure::refused(reasons));
        }
        Ok(Approved {
            formula: self.formula,
            recipe,
            content: draft.content,
            warnings: judged.warnings,
            stamp: self.stamp.clone(),
        })
    }
}

impl Approved {
    /// The accepted warnings as they are kept.
    pub fn warnings_kept(&self) -> Vec<u8> {
        let warnings = self.warnings.iter().map(warning_out).collect();
        v1::FormulaChecks { warnings, ..Default::default() }.encode_to_vec()
    }
}

/// The entry of an approval: the whole content, the warnings accepted, and the signature.
pub fn entry(approved: &Approved, version: i32, ticket: &Ticket) -> Result<Value, Failure> {
    let content: v1::FormulaContent = kept(&approved.content)?;
    let kit = |kit: &v1::FormulaKit| json!({ "code": kit.code, "title": kit.title });
    Ok(json!({
        "formula": approved.formula.to_string(),
        "version": version,
        "name": content.name,
        "product": content.product,
        "label": content.label,
        "block": entry_of(content.block.as_ref()),
        "block_division": entry_of(content.block_division.as_ref()),
        "block_tolerance_pct": content.block_tolerance_pct,
        "expected_yield_pct": content.expected_yield_pct,
        "lines": content.lines.iter().map(line_entry).collect::<Vec<_>>(),
        "steps": content.steps.iter().map(step_entry).collect::<Vec<_>>(),
        "kits": content.kits.iter().map(kit).collect::<Vec<_>>(),
        "accepted_warnings": approved.warnings.iter().map(warning_entry).collect::<Vec<_>>(),
        "signature": ticket.entry(),
    }))
}

fn line_entry(line: &v1::FormulaLine) -> Value {
    json!({
        "material": line.material, "pct": line.pct, "kit": line.kit,
        "division": entry_of(line.division.as_ref()), "tolerance_pct": line.tolerance_pct,
    })
}

fn step_entry(step: &v1::FormulaStep) -> Value {
    let check = |check: &v1::QualityCheck| {
        json!({
            "code": check.code, "title": check.title, "unit": check.unit,
            "at_least": check.at_least, "at_most": check.at_most,
        })
    };
    json!({
        "code": step.code, "title": step.title,
        "checks": step.checks.iter().map(check).collect::<Vec<_>>(),
    })
}

fn warning_entry(warning: &Warning) -> Value {
    let proposal = warning.proposal.as_ref();
    json!({
        "code": warning.code, "subject": warning.subject, "message": warning.message,
        "proposal": proposal.map(ToString::to_string),
    })
}

/// A version as a message.
pub fn formula_out(row: FormulaRow, in_force: bool) -> Result<v1::Formula, Failure> {
    let warnings: v1::FormulaChecks = kept(&row.warnings)?;
    Ok(v1::Formula {
        formula: row.id.to_string(),
        version: row.version,
        content: Some(kept(&row.content)?),
        approved_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
        accepted_warnings: warnings.warnings,
        in_force,
    })
}

/// A version in a list.
pub fn summary_out(
    (row, product_name): (FormulaRow, String),
) -> Result<v1::FormulaSummary, Failure> {
    let content: v1::FormulaContent = kept(&row.content)?;
    Ok(v1::FormulaSummary {
        formula: row.id.to_string(),
        version: row.version,
        name: row.name,
        product: row.product.to_string(),
        product_name,
        // A formula has 200 lines at most.
        lines: content.lines.len() as i32,
        approved_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    })
}
