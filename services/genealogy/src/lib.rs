//! The lot graph with the partners and places that it names.
//! It never judges whether a lot is safe: it asks haccp and formulas.

mod rpc;
pub mod schema;
mod shape;
mod store;

use platform::db::Db;
use platform::hop::{INTERNAL_MESSAGE_MAX, MESSAGE_MAX};
use platform::idempotency;
use platform::outbox::Outbox;
use platform::service::House;
use tonic::service::Routes;
use wire::internal::v1::genealogy_internal_server::GenealogyInternalServer;
use wire::v1::genealogy_server::GenealogyServer;
use wire::v1::making_server::MakingServer;
use wire::v1::shipping_server::ShippingServer;

/// The service's own name.
pub const NAME: &str = "genealogy";
/// Its services in the contract.
pub const SERVICES: &[&str] = &[
    "hankbook.v1.Genealogy",
    "hankbook.v1.Making",
    "hankbook.v1.Shipping",
    "hankbook.internal.v1.GenealogyInternal",
];
/// Its most connections.
pub const POOL_SIZE: usize = 6;

/// The service with what it needs.
#[derive(Clone)]
pub struct Genealogy {
    db: Db,
    house: House,
    /// What is owed to haccp.
    outbox: Outbox,
}

/// The routes of the service; what it owes others is delivered from now on.
pub fn routes(db: Db, house: House) -> Routes {
    let outbox = Outbox::new(NAME, db.clone());
    outbox.start(&house);
    idempotency::prune(NAME, db.clone(), &house);
    let service = Genealogy { db, house, outbox };
    let internal = GenealogyInternalServer::new(service.clone());
    let making = MakingServer::new(service.clone());
    let shipping = ShippingServer::new(service.clone());
    Routes::new(GenealogyServer::new(service).max_decoding_message_size(MESSAGE_MAX))
        .add_service(making.max_decoding_message_size(MESSAGE_MAX))
        .add_service(shipping.max_decoding_message_size(MESSAGE_MAX))
        .add_service(internal.max_decoding_message_size(INTERNAL_MESSAGE_MAX))
}
