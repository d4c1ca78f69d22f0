//! HACCP: plans, and what is recorded under them.
//! It never decides where a lot goes: it says what is proved about it.

mod judged;
mod plans;
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
use wire::internal::v1::haccp_internal_server::HaccpInternalServer;
use wire::v1::cooking_server::CookingServer;
use wire::v1::files_server::FilesServer;
use wire::v1::haccp_server::HaccpServer;
use wire::v1::verification_server::VerificationServer;

/// The service's own name.
pub const NAME: &str = "haccp";
/// Its services in the contract.
pub const SERVICES: &[&str] = &[
    "hankbook.v1.Haccp",
    "hankbook.v1.Cooking",
    "hankbook.v1.Verification",
    "hankbook.v1.Files",
    "hankbook.internal.v1.HaccpInternal",
];
/// Its most connections.
pub const POOL_SIZE: usize = 8;

/// The service with what it needs.
#[derive(Clone)]
pub struct Haccp {
    db: Db,
    house: House,
    outbox: Outbox,
    plans: plans::Versions,
    judged: judged::Judged,
}

/// The routes of the service; its outbox starts with it.
pub fn routes(db: Db, house: House) -> Routes {
    let outbox = Outbox::new(NAME, db.clone());
    outbox.start(&house);
    idempotency::prune(NAME, db.clone(), &house);
    let plans = plans::Versions::default();
    let service = Haccp { db, house, outbox, plans, judged: judged::Judged::default() };
    let inner = HaccpInternalServer::new(service.clone());
    let cooking = CookingServer::new(service.clone());
    let files = FilesServer::new(service.clone());
    let verification = VerificationServer::new(service.clone());
    Routes::new(HaccpServer::new(service).max_decoding_message_size(MESSAGE_MAX))
        .add_service(cooking.max_decoding_message_size(MESSAGE_MAX))
        .add_service(files.max_decoding_message_size(MESSAGE_MAX))
        .add_service(verification.max_decoding_message_size(MESSAGE_MAX))
        .add_service(inner.max_decoding_message_size(INTERNAL_MESSAGE_MAX))
}
