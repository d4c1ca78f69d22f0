//! Calculations over what a caller sends: the shapes around the pure functions of `domain`.
//! It never stores anything and holds no formula or limit of its own.

pub mod agents;
pub mod blend;
pub mod brine;
pub mod composition;
pub mod control_chart;
pub mod convert;
pub mod cook_projection;
pub mod cooling;
pub mod declaration;
pub mod gs1;
pub mod instrument_check;
pub mod kinds;
mod kinetics;
pub mod lethality;
mod masses;
pub mod net_contents;
mod probes;
pub mod psychrometrics;
mod rpc;
pub mod scale;
mod shape;
pub mod shrink;

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
