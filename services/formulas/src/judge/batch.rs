//! The judgement of a batch before the tip, by its actual weights and the strengths of its lots.
//! It never overrides a limit: each refusal says the way on, and that is all there is.

mod others;

use domain::exact::Exact;
use domain::units::Quantity;
use domain::verdict::Verdict;
use jiff::Timestamp;
use platform::error::Reason;
use uuid::Uuid;

use self::others::Finder;
pub use self::others::Others;
use super::label::{self, Held};
use super::on_hand::Shelf;
use super::ways::{self, Ways};
use super::{Check, Portion, Whole, agents, composition};
use crate::book::{Book, Kind, Product, Recipe};

/// A kit that goes in.
#[derive(Clone, Debug)]
pub struct KitIn {
    pub lot: Uuid,
    /// What its record says; nothing where nobody recorded what it holds.
    pub made: Option<KitMade>,
}

/// What a kit was made for.
#[derive(Clone, Debug)]
pub struct KitMade {
    pub code: String,
    pub formula: (Uuid, i32),
    pub block: Quantity,
    pub used_in: Option<Uuid>,
}

/// What is asked.
#[derive(Clone, Debug)]
pub struct Asked<'b> {
    pub formula: (Uuid, i32),
    pub recipe: &'b Recipe,
    pub book: &'b Book,
    pub portions: Vec<Portion<'b>>,
    /// Names under which no material is known.
    pub unknown: Vec<String>,
    /// Lots that were made of lots here: no raw meat, whatever they are called.
    pub made_here: Vec<Uuid>,
    /// The lot of the batch, where it stands already.
    pub batch: Option<Uuid>,
    /// What the batch is called, by id or name; empty where nobody asked.
    pub products: Vec<String>,
    pub kits: Vec<KitIn>,
    /// Nothing more comes.
    pub closing: bool,
    /// It is made to be held for a label.
    pub hold_for_label: bool,
    /// What is on hand, for the ways on.
    pub shelf: Shelf,
    pub at: Timestamp,
}

/// What a batch was judged.
#[derive(Clone, Debug, Default)]
pub struct Judged<'b> {
    pub refusals: Vec<Reason>,
    pub holds: Vec<Reason>,
    pub checks: Vec<Check>,
    pub held: Held,
    pub whole: Option<Whole<'b>>,
    pub ways: Ways,
    pub label_revision: String,
    /// Where another lot is a way on: those that could go in.
    pub others: Vec<Others<'b>>,
    /// What is on hand was told.
    pub is_told: bool,
}

/// Judges a batch.
pub fn judge<'b>(asked: &Asked<'b>) -> Judged<'b> {
    let is_told = !matches!(asked.shelf, Shelf::NotAsked);
    let mut judged = Judged { is_told, ..Judged::default() };
    let mut finder = Finder::of(asked);
    judged.refusals.extend(materials(asked, &mut finder));
    let Some(whole) = whole(asked) else {
        judged.refusals.push(reason(
            ("PRODUCT_UNKNOWN", "product"),
            "The product of this formula is not known.",
            ("developer", "Approve a version of the formula that names a product."),
        ));
        return judged;
    };
    judged.refusals.extend(products(asked, whole.product));
    let meat = whole.meat();
    if meat.value.is_positive() {
        judged.refusals.extend(kits(asked, &meat));
        judge_agents(&whole, &mut judged);
        judge_composition(asked, &whole, &mut judged);
        judged.checks.extend(weights(asked, &whole));
    } else {
        judged.refusals.push(reason(
            ("NO_MEAT", "meat block"),
            "No raw meat is on the scale, and every limit is a part of it.",
            ("operator", "Weigh the meat block first; cooked rework is no part of it."),
        ));
    }
    judge_label(asked, &mut finder, &mut judged);
    judged.whole = Some(whole);
    judged.others = finder.found;
    judged
}

/// All that goes in; nothing where the product is not known.
fn whole<'b>(asked: &Asked<'b>) -> Option<Whole<'b>> {
    Some(Whole {
        product: asked.book.products.get(&asked.recipe.product)?,
        portions: asked.portions.clone(),
        yield_pct: asked.recipe.expected_yield_pct.clone(),
        unit: unit(asked),
        block_division: asked.recipe.block_division.clone(),
    })
}

/// The unit in which the meat was weighed, else that of the usual block.
fn unit(asked: &Asked<'_>) -> domain::units::Unit {
    let meat = asked.portions.iter().find(|one| one.material.kind.is_raw());
    meat.map_or(asked.recipe.block.unit, |one| one.mass.unit)
}

/// A reason: its code and subject, what is so, who can mend it and how.
fn reason(
    (code, subject): (&'static str, &str),
    message: impl Into<String>,
    (who, way_on): (&str, &str),
) -> Reason {
    Reason {
        code,
        subject: subject.to_owned(),
        message: message.into(),
        who: who.to_owned(),
        way_on: way_on.to_owned(),
    }
}

/// What may not go in at all.
fn materials<'b>(asked: &Asked<'b>, finder: &mut Finder<'_, 'b>) -> Vec<Reason> {
    let mut reasons = Vec::new();
    for name in &asked.unknown {
        reasons.push(reason(
            ("MATERIAL_NOT_APPROVED", name),
            "No material of this name is known.",
            ("QA", "Add the material with a specification, or take a lot of one that has one."),
        ));
    }
    for (at, portion) in asked.portions.iter().enumerate() {
        let (material, name) = (portion.material, portion.name());
        if !material.in_use || portion.specification.is_none() {
            let message = match material.in_use {
                true => format!("{} has no specification in force.", material.name),
                false => format!("{} is no longer in use.", material.name),
            };
            // No lot of a material that is out of use may go in.
            let code = "MATERIAL_NOT_APPROVED";
            let place = if material.in_use { &[at][..] } else { &[] };
            let lots = finder.say(code, (code, &name), place);
            let way =
                format!("Add a specification for it or for this lot, or take another lot{lots}.");
            reasons.push(reason((code, &name), message, ("QA", &way)));
        }
        if asked.recipe.line_of(material.id).is_none() {
            let message = format!("{} is no line of this formula version.", material.name);
            let way = ("developer", "Take it off, or approve a version of the formula with it.");
            reasons.push(reason(("MATERIAL_NOT_IN_FORMULA", &name), message, way));
        }
        if material.kind.is_raw() && portion.lot.is_some_and(|lot| asked.made_here.contains(&lot)) {
            let message = format!("{name} was made here and is no raw meat.");
            let way = ("operator", "Scan raw meat; rework goes in as a material of that kind.");
            reasons.push(reason(("REWORK_IS_NO_MEAT", &name), message, way));
        }
        if portion.lot.is_none() && material.kind != Kind::Water {
            let message = format!("{} goes in without its lot.", material.name);
            let way = ("operator", "Scan the lot: only water goes in without one.");
            reasons.push(reason(("LOT_MISSING", &name), message, way));
        }
    }
    reasons
}

/// What is made under the name of another product would be packed under its label.
fn products(asked: &Asked<'_>, product: &Product) -> Vec<Reason> {
    let id = asked.recipe.product.to_string();
    let is_it = |word: &&String| **word == id || word.to_lowercase() == product.name.to_lowercase();
    let others = asked.products.iter().filter(|word| !is_it(word));
    let fault = |word: &String| {
        let message = format!("The batch is called {word}; its formula makes {}.", product.name);
        let way = format!("Call it {}, or name the formula of {word}.", product.name);
        reason(("PRODUCT_NOT_OF_FORMULA", word), message, ("operator", &way))
    };
    others.map(fault).collect()
}

/// Kits that do not belong, come twice, or are missing.
fn kits(asked: &Asked<'_>, meat: &Quantity) -> Vec<Reason> {
    let mut reasons = Vec::new();
    let mut seen: Vec<&str> = Vec::new();
    for (at, kit) in asked.kits.iter().enumerate() {
        let subject = format!("kit {}", kit.lot);
        if asked.kits[..at].iter().any(|other| other.lot == kit.lot) {
            let way = ("operator", "Take the second scan off.");
            reasons.push(reason(("KIT_TWICE", &subject), "This kit is here twice.", way));
            continue;
        }
        let Some(made) = &kit.made else {
            let way = ("operator", "Record what it holds, or weigh up a new kit.");
            let message = "What this kit holds was not recorded.";
            reasons.push(reason(("KIT_UNKNOWN", &subject), message, way));
            continue;
        };
        reasons.extend(kit_fault(asked, (&subject, made), meat));
        if seen.contains(&made.code.as_str()) {
            let message = format!("A kit {} is in this batch already; it takes one.", made.code);
            let way = ("operator", "Put this kit back for the batch that it was made for.");
            reasons.push(reason(("SECOND_KIT", &subject), message, way));
        }
        seen.push(&made.code);
    }
    if asked.closing {
        let missing = asked.recipe.kits.iter().filter(|kit| !seen.contains(&kit.as_str()));
        reasons.extend(missing.map(|kit| {
            let message = format!("The formula asks for a kit {kit} in every batch.");
            let way = ("operator", "Scan the kit before the batch is closed.");
            reason(("KIT_MISSING", &format!("kit {kit}")), message, way)
        }));
    }
    reasons
}

fn kit_fault(asked: &Asked<'_>, (subject, made): (&str, &KitMade), meat: &Quantity) -> Vec<Reason> {
    let mut reasons = Vec::new();
    if let Some(batch) = made.used_in.filter(|batch| Some(*batch) != asked.batch) {
        let message = format!("It went into batch {batch}; a kit is used once.");
        let way = ("operator", "Weigh up a new kit, or scan the one that was made for this batch.");
        reasons.push(reason(("KIT_USED", subject), message, way));
    }
    if made.formula != asked.formula {
        let message = format!(
            "It was made for formula {} version {}, this batch is {} version {}.",
            made.formula.0, made.formula.1, asked.formula.0, asked.formula.1
        );
        let way = ("operator", "Scan a kit of this formula version.");
        reasons.push(reason(("KIT_FOR_ANOTHER_FORMULA", subject), message, way));
    } else if !asked.recipe.kits.contains(&made.code) {
        let message = format!("The formula asks for no kit {}.", made.code);
        let way = ("operator", "Scan a kit that the batch sheet names.");
        reasons.push(reason(("KIT_NOT_ASKED_FOR", subject), message, way));
    }
    if !is_for_block(asked.recipe, &made.block, meat) {
        let pct = &asked.recipe.block_tolerance_pct;
        let message = format!(
            "It was made for a meat block of {}; {meat} is more than {pct} % away.",
            made.block
        );
        let way = format!("Scan a kit made for {meat}, or bring the meat block to {}.", made.block);
        reasons.push(reason(("KIT_FOR_ANOTHER_BLOCK", subject), message, ("operator", &way)));
    }
    reasons
}

/// True where a kit for one block may go into another: it lies within what the formula allows.
pub fn is_for_block(recipe: &Recipe, made_for: &Quantity, meat: &Quantity) -> bool {
    let apart = (meat.base() - made_for.base()).abs() * Exact::whole(100);
    apart <= made_for.base() * &recipe.block_tolerance_pct
}

fn judge_agents<'b>(whole: &Whole<'b>, judged: &mut Judged<'b>) {
    let checks = agents::checks(whole);
    judged.ways = ways::ways(whole);
    let say = judged.ways.say(whole);
    for check in checks.iter().filter(|check| check.counts) {
        let (code, way_on) = match check.verdict() {
            Verdict::Pass => continue,
            Verdict::Fail if say.is_empty() => {
                ("AGENT_NOT_MET", "Weigh the batch anew: no single change mends it.")
            }
            Verdict::Fail => ("AGENT_NOT_MET", say.as_str()),
            Verdict::Undetermined => {
                ("AGENT_NOT_JUDGED", "Give what the reason names; until then nothing is tipped.")
            }
        };
        let message = format!("{}.", check.text());
        judged.refusals.push(reason((code, &check.subject), message, ("operator", way_on)));
    }
    judged.checks.extend(checks);
}

fn judge_composition<'b>(asked: &Asked<'b>, whole: &Whole<'b>, judged: &mut Judged<'b>) {
    let checks = closing_checks(asked, whole);
    let failed = checks.iter().filter(|check| check.verdict() == Verdict::Fail);
    let refusals = failed.map(|check| {
        let subject = format!("composition {}", check.subject);
        let way = ("supervisor", "Weigh the lines to their targets until the limit is met.");
        reason(("COMPOSITION_NOT_MET", &subject), format!("{}.", check.text()), way)
    });
    judged.refusals.extend(refusals);
    judged.checks.extend(checks);
}

/// The composition. Before everything is there, what is still to come would be missing from it.
fn closing_checks(asked: &Asked<'_>, whole: &Whole<'_>) -> Vec<Check> {
    if asked.closing { composition(whole).1 } else { Vec::new() }
}

/// Each line against its target for the meat that is there; quality alone, so it refuses nothing.
fn weights(asked: &Asked<'_>, whole: &Whole<'_>) -> Vec<Check> {
    if !asked.closing {
        return Vec::new();
    }
    let check = |line: &crate::book::RecipeLine| {
        let name = asked.book.materials.get(&line.material)?.name.clone();
        let has = |one: &&Portion<'_>| one.material.id == line.material;
        let actual: Exact = whole.portions.iter().filter(has).map(|one| one.mass.base()).sum();
        let target = whole.meat().base() * &line.pct / Exact::whole(100);
        let division = line.division.as_ref().map_or_else(Exact::zero, Quantity::base);
        let pct = line.tolerance_pct.as_ref();
        let width = pct.map_or(division, |pct| &target * pct / Exact::whole(100));
        let is_met = (&actual - &target).abs() <= width;
        let reason = format!("{name}: {actual} g, target {target} g within {width} g");
        let check = Check::because("WEIGHT", name, Verdict::met(is_met), reason);
        Some(Check { counts: false, ..check })
    };
    asked.recipe.lines.iter().filter_map(check).collect()
}

fn judge_label<'b>(asked: &Asked<'b>, finder: &mut Finder<'_, 'b>, judged: &mut Judged<'b>) {
    let label = asked.book.labels.get(&asked.recipe.label);
    let checks = label::checks(&asked.portions, label, asked.at);
    let lines: Vec<_> = asked.portions.iter().flat_map(Portion::declared).collect();
    judged.held = label::held(&lines);
    let revision = label.and_then(|label| label.in_force(asked.at));
    judged.label_revision = revision.map(|one| one.revision.clone()).unwrap_or_default();
    let coming = label::coming(label, asked.at, &judged.held.allergens);
    let failed = checks.iter().filter(|check| check.verdict() == Verdict::Fail);
    let reasons: Vec<_> =
        failed.map(|check| label_reason(asked, finder, (check, &coming))).collect();
    let into = if asked.hold_for_label { &mut judged.holds } else { &mut judged.refusals };
    into.extend(reasons);
    judged.checks.extend(checks);
}

fn label_reason<'b>(
    asked: &Asked<'b>,
    finder: &mut Finder<'_, 'b>,
    (check, coming): (&Check, &str),
) -> Reason {
    let code = match check.code {
        "LABEL" => "NO_LABEL_IN_FORCE",
        "ALLERGEN" => "ALLERGEN_NOT_ON_LABEL",
        _ => "INGREDIENT_NOT_ON_LABEL",
    };
    let mut names: Vec<&str> = Vec::new();
    for at in &check.portions {
        let name = asked.portions[*at].material.name.as_str();
        if !names.contains(&name) {
            names.push(name);
        }
    }
    // What is made to be held needs no other lot.
    let lots = match asked.hold_for_label {
        true => String::new(),
        false => finder.say(code, (check.code, &check.subject), &check.portions),
    };
    let hold = format!("ake it with hold_for_label and hold it for {coming}.");
    let way = match names.is_empty() {
        true => format!("M{hold}"),
        false => format!(
            "Use another lot of {} that does not bring {}{lots}, or m{hold}",
            names.join(" and "),
            check.subject
        ),
    };
    reason((code, &check.subject), format!("{}.", check.text()), ("supervisor", &way))
}
