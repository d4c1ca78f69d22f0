//! HACCP: plans, and what is recorded under them.
//! It never decides where a lot goes: it says what is proved about it.

mod rpc;
pub mod schema;
mod shape;
mod store;

use platform::db::Db;
use platform::hop::MESSAGE_MAX;
use platform::service::House;
use tonic::service::Routes;
use wire::v1::haccp_server::HaccpServer;

/// The service's own name.
pub const NAME: &str = "haccp";
/// Its services in the contract.
pub const SERVICES: &[&str] = &["hankbook.v1.Haccp"];
/// Its most connections.
pub const POOL_SIZE: usize = 8;

/// The service with what it needs.
#[derive(Clone)]
pub struct Haccp {
    db: Db,
    house: House,
}

/// The routes of the service.
pub fn routes(db: Db, house: House) -> Routes {
    let service = Haccp { db, house };
    Routes::new(HaccpServer::new(service).max_decoding_message_size(MESSAGE_MAX))
}
