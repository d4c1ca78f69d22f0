//! The one front door: pages, REST and gRPC over the same hops, derived from the contract.
//! It holds no business rule and no database code.

mod answer;
mod door;
mod openapi;
mod page_door;
mod pages;
mod problem;
mod request;
mod routes;
mod rpc_door;
mod stream;
mod upload;

use std::sync::Arc;

use futures_util::future::BoxFuture;
use platform::caller::Gatekeeper;
use platform::hop::Hops;
use platform::plant::Plant;
use platform::tasks::Tasks;
use platform::tokens::Signer;
use tokio::runtime::Handle;

pub use door::{RestDoor, open as open_rest};
pub use openapi::document as openapi;
pub use pages::{Key as PageKey, PAGES};
pub use rpc_door::{RpcDoor, open as open_rpc};

/// The name by which the gateway asks for itself.
pub const NAME: &str = "gateway";

/// Says why an entry would not be accepted now; empty when it would.
pub type Readiness = Arc<dyn Fn() -> BoxFuture<'static, Vec<String>> + Send + Sync>;

/// What both doors need.
#[derive(Clone)]
pub struct Gateway {
    /// The way to every service.
    pub hops: Hops,
    /// Refuses early what a service would refuse anyway.
    pub keeper: Gatekeeper,
    /// The one runtime on which services work.
    pub runtime: Handle,
    /// Whether an entry would be accepted.
    pub readiness: Readiness,
    /// The plant's settings in force.
    pub plant: Plant,
    /// Answers without an end finish when these close.
    pub tasks: Tasks,
    /// Signs the tokens by which the gateway asks for itself.
    pub signer: Arc<Signer>,
    /// Seals what browsers keep.
    pub page_key: PageKey,
}
