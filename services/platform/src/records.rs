//! What every record has besides its own columns: an id, one leaf under it, a fingerprint.
//! It never changes or removes what was written.

use diesel::pg::Pg;
use diesel::query_builder::{AstPass, QueryFragment, QueryId};
use diesel::result::QueryResult;
use diesel::sql_types::{Array, Date, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::fault::Faults;
use jiff::Timestamp;
use jiff::civil;
use jiff_diesel::ToDiesel as _;
use prost::Message;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::caller::{Call, Party};
use crate::error::{Failure, Kind};
use crate::plant::Plant;
use crate::shape;

/// A new id, made by the service for what no client named.
#[expect(clippy::disallowed_methods, reason = "this is the one place that makes ids")]
pub fn new_id() -> Uuid {
    Uuid::now_v7()
}

/// Secret bytes for tokens and tickets, as a random id.
#[expect(clippy::disallowed_methods, reason = "this is the one place that makes ids")]
pub fn new_secret() -> Uuid {
    Uuid::new_v4()
}

/// A record's canonical entry with the hash that the sealed tree will hold.
#[derive(Clone, Debug)]
pub struct Leaf {
    /// The record's id.
    pub id: Uuid,
    /// The versioned form of the entry: `haccp.reading/1`.
    pub form: &'static str,
    /// What the record is about: `lot:UUID`.
    pub subject: String,
    /// The production day.
    pub day: civil::Date,
    /// When the service received it.
    pub recorded_at: Timestamp,
    /// The entry as RFC 8785 text.
    pub entry: String,
    /// SHA-256(0x00 ‖ entry).
    pub hash: [u8; 32],
}

impl Leaf {
    /// The leaf of an entry; measured values in it are decimal texts, never JSON numbers.
    pub fn of(
        (id, form): (Uuid, &'static str),
        subject: String,
        day: civil::Date,
        recorded_at: Timestamp,
        entry: &Value,
    ) -> Result<Self, Failure> {
        let entry = domain::record::canonical(entry).map_err(Failure::internal)?;
        let hash = domain::record::leaf_hash(&entry);
        Ok(Self { id, form, subject, day, recorded_at, entry, hash })
    }
}

/// Who recorded something, when and about what: the same in every record.
#[derive(Clone, Debug)]
pub struct Stamp {
    /// The record's id.
    pub id: Uuid,
    /// What it is about: `place:UUID`.
    pub subject: String,
    /// The production day.
    pub day: civil::Date,
    /// When the service received it.
    pub recorded_at: Timestamp,
    /// The person's id, or `system/NAME`.
    pub entered_by: String,
    /// The name as it was.
    pub entered_by_name: String,
    /// The station of the session; empty where none was named.
    pub station: String,
    /// What makes a repeated call the same call.
    pub fingerprint: Vec<u8>,
}

impl Stamp {
    /// The stamp of a call that records `message` under the client's id.
    pub fn of(
        call: &Call,
        plant: &Plant,
        id: Uuid,
        subject: String,
        message: &impl Message,
    ) -> Result<Self, Failure> {
        let (entered_by_name, station) = match &call.party {
            Party::Person(person) => (person.name.clone(), person.station.clone()),
            _ => (call.entered_by(), String::new()),
        };
        Ok(Self {
            id,
            subject,
            day: plant.day_of(call.received_at),
            recorded_at: call.received_at,
            entered_by: call.entered_by(),
            entered_by_name,
            station,
            fingerprint: fingerprint(call.method, &message.encode_to_vec())?,
        })
    }

    /// The leaf whose entry is the stamp together with `body`, an object of the record's own.
    pub fn leaf(&self, form: &'static str, body: Value) -> Result<Leaf, Failure> {
        let mut entry = json!({
            "day": self.day.to_string(),
            // Empty until devices enrol; the place for it is in every form from the first.
            "device": "",
            "entered_by": { "id": self.entered_by, "name": self.entered_by_name },
            "form": form,
            "id": self.id.to_string(),
            "recorded_at": self.recorded_at.to_string(),
            "station": self.station,
            "subject": self.subject,
        });
        if let (Some(entry), Value::Object(body)) = (entry.as_object_mut(), body) {
            entry.extend(body);
        }
        let about = (self.id, form);
        Leaf::of(about, self.subject.clone(), self.day, self.recorded_at, &entry)
    }

    /// Whether a record that already has this id is this very call made again. Anything else on a
    /// known id is refused and shows nothing of it.
    pub fn same_as(&self, entered_by: &str, fingerprint: &[u8]) -> Result<(), Failure> {
        let ours = (self.entered_by.as_str(), self.fingerprint.as_slice());
        same_call(self.id, ours, (entered_by, fingerprint))
    }
}

/// A version of something, about to be recorded: what it is of, and by whom.
#[derive(Clone, Debug)]
pub struct NewVersion<T> {
    /// The thing that gets a new version.
    pub of: Uuid,
    /// True where the caller named it, so that it must exist.
    pub is_known: bool,
    /// Who records it and when.
    pub stamp: Stamp,
    /// What it says.
    pub content: T,
}

impl<T> NewVersion<T> {
    /// Reads which thing gets a version under which record id; both are pairs of a field's name
    /// and its text, and an empty thing is a new one with the record's id. Gives all faults.
    pub fn read(
        (call, plant): (&Call, &Plant),
        (id, of): ((&str, &str), (&str, &str)),
        (message, mut faults): (&impl Message, Faults),
        content: T,
    ) -> Result<Self, Failure> {
        let record = shape::record_id(id.1, id.0, &mut faults);
        let known = shape::optional_id(of.1, of.0, &mut faults);
        let record = faults.into_result(record)?;
        let thing = known.unwrap_or(record);
        let subject = format!("{}:{thing}", of.0);
        let stamp = Stamp::of(call, plant, record, subject, message)?;
        Ok(Self { of: thing, is_known: known.is_some(), stamp, content })
    }
}

/// Whether two records of one id are the same call: the same party and the same fingerprint.
pub fn same_call(id: Uuid, ours: (&str, &[u8]), theirs: (&str, &[u8])) -> Result<(), Failure> {
    if ours == theirs {
        return Ok(());
    }
    let text = format!("The id {id} belongs to another record; make a new one.");
    Err(Failure::new(Kind::IdInUse, text))
}

/// Columns of leaves side by side, as the array parameters of one statement.
#[derive(Default)]
pub struct LeafColumns {
    ids: Vec<Uuid>,
    forms: Vec<&'static str>,
    subjects: Vec<String>,
    days: Vec<jiff_diesel::Date>,
    recorded: Vec<jiff_diesel::Timestamp>,
    entries: Vec<String>,
    hashes: Vec<Vec<u8>>,
}

impl FromIterator<Leaf> for LeafColumns {
    fn from_iter<I: IntoIterator<Item = Leaf>>(leaves: I) -> Self {
        let mut columns = Self::default();
        for leaf in leaves {
            columns.ids.push(leaf.id);
            columns.forms.push(leaf.form);
            columns.subjects.push(leaf.subject);
            columns.days.push(leaf.day.to_diesel());
            columns.recorded.push(leaf.recorded_at.to_diesel());
            columns.entries.push(leaf.entry);
            columns.hashes.push(leaf.hash.to_vec());
        }
        columns
    }
}

impl LeafColumns {
    /// Writes `INSERT INTO audit.leaf … SELECT … FROM unnest(…)` into a statement.
    pub fn push<'b>(&'b self, out: &mut AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        out.push_sql(
            "INSERT INTO audit.leaf (id, form, subject, day, recorded_at, entry, hash) \
             SELECT * FROM unnest(",
        );
        out.push_bind_param::<Array<SqlUuid>, _>(&self.ids)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<Text>, _>(&self.forms)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<Text>, _>(&self.subjects)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<Date>, _>(&self.days)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<Timestamptz>, _>(&self.recorded)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<Text>, _>(&self.entries)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<diesel::sql_types::Bytea>, _>(&self.hashes)?;
        out.push_sql(")");
        Ok(())
    }
}

/// The statement that only writes leaves.
#[derive(QueryId)]
struct InsertLeaves {
    columns: LeafColumns,
}

impl QueryFragment<Pg> for InsertLeaves {
    fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        self.columns.push(&mut out)
    }
}

impl<C> diesel::RunQueryDsl<C> for InsertLeaves {}

/// Writes leaves in the transaction that writes their records.
pub async fn insert_leaves(conn: &mut AsyncPgConnection, leaves: Vec<Leaf>) -> Result<(), Failure> {
    let statement = InsertLeaves { columns: leaves.into_iter().collect() };
    statement.execute(conn).await?;
    Ok(())
}

/// What makes a repeated call the same call: SHA-256 of the method and the message in canonical
/// form, secret fields cleared.
pub fn fingerprint(method: &str, message: &[u8]) -> Result<Vec<u8>, Failure> {
    let operation = wire::contract::operations().iter().find(|found| found.grpc_path == method);
    let operation = operation.ok_or_else(|| Failure::internal(format!("no method {method}")))?;
    let cleared = wire::contract::cleared(message, &operation.input);
    let cleared = cleared.map_err(Failure::internal)?;
    let mut hash = Sha256::new();
    hash.update(method.as_bytes());
    hash.update([0]);
    hash.update(cleared);
    Ok(hash.finalize().to_vec())
}
