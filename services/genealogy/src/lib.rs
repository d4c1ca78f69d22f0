//! The lot graph with the partners and places that it names.
//! It never judges whether a lot is safe: it asks haccp and formulas.

mod rpc;
pub mod schema;
mod shape;
mod store;

use platform::db::Db;
use platform::hop::MESSAGE_MAX;
use platform::service::House;
use tonic::service::Routes;
use wire::v1::genealogy_server::GenealogyServer;

/// The service's own name.
pub const NAME: &str = "genealogy";
/// Its services in the contract.
pub const SERVICES: &[&str] = &["hankbook.v1.Genealogy"];
/// Its most connections.
pub const POOL_SIZE: usize = 6;

/// The service with what it needs.
#[derive(Clone)]
pub struct Genealogy {
    db: Db,
    house: House,
}

/// The routes of the service.
pub fn routes(db: Db, house: House) -> Routes {
    let service = Genealogy { db, house };
    Routes::new(GenealogyServer::new(service).max_decoding_message_size(MESSAGE_MAX))
}
