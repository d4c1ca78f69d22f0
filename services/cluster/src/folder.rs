//! The cluster's place inside Hankbook's data folder: layout, lock, and what is already there.
//! It never removes or overwrites anything that Hankbook did not make.

use std::fs::{self, DirBuilder, File, Metadata, OpenOptions, Permissions, TryLockError};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{self, Read, Write};
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt, chown};
use std::path::{Path, PathBuf};

use nix::fcntl::OFlag;
use nix::unistd::Uid;

use crate::account::Account;
use crate::error::ClusterError;

/// First line of the settings file, and the mark of a cluster folder made by Hankbook.
pub(crate) const MARK: &str = "# Written by Hankbook at every start; changes here are lost.\n";
/// The longest socket folder: 107 bytes of a Unix socket path less `/.s.PGSQL.5432`.
const LONGEST_SOCKET_FOLDER: usize = 107 - 14;

/// Exclusive use of a data folder for as long as the value, or the process, lives.
#[derive(Debug)]
pub(crate) struct Claim {
    _lock: File,
}

/// Where everything of one cluster lies.
#[derive(Debug)]
pub(crate) struct Folder {
    /// `postgres` in the data folder: settings, the link `bin` to the programs, and the rest.
    pub root: PathBuf,
    /// Postgres's own data.
    pub data: PathBuf,
    /// Where a new cluster is made before it is given its name.
    pub half_made: PathBuf,
    /// Where Postgres puts its socket.
    pub socket: PathBuf,
    /// Where Postgres keeps its log, one file for each day of the week.
    pub log: PathBuf,
}

impl Folder {
    /// Makes the data folder if it is missing and takes it for this process alone.
    pub fn claim(data_dir: &Path) -> Result<(Self, Claim), ClusterError> {
        let cannot_make = ClusterError::io("make the data folder", data_dir);
        make_data_dir(data_dir).map_err(cannot_make)?;
        let data_dir = fs::canonicalize(data_dir).map_err(ClusterError::io("open", data_dir))?;
        let claim = lock(&data_dir)?;
        let root = data_dir.join("postgres");
        let folder = Self {
            data: root.join("data"),
            half_made: root.join("data.new"),
            socket: socket_folder(&root),
            log: root.join("log"),
            root,
        };
        folder.check_ours()?;
        Ok((folder, claim))
    }

    /// Metadata of existing data; `None` before the first start.
    pub fn existing(&self) -> Result<Option<Metadata>, ClusterError> {
        if self.major()?.is_none() {
            return Ok(None);
        }
        fs::metadata(&self.data).map(Some).map_err(ClusterError::io("open", &self.data))
    }

    /// Major version of existing data; `None` before the first start.
    pub fn major(&self) -> Result<Option<u32>, ClusterError> {
        let path = self.data.join("PG_VERSION");
        match fs::read_to_string(&path) {
            Ok(text) => text.trim().parse().map(Some).map_err(|_| self.foreign("data")),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                // Data without a version is damaged or not ours, and no place for a new cluster.
                if self.data.read_dir().is_ok_and(|mut entries| entries.next().is_some()) {
                    return Err(self.foreign("data"));
                }
                Ok(None)
            }
            Err(error) => Err(ClusterError::io("read", &path)(error)),
        }
    }

    /// Folder of the programs used at the last start.
    pub fn recorded_programs(&self) -> Option<PathBuf> {
        fs::read_link(self.root.join("bin")).ok()
    }

    /// Records the programs as the link `bin`, which operators may use too.
    pub fn record_programs(&self, programs: &Path) -> Result<(), ClusterError> {
        if self.recorded_programs().is_some_and(|recorded| recorded == programs) {
            return Ok(());
        }
        let (link, new) = (self.root.join("bin"), self.root.join("bin.new"));
        let failed = ClusterError::io("record the programs in", &link);
        remove_if_there(&new)
            .and_then(|()| std::os::unix::fs::symlink(programs, &new))
            .and_then(|()| fs::rename(&new, &link))
            .map_err(failed)
    }

    /// Makes the folders that Postgres writes to, owned by the user it runs as. The folder above
    /// them and the settings stay ours, so that the server cannot redirect what we write.
    pub fn prepare(&self, account: &Account) -> Result<(), ClusterError> {
        make_folder(&self.root, passable_mode())?;
        account.check_reach(&self.root)?;
        self.make_owned_folder(&self.log, account)?;
        self.make_owned_folder(&self.socket, account)
    }

    /// Writes a file of ours in one step, so that a crash leaves the old one or the new one.
    pub fn write(&self, name: &str, text: &str) -> Result<(), ClusterError> {
        let path = self.root.join(name);
        if fs::read_to_string(&path).is_ok_and(|old| old == text) {
            return Ok(());
        }
        let new = self.root.join(format!("{name}.new"));
        let write = || -> io::Result<()> {
            remove_if_there(&new)?;
            let mut file = File::create_new(&new)?;
            file.set_permissions(Permissions::from_mode(0o644))?;
            file.write_all(text.as_bytes())?;
            file.sync_data()?;
            fs::rename(&new, &path)
        };
        write().map_err(ClusterError::io("write", &path))
    }

    /// Removes what an interrupted initdb left, and makes an empty folder for the next one.
    pub fn fresh_half_made(&self, account: &Account) -> Result<(), ClusterError> {
        self.remove_half_made()?;
        self.make_owned_folder(&self.half_made, account)
    }

    /// Removes a half-made cluster, if there is one.
    pub fn remove_half_made(&self) -> Result<(), ClusterError> {
        match fs::remove_dir_all(&self.half_made) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                Err(ClusterError::io("remove the half-made cluster", &self.half_made)(error))
            }
            _ => Ok(()),
        }
    }

    /// Gives a finished cluster its name and makes that survive a power failure.
    pub fn adopt_half_made(&self) -> Result<(), ClusterError> {
        fs::rename(&self.half_made, &self.data)
            .and_then(|()| File::open(&self.root)?.sync_all())
            .map_err(ClusterError::io("rename the new cluster to", &self.data))
    }

    /// Removes the socket of a server that is gone, and the lock beside it: Postgres would take
    /// whatever program has that server's process id by now for the server itself.
    pub fn remove_stale_socket(&self) -> Result<(), ClusterError> {
        for name in [".s.PGSQL.5432", ".s.PGSQL.5432.lock"] {
            let path = self.socket.join(name);
            remove_if_there(&path).map_err(ClusterError::io("remove the stale", &path))?;
        }
        Ok(())
    }

    /// Refuses a cluster folder that holds things but not our settings file. Names ending in
    /// `.new` are ours, from a first start that was cut off.
    fn check_ours(&self) -> Result<(), ClusterError> {
        let entries = match fs::read_dir(&self.root) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            Err(error) => return Err(ClusterError::io("read", &self.root)(error)),
        };
        let names = entries.filter_map(|entry| Some(entry.ok()?.file_name()));
        let mut names = names.map(|name| name.to_string_lossy().into_owned());
        let Some(entry) = names.find(|name| !name.ends_with(".new")) else { return Ok(()) };
        match fs::read_to_string(self.root.join("postgresql.conf")) {
            Ok(text) if text.starts_with(MARK) => Ok(()),
            _ => Err(self.foreign(&entry)),
        }
    }

    /// Makes a folder only `account` can enter. One in a shared temporary folder could have been
    /// laid there by anybody, so it must already be just that; inside our own folder root may
    /// give it away.
    fn make_owned_folder(&self, path: &Path, account: &Account) -> Result<(), ClusterError> {
        let made = make_folder(path, 0o700)?;
        let metadata = fs::symlink_metadata(path).map_err(ClusterError::io("open", path))?;
        let private = metadata.is_dir() && metadata.mode() & 0o077 == 0;
        if private && metadata.uid() == account.uid {
            return Ok(());
        }
        if !metadata.is_dir() || !(made || path.starts_with(&self.root)) {
            return account.check_owner(path, &metadata).and(Err(self.foreign("run")));
        }
        fs::set_permissions(path, Permissions::from_mode(0o700))
            .and_then(|()| chown(path, Some(account.uid), Some(account.gid)))
            .map_err(ClusterError::io("give away the folder", path))
    }

    fn foreign(&self, entry: &str) -> ClusterError {
        ClusterError::Foreign { folder: self.root.clone(), entry: entry.to_owned() }
    }
}

fn make_data_dir(data_dir: &Path) -> io::Result<()> {
    if data_dir.is_dir() {
        return Ok(());
    }
    let mode = passable_mode();
    DirBuilder::new().recursive(true).mode(mode).create(data_dir)?;
    fs::set_permissions(data_dir, Permissions::from_mode(mode))
}

/// The user that root runs Postgres as must be able to pass through, not to look around.
fn passable_mode() -> u32 {
    if Uid::effective().is_root() { 0o711 } else { 0o700 }
}

fn lock(data_dir: &Path) -> Result<Claim, ClusterError> {
    let path = data_dir.join("postgres.lock");
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false).mode(0o600);
    options.custom_flags(OFlag::O_NOFOLLOW.bits());
    let mut file = options.open(&path).map_err(ClusterError::io("open the lock file", &path))?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let mut text = String::new();
            let pid = file.read_to_string(&mut text).ok().and_then(|_| text.trim().parse().ok());
            return Err(ClusterError::InUse { data_dir: data_dir.to_owned(), pid });
        }
        Err(TryLockError::Error(error)) => return Err(ClusterError::io("lock", &path)(error)),
    }
    file.set_len(0)
        .and_then(|()| writeln!(file, "{}", std::process::id()))
        .map_err(ClusterError::io("write", &path))?;
    Ok(Claim { _lock: file })
}

/// `run` in the cluster folder, or a short folder for temporary files when a socket path there
/// would be too long for the system or unspeakable in a connection string.
fn socket_folder(root: &Path) -> PathBuf {
    let near = root.join("run");
    let speakable = near.to_str().is_some_and(|path| !path.contains(',') && !path.contains('"'));
    if speakable && near.as_os_str().as_bytes().len() <= LONGEST_SOCKET_FOLDER {
        return near;
    }
    let mut hasher = DefaultHasher::new();
    root.hash(&mut hasher);
    Path::new("/tmp").join(format!("hankbook-{:016x}", hasher.finish()))
}

/// Makes one folder; says whether it was missing.
fn make_folder(path: &Path, mode: u32) -> Result<bool, ClusterError> {
    match DirBuilder::new().mode(mode).create(path) {
        // The mode is set again because the process's umask may have narrowed it.
        Ok(()) => fs::set_permissions(path, Permissions::from_mode(mode)).map(|()| true),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(false),
        Err(error) => Err(error),
    }
    .map_err(ClusterError::io("make the folder", path))
}

pub(crate) fn remove_if_there(path: &Path) -> io::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}
