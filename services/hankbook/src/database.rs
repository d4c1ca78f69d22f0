//! Which Postgres a process uses: its own in the data folder, or the one that DATABASE_URL names.
//! It never opens a connection for a service: it says as whom each connects.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use cluster::{Cluster, SUPERUSER, Settings};
use platform::db::Connect;

use crate::folder::Folder;

/// The name of a plant's database.
const DATABASE: &str = "hankbook";
/// The most connections of a private cluster.
const CONNECTIONS_MAX: u16 = 100;
/// The services that have a schema.
pub const SERVICES: [&str; 6] = ["audit", "formulas", "genealogy", "haccp", "identity", "yields"];

/// Where Postgres is.
#[derive(Args, Clone, Debug)]
pub struct Where {
    /// Use this Postgres (a libpq connection text or URL) and start none. Its user must be a
    /// member of every hankbook_* role; DATABASE_URL_HACCP and so on give a service its own.
    #[arg(long, env = "DATABASE_URL", hide_env_values = true)]
    database_url: Option<String>,
    /// Folder with the server programs (initdb, postgres) for a private Postgres.
    #[arg(long, env = "HANKBOOK_PG_BIN")]
    postgres_bin: Option<PathBuf>,
    /// System user as whom a private Postgres runs when started by root.
    #[arg(long, env = "HANKBOOK_PG_USER")]
    postgres_user: Option<String>,
}

/// The Postgres of a process.
#[derive(Clone)]
pub enum Database {
    /// A private cluster, stopped with the process.
    Private(Arc<Cluster>),
    /// Somebody else's, by connection text.
    Named(String),
}

impl Database {
    /// Starts the private cluster, or takes the one that is named. Blocks.
    pub fn open(place: &Where, folder: &Folder) -> Result<Self, Box<dyn Error + Send + Sync>> {
        if let Some(url) = &place.database_url {
            return Ok(Self::Named(url.clone()));
        }
        let cluster = Cluster::start(Settings {
            binaries: place.postgres_bin.clone(),
            system_user: place.postgres_user.clone(),
            roles: SERVICES.iter().map(|name| format!("hankbook_{name}")).collect(),
            max_connections: CONNECTIONS_MAX,
            ..Settings::new(folder.path())
        })?;
        cluster.ensure_database(DATABASE)?;
        Ok(Self::Private(Arc::new(cluster)))
    }

    /// As [`Self::open`], but refuses a folder in which no plant was ever made.
    pub fn open_made(place: &Where, data: &Path) -> Result<Self, Box<dyn Error + Send + Sync>> {
        if let Some(url) = &place.database_url {
            return Ok(Self::Named(url.clone()));
        }
        if !data.join("postgres").join("data").join("PG_VERSION").exists() {
            return Err(format!("there is no plant in {}", data.display()).into());
        }
        Self::open(place, &Folder::open(data)?)
    }

    /// As whom the schema is changed.
    pub fn migrator(&self) -> String {
        match self {
            Self::Private(cluster) => cluster.connection_string(SUPERUSER, DATABASE),
            Self::Named(url) => url.clone(),
        }
    }

    /// As whom a service connects.
    pub fn connect(&self, service: &str, pool_size: usize) -> Connect {
        let role = format!("hankbook_{service}");
        let own = std::env::var(format!("DATABASE_URL_{}", service.to_uppercase()));
        match (self, own) {
            (Self::Private(cluster), _) => {
                let text = cluster.connection_string(&role, DATABASE);
                Connect { text, role: None, pool_size }
            }
            (Self::Named(_), Ok(text)) => Connect { text, role: None, pool_size },
            (Self::Named(url), Err(_)) => {
                Connect { text: url.clone(), role: Some(role), pool_size }
            }
        }
    }

    /// Brings a private cluster back when its server has died. Blocks.
    pub fn keep_alive(&self) {
        let Self::Private(cluster) = self else { return };
        if cluster.is_running() {
            return;
        }
        tracing::error!("Postgres has died and is started again");
        if let Err(error) = cluster.restart() {
            tracing::error!(%error, "Postgres could not be started again");
        }
    }

    /// Stops a private cluster. Blocks.
    pub fn stop(&self) {
        if let Self::Private(cluster) = self
            && let Err(error) = cluster.stop()
        {
            tracing::error!(%error, "Postgres did not stop cleanly");
        }
    }
}
