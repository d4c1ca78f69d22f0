//! Who works here and on what terms: people, stations, sessions, signatures, plant settings.
//! It never decides what a role may do: the contract says that, and every service enforces it.

mod first;
mod password;
mod rpc;
pub mod schema;
mod shape;
mod store;

use std::sync::Arc;

use platform::db::Db;
use platform::hop::{INTERNAL_MESSAGE_MAX, MESSAGE_MAX};
use platform::service::House;
use tokio::sync::Notify;
use tonic::service::Routes;
use wire::internal::v1::identity_internal_server::IdentityInternalServer;
use wire::v1::identity_server::IdentityServer;

pub use first::first_administrator;

/// The service's own name.
pub const NAME: &str = "identity";
/// Its services in the contract.
pub const SERVICES: &[&str] = &["hankbook.v1.Identity", "hankbook.internal.v1.IdentityInternal"];
/// Its most connections.
pub const POOL_SIZE: usize = 4;

/// The service with what it needs.
#[derive(Clone)]
pub struct Identity {
    db: Db,
    house: House,
    hasher: password::Hasher,
    /// Wakes the streams that tell other processes what has changed.
    changed: Arc<Notify>,
}

/// The routes of the service.
pub fn routes(db: Db, house: House) -> Routes {
    rpc::watch::start_pruning(&db, &house);
    platform::idempotency::prune(NAME, db.clone(), &house);
    let service =
        Identity { db, house, hasher: password::Hasher::default(), changed: Arc::default() };
    let internal = IdentityInternalServer::new(service.clone());
    Routes::new(IdentityServer::new(service).max_decoding_message_size(MESSAGE_MAX))
        .add_service(internal.max_decoding_message_size(INTERNAL_MESSAGE_MAX))
}
