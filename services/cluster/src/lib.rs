//! Launches the private Postgres of an embedded Hankbook: finds it, makes it, starts and stops it.
//! It never opens a network port, never upgrades data and never shares a folder with anything.
//!
//! A cluster lives in `postgres` inside Hankbook's data folder: the link `bin` to the programs in
//! use, the settings written at every start, `data`, `log` (seven files, one a weekday) and `run`
//! with the socket. All calls block; call them from a thread that may.

mod account;
mod config;
mod deadline;
mod error;
mod folder;
mod initialise;
mod leftovers;
mod log;
mod programs;
mod server;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::thread::sleep;
use std::time::Duration;

use nix::sys::signal::Signal;

use crate::account::{Account, clean_command, said};
use crate::deadline::Deadline;
use crate::folder::{Claim, Folder};
use crate::programs::{Programs, Search};
use crate::server::Server;

pub use crate::error::{ClusterError, VersionMismatch};
pub use crate::programs::download_folder;

/// The role that owns the cluster and may do everything in it.
pub const SUPERUSER: &str = "hankbook";

/// How long a server that lives may take to become ready: recovery after a crash takes its time,
/// and cutting it short would only begin it again.
const READY_LIMIT: Duration = Duration::from_secs(600);

/// How a server ends that has shut down cleanly.
const CLEAN_END: &str = "exit status: 0";

/// What to start, and where.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Hankbook's data folder; made if missing. Root makes it 0711, so that the user Postgres runs
    /// as can pass through; keep what is secret in folders of mode 0700 inside it.
    pub data_dir: PathBuf,
    /// Folder of server programs named by the operator (HANKBOOK_PG_BIN).
    pub binaries: Option<PathBuf>,
    /// System user named by the operator to run Postgres as when we are root (HANKBOOK_PG_USER).
    pub system_user: Option<String>,
    /// Roles besides [`SUPERUSER`] that a connection may name; they need not exist yet.
    pub roles: Vec<String>,
    /// False only in tests: no fsync, so the data survives a killed server but not a machine that
    /// stops.
    pub durable: bool,
    /// How many connections the server accepts.
    pub max_connections: u16,
}

impl Settings {
    /// Settings for a plant's data: durable, 100 connections, no further role.
    pub fn new(data_dir: impl Into<PathBuf>) -> Self {
        Self {
            data_dir: data_dir.into(),
            binaries: None,
            system_user: None,
            roles: Vec::new(),
            durable: true,
            max_connections: 100,
        }
    }

    /// Settings for a cluster whose data may be lost: fast, for tests only. When the tests run as
    /// root, the folders above `data_dir` must be searchable by everybody.
    pub fn for_tests(data_dir: impl Into<PathBuf>) -> Self {
        Self { durable: false, ..Self::new(data_dir) }
    }
}

/// A running private Postgres. Dropping it stops the server; the death of this process does too.
#[derive(Debug)]
pub struct Cluster {
    settings: Settings,
    folder: Folder,
    programs: Programs,
    account: Account,
    /// The server started last.
    server: Mutex<Option<Server>>,
    /// Held while the server is started or stopped.
    turn: Mutex<()>,
    /// Set once, when the cluster is stopped for good.
    stopped: AtomicBool,
    /// Given up last, when the server is gone.
    _claim: Claim,
}

impl Cluster {
    /// Takes the data folder, makes the cluster if there is none, starts it, and returns when a
    /// connection answers.
    ///
    /// # Errors
    /// Every variant of [`ClusterError`] but `NotClean` and `Stopped`. When the folder is in use,
    /// holds something else, or was made by another major version, nothing in it is changed.
    pub fn start(settings: Settings) -> Result<Self, ClusterError> {
        settings.roles.iter().try_for_each(|role| config::check_name(role))?;
        let launcher = account::launcher()?;
        let (folder, claim) = Folder::claim(&settings.data_dir)?;
        let data_major = folder.major()?;
        let existing = folder.existing()?;
        let account =
            Account::choose(launcher, settings.system_user.as_deref(), existing.as_ref())?;
        if let Some(data) = &existing {
            account.check_owner(&folder.data, data)?;
        }
        let recorded = folder.recorded_programs();
        let search = Search { recorded, named: settings.binaries.as_deref(), data_major };
        let programs = Programs::find(&search, &account)?;
        check_major(&folder, data_major, &programs)?;

        folder.prepare(&account)?;
        config::write(&folder, &settings, &account)?;
        if data_major.is_none() {
            initialise::initialise(&folder, &programs, &account, settings.durable)?;
        }
        folder.record_programs(&programs.folder)?;
        let cluster = Self {
            settings,
            folder,
            programs,
            account,
            server: Mutex::new(None),
            turn: Mutex::new(()),
            stopped: AtomicBool::new(false),
            _claim: claim,
        };
        cluster.launch()?;
        Ok(cluster)
    }

    /// Folder of the server's socket.
    #[must_use]
    pub fn socket_dir(&self) -> &Path {
        &self.folder.socket
    }

    /// Folder of the server's log files.
    #[must_use]
    pub fn log_dir(&self) -> &Path {
        &self.folder.log
    }

    /// Folder of the programs in use, among them `psql`, `pg_dump` and `pg_basebackup`.
    #[must_use]
    pub fn programs_dir(&self) -> &Path {
        &self.programs.folder
    }

    /// Major version of the server.
    #[must_use]
    pub fn major_version(&self) -> u32 {
        self.programs.major
    }

    /// Name of the system user the server runs as.
    #[must_use]
    pub fn system_user(&self) -> &str {
        &self.account.name
    }

    /// Process id of the server started last.
    #[must_use]
    pub fn server_pid(&self) -> Option<i32> {
        self.server().as_ref().map(Server::pid)
    }

    /// A connection string, in the keyword form every Postgres client reads, for one of the roles
    /// named in the settings or [`SUPERUSER`].
    #[must_use]
    pub fn connection_string(&self, role: &str, database: &str) -> String {
        let host = self.folder.socket.to_string_lossy();
        let quoted = |value: &str| value.replace('\\', "\\\\").replace('\'', "\\'");
        let (host, role, database) = (quoted(&host), quoted(role), quoted(database));
        let port = config::PORT;
        format!("host='{host}' port={port} user='{role}' dbname='{database}'")
    }

    /// Makes an empty database owned by [`SUPERUSER`] if there is none of that name; true if new.
    ///
    /// # Errors
    /// `NotPlainName`, `NotAnswering`, or `Io` when `psql` does not run.
    pub fn ensure_database(&self, name: &str) -> Result<bool, ClusterError> {
        config::check_name(name)?;
        let found = self.query(&format!("select 1 from pg_database where datname = '{name}'"))?;
        if found == "1" {
            return Ok(false);
        }
        self.query(&format!("create database {name}")).map(|_| true)
    }

    /// Whether the server process lives; false after a crash, and for good after [`Self::stop`].
    #[must_use]
    pub fn is_running(&self) -> bool {
        self.server().as_ref().is_some_and(|server| server.ended().is_none())
    }

    /// Starts the server again after it died, and returns when a connection answers; does nothing
    /// while it runs. Not to be tried in a tight loop: a server that dies at once will do so again.
    ///
    /// # Errors
    /// `Stopped` after [`Self::stop`], else as [`Self::start`].
    pub fn restart(&self) -> Result<(), ClusterError> {
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        if self.is_running() { Ok(()) } else { self.launch() }
    }

    /// Stops the server for good: open transactions are rolled back and a checkpoint is written;
    /// after 30 s without an end it is stopped hard. A second call does nothing.
    ///
    /// # Errors
    /// `NotClean` when the server had died before or had to be stopped hard. It is gone then too,
    /// and nothing acknowledged is lost: the next start recovers.
    pub fn stop(&self) -> Result<(), ClusterError> {
        self.stopped.store(true, Ordering::SeqCst);
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(server) = self.server().take() else { return Ok(()) };
        match server.stop() {
            (Some(Signal::SIGINT), status) if status == CLEAN_END => Ok(()),
            (Some(signal), status) => {
                Err(ClusterError::NotClean { how: format!("it needed {signal}: {status}") })
            }
            (None, status) => Err(ClusterError::NotClean { how: status }),
        }
    }

    /// Starts the server and waits until it answers. Ends it again when that fails.
    fn launch(&self) -> Result<(), ClusterError> {
        leftovers::end(&self.folder.data, &self.account)?;
        self.folder.remove_stale_socket()?;
        let program = self.programs.path("postgres");
        let mut command = self.account.tied_command(&program);
        command.args(config::server_arguments(&self.folder, self.settings.durable));
        let log = log::open_start_log(&self.folder)?;
        let copy = log.try_clone().map_err(ClusterError::io("write", &self.folder.root))?;
        command.stdout(copy).stderr(log);
        set_apart(&mut command);
        let server = Server::launch(command).map_err(ClusterError::io("run", &program))?;
        *self.server() = Some(server.clone());
        let ready = self.wait_ready(&server);
        if ready.is_err() {
            let _how = server.stop();
        }
        ready
    }

    fn wait_ready(&self, server: &Server) -> Result<(), ClusterError> {
        let deadline = Deadline::after(READY_LIMIT);
        while !self.says_ready(server) {
            if let Some(status) = server.ended() {
                let log = log::tail(&self.folder);
                return Err(ClusterError::DidNotStart { status, log });
            }
            if self.stopped.load(Ordering::SeqCst) {
                return Err(ClusterError::Stopped);
            }
            if deadline.is_over() {
                let log = log::tail(&self.folder);
                return Err(ClusterError::NotReady { waited_s: READY_LIMIT.as_secs(), log });
            }
            sleep(Duration::from_millis(5));
        }
        self.query("select 1").map(|_| ())
    }

    /// Whether the server has written in its own file that it accepts connections: the first line
    /// is its process id, the eighth its state.
    fn says_ready(&self, server: &Server) -> bool {
        let text = fs::read_to_string(self.folder.data.join("postmaster.pid")).unwrap_or_default();
        let mut lines = text.lines().map(str::trim);
        let pid = lines.next().and_then(|line| line.parse().ok());
        pid == Some(server.pid()) && lines.nth(6) == Some("ready")
    }

    /// Runs one statement as [`SUPERUSER`], on the way our own connections take.
    fn query(&self, statement: &str) -> Result<String, ClusterError> {
        let program = self.programs.path("psql");
        let mut command = clean_command(&program);
        command.env("PGCONNECT_TIMEOUT", "10").args(["-X", "-w", "-A", "-t", "-q", "-c"]);
        command.arg(statement).arg(self.connection_string(SUPERUSER, "postgres"));
        let output = command.output().map_err(ClusterError::io("run", &program))?;
        if output.status.success() {
            return Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned());
        }
        Err(ClusterError::NotAnswering { statement: statement.to_owned(), output: said(&output) })
    }

    fn server(&self) -> MutexGuard<'_, Option<Server>> {
        self.server.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        // Nobody is left to tell; the next start recovers from a hard stop.
        let _how = self.stop();
    }
}

/// Puts the server in a process group of its own, so that Ctrl-C on a terminal reaches us alone
/// and the services can finish with their database still there.
fn set_apart(command: &mut std::process::Command) {
    std::os::unix::process::CommandExt::process_group(command, 0);
}

fn check_major(
    folder: &Folder,
    data_major: Option<u32>,
    programs: &Programs,
) -> Result<(), ClusterError> {
    let Some(data_major) = data_major.filter(|major| *major != programs.major) else {
        return Ok(());
    };
    Err(ClusterError::VersionMismatch(VersionMismatch {
        cluster_folder: folder.root.clone(),
        socket_dir: folder.socket.clone(),
        data_major,
        programs: programs.folder.clone(),
        programs_major: programs.major,
    }))
}
