//! Weighings on the way from the dock to the case, what they say of shrink, and what inputs cost.
//! It never changes what is on hand: the masses of the lot graph are genealogy's.

mod rpc;
pub mod schema;
mod shape;
mod store;

use platform::db::Db;
use platform::hop::MESSAGE_MAX;
use platform::service::House;
use tonic::service::Routes;
use wire::v1::yields_server::YieldsServer;

/// The service's own name.
pub const NAME: &str = "yields";
/// Its services in the contract.
pub const SERVICES: &[&str] = &["hankbook.v1.Yields"];
/// Its most connections.
pub const POOL_SIZE: usize = 4;

/// The service with what it needs.
#[derive(Clone)]
pub struct Yields {
    db: Db,
    house: House,
}

/// The routes of the service.
pub fn routes(db: Db, house: House) -> Routes {
    let service = Yields { db, house };
    Routes::new(YieldsServer::new(service).max_decoding_message_size(MESSAGE_MAX))
}
