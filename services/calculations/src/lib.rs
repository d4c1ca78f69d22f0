//! Calculations over what a caller sends: the shapes around the pure functions of `domain`.
//! It never stores anything and holds no formula or limit of its own.

pub mod convert;
pub mod cooling;
pub mod kinds;
mod kinetics;
pub mod lethality;
mod probes;
mod rpc;
mod shape;

use platform::hop::MESSAGE_MAX;
use tonic::service::Routes;
use wire::v1::calculations_server::CalculationsServer;

/// Its services in the contract.
pub const SERVICES: &[&str] = &["hankbook.v1.Calculations"];

/// The routes of the service.
pub fn routes() -> Routes {
    let service = CalculationsServer::new(rpc::Calculations);
    Routes::new(service.max_decoding_message_size(MESSAGE_MAX))
}
