//! `hankbook serve`: the whole house in one process, from an empty folder to an orderly stop.
//! It never leaves a begun write half done and never leaves Postgres running behind it.

use std::error::Error;
use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use gateway::{Gateway, PageKey, Readiness, RestDoor, RpcDoor};
use jiff::Timestamp;
use platform::caller::Gatekeeper;
use platform::clock::Clock;
use platform::hop::Hops;
use platform::plant::Plant;
use platform::revocation::Revocations;
use platform::tasks::Tasks;
use platform::telemetry;
use platform::tokens::{Signer, Verifier};
use tokio::runtime::{Handle, Runtime};
use tokio::signal::unix::{SignalKind, signal};

use crate::database::{Database, Where};
use crate::folder::Folder;
use crate::services::{Services, Shared};
use crate::{migrate, plant};

type Failed = Box<dyn Error + Send + Sync>;

/// How often a private Postgres is looked at.
const WATCH: Duration = Duration::from_millis(500);

/// Where to keep data and where to listen.
#[derive(Args)]
pub struct Arguments {
    /// The plant's data folder; made where it is missing.
    #[arg(long, env = "HANKBOOK_DATA_DIR", default_value_os_t = Folder::default_path())]
    data_dir: PathBuf,
    /// Where REST listens; port 0 picks one and prints it.
    #[arg(long, env = "HANKBOOK_HTTP", default_value = "127.0.0.1:8080")]
    http: SocketAddr,
    /// Where gRPC listens; port 0 picks one and prints it.
    #[arg(long, env = "HANKBOOK_GRPC", default_value = "127.0.0.1:8081")]
    grpc: SocketAddr,
    /// Run on a simulated clock that starts at this instant: only for a folder made so.
    #[arg(long, value_name = "INSTANT")]
    simulated_clock: Option<Timestamp>,
    /// Whether this process seals the log; `off` is for measuring what sealing costs.
    #[arg(long, env = "HANKBOOK_SEALER", hide = true, default_value = "on")]
    #[arg(value_parser = ["on", "off"])]
    sealer: String,
    #[command(flatten)]
    place: Where,
}

/// A start was refused before anything was touched.
#[derive(Debug, thiserror::Error)]
enum Refused {
    #[error("the contract is not sound:\n  {0}")]
    Contract(String),
    #[error("{0} is not a loopback address: plain text stays on this machine")]
    NotLoopback(SocketAddr),
    #[error("cannot listen on {0}: {1} (choose another port, or 0 for any)")]
    Listen(SocketAddr, std::io::Error),
}

/// Runs until SIGINT or SIGTERM.
pub fn run(arguments: &Arguments) -> Result<(), Failed> {
    let runtime = Runtime::new()?;
    let traces = {
        let _inside = runtime.enter();
        telemetry::start()
    };
    wire::contract::check().map_err(|faults| Refused::Contract(faults.join("\n  ")))?;
    let listeners = (listen(arguments.http)?, listen(arguments.grpc)?);
    let folder = Folder::open(&arguments.data_dir)?;
    let database = Database::open(&arguments.place, &folder)?;
    let house = House {
        folder,
        database: database.clone(),
        clock: arguments.simulated_clock,
        seals: arguments.sealer == "on",
    };
    let served = runtime.block_on(async {
        let handle = Handle::current();
        runtime.spawn(async move { house.serve(listeners, handle).await }).await?
    });
    if let Some(traces) = traces {
        traces.close();
    }
    runtime.shutdown_timeout(Duration::from_secs(5));
    database.stop();
    served
}

fn listen(address: SocketAddr) -> Result<TcpListener, Refused> {
    if !address.ip().is_loopback() {
        return Err(Refused::NotLoopback(address));
    }
    TcpListener::bind(address).map_err(|error| Refused::Listen(address, error))
}

struct House {
    folder: Folder,
    database: Database,
    clock: Option<Timestamp>,
    seals: bool,
}

impl House {
    async fn serve(
        self,
        (http, grpc): (TcpListener, TcpListener),
        runtime: Handle,
    ) -> Result<(), Failed> {
        migrate::migrate(&self.database).await?;
        let clock = plant::clock(&self.database, self.clock).await?;
        let tasks = Tasks::on(runtime.clone());
        let shared = self.shared(clock, tasks.clone())?;
        let services = Services::start(&shared, &self.database).map_err(|f| f.detail)?;
        let password = services.first_password(&shared).await.map_err(|f| f.detail)?;
        let services = Arc::new(services);
        let keeper = shared.keeper.clone();
        let gateway = Gateway {
            hops: shared.hops.clone(),
            keeper: keeper.clone(),
            runtime,
            readiness: readiness(services.clone()),
            plant: shared.plant.clone(),
            tasks: tasks.clone(),
            signer: shared.signer.clone(),
            page_key: PageKey::open_or_create(&self.folder.page_key())?,
        };
        let mut stop = (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?);
        self.watch(&tasks);
        let rpc = gateway::open_rpc(&gateway, grpc, &tasks).await?;
        let rest = gateway::open_rest(gateway, http)?;
        announce(&rest, &rpc, password.as_deref());
        tokio::select! {
            _ = stop.0.recv() => {}
            _ = stop.1.recv() => {}
        }
        tracing::info!("stopping");
        tasks.close();
        tokio::join!(rest.close(), rpc.close());
        tasks.stop().await;
        services.close();
        Ok(())
    }

    fn shared(&self, clock: Clock, tasks: Tasks) -> Result<Shared, Failed> {
        let signer = Arc::new(Signer::open_or_create(&self.folder.token_key())?);
        let verifier = Arc::new(Verifier::new(&[signer.public().clone()], clock.clone())?);
        let revocations = Arc::new(Revocations::default());
        let keeper = Gatekeeper { verifier, revocations, clock: clock.clone() };
        let (hops, plant) = (Hops::default(), Plant::default());
        let (log_key, seals) = (Arc::new(self.folder.log_key()?), self.seals);
        Ok(Shared { clock, plant, tasks, hops, keeper, signer, log_key, seals })
    }

    /// Brings a private Postgres back when it dies, until the stop.
    fn watch(&self, tasks: &Tasks) {
        let (database, watched) = (self.database.clone(), tasks.clone());
        tasks.spawn(async move {
            while !watched.is_stopping() {
                let database = database.clone();
                let looked = tokio::task::spawn_blocking(move || database.keep_alive()).await;
                if looked.is_err() {
                    tracing::error!("the look at Postgres broke");
                }
                tokio::select! {
                    () = tokio::time::sleep(WATCH) => {}
                    () = watched.stopping() => {}
                }
            }
        });
    }
}

fn readiness(services: Arc<Services>) -> Readiness {
    Arc::new(move || {
        let services = services.clone();
        Box::pin(async move { services.not_ready().await })
    })
}

/// The lines that a person and a script read.
fn announce(rest: &RestDoor, rpc: &RpcDoor, first_password: Option<&str>) {
    println!("Hankbook is ready.");
    println!("  REST            http://{}", rest.address);
    println!("  pages           http://{}/", rest.address);
    println!("  gRPC            {}", rpc.address);
    println!("  contract        http://{}/openapi.json", rest.address);
    if let Some(password) = first_password {
        println!("Sign in as administrator with password {password}");
        println!("This is shown once; the password must be changed at the first sign-in.");
    }
    println!("Stop it with Ctrl-C.");
}
