//! Labels: messages, rows and entries.
//! It never asks the database.

use domain::fault::Faults;
use jiff::Timestamp;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::NewVersion;
use platform::shape::instant;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::book::revision;
use crate::book::Label;
use crate::store::labels::LabelRow;

/// What a record about a revision says.
#[derive(Clone)]
pub struct LabelContent {
    pub item: String,
    pub revision: String,
    pub statement: String,
    pub allergens: Vec<String>,
    pub from: Timestamp,
    pub to: Option<Timestamp>,
}

/// Reads a label to add.
pub fn label_in(
    call: &Call,
    plant: &Plant,
    request: v1::PutLabelRequest,
) -> Result<NewVersion<LabelContent>, Failure> {
    let mut faults = Faults::new();
    let from = instant(&request.in_force_from, "in_force_from", &mut faults);
    let given = Some(request.in_force_to.as_str()).filter(|text| !text.is_empty());
    let to = given.and_then(|text| instant(text, "in_force_to", &mut faults));
    if let (Some(from), Some(to)) = (from, to)
        && to <= from
    {
        faults.add_value("in_force_to", to, "must be later than in_force_from");
    }
    let from = faults.into_result(from)?;
    let content = LabelContent {
        item: request.item.clone(),
        revision: request.revision.clone(),
        statement: request.statement.clone(),
        allergens: request.allergens.clone(),
        from,
        to,
    };
    let names = (("id", request.id.as_str()), ("label", request.label.as_str()));
    NewVersion::read((call, plant), names, (&request, Faults::new()), content)
}

/// The entry of a record about a revision.
pub fn label_entry(new: &NewVersion<LabelContent>, version: i32) -> Value {
    let LabelContent { item, revision, statement, allergens, from, to } = &new.content;
    json!({
        "label": new.of.to_string(), "version": version, "item": item, "revision": revision,
        "statement": statement, "allergens": allergens, "in_force_from": from.to_string(),
        "in_force_to": to.map(|to| to.to_string()),
    })
}

/// A record about a revision as a message.
pub fn label_out(row: LabelRow) -> v1::Label {
    v1::Label {
        label: row.id.to_string(),
        version: row.version,
        item: row.item,
        revision: row.revision,
        statement: row.statement,
        allergens: row.allergens,
        in_force_from: row.in_force_from.to_jiff().to_string(),
        in_force_to: row.in_force_to.map(|to| to.to_jiff().to_string()).unwrap_or_default(),
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}

/// A label item with its revisions, as it stands at an instant.
pub fn item_out(id: Uuid, rows: Vec<LabelRow>, at: Timestamp) -> v1::LabelItem {
    let label = Label { records: rows.iter().map(revision).collect() };
    let row = |version: i32| rows.iter().find(|row| row.version == version).cloned();
    let in_force = label.in_force(at).and_then(|one| row(one.version));
    let revisions = label.revisions().into_iter().filter_map(|one| row(one.version));
    v1::LabelItem {
        label: id.to_string(),
        revisions: revisions.map(label_out).collect(),
        in_force: in_force.map(label_out),
    }
}
