//! Every way a private Postgres can fail to start, in words an operator can act on.
//! It never decides anything: it only names the folder, the user and the next step.

use std::io;
use std::path::{Path, PathBuf};

/// Why the cluster could not be started, answered for, or stopped cleanly.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClusterError {
    /// No usable Postgres server programs anywhere.
    #[error(
        "no Postgres of major version 15 or newer was found; install it with \
         `apt-get install postgresql`, or run `deploy/run`, which fetches one into {download}; \
         an existing one is named by HANKBOOK_PG_BIN",
        download = download.display()
    )]
    NoPrograms {
        /// Folder into which the start script unpacks a fetched server.
        download: PathBuf,
    },
    /// The folder of programs named by the operator lacks one of them.
    #[error("HANKBOOK_PG_BIN is {folder}, but there is no program `{missing}` in it",
        folder = folder.display())]
    ProgramMissing {
        /// The folder named by the operator.
        folder: PathBuf,
        /// The first program that is not there.
        missing: &'static str,
    },
    /// A program is there but does not run.
    #[error("{program} does not run: {output}", program = program.display())]
    ProgramBroken {
        /// The program that was tried.
        program: PathBuf,
        /// What it, or the system, said.
        output: String,
    },
    /// The server named by the operator is older than the SQL Hankbook uses.
    #[error("Postgres {major} in {folder} is too old: Hankbook needs 15 or newer",
        folder = folder.display())]
    TooOld {
        /// The folder named by the operator.
        folder: PathBuf,
        /// Its major version.
        major: u32,
    },
    /// The data was made by another major version than the programs found.
    #[error("{0}")]
    VersionMismatch(VersionMismatch),
    /// The named system user does not exist.
    #[error("there is no system user `{name}` to run Postgres as (HANKBOOK_PG_USER)")]
    NoSuchUser {
        /// The name that was looked up.
        name: String,
    },
    /// Neither `postgres` nor `nobody` exists and none was named.
    #[error(
        "Postgres refuses to run as root and there is neither a user `postgres` nor `nobody`; \
         name one with HANKBOOK_PG_USER"
    )]
    NoUnprivilegedUser,
    /// Postgres may not run as root.
    #[error(
        "HANKBOOK_PG_USER is `{name}`, which is root; Postgres refuses to run as root, \
         name an unprivileged user"
    )]
    UserIsRoot {
        /// The name that was given.
        name: String,
    },
    /// Only root may run Postgres as somebody else.
    #[error(
        "HANKBOOK_PG_USER is `{wanted}`, but this process is `{current}` and only root can \
         switch users; leave HANKBOOK_PG_USER unset"
    )]
    CannotSwitchUser {
        /// The user asked for.
        wanted: String,
        /// The user of this process.
        current: String,
    },
    /// The user of this process has no name, which initdb and peer authentication need.
    #[error(
        "user id {uid} has no entry in the password database (/etc/passwd), and Postgres \
         needs a name for it; add one, or use a Postgres of your own by DATABASE_URL"
    )]
    NamelessUser {
        /// The effective user id of this process.
        uid: u32,
    },
    /// The cluster belongs to another user than the one that would run it.
    #[error("{folder} belongs to user id {owner}, but Postgres would run as `{user}`; \
        start as its owner, or `chown -R {user} {folder}` while it is stopped",
        folder = folder.display())]
    WrongOwner {
        /// The Postgres data folder.
        folder: PathBuf,
        /// Its owner's user id.
        owner: u32,
        /// The user that would run Postgres.
        user: String,
    },
    /// A folder on the way cannot be passed by the user Postgres runs as.
    #[error("user `{user}` cannot reach {target}: the folder {folder} blocks the way; \
        open it with `chmod o+x {folder}`, or keep the data elsewhere, \
        for example in /var/lib/hankbook",
        target = target.display(), folder = folder.display())]
    Blocked {
        /// The user Postgres runs as.
        user: String,
        /// What must be reached.
        target: PathBuf,
        /// The first folder, from the root down, which that user may not search.
        folder: PathBuf,
    },
    /// Another process holds the same data folder.
    #[error("the data folder {data_dir} is in use by {holder}; \
        stop it first, or name another folder",
        data_dir = data_dir.display(), holder = holder(*pid))]
    InUse {
        /// Hankbook's data folder.
        data_dir: PathBuf,
        /// Process id of the holder, if it had written it yet.
        pid: Option<u32>,
    },
    /// The folder for the cluster holds something that Hankbook did not put there.
    #[error("{folder} holds `{entry}`, which Hankbook did not put there; nothing was changed, \
        move it away or name another data folder",
        folder = folder.display())]
    Foreign {
        /// The folder that should hold the cluster.
        folder: PathBuf,
        /// One of the entries found.
        entry: String,
    },
    /// initdb failed; its half-made folder was removed.
    #[error("a new Postgres cluster could not be made in {folder}: {output}",
        folder = folder.display())]
    Initialise {
        /// The folder that would hold the cluster.
        folder: PathBuf,
        /// What initdb said.
        output: String,
    },
    /// The disk is full.
    #[error("the disk that holds {folder} is full; free some space and start again",
        folder = folder.display())]
    DiskFull {
        /// The folder that could not be written.
        folder: PathBuf,
    },
    /// A Postgres left over from an earlier run could not be ended.
    #[error("a Postgres left over from an earlier run (process {pids:?}) still uses {data} \
        and could not be stopped; end it by hand and start again",
        data = data.display())]
    Leftover {
        /// The Postgres data folder.
        data: PathBuf,
        /// Process ids still there.
        pids: Vec<i32>,
    },
    /// The server ended while starting.
    #[error("Postgres ended while starting ({status}); its log says:\n{log}")]
    DidNotStart {
        /// How it ended.
        status: String,
        /// The last lines of its log.
        log: String,
    },
    /// The server did not become ready in time and was stopped.
    #[error("Postgres was not ready after {waited_s} s; its log says:\n{log}")]
    NotReady {
        /// How long it was waited for, in seconds.
        waited_s: u64,
        /// The last lines of its log.
        log: String,
    },
    /// The server is up but refused a statement.
    #[error("Postgres did not answer `{statement}`: {output}")]
    NotAnswering {
        /// The statement sent.
        statement: String,
        /// What came back.
        output: String,
    },
    /// The server was stopped, but not by a clean shutdown; the next start recovers from its log.
    #[error("Postgres was not stopped cleanly ({how}); the next start recovers from its log")]
    NotClean {
        /// What had to be done.
        how: String,
    },
    /// The cluster was stopped for good.
    #[error("the Postgres of this process was stopped and is not started again")]
    Stopped,
    /// A role or database name that would need quoting.
    #[error("`{name}` is not a plain name: lower-case letters, digits and `_`, at most 63")]
    NotPlainName {
        /// The name given.
        name: String,
    },
    /// The file system refused.
    #[error("cannot {action} {path}: {source}", path = path.display())]
    Io {
        /// What was tried, as a verb phrase.
        action: &'static str,
        /// On which path.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Data of one major version, programs of another.
#[derive(Debug)]
pub struct VersionMismatch {
    /// Folder that holds the whole cluster.
    pub cluster_folder: PathBuf,
    /// Socket folder of the running cluster.
    pub socket_dir: PathBuf,
    /// Major version that made the data.
    pub data_major: u32,
    /// Folder of the programs found.
    pub programs: PathBuf,
    /// Their major version.
    pub programs_major: u32,
}

impl std::fmt::Display for VersionMismatch {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { data_major, programs_major, .. } = self;
        let socket_dir = self.socket_dir.display();
        let cluster_folder = self.cluster_folder.display();
        let programs = self.programs.display();
        write!(
            out,
            "the data in {cluster_folder} was made by Postgres {data_major}, but the programs \
             in {programs} are Postgres {programs_major}; nothing was changed.\n\
             Either install Postgres {data_major} again (`apt-get install \
             postgresql-{data_major}`) or name its folder by HANKBOOK_PG_BIN.\n\
             Or move the data to Postgres {programs_major}:\n\
             1. start Hankbook with Postgres {data_major}, `pg_dump -Fc -h {socket_dir} -U \
             hankbook -d hankbook -f plant.dump`, stop Hankbook;\n\
             2. `mv {cluster_folder} {cluster_folder}-{data_major}`;\n\
             3. start Hankbook with Postgres {programs_major}, which makes an empty cluster, \
             `pg_restore --clean --if-exists --single-transaction -h {socket_dir} -U hankbook \
             -d hankbook plant.dump`, and start Hankbook once more."
        )
    }
}

fn holder(pid: Option<u32>) -> String {
    pid.map_or_else(|| "another process".to_owned(), |pid| format!("process {pid}"))
}

impl ClusterError {
    /// Turns a refusal of the file system into an error that says what was tried and where.
    pub(crate) fn io(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| match source.kind() {
            io::ErrorKind::StorageFull => Self::DiskFull { folder: path },
            _ => Self::Io { action, path, source },
        }
    }
}
