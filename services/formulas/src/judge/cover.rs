//! What lots hold by all that went into them, through kits, batches and rework.
//! It never loses an allergen to a small mass: what went in is held, however little it was.

use std::collections::BTreeMap;

use domain::exact::Exact;
use domain::formula::declaration::{ALLERGENS, Line};
use jiff::Timestamp;
use uuid::Uuid;

use super::label::{self, Held};
use crate::book::{Book, Kind};

/// A lot with what went into it, by places in the list.
#[derive(Clone, Debug)]
pub struct Origin {
    pub lot: Uuid,
    /// As people call it; empty where nobody said.
    pub code: String,
    /// The id or name of its material or product.
    pub material: String,
    pub made_at: Timestamp,
    /// Place of a lot that went in, and its grams.
    pub uses: Vec<(usize, Exact)>,
}

/// What a lot holds: allergens as bits in their fixed order, parts of its mass by their words.
#[derive(Clone, Debug, Default)]
struct Holds {
    allergens: u16,
    /// Shares are for the order of a declaration only; no limit is judged by them.
    parts: BTreeMap<String, f64>,
    /// What is not known of it.
    unknown: Vec<String>,
    /// Something of it is known, be it a material or what it is as a product.
    is_known: bool,
}

impl Origin {
    /// How sentences name it.
    pub fn name(&self) -> String {
        if self.code.is_empty() { self.lot.to_string() } else { self.code.clone() }
    }
}

/// What lots hold.
#[derive(Clone, Debug)]
pub struct Cover {
    holds: Vec<Option<Holds>>,
}

/// Reads lots of a closure, those that are asked for and what they came of. Nothing when the lots
/// go round in a circle or name one that is not in the list.
pub fn read(origins: &[Origin], asked: &[usize], book: &Book, at: Timestamp) -> Option<Cover> {
    let mut holds: Vec<Option<Holds>> = vec![None; origins.len()];
    let mut is_open = vec![false; origins.len()];
    for start in asked {
        let mut stack = vec![*start];
        while let Some(here) = stack.last().copied() {
            let origin = origins.get(here)?;
            if holds[here].is_some() {
                stack.pop();
                continue;
            }
            let is_maker = |place: &usize| !origins.get(*place).is_some_and(|o| o.uses.is_empty());
            let places = origin.uses.iter().map(|(place, _)| *place);
            let waits: Vec<_> = places.filter(is_maker).filter(|p| !is_read(&holds, *p)).collect();
            if waits.is_empty() {
                let of = if origin.uses.is_empty() {
                    stated(origin, book, at)
                } else {
                    made(origins, here, &holds, book)?
                };
                holds[here] = Some(of);
                stack.pop();
            } else if is_open[here] {
                return None;
            } else {
                is_open[here] = true;
                stack.extend(waits);
            }
        }
    }
    Some(Cover { holds })
}

fn is_read(holds: &[Option<Holds>], place: usize) -> bool {
    holds.get(place).is_some_and(Option::is_some)
}

/// A lot that nothing of ours went into, used at an instant.
fn stated(origin: &Origin, book: &Book, at: Timestamp) -> Holds {
    let mut holds = Holds::default();
    let Some(material) = book.material(&origin.material) else {
        let (lot, name) = (origin.name(), &origin.material);
        holds.unknown.push(format!("lot {lot}: no material {name:?}"));
        holds.is_known = book.product(name).is_some();
        return holds;
    };
    holds.is_known = true;
    if material.kind == Kind::Packaging {
        return holds;
    }
    let Some(stated) = material.specification(Some(origin.lot), at) else {
        let name = &material.name;
        holds.unknown.push(format!("lot {}: {name} had no specification then", origin.name()));
        return holds;
    };
    for allergen in &stated.allergens {
        let bit = ALLERGENS.iter().position(|own| own == allergen);
        holds.allergens |= bit.map_or(0, |bit| 1 << bit);
    }
    if !stated.statement.is_empty() {
        holds.parts.insert(stated.statement.clone(), 1.0);
    }
    holds
}

/// A lot that was made of lots.
fn made(origins: &[Origin], here: usize, holds: &[Option<Holds>], book: &Book) -> Option<Holds> {
    let origin = &origins[here];
    let total: f64 = origin.uses.iter().map(|(_, grams)| grams.to_f64()).sum();
    let mut all = Holds::default();
    for (place, grams) in &origin.uses {
        let used = origins.get(*place)?;
        let own;
        let part = if used.uses.is_empty() {
            own = stated(used, book, origin.made_at);
            &own
        } else {
            holds.get(*place)?.as_ref()?
        };
        all.allergens |= part.allergens;
        all.is_known |= part.is_known;
        all.unknown.extend(part.unknown.iter().cloned());
        let share = if total > 0.0 { grams.to_f64() / total } else { 0.0 };
        for (words, own) in &part.parts {
            // A part too small for its share to be told from nothing is declared last.
            *all.parts.entry(words.clone()).or_default() += (own * share).max(f64::MIN_POSITIVE);
        }
    }
    all.unknown.sort();
    all.unknown.dedup();
    all.is_known = all.is_known
        || book.material(&origin.material).is_some()
        || book.product(&origin.material).is_some();
    Some(all)
}

impl Cover {
    /// The lines of a declaration of so many grams of a lot.
    pub fn lines(&self, place: usize, grams: &Exact) -> Vec<Line> {
        let Some(holds) = self.holds.get(place).and_then(Option::as_ref) else {
            return Vec::new();
        };
        let named = |at: &usize| holds.allergens & (1 << at) != 0;
        let allergens = (0..ALLERGENS.len()).filter(named).map(|at| ALLERGENS[at]).collect();
        let mut lines = vec![Line { grams: grams.clone(), statement: String::new(), allergens }];
        lines.extend(holds.parts.iter().map(|(words, share)| Line {
            grams: grams * &Exact::from_float(*share).unwrap_or_else(Exact::zero),
            statement: words.clone(),
            allergens: Vec::new(),
        }));
        lines
    }

    /// What a lot holds as it would be declared.
    pub fn held(&self, place: usize) -> Held {
        label::held(&self.lines(place, &Exact::one()))
    }

    /// True when anything that the lot came of, or what it is, is known here.
    pub fn is_known(&self, place: usize) -> bool {
        self.holds.get(place).and_then(Option::as_ref).is_some_and(|holds| holds.is_known)
    }

    /// What is not known of a lot; empty where all is.
    pub fn unknown(&self, place: usize) -> &[String] {
        self.holds.get(place).and_then(Option::as_ref).map_or(&[], |holds| &holds.unknown)
    }
}

#[cfg(test)]
mod tests;
