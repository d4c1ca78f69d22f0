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
use crate::judge::label::{Held, coming, uncovered};
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
    /// The first and the last instant at which it was labelled.
    pub within: (Timestamp, Timestamp),
}

/// A question about labels.
#[derive(Clone, Debug)]
pub struct Question {
    pub origins: Vec<Origin>,
    pub labelled: Vec<Labelled>,
    /// When what is asked for is used, and when a label without a span must be true.
    pub at: Timestamp,
}

/// Reads a question; `now` stands where it names no time.
pub fn cover_in(request: &v1::LabelCoverRequest, now: Timestamp) -> Result<Question, Failure> {
    let mut faults = Faults::new();
    let origins = origins_in(&request.lots, "lots", &mut faults);
    let at = instant(request.at_us, now, "at_us", &mut faults);
    let mut labelled = Vec::new();
    for (place, one) in request.labelled.iter().enumerate() {
        let field = format!("labelled[{place}]");
        let read = labelled_in(one, &field, at.unwrap_or(now), &mut faults);
        if one.lot as usize >= request.lots.len() {
            faults.add_value(format!("{field}.lot"), one.lot, "must be a place in lots");
        }
        labelled.extend(read);
    }
    let (origins, at) = faults.into_result(origins.zip(at))?;
    Ok(Question { origins, labelled, at })
}

fn labelled_in(
    one: &v1::LabelledLot,
    field: &str,
    at: Timestamp,
    faults: &mut Faults,
) -> Option<Labelled> {
    let label = optional_id(&one.label, &format!("{field}.label"), faults);
    if one.label.is_empty() && one.product.is_empty() {
        faults.add(format!("{field}.product"), "is needed, or a label");
    }
    let from = instant(one.from_us, at, &format!("{field}.from_us"), faults);
    let to = instant(one.to_us, at, &format!("{field}.to_us"), faults);
    let within = from.zip(to)?;
    let (product, revision) = (one.product.clone(), one.revision.clone());
    Some(Labelled { place: one.lot as usize, label, product, revision, within })
}

/// Reads the instant of a question; 0 is now.
pub fn at_in(us: i64, now: Timestamp) -> Result<Timestamp, Failure> {
    let mut faults = Faults::new();
    let at = instant(us, now, "at_us", &mut faults);
    Ok(faults.into_result(at)?)
}

/// An instant in microseconds since 1970; 0 is another.
fn instant(us: i64, zero: Timestamp, field: &str, faults: &mut Faults) -> Option<Timestamp> {
    let at = if us == 0 { Some(zero) } else { Timestamp::from_microsecond(us).ok() };
    if at.is_none() {
        faults.add_value(field, us, "must be an instant");
    }
    at
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
            code: one.code.clone(),
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
        for origin in &self.origins {
            name(&origin.material, &mut wanted);
            if origin.uses.is_empty() {
                wanted.lots.push(origin.lot);
            }
        }
        wanted.names.sort();
        wanted.names.dedup();
        wanted.product_names.clone_from(&wanted.names);
        wanted.labels = labels.iter().flatten().copied().collect();
        wanted
    }

    /// What a lot holds, and whether its label says so. Of what is not known at all nothing is
    /// said.
    pub fn judge(
        &self,
        of: &Labelled,
        label: Option<Uuid>,
        (cover, book): (&Cover, &Book),
    ) -> v1::LotCover {
        if label.is_none() && !cover.is_known(of.place) {
            return v1::LotCover::default();
        }
        let held = cover.held(of.place);
        let lot = self.origins.get(of.place);
        let name = lot.map(Origin::name).unwrap_or_default();
        let subject = format!("lot:{}", lot.map(|origin| origin.lot).unwrap_or_default());
        let found = label.and_then(|label| book.labels.get(&label));
        let coming = coming(found, self.at, &held.allergens);
        let mut told = Told { of, held: &held, name, subject, coming, reasons: Vec::new() };
        if !cover.unknown(of.place).is_empty() {
            let message = format!("{}.", cover.unknown(of.place).join("; "));
            let way = "Add the material with a specification in force when it was used.";
            told.add("CONTENTS_NOT_KNOWN", message, way);
        }
        let (revisions, none) = match found {
            Some(label) => label.in_force_within(of.within),
            None => (Vec::new(), Some(of.within.0)),
        };
        if let Some(at) = none {
            told.no_label(found.is_some(), at);
        }
        for revision in &revisions {
            told.faults(revision);
        }
        let last = revisions.last();
        let lacking = revisions.iter().flat_map(|one| uncovered(&held, one).0);
        let undeclared = held.allergens.iter().filter(|word| lacking.clone().any(|w| w == **word));
        v1::LotCover {
            undeclared: undeclared.map(|word| (*word).to_owned()).collect(),
            statement: held.statement(),
            allergens: held.allergens.iter().map(|one| (*one).to_owned()).collect(),
            label_item: last.map(|one| one.item.clone()).unwrap_or_default(),
            label_revision: last.map(|one| one.revision.clone()).unwrap_or_default(),
            reasons: told.reasons.into_iter().map(reason_out).collect(),
        }
    }
}

/// What is told of one lot.
struct Told<'a> {
    of: &'a Labelled,
    held: &'a Held,
    name: String,
    subject: String,
    /// The revision for which it could wait.
    coming: String,
    reasons: Vec<Reason>,
}

impl Told<'_> {
    fn add(&mut self, code: &'static str, message: String, way_on: &str) {
        let (subject, way_on) = (self.subject.clone(), way_on.to_owned());
        self.reasons.push(Reason { code, subject, message, who: "QA".into(), way_on });
    }

    fn no_label(&mut self, has_label: bool, at: Timestamp) {
        let (message, way) = match has_label {
            true => (
                format!("No revision of the label of {} was in force at {at}.", self.name),
                "Put a revision of the label in force, or hold the lot for one.",
            ),
            false => (
                format!("{}: no formula in force gives {:?} a label.", self.name, self.of.product),
                "Approve a formula of this product that names its label.",
            ),
        };
        self.add("NO_LABEL_IN_FORCE", message, way);
    }

    /// What one revision does not say.
    fn faults(&mut self, revision: &Revision) {
        let (allergens, entries) = uncovered(self.held, revision);
        let label = format!("{}, revision {}", revision.item, revision.revision);
        let name = self.name.clone();
        let scanned = &self.of.revision;
        if !scanned.is_empty() && *scanned != revision.revision {
            let message = format!("Revision {scanned} is on {name}; {label} is in force.");
            self.add("LABEL_NOT_IN_FORCE", message, "Hang a roll of the revision in force.");
        }
        let way = format!(
            "Take another lot that does not bring it, or hold this one for {}.",
            self.coming
        );
        if !allergens.is_empty() {
            let message =
                format!("{name} holds {}, which {label} does not declare.", allergens.join(", "));
            self.add("ALLERGEN_NOT_ON_LABEL", message, &way);
        }
        for entry in entries {
            let message = format!("{name} holds {entry:?}, for which {label} has no entry.");
            self.add("INGREDIENT_NOT_ON_LABEL", message, &way);
        }
    }
}

#[cfg(test)]
mod tests;
