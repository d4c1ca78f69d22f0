//! The data folder of a plant: its private Postgres, its keys, and the mark of a simulated one.
//! It never touches a folder that holds something else.

use std::fs::{self, Permissions};
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// A plant's data folder.
#[derive(Clone, Debug)]
pub struct Folder {
    path: PathBuf,
}

/// Why a folder cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the data folder {path} cannot be used: {reason}", path = .path.display())]
pub struct Unusable {
    path: PathBuf,
    reason: io::Error,
}

impl Folder {
    /// Opens a folder, making it where it is missing.
    pub fn open(path: &Path) -> Result<Self, Unusable> {
        let unusable = |reason| Unusable { path: path.to_owned(), reason };
        if !path.exists() {
            fs::create_dir_all(path).map_err(unusable)?;
            // Postgres runs as another user when we are root and must be able to pass through.
            fs::set_permissions(path, Permissions::from_mode(0o711)).map_err(unusable)?;
        }
        let keys = path.join("keys");
        if !keys.exists() {
            fs::create_dir(&keys).map_err(unusable)?;
            fs::set_permissions(&keys, Permissions::from_mode(0o700)).map_err(unusable)?;
        }
        let path = path.canonicalize().map_err(unusable)?;
        Ok(Self { path })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The file of the key that signs tokens.
    pub fn token_key(&self) -> PathBuf {
        self.path.join("keys").join("token.der")
    }

    /// The file of the key that seals what browsers keep.
    pub fn page_key(&self) -> PathBuf {
        self.path.join("keys").join("pages.key")
    }

    /// The key of the sealed log, made where it is missing, with the file of its last head.
    pub fn log_key(&self) -> io::Result<audit::LogKey> {
        let keys = self.path.join("keys");
        let key = audit::note::SigningKey::open_or_create(&keys.join("log.der"))?;
        Ok(audit::LogKey { key, head: keys.join("log.head") })
    }

    /// The demo's own folder, beside that of a real plant.
    pub fn of_the_demo() -> PathBuf {
        Self::default_path().with_file_name("demo")
    }

    /// The folder used when none is named.
    pub fn default_path() -> PathBuf {
        let home = std::env::var_os("XDG_DATA_HOME").map(PathBuf::from);
        let home = home.or_else(|| {
            std::env::var_os("HOME").map(|home| PathBuf::from(home).join(".local/share"))
        });
        match home {
            // Root's home is closed to the user as whom Postgres runs.
            Some(home) if !home.starts_with("/root") => home.join("hankbook/plant"),
            _ => PathBuf::from("/var/lib/hankbook/plant"),
        }
    }
}
