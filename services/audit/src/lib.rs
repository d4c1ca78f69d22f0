//! The sealed log: leaves in their order, the tree over them, signed heads, proofs and bundles.
//! It never changes an entry and never seals anything that it has not read from the database.

pub mod bundle;
pub mod check;
pub mod note;
pub mod proofs;
mod rpc;
pub mod schema;
mod sealer;
mod shape;
mod store;
pub mod verify;

use std::sync::Arc;

use platform::db::{Connect, Db};
use platform::hop::{INTERNAL_MESSAGE_MAX, MESSAGE_MAX};
use platform::service::House;
use tokio::sync::watch;
use tonic::service::Routes;
use wire::internal::v1::audit_internal_server::AuditInternalServer;
use wire::v1::audit_server::AuditServer;

pub use sealer::{LogKey, STEPS};

/// The service's own name.
pub const NAME: &str = "audit";
/// Its services in the contract.
pub const SERVICES: &[&str] = &["hankbook.v1.Audit", "hankbook.internal.v1.AuditInternal"];
/// Its most connections, beside the one of the sealer.
pub const POOL_SIZE: usize = 4;

/// The service with what it needs.
#[derive(Clone)]
pub struct Audit {
    db: Db,
    house: House,
    /// The key that signs heads and bundles.
    key: Arc<LogKey>,
    /// How many leaves the newest checkpoint covers.
    sealed: watch::Receiver<u64>,
}

/// What the service needs beside a pool.
pub struct Sealing {
    /// How the sealer connects, outside the pool.
    pub connect: Connect,
    /// The key of the log.
    pub key: Arc<LogKey>,
    /// False: this process leaves sealing to others.
    pub is_on: bool,
}

/// The routes of the service; leaves are sealed from now on.
pub fn routes(db: Db, house: House, sealing: Sealing) -> Routes {
    let (told, sealed) = watch::channel(0);
    let Sealing { connect, key, is_on: seals } = sealing;
    sealer::Sealer { house: house.clone(), connect, key: key.clone(), seals, told }.start();
    let service = Audit { db, house, key, sealed };
    let inner = AuditInternalServer::new(service.clone());
    Routes::new(AuditServer::new(service).max_decoding_message_size(MESSAGE_MAX))
        .add_service(inner.max_decoding_message_size(INTERNAL_MESSAGE_MAX))
}
