//! Materials by version, and their specifications.
//! It never changes a version: a new one stands beside it.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::{Failure, Reason};
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::{material, material_in_force, specification};
use crate::shape::materials::{MaterialContent, NewSpecification, material_entry};
use crate::store::safety;

record_row! {
    /// A version of a material.
    MaterialRow of material {
        id: Uuid, version: i32, record_id: Uuid, name: String, kind: String, in_use: bool,
    }
}

record_row! {
    /// A specification.
    SpecificationRow of specification {
        id: Uuid, material: Uuid, version: i32, lot: Option<Uuid>, in_force_from: Timestamp,
        content: Vec<u8>,
    }
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<MaterialContent>,
) -> Result<MaterialRow, Failure> {
    let stamp = &new.stamp;
    let known = material::table
        .filter(material::record_id.eq(stamp.id))
        .select(MaterialRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn, new.of).await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("material"));
    }
    let MaterialContent { name, kind, in_use } = new.content.clone();
    refuse(conn, new, last.as_ref()).await?;
    let version = last.map_or(1, |last| last.version + 1);
    let own = (new.of, version, stamp.id, name.clone(), kind, in_use);
    let row = MaterialRow::stamped(stamp, own);
    diesel::insert_into(material::table).values(&row).execute(conn).await?;
    let in_force = (
        material_in_force::material.eq(row.id),
        material_in_force::version.eq(version),
        material_in_force::name.eq(&name),
    );
    diesel::insert_into(material_in_force::table)
        .values(in_force)
        .on_conflict(material_in_force::material)
        .do_update()
        .set((material_in_force::version.eq(version), material_in_force::name.eq(&name)))
        .execute(conn)
        .await?;
    let leaf = stamp.leaf("formulas.material/1", material_entry(new, version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    // Lots are told apart by names: another name may bring other contents.
    if version > 1 {
        safety::raise(conn).await?;
    }
    Ok(row)
}

/// A name that another material has, or a kind that differs from the first version's.
async fn refuse(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<MaterialContent>,
    last: Option<&MaterialRow>,
) -> Result<(), Failure> {
    let content = &new.content;
    let mut reasons = Vec::new();
    if let Some(last) = last.filter(|last| last.kind != content.kind) {
        reasons.push(Reason {
            code: "KIND_STAYS",
            subject: format!("material {}", last.name),
            message: format!("It is {}, and every batch made of it was judged by that.", last.kind),
            who: "developer".into(),
            way_on: "Make a new material for the other kind and end this one.".into(),
        });
    }
    let taken = named(conn, std::slice::from_ref(&content.name)).await?;
    if taken.iter().any(|row| row.id != new.of) {
        reasons.push(Reason {
            code: "NAME_IN_USE",
            subject: format!("material {}", content.name),
            message: "Another material has this name, upper or lower case.".into(),
            who: "developer".into(),
            way_on: "Give it a name that tells it apart: lots are told apart by it.".into(),
        });
    }
    if reasons.is_empty() { Ok(()) } else { Err(Failure::refused(reasons)) }
}

/// The newest version of a material.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<MaterialRow>, Failure> {
    Ok(of_ids(conn, &[id]).await?.pop())
}

/// The newest versions of materials.
pub async fn of_ids(
    conn: &mut AsyncPgConnection,
    ids: &[Uuid],
) -> Result<Vec<MaterialRow>, Failure> {
    let rows = newest()
        .filter(material::id.eq_any(ids))
        .select(MaterialRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

/// The newest versions of materials of these names, upper or lower case.
pub async fn named(
    conn: &mut AsyncPgConnection,
    names: &[String],
) -> Result<Vec<MaterialRow>, Failure> {
    let names: Vec<_> = names.iter().map(|name| name.to_lowercase()).collect();
    let rows = newest()
        .filter(lower(material_in_force::name).eq_any(names))
        .select(MaterialRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

diesel::define_sql_function! {
    /// A text in lower case.
    fn lower(text: diesel::sql_types::Text) -> diesel::sql_types::Text;
}

#[diesel::dsl::auto_type(no_type_alias)]
fn newest() -> _ {
    material::table.inner_join(
        material_in_force::table.on(material_in_force::material
            .eq(material::id)
            .and(material_in_force::version.eq(material::version))),
    )
}

/// The newest version of each material, in the order in which they were made.
pub async fn list(
    conn: &mut AsyncPgConnection,
    page: &Page,
    search: &str,
) -> Result<Vec<MaterialRow>, Failure> {
    let rows = newest()
        .filter(material::id.gt(super::after(page)))
        .filter(material::name.ilike(super::holding(search)))
        .order(material::id.asc())
        .limit(page.fetch())
        .select(MaterialRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

/// Records a specification with its leaf; the same call again gives the row that stands.
pub async fn specify(
    conn: &mut AsyncPgConnection,
    new: &NewSpecification,
) -> Result<SpecificationRow, Failure> {
    let stamp = &new.stamp;
    let known = specification::table
        .find(stamp.id)
        .select(SpecificationRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let of = last(conn, new.material).await?;
    let of = of.ok_or_else(|| Failure::not_found("material"))?;
    new.check(&of.kind)?;
    let last: Option<i32> = specification::table
        .filter(specification::material.eq(new.material))
        .select(diesel::dsl::max(specification::version))
        .first(conn)
        .await?;
    let version = last.unwrap_or(0) + 1;
    let from = new.in_force_from.to_diesel();
    let own = (stamp.id, new.material, version, new.lot, from, new.content.clone());
    let row = SpecificationRow::stamped(stamp, own);
    diesel::insert_into(specification::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("formulas.specification/1", new.entry(version)?)?;
    records::insert_leaves(conn, vec![leaf]).await?;
    // Before the first one nothing was known of the material, and nothing that held it was covered.
    if version > 1 {
        safety::raise(conn).await?;
    }
    Ok(row)
}

/// Specifications of a material in the order of their versions.
pub async fn specifications(
    conn: &mut AsyncPgConnection,
    of: Uuid,
    page: &Page,
) -> Result<Vec<SpecificationRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(0);
    let rows = specification::table
        .filter(specification::material.eq(of))
        .filter(specification::version.gt(after))
        .order(specification::version.asc())
        .limit(page.fetch())
        .select(SpecificationRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

/// Specifications of materials: the general ones, and those of the named lots.
pub async fn specifications_of(
    conn: &mut AsyncPgConnection,
    materials: &[Uuid],
    lots: &[Uuid],
) -> Result<Vec<SpecificationRow>, Failure> {
    let rows = specification::table
        .filter(specification::material.eq_any(materials))
        .filter(specification::lot.is_null().or(specification::lot.eq_any(lots)))
        .select(SpecificationRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
