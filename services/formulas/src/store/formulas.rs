//! Approved formulas by version, and which version is in force.
//! It never changes a version.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::pages::Page;
use platform::records;
use platform::tickets::Ticket;
use uuid::Uuid;

use crate::schema::{formula, formula_in_force, product};
use crate::shape::formulas::{Approved, entry};
use crate::store::{drafts, products, safety};

record_row! {
    /// A version of a formula.
    FormulaRow of formula {
        id: Uuid, version: i32, record_id: Uuid, name: String, product: Uuid, label: Uuid,
        content: Vec<u8>, warnings: Vec<u8>, ticket: Uuid,
    }
}

/// The approval that a record id stands for, when the same call was made before.
pub async fn approved(
    conn: &mut AsyncPgConnection,
    stamp: &records::Stamp,
) -> Result<Option<FormulaRow>, Failure> {
    let known = formula::table
        .filter(formula::record_id.eq(stamp.id))
        .select(FormulaRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = &known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
    }
    Ok(known)
}

/// Makes what was judged the next version and puts it in force; its draft goes.
pub async fn approve(
    conn: &mut AsyncPgConnection,
    approved: &Approved,
    ticket: &Ticket,
) -> Result<FormulaRow, Failure> {
    let last: Option<i32> = formula::table
        .filter(formula::id.eq(approved.formula))
        .select(diesel::dsl::max(formula::version))
        .first(conn)
        .await?;
    let version = last.unwrap_or(0) + 1;
    let (id, stamp) = (approved.formula, &approved.stamp);
    let (product, label) = (approved.recipe.product, approved.recipe.label);
    let name = approved.recipe.name.clone();
    let (content, warnings) = (approved.content.clone(), approved.warnings_kept());
    let own = (id, version, stamp.id, name, product, label, content, warnings, ticket.id);
    let row = FormulaRow::stamped(stamp, own);
    diesel::insert_into(formula::table).values(&row).execute(conn).await?;
    diesel::insert_into(formula_in_force::table)
        .values((formula_in_force::formula.eq(id), formula_in_force::version.eq(version)))
        .on_conflict(formula_in_force::formula)
        .do_update()
        .set(formula_in_force::version.eq(version))
        .execute(conn)
        .await?;
    drafts::delete(conn, id).await?;
    let leaf = stamp.leaf("formulas.formula/1", entry(approved, version, ticket)?)?;
    records::insert_leaves(conn, vec![leaf]).await?;
    // From now on its product is packed and judged under its label.
    safety::raise(conn).await?;
    Ok(row)
}

/// One version of a formula.
pub async fn version(
    conn: &mut AsyncPgConnection,
    (id, version): (Uuid, i32),
) -> Result<Option<FormulaRow>, Failure> {
    let found = formula::table.find((id, version)).select(FormulaRow::as_select()).first(conn);
    Ok(found.await.optional()?)
}

/// Which version of a formula is in force.
pub async fn number_in_force(
    conn: &mut AsyncPgConnection,
    id: Uuid,
) -> Result<Option<i32>, Failure> {
    let number = formula_in_force::table.find(id).select(formula_in_force::version).first(conn);
    Ok(number.await.optional()?)
}

/// The label of the formula in force that was approved last for a product, by its id or name.
pub async fn label_of_product(
    conn: &mut AsyncPgConnection,
    word: &str,
) -> Result<Option<Uuid>, Failure> {
    let products: Vec<Uuid> = match word.parse() {
        Ok(id) => vec![id],
        Err(_) => {
            let named = products::named(conn, &[word.to_owned()]).await?;
            named.into_iter().map(|row| row.id).collect()
        }
    };
    let found = formula::table
        .inner_join(formula_in_force::table.on(joined()))
        .filter(formula::product.eq_any(products))
        .order((formula::recorded_at.desc(), formula::record_id.desc()))
        .select(formula::label)
        .first(conn)
        .await;
    Ok(found.optional()?)
}

/// The formulas in force with their products' names, in the order of their ids.
pub async fn list(
    conn: &mut AsyncPgConnection,
    page: &Page,
    search: &str,
) -> Result<Vec<(FormulaRow, String)>, Failure> {
    let pattern = super::holding(search);
    // A product is shown by its newest name.
    let newer = diesel::alias!(product as newer);
    let has_newer = newer
        .filter(newer.field(product::id).eq(product::id))
        .filter(newer.field(product::version).gt(product::version));
    let rows = formula::table
        .inner_join(formula_in_force::table.on(joined()))
        .inner_join(product::table.on(product::id.eq(formula::product)))
        .filter(diesel::dsl::not(diesel::dsl::exists(has_newer)))
        .filter(formula::id.gt(super::after(page)))
        .filter(formula::name.ilike(&pattern).or(product::name.ilike(&pattern)))
        .order(formula::id.asc())
        .limit(page.fetch())
        .select((FormulaRow::as_select(), product::name))
        .load(conn)
        .await?;
    Ok(rows)
}

#[diesel::dsl::auto_type(no_type_alias)]
fn joined() -> _ {
    formula_in_force::formula.eq(formula::id).and(formula_in_force::version.eq(formula::version))
}
