//! The two write doors and the read door to Postgres: named, retried, timed, never half done.
//! It never holds a connection while another service is asked, and never cancels a write.

use std::sync::Arc;
use std::time::Duration;

use diesel::ConnectionError;
use diesel::result::{DatabaseErrorKind, Error as DieselError};
use diesel_async::pooled_connection::deadpool::{Object, Pool};
use diesel_async::pooled_connection::{
    AsyncDieselConnectionManager, ManagerConfig, RecyclingMethod,
};
use diesel_async::{
    AnsiTransactionManager, AsyncPgConnection, SimpleAsyncConnection, TransactionManager,
};
use futures_util::future::BoxFuture;
use tokio_postgres::NoTls;
use tracing::Instrument as _;

use crate::clock::monotonic;
use crate::error::{Failure, Kind};
use crate::tasks::Tasks;
use crate::{telemetry, traces};

/// Tries of one write before the caller is told to repeat it.
const TRIES_MAX: u32 = 10;
/// The longest wait between two tries.
const JITTER_MAX_MS: u64 = 50;
/// How long a call waits for a connection.
const POOL_WAIT: Duration = Duration::from_secs(5);
/// What is said of a ticket that stands on another record.
const TICKET_USED: &str = "This ticket was used already; sign again.";
/// What every connection is told at connect; a test reads it back.
pub const SESSION_LIMITS: &str = "SET statement_timeout = '15s'; \
    SET idle_in_transaction_session_timeout = '10s'; SET lock_timeout = '5s'; \
    SET TIME ZONE 'UTC'; SET application_name = 'hankbook'";

/// What a door runs: it may run more than once, so it touches nothing outside Postgres.
pub type Work<'c, T> = BoxFuture<'c, Result<T, Failure>>;

/// Where and as whom a service connects.
#[derive(Clone, Debug)]
pub struct Connect {
    /// A libpq connection text.
    pub text: String,
    /// The role taken after connecting, where the connection names another.
    pub role: Option<String>,
    /// The most connections.
    pub pool_size: usize,
}

/// A service's way to its own schema.
#[derive(Clone)]
pub struct Db {
    pool: Pool<AsyncPgConnection>,
    tasks: Tasks,
    service: &'static str,
}

impl Db {
    /// A pool that connects when first used.
    pub fn new(service: &'static str, connect: Connect, tasks: Tasks) -> Result<Self, Failure> {
        let mut config = ManagerConfig::default();
        config.recycling_method = RecyclingMethod::Fast;
        let role = Arc::new(connect.role);
        config.custom_setup = Box::new(move |text| {
            let (text, role) = (text.to_owned(), role.clone());
            Box::pin(async move { establish(&text, role.as_deref()).await })
        });
        let manager = AsyncDieselConnectionManager::new_with_config(connect.text, config);
        let pool = Pool::builder(manager)
            .max_size(connect.pool_size)
            .wait_timeout(Some(POOL_WAIT))
            .create_timeout(Some(POOL_WAIT))
            .runtime(deadpool::Runtime::Tokio1)
            .build()
            .map_err(Failure::internal)?;
        Ok(Self { pool, tasks, service })
    }

    async fn connection(&self) -> Result<Object<AsyncPgConnection>, Failure> {
        self.pool.get().await.map_err(|error| {
            Failure::new(Kind::Unavailable, "The database does not answer; nothing was stored.")
                .with_cause(error)
        })
    }

    /// Reads on one connection, outside any transaction.
    pub async fn read<T, F>(&self, name: &'static str, work: F) -> Result<T, Failure>
    where
        F: for<'c> FnOnce(&'c mut AsyncPgConnection) -> Work<'c, T>,
    {
        let begun = monotonic();
        let done = async {
            let mut conn = self.connection().await?;
            work(&mut conn).await
        };
        let answer = done.instrument(traces::of_database(self.service, name)).await;
        telemetry::database(self.service, name, begun.elapsed(), answer.is_ok());
        answer
    }

    /// One transaction in a task of its own: a caller who hangs up cannot cut it in two.
    /// READ COMMITTED; tried again at a deadlock or a serialization failure.
    pub async fn write<T, F>(&self, name: &'static str, work: F) -> Result<T, Failure>
    where
        F: for<'c> Fn(&'c mut AsyncPgConnection) -> Work<'c, T> + Send + Sync + 'static,
        T: Send + 'static,
    {
        self.run(name, work, true).await
    }

    /// One data-modifying statement in a task of its own, in autocommit: the short way for records
    /// that need no other row.
    pub async fn append<T, F>(&self, name: &'static str, statement: F) -> Result<T, Failure>
    where
        F: for<'c> Fn(&'c mut AsyncPgConnection) -> Work<'c, T> + Send + Sync + 'static,
        T: Send + 'static,
    {
        self.run(name, statement, false).await
    }

    async fn run<T, F>(&self, name: &'static str, work: F, whole: bool) -> Result<T, Failure>
    where
        F: for<'c> Fn(&'c mut AsyncPgConnection) -> Work<'c, T> + Send + Sync + 'static,
        T: Send + 'static,
    {
        let db = self.clone();
        let traced = traces::of_database(self.service, name);
        let done = async move {
            let begun = monotonic();
            let answer = db.tries(name, &work, whole).await;
            telemetry::database(db.service, name, begun.elapsed(), answer.is_ok());
            answer
        };
        let task = self.tasks.spawn(done.instrument(traced));
        task.await.unwrap_or_else(|error| Err(Failure::internal(error)))
    }

    async fn tries<T, F>(&self, name: &'static str, work: &F, whole: bool) -> Result<T, Failure>
    where
        F: for<'c> Fn(&'c mut AsyncPgConnection) -> Work<'c, T> + Sync,
    {
        for attempt in 1.. {
            let mut conn = self.connection().await?;
            let answer = match whole {
                true => transaction(&mut conn, work).await,
                false => work(&mut conn).await,
            };
            match answer {
                Err(failure) if may_end_otherwise(&failure, attempt) => {
                    telemetry::retry(self.service, name);
                    drop(conn);
                    // The wait differs between callers by the low bits of the monotonic clock.
                    let spread = u64::from(monotonic().elapsed().subsec_nanos()) + attempt as u64;
                    tokio::time::sleep(Duration::from_millis(1 + spread % JITTER_MAX_MS)).await;
                }
                answer => return answer,
            }
        }
        Err(Failure::internal("the loop of tries has an end"))
    }

    /// True when the database answers and an entry would be accepted.
    pub async fn is_ready(&self) -> bool {
        let probe = self.read("platform.ready", |conn| {
            Box::pin(async move { Ok(conn.batch_execute("SELECT 1").await?) })
        });
        matches!(tokio::time::timeout(Duration::from_secs(2), probe).await, Ok(Ok(())))
    }

    /// Closes the pool: connections go when they are given back.
    pub fn close(&self) {
        self.pool.close();
    }
}

/// A connection outside any pool, for the one job that holds a lock of its session.
pub async fn dedicated(connect: &Connect) -> Result<AsyncPgConnection, Failure> {
    establish(&connect.text, connect.role.as_deref()).await.map_err(|error| {
        Failure::new(Kind::Unavailable, "The database does not answer.").with_cause(error)
    })
}

async fn establish(text: &str, role: Option<&str>) -> Result<AsyncPgConnection, ConnectionError> {
    let refused = |error: tokio_postgres::Error| ConnectionError::BadConnection(error.to_string());
    let (client, connection) = tokio_postgres::connect(text, NoTls).await.map_err(refused)?;
    let mut conn = AsyncPgConnection::try_from_client_and_connection(client, connection).await?;
    let mut setup = SESSION_LIMITS.to_owned();
    if let Some(role) = role {
        setup.push_str(&format!("; SET ROLE {role}"));
    }
    let told = conn.batch_execute(&setup).await;
    told.map_err(|error| ConnectionError::BadConnection(error.to_string()))?;
    Ok(conn)
}

/// Whether a new try may end otherwise. The first does not know of a used ticket whether the same
/// call used it, a moment faster: the second finds the record of that call.
fn may_end_otherwise(failure: &Failure, attempt: u32) -> bool {
    match failure.kind {
        Kind::Contended => attempt < TRIES_MAX,
        Kind::SignatureNeeded => failure.detail == TICKET_USED && attempt == 1,
        _ => false,
    }
}

async fn transaction<T, F>(conn: &mut AsyncPgConnection, work: &F) -> Result<T, Failure>
where
    F: for<'c> Fn(&'c mut AsyncPgConnection) -> Work<'c, T>,
{
    AnsiTransactionManager::begin_transaction(conn).await?;
    match work(conn).await {
        Ok(answer) => {
            // A commit whose answer is lost may have happened: the same id or key tells.
            AnsiTransactionManager::commit_transaction(conn).await?;
            Ok(answer)
        }
        Err(failure) => {
            // The first failure is the one to tell; a broken connection is thrown away.
            AnsiTransactionManager::rollback_transaction(conn).await.ok();
            Err(failure)
        }
    }
}

impl From<DieselError> for Failure {
    fn from(error: DieselError) -> Self {
        let (kind, detail) = match &error {
            DieselError::NotFound => (Kind::NotFound, "There is no such thing."),
            DieselError::DatabaseError(kind, about) => match kind {
                DatabaseErrorKind::UniqueViolation if is_ticket(about.constraint_name()) => {
                    (Kind::SignatureNeeded, TICKET_USED)
                }
                // Another call was faster with the same id or version: a new try sees its row.
                DatabaseErrorKind::SerializationFailure | DatabaseErrorKind::UniqueViolation => {
                    (Kind::Contended, "Others changed the same rows; nothing was stored.")
                }
                DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand => {
                    (Kind::Unavailable, "The database went away; repeat the same call.")
                }
                _ if is_contention(about.message()) => {
                    (Kind::Contended, "Others changed the same rows; nothing was stored.")
                }
                _ if is_outage(about.message()) => {
                    (Kind::Unavailable, "The database went away; repeat the same call.")
                }
                _ => return Self::internal(error),
            },
            _ => return Self::internal(error),
        };
        Self::new(kind, detail).with_cause(error)
    }
}

/// The UNIQUE column `ticket` of a signed record: a ticket is good for one record.
fn is_ticket(constraint: Option<&str>) -> bool {
    constraint.is_some_and(|name| name.ends_with("_ticket_key"))
}

/// Deadlocks and lock time-outs reach us as unknown kinds, told apart by the server's text.
fn is_contention(message: &str) -> bool {
    message.contains("deadlock detected") || message.contains("due to lock timeout")
}

/// What Postgres and its driver say while a server stops, starts or has gone.
fn is_outage(message: &str) -> bool {
    ["terminating connection", "shutting down", "starting up", "connection closed", "recovery mode"]
        .iter()
        .any(|text| message.contains(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use diesel::result::DatabaseErrorInformation;

    struct About(&'static str);

    impl DatabaseErrorInformation for About {
        fn message(&self) -> &str {
            "duplicate key value violates unique constraint"
        }
        fn details(&self) -> Option<&str> {
            None
        }
        fn hint(&self) -> Option<&str> {
            None
        }
        fn table_name(&self) -> Option<&str> {
            None
        }
        fn column_name(&self) -> Option<&str> {
            None
        }
        fn constraint_name(&self) -> Option<&str> {
            Some(self.0)
        }
        fn statement_position(&self) -> Option<i32> {
            None
        }
    }

    #[test]
    fn a_ticket_used_twice_is_told_from_two_who_were_at_once() {
        let failure = |constraint| {
            let about: Box<dyn DatabaseErrorInformation + Send + Sync> =
                Box::new(About(constraint));
            let error = DieselError::DatabaseError(DatabaseErrorKind::UniqueViolation, about);
            Failure::from(error)
        };
        let (used, at_once) = (failure("plan_ticket_key"), failure("plan_pkey"));
        assert_eq!((used.kind, at_once.kind), (Kind::SignatureNeeded, Kind::Contended));
        let tries = |failure| [1, 2, TRIES_MAX].map(|attempt| may_end_otherwise(failure, attempt));
        assert_eq!(tries(&used), [true, false, false], "the same call may have used it");
        assert_eq!(tries(&at_once), [true, true, false]);
        assert_eq!(tries(&Failure::new(Kind::SignatureNeeded, "Sign this.")), [false; 3]);
    }
}
