//! The judgement of a kit when it is weighed up: whether it belongs, and whether a batch of its own
//! block could ever take it.
//! It never lets a kit be recorded that must be refused at the mixer.

use domain::exact::Exact;
use domain::units::Quantity;
use domain::verdict::Verdict;
use jiff::Timestamp;
use platform::error::Reason;
use uuid::Uuid;

use super::{Portion, Whole, agents, ways};
use crate::book::{Book, Material, Recipe};

/// What a kit holds of a material.
#[derive(Clone, Debug)]
pub struct Held<'b> {
    /// Nothing where no such material is known.
    pub material: Option<&'b Material>,
    pub named: String,
    pub lot: Option<Uuid>,
    pub mass: Quantity,
}

/// The reasons for which a kit cannot be recorded.
pub fn judge(
    (recipe, book): (&Recipe, &Book),
    (code, block): (&str, &Quantity),
    held: &[Held<'_>],
    at: Timestamp,
) -> Vec<Reason> {
    let mut reasons = Vec::new();
    if !recipe.kits.iter().any(|kit| kit == code) {
        let message = format!("The formula asks for no kit {code}.");
        let way = format!("Weigh one of the kits that it asks for: {}.", recipe.kits.join(", "));
        reasons.push(reason(("KIT_NOT_ASKED_FOR", code), message, way));
    }
    for one in held {
        reasons.extend(fault(recipe, code, one, at));
    }
    let Some(product) = book.products.get(&recipe.product) else { return reasons };
    // The kit in a batch of exactly its own block, where all else of the formula stands at its
    // target.
    let lines = recipe.lines.iter().filter(|line| line.kit != code);
    let mut portions: Vec<_> = lines
        .filter_map(|line| {
            let material = book.materials.get(&line.material)?;
            let mass = &block.value * &line.pct / Exact::whole(100);
            let what = (material, None, line.division.clone());
            Some(portion(what, Quantity::new(mass, block.unit), at))
        })
        .collect();
    for one in held {
        let Some(material) = one.material else { continue };
        let line = recipe.line_of(material.id).map(|line| &recipe.lines[line]);
        let division = line.and_then(|line| line.division.clone());
        portions.push(portion((material, one.lot, division), one.mass.clone(), at));
    }
    let whole = Whole {
        product,
        portions,
        yield_pct: recipe.expected_yield_pct.clone(),
        unit: block.unit,
        block_division: recipe.block_division.clone(),
    };
    reasons.extend(above(&whole));
    reasons
}

fn portion<'b>(
    (material, lot, division): (&'b Material, Option<Uuid>, Option<Quantity>),
    mass: Quantity,
    at: Timestamp,
) -> Portion<'b> {
    let specification = material.specification(lot, at);
    Portion { material, specification, lot, kit: None, mass, division, origin: None }
}

fn fault(recipe: &Recipe, code: &str, held: &Held<'_>, at: Timestamp) -> Option<Reason> {
    let Some(material) = held.material else {
        let message = "No such material is known.".to_owned();
        let way = "Weigh a material that the formula names.".to_owned();
        return Some(reason(("MATERIAL_NOT_APPROVED", &held.named), message, way));
    };
    if !material.in_use || material.specification(held.lot, at).is_none() {
        let message = format!("{} has no specification in force or is not in use.", material.name);
        let way = "QA adds a specification for it or for this lot, or weigh another lot.".into();
        return Some(reason(("MATERIAL_NOT_APPROVED", &material.name), message, way));
    }
    let line = recipe.line_of(material.id).map(|line| &recipe.lines[line]);
    if line.is_none_or(|line| line.kit != code) {
        let message = format!("{} is no line of kit {code}.", material.name);
        let way = "Weigh it where the formula says, or approve a version with it.".into();
        return Some(reason(("MATERIAL_NOT_IN_KIT", &material.name), message, way));
    }
    None
}

fn above(whole: &Whole<'_>) -> Vec<Reason> {
    let checks = agents::checks(whole);
    let failed = checks.iter().filter(|check| check.counts && check.verdict() != Verdict::Pass);
    let ways = ways::ways(whole);
    let less = ways::Ways { more_meat: None, ..ways }.say(whole);
    let way = if less.is_empty() { "Weigh the kit anew.".to_owned() } else { less };
    failed
        .map(|check| {
            let message = format!("{}, in a batch of its own block.", check.text());
            reason(("AGENT_NOT_MET", &check.subject), message, way.clone())
        })
        .collect()
}

fn reason((code, subject): (&'static str, &str), message: String, way_on: String) -> Reason {
    Reason { code, subject: subject.to_owned(), message, who: "operator".into(), way_on }
}
