//! People by version, and which version is in force.
//! It never changes a version, and never leaves the plant without an administrator.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::{Failure, Reason};
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::{person, person_in_force};
use crate::shape::{PersonContent, administrator, person_entry};

/// A version of a person.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = person, check_for_backend(diesel::pg::Pg))]
pub struct PersonRow {
    pub id: Uuid,
    pub version: i32,
    pub record_id: Uuid,
    pub sign_in_name: String,
    pub name: String,
    pub roles: Vec<String>,
    pub language: String,
    pub in_use: bool,
    pub entered_by: String,
    pub entered_by_name: String,
    pub recorded_at: Timestamp,
    pub fingerprint: Vec<u8>,
}

impl PersonRow {
    fn is_administrator(&self) -> bool {
        self.in_use && self.roles.iter().any(|role| role == administrator())
    }
}

/// Which version of a person is in force.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = person_in_force, check_for_backend(diesel::pg::Pg))]
struct InForceRow {
    person: Uuid,
    version: i32,
    sign_in_name: String,
    rights_version: i32,
    is_administrator: bool,
}

/// What recording a version did.
pub struct Recorded {
    /// The version.
    pub row: PersonRow,
    /// False when this very call had been made before.
    pub is_new: bool,
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<PersonContent>,
) -> Result<Recorded, Failure> {
    let stamp = &new.stamp;
    let known = person::table
        .filter(person::record_id.eq(stamp.id))
        .select(PersonRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(Recorded { row, is_new: false });
    }
    let in_force = person_in_force::table
        .find(new.of)
        .select(InForceRow::as_select())
        .for_no_key_update()
        .first(conn)
        .await
        .optional()?;
    if new.is_known && in_force.is_none() {
        return Err(Failure::not_found("person"));
    }
    refuse_taken_name(conn, new).await?;
    let row = PersonRow {
        id: new.of,
        version: in_force.as_ref().map_or(1, |in_force| in_force.version + 1),
        record_id: stamp.id,
        sign_in_name: new.content.sign_in_name.clone(),
        name: new.content.name.clone(),
        roles: new.content.roles.clone(),
        language: new.content.language.clone(),
        in_use: new.content.in_use,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        recorded_at: stamp.recorded_at.to_diesel(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(person::table).values(&row).execute(conn).await?;
    put_in_force(conn, &row, in_force).await?;
    let leaf = stamp.leaf("identity.person/1", person_entry(&row))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(Recorded { row, is_new: true })
}

async fn refuse_taken_name(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<PersonContent>,
) -> Result<(), Failure> {
    let name = &new.content.sign_in_name;
    let taken: Option<Uuid> = person_in_force::table
        .filter(person_in_force::sign_in_name.eq(name))
        .filter(person_in_force::person.ne(new.of))
        .select(person_in_force::person)
        .first(conn)
        .await
        .optional()?;
    match taken {
        None => Ok(()),
        Some(person) => Err(Failure::refused(vec![Reason {
            code: "SIGN_IN_NAME_TAKEN",
            subject: format!("person:{person}"),
            message: format!("Another person signs in as {name}."),
            who: administrator().to_owned(),
            way_on: "Choose another sign-in name.".to_owned(),
        }])),
    }
}

/// Puts a version in force in place of the one before.
async fn put_in_force(
    conn: &mut AsyncPgConnection,
    row: &PersonRow,
    before: Option<InForceRow>,
) -> Result<(), Failure> {
    let is_administrator = row.is_administrator();
    let rights_version = match &before {
        None => row.version,
        Some(before) => {
            if before.is_administrator && !is_administrator {
                refuse_last_administrator(conn, row.id).await?;
            }
            let earlier = version(conn, row.id, before.version).await?;
            let same = earlier.roles == row.roles && earlier.in_use == row.in_use;
            if same { before.rights_version } else { row.version }
        }
    };
    let in_force = InForceRow {
        person: row.id,
        version: row.version,
        sign_in_name: row.sign_in_name.clone(),
        rights_version,
        is_administrator,
    };
    let put = diesel::insert_into(person_in_force::table).values(&in_force);
    put.on_conflict(person_in_force::person).do_update().set(&in_force).execute(conn).await?;
    Ok(())
}

/// Two administrators who take each other's role wait for each other here.
async fn refuse_last_administrator(
    conn: &mut AsyncPgConnection,
    leaving: Uuid,
) -> Result<(), Failure> {
    let all: Vec<Uuid> = person_in_force::table
        .filter(person_in_force::is_administrator)
        .order(person_in_force::person)
        .select(person_in_force::person)
        .for_no_key_update()
        .load(conn)
        .await?;
    if all.iter().any(|person| *person != leaving) {
        return Ok(());
    }
    Err(Failure::refused(vec![Reason {
        code: "LAST_ADMINISTRATOR",
        subject: format!("person:{leaving}"),
        message: "The plant would be left without an administrator.".to_owned(),
        who: administrator().to_owned(),
        way_on: "Make another person administrator first.".to_owned(),
    }]))
}

async fn version(
    conn: &mut AsyncPgConnection,
    id: Uuid,
    version: i32,
) -> Result<PersonRow, Failure> {
    let found = person::table.find((id, version)).select(PersonRow::as_select()).first(conn);
    Ok(found.await?)
}

/// The version of a person in force.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<PersonRow>, Failure> {
    let found = person::table
        .filter(person::id.eq(id))
        .order(person::version.desc())
        .select(PersonRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// The person who signs in under a name.
pub async fn named(
    conn: &mut AsyncPgConnection,
    sign_in_name: &str,
) -> Result<Option<PersonRow>, Failure> {
    let in_force =
        person::id.eq(person_in_force::person).and(person::version.eq(person_in_force::version));
    let found = person_in_force::table
        .inner_join(person::table.on(in_force))
        .filter(person_in_force::sign_in_name.eq(sign_in_name))
        .select(PersonRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// True while nobody was ever added.
pub async fn is_empty(conn: &mut AsyncPgConnection) -> Result<bool, Failure> {
    let any: Option<Uuid> =
        person_in_force::table.select(person_in_force::person).first(conn).await.optional()?;
    Ok(any.is_none())
}

/// People whose rights have changed, with the version that changed them last.
pub async fn changed_rights(conn: &mut AsyncPgConnection) -> Result<Vec<(Uuid, i32)>, Failure> {
    let rows = person_in_force::table
        .filter(person_in_force::rights_version.gt(1))
        .select((person_in_force::person, person_in_force::rights_version))
        .load(conn)
        .await?;
    Ok(rows)
}

/// The newest version of each person, in the order in which they were added.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<PersonRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let rows = person::table
        .filter(person::id.gt(after))
        .distinct_on(person::id)
        .order((person::id.asc(), person::version.desc()))
        .limit(page.fetch())
        .select(PersonRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
