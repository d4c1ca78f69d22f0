//! The plant's settings by version.
//! It never changes a version: a new one stands beside it.

use diesel::QueryableByName;
use diesel::prelude::*;
use diesel::sql_types::Uuid as SqlUuid;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::records::{self, NewVersion};
use platform::statement::statement;
use uuid::Uuid;

use crate::schema::plant_settings;
use crate::shape::{SettingsContent, settings_entry};

/// A version of the settings; the id is the plant's.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = plant_settings, check_for_backend(diesel::pg::Pg))]
pub struct SettingsRow {
    pub id: Uuid,
    pub version: i32,
    pub record_id: Uuid,
    pub establishment_name: String,
    pub establishment_number: String,
    pub zone: String,
    pub day_start: String,
    pub temperature_unit: String,
    pub mass_unit: String,
    pub lot_code_pattern: String,
    pub entered_by: String,
    pub entered_by_name: String,
    pub recorded_at: Timestamp,
    pub fingerprint: Vec<u8>,
}

#[derive(QueryableByName)]
struct PlantRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
}

/// The plant's own id, from the mark that was made at its first start.
pub async fn plant(conn: &mut AsyncPgConnection) -> Result<Uuid, Failure> {
    let mark: PlantRow = statement("SELECT id FROM house.plant").get_result(conn).await?;
    Ok(mark.id)
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<SettingsContent>,
) -> Result<SettingsRow, Failure> {
    let stamp = &new.stamp;
    let known = plant_settings::table
        .filter(plant_settings::record_id.eq(stamp.id))
        .select(SettingsRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn).await?;
    let content = new.content.clone();
    let row = SettingsRow {
        id: new.of,
        version: last.map_or(1, |last| last.version + 1),
        record_id: stamp.id,
        establishment_name: content.establishment_name,
        establishment_number: content.establishment_number,
        zone: content.zone,
        day_start: content.day_start,
        temperature_unit: content.temperature_unit,
        mass_unit: content.mass_unit,
        lot_code_pattern: content.lot_code_pattern,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        recorded_at: stamp.recorded_at.to_diesel(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(plant_settings::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("identity.plant_settings/1", settings_entry(&row))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// The settings in force.
pub async fn last(conn: &mut AsyncPgConnection) -> Result<Option<SettingsRow>, Failure> {
    let found = plant_settings::table
        .order(plant_settings::version.desc())
        .select(SettingsRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}
