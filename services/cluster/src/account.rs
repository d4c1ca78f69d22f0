//! The system user Postgres runs as, and the commands started in its name.
//! It never keeps root's rights in a child, and never passes our environment on.

use std::fs::Metadata;
use std::io;
use std::os::unix::fs::MetadataExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use nix::unistd::{Uid, User};

use crate::error::ClusterError;

/// Prints the first folder of its arguments that the calling user may not search.
const FIND_BLOCKER: &str =
    r#"for folder do [ -x "$folder" ] || { printf '%s' "$folder"; exit 1; }; done"#;

/// Whom Postgres runs as.
#[derive(Debug)]
pub(crate) struct Account {
    /// Name of the user that owns the data and runs the server.
    pub name: String,
    /// Its user id.
    pub uid: u32,
    /// Its primary group id.
    pub gid: u32,
    /// Name of the user of this process.
    pub launcher: String,
    /// True when this process is root and the server is not.
    switches: bool,
    /// The program that ties a child's life to ours, where the system has it.
    tie: Option<PathBuf>,
}

impl Account {
    /// Chooses the user: the one named, else the owner of existing data, else `postgres` or
    /// `nobody` for root, and ourselves for anybody else.
    pub fn choose(
        launcher: User,
        named: Option<&str>,
        data: Option<&Metadata>,
    ) -> Result<Self, ClusterError> {
        let current = Uid::effective();
        let runner = if current.is_root() {
            unprivileged(named, data)?
        } else if let Some(wanted) = named.filter(|name| *name != launcher.name) {
            let (wanted, current) = (wanted.to_owned(), launcher.name);
            return Err(ClusterError::CannotSwitchUser { wanted, current });
        } else {
            launcher.clone()
        };
        Ok(Self {
            name: runner.name,
            uid: runner.uid.into(),
            gid: runner.gid.into(),
            launcher: launcher.name,
            switches: current.is_root(),
            tie: find_tie(),
        })
    }

    /// A command run as this user, with a clean environment and nothing on standard input.
    pub fn command(&self, program: &Path) -> Command {
        let mut command = clean_command(program);
        if self.switches {
            // Setting the user id as root also empties the list of supplementary groups.
            command.uid(self.uid).gid(self.gid);
        }
        command
    }

    /// The same, for a child that must not outlive the thread that starts it.
    pub fn tied_command(&self, program: &Path) -> Command {
        let Some(tie) = &self.tie else { return self.command(program) };
        let mut command = self.command(tie);
        command.args(["--pdeathsig", "INT", "--"]).arg(program);
        command
    }

    /// Checks that this user can search `target` and every folder above it.
    pub fn check_reach(&self, target: &Path) -> Result<(), ClusterError> {
        if !self.switches {
            return Ok(());
        }
        let mut folders: Vec<&Path> = target.ancestors().collect();
        folders.reverse();
        let mut command = self.command(Path::new("/bin/sh"));
        command.args(["-c", FIND_BLOCKER, "sh"]).args(folders);
        let output = command.output().map_err(ClusterError::io("run", Path::new("/bin/sh")))?;
        if output.status.success() {
            return Ok(());
        }
        Err(ClusterError::Blocked {
            user: self.name.clone(),
            target: target.to_owned(),
            folder: PathBuf::from(String::from_utf8_lossy(&output.stdout).into_owned()),
        })
    }

    /// Checks that existing data belongs to this user.
    pub fn check_owner(&self, folder: &Path, data: &Metadata) -> Result<(), ClusterError> {
        if data.uid() == self.uid {
            return Ok(());
        }
        Err(ClusterError::WrongOwner {
            folder: folder.to_owned(),
            owner: data.uid(),
            user: self.name.clone(),
        })
    }
}

/// The user of this process.
pub(crate) fn launcher() -> Result<User, ClusterError> {
    let uid = Uid::effective();
    by_uid(uid)?.ok_or(ClusterError::NamelessUser { uid: uid.into() })
}

/// A command with a clean environment, so that no `PG…` variable of ours changes its meaning.
pub(crate) fn clean_command(program: &Path) -> Command {
    let mut command = Command::new(program);
    command
        .env_clear()
        .env("PATH", "/usr/bin:/bin")
        .env("LC_ALL", "C")
        .current_dir("/")
        .stdin(Stdio::null());
    command
}

/// What a finished program said, on one line of reasonable length.
pub(crate) fn said(output: &Output) -> String {
    let both = [output.stderr.as_slice(), output.stdout.as_slice()].concat();
    let text = String::from_utf8_lossy(&both);
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    let start = lines.len().saturating_sub(8);
    let tail = lines.get(start..).unwrap_or_default().join("; ");
    if tail.is_empty() { output.status.to_string() } else { tail }
}

fn unprivileged(named: Option<&str>, data: Option<&Metadata>) -> Result<User, ClusterError> {
    if let Some(name) = named {
        let user = by_name(name)?.ok_or(ClusterError::NoSuchUser { name: name.to_owned() })?;
        if user.uid.is_root() {
            return Err(ClusterError::UserIsRoot { name: name.to_owned() });
        }
        return Ok(user);
    }
    if let Some(owner) = data.map(Metadata::uid).filter(|uid| *uid != 0) {
        return by_uid(owner.into())?.ok_or(ClusterError::NamelessUser { uid: owner });
    }
    for name in ["postgres", "nobody"] {
        if let Some(user) = by_name(name)?.filter(|user| !user.uid.is_root()) {
            return Ok(user);
        }
    }
    Err(ClusterError::NoUnprivilegedUser)
}

fn by_name(name: &str) -> Result<Option<User>, ClusterError> {
    User::from_name(name).map_err(password_database)
}

fn by_uid(uid: Uid) -> Result<Option<User>, ClusterError> {
    User::from_uid(uid).map_err(password_database)
}

fn password_database(errno: nix::Error) -> ClusterError {
    let source = io::Error::from(errno);
    ClusterError::Io { action: "read", path: PathBuf::from("/etc/passwd"), source }
}

/// Finds a `setpriv` that can ask the kernel to signal a child when its parent dies; safe Rust
/// cannot ask for that itself. Without one, the next start ends what was left over.
fn find_tie() -> Option<PathBuf> {
    ["/usr/bin/setpriv", "/bin/setpriv"].into_iter().map(PathBuf::from).find(|program| {
        let mut command = clean_command(program);
        command.args(["--pdeathsig", "INT", "--", "true"]);
        command.output().is_ok_and(|output| output.status.success())
    })
}
