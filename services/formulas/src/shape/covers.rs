//! Label cover: questions of genealogy, and answers.
//! It never asks the database.

use domain::exact::Exact;
use domain::fault::Faults;
use jiff::Timestamp;
use platform::error::{Failure, Reason};
use platform::shape::{id, optional_id};
use uuid::Uuid;
use wire::internal::v1;

use super::batches::reason_out;
use super::number;
use crate::book::{Book, Revision};
use crate::judge::cover::{Cover, Origin};
use crate::judge::label::{Held, uncovered};
use crate::store::book::Wanted;

/// A lot under a label.
#[derive(Clone, Debug)]
pub struct Labelled {
    pub place: usize,
    pub label: Option<Uuid>,
    /// The id or name of the product; empty where a label is named.
    pub product: String,
    /// The revision on the roll; empty where none was scanned.
    pub revision: String,
}

/// A question about labels.
#[derive(Clone, Debug)]
pub struct Question {
    pub origins: Vec<Origin>,
    pub labelled: Vec<Labelled>,
    /// When the labels must be true.
    pub at: Timestamp,
}

/// Reads a question; `now` stands where it names no time.
pub fn cover_in(request: &v1::LabelCoverRequest, now: Timestamp) -> Result<Question, Failure> {
    let mut faults = Faults::new();
    let origins = origins_in(&request.lots, "lots", &mut faults);
    let mut labelled = Vec::new();
    for (at, one) in request.labelled.iter().enumerate() {
        let field = format!("labelled[{at}]");
        let label = optional_id(&one.label, &format!("{field}.label"), &mut faults);
        if one.label.is_empty() && one.product.is_empty() {
            faults.add(format!("{field}.product"), "is needed, or a label");
        }
        if one.lot as usize >= request.lots.len() {
            faults.add_value(format!("{field}.lot"), one.lot, "must be a place in lots");
        }
        let (product, revision) = (one.product.clone(), one.revision.clone());
        labelled.push(Labelled { place: one.lot as usize, label, product, revision });
    }
    let at = match request.at_us {
        0 => Some(now),
        us => Timestamp::from_microsecond(us).ok(),
    };
    if at.is_none() {
        faults.add_value("at_us", request.at_us, "must be an instant");
    }
    let (origins, at) = faults.into_result(origins.zip(at))?;
    Ok(Question { origins, labelled, at })
}

/// Reads lots of a closure.
pub fn origins_in(
    given: &[v1::OriginLot],
    field: &str,
    faults: &mut Faults,
) -> Option<Vec<Origin>> {
    let mut origins = Vec::with_capacity(given.len());
    for (at, one) in given.iter().enumerate() {
        let field = format!("{field}[{at}]");
        let lot = id(&one.lot, &format!("{field}.lot"), faults);
        let made_at = Timestamp::from_microsecond(one.made_at_us).ok();
        if made_at.is_none() {
            faults.add_value(format!("{field}.made_at_us"), one.made_at_us, "must be an instant");
        }
        if one.uses.is_empty() && one.material.is_empty() {
            faults.add(format!("{field}.material"), "is needed where nothing went in");
        }
        let uses = one.uses.iter().map(|part| {
            let grams: Option<Exact> = number(part.mass_g.as_deref());
            grams.map(|grams| (part.lot as usize, grams))
        });
        let uses = uses.collect::<Option<Vec<_>>>();
        let read = lot.zip(made_at).zip(uses);
        origins.push(read.map(|((lot, made_at), uses)| Origin {
            lot,
            material: one.material.clone(),
            made_at,
            uses,
        }));
    }
    origins.into_iter().collect()
}

/// Asks for a material by its id or its name.
pub fn name(material: &str, wanted: &mut Wanted) {
    match material.parse() {
        Ok(id) => wanted.materials.push(id),
        Err(_) if material.is_empty() => {}
        Err(_) => wanted.names.push(material.to_owned()),
    }
}

impl Question {
    /// What the judgement needs to know.
    pub fn wanted(&self, labels: &[Option<Uuid>]) -> Wanted {
        let mut wanted = Wanted::default();
        for origin in self.origins.iter().filter(|origin| origin.uses.is_empty()) {
            name(&origin.material, &mut wanted);
            wanted.lots.push(origin.lot);
        }
        wanted.labels = labels.iter().flatten().copied().collect();
        wanted
    }

    /// What a lot holds, and whether its label says so.
    pub fn judge(
        &self,
        of: &Labelled,
        label: Option<Uuid>,
        (cover, book): (&Cover, &Book),
    ) -> v1::LotCover {
        let held = cover.held(of.place);
        let lot = self.origins.get(of.place).map(|origin| origin.lot).unwrap_or_default();
        let subject = format!("lot {lot}");
        let mut reasons = Vec::new();
        if !cover.unknown(of.place).is_empty() {
            reasons.push(Reason {
                code: "CONTENTS_NOT_KNOWN",
                subject: subject.clone(),
                message: format!("{}.", cover.unknown(of.place).join("; ")),
                who: "QA".into(),
                way_on: "Add the material with a specification in force when it was used.".into(),
            });
        }
        let found = label.and_then(|label| book.labels.get(&label));
        let revision = found.and_then(|label| label.in_force(self.at));
        match revision {
            Some(revision) => reasons.extend(faults(of, &held, revision, &subject)),
            None => reasons.push(Reason {
                code: "NO_LABEL_IN_FORCE",
                subject,
                message: format!("No revision of its label is in force at {}.", self.at),
                who: "QA".into(),
                way_on: "Put a revision of the label in force, or hold the lot for one.".into(),
            }),
        }
        let undeclared = revision.map(|one| uncovered(&held, one).0).unwrap_or_default();
        v1::LotCover {
            reasons: reasons.into_iter().map(reason_out).collect(),
            statement: held.statement(),
            allergens: held.allergens.iter().map(|one| (*one).to_owned()).collect(),
            undeclared: undeclared.into_iter().map(str::to_owned).collect(),
            label_item: revision.map(|one| one.item.clone()).unwrap_or_default(),
            label_revision: revision.map(|one| one.revision.clone()).unwrap_or_default(),
        }
    }
}

fn faults(of: &Labelled, held: &Held, revision: &Revision, subject: &str) -> Vec<Reason> {
    let (allergens, entries) = uncovered(held, revision);
    let name = format!("{}, revision {}", revision.item, revision.revision);
    let reason = |code, message: String, way_on: &str| Reason {
        code,
        subject: subject.to_owned(),
        message,
        who: "QA".into(),
        way_on: way_on.to_owned(),
    };
    let mut reasons = Vec::new();
    if !of.revision.is_empty() && of.revision != revision.revision {
        let message = format!("Revision {} is on the roll; {name} is in force.", of.revision);
        reasons.push(reason(
            "LABEL_NOT_IN_FORCE",
            message,
            "Hang a roll of the revision in force.",
        ));
    }
    let way = "Hold the lot for a revision that says so; nothing is packed or shipped under this \
               one.";
    if !allergens.is_empty() {
        let message = format!("It holds {}, which {name} does not declare.", allergens.join(", "));
        reasons.push(reason("ALLERGEN_NOT_ON_LABEL", message, way));
    }
    for entry in entries {
        let message = format!("It holds {entry:?}, for which {name} has no entry.");
        reasons.push(reason("INGREDIENT_NOT_ON_LABEL", message, way));
    }
    reasons
}

#[cfg(test)]
mod tests;
