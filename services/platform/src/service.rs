//! What every service is handed at its start: clock, tasks, hops, the gate and the plant's key.
//! It never names a service: the binary decides which run in this process.

use std::sync::Arc;

use crate::caller::Gatekeeper;
use crate::clock::Clock;
use crate::error::Failure;
use crate::hop::{Hop, Hops};
use crate::plant::Plant;
use crate::tasks::Tasks;
use crate::tickets::Tickets;
use crate::tokens::Signer;

/// The house as one service sees it.
#[derive(Clone)]
pub struct House {
    /// The name of the service: `haccp`.
    pub service: &'static str,
    /// The plant's clock.
    pub clock: Clock,
    /// The plant's settings in force.
    pub plant: Plant,
    /// Work that outlives its caller.
    pub tasks: Tasks,
    /// The way to every service.
    pub hops: Hops,
    /// The gate in front of every route.
    pub keeper: Gatekeeper,
    /// Redeems signature tickets.
    pub tickets: Tickets,
    /// Signs the tokens by which services call each other.
    pub signer: Arc<Signer>,
}

impl House {
    /// A hop on which this service calls another one for itself.
    pub fn hop_for_service(&self, path: &str) -> Result<Hop, Failure> {
        self.hops.for_service(path, (self.service, &self.signer, &self.clock))
    }
}
