//! Same key, same answer: what makes a repeated write harmless where no record id does.
//! It never keeps the answer of a write that did not commit.

use std::time::Duration;

use diesel::sql_types::{Bytea, Text, Timestamptz};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::SignedDuration;
use jiff_diesel::ToDiesel as _;
use prost::Message;

use crate::caller::Call;
use crate::db::Db;
use crate::error::{Failure, Kind};
use crate::records;
use crate::service::House;
use crate::statement::statement;

/// How long an answer is kept.
const KEPT_DAYS: i64 = 14;
/// How often old answers are removed.
const PRUNE_EVERY: Duration = Duration::from_secs(3600);
/// The longest key.
const KEY_MAX: usize = 128;

/// The key of a call with what it stands for.
#[derive(Clone, Debug)]
pub struct Keyed {
    schema: &'static str,
    scope: String,
    key: String,
    method: &'static str,
    fingerprint: Vec<u8>,
    at: jiff::Timestamp,
}

#[derive(QueryableByName)]
struct Kept {
    #[diesel(sql_type = Bytea)]
    fingerprint: Vec<u8>,
    #[diesel(sql_type = Bytea)]
    answer: Vec<u8>,
}

/// Removes answers kept for longer than 14 days, until the stop.
pub fn prune(schema: &'static str, db: Db, house: &House) {
    let (clock, tasks) = (house.clock.clone(), house.tasks.clone());
    house.tasks.spawn(async move {
        while !tasks.is_stopping() {
            let oldest = clock.now().checked_sub(SignedDuration::from_hours(24 * KEPT_DAYS));
            if let Ok(oldest) = oldest {
                let pruned = db.append("platform.prune_idempotency", move |conn| {
                    let oldest = oldest.to_diesel();
                    let text = format!("DELETE FROM {schema}.idempotency WHERE kept_at < $1");
                    Box::pin(async move {
                        let query = statement(text).bind::<Timestamptz, _>(oldest);
                        Ok(query.execute(conn).await?)
                    })
                });
                if let Err(failure) = pruned.await {
                    tracing::warn!(schema, kind = ?failure.kind, "kept answers not removed");
                }
            }
            tokio::select! {
                () = tokio::time::sleep(PRUNE_EVERY) => {}
                () = tasks.stopping() => {}
            }
        }
    });
}

impl Keyed {
    /// The key of a call on a schema of ours. Refused: no key, or one over 128 characters.
    pub fn of(schema: &'static str, call: &Call, message: &impl Message) -> Result<Self, Failure> {
        let key = call.key().unwrap_or_default();
        if key.is_empty() || key.len() > KEY_MAX {
            let text = "is needed on this call: 1 to 128 characters, best a UUID";
            return Err(Failure::fault("Idempotency-Key", key, text));
        }
        Ok(Self {
            schema,
            scope: call.scope(),
            key: key.to_owned(),
            method: call.method,
            fingerprint: records::fingerprint(call.method, &message.encode_to_vec())?,
            at: call.received_at,
        })
    }

    /// First thing in the write: takes the key, waiting while another holds it. Gives the kept
    /// answer when the same call was made before; refuses other content under the same key.
    pub async fn take<A: Message + Default>(
        &self,
        conn: &mut AsyncPgConnection,
    ) -> Result<Option<A>, Failure> {
        let taken = statement(format!(
            "INSERT INTO {}.idempotency (scope, key, method, fingerprint, answer, kept_at) \
             VALUES ($1, $2, $3, $4, '', $5) ON CONFLICT DO NOTHING",
            self.schema
        ))
        .bind::<Text, _>(&self.scope)
        .bind::<Text, _>(&self.key)
        .bind::<Text, _>(self.method)
        .bind::<Bytea, _>(&self.fingerprint)
        .bind::<Timestamptz, _>(self.at.to_diesel())
        .execute(conn)
        .await?;
        if taken == 1 {
            return Ok(None);
        }
        let kept: Option<Kept> = statement(format!(
            "SELECT fingerprint, answer FROM {}.idempotency WHERE scope = $1 AND key = $2",
            self.schema
        ))
        .bind::<Text, _>(&self.scope)
        .bind::<Text, _>(&self.key)
        .get_result(conn)
        .await
        .optional()?;
        let kept = kept.ok_or_else(|| Failure::new(Kind::Contended, "Send the call again."))?;
        if kept.fingerprint != self.fingerprint {
            let text = "This key came before with other content; use a new key.";
            return Err(Failure::new(Kind::KeyReused, text));
        }
        A::decode(kept.answer.as_slice()).map(Some).map_err(Failure::internal)
    }

    /// Last thing in the write: keeps the answer under the key.
    pub async fn keep(
        &self,
        conn: &mut AsyncPgConnection,
        answer: &impl Message,
    ) -> Result<(), Failure> {
        statement(format!(
            "UPDATE {}.idempotency SET answer = $3 WHERE scope = $1 AND key = $2",
            self.schema
        ))
        .bind::<Text, _>(&self.scope)
        .bind::<Text, _>(&self.key)
        .bind::<Bytea, _>(answer.encode_to_vec())
        .execute(conn)
        .await?;
        Ok(())
    }
}
