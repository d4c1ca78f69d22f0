//! A formula scaled to a meat block, each line weighed on its own scale.
//! It never rounds a restricted ingredient above its limit.

use domain::exact::Exact;
use domain::formula::scaling::{Aim, Line, ScaledLine, scale};
use domain::formula::ways_out::target_room;
use domain::units::{Quantity, Unit};
use jiff::Timestamp;

use super::{Portion, Whole};
use crate::book::{Book, Material, Recipe, RecipeLine};

/// A line of a sheet.
#[derive(Clone, Debug)]
pub struct SheetLine<'b> {
    pub material: &'b Material,
    pub kit: String,
    pub exact: Quantity,
    pub target: Quantity,
    pub at_least: Quantity,
    pub at_most: Quantity,
    pub limit: Option<Quantity>,
}

/// Scales a formula; nothing when a material or the product is not known, or there is no meat.
pub fn lines<'b>(
    recipe: &Recipe,
    book: &'b Book,
    (block, at): (&Quantity, Timestamp),
) -> Option<Vec<SheetLine<'b>>> {
    let mut shares = Vec::new();
    let mut portions = Vec::new();
    for line in &recipe.lines {
        let material = book.materials.get(&line.material)?;
        let mass = Quantity::new(line.pct.clone(), block.unit);
        let (meat, division) = (material.kind.is_raw(), division(recipe, line, material));
        shares.push(Line { mass, meat, division: division.clone() });
        portions.push(Portion {
            material,
            specification: material.specification(None, at),
            lot: None,
            kit: None,
            mass: Quantity::new(Exact::zero(), block.unit),
            division,
            origin: None,
        });
    }
    let scaled = scale(&shares, &Aim::MeatMass(block.clone()))?;
    for (portion, line) in portions.iter_mut().zip(&scaled.lines) {
        portion.mass = line.exact.clone();
    }
    let whole = Whole {
        product: book.products.get(&recipe.product)?,
        portions,
        yield_pct: recipe.expected_yield_pct.clone(),
        unit: block.unit,
        block_division: recipe.block_division.clone(),
    };
    let limits = limits(&whole);
    let made = whole.portions.iter().zip(&scaled.lines).zip(limits).enumerate();
    let line = |(at, ((portion, scaled), limit)): (usize, _)| {
        let portion: &Portion<'b> = portion;
        let scaled: &ScaledLine = scaled;
        sheet_line(recipe, at, portion, (&scaled.exact, &scaled.mass), limit)
    };
    Some(made.map(line).collect())
}

/// The division of a line's scale; raw meat without its own stands on the block's.
fn division(recipe: &Recipe, line: &RecipeLine, material: &Material) -> Option<Quantity> {
    let own = line.division.clone();
    own.or_else(|| recipe.block_division.clone().filter(|_| material.kind.is_raw()))
}

/// The most of each portion that passes, all else at its exact mass; of several agents the least.
fn limits(whole: &Whole<'_>) -> Vec<Option<Quantity>> {
    let (batch, owners) = whole.batch();
    let mut limits: Vec<Option<Quantity>> = vec![None; whole.portions.len()];
    let step = Quantity::new(Exact::one(), whole.unit);
    for (at, line) in batch.lines.iter().enumerate() {
        if line.active.is_none() {
            continue;
        }
        let most = target_room(&batch, at, &step, 0).and_then(|room| room.most);
        let standing = &mut limits[owners[at]];
        let is_tighter = |most: &Quantity| {
            standing.as_ref().is_none_or(|standing| most.base() < standing.base())
        };
        if let Some(most) = most.filter(is_tighter) {
            *standing = Some(most);
        }
    }
    limits
}

fn sheet_line<'b>(
    recipe: &Recipe,
    at: usize,
    portion: &Portion<'b>,
    (exact, nearest): (&Quantity, &Quantity),
    limit: Option<Quantity>,
) -> SheetLine<'b> {
    let line = &recipe.lines[at];
    let unit = portion.division.as_ref().map_or(exact.unit, |division| division.unit);
    let is_above = |mass: &Quantity| limit.as_ref().is_some_and(|l| mass.base() > l.base());
    // A target that rounding would lift above its limit is cut to a division below it.
    let target = match is_above(nearest) {
        true => on_scale(limit.as_ref().unwrap_or(exact), portion.division.as_ref()),
        false => nearest.clone(),
    };
    let width = match (&line.tolerance_pct, &portion.division) {
        (Some(pct), _) => target.base() * pct / Exact::whole(100),
        (None, Some(division)) => division.base(),
        (None, None) => Exact::zero(),
    };
    let low = (target.base() - &width).max(Exact::zero());
    let high = target.base() + width;
    let high = limit.as_ref().map_or(high.clone(), |limit| high.clone().min(limit.base()));
    SheetLine {
        material: portion.material,
        kit: line.kit.clone(),
        exact: in_unit(exact, unit),
        target: in_unit(&target, unit),
        at_least: Quantity::from_base(&low, unit),
        at_most: Quantity::from_base(&high, unit),
        limit: limit.map(|limit| in_unit(&limit, unit)),
    }
}

fn in_unit(mass: &Quantity, unit: Unit) -> Quantity {
    mass.to(unit).unwrap_or_else(|| mass.clone())
}

/// The greatest multiple of a division not above a mass.
fn on_scale(mass: &Quantity, division: Option<&Quantity>) -> Quantity {
    let step = division.and_then(|division| division.to(mass.unit)).map(|step| step.value);
    match step.filter(Exact::is_positive) {
        Some(step) => Quantity::new((&mass.value / &step).floor() * &step, mass.unit),
        None => mass.clone(),
    }
}
