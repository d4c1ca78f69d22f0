//! Approved plans by version, which version is in force, and to which one a lot is bound.
//! It never changes a version.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::civil::Date;
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::{Failure, Kind};
use platform::pages::Page;
use platform::records;
use platform::statement::statement;
use platform::tickets::Ticket;
use uuid::Uuid;

use crate::schema::{lot_bound, plan, plan_in_force};
use crate::shape::plans::{Approval, check_approval, content, entry, form};
use crate::store::drafts;

/// How many days after its making haccp may have been told of a lot.
const TOLD_WITHIN_DAYS: i64 = 3;

/// A version of a plan.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = plan, check_for_backend(diesel::pg::Pg))]
pub struct PlanRow {
    pub id: Uuid,
    pub version: i32,
    pub record_id: Uuid,
    pub name: String,
    pub binds: String,
    pub content: Vec<u8>,
    pub ticket: Uuid,
    pub recorded_at: Timestamp,
    pub entered_by: String,
    pub entered_by_name: String,
    pub fingerprint: Vec<u8>,
}

/// The approval that a record id stands for, when the same call was made before.
pub async fn approved(
    conn: &mut AsyncPgConnection,
    approval: &Approval,
) -> Result<Option<PlanRow>, Failure> {
    let stamp = &approval.stamp;
    let known = plan::table
        .filter(plan::record_id.eq(stamp.id))
        .select(PlanRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = &known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
    }
    Ok(known)
}

/// Makes the draft the next version and puts it in force.
pub async fn approve(
    conn: &mut AsyncPgConnection,
    approval: &Approval,
    ticket: &Ticket,
) -> Result<PlanRow, Failure> {
    let draft = drafts::find(conn, approval.plan).await?;
    let draft = draft.ok_or_else(|| Failure::not_found("draft"))?;
    if draft.version != approval.draft_version {
        let text = "The draft has changed since it was read; read it again before you sign.";
        return Err(Failure::new(Kind::Stale, text));
    }
    let content = content(&draft.content)?;
    check_approval(approval.plan, &content)?;
    let last: Option<i32> = plan::table
        .filter(plan::id.eq(approval.plan))
        .select(diesel::dsl::max(plan::version))
        .first(conn)
        .await?;
    let stamp = &approval.stamp;
    let row = PlanRow {
        id: approval.plan,
        version: last.unwrap_or(0) + 1,
        record_id: stamp.id,
        name: content.name.clone(),
        binds: content.binds.clone(),
        content: draft.content,
        ticket: ticket.id,
        recorded_at: stamp.recorded_at.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(plan::table).values(&row).execute(conn).await?;
    diesel::insert_into(plan_in_force::table)
        .values((plan_in_force::plan.eq(row.id), plan_in_force::version.eq(row.version)))
        .on_conflict(plan_in_force::plan)
        .do_update()
        .set(plan_in_force::version.eq(row.version))
        .execute(conn)
        .await?;
    drafts::delete(conn, row.id).await?;
    let leaf = stamp.leaf(form(&content), entry(&row, &content, ticket))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// One version of a plan.
pub async fn version(
    conn: &mut AsyncPgConnection,
    (id, version): (Uuid, i32),
) -> Result<Option<PlanRow>, Failure> {
    let found = plan::table.find((id, version)).select(PlanRow::as_select()).first(conn).await;
    Ok(found.optional()?)
}

/// The version of a plan that is in force.
pub async fn in_force(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<PlanRow>, Failure> {
    let number = plan_in_force::table.find(id).select(plan_in_force::version).first(conn).await;
    match number.optional()? {
        Some(number) => version(conn, (id, number)).await,
        None => Ok(None),
    }
}

/// The plans in force in the order of their ids.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<PlanRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let rows = plan::table
        .inner_join(
            plan_in_force::table
                .on(plan_in_force::plan.eq(plan::id).and(plan_in_force::version.eq(plan::version))),
        )
        .filter(plan::id.gt(after))
        .order(plan::id.asc())
        .limit(page.fetch())
        .select(PlanRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

/// Binds a lot to the version that it was made under; a second binding changes nothing.
pub async fn bind(
    conn: &mut AsyncPgConnection,
    lot: Uuid,
    (plan, version): (Uuid, i32),
    day: Date,
) -> Result<(), Failure> {
    diesel::insert_into(lot_bound::table)
        .values((
            lot_bound::lot.eq(lot),
            lot_bound::plan.eq(plan),
            lot_bound::version.eq(version),
            lot_bound::bound_on.eq(day.to_diesel()),
        ))
        .on_conflict_do_nothing()
        .execute(conn)
        .await?;
    Ok(())
}

#[derive(QueryableByName)]
struct May {
    #[diesel(sql_type = diesel::sql_types::Bool)]
    may: bool,
}

/// Whether a version may be used: it is in force, or there are lots and each is bound to it.
pub async fn may_use(
    conn: &mut AsyncPgConnection,
    (plan, version): (Uuid, i32),
    lots: &[Uuid],
) -> Result<bool, Failure> {
    let query = statement(
        "SELECT EXISTS (SELECT 1 FROM haccp.plan_in_force WHERE plan = $1 AND version = $2) \
         OR (cardinality($3) > 0 AND NOT EXISTS (SELECT 1 FROM unnest($3) AS named(lot) \
         WHERE NOT EXISTS (SELECT 1 FROM haccp.lot_bound AS bound WHERE bound.lot = named.lot \
         AND bound.plan = $1 AND bound.version = $2))) AS may",
    );
    let query = query
        .bind::<diesel::sql_types::Uuid, _>(plan)
        .bind::<diesel::sql_types::Integer, _>(version)
        .bind::<diesel::sql_types::Array<diesel::sql_types::Uuid>, _>(lots);
    let found: May = query.get_result(conn).await?;
    Ok(found.may)
}

/// Lots that may have been made on a day: haccp was told of them on that day or soon after. Of lots
/// from before that was kept nothing is known, so they are asked about too.
pub async fn bound_on(
    conn: &mut AsyncPgConnection,
    day: Date,
    page: &Page,
) -> Result<Vec<Uuid>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let last = day.saturating_add(jiff::Span::new().days(TOLD_WITHIN_DAYS));
    let lots = lot_bound::table
        .filter(lot_bound::lot.gt(after))
        .filter(
            lot_bound::bound_on
                .between(day.to_diesel(), last.to_diesel())
                .or(lot_bound::bound_on.is_null()),
        )
        .order(lot_bound::lot.asc())
        .limit(page.fetch())
        .select(lot_bound::lot)
        .load(conn)
        .await?;
    Ok(lots)
}
