//! The judgement of a batch: questions from messages, and answers as messages.
//! It never asks the database.

use domain::fault::Faults;
use domain::formula::declaration::Line;
use domain::units::{Dimension, Quantity};
use jiff::Timestamp;
use platform::error::{Failure, Reason};
use platform::shape::{id, optional_id};
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1;

use super::checks::{check_out, holding_out};
use super::covers::{name, origins_in};
use super::kits::{Content, contents_in, kit_made};
use super::on_hand::{other_lots_of, others_out, shelf_in};
use super::{id_out, number_out, quantity_out, verdict_out};
use crate::book::{Book, Kind, Recipe};
use crate::judge::batch::{Asked, Judged, KitIn};
use crate::judge::cover::{self, Cover, Origin};
use crate::judge::on_hand::{Shelf, is_made_here};
use crate::judge::ways::{Less, Ways};
use crate::judge::{Portion, Whole, verdict};
use crate::store::book::Wanted;
use crate::store::kits::Kit;

/// What goes in.
#[derive(Clone, Debug)]
pub struct Input {
    pub lot: Option<Uuid>,
    /// The id or name of the material; empty for a kit.
    pub material: String,
    /// Nothing for a kit.
    pub mass: Option<Quantity>,
    pub is_kit: bool,
    pub contents: Vec<Content>,
    /// The lot was made of lots here.
    pub is_made_here: bool,
}

/// A question about a batch.
#[derive(Clone, Debug)]
pub struct Question {
    pub formula: (Uuid, i32),
    pub inputs: Vec<Input>,
    /// What rework came of.
    pub origins: Vec<Origin>,
    pub closing: bool,
    pub hold_for_label: bool,
    /// What the batch is called.
    pub products: Vec<String>,
    /// Its lot, where it stands already.
    pub batch: Option<Uuid>,
    /// What is on hand, for the ways on.
    pub shelf: Shelf,
}

/// Reads a question of a person.
pub fn question_in(request: &v1::CheckBatchRequest) -> Result<Question, Failure> {
    let mut faults = Faults::new();
    let formula = id(&request.formula, "formula", &mut faults);
    let mut inputs = Vec::new();
    for (at, one) in request.inputs.iter().enumerate() {
        let field = format!("inputs[{at}]");
        let contents = contents_in(&one.contents, &format!("{field}.contents"), &mut faults);
        let material = (one.material.as_str(), one.mass.as_ref());
        let input = input(&field, (one.kit, &one.lot), material, &mut faults);
        inputs.push(input.zip(contents).map(|(input, contents)| Input { contents, ..input }));
    }
    let inputs = inputs.into_iter().collect::<Option<Vec<_>>>();
    let (formula, inputs) = faults.into_result(formula.zip(inputs))?;
    Ok(Question {
        formula: (formula, request.formula_version.unwrap_or_default()),
        inputs,
        origins: Vec::new(),
        closing: request.closing,
        hold_for_label: request.hold_for_label,
        products: Vec::new(),
        batch: None,
        shelf: Shelf::NotAsked,
    })
}

/// Reads a question of genealogy.
pub fn judged_in(request: &internal::JudgeBatchRequest) -> Result<Question, Failure> {
    let mut faults = Faults::new();
    let formula = id(&request.formula, "formula", &mut faults);
    let mut inputs = Vec::new();
    for (at, one) in request.inputs.iter().enumerate() {
        let field = format!("inputs[{at}]");
        let is_made_here = is_made_here(&one.lot_kind);
        let held = one.contents.iter().enumerate().map(|(of, held)| {
            let field = format!("{field}.contents[{of}]");
            let lot = optional_id(&held.lot, &format!("{field}.lot"), &mut faults);
            let mass = mass_in(held.mass.as_ref(), &format!("{field}.mass"), &mut faults)?;
            Some(Content { material: held.material.clone(), lot, mass })
        });
        let contents: Option<Vec<_>> = held.collect();
        let material = (one.material.as_str(), one.mass.as_ref());
        let input = input(&field, (one.kit, &one.lot), material, &mut faults);
        let whole = |(input, contents)| Input { contents, is_made_here, ..input };
        inputs.push(input.zip(contents).map(whole));
    }
    let inputs = inputs.into_iter().collect::<Option<Vec<_>>>();
    let origins = origins_in(&request.origins, "origins", &mut faults);
    let batch = optional_id(&request.batch, "batch", &mut faults);
    if request.formula_version.is_none() {
        faults.add("formula_version", "is needed with a formula");
    }
    let shelf = match request.with_on_hand {
        true => shelf_in(&request.on_hand, &request.more_on_hand, "on_hand")?,
        false => Shelf::NotAsked,
    };
    let ((formula, inputs), origins) = faults.into_result(formula.zip(inputs).zip(origins))?;
    Ok(Question {
        formula: (formula, request.formula_version.unwrap_or_default()),
        inputs,
        origins,
        closing: request.closing,
        hold_for_label: request.hold_for_label,
        products: request.products.clone(),
        batch,
        shelf,
    })
}

fn mass_in(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Quantity> {
    let entered = platform::shape::quantity(given, Dimension::Mass, field, faults);
    entered.map(|entered| entered.quantity())
}

fn input(
    field: &str,
    (is_kit, lot): (bool, &str),
    (material, mass): (&str, Option<&v1::Quantity>),
    faults: &mut Faults,
) -> Option<Input> {
    let lot_field = format!("{field}.lot");
    let read = optional_id(lot, &lot_field, faults);
    if is_kit {
        if read.is_none() && lot.is_empty() {
            faults.add(lot_field, "is needed for a kit");
        }
        let kit = Input {
            lot: Some(read?),
            material: String::new(),
            mass: None,
            is_kit,
            contents: Vec::new(),
            is_made_here: false,
        };
        return Some(kit);
    }
    if material.is_empty() {
        faults.add(format!("{field}.material"), "is needed, or kit");
    }
    let mass = mass_in(mass, &format!("{field}.mass"), faults)?;
    if read.is_none() && !lot.is_empty() {
        return None;
    }
    let material = material.to_owned();
    let (mass, contents) = (Some(mass), Vec::new());
    Some(Input { lot: read, material, mass, is_kit, contents, is_made_here: false })
}

impl Question {
    /// The lots of the kits.
    pub fn kit_lots(&self) -> Vec<Uuid> {
        let kits = self.inputs.iter().filter(|input| input.is_kit);
        kits.filter_map(|input| input.lot).collect()
    }

    /// What the judgement needs to know.
    pub fn wanted(&self, recipe: &Recipe, kits: &[Kit]) -> Result<Wanted, Failure> {
        let mut wanted = super::drafts::wanted(recipe);
        for input in &self.inputs {
            name(&input.material, &mut wanted);
            wanted.lots.extend(input.lot);
            for held in &input.contents {
                name(&held.material, &mut wanted);
                wanted.lots.extend(held.lot);
            }
        }
        for kit in kits {
            for held in kit_made(kit)?.1 {
                name(&held.material, &mut wanted);
                wanted.lots.extend(held.lot);
            }
        }
        for origin in &self.origins {
            name(&origin.material, &mut wanted);
            wanted.lots.push(origin.lot);
        }
        wanted.lots.extend(self.shelf.lots().iter().map(|one| one.lot));
        Ok(wanted)
    }

    /// The batch as it is judged.
    pub fn asked<'b>(
        &self,
        (recipe, book): (&'b Recipe, &'b Book),
        kits: &[Kit],
        at: Timestamp,
    ) -> Result<Asked<'b>, Failure> {
        let mut asked = Asked {
            formula: self.formula,
            recipe,
            book,
            portions: Vec::new(),
            unknown: Vec::new(),
            made_here: Vec::new(),
            products: self.products.clone(),
            batch: self.batch,
            kits: Vec::new(),
            closing: self.closing,
            hold_for_label: self.hold_for_label,
            shelf: self.shelf.clone(),
            at,
        };
        let cover = self.cover(book, at)?;
        for input in &self.inputs {
            asked.made_here.extend(input.lot.filter(|_| input.is_made_here));
            if let (true, Some(lot)) = (input.is_kit, input.lot) {
                let record =
                    kits.iter().find(|(row, _)| row.lot == lot).map(kit_made).transpose()?;
                let (made, recorded) = record.map_or((None, Vec::new()), |(m, c)| (Some(m), c));
                let is_twice = asked.kits.iter().any(|kit| kit.lot == lot);
                asked.kits.push(KitIn { lot, made });
                // A kit scanned twice is refused as such and not weighed twice.
                for held in merged(recorded, &input.contents).into_iter().filter(|_| !is_twice) {
                    take(&mut asked, (&held.material, held.lot, Some(lot)), held.mass, None);
                }
            } else if let Some(mass) = &input.mass {
                let origin = cover.as_ref().and_then(|cover| self.origin(cover, input, mass));
                let (origin, unknown) = origin.unwrap_or_default();
                asked.unknown.extend(unknown);
                let what = (input.material.as_str(), input.lot, None);
                take(&mut asked, what, mass.clone(), origin);
            }
        }
        Ok(asked)
    }

    /// What the lots of rework came of; nothing when no origins were given.
    fn cover(&self, book: &Book, at: Timestamp) -> Result<Option<Cover>, Failure> {
        if self.origins.is_empty() {
            return Ok(None);
        }
        let lots: Vec<_> = self.inputs.iter().filter_map(|input| input.lot).collect();
        let places = self.origins.iter().enumerate();
        let asked = places.filter(|(_, one)| lots.contains(&one.lot)).map(|(at, _)| at);
        let asked: Vec<_> = asked.collect();
        let cover = cover::read(&self.origins, &asked, book, at);
        let wrong = || Failure::fault("origins", "", "must hold every lot named, in no circle");
        Ok(Some(cover.ok_or_else(wrong)?))
    }

    /// What a lot of rework is declared as by what went into it, and what is not known of that.
    fn origin(&self, cover: &Cover, input: &Input, mass: &Quantity) -> Option<Known> {
        let place = self.origins.iter().position(|one| Some(one.lot) == input.lot)?;
        // What nothing of ours went into is judged by its own specification.
        if self.origins[place].uses.is_empty() {
            return None;
        }
        Some((Some(cover.lines(place, &mass.base())), cover.unknown(place).to_vec()))
    }
}

/// Lines of a declaration, and what is not known.
type Known = (Option<Vec<Line>>, Vec<String>);

/// What a kit holds: as weighed again where it was, else as recorded. What is not weighed again
/// stays, so that nothing is lost by leaving it out.
fn merged(recorded: Vec<Content>, again: &[Content]) -> Vec<Content> {
    let same = |one: &Content, other: &Content| one.lot == other.lot;
    let mut all: Vec<_> =
        recorded.into_iter().filter(|one| !again.iter().any(|new| same(one, new))).collect();
    all.extend(again.iter().cloned());
    all
}

fn take(
    asked: &mut Asked<'_>,
    (material, lot, kit): (&str, Option<Uuid>, Option<Uuid>),
    mass: Quantity,
    origin: Option<Vec<Line>>,
) {
    let Some(material) = asked.book.material(material) else {
        asked.unknown.push(material.to_owned());
        return;
    };
    let line = asked.recipe.line_of(material.id).map(|at| &asked.recipe.lines[at]);
    asked.portions.push(Portion {
        material,
        specification: material.specification(lot, asked.at),
        lot,
        kit,
        mass,
        division: line.and_then(|line| line.division.clone()),
        origin: origin.filter(|_| material.kind == Kind::Rework),
    });
}

/// What a batch was judged, as a message.
pub fn check_batch_out(judged: Judged<'_>, at: Timestamp) -> v1::BatchCheck {
    let ways = judged.whole.as_ref().and_then(|whole| ways_out(&judged.ways, whole));
    let meat = judged.whole.as_ref().map(|whole| quantity_out(&whole.meat()));
    v1::BatchCheck {
        may_tip: judged.refusals.is_empty(),
        verdict: verdict_out(verdict(&judged.checks)),
        checks: judged.checks.iter().map(check_out).collect(),
        refusals: judged.refusals.into_iter().map(reason_out).collect(),
        holds: judged.holds.into_iter().map(reason_out).collect(),
        ways_out: ways,
        meat_block: meat,
        statement: judged.held.statement(),
        allergens: judged.held.allergens.iter().map(|one| (*one).to_owned()).collect(),
        label_revision: judged.label_revision,
        judged_at: at.to_string(),
        other_lots: judged.others.iter().map(others_out).collect(),
        no_lots_because: String::new(),
    }
}

/// A reason as a message.
pub fn reason_out(reason: Reason) -> v1::RefusalReason {
    v1::RefusalReason {
        code: reason.code.to_owned(),
        subject: reason.subject,
        message: reason.message,
        who: reason.who,
        way_on: reason.way_on,
    }
}

fn ways_out(ways: &Ways, whole: &Whole<'_>) -> Option<v1::BatchWaysOut> {
    let more = ways.more_meat.as_ref().map(|more| v1::MoreMeat {
        least: Some(quantity_out(&more.least)),
        on_scale: Some(quantity_out(&more.on_scale)),
        add: Some(quantity_out(&more.add)),
    });
    let less: Vec<_> = ways.less_of.iter().map(|less| less_out(less, whole)).collect();
    let is_way = more.is_some() || !less.is_empty();
    let say = ways.say(whole);
    is_way.then_some(v1::BatchWaysOut { more_meat: more, less_of: less, say })
}

fn less_out(less: &Less, whole: &Whole<'_>) -> v1::LessOf {
    let portion = &whole.portions[less.portion];
    v1::LessOf {
        material: portion.material.id.to_string(),
        material_name: portion.material.name.clone(),
        lot: id_out(portion.lot),
        kit_lot: id_out(portion.kit),
        most: Some(quantity_out(&less.most)),
        on_scale: Some(quantity_out(&less.on_scale)),
        take_out: Some(quantity_out(&less.take_out)),
        take_out_at_least_g: number_out(&less.take_out_at_least_g),
    }
}

/// What a batch was judged, as genealogy is answered.
pub fn judge_batch_out(judged: Judged<'_>, answer: Uuid) -> internal::JudgeBatchResponse {
    let held = judged.checks.iter().filter_map(|check| check.holding.as_ref());
    let other_lots_of = if judged.is_told { Vec::new() } else { other_lots_of(&judged) };
    internal::JudgeBatchResponse {
        answer: answer.to_string(),
        agents: held.map(holding_out).collect(),
        refusals: judged.refusals.into_iter().map(reason_out).collect(),
        holds: judged.holds.into_iter().map(reason_out).collect(),
        other_lots_of,
    }
}
