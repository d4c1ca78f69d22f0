//! Batches under a formula: what is asked of formulas before the tip, and what it answered.
//! It never judges a weight itself, and never lets a refusal pass for a command.

use std::collections::HashMap;

use domain::fault::Faults;
use domain::units::Dimension;
use jiff::Timestamp;
use platform::error::{Failure, Reason};
use platform::records::{self, Stamp};
use platform::shape;
use prost::Message as _;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1;
use wire::v1::RefusalReason;

use super::judge::Broken;
use super::{Addition, NewTransformation, Transformation, Use, mass_out};
use crate::shape::closure::{Closure, MadeOf, use_out};
use crate::shape::on_hand::{Shelf, on_hand_out};
use crate::store::making::batch::{BatchRow, LotSeen};

/// The kind of a lot that holds ingredients weighed before for one batch.
pub const KIT: &str = "kit";
/// The kind of a transformation that packs off, which is when a label is put on.
pub const PACK_OFF: &str = "pack_off";
/// The open item of a batch that was mixed though its formula refuses it.
const BATCH_NOT_MET: &str = "BATCH_NOT_MET";
/// The open item of a batch that was made to wait for a label.
const WAITS_FOR_LABEL: &str = "WAITS_FOR_LABEL";
/// The open item of what was packed under a label that does not declare what it holds.
pub const LABEL_NOT_COVERING: &str = "LABEL_NOT_COVERING";

/// By what a transformation is judged besides its masses.
#[derive(Clone, Debug, Default)]
pub struct By {
    pub formula: Option<(Uuid, i32)>,
    pub hold_for_label: bool,
    /// The revision on the roll; empty where none was scanned.
    pub label_revision: String,
    /// What kits weighed again hold now, by their lots.
    pub again: HashMap<Uuid, Vec<v1::KitContent>>,
}

/// Reads by what a transformation is judged.
pub fn by_in(request: &v1::RecordTransformationRequest, faults: &mut Faults) -> Option<By> {
    let formula = shape::optional_id(&request.formula, "formula", faults);
    let version = request.formula_version;
    if request.formula.is_empty() != version.is_none() {
        let field = if version.is_none() { "formula_version" } else { "formula" };
        faults.add(field, "is needed: a formula is named with its version");
    }
    let is_batch = makes_batch(request);
    if !request.formula.is_empty() && !is_batch {
        faults.add_value("formula", &request.formula, "only a batch is mixed by a formula");
    }
    if request.hold_for_label && request.formula.is_empty() {
        faults.add("hold_for_label", "goes with a formula");
    }
    if !request.label_revision.is_empty() && request.kind != PACK_OFF {
        let text = "only a pack-off has a label";
        faults.add_value("label_revision", &request.label_revision, text);
    }
    let mut again = HashMap::new();
    for (at, input) in request.inputs.iter().enumerate().filter(|(_, i)| !i.contents.is_empty()) {
        let field = format!("inputs[{at}].contents");
        if request.formula.is_empty() {
            faults.add(&field, "counts only where a batch is mixed by a formula");
        }
        contents_in(&input.contents, &field, faults);
        again.extend(input.lot.parse().ok().map(|lot: Uuid| (lot, input.contents.clone())));
    }
    let label_revision = request.label_revision.clone();
    let formula = formula.zip(version);
    Some(By { formula, hold_for_label: request.hold_for_label, label_revision, again })
}

/// A mix, or anything else that makes a batch.
fn makes_batch(request: &v1::RecordTransformationRequest) -> bool {
    request.kind == "mix" || request.outputs.iter().any(|output| output.kind == "batch")
}

/// Checks what a kit holds now; a mass of 0 was taken out.
pub fn contents_in(contents: &[v1::KitContent], field: &str, faults: &mut Faults) {
    for (at, one) in contents.iter().enumerate() {
        shape::id(&one.material, &format!("{field}[{at}].material"), faults);
        shape::id(&one.lot, &format!("{field}[{at}].lot"), faults);
        let field = format!("{field}[{at}].mass");
        shape::quantity(one.mass.as_ref(), Dimension::Mass, &field, faults);
    }
}

impl Transformation {
    /// True for a mix, and for whatever else makes a batch.
    pub fn makes_batch(&self) -> bool {
        self.kind == "mix" || self.wanted.iter().any(|wanted| wanted.kind == "batch")
    }

    /// The places in its outputs of finished lots that it packs off.
    pub fn packed_off(&self) -> Vec<usize> {
        let wanted = self.wanted.iter().enumerate();
        wanted.filter(|(_, wanted)| wanted.kind == "finished").map(|(at, _)| at).collect()
    }

    /// When it was or is done, for what is judged by time.
    pub fn done_at(&self) -> Timestamp {
        let moments = &self.moments;
        match moments.happened {
            true => moments.by_the_plant(moments.observed_at),
            false => moments.recorded_at,
        }
    }

    /// What formulas is asked about the label of what is packed off, which is not made yet.
    pub fn label_question(&self, graph: &Closure, made_of: &MadeOf) -> internal::LabelCoverRequest {
        let mut lots = graph.origins_out(made_of);
        let used = self
            .uses
            .iter()
            .filter_map(|one| graph.index(one.lot).map(|at| use_out(at as u32, &one.mass.grams)));
        let uses: Vec<_> = used.collect();
        let (at, mut labelled) = (self.done_at().as_microsecond(), Vec::new());
        for place in self.packed_off() {
            let wanted = &self.wanted[place];
            labelled.push(internal::LabelledLot {
                lot: lots.len() as u32,
                product: wanted.material.clone(),
                revision: self.by.label_revision.clone(),
                from_us: at,
                to_us: at,
                ..Default::default()
            });
            lots.push(internal::OriginLot {
                lot: wanted.lot.to_string(),
                code: wanted.material.clone(),
                kind: wanted.kind.clone(),
                material: wanted.material.clone(),
                made_at_us: at,
                uses: uses.clone(),
            });
        }
        internal::LabelCoverRequest { lots, labelled, at_us: at }
    }

    /// What formulas is asked about the batch.
    pub fn question(
        &self,
        seen: &[LotSeen],
        origins: Vec<internal::OriginLot>,
    ) -> Result<internal::JudgeBatchRequest, Failure> {
        let mut faults = Faults::new();
        for (at, (one, seen)) in self.uses.iter().zip(seen).enumerate() {
            if seen.kind != KIT && self.by.again.contains_key(&one.lot) {
                let field = format!("inputs[{at}].contents");
                faults.add(field, format!("is for kits; {} is {}", seen.code, seen.kind));
            }
        }
        faults.into_result(Some(())).map_err(Failure::from)?;
        let used = self.uses.iter().zip(seen).map(|(one, seen)| {
            input(one, seen, self.by.again.get(&one.lot).map_or(&[], Vec::as_slice))
        });
        let added = self.additions.iter().map(untracked);
        Ok(internal::JudgeBatchRequest {
            formula: self.by.formula.map(|(id, _)| id.to_string()).unwrap_or_default(),
            formula_version: self.by.formula.map(|(_, version)| version),
            inputs: used.chain(added).collect(),
            origins,
            // The record of a batch closes it: whatever its formula requires must be there.
            closing: true,
            hold_for_label: self.by.hold_for_label,
            products: self.wanted.iter().map(|wanted| wanted.material.clone()).collect(),
            at_us: self.done_at().as_microsecond(),
            ..Default::default()
        })
    }
}

/// A lot that goes in: a kit by what it holds, anything else by its mass.
fn input(one: &Use, seen: &LotSeen, again: &[v1::KitContent]) -> internal::JudgedInput {
    let is_kit = seen.kind == KIT;
    internal::JudgedInput {
        lot: one.lot.to_string(),
        material: if is_kit { String::new() } else { seen.material.clone() },
        mass: (!is_kit).then(|| mass_out(&one.mass.value, &one.mass.unit)),
        kit: is_kit,
        contents: contents(seen, again),
        lot_kind: seen.kind.clone(),
    }
}

/// What a kit holds by its weigh-up; what was weighed again stands in place of that.
fn contents(seen: &LotSeen, again: &[v1::KitContent]) -> Vec<internal::JudgedContent> {
    let is_again = |lot: &Uuid| again.iter().any(|one| one.lot == lot.to_string());
    let weighed = seen.weighed_up.iter().filter(|one| !is_again(&one.lot));
    let weighed = weighed.map(|one| internal::JudgedContent {
        material: one.material.clone(),
        lot: one.lot.to_string(),
        mass: Some(mass_out(&one.mass_value, &one.mass_unit)),
    });
    let again = again.iter().map(|one| internal::JudgedContent {
        material: one.material.clone(),
        lot: one.lot.clone(),
        mass: one.mass.clone(),
    });
    weighed.chain(again).collect()
}

/// Water, or something else that no lot tracks.
fn untracked(addition: &Addition) -> internal::JudgedInput {
    internal::JudgedInput {
        material: addition.name.clone(),
        mass: Some(mass_out(&addition.mass.value, &addition.mass.unit)),
        ..Default::default()
    }
}

/// The question about a batch that gets one more input.
pub fn with_input(
    last: &BatchRow,
    (one, seen): (&Use, &LotSeen),
    again: &[v1::KitContent],
    (batch, origins): (Option<&Uuid>, Vec<internal::OriginLot>),
) -> Result<internal::JudgeBatchRequest, Failure> {
    if seen.kind != KIT && !again.is_empty() {
        let text = format!("is for kits; {} is {}", seen.code, seen.kind);
        return Err(Failure::fault("contents", "", text));
    }
    let question = internal::JudgeBatchRequest::decode(last.question.as_slice());
    let mut question = question.map_err(Failure::internal)?;
    question.inputs.push(input(one, seen, again));
    question.origins = origins;
    question.batch = batch.map(Uuid::to_string).unwrap_or_default();
    Ok(question)
}

/// The same question with what is on hand of materials that an answer has named, and may be used.
pub fn with_on_hand(
    question: internal::JudgeBatchRequest,
    shelf: Shelf,
) -> internal::JudgeBatchRequest {
    let mut told = on_hand_out(shelf);
    told.lots.retain(|lot| lot.forbidden_by.is_empty());
    internal::JudgeBatchRequest {
        on_hand: told.lots,
        more_on_hand: told.more,
        with_on_hand: true,
        ..question
    }
}

impl BatchRow {
    /// The lots that it was asked about, with one more; each once.
    pub fn lots_with(&self, lot: Uuid) -> Result<Vec<Uuid>, Failure> {
        let question = internal::JudgeBatchRequest::decode(self.question.as_slice());
        let inputs = question.map_err(Failure::internal)?.inputs;
        let mut lots: Vec<Uuid> = inputs.iter().filter_map(|one| one.lot.parse().ok()).collect();
        lots.push(lot);
        lots.sort_unstable();
        lots.dedup();
        Ok(lots)
    }
}

/// What formulas said of a batch that is about to be recorded.
#[derive(Clone, Debug)]
pub struct Judged {
    question: internal::JudgeBatchRequest,
    answer: Uuid,
    told: internal::JudgeBatchResponse,
}

impl Judged {
    /// Reads an answer; one without an id is none.
    pub fn of(
        mut question: internal::JudgeBatchRequest,
        told: internal::JudgeBatchResponse,
    ) -> Result<Self, Failure> {
        let answer = told.answer.parse().map_err(Failure::internal)?;
        // What is kept is what went in, not what else was on hand.
        question.origins.clear();
        question.on_hand.clear();
        question.more_on_hand.clear();
        question.with_on_hand = false;
        Ok(Self { question, answer, told })
    }

    /// What refuses it, and as a fact is broken.
    pub fn refusals(&self) -> Vec<Told> {
        let told = |reason: &RefusalReason| Told { reason: reason.clone(), item: BATCH_NOT_MET };
        self.told.refusals.iter().map(told).collect()
    }

    /// What somebody must look at though it refuses nothing: the batch waits for a label.
    pub fn waits(&self, lots: &[Uuid]) -> Vec<Broken> {
        let waits = |reason: &RefusalReason| Broken {
            is_held: false,
            ..Told { reason: reason.clone(), item: WAITS_FOR_LABEL }.broken(lots)
        };
        self.told.holds.iter().map(waits).collect()
    }

    /// The record of it; none of a batch under no formula.
    pub fn record(&self, cause: &Stamp, transformation: Uuid) -> Option<NewBatch> {
        let formula: Uuid = self.question.formula.parse().ok()?;
        let id = records::new_id();
        Some(NewBatch {
            stamp: Stamp { id, subject: format!("batch:{transformation}"), ..cause.clone() },
            transformation,
            cause: cause.id,
            formula: (formula, self.question.formula_version.unwrap_or_default()),
            judged: self.clone(),
        })
    }

    fn message(&self) -> v1::BatchJudgement {
        let (held, refused) = (self.told.holds.iter(), self.told.refusals.iter());
        v1::BatchJudgement {
            formula: self.question.formula.clone(),
            formula_version: self.question.formula_version.unwrap_or_default(),
            hold_for_label: self.question.hold_for_label,
            agents: self.told.agents.clone(),
            reasons: refused.chain(held).cloned().collect(),
        }
    }
}

/// A reason of another service, and the open item that it is where the act has happened.
#[derive(Clone, Debug)]
pub struct Told {
    pub reason: RefusalReason,
    pub item: &'static str,
}

impl Told {
    /// The reason as something that a fact broke.
    pub fn broken(&self, lots: &[Uuid]) -> Broken {
        let RefusalReason { subject, message, who, way_on, .. } = self.reason.clone();
        let message = format!("{message} {way_on}");
        let reason = Reason { code: self.item, subject, message, who, way_on };
        Broken { reason, item: self.item, lots: lots.to_vec(), is_held: true }
    }
}

impl NewTransformation {
    /// What formulas is told of kits that went into a batch.
    pub fn kits_used(&self) -> Vec<internal::TellKitUsedRequest> {
        let (Some(batch), Some(made)) = (&self.batch, self.outputs.first()) else {
            return Vec::new();
        };
        let kits = batch.judged.question.inputs.iter().filter(|input| input.kit);
        kits.map(|kit| kit_used(kit.lot.clone(), made.stamp.id)).collect()
    }
}

/// What formulas is told of a kit.
pub fn kit_used(lot: String, batch: Uuid) -> internal::TellKitUsedRequest {
    internal::TellKitUsedRequest { lot, batch: batch.to_string() }
}

/// A judgement about to be recorded.
#[derive(Clone, Debug)]
pub struct NewBatch {
    pub stamp: Stamp,
    pub transformation: Uuid,
    pub cause: Uuid,
    pub formula: (Uuid, i32),
    judged: Judged,
}

impl NewBatch {
    /// As it is kept.
    pub fn row(&self) -> BatchRow {
        BatchRow {
            id: self.stamp.id,
            transformation: self.transformation,
            cause: self.cause,
            formula: self.formula.0,
            formula_version: self.formula.1,
            hold_for_label: self.judged.question.hold_for_label,
            answer: self.judged.answer,
            question: self.judged.question.encode_to_vec(),
            judgement: self.judged.message().encode_to_vec(),
        }
    }

    /// Its entry.
    pub fn entry(&self) -> Value {
        let Judged { question, answer, told } = &self.judged;
        let inputs: Vec<_> = question.inputs.iter().map(input_entry).collect();
        let agents: Vec<_> = told.agents.iter().map(agent_entry).collect();
        json!({
            "batch": self.stamp.id.to_string(),
            "transformation": self.transformation.to_string(),
            "cause": self.cause.to_string(),
            "formula": self.formula.0.to_string(),
            "formula_version": self.formula.1,
            "hold_for_label": question.hold_for_label,
            "answer": answer.to_string(),
            "inputs": inputs,
            "agents": agents,
            "refusals": reasons_entry(&told.refusals),
            "holds": reasons_entry(&told.holds),
        })
    }
}

fn mass_entry(mass: Option<&v1::Quantity>) -> Value {
    mass.map_or(Value::Null, |mass| json!({ "value": mass.value, "unit": mass.unit }))
}

fn reasons_entry(all: &[RefusalReason]) -> Value {
    let entry = |one: &RefusalReason| {
        let (code, subject, message) = (&one.code, &one.subject, &one.message);
        json!({ "code": code, "subject": subject, "message": message })
    };
    all.iter().map(entry).collect()
}

fn input_entry(one: &internal::JudgedInput) -> Value {
    let held = |one: &internal::JudgedContent| {
        let mass = mass_entry(one.mass.as_ref());
        json!({ "lot": one.lot, "material": one.material, "mass": mass })
    };
    json!({
        "lot": one.lot, "lot_kind": one.lot_kind, "material": one.material,
        "mass": mass_entry(one.mass.as_ref()),
        "contents": one.contents.iter().map(held).collect::<Vec<_>>(),
    })
}

fn agent_entry(one: &v1::AgentResult) -> Value {
    json!({
        "agent": one.agent, "mass": mass_entry(one.mass.as_ref()), "ppm": one.ppm,
        "limit_ppm": one.limit_ppm,
        "verdict": one.verdict.map(|_| one.verdict().as_str_name()),
    })
}

/// A judgement of a row as a message.
pub fn judgement_out(row: &BatchRow) -> Option<v1::BatchJudgement> {
    v1::BatchJudgement::decode(row.judgement.as_slice()).ok()
}
