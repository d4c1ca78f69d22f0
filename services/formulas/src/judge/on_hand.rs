//! What is on hand as genealogy told it: which lots a line is filled from, and what of them the
//! label in force would not cover.
//! It never rounds a mass on hand up, and never suggests a lot whose use something forbids.

use domain::exact::Exact;
use domain::units::Quantity;
use domain::verdict::Verdict;
use jiff::Timestamp;
use uuid::Uuid;

use super::{Portion, label};
use crate::book::{Label, Material};

/// Kinds of lots that nothing of this plant went into; a kit is judged by what it holds.
const NOT_MADE_HERE: [&str; 4] = ["", "received", "opening_stock", "kit"];
/// Decimals of a mass that has no end in its unit.
const DECIMALS: i64 = 1_000_000_000;

/// True for a lot of a kind that is made of lots here.
pub fn is_made_here(kind: &str) -> bool {
    !NOT_MADE_HERE.contains(&kind)
}

/// A lot with what may still be used of it.
#[derive(Clone, Debug)]
pub struct OnHand {
    pub lot: Uuid,
    pub code: String,
    pub kind: String,
    /// The id or name of its material.
    pub material: String,
    /// In the unit in which it was received or made.
    pub mass: Quantity,
    pub made_at: Timestamp,
    /// The last day on which it may be used; empty where none was named.
    pub use_by: String,
    /// A sentence for each thing that forbids its use.
    pub forbidden_by: Vec<String>,
}

/// What is on hand, as far as somebody asked.
#[derive(Clone, Debug, Default)]
pub enum Shelf {
    /// Nobody asked.
    #[default]
    NotAsked,
    /// Genealogy did not answer.
    Away,
    /// The oldest first, those that may not be used last; and the materials of which there are
    /// more, in small letters.
    Known { lots: Vec<OnHand>, more: Vec<String> },
}

/// A lot of a line.
#[derive(Clone, Debug)]
pub struct Suggested<'s> {
    pub lot: &'s OnHand,
    /// What of it fills the line.
    pub take: Option<Quantity>,
    pub forbidden_by: Vec<String>,
}

/// How a line is filled.
#[derive(Clone, Debug)]
pub struct Filled<'s> {
    pub lots: Vec<Suggested<'s>>,
    /// What the lots do not fill.
    pub missing: Option<Quantity>,
}

impl Shelf {
    /// All lots; none where nobody asked or nobody answered.
    pub fn lots(&self) -> &[OnHand] {
        match self {
            Self::Known { lots, .. } => lots,
            Self::NotAsked | Self::Away => &[],
        }
    }

    /// The lots of a material.
    pub fn of<'s>(&'s self, material: &Material) -> impl Iterator<Item = &'s OnHand> {
        self.lots().iter().filter(|lot| lot.kind != "kit" && material.is_called(&lot.material))
    }

    /// True where more lots of a material are on hand than were told.
    pub fn has_more_of(&self, material: &Material) -> bool {
        match self {
            Self::Known { more, .. } => more.iter().any(|word| material.is_called(word)),
            Self::NotAsked | Self::Away => false,
        }
    }
}

impl OnHand {
    /// By what the oldest comes first. A shorter code of one day has the lower number.
    fn age(&self) -> (Timestamp, usize, &str) {
        (self.made_at, self.code.len(), &self.code)
    }
}

/// Fills a mass from lots in their order, passing over those whose use something forbids; they
/// stand behind the others, the oldest first.
pub fn fill<'s>(target: &Quantity, lots: Vec<(&'s OnHand, Vec<String>)>) -> Filled<'s> {
    let mut open = target.base();
    let (mut filled, mut last) = (Vec::new(), Vec::new());
    for (lot, forbidden_by) in lots {
        if !forbidden_by.is_empty() {
            last.push(Suggested { lot, take: None, forbidden_by });
            continue;
        }
        let taken = open.clone().min(lot.mass.base());
        let take = taken.is_positive().then(|| {
            let take = Quantity::from_base(&taken, target.unit);
            // What was used up whole has its mass in another unit, perhaps without an end.
            if taken == open { take } else { cut(&take) }
        });
        open = open - taken;
        filled.push(Suggested { lot, take, forbidden_by });
    }
    last.sort_by(|one, other| one.lot.age().cmp(&other.lot.age()));
    filled.extend(last);
    let missing = open.is_positive().then(|| up(&Quantity::from_base(&open, target.unit)));
    Filled { lots: filled, missing }
}

/// A mass as it may be shown where it must not be exceeded: exact, or cut where it has no end.
pub fn cut(mass: &Quantity) -> Quantity {
    match mass.value.to_decimal() {
        Some(_) => mass.clone(),
        None => {
            let scale = Exact::whole(DECIMALS);
            Quantity::new((&mass.value * &scale).floor() / scale, mass.unit)
        }
    }
}

/// A mass as it may be shown where it must be reached.
fn up(mass: &Quantity) -> Quantity {
    match mass.value.to_decimal() {
        Some(_) => mass.clone(),
        None => {
            let scale = Exact::whole(DECIMALS);
            Quantity::new((&mass.value * &scale).ceil() / scale, mass.unit)
        }
    }
}

/// The checks of the label that a lot of a material fails by its own specification, whatever else
/// goes in: code and what it is about.
pub fn label_stops(
    (material, lot): (&Material, Uuid),
    label: Option<&Label>,
    at: Timestamp,
) -> Vec<(&'static str, String)> {
    let portion = Portion {
        material,
        specification: material.specification(Some(lot), at),
        lot: Some(lot),
        kit: None,
        mass: Quantity::new(Exact::one(), domain::units::Unit::Gram),
        division: None,
        origin: None,
    };
    let checks = label::checks(&[portion], label, at);
    let is_of_lot = |code: &str| code == "ALLERGEN" || code == "DECLARATION";
    let failed = checks.into_iter().filter(|one| one.verdict() == Verdict::Fail);
    failed.filter(|one| is_of_lot(one.code)).map(|one| (one.code, one.subject)).collect()
}

/// Why a lot of a material would be stopped at the scan, a sentence each. What was made here is
/// judged by what went into it, once it is scanned.
pub fn stopped_by(
    material: &Material,
    (lot, code, kind): (Uuid, &str, &str),
    label: Option<&Label>,
    at: Timestamp,
) -> Vec<String> {
    if is_made_here(kind) {
        return Vec::new();
    }
    if material.specification(Some(lot), at).is_none() {
        return vec![format!("{code}: {} has no specification in force.", material.name)];
    }
    let say = |(check, subject): (&str, String)| match check {
        "ALLERGEN" => {
            format!("{code} brings {subject}, which the label in force does not declare.")
        }
        _ => format!("{code} brings {subject:?}, of which the label in force has no entry."),
    };
    label_stops((material, lot), label, at).into_iter().map(|(one, of)| say((one, of))).collect()
}

#[cfg(test)]
mod tests;
