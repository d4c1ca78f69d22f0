//! What is known of materials, products, labels and formulas, ready to judge by.
//! It never asks the database and never fills in what nobody stated.

use std::collections::HashMap;

use domain::exact::Exact;
use domain::formula::agents::{Active, ProductClass};
use domain::formula::composition::PartKind;
use domain::rules::Rule;
use domain::units::Quantity;
use jiff::Timestamp;
use uuid::Uuid;

/// What a material is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Raw meat, by-product or poultry: part of the meat block.
    Raw(PartKind),
    /// A binder or extender.
    Binder,
    /// Any other ingredient.
    Other,
    /// Water and ice.
    Water,
    /// Cooked product worked in again; never meat.
    Rework,
    /// Never part of a batch.
    Packaging,
}

impl Kind {
    /// The kind of a word of the contract.
    pub fn from_word(word: &str) -> Option<Self> {
        Some(match word {
            "binder" => Self::Binder,
            "other" => Self::Other,
            "water" => Self::Water,
            "rework" => Self::Rework,
            "packaging" => Self::Packaging,
            word => Self::Raw(PartKind::from_word(word)?),
        })
    }

    /// True for what makes the meat block.
    pub fn is_raw(self) -> bool {
        matches!(self, Self::Raw(_))
    }

    /// How the standards of composition count it; nothing for water. Rework was meat once, and
    /// water that it carries is set against its own protein.
    pub fn part(self) -> Option<PartKind> {
        match self {
            Self::Raw(kind) => Some(kind),
            Self::Binder => Some(PartKind::Binder),
            Self::Rework => Some(PartKind::Meat),
            Self::Other | Self::Packaging => Some(PartKind::Other),
            Self::Water => None,
        }
    }
}

/// What is stated of a material, or of one lot of it.
#[derive(Clone, Debug)]
pub struct Specification {
    pub version: i32,
    pub lot: Option<Uuid>,
    pub in_force_from: Timestamp,
    /// Fat, moisture, protein, salt.
    pub pct: [Option<Exact>; 4],
    pub allergens: Vec<&'static str>,
    pub agents: Vec<Active>,
    /// Empty where nothing of it is declared.
    pub statement: String,
}

/// A material with all that is stated of it.
#[derive(Clone, Debug)]
pub struct Material {
    pub id: Uuid,
    pub name: String,
    pub kind: Kind,
    pub kind_word: String,
    pub in_use: bool,
    pub specifications: Vec<Specification>,
}

impl Material {
    /// True for its id, and for its name in upper or lower case.
    pub fn is_called(&self, word: &str) -> bool {
        word.parse().is_ok_and(|id: Uuid| id == self.id)
            || word.to_lowercase() == self.name.to_lowercase()
    }

    /// What counts of a lot that is used at an instant: its own, else that of the material.
    pub fn specification(&self, lot: Option<Uuid>, at: Timestamp) -> Option<&Specification> {
        let newest = |of: Option<Uuid>| {
            let in_force = self.specifications.iter().filter(|one| one.in_force_from <= at);
            in_force.filter(|one| one.lot == of).max_by_key(|one| (one.in_force_from, one.version))
        };
        lot.and_then(|lot| newest(Some(lot))).or_else(|| newest(None))
    }
}

/// A product.
#[derive(Clone, Debug)]
pub struct Product {
    pub name: String,
    pub class: ProductClass,
    pub standard: Option<&'static Rule>,
    pub in_use: bool,
}

/// A record about a revision of a label.
#[derive(Clone, Debug)]
pub struct Revision {
    pub version: i32,
    pub item: String,
    pub revision: String,
    pub statement: String,
    pub allergens: Vec<String>,
    pub from: Timestamp,
    pub to: Option<Timestamp>,
}

/// A label item with all records about its revisions, by version.
#[derive(Clone, Debug, Default)]
pub struct Label {
    pub records: Vec<Revision>,
}

impl Label {
    /// The newest record about each revision, the first revision first.
    pub fn revisions(&self) -> Vec<&Revision> {
        let is_newest = |one: &&Revision| {
            let same = self.records.iter().filter(|other| other.revision == one.revision);
            same.map(|other| other.version).max() == Some(one.version)
        };
        let first = |one: &Revision| {
            let same = self.records.iter().filter(|other| other.revision == one.revision);
            same.map(|other| other.version).min()
        };
        let mut newest: Vec<_> = self.records.iter().filter(is_newest).collect();
        newest.sort_by_key(|one| first(one));
        newest
    }

    /// The revision in force at an instant: of several the one that came into force last.
    pub fn in_force(&self, at: Timestamp) -> Option<&Revision> {
        let holds = |one: &&Revision| one.from <= at && one.to.is_none_or(|to| at < to);
        self.revisions().into_iter().filter(holds).max_by_key(|one| (one.from, one.version))
    }

    /// Each revision that was in force at some instant from one to another, the first first; and
    /// the first instant of them at which none was.
    pub fn in_force_within(
        &self,
        (from, to): (Timestamp, Timestamp),
    ) -> (Vec<&Revision>, Option<Timestamp>) {
        let revisions = self.revisions();
        let bounds = revisions.iter().flat_map(|one| [Some(one.from), one.to]).flatten();
        let mut instants: Vec<_> = bounds.filter(|at| *at > from && *at <= to).collect();
        instants.push(from);
        instants.sort();
        let (mut found, mut none): (Vec<&Revision>, _) = (Vec::new(), None);
        for at in instants {
            match self.in_force(at) {
                Some(one) if found.iter().any(|other| other.version == one.version) => {}
                Some(one) => found.push(one),
                None => none = none.or(Some(at)),
            }
        }
        (found, none)
    }

    /// A revision that will come into force and declares all of these allergens.
    pub fn coming(&self, at: Timestamp, allergens: &[&str]) -> Option<&Revision> {
        let declares = |one: &&Revision| {
            one.from > at && allergens.iter().all(|held| one.allergens.iter().any(|a| a == held))
        };
        self.revisions().into_iter().filter(declares).min_by_key(|one| one.from)
    }
}

/// A line of a formula.
#[derive(Clone, Debug)]
pub struct RecipeLine {
    pub material: Uuid,
    /// Per cent of the meat block.
    pub pct: Exact,
    /// The code of its kit; empty where it is weighed at the mixer.
    pub kit: String,
    pub division: Option<Quantity>,
    pub tolerance_pct: Option<Exact>,
}

/// A formula.
#[derive(Clone, Debug)]
pub struct Recipe {
    pub name: String,
    pub product: Uuid,
    pub label: Uuid,
    pub block: Quantity,
    pub block_division: Option<Quantity>,
    pub block_tolerance_pct: Exact,
    pub expected_yield_pct: Exact,
    pub lines: Vec<RecipeLine>,
    /// Codes of the kits that every batch needs.
    pub kits: Vec<String>,
}

impl Recipe {
    /// The line of a material.
    pub fn line_of(&self, material: Uuid) -> Option<usize> {
        self.lines.iter().position(|line| line.material == material)
    }
}

/// All that one judgement may know.
#[derive(Clone, Debug, Default)]
pub struct Book {
    pub materials: HashMap<Uuid, Material>,
    pub products: HashMap<Uuid, Product>,
    pub labels: HashMap<Uuid, Label>,
}

impl Book {
    /// A material by its id or its name, upper or lower case.
    pub fn material(&self, word: &str) -> Option<&Material> {
        if let Some(found) = word.parse().ok().and_then(|id: Uuid| self.materials.get(&id)) {
            return Some(found);
        }
        let name = word.to_lowercase();
        self.materials.values().find(|material| material.name.to_lowercase() == name)
    }

    /// A product by its id or its name, upper or lower case.
    pub fn product(&self, word: &str) -> Option<&Product> {
        if let Some(found) = word.parse().ok().and_then(|id: Uuid| self.products.get(&id)) {
            return Some(found);
        }
        let name = word.to_lowercase();
        self.products.values().find(|product| product.name.to_lowercase() == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().expect("an instant")
    }

    fn specification(version: i32, lot: Option<Uuid>, from: &str) -> Specification {
        Specification {
            version,
            lot,
            in_force_from: at(from),
            pct: Default::default(),
            allergens: Vec::new(),
            agents: Vec::new(),
            statement: String::new(),
        }
    }

    #[test]
    fn a_lot_counts_by_its_own_specification_once_that_is_in_force() {
        let lot = Some(Uuid::from_u128(7));
        let blend = Material {
            id: Uuid::from_u128(1),
            name: "Blend".into(),
            kind: Kind::Other,
            kind_word: "other".into(),
            in_use: true,
            specifications: vec![
                specification(1, None, "2026-01-01T00:00:00Z"),
                specification(2, lot, "2026-11-25T00:00:00Z"),
                specification(3, None, "2026-12-01T00:00:00Z"),
            ],
        };
        let version = |lot, when: &str| blend.specification(lot, at(when)).map(|one| one.version);
        assert_eq!(version(lot, "2026-11-24T23:59:59Z"), Some(1));
        assert_eq!(version(lot, "2026-11-25T00:00:00Z"), Some(2));
        assert_eq!(version(lot, "2026-12-02T00:00:00Z"), Some(2));
        assert_eq!(version(None, "2026-12-02T00:00:00Z"), Some(3));
        assert_eq!(version(None, "2025-12-31T00:00:00Z"), None);
    }

    #[test]
    fn the_newest_record_of_a_revision_says_when_it_is_in_force() {
        let revision = |version, revision: &str, from: &str, to: Option<&str>| Revision {
            version,
            item: "No. 1 Rope".into(),
            revision: revision.into(),
            statement: "Pork.".into(),
            allergens: Vec::new(),
            from: at(from),
            to: to.map(at),
        };
        let records = vec![
            revision(1, "3", "2026-01-01T00:00:00Z", None),
            revision(2, "4", "2026-12-01T00:00:00Z", None),
            revision(3, "3", "2026-01-01T00:00:00Z", Some("2026-11-30T00:00:00Z")),
        ];
        let label = Label { records };
        let in_force = |when: &str| label.in_force(at(when)).map(|one| one.revision.as_str());
        assert_eq!(in_force("2026-11-29T23:59:59Z"), Some("3"));
        assert_eq!(in_force("2026-11-30T00:00:00Z"), None, "its end is outside");
        assert_eq!(in_force("2026-12-01T00:00:00Z"), Some("4"));
        assert_eq!(label.revisions().len(), 2);
        let within = |from: &str, to: &str| {
            let (found, none) = label.in_force_within((at(from), at(to)));
            let found: Vec<_> = found.iter().map(|one| one.revision.clone()).collect();
            (found, none)
        };
        assert_eq!(
            within("2026-11-29T00:00:00Z", "2026-12-01T00:00:00Z"),
            (vec!["3".to_owned(), "4".to_owned()], Some(at("2026-11-30T00:00:00Z"))),
            "both, with a day between them"
        );
        let one = (vec!["3".to_owned()], None);
        assert_eq!(within("2026-11-01T00:00:00Z", "2026-11-29T23:59:59Z"), one);
        assert_eq!(within("2026-11-01T00:00:00Z", "2026-11-01T00:00:00Z"), one);
    }
}
