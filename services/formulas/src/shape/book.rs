//! From rows to what is known, ready to judge by.
//! It never fills in what nobody stated: a row that cannot be read is our fault.

use domain::formula::agents::{Active, Agent, ProductClass};
use domain::formula::composition;
use domain::formula::declaration::allergen;
use platform::error::Failure;
use wire::v1;

use super::materials::percentages;
use super::{kept, number};
use crate::book::{Book, Kind, Label, Material, Product, Revision, Specification};
use crate::store::book::Rows;
use crate::store::labels::LabelRow;
use crate::store::materials::{MaterialRow, SpecificationRow};
use crate::store::products::ProductRow;

/// What rows say.
pub fn book(rows: Rows) -> Result<Book, Failure> {
    let mut book = Book::default();
    for row in rows.materials {
        book.materials.insert(row.id, material(row)?);
    }
    for row in &rows.specifications {
        if let Some(material) = book.materials.get_mut(&row.material) {
            material.specifications.push(specification(row)?);
        }
    }
    for row in rows.products {
        book.products.insert(row.id, product(row)?);
    }
    for row in &rows.labels {
        let label: &mut Label = book.labels.entry(row.id).or_default();
        label.records.push(revision(row));
    }
    Ok(book)
}

fn broken(what: &str, id: uuid::Uuid) -> Failure {
    Failure::internal(format!("formulas.{what} {id} cannot be read"))
}

fn material(row: MaterialRow) -> Result<Material, Failure> {
    let kind = Kind::from_word(&row.kind).ok_or_else(|| broken("material", row.id))?;
    Ok(Material {
        id: row.id,
        name: row.name,
        kind,
        kind_word: row.kind,
        in_use: row.in_use,
        specifications: Vec::new(),
    })
}

fn specification(row: &SpecificationRow) -> Result<Specification, Failure> {
    let content: v1::SpecificationContent = kept(&row.content)?;
    let agent = |one: &v1::AgentStrength| {
        let agent = Agent::of_line_word(&one.agent)?;
        Some(Active { agent, pct: number(one.strength_pct.as_deref())? })
    };
    let agents = content.agents.iter().map(agent).collect::<Option<Vec<_>>>();
    let allergens = content.allergens.iter().map(|word| allergen(word)).collect::<Option<_>>();
    let unreadable = || broken("specification", row.id);
    Ok(Specification {
        version: row.version,
        lot: row.lot,
        in_force_from: row.in_force_from.to_jiff(),
        pct: percentages(&content),
        allergens: allergens.ok_or_else(unreadable)?,
        agents: agents.ok_or_else(unreadable)?,
        statement: content.statement,
    })
}

fn product(row: ProductRow) -> Result<Product, Failure> {
    let class = ProductClass::from_word(&row.product_class);
    Ok(Product {
        name: row.name,
        class: class.ok_or_else(|| broken("product", row.id))?,
        standard: composition::standard(&row.standard_id),
        in_use: row.in_use,
    })
}

/// A record about a revision.
pub fn revision(row: &LabelRow) -> Revision {
    Revision {
        version: row.version,
        item: row.item.clone(),
        revision: row.revision.clone(),
        statement: row.statement.clone(),
        allergens: row.allergens.clone(),
        from: row.in_force_from.to_jiff(),
        to: row.in_force_to.map(|to| to.to_jiff()),
    }
}
