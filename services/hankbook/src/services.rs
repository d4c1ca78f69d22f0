//! The services of a process, each with its own role, pool and hop.
//! It never lets one service see another: they meet on hops alone.

use std::collections::HashMap;
use std::sync::Arc;

use platform::caller::Gatekeeper;
use platform::clock::Clock;
use platform::db::Db;
use platform::error::Failure;
use platform::hop::{Hop, Hops};
use platform::plant::Plant;
use platform::revocation::Revocations;
use platform::server;
use platform::service::House;
use platform::tasks::Tasks;
use platform::tickets::Tickets;
use platform::tokens::Signer;
use platform::watch;
use tonic::service::Routes;

use crate::clock_check::ClockCheck;
use crate::database::Database;

/// What all services of a process share.
#[derive(Clone)]
pub struct Shared {
    pub clock: Clock,
    pub plant: Plant,
    pub tasks: Tasks,
    pub hops: Hops,
    pub keeper: Gatekeeper,
    pub signer: Arc<Signer>,
    /// The key of the sealed log.
    pub log_key: Arc<audit::LogKey>,
    /// Whether this process seals.
    pub seals: bool,
}

impl Shared {
    fn house(&self, service: &'static str) -> House {
        House {
            service,
            clock: self.clock.clone(),
            plant: self.plant.clone(),
            tasks: self.tasks.clone(),
            hops: self.hops.clone(),
            keeper: self.keeper.clone(),
            tickets: Tickets::of(self.keeper.verifier.clone()),
            signer: self.signer.clone(),
        }
    }
}

/// The services that run in this process.
pub struct Services {
    /// Their pools, by name, for readiness and for the stop.
    pub pools: Vec<(&'static str, Db)>,
    /// What was heard of identity.
    revocations: Arc<Revocations>,
    clocks: ClockCheck,
}

impl Services {
    /// Builds every service and fills the table of hops.
    pub fn start(shared: &Shared, database: &Database) -> Result<Self, Failure> {
        let mut started = Starting { shared, database, hops: HashMap::new(), pools: Vec::new() };
        started.add_pure(calculations::SERVICES, calculations::routes());
        started.add((formulas::NAME, formulas::POOL_SIZE), formulas::SERVICES, formulas::routes)?;
        let sealing = audit::Sealing {
            connect: database.connect(audit::NAME, 1),
            key: shared.log_key.clone(),
            is_on: shared.seals,
        };
        started.add((audit::NAME, audit::POOL_SIZE), audit::SERVICES, |db, house| {
            audit::routes(db, house, sealing)
        })?;
        started.add(
            (genealogy::NAME, genealogy::POOL_SIZE),
            genealogy::SERVICES,
            genealogy::routes,
        )?;
        started.add((haccp::NAME, haccp::POOL_SIZE), haccp::SERVICES, haccp::routes)?;
        started.add((identity::NAME, identity::POOL_SIZE), identity::SERVICES, identity::routes)?;
        started.add((yields::NAME, yields::POOL_SIZE), yields::SERVICES, yields::routes)?;
        shared.hops.fill(started.hops);
        watch::start(&shared.house(gateway::NAME));
        let clocks = ClockCheck::default();
        if let Some((_, db)) = started.pools.first() {
            clocks.start(db.clone(), shared.clock.clone(), &shared.tasks);
        }
        let revocations = shared.keeper.revocations.clone();
        Ok(Self { pools: started.pools, revocations, clocks })
    }

    /// The one-time password of the first administrator, at the first start of a plant.
    pub async fn first_password(&self, shared: &Shared) -> Result<Option<String>, Failure> {
        let own = self.pools.iter().find(|(name, _)| *name == identity::NAME);
        match own {
            Some((name, db)) => identity::first_administrator(db, &shared.house(name)).await,
            None => Ok(None),
        }
    }

    /// Why an entry would not be accepted now.
    pub async fn not_ready(&self) -> Vec<String> {
        let mut reasons = Vec::new();
        if !self.revocations.was_heard() {
            reasons.push("Identity was not heard yet.".to_owned());
        }
        for (name, db) in &self.pools {
            if !db.is_ready().await {
                reasons.push(format!("The database does not answer to {name}."));
            }
        }
        reasons.extend(self.clocks.fault());
        reasons
    }

    /// Closes the pools once all work is done.
    pub fn close(&self) {
        self.pools.iter().for_each(|(_, db)| db.close());
    }
}

struct Starting<'s> {
    shared: &'s Shared,
    database: &'s Database,
    hops: HashMap<&'static str, Hop>,
    pools: Vec<(&'static str, Db)>,
}

impl Starting<'_> {
    fn add_pure(&mut self, names: &'static [&'static str], routes: Routes) {
        let hop = server::in_memory(routes, self.shared.keeper.clone());
        self.hops.extend(names.iter().map(|name| (*name, hop.clone())));
    }

    fn add(
        &mut self,
        (name, pool_size): (&'static str, usize),
        names: &'static [&'static str],
        routes: impl FnOnce(Db, House) -> Routes,
    ) -> Result<(), Failure> {
        let connect = self.database.connect(name, pool_size);
        let db = Db::new(name, connect, self.shared.tasks.clone())?;
        self.pools.push((name, db.clone()));
        self.add_pure(names, routes(db, self.shared.house(name)));
        Ok(())
    }
}
