//! Materials, products, labels, formulas, batch sheets, kits, and the judgement of a batch.
//! It never overrides a limit, and never keeps what is on hand: it asks genealogy.

mod book;
mod judge;
mod rpc;
pub mod schema;
mod shape;
mod store;

use book::Book;
use platform::db::Db;
use platform::error::Failure;
use platform::hop::{INTERNAL_MESSAGE_MAX, MESSAGE_MAX};
use platform::idempotency;
use platform::outbox::Outbox;
use platform::service::House;
use store::book::Wanted;
use tonic::service::Routes;
use wire::internal::v1::formulas_internal_server::FormulasInternalServer;
use wire::v1::batching_server::BatchingServer;
use wire::v1::formulas_server::FormulasServer;

/// The service's own name.
pub const NAME: &str = "formulas";
/// Its services in the contract.
pub const SERVICES: &[&str] =
    &["hankbook.v1.Formulas", "hankbook.v1.Batching", "hankbook.internal.v1.FormulasInternal"];
/// Its most connections.
pub const POOL_SIZE: usize = 4;

/// The service with what it needs.
#[derive(Clone)]
pub struct Formulas {
    db: Db,
    house: House,
}

impl Formulas {
    /// What is known of all that is wanted, read by itself under a name for metrics.
    async fn book(&self, name: &'static str, wanted: Wanted) -> Result<Book, Failure> {
        let rows = self
            .db
            .read(name, |conn| Box::pin(async move { store::book::read(conn, &wanted).await }));
        shape::book::book(rows.await?)
    }
}

/// The routes of the service.
pub fn routes(db: Db, house: House) -> Routes {
    Outbox::new(NAME, db.clone()).start(&house);
    idempotency::prune(NAME, db.clone(), &house);
    let service = Formulas { db, house };
    let batching = BatchingServer::new(service.clone());
    let internal = FormulasInternalServer::new(service.clone());
    Routes::new(FormulasServer::new(service).max_decoding_message_size(MESSAGE_MAX))
        .add_service(batching.max_decoding_message_size(MESSAGE_MAX))
        .add_service(internal.max_decoding_message_size(INTERNAL_MESSAGE_MAX))
}
