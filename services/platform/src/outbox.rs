//! Work that one service owes another, written with the record that causes it and delivered after.
//! It never drops a message: an undelivered one stays, is tried again and is counted.

use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use diesel::QueryableByName;
use diesel::sql_types::{Bytea, Integer, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use http::{HeaderMap, HeaderValue};
use prost::Message;
use tokio::sync::Notify;
use uuid::Uuid;

use crate::caller::operation;
use crate::db::Db;
use crate::error::Failure;
use crate::hop;
use crate::records;
use crate::service::House;
use crate::statement::statement;

/// Messages taken at once.
const TAKE_MAX: i32 = 32;
/// How often it looks without being woken.
const POLL: Duration = Duration::from_secs(1);
/// How long a taken message is left alone before another worker may take it.
const LEASE_S: i32 = 30;

/// The outbox of one service.
#[derive(Clone)]
pub struct Outbox {
    schema: &'static str,
    db: Db,
    woken: Arc<Notify>,
}

#[derive(QueryableByName, Debug)]
struct Owed {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    method: String,
    #[diesel(sql_type = Bytea)]
    body: Vec<u8>,
    #[diesel(sql_type = Integer)]
    tries: i32,
}

impl Outbox {
    /// The outbox in a schema.
    pub fn new(schema: &'static str, db: Db) -> Self {
        Self { schema, db, woken: Arc::default() }
    }

    /// Writes a message in the transaction of what causes it. `subject` orders: messages of one
    /// subject arrive in the order in which they were written. The id is the receiver's key.
    pub async fn put(
        &self,
        conn: &mut AsyncPgConnection,
        subject: &str,
        method: &str,
        message: &impl Message,
    ) -> Result<Uuid, Failure> {
        let id = records::new_id();
        statement(format!(
            "INSERT INTO {}.outbox (id, subject, method, body) VALUES ($1, $2, $3, $4)",
            self.schema
        ))
        .bind::<SqlUuid, _>(id)
        .bind::<Text, _>(subject)
        .bind::<Text, _>(method)
        .bind::<Bytea, _>(message.encode_to_vec())
        .execute(conn)
        .await?;
        Ok(id)
    }

    /// Says that a message was committed.
    pub fn wake(&self) {
        self.woken.notify_one();
    }

    /// Delivers until the process stops.
    pub fn start(&self, house: &House) {
        let (outbox, house) = (self.clone(), house.clone());
        house.tasks.clone().spawn(async move {
            while !house.tasks.is_stopping() {
                let delivered = outbox.deliver(&house).await;
                if delivered > 0 {
                    continue;
                }
                tokio::select! {
                    () = outbox.woken.notified() => {}
                    () = tokio::time::sleep(POLL) => {}
                    () = house.tasks.stopping() => {}
                }
            }
        });
    }

    /// Delivers what is due once; gives how many arrived.
    async fn deliver(&self, house: &House) -> usize {
        let owed = match self.take().await {
            Ok(owed) => owed,
            Err(failure) => {
                tracing::warn!(schema = self.schema, kind = ?failure.kind, "outbox not readable");
                return 0;
            }
        };
        let mut arrived = 0;
        for message in owed {
            match self.send(house, &message).await {
                Ok(()) => {
                    arrived += usize::from(self.forget(message.id).await.is_ok());
                }
                Err(failure) => {
                    let (method, tries) = (&message.method, message.tries);
                    tracing::warn!(method, tries, kind = ?failure.kind, "message not delivered");
                }
            }
        }
        arrived
    }

    /// Takes the oldest message of each subject under a lease, by the database's own clock.
    async fn take(&self) -> Result<Vec<Owed>, Failure> {
        let text = format!(
            "UPDATE {schema}.outbox SET tries = tries + 1, not_before = clock_timestamp() + \
             make_interval(secs => least({LEASE_S}, power(2, tries))) WHERE id IN ( \
             SELECT id FROM {schema}.outbox AS due WHERE not_before <= clock_timestamp() \
             AND NOT EXISTS (SELECT 1 FROM {schema}.outbox AS earlier \
             WHERE earlier.subject = due.subject AND earlier.id < due.id) \
             ORDER BY id LIMIT {TAKE_MAX} FOR NO KEY UPDATE SKIP LOCKED) \
             RETURNING id, method, body, tries",
            schema = self.schema
        );
        let text = Arc::new(text);
        self.db
            .append("platform.outbox_take", move |conn| {
                let text = text.clone();
                Box::pin(async move { Ok(statement(text.as_str()).load(conn).await?) })
            })
            .await
    }

    async fn send(&self, house: &House, message: &Owed) -> Result<(), Failure> {
        let found = operation(&message.method);
        let path = found.map(|found| found.grpc_path.as_str());
        let path = path.ok_or_else(|| Failure::internal("a message for no method"))?;
        let hop = house.hop_for_service(path)?;
        let mut headers = HeaderMap::new();
        let key = HeaderValue::try_from(message.id.to_string()).map_err(Failure::internal)?;
        headers.insert(crate::caller::KEY_HEADER, key);
        let body = Bytes::from(message.body.clone());
        let sent = hop::unary(hop, path, body, headers).await;
        sent.map(|_| ()).map_err(Failure::internal)
    }

    async fn forget(&self, id: Uuid) -> Result<(), Failure> {
        let text = format!("DELETE FROM {}.outbox WHERE id = $1", self.schema);
        let text = Arc::new(text);
        self.db
            .append("platform.outbox_forget", move |conn| {
                let text = text.clone();
                Box::pin(async move {
                    let forgotten = statement(text.as_str()).bind::<SqlUuid, _>(id);
                    forgotten.execute(conn).await?;
                    Ok(())
                })
            })
            .await
    }
}
